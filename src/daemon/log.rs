//! What still has to reach the disk: nothing is let go before the store says it is written.

use super::event::Reply;
use super::table::answer_to;
use crate::page::desk::{Begun, Refusal};
use crate::record::{HandRecord, PourRecord};
use crate::store::{Ack, Job, Store, StoreError, Write};
use std::collections::{HashMap, VecDeque};

/// Jobs on their way to the disk.
#[derive(Default)]
pub(super) struct Log {
    next_ticket: u64,
    /// Not yet taken by the store.
    waiting: VecDeque<Job>,
    /// Taken, not yet written.
    under_way: u64,
    failing: bool,
    answers: HashMap<u64, (Reply, Begun)>,
}

impl Log {
    pub(super) fn add(&mut self, write: Write) -> u64 {
        self.next_ticket += 1;
        self.waiting.push_back(Job { ticket: self.next_ticket, write });
        self.next_ticket
    }

    /// As [`Log::add`], with an answer that is given only once it is on disk.
    pub(super) fn add_answering(&mut self, write: Write, reply: Reply, answer: Begun) -> u64 {
        let ticket = self.add(write);
        self.answers.insert(ticket, (reply, answer));
        ticket
    }

    /// Puts what was learned into the transaction of the pour it was learned from.
    pub(super) fn learned(&mut self, key: &str, record: HandRecord) {
        if let Some(Job { write: Write::Pour { hand, .. }, .. }) = self.waiting.back_mut() {
            *hand = Some((key.to_owned(), record));
        }
    }

    /// Hands over what the store takes; never waits.
    pub(super) fn flush(&mut self, store: &Store) {
        while let Some(job) = self.waiting.pop_front() {
            match store.try_write(job) {
                Ok(()) => self.under_way += 1,
                Err(job) => {
                    self.waiting.push_front(job);
                    break;
                }
            }
        }
    }

    /// Takes the store's word; gives the pour that is now on disk, if it was one to tell.
    pub(super) fn handle_ack(&mut self, ack: Ack) -> Option<PourRecord> {
        match ack {
            Ack::Written { ticket, write } => {
                self.under_way = self.under_way.saturating_sub(1);
                self.failing = false;
                if let Some((reply, answer)) = self.answers.remove(&ticket) {
                    answer_to(&reply, Ok(answer));
                }
                match write {
                    Write::Pour { pour, .. } => Some(pour),
                    Write::BatchCreated(_)
                    | Write::BatchBegun { .. }
                    | Write::BatchEnded { .. }
                    | Write::PourOpened(_)
                    | Write::PourDropped { .. } => None,
                }
            }
            Ack::Failing { ticket, reason } => {
                tracing::error!("log: {reason}");
                self.failing = true;
                if let Some((reply, _)) = self.answers.remove(&ticket) {
                    answer_to(&reply, Err(Refusal::Storage(reason)));
                }
                None
            }
        }
    }

    /// Something is not on disk that should be.
    pub(super) fn in_trouble(&self) -> bool {
        self.failing || self.waiting.len() > 1
    }

    /// Records not on disk while writing fails.
    pub(super) fn unwritten(&self) -> u64 {
        if self.in_trouble() { self.under_way + self.waiting.len() as u64 } else { 0 }
    }

    /// Hands the rest over and waits for the disk, about a second at most.
    pub(super) fn close(self, store: Store) -> Result<(), StoreError> {
        store.close(self.waiting)
    }
}
