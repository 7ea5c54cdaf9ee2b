//! The log on disk: SQLite in its own thread, write-ahead, synced at every commit.
//!
//! Nothing is called written before it is on disk; a job that fails is kept and tried
//! again, in order, until it works.

mod folder;
mod query;
mod rows;
mod schema;
mod write;

pub use folder::try_writable;
pub use query::Reader;

use crate::record::{BatchRecord, HandRecord, PourRecord};
use crate::time::WallTime;
use folder::Lock;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::{Duration, Instant};

/// Jobs that may wait for the disk.
const QUEUE: usize = 64;
/// A failing job is tried again after this.
const RETRY: Duration = Duration::from_millis(500);
/// On closing, a failing job is given up after this.
const LAST_TRIES: Duration = Duration::from_secs(1);
/// The database's file.
const FILE: &str = "tarebell.db";

/// What can go wrong with the log.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another daemon has the folder.
    #[error("{} is held by the tarebell that serves {address}: use that one, or another --data", dir.display())]
    Held {
        /// Folder.
        dir: PathBuf,
        /// Address of the holder, as it wrote it down.
        address: String,
    },
    /// Made by a newer program.
    #[error("{} is of version {found}; this program knows {known}: use the newer tarebell", file.display())]
    Newer {
        /// File.
        file: PathBuf,
        /// Its version.
        found: i64,
        /// Ours.
        known: i64,
    },
    /// The folder can't be written or read.
    #[error("can't {what} {}: {source}; check permissions and free space", path.display())]
    Folder {
        /// What was tried.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// The database refuses.
    #[error("the log {}: {source}; check permissions and free space", path.display())]
    Database {
        /// Where.
        path: PathBuf,
        /// Why.
        source: rusqlite::Error,
    },
}

/// One thing to write.
#[derive(Clone, Debug, PartialEq)]
pub enum Write {
    /// A new batch.
    BatchCreated(BatchRecord),
    /// A batch began.
    BatchBegun {
        /// Which.
        id: String,
        /// When.
        at: WallTime,
    },
    /// A batch ended.
    BatchEnded {
        /// Which.
        id: String,
        /// When.
        at: WallTime,
    },
    /// A piece is ready: its row is open.
    PourOpened(PourRecord),
    /// A revision, and what was learned from it.
    Pour {
        /// The record; its `seq` is set by the store.
        pour: PourRecord,
        /// Whose hand, and the time learned.
        hand: Option<(String, HandRecord)>,
    },
    /// A piece was taken away empty: its open row goes.
    PourDropped {
        /// Which.
        id: String,
    },
}

/// A thing to write with the number its answer carries.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// Given by the sender.
    pub ticket: u64,
    /// What.
    pub write: Write,
}

/// The store's answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Ack {
    /// On disk.
    Written {
        /// The job's.
        ticket: u64,
        /// As written.
        write: Write,
    },
    /// Not on disk yet; kept, and tried again.
    Failing {
        /// The job's.
        ticket: u64,
        /// What is wrong and what to try.
        reason: String,
    },
}

/// What was found on opening.
#[derive(Debug)]
pub struct Opened {
    /// Pours that were open when the last daemon stopped; now void.
    pub interrupted: Vec<PourRecord>,
}

/// The writer's handle.
pub struct Store {
    jobs: Option<SyncSender<Job>>,
    thread: Option<std::thread::JoinHandle<()>>,
    lock: Lock,
}

impl Store {
    /// Takes the folder, brings the database up to date, marks open pours as interrupted.
    pub fn open(
        dir: &Path,
        now: WallTime,
        ack: impl Fn(Ack) + Send + 'static,
    ) -> Result<(Self, Opened), StoreError> {
        let lock = Lock::take(dir)?;
        let mut base = schema::open(&dir.join(FILE), now)?;
        let interrupted = base.interrupt_open()?;
        let (jobs, inbox) = sync_channel(QUEUE);
        let thread = std::thread::Builder::new()
            .name("log".to_owned())
            .spawn(move || work(&mut base, &inbox, &ack))
            .map_err(|source| StoreError::Folder {
                what: "start a thread for",
                path: dir.to_owned(),
                source,
            })?;
        Ok((Self { jobs: Some(jobs), thread: Some(thread), lock }, Opened { interrupted }))
    }

    /// Writes the address into the lock file, for those who come second.
    pub fn announce(&self, address: &str) -> Result<(), StoreError> {
        self.lock.announce(address)
    }

    /// Hands a job over if there is room; never waits.
    pub fn try_write(&self, job: Job) -> Result<(), Job> {
        match &self.jobs {
            Some(jobs) => jobs.try_send(job).map_err(|e| match e {
                TrySendError::Full(job) | TrySendError::Disconnected(job) => job,
            }),
            None => Err(job),
        }
    }

    /// Writes what is queued and lets go of the folder.
    pub fn close(self) {
        drop(self);
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            // A panic there was already reported by its hook.
            let _ = thread.join();
        }
    }
}

fn work(base: &mut write::Base, inbox: &Receiver<Job>, ack: &impl Fn(Ack)) {
    while let Ok(job) = inbox.recv() {
        if !persist(base, job, inbox, ack) {
            return;
        }
    }
}

/// Tries one job until it is written; false when it was given up on closing.
fn persist(base: &mut write::Base, job: Job, inbox: &Receiver<Job>, ack: &impl Fn(Ack)) -> bool {
    let Job { ticket, mut write } = job;
    let mut kept = std::collections::VecDeque::new();
    let (mut told, mut closing) = (false, None::<Instant>);
    loop {
        match base.write(&mut write) {
            Ok(()) => break,
            Err(error) if !told => {
                told = true;
                ack(Ack::Failing { ticket, reason: error.to_string() });
            }
            Err(_) => {}
        }
        if closing.is_some_and(|since| since.elapsed() > LAST_TRIES) {
            return false;
        }
        // Room for two queues: the engine's thread keeps the rest.
        let wait = if kept.len() < QUEUE { RETRY } else { Duration::ZERO };
        match if wait.is_zero() { Err(RecvTimeoutError::Timeout) } else { inbox.recv_timeout(wait) } {
            Ok(job) => kept.push_back(job),
            Err(RecvTimeoutError::Timeout) => std::thread::sleep(RETRY.saturating_sub(wait)),
            Err(RecvTimeoutError::Disconnected) => {
                closing.get_or_insert_with(Instant::now);
                std::thread::sleep(Duration::from_millis(100));
            }
        }
    }
    ack(Ack::Written { ticket, write });
    kept.into_iter().all(|job| persist(base, job, inbox, ack))
}
