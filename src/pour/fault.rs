//! Readings that can't be trusted: lost, or frozen in the middle of a stream.

use crate::reading::Weighing;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// No reading for this long while it matters is a fault; `fault` is promised within 1 s.
pub(super) const SILENCE: Duration = Duration::from_millis(800);
/// Slower scales can't guide: 4 readings a second.
const LEAST_RATE_HZ: f64 = 4.0;
const KEPT: usize = 12;
/// A scale's own tail shrinks from reading to reading; a last increment this close to the
/// mean of those before it is a halt with no tail (derived for lags of 0.1 s and more at
/// 10 readings a second: a real tail's last visible increment is one or two steps).
const NO_TAIL: f64 = 0.6;

/// Watches readings for silence, a slow rate, and a halt without a tail.
#[derive(Clone, Debug)]
pub(super) struct Watch {
    recent: VecDeque<(Instant, f64)>,
    equal_since: Option<Instant>,
    equal_count: u32,
    step_g: f64,
}

impl Watch {
    pub(super) fn new(step_g: f64) -> Self {
        Self { recent: VecDeque::new(), equal_since: None, equal_count: 0, step_g }
    }

    /// Takes a weighing; true when it moved against the one before.
    pub(super) fn handle_weighing(&mut self, w: Weighing) -> bool {
        let (at, g) = (w.arrived_at, w.mass.g());
        if let Some(&(last_at, last)) = self.recent.back()
            && (last - g).abs() < self.step_g * 0.01
        {
            self.equal_since.get_or_insert(last_at);
            self.equal_count += 1;
            return false;
        }
        if self.equal_since.take().is_some()
            || self.recent.back().is_some_and(|(t, _)| at.since(*t) > SILENCE)
        {
            self.recent.clear();
        }
        self.equal_count = 0;
        self.recent.push_back((at, g));
        if self.recent.len() > KEPT {
            self.recent.pop_front();
        }
        true
    }

    /// The display halted more abruptly than its own response allows, and more than two
    /// steps should have come since.
    pub(super) fn frozen(&self, now: Instant) -> bool {
        let (Some(since), true) = (self.equal_since, self.recent.len() >= 4) else { return false };
        let rises: Vec<f64> = self
            .recent
            .iter()
            .zip(self.recent.iter().skip(1))
            .map(|((t0, a), (t1, b))| (b - a) / t1.seconds_from(*t0).max(1e-3))
            .collect();
        let (last, before) = match rises.split_last() {
            Some((last, before)) => (*last, &before[before.len().saturating_sub(4)..]),
            None => return false,
        };
        let mean = before.iter().sum::<f64>() / before.len().max(1) as f64;
        let owed_g = mean * now.seconds_from(since);
        mean > 5.0 * self.step_g
            && last >= NO_TAIL * mean
            && self.equal_count >= 3
            && owed_g > 2.0 * self.step_g
    }
}

/// Counts readings to tell whether the scale is quick enough to guide.
#[derive(Clone, Debug, Default)]
pub(super) struct Rate(VecDeque<Instant>);

impl Rate {
    pub(super) fn handle_reading(&mut self, at: Instant) {
        if self.0.back().is_some_and(|last| at.since(*last) > Duration::from_secs(2)) {
            self.0.clear();
        }
        self.0.push_back(at);
        if self.0.len() > KEPT {
            self.0.pop_front();
        }
    }

    /// False until shown otherwise by five readings and more.
    pub(super) fn too_slow(&self) -> bool {
        let (Some(first), Some(last)) = (self.0.front(), self.0.back()) else { return false };
        let span_s = last.seconds_from(*first);
        self.0.len() >= 4 && (self.0.len() - 1) as f64 / span_s.max(1e-6) < LEAST_RATE_HZ
    }
}
