//! The review of a batch, or of values that are given: numbers, and plots as images of their own.

use super::Page;
use super::ask::{Answer, Ask, desk};
use super::problem::{Problem, Refusals};
use super::shown::Told;
use super::take::{Id, Object};
use super::told::Json;
use super::view::{BatchReviewView, ReviewRequest};
use crate::batch::shelf::area_cm2;
use crate::plot::{Palette, Plot, Size, svg};
use crate::record::{Aim, BatchRecord, History};
use crate::review::control_chart::{Rule, Rules};
use crate::review::outcome::{Piece, counted, set_back};
use crate::review::plots::{Picture, picture};
use crate::review::{Given, Review, review};
use crate::units::Mass;
use axum::extract::rejection::{PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::{Map, Value};
use std::sync::Arc;
use utoipa::ToSchema;

/// What stands behind the `?` of an address, word by word.
pub(super) type Asked = Result<Query<Vec<(String, String)>>, QueryRejection>;

/// Heavier is no coat, g; also keeps squares far from overflow.
const HEAVIEST_G: f64 = 1e6;
/// Most values of one request: more don't fit into its bytes.
const MOST: usize = 20_000;

/// Reviews values that are given, in the order they were poured.
#[utoipa::path(post, path = "/api/review", request_body = ReviewRequest, responses((status = 200, body = Review), Refusals))]
pub(super) async fn values(Object(mut object): Object) -> Answer<Json<Review>> {
    let values = list(&mut object, "values_g")?;
    let aim = Aim {
        target: Mass::saturating(number(&mut object, "target_g")?),
        low: Mass::saturating(number(&mut object, "low_g")?),
        high: Mass::saturating(number(&mut object, "high_g")?),
    };
    let rules = match object.remove("rules") {
        None | Some(Value::Null) => Rules::default(),
        Some(told) => {
            let words: Option<Vec<&str>> =
                told.as_array().and_then(|all| all.iter().map(Value::as_str).collect());
            rules(words.ok_or_else(|| Problem::field("rules", "expected a list of words"))?)?
        }
    };
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(
            key,
            "unknown field: this request takes values_g, target_g, low_g, high_g, rules",
        ));
    }
    if aim.low > aim.target {
        return Err(Problem::field("low_g", "is over the target"));
    }
    if aim.high < aim.target {
        return Err(Problem::field("high_g", "is under the target"));
    }
    let numbered = values.iter().zip(1..).map(|(g, n)| Piece::of(n, Mass::saturating(*g), aim));
    Ok(Json(review(&Given { pieces: numbered.collect(), void: 0, aim, rules, set_back: None, fired: false })))
}

fn grams(value: &Value) -> Option<f64> {
    value.as_f64().filter(|g| g.abs() <= HEAVIEST_G)
}

fn number(object: &mut Map<String, Value>, key: &'static str) -> Answer<f64> {
    let told = object.remove(key).ok_or_else(|| Problem::field(key, "missing: give grams"))?;
    grams(&told).ok_or_else(|| Problem::field(key, format!("expected grams, at most {HEAVIEST_G}")))
}

fn list(object: &mut Map<String, Value>, key: &'static str) -> Answer<Vec<f64>> {
    let told = object.remove(key).ok_or_else(|| Problem::field(key, "missing: give a list of grams"))?;
    let told = told.as_array().filter(|all| all.len() <= MOST);
    let told =
        told.ok_or_else(|| Problem::field(key, format!("expected a list of grams, at most {MOST}")))?;
    let each = |(n, value): (usize, &Value)| {
        let why = || Problem::field(format!("{key}[{n}]"), format!("{value} is no weight in grams"));
        grams(value).ok_or_else(why)
    };
    told.iter().enumerate().map(each).collect()
}

fn rules<'a>(words: impl IntoIterator<Item = &'a str>) -> Answer<Rules> {
    Rules::from_words(words).map_err(|word| {
        Problem::field("rules", format!("'{word}' is none of {}", Rule::ALL.map(Rule::word).join(", ")))
    })
}

/// What was asked of an address, each word once.
pub(super) fn asked(query: Asked, known: &[&str]) -> Answer<Vec<(String, String)>> {
    let Query(all) = query.map_err(|e| Problem::new(StatusCode::BAD_REQUEST, e.body_text()))?;
    match all.iter().find(|(key, _)| !known.contains(&key.as_str())) {
        Some((key, _)) => {
            Err(Problem::field(key, format!("unknown: this address takes {}", known.join(", "))))
        }
        None => Ok(all),
    }
}

/// What was said behind a word, if anything.
pub(super) fn said<'a>(all: &'a [(String, String)], key: &str) -> Option<&'a str> {
    all.iter().rev().find(|(k, v)| k == key && !v.is_empty()).map(|(_, value)| value.as_str())
}

/// Those that are named; none are: those that were chosen.
async fn rules_of(page: &Arc<Page>, asked: &[(String, String)]) -> Answer<Rules> {
    match said(asked, "rules") {
        None => desk(page, |desk| desk.run_rules()).await,
        Some(words) => rules(words.split(',')),
    }
}

/// The run rules that are looked for where none are named: on the page, on paper and at the terminal.
#[utoipa::path(get, path = "/api/history/rules", responses((status = 200, body = RulesView), Refusals))]
pub(super) async fn kept_rules(State(page): Ask) -> Answer<Json<RulesView>> {
    let rules = desk(&page, |desk| desk.run_rules()).await?;
    Ok(Json(RulesView { rules: rules.words() }))
}

