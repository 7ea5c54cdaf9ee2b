//! The request that says there is slop again.

use super::ask::{Answer, Ask, desk};
use super::problem::{Problem, Refusals};
use super::take::{Id, Object};
use super::told::Json;
use super::view::{RefillRequest, SlopView};
use crate::batch::supply::Refill;
use crate::units::{Mass, as_told};
use axum::extract::State;
use serde_json::{Map, Value};

/// The most that a bucket may hold, g, as in the request of a batch.
const MOST_G: f64 = 1e6;

/// The jug of the batch under way was refilled, or there is new slop: what is left is counted on from there.
///
/// Not under way, a batch that tells of no slop, or `now_g` while a piece stands on the scale: 409.
#[utoipa::path(post, path = "/api/batches/{id}/refill", params(("id" = String, Path, description = "Id of the batch")), request_body = RefillRequest, responses((status = 200, body = SlopView), Refusals))]
pub(super) async fn refill(
    State(page): Ask,
    Id(id): Id,
    Object(mut object): Object,
) -> Answer<Json<SlopView>> {
    let told = told(&mut object)?;
    desk(&page, move |desk| desk.refill(&id, told)).await.map(Json)
}

/// Less is no slop that came, g (a display's step).
const LEAST_G: f64 = 0.1;
/// So much of what was sent is repeated.
const REPEATED: usize = 40;

fn told(object: &mut Map<String, Value>) -> Answer<Refill> {
    let now = grams(object, "now_g")?;
    let added = grams(object, "added_g")?;
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(key, "unknown field: this request takes now_g or added_g"));
    }
    match (now, added) {
        (Some(now), None) => Ok(Refill::Now(now)),
        (None, Some(added)) if added.g() < LEAST_G => {
            Err(Problem::field("added_g", format!("nothing came with that: expected at least {LEAST_G} g")))
        }
        (None, Some(added)) => Ok(Refill::Added(added)),
        (Some(_), Some(_)) => Err(Problem::field("added_g", "given beside now_g; leave one of them out")),
        (None, None) => {
            Err(Problem::field("now_g", "missing: how much slop is there now? Or how much came, as added_g"))
        }
    }
}

fn grams(object: &mut Map<String, Value>, key: &str) -> Answer<Option<Mass>> {
    let Some(value) = object.remove(key).filter(|value| !value.is_null()) else { return Ok(None) };
    let told = value.as_f64().filter(|g| (0.0..=MOST_G).contains(g));
    let told_as = match value.as_f64() {
        Some(g) => format!("{} g", as_told((100.0 * g).round() / 100.0)),
        None => value.to_string().chars().take(REPEATED).collect(),
    };
    let why = format!(
        "{told_as} is no amount of slop: expected 0 to {MOST_G}, in grams; or text with a unit, \"200 g\" or \"7.05 oz\""
    );
    // A zero has no sign.
    told.map(|g| Some(Mass::saturating(g + 0.0))).ok_or_else(|| Problem::field(key, why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn one_amount_is_read_and_none_two_or_none_that_can_be_is_refused_at_its_field() {
        let read = |mut value: Value| told(value.as_object_mut().expect("an object"));
        assert_eq!(read(json!({ "now_g": 420 })).ok(), Some(Refill::Now(Mass::saturating(420.0))));
        assert_eq!(
            read(json!({ "added_g": 0.5, "now_g": null })).ok(),
            Some(Refill::Added(Mass::saturating(0.5)))
        );
        for (asked, field) in [
            (json!({}), "now_g"),
            (json!({ "now_g": 1, "added_g": 1 }), "added_g"),
            (json!({ "now_g": -1 }), "now_g"),
            (json!({ "added_g": "much" }), "added_g"),
            (json!({ "added_g": 2e6 }), "added_g"),
            (json!({ "added_g": 0 }), "added_g"),
            (json!({ "added_g": 1e-9 }), "added_g"),
            (json!({ "added_g": 1, "jug": "blue" }), "jug"),
        ] {
            let refused = read(asked.clone()).expect_err("refused");
            assert_eq!(refused.field.as_deref(), Some(field), "{asked}");
        }
    }
}
