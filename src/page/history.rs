//! The log as a whole: found again, compared, brought in from elsewhere, copied, put back.

use super::Page;
use super::ask::{Answer, Ask, desk};
use super::desk::Refusal;
use super::intake::unknown;
use super::problem::{Problem, Refusals};
use super::review::{Asked, asked, image, palette, said, size};
use super::table::{whole_head, whole_rows};
use super::take::{Id, Nothing, Object, name};
use super::told::{self, Json};
use super::view::{
    BackupView, BatchView, ComparisonView, DoneView, FoundView, HistoryRequest, LabelRequest, LookView,
    PourView, PourerRequest, SwitchRequest,
};
use crate::intake::{Column, DateOrder, Intake, Mapping, look};
use crate::plot::svg;
use crate::record::{BatchRecord, History, PourRecord, Search, Verdict};
use crate::review::trend::{By, compare, plot};
use crate::time::WallTime;
use axum::body::Body;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde_json::{Map, Value, json};
use std::io::Read;
use std::sync::Arc;

/// Most pours of one answer.
const MOST_FOUND: usize = 200;

fn one_of<T: Copy>(
    all: &[T],
    word: impl Fn(T) -> &'static str,
    told: &str,
    field: &'static str,
) -> Answer<T> {
    let words = || all.iter().map(|t| word(*t)).collect::<Vec<_>>().join(", ");
    let found = all.iter().copied().find(|t| word(*t) == told);
    found.ok_or_else(|| Problem::field(field, format!("'{told}' is none of {}", words())))
}

/// A day in an address: it begins at its midnight, in UTC.
fn day(asked: &[(String, String)], key: &'static str) -> Answer<Option<WallTime>> {
    let Some(told) = said(asked, key) else { return Ok(None) };
    let found = WallTime::from_rfc3339(told).or_else(|| WallTime::from_rfc3339(&format!("{told}T00:00:00Z")));
    found.map(Some).ok_or_else(|| Problem::field(key, "expected a day such as 2026-01-31"))
}

/// Pours by date, glaze, verdict and words, the latest first, at most 200.
#[utoipa::path(get, path = "/api/pours", params(
    ("from" = Option<String>, Query, description = "Poured on this day or later (RFC 3339, or a day)"),
    ("before" = Option<String>, Query, description = "Poured before this day"),
    ("glaze" = Option<String>, Query, description = "Of this glaze, in capitals or not"),
    ("verdict" = Option<String>, Query, description = "good, short, over or void"),
    ("words" = Option<String>, Query, description = "Stand in the label, or in the batch's name"),
), responses((status = 200, body = Vec<FoundView>), Refusals))]
pub(super) async fn find(State(page): Ask, query: Asked) -> Answer<Json<Vec<FoundView>>> {
    let asked = asked(query, &["from", "before", "glaze", "verdict", "words"])?;
    let verdicts = [Verdict::Good, Verdict::Short, Verdict::Over, Verdict::Void];
    let verdict =
        said(&asked, "verdict").map(|word| one_of(&verdicts, Verdict::word, word, "verdict")).transpose()?;
    let text = |key: &str| said(&asked, key).map(str::to_owned);
    let search = Search {
        from: day(&asked, "from")?,
        before: day(&asked, "before")?,
        glaze: text("glaze"),
        verdict,
        words: text("words"),
    };
    let found = desk(&page, move |desk| desk.find(&search, MOST_FOUND)).await?;
    Ok(Json(found.iter().map(FoundView::from).collect()))
}

async fn compared(page: &Arc<Page>, by: By) -> Answer<ComparisonView> {
    let (tallies, by_pourer) = desk(page, |desk| Ok((desk.tallies()?, desk.by_pourer()?))).await?;
    if by == By::Pourer && !by_pourer {
        let why = "comparing by who pours is off: it is switched on with POST /api/history/by-pourer";
        return Err(Problem::from(Refusal::Conflict(why.to_owned())));
    }
    Ok(ComparisonView { by_pourer, comparison: compare(&tallies, by) })
}

