//! A trace: everything one pour's engine was given, in a compact form that gives the
//! same outputs when replayed.
//!
//! Layout: version byte, then zigzag varints: the start values in micrograms and
//! microseconds, then per input its kind and its differences from the one before.
//! Version 2 has the pan's zero and whether the log was held after the start values of
//! version 1, and may end with the mark of a cut; version 3 may have changes of how the cues
//! are heard; version 4 has among the marks whether a loudspeaker was lost at the start; version 5 may
//! have reminders, and knows the vessel, the spare weight and what was seen of the batch; version 6 may have
//! changes of the scale's step, and numbers; version 7 is sealed with its length and a checksum (`sealed.rs`),
//! says after the start values how much of it is still of the piece before, and may have a voided record; version 8 knows
//! how a stream is guided, how the hand eases off, and beside which lag of the scale it was learned; version 9 may have
//! another target from piece to piece; version 10 knows the hand's pace, its trickle, and how a pour is finished;
//! version 11 knows the scale's correction, version 12 how far it bends; version 13 knows the jug, and may be
//! told of slop; version 14 knows what the bare pan showed as pieces were lifted. Weights stand as the scale
//! showed them; the engine corrects them. All are read.

use super::engine::{Command, Engine, Hearing, LinkChange, Start};
use super::entry::Output;
use super::remark::Remark;
use crate::reading::Weighing;
use crate::record::{Aim, MOST_NUMBER};
use crate::time::{Duration, Instant};
use crate::units::Mass;

mod bytes;
mod sealed;
mod start;

use bytes::{Bytes, mass, micrograms, put, put_aim, put_correction, put_optional};

const VERSION: u8 = 15;
const SEALED_VERSION: u8 = 7;
const FIRST_VERSION: u8 = 1;
/// A trace starts this long before the landing.
const LEAD: Duration = Duration::from_secs(3);
/// ... or this many inputs, for slow scales: as many as the engine looks back on.
const LEAD_INPUTS: usize = 32;
/// A piece left standing for over five hours at ten readings a second: the trace ends there,
/// so that it never fills the memory.
const LONGEST: usize = 200_000;
/// The most bytes a trace has: `LONGEST` inputs of four varints, none longer than ten bytes, and 64 KiB for head and
/// start values (each of the few pieces remembered takes under 300 bytes).
pub const LARGEST: usize = LONGEST * 4 * 10 + 65_536;
/// The kind that says that the trace was cut there.
const CUT: i64 = 7;

/// One input of the engine with its own time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// A weighing.
    Weighing(Weighing),
    /// A change of the link.
    Link(LinkChange, Instant),
    /// A command.
    Command(Command, Instant),
    /// The time.
    Timeout(Instant),
    /// A change of how the cues are heard.
    Hearing(Hearing, Instant),
    /// The scale counts in another step than was known.
    Step(Mass, Instant),
}

impl Input {
    fn at(&self) -> Instant {
        match self {
            Self::Weighing(w) => w.arrived_at,
            Self::Link(_, at) | Self::Command(_, at) | Self::Timeout(at) => *at,
            Self::Hearing(_, at) | Self::Step(_, at) => *at,
        }
    }

    /// Gives this input to an engine.
    pub fn give(self, engine: &mut Engine) {
        match self {
            Self::Weighing(w) => engine.handle_weighing(w),
            Self::Link(change, at) => engine.handle_link(change, at),
            Self::Command(command, at) => engine.handle_command(command, at),
            Self::Timeout(at) => engine.handle_timeout(at),
            Self::Hearing(hearing, at) => engine.handle_hearing(hearing, at),
            Self::Step(step, _) => engine.handle_step(step),
        }
    }
}

impl Input {
    fn kind(&self) -> i64 {
        match self {
            Self::Weighing(_) => 0,
            Self::Link(LinkChange::Up, _) => 1,
            Self::Link(LinkChange::Down, _) => 2,
            Self::Command(Command::End, _) => 3,
            Self::Timeout(_) => 4,
            Self::Command(Command::Hold, _) => 5,
            Self::Command(Command::Resume, _) => 6,
            Self::Hearing(..) => 8,
            Self::Command(Command::StillOn, _) => 9,
            Self::Command(Command::Remind(_), _) => 10,
            Self::Step(..) => 11,
            Self::Command(Command::Number(_), _) => 12,
            Self::Command(Command::Voided, _) => 13,
            Self::Command(Command::Aim(_), _) => 14,
            Self::Command(Command::Correction(_), _) => 15,
            Self::Command(Command::Slop(_), _) => 16,
        }
    }

