//! The whole log as one file, made and put back while the daemon runs.
//!
//! By the database's own online backup: what is copied is one state of the log, whatever is written meanwhile.

use super::fault::StoreError;
use super::{Reader, schema};
use crate::time::WallTime;
use rusqlite::backup::Backup;
use rusqlite::{Connection, MAIN_DB, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Folder of the files within the log's own.
const BACKUPS: &str = "backups";
/// Pages copied at once; the writer gets its turn between (the library's own example has 100).
const PAGES: i32 = 1000;

/// A file that holds a whole log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BackupFile {
    /// Its name.
    pub name: String,
    /// Bytes.
    pub bytes: u64,
}

/// The name of a file made now: sorted by time.
fn name(now: WallTime) -> String {
    let stamp: String = now.rfc3339().chars().filter(char::is_ascii_alphanumeric).take(15).collect();
    format!("tarebell-{stamp}.db")
}

/// Only names that are made here; nothing that leads out of the folder.
fn is_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_' || c == '.';
    name.ends_with(".db") && !name.starts_with('.') && name.chars().all(plain)
}

/// Where this file is; `None` where there is none of this name.
pub fn backup_file(dir: &Path, name: &str) -> Option<PathBuf> {
    let file = dir.join(BACKUPS).join(name);
    (is_name(name) && file.is_file()).then_some(file)
}

/// All files that are there, the newest first.
///
/// # Errors
/// [`StoreError::Disk`].
pub fn backup_files(dir: &Path) -> Result<Vec<BackupFile>, StoreError> {
    let folder = dir.join(BACKUPS);
    if !folder.exists() {
        return Ok(Vec::new());
    }
    let mut all = Vec::new();
    for entry in std::fs::read_dir(&folder).map_err(StoreError::disk("read", &folder))? {
        let entry = entry.map_err(StoreError::disk("read", &folder))?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let known = entry.metadata().map_err(StoreError::disk("read", &folder))?;
        if is_name(&name) && known.is_file() {
            all.push(BackupFile { name, bytes: known.len() });
        }
    }
    all.sort_by(|a, b| b.name.cmp(&a.name));
    Ok(all)
}

impl Reader {
    /// Copies the whole log into a new file of the folder's own; gives its name.
    ///
    /// # Errors
    /// [`StoreError::Disk`] or [`StoreError::Log`]; then no file is left.
    pub fn backup(&self, dir: &Path, now: WallTime) -> Result<BackupFile, StoreError> {
        let folder = dir.join(BACKUPS);
        std::fs::create_dir_all(&folder).map_err(StoreError::disk("make", &folder))?;
        let name = name(now);
        let (file, half) = (folder.join(&name), folder.join(format!("{name}.half")));
        self.backup_to(&half).inspect_err(|_| drop(std::fs::remove_file(&half)))?;
        std::fs::rename(&half, &file).map_err(StoreError::disk("name", &file))?;
        let bytes = std::fs::metadata(&file).map_err(StoreError::disk("read", &file))?.len();
        Ok(BackupFile { name, bytes })
    }

    /// Copies the whole log into this file, which must not be there yet.
    ///
    /// # Errors
    /// [`StoreError::Disk`] or [`StoreError::Log`].
    pub fn backup_to(&self, to: &Path) -> Result<(), StoreError> {
        if to.exists() {
            let there = std::io::Error::from(std::io::ErrorKind::AlreadyExists);
            return Err(StoreError::disk("make", to)(there));
        }
        copied(self.conn(), to).map_err(StoreError::log("copy", to))
    }
}

fn copied(from: &Connection, to: &Path) -> rusqlite::Result<()> {
    let mut into = Connection::open(to)?;
    Backup::new(from, &mut into)?.run_to_completion(PAGES, Duration::ZERO, None)?;
    // One file, that needs no other beside it.
    into.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))
}

/// Whether this file is a sound log that this program can put back.
///
/// # Errors
/// [`StoreError::Newer`], [`StoreError::Older`], or [`StoreError::Log`] where it is damaged or no log at all.
pub fn check_backup(file: &Path) -> Result<(), StoreError> {
    let read = || StoreError::log("read", file);
    let conn = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(read())?;
    let found = schema::layout(&conn).map_err(read())?;
    let known = schema::STEPS.len() as i64;
    let sound: String = conn.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)).map_err(read())?;
    if sound != "ok" {
        return Err(read()(rusqlite::Error::InvalidColumnName(format!("it is damaged: {sound}"))));
    }
    match found.cmp(&known) {
        std::cmp::Ordering::Greater => Err(StoreError::Newer { file: file.to_owned(), found, known }),
        std::cmp::Ordering::Less => Err(StoreError::Older { file: file.to_owned(), found, known }),
        std::cmp::Ordering::Equal => {
            conn.query_row("SELECT COUNT(*) FROM batch", [], |row| row.get::<_, i64>(0)).map_err(read())?;
            Ok(())
        }
    }
}

/// The log becomes what the file holds.
pub(super) fn restore(conn: &mut Connection, file: &Path) -> rusqlite::Result<()> {
    let from = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    Backup::new_with_names(&from, MAIN_DB, conn, MAIN_DB)?.run_to_completion(PAGES, Duration::ZERO, None)
}
