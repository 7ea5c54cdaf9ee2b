//! Between a cue and the hand: a loudspeaker that is late, a person who mends their own mean, and one who stops on
//! the beat of the pips instead of answering the tone.

use super::cell::{Change, Setup};
use tarebell::plant::session::Potter;
use tarebell::time::Instant;

/// On the beat: the next one is expected half way between the last interval and the usual one (studies of changing
/// tempo), and people are early by so much (the mean asynchrony of tapping, 20 to 80 ms; Repp's reviews).
const BEAT_S: f64 = 0.425;
const EARLY_S: f64 = 0.040;
/// Who stops on the beat misses it once in so many pours, and answers the tone a usual time later (guesses).
const MISSES: u32 = 20;
const ANSWERS_S: f64 = 0.21;
/// The simulated hand answers no sooner than at once: what is early is moved into the time of the sound, s.
pub(crate) const ROOM_S: f64 = 0.15;
/// No pour's error counts for more than this, s.
const STEP_LIMIT_S: f64 = 0.15;

pub(crate) struct Ear {
    change: Change,
    sound_s: Box<dyn FnMut() -> f64>,
    /// What the person has put right so far, s.
    mended_s: f64,
    pips: Vec<Instant>,
    pours: u32,
}

impl Ear {
    pub(crate) fn new(setup: &Setup, seed: u64) -> Self {
        let change = setup.change.clone();
        Self { change, sound_s: setup.sound(seed), mended_s: 0.0, pips: Vec::new(), pours: 0 }
    }

    /// A cue that is due then.
    pub(crate) fn hear(&mut self, potter: &mut Potter, word: &'static str, due: Instant) {
        let heard = due.offset_seconds((self.sound_s)());
        if self.change.unsaid.contains(&word) {
            return;
        }
        if word == "stop" {
            self.stop(potter, heard);
            return;
        }
        potter.handle_cue(word, heard);
        if word == "count" && self.change.on_the_beat {
            self.pips.push(heard);
            self.beat(potter);
        }
    }

    fn misses(&self) -> bool {
        self.pours % MISSES == MISSES - 1
    }

    /// After the second pip the hand is on its way, whatever is said.
    fn beat(&self, potter: &mut Potter) {
        if let [first, last] = self.pips[..]
            && !self.misses()
        {
            let expected_s = 0.5 * last.seconds_from(first) + 0.5 * BEAT_S;
            potter.handle_cue("stop", last.offset_seconds(expected_s - EARLY_S - ROOM_S - self.mended_s));
        }
    }

    fn stop(&self, potter: &mut Potter, heard: Instant) {
        let beaten = self.change.on_the_beat && self.pips.len() >= 2 && !self.misses();
        if beaten {
            return;
        }
        let answer_s = if self.change.on_the_beat { ANSWERS_S - ROOM_S } else { 0.0 };
        potter.handle_cue("stop", heard.offset_seconds(answer_s - self.mended_s));
    }

    /// The piece was lifted; what it was off and the flow at its stop, where one was heard.
    pub(crate) fn lifted(&mut self, seen: Option<(f64, f64)>) {
        if let Some((error_g, flow_g_s)) = seen {
            let error_s = (error_g / flow_g_s.max(0.5)).clamp(-STEP_LIMIT_S, STEP_LIMIT_S);
            self.mended_s += self.change.adapts * error_s;
        }
        self.pips.clear();
        self.pours += 1;
    }
}
