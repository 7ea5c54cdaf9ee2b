//! The daily check: one mass, ten seconds, and whether the scale is still where it was.

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
