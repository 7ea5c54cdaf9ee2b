//! The writer's thread: takes jobs in order, puts each on disk, says so.
//!
//! Never reorders two jobs. One that the disk refuses is tried again until it is written or
//! the store is closed, except what somebody waits for: that is refused, and dropped.

use super::apply::{Sequence, apply, interrupt_open};
use super::fault::StoreError;
use super::{Ack, Job, Opened, Write};
use crate::record::History;
use rusqlite::Connection;
use std::path::Path;
use std::sync::mpsc::Receiver;
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::{Duration, Instant};

/// Pause between two tries of a refused job: soon enough that a disk with room again is
/// used at once, seldom enough not to load it (own choice).
const RETRY: Duration = Duration::from_millis(500);

/// How long a closing store goes on trying: half of the two seconds a stop may take.
pub(super) const LAST_TRIES: Duration = Duration::from_secs(1);

/// Set once, when the store is being closed, with the moment when it gives up.
pub(super) type Closing = Arc<OnceLock<Instant>>;

/// What was given up at the close.
#[derive(Debug, Default)]
pub(super) struct Left {
    writes: Vec<Write>,
    why: Option<String>,
}

impl Left {
    /// Adds what the writer never saw.
    pub(super) fn and(mut self, rest: impl IntoIterator<Item = Job>) -> Self {
        rest.into_iter().for_each(|job| self.add(job));
        self
    }

    fn add(&mut self, job: Job) {
        // Whoever waits for it learns that nothing was done.
        if !job.asked.is_some_and(|asked| asked.withdraw()) {
            self.writes.push(job.write);
        }
    }

    /// An error unless nothing is left.
    pub(super) fn told(self, file: &Path) -> Result<(), StoreError> {
        if self.writes.is_empty() {
            return Ok(());
        }
        let weights: Vec<String> = self.writes.iter().filter_map(weight).collect();
        let weights =
            if weights.is_empty() { String::new() } else { format!(" (among them {})", weights.join(", ")) };
        let why = self.why.unwrap_or_else(|| "the disk was too slow for what was waiting".to_owned());
        Err(StoreError::Unwritten { file: file.to_owned(), entries: self.writes.len(), weights, why })
    }
}

fn weight(write: &Write) -> Option<String> {
    match write {
        Write::Pour { pour, .. } => {
            pour.net.map(|net| format!("piece {}: {:.1} g, {}", pour.piece, net.g(), pour.verdict.word()))
        }
        Write::BatchCreated(_)
        | Write::BatchBegun { .. }
        | Write::BatchEnded { .. }
        | Write::PourOpened(_)
        | Write::PourVoided(_)
        | Write::PourAgain { .. }
        | Write::NumberLeftOut { .. }
        | Write::Spare(_)
        | Write::Jug(_)
        | Write::Shelf(_)
        | Write::Calibration(_)
        | Write::Retargeted(..)
        | Write::History(_)
        | Write::Lag { .. }
        | Write::Trace { .. }
        | Write::PourDropped { .. } => None,
    }
}

pub(super) struct Writer<A> {
    pub(super) conn: Connection,
    pub(super) last: Sequence,
    pub(super) ack: A,
    pub(super) closing: Closing,
}

impl<A: Fn(Ack)> Writer<A> {
    /// Runs until every sender is gone and the queue is empty; gives what is not on disk.
    pub(super) fn run(mut self, jobs: &Receiver<Job>) -> Left {
        let mut left = Left::default();
        while let Ok(job) = jobs.recv() {
            // Once one entry had to be given up, those behind it must not overtake it.
            if !left.writes.is_empty() || self.closing.get().is_some_and(|until| Instant::now() > *until) {
                left.add(job);
            } else if let Err((write, why)) = self.write(job) {
                left = Left { writes: vec![write], why: Some(why) };
            }
        }
        left
    }

    /// Puts the job on disk; gives it back with the reason only when closing.
    #[allow(clippy::result_large_err, reason = "the write comes back whole so that it can be told")]
    fn write(&mut self, mut job: Job) -> Result<(), (Write, String)> {
        if job.asked.as_ref().is_some_and(|asked| !asked.take()) {
            let reason = "withdrawn before it was written".to_owned();
            (self.ack)(Ack::Refused { ticket: job.ticket, reason });
            return Ok(());
        }
        let mut told = false;
        loop {
            let why = match apply(&mut self.conn, &mut job.write, &mut self.last) {
                Ok(()) => {
                    if matches!(job.write, Write::History(History::Restored { .. })) {
                        self.reopen();
                    }
                    (self.ack)(Ack::Written { ticket: job.ticket, write: job.write });
                    return Ok(());
                }
                Err(error) if job.asked.is_some() => {
                    let reason = format!(
                        "the log could not be written: {error}; nothing was done: make room on the disk or end what locks the log, then ask again"
                    );
                    (self.ack)(Ack::Refused { ticket: job.ticket, reason });
                    return Ok(());
                }
                Err(error) if !told => {
                    told = true;
                    let why = error.to_string();
                    let reason = format!(
                        "the log could not be written: {why}; it is tried again every {} ms, check that the disk has room",
                        RETRY.as_millis()
                    );
                    tracing::error!(ticket = job.ticket, reason);
                    (self.ack)(Ack::Failing { ticket: job.ticket, reason });
                    why
                }
                Err(error) => error.to_string(),
            };
            let Some(pause) = self.pause() else { return Err((job.write, why)) };
            thread::park_timeout(pause);
        }
    }

    /// Another log stands there: read as at a start, pours left open in it are marked.
    fn reopen(&mut self) {
        let interrupted = interrupt_open(&mut self.conn, &mut self.last);
        match interrupted.and_then(|interrupted| Opened::read(&self.conn, interrupted)) {
            Ok(opened) => (self.ack)(Ack::Reopened(Box::new(opened))),
            Err(error) => {
                tracing::error!("the log was put back and can't be read: {error}; start the program again");
            }
        }
    }

    /// How long to wait before the next try; `None` when there is none left.
    fn pause(&self) -> Option<Duration> {
        let Some(until) = self.closing.get() else { return Some(RETRY) };
        let left = until.checked_duration_since(Instant::now())?;
        // A full pause would leave a closing store one try; a tenth leaves it about ten.
        Some(left.min(RETRY / 5))
    }
}
