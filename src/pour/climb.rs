//! The last watch over running slop: what climbs as slop does for longer than any touch, splash or lump is told, whatever
//! the engine takes it for. Silence never means that a hand may pour on.

use super::engine::Engine;
use super::entry::Cue;
use super::landing::{Landing, MOST_CLIMB_G_S};
use super::state::{Done, Other, State, Stream};
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::COARSE_STEP_G;
use crate::time::Instant;
use crate::units::Mass;
use std::collections::VecDeque;

/// A climb is looked at in four stretches of so long, s: what is over within 1.2 s, a touch, or a ladle's lump as a late
/// display shows it, does not climb evenly through them (derived); on a coarse display a trickle shows a step in each.
const STRETCH_S: (f64, f64) = (0.5, 0.75);
const STRETCHES: usize = 4;
/// Each stretch is above the one before by what a thin trickle gives, g/s: less is drift, draught and creep (a guess).
const LEAST_G_S: f64 = 0.7;
/// ... and by so many standard deviations of a difference of two means (normal law: 1 in 700, thrice in a row).
const SIGMAS: f64 = 3.0;
/// The least rise is at least this share of the greatest: a bump or a lump is none, and at the end of a landing or of a press a display of the latest
/// pole told of (0.7 s) rises by exp(-0.5/0.7), a half, of it (derived); a stream by all of it.
const EVEN: f64 = 0.6;
/// Where slop climbs on after a `stop` or `fault` it is told again after so long, s: a hand's own time and the lag of a late
/// scale are over by then (0.3 and 0.7 s, and as much again for what was not learned yet).
const AGAIN_S: f64 = 2.0;

fn stretch_s(step_g: f64) -> f64 {
    if step_g >= COARSE_STEP_G { STRETCH_S.1 } else { STRETCH_S.0 }
}

/// The latest readings, looked at for an even climb.
#[derive(Clone, Debug, Default)]
pub(super) struct Climb {
    recent: VecDeque<(Instant, f64)>,
    /// When a `stop` or `fault` was last due.
    told: Option<Instant>,
}

/// An even climb.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Climbing {
    pub(super) flow_g_s: f64,
    /// The gross mean of its first stretch, and when that was.
    pub(super) from: (Instant, f64),
}

impl Climb {
    /// Takes a gross reading.
    pub(super) fn handle_weighing(&mut self, w: Weighing) {
        self.recent.push_back((w.taken_at, w.mass.g()));
        let longest_s = STRETCH_S.1 * STRETCHES as f64;
        while self.recent.front().is_some_and(|(t, _)| w.taken_at.seconds_from(*t) > longest_s) {
            self.recent.pop_front();
        }
    }

