//! The writer's thread: takes jobs in order, puts each on disk, says so.
//!
//! Never skips a job and never reorders two; a job the disk refuses is tried again
//! until it is written or the store is closed.

use super::apply::{Sequence, apply};
use super::{Ack, Job};
use rusqlite::Connection;
use std::sync::mpsc::Receiver;
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::{Duration, Instant};

/// Pause between two tries of a refused job: soon enough that a disk with room again is
/// used at once, seldom enough not to load it (own choice).
const RETRY: Duration = Duration::from_millis(500);

/// How long a closing store goes on trying: half of the two seconds a stop may take.
const LAST_TRIES: Duration = Duration::from_secs(1);

/// Set once, with the moment, when the store is being closed.
pub(super) type Closing = Arc<OnceLock<Instant>>;

pub(super) struct Writer<A> {
    pub(super) conn: Connection,
    pub(super) last: Sequence,
    pub(super) ack: A,
    pub(super) closing: Closing,
}

impl<A: Fn(Ack)> Writer<A> {
    /// Runs until every sender is gone and the queue is empty.
    pub(super) fn run(mut self, jobs: &Receiver<Job>) {
        let mut lost = 0_usize;
        while let Ok(job) = jobs.recv() {
            // Once one entry had to be given up, those behind it must not overtake it.
            if lost > 0 || !self.write(job) {
                lost += 1;
            }
        }
        if lost > 0 {
            tracing::error!(lost, "closed with entries the disk would not take");
        }
    }

    /// Whether the job is on disk; `false` only when closing.
    fn write(&mut self, mut job: Job) -> bool {
        let mut told = false;
        loop {
            match apply(&mut self.conn, &mut job.write, &mut self.last) {
                Ok(()) => {
                    (self.ack)(Ack::Written { ticket: job.ticket, write: job.write });
                    return true;
                }
                Err(error) if !told => {
                    told = true;
                    let reason = format!(
                        "the log could not be written: {error}; it is tried again every {} ms, check that the disk has room",
                        RETRY.as_millis()
                    );
                    tracing::error!(ticket = job.ticket, reason);
                    (self.ack)(Ack::Failing { ticket: job.ticket, reason });
                }
                Err(error) => tracing::debug!(ticket = job.ticket, %error, "refused again"),
            }
            let Some(pause) = self.pause() else { return false };
            thread::park_timeout(pause);
        }
    }

    /// How long to wait before the next try; `None` when there is none left.
    fn pause(&self) -> Option<Duration> {
        let Some(since) = self.closing.get() else { return Some(RETRY) };
        let left = LAST_TRIES.checked_sub(since.elapsed())?;
        // A full pause would leave a closing store one try; a tenth leaves it about ten.
        Some(left.min(RETRY / 5))
    }
}
