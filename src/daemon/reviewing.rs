//! `review` and `export`: read the log beside a running daemon, print, and change nothing.

use super::commands::{data_folder, note, print, shown};
use crate::cli::{ExportArgs, PlaceArgs, ReviewArgs};
use crate::page::table;
use crate::page::view::{BatchReviewView, BatchView, PourView};
use crate::record::BatchRecord;
use crate::review::control_chart::{Rule, Rules};
use crate::review::outcome::counted;
use crate::review::{Given, Review};
use crate::store::Reader;
use crate::units::plain_figure;
use crate::units::shown::Shown;
use anyhow::anyhow;
use serde_json::json;
use std::path::PathBuf;
use std::process::ExitCode;

/// Wrong usage.
const USAGE: u8 = 2;

fn reader(data: Option<&PathBuf>) -> anyhow::Result<Reader> {
    Ok(Reader::open(&data_folder(&PlaceArgs { config: None, data: data.cloned() }))?)
}

/// The batch of this id or name; none named: the newest that was begun, else the newest.
fn chosen(reader: &Reader, word: Option<&str>) -> anyhow::Result<BatchRecord> {
    let all = reader.batches()?;
    let Some(word) = word else {
        let begun = all.iter().find(|b| b.begun_at.is_some()).or(all.first()).cloned();
        return begun.ok_or_else(|| anyhow!("the log has no batch yet: make one on the page and pour it"));
    };
    let named = all.iter().find(|b| b.id == word).or_else(|| all.iter().find(|b| b.name == word));
    named.cloned().ok_or_else(|| {
        let lately: Vec<String> = all.iter().take(5).map(|b| format!("'{}' ({})", b.name, b.id)).collect();
        anyhow!("the log has no batch '{word}'; the newest are {}", lately.join(", "))
    })
}

/// `review [BATCH]`.
pub(super) fn review(args: &ReviewArgs) -> anyhow::Result<ExitCode> {
    let rules = match args.rules.as_deref() {
        None => None,
        Some(words) => match Rules::from_words(words.split(',')) {
            Ok(rules) => Some(rules),
            Err(word) => {
                note(format!(
                    "--rules: '{word}' is none of {}; `none` alone looks for none",
                    Rule::ALL.map(Rule::word).join(", ")
                ));
                return Ok(ExitCode::from(USAGE));
            }
        },
    };
    let reader = reader(args.data.as_ref())?;
    let batch = chosen(&reader, args.batch.as_deref())?;
    let (pieces, void) = counted(&reader.pours(&batch.id)?);
    let rules = match rules {
        Some(rules) => rules,
        None => reader.run_rules()?.map_or_else(Rules::default, Rules::from_bits),
    };
    let aim = batch.aim();
    let view = BatchReviewView::new(&batch, &Given { pieces, void, aim, rules });
    let shown = shown(&PlaceArgs { config: None, data: args.data.clone() });
    print(&if args.json { serde_json::to_string(&view)? } else { text(&batch, &view.review, shown) })?;
    Ok(ExitCode::SUCCESS)
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or("-".to_owned(), |v| plain_figure(v, digits))
}

/// An interval, or that there is none.
fn range(low: Option<f64>, high: Option<f64>) -> String {
    low.zip(high).map_or(String::new(), |(low, high)| format!(" (95 %: {low:.2} to {high:.2})"))
}

fn text(batch: &BatchRecord, r: &Review, shown: Shown) -> String {
    let head = format!("{}, {}\n", batch.name, batch.created_at.rfc3339());
    let signals = r.individuals.signals.iter().map(|s| format!("piece {}: {}", s.piece, s.says));
    let warnings = r.warnings.iter().map(|w| format!("Note: {w}."));
    let lines = rows(r).into_iter().map(|(what, value)| format!("{what:20}{value}"));
    let told = [r.sentence.clone(), String::new()].into_iter().chain(lines).chain(signals).chain(warnings);
    head + &shown.retold(&told.collect::<Vec<_>>().join("\n"))
}

fn rows(r: &Review) -> Vec<(&'static str, String)> {
    let (c, drift, chart) = (r.capability, r.drift, &r.individuals);
    let percent = |share: Option<f64>| number(share.map(|s| 100.0 * s), 0);
    let two = |value| number(value, 2);
    let spread = format!("{} g, {} g ({} %)", two(r.mean_g), two(r.sd_g), number(r.cv_percent, 1));
    let within = format!("{} % (estimated {} %)", percent(r.share_within), percent(r.share_estimated));
    let hand = format!("{} g (scale {} g)", two(r.spread.hand_g), two(r.spread.scale_g));
    let limits = format!("{} g, from {} to {} g", two(chart.centre), two(chart.lower), two(chart.upper));
    let grew = format!("{} g a piece (p {})", number(drift.slope_g_per_piece, 4), number(drift.p_value, 3));
    vec![
        ("pieces that count", format!("{} ({} do not)", r.n, r.void)),
        ("target, limits", format!("{:.2} g, {:.2} to {:.2} g", r.target_g, r.low_g, r.high_g)),
        ("mean, spread", spread),
        ("off target", format!("{} g{}", two(r.bias_g), range(r.bias_low95_g, r.bias_high95_g))),
        ("within the limits", within),
        ("hand without scale", hand),
        ("Cp, Cpk", format!("{}, {}{}", two(c.cp), two(c.cpk), range(c.cpk_low95, c.cpk_high95))),
        ("Pp, Ppk", format!("{}, {}{}", two(c.pp), two(c.ppk), range(c.ppk_low95, c.ppk_high95))),
        ("chart", limits),
        ("drift", grew),
    ]
}

/// `export`.
pub(super) fn export(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let reader = reader(args.data.as_ref())?;
    let batches = match args.batch.as_deref() {
        Some(word) => vec![chosen(&reader, Some(word))?],
        None => reader.batches()?.into_iter().rev().collect(),
    };
    if args.json {
        let mut all = Vec::new();
        for batch in &batches {
            let pours: Vec<PourView> = reader.pours(&batch.id)?.iter().map(PourView::from).collect();
            all.push(json!({ "batch": BatchView::from(batch), "pours": pours }));
        }
        print(&json!({ "batches": all }).to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut out = table::whole_head();
    for batch in &batches {
        out += &table::whole_rows(batch, &reader.pours(&batch.id)?);
    }
    print(out.trim_end())?;
    Ok(ExitCode::SUCCESS)
}
