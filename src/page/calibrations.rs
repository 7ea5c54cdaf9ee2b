//! Calibrations: made from readings that are told, listed, gone by or not; the potter's own masses.
//!
//! What can't be reckoned with is refused before anything is kept.

use super::ask::{Answer, Ask, desk, off};
use super::desk::Refusal;
use super::problem::{Problem, Refusals};
use super::shown::Told;
use super::take::{Id, Object};
use super::told::Json;
use super::view::{CalibrationView, CheckView, MassesView, UseRequest, UseView};
use crate::calibration::masses::{MassRequest, OwnMass};
use crate::calibration::report::report;
use crate::calibration::request::{CalibrationRequest, from_json, from_value, shaped};
use crate::calibration::told::room_and_operator;
use crate::record::{CalibrationRecord, CalibrationWrite};
use crate::units::shown::Shown;
use axum::extract::State;
use axum::http::StatusCode;
use serde_json::Value;

/// Checks that are listed: more than a year of days.
const MOST_CHECKS: u32 = 400;

/// A calibration from readings of reference masses: corrected = offset_g + slope x indicated.
///
/// The scale goes by it from the next piece on, unless it is too coarse for the pour that it is judged for
/// (`net_g`, `tolerance_g`), or a load does not fit: then it is kept, and gone by only when that is asked.
#[utoipa::path(post, path = "/api/calibrations", request_body = CalibrationRequest, responses((status = 201, body = CalibrationView), Refusals))]
pub(super) async fn make(
    State(page): Ask,
    Told(shown): Told,
    Object(object): Object,
) -> Answer<(StatusCode, Json<CalibrationView>)> {
    let mut request = from_value(&Value::Object(object))?;
    let (drift_share, piece_g) = desk(&page, |desk| desk.beside_readings()).await?;
    request.drift_share = request.drift_share.or(drift_share);
    request.piece_g = request.piece_g.or(piece_g);
    room_and_operator(request.room_c, request.operator.as_deref())?;
    let found = report(&request)?;
    let record = CalibrationRecord {
        id: uuid::Uuid::now_v7().to_string(),
        scale: page.desk.scale().to_owned(),
        made_at: page.desk.wall_time(),
        // Shapes of strings and numbers always have a JSON form.
        request: serde_json::to_string(&request).unwrap_or_default(),
        offset_g: found.offset_g,
        slope: found.slope,
        bend_per_g: found.bend_per_g,
        verdict: found.fitness.word().to_owned(),
    };
    let in_force = found.goes_unasked();
    let write = CalibrationWrite::Made { record: record.clone(), in_force };
    desk(&page, move |desk| desk.keep_calibration(write)).await?;
    Ok((StatusCode::CREATED, Json(CalibrationView::of(&record, request, &found, in_force, shown))))
}

/// As told; none where its readings can't be reckoned with any more.
fn told(
    record: &CalibrationRecord,
    in_force: Option<&CalibrationRecord>,
    shown: Shown,
) -> Option<CalibrationView> {
    let request = from_json(&record.request).ok()?;
    let found = report(&request).ok()?;
    let goes_by = in_force.is_some_and(|c| c.id == record.id);
    Some(CalibrationView::of(record, request, &found, goes_by, shown))
}

/// All calibrations, the newest first.
#[utoipa::path(get, path = "/api/calibrations", responses((status = 200, body = Vec<CalibrationView>), Refusals))]
pub(super) async fn all(State(page): Ask, Told(shown): Told) -> Answer<Json<Vec<CalibrationView>>> {
    let (all, by) = desk(&page, |desk| Ok((desk.calibrations()?, desk.in_force()?))).await?;
    Ok(Json(all.iter().filter_map(|record| told(record, by.as_ref(), shown)).collect()))
}

/// One calibration.
#[utoipa::path(get, path = "/api/calibrations/{id}", params(("id" = String, Path, description = "Id of the calibration")), responses((status = 200, body = CalibrationView), Refusals))]
pub(super) async fn one(State(page): Ask, Told(shown): Told, Id(id): Id) -> Answer<Json<CalibrationView>> {
    let (record, by) = desk(&page, move |desk| Ok((desk.calibration(&id)?, desk.in_force()?))).await?;
    told(&record, by.as_ref(), shown).map(Json).ok_or_else(|| {
        let why = "what was read then can't be reckoned with any more: calibrate the scale again";
        Problem::from(Refusal::Conflict(why.to_owned()))
    })
}

