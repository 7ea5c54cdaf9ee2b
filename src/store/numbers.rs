//! The numbers of pieces: what was used, what was left out, what is to be poured again; and the heaviest
//! piece of a ware.

use super::{query, rows};
use crate::record::{BatchRecord, JugRecord, Numbers, PourRecord, Stood};
use crate::time::WallTime;
use crate::units::Mass;
use rusqlite::{Connection, OptionalExtension, params};

/// All batches of one glaze share their numbers; one without a glaze's name has its own.
const OF_THE_GLAZE: &str = "(b.id = $1 OR b.glaze_name = $2)";

/// Where the numbering of a batch stands.
pub(super) fn numbers(conn: &Connection, batch: &BatchRecord) -> rusqlite::Result<Numbers> {
    let greatest = |table: &str| -> rusqlite::Result<u32> {
        let sql = format!(
            "SELECT COALESCE(MAX(n.piece), 0) FROM {table} n JOIN batch b ON b.id = n.batch WHERE {OF_THE_GLAZE}"
        );
        conn.prepare_cached(&sql)?.query_row(params![batch.id, batch.glaze_name], |row| row.get(0))
    };
    let last = greatest("pour")?.max(greatest("number")?);
    Ok(Numbers::after(last, waiting(conn, &batch.id)?))
}

/// Numbers of a batch that are to be poured again and were not yet, the oldest wish first.
fn waiting(conn: &Connection, batch: &str) -> rusqlite::Result<Vec<u32>> {
    let sql = "SELECT n.piece FROM number n WHERE n.batch = $1 AND n.pour IS NOT NULL AND NOT EXISTS \
               (SELECT 1 FROM pour p WHERE p.batch = n.batch AND p.piece = n.piece AND p.started_us >= n.asked_us) \
               AND NOT EXISTS (SELECT 1 FROM number o WHERE o.batch = n.batch AND o.piece = n.piece \
               AND o.pour IS NULL AND o.asked_us >= n.asked_us) ORDER BY n.asked_us";
    conn.prepare_cached(sql)?.query_map([batch], |row| row.get(0))?.collect()
}

/// Leaves a number out, or gives that of `pour` to another piece.
pub(super) fn note(
    conn: &Connection,
    batch: &str,
    piece: u32,
    pour: Option<&str>,
    at: WallTime,
) -> rusqlite::Result<()> {
    conn.prepare_cached("INSERT INTO number (batch, piece, pour, asked_us) VALUES ($1, $2, $3, $4)")?
        .execute(params![batch, piece, pour, at.unix_us()])?;
    Ok(())
}

/// Whether this pour's number is waiting for its next piece already.
pub(super) fn is_waiting(conn: &Connection, pour: &PourRecord) -> rusqlite::Result<bool> {
    Ok(waiting(conn, &pour.batch)?.contains(&pour.piece))
}

/// A pour of the same batch and number that was started after this one.
pub(super) fn later(conn: &Connection, pour: &PourRecord) -> rusqlite::Result<Option<PourRecord>> {
    let all = query::pours(conn, &pour.batch)?;
    Ok(all
        .into_iter()
        .rev()
        .find(|p| p.piece == pour.piece && p.id != pour.id && p.rev > 0 && p.started_at > pour.started_at))
}

/// The heaviest bare piece of this batch, of its glaze or of its name, as far as any was weighed.
pub(super) fn heaviest(conn: &Connection, batch: &BatchRecord) -> rusqlite::Result<Option<Mass>> {
    let sql = format!(
        "SELECT MAX(p.tare_ug) FROM pour p JOIN batch b ON b.id = p.batch WHERE p.rev > 0 AND ({OF_THE_GLAZE} OR b.name = $3)"
    );
    let ug: Option<Option<i64>> = conn
        .prepare_cached(&sql)?
        .query_row(params![batch.id, batch.glaze_name, batch.name], |row| row.get(0))
        .optional()?;
    Ok(ug.flatten().map(rows::mass))
}

