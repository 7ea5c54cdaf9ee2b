//! Reads the log, also beside a running daemon.
//!
//! Never writes: the reader's connection is opened read-only.

use super::fault::StoreError;
use super::sums::BatchSums;
use super::{LOG_FILE, calibrations, find, numbers, rows, schema, shelves, tally};
use crate::record::{
    BatchRecord, CalibrationRecord, CheckRecord, Found, HandRecord, LagRecord, Numbers, PourRecord, Search,
    Shelf, ShelfRecord, Tally,
};
use crate::units::Mass;
use rusqlite::types::Type;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Params, params};
use std::path::{Path, PathBuf};

/// How long a read may wait for a checkpoint or a recovery to end (own choice).
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(2);

/// A read-only view of the log.
#[derive(Debug)]
pub struct Reader {
    conn: Connection,
    file: PathBuf,
}

impl Reader {
    /// Opens the log in `dir` for reading.
    ///
    /// # Errors
    /// [`StoreError::Missing`], [`StoreError::Newer`], [`StoreError::Older`] or [`StoreError::Log`].
    pub fn open(dir: &Path) -> Result<Self, StoreError> {
        let file = dir.join(LOG_FILE);
        if !file.exists() {
            return Err(StoreError::Missing { dir: dir.to_owned() });
        }
        let conn = Connection::open_with_flags(&file, OpenFlags::SQLITE_OPEN_READ_ONLY)
            .map_err(StoreError::log("open", &file))?;
        conn.busy_timeout(PATIENCE).map_err(StoreError::log("open", &file))?;
        let found = schema::layout(&conn).map_err(StoreError::log("read", &file))?;
        let known = schema::STEPS.len() as i64;
        match found.cmp(&known) {
            std::cmp::Ordering::Less => Err(StoreError::Older { file, found, known }),
            std::cmp::Ordering::Greater => Err(StoreError::Newer { file, found, known }),
            std::cmp::Ordering::Equal => {
                find::fold_all_letters(&conn).map_err(StoreError::log("open", &file))?;
                Ok(Self { conn, file })
            }
        }
    }

    fn read<T>(&self, result: rusqlite::Result<T>) -> Result<T, StoreError> {
        result.map_err(StoreError::log("read", &self.file))
    }

    /// The connection, for a copy of all of it.
    pub(super) fn conn(&self) -> &Connection {
        &self.conn
    }

    /// What is kept of each batch with pieces that count, the oldest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn tallies(&self) -> Result<Vec<Tally>, StoreError> {
        self.read(tally::all(&self.conn))
    }

    /// At most so many pours that fit, the latest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn find(&self, search: &Search, most: usize) -> Result<Vec<Found>, StoreError> {
        self.read(find::find(&self.conn, search, most))
    }

    /// Whether batches may be compared by who poured.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn by_pourer(&self) -> Result<bool, StoreError> {
        self.read(find::by_pourer(&self.conn))
    }

    /// The run rules that were chosen, one bit each; none were: `None`.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn run_rules(&self) -> Result<Option<i64>, StoreError> {
        self.read(find::kept(&self.conn, super::apply::RUN_RULES))
    }

    /// All batches, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn batches(&self) -> Result<Vec<BatchRecord>, StoreError> {
        self.read(batches(&self.conn))
    }

    /// At most so many of them, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn latest(&self, most: u32) -> Result<Vec<BatchRecord>, StoreError> {
        self.read(latest(&self.conn, most))
    }

    /// One batch; `None` when the log has no such id.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn batch(&self, id: &str) -> Result<Option<BatchRecord>, StoreError> {
        self.read(batch(&self.conn, id))
    }

    /// The sums kept with a batch; `None` when the log has no such id.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn sums(&self, batch: &str) -> Result<Option<BatchSums>, StoreError> {
        self.read(sums(&self.conn, batch))
    }

    /// The newest revision of each pour of a batch, by piece, then start. An open pour is
    /// among them as revision 0. Traces are left empty: ask [`Reader::trace`].
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn pours(&self, batch: &str) -> Result<Vec<PourRecord>, StoreError> {
        self.read(pours(&self.conn, batch))
    }

    /// The newest revision of one pour, without its trace; `None` when the log has no such id.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn pour(&self, id: &str) -> Result<Option<PourRecord>, StoreError> {
        self.read(newest(&self.conn, id))
    }

    /// All revisions of one pour, oldest first, without traces.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn revisions(&self, id: &str) -> Result<Vec<PourRecord>, StoreError> {
        self.read(select_pours(&self.conn, "WHERE p.id = $1 ORDER BY p.rev", [id]))
    }

    /// The hand learned under a key; `None` before the first pour with it.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn hand(&self, key: &str) -> Result<Option<HandRecord>, StoreError> {
        let sql = "SELECT * FROM hand WHERE key = $1";
        self.read(self.conn.query_row(sql, [key], rows::hand).optional())
    }

    /// The newest version of each glaze, form and coat that was not taken off its shelf, by shelf and name.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn shelves(&self) -> Result<Vec<ShelfRecord>, StoreError> {
        self.read(shelves::newest(&self.conn))
    }

    /// All versions of all of them, also of those taken off, the oldest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn all_shelves(&self) -> Result<Vec<ShelfRecord>, StoreError> {
        self.read(shelves::all(&self.conn))
    }

    /// All versions of one of them, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn versions(&self, shelf: Shelf, name: &str) -> Result<Vec<ShelfRecord>, StoreError> {
        self.read(shelves::versions(&self.conn, shelf, name))
    }

    /// All calibrations, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn calibrations(&self) -> Result<Vec<CalibrationRecord>, StoreError> {
        self.read(calibrations::all(&self.conn))
    }

    /// One calibration; `None` when the log has no such id.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn calibration(&self, id: &str) -> Result<Option<CalibrationRecord>, StoreError> {
        self.read(calibrations::one(&self.conn, id))
    }

    /// The calibration that a scale goes by; `None`: by what it shows.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn in_force(&self, scale: &str) -> Result<Option<CalibrationRecord>, StoreError> {
        self.read(calibrations::of_scale(&self.conn, scale))
    }

    /// The latest checks of a scale, at most so many, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn checks(&self, scale: &str, most: u32) -> Result<Vec<CheckRecord>, StoreError> {
        self.read(calibrations::checks(&self.conn, scale, most))
    }

    /// The potter's own reference masses, as JSON text; `None` where none were kept.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn masses(&self) -> Result<Option<String>, StoreError> {
        self.read(calibrations::masses(&self.conn))
    }

    /// Which number the next piece of this batch gets.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn numbers(&self, batch: &BatchRecord) -> Result<Numbers, StoreError> {
        self.read(numbers::numbers(&self.conn, batch))
    }

    /// A pour of the same batch and number that was started after this one.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn poured_again(&self, pour: &PourRecord) -> Result<Option<PourRecord>, StoreError> {
        self.read(numbers::later(&self.conn, pour))
    }

    /// The heaviest bare piece of this batch, its glaze or its name; `None` before the first.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn heaviest(&self, batch: &BatchRecord) -> Result<Option<Mass>, StoreError> {
        self.read(numbers::heaviest(&self.conn, batch))
    }

    /// Bare weight, and weight with its slop, of at most `most` of the latest pieces of all batches.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn lately(&self, most: usize) -> Result<Vec<(Mass, Option<Mass>)>, StoreError> {
        self.read(numbers::lately(&self.conn, most))
    }

    /// The trace of a pour; `None` when none was kept.
    ///
    /// # Errors
    /// [`StoreError::Log`].
    pub fn trace(&self, pour: &str) -> Result<Option<Vec<u8>>, StoreError> {
        let sql = "SELECT bytes FROM trace WHERE pour = $1";
        self.read(self.conn.query_row(sql, [pour], |row| row.get(0)).optional())
    }
}

