//! What the log knows that a calibration needs beside its readings: how far the scale drifts, and how heavy pieces are.

use crate::calibration::check::drift_share;
use crate::record::{Search, Verdict};
use crate::store::{Reader, StoreError};

/// Checks that are looked at: of more than a year of days.
const MOST_CHECKS: u32 = 400;
/// Pieces that are looked at: a board of ware (own choice).
const MOST_PIECES: usize = 24;
/// Lighter is no piece, g: brought in from a table without its bare weight (own choice).
const LEAST_G: f64 = 10.0;
/// No calibration counts on more drift, over the load: such a scale is broken (as `calibration/taken.rs` has it).
const MOST_DRIFT: f64 = 0.1;

/// Drift between calibrations over the load, and the middle one of what the latest pieces weighed bare, g.
pub(super) fn of(reader: &Reader, scale: &str) -> Result<(Option<f64>, Option<f64>), StoreError> {
    // One that was made while the scale went by what it shows tells its error, not its drift.
    let since: Vec<(f64, f64, f64)> = reader
        .checks(scale, MOST_CHECKS)?
        .iter()
        .filter(|check| check.calibration.is_some() && check.mass_g > 0.0)
        .map(|check| (check.error_g, check.u_g, check.mass_g))
        .collect();
    let latest = reader.find(&Search::default(), MOST_PIECES)?;
    let mut bare: Vec<f64> = latest
        .iter()
        .filter(|found| found.pour.verdict != Verdict::Void)
        .map(|found| found.pour.tare.g())
        .filter(|g| *g >= LEAST_G)
        .collect();
    bare.sort_by(f64::total_cmp);
    Ok((drift_share(&since).map(|share| share.min(MOST_DRIFT)), bare.get(bare.len() / 2).copied()))
}
