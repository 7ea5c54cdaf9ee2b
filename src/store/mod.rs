//! The log on disk: batches, pours with their revisions, traces, the learned hand.
//!
//! One writer, on a thread of its own, that acknowledges what is safely on disk; any
//! number of readers beside it. Never blocks whoever hands over a job, never loses one
//! silently, and never shows the database library's types outside.

mod apply;
mod backup;
mod calibrations;
mod fault;
mod find;
mod lock;
mod numbers;
mod query;
mod rows;
mod schema;
mod shelves;
mod sums;
mod tally;
#[cfg(test)]
mod tests;
mod wanted;
mod writer;

pub use backup::{
    BackupFile, backup_file, backup_files, backup_made, check_backup, made_current, new_backup,
};
pub use fault::StoreError;
pub use lock::{Lock, try_writable};
pub use query::Reader;
pub use sums::BatchSums;
pub use wanted::Wanted;

use crate::record::{
    BatchRecord, CalibrationRecord, CalibrationWrite, CheckRecord, HandRecord, History, JugRecord, LagRecord,
    PourRecord, ShelfRecord, SlopCame,
};
use crate::time::WallTime;
use crate::units::Mass;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use writer::{Closing, LAST_TRIES, Left, Writer};

/// Name of the log within its folder.
pub const LOG_FILE: &str = "tarebell.db";

/// Jobs that may wait: more than a minute of pours, at several entries each (own choice).
const QUEUE: usize = 64;

/// One thing to write down.
#[derive(Clone, Debug, PartialEq)]
pub enum Write {
    /// A batch was made.
    BatchCreated(BatchRecord),
    /// A batch was begun; the first time stays, and an end is taken back.
    BatchBegun {
        /// Batch.
        id: String,
        /// When.
        at: WallTime,
    },
    /// A batch was ended.
    BatchEnded {
        /// Batch.
        id: String,
        /// When.
        at: WallTime,
    },
    /// A pour opened: revision 0.
    PourOpened(PourRecord),
    /// A pour was committed or mended: revision 1 and up.
    Pour {
        /// The revision.
        pour: PourRecord,
        /// What was learned from it, under its key; written in the same transaction.
        hand: Option<(String, HandRecord)>,
        /// How late its scale shows, where that is known better by it; in the same transaction.
        lag: Option<LagRecord>,
    },
    /// A person took a committed pour out of the count: a copy of its newest revision as of then,
    /// void. Whatever is weighed later, it stays void.
    PourVoided(PourRecord),
    /// As [`Write::PourVoided`], and the next piece of its batch gets its number.
    PourAgain {
        /// The pour.
        pour: PourRecord,
        /// When that was asked.
        at: WallTime,
    },
    /// A number that no piece will have.
    NumberLeftOut {
        /// Batch.
        batch: String,
        /// The number.
        piece: u32,
        /// When that was asked.
        at: WallTime,
    },
    /// The weight that voids the last record when it is set on the bare pan; none: forgotten.
    Spare(Option<Mass>),
    /// The jug, known by what it weighs empty, and how it stood on the pan last; none: forgotten.
    Jug(Option<JugRecord>),
    /// Versions of glazes, forms and coats, or that one is taken off its shelf: all of them or none.
    Shelf(Vec<ShelfRecord>),
    /// The bucket of a batch has changed: what its further pieces should get. Or slop came to it, which is a version of
    /// its glaze too, where that stands on its shelf.
    Retargeted(BatchRecord, Option<SlopCame>),
    /// What was found of a scale with reference masses.
    Calibration(CalibrationWrite),
    /// Something was done to the log as a whole.
    History(History),
    /// How late a scale shows was measured.
    Lag {
        /// Name of the scale.
        scale: String,
        /// What was found.
        lag: LagRecord,
    },
    /// A committed pour's trace went on, up to the lift.
    Trace {
        /// Pour.
        pour: String,
        /// The whole trace.
        bytes: Vec<u8>,
    },
    /// An open pour was never filled: its row goes, unless it was committed meanwhile.
    PourDropped {
        /// Pour.
        id: String,
    },
}

/// A write with the number its acknowledgement will carry.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// Chosen by whoever hands it over.
    pub ticket: u64,
    /// What to write.
    pub write: Write,
    /// `None`: kept and tried until it is on disk. Otherwise somebody waits for the answer: it is
    /// tried once, and not at all once withdrawn.
    pub asked: Option<Wanted>,
}

/// What the writer says about a job.
#[derive(Clone, Debug, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "nearly all are of the large kind, and they only pass through")]
pub enum Ack {
    /// It is on disk.
    Written {
        /// The job's number.
        ticket: u64,
        /// The write as the log holds it: rounded to micrograms and microseconds, `seq` filled
        /// in, and `rev` moved up if that one was taken.
        write: Write,
    },
    /// Another log was put back: what it says, told before that it is written.
    Reopened(Box<Opened>),
    /// Not written and not tried again: the disk refused what was asked, or it was withdrawn.
    Refused {
        /// The job's number.
        ticket: u64,
        /// What is wrong and what to try.
        reason: String,
    },
    /// The disk refused it; said once per job, which is kept and tried again.
    Failing {
        /// The job's number.
        ticket: u64,
        /// What is wrong and what to try.
        reason: String,
    },
}

