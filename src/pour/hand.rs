//! The potter's stopping time: how many seconds of flow still arrive after the stop is heard.
//!
//! One number, learned from settled weights and, with less trust, from weights estimated
//! at the lift; never from peaks.

use super::ease::Ease;
use super::guidance::Guidance;
use super::pace::Pace;
use super::predict::{LEAST_FLOW_G_S, USUAL_G_S};

/// A learned stopping time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Seconds of flow between the stop being due and the stream's end, at the flow of a usual pour.
    pub hand_s: f64,
    /// Pours learned from.
    pub pours: u32,
    /// How far it eases off once warned.
    pub ease: Ease,
    /// The scale's lag as it was taken to be: finished pours show the sum of the two only.
    pub lag_s: Option<f64>,
    /// Standard deviation of that time from pour to pour, s, once there were pours enough to tell.
    pub scatter_s: Option<f64>,
    /// How fast it pours.
    pub pace: Pace,
    /// How it finishes with a trickle.
    pub trickle: Trickle,
}

/// A hand that lets the last grams trickle: its time is another than in a pour, as what drips is the same at any flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trickle {
    /// Seconds of flow between the stop being due and the stream's end.
    pub hand_s: f64,
    /// How fast it lets it trickle, and from how many trickles all this is learned.
    pub pace: Pace,
}

/// Prior: reaction to a tone about 0.21 s (Kosinski's review: sound about 0.16 s for
/// rested subjects; busy hands are slower) and 0.4 of a 0.2 s tilt-back (derived: flow
/// over a lip falls as head to the power 1.5, whose integral is 0.4).
const PRIOR_S: f64 = 0.29;
/// The same at a trickle: what drips (creamy slop: 0.3 g, a guess) is 0.1 s of it more.
const TRICKLE_S: f64 = 0.39;
/// What drips of a creamy slop, g (a guess), and the longest that is counted for it, s (own choice).
const DRIP_G: f64 = 0.3;
const MOST_DRIP_S: f64 = 0.2;
/// The floor of the gain. Derived: person and tool together must correct less than the whole error, so that any gain under
/// 0.5 leaves room for a person who corrects half of it. Of those a small one scatters less (simulated, usual scale and hand,
/// 29 g: 0.53 g at 0.2, 0.52 g at 0.15) and is slower to follow another jug: two thirds of its time within seven pours (derived).
const GAIN_FLOOR: f64 = 0.15;
/// Before the first pour the sum of hand and unexplained scale lag is known to about 0.2 s,
/// a pour shows it to about 0.06 s: the gain that weighs the two is 1 / (k + 0.06 squared
/// over 0.2 squared + 1), rounded (derived; the two figures are guesses from simulated hands).
const PRIOR_WEIGHT: f64 = 1.1;
/// No later pour's error counts for more than this (common practice, no source), or than so many of this hand's own
/// standard deviations: of a restless one the rare long times are a part of the mean (best on simulated hands) ...
const STEP_LIMIT_S: f64 = 0.15;
const STEP_LIMIT_SIGMAS: f64 = 3.0;
/// ... but the first three may find that the scale is much slower than assumed.
const FIRST_STEP_LIMIT_S: f64 = 0.5;
pub(super) const FIRST_POURS: u32 = 3;

/// ... and of a trickle, whose drip counts for more in time (a guess).
const TRICKLE_LIMIT_S: f64 = 0.25;

/// What is expected of a hand's scatter, s (people's scatter in answering tones, 0.03 to 0.06 s, and the flow's), and the
/// gain with which it is learned: over ten pours (own choice).
pub(super) const SCATTER_S: f64 = 0.06;
const SCATTER_GAIN: f64 = 0.1;
/// Slower than this is no hand, s (a guess).
const MOST_S: f64 = 1.5;

/// A weight estimated at the lift is off by up to about half the hand's own scatter on simulated
/// scales: it counts for less (a guess).
const ESTIMATE_TRUST: f64 = 0.7;

