//! Brings the log's layout up to date, one step after another.
//!
//! Never edits a step, never changes a file that a newer program wrote, and never
//! steps an existing log without a copy of it set aside first.

use super::fault::StoreError;
use crate::time::WallTime;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::path::{Path, PathBuf};

/// All steps, oldest first; the layout's number is how many have run.
pub(super) const STEPS: &[&str] = &[
    include_str!("schema/0001.sql"),
    include_str!("schema/0002.sql"),
    include_str!("schema/0003.sql"),
    include_str!("schema/0004.sql"),
    include_str!("schema/0005.sql"),
    include_str!("schema/0006.sql"),
    include_str!("schema/0007.sql"),
    include_str!("schema/0008.sql"),
    include_str!("schema/0009.sql"),
];

/// Refuses a log newer than `steps`, through a connection that can't write.
fn refuse_newer(file: &Path, steps: &[&str]) -> Result<(), StoreError> {
    if !file.exists() {
        return Ok(());
    }
    let conn = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY)
        .map_err(StoreError::log("open", file))?;
    let found = layout(&conn).map_err(StoreError::log("read", file))?;
    let known = steps.len() as i64;
    if found > known { Err(StoreError::Newer { file: file.to_owned(), found, known }) } else { Ok(()) }
}

/// The number of steps the log has had.
pub(super) fn layout(conn: &Connection) -> rusqlite::Result<i64> {
    conn.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// Opens the log for writing with its layout up to date.
pub(super) fn open(file: &Path, steps: &[&str], now: WallTime) -> Result<Connection, StoreError> {
    refuse_newer(file, steps)?;
    let mut conn = Connection::open(file).map_err(StoreError::log("open", file))?;
    settle_in(&conn).map_err(StoreError::log("open", file))?;
    step(&mut conn, file, steps, now)?;
    Ok(conn)
}

fn settle_in(conn: &Connection) -> rusqlite::Result<()> {
    // Only a copying tool or an inspecting person can hold the log; a quarter second
    // keeps the writer's own retry in charge (own choice).
    conn.busy_timeout(std::time::Duration::from_millis(250))?;
    let mode: String = conn.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))?;
    if mode != "wal" {
        tracing::warn!(mode, "this disk does not allow the log's usual mode; reading beside it may wait");
    }
    // What was taken out, a nickname above all, does not stand on in freed pages.
    conn.execute_batch("PRAGMA synchronous = FULL; PRAGMA secure_delete = ON")
}

fn step(conn: &mut Connection, file: &Path, steps: &[&str], now: WallTime) -> Result<(), StoreError> {
    let failed = || StoreError::log("bring up to date", file);
    let found = layout(conn).map_err(failed())?;
    let had = usize::try_from(found).unwrap_or(0);
    if had >= steps.len() {
        return Ok(());
    }
    let tables: i64 = conn
        .query_row("SELECT COUNT(*) FROM sqlite_master", [], |row| row.get(0))
        .map_err(StoreError::log("read", file))?;
    if tables > 0 {
        copy_aside(conn, &aside(file, found, now)).map_err(StoreError::log("copy aside", file))?;
    }
    run(conn, steps, had).map_err(failed())
}

/// The steps that are still to be done, each whole or not at all.
fn run(conn: &mut Connection, steps: &[&str], had: usize) -> rusqlite::Result<()> {
    for (index, sql) in steps.iter().enumerate().skip(had) {
        let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute_batch(sql)?;
        tx.pragma_update(None, "user_version", index as i64 + 1)?;
        tx.commit()?;
    }
    Ok(())
}

/// Brings a file up to date that is a copy already, as one file that needs no other beside it.
pub(super) fn bring_up(copy: &Path, steps: &[&str]) -> Result<(), StoreError> {
    let failed = || StoreError::log("bring up to date", copy);
    let mut conn = Connection::open(copy).map_err(failed())?;
    let had = usize::try_from(layout(&conn).map_err(failed())?).unwrap_or(0);
    conn.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(())).map_err(failed())?;
    run(&mut conn, steps, had).map_err(failed())?;
    // A log in use takes only pages as large as its own: those that the library makes where nothing is said.
    conn.execute_batch("PRAGMA page_size = 4096; VACUUM").map_err(failed())
}

/// Where the copy of a log goes before its layout changes.
fn aside(file: &Path, layout: i64, now: WallTime) -> PathBuf {
    file.with_file_name(format!("tarebell-layout-{layout}-{}.db", now.unix_us()))
}

fn copy_aside(conn: &Connection, to: &Path) -> rusqlite::Result<()> {
    conn.execute("VACUUM INTO $1", [to.to_string_lossy()])?;
    Ok(())
}