    /// The latest readings that stood at this weight, oldest first, as gross weighings.
    pub(super) fn standing(&self, gross_g: f64, within_g: f64) -> impl Iterator<Item = Weighing> + '_ {
        let stood = self.recent.iter().rev().take_while(|(_, g)| (g - gross_g).abs() <= within_g).count();
        self.recent.iter().skip(self.recent.len() - stood).map(|(t, g)| Weighing {
            mass: Mass::saturating(*g),
            arrived_at: *t,
            taken_at: *t,
        })
    }

    /// A `stop` or `fault` is due then.
    pub(super) fn told(&mut self, due: Instant) {
        self.told = Some(self.told.map_or(due, |before| before.max(due)));
    }

    /// The pan was bare since then, within these readings.
    pub(super) fn was_below(&self, g: f64, since: Instant) -> bool {
        self.recent.iter().any(|(at, gross_g)| *at >= since && *gross_g < g)
    }

    /// The latest readings, so many in a row, show less than this.
    pub(super) fn stays_below(&self, g: f64, readings: usize) -> bool {
        self.stays(|gross_g| gross_g < g, readings)
    }

    /// The latest readings, so many in a row, are such, gross g.
    pub(super) fn stays(&self, such: impl Fn(f64) -> bool, readings: usize) -> bool {
        self.recent.iter().rev().take_while(|(_, gross_g)| such(*gross_g)).take(readings).count() == readings
    }

    fn was_told(&self, now: Instant) -> bool {
        self.told.is_some_and(|due| now.seconds_from(due) < AGAIN_S)
    }

    /// The mean of the latest stretch, gross g; `None` of fewer than two readings.
    fn late_g(&self, step_g: f64) -> Option<f64> {
        let (stretch_s, &(last, _)) = (stretch_s(step_g), self.recent.back()?);
        // Readings are in the order in which they were taken.
        let older = self.recent.iter().rposition(|(t, _)| last.seconds_from(*t) >= stretch_s);
        let late = self.recent.range(older.map_or(0, |i| i + 1)..);
        let n = late.len() as f64;
        (n >= 2.0).then(|| late.fold(0.0, |sum, (_, g)| sum + g) / n)
    }

    /// An even climb over the last stretches, of readings that scatter by so much.
    pub(super) fn climbing(&self, sd_g: f64, step_g: f64) -> Option<Climbing> {
        let (stretch_s, &(last, _)) = (stretch_s(step_g), self.recent.back()?);
        // Readings and their sum in each stretch, the latest stretch first.
        let mut stretches = [(0.0, 0.0); STRETCHES];
        self.recent.iter().for_each(|(t, g)| {
            let since_s = last.seconds_from(*t);
            let among = (0..STRETCHES).find(|k| since_s < (k + 1) as f64 * stretch_s);
            if let Some((n, sum)) = among.filter(|_| since_s >= 0.0).map(|k| &mut stretches[k]) {
                (*n, *sum) = (*n + 1.0, *sum + g);
            }
        });
        if stretches.iter().any(|(n, _)| *n < 2.0) {
            return None;
        }
        let means = stretches.map(|(n, sum)| sum / n);
        let [late, .., early] = means;
        let n = stretches[0].0;
        let rises = means.windows(2).map(|pair| pair[0] - pair[1]);
        let (least_g, most_g) = rises.fold((f64::MAX, f64::MIN), |(l, m), g| (l.min(g), m.max(g)));
        let scatter_g = SIGMAS * sd_g * (2.0_f64 / n).sqrt();
        let even = least_g >= (LEAST_G_S * stretch_s).max(scatter_g).max(EVEN * most_g);
        let over_s = (STRETCHES - 1) as f64 * stretch_s;
        let flow_g_s = (late - early) / over_s;
        let from = (last.offset_seconds(-over_s - 0.5 * stretch_s), early);
        (even && flow_g_s <= MOST_CLIMB_G_S).then_some(Climbing { flow_g_s, from })
    }
}

impl Engine {
    /// Slop runs, as far as a climb longer than any touch tells; never on a wheel that turns.
    pub(super) fn climbing(&self) -> Option<Climbing> {
        let seen = self.climb.climbing(self.start.scale.reading_sd_g(), self.start.scale.step.g());
        seen.filter(|_| !self.on_a_wheel())
    }

