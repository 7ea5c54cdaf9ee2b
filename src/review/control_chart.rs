//! Charts of single values: their limits by moving ranges of two, the run rules, and a smoothed chart.
//!
//! NIST/SEMATECH e-Handbook 6.3.2.2 (individuals, moving range) and 6.3.2.4 (exponentially weighted moving average).
//! Run rules: Western Electric, Statistical Quality Control Handbook, 1956; Nelson, Journal of Quality Technology 16,
//! 1984. No rule is laid on the moving ranges: neighbours share a value. A value on a line is not beyond it, and one on
//! the centre is on neither side.

use super::outcome::Piece;
use crate::calibration::statistics::mean;
use serde::Serialize;
use utoipa::ToSchema;

/// Mean range of two normal values over their standard deviation (chart constant d2 for n = 2, as tabled).
pub const D2: f64 = 1.128;
/// Upper limit of a moving range of two over their mean (chart constant D4 for n = 2, as tabled).
pub const D4: f64 = 3.267;
/// Weight of the newest value in the smoothed chart (the e-Handbook's example: 0.2 to 0.3 is usual).
pub const NEWEST: f64 = 0.3;
/// Fewer different moving ranges than these, and the display's step makes the limits.
const FEWEST_RANGES: usize = 4;
/// Ranges that differ by less are one: below any scale's step.
const SAME_G: f64 = 1e-6;

/// A pattern that chance seldom makes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Beyond three sigma.
    Beyond,
    /// Eight in a row on one side of the centre.
    EightOneSide,
    /// Nine in a row on one side.
    NineOneSide,
    /// Six in a row, each more than the one before, or each less.
    SixTrend,
    /// Fourteen in a row, up and down in turn.
    FourteenAlternating,
    /// Two of three beyond two sigma on one side.
    TwoOfThree,
    /// Four of five beyond one sigma on one side.
    FourOfFive,
    /// Fifteen in a row within one sigma.
    FifteenNear,
    /// Eight in a row beyond one sigma, on both sides.
    EightFar,
}

impl Rule {
    /// Every one.
    pub const ALL: [Self; 9] = [
        Self::Beyond,
        Self::EightOneSide,
        Self::NineOneSide,
        Self::SixTrend,
        Self::FourteenAlternating,
        Self::TwoOfThree,
        Self::FourOfFive,
        Self::FifteenNear,
        Self::EightFar,
    ];

    /// The word used in requests and replies.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Beyond => "beyond-3-sigma",
            Self::EightOneSide => "eight-one-side",
            Self::NineOneSide => "nine-one-side",
            Self::SixTrend => "six-trend",
            Self::FourteenAlternating => "fourteen-alternating",
            Self::TwoOfThree => "two-of-three-beyond-2-sigma",
            Self::FourOfFive => "four-of-five-beyond-1-sigma",
            Self::FifteenNear => "fifteen-within-1-sigma",
            Self::EightFar => "eight-beyond-1-sigma",
        }
    }

    /// What it means at the bench.
    pub const fn says(self) -> &'static str {
        match self {
            Self::Beyond => "further off than this batch's own spread makes: something was different here",
            Self::EightOneSide | Self::NineOneSide => {
                "so many in a row on one side of the average: something has shifted, the bucket, the hand or the scale"
            }
            Self::SixTrend => "six in a row, each more than the last or each less: something is wandering",
            Self::FourteenAlternating => {
                "up and down in turn for fourteen pieces: two jugs, two hands or two shelves take turns"
            }
            Self::TwoOfThree => "two of three far out on one side: something may be shifting",
            Self::FourOfFive => "four of five on one side, away from the average: something may be shifting",
            Self::FifteenNear => {
                "fifteen in a row closer to the average than chance makes: the limits are too wide, or two kinds of piece mixed"
            }
            Self::EightFar => "eight in a row, none near the average: two kinds of piece mixed",
        }
    }

    /// Whether it ends at this place of values in sigmas from the centre.
    fn ends_at(self, z: &[f64], at: usize) -> bool {
        let last = |n: usize| at.checked_sub(n - 1).and_then(|from| z.get(from..=at));
        let one_side = |w: &[f64]| w.iter().all(|z| *z > 0.0) || w.iter().all(|z| *z < 0.0);
        let of = |w: &[f64], far: f64, least: usize| {
            let up = w.iter().filter(|z| **z > far).count() >= least;
            let down = w.iter().filter(|z| **z < -far).count() >= least;
            // The one that ends it is itself out there.
            (up && w.last().is_some_and(|z| *z > far)) || (down && w.last().is_some_and(|z| *z < -far))
        };
        match self {
            Self::Beyond => z.get(at).is_some_and(|z| z.abs() > 3.0),
            Self::EightOneSide => last(8).is_some_and(one_side),
            Self::NineOneSide => last(9).is_some_and(one_side),
            Self::SixTrend => last(6).is_some_and(|w| {
                w.windows(2).all(|p| p.first() < p.last()) || w.windows(2).all(|p| p.first() > p.last())
            }),
            Self::FourteenAlternating => last(14).is_some_and(alternates),
            Self::TwoOfThree => last(3).is_some_and(|w| of(w, 2.0, 2)),
            Self::FourOfFive => last(5).is_some_and(|w| of(w, 1.0, 4)),
            Self::FifteenNear => last(15).is_some_and(|w| w.iter().all(|z| z.abs() < 1.0)),
            Self::EightFar => last(8).is_some_and(|w| w.iter().all(|z| z.abs() > 1.0) && !one_side(w)),
        }
    }
}

