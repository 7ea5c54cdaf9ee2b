//! The hand that pours in a scene: how much, how fast, in one go or in strokes, and how it answers a cue.
//!
//! Knows no scale; the stream's physics are the same as in the demo.

use super::chance::Chance;
use super::person::Person;
use super::stream::{Stream, Table};
use super::{FOR_HAND, FOR_STREAM, WARNED_S};
use crate::time::Instant;

/// Without any stop the hand gives up at so many times the target (as in the demo).
const GIVES_UP_AT: f64 = 3.0;
/// Squeezing a bottle: a stroke and the time from one to the next, seconds (guesses).
const STROKE_S: (f64, f64) = (0.4, 0.8);
/// What follows when a bottle is let go is short: tilt in seconds, drip in grams (guesses).
const LET_GO: (f64, f64) = (0.06, 0.05);
/// A ladle is emptied in this time, seconds (a guess).
const LADLE_S: f64 = 0.4;

/// How long slop is poured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Goal {
    /// Until about so many grams have left the jug, whatever is said.
    Grams(f64),
    /// Until a stop or a fault is heard; at three times the target the hand gives up.
    Stop,
    /// Until a fault is heard; stops are not heeded.
    Fault,
}

/// What it is poured from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Vessel {
    /// A jug.
    Jug,
    /// A bottle squeezed in strokes.
    Bottle,
    /// A ladle emptied in one go.
    Ladle,
}

/// A pour as a scene says it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pouring {
    /// How long.
    pub goal: Goal,
    /// Grams per second while it runs; a ladle has its own.
    pub flow_g_s: f64,
    /// Out of what.
    pub vessel: Vessel,
}

/// The stream under way, if any.
#[derive(Clone, Debug)]
pub(super) struct Jet {
    person: Person,
    seed: u64,
    turn: u64,
    chance: Chance,
    run: Option<Run>,
    warned_at: Option<Instant>,
}

#[derive(Clone, Debug)]
struct Run {
    stream: Stream,
    pouring: Pouring,
    given_g: f64,
    tail_g: f64,
    gives_up_g: f64,
    tilt_at: Option<Instant>,
    stroke: Option<(Instant, Instant)>,
    tilted: bool,
}

impl Jet {
    pub(super) fn new(seed: u64, person: Person) -> Self {
        Self { chance: Chance::of(seed, FOR_HAND, 0), person, seed, turn: 0, run: None, warned_at: None }
    }

    /// Begins to pour.
    pub(super) fn begin(&mut self, pouring: Pouring, target_g: f64, now: Instant) {
        self.turn += 1;
        self.warned_at = None;
        let mut person = Person { tilt_cv: 0.0, drip_cv: 0.0, ..self.person.clone() };
        let mut flow_g_s = pouring.flow_g_s;
        let mut ramp_s = Table::default().ramp_s.min(1.0 / flow_g_s.max(1.0) + 0.1);
        if pouring.vessel != Vessel::Jug {
            (person.tilt_s, person.drip_g) = LET_GO;
            ramp_s = 0.05;
        }
        if let (Vessel::Ladle, Goal::Grams(g)) = (pouring.vessel, pouring.goal) {
            flow_g_s = g / LADLE_S;
        }
        let table = Table { flow_g_s, flow_cv: 0.0, ramp_s, ..Table::default() };
        let mut stream = Stream::new(&table, &person, Chance::of(self.seed, FOR_STREAM, self.turn));
        stream.start();
        let stroke = (pouring.vessel == Vessel::Bottle)
            .then(|| (now.offset_seconds(STROKE_S.0), now.offset_seconds(STROKE_S.1)));
        self.run = Some(Run {
            stream,
            pouring,
            given_g: 0.0,
            tail_g: 0.4 * person.tilt_s * flow_g_s + person.drip_g,
            gives_up_g: GIVES_UP_AT * target_g,
            tilt_at: None,
            stroke,
            tilted: false,
        });
    }

    /// Hears a cue that sounds at `due`.
    pub(super) fn hear(&mut self, word: &str, due: Instant, now: Instant) {
        if word == "count" {
            self.warned_at = Some(due);
        }
        let Some(run) = self.run.as_mut().filter(|run| !run.tilted && run.tilt_at.is_none()) else { return };
        match (word, run.pouring.goal) {
            ("approach", _) if self.person.eases => run.stream.ease(),
            ("stop", Goal::Stop) | ("fault", Goal::Stop | Goal::Fault) => {
                let due = due.max(now);
                let warned = self.warned_at.is_some_and(|at| {
                    let before_s = due.seconds_from(at);
                    before_s >= WARNED_S.0 && before_s <= WARNED_S.1
                });
                run.tilt_at = Some(due.offset_seconds(self.person.reaction(&mut self.chance, 0.0, warned)));
            }
            (_, Goal::Grams(_) | Goal::Stop | Goal::Fault) => {}
        }
    }

    /// The hand tilts back at once: the piece has gone.
    pub(super) fn tilt(&mut self) {
        if let Some(run) = &mut self.run {
            run.tilted = true;
            run.stream.tilt_back();
        }
    }

    /// One step: grams that land, and what they push.
    pub(super) fn step(&mut self, now: Instant) -> (f64, f64) {
        let Some(run) = &mut self.run else { return (0.0, 0.0) };
        run.turn(now);
        run.stream.step();
        let landed_g = run.stream.landed_g - run.given_g;
        run.given_g = run.stream.landed_g;
        let push_g = run.stream.push_g;
        if run.tilted && run.stream.ended() {
            self.run = None;
        }
        (landed_g, push_g)
    }

    /// Something still runs or falls.
    pub(super) fn runs(&self) -> bool {
        self.run.is_some()
    }

    /// Slop is poured at the hand's will: it has not begun to tilt back for good.
    pub(super) fn pours(&self) -> bool {
        self.run.as_ref().is_some_and(|run| !run.tilted)
    }
}

impl Run {
    fn turn(&mut self, now: Instant) {
        if self.tilted {
            return;
        }
        let enough = match self.pouring.goal {
            Goal::Grams(g) => self.stream.left_g + self.tail_g >= g,
            Goal::Stop | Goal::Fault => self.stream.landed_g >= self.gives_up_g,
        };
        if enough || self.tilt_at.is_some_and(|at| at <= now) {
            self.tilted = true;
            return self.stream.tilt_back();
        }
        let Some((until, next)) = self.stroke else { return };
        if now >= next {
            self.stream.start();
            self.stroke = Some((now.offset_seconds(STROKE_S.0), now.offset_seconds(STROKE_S.1)));
        } else if now >= until {
            self.stream.tilt_back();
        }
    }
}