    /// What follows kind and time; `ug` is the weight before, in micrograms.
    fn put_rest(&self, out: &mut Vec<u8>, ug: &mut i64) {
        match self {
            Self::Weighing(w) => {
                put(out, micrograms(w.mass) - *ug);
                put(out, w.arrived_at.us() as i64 - w.taken_at.us() as i64);
                *ug = micrograms(w.mass);
            }
            Self::Hearing(h, _) => {
                put(out, h.ahead.as_micros() as i64);
                put(out, i64::from(h.lost));
            }
            Self::Command(Command::Remind(remark), _) => put(out, *remark as i64),
            Self::Command(Command::Number(piece), _) => put(out, i64::from(*piece)),
            Self::Command(Command::Aim(aim), _) => put_aim(out, aim),
            Self::Command(Command::Correction(correction), _) => put_correction(out, correction),
            Self::Command(Command::Slop(slop), _) => put_optional(out, slop.map(micrograms)),
            Self::Step(step, _) => put(out, micrograms(*step)),
            Self::Command(..) | Self::Link(..) | Self::Timeout(_) => {}
        }
    }
}

/// What a pour's engine started from and was given.
#[derive(Clone, Debug)]
pub struct Trace {
    /// Start values.
    pub start: Start,
    /// Inputs, oldest first.
    pub inputs: Vec<Input>,
    /// Later inputs were not kept: a replay ends before the pour did.
    pub cut: bool,
    /// So many of the inputs, the first ones, are of the time when the piece before still stood there.
    pub lead: usize,
    /// The latest input came while the pan was bare.
    was_idle: bool,
}

/// What a replay goes by; whether the pan is bare is only for those to come.
impl PartialEq for Trace {
    fn eq(&self, other: &Self) -> bool {
        self.start == other.start
            && self.inputs == other.inputs
            && (self.cut, self.lead) == (other.cut, other.lead)
    }
}

/// Bytes that are no trace of this version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadTrace {
    /// Another version.
    Version(u8),
    /// Ends early, or holds an impossible value, at this byte.
    Broken(usize),
    /// Its end is missing.
    Cut {
        /// Bytes there are.
        has: usize,
        /// Bytes there should be.
        wants: usize,
    },
    /// Something follows its end.
    Long {
        /// Bytes there are.
        has: usize,
        /// Bytes there should be.
        wants: usize,
    },
    /// It was changed: its checksum is another.
    Mangled,
    /// A number that no piece has.
    Piece(u32),
}

/// What to try with a file that is no whole trace.
const AGAIN: &str = "copy it again, or replay the pour by its id, as the log has it";

impl std::fmt::Display for BadTrace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Version(v) => {
                write!(
                    f,
                    "this is no trace, or one of version {v}; this program reads versions {FIRST_VERSION} to {VERSION}"
                )
            }
            Self::Broken(at) => write!(f, "the trace is broken at byte {at}: {AGAIN}"),
            Self::Cut { has, wants } => {
                write!(f, "the trace is cut: {has} bytes are there of {wants}; {AGAIN}")
            }
            Self::Long { has, wants } => {
                write!(f, "the trace was changed: {has} bytes are there, it had {wants}; {AGAIN}")
            }
            Self::Mangled => write!(f, "the trace was changed: its checksum is another; {AGAIN}"),
            Self::Piece(piece) => {
                write!(f, "the trace names piece {piece}, and {MOST_NUMBER} is the greatest number; {AGAIN}")
            }
        }
    }
}

impl std::error::Error for BadTrace {}

impl Trace {
    /// A trace that has seen nothing yet.
    pub fn new(start: Start) -> Self {
        Self { start, inputs: Vec::new(), cut: false, lead: 0, was_idle: true }
    }

    /// Notes an input; while `idle`, inputs older than three seconds are let go.
    /// After 200 000 inputs of one piece no more are noted.
    pub fn note(&mut self, input: Input, idle: bool) {
        if idle && !self.was_idle {
            self.lead = self.inputs.len();
        }
        self.was_idle = idle;
        if self.inputs.len() < LONGEST {
            self.inputs.push(input);
        } else {
            self.cut = true;
        }
        if idle && (self.cut || self.inputs.len() >= 2 * LEAD_INPUTS) {
            let from = input.at() - LEAD;
            let old = self.inputs.iter().take_while(|i| i.at() < from).count();
            let old = old.min(self.inputs.len().saturating_sub(LEAD_INPUTS));
            self.inputs.drain(..old);
            self.lead = self.lead.saturating_sub(old);
            self.cut = false;
        }
    }

