//! What slop is poured from: how it comes, and which pause ends a pour.

use crate::time::Duration;

/// What the potter pours from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Vessel {
    /// One stream, that a hand ends.
    #[default]
    Jug,
    /// A lump at once: nothing can be called in it, only what is missing is poured by ear.
    Ladle,
    /// Strokes of a squeeze bottle.
    Squeeze,
    /// Strokes of a syringe.
    Syringe,
}

impl Vessel {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Jug, Self::Ladle, Self::Squeeze, Self::Syringe];

    /// The word used in settings and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Jug => "jug",
            Self::Ladle => "ladle",
            Self::Squeeze => "squeeze",
            Self::Syringe => "syringe",
        }
    }

    /// The vessel for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|vessel| vessel.word() == word)
    }

    /// A stream that rests this long without a stop has ended. A hand's own pause is shorter; between
    /// two strokes a bottle draws air for a second or two, a syringe is filled anew (common practice, no source).
    pub const fn pause(self) -> Duration {
        match self {
            Self::Jug => Duration::from_millis(1500),
            Self::Ladle => Duration::from_millis(600),
            Self::Squeeze => Duration::from_millis(3000),
            Self::Syringe => Duration::from_millis(6000),
        }
    }

    /// Slop comes as a jump of the display.
    pub const fn in_lumps(self) -> bool {
        match self {
            Self::Ladle => true,
            Self::Jug | Self::Squeeze | Self::Syringe => false,
        }
    }
}
