//! The requests: each parsed at the edge, answered by the desk.

use super::Page;
use super::desk::{Desk, Refusal};
use super::plan;
use super::problem::{Problem, Refusals};
use super::review::{Asked, asked, said};
use super::shown::Exact;
use super::take::{Id, Nothing, Object};
use super::told::Json;
use super::view::{
    BatchRequest, BatchView, BegunView, CurveView, LagTestReply, LagTestRequest, LeftOutView, MadeView, Now,
    PourView, ScaleView, SpareRequest, SpareView,
};
use crate::batch::request::{GlazeRequest, from_value};
use crate::batch::{Target, TargetReply, TargetRequest, target};
use crate::record::{Aim, BatchRecord, Shelf, ShelfRecord};
use crate::time::WallTime;
use crate::units::Mass;
use axum::Extension;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value};
use std::sync::Arc;
use tokio::sync::oneshot;

pub(super) type Ask = State<Arc<Page>>;
pub(super) type Answer<T> = Result<T, Problem>;

/// Does this where waiting does no harm. One kind of task for all that is asked: of each kind a whole runtime's worth of
/// code is made.
async fn apart(task: Box<dyn FnOnce() + Send>) {
    // A task that panicked has told nothing, and that is seen by whoever waits to be told.
    let _ = tokio::task::spawn_blocking(task).await;
}

/// Asks the desk where waiting does no harm.
pub(super) async fn desk<T: Send + 'static>(
    page: &Arc<Page>,
    ask: impl FnOnce(&dyn Desk) -> Result<T, Refusal> + Send + 'static,
) -> Answer<T> {
    let desk = page.desk.clone();
    let (tell, told) = oneshot::channel();
    apart(Box::new(move || drop(tell.send(ask(desk.as_ref()))))).await;
    told.await
        .map_err(|_| Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "the daemon failed: see its log"))?
        .map_err(Problem::from)
}

/// Everything that is true now.
#[utoipa::path(get, path = "/api/now", responses((status = 200, body = Now), Refusals))]
pub(super) async fn now(State(page): Ask) -> Json<Now> {
    Json(Now::clone(&page.now.borrow()))
}

/// The scale's part of it.
#[utoipa::path(get, path = "/api/scale", responses((status = 200, body = ScaleView), Refusals))]
pub(super) async fn scale(State(page): Ask) -> Json<ScaleView> {
    Json(page.now.borrow().scale.clone())
}

/// The spare weight: a pebble that lies at rest on the bare pan now. Set there in a batch, it voids the last record.
///
/// Not at rest, too light, too heavy, too near to a piece of the log, or a batch under way: 409.
#[utoipa::path(post, path = "/api/scale/spare", request_body = SpareRequest, responses((status = 200, body = SpareView), Refusals))]
pub(super) async fn spare(State(page): Ask, Object(object): Object) -> Answer<Json<SpareView>> {
    let off = off(object)?;
    desk(&page, move |desk| desk.spare(off))
        .await
        .map(|kept| Json(SpareView { spare_g: kept.map(Mass::told_g) }))
}

/// The only thing that may be asked is whether it is off.
pub(super) fn off(mut object: Map<String, Value>) -> Answer<bool> {
    let off = match object.remove("off") {
        None | Some(Value::Null) => false,
        Some(Value::Bool(off)) => off,
        Some(Value::Number(_) | Value::String(_) | Value::Array(_) | Value::Object(_)) => {
            return Err(Problem::field("off", "expected true or false"));
        }
    };
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(key, "unknown field: this request takes only off"));
    }
    Ok(off)
}

/// The response test of the scale begins: it leads through its steps by what the scale shows (`lag_test` of the snapshot),
/// finds how late the scale is and how it smooths, and keeps that. `off`: it is left off; so it is when a batch begins.
///
/// A batch, a calibration, a check or things being weighed under way: 409, and that goes on.
#[utoipa::path(post, path = "/api/scale/lag", request_body = LagTestRequest, responses((status = 200, body = LagTestReply), Refusals))]
pub(super) async fn test_scale(State(page): Ask, Object(object): Object) -> Answer<Json<LagTestReply>> {
    let off = off(object)?;
    desk(&page, move |desk| desk.test_scale(off)).await.map(|lag_test| Json(LagTestReply { lag_test }))
}

/// The grams for a piece, with every step.
#[utoipa::path(post, path = "/api/target", request_body = TargetRequest, responses((status = 200, body = TargetReply), Refusals))]
pub(super) async fn reckon(State(page): Ask, Object(object): Object) -> Answer<Json<TargetReply>> {
    let request = from_value(&Value::Object(object))?;
    let target = weighed(&page, &request).await?;
    let mut reply = TargetReply::from(&target);
    reply.steps.extend(crate::batch::in_unit(&target, page.shown));
    Ok(Json(reply))
}

/// The target of a request; where nothing is said of how well a piece is weighed, as the scale's calibration has it.
async fn weighed(page: &Arc<Page>, request: &TargetRequest) -> Answer<Target> {
    let found = target(request)?;
    if found.piece_uncertainty.is_some() {
        return Ok(found);
    }
    let net = found.target;
    Ok(match desk(page, move |desk| desk.weighed_to(net)).await? {
        Some(u) => found.weighed_to(u),
        None => found,
    })
}

