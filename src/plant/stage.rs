//! A scene being played: one hand, one pan, one scale, moved by time and by cues.
//!
//! Gives what the scale sends, the steps as they begin, and the truth about each piece; never knows who
//! reads it or how a cue is decided.

use super::chance::Chance;
use super::force::{Force, Touch};
use super::jet::Jet;
use super::readout::Readout;
use super::scene::{Act, NUDGE, Scene};
use super::ware::{Left, Pan, Truth};
use super::wire::{Sent, Wire};
use super::{AWAY_S, FOR_SCALE, HEARS_S, STEP, STEP_S, ScaleModel, Shown, TRIES};
use crate::time::Instant;
use std::collections::VecDeque;

const FOR_TOUCH: u64 = 6;
/// The jug's lip comes onto the rim and leaves it over this long, seconds (a guess).
const LIP_S: f64 = 0.15;
/// After the last step the scene goes on for this long, so that a lift is seen, seconds.
const AFTER_S: f64 = 2.5;

/// A hand that sets a piece down again until it is taken for what it is.
#[derive(Clone, Copy, Debug, Default)]
struct Insisting {
    tries: u32,
    lifted: Option<Instant>,
}

/// The jug's lip on the rim.
#[derive(Clone, Copy, Debug)]
struct Lip {
    g: f64,
    since: Instant,
    until: Option<Instant>,
}

/// A scene under way.
#[derive(Clone, Debug)]
pub struct Stage {
    scene: Scene,
    now: Instant,
    pan: Pan,
    jet: Jet,
    forces: Vec<Force>,
    lip: Option<Lip>,
    drying: Vec<(f64, Instant)>,
    readout: Readout,
    wire: Wire,
    touches: Chance,
    underway: VecDeque<Shown>,
    next: usize,
    began: Instant,
    current: Option<usize>,
    beside: Vec<(Instant, usize)>,
    heard: Vec<(String, Instant)>,
    insisting: Insisting,
    said: VecDeque<(Instant, usize)>,
    shift_s: f64,
    over: Option<Instant>,
}

impl Stage {
    /// A stage on which nothing has happened yet.
    pub fn new(scene: &Scene, scale: ScaleModel) -> Self {
        let mut stage = Self {
            now: Instant::START,
            pan: Pan::default(),
            jet: Jet::new(scene.seed, scene.person.clone()),
            forces: Vec::new(),
            lip: None,
            drying: Vec::new(),
            readout: Readout::new(scale, Chance::of(scene.seed, FOR_SCALE, 0)),
            wire: Wire::default(),
            touches: Chance::of(scene.seed, FOR_TOUCH, 0),
            underway: VecDeque::new(),
            next: 0,
            began: Instant::START,
            current: None,
            beside: Vec::new(),
            heard: Vec::new(),
            insisting: Insisting::default(),
            said: VecDeque::new(),
            shift_s: 0.0,
            over: None,
            scene: scene.clone(),
        };
        stage.gather_beside();
        stage
    }

    /// A cue sounds at `due`, by the scene's own clock.
    pub fn handle_cue(&mut self, word: &str, due: Instant) {
        self.heard.push((word.to_owned(), due));
        self.jet.hear(word, due, self.now);
    }

    /// Moves on to `to`; what reached the reader meanwhile.
    pub fn advance(&mut self, to: Instant) -> Vec<Sent> {
        let mut sent = Vec::new();
        while self.now + STEP <= to {
            self.now = self.now + STEP;
            self.turn(&mut sent);
            self.step();
            sent.extend(self.wire.turn(self.now));
            while self.underway.front().is_some_and(|shown| shown.arrives_at <= self.now) {
                if let Some(shown) = self.underway.pop_front() {
                    sent.extend(self.wire.carry(shown, self.readout.model()));
                }
            }
        }
        sent
    }

    /// The steps that began since this was asked last, by their place in the scene.
    pub fn poll_begun(&mut self) -> Option<(Instant, usize)> {
        self.said.pop_front()
    }

    /// By how much the reader's clock is off the scene's, seconds.
    pub fn clock_shift_s(&self) -> f64 {
        self.shift_s
    }

