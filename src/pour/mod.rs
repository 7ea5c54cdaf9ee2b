//! The pour: from a piece landing to a weight that is written down.
//!
//! [`engine::Engine`] takes weighings, link changes and the time, and gives cues,
//! entries and what it learned. It cannot fail: faults are states and outputs.

mod after;
mod aim;
mod anew;
mod beside;
mod cell;
mod climb;
mod command;
pub mod curve;
mod display;
mod done;
pub mod ease;
pub mod engine;
pub mod entry;
mod falls;
mod fault;
pub mod finish;
mod foreseen;
pub mod guidance;
pub mod hand;
mod hearing;
pub mod jug;
pub mod kept;
mod landing;
mod leaps;
mod lift;
mod lifted;
mod lighter;
mod onset;
pub mod outlook;
pub mod pace;
mod plan;
mod predict;
mod put_back;
mod ready;
mod recognised;
pub mod remark;
mod residue;
mod running;
mod spare;
mod stand;
mod start;
mod state;
mod steps;
pub mod sums;
mod surges;
mod swing;
mod tail;
mod touch;
pub mod trace;
mod turn;
mod uneven;
mod unseen;
mod unwritten;
mod verdict;
pub mod vessel;
pub mod ware;
mod written;
mod zeroed;

pub use spare::LEAST_SPARE_G;

use crate::time::Duration;
use crate::units::Mass;
use finish::Finish;
use guidance::Guidance;
use vessel::Vessel;

/// What a studio may set about pouring.
#[derive(Clone, Debug, PartialEq)]
pub struct PourSettings {
    /// A rise of the pan above this is a piece landing.
    pub min_piece: Mass,
    /// `approach` sounds this long before the stop.
    pub approach: Duration,
    /// What is sounded before the stop.
    pub guidance: Guidance,
    /// What is poured from, where a batch does not say.
    pub vessel: Vessel,
    /// How a pour is finished, where a batch does not say.
    pub finish: Finish,
    /// Slop that stands in a piece for longer has soaked into the wall unevenly: the piece is rolled before more is poured.
    pub contact_limit: Duration,
}

impl Default for PourSettings {
    fn default() -> Self {
        // 40 g: lighter than the smallest cup, heavier than drips and a sponge's water (common practice, no source).
        // 1.3 s: time to hear, ease off, and still settle into a slower stream (common practice, no source).
        // 20 s: bisque takes up water within seconds, and a coat that stood is thick at the bottom (common practice, no source).
        Self {
            min_piece: Mass::saturating(40.0),
            approach: Duration::from_millis(1300),
            guidance: Guidance::default(),
            vessel: Vessel::default(),
            finish: Finish::default(),
            contact_limit: Duration::from_secs(20),
        }
    }
}
