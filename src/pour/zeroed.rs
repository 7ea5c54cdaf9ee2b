//! A display that goes to zero by itself: the scale woke anew, or its own tare key was used. The piece may
//! still stand there. Nothing is tared in silence: the hand is told, and what the piece weighed is offered
//! back to whoever can say that it still stands there.

use super::engine::Engine;
use super::entry::Cue;
use super::state::{Fault, State, Trouble};
use crate::reading::Weighing;
use crate::scale::LAG_INTERVALS;
use crate::settle::{Motion, Settler};
use crate::time::Instant;
use crate::units::{Flow, Mass};

impl Engine {
    /// A lift shows over several readings; a display that goes from rest to its own zero in one was
    /// set to it by the scale.
    pub(super) fn look_for_zeroing(&mut self, w: Weighing, gap: bool) {
        let at_zero = (w.mass.g() - self.offset_g).abs() < 0.6 * self.start.scale.step.g();
        if !at_zero || gap {
            self.zeroed = false;
        } else if let Some(rest) = self.at_rest() {
            self.zeroed |= self.shows_lifts() && rest - self.zero_g > self.start.settings.min_piece.g();
        }
    }

    /// The display shows over several readings what goes at once.
    pub(super) fn shows_lifts(&self) -> bool {
        self.pace.mean_s().is_some_and(|s| self.start.scale.lag.as_secs_f64() > LAG_INTERVALS * s)
    }

    /// The piece may still stand there under a display that shows nothing.
    pub(super) fn display_zeroed(&mut self, from: State, at: Instant) {
        self.enter(State::Fault(Fault {
            from: Box::new(from),
            trouble: Trouble::Zeroed,
            resting_since: None,
        }));
        self.cue_now(Cue::Fault, at, None);
    }

    /// While nobody looked a piece went, or the scale woke and took it for its zero.
    pub(super) fn zeroed_unseen(&self, from: &State, w: Weighing) -> bool {
        match from {
            State::Ready(_) | State::Pouring(_) | State::Draining(_) => self.shows_nothing(w),
            State::Idle | State::Landing(_) | State::Spare(_) | State::Done(_) | State::Fault(_) => false,
        }
    }

    /// Neither a piece nor the hole that one leaves that the scale had tared away.
    pub(super) fn shows_nothing(&self, w: Weighing) -> bool {
        (w.mass.g() - self.offset_g).abs() < 0.5 * self.start.settings.min_piece.g()
    }

    /// A piece that landed, or the hole of one that was lifted, says that the one before has gone:
    /// what was known of it is entered.
    pub(super) fn went_unseen(&mut self, from: State, w: Weighing) {
        self.cue_now(Cue::Clear, w.arrived_at, None);
        match from {
            State::Ready(r) => self.dropped(&r.pour, State::Idle),
            State::Pouring(s) | State::Draining(s) => self.lifted(s, w.arrived_at),
            State::Idle | State::Landing(_) | State::Spare(_) | State::Done(_) | State::Fault(_) => {
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
            State::Idle | State::Landing(_) | State::Spare(_) | State::Done(_) | State::Fault(_) => {
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
            | State::Spare(_)
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
