//! One function for each state before and after the stream, and for a fault: what a
//! weighing does there.

use super::engine::{Engine, Seen};
use super::entry::{Cue, Output};
use super::state::{Done, Fault, Pan, Pour, Ready, State, Stream, Trouble};
use crate::reading::Weighing;
use crate::time::Instant;
use std::collections::VecDeque;

/// Readings kept so that the filter can start before the stream was noticed.
const RECENT: usize = 24;
/// Faster than any hand pours slop: a hand on the pot, or the pot moved.
const NOT_A_POUR_G_S: f64 = 80.0;
/// The most a hand pours through a gap in the readings, g/s, and what it may have poured
/// besides (guesses): a greater rise is another piece.
const GAP_POUR_G_S: f64 = 25.0;
const GAP_POUR_G: f64 = 10.0;
/// Slop in a piece does not get lighter by more than the end of the stream's impact, up to
/// 2 g at 10 g/s from 0.2 m (derived), and a little.
const GAP_LOSS_G: f64 = 3.0;

impl Engine {
    pub(super) fn idle(&mut self, w: Weighing) {
        if let Some(rest) = self.at_rest()
            && rest < self.start.settings.min_piece.g()
        {
            self.zero_g = rest;
        }
        self.enter(if self.loaded(w) { State::Landing } else { State::Idle });
    }

    fn loaded(&self, w: Weighing) -> bool {
        w.mass.g() - self.zero_g > self.start.settings.min_piece.g()
    }

    pub(super) fn landing(&mut self, w: Weighing) {
        if !self.loaded(w) {
            return self.enter(State::Idle);
        }
        let Some(tare) = self.at_rest().filter(|_| !self.held) else { return self.enter(State::Landing) };
        self.away = 0;
        let mut pour = Pour::open(self.piece, tare, w.arrived_at);
        pour.promised = self.guides();
        let promised = pour.promised;
        self.outputs.push_back(Output::Entry(pour.entry(w.arrived_at)));
        self.enter(State::Ready(Ready::new(pour, 0.0)));
        if promised {
            self.cue_now(Cue::Ready, w.arrived_at, Some(self.start.target.g()));
        }
    }

    pub(super) fn ready(&mut self, mut r: Ready, w: Weighing, seen: Seen) {
        match self.pan(&r.pour, w) {
            Pan::Left => return self.dropped(&r.pour, State::Idle),
            Pan::Doubtful => return self.enter(State::Ready(r)),
            Pan::Loaded => {}
        }
        let net = w.mass.g() - r.pour.tare;
        let threshold = self.threshold_g();
        r.falls = if net - r.base_g < -threshold { r.falls + 1 } else { 0 };
        if jump_g_s(w, seen).abs() > NOT_A_POUR_G_S || r.falls >= 2 {
            // Touched, or let go of: what was the tare is none.
            return self.dropped(&r.pour, State::Landing);
        }
        push_recent(&mut r.recent, (w.taken_at, net));
        r.rises = if net - r.base_g > threshold { r.rises + 1 } else { 0 };
        if r.rises >= 2 {
            let Ready { pour, recent, base_g, .. } = r;
            let stream = self.stream(pour, &recent, base_g);
            self.enter(State::Pouring(stream));
        } else {
            self.enter(State::Ready(r));
        }
    }

    /// The piece got no slop: its open row goes.
    pub(super) fn dropped(&mut self, pour: &Pour, next: State) {
        self.outputs.push_back(Output::Dropped { piece: pour.piece });
        self.enter(next);
    }

    pub(super) fn done(&mut self, mut d: Done, w: Weighing, seen: Seen) {
        let had = d.pour.net.unwrap_or(0.0);
        let net = w.mass.g() - d.pour.tare;
        let other = seen.gap && (net - had).abs() > self.threshold_g();
        match self.pan(&d.pour, w) {
            Pan::Left => return self.next_piece(&d.pour, State::Idle),
            // Nobody saw what happened in the gap: another piece is likelier than a top-up.
            Pan::Doubtful | Pan::Loaded if other => return self.next_piece(&d.pour, State::Landing),
            Pan::Doubtful => return self.enter(State::Done(d)),
            Pan::Loaded => {}
        }
        d.jumped |= jump_g_s(w, seen).abs() > NOT_A_POUR_G_S;
        push_recent(&mut d.recent, (w.taken_at, net));
        if d.jumped {
            return self.jumped(d);
        }
        d.rises = if net - had > self.threshold_g() { d.rises + 1 } else { 0 };
        if d.rises >= 2 {
            let Done { pour, recent, .. } = d;
            let stream = self.stream(pour, &recent, had);
            return self.enter(State::Pouring(stream));
        }
        self.enter(State::Done(d));
    }

