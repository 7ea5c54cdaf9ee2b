//! One function for each state before and after the stream, and for a fault: what a
//! weighing does there.

use super::done::EITHER;
use super::engine::{Engine, Seen};
use super::entry::{Cue, Output};
use super::landing::Landing;
use super::leaps::Leaps;
use super::lighter::BORNE;
use super::running::MOST_FLOW_G_S;
use super::state::{Fault, Pan, Pour, Running, State, Stream, Trouble};
use crate::reading::Weighing;
use crate::settle::Motion;
use crate::time::Instant;
use std::collections::VecDeque;

/// Readings kept so that the filter can start before the stream was noticed.
const RECENT: usize = 24;
/// Faster than any hand pours slop: a hand on the pot, or the pot moved.
pub(super) const NOT_A_POUR_G_S: f64 = 80.0;
/// After a touch, slop of a stream that began meanwhile: 1 s of the most a hand pours is 25 g,
/// a touch leaves after less than half of that (a guess).
pub(super) const BEGUN_G: f64 = 10.0;
/// Readings that show the pan bare at a begin: one alone may be damaged (own choice).
const BARE: usize = 3;
/// A piece that was lifted leaves less than this share of its bare weight on the display before a hand that bears it would have
/// let go (a guess).
const NEARLY_BARE: f64 = 0.3;
/// A touch is over after this long; then it is no touch (a guess).
pub(super) const TOUCH_S: f64 = 1.0;
/// A pan that loses weight faster than this is being lifted from (a tenth of the least piece
/// in the time of one reading, derived).
const LIFTING_G_S: f64 = 40.0;
/// What a hand may have poured through a gap in the readings besides the most that a jug gives, g (a guess): a
/// greater rise is another piece.
const GAP_POUR_G: f64 = 10.0;
/// To lift a piece and set down another takes longer than this, s (a guess).
pub(super) const CHANGED_S: f64 = 1.0;
/// Slop in a piece does not get lighter by more than the end of the stream's impact, up to
/// 2 g at 10 g/s from 0.2 m (derived), and a little.
const GAP_LOSS_G: f64 = 3.0;

impl Engine {
    pub(super) fn idle(&mut self, w: Weighing) {
        self.write_what_waited(w.arrived_at);
        self.say_what_left(w.arrived_at);
        // Before it is taken for the bare pan's zero: a pebble may be lighter than any piece. One that lies
        // there from before the start was set down for nobody knows what.
        if !self.lift_first && self.spare_set() {
            return;
        }
        if self.runs_on_bare_pan(w) {
            self.lands(w.arrived_at);
            return self.display_zeroed(State::Idle, w.arrived_at);
        }
        self.look_at_pan();
        self.look_after(w);
        if let Some(rest) = self.at_rest()
            && rest < self.start.settings.min_piece.g()
        {
            self.zero_g = rest;
            self.after.rests(w.arrived_at);
        }
        if self.fills_what_is_too_light(w) {
            // What lies there is no part of the pan.
            self.zero_g = self.start.zero.g();
            return self.unknown_weight(w.arrived_at);
        }
        if self.lift_first && self.loaded(w) {
            self.lift_first = false;
            return self.unknown_weight(w.arrived_at);
        }
        let bare_g = self.zero_g + self.start.settings.min_piece.g();
        self.lift_first &= self.at_rest().is_none() && !self.climb.stays_below(bare_g, BARE);
        let lifting = matches!(self.motion, Motion::Moving { flow } if flow.g_s() < -LIFTING_G_S);
        if !self.loaded(w) {
            self.alone_g = None;
        }
        if !self.loaded(w) || lifting {
            return self.enter(State::Idle);
        }
        self.lands(w.arrived_at);
        // Longer ago it was so before this piece came, and a hand bore it since.
        let bare = self.climb.was_below(bare_g, w.taken_at.offset_seconds(-CHANGED_S));
        self.enter(State::Landing(if bare { Landing::default() } else { Landing::of_what_stood() }));
    }

    /// What stands on the pan can't be told: nothing goes on before it was lifted off.
    fn unknown_weight(&mut self, at: Instant) {
        let from = Box::new(State::Idle);
        self.enter(State::Fault(Fault { from, trouble: Trouble::Changed, resting_since: None, rose_g: 0.0 }));
        self.cue_now(Cue::Fault, at, None);
    }

    pub(super) fn loaded(&self, w: Weighing) -> bool {
        w.mass.g() - self.zero_g > self.start.settings.min_piece.g()
    }

    /// The piece got no slop: its open row goes.
    pub(super) fn dropped(&mut self, pour: &Pour, next: State) {
        self.outputs.push_back(Output::Dropped { piece: pour.piece });
        self.enter(next);
    }

