//! The printable record of a calibration: one page of HTML for paper, and its plots as images of their own.

use super::ask::{Answer, Ask, desk};
use super::desk::Refusal;
use super::problem::{Problem, Refusals};
use super::review::in_studio_unit;
use super::take::Id;
use super::words::{of, of_weights};
use crate::calibration::plots;
use crate::calibration::report::{Report, report};
use crate::calibration::request::{CalibrationRequest, PointRequest, from_json};
use crate::calibration::uncertainty::Term;
use crate::plot::{Palette, Plot, Size, svg};
use crate::record::CalibrationRecord;
use crate::units::shown::Shown;
use axum::extract::rejection::PathRejection;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use std::collections::HashMap;

/// How an image is asked for.
pub(super) type Look = Query<HashMap<String, String>>;

fn image(plot: &Plot, look: &HashMap<String, String>) -> Answer<Response> {
    let word = |key: &str| look.get(key).map_or("", String::as_str);
    let palette = Palette::ALL.into_iter().find(|p| p.word() == word("palette")).unwrap_or(Palette::Light);
    let size = Size::ALL.into_iter().find(|s| s.word() == word("size")).unwrap_or(Size::Wide);
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg(plot, size, palette)).into_response())
}

fn no_plot() -> Problem {
    Problem::new(StatusCode::NOT_FOUND, "no such plot, or too little is known for it: see /api/openapi.json")
}

/// A plot of a calibration as an image.
#[utoipa::path(get, path = "/api/calibrations/{id}/plots/{plot}", params(
    ("id" = String, Path, description = "Id of the calibration"),
    ("plot" = String, Path, description = "error or spread"),
    ("palette" = Option<String>, Query, description = "light, dark or print"),
    ("size" = Option<String>, Query, description = "wide or narrow"),
), responses((status = 200, body = String, content_type = "image/svg+xml"), Refusals))]
pub(super) async fn plot(
    State(page): Ask,
    path: Result<Path<(String, String)>, PathRejection>,
    Query(look): Look,
) -> Answer<Response> {
    let Path((id, name)) = path.map_err(|_| no_plot())?;
    let record = desk(&page, move |desk| desk.calibration(&id)).await?;
    let (request, found) = reckoned(&record)?;
    let drawn = match name.as_str() {
        "error" => Some(plots::error(&found)),
        "spread" => plots::spread(&request),
        _ => None,
    };
    image(&in_studio_unit(&page, drawn.ok_or_else(no_plot)?), &look)
}

/// The checks since the calibration in force, as an image.
#[utoipa::path(get, path = "/api/scale/plots/checks", params(
    ("palette" = Option<String>, Query, description = "light, dark or print"),
    ("size" = Option<String>, Query, description = "wide or narrow"),
), responses((status = 200, body = String, content_type = "image/svg+xml"), Refusals))]
pub(super) async fn checks(State(page): Ask, Query(look): Look) -> Answer<Response> {
    let (all, by) = desk(&page, |desk| Ok((desk.checks(60)?, desk.in_force()?))).await?;
    let id = by.map(|by| by.id);
    let since: Vec<(f64, f64)> =
        all.iter().rev().filter(|c| c.calibration == id).map(|c| (c.error_g, c.u_g)).collect();
    image(&in_studio_unit(&page, plots::checks(&since).ok_or_else(no_plot)?), &look)
}

fn reckoned(record: &CalibrationRecord) -> Answer<(CalibrationRequest, Report)> {
    let request = from_json(&record.request).ok();
    let found = request.and_then(|request| report(&request).ok().map(|found| (request, found)));
    found.ok_or_else(|| {
        let why = "what was read then can't be reckoned with any more: calibrate the scale again";
        Problem::from(Refusal::Conflict(why.to_owned()))
    })
}