fn by(asked: &[(String, String)]) -> Answer<By> {
    one_of(&By::ALL, By::word, said(asked, "by").unwrap_or(By::Time.word()), "by")
}

/// Batches compared: `by` is `time`, `glaze`, `form`, `guidance`, or `pourer` where that is switched on (else 409).
#[utoipa::path(get, path = "/api/trend", params(("by" = Option<String>, Query, description = "By what")), responses(
    (status = 200, body = ComparisonView), Refusals
))]
pub(super) async fn trend(State(page): Ask, query: Asked) -> Answer<Json<ComparisonView>> {
    let by = by(&asked(query, &["by"])?)?;
    compared(&page, by).await.map(Json)
}

/// The spread of what is compared, as an image. Too little to draw: 404.
#[utoipa::path(get, path = "/api/trend/plot", params(
    ("by" = Option<String>, Query, description = "By what"),
    ("palette" = Option<String>, Query, description = "light, dark or print"),
    ("size" = Option<String>, Query, description = "wide or narrow"),
), responses((status = 200, body = String, content_type = "image/svg+xml"), Refusals))]
pub(super) async fn trend_plot(State(page): Ask, query: Asked) -> Answer<Response> {
    let asked = asked(query, &["by", "palette", "size"])?;
    let (by, palette, size) = (by(&asked)?, palette(&asked)?, size(&asked)?);
    let drawn = plot(&compared(&page, by).await?.comparison);
    let drawn =
        drawn.ok_or_else(|| Problem::new(StatusCode::NOT_FOUND, "too little is known for this plot"))?;
    Ok(image(svg(&drawn, size, palette)))
}

fn no_more(object: &Map<String, Value>) -> Answer<()> {
    object.keys().next().map_or(Ok(()), |key| Err(Problem::field(key, "unknown field: leave it out")))
}

async fn keep(page: &Arc<Page>, history: History) -> Answer<()> {
    desk(page, move |desk| desk.keep(history)).await
}

/// What the potter calls a piece; null: no longer. A further revision of its record.
#[utoipa::path(post, path = "/api/pours/{id}/label", params(("id" = String, Path, description = "Id of the pour")),
    request_body = LabelRequest, responses((status = 200, body = PourView), Refusals))]
pub(super) async fn label(
    State(page): Ask,
    Id(id): Id,
    Object(mut object): Object,
) -> Answer<Json<PourView>> {
    let Some(told) = object.get("label") else {
        return Err(Problem::field("label", "missing: expected a label, or null to take it off"));
    };
    if told.as_str() == Some("") {
        object.insert("label".to_owned(), Value::Null);
    }
    let label = name(&mut object, "label")?.unwrap_or_default();
    no_more(&object)?;
    let of = id.clone();
    let pour = desk(&page, move |desk| desk.pour_of(&of)).await?;
    if pour.rev == 0 {
        return Err(Problem::from(Refusal::Conflict(
            "it is still being poured: label it when it is weighed".to_owned(),
        )));
    }
    keep(&page, History::Labelled { pour: id.clone(), label }).await?;
    desk(&page, move |desk| desk.pour_of(&id)).await.map(|p| Json(PourView::from(&p)))
}

/// Whether batches may be compared by who poured. Off until somebody wants it.
#[utoipa::path(post, path = "/api/history/by-pourer", request_body = SwitchRequest, responses((status = 200, body = SwitchRequest), Refusals))]
pub(super) async fn by_pourer(State(page): Ask, Object(mut object): Object) -> Answer<Json<SwitchRequest>> {
    let Some(Value::Bool(on)) = object.remove("on") else {
        return Err(Problem::field("on", "expected true or false"));
    };
    no_more(&object)?;
    keep(&page, History::ByPourer(on)).await?;
    Ok(Json(SwitchRequest { on }))
}

