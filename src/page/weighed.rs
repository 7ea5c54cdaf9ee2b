//! The request to weigh things one after the other.

use super::ask::{Answer, Ask, desk, off};
use super::problem::{Problem, Refusals};
use super::take::Object;
use super::told::Json;
use super::view::{WeighedReply, WeighedRequest};
use crate::guide::weighed::{MOST_THINGS, Thing, Things};
use axum::extract::State;
use serde_json::Value;

/// Things are weighed one after the other: each is set on the bare pan and lifted off again, led by what the scale shows
/// (`weighed` of the snapshot). `off`: it is left off; so it is when a batch begins.
///
/// A batch, a calibration, a check or the test of the scale under way: 409, and that goes on.
#[utoipa::path(post, path = "/api/scale/weigh", request_body = WeighedRequest, responses((status = 200, body = WeighedReply), Refusals))]
pub(super) async fn weigh(State(page): Ask, Object(mut object): Object) -> Answer<Json<WeighedReply>> {
    let told = object.remove("things");
    let off = off(object)?;
    let things = match told {
        None | Some(Value::Null) if off => None,
        Some(_) if off => return Err(Problem::field("off", "expected either things or off, not both")),
        told => Some(things(told.as_ref())?),
    };
    desk(&page, move |desk| desk.weigh(things)).await.map(|weighed| Json(WeighedReply { weighed }))
}

fn things(told: Option<&Value>) -> Answer<Things> {
    let list = told.and_then(Value::as_array).into_iter().flatten();
    let known = |told: &Value| {
        let word = told.as_str().unwrap_or_default();
        let words = || Thing::ALL.map(Thing::word).join(", ");
        Thing::of(word)
            .ok_or_else(|| Problem::field("things", format!("{told} is nothing known: expected {}", words())))
    };
    let things = list.map(known).collect::<Answer<Vec<Thing>>>()?;
    let why =
        || format!("expected a list of 1 to {MOST_THINGS} things, such as [\"vessel\", \"water\", \"slop\"]");
    Things::new(things).ok_or_else(|| Problem::field("things", why()))
}
