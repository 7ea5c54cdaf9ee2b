//! The request that makes the jug known by its weight.

use super::ask::{Answer, Ask, desk};
use super::desk::JugWish;
use super::problem::{Problem, Refusals};
use super::take::Object;
use super::told::Json;
use super::view::{EmptyJugView, JugRequest};
use crate::batch::jug::{EMPTY_G, no_jug};
use crate::units::Mass;
use axum::extract::State;
use serde_json::{Map, Value};

/// The jug: what it weighs empty, told or as it stands at rest on the bare pan now. Set there in a batch, between two
/// pieces, it says what is left in it.
///
/// Not at rest, no weight of a jug, or a batch under way: 409.
#[utoipa::path(post, path = "/api/scale/jug", request_body = JugRequest, responses((status = 200, body = EmptyJugView), Refusals))]
pub(super) async fn jug(State(page): Ask, Object(mut object): Object) -> Answer<Json<EmptyJugView>> {
    let wish = wish(&mut object)?;
    desk(&page, move |desk| desk.jug(wish))
        .await
        .map(|kept| Json(EmptyJugView { jug_g: kept.map(|m| m.g()) }))
}

fn wish(object: &mut Map<String, Value>) -> Answer<JugWish> {
    let told = object.remove("jug_g").filter(|value| !value.is_null());
    let off = super::ask::off(std::mem::take(object))?;
    match (told, off) {
        (Some(_), true) => Err(Problem::field("off", "given beside jug_g; leave one of them out")),
        (None, true) => Ok(JugWish::Off),
        (None, false) => Ok(JugWish::StandsThere),
        (Some(told), false) => {
            let grams = told.as_f64().ok_or_else(|| Problem::field("jug_g", "expected a number of grams"))?;
            if !EMPTY_G.contains(&grams) {
                return Err(Problem::field("jug_g", no_jug(grams)));
            }
            Ok(JugWish::Weighs(Mass::saturating(grams)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_jug_is_told_weighed_or_forgotten_and_nothing_else_is_taken() {
        let read = |mut value: Value| wish(value.as_object_mut().expect("an object"));
        assert_eq!(read(json!({})).ok(), Some(JugWish::StandsThere));
        assert_eq!(read(json!({ "off": true, "jug_g": null })).ok(), Some(JugWish::Off));
        assert_eq!(read(json!({ "jug_g": 251.5 })).ok(), Some(JugWish::Weighs(Mass::saturating(251.5))));
        for (asked, field) in [
            (json!({ "jug_g": 3 }), "jug_g"),
            (json!({ "jug_g": 1e9 }), "jug_g"),
            (json!({ "jug_g": "blue" }), "jug_g"),
            (json!({ "jug_g": 251.5, "off": true }), "off"),
            (json!({ "off": 1 }), "off"),
            (json!({ "full": true }), "full"),
        ] {
            let refused = read(asked.clone()).expect_err("refused");
            assert_eq!(refused.field.as_deref(), Some(field), "{asked}");
        }
    }
}