/// The scale goes by this calibration from the next piece on; `off`: by what it shows.
///
/// The piece on the pan is weighed to its end as it was begun. Of another scale, or `off` for one that it does not go by: 409.
#[utoipa::path(post, path = "/api/calibrations/{id}/use", params(("id" = String, Path, description = "Id of the calibration")), request_body = UseRequest, responses((status = 200, body = UseView), Refusals))]
pub(super) async fn go_by(State(page): Ask, Id(id): Id, Object(object): Object) -> Answer<Json<UseView>> {
    let off = off(object)?;
    let (record, by) = desk(&page, move |desk| Ok((desk.calibration(&id)?, desk.in_force()?))).await?;
    let scale = page.desk.scale().to_owned();
    if record.scale != scale {
        let why =
            format!("this calibration is of '{}', and '{scale}' is set up: calibrate that one", record.scale);
        return Err(Problem::from(Refusal::Conflict(why)));
    }
    if off && by.as_ref().is_none_or(|by| by.id != record.id) {
        let by = by.map_or("by what it shows".to_owned(), |by| format!("by calibration '{}'", by.id));
        let why = format!(
            "'{scale}' does not go by this calibration but {by}: only the one in force can be put off"
        );
        return Err(Problem::from(Refusal::Conflict(why)));
    }
    let calibration = (!off).then(|| Box::new(record));
    let id = calibration.as_ref().map(|c| c.id.clone());
    let write = CalibrationWrite::InForce { scale, calibration, at: page.desk.wall_time() };
    desk(&page, move |desk| desk.keep_calibration(write)).await?;
    Ok(Json(UseView { calibration: id }))
}

/// The potter's own masses.
#[utoipa::path(get, path = "/api/masses", responses((status = 200, body = MassesView), Refusals))]
pub(super) async fn masses(State(page): Ask) -> Answer<Json<MassesView>> {
    let body = desk(&page, |desk| desk.masses()).await?;
    let masses = body.and_then(|body| MassRequest::kept(&body)).unwrap_or_default();
    Ok(Json(MassesView { masses }))
}

/// The potter's own masses from now on.
#[utoipa::path(post, path = "/api/masses", request_body = MassesRequest, responses((status = 200, body = MassesView), Refusals))]
pub(super) async fn keep_masses(State(page): Ask, Object(mut object): Object) -> Answer<Json<MassesView>> {
    let masses = told_masses(object.remove("masses"))?;
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(key, "unknown field: this request takes only masses"));
    }
    let body = serde_json::to_string(&masses).unwrap_or_default();
    let write = CalibrationWrite::Masses { body, at: page.desk.wall_time() };
    desk(&page, move |desk| desk.keep_calibration(write)).await?;
    Ok(Json(MassesView { masses }))
}

/// A list of masses, each of which can be reckoned with.
pub(super) fn told_masses(told: Option<Value>) -> Answer<Vec<MassRequest>> {
    let Some(Value::Array(list)) = told else {
        let why = "expected a list of masses, such as [{\"nominal_g\": 50, \"class\": \"M1\"}]";
        return Err(Problem::field("masses", why));
    };
    let each = |(n, one): (usize, &Value)| shaped::<MassRequest>(one, &format!("masses[{n}]"));
    let masses: Vec<MassRequest> = list.iter().enumerate().map(each).collect::<Result<_, _>>()?;
    OwnMass::set(&masses, "masses")?;
    Ok(masses)
}

/// The potter's own masses.
#[derive(utoipa::ToSchema)]
#[allow(dead_code, reason = "describes the request")]
pub(super) struct MassesRequest {
    /// 1 to 12 of them.
    masses: Vec<MassRequest>,
}

/// The latest checks of the scale, the newest first.
#[utoipa::path(get, path = "/api/scale/checks", responses((status = 200, body = Vec<CheckView>), Refusals))]
pub(super) async fn checks(State(page): Ask) -> Answer<Json<Vec<CheckView>>> {
    let found = desk(&page, |desk| desk.checks(MOST_CHECKS)).await?;
    Ok(Json(found.iter().map(CheckView::from).collect()))
}
