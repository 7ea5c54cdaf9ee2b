//! How the loudspeaker is: words for whoever asks. Pure.

use crate::time::Duration;

/// A change of the delay under this is not worth telling.
const SAME_LATENCY: Duration = Duration::from_millis(2);

/// Why there is no sound, and what to try.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SoundError {
    /// Nothing to play on.
    #[error("no loudspeaker found: plug one in or switch it on")]
    None,
    /// Not the one that was asked for.
    #[error("no loudspeaker has '{wanted}' in its name: set [sound] device to part of one of: {found}")]
    NotNamed {
        /// As set.
        wanted: String,
        /// What is there.
        found: String,
    },
    /// Another program has it.
    #[error("the loudspeaker '{device}' is in use by another program: close that one")]
    Busy {
        /// Its name.
        device: String,
    },
    /// This user may not.
    #[error("no permission to use the loudspeaker '{device}': add yourself to the group audio, log in again")]
    Permission {
        /// Its name.
        device: String,
    },
    /// Anything else that the system says.
    #[error("the loudspeaker '{device}' can't be used ({why}): choose another with [sound] device")]
    Refused {
        /// Its name.
        device: String,
        /// The system's words.
        why: String,
    },
    /// It hangs.
    #[error("the loudspeaker does not answer: unplug it and plug it in again, or restart the sound service")]
    Hangs,
    /// It was there, and takes no more.
    #[error("the loudspeaker '{device}' takes no more sound: plug it in again; tried again by itself")]
    Dead {
        /// Its name.
        device: String,
    },
}

/// How the loudspeaker is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SoundState {
    /// It can be heard.
    On,
    /// It is there, closed, and being opened for a batch: not heard yet.
    Opening,
    /// It is not wanted.
    Off,
    /// There is none.
    Missing,
    /// It was there and takes no more, or hangs.
    Dead,
}

impl SoundState {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Opening => "opening",
            Self::Off => "off",
            Self::Missing => "missing",
            Self::Dead => "dead",
        }
    }
}

/// What is known of the loudspeaker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundStatus {
    /// How it is.
    pub state: SoundState,
    /// Its name.
    pub device: Option<String>,
    /// From an order to the ear, as far as the system tells: the longest so far.
    pub latency: Duration,
    /// In plain words, with what to try.
    pub words: String,
}

impl SoundStatus {
    /// Nobody wants sound.
    pub fn off() -> Self {
        let words = "sound is off (--no-sound): live clients only".to_owned();
        Self { state: SoundState::Off, device: None, latency: Duration::ZERO, words }
    }

    /// Before anything was tried.
    pub fn looking() -> Self {
        let words = "looking for a loudspeaker".to_owned();
        Self { state: SoundState::Missing, device: None, latency: Duration::ZERO, words }
    }

    pub(super) fn on(device: &str, latency: Duration) -> Self {
        let words = format!("sound goes to '{device}'");
        Self { state: SoundState::On, device: Some(device.to_owned()), latency, words }
    }

    /// One that was closed is opened; as late as it was.
    pub(super) fn opening(was: &Self) -> Self {
        let words = format!("opening '{}'", was.device.as_deref().unwrap_or("the loudspeaker"));
        Self { state: SoundState::Opening, words, ..was.clone() }
    }

    pub(super) fn without(error: &SoundError) -> Self {
        let state = match error {
            SoundError::None
            | SoundError::NotNamed { .. }
            | SoundError::Busy { .. }
            | SoundError::Permission { .. }
            | SoundError::Refused { .. } => SoundState::Missing,
            SoundError::Hangs | SoundError::Dead { .. } => SoundState::Dead,
        };
        Self { state, device: None, latency: Duration::ZERO, words: error.to_string() }
    }

    pub(super) fn differs(&self, other: &Self) -> bool {
        let (more, less) = (self.latency.max(other.latency), self.latency.min(other.latency));
        (self.state, &self.device, &self.words) != (other.state, &other.device, &other.words)
            || more - less > SAME_LATENCY
    }
}
