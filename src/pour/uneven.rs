//! How unevenly a pour's readings were taken, as far as it is known: what a link shakes that was not put right.

use crate::time::Instant;

/// Readings looked back on: two seconds of a usual scale.
const KEPT: usize = 20;
/// Fewer say nothing.
const LEAST: usize = 6;
/// Before anything is known, s: the best of 0.01, 0.02 and 0.03 on simulated links.
const FIRST_S: f64 = 0.015;
/// A scale's own clock, s, and what is no unevenness any more but a rhythm not understood (guesses).
const RANGE_S: (f64, f64) = (0.008, 0.06);

/// A reading that was held back by the link is put back where it was taken to within this share of the time it was
/// held (a middle way on simulated links that hand over four at once: 0.05 is best where none is lost, 0.14 where 2 % are).
const PUT_BACK: f64 = 0.11;
/// From reading to reading this much of the longest hold is still expected.
const HELD_KEPT: f64 = 0.95;

/// The latest instants.
#[derive(Clone, Debug)]
pub(super) struct Uneven {
    before: [Option<Instant>; 2],
    /// The latest ones, each in the place of the one it came after; none is infinite.
    bends_s: [f64; KEPT],
    /// The same from the least to the greatest.
    sorted_s: [f64; KEPT],
    n: usize,
    held_s: f64,
}

impl Default for Uneven {
    fn default() -> Self {
        let none = [f64::INFINITY; KEPT];
        Self { before: [None; 2], bends_s: none, sorted_s: none, n: 0, held_s: 0.0 }
    }
}

impl Uneven {
    pub(super) fn handle_reading(&mut self, at: Instant) {
        let [last, before] = self.before;
        if let Some((last, before)) = last.zip(before) {
            let bend_s = (at.seconds_from(last) - last.seconds_from(before)).abs();
            let oldest_s = std::mem::replace(&mut self.bends_s[self.n % KEPT], bend_s);
            self.sort_in(bend_s, oldest_s);
            self.n += 1;
        }
        self.before = [Some(at), last];
    }

    /// Takes one in among the sorted ones in place of another.
    fn sort_in(&mut self, bend_s: f64, in_place_of_s: f64) {
        let sorted = &mut self.sorted_s;
        let mut i = sorted.partition_point(|s| *s < in_place_of_s);
        while i > 0 && sorted[i - 1] > bend_s {
            sorted[i] = sorted[i - 1];
            i -= 1;
        }
        while i + 1 < KEPT && sorted[i + 1] < bend_s {
            sorted[i] = sorted[i + 1];
            i += 1;
        }
        sorted[i] = bend_s;
    }

    /// The link held a reading back for so long.
    pub(super) fn handle_held(&mut self, held_s: f64) {
        self.held_s = held_s.max(HELD_KEPT * self.held_s);
    }

    /// Standard deviation of the instants, s. From the median bend of three in a row, which few lost readings move:
    /// a bend has six times the variance of an instant, and half of a normal law's values lie within 0.6745 of its
    /// standard deviations (derived).
    pub(super) fn sd_s(&self) -> f64 {
        let n = self.n.min(KEPT);
        if n < LEAST {
            return FIRST_S.max(PUT_BACK * self.held_s);
        }
        (self.sorted_s[n / 2] / (0.6745 * 6_f64.sqrt()))
            .max(RANGE_S.0 + PUT_BACK * self.held_s)
            .min(RANGE_S.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(late_s: impl Fn(u64) -> f64, lost: impl Fn(u64) -> bool) -> f64 {
        let mut uneven = Uneven::default();
        for i in (1..200).filter(|i| !lost(*i)) {
            uneven.handle_reading(Instant::START.offset_seconds(0.1 * i as f64 + late_s(i)));
        }
        uneven.sd_s()
    }

    #[test]
    fn even_readings_are_even_and_lost_ones_make_them_no_worse() {
        assert_eq!(of(|_| 0.0, |_| false), RANGE_S.0);
        assert_eq!(of(|_| 0.0, |i| i % 12 == 0), RANGE_S.0);
    }

    #[test]
    fn readings_that_come_late_by_chance_are_seen_to_within_a_half() {
        // Sums of three thirds that look random: nearly normal, with a standard deviation of half their range.
        let third = |i: u64, m: u64| ((i * m % 101) as f64 / 100.0 - 0.5) * 0.04;
        let sd = of(|i| third(i, 37) + third(i, 53) + third(i, 71), |_| false);
        assert!((0.01..0.03).contains(&sd), "{sd} s, true 0.02 s");
    }
}