/// Takes a nickname out of all batches, with what was learned of that hand. What was poured stays.
#[utoipa::path(post, path = "/api/history/forget", request_body = PourerRequest, responses((status = 200, body = DoneView), Refusals))]
pub(super) async fn forget(State(page): Ask, Object(mut object): Object) -> Answer<Json<DoneView>> {
    let pourer =
        name(&mut object, "pourer")?.ok_or_else(|| Problem::field("pourer", "missing: which nickname?"))?;
    no_more(&object)?;
    let batches = desk(&page, |desk| desk.batches()).await?;
    let of = batches.iter().filter(|b| b.pourer.as_deref() == Some(pourer.as_str())).count();
    keep(&page, History::Forgotten { pourer }).await?;
    Ok(Json(DoneView { done: of }))
}

/// The mapping that was agreed on, or none.
fn mapping(object: &mut Map<String, Value>) -> Answer<Option<Mapping>> {
    let usual = usual(object)?;
    let Some(told) = object.remove("mapping").filter(|value| !value.is_null()) else {
        return Ok(usual.map(|usual| Mapping { usual: Some(usual), ..Mapping::default() }));
    };
    let field = |key: &str| Problem::field(format!("mapping.{key}"), "expected as GET tells it: look first");
    let text = |key: &'static str| told.get(key).and_then(Value::as_str).ok_or_else(|| field(key));
    let between = text("between")?.chars().next().ok_or_else(|| field("between"))?;
    let comma = told.get("comma").and_then(Value::as_bool).ok_or_else(|| field("comma"))?;
    let dates = one_of(&DateOrder::ALL, DateOrder::word, text("dates")?, "mapping.dates")?;
    let mut mapping = Mapping { between, comma, dates, usual, ..Mapping::default() };
    for (word, head) in told.get("columns").and_then(Value::as_object).ok_or_else(|| field("columns"))? {
        let column = one_of(&Column::ALL, Column::word, word, "mapping.columns")?;
        if let Some(head) = head.as_str().filter(|head| !head.is_empty()) {
            mapping.columns.insert(column, head.to_owned());
        }
    }
    Ok(Some(mapping))
}

/// What pieces should have got where no column tells.
fn usual(object: &mut Map<String, Value>) -> Answer<Option<(f64, f64, f64)>> {
    let told = ["target_g", "low_g", "high_g"].map(|key| (key, object.remove(key).filter(|v| !v.is_null())));
    if told.iter().all(|(_, value)| value.is_none()) {
        return Ok(None);
    }
    let each = |(key, value): &(&'static str, Option<Value>)| {
        let g = value.as_ref().and_then(Value::as_f64).filter(|g| *g > 0.0 && *g < 1e5);
        g.ok_or_else(|| Problem::field(*key, "expected grams: give target, least and greatest together"))
    };
    let [target, low, high] = &told;
    let (target, low, high) = (each(target)?, each(low)?, each(high)?);
    if low > target || target > high {
        return Err(Problem::field("target_g", "lies outside of its limits"));
    }
    Ok(Some((target, low, high)))
}

fn read(object: &mut Map<String, Value>, now: WallTime) -> Answer<Intake> {
    let Some(Value::String(text)) = object.remove("csv") else {
        return Err(Problem::field("csv", "expected the text of a table"));
    };
    let told = mapping(object)?;
    // Only what is usual was told: the rest is guessed first.
    let (told, usual) = match told {
        Some(mapping) if mapping.columns.is_empty() => (None, mapping.usual),
        told => (told, None),
    };
    let wrong = |why: String| Problem::field("csv", why);
    let looked = look(&text, told, now).map_err(wrong)?;
    match usual {
        None => Ok(looked),
        Some(usual) => look(&text, Some(Mapping { usual: Some(usual), ..looked.mapping }), now)
            .map_err(|why| Problem::field("csv", why)),
    }
}

