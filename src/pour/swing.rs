//! A small wheel that turns on the pan while a piece is glazed on it: its swing is taken off each reading, and rest is the
//! mean over whole turns.
//!
//! What is known of it when a piece lands was seen on the bare pan before: where a trace begins later than that, its
//! replay finds the wheel later.

use super::engine::{Engine, Start};
use super::entry::{Cue, Output};
use super::ready::Ready;
use super::state::{Pour, State, Stream};
use crate::reading::Weighing;
use crate::record::{Mark, Marks};
use crate::settle::ripple::Ripple;
use crate::time::Instant;
use crate::units::Mass;

/// Nobody pours and ends it again within so long, s (a guess): the end of a landing hides as much of a swing.
const UNSEEN_S: f64 = 1.5;

/// While a wheel turns readings may scatter by half of what a pour may be off: their mean is known three times better
/// (derived of ten readings).
pub(super) fn ripple(start: &Start) -> Ripple {
    Ripple::new(&start.scale, Mass::saturating(0.25 * (start.high - start.low).g()))
}

impl Engine {
    /// The weighing without the swing of a wheel; judges rest.
    pub(super) fn evened(&mut self, w: Weighing, gap: bool) -> Weighing {
        let looks = match self.state.beneath() {
            State::Idle | State::Landing(_) | State::Pouring(_) | State::Draining(_) => true,
            State::Other(_) | State::Ready(_) | State::Done(_) | State::Fault(_) => false,
        };
        let even = Weighing { mass: self.ripple.handle_weighing(w, gap, looks), ..w };
        let motion = self.settler.handle_weighing(even);
        self.motion = self.ripple.motion().unwrap_or(motion);
        self.scatter();
        even
    }

    /// A wheel turns on the pan, and its swing is taken off.
    pub fn on_a_wheel(&self) -> bool {
        self.ripple.motion().is_some()
    }

    /// So many readings in a row above what was there show more slop: a wheel that stopped shows as many for half a turn.
    pub(super) fn rises_wanted(&self) -> u32 {
        let half_turn_s = self.ripple.turn_s().map(|s| 0.5 * s);
        let readings = half_turn_s.zip(self.pace.mean_s()).map(|(s, mean_s)| (s / mean_s).ceil() as u32);
        2 + readings.unwrap_or(0)
    }

    /// While a wheel turns readings scatter by what is left of its swing.
    fn scatter(&mut self) {
        let step_g = self.start.scale.step.g();
        let seen_g =
            self.ripple.scatter_g().map_or(0.0, |g| (g * g - step_g * step_g / 12.0).max(0.0).sqrt());
        self.start.scale.noise = Mass::saturating(seen_g.max(self.own_noise.g()));
    }

    /// Slop before `ready` may have been a part of a swing that was not known yet.
    pub(super) fn unsure_of_swing(&self, pour: &mut Pour) {
        if pour.marks.has(Mark::Early) {
            pour.unsure_g = pour.unsure_g.max(self.ripple.height_g());
        }
    }

    /// What looked like slop before `ready`, or like a hand, was a wheel that turns: tared at its mean.
    fn only_swings(&self, s: &Stream) -> Option<f64> {
        let ((reach_g, since), rest) = self.ripple.reach_g().zip(self.at_rest())?;
        let from_g = s.pour.tare + s.from_g;
        let all = reach_g.contains(&from_g) && reach_g.contains(&(s.pour.tare + s.peak_g));
        let looked_odd = s.odd_load || s.pour.marks.has(Mark::Early);
        // The swing was even from where it was taken for slop.
        let no_slop = s.pour.first_slop.is_some_and(|t| t.offset_seconds(UNSEEN_S) >= since);
        (s.pour.rev == 0 && looked_odd && all && no_slop).then_some(rest)
    }

    /// The stream where it is what it was taken for: no swing of a wheel, no bare piece taken for one put back.
    pub(super) fn as_taken(&mut self, s: Stream, w: Weighing) -> Option<Stream> {
        if let Some(rest) = self.only_swings(&s) {
            self.tared_on_a_wheel(s, rest, w.arrived_at);
            return None;
        }
        if self.was_bare(&s) {
            self.opens_bare(s, w);
            return None;
        }
        Some(s)
    }

    /// The piece is ready after all.
    fn tared_on_a_wheel(&mut self, s: Stream, rest: f64, at: Instant) {
        self.outputs.push_back(Output::Dropped { piece: s.pour.piece });
        let mut pour = Pour::open(s.pour.piece, s.pour.aim, rest, at);
        pour.promised = self.guides();
        pour.marks = Marks::default();
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let promised = pour.promised;
        self.enter(State::Ready(Ready::new(pour, 0.0)));
        if s.pour.troubled {
            self.cue_now(Cue::Clear, at, None);
        }
        if promised {
            self.cue_now(Cue::Ready, at, Some(self.start.target.g()));
        }
    }
}
