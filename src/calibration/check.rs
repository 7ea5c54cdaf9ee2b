//! The daily check: one mass, ten seconds, and whether the scale is still where it was.

use super::correction::Correction;
use super::reference::Reference;
use super::report::Report;
use super::uncertainty::{Known, combined_g};

/// Warning and action limits of a chart, in standard deviations (common practice of control charts).
pub(super) const WARNS: f64 = 2.0;
/// See [`WARNS`].
pub(super) const ACTS: f64 = 3.0;
/// A scale that was calibrated so many degrees away is checked again (own choice: cheap cells drift by about 0.02 percent per
/// degree, from memory).
pub const MOVED_C: f64 = 5.0;

/// What a check says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    /// As before.
    InOrder,
    /// Near the limit: check it once more.
    Again,
    /// Calibrate it.
    Calibrate,
}

impl Says {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::InOrder => "in-order",
            Self::Again => "again",
            Self::Calibrate => "calibrate",
        }
    }
}

/// What one weighing of a known mass says: `error_g` is what it shows, corrected, less what it is; `u_g` the standard
/// uncertainty of such a weighing.
pub fn says(error_g: f64, u_g: f64) -> Says {
    match error_g.abs() / u_g.max(f64::MIN_POSITIVE) {
        off if off > ACTS => Says::Calibrate,
        off if off > WARNS => Says::Again,
        _ => Says::InOrder,
    }
}

/// What one weighing of a mass comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// What is shown, corrected, less what the mass is worth; of a mass that the scale was calibrated with, less what the scale
    /// made of it then, g.
    pub error_g: f64,
    /// Standard uncertainty of that, g.
    pub u_g: f64,
}

/// A mass that showed `shown_g` above the bare pan.
///
/// Of a mass that the scale was calibrated with, what that calibration made of it is taken off: its own error, however
/// large, stood in both and is gone from the difference. What is left to chance is four readings: mass and bare pan now, and
/// then: u^2 = 2 (s^2 + d^2/12) + u_then^2, by digit and spread alone. Of another mass its own uncertainty counts, and that
/// of the correction.
pub fn weighed(
    found: Option<&Report>,
    correction: Correction,
    division_g: f64,
    mass: Reference,
    shown_g: f64,
) -> Weighed {
    let known = found.map_or(Known { division_g, ..Known::default() }, |found| found.known);
    let off_g = correction.of_g(shown_g) - correction.of_g(0.0) - mass.mass_g;
    match found.and_then(|found| found.made_of(mass)) {
        Some((then_g, u_then_g)) => {
            let u_now2 = 2.0 * (known.spread_g().powi(2) + known.digit_g().powi(2));
            Weighed { error_g: off_g - then_g, u_g: u_now2.sqrt().hypot(u_then_g) }
        }
        None => Weighed { error_g: off_g, u_g: combined_g(&known.net(mass.mass_g)).hypot(mass.u_g) },
    }
}

/// From so many checks on they tell how far a scale drifts (own choice: the spread of ten independent values is known to a
/// quarter; less well where all are of one calibration, whose readings they share).
pub const TELL_DRIFT: usize = 10;

/// How far a scale drifts between calibrations, over the load, a standard uncertainty: what checks were off beyond what their
/// readings scatter. Each is (error, its standard uncertainty, mass), g. `None` of too few.
pub fn drift_share(checks: &[(f64, f64, f64)]) -> Option<f64> {
    if checks.len() < TELL_DRIFT {
        return None;
    }
    let beyond =
        |(error_g, u_g, mass_g): &(f64, f64, f64)| (error_g * error_g - u_g * u_g) / (mass_g * mass_g);
    let mean = checks.iter().map(beyond).sum::<f64>() / checks.len() as f64;
    Some(mean.max(0.0).sqrt())
}

/// A scale that is relied on is checked every day: after so long it is asked for, s (own choice: less than a day, so that
/// each morning's begin asks for it).
const DAILY_S: i64 = 20 * 3600;

/// Why a scale is to be checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Due {
    /// The last check was not in order, and nothing was set right since: asked for until one is, or it is calibrated.
    NotInOrder,
    /// The last check, or the calibration, was long ago.
    Day,
    /// The room is another than then.
    Room,
}

impl Due {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotInOrder => "not-in-order",
            Self::Day => "day",
            Self::Room => "room",
        }
    }
}

/// Why a scale is to be checked that was calibrated or checked `gone_s` ago in a room of `then_c`, where it is; `said` is the
/// word of the last check since the calibration.
pub fn due(said: Option<&str>, gone_s: i64, then_c: Option<f64>, now_c: Option<f64>) -> Option<Due> {
    if said.is_some_and(|said| said != Says::InOrder.word()) {
        return Some(Due::NotInOrder);
    }
    if moved_too_far(then_c, now_c) { Some(Due::Room) } else { (gone_s > DAILY_S).then_some(Due::Day) }
}

/// Whether the room has moved so far from that of the calibration, where both are told.
fn moved_too_far(calibrated_c: Option<f64>, now_c: Option<f64>) -> bool {
    calibrated_c.zip(now_c).is_some_and(|(then_c, now_c)| too_far(then_c, now_c))
}

/// Whether the temperature has moved so far that the scale is to be checked.
pub fn too_far(calibrated_c: f64, now_c: f64) -> bool {
    (calibrated_c - now_c).abs() >= MOVED_C
}
