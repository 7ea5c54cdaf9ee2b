//! What can go wrong with the log on disk, in words a potter can act on.
//!
//! Never shows the database library's own types.

use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why the log could not be opened, read or written.
#[derive(Debug, Error)]
pub enum StoreError {
    /// Another running program writes in this folder.
    #[error("the folder {} is in use by another tarebell, {}; stop that one, or give this one another folder with --data", dir.display(), holder(address))]
    Held {
        /// The folder.
        dir: PathBuf,
        /// Listen address of the holder; `None` while it has not said.
        address: Option<String>,
    },
    /// The log was written by a newer program.
    #[error("{} has layout {found}, this program knows up to {known}; it was left untouched: run the newer program that wrote it", file.display())]
    Newer {
        /// The log.
        file: PathBuf,
        /// Its layout.
        found: i64,
        /// Newest layout this program knows.
        known: i64,
    },
    /// The log has a layout that has not been brought up to date.
    #[error("{} has the older layout {found}, this program reads {known}; start `tarebell serve` on its folder once to bring it up to date", file.display())]
    Older {
        /// The log.
        file: PathBuf,
        /// Its layout.
        found: i64,
        /// Layout this program reads.
        known: i64,
    },
    /// There is no log in the folder.
    #[error("there is no log in {}; check the folder given with --data, or start `tarebell serve` there first", dir.display())]
    Missing {
        /// The folder.
        dir: PathBuf,
    },
    /// The folder or a file in it can't be used.
    #[error("could not {doing} {}: {source}; check that the disk has room and that you may write there", path.display())]
    Disk {
        /// What was tried.
        doing: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The log was closed before all was on disk.
    #[error("{} not in the log {} and lost{weights}: {why}; make room on the disk or end what locks the log, `tarebell doctor` tells, and note these by hand", counted(*entries), file.display())]
    Unwritten {
        /// The log.
        file: PathBuf,
        /// How many.
        entries: usize,
        /// The weights among them, in words; empty when there are none.
        weights: String,
        /// What the disk said.
        why: String,
    },
    /// The writer's thread failed.
    #[error("the writer of the log {} failed; what was never shown as logged is not on disk: start again and look at the batch's list", file.display())]
    WriterGone {
        /// The log.
        file: PathBuf,
    },
    /// The log itself can't be used.
    #[error("could not {doing} the log {}: {source}; check the disk, and keep a copy of the file before trying anything else", file.display())]
    Log {
        /// What was tried.
        doing: &'static str,
        /// The log.
        file: PathBuf,
        /// What the database said.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

fn counted(entries: usize) -> String {
    if entries == 1 { "1 entry is".to_owned() } else { format!("{entries} entries are") }
}

fn holder(address: &Option<String>) -> String {
    match address {
        Some(address) => format!("at http://{address}"),
        None => "which has not said its address".to_owned(),
    }
}

impl StoreError {
    pub(super) fn disk(doing: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Disk { doing, path, source }
    }

    pub(super) fn log(doing: &'static str, file: &Path) -> impl FnOnce(rusqlite::Error) -> Self {
        let file = file.to_owned();
        move |source| Self::Log { doing, file, source: Box::new(source) }
    }
}