    /// The last step is over and its end was seen.
    pub fn done(&self) -> bool {
        self.over.is_some_and(|over| self.now.seconds_from(over) >= AFTER_S)
    }

    /// The instant it has been moved to.
    pub fn now(&self) -> Instant {
        self.now
    }

    /// The truth about every piece so far, in the order in which they were first put down.
    pub fn truths(&self) -> Vec<Truth> {
        self.pan.truths().cloned().collect()
    }

    /// The truth once nothing more is played.
    pub fn close(&mut self) -> Vec<Truth> {
        self.pan.close();
        self.truths()
    }

    fn step(&mut self) {
        let (landed_g, push_g) = self.jet.step(self.now);
        if landed_g > 0.0 {
            self.pan.pour(landed_g, self.now);
        }
        for (g_s, _) in self.drying.iter().filter(|(_, until)| self.now < *until) {
            self.pan.dry(g_s * STEP_S);
        }
        let now = self.now;
        self.forces.retain(|force| force.felt_g(now).is_some());
        let touched_g: f64 = self.forces.iter().filter_map(|force| force.felt_g(now)).sum();
        let off_centre = self.readout.model().off_centre;
        let felt_g = self.pan.felt_g(now, off_centre) + push_g + touched_g + self.lip_g();
        self.underway.extend(self.readout.step(now, felt_g));
    }

    fn lip_g(&mut self) -> f64 {
        let pours = self.jet.pours();
        let now = self.now;
        let Some(lip) = &mut self.lip else { return 0.0 };
        if !pours && lip.until.is_none() {
            lip.until = Some(now);
        }
        let come = (now.seconds_from(lip.since) / LIP_S).clamp(0.0, 1.0);
        let gone = lip.until.map_or(0.0, |until| (now.seconds_from(until) / LIP_S).clamp(0.0, 1.0));
        lip.g * come * (1.0 - gone)
    }

    fn turn(&mut self, sent: &mut Vec<Sent>) {
        while let Some(i) = self.beside.iter().position(|(at, _)| *at <= self.now) {
            let (_, step) = self.beside.remove(i);
            self.begin(step, sent);
        }
        self.insist();
        while self.over.is_none() && self.ended() {
            let Some(next) = self.following(self.next) else {
                self.over = self.beside.is_empty().then_some(self.now);
                return;
            };
            self.current = Some(next);
            self.began = self.now;
            self.next = next + 1;
            let listens = |act: &Act| matches!(act, Act::Rest { .. } | Act::Wait { .. } | Act::Insist { .. });
            if !listens(&self.scene.steps[next].act) {
                self.heard.clear();
            }
            self.insisting = Insisting::default();
            self.begin(next, sent);
            self.gather_beside();
        }
    }

    /// Lifts a piece that was taken for another, and sets it down again.
    fn insist(&mut self) {
        let Some(current) = self.current else { return };
        let Act::Insist { not, .. } = self.scene.steps[current].act else { return };
        let passed = |since: Instant, for_s: f64| self.now.seconds_from(since) >= for_s;
        match self.insisting.lifted {
            Some(lifted) if passed(lifted, AWAY_S) => {
                self.pan.put_back(0.0, self.now);
                self.heard.clear();
                self.began = self.now;
                self.insisting.lifted = None;
            }
            None if self.insisting.tries < TRIES && self.heard_any(not, HEARS_S) => {
                self.pan.lift(Left::default(), self.now);
                self.said.push_back((self.now, current));
                self.insisting = Insisting { tries: self.insisting.tries + 1, lifted: Some(self.now) };
            }
            Some(_) | None => {}
        }
    }

    /// One of these sounded so long ago, since it was listened for.
    fn heard_any(&self, cues: &[&str], for_s: f64) -> bool {
        self.heard
            .iter()
            .any(|(word, due)| cues.contains(&word.as_str()) && self.now.seconds_from(*due) >= for_s)
    }

    /// The next step that does not run beside.
    fn following(&self, from: usize) -> Option<usize> {
        (from..self.scene.steps.len()).find(|i| self.scene.steps[*i].beside_s.is_none())
    }

