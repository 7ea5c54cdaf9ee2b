//! What is sounded before the stop.

/// How a stream is guided to its stop.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Guidance {
    /// Nothing before the stop: the hand answers a tone it doesn't know the time of.
    Stop,
    /// `approach` and two pips, then the stop; each is moved to where the stop is by then foreseen.
    #[default]
    Warned,
    /// `approach` and three even pips; the stop is the fourth beat, and the hand keeps time with it.
    Countdown,
}

impl Guidance {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Stop, Self::Warned, Self::Countdown];

    /// The word used in settings and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::Warned => "warned",
            Self::Countdown => "countdown",
        }
    }

    /// The guidance for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|guidance| guidance.word() == word)
    }

    /// Pips before the stop.
    pub(super) const fn pips(self) -> u32 {
        match self {
            Self::Stop => 0,
            Self::Warned => 2,
            Self::Countdown => 3,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_guidance_comes_back_from_its_word() {
        for guidance in Guidance::ALL {
            assert_eq!(Guidance::from_word(guidance.word()), Some(guidance));
        }
        assert_eq!(Guidance::from_word("beeps"), None);
    }
}