fn alternates(values: &[f64]) -> bool {
    let steps: Vec<f64> =
        values.windows(2).map(|w| w.iter().rev().copied().reduce(|b, a| b - a).unwrap_or(0.0)).collect();
    steps.windows(2).all(|s| s.iter().product::<f64>() < 0.0)
}

/// Which rules are looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules(u16);

impl Default for Rules {
    /// Beyond three sigma, and eight on one side: in a batch that is even, one piece in a hundred (0.0027 + 0.0078).
    fn default() -> Self {
        Self::none().with(Rule::Beyond).with(Rule::EightOneSide)
    }
}

impl Rules {
    /// No rule.
    pub const fn none() -> Self {
        Self(0)
    }

    /// This one too.
    #[must_use]
    pub const fn with(self, rule: Rule) -> Self {
        Self(self.0 | 1 << rule as u16)
    }

    /// Whether this one is among them.
    pub const fn has(self, rule: Rule) -> bool {
        self.0 & (1 << rule as u16) != 0
    }

    /// As one number, to be kept.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// From such a number; what stands for no rule is left out.
    pub fn from_bits(bits: i64) -> Self {
        let there = |rule: &Rule| bits & (1 << *rule as u16) != 0;
        Rule::ALL.into_iter().filter(there).fold(Self::none(), Self::with)
    }

    /// The words of those that are among them.
    pub fn words(self) -> Vec<&'static str> {
        Rule::ALL.into_iter().filter(|rule| self.has(*rule)).map(Rule::word).collect()
    }

    /// From words, or `none` alone; the first that is no rule's is the error.
    ///
    /// # Errors
    /// That word.
    pub fn from_words<'a>(words: impl IntoIterator<Item = &'a str>) -> Result<Self, &'a str> {
        let words: Vec<&str> = words.into_iter().collect();
        if words == ["none"] {
            return Ok(Self::none());
        }
        words.into_iter().try_fold(Self::none(), |rules, word| {
            Rule::ALL.into_iter().find(|rule| rule.word() == word).map(|rule| rules.with(rule)).ok_or(word)
        })
    }
}

/// A rule was met.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Signal {
    /// Which value, from 0.
    pub index: usize,
    /// Which piece.
    pub piece: u32,
    /// The rule's word.
    pub rule: &'static str,
    /// What it means.
    pub says: &'static str,
}

/// The chart of single values.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Individuals {
    /// Mean, g.
    pub centre: Option<f64>,
    /// Three sigma below, g.
    pub lower: Option<f64>,
    /// Three sigma above, g.
    pub upper: Option<f64>,
    /// Rules that were met.
    pub signals: Vec<Signal>,
}

/// The chart of moving ranges of two.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct MovingRange {
    /// Mean, g.
    pub centre: Option<f64>,
    /// Upper limit, g.
    pub upper: Option<f64>,
}

