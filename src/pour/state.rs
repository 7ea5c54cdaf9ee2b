//! The states of a pour and the values that live in them.

use super::entry::Phase;
use super::falls::Falls;
use super::hand::Taught;
use super::jug::JugOnPan;
use super::landing::Landing;
use super::leaps::Leaps;
use super::lift::Rested;
use super::onset::Onset;
use super::plan::Plan;
use super::predict::Predictor;
use super::put_back::Back;
use super::ready::Ready;
use super::recognised::{Held, Perhaps};
use super::surges::Surges;
use super::unseen::AtOnce;
use crate::record::{Aim, Marks, Verdict};
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// A piece from `ready` to its last entry.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pour {
    pub(super) piece: u32,
    pub(super) aim: Aim,
    pub(super) tare: f64,
    pub(super) started: Instant,
    pub(super) rev: u32,
    pub(super) first_net: Option<f64>,
    pub(super) net: Option<f64>,
    pub(super) net_u: Option<f64>,
    pub(super) top_ups: u32,
    pub(super) verdict: Verdict,
    pub(super) settled: bool,
    pub(super) guided: bool,
    pub(super) first_slop: Option<Instant>,
    pub(super) flow_g_s: Option<f64>,
    pub(super) stop_cue: Option<f64>,
    /// Net that the scale showed when the stop was due, between two readings.
    pub(super) shown_at_stop: Option<f64>,
    pub(super) contact: Option<Duration>,
    /// When it was first entered, and whether its potter heard well before its lift that it is short.
    pub(super) entered: Option<Instant>,
    pub(super) told: bool,
    /// What the hand learned from it.
    pub(super) taught: Option<Taught>,
    /// Readings were lost or frozen during this pour: nothing is learned from it.
    pub(super) troubled: bool,
    /// A loudspeaker was lost during this pour: nothing is learned from it.
    pub(super) unheard: bool,
    /// Slop went on, or came again, after the stop: nothing is learned from where it ended.
    pub(super) ran_on: bool,
    /// `ready` was said: the potter counts on a `stop`.
    pub(super) promised: bool,
    /// Net when it was put back after rolling.
    pub(super) rolled: Option<f64>,
    pub(super) marks: Marks,
    /// It was lifted and put back: its slop has stood where it stands for longer than is known.
    pub(super) came_back: bool,
    /// The stream ended without a stop: what comes next is the same pour.
    pub(super) paused: bool,
    /// Grams that may be slop or not: a standard deviation.
    pub(super) unsure_g: f64,
    /// Grams of its weight that came as no stream does: a hand or a jug may bear on it.
    pub(super) doubt_g: f64,
    /// It may be this piece, or another one than this, and so much of what is in both is no slop of its own then.
    pub(super) perhaps_other: Option<Held>,
    /// Another one, that this may be as well, though it was put back as this.
    pub(super) rival: Option<Held>,
    /// Grams of its slop that may be in its tare, as it was seen too soon after `ready`.
    pub(super) in_tare_g: f64,
}

impl Pour {
    pub(super) fn open(piece: u32, aim: Aim, tare: f64, at: Instant) -> Self {
        Self {
            piece,
            aim,
            tare,
            started: at,
            rev: 0,
            first_net: None,
            net: None,
            net_u: None,
            top_ups: 0,
            verdict: Verdict::Void,
            settled: false,
            guided: false,
            first_slop: None,
            flow_g_s: None,
            stop_cue: None,
            shown_at_stop: None,
            contact: None,
            entered: None,
            told: false,
            taught: None,
            troubled: false,
            unheard: false,
            ran_on: false,
            promised: false,
            rolled: None,
            marks: Marks::default(),
            came_back: false,
            paused: false,
            unsure_g: 0.0,
            doubt_g: 0.0,
            perhaps_other: None,
            rival: None,
            in_tare_g: 0.0,
        }
    }
}

/// Slop is running. Boxed, as each reading hands it from state to state.
pub(super) type Stream = Box<Running>;

