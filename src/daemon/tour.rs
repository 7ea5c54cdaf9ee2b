//! `demo --tour`: every cue once, with its name, so that a hand learns them before slop runs; then each kind of trouble.

pub(super) mod on_page;
mod troubles;

use super::clock::Clock;
use super::commands::say;
use crate::pour::entry::Cue;
use crate::settings::Sound;
use crate::sound::tone::{Voice, tone};
use crate::sound::{Loudspeaker, Order, SoundState, SoundStatus};
use std::process::ExitCode;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

/// Time to read the name before its sound.
const READ: Duration = Duration::from_millis(900);
/// The device's limit for opening, and room.
const WAIT: Duration = Duration::from_secs(4);

/// Plays all ten on the loudspeaker and at the volume that are set; those that are set silent say so.
/// Without a loudspeaker all is shown, and 1 is the code: nothing was heard. With `silent` that is as wished.
pub(super) fn run(set: Sound, silent: bool) -> anyhow::Result<ExitCode> {
    let clock = Clock::default();
    let in_a_pour = Voice::from(&set);
    if silent {
        say("--no-sound: no sound is heard, the cues are only named");
        show(&in_a_pour, None, clock)?;
        return Ok(ExitCode::SUCCESS);
    }
    let (tell, told) = channel();
    let sound = Sound { good: true, quiet: false, pips: true, ..set };
    let (loudspeaker, _thread) = Loudspeaker::start(sound, move || clock.now(), move |s| drop(tell.send(s)))?;
    loudspeaker.give(Order::Batch(true));
    if let Err(words) = wait(&told) {
        say(words);
        say("no sound is heard: the cues are only named, and what goes wrong is only shown");
        show(&in_a_pour, None, clock)?;
        return Ok(ExitCode::FAILURE);
    }
    show(&in_a_pour, Some(&loudspeaker), clock)?;
    Ok(ExitCode::SUCCESS)
}

/// Every cue, then each trouble; heard too where there is a loudspeaker.
fn show(in_a_pour: &Voice, loudspeaker: Option<&Loudspeaker>, clock: Clock) -> anyhow::Result<()> {
    for cue in Cue::ALL {
        let silent = if in_a_pour.sounds(cue) { "" } else { " (silent in a pour, as [sound] is set)" };
        say(format!("{:8}  {}{silent}", cue.word(), meaning(cue)));
        let Some(loudspeaker) = loudspeaker else { continue };
        loudspeaker.give(Order::Cue { cue, due: clock.now() + READ });
        let length = Duration::from_millis(u64::from(tone(cue).length_ms()));
        std::thread::sleep(READ + length + READ / 2);
    }
    troubles::run(loudspeaker, clock)
}

/// Until it can be heard; else why not.
fn wait(told: &Receiver<SoundStatus>) -> Result<(), String> {
    match told.recv_timeout(WAIT) {
        Ok(status) if status.state == SoundState::On => {
            say(status.words);
            Ok(())
        }
        Ok(status) => Err(status.words),
        Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
            Err("the sound's thread says nothing; please report it".to_owned())
        }
    }
}

fn meaning(cue: Cue) -> &'static str {
    match cue {
        Cue::Ready => "tared: pour",
        Cue::Approach => "nearly there: ease off",
        Cue::Count => "a warning pip: the stop is near",
        Cue::Stop => "stop now",
        Cue::Good => "within the limits",
        Cue::Short => "too little: pour a little more",
        Cue::Over => "too much: pour some back, or leave it",
        Cue::Fault => "something is wrong: stop pouring",
        Cue::Clear => "the trouble is over",
        Cue::Note => "something to know, in words on the page; pour on",
    }
}