/// The version of this glaze on its shelf that is the bucket of this request, with when it was measured; the newest of
/// those that are.
async fn bucket(
    page: &Arc<Page>,
    glaze: Option<&str>,
    request: &Map<String, Value>,
) -> Answer<Option<(u32, WallTime)>> {
    let (Some(glaze), Some(told)) = (glaze.map(str::to_owned), measured(request)) else { return Ok(None) };
    let versions = desk(page, move |desk| desk.versions(Shelf::Glaze, &glaze)).await?;
    let same = |r: &&ShelfRecord| {
        let body = r.body.as_deref().and_then(|body| serde_json::from_str(body).ok());
        body.is_some_and(|body: Map<String, Value>| measured(&body).is_some_and(|kept| kept == told))
    };
    let measured = versions.iter().filter(same).find(|r| !super::shelf::slop_came(r));
    Ok(versions.iter().find(same).map(|r| (r.version, measured.unwrap_or(r).made_at)))
}

/// The bucket as it is read, so that `1000` and `1000.0` are one, and its water.
fn measured(of: &Map<String, Value>) -> Option<(GlazeRequest, Option<f64>)> {
    let glaze = serde_json::from_value(of.get("glaze")?.clone()).ok()?;
    Some((glaze, of.get("water_c").and_then(Value::as_f64)))
}

/// The inside in words: as it is called on its shelf, or its shape and sizes.
async fn form_name(page: &Arc<Page>, form: Option<&Value>) -> Answer<Option<String>> {
    let Some(form) = form.filter(|form| form.is_object()).cloned() else { return Ok(None) };
    let all = desk(page, |desk| desk.shelves(false)).await?;
    let same = |r: &&ShelfRecord| {
        let body = r.body.as_deref().and_then(|body| serde_json::from_str::<Value>(body).ok());
        r.shelf == Shelf::Form && body.is_some_and(|body| body["form"] == form)
    };
    Ok(all.iter().find(same).map(|r| r.name.clone()).or_else(|| Some(crate::batch::shelf::form_words(&form))))
}

/// Another target with the tolerance of this one; `None` where that leaves no room.
pub(super) fn aim(batch: &Target, target: Mass) -> Option<Aim> {
    batch.limits_of(target).map(|(low, high)| Aim { target, low, high })
}

/// Makes a batch; it begins later.
#[utoipa::path(post, path = "/api/batches", request_body = BatchRequest, responses((status = 201, body = MadeView), Refusals))]
pub(super) async fn create(
    State(page): Ask,
    Object(mut object): Object,
) -> Answer<(StatusCode, Json<MadeView>)> {
    let whole = Value::Object(object.clone()).to_string();
    let targets_g = object.remove("targets_g").filter(|value| !value.is_null());
    let plan = plan::plan(&mut object)?;
    let bucket = bucket(&page, plan.glaze_name.as_deref(), &object).await?;
    let form = form_name(&page, object.get("form")).await?;
    let request = from_value(&Value::Object(object)).map_err(plan::with_own_fields)?;
    let target = weighed(&page, &request).await?;
    let ladder = match targets_g {
        None => plan::climbed(&target)?,
        Some(_) if !target.ladder.is_empty() => {
            return Err(Problem::field("targets_g", "given beside ladder; leave one of them out"));
        }
        Some(told) => plan::ladder(&told, &target)?,
    };
    let record = BatchRecord {
        id: uuid::Uuid::now_v7().to_string(),
        pieces: plan.pieces_for(&ladder),
        name: plan.name,
        target: target.target,
        low: target.low,
        high: target.high,
        ladder,
        solids_fraction: target.solids_fraction,
        pourer: plan.pourer,
        jug: plan.jug,
        vessel: plan.vessel,
        finish: plan.finish,
        glaze_name: plan.glaze_name,
        bucket: bucket.map(|(version, _)| version),
        measured_at: bucket.map(|(_, at)| at),
        bare: plan.bare,
        form,
        fired: target.fired(),
        request: whole,
        created_at: page.desk.wall_time(),
        begun_at: None,
        ended_at: None,
    };
    let made = desk(&page, move |desk| desk.create(record)).await?;
    Ok((StatusCode::CREATED, Json(MadeView::new(made.id, &target))))
}

