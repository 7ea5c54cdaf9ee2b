//! The potter's own glazes, forms and coats: asked for, changed, handed out and taken in as one text.
//!
//! What can't be reckoned with is refused before it stands on a shelf.

use super::ask::{Answer, Ask, aim, desk};
use super::desk::Refusal;
use super::problem::{Problem, Refusals};
use super::shelf_text;
use super::take::{Id, Nothing, Object, Shelved, name};
use super::told::Json;
use super::view::{MadeView, ShelfImport, ShelfImported, ShelfRequest, ShelfView, ShelvesView};
use crate::batch::Target;
use crate::batch::shelf::{check_coat, check_form, check_glaze, with_bucket};
use crate::record::{Aim, BatchRecord, Shelf, ShelfRecord, Slop};
use crate::units::Mass;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value};

/// All that stands on the shelves: the newest version of each.
#[utoipa::path(get, path = "/api/shelves", responses((status = 200, body = ShelvesView), Refusals))]
pub(super) async fn shelves(State(page): Ask) -> Answer<Json<ShelvesView>> {
    let all = desk(&page, |desk| desk.shelves(false)).await?;
    Ok(Json(ShelvesView::of(&all)))
}

/// All versions of each thing that ever stood there, as a text (TOML) that can be kept, read and taken in elsewhere.
#[utoipa::path(get, path = "/api/shelves.toml", responses(
    (status = 200, body = String, content_type = "application/toml"), Refusals
))]
pub(super) async fn text(State(page): Ask) -> Answer<Response> {
    let all = desk(&page, |desk| desk.shelves(true)).await?;
    let kind = [(header::CONTENT_TYPE, "application/toml; charset=utf-8")];
    Ok((kind, shelf_text::write(&all)).into_response())
}

/// Puts a new version of a glaze, a form or a coat on its shelf, or takes it off (`what` is null).
///
/// The same as the newest already, and no note of what was done: that one is the answer, with 200.
#[utoipa::path(post, path = "/api/shelves", request_body = ShelfRequest, responses((status = 201, body = ShelfView), (status = 200, body = ShelfView), Refusals))]
pub(super) async fn put(
    State(page): Ask,
    Object(mut object): Object,
) -> Answer<(StatusCode, Json<ShelfView>)> {
    let record = asked(&mut object, page.desk.wall_time())?;
    let (shelf, called) = (record.shelf, record.name.clone());
    let newest =
        move |desk: &dyn super::desk::Desk| desk.versions(shelf, &called).map(|v| v.into_iter().next());
    let before = desk(&page, newest.clone()).await?;
    // Measured again with the same numbers is news: the bucket was looked at.
    let same = |b: &&ShelfRecord| record.note.is_empty() && b.body == record.body && b.body.is_some();
    if let Some(same) = before.as_ref().filter(same) {
        return Ok((StatusCode::OK, Json(ShelfView::of(same))));
    }
    if record.body.is_none() && before.is_none_or(|b| b.body.is_none()) {
        let why = format!("no {} '{}' stands there: GET /api/shelves lists them", shelf.word(), record.name);
        return Err(Problem::from(Refusal::Missing(why)));
    }
    desk(&page, move |desk| desk.put(vec![record])).await?;
    let now = desk(&page, newest).await?.ok_or_else(|| {
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "it was written and is not there; please report it")
    })?;
    Ok((StatusCode::CREATED, Json(ShelfView::of(&now))))
}

/// Every version of one glaze, form or coat, the newest first; those after it was taken off and put there again too.
#[utoipa::path(get, path = "/api/shelves/{shelf}/{name}", params(
    ("shelf" = String, Path, description = "`glaze`, `form` or `coat`"),
    ("name" = String, Path, description = "What the potter calls it"),
), responses((status = 200, body = Vec<ShelfView>), Refusals))]
pub(super) async fn history(State(page): Ask, Shelved(shelf, name): Shelved) -> Answer<Json<Vec<ShelfView>>> {
    let called = name.clone();
    let versions = desk(&page, move |desk| desk.versions(shelf, &called)).await?;
    if versions.is_empty() {
        let why = format!("no {} '{name}' ever stood there: GET /api/shelves lists them", shelf.word());
        return Err(Problem::from(Refusal::Missing(why)));
    }
    Ok(Json(versions.iter().map(ShelfView::of).collect()))
}

