//! The potter's own glazes, forms and coats by name: each change is a new version, and old ones stay.

use crate::time::WallTime;
use crate::units::Mass;

/// What stands on which shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shelf {
    /// A bucket of glaze, as it was measured last.
    Glaze,
    /// The inside of a kind of piece.
    Form,
    /// A layer wanted.
    Coat,
}

impl Shelf {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Glaze, Self::Form, Self::Coat];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Glaze => "glaze",
            Self::Form => "form",
            Self::Coat => "coat",
        }
    }

    /// The shelf for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|shelf| shelf.word() == word)
    }
}

/// One version of a thing on a shelf.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShelfRecord {
    /// Where it stands.
    pub shelf: Shelf,
    /// What the potter calls it.
    pub name: String,
    /// From 1; the store gives the next one.
    pub version: u32,
    /// What it is, as JSON text; none: it was taken off the shelf.
    pub body: Option<String>,
    /// What was done, in the potter's words or the page's.
    pub note: String,
    /// When.
    pub made_at: WallTime,
}

/// Slop that came to a batch under way, as it is noted among the versions of its glaze: nothing else of the bucket changed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlopCame {
    /// How much.
    pub slop: Slop,
    /// When.
    pub at: WallTime,
}

/// How much slop came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slop {
    /// So much to what was left.
    Came(Mass),
    /// All that was there then was counted: so much.
    There(Mass),
}

impl Slop {
    /// Members of a version that tell of it, one of them at a time.
    pub const MEMBERS: [&'static str; 2] = ["came_g", "there_g"];

    /// The one that tells of this, with how much.
    pub fn member(self) -> (&'static str, Mass) {
        let [came, there] = Self::MEMBERS;
        match self {
            Self::Came(slop) => (came, slop),
            Self::There(slop) => (there, slop),
        }
    }
}