/// How late scales show.
pub(super) fn lags(conn: &Connection) -> rusqlite::Result<Vec<(String, LagRecord)>> {
    conn.prepare("SELECT * FROM lag ORDER BY scale")?.query_map([], rows::lag)?.collect()
}

fn batches(conn: &Connection) -> rusqlite::Result<Vec<BatchRecord>> {
    let sql = format!("SELECT {} FROM batch ORDER BY created_us DESC, id DESC", rows::BATCH_COLUMNS);
    conn.prepare(&sql)?.query_map([], rows::batch)?.collect()
}

fn latest(conn: &Connection, most: u32) -> rusqlite::Result<Vec<BatchRecord>> {
    let sql = format!("SELECT {} FROM batch ORDER BY created_us DESC, id DESC LIMIT $1", rows::BATCH_COLUMNS);
    conn.prepare(&sql)?.query_map([most], rows::batch)?.collect()
}

pub(super) fn batch(conn: &Connection, id: &str) -> rusqlite::Result<Option<BatchRecord>> {
    let sql = format!("SELECT {} FROM batch WHERE id = $1", rows::BATCH_COLUMNS);
    conn.prepare_cached(&sql)?.query_row([id], rows::batch).optional()
}

pub(super) fn sums(conn: &Connection, batch: &str) -> rusqlite::Result<Option<BatchSums>> {
    let sql = "SELECT n, sum_ug, sum_squares_ug2, min_ug, max_ug FROM batch WHERE id = $1";
    conn.prepare_cached(sql)?
        .query_row([batch], |row| {
            let squares: String = row.get(2)?;
            let wrong = |e| rusqlite::Error::FromSqlConversionFailure(2, Type::Text, Box::new(e));
            Ok(BatchSums {
                n: row.get::<_, i64>(0)?.unsigned_abs(),
                sum_ug: row.get(1)?,
                sum_squares_ug2: squares.parse().map_err(wrong)?,
                min_ug: row.get(3)?,
                max_ug: row.get(4)?,
            })
        })
        .optional()
}

fn select_pours(conn: &Connection, rest: &str, with: impl Params) -> rusqlite::Result<Vec<PourRecord>> {
    let sql = format!("SELECT {}, {} FROM pour p {rest}", rows::POUR_COLUMNS, rows::POUR_FIRED);
    conn.prepare_cached(&sql)?.query_map(with, rows::pour)?.collect()
}

const IS_NEWEST: &str = "p.rev = (SELECT MAX(q.rev) FROM pour q WHERE q.id = p.id)";

pub(super) fn pours(conn: &Connection, batch: &str) -> rusqlite::Result<Vec<PourRecord>> {
    let rest = format!("WHERE p.batch = $1 AND {IS_NEWEST} ORDER BY p.piece, p.started_us, p.id");
    select_pours(conn, &rest, [batch])
}

/// Pours that were opened and never committed, in the order they were opened.
pub(super) fn open_pours(conn: &Connection) -> rusqlite::Result<Vec<PourRecord>> {
    select_pours(conn, &format!("WHERE p.rev = 0 AND {IS_NEWEST} ORDER BY p.seq"), [])
}

pub(super) fn newest(conn: &Connection, id: &str) -> rusqlite::Result<Option<PourRecord>> {
    Ok(select_pours(conn, "WHERE p.id = $1 ORDER BY p.rev DESC LIMIT 1", [id])?.pop())
}

pub(super) fn revision(conn: &Connection, id: &str, rev: u32) -> rusqlite::Result<Option<PourRecord>> {
    Ok(select_pours(conn, "WHERE p.id = $1 AND p.rev = $2", params![id, rev])?.pop())
}
