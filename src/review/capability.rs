//! How the spread compares with the tolerance: Cp, Cpk, Pp, Ppk.
//!
//! Definitions: NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6. Cp and Cpk take the spread from piece to piece
//! (mean moving range over 1.128), Pp and Ppk the spread of all (n - 1).

use super::control_chart::{mean_moving_range, sigma};
use super::distribution::Z_95;
use crate::calibration::statistics::{mean, sample_sd};
use serde::Serialize;
use utoipa::ToSchema;

/// What the hand could do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Capability {
    /// Tolerance over six times the spread from piece to piece.
    pub cp: Option<f64>,
    /// Distance from mean to the nearer limit, over three times that spread.
    pub cpk: Option<f64>,
    /// As cp, by the spread of all.
    pub pp: Option<f64>,
    /// As cpk, by the spread of all.
    pub ppk: Option<f64>,
    /// Lower end of cpk's 95 % interval.
    pub cpk_low95: Option<f64>,
    /// Upper end.
    pub cpk_high95: Option<f64>,
    /// Lower end of ppk's 95 % interval.
    pub ppk_low95: Option<f64>,
    /// Upper end.
    pub ppk_high95: Option<f64>,
}

/// Of a mean moving range's degrees of freedom, as a share of n - 1: it tells a spread less well than all values do
/// (found by simulation; `tests/it/review/coverage.rs` holds it).
const MOVING_FREEDOM: f64 = 0.6;

/// Of these values, between these limits.
pub fn capability(values: &[f64], low: f64, high: f64) -> Capability {
    if values.len() < 2 || high <= low {
        return Capability::default();
    }
    let centre = mean(values);
    let near = (high - centre).min(centre - low);
    let freedom = (values.len() - 1) as f64;
    let spread = |spread: f64| (spread > 0.0).then_some(spread);
    let (within, all) =
        (sigma(mean_moving_range(values)).and_then(spread), sample_sd(values).and_then(spread));
    let (cpk, ppk) = (within.map(|s| near / (3.0 * s)), all.map(|s| near / (3.0 * s)));
    let ends = |index: Option<f64>, freedom: f64| {
        let half = index.map(|index| half_width(index, values.len(), freedom));
        (index.zip(half).map(|(i, half)| i - half), index.zip(half).map(|(i, half)| i + half))
    };
    let (cpk_low95, cpk_high95) = ends(cpk, MOVING_FREEDOM * freedom);
    let (ppk_low95, ppk_high95) = ends(ppk, freedom);
    Capability {
        cp: within.map(|s| (high - low) / (6.0 * s)),
        cpk,
        pp: all.map(|s| (high - low) / (6.0 * s)),
        ppk,
        cpk_low95,
        cpk_high95,
        ppk_low95,
        ppk_high95,
    }
}

/// Half the 95 % interval of such an index: z sqrt(1 / 9n + index^2 / 2 freedom), the usual approximation (Bissell 1990;
/// from memory).
fn half_width(index: f64, n: usize, freedom: f64) -> f64 {
    Z_95 * (1.0 / (9.0 * n as f64) + index * index / (2.0 * freedom)).sqrt()
}
