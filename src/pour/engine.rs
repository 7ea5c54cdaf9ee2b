//! The engine: weighings, link changes, commands and the time in; cues, entries and
//! what it learned out.
//!
//! Never blocks, logs or reads a clock. One place sets the state: [`Engine::enter`].

use super::PourSettings;
use super::entry::{Cue, CueCall, Output, Snapshot};
use super::fault::{Rate, SILENCE, Watch};
use super::hand::Hand;
use super::predict::Predictor;
use super::state::{Done, Plan, Pour, Ready, State, Stream, Trouble};
use crate::reading::Weighing;
use crate::record::Verdict;
use crate::scale::ScaleFacts;
use crate::settle::{Motion, Settler};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// Readings kept so that the filter can start before the stream was noticed.
const RECENT: usize = 24;
/// A stream that rests this long without a stop has ended (a person's pause is shorter;
/// common practice, no source).
const PAUSE: Duration = Duration::from_millis(1500);
/// After the stop is due the stream takes this long at least to end: hand and drip.
const END: Duration = Duration::from_millis(500);
/// Faster than any hand pours slop: a hand on the pot, or the pot moved.
const NOT_A_POUR_G_S: f64 = 80.0;

/// What the engine is built from.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// Wanted net mass.
    pub target: Mass,
    /// Least good net mass.
    pub low: Mass,
    /// Greatest good net mass.
    pub high: Mass,
    /// The scale.
    pub scale: ScaleFacts,
    /// The learned stopping time.
    pub hand: Hand,
    /// Cues are announced this long before they are due.
    pub ahead: Duration,
    /// What the studio set.
    pub settings: PourSettings,
    /// Number of the next piece, from 1.
    pub first_piece: u32,
}

/// What happened to the link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkChange {
    /// Bytes can come.
    Up,
    /// Unplugged or out of reach.
    Down,
}

/// What a person asks of the engine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// The batch ends: an open pour is entered with what is known.
    End,
    /// The log can't be written: `fault`, and no `ready` until it can.
    Hold,
    /// All is on disk again.
    Resume,
}

/// One batch's engine.
#[derive(Clone, Debug)]
pub struct Engine {
    pub(super) start: Start,
    pub(super) hand: Hand,
    pub(super) state: State,
    piece: u32,
    zero_g: f64,
    settler: Settler,
    motion: Motion,
    watch: Watch,
    rate: Rate,
    last: Option<Weighing>,
    outputs: VecDeque<Output>,
    cues: u64,
    held: bool,
}

impl Engine {
    /// An engine that waits for the first piece.
    pub fn new(start: Start) -> Self {
        Self {
            hand: start.hand,
            state: State::Idle,
            piece: start.first_piece.max(1),
            zero_g: 0.0,
            settler: Settler::new(&start.scale),
            motion: Motion::Moving { flow: crate::units::Flow::ZERO },
            watch: Watch::new(start.scale.step.g()),
            rate: Rate::default(),
            last: None,
            outputs: VecDeque::new(),
            cues: 0,
            held: false,
            start,
        }
    }