/// The record of a calibration, made for paper.
#[utoipa::path(get, path = "/calibrations/{id}", params(("id" = String, Path, description = "Id of the calibration")), responses((status = 200, content_type = "text/html", body = String), Refusals))]
pub(super) async fn record(State(page): Ask, Id(id): Id) -> Answer<Html<String>> {
    let (record, by) = desk(&page, move |desk| Ok((desk.calibration(&id)?, desk.in_force()?))).await?;
    let (request, found) = reckoned(&record)?;
    let in_force = by.is_some_and(|by| by.id == record.id);
    Ok(Html(sheet(page.shown, &record, &request, &found, in_force)))
}

/// Text that may stand in HTML.
fn safe(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn w(word: &str) -> String {
    safe(&of(&["record", word]))
}

fn row(cells: &[String]) -> String {
    format!("<tr>{}</tr>", cells.iter().map(|c| format!("<td>{c}</td>")).collect::<String>())
}

/// Words that name a unit of weight, in the studio's.
fn weights(shown: Shown, word: &str) -> String {
    safe(&of_weights(shown, &of(&["record", word])))
}

/// A table with these words at its head.
fn table(shown: Shown, heads: &[&str], rows: &[Vec<String>]) -> String {
    let head: String =
        heads.iter().map(|h| format!("<th scope=\"col\">{}</th>", weights(shown, h))).collect();
    let body: String = rows.iter().map(|r| row(r)).collect();
    format!("<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")
}

/// What is said once of the whole.
fn facts(shown: Shown, record: &CalibrationRecord, request: &CalibrationRequest, in_force: bool) -> String {
    let unsaid = || w("unsaid");
    // A step of 0.1 g is 0.0035 oz: in ounces it wants a digit more than weights do.
    let step = decimals(request.division_g) + usize::from(shown.weight.finer() > 0);
    let rows = [
        // To the minute: `2026-01-31 09:45`.
        ("date", safe(&record.made_at.rfc3339().chars().take(16).collect::<String>().replace('T', " "))),
        ("scale", safe(&record.scale)),
        ("division", shown.weight(request.division_g, step)),
        ("operator", request.operator.as_deref().map_or_else(unsaid, safe)),
        ("room", request.room_c.map_or_else(unsaid, |c| format!("{c} °C"))),
        ("state", w(if in_force { "in_force" } else { "not_in_force" })),
        ("version", format!("Tarebell {}", env!("CARGO_PKG_VERSION"))),
        ("id", safe(&record.id)),
    ];
    let each = |(word, value): &(&str, String)| format!("<dt>{}</dt><dd>{value}</dd>", w(word));
    format!("<dl>{}</dl>", rows.iter().map(each).collect::<String>())
}

/// How well a mass is known, as it was told.
fn known(p: &PointRequest) -> String {
    match (&p.class, p.mpe_mg, p.uncertainty_mg) {
        (Some(class), ..) => safe(class),
        (None, Some(mg), _) => format!("± {mg} mg"),
        (None, None, Some(mg)) => format!("U {mg:.1} mg"),
        (None, None, None) => "–".to_owned(),
    }
}

/// Decimals that a step of the display has: 0.1 g one, 0.05 g two, 2 g none.
fn decimals(division_g: f64) -> usize {
    let whole = |n: &usize| {
        let steps = division_g * 10_f64.powi(i32::try_from(*n).unwrap_or(0));
        (steps - steps.round()).abs() < 1e-6
    };
    (0..5).find(whole).unwrap_or(5)
}

/// Weights as they were read: with the decimals of the display; one more where rest was the mean of several readings.
fn read(shown: Shown, division_g: f64, all: &[f64]) -> String {
    let steps = |g: &f64| (g / division_g - (g / division_g).round()).abs() < 1e-6;
    let places = decimals(division_g) + usize::from(!all.iter().all(steps));
    all.iter().map(|g| shown.grams(*g, places)).collect::<Vec<_>>().join(", ")
}

fn readings(shown: Shown, request: &CalibrationRequest) -> String {
    let list = |all: &[f64]| read(shown, request.division_g, all);
    let way = |p: &PointRequest| match (p.direction.as_deref(), p.position.as_deref()) {
        (Some("up"), _) => w("up"),
        (Some("down"), _) => w("down"),
        (_, Some(place)) => safe(place),
        (_, None) => String::new(),
    };
    let mut rows: Vec<Vec<String>> = request
        .points
        .iter()
        .map(|p| {
            let base = p.base_readings_g.as_deref().map_or("–".to_owned(), list);
            vec![shown.grams(p.nominal_g, 3), known(p), way(p), base, list(&p.readings_g)]
        })
        .collect();
    rows.extend(request.repeat.iter().map(|r| {
        vec![shown.grams(r.load_g, 3), String::new(), w("placements"), "–".to_owned(), list(&r.readings_g)]
    }));
    table(shown, &["load", "class", "way", "before", "shown"], &rows)
}

fn results(shown: Shown, request: &CalibrationRequest, found: &Report) -> String {
    // What comes of several readings is known to a tenth of a step.
    let places = decimals(request.division_g) + 1;
    let rows: Vec<Vec<String>> = found
        .loads
        .iter()
        .map(|l| {
            let signed = |g: f64| shown.signed(g, places);
            let plain = |g: f64| shown.grams(g, places);
            let load = shown.grams(l.load_g, 3);
            vec![load, signed(l.error_g), signed(l.residual_g), plain(l.expanded_g), plain(l.limit_g)]
        })
        .collect();
    let grams = |g: Option<f64>| g.map_or_else(|| w("not_tried"), |g| shown.weight(g, places));
    let more = [
        ("s", grams(Some(found.repeatability_g))),
        ("hysteresis", grams(found.hysteresis_g)),
        ("eccentric", grams(found.eccentric_g)),
        ("creep", grams(request.creep_g)),
        ("zero_return", grams(request.zero_return_g)),
        ("usp", shown.weight(found.usp_smallest_g, 0)),
    ];
    let each = |(word, value): &(&str, String)| format!("<dt>{}</dt><dd>{value}</dd>", w(word));
    let more: String = more.iter().map(each).collect();
    format!(
        "{}<dl class=\"more\">{more}</dl>",
        table(shown, &["load", "error", "left", "expanded", "limit"], &rows)
    )
}

/// Each term, and what they make together: as it is said above and shown over HTTP.
fn budget(shown: Shown, request: &CalibrationRequest, found: &Report) -> String {
    let places = decimals(found.known.division_g) + 2;
    let row = |what: String, g: f64| vec![what, shown.grams(g, places)];
    let each = |t: &Term| {
        if request.tells(t.what) { row(safe(t.what), t.u_g) } else { vec![safe(t.what), w("not_tried")] }
    };
    let mut rows: Vec<Vec<String>> = found.budget.iter().map(each).collect();
    rows.push(row(w("combined"), found.net_u_g));
    rows.push(row(weights(shown, "expanded"), 2.0 * found.net_u_g));
    table(shown, &["term", "u"], &rows)
}

/// The pan seen from above: what each corner showed more than the middle.
fn corners(shown: Shown, request: &CalibrationRequest) -> String {
    let Some(c) = &request.corners else { return format!("<p>{}</p>", w("no_corners")) };
    // As the routine asks for them: front left, front right, back right, back left.
    let places = decimals(request.division_g) + 1;
    let off =
        |n: usize| c.readings_g.get(n).map_or("–".to_owned(), |g| shown.signed(g - c.centre_g, places));
    let empty = || String::from("<td></td>");
    let cell = |text: String| format!("<td>{text}</td>");
    format!(
        "<table class=\"pan\"><caption>{}</caption><tbody><tr>{}{}{}</tr><tr>{}{}{}</tr><tr>{}{}{}</tr></tbody></table>",
        weights(shown, "corners"),
        cell(off(3)),
        empty(),
        cell(off(2)),
        empty(),
        cell(shown.grams(c.centre_g, places)),
        empty(),
        cell(off(0)),
        empty(),
        cell(off(1)),
    )
}

/// What it is for the pour that it was judged for.
fn for_the_pour(shown: Shown, request: &CalibrationRequest, found: &Report) -> String {
    let verdict = of(&["calibrate", "verdicts", found.fitness.word()]);
    let words = |word: &str| of_weights(shown, &of(&["calibrate", word]));
    let judged = words("judged")
        .replace("{net}", &shown.grams(found.pour_g.0, 1))
        .replace("{u}", &shown.grams(2.0 * found.net_u_g, 2))
        .replace("{verdict}", &verdict)
        .replace("{tolerance}", &shown.grams(found.pour_g.1, 2));
    let smallest = found.smallest_g.map_or_else(
        || w("smallest_none"),
        |g| safe(&words("smallest").replace("{grams}", &shown.grams(g, 1))),
    );
    let warnings: String =
        found.warnings_in(request, shown).iter().map(|text| format!("<li>{}</li>", safe(text))).collect();
    let terms = budget(shown, request, found);
    format!("<h2>{}</h2><p>{} {smallest}</p><ul>{warnings}</ul>{terms}", w("pour"), safe(&judged))
}

/// The correction as it is reckoned with.
fn line(shown: Shown, found: &Report) -> String {
    let indicated = w("indicated");
    let bend = match found.bend_per_g {
        0.0 => String::new(),
        bend => format!(" {:+.3e} × {indicated}²", bend * shown.weight.in_g()),
    };
    let (sign, offset) = (shown.weight.word(), shown.signed(found.offset_g, 3));
    format!("<p>{} = {offset} {sign} + {:.6} × {indicated}{bend}</p>", w("corrected"), found.slope)
}

fn sheet(
    shown: Shown,
    record: &CalibrationRecord,
    request: &CalibrationRequest,
    found: &Report,
    in_force: bool,
) -> String {
    let picture = |name: &str, words: &str| {
        format!(
            "<img src=\"/api/calibrations/{}/plots/{name}?palette=print\" width=\"800\" height=\"400\" alt=\"{}\">",
            safe(&record.id),
            w(words)
        )
    };
    let spread = plots::spread(request).map_or_else(String::new, |_| picture("spread", "spread_plot"));
    let parts = [
        format!("<h1>{}</h1>{}", w("title"), facts(shown, record, request, in_force)),
        format!("<h2>{}</h2>{}{}", w("results"), line(shown, found), results(shown, request, found)),
        picture("error", "error_plot"),
        for_the_pour(shown, request, found),
        format!("<h2>{}</h2>{}", w("readings"), readings(shown, request)),
        format!("<h2>{}</h2>{spread}{}", w("spread"), corners(shown, request)),
        format!("<h2>{}</h2><p>{}</p>", w("is_not_head"), w("is_not")),
    ];
    format!(
        "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width\"><title>{}</title><link rel=\"icon\" href=\"data:,\"><link rel=\"stylesheet\" href=\"/assets/record.css\"></head>\
         <body><main>{}</main></body></html>",
        w("title"),
        parts.concat()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::shown::WeightIn;

    #[test]
    fn weights_stand_with_the_decimals_of_the_display_and_means_with_one_more() {
        assert_eq!([0.1, 0.2, 0.05, 0.01, 0.001, 1.0, 2.0, 0.5].map(decimals), [1, 1, 2, 2, 3, 0, 0, 1]);
        let grams = Shown::default();
        assert_eq!(read(grams, 0.1, &[0.0, 200.1]), "0.0, 200.1");
        assert_eq!(read(grams, 0.1, &[0.03, 200.1]), "0.03, 200.10");
        assert_eq!(
            (grams.signed(-0.001, 2), grams.signed(-0.01, 2), grams.signed(0.1, 1)),
            ("0.00".into(), "-0.01".into(), "+0.1".into())
        );
        assert_eq!(read(grams, 0.1, &[-0.001, 0.02]), "0.00, 0.02");
        assert_eq!(read(grams, 1.0, &[500.0, 501.0]), "500, 501");
        let ounces = Shown { weight: WeightIn::Ounce, ..grams };
        // 200.1 / 28.349523125 = 7.05832; 0.1 / 28.349523125 = 0.00353, worked by hand.
        assert_eq!(read(ounces, 0.1, &[0.0, 200.1]), "0.000, 7.058");
        assert_eq!((ounces.signed(0.1, 1), ounces.weight(0.1, 2)), ("+0.004".into(), "0.0035 oz".into()));
    }
}
