//! A piece that leaves before its weight is known at rest: what is entered of it.

use super::done::EITHER;
use super::engine::Engine;
use super::entry::Output;
use super::kept::Kept;
use super::recognised::LIKELIER;
use super::running::{CLIMB_G_S, ESTIMATE_SD_G, MOST_FLOW_G_S, SPLASH_G, TRAIL};
use super::state::{Running, State, Stream};
use super::touch::let_go_g;
use super::vessel::Vessel;
use crate::record::{Mark, Verdict};
use crate::scale::{COARSE_STEP_G, Origin};
use crate::settle::line::Line;
use crate::time::Instant;

/// The filter may differ from the line through the last readings by so much: the end of a stream bends (tried on simulated hands).
const LINE_SLACK_G: f64 = 1.0;
/// The length of a gap that is not told as a fault yet (`settle/pace.rs`).
const UNSEEN_S: f64 = 0.8;
/// A lag that was told is right to this share (a guess: read off a display with a stopwatch).
const TOLD_LAG: f64 = 0.2;
/// A hand that lifts a weighed piece has gripped it for no longer than this, s, besides the scale's lag before and after
/// (a guess): in that time nobody takes up the jug, pours and puts it away again.
const GRIP_S: f64 = 1.0;
/// Nobody lifts a piece that got less than this share of its slop; what pressed one that is full may look like it (a guess).
const HARDLY_ANY: f64 = 0.3;

/// A rest while slop may still come: gross g, readings left out until then, and what may be amiss with it, g.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rested {
    pub(super) gross_g: f64,
    pub(super) odd: u32,
    pub(super) amiss_g: f64,
}

impl Running {
    /// The latest half second of the trail.
    pub(super) fn late(
        &self,
    ) -> impl DoubleEndedIterator<Item = &(Instant, f64)> + ExactSizeIterator + Clone {
        self.trail.iter().skip(self.trail.len().saturating_sub(TRAIL))
    }
}

impl Engine {
    /// The batch ends: an open pour is entered with what is known.
    pub(super) fn end(&mut self, at: Instant) {
        self.does_not_come_back(at);
        let state = std::mem::replace(&mut self.state, State::Idle).into_beneath();
        match state {
            State::Ready(r) => self.outputs.push_back(Output::Dropped { piece: r.pour.piece }),
            State::Pouring(mut s) | State::Draining(mut s) => {
                // Perhaps still running: nothing is to be learned from it.
                s.pour.troubled = true;
                self.estimate(s, at);
            }
            State::Done(mut d) => self.enter_anew(&mut d, at),
            State::Idle => self.lands(at),
            State::Landing(_) | State::Other(_) | State::Fault(_) => {}
        }
    }

    /// The piece left before rest.
    pub(super) fn lifted(&mut self, s: Stream, at: Instant) {
        if let Some(kept) = self.only_touched(&s, at) {
            return self.left_as_it_was_lifted(s, kept, at);
        }
        let entered = s.again.then_some(s.pour.net).flatten();
        if entered.is_some_and(|net| (known_g(&s) - net).abs() < self.threshold_g()) {
            return self.next_piece(&s.pour, State::Idle, at);
        }
        if let Some(rested) = self.stood_until_lifted(&s) {
            return self.weighed_and_lifted(s, rested, at);
        }
        if !self.is_splash(&s, most_known_g(&s)) || self.had_begun(&s) {
            return self.estimate(s, at);
        }
        if s.pour.rev == 0 {
            return self.dropped(&s.pour, State::Idle);
        }
        self.next_piece(&s.pour, State::Idle, at);
    }

    /// It may be one that was lifted and wants no more, and hardly anything came: a hand touched that one.
    fn only_touched(&self, s: &Stream, at: Instant) -> Option<Kept> {
        let perhaps = s.perhaps.as_ref().filter(|_| s.pour.rev == 0)?;
        // One that ran out a little is put back to be weighed, and not for more.
        let wanting = perhaps.kept.may_want_more() && perhaps.kept.lacks_now(s.pour.tare);
        let full = perhaps.odds > LIKELIER && !wanting;
        let came_g = self.likely_g(&mut s.clone(), at);
        (full && came_g < HARDLY_ANY * self.start.target.g()).then(|| perhaps.kept.clone())
    }