    /// Slop that runs on beyond what is wanted, or before its tare is known, and that nobody told the hand of.
    pub(super) fn tell_of_running_slop(&mut self, w: Weighing) {
        if self.climb.was_told(w.arrived_at) || !self.loaded(w) {
            return;
        }
        let may_matter = match &self.state {
            State::Idle | State::Other(Other::Spare { .. }) => false,
            State::Landing(_) | State::Other(Other::Jug(_)) | State::Fault(_) => true,
            State::Ready(_) | State::Pouring(_) | State::Draining(_) | State::Done(_) => {
                self.shows_too_much()
            }
        };
        let Some(climbing) = Some(()).filter(|()| may_matter).and_then(|()| self.climbing()) else { return };
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Landing(l) => self.climbs_on_landing(l, climbing, w),
            State::Other(Other::Jug(on)) => self.runs_into_jug(&on, w),
            State::Ready(r) => self.runs_under_a_touch(r, w),
            State::Pouring(s) | State::Draining(s) => self.runs_past(s, w),
            State::Done(d) => self.runs_into_done(d, w),
            State::Fault(f) => {
                self.enter(State::Fault(f));
                self.cue_now(Cue::Fault, w.arrived_at, None);
            }
            state @ (State::Idle | State::Other(Other::Spare { .. })) => self.enter(state),
        }
    }

    /// More is shown, for as long as a stretch of a climb, than is wanted.
    fn shows_too_much(&self) -> bool {
        let tare_g = self.state.pour().map_or(f64::INFINITY, |pour| pour.tare);
        let most_g = self.start.high.g() + self.threshold_g();
        let late_g = self.climb.late_g(self.start.scale.step.g());
        late_g.is_some_and(|late_g| late_g - tare_g - self.state.leapt_g() > most_g)
    }

    fn climbs_on_landing(&mut self, l: Landing, climbing: Climbing, w: Weighing) {
        let (at, start_g) = climbing.from;
        let Some(after_s) = l.since(at).filter(|_| !self.held) else { return self.enter(State::Landing(l)) };
        self.too_soon(&l, (climbing.flow_g_s, start_g, after_s), w);
    }

    /// Past its stop, or where none was called.
    fn runs_past(&mut self, mut s: Stream, w: Weighing) {
        s.pour.ran_on |= s.plan.stop_due.is_some();
        s.plan.stop_due = Some(w.arrived_at + self.hearing.ahead);
        s.pour.guided = true;
        self.enter(State::Draining(s));
        self.cue_now(Cue::Stop, w.arrived_at, Some(0.0));
    }

    fn runs_into_done(&mut self, d: Done, w: Weighing) {
        let had_g = d.had_g;
        let mut s = self.stream(d.pour, &d.recent, had_g);
        s.back = d.back;
        s.leaps = d.leaps;
        s.ran = true;
        s.pour.marks = s.pour.marks.with(Mark::RanOn);
        self.runs_past(s, w);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Duration;
    use crate::units::Mass;

    fn seen(step_g: f64, sd_g: f64, gross: impl Fn(f64) -> f64) -> Option<Climbing> {
        let mut climb = Climb::default();
        for i in 0..40 {
            let s = f64::from(i) * 0.1;
            let at = Instant::START + Duration::from_millis(100 * i as u64);
            let g = if step_g > 0.0 { (gross(s) / step_g).round() * step_g } else { gross(s) };
            climb.handle_weighing(Weighing { mass: Mass::saturating(g), taken_at: at, arrived_at: at });
        }
        climb.climbing(sd_g, step_g)
    }

    #[test]
    fn a_trickle_is_a_climb_on_a_fine_display_and_on_a_coarse_one() {
        for (step_g, flow_g_s) in [(0.1, 1.0), (0.1, 8.0), (1.0, 1.5), (1.0, 3.0)] {
            let climbing = seen(step_g, 0.03_f64.hypot(0.29 * step_g), |s| 300.0 + flow_g_s * s);
            let found_g_s = climbing.unwrap_or_else(|| panic!("{flow_g_s} g/s at {step_g} g")).flow_g_s;
            assert!((found_g_s - flow_g_s).abs() < 0.3, "{found_g_s} for {flow_g_s}");
        }
    }

    #[test]
    fn a_touch_the_end_of_a_landing_and_a_piece_set_down_softly_are_none() {
        let pole = |s: f64, from_s: f64| 1.0 - (-(s - from_s).max(0.0) / 0.7).exp();
        assert_eq!(seen(0.1, 0.05, |s| 300.0 + 20.0 * pole(s, 2.5)), None);
        assert_eq!(seen(0.1, 0.05, |s| 300.0 * pole(s, 1.5)), None);
        assert_eq!(seen(0.1, 0.05, |s| 100.0 * (s - 2.0).clamp(0.0, 3.0)), None);
        assert_eq!(seen(0.1, 0.05, |s| 300.0 + 0.3 * s), None);
    }
}