/// Takes in a text as `GET /api/shelves.toml` hands out: each thing that is not there as it is becomes a new version.
/// All of it, or nothing where something in it can't be used.
#[utoipa::path(post, path = "/api/shelves/import", request_body = ShelfImport, responses((status = 200, body = ShelfImported), Refusals))]
pub(super) async fn import(State(page): Ask, Object(mut object): Object) -> Answer<Json<ShelfImported>> {
    let Some(Value::String(text)) = object.remove("toml") else {
        return Err(Problem::field("toml", "expected the text of a file that was handed out here"));
    };
    no_more(&object)?;
    let told = shelf_text::read(&text, page.desk.wall_time()).map_err(|why| Problem::field("toml", why))?;
    for record in &told {
        check(record.shelf, record.body.as_deref()).map_err(|refused| {
            let why = format!("{} '{}': {refused}", record.shelf.word(), record.name);
            Problem::field("toml", why)
        })?;
    }
    let known = desk(&page, |desk| desk.shelves(true)).await?;
    let all = told.len();
    let new = not_there(&told, &known);
    let taken_in = ShelfImported { added: new.len(), there_already: all.saturating_sub(new.len()) };
    if !new.is_empty() {
        desk(&page, move |desk| desk.put(new)).await?;
    }
    Ok(Json(taken_in))
}

/// Of each thing the versions that never stood there; and its last one again where another holds by now, or none.
fn not_there(told: &[ShelfRecord], known: &[ShelfRecord]) -> Vec<ShelfRecord> {
    let mut new: Vec<ShelfRecord> = Vec::new();
    let of = |a: &ShelfRecord, b: &ShelfRecord| a.shelf == b.shelf && a.name == b.name;
    for (n, record) in told.iter().enumerate() {
        let is_last = !told.iter().skip(n + 1).any(|later| of(later, record));
        let newest = known.iter().filter(|k| of(k, record)).max_by_key(|k| k.version);
        let holds = new.iter().rev().find(|k| of(k, record)).or(newest);
        let there = known.iter().any(|k| of(k, record) && k.body == record.body);
        let held = holds.is_some_and(|k| k.body == record.body);
        if !there || is_last && !held {
            new.push(record.clone());
        }
    }
    new
}

