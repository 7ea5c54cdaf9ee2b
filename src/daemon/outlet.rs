//! The loudspeakers as the engine's thread knows them: this computer's and those of the live stream's clients;
//! what was last told of each, and orders to the first without waiting.

use crate::page::desk::MOST_AHEAD;
use crate::page::view::SoundView;
use crate::pour::engine::Hearing;
use crate::pour::entry::CueCall;
use crate::sound::{Loudspeaker, Order, SoundState, SoundStatus};
use crate::time::Duration;
use std::collections::BTreeMap;

/// The loudspeakers, or none.
pub struct Outlet {
    loudspeaker: Option<Loudspeaker>,
    status: SoundStatus,
    clients: BTreeMap<u64, Duration>,
    /// A batch is under way.
    batch: bool,
    /// This computer's was heard in this batch.
    was_on: bool,
    /// So was a client's.
    client_was_on: bool,
}

impl Outlet {
    /// One that is wanted, or none.
    pub fn new(loudspeaker: Option<Loudspeaker>) -> Self {
        let status = if loudspeaker.is_some() { SoundStatus::looking() } else { SoundStatus::off() };
        Self {
            loudspeaker,
            status,
            clients: BTreeMap::new(),
            batch: false,
            was_on: false,
            client_was_on: false,
        }
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
        self.client_was_on |= !self.clients.is_empty();
    }

    pub(super) fn play(&self, call: &CueCall) {
        self.give(Order::Cue { cue: call.cue, due: call.due });
    }

    pub(super) fn batch(&mut self, under_way: bool) {
        self.batch = under_way;
        self.was_on = self.on();
        self.client_was_on = !self.clients.is_empty();
        self.give(Order::Batch(under_way));
    }

    /// A routine at the pan keeps this computer's open as a batch does, and loses nothing when it goes: its steps wait.
    pub(super) fn routine(&mut self, under_way: bool) {
        if !self.batch {
            self.give(Order::Batch(under_way));
        }
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
    /// the hand may be listening for one that is gone: this computer's, or the last of all.
    pub(super) fn hearing(&self) -> Hearing {
        let own = self.there().then_some(self.status.latency);
        let latest = self.clients.values().copied().chain(own).max().unwrap_or_default();
        let silent = self.client_was_on && self.clients.is_empty();
        Hearing {
            ahead: latest.min(MOST_AHEAD),
            lost: self.batch && !self.there() && (self.was_on || silent),
        }
    }

    /// What whoever begins a batch must know when no cue can be heard, or none in time.
    pub(super) fn warnings(&self) -> Vec<String> {
        let late_ms = self.status.latency.as_millis();
        if self.on() && self.status.latency > MOST_AHEAD {
            return vec![format!(
                "this computer's loudspeaker is heard {late_ms} ms late, and no cue is announced more than {} ms ahead: \
                 every stop comes too late. Use a wired one",
                MOST_AHEAD.as_millis()
            )];
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    const MS: Duration = Duration::from_millis(1);

    fn own(state: SoundState, latency: Duration) -> SoundStatus {
        SoundStatus { state, latency, ..SoundStatus::looking() }
    }

    #[test]
    fn the_last_loudspeaker_of_a_batch_that_goes_is_lost_whosever_it_is_and_one_of_two_clients_is_not() {
        let mut outlet = Outlet::new(None);
        outlet.handle_client(1, Some(40 * MS));
        outlet.batch(true);
        outlet.handle_client(2, Some(60 * MS));
        assert_eq!(outlet.hearing(), Hearing { ahead: 60 * MS, lost: false });
        outlet.handle_client(2, None);
        assert_eq!(outlet.hearing(), Hearing { ahead: 40 * MS, lost: false });
        outlet.handle_client(1, None);
        assert_eq!(outlet.hearing(), Hearing { ahead: Duration::ZERO, lost: true });
        outlet.handle_client(3, Some(30 * MS));
        assert!(!outlet.hearing().lost, "another takes over");
        outlet.handle_client(3, None);
        outlet.batch(false);
        assert!(!outlet.hearing().lost);
        outlet.batch(true);
        assert!(!outlet.hearing().lost, "in this batch none was there");
    }

    #[test]
    fn a_client_that_goes_while_this_computer_is_heard_is_not_lost_and_this_computers_is_beside_a_client() {
        let mut outlet = Outlet::new(None);
        outlet.handle_status(own(SoundState::On, 30 * MS));
        outlet.handle_client(1, Some(40 * MS));
        outlet.batch(true);
        outlet.handle_client(1, None);
        assert!(!outlet.hearing().lost);
        outlet.handle_client(1, Some(40 * MS));
        outlet.handle_status(own(SoundState::Dead, Duration::ZERO));
        assert!(outlet.hearing().lost, "the hand may listen to the one here");
    }

    #[test]
    fn one_that_is_being_opened_is_not_lost_and_cues_come_as_early_as_it_needs() {
        let mut outlet = Outlet::new(None);
        outlet.handle_status(own(SoundState::On, 30 * MS));
        outlet.batch(true);
        outlet.handle_status(own(SoundState::Opening, 30 * MS));
        assert_eq!(outlet.hearing(), Hearing { ahead: 30 * MS, lost: false });
        assert_eq!(outlet.view().state, "opening");
        outlet.handle_status(own(SoundState::Dead, Duration::ZERO));
        assert!(outlet.hearing().lost);
    }

    #[test]
    fn a_begin_warns_of_a_loudspeaker_that_is_later_than_any_cue_is_announced() {
        let mut outlet = Outlet::new(None);
        outlet.handle_status(own(SoundState::On, 250 * MS));
        assert_eq!(outlet.warnings(), Vec::<String>::new());
        outlet.handle_status(own(SoundState::On, 300 * MS));
        assert!(outlet.warnings()[0].contains("300 ms") && outlet.warnings()[0].contains("wired"));
    }
}
