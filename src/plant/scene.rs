//! A scene: what a hand does at the table and what goes wrong there, in plain words, one file each.
//!
//! Masses are in grams, times in seconds, flows in grams per second, lengths in centimetres. A line that
//! begins with `#` says what the scene shows. First come the lines of its head:
//!
//! ```text
//! scales usual late        the scales it is played on (quick, usual, late, coarse, lossy)
//! target 29 +- 1.5         wanted grams, and how far off is still good
//! seed 7                   of all chance in it
//! hand novice              who pours: good, typical (where nothing is said), novice
//! new hand                 the stopping time is not learned yet (else it is)
//! vessel squeeze           what the engine is told it is poured from: jug (else), ladle, squeeze, syringe
//! finish trickle           the first stop comes short, and what is missing is let trickle (else one stop)
//! spare 75                 the engine knows a spare weight of so many grams: `set pebble 75`
//! known jug 250 [of 800]   the engine knows a jug of so many grams empty, and how much slop there is: `set jug 900`
//! bare 290 330             a bare piece weighs from so much to so much
//! lag told                 the engine knows the scale's lag (else 0.3 s is assumed)
//! tracks zero 1            near zero the display swallows drift of so many steps a second
//! holds 0.3                the display stands within so many grams, then jumps
//! creeps 0.05              percent of the load that show only over a minute
//! counts in 2.5            the display's step, in place of the scale's own
//! step grows               twice as coarse from 500 g, five times from 1000 g
//! delays 0.2               the display is late by so many seconds more
//! off centre 0.1           percent of error for each centimetre off the centre
//! ```
//!
//! Then its steps, one on a line. **The rule of time: a step begins when the one above it has ended. A line
//! that starts with `at +S` runs beside: it begins S seconds after the nearest step above it that has no `at`
//! began (from the beginning of the play where there is none), and holds up nothing.**
//!
//! ```text
//! land 312 [softly | hard | wobbling] [borne 25 for 1.5 | pressed 25 for 1.5]
//! lift [leaving 1.5 [of water]]   slop that had run down outside, or water of its foot, stays on the pan
//! put back [less 1.5]      the piece lifted last, with less slop in it
//! swap 320                 lift, 0.2 s, land another
//! nudge 2                  the piece, off the centre
//! set jug 900 / take jug   anything else on the pan
//! pour 29 at 8             from a jug; `until stop`, `until fault` for grams: the hand hears it and reacts
//! squeeze 29 at 8          the same from a bottle, in strokes
//! ladle 29                 in one lump
//! splash 1.5               beside the piece
//! wipe [leaving 0.5]       a sponge on the pan
//! jug rests 20 [for 2]     on the rim; gone when the hand tilts back
//! dry 0.3 for 60           water that goes from the slop
//! press 40 for 0.6 / bear 40 for 0.6 / steady 3 for 5 / draught 0.4 for 60 / fan 0.3 for 60
//! wheel 4 [turning 0.5] for 20   a wheel on the pan, so many turns a second (else 1): even
//! shake 3 for 8            a table that shakes, a hand that rocks the piece: uneven
//! bump 60 / knock 20       a blow on the pan, on the table
//! rest 0.8
//! wait ready 3             for the cue, at most so long (ready, stop, fault, clear, verdict)
//! insist ready 3           ... (ready, short); where the other one sounds the piece is set down again, three times at most
//! silence 1.2 / unplug 3 / freeze 2 / zero key / out of order 2 / equal times 2 / clock back 2 / clock on 2
//! ```

mod acts;
mod words;

pub(super) use acts::{Act, NUDGE};
pub use words::BadScene;

use super::{Person, ScaleModel};
use words::{Odd, Words};

/// What slop is poured from.
const VESSELS: [&str; 4] = ["jug", "ladle", "squeeze", "syringe"];

/// One line of the play.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// As it stands in the file.
    pub text: String,
    /// Runs beside the step above, from so many seconds after that began.
    pub beside_s: Option<f64>,
    /// What happens.
    pub(super) act: Act,
}

