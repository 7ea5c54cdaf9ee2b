//! How a stream began: what came at once, as when a hand lets go, and what ran.
//!
//! A stream grows from nothing to its flow. What rises faster than the stream that follows came at once: from a hand
//! that had borne the piece, or from the jug's lip on the rim.

use crate::settle::line::Line;
use crate::time::Instant;
use std::collections::VecDeque;

/// The flow is measured so long after the stream began, s: the edge of a touch and the tilt of a jug (guesses), and two
/// lags, in which six sevenths of a step are shown (derived for a pole).
const FROM_S: f64 = 0.2;
const LAGS: f64 = 2.0;
/// For so long, s: a hand's flow wanders little in it (a tenth, on simulated hands).
const FOR_S: f64 = 0.8;
/// A shorter time, s, shows no flow.
const LEAST_S: f64 = 0.35;
/// Less than this has ended, g/s: a trickle.
const RUNS_G_S: f64 = 1.0;
/// ... and so has one that falls to this share of its flow in that time (a guess).
const ENDS: f64 = 0.6;
/// A stream seen through a quick scale, whose lag is not told, rises by so many seconds of its flow at once, and by so
/// many standard deviations of a reading (one of 200 pours of simulated hands by more).
const OF_FLOW_S: f64 = 0.28;
const SIGMAS: f64 = 7.0;
/// A display that follows at once shows a step as a rise that is steeper than the stream after it by more than its hand
/// wanders (one in 200 pours of simulated hands by more), over so many seconds at least.
const STEEPER: f64 = 1.6;
const LEAST_SPAN_S: f64 = 0.1;
/// What came at once hides in the stream that begins beside it: so many seconds of flow, besides half a lag (the hand's
/// edge and the tilt; derived).
const HIDDEN_S: f64 = 0.2;

/// The first readings of a stream.
#[derive(Clone, Debug)]
pub(super) struct Onset {
    lag_s: f64,
    sd_g: f64,
    /// Net since the display last showed what was there before.
    readings: VecDeque<(Instant, f64)>,
    /// The display fell meanwhile, faster than noise: what bore on the piece went.
    fell: bool,
}

impl Onset {
    /// A stream that begins after this reading.
    pub(super) fn after(quiet: (Instant, f64), lag_s: f64, sd_g: f64) -> Self {
        Self { lag_s, sd_g, readings: VecDeque::from([quiet]), fell: false }
    }

    /// The stream has grown to its flow.
    pub(super) fn is_over(&self, at: Instant) -> bool {
        self.since_s(at) >= self.steady_s()
    }

    /// Takes a reading before the stop.
    pub(super) fn note(&mut self, net: f64, at: Instant) {
        if self.since_s(at) <= self.steady_s() + FOR_S {
            self.readings.push_back((at, net));
        }
    }

    /// The display fell before the stop.
    pub(super) fn note_fall(&mut self, at: Instant) {
        self.fell |= self.since_s(at) <= self.steady_s() + FOR_S;
    }

    /// Grams that came at once; none while too little is known.
    pub(super) fn at_once_g(&self) -> Option<f64> {
        let steady = self.readings.iter().filter(|(at, _)| self.since_s(*at) >= self.steady_s());
        let (first, last) = steady.clone().next().zip(self.readings.back())?;
        let line = Line::through(steady).filter(|_| last.0.seconds_from(first.0) >= LEAST_S)?;
        let flow_g_s = line.slope_g_s;
        if flow_g_s < RUNS_G_S || self.ends() {
            return None;
        }
        let beyond = |(at, net): &(Instant, f64)| net - flow_g_s * self.since_s(*at);
        let mut pairs = self.readings.iter().zip(self.readings.iter().skip(1));
        let shaken = self.fell || pairs.any(|(a, b)| b.1 < a.1 - SIGMAS * self.sd_g);
        let rise_g = if shaken {
            // What rose fell again: only what is there later counts.
            beyond(&(last.0, line.end_g)) - self.readings.front().map_or(0.0, beyond)
        } else {
            let (mut least_g, mut most_g) = (f64::INFINITY, 0.0_f64);
            for g in self.readings.iter().map(beyond) {
                least_g = least_g.min(g);
                most_g = most_g.max(g - least_g);
            }
            most_g
        };
        let streams = rise_g <= OF_FLOW_S * flow_g_s + SIGMAS * self.sd_g
            && (shaken || self.steepest_g_s() <= STEEPER * flow_g_s);
        Some(if streams { 0.0 } else { rise_g + flow_g_s * (HIDDEN_S + 0.5 * self.lag_s) })
    }