/// Other run rules are looked for from now on; an empty list: none.
#[utoipa::path(post, path = "/api/history/rules", request_body = RulesRequest, responses((status = 200, body = RulesView), Refusals))]
pub(super) async fn keep_rules(State(page): Ask, Object(mut object): Object) -> Answer<Json<RulesView>> {
    let told = object.remove("rules");
    if let Some(key) = object.keys().next() {
        return Err(Problem::field(key, "unknown field: this request takes only rules"));
    }
    let words: Option<Vec<&str>> =
        told.as_ref().and_then(Value::as_array).and_then(|all| all.iter().map(Value::as_str).collect());
    let rules = rules(words.ok_or_else(|| Problem::field("rules", "expected a list of words"))?)?;
    desk(&page, move |desk| desk.keep(History::RunRules(rules.bits()))).await?;
    Ok(Json(RulesView { rules: rules.words() }))
}

/// Run rules by their words.
#[derive(Serialize, ToSchema)]
pub(super) struct RulesView {
    /// Those that are looked for.
    rules: Vec<&'static str>,
}

/// Run rules by their words.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request")]
pub(super) struct RulesRequest {
    /// Those that are to be looked for.
    rules: Vec<String>,
}

/// A batch with its pieces, ready for a review.
pub(super) async fn given(page: &Arc<Page>, id: String, rules: Rules) -> Answer<(BatchRecord, Given)> {
    let (batch, pours) = desk(page, move |desk| Ok((desk.batch(&id)?, desk.pours(&id)?))).await?;
    let (pieces, void) = counted(&pours);
    let (aim, fired) = (batch.aim(), batch.fired);
    Ok((batch, Given { pieces, void, aim, rules, set_back: set_back(&pours), fired }))
}

/// How even a batch was. `rules` names the run rules that are looked for, apart by commas, or `none`.
#[utoipa::path(get, path = "/api/batches/{id}/review", params(
    ("id" = String, Path, description = "Id of the batch"),
    ("rules" = Option<String>, Query, description = "Run rules, apart by commas"),
), responses((status = 200, body = BatchReviewView), Refusals))]
pub(super) async fn batch(
    State(page): Ask,
    Told(shown): Told,
    Id(id): Id,
    query: Asked,
) -> Answer<Json<BatchReviewView>> {
    let rules = rules_of(&page, &asked(query, &["rules"])?).await?;
    let (batch, given) = given(&page, id, rules).await?;
    Ok(Json(BatchReviewView::new(&batch, &given, shown)))
}

/// A plot of a batch as an image. `palette` is `light`, `dark` or `print`; `size` is `wide` or `narrow`.
///
/// Too little to draw: 404, with what is missing.
#[utoipa::path(get, path = "/api/batches/{id}/plots/{plot}", params(
    ("id" = String, Path, description = "Id of the batch"),
    ("plot" = String, Path, description = "run, single, ranges, smoothed, spread, drift, flow, contact or dry"),
    ("palette" = Option<String>, Query, description = "Where it is looked at"),
    ("size" = Option<String>, Query, description = "How large"),
    ("rules" = Option<String>, Query, description = "Run rules, apart by commas"),
), responses((status = 200, body = String, content_type = "image/svg+xml"), Refusals))]
pub(super) async fn plot(
    State(page): Ask,
    path: Result<Path<(String, String)>, PathRejection>,
    query: Asked,
) -> Answer<Response> {
    let no_plot = || Problem::new(StatusCode::NOT_FOUND, "no such plot: see /api/openapi.json");
    let Path((id, name)) = path.map_err(|_| no_plot())?;
    let which = Picture::from_word(&name).ok_or_else(no_plot)?;
    let asked = asked(query, &["palette", "size", "rules"])?;
    let (palette, size) = (palette(&asked)?, size(&asked)?);
    let (batch, given) = given(&page, id, rules_of(&page, &asked).await?).await?;
    let reviewed = review(&given);
    let drawn = picture(which, &given, &reviewed, area_cm2(&batch.request));
    let drawn =
        drawn.ok_or_else(|| Problem::new(StatusCode::NOT_FOUND, "too little is known for this plot"))?;
    Ok(image(svg(&in_studio_unit(&page, drawn), size, palette)))
}

/// Eyes read a plot, programs the numbers: its weights are in the unit that the studio is shown.
pub(super) fn in_studio_unit(page: &Page, plot: Plot) -> Plot {
    plot.in_unit(page.shown.weight.in_g(), page.shown.weight.word())
}

/// An image of its own.
pub(super) fn image(svg: String) -> Response {
    ([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response()
}

/// The palette that was asked for.
pub(super) fn palette(asked: &[(String, String)]) -> Answer<Palette> {
    let word = said(asked, "palette").unwrap_or(Palette::Light.word());
    let words =
        || Problem::field("palette", format!("expected {}", Palette::ALL.map(Palette::word).join(", ")));
    Palette::ALL.into_iter().find(|p| p.word() == word).ok_or_else(words)
}

/// The size that was asked for.
pub(super) fn size(asked: &[(String, String)]) -> Answer<Size> {
    let word = said(asked, "size").unwrap_or(Size::Wide.word());
    let words = || Problem::field("size", format!("expected {}", Size::ALL.map(Size::word).join(", ")));
    Size::ALL.into_iter().find(|s| s.word() == word).ok_or_else(words)
}
