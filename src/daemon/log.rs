//! What still has to reach the disk: nothing is let go before the store says it is written.
//!
//! Pours and ends are kept until they are on disk. What somebody waits for and was told has
//! failed is never done later.

use super::event::{Answer, Reply};
use super::open::begun;
use crate::page::desk::Refusal;
use crate::record::{BatchRecord, HandRecord, LagRecord, PourRecord};
use crate::store::{Ack, Job, Store, StoreError, Write};
use std::collections::{HashMap, HashSet, VecDeque};

/// Somebody who waits until a job is on disk.
struct Asker {
    reply: Reply,
    answer: Answer,
    /// The job is kept, whatever is answered.
    kept: bool,
}

/// Jobs on their way to the disk.
#[derive(Default)]
pub(super) struct Log {
    next_ticket: u64,
    /// Not yet taken by the store.
    waiting: VecDeque<Job>,
    /// Records taken and kept by the store, not yet written.
    under_way: HashSet<u64>,
    /// Why the disk refuses what is kept.
    failing: Option<String>,
    askers: HashMap<u64, Vec<Asker>>,
    /// Batches that have ended, with the end not on disk yet.
    ends: Vec<BatchRecord>,
}

impl Log {
    /// Adds what is kept until it is on disk.
    pub(super) fn add(&mut self, write: Write) -> u64 {
        self.push(write, None)
    }

    /// Adds what somebody waits for: answered once it is on disk, or as failed and then never done.
    pub(super) fn ask(&mut self, write: Write, reply: Reply, answer: impl Into<Answer>) -> u64 {
        let ticket = self.push(write, Some(&reply));
        self.also(ticket, reply, answer);
        ticket
    }

    fn push(&mut self, write: Write, reply: Option<&Reply>) -> u64 {
        self.next_ticket += 1;
        let asked = reply.map(|reply| reply.wanted.clone());
        self.waiting.push_back(Job { ticket: self.next_ticket, write, asked });
        self.next_ticket
    }

    /// Answers one more when this job is on disk or refused.
    pub(super) fn also(&mut self, ticket: u64, reply: Reply, answer: impl Into<Answer>) {
        self.askers.entry(ticket).or_default().push(Asker { reply, answer: answer.into(), kept: false });
    }

    /// Adds the end of a batch. It has ended already, so this is kept, also when answered as failed.
    pub(super) fn end(&mut self, batch: BatchRecord, reply: Reply) {
        let Some(at) = batch.ended_at else { return };
        let ticket = self.add(Write::BatchEnded { id: batch.id.clone(), at });
        self.ends.push(batch.clone());
        if let Some(why) = self.trouble() {
            return reply.give(Err(Refusal::Storage(ended_but(&why))));
        }
        let answer = begun(batch, Vec::new()).into();
        self.askers.insert(ticket, vec![Asker { reply, answer, kept: true }]);
    }

    /// A batch that has ended, though the disk does not know yet.
    pub(super) fn ended(&self, id: &str) -> Option<&BatchRecord> {
        self.ends.iter().find(|batch| batch.id == id)
    }

    /// Puts what was learned into the transaction of the pour it was learned from.
    pub(super) fn learned(&mut self, key: &str, record: HandRecord, of_scale: Option<LagRecord>) {
        if let Some(Job { write: Write::Pour { hand, lag, .. }, .. }) = self.waiting.back_mut() {
            *hand = Some((key.to_owned(), record));
            *lag = of_scale;
        }
    }

    /// Hands over what the store takes; never waits.
    pub(super) fn flush(&mut self, store: &Store) {
        while let Some(job) = self.waiting.pop_front() {
            let (ticket, record) = (job.ticket, is_record(&job));
            match store.try_write(job) {
                Ok(()) if record => drop(self.under_way.insert(ticket)),
                Ok(()) => {}
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
                self.under_way.remove(&ticket);
                self.failing = None;
                for asker in self.askers.remove(&ticket).unwrap_or_default() {
                    asker.reply.tell(Ok(asker.answer));
                }
                return self.written(write);
            }
            Ack::Refused { ticket, reason } => {
                for asker in self.askers.remove(&ticket).unwrap_or_default() {
                    asker.reply.give(Err(Refusal::Storage(reason.clone())));
                }
            }
            Ack::Reopened(_) => {}
            Ack::Failing { reason, .. } => {
                tracing::error!("log: {reason}");
                self.refuse_all(&reason);
                self.failing = Some(reason);
            }
        }
        None
    }

    fn written(&mut self, write: Write) -> Option<PourRecord> {
        match write {
            Write::Pour { pour, .. } | Write::PourVoided(pour) | Write::PourAgain { pour, .. } => {
                return Some(pour);
            }
            Write::BatchEnded { id, .. } => self.ends.retain(|batch| batch.id != id),
            Write::BatchCreated(_)
            | Write::BatchBegun { .. }
            | Write::PourOpened(_)
            | Write::NumberLeftOut { .. }
            | Write::Spare(_)
            | Write::Jug(_)
            | Write::Shelf(_)
            | Write::Calibration(_)
            | Write::History(_)
            | Write::Retargeted(..)
            | Write::Lag { .. }
            | Write::Trace { .. }
            | Write::PourDropped { .. } => {}
        }
        None
    }

    /// Nobody has to wait for jobs that stand behind one that fails.
    fn refuse_all(&mut self, why: &str) {
        for asker in self.askers.values_mut().flat_map(std::mem::take) {
            if asker.kept {
                asker.reply.give(Err(Refusal::Storage(ended_but(why))));
            } else if asker.reply.wanted.withdraw() {
                asker.reply.give(Err(Refusal::Storage(format!("nothing was done: {why}"))));
            }
        }
        self.askers.clear();
    }

    /// What is wrong, when something is not on disk that should be.
    pub(super) fn trouble(&self) -> Option<String> {
        let slow = self.waiting.len() > 1;
        self.failing.clone().or_else(|| {
            slow.then(|| "the disk is too slow for the log: check it with `tarebell doctor`".to_owned())
        })
    }

    /// Records not on disk while writing fails.
    pub(super) fn unwritten(&self) -> u64 {
        let waiting = self.waiting.iter().filter(|job| is_record(job)).count();
        if self.trouble().is_some() { (self.under_way.len() + waiting) as u64 } else { 0 }
    }

    /// Hands the rest over and waits for the disk, about a second at most.
    pub(super) fn close(self, store: Store) -> Result<(), StoreError> {
        store.close(self.waiting)
    }
}

/// Kept until it is on disk, and missed in a list until then; a trace that goes on is not missed.
fn is_record(job: &Job) -> bool {
    job.asked.is_none() && !matches!(job.write, Write::Trace { .. })
}

fn ended_but(why: &str) -> String {
    format!("the batch has ended, and its end is written as soon as the disk takes it; {why}")
}
