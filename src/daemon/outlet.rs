//! The loudspeakers as the engine's thread knows them: this computer's and those of the live stream's clients;
//! what was last told of each, and orders to the first without waiting.

use crate::page::view::SoundView;
use crate::pour::engine::Hearing;
use crate::pour::entry::CueCall;
use crate::sound::{Loudspeaker, Order, SoundState, SoundStatus};
use crate::time::Duration;
use std::collections::BTreeMap;

/// By contract no cue is announced longer ahead than this: what is announced can't be moved any more.
const MOST_AHEAD: Duration = Duration::from_millis(250);

/// The loudspeakers, or none.
pub struct Outlet {
    loudspeaker: Option<Loudspeaker>,
    status: SoundStatus,
    clients: BTreeMap<u64, Duration>,
    /// A batch is under way.
    batch: bool,
    /// This computer's was heard in this batch.
    was_on: bool,
}

impl Outlet {
    /// One that is wanted, or none.
    pub fn new(loudspeaker: Option<Loudspeaker>) -> Self {
        let status = if loudspeaker.is_some() { SoundStatus::looking() } else { SoundStatus::off() };
        Self { loudspeaker, status, clients: BTreeMap::new(), batch: false, was_on: false }
    }

    pub(super) fn handle_status(&mut self, status: SoundStatus) {
        if self.status.words != status.words {
            match status.state {
                SoundState::On | SoundState::Opening => tracing::info!("{}", status.words),
                SoundState::Off | SoundState::Missing | SoundState::Dead => {
                    tracing::warn!("{}", status.words);
                }
            }
        }
        self.status = status;
        self.was_on |= self.on();
    }

    /// A client's loudspeaker is heard this late; none: no longer.
    pub(super) fn handle_client(&mut self, client: u64, latency: Option<Duration>) {
        match latency {
            Some(latency) => self.clients.insert(client, latency),
            None => self.clients.remove(&client),
        };
    }

    pub(super) fn play(&self, call: &CueCall) {
        self.give(Order::Cue { cue: call.cue, due: call.due });
    }

    pub(super) fn batch(&mut self, under_way: bool) {
        self.batch = under_way;
        self.was_on = self.on();
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

    fn on(&self) -> bool {
        match self.status.state {
            SoundState::On => true,
            SoundState::Opening | SoundState::Off | SoundState::Missing | SoundState::Dead => false,
        }
    }

    /// It is there: heard, or in a moment.
    fn there(&self) -> bool {
        match self.status.state {
            SoundState::On | SoundState::Opening => true,
            SoundState::Off | SoundState::Missing | SoundState::Dead => false,
        }
    }

    /// How long before it is heard a cue must be announced: as the latest of the loudspeakers needs. Whether
    /// the hand may be listening for one that is gone.
    pub(super) fn hearing(&self) -> Hearing {
        let own = self.there().then_some(self.status.latency);
        let latest = self.clients.values().copied().chain(own).max().unwrap_or_default();
        Hearing { ahead: latest.min(MOST_AHEAD), lost: self.batch && self.was_on && !self.there() }
    }

    /// What whoever begins a batch must know when no cue can be heard.
    pub(super) fn warnings(&self) -> Vec<String> {
        if self.there() || !self.clients.is_empty() {
            return Vec::new();
        }
        vec![format!(
            "no cue can be heard, neither from this computer nor from a client: {}",
            self.status.words
        )]
    }

    pub(super) fn view(&self) -> SoundView {
        let ahead_us = us(self.hearing().ahead);
        SoundView { clients: self.clients.len() as u32, ahead_us, ..view(&self.status) }
    }
}

/// A status as the page shows it.
pub(super) fn view(status: &SoundStatus) -> SoundView {
    SoundView {
        state: status.state.word(),
        device: status.device.clone(),
        latency_us: us(status.latency),
        words: status.words.clone(),
        clients: 0,
        ahead_us: 0,
    }
}

fn us(span: Duration) -> u64 {
    u64::try_from(span.as_micros()).unwrap_or(u64::MAX)
}
