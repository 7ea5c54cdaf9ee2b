//! The engine: weighings, link changes, commands and the time in; cues, entries and
//! what it learned out.
//!
//! Never blocks, logs or reads a clock. One place sets the state: `Engine::enter`.

use super::after::After;
use super::climb::Climb;
pub use super::command::{Command, LinkChange};
use super::display::Late;
use super::entry::{Cue, CueCall, Output, Snapshot};
use super::fault::Watch;
use super::hand::Hand;
pub use super::hearing::Hearing;
use super::jug::Jug;
use super::kept::Memory;
pub use super::start::Start;
use super::state::{Other, State, Trouble};
use super::unwritten::Unwritten;
use super::ware::Ware;
use crate::calibration::correction::Correction;
use crate::reading::Weighing;
use crate::record::Aim;
use crate::settle::pace::Pace;
use crate::settle::ripple::Ripple;
use crate::settle::{Motion, Settler};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// The weight shown is foreseen no further than this past the latest reading: three readings
/// of a usual scale.
const FORESEEN: Duration = Duration::from_millis(300);

/// What came before a weighing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) before: Option<Weighing>,
    /// Readings were missing in between.
    pub(super) gap: bool,
    /// It differs from the one before.
    pub(super) moved: bool,
}

/// One batch's engine.
#[derive(Clone, Debug)]
pub struct Engine {
    pub(super) start: Start,
    pub(super) hand: Hand,
    pub(super) state: State,
    pub(super) piece: u32,
    pub(super) next: Aim,
    pub(super) zero_g: f64,
    pub(super) settler: Settler,
    pub(super) motion: Motion,
    pub(super) ripple: Ripple,
    /// What the scale is told to scatter by where no wheel turns on it.
    pub(super) own_noise: Mass,
    pub(super) watch: Watch,
    pub(super) pace: Pace,
    /// Readings in a row that say the piece left.
    pub(super) away: u32,
    pub(super) last: Option<Weighing>,
    pub(super) outputs: VecDeque<Output>,
    pub(super) cues: u64,
    pub(super) held: bool,
    pub(super) lift_first: bool,
    pub(super) hearing: Hearing,
    /// `fault` was said because a loudspeaker was lost, and no `clear` yet.
    pub(super) deafened: bool,
    /// What the display leaves out, since it took a piece for its zero.
    pub(super) offset_g: f64,
    /// The display went from a piece at rest to its own zero within one reading.
    pub(super) zeroed: bool,
    /// Readings over which the latest piece came.
    pub(super) landed_over: usize,
    /// When it began to come.
    pub(super) landed_at: Instant,
    /// `fault` was said because readings came too slowly, and no `clear` since.
    pub(super) slow_said: bool,
    pub(super) after: After,
    pub(super) ware: Ware,
    pub(super) memory: Memory,
    pub(super) late: Late,
    pub(super) climb: Climb,
    pub(super) correction: Correction,
    /// What the piece weighed before something was set beside it, g.
    pub(super) alone_g: Option<f64>,
    pub(super) jug: Option<Jug>,
    /// What left without slop since its `ready`, and may have got it before.
    pub(super) unwritten: Option<Box<Unwritten>>,
}

impl Engine {
    /// An engine that waits for the first piece.
    pub fn new(start: Start) -> Self {
        Self {
            hand: start.hand.beside(start.scale.lag.as_secs_f64()),
            state: State::Idle,
            piece: start.first_piece.max(1),
            next: Aim { target: start.target, low: start.low, high: start.high },
            zero_g: start.zero.g(),
            settler: Settler::new(&start.scale),
            motion: Motion::Moving { flow: crate::units::Flow::ZERO },
            ripple: super::swing::ripple(&start),
            own_noise: start.scale.noise,
            watch: Watch::new(start.scale.step.g(), start.scale.reading_sd_g()),
            pace: Pace::default(),
            away: 0,
            last: None,
            outputs: VecDeque::new(),
            cues: 0,
            held: start.held,
            lift_first: start.lift_first,
            hearing: Hearing { ahead: start.ahead, lost: start.lost },
            deafened: start.lost_said,
            offset_g: 0.0,
            zeroed: false,
            landed_over: 0,
            landed_at: Instant::START,
            slow_said: false,
            after: After::new(&start),
            ware: start.ware,
            memory: start.memory.clone(),
            late: Late::of(&start),
            climb: Climb::default(),
            correction: start.correction,
            alone_g: None,
            jug: start.jug,
            unwritten: None,
            start,
        }
    }

    /// Takes a weighing as the scale shows it, and corrects it.
    pub fn handle_weighing(&mut self, shown: Weighing) {
        let shown = self.correction.weighed(shown);
        let w = Weighing { mass: Mass::saturating(shown.mass.g() + self.offset_g), ..shown };
        // Of readings handed over at once the first ones alone say too little.
        if self.last.is_none_or(|last| last.arrived_at < w.arrived_at) {
            self.handle_timeout(w.arrived_at);
        }
        let gap = self.pace.handle_reading(w.arrived_at);
        let moved = self.watch.handle_weighing(w);
        self.look_for_zeroing(w, gap);
        let w = self.evened(w, gap);
        self.look_for_lag(w, gap);
        let seen = Seen { before: self.last.replace(w), gap, moved };
        self.climb.handle_weighing(w);
        let state = std::mem::replace(&mut self.state, State::Idle);
        self.dispatch(state, w, seen);
        self.tell_of_running_slop(w);
        self.drop_offset();
        if self.slow_said && self.guides() {
            self.slow_said = false;
            self.cue_now(Cue::Clear, w.arrived_at, None);
        }
        if self.is_newest(w) {
            self.announce(w.arrived_at);
        }
    }

