//! What is kept for ever: a batch, and a pour with its revisions.
//!
//! Plain values; neither the database nor the page leaks in here.

mod aim;
mod calibrated;
mod history;
mod jug;
mod numbers;
mod shelf;

use crate::time::{Duration, WallTime};
use crate::units::Mass;
pub use aim::Aim;
pub use calibrated::{CalibrationRecord, CalibrationWrite, CheckRecord};
pub use history::{Found, History, Search, Tally};
pub use jug::{JugRecord, Stood};
pub use numbers::{MOST_NUMBER, Numbers};
pub use shelf::{Shelf, ShelfRecord, Slop, SlopCame};

/// How a pour ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limits, ends included.
    Good,
    /// Under the lower limit.
    Short,
    /// Over the upper limit.
    Over,
    /// Not a pour that counts.
    Void,
}

impl Verdict {
    /// The word used in records and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Short => "short",
            Self::Over => "over",
            Self::Void => "void",
        }
    }

    /// The verdict for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Good, Self::Short, Self::Over, Self::Void].into_iter().find(|v| v.word() == word)
    }
}

/// What is to be known of a pour besides its numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Slop ran before the bare piece was weighed: its weight was worked out from what came before.
    Early,
    /// A hand or the jug bore on the piece or held it up while it was poured or weighed.
    Touched,
    /// What it left on the pan was taken off its weight.
    Residue,
    /// Some was poured back or taken out.
    PouredBack,
    /// It was put back and weighed again; that it was the same piece is assumed from its weight.
    PutBack,
    /// The stream ended without a stop, and went on later.
    Paused,
    /// The bare piece weighed unlike the others of its batch.
    OtherWare,
    /// More slop ran after the stop: it was not heard, or the stream began anew.
    RanOn,
}

impl Mark {
    /// Every one, in the order of [`Marks`].
    pub const ALL: [Self; 8] = [
        Self::Early,
        Self::Touched,
        Self::Residue,
        Self::PouredBack,
        Self::PutBack,
        Self::Paused,
        Self::OtherWare,
        Self::RanOn,
    ];

    /// The word used in records and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Early => "early",
            Self::Touched => "touched",
            Self::Residue => "residue",
            Self::PouredBack => "poured-back",
            Self::PutBack => "put-back",
            Self::Paused => "paused",
            Self::OtherWare => "other-ware",
            Self::RanOn => "ran-on",
        }
    }
}

/// A set of marks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Marks(u16);

impl Marks {
    /// With this one too.
    #[must_use]
    pub const fn with(self, mark: Mark) -> Self {
        Self(self.0 | (1 << mark as u16))
    }

    /// Whether this one is there.
    pub const fn has(self, mark: Mark) -> bool {
        self.0 & (1 << mark as u16) != 0
    }

    /// As bits, in the order of [`Mark::ALL`].
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// From such bits; those of no known mark are left out.
    pub fn from_bits(bits: i64) -> Self {
        Mark::ALL.into_iter().filter(|mark| bits >> *mark as u16 & 1 != 0).fold(Self::default(), Self::with)
    }

    /// Those that are there.
    pub fn iter(self) -> impl Iterator<Item = Mark> {
        Mark::ALL.into_iter().filter(move |mark| self.has(*mark))
    }

    /// Words apart by blanks.
    pub fn words(self) -> String {
        self.iter().map(Mark::word).collect::<Vec<_>>().join(" ")
    }

    /// From such words; those that a newer program wrote are left out.
    pub fn from_words(words: &str) -> Self {
        let known = |word: &str| Mark::ALL.into_iter().find(|mark| mark.word() == word);
        words.split_whitespace().filter_map(known).fold(Self::default(), Self::with)
    }
}

/// A batch as planned.
#[derive(Clone, Debug, PartialEq)]
pub struct BatchRecord {
    /// UUIDv7 as text.
    pub id: String,
    /// What the potter calls it.
    pub name: String,
    /// Pieces planned; more may be poured.
    pub pieces: u32,
    /// Aim net mass of slop.
    pub target: Mass,
    /// Least net mass that is good.
    pub low: Mass,
    /// Greatest net mass that is good.
    pub high: Mass,
    /// A target and its limits for each piece in turn, where they differ: those above are for more pieces than these.
    pub ladder: Vec<Aim>,
    /// Dry part of the slop, where the inputs determine it.
    pub solids_fraction: Option<f64>,
    /// Who pours, where said.
    pub pourer: Option<String>,
    /// Which jug, where said.
    pub jug: Option<String>,
    /// Word of what it is poured from; none: as the settings say.
    pub vessel: Option<String>,
    /// Word of how a pour is finished; none: as the settings say.
    pub finish: Option<String>,
    /// The glaze by name: pieces of one glaze are numbered on from batch to batch.
    pub glaze_name: Option<String>,
    /// The version of that glaze, on its shelf, that the target was reckoned from.
    pub bucket: Option<u32>,
    /// When that bucket was measured, where it is known; else when the batch was made.
    pub measured_at: Option<WallTime>,
    /// The least and the greatest weight of a bare piece, where said.
    pub bare: Option<(Mass, Mass)>,
    /// The inside of its pieces in words: the form's name on its shelf, or its shape and sizes.
    pub form: Option<String>,
    /// The ware was fired already: what is poured in is not its coat.
    pub fired: bool,
    /// The request it was made from, as JSON text, so that no input is lost.
    pub request: String,
    /// When it was made.
    pub created_at: WallTime,
    /// When it was begun.
    pub begun_at: Option<WallTime>,
    /// When it was ended.
    pub ended_at: Option<WallTime>,
}

