//! The potter's own glazes, forms and coats.
//!
//! Never changes a version: a change is a new one.

use super::rows::unknown;
use crate::record::{BatchRecord, Shelf, ShelfRecord, Slop, SlopCame};
use crate::time::WallTime;
use rusqlite::{Connection, Row, params};
use serde_json::Value;

const COLUMNS: &str = "shelf, name, version, body, note, made_us";

/// The newest version of each thing that was not taken off, by shelf and name.
pub(super) fn newest(conn: &Connection) -> rusqlite::Result<Vec<ShelfRecord>> {
    let sql = format!(
        "SELECT {COLUMNS} FROM shelf s WHERE body IS NOT NULL AND version = (SELECT MAX(n.version) FROM shelf n \
         WHERE n.shelf = s.shelf AND n.name = s.name) ORDER BY shelf, name"
    );
    conn.prepare_cached(&sql)?.query_map([], record)?.collect()
}

/// All versions of all, the oldest first.
pub(super) fn all(conn: &Connection) -> rusqlite::Result<Vec<ShelfRecord>> {
    let sql = format!("SELECT {COLUMNS} FROM shelf ORDER BY shelf, name, version");
    conn.prepare_cached(&sql)?.query_map([], record)?.collect()
}

/// All versions of one thing, the newest first.
pub(super) fn versions(conn: &Connection, shelf: Shelf, name: &str) -> rusqlite::Result<Vec<ShelfRecord>> {
    let sql = format!("SELECT {COLUMNS} FROM shelf WHERE shelf = $1 AND name = $2 ORDER BY version DESC");
    conn.prepare_cached(&sql)?.query_map(params![shelf.word(), name], record)?.collect()
}

/// Puts the next version on its shelf; its number is filled in.
pub(super) fn put(conn: &Connection, record: &mut ShelfRecord) -> rusqlite::Result<()> {
    let sql = "SELECT COALESCE(MAX(version), 0) + 1 FROM shelf WHERE shelf = $1 AND name = $2";
    record.version =
        conn.prepare_cached(sql)?.query_row(params![record.shelf.word(), record.name], |row| row.get(0))?;
    let sql = format!("INSERT INTO shelf ({COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6)");
    conn.prepare_cached(&sql)?.execute(params![
        record.shelf.word(),
        record.name,
        record.version,
        record.body,
        record.note,
        record.made_at.unix_us(),
    ])?;
    Ok(())
}

/// What is written in a version that slop came to, where nothing else was done, and in one that says what is there.
const REFILLED: &str = "refilled the jug";
const COUNTED: &str = "counted what is there";
/// How much there is, as it was told with the bucket: no longer so where all of it was counted.
const AT_HAND: &str = "slop_g";

/// Slop came to this batch, or was counted: a version of its glaze that says so, all else as in the newest one, where that
/// stands on its shelf. Every batch under way or to come that goes by the same bucket goes by it.
pub(super) fn note_slop(conn: &Connection, batch: &mut BatchRecord, came: &SlopCame) -> rusqlite::Result<()> {
    let Some(glaze) = &batch.glaze_name else { return Ok(()) };
    let newest = versions(conn, Shelf::Glaze, glaze)?.into_iter().next();
    let Some((before, body)) = newest.and_then(|n| Some((n.version, n.body?))) else { return Ok(()) };
    let Ok(Value::Object(mut body)) = serde_json::from_str(&body) else { return Ok(()) };
    body.retain(|member, _| !Slop::MEMBERS.contains(&member.as_str()));
    let counted = matches!(came.slop, Slop::There(_));
    if counted {
        body.remove(AT_HAND);
    }
    let (member, slop) = came.slop.member();
    body.insert(member.to_owned(), slop.g().into());
    let mut record = ShelfRecord {
        shelf: Shelf::Glaze,
        name: glaze.clone(),
        version: 0,
        body: Some(Value::Object(body).to_string()),
        note: if counted { COUNTED } else { REFILLED }.to_owned(),
        made_at: came.at,
    };
    put(conn, &mut record)?;
    let follow = "UPDATE batch SET bucket = $1 WHERE glaze_name = $2 AND ended_us IS NULL AND bucket = $3";
    conn.prepare_cached(follow)?.execute(params![record.version, record.name, before])?;
    if batch.bucket == Some(before) {
        batch.bucket = Some(record.version);
    }
    Ok(())
}

fn record(row: &Row<'_>) -> rusqlite::Result<ShelfRecord> {
    let word: String = row.get("shelf")?;
    Ok(ShelfRecord {
        shelf: Shelf::from_word(&word).ok_or_else(|| unknown(row, "shelf", &word))?,
        name: row.get("name")?,
        version: row.get("version")?,
        body: row.get("body")?,
        note: row.get("note")?,
        made_at: WallTime::from_unix_us(row.get("made_us")?),
    })
}
