//! What rises while slop runs by more than the stream before and after it: a hand that lets go, or comes, in mid-pour.
//!
//! A display shows a step as a climb that lasts for its lag and a little; a stream that grows stays so.

use crate::settle::line::Line;
use crate::time::Instant;
use std::collections::VecDeque;

/// The stream is measured for so long before, s, and so long after (guesses: three readings of a late scale each).
const BEFORE_S: f64 = 0.6;
const AFTER_S: f64 = 0.4;
/// A step is shown within so much more than the lag, s: a hand's edge, and twice (a guess).
const EDGE_S: f64 = 0.3;
/// Less is a trickle that begins or ends, g/s.
const RUNS_G_S: f64 = 1.5;
/// A rise of so many times the stream's own is no wander of a hand (a tenth, on simulated hands), and of so many
/// standard deviations of a reading no noise.
const TIMES: f64 = 2.0;
const SIGMAS: f64 = 8.0;
/// Fewer readings show no slope.
const LEAST: usize = 3;

/// The greatest surge of a stream, up and down.
#[derive(Clone, Debug, Default)]
pub(super) struct Surges {
    late: VecDeque<(Instant, f64)>,
    up_g: f64,
    down_g: f64,
}

impl Surges {
    /// Takes a reading of a stream that has grown to its flow.
    pub(super) fn note(&mut self, net: f64, at: Instant, lag_s: f64, sd_g: f64) {
        self.late.push_back((at, net));
        let since_s = |(t, _): &(Instant, f64)| at.seconds_from(*t);
        let mid_s = AFTER_S + EDGE_S + lag_s;
        while self.late.front().is_some_and(|r| since_s(r) > mid_s + BEFORE_S) {
            self.late.pop_front();
        }
        // Readings are in the order in which they were taken.
        let n = self.late.len();
        let before = self.late.range(..self.late.iter().position(|r| since_s(r) < mid_s).unwrap_or(n));
        let after =
            self.late.range(self.late.iter().rposition(|r| since_s(r) > AFTER_S).map_or(0, |i| i + 1)..);
        if before.len() < LEAST || after.len() < LEAST {
            return;
        }
        let ends = before.clone().next_back().copied().zip(after.clone().next().copied());
        let lines = Line::through(before).zip(Line::through(after));
        let (Some(((t0, a), (t1, b))), Some((before, after))) = (ends, lines) else { return };
        if before.slope_g_s < RUNS_G_S {
            return;
        }
        let (rise_g, span_s) = (b - a, t1.seconds_from(t0));
        let (low_g_s, high_g_s) =
            (before.slope_g_s.min(after.slope_g_s).max(0.0), before.slope_g_s.max(after.slope_g_s));
        if rise_g > TIMES * high_g_s * span_s + SIGMAS * sd_g {
            self.up_g = self.up_g.max(rise_g - high_g_s * span_s);
        } else if rise_g < -SIGMAS * sd_g {
            self.down_g = self.down_g.max(low_g_s * span_s - rise_g);
        }
    }

    /// Grams that surged and did not fall again.
    pub(super) fn g(&self) -> f64 {
        (self.up_g - self.down_g).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stream of 8 g/s with something on it, seen ten times a second through a scale of one pole.
    fn surged(on_it_g: impl Fn(f64) -> f64) -> f64 {
        let mut surges = Surges::default();
        let mut shown = 0.0;
        for ms in 0..4000 {
            let t = f64::from(ms) / 1e3;
            shown += (8.0 * t + on_it_g(t) - shown) * 1e-3 / 0.3;
            if ms % 100 == 0 && ms > 800 {
                surges.note(shown, Instant::START.offset_seconds(t), 0.3, 0.042);
            }
        }
        surges.g()
    }

    #[test]
    fn a_hand_that_lets_go_in_mid_pour_surges_by_about_what_it_bore() {
        let found_g = surged(|t| if t > 2.0 { 10.0 } else { 0.0 });
        assert!((found_g - 9.0).abs() < 2.0, "{found_g}");
        assert_eq!(surged(|_| 0.0), 0.0);
    }

    #[test]
    fn a_hand_that_comes_and_goes_and_a_stream_that_grows_do_not_stay_surged() {
        let press = surged(|t| if (1.5..2.5).contains(&t) { 10.0 } else { 0.0 });
        assert!(press < 3.0, "{press}");
        assert_eq!(surged(|t| if t > 2.0 { 8.0 * (t - 2.0) } else { 0.0 }), 0.0);
    }
}
