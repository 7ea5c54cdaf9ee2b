//! How a pour is finished: at its one stop, or a little short and then with a trickle.

/// How a pour is finished.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Finish {
    /// At its one stop: slop stands in the piece no longer than it must.
    #[default]
    Stop,
    /// The first stop comes short by what this hand and scale may miss by; what is missing then is let trickle to a stop of
    /// its own. For ware that does not drink, as the slop stands in it for some seconds longer.
    Trickle,
}

impl Finish {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Stop, Self::Trickle];

    /// The word used in settings and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::Trickle => "trickle",
        }
    }

    /// The finish for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|finish| finish.word() == word)
    }
}
