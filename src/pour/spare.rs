//! The spare weight: a pebble the tool knows, set on the bare pan to void the last record without a screen.

use super::engine::Engine;
use super::entry::Output;
use super::remark::Remark;
use super::state::State;
use crate::reading::Weighing;

/// A pebble set down anew shows this share of itself more or less (as two placements of a piece).
const PLACED: f64 = 0.002;
/// ... and at least so many standard deviations of a reading.
const SIGMAS: f64 = 4.0;

impl Engine {
    /// The spare weight came to rest on the bare pan: the last record is voided, and nothing is tared.
    pub(super) fn spare_set(&mut self, w: Weighing) -> bool {
        if !self.at_rest().is_some_and(|rest| self.is_spare(rest)) {
            return false;
        }
        self.outputs.push_back(Output::VoidLast);
        self.note(Remark::Voided, w.arrived_at);
        self.enter(State::Spare);
        true
    }

    /// It lies there until it is taken off.
    pub(super) fn spare(&mut self, w: Weighing) {
        let lies = self.is_spare(w.mass.g()) || self.at_rest().is_none();
        if lies && w.mass.g() - self.zero_g > self.threshold_g() {
            return self.enter(State::Spare);
        }
        self.enter(State::Idle);
    }

    fn is_spare(&self, gross_g: f64) -> bool {
        let Some(spare) = self.start.spare else { return false };
        let wide_g = (PLACED * spare.g()).max(SIGMAS * self.start.scale.reading_sd_g());
        (gross_g - self.zero_g - spare.g()).abs() <= wide_g
    }
}