/// A scene that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// The file's name without its ending.
    pub name: String,
    /// The scales it is played on, by name.
    pub scales: Vec<String>,
    /// Wanted grams.
    pub target_g: f64,
    /// How far off is still good, grams.
    pub tolerance_g: f64,
    /// Seed of all chance in it.
    pub seed: u64,
    /// Who pours.
    pub person: Person,
    /// The stopping time is not learned yet.
    pub new_hand: bool,
    /// What the engine is told it is poured from.
    pub vessel: String,
    /// A pour is finished with a trickle.
    pub trickle: bool,
    /// A spare weight that the engine knows, grams.
    pub spare_g: Option<f64>,
    /// A jug that the engine knows: empty, and slop in all, grams.
    pub jug_g: Option<(f64, Option<f64>)>,
    /// Least and greatest weight of a bare piece, grams.
    pub bare_g: Option<[f64; 2]>,
    /// The engine is told the scale's lag.
    pub lag_told: bool,
    /// The steps.
    pub steps: Vec<Step>,
    twists: ScaleModel,
    step_g: Option<f64>,
}

impl Scene {
    /// Reads a scene; `file` is for messages, its stem is the scene's name.
    pub fn parse(text: &str, file: &str) -> Result<Self, BadScene> {
        let stem = file.rsplit(['/', '\\']).next().unwrap_or(file);
        let mut draft = Draft::new(stem.strip_suffix(".scene").unwrap_or(stem));
        let mut last = 1;
        // Some editors put a mark before the first word of a file.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        for (line, text) in (1..).zip(text.lines()) {
            let plain = text.split('#').next().unwrap_or_default().trim();
            if plain.is_empty() {
                continue;
            }
            last = line;
            draft.line(plain).map_err(|odd| bad(file, line, odd))?;
        }
        draft.done().map_err(|odd| bad(file, last, odd))
    }

    /// The scale of this name, with what the head says of it; `None` for an unknown one.
    pub fn scale(&self, name: &str) -> Option<ScaleModel> {
        let scale = ScaleModel::named(name)?;
        let t = &self.twists;
        Some(ScaleModel {
            delay_s: t.delay_s,
            creep: t.creep,
            zero_tracking: t.zero_tracking,
            hold_g: t.hold_g,
            step_grows: t.step_grows,
            off_centre: t.off_centre,
            step_g: self.step_g.unwrap_or(scale.step_g),
            ..scale
        })
    }
}

/// A scene is played for so long at most, s.
pub const LONGEST_S: f64 = 3600.0;
/// First words of the lines of the head.
const HEAD: [&str; 18] = [
    "scales", "target", "seed", "hand", "new", "vessel", "finish", "spare", "known", "bare", "lag", "tracks",
    "holds", "creeps", "step", "delays", "off", "counts",
];

fn twice(word: &str) -> Odd {
    Odd { expected: format!("one line '{word}'"), found: "another: leave one of them out".to_owned() }
}

fn bad(file: &str, line: usize, odd: Odd) -> BadScene {
    BadScene { file: file.to_owned(), line, expected: odd.expected, found: odd.found }
}

/// A scene as far as it was read.
struct Draft {
    scene: Scene,
    seeded: bool,
    /// First words of the head so far.
    told: Vec<String>,
    /// Pieces on the pan, and those that were lifted; other things on it.
    standing: u32,
    lifted: u32,
    things: Vec<String>,
}

impl Draft {
    fn new(name: &str) -> Self {
        let scene = Scene {
            name: name.to_owned(),
            scales: Vec::new(),
            target_g: 0.0,
            tolerance_g: 0.0,
            seed: 0,
            person: Person::typical(),
            new_hand: false,
            vessel: VESSELS[0].to_owned(),
            trickle: false,
            spare_g: None,
            jug_g: None,
            bare_g: None,
            lag_told: false,
            steps: Vec::new(),
            twists: ScaleModel::middling(),
            step_g: None,
        };
        Self { scene, seeded: false, told: Vec::new(), standing: 0, lifted: 0, things: Vec::new() }
    }

