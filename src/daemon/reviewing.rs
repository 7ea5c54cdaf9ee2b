//! `review` and `export`: read the log beside a running daemon, print, and change nothing.

use super::commands::{data_folder, note, print, shown};
use crate::cli::{ExportArgs, PlaceArgs, ReviewArgs};
use crate::page::table;
use crate::page::told::text as json_text;
use crate::page::view::{BatchReviewView, BatchView, PourView};
use crate::record::BatchRecord;
use crate::review::control_chart::{Rule, Rules};
use crate::review::outcome::{counted, set_back};
use crate::review::{Given, Review};
use crate::store::Reader;
use crate::units::plain_figure;
use crate::units::shown::{Quantity, Shown};
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
    let pours = reader.pours(&batch.id)?;
    let (pieces, void) = counted(&pours);
    let rules = match rules {
        Some(rules) => rules,
        None => reader.run_rules()?.map_or_else(Rules::default, Rules::from_bits),
    };
    let aim = batch.aim();
    let given = Given { pieces, void, aim, rules, set_back: set_back(&pours), fired: batch.fired };
    let view = BatchReviewView::new(&batch, &given, Shown::default());
    let shown = shown(&PlaceArgs { config: None, data: args.data.clone() });
    print(&if args.json { json_text(&view)? } else { text(&batch, &view.review, shown) })?;
    Ok(ExitCode::SUCCESS)
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or("-".to_owned(), |v| plain_figure(v, digits))
}

/// An interval with its unit, or that there is none.
fn range(low: Option<f64>, high: Option<f64>, digits: usize, unit: &str) -> String {
    let told = |v: f64| plain_figure(v, digits);
    low.zip(high)
        .map_or(String::new(), |(low, high)| format!(" (95 %: {} to {}{unit})", told(low), told(high)))
}

/// Weights in the studio's unit.
struct Weights(Shown);

impl Weights {
    fn in_unit(&self, value_g: Option<f64>) -> Option<f64> {
        value_g.map(|g| self.0.of(Quantity::Weight, g))
    }

    fn bare(&self, value_g: Option<f64>, digits: usize) -> String {
        number(self.in_unit(value_g), digits + self.0.weight.finer())
    }

    fn of(&self, value_g: Option<f64>, digits: usize) -> String {
        format!("{} {}", self.bare(value_g, digits), self.0.weight.word())
    }

    fn range(&self, low_g: Option<f64>, high_g: Option<f64>) -> String {
        let unit = format!(" {}", self.0.weight.word());
        range(self.in_unit(low_g), self.in_unit(high_g), 2 + self.0.weight.finer(), &unit)
    }
}

fn text(batch: &BatchRecord, r: &Review, shown: Shown) -> String {
    let head = format!("{}, {}\n", batch.name, batch.created_at.rfc3339());
    let signals = r.individuals.signals.iter().map(|s| format!("piece {}: {}", s.piece, s.says));
    let warnings = r.warnings.iter().map(|w| format!("Note: {w}."));
    let lines = rows(r, &Weights(shown)).into_iter().map(|(what, value)| format!("{what:20}{value}"));
    let signals = signals.map(|s| shown.retold(&s));
    let warnings = warnings.map(|w| shown.retold(&w));
    let told = [r.sentence_in(shown), String::new()].into_iter().chain(lines).chain(signals).chain(warnings);
    head + &told.collect::<Vec<_>>().join("\n")
}

fn rows(r: &Review, weights: &Weights) -> Vec<(&'static str, String)> {
    let (c, drift, chart) = (r.capability, r.drift, &r.individuals);
    let percent = |share: Option<f64>| number(share.map(|s| 100.0 * s), 0);
    let two = |value| number(value, 2);
    let weight = |value_g| weights.of(value_g, 2);
    let between = |low_g, high_g| format!("{} to {}", weights.bare(low_g, 2), weight(high_g));
    let spread = format!("{}, {} ({} %)", weight(r.mean_g), weight(r.sd_g), number(r.cv_percent, 1));
    let within = format!("{} % (estimated {} %)", percent(r.share_within), percent(r.share_estimated));
    let hand = format!("{} (scale {})", weight(r.spread.hand_g), weight(r.spread.scale_g));
    let grew = match (drift.slope_g_per_piece, drift.p_value) {
        (None, _) => "too few pieces".to_owned(),
        (slope, None) => format!("{} a piece", weights.of(slope, 4)),
        (slope, p) => format!("{} a piece (p {})", weights.of(slope, 4), number(p, 3)),
    };
    vec![
        ("pieces that count", format!("{} ({} do not)", r.n, r.void)),
        (
            "target, limits",
            format!("{}, {}", weight(Some(r.target_g)), between(Some(r.low_g), Some(r.high_g))),
        ),
        ("mean, spread", spread),
        ("off target", weight(r.bias_g) + &weights.range(r.bias_low95_g, r.bias_high95_g)),
        ("within the limits", within),
        ("hand without scale", hand),
        ("Cp, Cpk", format!("{}, {}{}", two(c.cp), two(c.cpk), range(c.cpk_low95, c.cpk_high95, 2, ""))),
        ("Pp, Ppk", format!("{}, {}{}", two(c.pp), two(c.ppk), range(c.ppk_low95, c.ppk_high95, 2, ""))),
        ("chart", format!("{}, from {}", weight(chart.centre), between(chart.lower, chart.upper))),
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
        print(&json_text(&json!({ "batches": all }))?)?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut out = table::whole_head();
    for batch in &batches {
        out += &table::whole_rows(batch, &reader.pours(&batch.id)?);
    }
    print(out.trim_end())?;
    Ok(ExitCode::SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::shown::{LengthIn, WeightIn};

    #[test]
    fn an_interval_of_weights_is_told_in_the_unit_of_its_line_and_one_of_ratios_in_none() {
        let ounces = Weights(Shown { weight: WeightIn::Ounce, length: LengthIn::Millimetre });
        // 1 oz is 28.349523125 g: -5.10 g and 5.54 g are -0.1799 and 0.1954 oz.
        assert_eq!(ounces.range(Some(-5.10), Some(5.54)), " (95 %: -0.1799 to 0.1954 oz)");
        assert_eq!(ounces.of(Some(28.349_523_125), 2), "1.0000 oz");
        assert_eq!(Weights(Shown::default()).range(Some(-5.10), Some(5.54)), " (95 %: -5.10 to 5.54 g)");
        assert_eq!(range(Some(0.4), Some(1.2), 2, ""), " (95 %: 0.40 to 1.20)");
        assert_eq!(range(None, Some(1.2), 2, ""), "");
    }
}