    /// The steepest rise over three readings, g/s, less what noise makes of it: a display of no overshoot shows no stream
    /// steeper than it runs.
    fn steepest_g_s(&self) -> f64 {
        let (Some((from, _)), Some((to, _))) = (self.readings.front(), self.readings.back()) else {
            return 0.0;
        };
        // On an uneven link two readings are no closer than on the average.
        let mean_s = to.seconds_from(*from) / (self.readings.len() - 1).max(1) as f64;
        let three = self.readings.iter().zip(self.readings.iter().skip(2));
        let slope_g_s = |((t0, a), (t1, b)): (&(Instant, f64), &(Instant, f64))| {
            let span_s = t1.seconds_from(*t0).max(2.0 * mean_s).max(LEAST_SPAN_S);
            (b - a - SIGMAS * self.sd_g) / span_s
        };
        three.map(slope_g_s).fold(0.0, f64::max)
    }

    /// The flow that the latest readings show, g/s, where they have climbed without a break for long enough.
    pub(super) fn climb_g_s(&self) -> Option<f64> {
        let pairs = self.readings.iter().zip(self.readings.iter().skip(1)).rev();
        let (mut since, mut last_g_s) = (None, None);
        for ((t0, a), (t1, b)) in pairs.take_while(|((_, a), (_, b))| b > a) {
            last_g_s.get_or_insert((b - a) / t1.seconds_from(*t0).max(0.05));
            since = Some(*t0);
        }
        let climbed_s = self.readings.back().zip(since).map_or(0.0, |((last, _), t)| last.seconds_from(t));
        last_g_s.filter(|_| climbed_s >= LEAST_S)
    }

    /// The stream that is measured ends: a stroke, or a small pour.
    fn ends(&self) -> bool {
        let steady_s = self.steady_s();
        let late: Vec<(Instant, f64)> =
            self.readings.iter().filter(|(at, _)| self.since_s(*at) >= steady_s).copied().collect();
        let (first, second) = late.split_at(late.len() / 2);
        let slopes = Line::through(first.iter()).zip(Line::through(second.iter()));
        slopes.is_none_or(|(first, second)| second.slope_g_s < ENDS * first.slope_g_s)
    }

    fn steady_s(&self) -> f64 {
        FROM_S + LAGS * self.lag_s
    }

    /// Seconds since the display last showed what was there before.
    pub(super) fn since_s(&self, at: Instant) -> f64 {
        self.readings.front().map_or(0.0, |(quiet, _)| at.seconds_from(*quiet))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hand lets go of `step_g` as a stream of 8 g/s begins, seen through a scale of one pole.
    fn seen(step_g: f64, lag_s: f64) -> Option<f64> {
        let shown = |t: f64| {
            let kept = (-t / lag_s).exp();
            step_g * (1.0 - kept) + 8.0 * (t - lag_s * (1.0 - kept))
        };
        let mut onset = Onset::after((Instant::START, 0.0), lag_s, 0.042);
        for i in 1..=25 {
            let t = 0.1 * f64::from(i);
            onset.note(shown(t), Instant::START.offset_seconds(t));
        }
        onset.at_once_g()
    }

    #[test]
    fn a_stream_comes_from_nothing_and_a_hand_that_lets_go_at_once() {
        for lag_s in [0.11, 0.3] {
            assert_eq!(seen(0.0, lag_s), Some(0.0), "lag {lag_s}");
            let found_g = seen(10.0, lag_s).expect("a stream that was seen");
            assert!((found_g - 10.0).abs() < 3.0, "lag {lag_s}: {found_g} g");
        }
    }

    #[test]
    fn too_short_a_stream_says_nothing() {
        let mut onset = Onset::after((Instant::START, 0.0), 0.3, 0.042);
        for i in 1..=10 {
            onset.note(0.9 * f64::from(i), Instant::START.offset_seconds(0.1 * f64::from(i)));
        }
        assert_eq!(onset.at_once_g(), None);
    }
}
