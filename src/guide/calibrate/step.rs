//! What a step asks, and what may be amiss with it.

use crate::calibration::masses::OwnMass;
use crate::guide::lag::LagTest;
use crate::guide::{self, Want};
use crate::time::Duration;

/// Where on the pan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the middle.
    Centre,
    /// Halfway from the middle to the edge.
    FrontLeft,
    /// See there.
    FrontRight,
    /// See there.
    BackRight,
    /// See there.
    BackLeft,
}

impl Place {
    /// The four off the centre, in the order they are asked for.
    pub const CORNERS: [Self; 4] = [Self::FrontLeft, Self::FrontRight, Self::BackRight, Self::BackLeft];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Centre => "centre",
            Self::FrontLeft => "front-left",
            Self::FrontRight => "front-right",
            Self::BackRight => "back-right",
            Self::BackLeft => "back-left",
        }
    }
}

/// What the pan waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Nothing on the pan, the scale level, the table rigid.
    Empty,
    /// This mass alone.
    Put,
    /// This mass too.
    Add,
    /// This mass off, the others stay.
    TakeOff,
    /// All off.
    Off,
    /// The mass lifted and set down there.
    Move(Place),
    /// A piece, or anything of such a weight.
    Piece,
    /// This mass on top of the piece.
    OnTop,
    /// What lies there stays.
    Stay,
    /// The bare pan waits.
    Wait,
    /// Of the response test: a heavy thing.
    Heavy,
    /// A light thing.
    Light,
    /// The same thing again.
    Again,
    /// It lifted off, in one go.
    Lift,
    /// Nothing more.
    Done,
}

impl Ask {
    /// Every one; `Move` with one place.
    pub const ALL: [Self; 15] = [
        Self::Empty,
        Self::Put,
        Self::Add,
        Self::TakeOff,
        Self::Off,
        Self::Move(Place::Centre),
        Self::Piece,
        Self::OnTop,
        Self::Stay,
        Self::Wait,
        Self::Heavy,
        Self::Light,
        Self::Again,
        Self::Lift,
        Self::Done,
    ];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::Put => "put",
            Self::Add => "add",
            Self::TakeOff => "take-off",
            Self::Off => "off",
            Self::Move(_) => "move",
            Self::Piece => "piece",
            Self::OnTop => "on-top",
            Self::Stay => "stay",
            Self::Wait => "wait",
            Self::Heavy => "heavy",
            Self::Light => "light",
            Self::Again => "again",
            Self::Lift => "lift",
            Self::Done => "done",
        }
    }

    /// Where on the pan, off the middle.
    pub fn place(self) -> Option<Place> {
        match self {
            Self::Move(place) => Some(place),
            Self::Empty
            | Self::Put
            | Self::Add
            | Self::TakeOff
            | Self::Off
            | Self::Piece
            | Self::OnTop
            | Self::Stay
            | Self::Wait
            | Self::Heavy
            | Self::Light
            | Self::Again
            | Self::Lift
            | Self::Done => None,
        }
    }

    /// The pan is bare when it is met.
    pub(super) fn is_bare(self) -> bool {
        matches!(self, Self::Empty | Self::Off | Self::Wait)
    }
}

/// What the pan should bear above its zero, g.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Load {
    /// Nothing.
    Bare,
    /// About so much.
    About(f64),
    /// From so much to so much.
    Between(f64, f64),
    /// The piece, and about so much.
    OnPiece(f64),
}

/// One step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    pub(super) ask: Ask,
    /// Which of the masses is moved.
    pub(super) mass: Option<usize>,
    pub(super) load: Load,
    /// How long it is to lie there.
    pub(super) lasts: Option<Duration>,
}

/// Why what lies there is not taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amiss {
    /// The pan is not bare.
    NotBare,
    /// It weighs as another mass does, g.
    LooksLike(f64),
    /// It weighs as nothing that is known here.
    Other,
    /// More than the scale carries.
    TooMuch,
    /// It does not come to rest.
    Restless,
    /// The zero moved: the load is weighed again.
    ZeroMoved,
    /// What was to lie there was taken off.
    TakenOff,
    /// Of the response test: too light.
    TooLight,
    /// Too heavy.
    TooHeavy,
    /// Not in one go.
    NotInOneGo,
}

