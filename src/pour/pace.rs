//! How fast somebody pours: what a new stream is taken for before it was seen.
//!
//! A short pour, or one that a late scale shows late, is over before its own flow is known.

use super::predict::{LEAST_FLOW_G_S, TRICKLE_G_S, USUAL_G_S};
use super::running::MOST_FLOW_G_S;

/// The weight of what is expected of anybody, in pours: they differ by more among each other than from pour to pour (a guess).
const PRIOR_WEIGHT: f64 = 1.1;
/// The floor of the gain: follows another slop or another jug within about fifteen pours; flows scatter too much from pour
/// to pour for a quicker one (0.2 cost a fifth of the accuracy on a late simulated scale).
const GAIN_FLOOR: f64 = 0.06;
/// Nobody's next pour is known better than this, and what scatters by more says nothing (guesses).
const CV: (f64, f64) = (0.3, 0.7);
/// Slower than this nothing runs, and faster pours no jug, g/s.
const FLOW_G_S: (f64, f64) = (LEAST_FLOW_G_S, MOST_FLOW_G_S);
/// Of so many pours the first more is learned than they scatter.
const FIRST_POURS: u32 = 2;

/// A usual flow and how it scatters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Mean flow, g/s.
    pub flow_g_s: f64,
    /// Standard deviation from pour to pour, as a share of it.
    pub cv: f64,
    /// Pours learned from.
    pub pours: u32,
}

impl Pace {
    /// What anybody pours from a jug.
    pub const POUR: Self = Self { flow_g_s: USUAL_G_S.0, cv: 0.375, pours: 0 };
    /// What anybody lets trickle.
    pub const TRICKLE: Self = Self { flow_g_s: TRICKLE_G_S.0, cv: 0.667, pours: 0 };

    /// Mean and standard deviation of the next stream's flow, g/s.
    pub(super) fn usual(self) -> (f64, f64) {
        (self.flow_g_s, self.cv * self.flow_g_s)
    }

    /// After one more stream of this flow.
    pub(super) fn learn(self, flow_g_s: f64) -> Self {
        if !flow_g_s.is_finite() {
            return self;
        }
        let seen = flow_g_s.clamp(FLOW_G_S.0, FLOW_G_S.1);
        let gain = (1.0 / (f64::from(self.pours) + PRIOR_WEIGHT)).max(GAIN_FLOOR);
        let off = seen / self.flow_g_s - 1.0;
        let scatters = self.pours >= FIRST_POURS;
        let variance = self.cv.powi(2);
        let learned = variance + GAIN_FLOOR * (off * off - variance);
        Self {
            flow_g_s: self.flow_g_s + gain * (seen - self.flow_g_s),
            cv: if scatters { learned.sqrt().clamp(CV.0, CV.1) } else { self.cv },
            pours: self.pours.saturating_add(1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slow_hand_is_known_after_a_few_pours_and_an_uneven_one_is_trusted_less() {
        let slow = (0..4).fold(Pace::POUR, |pace, _| pace.learn(1.5));
        assert!((slow.flow_g_s - 1.5).abs() < 0.2, "{slow:?}");
        let even = (0..100).fold(Pace::POUR, |pace, _| pace.learn(6.0));
        assert!((even.flow_g_s - 6.0).abs() < 1e-2 && even.cv == CV.0, "{even:?}");
        let uneven = (0..200).fold(Pace::POUR, |pace, i| pace.learn(if i % 2 == 0 { 3.5 } else { 8.5 }));
        assert!((uneven.flow_g_s - 6.0).abs() < 0.8 && (0.31..0.5).contains(&uneven.cv), "{uneven:?}");
    }

    #[test]
    fn what_is_expected_of_anybody_is_what_the_filter_begins_with() {
        for (pace, usual) in [(Pace::POUR, USUAL_G_S), (Pace::TRICKLE, TRICKLE_G_S)] {
            assert!((pace.usual().0 - usual.0).abs() + (pace.usual().1 - usual.1).abs() < 2e-3, "{pace:?}");
        }
    }

    #[test]
    fn odd_flows_do_no_harm() {
        for odd in [f64::NAN, f64::INFINITY, -3.0, 0.0, 1e9] {
            let pace = (0..5).fold(Pace::POUR, |pace, _| pace.learn(odd));
            assert!((FLOW_G_S.0..=FLOW_G_S.1).contains(&pace.flow_g_s), "{odd}: {pace:?}");
            assert!(pace.cv.is_finite());
        }
    }
}
