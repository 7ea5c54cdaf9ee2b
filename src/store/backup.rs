//! The whole log as one file, made and put back while the daemon runs.
//!
//! By the database's own online backup: what is copied is one state of the log, whatever is written meanwhile.

use super::fault::StoreError;
use super::{Reader, schema};
use crate::time::WallTime;
use rusqlite::backup::{Backup, StepResult};
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

/// Files of one second.
const MOST_IN_A_SECOND: u32 = 1000;
/// A copy waits for others that hold the log for so long: they have it for a moment (own choice).
const PATIENCE: Duration = Duration::from_secs(5);
/// ... and looks again after so long.
const AGAIN: Duration = Duration::from_millis(50);

/// Names for a file made now: sorted by time.
fn names(now: WallTime) -> impl Iterator<Item = String> {
    let stamp: String = now.rfc3339().chars().filter(char::is_ascii_alphanumeric).take(15).collect();
    (1..=MOST_IN_A_SECOND).map(move |n| match n {
        1 => format!("tarebell-{stamp}.db"),
        n => format!("tarebell-{stamp}-{n:04}.db"),
    })
}

/// A new, empty file in the folder of copies: no other is ever written over.
///
/// # Errors
/// [`StoreError::Disk`].
pub fn new_backup(dir: &Path, now: WallTime) -> Result<PathBuf, StoreError> {
    let folder = dir.join(BACKUPS);
    std::fs::create_dir_all(&folder).map_err(StoreError::disk("make", &folder))?;
    for name in names(now) {
        let file = folder.join(name);
        match std::fs::OpenOptions::new().write(true).create_new(true).open(&file) {
            Ok(_) => return Ok(file),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(StoreError::disk("make", &file)(e)),
        }
    }
    let full = std::io::Error::from(std::io::ErrorKind::AlreadyExists);
    Err(StoreError::disk("make another file in", &folder)(full))
}

/// What is told of a file that was made.
///
/// # Errors
/// [`StoreError::Disk`].
pub fn backup_made(file: &Path) -> Result<BackupFile, StoreError> {
    let bytes = std::fs::metadata(file).map_err(StoreError::disk("read", file))?.len();
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    Ok(BackupFile { name, bytes })
}

/// Only names that are made here; nothing that leads out of the folder.
fn is_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_' || c == '.';
    name.ends_with(".db") && !name.starts_with('.') && name.chars().all(plain)
}

/// Where this file is; `None` where there is none of this name.
pub fn backup_file(dir: &Path, name: &str) -> Option<PathBuf> {
    let file = dir.join(BACKUPS).join(name);
    // A link may lead out of the folder.
    let plain = file.symlink_metadata().is_ok_and(|known| known.is_file());
    (is_name(name) && plain).then_some(file)
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
        // One that is empty was begun and came to nothing.
        if is_name(&name) && known.is_file() && known.len() > 0 {
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
        let file = new_backup(dir, now)?;
        let made = copy(self.conn(), &file).map_err(StoreError::log("copy", &file));
        made.inspect_err(|_| drop(std::fs::remove_file(&file)))?;
        backup_made(&file)
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
        copy(self.conn(), to).map_err(StoreError::log("copy", to))
    }
}

/// Copies one log into a file that is empty, or not there.
pub(super) fn copy(from: &Connection, to: &Path) -> rusqlite::Result<()> {
    let mut into = Connection::open(to)?;
    run(&Backup::new(from, &mut into)?)?;
    // One file, that needs no other beside it.
    into.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))
}

/// All pages; whoever holds one of the two is waited for, not for ever.
fn run(backup: &Backup<'_, '_>) -> rusqlite::Result<()> {
    let mut waited = Duration::ZERO;
    loop {
        let step = backup.step(PAGES)?;
        if step == StepResult::Done {
            return Ok(());
        }
        if step == StepResult::More {
            waited = Duration::ZERO;
        } else if waited >= PATIENCE {
            return Err(busy());
        } else {
            std::thread::sleep(AGAIN);
            waited += AGAIN;
        }
    }
}

fn busy() -> rusqlite::Error {
    let why = "another program holds the log".to_owned();
    rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY), Some(why))
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
            let lacks = lacks(&conn).map_err(read())?;
            lacks.map_or(Ok(()), |what| {
                let why = format!("it is no whole log: {what} is missing");
                Err(read()(rusqlite::Error::InvalidParameterName(why)))
            })
        }
    }
}

/// The file that is put back in the place of this one: itself, or where it is of an older layout a copy of it that was brought
/// up to date. Gives whether it is such a copy, to be taken away when it is done with. The file itself is never changed.
///
/// # Errors
/// As [`check_backup`] but for [`StoreError::Older`]; [`StoreError::Disk`] where there is no room for the copy.
pub fn made_current(file: &Path, now: WallTime) -> Result<(PathBuf, bool), StoreError> {
    match check_backup(file) {
        Ok(()) => return Ok((file.to_owned(), false)),
        Err(StoreError::Older { found: 1.., .. }) => {}
        Err(StoreError::Older { .. }) => {
            let why = "it holds no log of this program".to_owned();
            return Err(StoreError::log("read", file)(rusqlite::Error::InvalidParameterName(why)));
        }
        Err(other) => return Err(other),
    }
    // Not among those that are listed.
    let current = file.with_file_name(format!(".brought-up-{}.db", now.unix_us()));
    std::fs::copy(file, &current).map_err(StoreError::disk("copy", file))?;
    let brought = schema::bring_up(&current, schema::STEPS).and_then(|()| check_backup(&current));
    brought.inspect_err(|_| drop(std::fs::remove_file(&current)))?;
    Ok((current, true))
}

/// The first table's column of a log of this program that is not there.
fn lacks(conn: &Connection) -> rusqlite::Result<Option<String>> {
    let mine = Connection::open_in_memory()?;
    schema::STEPS.iter().try_for_each(|step| mine.execute_batch(step))?;
    let (wanted, there) = (columns(&mine)?, columns(conn)?);
    Ok(wanted.into_iter().find(|column| !there.contains(column)))
}

fn columns(conn: &Connection) -> rusqlite::Result<Vec<String>> {
    let all = "SELECT t.name || '.' || c.name FROM sqlite_schema t, pragma_table_info(t.name) c WHERE t.type = 'table'";
    conn.prepare(all)?.query_map([], |row| row.get(0))?.collect()
}

/// The log becomes what the file holds.
pub(super) fn restore(conn: &mut Connection, file: &Path) -> rusqlite::Result<()> {
    let from = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    run(&Backup::new_with_names(&from, MAIN_DB, conn, MAIN_DB)?)
}
