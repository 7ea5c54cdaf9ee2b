//! Calibrations, which of them a scale goes by, checks, and the potter's own masses.
//!
//! Never changes a row: what holds is the newest.

use super::rows::{mass, ug};
use crate::record::{CalibrationRecord, CalibrationWrite, CheckRecord};
use crate::time::WallTime;
use crate::units::Mass;
use rusqlite::{Connection, OptionalExtension, Row, params};

const CALIBRATION: &str = "id, scale, made_us, request, offset_g, slope, bend_per_g, verdict";
const CHECK: &str = "id, scale, calibration, made_us, mass_ug, shown_ug, error_ug, u_ug, room_c, says";

/// Puts one write on disk.
pub(super) fn put(conn: &Connection, write: &CalibrationWrite) -> rusqlite::Result<()> {
    match write {
        CalibrationWrite::Made { record, in_force: goes_by } => {
            made(conn, record)?;
            if *goes_by { in_force(conn, &record.scale, Some(&record.id), record.made_at) } else { Ok(()) }
        }
        CalibrationWrite::InForce { scale, calibration, at } => {
            in_force(conn, scale, calibration.as_ref().map(|c| c.id.as_str()), *at)
        }
        CalibrationWrite::Checked(check) => checked(conn, check),
        CalibrationWrite::Masses { body, at } => {
            let sql = "INSERT INTO mass_set (version, body, made_us) \
                       SELECT COALESCE(MAX(version), 0) + 1, $1, $2 FROM mass_set";
            conn.prepare_cached(sql)?.execute(params![body, at.unix_us()]).map(drop)
        }
    }
}

fn made(conn: &Connection, record: &CalibrationRecord) -> rusqlite::Result<()> {
    let sql = format!("INSERT INTO calibration ({CALIBRATION}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)");
    conn.prepare_cached(&sql)?
        .execute(params![
            record.id,
            record.scale,
            record.made_at.unix_us(),
            record.request,
            record.offset_g,
            record.slope,
            record.bend_per_g,
            record.verdict,
        ])
        .map(drop)
}

fn in_force(conn: &Connection, scale: &str, id: Option<&str>, at: WallTime) -> rusqlite::Result<()> {
    let sql = "INSERT INTO in_force (scale, turn, since_us, calibration) \
               SELECT $1, COALESCE(MAX(turn), 0) + 1, $2, $3 FROM in_force WHERE scale = $1";
    conn.prepare_cached(sql)?.execute(params![scale, at.unix_us(), id]).map(drop)
}

fn checked(conn: &Connection, check: &CheckRecord) -> rusqlite::Result<()> {
    let grams = |g: f64| ug(Mass::saturating(g));
    let sql = format!("INSERT INTO scale_check ({CHECK}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)");
    conn.prepare_cached(&sql)?
        .execute(params![
            check.id,
            check.scale,
            check.calibration,
            check.made_at.unix_us(),
            grams(check.mass_g),
            grams(check.shown_g),
            grams(check.error_g),
            grams(check.u_g),
            check.room_c,
            check.says,
        ])
        .map(drop)
}

/// All of them, the newest first.
pub(super) fn all(conn: &Connection) -> rusqlite::Result<Vec<CalibrationRecord>> {
    let sql = format!("SELECT {CALIBRATION} FROM calibration ORDER BY made_us DESC, id DESC");
    conn.prepare_cached(&sql)?.query_map([], calibration)?.collect()
}

/// One of them.
pub(super) fn one(conn: &Connection, id: &str) -> rusqlite::Result<Option<CalibrationRecord>> {
    let sql = format!("SELECT {CALIBRATION} FROM calibration WHERE id = $1");
    conn.prepare_cached(&sql)?.query_row([id], calibration).optional()
}

/// What this scale goes by; none: by what it shows.
pub(super) fn of_scale(conn: &Connection, scale: &str) -> rusqlite::Result<Option<CalibrationRecord>> {
    let sql = "SELECT calibration FROM in_force WHERE scale = $1 ORDER BY turn DESC LIMIT 1";
    let id: Option<Option<String>> =
        conn.prepare_cached(sql)?.query_row([scale], |row| row.get(0)).optional()?;
    id.flatten().map_or(Ok(None), |id| one(conn, &id))
}

/// What scales go by.
pub(super) fn of_scales(conn: &Connection) -> rusqlite::Result<Vec<CalibrationRecord>> {
    let scales: Vec<String> = conn
        .prepare_cached("SELECT DISTINCT scale FROM in_force ORDER BY scale")?
        .query_map([], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    let each = |scale: &String| of_scale(conn, scale).transpose();
    scales.iter().filter_map(each).collect()
}

/// The latest checks of a scale, at most so many, the newest first.
pub(super) fn checks(conn: &Connection, scale: &str, most: u32) -> rusqlite::Result<Vec<CheckRecord>> {
    let sql =
        format!("SELECT {CHECK} FROM scale_check WHERE scale = $1 ORDER BY made_us DESC, id DESC LIMIT $2");
    conn.prepare_cached(&sql)?.query_map(params![scale, most], check)?.collect()
}

/// The potter's own masses.
pub(super) fn masses(conn: &Connection) -> rusqlite::Result<Option<String>> {
    let sql = "SELECT body FROM mass_set ORDER BY version DESC LIMIT 1";
    conn.prepare_cached(sql)?.query_row([], |row| row.get(0)).optional()
}

fn calibration(row: &Row<'_>) -> rusqlite::Result<CalibrationRecord> {
    Ok(CalibrationRecord {
        id: row.get("id")?,
        scale: row.get("scale")?,
        made_at: WallTime::from_unix_us(row.get("made_us")?),
        request: row.get("request")?,
        offset_g: row.get("offset_g")?,
        slope: row.get("slope")?,
        bend_per_g: row.get("bend_per_g")?,
        verdict: row.get("verdict")?,
    })
}

fn check(row: &Row<'_>) -> rusqlite::Result<CheckRecord> {
    let grams = |column| row.get(column).map(|ug| mass(ug).g());
    Ok(CheckRecord {
        id: row.get("id")?,
        scale: row.get("scale")?,
        calibration: row.get("calibration")?,
        made_at: WallTime::from_unix_us(row.get("made_us")?),
        mass_g: grams("mass_ug")?,
        shown_g: grams("shown_ug")?,
        error_g: grams("error_ug")?,
        u_g: grams("u_ug")?,
        room_c: row.get("room_c")?,
        says: row.get("says")?,
    })
}