    fn line(&mut self, text: &str) -> Result<(), Odd> {
        let mut words = Words::of(text);
        let first = words.peek().unwrap_or_default();
        if self.scene.steps.is_empty() && self.head(&mut words)? {
            words.end()?;
            let again = self.told.iter().any(|told| told == first);
            self.told.push(first.to_owned());
            return if again { Err(twice(first)) } else { Ok(()) };
        }
        let beside_s = Self::beside(&mut words)?;
        let acts = acts::read(&mut words).map_err(|odd| self.misplaced(odd, first))?;
        for act in &acts {
            self.follow(act)?;
        }
        let many = acts.len() > 1;
        if many && beside_s.is_some() {
            return Words::of("swap").odd("a step that can run beside");
        }
        for act in acts {
            let step = Step { text: text.to_owned(), beside_s, act };
            self.scene.steps.push(step);
        }
        Ok(())
    }

    /// `at +S`.
    fn beside(words: &mut Words<'_>) -> Result<Option<f64>, Odd> {
        if !words.takes("at") {
            return Ok(None);
        }
        let after_s = words.number("+ and seconds")?;
        if after_s <= LONGEST_S {
            return Ok(Some(after_s));
        }
        let expected =
            format!("at most {LONGEST_S} seconds after 'at': a scene is played for an hour at the longest");
        Err(Odd { expected, found: format!("'{after_s}'") })
    }

    /// A line of the head below a step.
    fn misplaced(&self, odd: Odd, first: &str) -> Odd {
        if !HEAD.contains(&first) || self.scene.steps.is_empty() {
            return odd;
        }
        Odd { found: format!("'{first}', a line of the head: move it above the first step"), ..odd }
    }

    /// Nothing is lifted, put back or taken off that is not there, as the steps stand one below the other.
    fn follow(&mut self, act: &Act) -> Result<(), Odd> {
        let needs = |there: bool, expected: &str, found: &str| {
            if there { Ok(()) } else { Err(Odd { expected: expected.to_owned(), found: found.to_owned() }) }
        };
        let (standing, lifted) = (self.standing, self.lifted);
        match act {
            Act::Land { .. } => self.standing += 1,
            Act::Lift { .. } => {
                let above = "a 'land' or 'put back' above it whose piece still stands there";
                needs(standing > 0, above, "'lift' of no piece")?;
                (self.standing, self.lifted) = (standing - 1, lifted + 1);
            }
            Act::PutBack { .. } => {
                let above = "a 'lift' above it whose piece is not back yet";
                needs(lifted > 0, above, "'put back' of no piece")?;
                (self.standing, self.lifted) = (standing + 1, lifted - 1);
            }
            Act::Set { name, .. } => self.things.push(name.clone()),
            Act::Take { name } => {
                let found = format!("'take' of {}", words::shown(name));
                let set = self.things.iter().position(|thing| thing == name);
                needs(set.is_some(), "a 'set' of it above that still lies there", &found)?;
                self.things.retain(|thing| thing != name);
            }
            Act::Nudge { .. } | Act::Pour(_) | Act::Splash { .. } | Act::Wipe { .. } => {}
            Act::Touch { .. } | Act::Wheel { .. } | Act::JugRests { .. } | Act::Dry { .. } => {}
            Act::Rest { .. } | Act::Wait { .. } | Act::Insist { .. } | Act::Clock { .. } => {}
            Act::Silence { .. } | Act::Unplug { .. } | Act::Freeze { .. } | Act::ZeroKey => {}
            Act::OutOfOrder { .. } | Act::EqualTimes { .. } => {}
        }
        Ok(())
    }