/// Tare and gross weight of the log's latest pieces, the newest first.
pub(super) fn lately(conn: &Connection, most: usize) -> rusqlite::Result<Vec<(Mass, Option<Mass>)>> {
    let sql = "SELECT tare_ug, net_ug FROM pour WHERE rev > 0 ORDER BY seq DESC LIMIT $1";
    let both = |row: &rusqlite::Row<'_>| -> rusqlite::Result<(Mass, Option<Mass>)> {
        let (tare, net): (i64, Option<i64>) = (row.get(0)?, row.get(1)?);
        Ok((rows::mass(tare), net.map(|net| rows::mass(tare.saturating_add(net)))))
    };
    conn.prepare_cached(sql)?.query_map([i64::try_from(most).unwrap_or(i64::MAX)], both)?.collect()
}

/// Name of the spare weight among what is kept.
const SPARE: &str = "spare_ug";

/// The weight that voids the last record when it is set on the bare pan; none: not registered.
pub(super) fn spare(conn: &Connection) -> rusqlite::Result<Option<Mass>> {
    Ok(kept(conn, SPARE)?.map(rows::mass))
}

/// Keeps it, or forgets it.
pub(super) fn keep_spare(conn: &Connection, spare: Option<Mass>) -> rusqlite::Result<()> {
    keep_or_forget(conn, SPARE, spare.map(rows::ug))
}

/// Names of what is kept of the jug: empty, as it stood on the pan last, what was poured by then, into how many pieces, in
/// which batch, and when it stood there.
const JUG: [&str; 6] =
    ["jug_empty_ug", "jug_stood_ug", "jug_poured_ug", "jug_pieces", "jug_batch", "jug_stood_us"];

/// The jug that is known by its weight; none: not told.
pub(super) fn jug(conn: &Connection) -> rusqlite::Result<Option<JugRecord>> {
    let [empty, gross, poured, pieces, batch, at] = JUG.map(|name| kept(conn, name));
    let pieces = pieces?.and_then(|n| u32::try_from(n).ok());
    let at = at?.map(WallTime::from_unix_us);
    let stood = gross?.zip(poured?).zip(pieces.zip(batch?)).map(|((gross, poured), (pieces, batch))| Stood {
        batch,
        gross: rows::mass(gross),
        poured: rows::mass(poured),
        pieces,
        at,
    });
    Ok(empty?.map(|empty| JugRecord { empty: rows::mass(empty), stood }))
}

/// Keeps it, or forgets it.
pub(super) fn keep_jug(conn: &Connection, jug: Option<JugRecord>) -> rusqlite::Result<()> {
    let stood = jug.and_then(|jug| jug.stood);
    let values = [
        jug.map(|jug| rows::ug(jug.empty)),
        stood.map(|s| rows::ug(s.gross)),
        stood.map(|s| rows::ug(s.poured)),
        stood.map(|s| i64::from(s.pieces)),
        stood.map(|s| s.batch),
        stood.and_then(|s| s.at).map(WallTime::unix_us),
    ];
    JUG.into_iter().zip(values).try_for_each(|(name, value)| keep_or_forget(conn, name, value))
}

fn kept(conn: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    conn.query_row("SELECT value FROM kept WHERE name = $1", [name], |row| row.get(0)).optional()
}

fn keep_or_forget(conn: &Connection, name: &str, value: Option<i64>) -> rusqlite::Result<()> {
    match value {
        Some(value) => keep(conn, name, value),
        None => conn.execute("DELETE FROM kept WHERE name = $1", [name]).map(drop),
    }
}

/// Keeps a single value under its name.
pub(super) fn keep(conn: &Connection, name: &str, value: i64) -> rusqlite::Result<()> {
    conn.execute(
        "INSERT INTO kept (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        params![name, value],
    )?;
    Ok(())
}
