//! How late a scale is, from the steps it shows when a piece lands or leaves: no hand's answer is in them.
//!
//! The first moment of the answer to a step is the area between the step and what is shown (derived). Where the
//! step began is known to half an interval; the hand that sets down or lifts takes a moment itself, which is
//! taken off. A pure delay can't be seen so: it is learned as part of the hand.

use crate::reading::Weighing;
use crate::time::Instant;
use std::collections::VecDeque;

/// Steps below this say little beside their noise, g (a tenth of a mug).
const LEAST_STEP_G: f64 = 40.0;
/// A step that takes longer was no single one, s: three times the slowest lag.
const LONGEST_S: f64 = 5.0;
/// Steps kept: the median of the last twelve.
const KEPT: usize = 12;
/// Setting down takes about 0.2 s, lifting about 0.15 s (guesses): half of it is the hand's.
const DOWN_S: f64 = 0.1;
const UP_S: f64 = 0.075;

/// What steps have shown.
#[derive(Clone, Debug, Default)]
pub struct Response {
    /// The latest rest.
    rest: Option<f64>,
    /// Readings of late.
    shown: VecDeque<(Instant, f64)>,
    lags: VecDeque<f64>,
}

impl Response {
    /// Takes a weighing, and the rest where the pan is at rest. True when a step was learned from.
    pub fn handle_weighing(&mut self, w: Weighing, rest: Option<f64>, noise_g: f64) -> bool {
        self.shown.push_back((w.taken_at, w.mass.g()));
        while self.shown.front().is_some_and(|(t, _)| w.taken_at.seconds_from(*t) > LONGEST_S) {
            self.shown.pop_front();
        }
        let Some(after) = rest else { return false };
        let new = self.rest.is_none_or(|before| (after - before).abs() > LEAST_STEP_G);
        self.rest = Some(after);
        let Some(lag) = lag_s(&self.shown, after, noise_g).filter(|_| new) else { return false };
        self.lags.push_back(lag);
        if self.lags.len() > KEPT {
            self.lags.pop_front();
        }
        true
    }

    /// The lag as seen so far, s, from how many steps.
    pub fn lag_s(&self) -> Option<(f64, usize)> {
        let mut lags: Vec<f64> = self.lags.iter().copied().collect();
        lags.sort_by(f64::total_cmp);
        let mid = lags.len() / 2;
        let lag = if lags.len() % 2 == 1 { *lags.get(mid)? } else { 0.5 * (lags.get(mid)? + lags.get(mid.wrapping_sub(1))?) };
        Some((lag, lags.len()))
    }
}

/// The area between the step that ended in this rest and its answer, less the hand's part.
fn lag_s(shown: &VecDeque<(Instant, f64)>, after: f64, noise_g: f64) -> Option<f64> {
    let far = |a: &f64, b: &f64| (after - a).abs().total_cmp(&(after - b).abs());
    let before = shown.iter().map(|(_, g)| *g).max_by(far)?;
    let step = after - before;
    if step.abs() < LEAST_STEP_G {
        return None;
    }
    let start = shown.iter().rposition(|(_, g)| (g - before).abs() <= noise_g)?;
    let left = |g: f64| (after - g) / step;
    let (quiet, first) = (shown.get(start)?, shown.get(start + 1)?);
    // It began somewhere between the last quiet reading and the first that moved.
    let mut area = 0.5 * first.0.seconds_from(quiet.0) * 0.5 * (1.0 + left(first.1));
    for (a, b) in shown.iter().skip(start + 1).zip(shown.iter().skip(start + 2)) {
        area += 0.5 * (left(a.1) + left(b.1)) * b.0.seconds_from(a.0);
    }
    let hand = if step > 0.0 { DOWN_S } else { UP_S };
    Some((area - hand).max(0.02))
}