    pub(super) fn next_piece(&mut self, pour: &Pour, state: State, at: Instant) {
        self.piece = self.piece.max(pour.piece.saturating_add(1));
        (self.away, self.alone_g, self.memory.anew) = (0, None, None);
        self.keep(pour, at);
        let left = matches!(state, State::Idle);
        self.after.handle_lift(pour);
        if !left {
            // Another stands there at once: nobody saw what this one left.
            self.lands(at);
        }
        self.enter(state);
        if left {
            self.say_what_waited(at);
        }
    }

    pub(super) fn faulted(&mut self, mut f: Fault, w: Weighing, seen: Seen) {
        match f.trouble {
            Trouble::Frozen | Trouble::Unmoved if !seen.moved => self.stands_still(f, w),
            Trouble::Changed if self.loaded(w) => self.enter(State::Fault(f)),
            Trouble::Zeroed if self.shows_nothing(w) => {
                f.rose_g = f.rose_g.max(w.mass.g() - self.shows_zero_g());
                self.enter(State::Fault(f));
            }
            Trouble::Zeroed => self.went_unseen(*f.from, f.rose_g, w),
            Trouble::Silent if self.zeroed_unseen(&f.from, w) => {
                self.enter(State::Fault(Fault { trouble: Trouble::Zeroed, ..f }));
            }
            Trouble::Silent if self.changed_unseen(&f.from, w, seen) => {
                self.poured_unseen(*f.from, w, seen);
                self.unknown_weight(w.arrived_at);
            }
            Trouble::Silent | Trouble::Frozen | Trouble::Unmoved | Trouble::Changed => {
                self.cue_now(Cue::Clear, w.arrived_at, None);
                self.resume(*f.from, w, seen);
            }
        }
    }

    /// Where slop may have run while nobody looked, there is a record, of which nothing is called.
    fn poured_unseen(&mut self, from: State, w: Weighing, seen: Seen) {
        let State::Ready(r) = from else { return };
        let net = w.mass.g() - r.pour.tare;
        let lump = self.start.settings.vessel.in_lumps() && self.fits(&r.pour, net);
        let most_g = if lump { f64::INFINITY } else { MOST_FLOW_G_S * gap_s(w, seen) + GAP_POUR_G };
        if !(self.splash_g()..most_g).contains(&net) {
            return self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
        }
        let mut s = self.stream(r.pour, &r.recent, net);
        s.pour.troubled = true;
        s.pour.doubt_g = net;
        s.pour.net_u = Some(EITHER * net);
        let pour = self.write_down(s, net, w.arrived_at);
        self.next_piece(&pour, State::Idle, w.arrived_at);
    }