/// Looks at a table (CSV) before anything of it is brought in: how it would be read, its first lines, every line that
/// can't be, and how many are in the log already. Nothing is kept.
#[utoipa::path(post, path = "/api/history/look", request_body = HistoryRequest, responses((status = 200, body = LookView), Refusals))]
pub(super) async fn look_at(State(page): Ask, Object(mut object): Object) -> Answer<Json<LookView>> {
    let intake = read(&mut object, page.desk.wall_time())?;
    no_more(&object)?;
    let (_, all) = super::intake::records(&intake, page.desk.wall_time());
    let known = all.len().saturating_sub(unknown(&page, &intake, all.clone()).await?.len());
    Ok(Json(LookView::new(&intake, known)))
}

/// Brings a table in as it was looked at, with the mapping that was agreed on. Lines that can't be read: 422 and nothing
/// is kept, unless `without_faults` says to leave them out. Pieces that are in the log already are left out.
#[utoipa::path(post, path = "/api/history/import", request_body = HistoryRequest, responses((status = 200, body = DoneView), Refusals))]
pub(super) async fn import(State(page): Ask, Object(mut object): Object) -> Answer<Json<DoneView>> {
    let without_faults = object.remove("without_faults") == Some(Value::Bool(true));
    if object.get("mapping").is_none_or(Value::is_null) {
        return Err(Problem::field(
            "mapping",
            "missing: POST /api/history/look shows one, agree to it first",
        ));
    }
    let now = page.desk.wall_time();
    let intake = read(&mut object, now)?;
    no_more(&object)?;
    if let Some(first) = intake.faults.first().filter(|_| !without_faults) {
        let why = format!("{} lines can't be read; line {}: {}", intake.faults.len(), first.line, first.says);
        return Err(Problem::field("csv", why));
    }
    let (mut batches, pours) = super::intake::records(&intake, now);
    let pours = unknown(&page, &intake, pours).await?;
    // Where all of its pieces are known, under another form maybe, no batch is made.
    batches.retain(|batch| pours.iter().any(|pour| pour.batch == batch.id));
    let done = pours.len();
    keep(&page, History::Imported { batches, pours }).await?;
    Ok(Json(DoneView { done }))
}

/// The whole log bit by bit, a batch at a time, so that a large one fits into memory.
fn bit_by_bit(
    page: Arc<Page>,
    batches: Vec<BatchRecord>,
    bit: fn(usize, &BatchRecord, &[PourRecord]) -> std::io::Result<String>,
    ends: (String, &'static str),
) -> Body {
    let next = move |(page, mut rest, at, head, foot): Rest| async move {
        if let Some(head) = head {
            return Some((Ok(head), (page, rest, at, None, foot)));
        }
        let Some(batch) = rest.pop() else {
            let foot = foot?;
            return Some((Ok(foot.to_owned()), (page, rest, at, None, None)));
        };
        let id = batch.id.clone();
        let pours = desk(&page, move |desk| desk.pours(&id)).await;
        // What was begun can't be refused any more: it breaks off, and whoever reads it sees that.
        let text = pours
            .map_err(|problem| std::io::Error::other(problem.detail))
            .and_then(|pours| bit(at, &batch, &pours));
        Some((text, (page, rest, at + 1, None, foot)))
    };
    let (head, foot) = ends;
    Body::from_stream(stream::unfold((page, batches, 0, Some(head), Some(foot)), next))
}

type Rest = (Arc<Page>, Vec<BatchRecord>, usize, Option<String>, Option<&'static str>);

/// The whole log as a table (RFC 4180), the oldest batch first.
#[utoipa::path(get, path = "/api/history.csv", responses((status = 200, body = String, content_type = "text/csv"), Refusals))]
pub(super) async fn table(State(page): Ask) -> Answer<Response> {
    // The newest stand first, and the last is taken first.
    let batches = desk(&page, |desk| desk.batches()).await?;
    let bit = |_: usize, batch: &BatchRecord, pours: &[PourRecord]| Ok(whole_rows(batch, pours));
    let body = bit_by_bit(page, batches, bit, (whole_head(), ""));
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], body).into_response())
}