    /// It has its old record, and leaves with what it had.
    fn left_as_it_was_lifted(&mut self, s: Stream, kept: Kept, at: Instant) {
        self.dropped(&s.pour, State::Idle);
        let kept = self.memory.of(kept.pour.piece).cloned().unwrap_or(kept);
        if !s.pour.marks.has(Mark::Early) {
            self.left_without_slop(Some(kept), None, s.pour.tare, at);
        }
    }

    /// Its stream had ended without a stop, and it stood at rest until it was lifted. A coarse display stands still between
    /// two steps of a trickle, too.
    fn stood_until_lifted(&self, s: &Stream) -> Option<Rested> {
        let first = s.pour.rev == 0 && s.plan.stop_due.is_none() && !s.pour.troubled && !s.odd_load;
        let shown = s.lumps || self.start.scale.step.g() < COARSE_STEP_G;
        let net = |rested: &Rested| rested.gross_g - s.pour.tare;
        s.rested.filter(|rested| first && shown && !self.is_splash(s, net(rested)))
    }

    fn weighed_and_lifted(&mut self, mut s: Stream, rested: Rested, at: Instant) {
        let net = rested.gross_g - s.pour.tare;
        // What the lift itself showed is no touch.
        s.odd = rested.odd;
        let pour = self.weigh(s, rested.gross_g, rested.amiss_g, at);
        self.say_of(&pour, net, at);
        self.next_piece(&pour, State::Idle, at);
    }

    /// A late scale shows little of a stream that ran for less than a second: what may have been a pour has a record.
    fn had_begun(&self, s: &Stream) -> bool {
        let flow_g_s = s.onset.climb_g_s().unwrap_or(0.0);
        // A lag that was assumed may be twice as long.
        let most_g = known_g(s) + 2.0 * s.predictor.lag_s() * flow_g_s;
        s.pour.rev == 0 && (CLIMB_G_S..MOST_FLOW_G_S).contains(&flow_g_s) && most_g >= self.splash_g()
    }

    /// What the filter knows; where that is more than slop can be, what was foreseen at the stop.
    pub(super) fn likely_g(&self, s: &mut Stream, at: Instant) -> f64 {
        let known = known_g(s);
        let Some((due, at_stop_g)) = s.plan.stop_due.zip(s.pour.stop_cue) else { return known };
        if s.pour.rev > 0 || known - at_stop_g <= MOST_FLOW_G_S * at.seconds_from(due) + SPLASH_G.1 {
            return known;
        }
        s.pour.marks = s.pour.marks.with(Mark::Touched);
        s.pour.unsure_g = s.pour.unsure_g.max(SPLASH_G.1);
        let flow_g_s = s.pour.flow_g_s.unwrap_or(0.0).min(MOST_FLOW_G_S);
        at_stop_g + flow_g_s * self.hand.at_s(flow_g_s)
    }

    /// How well the lag is known, as a share of it: one that was assumed and not measured may be twice as long, of which
    /// a stream that was told to stop shows a part.
    fn lag_unsure(&self, s: &Stream) -> f64 {
        match self.start.scale.lag_origin {
            Origin::Told | Origin::Learned if s.plan.stop_due.is_some() => TOLD_LAG,
            Origin::Assumed if s.plan.stop_due.is_none() => 1.0,
            Origin::Told | Origin::Learned | Origin::Assumed => EITHER,
        }
    }

    /// A rise of a weighed piece that was never seen to run, nor at rest, and that nothing was wanted of.
    fn is_hand(&self, s: &Stream, net: f64) -> bool {
        let wanted = s.pour.verdict == Verdict::Short && net <= self.start.high.g() + SPLASH_G.0;
        s.pour.rev > 0 && !s.ran && !s.again && !s.pour.came_back && !wanted
    }

