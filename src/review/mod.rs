//! How even a batch was: grams of its pieces in, numbers, signals and a sentence out.
//!
//! Pure arithmetic on what the log keeps: never reads the log, a file or a clock. What the values don't determine is
//! `None`, never a number that is none. Grams tell how evenly was poured; they don't tell whether a coat is right, nor
//! anything about food safety.

pub mod capability;
pub mod control_chart;
pub mod distribution;
pub mod drift;
pub mod outcome;
pub mod plots;
pub mod sentence;
pub mod trend;
pub mod yardstick;

use crate::calibration::statistics::{mean, sample_sd};
use crate::record::Aim;
use crate::units::shown::Shown;
use capability::{Capability, capability};
use control_chart::{Individuals, MovingRange, Rules, Smoothed, individuals, moving_range, smoothed};
use drift::{Drift, drift};
use outcome::{Look, Piece, Spread};
use serde::Serialize;
use utoipa::ToSchema;
use yardstick::Yardsticks;

/// Fewer pieces than this say little of what the hand can do: their Cpk's interval is wider than a third either way
/// (from the interval's own formula, for a Cpk of 1).
pub const FEW: usize = 20;

/// What is reviewed.
#[derive(Clone, Debug, PartialEq)]
pub struct Given {
    /// Pieces that count, as they were poured.
    pub pieces: Vec<Piece>,
    /// Pieces that don't.
    pub void: usize,
    /// What they should have got; pieces with targets of their own are laid beside this one.
    pub aim: Aim,
    /// Which signals are looked for.
    pub rules: Rules,
    /// The clock went back before this piece.
    pub set_back: Option<u32>,
    /// The ware was fired already: what was poured in is not its coat.
    pub fired: bool,
}

/// How even it was. What n or spread is too small for is null.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Review {
    /// Pieces that count.
    pub n: usize,
    /// Pieces that don't.
    pub void: usize,
    /// The ware was fired already: what was poured in is not its coat, and no dry coat is told.
    pub fired: bool,
    /// Wanted, g.
    pub target_g: f64,
    /// Least good, g.
    pub low_g: f64,
    /// Greatest good, g.
    pub high_g: f64,
    /// Mean of what they got, g.
    pub mean_g: Option<f64>,
    /// Standard deviation with n - 1, g.
    pub sd_g: Option<f64>,
    /// Least, g.
    pub min_g: Option<f64>,
    /// Greatest, g.
    pub max_g: Option<f64>,
    /// Mean less target, g.
    pub bias_g: Option<f64>,
    /// Its 95 % interval by Student's t, lower end.
    pub bias_low95_g: Option<f64>,
    /// Upper end.
    pub bias_high95_g: Option<f64>,
    /// Standard deviation over mean, percent.
    pub cv_percent: Option<f64>,
    /// The chart of single values.
    pub individuals: Individuals,
    /// The chart of their moving ranges.
    pub moving_range: MovingRange,
    /// Values smoothed so that a slow change stands out.
    pub smoothed: Smoothed,
    /// The step is too coarse for a chart: fewer than four different moving ranges, so signals are not to be trusted.
    pub coarse: bool,
    /// What the hand could do, by what each piece had at the first stop.
    pub capability: Capability,
    /// Whether coats grew.
    pub drift: Drift,
    /// Share within the limits, as observed; each by its own limits.
    pub share_within: Option<f64>,
    /// As estimated from mean and spread, were the values normally distributed.
    pub share_estimated: Option<f64>,
    /// Spread of hand and scale together, and the hand's where the scale's own is known.
    pub spread: Spread,
    /// How it would stand by the limits of those who sell by weight.
    pub yardsticks: Yardsticks,
    /// Pieces to look at before they go into the kiln.
    pub look: Vec<Look>,
    /// What to know before these numbers are believed.
    pub warnings: Vec<String>,
    /// What a person would say.
    pub sentence: String,
}

impl Review {
    /// What a person would say, in these units, each weight rounded once: a sentence in grams told anew would round twice.
    pub fn sentence_in(&self, shown: Shown) -> String {
        sentence::sentence(self, shown)
    }
}

/// Reviews a batch.
pub fn review(given: &Given) -> Review {
    let pieces = &given.pieces;
    let values: Vec<f64> = pieces.iter().map(|p| p.beside(given.aim.target)).collect();
    let first: Vec<f64> = pieces.iter().map(|p| p.first_beside(given.aim.target)).collect();
    let (target, low, high) = (given.aim.target.g(), given.aim.low.g(), given.aim.high.g());
    let mean_g = (!values.is_empty()).then(|| mean(&values));
    let sd_g = sample_sd(&values);
    let bias_g = mean_g.map(|mean| mean - target);
    let half = sd_g.and_then(|sd| distribution::half_width(sd, values.len()));
    let individuals = individuals(&values, pieces, given.rules);
    let ends = values.iter().copied();
    let mut reviewed = Review {
        n: values.len(),
        void: given.void,
        fired: given.fired,
        target_g: target,
        low_g: low,
        high_g: high,
        mean_g,
        sd_g,
        min_g: ends.clone().reduce(f64::min),
        max_g: ends.reduce(f64::max),
        bias_g,
        bias_low95_g: bias_g.zip(half).map(|(bias, half)| bias - half),
        bias_high95_g: bias_g.zip(half).map(|(bias, half)| bias + half),
        cv_percent: mean_g.zip(sd_g).filter(|(mean, _)| *mean > 0.0).map(|(mean, sd)| 100.0 * sd / mean),
        moving_range: moving_range(&values),
        smoothed: smoothed(&values, pieces),
        coarse: control_chart::too_coarse(&values),
        capability: capability(&first, low, high),
        drift: drift(&values),
        share_within: outcome::share_within(pieces),
        share_estimated: outcome::share_estimated(mean_g, sd_g, low, high),
        spread: outcome::spread(sd_g, pieces),
        yardsticks: yardstick::yardsticks(&values, pieces, target),
        look: outcome::look(pieces, &individuals),
        individuals,
        warnings: Vec::new(),
        sentence: String::new(),
    };
    // In a batch that grew, its ends differ from the middle: that is the drift's to tell.
    if reviewed.coarse || sentence::drifted(&reviewed, Shown::default()).is_some() {
        reviewed.look.retain(|look| look.why != outcome::Why::Odd);
    }
    reviewed.warnings = sentence::warnings(&reviewed, given);
    reviewed.sentence = reviewed.sentence_in(Shown::default());
    reviewed
}
