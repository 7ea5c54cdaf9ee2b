//! What a scale said, and what it means in grams: two types, never mixed.
//!
//! Knows nothing about how the bytes came or what they are used for.

mod beat;
pub mod timing;

use crate::time::Instant;
use crate::units::Mass;

/// What the scale's display says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Indicated {
    /// A mass as the scale shows it, in grams, not yet corrected.
    Mass(Mass),
    /// More than the scale can weigh: a state, not a number.
    Overload,
    /// Less than the scale can show.
    Underload,
}

impl Indicated {
    /// The mass, where it says one.
    pub fn mass(self) -> Option<Mass> {
        match self {
            Self::Mass(mass) => Some(mass),
            Self::Overload | Self::Underload => None,
        }
    }
}

/// One message of a scale, as indicated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// What it says.
    pub indicated: Indicated,
    /// The scale's own opinion on rest, where it gives one.
    pub stable: Option<bool>,
    /// When the last byte of the message arrived.
    pub arrived_at: Instant,
    /// When the scale took it, as far as is known.
    pub taken_at: Instant,
}

/// A mass on the pan: as it is, but for what goes into the engine and its traces, which is as the scale showed it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighing {
    /// Gross mass on the pan.
    pub mass: Mass,
    /// When the message arrived.
    pub arrived_at: Instant,
    /// When the scale took it.
    pub taken_at: Instant,
}
