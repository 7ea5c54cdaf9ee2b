//! What rises faster than any jug pours: a hand, the jug's lip on the rim, a thing set on the pan.
//!
//! Where a link is uneven the moment of a reading is not known well, and readings may change places: of each three the
//! middle one counts, and two are never taken to lie closer than they came, or than readings come on the average.

use super::running::MOST_FLOW_G_S;
use super::state::State;
use crate::reading::Weighing;
use std::collections::VecDeque;

/// The middle one of so many readings counts.
const OF: usize = 3;

/// A display shows a leap over so many readings (own choice: a hand's edge on a quick scale).
const OVER: usize = 4;

/// In a longer gap than this between two readings, s, nobody knows how fast it rose (own choice).
const LONGEST_S: f64 = 1.0;

/// Grams that leapt, and the readings they are looked for in.
#[derive(Clone, Debug, Default)]
pub(super) struct Leaps {
    late: VecDeque<Weighing>,
    /// The middle ones of the readings before, since the last leap.
    before: VecDeque<(Weighing, f64)>,
    g: f64,
    /// Grams that fell besides.
    fell_g: f64,
    seen: bool,
}

impl Leaps {
    /// So many grams that were seen otherwise.
    pub(super) fn of(g: f64) -> Self {
        Self { g, ..Self::default() }
    }

    /// As after these readings, which stood at one weight.
    pub(super) fn after(standing: impl Iterator<Item = Weighing>) -> Self {
        let mut leaps = Self::default();
        standing.for_each(|w| leaps.note(w, None, f64::INFINITY));
        leaps
    }

    /// Takes a reading; `mean_s` is the usual time between two.
    pub(super) fn note(&mut self, w: Weighing, mean_s: Option<f64>, threshold_g: f64) {
        self.late.push_back(w);
        if self.late.len() > OF {
            self.late.pop_front();
        }
        let Some(now) = self.middle() else { return };
        let fall_g = self.before.iter().map(|(_, g)| now.1 - g).find(|g| *g < -threshold_g);
        if let Some(rise_g) = self.leap_g(now, mean_s, threshold_g) {
            // A hand that had borne it lets go: it only comes back to where it was.
            let back_g = rise_g.min(self.fell_g);
            self.fell_g -= back_g;
            self.g += rise_g - back_g;
            self.seen = true;
            self.before.clear();
        } else if let Some(fall_g) = fall_g {
            // It falls again, or is borne.
            let again_g = self.g.min(-fall_g);
            self.g -= again_g;
            self.fell_g -= fall_g + again_g;
            self.before.clear();
        }
        self.before.push_front(now);
        self.before.truncate(OVER);
    }

    /// The rise over the fewest of the latest readings that is steeper than any jug pours.
    fn leap_g(&self, now: (Weighing, f64), mean_s: Option<f64>, threshold_g: f64) -> Option<f64> {
        (1..).zip(&self.before).find_map(|(readings, (before, g))| {
            let taken_s = now.0.taken_at.seconds_from(before.taken_at);
            let came_s = now.0.arrived_at.seconds_from(before.arrived_at);
            let usual_s = mean_s.unwrap_or(0.0) * f64::from(readings);
            let since_s = taken_s.max(came_s).max(usual_s).min(LONGEST_S * f64::from(readings));
            Some(now.1 - g).filter(|rise_g| *rise_g > MOST_FLOW_G_S * since_s + threshold_g)
        })
    }

    /// Grams that leapt and did not fall again.
    pub(super) fn g(&self) -> f64 {
        self.g
    }

    /// Something leapt, whether it fell again or not: a hand may have pushed the piece.
    pub(super) fn seen(&self) -> bool {
        self.seen
    }

    /// What leapt has gone: the weight is what it was.
    pub(super) fn forget(&mut self) {
        (self.g, self.fell_g) = (0.0, 0.0);
    }

    /// When the middle reading was taken and came, and the middle weight, g.
    fn middle(&self) -> Option<(Weighing, f64)> {
        let of_time = *self.late.get(OF / 2).filter(|_| self.late.len() == OF)?;
        let mut grams = [0.0; OF];
        grams.iter_mut().zip(&self.late).for_each(|(g, w)| *g = w.mass.g());
        grams.sort_unstable_by(f64::total_cmp);
        Some((of_time, grams[OF / 2]))
    }
}

impl State {
    /// Grams that came as no slop does, and stay.
    pub(super) fn leapt_g(&self) -> f64 {
        match self {
            Self::Idle | Self::Landing(_) | Self::Other(_) => 0.0,
            Self::Ready(r) => r.leaps.g(),
            Self::Pouring(s) | Self::Draining(s) => s.leaps.g(),
            Self::Done(d) => d.leaps.g(),
            Self::Fault(fault) => fault.from.leapt_g(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Instant;
    use crate::units::Mass;

    /// Grams every 0.1 s, or at the times given.
    fn leapt(readings: &[(f64, f64)]) -> f64 {
        let mut leaps = Leaps::default();
        for (s, g) in readings {
            let at = Instant::START.offset_seconds(*s);
            leaps.note(Weighing { mass: Mass::saturating(*g), arrived_at: at, taken_at: at }, Some(0.1), 0.3);
        }
        leaps.g()
    }

    fn every_tenth(grams: &[f64]) -> Vec<(f64, f64)> {
        (0..).zip(grams).map(|(i, g)| (0.1 * f64::from(i), *g)).collect()
    }

    #[test]
    fn a_hand_that_stays_leapt_and_one_that_goes_again_did_not() {
        let stays = [0.0, 0.8, 1.6, 12.4, 13.2, 14.0, 14.8];
        assert!((leapt(&every_tenth(&stays)) - 10.8).abs() < 1e-9);
        let goes = [0.0, 0.8, 1.6, 12.4, 13.2, 14.0, 4.8, 5.6, 6.4];
        // What slop ran meanwhile hides in the fall.
        assert!(leapt(&every_tenth(&goes)) < 4.0);
        let borne = [8.0, 8.8, -2.0, -1.2, -0.4, 10.8, 11.6, 12.4];
        assert!(leapt(&every_tenth(&borne)) < 3.0);
    }

    #[test]
    fn a_hand_that_lets_go_over_some_readings_of_a_quick_scale_leapt() {
        let shown = [62.8, 62.8, 63.0, 64.6, 67.1, 69.5, 70.3, 70.7, 70.9, 71.0, 71.0];
        let quick: Vec<(f64, f64)> = (0..).zip(shown).map(|(i, g)| (0.05 * f64::from(i), g)).collect();
        let mut leaps = Leaps::default();
        for (s, g) in quick {
            let at = Instant::START.offset_seconds(s);
            let w = Weighing { mass: Mass::saturating(g), arrived_at: at, taken_at: at };
            leaps.note(w, Some(0.05), 0.3);
        }
        assert!(leaps.g() > 5.0, "{}", leaps.g());
    }

    #[test]
    fn readings_that_change_places_or_come_close_together_leap_nowhere() {
        let crossed = [0.0, 1.5, 4.5, 3.0, 7.5, 6.0, 10.5, 9.0, 12.0, 13.5];
        assert_eq!(leapt(&every_tenth(&crossed)), 0.0);
        let uneven: Vec<(f64, f64)> =
            (0..20).map(|i| (0.1 * f64::from(i) + 0.06 * f64::from(i % 2), 1.5 * f64::from(i))).collect();
        assert_eq!(leapt(&uneven), 0.0);
    }
}