    /// Between two pieces: a replay starts from what the engine knows by now.
    pub fn start_from(&mut self, engine: &Engine) {
        let Aim { target, low, high } = engine.next_aim();
        (self.start.target, self.start.low, self.start.high) = (target, low, high);
        self.start.hand = engine.hand();
        self.start.scale = engine.scale();
        self.start.lags = engine.lags();
        self.start.correction = engine.correction();
        self.start.zero = engine.zero();
        self.start.held = engine.held();
        self.start.lift_first = engine.lift_first();
        self.start.ahead = engine.hearing().ahead;
        self.start.lost = engine.hearing().lost;
        self.start.lost_said = engine.lost_said();
        (self.start.ware, self.start.memory) = engine.seen();
        self.start.jug = engine.jug();
        self.start.first_piece = engine.snapshot(Instant::START).piece;
    }

    /// As bytes.
    pub fn encode(&self) -> Vec<u8> {
        let mut out = Vec::new();
        start::put_start(&mut out, &self.start);
        put(&mut out, self.lead as i64);
        let (mut at, mut ug) = (0_i64, 0_i64);
        for input in &self.inputs {
            let now = input.at().us() as i64;
            put(&mut out, input.kind());
            put(&mut out, now - at);
            at = now;
            input.put_rest(&mut out, &mut ug);
        }
        if self.cut {
            put(&mut out, CUT);
        }
        sealed::seal(VERSION, &out)
    }

    /// Whether these bytes are of a version that carries a checksum: in older ones a change may go unseen.
    pub fn has_checksum(bytes: &[u8]) -> bool {
        bytes.first().is_some_and(|version| *version >= SEALED_VERSION)
    }

    /// From bytes.
    pub fn decode(bytes: &[u8]) -> Result<Self, BadTrace> {
        let version = match bytes.first() {
            Some(&version @ FIRST_VERSION..=VERSION) => version,
            Some(&other) => return Err(BadTrace::Version(other)),
            None => return Err(BadTrace::Broken(0)),
        };
        let body = if version >= SEALED_VERSION { sealed::open(bytes)? } else { &bytes[1..] };
        let mut from = Bytes { bytes: body, at: 0 };
        let mut trace = Self::new(from.start(version)?);
        if version >= SEALED_VERSION {
            trace.lead = from.count()? as usize;
        }
        let (mut at, mut ug) = (0_i64, 0_i64);
        while from.at < body.len() {
            let kind = from.take()?;
            if kind == CUT {
                trace.cut = true;
                break;
            }
            at = at.checked_add(from.take()?).filter(|v| *v >= 0).ok_or(BadTrace::Broken(from.at))?;
            trace.inputs.push(from.input(version, kind, at, &mut ug)?);
        }
        Ok(trace)
    }

    /// Gives every input to a fresh engine and collects what comes out, but for what is of the piece before.
    pub fn replay(&self) -> Vec<Output> {
        let mut engine = Engine::new(self.start.clone());
        let mut outputs = Vec::new();
        for (n, input) in self.inputs.iter().enumerate() {
            input.give(&mut engine);
            let out = std::iter::from_fn(|| engine.poll_output());
            outputs.extend(out.filter(|_| n >= self.lead));
        }
        outputs
    }
}

impl Bytes<'_> {
    fn input(&mut self, version: u8, kind: i64, at: i64, ug: &mut i64) -> Result<Input, BadTrace> {
        let now = Instant::from_us(at as u64);
        Ok(match kind {
            0 => {
                *ug = ug.checked_add(self.take()?).ok_or(BadTrace::Broken(self.at))?;
                let taken = at.checked_sub(self.take()?).filter(|v| *v >= 0);
                let taken_at = Instant::from_us(taken.ok_or(BadTrace::Broken(self.at))? as u64);
                Input::Weighing(Weighing { mass: mass(*ug), arrived_at: now, taken_at })
            }
            1 => Input::Link(LinkChange::Up, now),
            2 => Input::Link(LinkChange::Down, now),
            3 => Input::Command(Command::End, now),
            4 => Input::Timeout(now),
            5 => Input::Command(Command::Hold, now),
            6 => Input::Command(Command::Resume, now),
            9 => Input::Command(Command::StillOn, now),
            10 => {
                let remark = usize::try_from(self.take()?).ok().and_then(|i| Remark::ALL.get(i)).copied();
                Input::Command(Command::Remind(remark.ok_or(BadTrace::Broken(self.at))?), now)
            }
            12 => Input::Command(Command::Number(self.piece()?), now),
            13 => Input::Command(Command::Voided, now),
            14 => Input::Command(Command::Aim(self.aim()?), now),
            15 => Input::Command(Command::Correction(self.correction(version)?), now),
            16 => Input::Command(Command::Slop(self.optional()?.map(mass)), now),
            8 => Input::Hearing(Hearing { ahead: self.span()?, lost: self.take()? != 0 }, now),
            11 => Input::Step(mass(self.take()?), now),
            _ => return Err(BadTrace::Broken(self.at)),
        })
    }
}
