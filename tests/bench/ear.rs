//! Between a cue and the hand: a loudspeaker that is late, and a person who mends their own mean.

use super::cell::{Change, Setup};
use tarebell::plant::session::Potter;
use tarebell::time::Instant;

/// The simulated hand answers no sooner than at once: what is early is moved into the time of the sound, s.
pub(crate) const ROOM_S: f64 = 0.15;
/// No pour's error counts for more than this, s.
const STEP_LIMIT_S: f64 = 0.15;

pub(crate) struct Ear {
    change: Change,
    sound_s: Box<dyn FnMut() -> f64>,
    /// What the person has put right so far, s.
    mended_s: f64,
    known_s: f64,
}

impl Ear {
    pub(crate) fn new(setup: &Setup, seed: u64) -> Self {
        let change = setup.change.clone();
        Self { change, sound_s: setup.sound(seed), mended_s: 0.0, known_s: setup.sound_known_s }
    }

    /// A cue that is due then.
    pub(crate) fn hear(&mut self, potter: &mut Potter, word: &'static str, due: Instant) {
        // What the engine knows of it is ahead of what is due.
        let heard = due.offset_seconds((self.sound_s)() - self.known_s);
        if self.change.unsaid.contains(&word) {
            return;
        }
        let mended_s = if word == "stop" { self.mended_s } else { 0.0 };
        potter.handle_cue(word, heard.offset_seconds(-mended_s));
    }

    /// The piece was lifted; what it was off and the flow at its stop, where one was heard.
    pub(crate) fn lifted(&mut self, seen: Option<(f64, f64)>) {
        if let Some((error_g, flow_g_s)) = seen {
            let error_s = (error_g / flow_g_s.max(0.5)).clamp(-STEP_LIMIT_S, STEP_LIMIT_S);
            self.mended_s += self.change.adapts * error_s;
        }
    }
}