/// What is known of slop that runs.
#[derive(Clone, Debug)]
pub(super) struct Running {
    pub(super) pour: Pour,
    pub(super) predictor: Predictor,
    pub(super) plan: Plan,
    /// Net when this stream began: zero, or the first pour's weight for a top-up.
    pub(super) from_g: f64,
    /// Rest began here, for a stream that ended without a stop.
    pub(super) resting_since: Option<Instant>,
    /// The latest rest of it, until more is shown.
    pub(super) rested: Option<Rested>,
    /// Latest net that was believed and did not fall.
    pub(super) last_net: f64,
    /// Latest net, believed or not, and the readings before it.
    pub(super) shown: f64,
    pub(super) recent: VecDeque<(Instant, f64)>,
    /// Entered from a display that stood still, and weighed again now that it moves.
    pub(super) again: bool,
    /// What the filter knew after the latest reading that did not fall and after the one
    /// before: a lift may already show in the latest.
    pub(super) known: [f64; 2],
    /// The least flow since the stop, g/s, and readings in a row that say slop runs after it.
    pub(super) least_g_s: f64,
    pub(super) running_on: u32,
    /// The latest readings that were believed.
    pub(super) trail: VecDeque<(Instant, f64)>,
    /// The greatest net that was believed.
    pub(super) peak_g: f64,
    /// Readings left out because they jumped.
    pub(super) odd: u32,
    /// As the piece was when it was put back.
    pub(super) back: Option<Box<Back>>,
    /// It was taken for a bare piece, and may be this one, that was lifted.
    pub(super) perhaps: Option<Box<Perhaps>>,
    /// Something lay on the piece before slop was seen.
    pub(super) odd_load: bool,
    /// What is shown is lower than what was believed, since then; and by so much for longer than a lift takes, g.
    pub(super) lower_since: Option<Instant>,
    pub(super) lower_g: f64,
    /// Slop comes in lumps.
    pub(super) lumps: bool,
    pub(super) leaps: Leaps,
    pub(super) surges: Surges,
    /// How it began.
    pub(super) onset: Onset,
    /// It was seen to climb as slop does, for long enough.
    pub(super) ran: bool,
    /// Slop never weighs less than nothing: what is below the tare was no part of the piece, or a hand bears it.
    pub(super) falls: Falls,
}

/// Weighed, still on the pan.
#[derive(Clone, Debug)]
pub(super) struct Done {
    pub(super) pour: Pour,
    pub(super) recent: VecDeque<(Instant, f64)>,
    pub(super) rises: u32,
    pub(super) leaps: Leaps,
    /// The weight jumped as no slop does: a touch, or another thing on the pan.
    pub(super) jumped: bool,
    /// Something was set on the pan besides.
    pub(super) beside: bool,
    /// What is shown is neither the piece's weight nor at rest, since then.
    pub(super) strays_since: Option<Instant>,
    /// At rest at this other weight, gross g, since then.
    pub(super) elsewhere: Option<(f64, Instant)>,
    /// What the display went to within one reading.
    pub(super) at_once: AtOnce,
    /// The display had begun to fall, and stood still.
    pub(super) halted: bool,
    /// It stood below its weight for longer than a lift takes, by so much, g.
    pub(super) below_g: f64,
    /// Its weight followed the tail since it was entered: the verdict as entered.
    pub(super) entered_as: Option<Verdict>,
    /// Net as the pan shows it at rest.
    pub(super) had_g: f64,
    /// As it was when it was put back.
    pub(super) back: Option<Box<Back>>,
    /// Weighed since then.
    pub(super) since: Option<Instant>,
    /// Put back since then, and nothing is wanted of it.
    pub(super) asks_since: Option<Instant>,
}

impl Done {
    pub(super) fn new(pour: Pour) -> Self {
        let had_g = pour.net.unwrap_or(0.0);
        Self {
            pour,
            recent: VecDeque::new(),
            rises: 0,
            leaps: Leaps::default(),
            jumped: false,
            beside: false,
            strays_since: None,
            elsewhere: None,
            at_once: AtOnce::default(),
            halted: false,
            below_g: 0.0,
            entered_as: None,
            had_g,
            back: None,
            since: None,
            asks_since: None,
        }
    }
}

/// Whether the piece is on the pan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pan {
    Loaded,
    /// One reading says it left: it may be a bad one.
    Doubtful,
    Left,
}

/// Where a fault came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Trouble {
    /// No readings.
    Silent,
    /// Readings that stopped moving mid-stream.
    Frozen,
    /// The same on a coarse display, which stands as long at the end of a stream: nobody knows.
    Unmoved,
    /// The weight changed before slop was seen: slop, a hand or another piece, nobody knows.
    Changed,
    /// The display went to zero as no lift makes it: the scale woke anew, or its own tare key was used,
    /// and the piece may still stand there.
    Zeroed,
}