/// Begins a batch: the pieces that land from now on are its own.
///
/// Begun already: the same answer again. Another batch begun: 409.
#[utoipa::path(post, path = "/api/batches/{id}/begin", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = BegunView), Refusals))]
pub(super) async fn begin(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Response> {
    let begun = desk(&page, move |desk| desk.begin(&id)).await?;
    let view = Json(BegunView::from(&begun));
    Ok((Extension(Exact(begun.exact_g)), view).into_response())
}

/// Ends a batch.
#[utoipa::path(post, path = "/api/batches/{id}/end", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = BegunView), Refusals))]
pub(super) async fn end(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<BegunView>> {
    desk(&page, move |desk| desk.end(&id)).await.map(|b| Json(BegunView::from(&b)))
}

/// The piece still stands on the pan though the display went to zero by itself: the pour goes on from
/// what it weighed (`offered_g` of the snapshot). Nothing is offered: 409.
#[utoipa::path(post, path = "/api/batches/{id}/still-on", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = BegunView), Refusals))]
pub(super) async fn still_on(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<BegunView>> {
    desk(&page, move |desk| desk.still_on(&id)).await.map(|b| Json(BegunView::from(&b)))
}

/// All batches, newest first; or as many as `latest` says.
#[utoipa::path(get, path = "/api/batches", params(("latest" = Option<u32>, Query, description = "At most so many")), responses((status = 200, body = Vec<BatchView>), Refusals))]
pub(super) async fn batches(State(page): Ask, query: Asked) -> Answer<Json<Vec<BatchView>>> {
    let asked = asked(query, &["latest"])?;
    let latest = said(&asked, "latest").map(|word| {
        word.parse::<u32>().map_err(|_| Problem::field("latest", "expected a whole number, such as 200"))
    });
    let found = match latest.transpose()? {
        Some(most) => desk(&page, move |desk| desk.latest(most)).await?,
        None => desk(&page, |desk| desk.batches()).await?,
    };
    Ok(Json(found.iter().map(BatchView::from).collect()))
}

/// One batch.
#[utoipa::path(get, path = "/api/batches/{id}", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = BatchView), Refusals))]
pub(super) async fn batch(State(page): Ask, Id(id): Id) -> Answer<Json<BatchView>> {
    desk(&page, move |desk| desk.batch(&id)).await.map(|b| Json(BatchView::from(&b)))
}

/// What each piece got: the newest revision of each pour.
#[utoipa::path(get, path = "/api/batches/{id}/pours", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = Vec<PourView>), Refusals))]
pub(super) async fn pours(State(page): Ask, Id(id): Id) -> Answer<Json<Vec<PourView>>> {
    let found = desk(&page, move |desk| desk.pours(&id)).await?;
    Ok(Json(found.iter().map(PourView::from).collect()))
}

/// A pour as the scale saw it: net grams over seconds.
#[utoipa::path(get, path = "/api/pours/{id}/curve", params(("id" = String, Path, description = "Id of the pour")), responses((status = 200, body = CurveView), Refusals))]
pub(super) async fn curve(State(page): Ask, Id(id): Id) -> Answer<Json<CurveView>> {
    desk(&page, move |desk| desk.curve(&id)).await.map(|(pour, curve)| Json(CurveView::new(&pour, curve)))
}

/// The stored readings of a pour as a file: `tarebell replay` shows from it what was cued and why.
///
/// None are kept of it: 404.
#[utoipa::path(get, path = "/api/pours/{id}/trace", params(("id" = String, Path, description = "Id of the pour")), responses(
    (status = 200, body = Vec<u8>, content_type = "application/octet-stream"), Refusals
))]
pub(super) async fn trace(State(page): Ask, Id(id): Id) -> Answer<Response> {
    let bytes = desk(&page, move |desk| desk.trace(&id)).await?;
    Ok(([(header::CONTENT_TYPE, "application/octet-stream")], bytes).into_response())
}

/// Takes a pour out of the count of its batch, while that has not ended: a further revision, void.
///
/// Void already: the same answer again. Still being poured, or the batch has ended: 409.
#[utoipa::path(post, path = "/api/pours/{id}/void", params(("id" = String, Path, description = "Id of the pour")), responses((status = 200, body = PourView), Refusals))]
pub(super) async fn void(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<PourView>> {
    desk(&page, move |desk| desk.void(&id)).await.map(|p| Json(PourView::from(&p)))
}

/// Voids a pour, while its batch has not ended, and gives its number to the next piece: that gets a record of
/// its own with the same number.
///
/// Asked twice: the same answer again. Still being poured, poured again already, or the batch has ended: 409.
#[utoipa::path(post, path = "/api/pours/{id}/redo", params(("id" = String, Path, description = "Id of the pour")), responses((status = 200, body = PourView), Refusals))]
pub(super) async fn redo(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<PourView>> {
    desk(&page, move |desk| desk.redo(&id)).await.map(|p| Json(PourView::from(&p)))
}

/// Leaves the next number of the batch under way out: that piece broke.
///
/// Not under way, or a piece on the scale that has no weight yet: 409.
#[utoipa::path(post, path = "/api/batches/{id}/skip", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = LeftOutView), Refusals))]
pub(super) async fn skip(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<LeftOutView>> {
    desk(&page, move |desk| desk.skip(&id)).await.map(|left_out| Json(LeftOutView { left_out }))
}

/// The same as a table (RFC 4180).
#[utoipa::path(get, path = "/api/batches/{id}/pours.csv", params(("id" = String, Path, description = "Id of the batch")), responses(
    (status = 200, body = String, content_type = "text/csv"), Refusals
))]
pub(super) async fn table(State(page): Ask, Id(id): Id) -> Answer<Response> {
    let found = desk(&page, move |desk| desk.pours(&id)).await?;
    let text = super::table::of_batch(&found);
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text).into_response())
}
