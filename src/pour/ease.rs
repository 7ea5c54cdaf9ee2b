//! Hands that ease off: told that the target is near, they pour slower. How far is learned, so that a scale that lags
//! behind a slowing stream doesn't take it for a quick one.

/// The hand begins to ease off so long after the warning: a reaction to a tone, about 0.2 s (Kosinski's review).
const FROM_S: f64 = 0.2;
/// ... and is done with it after so long (a guess, from a simulated hand).
const FOR_S: f64 = 1.5;
/// The floor of the gain: follows a hand that changes its way within about five pours (as for the stopping time).
const GAIN_FLOOR: f64 = 0.2;
/// Nobody eases off to less and still means to pour (a guess).
const LEAST: f64 = 0.3;

/// What share of its flow a hand keeps after the warning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ease {
    /// Share, at most 1.
    pub kept: f64,
    /// Pours learned from.
    pub pours: u32,
}

impl Default for Ease {
    /// As long as nothing is known of it a hand pours on evenly.
    fn default() -> Self {
        Self { kept: 1.0, pours: 0 }
    }
}

impl Ease {
    /// After one more pour in which at the stop this share of the flow at the warning was left.
    pub(super) fn learn(self, left: f64) -> Self {
        if !left.is_finite() {
            return self;
        }
        let gain = (1.0 / (f64::from(self.pours) + 2.0)).max(GAIN_FLOOR);
        let kept = self.kept + gain * (left.clamp(LEAST, 1.5) - self.kept);
        Self { kept: kept.clamp(LEAST, 1.0), pours: self.pours.saturating_add(1) }
    }

    /// Share of the flow left so long after the warning; all of it before.
    pub(super) fn left_after(self, warned_s: f64) -> f64 {
        1.0 - (1.0 - self.kept) * ((warned_s - FROM_S) / FOR_S).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hand_that_halves_its_flow_is_known_after_a_few_pours_and_one_that_does_not_stays_even() {
        let eases = (0..8).fold(Ease::default(), |ease, _| ease.learn(0.5));
        assert!((eases.kept - 0.5).abs() < 0.12, "{eases:?}");
        let even = [1.1, 0.9, 1.05, 0.95, 1.0, 1.02].into_iter().fold(Ease::default(), Ease::learn);
        assert!(even.kept > 0.93, "{even:?}");
    }

    #[test]
    fn nothing_eases_before_a_reaction_time_and_all_is_done_at_the_end() {
        let eases = Ease { kept: 0.5, pours: 5 };
        for (at_s, left) in [(f64::NEG_INFINITY, 1.0), (0.1, 1.0), (0.95, 0.75), (1.7, 0.5), (9.0, 0.5)] {
            assert!((eases.left_after(at_s) - left).abs() < 1e-9, "{at_s}");
        }
    }

    #[test]
    fn odd_shares_do_no_harm() {
        for odd in [f64::NAN, f64::INFINITY, -3.0, 0.0, 1e9] {
            let kept = Ease::default().learn(odd).kept;
            assert!((LEAST..=1.0).contains(&kept), "{odd}: {kept}");
        }
    }
}