/// What was found when the log was opened.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Opened {
    /// Pours that were open when the last writer stopped, as they stand now; no traces.
    pub interrupted: Vec<PourRecord>,
    /// The spare weight, where one is registered.
    pub spare: Option<Mass>,
    /// The jug, where one is known.
    pub jug: Option<JugRecord>,
    /// How late scales show, by their names.
    pub lags: Vec<(String, LagRecord)>,
    /// What scales go by.
    pub calibrations: Vec<CalibrationRecord>,
    /// The latest check of each of those scales, where it was of the calibration that it goes by: it says nothing of another.
    pub checks: Vec<CheckRecord>,
}

impl Opened {
    fn read(conn: &rusqlite::Connection, interrupted: Vec<PourRecord>) -> rusqlite::Result<Self> {
        let calibrations = calibrations::of_scales(conn)?;
        let latest = |c: &CalibrationRecord| {
            let of_it = |check: &CheckRecord| check.calibration.as_ref() == Some(&c.id);
            calibrations::checks(conn, &c.scale, 1).map(|latest| latest.into_iter().find(of_it))
        };
        let checks: Vec<Option<CheckRecord>> = calibrations.iter().map(latest).collect::<Result<_, _>>()?;
        Ok(Self {
            interrupted,
            spare: numbers::spare(conn)?,
            jug: numbers::jug(conn)?,
            lags: query::lags(conn)?,
            calibrations,
            checks: checks.into_iter().flatten().collect(),
        })
    }
}

/// The writer of a folder's log.
#[derive(Debug)]
pub struct Store {
    jobs: Option<SyncSender<Job>>,
    thread: Option<JoinHandle<Left>>,
    closing: Closing,
    file: PathBuf,
    lock: Lock,
}

impl Store {
    /// Takes the folder (made if need be), brings the log up to date, marks pours left open
    /// as interrupted, and starts the writer. `ack` is called on the writer's thread.
    ///
    /// # Errors
    /// [`StoreError::Held`] when another writer has the folder, [`StoreError::Newer`] when a
    /// newer program wrote the log, otherwise what the disk or the log said.
    pub fn open(
        dir: &Path,
        now: WallTime,
        ack: impl Fn(Ack) + Send + 'static,
    ) -> Result<(Self, Opened), StoreError> {
        let lock = Lock::take(dir)?;
        let file = dir.join(LOG_FILE);
        let mut conn = schema::open(&file, schema::STEPS, now)?;
        let mut last = apply::Sequence::read(&conn).map_err(StoreError::log("read", &file))?;
        let interrupted =
            apply::interrupt_open(&mut conn, &mut last).map_err(StoreError::log("write", &file))?;
        let opened = Opened::read(&conn, interrupted).map_err(StoreError::log("read", &file))?;
        let (jobs, queue) = sync_channel(QUEUE);
        let closing = Closing::default();
        let writer = Writer { conn, last, ack, closing: closing.clone() };
        let thread = std::thread::Builder::new()
            .name("log".to_owned())
            .spawn(move || writer.run(&queue))
            .map_err(StoreError::disk("start the writer of", &file))?;
        let store = Self { jobs: Some(jobs), thread: Some(thread), closing, file, lock };
        Ok((store, opened))
    }

    /// Tells later comers where this writer listens.
    ///
    /// # Errors
    /// [`StoreError::Disk`] when it could not be written; the folder stays held.
    pub fn announce(&self, address: impl std::fmt::Display) -> Result<(), StoreError> {
        self.lock.announce(address)
    }

    /// Hands over a job without ever waiting.
    ///
    /// # Errors
    /// The job itself, when the queue is full or the writer is gone: keep it and try again.
    #[allow(clippy::result_large_err, reason = "the job comes back whole so that nothing is lost")]
    pub fn try_write(&self, job: Job) -> Result<(), Job> {
        let Some(jobs) = &self.jobs else { return Err(job) };
        jobs.try_send(job).map_err(|refused| match refused {
            TrySendError::Full(job) | TrySendError::Disconnected(job) => job,
        })
    }

    /// Writes what is queued and then `rest`, and lets the folder go; gives up after 1 s.
    ///
    /// # Errors
    /// [`StoreError::Unwritten`] unless all of it is on disk, [`StoreError::WriterGone`] when
    /// that is not known.
    pub fn close(mut self, rest: impl IntoIterator<Item = Job>) -> Result<(), StoreError> {
        self.finish(rest.into_iter().collect())
    }

    fn finish(&mut self, mut rest: VecDeque<Job>) -> Result<(), StoreError> {
        let until = *self.closing.get_or_init(|| std::time::Instant::now() + LAST_TRIES);
        self.wake();
        while let Some(job) = rest.pop_front() {
            if let Err(job) = self.try_write(job) {
                rest.push_front(job);
                let gone = self.thread.as_ref().is_none_or(JoinHandle::is_finished);
                if gone || std::time::Instant::now() > until {
                    break;
                }
                std::thread::sleep(std::time::Duration::from_millis(1));
            }
        }
        self.jobs = None;
        let Some(thread) = self.thread.take() else { return Ok(()) };
        match thread.join() {
            Ok(left) => left.and(rest).told(&self.file),
            Err(_) => Err(StoreError::WriterGone { file: self.file.clone() }),
        }
    }

    /// Ends the writer's pause between two tries.
    fn wake(&self) {
        if let Some(thread) = &self.thread {
            thread.thread().unpark();
        }
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        // After `close` nothing is left to do; dropped on the way, the log's words are all there is.
        if let Err(error) = self.finish(VecDeque::new()) {
            tracing::error!("{error}");
        }
    }
}
