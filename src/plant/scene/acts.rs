//! The steps of a scene: what each line of it means.

use super::words::{Odd, Words};
use crate::plant::force::{Touch, WHEEL};
use crate::plant::jet::{Goal, Pouring, Vessel};
use crate::plant::ware::{Landing, Left};

/// A sponge works over the pan for this long, pushing and pulling so hard (guesses).
const WIPE: (f64, f64) = (1.5, 40.0);
/// A nudge pushes with so many grams, for so long (guesses).
pub(crate) const NUDGE: (f64, f64) = (30.0, 0.3);
/// No wheel on a pan turns faster (a guess).
const MOST_TURNS: f64 = 10.0;
/// Things other than pieces are put down and taken off in this time, seconds.
const SET_S: f64 = 0.2;

/// What happens in one step.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Act {
    /// A new bare piece is put down; a hand may still bear (less than 0) or press it.
    Land { bare_g: f64, how: Landing, hand_g: f64, hand_s: f64 },
    /// The piece is lifted off, and leaves so much on the pan.
    Lift { left: Left },
    /// The piece lifted last is put back with less slop in it.
    PutBack { less_g: f64 },
    /// The piece is pushed off the centre.
    Nudge { cm: f64 },
    /// Another thing is set on the pan.
    Set { name: String, g: f64 },
    /// And taken off.
    Take { name: String },
    /// Slop is poured.
    Pour(Pouring),
    /// Slop lands beside the piece.
    Splash { g: f64 },
    /// The pan is wiped.
    Wipe { leaving_g: f64 },
    /// A hand, a blow, wind.
    Touch { touch: Touch, g: f64, for_s: f64 },
    /// A wheel that turns so many times a second.
    Wheel { g: f64, turns: f64, for_s: f64 },
    /// The jug's lip lies on the rim until it is tilted back, or for so long.
    JugRests { g: f64, for_s: Option<f64> },
    /// Water goes from the slop, evenly.
    Dry { g: f64, for_s: f64 },
    /// Nothing.
    Rest { for_s: f64 },
    /// Until one of these cues has sounded since the last step that was no rest and no wait.
    Wait { cues: &'static [&'static str], most_s: f64 },
    /// For the cue that says what the piece is to its hand; where another one sounds it is lifted and set down again.
    Insist { on: &'static str, not: &'static [&'static str], most_s: f64 },
    /// Readings do not arrive.
    Silence { for_s: f64 },
    /// The cable is out.
    Unplug { for_s: f64 },
    /// The display stands.
    Freeze { for_s: f64 },
    /// The scale's own tare key.
    ZeroKey,
    /// Each two readings change places.
    OutOfOrder { for_s: f64 },
    /// Each two readings arrive in the same moment.
    EqualTimes { for_s: f64 },
    /// The computer's clock is moved.
    Clock { by_s: f64 },
}

impl Act {
    /// Seconds until the next step begins; `None` where that depends on what happens.
    pub(crate) fn takes_s(&self) -> Option<f64> {
        match self {
            Self::Land { how, .. } => Some(how.takes_s()),
            Self::Lift { .. } | Self::PutBack { .. } | Self::Set { .. } | Self::Take { .. } => Some(SET_S),
            Self::Nudge { .. } => Some(NUDGE.1),
            Self::Wipe { .. } => Some(WIPE.0),
            Self::Pour(_) | Self::Wait { .. } | Self::Insist { .. } => None,
            Self::Splash { .. } | Self::JugRests { .. } | Self::ZeroKey | Self::Clock { .. } => Some(0.0),
            Self::Touch { for_s, .. }
            | Self::Wheel { for_s, .. }
            | Self::Dry { for_s, .. }
            | Self::Rest { for_s }
            | Self::Silence { for_s }
            | Self::Unplug { for_s }
            | Self::Freeze { for_s }
            | Self::OutOfOrder { for_s }
            | Self::EqualTimes { for_s } => Some(*for_s),
        }
    }

    /// What a wipe does besides: a sponge that pushes.
    pub(crate) fn sponge() -> (Touch, f64, f64) {
        (Touch::Sponge, WIPE.1, WIPE.0)
    }
}

const WORDS: &str = "a step (land, lift, put back, swap, nudge, set, take, pour, squeeze, ladle, splash, wipe, \
    press, bear, steady, bump, knock, wheel, shake, draught, fan, jug rests, dry, rest, wait, insist, silence, unplug, \
    freeze, zero key, out of order, equal times, clock)";

/// The acts of a line: one, or for `swap` three.
pub(super) fn read(words: &mut Words<'_>) -> Result<Vec<Act>, Odd> {
    let Some(first) = words.peek() else { return words.odd(WORDS) };
    let acts = match first {
        "land" | "lift" | "put" | "swap" | "nudge" | "set" | "take" => ware(words)?,
        "pour" | "squeeze" | "ladle" | "splash" | "wipe" | "jug" | "dry" => vec![slop(words)?],
        "press" | "bear" | "steady" | "bump" | "knock" | "shake" | "draught" | "fan" => vec![touch(words)?],
        "wheel" => vec![wheel(words)?],
        "rest" | "wait" | "insist" | "silence" | "unplug" | "freeze" | "zero" | "out" | "equal" | "clock" => {
            vec![time(words)?]
        }
        _ => return words.odd(WORDS),
    };
    words.end()?;
    Ok(acts)
}

fn left(words: &mut Words<'_>) -> Result<Left, Odd> {
    let g = words.number("grams")?;
    if !words.takes("of") {
        return Ok(Left { slop_g: g, water_g: 0.0 });
    }
    words.wants("water")?;
    Ok(Left { slop_g: 0.0, water_g: g })
}

fn ware(words: &mut Words<'_>) -> Result<Vec<Act>, Odd> {
    let act = match words.word("a step")? {
        "land" => land(words)?,
        "lift" => Act::Lift { left: if words.takes("leaving") { left(words)? } else { Left::default() } },
        "put" => {
            words.wants("back")?;
            Act::PutBack { less_g: if words.takes("less") { words.number("grams")? } else { 0.0 } }
        }
        "swap" => {
            let land = land(words)?;
            return Ok(vec![Act::Lift { left: Left::default() }, Act::Rest { for_s: 0.2 }, land]);
        }
        "nudge" => Act::Nudge { cm: words.number("centimetres")? },
        "set" => {
            Act::Set { name: words.word("what is set on the pan")?.to_owned(), g: words.number("grams")? }
        }
        _ => Act::Take { name: words.word("what is taken off")?.to_owned() },
    };
    Ok(vec![act])
}

fn land(words: &mut Words<'_>) -> Result<Act, Odd> {
    let bare_g = words.above_nought("grams of the bare piece")?;
    let how = match words.peek() {
        Some("softly") => Landing::Softly,
        Some("hard") => Landing::Hard,
        Some("wobbling") => Landing::Wobbling,
        _ => Landing::Usual,
    };
    if how != Landing::Usual {
        words.word("how")?;
    }
    let sign = if words.takes("borne") {
        -1.0
    } else if words.takes("pressed") {
        1.0
    } else {
        return Ok(Act::Land { bare_g, how, hand_g: 0.0, hand_s: 0.0 });
    };
    Ok(Act::Land { bare_g, how, hand_g: sign * words.number("grams")?, hand_s: words.for_s()? })
}

fn slop(words: &mut Words<'_>) -> Result<Act, Odd> {
    Ok(match words.word("a step")? {
        "pour" => pour(words, Vessel::Jug)?,
        "squeeze" => pour(words, Vessel::Bottle)?,
        "ladle" => {
            let goal = Goal::Grams(words.number("grams")?);
            Act::Pour(Pouring { goal, flow_g_s: 0.0, vessel: Vessel::Ladle })
        }
        "splash" => Act::Splash { g: words.number("grams")? },
        "wipe" => Act::Wipe { leaving_g: if words.takes("leaving") { words.number("grams")? } else { 0.0 } },
        "jug" => {
            words.wants("rests")?;
            let g = words.number("grams")?;
            Act::JugRests { g, for_s: if words.peek().is_some() { Some(words.for_s()?) } else { None } }
        }
        _ => Act::Dry { g: words.number("grams")?, for_s: words.for_s()? },
    })
}

fn pour(words: &mut Words<'_>, vessel: Vessel) -> Result<Act, Odd> {
    let goal = if words.takes("until") {
        match words.peek() {
            Some("stop") => Goal::Stop,
            Some("fault") => Goal::Fault,
            _ => return words.odd("'stop' or 'fault'"),
        }
    } else {
        Goal::Grams(words.number("grams, or 'until stop'")?)
    };
    if !matches!(goal, Goal::Grams(_)) {
        words.word("a cue")?;
    }
    words.wants("at")?;
    Ok(Act::Pour(Pouring { goal, flow_g_s: words.above_nought("grams per second")?, vessel }))
}

fn touch(words: &mut Words<'_>) -> Result<Act, Odd> {
    let word = words.word("a step")?;
    let g = words.number("grams")?;
    let touch = match word {
        "press" | "bear" => Touch::Press,
        "steady" => Touch::Steady,
        "bump" => Touch::Bump,
        "knock" => Touch::Knock,
        "shake" => Touch::Shake,
        "draught" => Touch::Draught,
        _ => Touch::Fan,
    };
    let for_s = if matches!(touch, Touch::Bump | Touch::Knock) { 0.0 } else { words.for_s()? };
    Ok(Act::Touch { touch, g: if word == "bear" { -g } else { g }, for_s })
}

fn wheel(words: &mut Words<'_>) -> Result<Act, Odd> {
    words.wants("wheel")?;
    let g = words.number("grams")?;
    let turns = if words.takes("turning") { words.above_nought("turns a second")? } else { WHEEL };
    if turns <= MOST_TURNS {
        return Ok(Act::Wheel { g, turns, for_s: words.for_s()? });
    }
    Err(Odd { expected: format!("at most {MOST_TURNS} turns a second"), found: format!("'{turns}'") })
}

fn time(words: &mut Words<'_>) -> Result<Act, Odd> {
    Ok(match words.word("a step")? {
        "rest" => Act::Rest { for_s: words.number("seconds")? },
        "wait" => {
            const CUES: [(&str, &[&str]); 5] = [
                ("ready", &["ready"]),
                ("stop", &["stop"]),
                ("fault", &["fault"]),
                ("clear", &["clear"]),
                ("verdict", &["good", "short", "over"]),
            ];
            let Some((_, cues)) = CUES.iter().find(|(word, _)| words.takes(word)) else {
                return words.odd("'ready', 'stop', 'fault', 'clear' or 'verdict' and then seconds");
            };
            Act::Wait { cues, most_s: words.number("seconds to wait at most")? }
        }
        "insist" => {
            const CUES: [(&str, &[&str]); 2] = [("ready", &["short", "over"]), ("short", &["ready"])];
            let Some((on, not)) = CUES.iter().find(|(word, _)| words.takes(word)) else {
                return words.odd("'ready' or 'short' and then seconds");
            };
            Act::Insist { on, not, most_s: words.number("seconds to wait at most")? }
        }
        "silence" => Act::Silence { for_s: words.number("seconds")? },
        "unplug" => Act::Unplug { for_s: words.number("seconds")? },
        "freeze" => Act::Freeze { for_s: words.number("seconds")? },
        "zero" => {
            words.wants("key")?;
            Act::ZeroKey
        }
        "out" => {
            words.wants("of")?;
            words.wants("order")?;
            Act::OutOfOrder { for_s: words.number("seconds")? }
        }
        "equal" => {
            words.wants("times")?;
            Act::EqualTimes { for_s: words.number("seconds")? }
        }
        _ => {
            let back = words.takes("back");
            if !back && !words.takes("on") {
                return words.odd("'on' or 'back'");
            }
            let by_s = words.number("seconds")?;
            Act::Clock { by_s: if back { -by_s } else { by_s } }
        }
    })
}