/// The whole log as JSON: `{ "batches": [{ "batch": .., "pours": [..] }] }`, the oldest batch first.
#[utoipa::path(get, path = "/api/history.json", responses((status = 200, content_type = "application/json"), Refusals))]
pub(super) async fn whole(State(page): Ask) -> Answer<Response> {
    let batches = desk(&page, |desk| desk.batches()).await?;
    let bit = |at: usize, batch: &BatchRecord, pours: &[PourRecord]| {
        let pours: Vec<PourView> = pours.iter().map(PourView::from).collect();
        let comma = if at == 0 { "" } else { "," };
        let text = told::text(&json!({ "batch": BatchView::from(batch), "pours": pours }))?;
        Ok(format!("{comma}{text}"))
    };
    let body = bit_by_bit(page, batches, bit, ("{\"batches\":[".to_owned(), "]}"));
    Ok(([(header::CONTENT_TYPE, "application/json")], body).into_response())
}

/// Copies of the whole log that were made here, the newest first.
#[utoipa::path(get, path = "/api/backups", responses((status = 200, body = Vec<BackupView>), Refusals))]
pub(super) async fn backups(State(page): Ask) -> Answer<Json<Vec<BackupView>>> {
    let all = desk(&page, |desk| desk.backups()).await?;
    Ok(Json(all.into_iter().map(|(name, bytes)| BackupView { name, bytes }).collect()))
}

/// Copies the whole log into one file, while everything goes on.
#[utoipa::path(post, path = "/api/backups", responses((status = 201, body = BackupView), Refusals))]
pub(super) async fn backup(State(page): Ask, _: Nothing) -> Answer<(StatusCode, Json<BackupView>)> {
    let (name, bytes) = desk(&page, |desk| desk.backup()).await?;
    Ok((StatusCode::CREATED, Json(BackupView { name, bytes })))
}

/// So much of a file is in memory at once.
const BIT: usize = 256 * 1024;

/// A file bit by bit, read where it may wait for the disk.
fn read_on(file: std::fs::File) -> Body {
    let next = |mut file: std::fs::File| async move {
        let read = tokio::task::spawn_blocking(move || {
            let mut bit = vec![0; BIT];
            let n = file.read(&mut bit)?;
            bit.truncate(n);
            Ok::<_, std::io::Error>((bit, file))
        });
        // What was begun can't be refused any more: it breaks off, and whoever reads it sees that.
        match read.await.map_err(std::io::Error::other).flatten() {
            Ok((bit, file)) => Ok((!bit.is_empty()).then_some((bit, file))),
            Err(error) => Err(error),
        }
    };
    Body::from_stream(stream::try_unfold(file, next))
}

/// Such a file, to be kept elsewhere.
#[utoipa::path(get, path = "/api/backups/{id}", params(("id" = String, Path, description = "Name of the file")), responses(
    (status = 200, body = Vec<u8>, content_type = "application/vnd.sqlite3"), Refusals
))]
pub(super) async fn backup_file(State(page): Ask, Id(name): Id) -> Answer<Response> {
    let file = desk(&page, move |desk| desk.backup_file(&name)).await?;
    Ok(([(header::CONTENT_TYPE, "application/vnd.sqlite3")], read_on(file)).into_response())
}

/// Makes the log what such a file holds. The log as it is now is copied first; its name is the answer. A batch is under
/// way: 409. A file of an older layout is put back as a copy that was brought up to date; it stays as it is. A file that is damaged,
/// or was written by a newer program: 409.
#[utoipa::path(post, path = "/api/backups/{id}/restore", params(("id" = String, Path, description = "Name of the file")), responses(
    (status = 200, body = BackupView), Refusals
))]
pub(super) async fn restore(State(page): Ask, Id(id): Id, _: Nothing) -> Answer<Json<BackupView>> {
    let (name, bytes) = desk(&page, move |desk| desk.restore(&id)).await?;
    Ok(Json(BackupView { name, bytes }))
}
