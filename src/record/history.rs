//! What is done to the log as a whole, besides pouring: labels, records brought in, names taken out, an older log put back.

use super::{BatchRecord, PourRecord, Verdict};
use crate::time::WallTime;
use std::path::PathBuf;

/// One such thing.
#[derive(Clone, Debug, PartialEq)]
pub enum History {
    /// A piece got a label, or none: a further revision.
    Labelled {
        /// The pour.
        pour: String,
        /// The label; empty: none.
        label: String,
    },
    /// Batches with their pours from elsewhere; those whose ids are there already are left out. All or none.
    Imported {
        /// The batches.
        batches: Vec<BatchRecord>,
        /// Their pours.
        pours: Vec<PourRecord>,
    },
    /// Whether batches may be compared by who poured.
    ByPourer(bool),
    /// The run rules that are looked for where none are named: one bit each (`review::control_chart::Rules`).
    RunRules(u16),
    /// A nickname goes from all batches and hands.
    Forgotten {
        /// The nickname.
        pourer: String,
    },
    /// The log becomes what this file holds.
    Restored {
        /// The file, checked before.
        file: PathBuf,
        /// Where the log as it is by then is copied to, first.
        before: PathBuf,
    },
}

/// What is looked for; what is not told does not matter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Search {
    /// Poured then or later.
    pub from: Option<WallTime>,
    /// Poured before.
    pub before: Option<WallTime>,
    /// Of this glaze.
    pub glaze: Option<String>,
    /// With this verdict.
    pub verdict: Option<Verdict>,
    /// With this in the label, or in the batch's name.
    pub words: Option<String>,
}

/// A pour that was found, with its batch.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The pour's newest revision.
    pub pour: PourRecord,
    /// Its batch's name.
    pub batch_name: String,
    /// Its glaze.
    pub glaze_name: Option<String>,
}

/// What is kept of a batch for comparing, without looking at its pours.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// When it was made.
    pub made_at: WallTime,
    /// Its glaze.
    pub glaze: Option<String>,
    /// Its form in words.
    pub form: Option<String>,
    /// The ware was fired already: what was poured in is not its coat.
    pub fired: bool,
    /// Who poured.
    pub pourer: Option<String>,
    /// Its target, g.
    pub target_g: f64,
    /// Pieces that count.
    pub n: i64,
    /// Those that were good.
    pub good: i64,
    /// Those whose stop was called.
    pub guided: i64,
    /// Sum of what they were off their targets, mg.
    pub off_mg: i64,
    /// Sum of its squares, mg2.
    pub off_squares_mg2: i64,
}