    /// True where the line was one of the head.
    fn head(&mut self, words: &mut Words<'_>) -> Result<bool, Odd> {
        let s = &mut self.scene;
        if words.takes("scales") {
            while words.peek().is_some() {
                match words.peek().filter(|name| ScaleModel::named(name).is_some()) {
                    Some(name) => s.scales.push(name.to_owned()),
                    None => return words.odd("quick, usual, late, coarse or lossy"),
                }
                words.word("a scale")?;
            }
        } else if words.takes("target") {
            (s.target_g, s.tolerance_g) = wanted(words)?;
        } else if words.takes("seed") {
            s.seed = words.whole("a whole number")?;
            self.seeded = true;
        } else if words.takes("hand") {
            s.person = match words.peek() {
                Some("good") => Person::good(),
                Some("typical") => Person::typical(),
                Some("novice") => Person::novice(),
                _ => return words.odd("good, typical or novice"),
            };
            words.word("who")?;
        } else if words.takes("new") {
            words.wants("hand")?;
            s.new_hand = true;
        } else if words.takes("vessel") {
            match words.peek().filter(|vessel| VESSELS.contains(vessel)) {
                Some(vessel) => s.vessel = vessel.to_owned(),
                None => return words.odd("jug, ladle, squeeze or syringe"),
            }
            words.word("a vessel")?;
        } else if words.takes("finish") {
            words.wants("trickle")?;
            s.trickle = true;
        } else if words.takes("counts") {
            words.wants("in")?;
            s.step_g = Some(words.above_nought("grams")?);
        } else if words.takes("lag") {
            words.wants("told")?;
            s.lag_told = true;
        } else {
            return Ok(told(s, words)? || twist(&mut s.twists, words)?);
        }
        Ok(true)
    }

    fn done(self) -> Result<Scene, Odd> {
        let s = &self.scene;
        let missing = if s.scales.is_empty() {
            "a line 'scales NAME ...'"
        } else if s.target_g <= 0.0 || s.tolerance_g <= 0.0 {
            "a line 'target GRAMS +- GRAMS'"
        } else if !self.seeded {
            "a line 'seed NUMBER'"
        } else if s.steps.is_empty() {
            "a step"
        } else {
            return Ok(self.scene);
        };
        Err(Odd { expected: missing.to_owned(), found: "none".to_owned() })
    }
}

/// The target and how far off is still good, g.
fn wanted(words: &mut Words<'_>) -> Result<(f64, f64), Odd> {
    let target_g = words.above_nought("grams")?;
    words.wants("+-")?;
    let tolerance_g = words.above_nought("grams")?;
    if tolerance_g < target_g {
        return Ok((target_g, tolerance_g));
    }
    let expected = format!("less than the target of {target_g} g after '+-'");
    Err(Odd { expected, found: format!("'{tolerance_g}'") })
}

/// What the head says that the engine knows by its weight; false where the line says nothing of it.
fn told(s: &mut Scene, words: &mut Words<'_>) -> Result<bool, Odd> {
    if words.takes("spare") {
        s.spare_g = Some(words.above_nought("grams")?);
    } else if words.takes("known") {
        words.wants("jug")?;
        let empty_g = words.above_nought("grams")?;
        s.jug_g =
            Some((empty_g, words.takes("of").then(|| words.above_nought("grams of slop")).transpose()?));
    } else if words.takes("bare") {
        let least_g = words.above_nought("grams")?;
        s.bare_g = Some([least_g, words.above_nought("grams")?]).filter(|[least, most]| least <= most);
        return if s.bare_g.is_some() { Ok(true) } else { words.odd("the greater weight last") };
    } else {
        return Ok(false);
    }
    Ok(true)
}

/// What the head says of the scale; false where the line says nothing of it.
fn twist(scale: &mut ScaleModel, words: &mut Words<'_>) -> Result<bool, Odd> {
    if words.takes("tracks") {
        words.wants("zero")?;
        scale.zero_tracking = words.number("steps a second")?;
    } else if words.takes("holds") {
        scale.hold_g = words.number("grams")?;
    } else if words.takes("creeps") {
        scale.creep = words.number("percent")? / 100.0;
    } else if words.takes("step") {
        words.wants("grows")?;
        scale.step_grows = true;
    } else if words.takes("delays") {
        scale.delay_s = words.number("seconds")?;
    } else if words.takes("off") {
        words.wants("centre")?;
        scale.off_centre = words.number("percent for a centimetre")? / 100.0;
    } else {
        return Ok(false);
    }
    Ok(true)
}
