//! A calibration or a check at the pan: begun and left off.

use super::Page;
use super::ask::{Answer, Ask, desk};
use super::calibrations::told_masses;
use super::desk::RoutineWish;
use super::problem::{Problem, Refusals};
use super::take::{Object, name};
use super::told::Json;
use super::view::{CheckRequest, RoomRequest, RoomView, RoutineReply, RoutineRequest};
use crate::calibration::masses::{MassRequest, OwnMass};
use crate::calibration::told::ROOM_C;
use crate::guide::calibrate::Parts;
use axum::extract::State;
use serde_json::{Map, Value};
use std::sync::Arc;

/// A calibration at the pan: it leads through its steps by what the scale shows (`routine` of the snapshot) and keeps what
/// came of it; the scale goes by that from the next piece on, unless it is too coarse or a load does not fit. `off`: it is left off and nothing is
/// changed; so it is when a batch begins.
///
/// A batch, another calibration, a check, the test of the scale or things being weighed under way: 409, and that goes on.
#[utoipa::path(post, path = "/api/scale/calibrate", request_body = RoutineRequest, responses((status = 200, body = RoutineReply), Refusals))]
pub(super) async fn calibrate(State(page): Ask, Object(object): Object) -> Answer<Json<RoutineReply>> {
    let wish = wish(&page, object, false).await?;
    desk(&page, move |desk| desk.routine(wish)).await.map(|routine| Json(RoutineReply { routine }))
}

/// A check at the pan: one mass, ten seconds. `off`: it is left off.
///
/// A batch, a calibration, another check, the test of the scale or things being weighed under way: 409, and that goes on.
#[utoipa::path(post, path = "/api/scale/check", request_body = CheckRequest, responses((status = 200, body = RoutineReply), Refusals))]
pub(super) async fn check(State(page): Ask, Object(object): Object) -> Answer<Json<RoutineReply>> {
    let wish = wish(&page, object, true).await?;
    desk(&page, move |desk| desk.routine(wish)).await.map(|routine| Json(RoutineReply { routine }))
}

/// The room is now this warm: 5 degrees away from the last check, or the calibration, the scale is to be checked again.
#[utoipa::path(post, path = "/api/scale/room", request_body = RoomRequest, responses((status = 200, body = RoomView), Refusals))]
pub(super) async fn room(State(page): Ask, Object(mut object): Object) -> Answer<Json<RoomView>> {
    if !object.contains_key("room_c") {
        return Err(Problem::field("room_c", "missing: how warm is it, in degrees Celsius?"));
    }
    let room_c = number(&mut object, "room_c", ROOM_C)?;
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(key, "unknown field: this request takes only room_c"));
    }
    desk(&page, move |desk| desk.room(room_c)).await?;
    Ok(Json(RoomView { room_c }))
}

async fn wish(page: &Arc<Page>, mut object: Map<String, Value>, check: bool) -> Answer<Option<RoutineWish>> {
    match object.remove("off") {
        Some(Value::Bool(true)) if object.iter().all(not_given) => return Ok(None),
        None | Some(Value::Null | Value::Bool(false)) => {}
        Some(_) => return Err(Problem::field("off", "expected true alone, or leave it out")),
    }
    let masses = match object.remove("masses").filter(|told| !told.is_null()) {
        Some(told) => told_masses(Some(told))?,
        None => kept(page).await?,
    };
    // A check asks for the heaviest, which says most; the others are known, should one of them be set down.
    let masses = OwnMass::set(&masses, "masses")?;
    let room_c = number(&mut object, "room_c", ROOM_C)?;
    let (drift_share, piece_g) = desk(page, |desk| desk.beside_readings()).await?;
    let mut wish = RoutineWish {
        masses,
        parts: Parts::default(),
        pour_g: None,
        drift_share,
        piece_g,
        room_c,
        operator: None,
        check,
    };
    if !check {
        wish.parts = parts(object.remove("parts"))?;
        wish.operator = name(&mut object, "operator")?;
        let net_g = number(&mut object, "net_g", (0.5, 5000.0))?;
        let most_g = net_g.unwrap_or(29.0);
        let tolerance_g = number(&mut object, "tolerance_g", (1e-3, most_g))?;
        // 5 percent where nothing is said (common practice, no source).
        let told = net_g.is_some() || tolerance_g.is_some();
        wish.pour_g = told.then(|| (most_g, tolerance_g.unwrap_or(0.05 * most_g)));
    }
    match object.keys().next() {
        Some(key) => Err(Problem::field(key, "unknown field: leave it out")),
        None => Ok(Some(wish)),
    }
}

/// What such a wish takes beside `off`, and is null.
fn not_given((key, value): (&String, &Value)) -> bool {
    const OTHERS: [&str; 6] = ["masses", "room_c", "parts", "operator", "net_g", "tolerance_g"];
    value.is_null() && OTHERS.contains(&key.as_str())
}

/// The potter's own masses as they are kept.
async fn kept(page: &Arc<Page>) -> Answer<Vec<MassRequest>> {
    let body = desk(page, |desk| desk.masses()).await?;
    let masses = body.and_then(|body| MassRequest::kept(&body));
    masses.ok_or_else(|| {
        let why = "no masses are kept: give those at hand, such as [{\"nominal_g\": 50, \"class\": \"M1\"}]";
        Problem::field("masses", why)
    })
}

fn parts(told: Option<Value>) -> Answer<Parts> {
    let wrong = || Problem::field("parts", format!("expected a list of {}", Parts::WORDS.join(", ")));
    match told.filter(|told| !told.is_null()) {
        None => Ok(Parts::SHORT),
        Some(Value::Array(list)) => list.iter().try_fold(Parts::default(), |parts, word| {
            word.as_str().and_then(|word| parts.with(word)).ok_or_else(wrong)
        }),
        Some(_) => Err(wrong()),
    }
}

fn number(object: &mut Map<String, Value>, key: &'static str, ends: (f64, f64)) -> Answer<Option<f64>> {
    let Some(value) = object.remove(key).filter(|value| !value.is_null()) else { return Ok(None) };
    let fits = value.as_f64().filter(|v| (ends.0..=ends.1).contains(v));
    fits.map(Some).ok_or_else(|| {
        let why = format!("expected a number from {} to {}: check the decimal point", ends.0, ends.1);
        Problem::field(key, why)
    })
}
