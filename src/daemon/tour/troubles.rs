//! The second half of the tour: each kind of trouble once, played at the simulated table. All of it is invented.

use super::{READ, meaning};
use crate::daemon::clock::Clock;
use crate::daemon::commands::say;
use crate::daemon::rehearsal::{Said, play};
use crate::plant::scene::Scene;
use crate::pour::entry::Cue;
use crate::sound::tone::tone;
use crate::sound::{Loudspeaker, Order};
use std::time::Duration;

/// Scenes, in the order in which a potter is likely to meet them.
pub(super) const TROUBLES: [(&str, &str); 9] = [
    ("too-soon", include_str!("too-soon.scene")),
    ("silence", include_str!("silence.scene")),
    ("frozen", include_str!("frozen.scene")),
    ("own-key", include_str!("own-key.scene")),
    ("short", include_str!("short.scene")),
    ("over", include_str!("over.scene")),
    ("set-down-again", include_str!("set-down-again.scene")),
    ("rim", include_str!("rim.scene")),
    ("residue", include_str!("residue.scene")),
];

/// Plays each; only what tells of the trouble is sounded, the usual cues are named.
pub(super) fn run(loudspeaker: Option<&Loudspeaker>, clock: Clock) -> anyhow::Result<()> {
    say("\nWhat goes wrong at the table, each once (a simulated hand and scale):");
    for (name, text) in TROUBLES {
        let scene = Scene::parse(text, name)?;
        let title = text.lines().next().unwrap_or(name).trim_start_matches(['#', ' ']);
        say(format!("\n{title}"));
        for played in scene.scales.iter().filter_map(|scale| play(&scene, scale)) {
            for said in played.in_order() {
                tell(loudspeaker, clock, &said);
            }
        }
    }
    Ok(())
}

fn tell(loudspeaker: Option<&Loudspeaker>, clock: Clock, said: &Said) {
    say(format!("  {}", said.text()));
    let Said::Cue(_, call) = said else { return };
    if !is_trouble(call.cue) {
        return;
    }
    say(format!("              {}", meaning(call.cue)));
    let Some(loudspeaker) = loudspeaker else { return };
    loudspeaker.give(Order::Cue { cue: call.cue, due: clock.now() + READ / 2 });
    std::thread::sleep(READ + Duration::from_millis(u64::from(tone(call.cue).length_ms())));
}

const fn is_trouble(cue: Cue) -> bool {
    match cue {
        Cue::Short | Cue::Over | Cue::Fault | Cue::Clear | Cue::Note => true,
        Cue::Ready | Cue::Approach | Cue::Count | Cue::Stop | Cue::Good => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_scene_of_the_tour_tells_of_its_trouble() {
        for (name, text) in TROUBLES {
            let scene = Scene::parse(text, name).unwrap();
            let played = play(&scene, &scene.scales[0]).unwrap();
            let said = played.in_order();
            let sounds =
                said.iter().filter(|s| matches!(s, Said::Cue(_, call) if is_trouble(call.cue))).count();
            let marked =
                said.iter().any(|s| matches!(s, Said::Record(_, e, _) if e.marks.iter().next().is_some()));
            assert!(sounds > 0 || marked, "{name}: {}", played.transcript());
        }
    }
}