    /// No later reading is on its way already: it was taken less than an interval before it came.
    /// Where this errs, what is due is announced at the next [`Engine::handle_timeout`].
    fn is_newest(&self, w: Weighing) -> bool {
        self.pace.mean_s().is_none_or(|mean_s| w.arrived_at.seconds_from(w.taken_at) < mean_s)
    }

    pub(super) fn dispatch(&mut self, state: State, w: Weighing, seen: Seen) {
        match state {
            State::Idle => self.idle(w),
            State::Landing(l) => self.landing(l, w),
            State::Other(Other::Spare { voided }) => self.spare(voided, w),
            State::Other(Other::Jug(jug)) => self.jug_stands(jug, w),
            State::Ready(r) => self.ready(r, w, seen),
            State::Pouring(s) => self.pouring(s, w),
            State::Draining(s) => self.draining(s, w),
            State::Done(d) => self.done(d, w, seen),
            State::Fault(f) => self.faulted(f, w, seen),
        }
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
            Command::StillOn => self.still_on(at),
            Command::Remind(remark) => self.remind(remark),
            Command::Voided => self.voided(at),
            Command::Slop(slop) => self.slop_told(slop),
            Command::Number(piece) if self.takes_number() => self.piece = piece.max(1),
            Command::Aim(aim) => self.aim_next(aim),
            // A piece is weighed from its tare to its end by one correction.
            Command::Correction(correction) if self.takes_number() => self.correct_by(correction),
            Command::Hold | Command::Resume | Command::Number(_) | Command::Correction(_) => {}
        }
    }

    /// Takes the time: announces what is due, notices silence and a frozen scale.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.announce(now);
        if self.last.is_some_and(|w| now.since(w.arrived_at) >= self.pace.silence()) {
            self.fault(Trouble::Silent, now);
        }
        if self.watch.frozen(now).is_some_and(|since| self.should_move(since, now)) {
            self.fault(self.stands(), now);
        }
    }

    /// When [`Engine::handle_timeout`] must be called at the latest.
    pub fn poll_timeout(&self) -> Option<Instant> {
        let planned = match &self.state {
            State::Pouring(s) => self.next_announcement(s),
            State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Ready(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault(_) => None,
        };
        let silence = self.last.filter(|_| self.fault_matters()).map(|w| w.arrived_at + self.pace.silence());
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
                let net = s.predictor.net_g(now.min(self.last.map_or(now, |w| w.taken_at + FORESEEN)));
                let flow = s.predictor.flow_g_s().max(0.0);
                (Some(net), Some(flow), Some(net + flow * self.ending(s).hand_s))
            }
            State::Ready(_) | State::Done(_) => {
                let tare = state.pour().map_or(0.0, |p| p.tare);
                (self.last.map(|w| w.mass.g() - tare), None, None)
            }
            State::Idle | State::Landing(_) | State::Other(_) | State::Fault(_) => (None, None, None),
        };
        Snapshot {
            phase: self.state.phase(),
            step: self.step(now),
            piece: state.pour().map_or(self.piece, |p| p.piece),
            aim: state.pour().map_or(self.next, |p| p.aim),
            net: net.map(Mass::saturating),
            expected: expected.map(Mass::saturating),
            flow_g_s: flow,
            settled: matches!(self.motion, Motion::AtRest { .. }),
            offered: self.offered(),
        }
    }

    /// False while readings come too slowly to guide a pour, or count in steps too coarse for its limits.
    pub fn guides(&self) -> bool {
        !self.pace.too_slow() && self.start.scale.tells_apart(self.start.low, self.start.high)
    }

    /// The stopping time as learned so far.
    pub fn hand(&self) -> Hand {
        self.hand
    }

    /// No `ready` is given because the log can't be written.
    pub fn held(&self) -> bool {
        self.held
    }

    /// Bare weights of this batch, and pieces that may come back.
    pub fn seen(&self) -> (Ware, Memory) {
        (self.ware, self.memory.clone())
    }

    /// The state's own name: a phase, or `spare` while the spare weight lies on the pan.
    pub fn state(&self) -> &'static str {
        self.state.name()
    }

    /// What the bare pan shows.
    pub fn zero(&self) -> Mass {
        Mass::saturating(self.zero_g)
    }

    /// What stands on the pan must be lifted off first.
    pub fn lift_first(&self) -> bool {
        self.lift_first
    }

    /// Cues announced so far, so that a next engine goes on counting.
    pub fn cues(&self) -> u64 {
        self.cues
    }

    /// Goes on counting cues from here.
    pub fn count_cues_from(&mut self, cues: u64) {
        self.cues = cues;
    }

    pub(super) fn enter(&mut self, state: State) {
        self.state = state;
    }

    pub(super) fn cue(&mut self, cue: Cue, at: Instant, due: Instant, left_g: Option<f64>) {
        let left = left_g.map(Mass::saturating);
        self.call(CueCall { n: 0, cue, at, due, left, piece: 0, about: None });
    }

    /// Numbers a cue and says which piece it is for.
    pub(super) fn call(&mut self, call: CueCall) {
        self.cues += 1;
        if matches!(call.cue, Cue::Stop | Cue::Fault) {
            self.climb.told(call.due);
        }
        let piece = self.state.pour().map_or(self.piece, |p| p.piece);
        self.outputs.push_back(Output::Cue(CueCall { n: self.cues, piece, ..call }));
    }

    pub(super) fn cue_now(&mut self, cue: Cue, at: Instant, left_g: Option<f64>) {
        self.cue(cue, at, at + self.hearing.ahead, left_g);
    }
}