    fn gather_beside(&mut self) {
        let until = self.following(self.next).unwrap_or(self.scene.steps.len());
        for i in self.next..until {
            let after_s = self.scene.steps[i].beside_s.unwrap_or(0.0);
            self.beside.push((self.began.offset_seconds(after_s), i));
        }
    }

    fn ended(&self) -> bool {
        let Some(current) = self.current else { return true };
        let for_s = self.now.seconds_from(self.began);
        match &self.scene.steps[current].act {
            Act::Pour(_) => !self.jet.runs(),
            Act::Wait { cues, most_s } => for_s >= *most_s || self.heard_any(cues, 0.0),
            Act::Insist { on, most_s, .. } => {
                self.insisting.lifted.is_none() && (for_s >= *most_s || self.heard_any(&[*on], 0.0))
            }
            act @ (Act::Land { .. }
            | Act::Lift { .. }
            | Act::PutBack { .. }
            | Act::Nudge { .. }
            | Act::Set { .. }
            | Act::Take { .. }
            | Act::Splash { .. }
            | Act::Wipe { .. }
            | Act::Touch { .. }
            | Act::Wheel { .. }
            | Act::JugRests { .. }
            | Act::Dry { .. }
            | Act::Rest { .. }
            | Act::Silence { .. }
            | Act::Unplug { .. }
            | Act::Freeze { .. }
            | Act::ZeroKey
            | Act::OutOfOrder { .. }
            | Act::EqualTimes { .. }
            | Act::Clock { .. }) => act.takes_s().is_none_or(|s| for_s >= s),
        }
    }

    fn begin(&mut self, step: usize, sent: &mut Vec<Sent>) {
        self.said.push_back((self.now, step));
        let now = self.now;
        let until = |for_s: f64| now.offset_seconds(for_s);
        match self.scene.steps[step].act.clone() {
            Act::Land { bare_g, how, hand_g, hand_s } => {
                self.pan.land(bare_g, how, now);
                if hand_g != 0.0 {
                    self.touch(Touch::Press, hand_g, hand_s);
                }
            }
            Act::Lift { left } => {
                self.pan.lift(left, now);
                self.jet.tilt();
            }
            Act::PutBack { less_g } => self.pan.put_back(less_g, now),
            Act::Nudge { cm } => {
                self.pan.nudge(cm);
                self.touch(Touch::Press, NUDGE.0, NUDGE.1);
            }
            Act::Set { name, g } => self.pan.set(&name, g, now),
            Act::Take { name } => self.pan.take(&name, now),
            Act::Pour(pouring) => self.jet.begin(pouring, self.scene.target_g, now),
            Act::Splash { g } => self.pan.splash(g),
            Act::Wipe { leaving_g } => {
                self.pan.wipe(leaving_g);
                let (touch, g, for_s) = Act::sponge();
                self.touch(touch, g, for_s);
            }
            Act::Touch { touch, g, for_s } => self.touch(touch, g, for_s),
            Act::Wheel { g, turns, for_s } => self.wheel(g, turns, for_s),
            Act::JugRests { g, for_s } => {
                self.lip = Some(Lip { g, since: now, until: for_s.map(until) });
            }
            Act::Dry { g, for_s } => self.drying.push((g / for_s.max(STEP_S), until(for_s))),
            Act::Rest { .. } | Act::Wait { .. } | Act::Insist { .. } => {}
            Act::Silence { for_s } => self.wire.silence(until(for_s)),
            Act::Unplug { for_s } => sent.push(self.wire.unplug(until(for_s), now)),
            Act::Freeze { for_s } => self.wire.freeze(until(for_s)),
            Act::ZeroKey => self.readout.zero_key(),
            Act::OutOfOrder { for_s } => self.wire.cross(until(for_s)),
            Act::EqualTimes { for_s } => self.wire.pair(until(for_s)),
            Act::Clock { by_s } => self.shift_s += by_s,
        }
    }

    fn touch(&mut self, touch: Touch, g: f64, for_s: f64) {
        self.forces.push(Force::new(touch, g, for_s, self.now, &mut self.touches));
    }

    fn wheel(&mut self, g: f64, turns: f64, for_s: f64) {
        let force = Force::new(Touch::Wheel, g, for_s, self.now, &mut self.touches);
        self.forces.push(force.turning(turns));
    }
}
