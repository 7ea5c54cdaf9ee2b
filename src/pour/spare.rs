//! The spare weight: a pebble the tool knows, set on the bare pan to void the last record without a screen.

use super::engine::Engine;
use super::entry::Output;
use super::kept::PLACED;
use super::remark::Remark;
use super::residue::RESIDUE_MOST_G;
use super::state::{Other, State};
use crate::reading::Weighing;
use crate::time::Instant;

/// What is set down anew shows itself within so many standard deviations of two placements, and of a reading (normal
/// law: 1 in 16 000).
const SIGMAS: f64 = 4.0;

/// What sticks to the pan is never taken for it: half as much again as a piece leaves there at most (own choice).
pub const LEAST_SPARE_G: f64 = 1.5 * RESIDUE_MOST_G;

impl Engine {
    /// The spare weight came to rest on the bare pan: the last record is voided, and nothing is tared.
    pub(super) fn spare_set(&mut self) -> bool {
        if !self.at_rest().is_some_and(|rest| self.is_spare(rest)) {
            return false;
        }
        if let Some(last) = self.last {
            self.does_not_come_back(last.arrived_at);
        }
        self.enter(State::Other(Other::Spare { voided: false }));
        self.outputs.push_back(Output::VoidLast);
        true
    }

    /// Whoever keeps the records took one out of the count.
    pub(super) fn voided(&mut self, at: Instant) {
        if let State::Other(Other::Spare { voided }) = &mut self.state {
            *voided = true;
        }
        self.note(Remark::Voided, at);
    }

    /// It lies there until it is taken off.
    pub(super) fn spare(&mut self, voided: bool, w: Weighing) {
        let lies = self.is_spare(w.mass.g()) || self.at_rest().is_none();
        if lies && w.mass.g() - self.zero_g > self.threshold_g() {
            return self.enter(State::Other(Other::Spare { voided }));
        }
        self.enter(State::Idle);
    }

    /// What weighs so much shows itself within this when it is set down anew, g.
    pub(super) fn placed_within_g(&self, gross_g: f64) -> f64 {
        SIGMAS * (PLACED * gross_g).max(self.start.scale.reading_sd_g())
    }

    fn is_spare(&self, gross_g: f64) -> bool {
        let Some(spare) = self.start.spare.filter(|g| g.g() >= LEAST_SPARE_G) else { return false };
        let wide_g = self.placed_within_g(spare.g());
        let room_g = self.after.unseen_most_g(self.zero_g);
        (-wide_g..=wide_g + room_g).contains(&(gross_g - self.zero_g - spare.g()))
    }
}