/// Readings can't be trusted.
#[derive(Clone, Debug)]
pub(super) struct Fault {
    /// What it interrupted; never a fault itself.
    pub(super) from: Box<State>,
    pub(super) trouble: Trouble,
    /// At rest since, for a display that stands still.
    pub(super) resting_since: Option<Instant>,
    /// What a display that went to zero has shown since, g.
    pub(super) rose_g: f64,
}

/// What stands on the pan, is known and no piece.
#[derive(Clone, Debug)]
pub(super) enum Other {
    /// The spare weight; whether it took a record out of the count.
    Spare { voided: bool },
    /// The jug.
    Jug(Box<JugOnPan>),
}

/// The engine's state.
#[derive(Clone, Debug)]
pub(super) enum State {
    Idle,
    Landing(Landing),
    /// What is known and no piece stands on the pan.
    Other(Other),
    Ready(Ready),
    Pouring(Stream),
    Draining(Stream),
    Done(Done),
    Fault(Fault),
}

impl State {
    pub(super) fn phase(&self) -> Phase {
        match self {
            Self::Idle | Self::Other(_) => Phase::Idle,
            Self::Landing(_) => Phase::Landing,
            Self::Ready(_) => Phase::Ready,
            Self::Pouring(_) => Phase::Pouring,
            Self::Draining(_) => Phase::Draining,
            Self::Done(_) => Phase::Done,
            Self::Fault(_) => Phase::Fault,
        }
    }

    /// As DEVELOPERS.md draws it.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Self::Other(Other::Spare { .. }) => "spare",
            Self::Other(Other::Jug(_)) => "jug",
            Self::Idle
            | Self::Landing(_)
            | Self::Ready(_)
            | Self::Pouring(_)
            | Self::Draining(_)
            | Self::Done(_)
            | Self::Fault(_) => self.phase().word(),
        }
    }

    pub(super) fn step(&self) -> &'static str {
        match self {
            Self::Idle => "waiting for a piece",
            Self::Landing(_) => "waiting for rest",
            Self::Other(Other::Spare { voided: true }) => {
                "the last record is void: take the spare weight off"
            }
            Self::Other(Other::Spare { voided: false }) => {
                "nothing to take out of the count: take the spare weight off"
            }
            Self::Other(Other::Jug(_)) => "the jug, no piece: lift it off",
            Self::Ready(_) => "tared",
            Self::Pouring(s) if s.pour.rev > 0 => "topping up",
            Self::Pouring(_) => "pouring",
            Self::Draining(_) => "waiting for the weight",
            Self::Done(_) => "weighed",
            Self::Fault(fault) => match fault.trouble {
                Trouble::Silent => "no readings: stop pouring",
                Trouble::Frozen => "scale stands still: stop pouring",
                Trouble::Unmoved => "the display does not move: has the stream ended? If not, stop pouring",
                Trouble::Zeroed => "the display went to zero by itself: stop pouring, lift the piece off",
                Trouble::Changed => "the weight changed, nobody knows why: stop pouring, lift the piece off",
            },
        }
    }

    /// The state a fault interrupted, or this state.
    pub(super) fn beneath(&self) -> &Self {
        if let Self::Fault(fault) = self { &fault.from } else { self }
    }

    /// As [`State::beneath`], by value.
    pub(super) fn into_beneath(self) -> Self {
        if let Self::Fault(fault) = self { *fault.from } else { self }
    }

    pub(super) fn pour_mut(&mut self) -> Option<&mut Pour> {
        match self {
            Self::Idle | Self::Landing(_) | Self::Other(_) => None,
            Self::Ready(r) => Some(&mut r.pour),
            Self::Pouring(s) | Self::Draining(s) => Some(&mut s.pour),
            Self::Done(d) => Some(&mut d.pour),
            Self::Fault(fault) => fault.from.pour_mut(),
        }
    }

    pub(super) fn pour(&self) -> Option<&Pour> {
        match self {
            Self::Idle | Self::Landing(_) | Self::Other(_) => None,
            Self::Ready(r) => Some(&r.pour),
            Self::Pouring(s) | Self::Draining(s) => Some(&s.pour),
            Self::Done(d) => Some(&d.pour),
            Self::Fault(fault) => fault.from.pour(),
        }
    }
}
