//! Yardsticks of those who fill and sell by weight: how this batch would stand by their limits.
//!
//! Only for comparison: nobody sells a glaze coat by weight, and no rule asks this of a pot.

use super::outcome::Piece;
use crate::calibration::statistics::mean;
use serde::Serialize;
use utoipa::ToSchema;

/// How a batch stands by the trade's limits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Yardsticks {
    /// Class X(x) of OIML R 61 whose limits in service these fills would keep, the least x of 1, 2 or 5 times a power of
    /// ten; null below two pieces.
    pub r61_class: Option<f64>,
    /// Pieces short by more than the tolerable deficiency of Directive 76/211/EEC.
    pub short_of_tolerable: usize,
    /// Pieces short by more than twice that: none is allowed there.
    pub short_of_twice: usize,
    /// The mean is no less than the target, as that directive wants.
    pub mean_reaches_target: Option<bool>,
}

/// A band: up to so many grams, a share or so many grams.
#[derive(Clone, Copy)]
enum Limit {
    Share(f64),
    Grams(f64),
}

/// OIML R 61-1 (1996) table 1, in service, class X(1), as UK SI 2000/388 schedule 5 quotes it.
const R61: [(f64, Limit); 9] = [
    (50.0, Limit::Share(0.09)),
    (100.0, Limit::Grams(4.5)),
    (200.0, Limit::Share(0.045)),
    (300.0, Limit::Grams(9.0)),
    (500.0, Limit::Share(0.03)),
    (1000.0, Limit::Grams(15.0)),
    (10_000.0, Limit::Share(0.015)),
    (15_000.0, Limit::Grams(150.0)),
    (f64::INFINITY, Limit::Share(0.01)),
];
/// The mean may be off by this share of what one fill may (OIML R 61-1, 2.3).
const OF_THE_MEAN: f64 = 0.25;
/// Tolerable negative error up to 10 kg: Directive 76/211/EEC annex I 2.4, as FPackV section 9 prints it.
const TOLERABLE: [(f64, Limit); 7] = [
    (50.0, Limit::Share(0.09)),
    (100.0, Limit::Grams(4.5)),
    (200.0, Limit::Share(0.045)),
    (300.0, Limit::Grams(9.0)),
    (500.0, Limit::Share(0.03)),
    (1000.0, Limit::Grams(15.0)),
    (f64::INFINITY, Limit::Share(0.015)),
];

fn limit(table: &[(f64, Limit)], fill_g: f64) -> (f64, bool) {
    let band = table.iter().find(|(up_to, _)| fill_g <= *up_to);
    match band.map(|(_, limit)| *limit) {
        Some(Limit::Share(share)) => (share * fill_g, true),
        Some(Limit::Grams(grams)) => (grams, false),
        None => (0.0, false),
    }
}

/// How far a fill may be off the average of all in service, class X(1), g.
pub fn r61_fill_g(fill_g: f64) -> f64 {
    limit(&R61, fill_g.max(0.0)).0
}

/// Tolerable deficiency of a pack of this much, g: shares are rounded up to a tenth of a gram.
pub fn tolerable_deficiency_g(fill_g: f64) -> f64 {
    let (grams, share) = limit(&TOLERABLE, fill_g.max(0.0));
    // Binary arithmetic must not round 4.5 up to 4.6.
    if share { (grams * 10.0 - 1e-9).ceil() / 10.0 } else { grams }
}

/// How these pieces stand; their weights as beside one target.
pub fn yardsticks(values: &[f64], pieces: &[Piece], target_g: f64) -> Yardsticks {
    let short = |p: &Piece, times: f64| {
        p.net.g() < p.aim.target.g() - times * tolerable_deficiency_g(p.aim.target.g()) - 1e-9
    };
    let average = (!values.is_empty()).then(|| mean(values));
    Yardsticks {
        r61_class: average.filter(|_| values.len() > 1).and_then(|m| r61_class(values, m, target_g)),
        short_of_tolerable: pieces.iter().filter(|p| short(p, 1.0)).count(),
        short_of_twice: pieces.iter().filter(|p| short(p, 2.0)).count(),
        mean_reaches_target: average.map(|mean| mean >= target_g),
    }
}

fn r61_class(values: &[f64], mean: f64, target_g: f64) -> Option<f64> {
    let one = r61_fill_g(mean);
    if one <= 0.0 {
        return None;
    }
    let fills = values.iter().map(|v| (v - mean).abs() / one).fold(0.0, f64::max);
    let wanted = fills.max((mean - target_g).abs() / (OF_THE_MEAN * one));
    let classes = (-3..4).flat_map(|power| [1.0, 2.0, 5.0].map(|n| n * 10f64.powi(power)));
    classes.into_iter().find(|class| wanted <= class * (1.0 + 1e-9))
}
