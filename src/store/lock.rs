//! One writer to a folder: an operating system lock, and a test that the disk takes writes.
//!
//! Never opens the log itself: closing a second handle on it would drop the
//! database's own locks in this process.

use super::fault::StoreError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

const LOCK_FILE: &str = "tarebell.lock";

/// Size of the probe, in bytes: several pages of the log plus its write-ahead frames, so
/// a disk with only a crumb of room left is noticed (own choice).
const PROBE_BYTES: usize = 64 * 1024;

/// Probes of this process so far.
static PROBES: AtomicU64 = AtomicU64::new(0);

/// Held for the life of a writer. The system lets go when the process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    file: File,
    path: PathBuf,
}

impl Lock {
    /// Takes the folder for this process; creates it if need be.
    ///
    /// # Errors
    /// [`StoreError::Held`] when another writer has it, [`StoreError::Disk`] when it can't be used.
    pub fn take(dir: &Path) -> Result<Self, StoreError> {
        std::fs::create_dir_all(dir).map_err(StoreError::disk("create", dir))?;
        let path = dir.join(LOCK_FILE);
        let open = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let file = open.map_err(StoreError::disk("open", &path))?;
        match file.try_lock() {
            Ok(()) => {
                // An address left by an earlier holder must not be told as ours.
                file.set_len(0).map_err(StoreError::disk("write", &path))?;
                Ok(Self { file, path })
            }
            Err(TryLockError::WouldBlock) => {
                Err(StoreError::Held { dir: dir.to_owned(), address: read_address(&path) })
            }
            Err(TryLockError::Error(source)) => Err(StoreError::Disk { doing: "lock", path, source }),
        }
    }

    /// Writes the address this process listens on, for whoever is refused later.
    ///
    /// # Errors
    /// [`StoreError::Disk`] when it could not be written; the lock is kept all the same.
    pub fn announce(&self, address: impl std::fmt::Display) -> Result<(), StoreError> {
        let mut file = &self.file;
        // In one write: a formatted one goes out in parts, and whoever reads between two gets half a port.
        let line = format!("{address}\n");
        file.set_len(0)
            .and_then(|()| file.seek(SeekFrom::Start(0)))
            .and_then(|_| file.write_all(line.as_bytes()))
            .map_err(StoreError::disk("write", &self.path))
    }
}

/// The address of the holder, once its line is whole.
fn read_address(path: &Path) -> Option<String> {
    let text = std::fs::read_to_string(path).ok()?;
    let address = text.strip_suffix('\n')?.trim();
    (!address.is_empty()).then(|| address.to_owned())
}

/// Whether the log in `dir` can be written now: a real, small, synced write, removed again.
///
/// # Errors
/// [`StoreError::Disk`] with what the system said.
pub fn try_writable(dir: &Path) -> Result<(), StoreError> {
    let log = dir.join(super::LOG_FILE);
    if std::fs::metadata(&log).is_ok_and(|facts| facts.permissions().readonly()) {
        let source = std::io::Error::new(std::io::ErrorKind::PermissionDenied, "the file is read-only");
        return Err(StoreError::Disk { doing: "write", path: log, source });
    }
    // Two may be asked for at once: each has a file of its own.
    let nth = PROBES.fetch_add(1, Ordering::Relaxed);
    let path = dir.join(format!("tarebell-{}-{nth}.probe", std::process::id()));
    let written = File::create(&path).and_then(|mut file| {
        file.write_all(&[0x5a; PROBE_BYTES])?;
        file.sync_all()
    });
    let removed = std::fs::remove_file(&path);
    written.and(removed).map_err(StoreError::disk("write", &path))
}
