//! The database's version: steps are never edited once merged; before one runs on a file
//! with something in it the file is copied aside; a newer file is refused untouched.

use super::StoreError;
use super::write::Base;
use crate::time::WallTime;
use rusqlite::{Connection, OpenFlags};
use std::path::Path;

const STEPS: [&str; 1] = [include_str!("schema/0001.sql")];

pub(super) fn database(path: &Path) -> impl Fn(rusqlite::Error) -> StoreError {
    let path = path.to_owned();
    move |source| StoreError::Database { path: path.clone(), source }
}

fn version(db: &Connection) -> rusqlite::Result<i64> {
    db.query_row("PRAGMA user_version", [], |r| r.get(0))
}

pub(super) fn open(file: &Path, now: WallTime) -> Result<Base, StoreError> {
    let wrong = database(file);
    let known = STEPS.len() as i64;
    if file.exists() {
        let look = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(&wrong)?;
        let found = version(&look).map_err(&wrong)?;
        if found > known {
            return Err(StoreError::Newer { file: file.to_owned(), found, known });
        }
    }
    let mut db = Connection::open(file).map_err(&wrong)?;
    db.pragma_update(None, "journal_mode", "WAL").map_err(&wrong)?;
    db.pragma_update(None, "synchronous", "FULL").map_err(&wrong)?;
    db.pragma_update(None, "foreign_keys", true).map_err(&wrong)?;
    let from = version(&db).map_err(&wrong)?;
    if from > 0 && from < known {
        let aside = file.with_extension(format!("v{from}-{}.db", now.unix_us()));
        db.execute("VACUUM INTO ?1", [aside.to_string_lossy()]).map_err(&wrong)?;
    }
    for (i, step) in STEPS.iter().enumerate().skip(usize::try_from(from).unwrap_or(0)) {
        let tx = db.transaction().map_err(&wrong)?;
        tx.execute_batch(step).map_err(&wrong)?;
        tx.pragma_update(None, "user_version", i as i64 + 1).map_err(&wrong)?;
        tx.commit().map_err(&wrong)?;
    }
    Ok(Base { db, path: file.to_owned() })
}