    /// Takes a corrected weighing.
    pub fn handle_weighing(&mut self, w: Weighing) {
        self.handle_timeout(w.arrived_at);
        self.rate.handle_reading(w.arrived_at);
        let moved = self.watch.handle_weighing(w);
        self.motion = self.settler.handle_weighing(w);
        let before = self.last.replace(w);
        if let State::Fault { from, trouble } = &self.state {
            if *trouble == Trouble::Frozen && !moved {
                return;
            }
            let from = (**from).clone();
            self.cue(Cue::Clear, w.arrived_at, w.arrived_at, None);
            self.enter(from);
        }
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Idle | State::Fault { .. } => self.idle(w),
            State::Landing => self.landing(w),
            State::Ready(r) => self.ready(r, w, before),
            State::Pouring(s) => self.pouring(s, w),
            State::Draining(s) => self.draining(s, w),
            State::Done(d) => self.done(d, w),
        }
        self.announce(w.arrived_at);
    }

    /// Takes a change of the link.
    pub fn handle_link(&mut self, change: LinkChange, at: Instant) {
        if change == LinkChange::Down {
            self.fault(Trouble::Silent, at);
        }
    }

    /// Takes a command.
    pub fn handle_command(&mut self, command: Command, at: Instant) {
        match command {
            Command::End => self.end(at),
            Command::Hold if !self.held => {
                self.held = true;
                self.cue_now(Cue::Fault, at, None);
            }
            Command::Resume if self.held => {
                self.held = false;
                self.cue_now(Cue::Clear, at, None);
            }
            Command::Hold | Command::Resume => {}
        }
    }

    fn end(&mut self, at: Instant) {
        let state = std::mem::replace(&mut self.state, State::Idle).into_beneath();
        match state {
            State::Ready(r) => self.outputs.push_back(Output::Dropped { piece: r.pour.piece }),
            State::Pouring(s) | State::Draining(s) => self.estimate(s, at),
            State::Idle | State::Landing | State::Done(_) | State::Fault { .. } => {}
        }
    }

    /// Takes the time: announces what is due, notices silence and a frozen scale.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.announce(now);
        if self.last.is_some_and(|w| now.since(w.arrived_at) >= SILENCE) {
            self.fault(Trouble::Silent, now);
        }
        if matches!(self.state, State::Pouring(_) | State::Draining(_)) && self.watch.frozen(now) {
            self.fault(Trouble::Frozen, now);
        }
    }

    /// When [`Engine::handle_timeout`] must be called at the latest.
    pub fn poll_timeout(&self) -> Option<Instant> {
        let planned = match &self.state {
            State::Pouring(s) => self.next_announcement(s),
            State::Idle
            | State::Landing
            | State::Ready(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault { .. } => None,
        };
        let silence = self.fault_matters().then(|| self.last.map(|w| w.arrived_at + SILENCE)).flatten();
        match (planned, silence) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// The next output, oldest first.
    pub fn poll_output(&mut self) -> Option<Output> {
        self.outputs.pop_front()
    }

    /// What is known now.
    pub fn snapshot(&self, now: Instant) -> Snapshot {
        let state = self.state.beneath();
        let (net, flow, expected) = match state {
            State::Pouring(s) | State::Draining(s) => {
                let net = s.predictor.net_g(now.min(self.last.map_or(now, |w| w.taken_at + SILENCE)));
                let flow = s.predictor.flow_g_s().max(0.0);
                (Some(net), Some(flow), Some(net + flow * self.hand.hand_s))
            }
            State::Ready(_) | State::Done(_) => {
                let tare = state.pour().map_or(0.0, |p| p.tare);
                (self.last.map(|w| w.mass.g() - tare), None, None)
            }
            State::Idle | State::Landing | State::Fault { .. } => (None, None, None),
        };
        Snapshot {
            phase: self.state.phase(),
            step: self.state.step(),
            piece: state.pour().map_or(self.piece, |p| p.piece),
            net: net.map(Mass::saturating),
            expected: expected.map(Mass::saturating),
            flow_g_s: flow,
            settled: matches!(self.motion, Motion::AtRest { .. }),
        }
    }

    /// False while readings come too slowly to guide a pour.
    pub fn guides(&self) -> bool {
        !self.rate.too_slow()
    }

    /// The stopping time as learned so far.
    pub fn hand(&self) -> Hand {
        self.hand
    }

    /// No `ready` is given because the log can't be written.
    pub fn held(&self) -> bool {
        self.held
    }

    /// Cues announced so far, so that a next engine goes on counting.
    pub fn cues(&self) -> u64 {
        self.cues
    }

    /// Goes on counting cues from here.
    pub fn count_cues_from(&mut self, cues: u64) {
        self.cues = cues;
    }

    fn enter(&mut self, state: State) {
        self.state = state;
    }

    fn cue(&mut self, cue: Cue, at: Instant, due: Instant, left_g: Option<f64>) {
        self.cues += 1;
        let piece = self.state.pour().map_or(self.piece, |p| p.piece);
        let left = left_g.map(Mass::saturating);
        self.outputs.push_back(Output::Cue(CueCall { n: self.cues, cue, at, due, left, piece }));
    }

    fn cue_now(&mut self, cue: Cue, at: Instant, left_g: Option<f64>) {
        self.cue(cue, at, at + self.start.ahead, left_g);
    }

    fn at_rest(&self) -> Option<f64> {
        match self.motion {
            Motion::AtRest { mass } => Some(mass.g()),
            Motion::Moving { .. } => None,
        }
    }

    fn threshold_g(&self) -> f64 {
        // Four standard deviations and two steps: noise does not start a pour (normal law: 1 in 16 000).
        (4.0 * self.start.scale.reading_sd_g()).max(2.0 * self.start.scale.step.g()).max(0.3)
    }

    fn fault_matters(&self) -> bool {
        matches!(self.state, State::Ready(_) | State::Pouring(_) | State::Draining(_))
    }

    fn fault(&mut self, trouble: Trouble, at: Instant) {
        if !self.fault_matters() {
            return;
        }
        self.cue_now(Cue::Fault, at, None);
        let mut from = std::mem::replace(&mut self.state, State::Idle);
        if let State::Pouring(s) | State::Draining(s) = &mut from {
            s.pour.troubled = true;
        }
        self.enter(State::Fault { from: Box::new(from), trouble });
    }

    fn idle(&mut self, w: Weighing) {
        let g = w.mass.g();
        let min_g = self.start.settings.min_piece.g();
        if let Some(rest) = self.at_rest()
            && rest < min_g
        {
            self.zero_g = rest;
        }
        self.enter(if g - self.zero_g > min_g { State::Landing } else { State::Idle });
    }

    fn landing(&mut self, w: Weighing) {
        if w.mass.g() - self.zero_g < self.start.settings.min_piece.g() {
            return self.enter(State::Idle);
        }
        let Some(tare) = self.at_rest().filter(|_| !self.held) else { return self.enter(State::Landing) };
        let pour = Pour::open(self.piece, tare, w.arrived_at);
        self.outputs.push_back(Output::Entry(pour.entry(w.arrived_at)));
        self.enter(State::Ready(Ready { pour, recent: VecDeque::new(), rises: 0 }));
        if self.guides() {
            self.cue_now(Cue::Ready, w.arrived_at, Some(self.start.target.g()));
        }
    }

    fn ready(&mut self, mut r: Ready, w: Weighing, before: Option<Weighing>) {
        let net = w.mass.g() - r.pour.tare;
        if self.lifted(&r.pour, w) {
            self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
            return self.enter(State::Idle);
        }
        let jump =
            before.map_or(0.0, |b| (w.mass.g() - b.mass.g()) / w.taken_at.seconds_from(b.taken_at).max(0.05));
        if jump.abs() > NOT_A_POUR_G_S {
            self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
            return self.enter(State::Landing);
        }
        push_recent(&mut r.recent, (w.taken_at, net));
        r.rises = if net > self.threshold_g() { r.rises + 1 } else { 0 };
        if r.rises >= 2 {
            let Ready { pour, recent, .. } = r;
            let stream = self.stream(pour, &recent, 0.0);
            self.enter(State::Pouring(stream));
        } else {
            self.enter(State::Ready(r));
        }
    }

    /// Starts the filter where the stream started, and lets it catch up.
    fn stream(&self, mut pour: Pour, recent: &VecDeque<(Instant, f64)>, from_g: f64) -> Stream {
        let lag_s = self.start.scale.lag.as_secs_f64();
        let noise = 0.5 * self.threshold_g();
        let quiet = recent.iter().rev().find(|(_, net)| (net - from_g).abs() <= noise);
        let began = quiet.or(recent.front()).map_or(Instant::START, |(t, _)| *t).offset_seconds(-0.5 * lag_s);
        let mut predictor = Predictor::begin(from_g, began, lag_s, self.start.scale.reading_sd_g());
        for (at, net) in recent.iter().filter(|(t, _)| *t > began) {
            predictor.handle_net(*net, *at);
        }
        pour.first_slop.get_or_insert(began);
        let last_net = recent.back().map_or(from_g, |(_, net)| *net);
        Stream { pour, predictor, plan: Plan::default(), from_g, resting_since: None, last_net }
    }

    fn pouring(&mut self, mut s: Stream, w: Weighing) {
        if self.lifted(&s.pour, w) {
            return self.estimate(s, w.arrived_at);
        }
        self.feed(&mut s, w);
        let Some(rest) = self.at_rest() else {
            s.resting_since = None;
            return self.enter(State::Pouring(s));
        };
        let since = *s.resting_since.get_or_insert(w.arrived_at);
        if w.arrived_at.since(since) >= PAUSE {
            self.weighed(s, rest, w.arrived_at);
        } else {
            self.enter(State::Pouring(s));
        }
    }

    fn draining(&mut self, mut s: Stream, w: Weighing) {
        if self.lifted(&s.pour, w) {
            return self.estimate(s, w.arrived_at);
        }
        self.feed(&mut s, w);
        let ended = s.plan.stop_due.is_some_and(|due| w.taken_at.seconds_from(due) >= END.as_secs_f64());
        match self.at_rest() {
            Some(rest) if ended => self.weighed(s, rest, w.arrived_at),
            Some(_) | None => self.enter(State::Draining(s)),
        }
    }

    fn feed(&self, s: &mut Stream, w: Weighing) {
        let net = w.mass.g() - s.pour.tare;
        if net < s.last_net - (5.0 * self.threshold_g()) {
            // Slop does not leave the piece: a hand has begun to lift it.
            return;
        }
        s.last_net = net;
        s.predictor.handle_net(s.last_net, w.taken_at);
    }

    fn done(&mut self, mut d: Done, w: Weighing) {
        if self.lifted(&d.pour, w) {
            self.piece = d.pour.piece + 1;
            return self.enter(State::Idle);
        }
        let net = w.mass.g() - d.pour.tare;
        let had = d.pour.net.unwrap_or(0.0);
        push_recent(&mut d.recent, (w.taken_at, net));
        d.rises = if net - had > self.threshold_g() { d.rises + 1 } else { 0 };
        if d.rises >= 2 {
            let Done { mut pour, recent, .. } = d;
            pour.top_ups += 1;
            let stream = self.stream(pour, &recent, had);
            return self.enter(State::Pouring(stream));
        }
        self.enter(State::Done(d));
    }

    fn lifted(&self, pour: &Pour, w: Weighing) -> bool {
        let piece_g = pour.tare - self.zero_g;
        w.mass.g() < pour.tare - (0.3 * piece_g).max(3.0 * self.threshold_g())
    }

    /// The weight is known at rest.
    fn weighed(&mut self, mut s: Stream, gross: f64, at: Instant) {
        let net = gross - s.pour.tare;
        let sd = self.start.scale.reading_sd_g();
        s.pour.settled = true;
        s.pour.net_u = Some(sd * std::f64::consts::SQRT_2);
        self.commit(s, net, at);
    }

    /// The piece left, or the batch ended, before rest: what the filter knows.
    fn estimate(&mut self, mut s: Stream, at: Instant) {
        let net = if s.plan.stop_due.is_some() { s.predictor.net_g(Instant::START) } else { s.last_net };
        s.pour.settled = false;
        s.pour.net_u = Some(s.predictor.net_sd_g().max(self.start.scale.reading_sd_g()));
        self.commit(s, net, at);
        if let State::Done(d) = &self.state {
            self.piece = d.pour.piece + 1;
            self.enter(State::Idle);
        }
    }

    fn commit(&mut self, s: Stream, net: f64, at: Instant) {
        let Stream { mut pour, from_g, plan, .. } = s;
        let first = pour.rev == 0;
        pour.rev += 1;
        pour.net = Some(net);
        pour.verdict = self.verdict(net);
        if first {
            pour.first_net = Some(net);
        }
        pour.contact = pour.first_slop.map(|t| at.since(t));
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let target_g = self.start.target.g();
        if first && pour.settled && !pour.troubled && plan.stop_due.is_some() && from_g == 0.0 {
            self.hand = self.hand.learn(net - target_g, pour.flow_g_s.unwrap_or(0.0));
            self.outputs.push_back(Output::Learned(self.hand));
        }
        let cue = match pour.verdict {
            Verdict::Good => Cue::Good,
            Verdict::Short => Cue::Short,
            Verdict::Over => Cue::Over,
            Verdict::Void => Cue::Fault,
        };
        self.enter(State::Done(Done { pour, recent: VecDeque::new(), rises: 0 }));
        self.cue_now(cue, at, Some(target_g - net));
    }

    fn verdict(&self, net: f64) -> Verdict {
        // A millionth of a gram is below any scale: it only keeps the limits inclusive in binary arithmetic.
        if net < self.start.low.g() - 1e-6 {
            Verdict::Short
        } else if net > self.start.high.g() + 1e-6 {
            Verdict::Over
        } else {
            Verdict::Good
        }
    }

    /// When the next cue of this stream must be announced.
    fn next_announcement(&self, s: &Stream) -> Option<Instant> {
        if !self.guides() {
            return None;
        }
        let due = s.predictor.stop_due(self.start.target.g(), self.hand.hand_s)?;
        let said = s.plan.approach_said || s.from_g > 0.0;
        let cue_due = if said { due } else { due - self.start.settings.approach };
        Some(cue_due - self.start.ahead)
    }

    /// Announces the cues whose time has come.
    fn announce(&mut self, now: Instant) {
        let State::Pouring(s) = &mut self.state else { return };
        let target_g = self.start.target.g();
        let Some(due) = s.predictor.stop_due(target_g, self.hand.hand_s) else { return };
        if self.rate.too_slow() {
            return;
        }
        let ahead = self.start.ahead;
        if now + ahead >= due {
            let heard = due.max(now + ahead);
            s.plan.stop_due = Some(heard);
            s.pour.guided = true;
            s.pour.flow_g_s.get_or_insert(s.predictor.flow_g_s());
            let net = s.predictor.net_g(heard);
            s.pour.stop_cue.get_or_insert(net);
            s.predictor.expect_end(heard);
            let stream = s.clone();
            self.enter(State::Draining(stream));
            self.cue(Cue::Stop, now, heard, Some((target_g - net).max(0.0)));
            return;
        }
        let approach = self.start.settings.approach;
        if !s.plan.approach_said && s.from_g == 0.0 && now + ahead >= due - approach {
            s.plan.approach_said = true;
            let left = target_g - s.predictor.net_g(now);
            let heard = (due - approach).max(now + ahead);
            // Said only where there is room: never within 300 ms of the stop.
            if due.since(heard) >= Duration::from_millis(300) {
                self.cue(Cue::Approach, now, heard, Some(left));
            }
        }
    }
}

fn push_recent(recent: &mut VecDeque<(Instant, f64)>, reading: (Instant, f64)) {
    recent.push_back(reading);
    if recent.len() > RECENT {
        recent.pop_front();
    }
}