/// The bucket of a batch has changed: from its next piece on, what stands on the shelf under its glaze's name now holds.
///
/// Pieces poured before keep what they should have got. Nothing on the shelf, grams typed in, or the same version as
/// before: 409.
#[utoipa::path(post, path = "/api/batches/{id}/bucket", params(("id" = String, Path, description = "Id of the batch")), responses((status = 200, body = MadeView), Refusals))]
pub(super) async fn bucket(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<MadeView>> {
    let batch = desk(&page, move |desk| desk.batch(&id)).await?;
    let Some(glaze) = batch.glaze_name.clone() else {
        return Err(conflict("this batch names no glaze: make one that does"));
    };
    let called = glaze.clone();
    let all = desk(&page, move |desk| desk.versions(Shelf::Glaze, &called)).await?;
    let measured_at = all.iter().find(|version| !slop_came(version)).map(|version| version.made_at);
    let newest = all.into_iter().next();
    let Some((version, made_at, body)) = newest.and_then(|n| Some((n.version, n.made_at, n.body?))) else {
        return Err(conflict(&format!("no glaze '{glaze}' stands on the shelf: put it there first")));
    };
    if batch.bucket == Some(version) {
        return Err(conflict("the batch goes by this version already"));
    }
    let (request, target) = with_bucket(&batch.request, &object(&body)).map_err(|r| conflict(&r.reason))?;
    let ladder = climbs_on(&batch, &target);
    let record = BatchRecord {
        target: target.target,
        low: target.low,
        high: target.high,
        solids_fraction: target.solids_fraction,
        ladder: ladder.ok_or_else(|| conflict("a piece of its own target would be out of reach"))?,
        bucket: Some(version),
        measured_at: measured_at.or(Some(made_at)),
        request,
        ..batch
    };
    let id = record.id.clone();
    desk(&page, move |desk| desk.retarget(record)).await?;
    Ok(Json(MadeView::new(id, &target)))
}

/// It only says that slop came: nothing was measured then.
pub(super) fn slop_came(version: &ShelfRecord) -> bool {
    let body = version.body.as_deref().map(object).unwrap_or_default();
    Slop::MEMBERS.iter().any(|member| body.contains_key(*member))
}

/// The same dry powder in the bucket as it is now. `None` where a target would be out of reach.
fn climbs_on(batch: &BatchRecord, new: &Target) -> Option<Vec<Aim>> {
    let share = new.target.g() / batch.target.g();
    batch.ladder.iter().map(|rung| aim(new, Mass::saturating(rung.target.g() * share))).collect()
}

fn conflict(why: &str) -> Problem {
    Problem::from(Refusal::Conflict(why.to_owned()))
}

fn asked(object: &mut Map<String, Value>, now: crate::time::WallTime) -> Answer<ShelfRecord> {
    let shelf = name(object, "shelf")?.and_then(|word| Shelf::from_word(&word));
    let shelf = shelf.ok_or_else(|| {
        Problem::field("shelf", format!("expected one of {}", Shelf::ALL.map(Shelf::word).join(", ")))
    })?;
    let called =
        name(object, "name")?.ok_or_else(|| Problem::field("name", "missing: what do you call it?"))?;
    // A field of the page that nothing was typed into.
    if object.get("note").and_then(Value::as_str) == Some("") {
        object.remove("note");
    }
    let note = name(object, "note")?.unwrap_or_default();
    let body = match object.remove("what") {
        Some(Value::Object(mut what)) => {
            // Only a refill says that slop came; what is told here was measured.
            what.retain(|member, _| !Slop::MEMBERS.contains(&member.as_str()));
            Some(without_nulls(Value::Object(what)).to_string())
        }
        Some(Value::Null) => None,
        _ => return Err(Problem::field("what", "expected an object; or null, to take it off the shelf")),
    };
    no_more(object)?;
    check(shelf, body.as_deref())?;
    Ok(ShelfRecord { shelf, name: called, version: 0, body, note, made_at: now })
}

/// A null says nothing, and no file of shelves can hold one.
fn without_nulls(value: Value) -> Value {
    match value {
        Value::Object(map) => {
            map.into_iter().filter(|(_, v)| !v.is_null()).map(|(k, v)| (k, without_nulls(v))).collect()
        }
        Value::Array(list) => list.into_iter().map(without_nulls).collect(),
        plain @ (Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_)) => plain,
    }
}

fn no_more(object: &Map<String, Value>) -> Answer<()> {
    object.keys().next().map_or(Ok(()), |key| Err(Problem::field(key, "unknown field: leave it out")))
}

fn check(shelf: Shelf, body: Option<&str>) -> Result<(), crate::batch::Refused> {
    let Some(body) = body.map(object) else { return Ok(()) };
    match shelf {
        Shelf::Glaze => check_glaze(&body),
        Shelf::Form => check_form(&body),
        Shelf::Coat => check_coat(&body),
    }
    .map_err(|refused| crate::batch::Refused::new(format!("what.{}", refused.field), refused.reason))
}

/// What stands on a shelf was an object when it was put there.
fn object(body: &str) -> Map<String, Value> {
    serde_json::from_str(body).unwrap_or_default()
}
