//! Rows to records and back: micrograms and microseconds.

use crate::record::{BatchRecord, PourRecord, Verdict};
use crate::time::{Duration, WallTime};
use crate::units::Mass;
use rusqlite::{Row, types::Type};

pub(super) fn ug(mass: Mass) -> i64 {
    (mass.g() * 1e6).round() as i64
}

fn mass(ug: i64) -> Mass {
    Mass::saturating(ug as f64 / 1e6)
}

fn mass_of(row: &Row<'_>, column: &str) -> rusqlite::Result<Mass> {
    row.get(column).map(mass)
}

fn maybe(row: &Row<'_>, column: &str) -> rusqlite::Result<Option<Mass>> {
    Ok(row.get::<_, Option<i64>>(column)?.map(mass))
}

fn wall(row: &Row<'_>, column: &str) -> rusqlite::Result<Option<WallTime>> {
    Ok(row.get::<_, Option<i64>>(column)?.map(WallTime::from_unix_us))
}

pub(super) const BATCH: &str = "id, name, pieces, target_ug, low_ug, high_ug, solids_ppb, pourer, jug, request, created_us, begun_us, ended_us";

pub(super) fn batch(row: &Row<'_>) -> rusqlite::Result<BatchRecord> {
    Ok(BatchRecord {
        id: row.get("id")?,
        name: row.get("name")?,
        pieces: row.get("pieces")?,
        target: mass_of(row, "target_ug")?,
        low: mass_of(row, "low_ug")?,
        high: mass_of(row, "high_ug")?,
        solids_fraction: row.get::<_, Option<i64>>("solids_ppb")?.map(|ppb| ppb as f64 / 1e9),
        pourer: row.get("pourer")?,
        jug: row.get("jug")?,
        request: row.get("request")?,
        created_at: WallTime::from_unix_us(row.get("created_us")?),
        begun_at: wall(row, "begun_us")?,
        ended_at: wall(row, "ended_us")?,
    })
}

pub(super) fn pour(row: &Row<'_>) -> rusqlite::Result<PourRecord> {
    let word: String = row.get("verdict")?;
    let verdict = Verdict::from_word(&word)
        .ok_or_else(|| rusqlite::Error::InvalidColumnType(0, format!("verdict {word}"), Type::Text))?;
    let micros = |v: i64| Duration::from_micros(u64::try_from(v).unwrap_or(0));
    Ok(PourRecord {
        id: row.get("id")?,
        rev: row.get("rev")?,
        seq: row.get::<_, i64>("seq").map(|v| u64::try_from(v).unwrap_or(0))?,
        batch: row.get("batch")?,
        piece: row.get("piece")?,
        started_at: WallTime::from_unix_us(row.get("started_us")?),
        tare: mass_of(row, "tare_ug")?,
        target: mass_of(row, "target_ug")?,
        low: mass_of(row, "low_ug")?,
        high: mass_of(row, "high_ug")?,
        first_net: maybe(row, "first_net_ug")?,
        net: maybe(row, "net_ug")?,
        net_u: maybe(row, "net_u_ug")?,
        rolled: maybe(row, "rolled_ug")?,
        top_ups: row.get("top_ups")?,
        dry: maybe(row, "dry_ug")?,
        verdict,
        interrupted: row.get::<_, i64>("interrupted")? != 0,
        settled: row.get::<_, i64>("settled")? != 0,
        guided: row.get::<_, i64>("guided")? != 0,
        seconds: row.get::<_, i64>("lasted_us")? as f64 / 1e6,
        contact: row.get::<_, Option<i64>>("contact_us")?.map(micros),
        flow_g_s: row.get::<_, Option<i64>>("flow_ug_s")?.map(|v| v as f64 / 1e6),
        stop_cue: maybe(row, "stop_cue_ug")?,
        calibration: row.get("calibration")?,
        scale: row.get("scale")?,
        trace: Vec::new(),
    })
}