    /// A touch passes; another thing on the pan stays.
    fn jumped(&mut self, mut d: Done) {
        let Some(rest) = self.at_rest() else { return self.enter(State::Done(d)) };
        let had = d.pour.net.unwrap_or(0.0);
        if rest - d.pour.tare - had > self.threshold_g() {
            return self.next_piece(&d.pour, State::Landing);
        }
        d.jumped = false;
        d.rises = 0;
        self.enter(State::Done(d));
    }

    pub(super) fn next_piece(&mut self, pour: &Pour, state: State) {
        self.piece = pour.piece + 1;
        self.away = 0;
        self.enter(state);
    }

    pub(super) fn faulted(&mut self, mut f: Fault, w: Weighing, seen: Seen) {
        match f.trouble {
            Trouble::Frozen if !seen.moved => self.stands_still(f, w),
            Trouble::Changed if self.loaded(w) => self.enter(State::Fault(f)),
            Trouble::Silent if self.changed_unseen(&f.from, w) => {
                if let State::Ready(r) = f.from.as_ref() {
                    self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
                }
                f.from = Box::new(State::Idle);
                f.trouble = Trouble::Changed;
                self.enter(State::Fault(f));
                self.cue_now(Cue::Fault, w.arrived_at, None);
            }
            Trouble::Silent | Trouble::Frozen | Trouble::Changed => {
                self.cue(Cue::Clear, w.arrived_at, w.arrived_at, None);
                self.resume(*f.from, w, seen);
            }
        }
    }

    /// Before slop was seen, a weight that is not the piece's any more.
    fn changed_unseen(&self, from: &State, w: Weighing) -> bool {
        match from {
            State::Ready(r) => {
                let change = w.mass.g() - r.pour.tare - r.base_g;
                self.loaded(w) && change.abs() > self.threshold_g()
            }
            State::Idle
            | State::Landing
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
            State::Idle
            | State::Landing
            | State::Ready(_)
            | State::Pouring(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault(_) => self.dispatch(from, w, seen),
        }
    }

    fn other_piece(&self, s: &Stream, w: Weighing, seen: Seen) -> bool {
        let gap_s = seen.before.map_or(0.0, |b| w.taken_at.seconds_from(b.taken_at));
        let rise = w.mass.g() - s.pour.tare - s.last_net;
        rise > GAP_POUR_G_S * gap_s + GAP_POUR_G || rise < -GAP_LOSS_G.max(5.0 * self.threshold_g())
    }

    pub(super) fn pan(&mut self, pour: &Pour, w: Weighing) -> Pan {
        let piece_g = pour.tare - self.zero_g;
        let away = w.mass.g() < pour.tare - (0.3 * piece_g).max(3.0 * self.threshold_g());
        self.away = if away { self.away + 1 } else { 0 };
        // A slow scale may show a bare pan once only.
        let needed = if self.guides() { 2 } else { 1 };
        match self.away {
            0 => Pan::Loaded,
            n if n < needed => Pan::Doubtful,
            _ => Pan::Left,
        }
    }
}

/// Change from reading to reading.
fn jump_g_s(w: Weighing, seen: Seen) -> f64 {
    seen.before
        .filter(|_| !seen.gap)
        .map_or(0.0, |b| (w.mass.g() - b.mass.g()) / w.taken_at.seconds_from(b.taken_at).max(0.05))
}

fn push_recent(recent: &mut VecDeque<(Instant, f64)>, reading: (Instant, f64)) {
    recent.push_back(reading);
    if recent.len() > RECENT {
        recent.pop_front();
    }
}