impl Amiss {
    /// It is about what lies there now: mended once that is gone.
    pub(super) const fn is_of_load(self) -> bool {
        match self {
            Self::NotBare
            | Self::LooksLike(_)
            | Self::Other
            | Self::TooMuch
            | Self::TooLight
            | Self::TooHeavy => true,
            Self::Restless | Self::ZeroMoved | Self::TakenOff | Self::NotInOneGo => false,
        }
    }

    /// Something that was taken, or nearly, is done again.
    const fn is_done_again(self) -> bool {
        match self {
            Self::ZeroMoved | Self::TakenOff | Self::NotInOneGo => true,
            Self::NotBare
            | Self::LooksLike(_)
            | Self::Other
            | Self::TooMuch
            | Self::Restless
            | Self::TooLight
            | Self::TooHeavy => false,
        }
    }

    /// Every one; `LooksLike` with one mass.
    pub const ALL: [Self; 10] = [
        Self::NotBare,
        Self::LooksLike(0.0),
        Self::Other,
        Self::TooMuch,
        Self::Restless,
        Self::ZeroMoved,
        Self::TakenOff,
        Self::TooLight,
        Self::TooHeavy,
        Self::NotInOneGo,
    ];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotBare => "not-bare",
            Self::LooksLike(_) => "looks-like",
            Self::Other => "other",
            Self::TooMuch => "too-much",
            Self::Restless => "restless",
            Self::ZeroMoved => "zero-moved",
            Self::TakenOff => "taken-off",
            Self::TooLight => "too-light",
            Self::TooHeavy => "too-heavy",
            Self::NotInOneGo => "not-in-one-go",
        }
    }
}

/// What a hand at the pan should hear, eyes elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// What was wanted is read: next.
    Taken,
    /// What lies there is not taken.
    Wrong,
    /// It is done again.
    Again,
    /// It was the last step.
    Over,
}

impl Heard {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::Wrong => "wrong",
            Self::Again => "again",
            Self::Over => "over",
        }
    }

    /// What is new from one (steps done, what is amiss) to the next. A word that stands already is not said again.
    pub(super) fn between(before: (usize, Option<Amiss>), now: (usize, Option<Amiss>)) -> Option<Self> {
        let said = before.1.map(Amiss::word);
        match now.1.filter(|amiss| Some(amiss.word()) != said) {
            Some(amiss) if amiss.is_done_again() => Some(Self::Again),
            Some(_) => Some(Self::Wrong),
            None => (now.0 != before.0).then_some(Self::Taken),
        }
    }
}

/// What is asked now.
#[derive(Clone, Debug, PartialEq)]
pub struct StepView {
    /// What.
    pub ask: Ask,
    /// With which mass.
    pub mass: Option<OwnMass>,
    /// Seconds that it is still to lie there.
    pub seconds_left: Option<u32>,
    /// Why what lies there is not taken.
    pub amiss: Option<Amiss>,
    /// Steps done.
    pub done: usize,
    /// Steps in all.
    pub steps: usize,
}

/// What the response test asks.
pub(super) fn of_lag(lag: &LagTest) -> (Ask, Option<Amiss>) {
    let ask = match lag.guide().want() {
        None => Ask::Done,
        Some(Want::Bare) => Ask::Off,
        Some(Want::On { .. }) if lag.is_light() => Ask::Light,
        Some(Want::On { .. }) => Ask::Heavy,
        Some(Want::Again) => Ask::Again,
        Some(Want::Off) => Ask::Lift,
    };
    let amiss = lag.guide().amiss().map(|amiss| match amiss {
        guide::Amiss::NotBare => Amiss::NotBare,
        guide::Amiss::TooLight => Amiss::TooLight,
        guide::Amiss::TooHeavy => Amiss::TooHeavy,
        guide::Amiss::Other => Amiss::Other,
        guide::Amiss::NotInOneGo => Amiss::NotInOneGo,
    });
    (ask, amiss)
}
