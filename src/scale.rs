//! Facts of a scale, each with where it comes from.

mod display;
pub mod health;
pub mod response;
pub mod smoothing;

use crate::time::Duration;
use crate::units::Mass;
use response::Lags;

/// From here on a step is coarse: noise hides in it, so that a tail shows as steps only (own choice: five times the
/// usual step).
pub const COARSE_STEP_G: f64 = 0.5;

/// Only a display whose lag is more than so many readings shows what falls onto the pan, or a lift, over several
/// of them (derived: one pole then shows at least a half of the weight, exp(-1/1.5), in the first reading after it).
pub const LAG_INTERVALS: f64 = 1.5;

/// Where a fact of a scale comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A default that suits most scales.
    Assumed,
    /// A person set it.
    Told,
    /// Worked out from readings.
    Learned,
}

/// What is known of a scale.
#[derive(Clone, Debug, PartialEq)]
pub struct ScaleFacts {
    /// A name for logs and records.
    pub id: String,
    /// The smallest change the display shows.
    pub step: Mass,
    /// Scatter of a reading at rest besides the step (one standard deviation).
    pub noise: Mass,
    /// First moment of the scale's step response: how late a ramp is shown
    /// (derived: any linear filter of unit gain
    /// lags a ramp by the area between a step and its step response).
    pub lag: Duration,
    /// Where `lag` comes from.
    pub lag_origin: Origin,
}

impl ScaleFacts {
    /// Whether the display tells a pour at the middle of these limits from one at an end:
    /// a step must fit between (derived).
    pub fn tells_apart(&self, low: Mass, high: Mass) -> bool {
        0.5 * (high - low).g() >= self.step.g()
    }

    /// The same scale where nobody told its lag and it was learned before, s, and what it is to be learned on from;
    /// `measured` on purpose, or as pieces landed and left.
    pub fn as_learned(self, lag_s: Option<f64>, measured: bool) -> (Self, Lags) {
        match lag_s.filter(|_| self.lag_origin == Origin::Assumed) {
            Some(lag_s) => {
                let lag = Duration::from_micros((lag_s * 1e6).round() as u64);
                let lags = if measured { Lags::measured(lag_s) } else { Lags::known(lag_s) };
                (Self { lag, lag_origin: Origin::Learned, ..self }, lags)
            }
            None => (self, Lags::default()),
        }
    }

    /// Standard deviation of one reading: step and noise together.
    /// A uniform rounding error has variance step squared over twelve (GUM 4.3.7, from memory).
    pub fn reading_sd_g(&self) -> f64 {
        (self.step.g().powi(2) / 12.0 + self.noise.g().powi(2)).sqrt().max(1e-3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_closer_than_a_step_cannot_be_told_apart() {
        let scale = ScaleFacts {
            id: "test".into(),
            step: Mass::saturating(0.5),
            noise: Mass::ZERO,
            lag: Duration::ZERO,
            lag_origin: Origin::Told,
        };
        let limits = |half: f64| (Mass::saturating(29.0 - half), Mass::saturating(29.0 + half));
        assert!(!scale.tells_apart(limits(0.01).0, limits(0.01).1));
        assert!(!scale.tells_apart(limits(0.45).0, limits(0.45).1));
        assert!(scale.tells_apart(limits(0.5).0, limits(0.5).1));
    }
}