impl BatchRecord {
    /// What a piece should get that has no target of its own.
    pub fn aim(&self) -> Aim {
        Aim { target: self.target, low: self.low, high: self.high }
    }
}

/// One revision of a pour.
#[derive(Clone, Debug, PartialEq)]
pub struct PourRecord {
    /// UUIDv7 as text, the same in all revisions.
    pub id: String,
    /// 0 while open, then 1, 2, ...
    pub rev: u32,
    /// Order of commits over the whole log, given by the store.
    pub seq: u64,
    /// The batch it belongs to.
    pub batch: String,
    /// Piece number, from 1: within the batch, or within all batches of its glaze.
    pub piece: u32,
    /// When the piece was ready.
    pub started_at: WallTime,
    /// Gross mass of the bare piece.
    pub tare: Mass,
    /// Aim net mass.
    pub target: Mass,
    /// Least good net mass.
    pub low: Mass,
    /// Greatest good net mass.
    pub high: Mass,
    /// Net at the first stop.
    pub first_net: Option<Mass>,
    /// Net now.
    pub net: Option<Mass>,
    /// Standard uncertainty of `net`.
    pub net_u: Option<Mass>,
    /// Weighed again after rolling.
    pub rolled: Option<Mass>,
    /// How often more was poured after the first stop.
    pub top_ups: u32,
    /// Dry powder in what was poured, where solids are known.
    pub dry: Option<Mass>,
    /// Its batch is of ware that was fired already: what was poured in is not its coat.
    pub fired: bool,
    /// How it ended.
    pub verdict: Verdict,
    /// The daemon stopped while it was open.
    pub interrupted: bool,
    /// The weight is of a scale at rest (else estimated).
    pub settled: bool,
    /// A stop was cued.
    pub guided: bool,
    /// From ready to the end of the pour.
    pub seconds: f64,
    /// First slop to lift.
    pub contact: Option<Duration>,
    /// Flow at the stop cue, in g/s.
    pub flow_g_s: Option<f64>,
    /// Net when the stop was due.
    pub stop_cue: Option<Mass>,
    /// The version of its glaze that the target was reckoned from.
    pub bucket: Option<u32>,
    /// Calibration in force.
    pub calibration: Option<String>,
    /// Scale it was weighed on.
    pub scale: String,
    /// What the potter calls this piece; empty: a label that was taken off.
    pub label: Option<String>,
    /// What is to be known of it.
    pub marks: Marks,
    /// The trace: scale readings of this pour in its compact form.
    pub trace: Vec<u8>,
}

impl PourRecord {
    /// Dry mass of its coat, where solids are known; of fired ware none, as most of what was poured runs out again.
    pub fn coat(&self) -> Option<Mass> {
        self.dry.filter(|_| !self.fired)
    }
}

/// The potter's learned stopping time with one pourer, jug and scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandRecord {
    /// Seconds of flow that still arrive after the stop is heard.
    pub hand_s: f64,
    /// Pours learned from.
    pub pours: u32,
    /// The scale's lag that it was learned beside, s.
    pub lag_s: Option<f64>,
    /// Standard deviation of the time, s, once there were pours enough to tell.
    pub scatter_s: Option<f64>,
    /// Share of the flow that is left once the hand was warned, and pours that was learned from.
    pub ease_kept: f64,
    /// See there.
    pub ease_pours: u32,
    /// How fast it pours; none was kept of older ones.
    pub pace: Option<PaceRecord>,
    /// Its time at the end of a trickle, s.
    pub trickle_s: Option<f64>,
    /// How fast it lets it trickle.
    pub trickle: Option<PaceRecord>,
}

/// A usual flow as learned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PaceRecord {
    /// Mean, g/s.
    pub flow_g_s: f64,
    /// Standard deviation from pour to pour, as a share of it.
    pub cv: f64,
    /// Pours learned from.
    pub pours: u32,
}

/// How late a scale shows, as it is known.
#[derive(Clone, Debug, PartialEq)]
pub struct LagRecord {
    /// How late, s.
    pub lag_s: f64,
    /// Its standard uncertainty, s.
    pub u_s: f64,
    /// Steps of the pan it was learned from.
    pub steps: u32,
    /// Word of the way in which it smooths, where it was measured on purpose.
    pub way: Option<String>,
}

/// Whose stopping time: a pourer with a jug on a scale.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct WhoPours(String);

impl WhoPours {
    /// The key under which a hand is kept; unnamed pourers and jugs share one. `guided` is how it is guided, where that
    /// is not as usual.
    pub fn new(pourer: Option<&str>, jug: Option<&str>, guided: Option<&str>, scale: &str) -> Self {
        let guided = guided.map_or(String::new(), |guided| format!("\u{1f}{guided}"));
        Self(format!("{}\u{1f}{}\u{1f}{scale}{guided}", pourer.unwrap_or(""), jug.unwrap_or("")))
    }

    /// As a database key.
    pub fn key(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mark_has_a_word_of_its_own_and_comes_back_from_it() {
        for mark in Mark::ALL {
            let marks = Marks::default().with(mark);
            assert_eq!(Marks::from_words(&marks.words()), marks);
            assert_eq!(marks.iter().collect::<Vec<_>>(), [mark]);
        }
        let all = Mark::ALL.into_iter().fold(Marks::default(), Marks::with);
        assert_eq!(Marks::from_words(&all.words()), all);
        assert_eq!(Marks::from_words("touched of-tomorrow"), Marks::default().with(Mark::Touched));
    }
}
