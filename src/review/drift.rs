//! Whether coats grew heavier or lighter from piece to piece: a straight line by least squares.

use super::distribution::{Z_95, t_95, two_sided_p};
use crate::calibration::fit::{Fit, Point, Shape, fit};
use crate::calibration::statistics::squares_about_mean;
use serde::Serialize;
use utoipa::ToSchema;

/// A line over the pieces in their order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Drift {
    /// Grams more from each piece to the next.
    pub slope_g_per_piece: Option<f64>,
    /// Lower end of its 95 % interval.
    pub slope_low95: Option<f64>,
    /// Upper end.
    pub slope_high95: Option<f64>,
    /// How often so steep a line comes about by chance: two-sided t test, with pieces scattering by no less than the
    /// display's step alone makes them. Nothing under four pieces.
    pub p_value: Option<f64>,
    /// The line at the first piece, g.
    pub first_g: Option<f64>,
    /// At the last, g.
    pub last_g: Option<f64>,
    /// Correlation of what the line leaves from one piece to the next.
    pub correlation: Option<f64>,
    /// Neighbours are more alike than chance allows: then chance makes steep lines more often than the p value says.
    pub correlated: bool,
}

/// Where the line's 95 % band lies at a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Piece, from 0.
    pub at: f64,
    /// Lower edge, g.
    pub low: f64,
    /// The line, g.
    pub line: f64,
    /// Upper edge, g.
    pub high: f64,
}

fn line(values: &[f64]) -> Option<Fit> {
    let point = |(n, y): (usize, &f64)| Point { x: n as f64, y: *y, weight: 1.0 };
    let points: Vec<Point> = values.iter().enumerate().map(point).collect();
    fit(&points, Shape::Line).filter(|fit| fit.freedom > 0)
}

fn differs(values: &[f64]) -> bool {
    values.first().is_some_and(|first| values.iter().any(|v| v != first))
}

/// Fewer pieces lie on a line too often by chance alone, as weights come in steps (own choice).
const FEWEST: usize = 4;
/// Parts of the smallest difference that a step is looked for in: more than a display's 1, 2 or 5 need (own choice).
const PARTS: u32 = 10;
/// Weights that differ by less are the same, g: the log keeps no finer ones.
const SAME_G: f64 = 1e-7;

/// The display's step as the values show it: they all lie whole steps apart. 0 where they don't.
fn step(values: &[f64]) -> f64 {
    let Some(first) = values.first() else { return 0.0 };
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let gaps = sorted.iter().zip(sorted.iter().skip(1)).map(|(low, high)| high - low);
    let Some(gap) = gaps.filter(|gap| *gap > SAME_G).reduce(f64::min) else { return 0.0 };
    let apart = |v: &f64, step: f64| (v - first) / step;
    let whole = |step: f64| values.iter().all(|v| (apart(v, step) - apart(v, step).round()).abs() < 1e-3);
    (1..=PARTS).map(|parts| gap / f64::from(parts)).find(|step| whole(*step)).unwrap_or(0.0)
}

/// The drift of values in the order they were poured; nothing of fewer than three or of equal ones.
pub fn drift(values: &[f64]) -> Drift {
    let Some(line) = line(values).filter(|_| differs(values)) else { return Drift::default() };
    let [offset, slope, _] = line.coefficients;
    let left = line.residual_sd();
    // Rounding to a step hides what is finer and scatters by step / sqrt(12) (GUM F.2.2.1): values that seem to lie on a
    // line are known no better than that.
    let rounding = step(values) / 12.0_f64.sqrt();
    let exact = left <= 1e-12 * (offset.abs() + slope.abs());
    let sd = line.unit_sd(1) * left.max(rounding);
    let half = t_95(line.freedom).map(|t| t * sd);
    let correlation = if exact { None } else { serial_correlation(&line.residuals) };
    let usual = Z_95 / (values.len() as f64).sqrt();
    Drift {
        slope_g_per_piece: Some(slope),
        slope_low95: half.map(|half| slope - half),
        slope_high95: half.map(|half| slope + half),
        p_value: if values.len() < FEWEST || sd <= 0.0 {
            None
        } else {
            two_sided_p(slope / sd, line.freedom)
        },
        first_g: Some(offset),
        last_g: Some(line.at((values.len() - 1) as f64)),
        correlation,
        correlated: correlation.is_some_and(|r| r > usual),
    }
}

/// Correlation of each value with the next, about their mean: r(1) as in the StRD univariate sets.
pub fn serial_correlation(values: &[f64]) -> Option<f64> {
    let squares = squares_about_mean(values);
    let mean = crate::calibration::statistics::mean(values);
    let products: f64 = values.windows(2).map(|w| w.iter().map(|v| v - mean).product::<f64>()).sum();
    (values.len() >= 3 && squares > 0.0).then(|| products / squares)
}

/// The line with the 95 % band of where it lies, at each piece.
pub fn band(values: &[f64]) -> Vec<Band> {
    let Some(line) = line(values).filter(|_| differs(values)) else { return Vec::new() };
    let t = t_95(line.freedom).unwrap_or(0.0) * line.residual_sd();
    let at = |n: usize| {
        let x = n as f64;
        let [[c00, c01, _], [_, c11, _], _] = line.unit_covariance;
        let half = t * (c00 + 2.0 * x * c01 + x * x * c11).max(0.0).sqrt();
        Band { at: x, low: line.at(x) - half, line: line.at(x), high: line.at(x) + half }
    };
    (0..values.len()).map(at).collect()
}