    /// A hand came onto a weighed piece and lifted it: it has what it had. A grip is no more than that; what bore on it
    /// for longer may have been slop.
    fn borne_to_the_lift(&mut self, s: Stream, net: f64, at: Instant) {
        let borne_s = s.onset.since_s(at);
        let mut pour = s.pour;
        let was = pour.verdict;
        pour.marks = pour.marks.with(Mark::Touched);
        if borne_s > GRIP_S + 2.0 * self.start.scale.lag.as_secs_f64() {
            let gains_g = [(net - s.from_g).abs(), (s.last_net - s.from_g).abs()];
            // Where slop comes in strokes the next one may have been on its way.
            let gain_g = match self.start.settings.vessel {
                Vessel::Squeeze | Vessel::Syringe => gains_g.into_iter().fold(0.0, f64::max),
                Vessel::Jug | Vessel::Ladle => gains_g.into_iter().fold(f64::INFINITY, f64::min),
            };
            pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * gain_g));
            self.doubts(&mut pour);
        }
        pour.contact = pour.first_slop.map(|t| at.since(t));
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        if pour.verdict != was {
            self.say_of(&pour, s.from_g, at);
        }
        self.next_piece(&pour, State::Idle, at);
    }

    /// The piece left, or the batch ended, before rest: what the filter knows is entered.
    pub(super) fn estimate(&mut self, mut s: Stream, at: Instant) {
        let net = self.likely_g(&mut s, at);
        if self.is_hand(&s, net) {
            return self.borne_to_the_lift(s, net, at);
        }
        self.unsure_of_leaps(&mut s, net);
        s.pour.settled = false;
        let gone = let_go_g(&s.recent, s.peak_g, self.threshold_g());
        let gone = gone.filter(|(sank_g, _)| s.pour.rev == 0 && *sank_g > self.most_fall_g(&s));
        s.lower_g = s.lower_g.max(gone.map_or(0.0, |(_, perhaps_g)| perhaps_g));
        if s.lower_g > 0.0 {
            s.pour.marks = s.pour.marks.with(Mark::Touched);
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * s.lower_g);
        }
        if s.pour.rev > 0 && !s.ran && !s.again {
            // A hand on a weighed piece rises as slop does, and goes with the lift.
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * (net - s.from_g).abs());
        }
        // Readings that were missing may have missed slop: up to a gap's length of it.
        let begun_g_s =
            if s.trail.len() < 3 || s.plan.stop_due.is_none() { s.onset.climb_g_s() } else { None };
        let flow_g_s = Line::through(s.late()).map_or(0.0, |line| line.slope_g_s.max(0.0));
        let flow_g_s = flow_g_s.max(begun_g_s.unwrap_or(0.0));
        let unseen_g = if s.pour.troubled { flow_g_s.max(s.predictor.flow_g_s()) * UNSEEN_S } else { 0.0 };
        let lag_g = flow_g_s.min(MOST_FLOW_G_S) * s.predictor.lag_s() * self.lag_unsure(&s);
        let u_g = ESTIMATE_SD_G.hypot(lag_g).hypot(s.pour.unsure_g).hypot(pressed_g(&s));
        s.pour.net_u = Some(s.predictor.net_sd_g().max(u_g).max(unseen_g).max(s.predictor.shaking_g()));
        let pour = self.write_down(s, net, at);
        self.say_of(&pour, net, at);
        self.next_piece(&pour, State::Idle, at);
    }
}

/// Slop that still climbed is known no better than an estimate.
fn most_known_g(s: &Stream) -> f64 {
    let climbs = Line::through(s.late()).is_some_and(|line| line.slope_g_s > CLIMB_G_S);
    known_g(s) + if climbs && s.pour.rev == 0 { ESTIMATE_SD_G } else { 0.0 }
}

/// A lump's highest reading may be one of a hand that pressed: it had fallen again before the lift.
fn pressed_g(s: &Stream) -> f64 {
    let fell_g = s.trail.back().map_or(0.0, |(_, net)| s.peak_g - net);
    if s.lumps { EITHER * fell_g.max(0.0) } else { 0.0 }
}

/// A lift may already show in the latest reading: what was known before it. A shaken pan drives the
/// filter, which undoes the scale's lag, far from what is shown: a straight line through the last
/// readings, carried on by the lag, holds it.
fn known_g(s: &Stream) -> f64 {
    let before = s.late().count().saturating_sub(1);
    if s.lumps {
        // The filter knows streams only.
        return s.peak_g;
    }
    let line = Line::through(s.late().take(before)).filter(|_| before >= 3);
    let Some(Line { slope_g_s, end_g, .. }) = line else { return s.known[1] };
    let carried_g = slope_g_s.max(0.0) * s.predictor.lag_s();
    s.known[1].clamp(end_g - LINE_SLACK_G, end_g + carried_g + LINE_SLACK_G)
}
