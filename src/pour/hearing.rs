//! How the cues can be heard, and what it means for a pour when they no longer can.

use super::engine::Engine;
use super::entry::Cue;
use crate::time::{Duration, Instant};

/// How the cues can be heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hearing {
    /// Cues are announced this long before they are due.
    pub ahead: Duration,
    /// A loudspeaker that was there in this batch is there no longer.
    pub lost: bool,
}

impl Engine {
    /// Takes a change of how the cues can be heard: those announced from now on go by it.
    ///
    /// A loudspeaker lost in mid-pour is a `fault`, for whoever can still hear it, and nothing is learned
    /// from that pour; the pour itself goes on.
    pub fn handle_hearing(&mut self, hearing: Hearing, at: Instant) {
        let before = std::mem::replace(&mut self.hearing, hearing);
        if hearing.lost && !before.lost && self.fault_matters() {
            if let Some(pour) = self.state.pour_mut() {
                pour.unheard = true;
            }
            self.deafened = true;
            self.cue_now(Cue::Fault, at, None);
        }
        if !hearing.lost && std::mem::take(&mut self.deafened) {
            self.cue_now(Cue::Clear, at, None);
        }
        self.announce(at);
    }

    /// `fault` was said because a loudspeaker was lost, and no `clear` yet.
    pub fn lost_said(&self) -> bool {
        self.deafened
    }

    /// How the cues can be heard, as last told.
    pub fn hearing(&self) -> Hearing {
        self.hearing
    }
}
