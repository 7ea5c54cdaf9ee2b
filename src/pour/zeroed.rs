//! A display that goes to zero by itself: the scale woke anew, or its own tare key was used. The piece may
//! still stand there. Nothing is tared in silence: the hand is told, and what the piece weighed is offered
//! back to whoever can say that it still stands there.

use super::engine::Engine;
use super::entry::Cue;
use super::running::MOST_FLOW_G_S;
use super::state::{Fault, State, Trouble};
use crate::calibration::correction::Correction;
use crate::reading::Weighing;
use crate::scale::LAG_INTERVALS;
use crate::settle::{Motion, Settler};
use crate::time::Instant;
use crate::units::{Flow, Mass};

/// What stood there was shown whole, or nearly, one reading before (own choice): a lift shows by then.
const ALL: f64 = 0.9;
/// A display on which the piece came over so many readings shows its lift over more than one (own choice; a piece that is
/// set down slowly on a quick display looks the same, and its lift in mid-pour is then a `fault`).
pub(super) const LANDED_OVER: usize = 3;

impl Engine {
    /// A lift shows over several readings; a display that goes from rest to its own zero in one was
    /// set to it by the scale.
    pub(super) fn look_for_zeroing(&mut self, w: Weighing, gap: bool) {
        let at_zero = (w.mass.g() - self.shows_zero_g()).abs() < 0.6 * self.start.scale.step.g();
        if !gap && self.zeroed_in_mid_pour(w) {
            self.zeroed = true;
        } else if !at_zero || gap {
            self.zeroed = false;
        } else if let Some(rest) = self.at_rest() {
            self.zeroed |= self.shows_lifts() && rest - self.zero_g > self.start.settings.min_piece.g();
        }
    }

    /// What a weighing is worth while the display stands at its own zero, g: a calibration may have an offset.
    pub(super) fn shows_zero_g(&self) -> f64 {
        self.correction.of_g(0.0) + self.offset_g
    }

    /// Between two pieces the scale is set right otherwise: the bare pan, as it is remembered, moves with it.
    pub(super) fn correct_by(&mut self, correction: Correction) {
        let moved_g = correction.of_g(0.0) - self.correction.of_g(0.0);
        self.correction = correction;
        self.zero_g += moved_g;
        self.after.shift(moved_g);
    }

    /// The display shows over several readings what goes at once.
    pub(super) fn shows_lifts(&self) -> bool {
        self.pace.mean_s().is_some_and(|s| self.start.scale.lag.as_secs_f64() > LAG_INTERVALS * s)
    }

    /// The same while slop runs: from all that stood there to what a jug gives within one reading; later readings go on
    /// from there.
    fn zeroed_in_mid_pour(&self, w: Weighing) -> bool {
        let State::Pouring(s) = &self.state else { return false };
        if self.zeroed {
            return self.shows_nothing(w);
        }
        let Some(before) = self.last else { return false };
        let gross_g = s.pour.tare + s.last_net - self.zero_g;
        let stood = before.mass.g() - self.zero_g > ALL * gross_g;
        let most_g = MOST_FLOW_G_S * w.taken_at.seconds_from(before.taken_at) + self.threshold_g();
        let near_zero = (-self.threshold_g()..most_g).contains(&(w.mass.g() - self.shows_zero_g()));
        stood && near_zero && (self.shows_lifts() || self.landed_over >= LANDED_OVER)
    }

    /// The piece may still stand there under a display that shows nothing.
    pub(super) fn display_zeroed(&mut self, from: State, at: Instant) {
        self.enter(State::Fault(Fault {
            from: Box::new(from),
            trouble: Trouble::Zeroed,
            resting_since: None,
            rose_g: 0.0,
        }));
        self.cue_now(Cue::Fault, at, None);
    }

    /// While nobody looked a piece went, or the scale woke and took it for its zero.
    pub(super) fn zeroed_unseen(&self, from: &State, w: Weighing) -> bool {
        match from {
            State::Ready(_) | State::Pouring(_) | State::Draining(_) => self.shows_nothing(w),
            State::Idle | State::Landing(_) | State::Other(_) | State::Done(_) | State::Fault(_) => false,
        }
    }

    /// Neither a piece nor the hole that one leaves that the scale had tared away.
    pub(super) fn shows_nothing(&self, w: Weighing) -> bool {
        (w.mass.g() - self.shows_zero_g()).abs() < 0.5 * self.start.settings.min_piece.g()
    }

    /// A piece that landed, or the hole of one that was lifted, says that the one before has gone:
    /// what was known of it is entered.
    pub(super) fn went_unseen(&mut self, from: State, rose_g: f64, w: Weighing) {
        self.cue_now(Cue::Clear, w.arrived_at, None);
        match from {
            State::Ready(r) => self.dropped(&r.pour, State::Idle),
            State::Pouring(mut s) | State::Draining(mut s) => {
                s.pour.troubled = true;
                s.went_on(rose_g);
                self.lifted(s, w.arrived_at);
            }
            State::Idle | State::Landing(_) | State::Other(_) | State::Done(_) | State::Fault(_) => {
                self.enter(State::Idle)
            }
        }
        self.idle(w);
    }

    /// What stood on the pan before the display went to zero, for whoever can say that it still does.
    pub(super) fn offered(&self) -> Option<Mass> {
        let State::Fault(Fault { from, trouble: Trouble::Zeroed, .. }) = &self.state else { return None };
        let gross_g = match from.as_ref() {
            State::Ready(r) => r.pour.tare + r.recent.iter().map(|(_, net)| *net).fold(r.base_g, f64::max),
            State::Pouring(s) | State::Draining(s) => s.pour.tare + s.last_net,
            State::Idle | State::Landing(_) | State::Other(_) | State::Done(_) | State::Fault(_) => {
                return None;
            }
        };
        Some(Mass::saturating(gross_g))
    }

    /// Somebody says that the piece still stands there: weights go on from what it weighed.
    pub(super) fn still_on(&mut self, at: Instant) {
        let Some((gross, last)) = self.offered().zip(self.last) else { return };
        let State::Fault(f) = std::mem::replace(&mut self.state, State::Idle) else { return };
        let shown_g = last.mass.g() - self.offset_g;
        self.offset_g = gross.g() - shown_g;
        self.zeroed = false;
        self.away = 0;
        let w = Weighing { mass: gross, ..last };
        self.begin_afresh(w);
        self.cue_now(Cue::Clear, at, None);
        match *f.from {
            State::Pouring(s) => {
                let s = self.afresh(s, w);
                self.enter(State::Pouring(s));
            }
            from @ (State::Ready(_)
            | State::Draining(_)
            | State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Done(_)
            | State::Fault(_)) => self.enter(from),
        }
    }

    /// Rest is judged anew from this weighing on.
    fn begin_afresh(&mut self, w: Weighing) {
        self.settler = Settler::new(&self.start.scale);
        self.motion = Motion::Moving { flow: Flow::ZERO };
        self.last = Some(w);
    }

    /// With the piece gone the display is its own measure again.
    pub(super) fn drop_offset(&mut self) {
        if self.offset_g == 0.0 || !matches!(self.state, State::Idle) {
            return;
        }
        self.zero_g -= self.offset_g;
        let last = self.last.map(|w| Weighing { mass: Mass::saturating(w.mass.g() - self.offset_g), ..w });
        self.offset_g = 0.0;
        if let Some(w) = last {
            self.begin_afresh(w);
        }
    }
}
