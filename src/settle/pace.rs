//! How fast readings come, and which pauses between them are gaps.

use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// No reading for this long while it matters is a gap; `fault` is promised within 1 s.
const GAP_S: f64 = 0.8;
/// A slower scale is given this many of its own intervals: two lost in a row are common, three are not (a guess).
const GAP_INTERVALS: f64 = 3.0;
/// Intervals kept: about a second of a usual scale, so that one late line moves the mean by a tenth only.
const KEPT: usize = 11;
/// A scale needs 4 readings a second to guide a pour; 6 % to either side keep a scale at the edge, whose
/// lines come a little early and late, from going back and forth.
const SLOW_S: f64 = 0.265;
const QUICK_S: f64 = 0.255;
/// Fewer intervals say nothing about the rate.
const LEAST_INTERVALS: usize = 3;

/// The pace of a scale's readings.
#[derive(Clone, Debug, Default)]
pub struct Pace {
    last: Option<Instant>,
    intervals: VecDeque<f64>,
    /// Sum of the intervals.
    sum_s: f64,
    gaps: u32,
    slow: bool,
    /// What was known of its pace holds no longer, and too little is known of the new one.
    anew: bool,
}

impl Pace {
    /// Takes the moment of a reading; true when a gap came before it.
    pub fn handle_reading(&mut self, at: Instant) -> bool {
        let Some(last) = self.last.replace(at) else { return false };
        let interval_s = at.seconds_from(last).max(0.0);
        // The first interval may be a slow scale's own: only a second one tells.
        let gap = !self.intervals.is_empty() && interval_s > self.own_silence().as_secs_f64();
        self.gaps = if gap { self.gaps + 1 } else { 0 };
        if self.gaps >= 3 {
            // Not gaps any more: the scale has become slow.
            self.intervals.clear();
            self.gaps = 0;
            self.anew = true;
        }
        if !gap || self.intervals.is_empty() {
            self.intervals.push_back(interval_s);
        }
        if self.intervals.len() > KEPT {
            self.intervals.pop_front();
        }
        self.sum_s = self.intervals.iter().sum();
        self.anew &= self.intervals.len() < LEAST_INTERVALS;
        let slow = self.mean_s().map(|s| s > if self.slow { QUICK_S } else { SLOW_S });
        self.slow = slow.unwrap_or(self.anew);
        gap
    }

    /// Silence for this long is a gap. A link that fades is not waited for by the few readings it still brings.
    pub fn silence(&self) -> Duration {
        if self.anew { Duration::from_secs_f64(GAP_S) } else { self.own_silence() }
    }

    fn own_silence(&self) -> Duration {
        let own_s = GAP_INTERVALS * self.sum_s / self.intervals.len().max(1) as f64;
        Duration::from_secs_f64(own_s.clamp(GAP_S, 60.0))
    }

    /// Readings come too slowly to guide a pour; false until shown by three intervals.
    pub fn too_slow(&self) -> bool {
        self.slow
    }

    /// The next reading may well be that of a slow scale: too few have come to tell its pace, or the last one
    /// came after a gap.
    pub fn may_be_slow(&self) -> bool {
        self.intervals.len() < LEAST_INTERVALS || self.gaps > 0
    }

    /// Mean time between readings, s; `None` before three.
    pub fn mean_s(&self) -> Option<f64> {
        let n = self.intervals.len();
        (n >= LEAST_INTERVALS).then(|| self.sum_s / n as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(times_s: impl Iterator<Item = f64>) -> (Pace, Vec<bool>) {
        let mut pace = Pace::default();
        let gaps = times_s.map(|t| pace.handle_reading(Instant::START.offset_seconds(t))).collect();
        (pace, gaps)
    }

    #[test]
    fn a_scale_at_one_reading_a_second_has_no_gaps_and_is_too_slow_to_guide() {
        let (pace, gaps) = after((0..10).map(f64::from));
        assert!(pace.too_slow() && gaps.iter().all(|g| !g));
        assert_eq!(pace.silence(), Duration::from_secs(3));
    }

    #[test]
    fn one_pause_of_a_quick_scale_is_a_gap_and_leaves_its_pace_alone() {
        let times = (0..20).map(|i| 0.1 * f64::from(i) + if i >= 10 { 2.0 } else { 0.0 });
        let (pace, gaps) = after(times);
        assert_eq!(gaps.iter().filter(|g| **g).count(), 1);
        assert!(!pace.too_slow());
        assert_eq!(pace.silence(), Duration::from_secs_f64(GAP_S));
    }

    #[test]
    fn a_link_that_fades_is_silent_after_the_usual_time_and_too_slow_at_once() {
        let times = (0..40).map(|i| 0.1 * f64::from(i)).chain([5.4, 9.4, 13.4]);
        let (pace, _) = after(times);
        assert_eq!(pace.silence(), Duration::from_secs_f64(GAP_S));
        assert!(pace.too_slow());
    }

    #[test]
    fn a_quick_scale_that_becomes_slow_is_noticed() {
        let times = (0..8).map(|i| 0.1 * f64::from(i)).chain((1..12).map(|i| 0.7 + f64::from(i)));
        assert!(after(times).0.too_slow());
    }

    #[test]
    fn a_scale_at_just_four_readings_a_second_does_not_go_back_and_forth() {
        let mut pace = Pace::default();
        let mut t = 0.0;
        for i in 0..200 {
            t += 0.25 + if i % 3 == 0 { 0.012 } else { -0.006 };
            pace.handle_reading(Instant::START.offset_seconds(t));
            assert!(!pace.too_slow(), "reading {i}");
        }
    }
}
