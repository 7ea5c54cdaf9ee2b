//! The jug, as the log keeps it.

use crate::time::WallTime;
use crate::units::Mass;

/// A jug that is known by its weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JugRecord {
    /// What it weighs empty.
    pub empty: Mass,
    /// How it last stood on the pan in the batch under way.
    pub stood: Option<Stood>,
}

/// A jug on the pan, and what had been poured in its batch by then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stood {
    /// Of which batch: the head of its id.
    pub batch: i64,
    /// What it weighed with what was in it.
    pub gross: Mass,
    /// Slop in all pieces.
    pub poured: Mass,
    /// How many those were.
    pub pieces: u32,
    /// When that was; none where an older program kept it.
    pub at: Option<WallTime>,
}
