//! Reads of the log: opened read-only, beside a running daemon or without one.

use super::rows::{self, BATCH};
use super::schema::database;
use super::{FILE, StoreError};
use crate::record::{BatchRecord, HandRecord, PourRecord};
use rusqlite::{Connection, OpenFlags, OptionalExtension, params};
use std::path::{Path, PathBuf};

/// A reader.
pub struct Reader {
    db: Connection,
    path: PathBuf,
}

impl Reader {
    /// Opens the log in this folder.
    pub fn open(dir: &Path) -> Result<Self, StoreError> {
        let path = dir.join(FILE);
        let db =
            Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(database(&path))?;
        db.busy_timeout(std::time::Duration::from_secs(2)).map_err(database(&path))?;
        Ok(Self { db, path })
    }

    fn list<T>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        row: impl FnMut(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let wrong = database(&self.path);
        let mut found = self.db.prepare(sql).map_err(&wrong)?;
        let rows = found.query_map(values, row).map_err(&wrong)?;
        rows.collect::<Result<Vec<_>, _>>().map_err(&wrong)
    }

    /// All batches, newest first.
    pub fn batches(&self) -> Result<Vec<BatchRecord>, StoreError> {
        self.list(&format!("SELECT {BATCH} FROM batch ORDER BY created_us DESC, id DESC"), [], rows::batch)
    }

    /// One batch.
    pub fn batch(&self, id: &str) -> Result<Option<BatchRecord>, StoreError> {
        let found = self.list(&format!("SELECT {BATCH} FROM batch WHERE id = ?1"), [id], rows::batch)?;
        Ok(found.into_iter().next())
    }

    /// The newest revision of each pour of a batch, by piece.
    pub fn pours(&self, batch: &str) -> Result<Vec<PourRecord>, StoreError> {
        let sql = "SELECT * FROM pour WHERE batch = ?1 AND newest = 1 ORDER BY piece, started_us, id";
        self.list(sql, [batch], rows::pour)
    }

    /// Every revision of a pour, oldest first.
    pub fn revisions(&self, pour: &str) -> Result<Vec<PourRecord>, StoreError> {
        self.list("SELECT * FROM pour WHERE id = ?1 ORDER BY rev", [pour], rows::pour)
    }

    /// What was learned of a hand.
    pub fn hand(&self, who: &str) -> Result<Option<HandRecord>, StoreError> {
        let read = |r: &rusqlite::Row<'_>| {
            Ok(HandRecord { hand_s: r.get::<_, i64>(0)? as f64 / 1e6, pours: r.get(1)? })
        };
        let sql = "SELECT hand_us, pours FROM hand WHERE who = ?1";
        self.db.query_row(sql, params![who], read).optional().map_err(database(&self.path))
    }

    /// A pour's trace.
    pub fn trace(&self, pour: &str) -> Result<Option<Vec<u8>>, StoreError> {
        let sql = "SELECT body FROM trace WHERE pour = ?1";
        let body: Option<String> =
            self.db.query_row(sql, params![pour], |r| r.get(0)).optional().map_err(database(&self.path))?;
        let byte = |i: usize, text: &str| text.get(i..i + 2).and_then(|h| u8::from_str_radix(h, 16).ok());
        Ok(body.and_then(|text| (0..text.len()).step_by(2).map(|i| byte(i, &text)).collect()))
    }
}
