//! The loudspeaker as the engine's thread knows it: what was last told of it, and orders without waiting.

use crate::page::view::SoundView;
use crate::pour::entry::CueCall;
use crate::sound::{Loudspeaker, Order, SoundState, SoundStatus};
use crate::time::Duration;

/// By contract no cue is announced longer ahead than this: what is announced can't be moved any more.
const MOST_AHEAD: Duration = Duration::from_millis(250);

/// The loudspeaker, or none.
pub struct Outlet {
    loudspeaker: Option<Loudspeaker>,
    status: SoundStatus,
}

impl Outlet {
    /// One that is wanted, or none.
    pub fn new(loudspeaker: Option<Loudspeaker>) -> Self {
        let status = if loudspeaker.is_some() { SoundStatus::looking() } else { SoundStatus::off() };
        Self { loudspeaker, status }
    }

    pub(super) fn handle_status(&mut self, status: SoundStatus) {
        if self.status.words != status.words {
            match status.state {
                SoundState::On => tracing::info!("{}", status.words),
                SoundState::Off | SoundState::Missing | SoundState::Dead => {
                    tracing::warn!("{}", status.words);
                }
            }
        }
        self.status = status;
    }

    pub(super) fn play(&self, call: &CueCall) {
        self.give(Order::Cue { cue: call.cue, due: call.due });
    }

    pub(super) fn batch(&self, under_way: bool) {
        self.give(Order::Batch(under_way));
    }

    /// The daemon ends as it should.
    pub(super) fn end(&self) {
        self.give(Order::End);
    }

    fn give(&self, order: Order) {
        if let Some(loudspeaker) = &self.loudspeaker {
            loudspeaker.give(order);
        }
    }

    /// How long before it is heard a cue must be announced.
    pub(super) fn ahead(&self) -> Duration {
        match self.status.state {
            SoundState::On => self.status.latency.min(MOST_AHEAD),
            SoundState::Off | SoundState::Missing | SoundState::Dead => Duration::ZERO,
        }
    }

    /// What whoever begins a batch must know when no cue can be heard.
    pub(super) fn warnings(&self) -> Vec<String> {
        match self.status.state {
            SoundState::On => Vec::new(),
            SoundState::Off | SoundState::Missing | SoundState::Dead => {
                vec![format!("no cue can be heard from this computer: {}", self.status.words)]
            }
        }
    }

    pub(super) fn view(&self) -> SoundView {
        view(&self.status)
    }
}

/// A status as the page shows it.
pub(super) fn view(status: &SoundStatus) -> SoundView {
    SoundView {
        state: status.state.word(),
        device: status.device.clone(),
        latency_us: u64::try_from(status.latency.as_micros()).unwrap_or(u64::MAX),
        words: status.words.clone(),
    }
}
