//! A simulated hand, jug, piece and scale, for the demo and for tests.
//!
//! Deterministic from a seed, moved by the time it is given; never reads a clock, never waits, and
//! knows nothing of how cues are decided. Every value in it is invented.

mod chance;
mod display;
mod force;
mod jet;
mod person;
mod placer;
mod readout;
pub mod scene;
pub mod session;
pub mod stage;
mod stream;
mod ware;
mod wire;

pub use force::Touch;
pub use jet::{Goal, Pouring, Vessel};
pub use person::Person;
pub use placer::Placer;
pub use readout::{ScaleModel, Shown};
pub use stream::Table;
pub use ware::{Landing, Truth};
pub use wire::{Sent, What};

use crate::time::{Duration, Instant};
use chance::Chance;
use readout::{Readout, STEP_S};
use std::collections::VecDeque;
use stream::Stream;

/// Internal step.
const STEP: Duration = Duration::from_millis(1);
/// Putting a piece down loads the pan over this many seconds (a guess).
const LANDING_S: f64 = 0.2;
/// Lifting it unloads the pan over this many seconds (a guess).
const LIFTING_S: f64 = 0.15;
/// How far the pan is pressed past the piece's weight, as a share of it, and for how long (guesses).
const PRESS: f64 = 0.04;
const PRESS_S: f64 = 0.05;
/// Time from a warning to a stop within which the warning counts, seconds (common practice in
/// reaction studies, no source).
const WARNED_S: (f64, f64) = (0.3, 1.0);

const FOR_HAND: u64 = 1;
const FOR_STREAM: u64 = 2;
const FOR_SCALE: u64 = 3;
const FOR_PIECE: u64 = 4;