/// What one pour taught: the last drops, weighed later, may still change it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Taught {
    gain: f64,
    error_s: f64,
    per_g_s: f64,
    limit_s: f64,
}

impl Taught {
    fn of(gain: f64, error_g: f64, per_g_s: f64, limit_s: f64) -> Option<Self> {
        let known = error_g.is_finite() && per_g_s > LEAST_FLOW_G_S;
        known.then(|| Self { gain, error_s: error_g / per_g_s, per_g_s, limit_s })
    }

    /// The part of the error that is learned, s.
    fn within_s(&self) -> f64 {
        self.error_s.clamp(-self.limit_s, self.limit_s)
    }

    /// How much later the hand stops than was learned, as the pour weighs so much more: in all no more is learned than
    /// from one that had weighed so at once.
    pub(super) fn late_s(&mut self, off_g: f64) -> f64 {
        let was_s = self.within_s();
        self.error_s += off_g / self.per_g_s;
        self.gain * (self.within_s() - was_s)
    }
}

impl Default for Hand {
    fn default() -> Self {
        let ease = Ease::default();
        let (pace, trickle) = (Pace::POUR, Trickle::default());
        Self { hand_s: PRIOR_S, pours: 0, ease, lag_s: None, scatter_s: None, pace, trickle }
    }
}

impl Default for Trickle {
    fn default() -> Self {
        Self { hand_s: TRICKLE_S, pace: Pace::TRICKLE }
    }
}

impl Trickle {
    fn gain(self) -> f64 {
        (1.0 / (f64::from(self.pace.pours) + PRIOR_WEIGHT)).max(GAIN_FLOOR)
    }

    /// As [`Hand::taught`].
    pub(super) fn taught(self, error_g: f64, flow_g_s: f64) -> Option<Taught> {
        Taught::of(self.gain(), error_g, flow_g_s, self.limit_s())
    }

    fn limit_s(self) -> f64 {
        if self.pace.pours < FIRST_POURS { FIRST_STEP_LIMIT_S } else { TRICKLE_LIMIT_S }
    }

    /// As [`Hand::learn_late`].
    pub(super) fn learn_late(self, late_s: f64) -> Self {
        Self { hand_s: (self.hand_s + late_s).clamp(0.0, MOST_S), ..self }
    }

    /// The time after one more trickle that ended `error_g` over the target.
    pub(super) fn learn(self, error_g: f64, flow_g_s: f64) -> Self {
        let Some(taught) = self.taught(error_g, flow_g_s) else { return self };
        self.learn_late(taught.gain * taught.within_s())
    }
}

/// A hand that keeps time with even pips is early by 0.02 to 0.08 s at a moderate tempo (Repp 2005; Repp and Su 2013, as
/// quoted by others), and tilts and drips as any other.
const PRIOR_ON_THE_BEAT_S: f64 = 0.07;

impl Hand {
    /// What is expected of a hand nobody knows that is guided so.
    pub fn expected(guidance: Guidance) -> Self {
        match guidance {
            Guidance::Stop | Guidance::Warned => Self::default(),
            Guidance::Countdown => Self { hand_s: PRIOR_ON_THE_BEAT_S, ..Self::default() },
        }
    }

    /// The scatter after one more pour that was so much off; of the first pours more is learned than they scatter.
    fn scattered(self, error_s: f64) -> Option<f64> {
        if self.pours < FIRST_POURS {
            return None;
        }
        let was_s = self.scatter_s.unwrap_or(SCATTER_S);
        Some((was_s * was_s + SCATTER_GAIN * (error_s * error_s - was_s * was_s)).sqrt())
    }

    /// The same hand on a scale that is taken to be so late, s: what was learned is the sum of both.
    pub fn beside(self, lag_s: f64) -> Self {
        let was_s = self.lag_s.filter(|_| self.pours > 0).unwrap_or(lag_s);
        let hand_s = (self.hand_s + was_s - lag_s).clamp(0.0, MOST_S);
        Self { hand_s, lag_s: Some(lag_s), ..self }
    }

