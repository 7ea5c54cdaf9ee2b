//! What is found out of the display in mid-batch: the step it counts in, and that it stands still.

use super::engine::Engine;
use super::fault::Watch;
use super::state::{Fault, State, Trouble};
use crate::settle::Settler;
use crate::units::Mass;

impl Engine {
    /// The scale counts in this step: rest, a display that stands still and whether it can guide are judged by
    /// it from now on.
    pub fn handle_step(&mut self, step: Mass) {
        self.start.scale.step = step;
        self.settler = Settler::new(&self.start.scale);
        self.ripple = super::swing::ripple(&self.start);
        self.watch = Watch::new(step.g(), self.start.scale.reading_sd_g());
    }

    /// The display stands still while slop should be showing.
    pub fn froze(&self) -> bool {
        matches!(&self.state, State::Fault(Fault { trouble: Trouble::Frozen, .. }))
    }

    /// The step that is gone by.
    pub fn counts_in(&self) -> Mass {
        self.start.scale.step
    }
}