/// Who hears as a piece is set down that it was taken for another lifts it after so long, sets it down again after so long, s, and
/// does so so often at most (guesses).
const HEARS_S: f64 = 0.5;
const AWAY_S: f64 = 1.0;
const TRIES: u32 = 3;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Act {
    Place,
    PlaceAgain,
    Pour,
    Trickle {
        mean_g_s: f64,
    },
    Ease,
    TiltBack,
    Lift,
    /// The pan bears so much from then on, whatever lay there.
    Bear {
        load_g: f64,
    },
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Pan {
    Bare,
    Loaded {
        since: Instant,
    },
    Lifted {
        since: Instant,
        load_g: f64,
    },
    /// Masses were set down or taken off.
    Bears {
        since: Instant,
        from_g: f64,
        to_g: f64,
    },
}

/// Hand, jug, piece and scale.
#[derive(Clone, Debug)]
pub struct Plant {
    seed: u64,
    person: Person,
    table: Table,
    readout: Readout,
    now: Instant,
    acts: Vec<(Instant, Act)>,
    pan: Pan,
    piece: u32,
    piece_g: f64,
    walked_s: f64,
    hand: Chance,
    warned_at: Option<Instant>,
    /// Warnings of this pour.
    pips: Vec<Instant>,
    /// The hand is to tilt on the beat, whatever sounds then.
    on_the_beat: bool,
    stop_heard: bool,
    reaction_s: Option<f64>,
    stream: Stream,
    underway: VecDeque<Shown>,
}

impl Plant {
    /// A plant at rest at [`Instant::START`], pan bare.
    pub fn new(seed: u64, person: Person, scale: ScaleModel, table: Table) -> Self {
        let stream = Stream::new(&table, &person, Chance::of(seed, FOR_STREAM, 0));
        Self {
            readout: Readout::new(scale, Chance::of(seed, FOR_SCALE, 0)),
            seed,
            person,
            table,
            now: Instant::START,
            acts: Vec::new(),
            pan: Pan::Bare,
            piece: 0,
            piece_g: 0.0,
            walked_s: 0.0,
            hand: Chance::of(seed, FOR_HAND, 0),
            warned_at: None,
            pips: Vec::new(),
            on_the_beat: false,
            stop_heard: false,
            reaction_s: None,
            stream,
            underway: VecDeque::new(),
        }
    }

    /// Puts the next bare piece on the pan at `at`.
    pub fn place(&mut self, at: Instant) {
        self.plan(at, Act::Place);
    }

    /// The piece that was lifted is set down again at `at`, as it is.
    pub fn place_again(&mut self, at: Instant) {
        self.plan(at, Act::PlaceAgain);
    }

    /// Starts to pour at `at`; on a piece that has been poured into, pours more.
    pub fn start_pour(&mut self, at: Instant) {
        self.plan(at, Act::Pour);
    }

    /// As [`Plant::start_pour`], at a trickle of so many grams per second on the average.
    pub fn start_trickle(&mut self, at: Instant, mean_g_s: f64) {
        self.plan(at, Act::Trickle { mean_g_s });
    }

    /// The stop sounds at `due`; the hand begins to tilt back one reaction time later. Only the
    /// first stop of a pour counts, and none counts before the pour has begun. True when it counted.
    pub fn hear_stop(&mut self, due: Instant) -> bool {
        if self.stop_heard || !self.stream.pouring() {
            return false;
        }
        self.stop_heard = true;
        if self.on_the_beat {
            return true;
        }
        let due = due.max(self.now);
        let warned = self.warned_at.is_some_and(|at| {
            let before = due.seconds_from(at);
            before >= WARNED_S.0 && before <= WARNED_S.1
        });
        let reaction_s = self.person.reaction(&mut self.hand, self.walked_s, warned);
        self.reaction_s = Some(reaction_s);
        self.plan(due.offset_seconds(reaction_s), Act::TiltBack);
        true
    }

    /// A warning sounds at `due`. A person with `false_start_p` may stop on it.
    pub fn hear_warning(&mut self, due: Instant) {
        self.warned_at = Some(due);
        self.pips.push(due);
        if !self.on_the_beat
            && let Some(at) = self.person.on_the_beat(&mut self.hand, &self.pips)
        {
            self.on_the_beat = true;
            self.plan(at, Act::TiltBack);
        }
        if self.person.false_start_p > 0.0 && self.hand.happens(self.person.false_start_p) {
            self.hear_stop(due);
        }
    }

    /// "Nearly there" sounds at `due`. A person who eases slows down from a reaction time later.
    pub fn hear_approach(&mut self, due: Instant) {
        if self.person.eases {
            self.plan(due.offset_seconds(self.person.mean_reaction_s()), Act::Ease);
        }
    }

    /// From `at` on the pan bears so much, grams: masses of a calibration, set down without a press.
    pub fn bear(&mut self, at: Instant, load_g: f64) {
        self.plan(at, Act::Bear { load_g });
    }

    /// Lifts the piece off the pan at `at`.
    pub fn lift(&mut self, at: Instant) {
        self.plan(at, Act::Lift);
    }

    /// Moves on to `to`; all readings that have arrived by then and were not yet given.
    pub fn advance(&mut self, to: Instant) -> Vec<Shown> {
        while self.now + STEP <= to {
            self.now = self.now + STEP;
            self.act();
            self.stream.step();
            let force = self.force_g();
            self.underway.extend(self.readout.step(self.now, force));
        }
        let arrived = self.underway.iter().take_while(|shown| shown.arrives_at <= to).count();
        self.underway.drain(..arrived).collect()
    }

    /// The instant it has been moved to, to the millisecond below.
    pub fn now(&self) -> Instant {
        self.now
    }

    /// The seed it was made from.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// Slop that has landed in this piece, grams; stays after the lift until the next piece.
    pub fn true_net_g(&self) -> f64 {
        self.stream.landed_g
    }

    /// Slop that has left the jug for this piece, grams.
    pub fn left_jug_g(&self) -> f64 {
        self.stream.left_g
    }

    /// What the slop weighs on the pan, landed mass and push together, as grams, before the scale.
    pub fn apparent_net_g(&self) -> f64 {
        self.stream.landed_g + self.stream.push_g
    }

    /// Flow leaving the jug, grams per second.
    pub fn flow_g_s(&self) -> f64 {
        self.stream.flow()
    }

    /// Flow when the last tilt-back began, grams per second; `None` before the first.
    pub fn tilt_flow_g_s(&self) -> Option<f64> {
        self.stream.tilt_flow
    }

    /// Downward speed at the lip for this piece, metres per second.
    pub fn lip_speed_m_s(&self) -> f64 {
        self.stream.lip_speed()
    }

    /// Nothing leaves the jug and nothing is in the air; also true before a pour.
    pub fn stream_ended(&self) -> bool {
        self.stream.ended()
    }

    /// Slop leaves the jug at the hand's will (not tilting back, not dripping).
    pub fn pouring(&self) -> bool {
        self.stream.pouring()
    }

    /// Pieces placed so far.
    pub fn piece(&self) -> u32 {
        self.piece
    }

    /// Mass of the bare piece placed last, grams.
    pub fn piece_g(&self) -> f64 {
        self.piece_g
    }

    /// Seconds from sound to tilt at the last stop of this piece.
    pub fn reaction_s(&self) -> Option<f64> {
        self.reaction_s
    }

    fn plan(&mut self, at: Instant, act: Act) {
        self.acts.push((at, act));
        // A stable sort: what was planned first for an instant happens first.
        self.acts.sort_by_key(|(at, _)| *at);
    }

    fn act(&mut self) {
        while self.acts.first().is_some_and(|(at, _)| *at <= self.now) {
            match self.acts.remove(0).1 {
                Act::Place => self.set_down(),
                Act::PlaceAgain => self.pan = Pan::Loaded { since: self.now },
                Act::Pour => {
                    self.stop_heard = false;
                    self.stream.start();
                }
                Act::Trickle { mean_g_s } => {
                    (self.stop_heard, self.warned_at, self.on_the_beat) = (false, None, false);
                    self.pips.clear();
                    self.stream.trickle(mean_g_s);
                }
                Act::Bear { load_g } => {
                    self.pan = Pan::Bears { since: self.now, from_g: self.force_g(), to_g: load_g };
                }
                Act::Ease => self.stream.ease(),
                Act::TiltBack => self.stream.tilt_back(),
                Act::Lift => {
                    let load_g = self.piece_g + self.stream.landed_g;
                    self.pan = Pan::Lifted { since: self.now, load_g };
                    self.stream.tilt_back();
                }
            }
        }
    }

    fn set_down(&mut self) {
        self.piece += 1;
        let turn = u64::from(self.piece);
        self.hand = Chance::of(self.seed, FOR_HAND, turn);
        self.stream = Stream::new(&self.table, &self.person, Chance::of(self.seed, FOR_STREAM, turn));
        let mut chance = Chance::of(self.seed, FOR_PIECE, turn);
        self.piece_g = (self.table.piece_g * (1.0 + self.table.piece_cv * chance.normal())).max(0.0);
        self.walked_s += self.person.drift_s * chance.normal();
        self.acts.retain(|(_, act)| !matches!(act, Act::TiltBack | Act::Ease));
        self.warned_at = None;
        self.pips.clear();
        self.on_the_beat = false;
        self.stop_heard = false;
        self.reaction_s = None;
        self.pan = Pan::Loaded { since: self.now };
    }

    fn force_g(&self) -> f64 {
        match self.pan {
            Pan::Bare => 0.0,
            Pan::Loaded { since } => {
                let for_s = self.now.seconds_from(since) + STEP_S;
                self.piece_g * landing(for_s) + self.stream.landed_g + self.stream.push_g
            }
            Pan::Bears { since, from_g, to_g } => {
                let over = (self.now.seconds_from(since) / LANDING_S).clamp(0.0, 1.0);
                from_g + (to_g - from_g) * over
            }
            Pan::Lifted { since, load_g } => {
                let for_s = self.now.seconds_from(since);
                load_g * (1.0 - for_s / LIFTING_S).max(0.0)
            }
        }
    }
}

/// Share of the piece's weight felt `for_s` seconds after it touches the pan.
fn landing(for_s: f64) -> f64 {
    if for_s < LANDING_S {
        return for_s / LANDING_S;
    }
    let after = (for_s - LANDING_S) / PRESS_S;
    1.0 + PRESS * after * (1.0 - after).exp()
}

#[cfg(test)]
mod tests;