    /// The same hand as it ends a trickle.
    pub fn at_a_trickle(self) -> Self {
        let Trickle { hand_s, pace } = self.trickle;
        Self { hand_s, pace, scatter_s: None, ..self }
    }

    /// Its time at this flow, s: what drips after the stream is about the same at any flow, and takes longer of a slow one.
    pub fn at_s(self, flow_g_s: f64) -> f64 {
        let drip_s = DRIP_G / flow_g_s.max(LEAST_FLOW_G_S) - DRIP_G / USUAL_G_S.0;
        (self.hand_s + drip_s.min(MOST_DRIP_S)).clamp(0.0, MOST_S)
    }

    fn gain(self, settled: bool) -> f64 {
        let trust = if settled { 1.0 } else { ESTIMATE_TRUST };
        trust * (1.0 / (f64::from(self.pours) + PRIOR_WEIGHT)).max(GAIN_FLOOR)
    }

    /// What a pour that ended so much over the target teaches it.
    pub(super) fn taught(self, error_g: f64, flow_g_s: f64, settled: bool) -> Option<Taught> {
        // Of its own flow a stream that quickened at last, and so ended over, would count for less than one that slowed: the
        // errors in grams are to come to nothing.
        let known = self.pace.pours >= FIRST_POURS && flow_g_s > LEAST_FLOW_G_S;
        let per_g_s = if known { self.pace.flow_g_s } else { flow_g_s };
        Taught::of(self.gain(settled), error_g, per_g_s, self.limit_s())
    }

    fn limit_s(self) -> f64 {
        if self.pours < FIRST_POURS {
            return FIRST_STEP_LIMIT_S;
        }
        STEP_LIMIT_S.max(STEP_LIMIT_SIGMAS * self.scatter_s.unwrap_or(SCATTER_S))
    }

    /// The last drops of a pour that it learned from were weighed after it had learned: they count too.
    pub(super) fn learn_late(self, late_s: f64) -> Self {
        Self { hand_s: (self.hand_s + late_s).clamp(0.0, MOST_S), ..self }
    }

    /// The time after one more pour that ended `error_g` over the target at `flow_g_s`;
    /// `settled` when that is known from rest, else from the filter at the lift.
    pub fn learn(self, error_g: f64, flow_g_s: f64, settled: bool) -> Self {
        let Some(taught) = self.taught(error_g, flow_g_s, settled) else { return self };
        let scatter_s = self.scattered(taught.within_s());
        let learned = self.learn_late(taught.gain * taught.within_s());
        Self { pours: self.pours.saturating_add(1), scatter_s, ..learned }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_drips_takes_longer_of_a_slow_stream() {
        let hand = Hand::default();
        assert!((hand.at_s(USUAL_G_S.0) - hand.hand_s).abs() < 1e-9);
        // 0.3 g at 2 g/s and at 8 g/s: 0.15 s less 0.0375 s.
        assert!((hand.at_s(2.0) - hand.hand_s - 0.1125).abs() < 1e-9);
        assert!((hand.at_s(0.0) - hand.hand_s - MOST_DRIP_S).abs() < 1e-9);
    }

    #[test]
    fn last_drops_that_are_weighed_later_teach_what_they_would_have_taught_at_once() {
        let hand = Hand { pours: 10, ..Hand::default() };
        for (error_g, later) in [(-0.54, [0.2, 0.13]), (0.1, [0.05, 0.0]), (2.0, [0.3, -0.4])] {
            let flow = 0.89;
            let mut taught = hand.taught(error_g, flow, true).expect("a flow");
            let late =
                later.iter().fold(hand.learn(error_g, flow, true), |h, g| h.learn_late(taught.late_s(*g)));
            let at_once = hand.learn(error_g + later.iter().sum::<f64>(), flow, true);
            assert!(
                (late.hand_s - at_once.hand_s).abs() < 1e-9,
                "{error_g}: {} {}",
                late.hand_s,
                at_once.hand_s
            );
        }
        assert!(hand.taught(0.1, 0.0, true).is_none());
    }
}
