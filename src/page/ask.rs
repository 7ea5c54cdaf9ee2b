//! The requests: each parsed at the edge, answered by the desk.

use super::Page;
use super::desk::{Desk, Refusal};
use super::problem::{Problem, Refusals};
use super::take::{Id, Nothing, Object, name};
use super::view::{BatchRequest, BatchView, BegunView, CurveView, MadeView, Now, PourView, ScaleView};
use crate::batch::request::from_value;
use crate::batch::{TargetReply, TargetRequest, target};
use crate::record::BatchRecord;
use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};
use std::sync::Arc;

type Ask = State<Arc<Page>>;
type Answer<T> = Result<T, Problem>;

/// Asks the desk where waiting does no harm.
async fn desk<T: Send + 'static>(
    page: &Arc<Page>,
    ask: impl FnOnce(&dyn Desk) -> Result<T, Refusal> + Send + 'static,
) -> Answer<T> {
    let desk = page.desk.clone();
    let done = tokio::task::spawn_blocking(move || ask(desk.as_ref())).await;
    done.map_err(|_| Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "the daemon failed: see its log"))?
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

/// The grams for a piece, with every step.
#[utoipa::path(post, path = "/api/target", request_body = TargetRequest, responses((status = 200, body = TargetReply), Refusals))]
pub(super) async fn reckon(Object(object): Object) -> Answer<Json<TargetReply>> {
    let request = from_value(&Value::Object(object))?;
    Ok(Json(TargetReply::from(&target(&request)?)))
}

/// What a batch has besides its target.
struct Plan {
    name: String,
    pieces: u32,
    pourer: Option<String>,
    jug: Option<String>,
}

fn plan(object: &mut Map<String, Value>) -> Answer<Plan> {
    let title = name(object, "name")?.unwrap_or_else(|| "batch".to_owned());
    let pieces = match object.remove("pieces") {
        None => 1,
        Some(value) => value
            .as_u64()
            .and_then(|n| u32::try_from(n).ok())
            .filter(|n| (1..=1000).contains(n))
            .ok_or_else(|| Problem::field("pieces", "expected a whole number from 1 to 1000"))?,
    };
    match object.remove("method") {
        None => {}
        Some(method) if method == "pour-in" => {}
        Some(_) => return Err(Problem::field("method", "only \"pour-in\" is built so far")),
    }
    if object.remove("targets_g").is_some() {
        return Err(Problem::field("targets_g", "a target for each piece is not built yet: leave it out"));
    }
    Ok(Plan { name: title, pieces, pourer: name(object, "pourer")?, jug: name(object, "jug")? })
}

/// Makes a batch; it begins later.
#[utoipa::path(post, path = "/api/batches", request_body = BatchRequest, responses((status = 201, body = MadeView), Refusals))]
pub(super) async fn create(
    State(page): Ask,
    Object(mut object): Object,
) -> Answer<(StatusCode, Json<MadeView>)> {
    let whole = Value::Object(object.clone()).to_string();
    let plan = plan(&mut object)?;
    let target = target(&from_value(&Value::Object(object))?)?;
    let record = BatchRecord {
        id: uuid::Uuid::now_v7().to_string(),
        name: plan.name,
        pieces: plan.pieces,
        target: target.target,
        low: target.low,
        high: target.high,
        solids_fraction: target.solids_fraction,
        pourer: plan.pourer,
        jug: plan.jug,
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
pub(super) async fn begin(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<BegunView>> {
    desk(&page, move |desk| desk.begin(&id)).await.map(|b| Json(BegunView::from(&b)))
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

/// All batches, newest first.
#[utoipa::path(get, path = "/api/batches", responses((status = 200, body = Vec<BatchView>), Refusals))]
pub(super) async fn batches(State(page): Ask) -> Answer<Json<Vec<BatchView>>> {
    let found = desk(&page, |desk| desk.batches()).await?;
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

/// Takes a pour out of the count of its batch, while that has not ended: a further revision, void.
///
/// Void already: the same answer again. Still being poured, or the batch has ended: 409.
#[utoipa::path(post, path = "/api/pours/{id}/void", params(("id" = String, Path, description = "Id of the pour")), responses((status = 200, body = PourView), Refusals))]
pub(super) async fn void(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<PourView>> {
    desk(&page, move |desk| desk.void(&id)).await.map(|p| Json(PourView::from(&p)))
}

/// Columns of the table, all of the record's plain fields.
const COLUMNS: [&str; 14] = [
    "piece",
    "started_at",
    "net_g",
    "first_net_g",
    "net_u_g",
    "target_g",
    "low_g",
    "high_g",
    "verdict",
    "settled",
    "guided",
    "interrupted",
    "top_ups",
    "tare_g",
];

/// The same as a table (RFC 4180).
#[utoipa::path(get, path = "/api/batches/{id}/pours.csv", params(("id" = String, Path, description = "Id of the batch")), responses(
    (status = 200, body = String, content_type = "text/csv"), Refusals
))]
pub(super) async fn table(State(page): Ask, Id(id): Id) -> Answer<Response> {
    let found = desk(&page, move |desk| desk.pours(&id)).await?;
    let mut text = COLUMNS.join(",") + "\r\n";
    for pour in &found {
        let row = json!(PourView::from(pour));
        let cell = |column: &&str| match &row[*column] {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            plain @ (Value::Bool(_) | Value::Number(_) | Value::Array(_) | Value::Object(_)) => {
                plain.to_string()
            }
        };
        text += &(COLUMNS.iter().map(cell).collect::<Vec<_>>().join(",") + "\r\n");
    }
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text).into_response())
}