    /// Before slop was seen, a weight that is not the piece's any more; a ladle's lump after a short gap is its slop.
    fn changed_unseen(&self, from: &State, w: Weighing, seen: Seen) -> bool {
        match from {
            State::Ready(r) => {
                let net = w.mass.g() - r.pour.tare;
                let change = net - r.base_g;
                let lumps = self.start.settings.vessel.in_lumps() && gap_s(w, seen) < CHANGED_S;
                let lump = lumps && change > 0.0 && self.fits(&r.pour, net);
                self.loaded(w) && change.abs() > self.threshold_g() && !lump
            }
            State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Pouring(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault(_) => false,
        }
    }

    /// Goes on where the fault interrupted; with another piece on the pan, the one before
    /// is entered with what was known of it.
    fn resume(&mut self, from: State, w: Weighing, seen: Seen) {
        match from {
            State::Pouring(s) | State::Draining(s) if seen.gap && self.other_piece(&s, w, seen) => {
                self.estimate(s, w.arrived_at);
                self.idle(w);
            }
            // A lift shows: what is in it is what was known before.
            State::Pouring(s) if self.falls_from(&s, w) => self.dispatch(State::Pouring(s), w, seen),
            State::Pouring(s) => {
                let fresh = self.afresh(s, w);
                self.dispatch(State::Pouring(fresh), w, seen);
            }
            State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Ready(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault(_) => self.dispatch(from, w, seen),
        }
    }

    /// Nothing is planned from a flow of before: what runs now has to be seen.
    pub(super) fn afresh(&self, s: Stream, w: Weighing) -> Stream {
        let net = w.mass.g() - s.pour.tare;
        let Running { pour, plan, from_g, leaps, .. } = *s;
        let mut fresh = self.stream(pour, &VecDeque::from([(w.taken_at, net)]), net);
        (fresh.plan, fresh.from_g, fresh.leaps) = (plan, from_g, Leaps::of(leaps.g()));
        fresh
    }

    /// Five thresholds below the slop that it showed last: no noise (own choice), and nothing that was set beside it.
    fn falls_from(&self, s: &Stream, w: Weighing) -> bool {
        let falls = w.mass.g() - s.pour.tare < s.last_net - 5.0 * self.threshold_g();
        falls && self.fits(&s.pour, s.last_net)
    }

    fn other_piece(&self, s: &Stream, w: Weighing, seen: Seen) -> bool {
        let gap_s = gap_s(w, seen);
        let most_g = match s.plan.stop_due {
            // After a stop the stream ends within a second at half as much again as its flow at most
            // (guesses).
            Some(due) => {
                let left_s = seen.before.map_or(0.0, |b| 1.0 + due.seconds_from(b.taken_at));
                1.5 * s.predictor.flow_g_s().max(0.0) * left_s.clamp(0.0, gap_s) + GAP_LOSS_G
            }
            None => MOST_FLOW_G_S * gap_s + GAP_POUR_G,
        };
        let net = w.mass.g() - s.pour.tare;
        let rise = net - s.last_net;
        // What came may be a lump; and nobody lifts a piece and has another one on the pan within so short a time.
        let slop = gap_s < CHANGED_S || self.start.settings.vessel.in_lumps() && self.fits(&s.pour, net);
        // Five thresholds: noise falls by one at most, so no noise is taken for a lift (own choice).
        rise > most_g && !slop || rise < -GAP_LOSS_G.max(5.0 * self.threshold_g())
    }

    /// While slop runs a hand may bear a light piece: only a pan that is nearly bare, or stays light, was left.
    pub(super) fn pan_beneath(&mut self, s: &Stream, w: Weighing) -> Pan {
        let before = self.away;
        let seen = self.pan(&s.pour, w);
        let borne_s = BORNE.as_secs_f64();
        let away_s = f64::from(before + 1) * self.pace.mean_s().unwrap_or(borne_s);
        let change = w.mass.g() - s.pour.tare - s.last_net;
        let bare = self.nearly_bare(&s.pour, w);
        // Once it was borne it is the same piece when it weighs what it did, and what slop may have run meanwhile.
        let same = (-GAP_LOSS_G..MOST_FLOW_G_S * away_s + GAP_POUR_G).contains(&change);
        // What comes to rest at its tare shows by then that it never left.
        let at_tare = self.is_at_tare(s, w.mass.g(), 2.0 * self.threshold_g());
        match seen {
            Pan::Left if bare || self.zeroed => Pan::Left,
            Pan::Left | Pan::Loaded if before >= 2 && at_tare => {
                self.away = before + 1;
                Pan::Doubtful
            }
            Pan::Left if away_s >= borne_s => Pan::Left,
            Pan::Loaded if before >= 2 && !same => {
                self.away = before + 1;
                if away_s >= borne_s { Pan::Left } else { Pan::Doubtful }
            }
            Pan::Left | Pan::Doubtful => Pan::Doubtful,
            Pan::Loaded => Pan::Loaded,
        }
    }

    /// So little is shown that it was lifted: a hand that bears it, or a sponge that pulls at the pan, leaves more.
    pub(super) fn nearly_bare(&self, pour: &Pour, w: Weighing) -> bool {
        w.mass.g() - self.zero_g < NEARLY_BARE * (pour.tare - self.zero_g)
    }

    pub(super) fn pan(&mut self, pour: &Pour, w: Weighing) -> Pan {
        // Near a third of the piece gone is more than any touch holds up, and less than a lift; three thresholds for the
        // lightest ware, as noise makes one (own choice).
        let piece_g = pour.tare - self.zero_g;
        let away = w.mass.g() < pour.tare - (0.3 * piece_g).max(3.0 * self.threshold_g());
        self.away = if away { self.away + 1 } else { 0 };
        // A slow scale may show a bare pan once only.
        let needed = if self.pace.too_slow() { 1 } else { 2 };
        match self.away {
            0 => Pan::Loaded,
            n if n < needed => Pan::Doubtful,
            _ => Pan::Left,
        }
    }
}

/// Since the reading before, s.
pub(super) fn gap_s(w: Weighing, seen: Seen) -> f64 {
    seen.before.map_or(0.0, |b| w.taken_at.seconds_from(b.taken_at))
}

/// Change from reading to reading.
pub(super) fn jump_g_s(w: Weighing, seen: Seen) -> f64 {
    seen.before
        .filter(|_| !seen.gap)
        .map_or(0.0, |b| (w.mass.g() - b.mass.g()) / w.taken_at.seconds_from(b.taken_at).max(0.05))
}

pub(super) fn push_recent(recent: &mut VecDeque<(Instant, f64)>, reading: (Instant, f64)) {
    recent.push_back(reading);
    if recent.len() > RECENT {
        recent.pop_front();
    }
}
