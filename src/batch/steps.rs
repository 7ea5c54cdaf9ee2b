//! The working of a target in plain words, for the terminal and the page.
//!
//! Never computes a target; only tells one.

use super::sum::Target;
use crate::units::OUNCE_G;
use crate::units::shown::{Shown, WeightIn};
use serde::Serialize;
use std::fmt::Write as _;
use utoipa::ToSchema;

/// One line of working.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Step {
    /// What is found.
    pub what: String,
    /// From which numbers.
    pub working: String,
    /// The value with its unit.
    pub result: String,
}

/// The last line of the working where weights are shown in another unit than it is reckoned in.
pub fn in_unit(target: &Target, shown: Shown) -> Option<Step> {
    let target_g = target.target.g();
    (shown.weight != WeightIn::Gram).then(|| Step {
        what: "The same in ounces".to_owned(),
        working: format!("{target_g:.4} g / {OUNCE_G} g in an ounce"),
        result: shown.weight(target_g, 2),
    })
}

/// The target told step by step, ending with the line that matters.
pub fn told(target: &Target) -> String {
    told_in(target, Shown::default())
}

/// The same in these units. The working is in grams and millimetres; what it
/// comes to, in the unit that is shown.
pub fn told_in(target: &Target, shown: Shown) -> String {
    let mut text = String::new();
    // Writing to a String can't fail.
    for (n, step) in target.steps.iter().chain(&in_unit(target, shown)).enumerate() {
        let _ = writeln!(text, "{}. {}: {} = {}", n + 1, step.what, step.working, step.result);
    }
    for (name, value) in &target.assumed {
        let (whose, last) = name
            .rsplit_once('.')
            .map_or(("", name.as_str()), |(_, last)| (&name[..name.len() - last.len()], last));
        let plain = match last.strip_prefix("u_") {
            Some(of) => format!("standard uncertainty of {whose}{of}"),
            None => name.clone(),
        };
        let _ = writeln!(text, "Taken because not given: {plain} = {value}");
    }
    text + &shown.retold_of(&comes_to(target), &weights(target))
}

/// The weights that are told of it, g, so that each is rounded once, in the unit that is shown.
fn weights(target: &Target) -> Vec<f64> {
    let (supply, ware) = (target.supply.as_ref(), target.ware.as_ref());
    let masses = [
        Some(target.target),
        Some(target.low),
        Some(target.high),
        Some(target.high - target.target),
        target.standard_uncertainty,
        target.piece_uncertainty,
        target.piece_uncertainty.map(|u| u + u),
        supply.map(|supply| supply.short),
        ware.and_then(|wall| wall.takes_up),
        ware.and_then(|wall| wall.water_in_coat),
    ];
    let doubts = target.doubts.iter().map(|doubt| doubt.moves.g());
    masses.into_iter().flatten().map(|mass| mass.g()).chain(doubts).collect()
}

/// How well it is known, what looks odd, and the line that matters.
fn comes_to(target: &Target) -> String {
    let mut text = String::new();
    uncertain(target, &mut text);
    for warning in &target.warnings {
        let _ = writeln!(text, "Look again: {warning}");
    }
    let _ = write!(
        text,
        "Each piece gets {:.2} g of slop, good from {:.2} g to {:.2} g",
        target.target.g(),
        target.low.g(),
        target.high.g()
    );
    if let Some(u) = target.standard_uncertainty {
        let _ = write!(text, "; known to {:.2} g (one standard uncertainty, all pieces alike)", u.g());
    }
    text.push_str(".\n");
    text
}

/// The name of an input in plain words, with its unit: `supply.left_in_jug_g` is `left in jug, g`.
pub(super) fn plain(name: &str) -> String {
    let last = name.rsplit('.').next().unwrap_or(name);
    let (whose, of) = match last.strip_prefix("u_") {
        Some(of) => ("standard uncertainty of ", of),
        None => ("", last),
    };
    let units = [
        ("_g_ml", ", g/mL"),
        ("_g_per_piece", " per piece, g"),
        ("_percent", ", %"),
        ("_mm", ", mm"),
        ("_g", ", g"),
    ];
    let unit = units.iter().find_map(|(end, unit)| Some((of.strip_suffix(end)?, *unit)));
    let (of, unit) = unit.unwrap_or((of, ""));
    let of = if of == "percent" { "tolerance, %" } else { of };
    format!("{whose}{}{unit}", of.replace('_', " "))
}

/// What all pieces share, and what each has for itself.
fn uncertain(target: &Target, text: &mut String) {
    for doubt in &target.doubts {
        let _ = writeln!(text, "All pieces alike: {}", doubt.told());
    }
    if let Some(largest) = &target.largest_doubt {
        let _ = writeln!(text, "Most uncertain: {largest}");
    }
    if let Some(u) = target.piece_uncertainty {
        let _ = writeln!(text, "Each piece for itself: {:.2} g, the weighing", u.g());
    }
    if let Some(layers) = &target.layers {
        let _ = writeln!(text, "Thicknesses are estimates: {}", layers.assumptions.join("; "));
    }
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn an_input_is_named_in_plain_words_with_its_unit() {
        for (name, words) in [
            ("u_specific_gravity", "standard uncertainty of specific gravity"),
            ("u_powder_density_g_ml", "standard uncertainty of powder density, g/mL"),
            ("supply.left_in_jug_g", "left in jug, g"),
            ("supply.loss_g_per_piece", "loss per piece, g"),
            ("tolerance.percent", "tolerance, %"),
        ] {
            assert_eq!(plain(name), words);
        }
    }
}
