//! What the engine says: cues, pours, what it learned.

use super::hand::Hand;
use super::remark::Remark;
use super::state::Pour;
use crate::record::{Aim, Marks, Verdict};
use crate::time::{Duration, Instant};
use crate::units::Mass;

/// A sound with a meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cue {
    /// Tared: pour.
    Ready,
    /// Nearly there: ease off.
    Approach,
    /// A warning pip.
    Count,
    /// Stop now.
    Stop,
    /// The pour is within its limits.
    Good,
    /// Less than the lower limit.
    Short,
    /// More than the upper limit.
    Over,
    /// Something is wrong: stop pouring.
    Fault,
    /// The trouble is over.
    Clear,
    /// Something worth knowing, which asks nothing of the hand.
    Note,
}

impl Cue {
    /// Every one, in the order of a pour.
    pub const ALL: [Self; 10] = [
        Self::Ready,
        Self::Approach,
        Self::Count,
        Self::Stop,
        Self::Good,
        Self::Short,
        Self::Over,
        Self::Fault,
        Self::Clear,
        Self::Note,
    ];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ready => "ready",
            Self::Approach => "approach",
            Self::Count => "count",
            Self::Stop => "stop",
            Self::Good => "good",
            Self::Short => "short",
            Self::Over => "over",
            Self::Fault => "fault",
            Self::Clear => "clear",
            Self::Note => "note",
        }
    }
}

/// A cue, announced once and never moved afterwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CueCall {
    /// Counts up by one per cue.
    pub n: u64,
    /// Which.
    pub cue: Cue,
    /// When it was announced.
    pub at: Instant,
    /// When it should be heard.
    pub due: Instant,
    /// Grams left, where that says something.
    pub left: Option<Mass>,
    /// Piece it is for.
    pub piece: u32,
    /// What a `note` is about; none for any other cue.
    pub about: Option<Remark>,
}

/// A pour's numbers as the engine knows them; revision 0 is the opening at `ready`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// Piece within the batch.
    pub piece: u32,
    /// 0 open, 1 first committed, then later mendings.
    pub rev: u32,
    /// When the piece was ready.
    pub started: Instant,
    /// Gross mass of the bare piece.
    pub tare: Mass,
    /// What it should get.
    pub aim: Aim,
    /// Net at the first stop.
    pub first_net: Option<Mass>,
    /// Net now.
    pub net: Option<Mass>,
    /// Its standard uncertainty.
    pub net_u: Option<Mass>,
    /// Times more was poured after the first stop.
    pub top_ups: u32,
    /// How it ended.
    pub verdict: Verdict,
    /// Weighed at rest, else estimated.
    pub settled: bool,
    /// A stop was cued.
    pub guided: bool,
    /// From ready to this entry.
    pub seconds: f64,
    /// First slop to lift or, before the lift, to this entry.
    pub contact: Option<Duration>,
    /// Flow when the stop was due, g/s.
    pub flow_g_s: Option<f64>,
    /// Net when the stop was due.
    pub stop_cue: Option<Mass>,
    /// Net when it was put back after rolling.
    pub rolled: Option<Mass>,
    /// What is to be known of it.
    pub marks: Marks,
}

impl Pour {
    /// Its numbers now.
    pub(super) fn entry(&self, at: Instant) -> Entry {
        let mass = |g: Option<f64>| g.map(Mass::saturating);
        Entry {
            piece: self.piece,
            rev: self.rev,
            started: self.started,
            tare: Mass::saturating(self.tare),
            aim: self.aim,
            first_net: mass(self.first_net),
            net: mass(self.net),
            net_u: mass(self.net_u),
            top_ups: self.top_ups,
            verdict: self.verdict,
            settled: self.settled,
            guided: self.guided,
            seconds: at.seconds_from(self.started),
            contact: self.contact.or_else(|| self.first_slop.map(|t| at.since(t))),
            flow_g_s: self.flow_g_s,
            stop_cue: mass(self.stop_cue),
            rolled: mass(self.rolled),
            marks: self.marks,
        }
    }
}

/// One output of the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Output {
    /// To be heard.
    Cue(CueCall),
    /// To be written down.
    Entry(Entry),
    /// A pour opened and never filled: the open row goes.
    Dropped {
        /// Piece within the batch.
        piece: u32,
    },
    /// The hand's stopping time, after an entry.
    Learned(Hand),
    /// The last record of the batch is to be voided, where there is one that counts: answered by `Command::Voided`.
    VoidLast,
    /// The known jug stands at rest on the pan.
    Jug {
        /// What it weighs with what is in it.
        gross: Mass,
        /// What it weighed before, where slop was poured into it, or from it, as it stood there.
        before: Option<Mass>,
    },
}

/// Phase, as told outside; closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Nothing on the pan.
    Idle,
    /// Something has landed and is not at rest.
    Landing,
    /// Tared.
    Ready,
    /// Slop is running.
    Pouring,
    /// Stop was due, weight not settled.
    Draining,
    /// Weight is known.
    Done,
    /// Readings can't be trusted.
    Fault,
}

impl Phase {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Landing => "landing",
            Self::Ready => "ready",
            Self::Pouring => "pouring",
            Self::Draining => "draining",
            Self::Done => "done",
            Self::Fault => "fault",
        }
    }
}

/// What the engine knows right now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Snapshot {
    /// Phase.
    pub phase: Phase,
    /// Finer state, for people who look closely.
    pub step: &'static str,
    /// Piece on the pan or expected next.
    pub piece: u32,
    /// What that one should get.
    pub aim: Aim,
    /// Net mass now, lag-compensated while pouring.
    pub net: Option<Mass>,
    /// Net if the hand were told to stop now.
    pub expected: Option<Mass>,
    /// Flow, g/s.
    pub flow_g_s: Option<f64>,
    /// The scale is at rest.
    pub settled: bool,
    /// What stood on the pan before the display went to zero by itself.
    pub offered: Option<Mass>,
}