/// Values smoothed: each counts 0.3, all before it 0.7.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Smoothed {
    /// Smoothed values, one for each piece, g.
    pub values_g: Vec<f64>,
    /// Lower limit, g.
    pub lower: Option<f64>,
    /// Upper limit, g.
    pub upper: Option<f64>,
    /// The first piece whose smoothed value lies beyond.
    pub beyond: Option<u32>,
}

/// Differences of neighbours, without sign.
pub fn ranges(values: &[f64]) -> Vec<f64> {
    values.windows(2).map(|w| w.iter().copied().reduce(|a, b| (b - a).abs()).unwrap_or(0.0)).collect()
}

/// Their mean; `None` of fewer than two values.
pub fn mean_moving_range(values: &[f64]) -> Option<f64> {
    let ranges = ranges(values);
    (!ranges.is_empty()).then(|| mean(&ranges))
}

/// The spread from piece to piece that such a mean tells.
pub fn sigma(mean_moving_range: Option<f64>) -> Option<f64> {
    mean_moving_range.map(|range| range / D2)
}

/// Whether the values have so few different ranges that the display's step makes them. Fewer than five values can't tell.
pub fn too_coarse(values: &[f64]) -> bool {
    let mut ranges: Vec<i64> = ranges(values).iter().map(|r| (r / SAME_G).round() as i64).collect();
    ranges.sort_unstable();
    ranges.dedup();
    values.len() > FEWEST_RANGES && ranges.len() < FEWEST_RANGES
}

/// Centre, limits and signals; limits only where values differ.
pub fn individuals(values: &[f64], pieces: &[Piece], rules: Rules) -> Individuals {
    if values.is_empty() {
        return Individuals::default();
    }
    let centre = mean(values);
    let Some(sigma) = sigma(mean_moving_range(values)).filter(|sigma| *sigma > 0.0) else {
        return Individuals { centre: Some(centre), ..Individuals::default() };
    };
    let z: Vec<f64> = values.iter().map(|v| (v - centre) / sigma).collect();
    let mut signals = Vec::new();
    for (index, piece) in pieces.iter().enumerate() {
        let met = Rule::ALL.into_iter().filter(|rule| rules.has(*rule) && rule.ends_at(&z, index));
        signals.extend(met.map(|rule| Signal {
            index,
            piece: piece.piece,
            rule: rule.word(),
            says: rule.says(),
        }));
    }
    Individuals {
        centre: Some(centre),
        lower: Some(centre - 3.0 * sigma),
        upper: Some(centre + 3.0 * sigma),
        signals,
    }
}

/// Centre and upper limit of the moving ranges.
pub fn moving_range(values: &[f64]) -> MovingRange {
    let centre = mean_moving_range(values);
    MovingRange { centre, upper: centre.filter(|range| *range > 0.0).map(|range| D4 * range) }
}

/// Smoothed values, begun at their start.
pub fn ewma(values: &[f64], start: f64, newest: f64) -> Vec<f64> {
    let next = |before: &mut f64, v: &f64| {
        *before = newest * v + (1.0 - newest) * *before;
        Some(*before)
    };
    values.iter().scan(start, next).collect()
}

/// How far smoothed values of this spread stray: three times sigma sqrt(newest / (2 - newest)), as after many values.
pub fn ewma_limit(sigma: f64, newest: f64) -> f64 {
    3.0 * sigma * (newest / (2.0 - newest)).sqrt()
}

/// The smoothed chart about the mean.
pub fn smoothed(values: &[f64], pieces: &[Piece]) -> Smoothed {
    if values.is_empty() {
        return Smoothed::default();
    }
    let centre = mean(values);
    let values_g = ewma(values, centre, NEWEST);
    let limit = sigma(mean_moving_range(values)).filter(|s| *s > 0.0).map(|s| ewma_limit(s, NEWEST));
    let beyond = limit.and_then(|limit| {
        let out = values_g.iter().zip(pieces).find(|(v, _)| (**v - centre).abs() > limit);
        out.map(|(_, piece)| piece.piece)
    });
    Smoothed { values_g, lower: limit.map(|l| centre - l), upper: limit.map(|l| centre + l), beyond }
}
