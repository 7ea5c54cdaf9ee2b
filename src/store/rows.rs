//! Records to rows and back: exact to the microgram and the microsecond.
//!
//! Never decides anything; arithmetic on masses happens elsewhere.

use crate::record::{Aim, BatchRecord, HandRecord, LagRecord, Marks, PaceRecord, PourRecord, Verdict};
use crate::time::{Duration, WallTime};
use crate::units::Mass;
use rusqlite::types::Type;
use rusqlite::{Connection, Row, params};

pub(super) const BATCH_COLUMNS: &str = "id, name, pieces, target_ug, low_ug, high_ug, solids_fraction, \
     pourer, jug, request, created_us, begun_us, ended_us, vessel, glaze_name, bare_least_ug, bare_greatest_ug, \
     ladder_ug, bucket, finish, measured_us, form, fired";

pub(super) const POUR_COLUMNS: &str = "id, rev, seq, batch, piece, started_us, tare_ug, target_ug, low_ug, \
     high_ug, first_net_ug, net_ug, net_u_ug, rolled_ug, top_ups, dry_ug, verdict, interrupted, settled, \
     guided, lasted_us, contact_us, flow_ug_s, stop_cue_ug, calibration, scale, marks, bucket, label";

/// Whole millionths of `value`; what does not fit stops at the ends.
fn millionths(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

/// Micrograms, rounded to the nearest.
pub(super) fn ug(mass: Mass) -> i64 {
    millionths(mass.g())
}

/// The mass of so many micrograms.
pub(super) fn mass(ug: i64) -> Mass {
    Mass::saturating(ug as f64 / 1e6)
}

/// Whether the ware of a pour's batch was fired: kept with the batch alone.
pub(super) const POUR_FIRED: &str =
    "COALESCE((SELECT b.fired FROM batch b WHERE b.id = p.batch), FALSE) AS fired";

fn us(span: Duration) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX)
}

fn seq(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

pub(super) fn insert_batch(conn: &Connection, batch: &BatchRecord) -> rusqlite::Result<()> {
    let sql = format!(
        "INSERT INTO batch ({BATCH_COLUMNS}, n, sum_ug, sum_squares_ug2) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, 0, 0, '0')"
    );
    conn.prepare_cached(&sql)?.execute(params![
        batch.id,
        batch.name,
        batch.pieces,
        ug(batch.target),
        ug(batch.low),
        ug(batch.high),
        batch.solids_fraction,
        batch.pourer,
        batch.jug,
        batch.request,
        batch.created_at.unix_us(),
        batch.begun_at.map(WallTime::unix_us),
        batch.ended_at.map(WallTime::unix_us),
        batch.vessel,
        batch.glaze_name,
        batch.bare.map(|(least, _)| ug(least)),
        batch.bare.map(|(_, greatest)| ug(greatest)),
        ladder_words(&batch.ladder),
        batch.bucket,
        batch.finish,
        batch.measured_at.map(WallTime::unix_us),
        batch.form,
        batch.fired,
    ])?;
    Ok(())
}

/// What is reckoned anew when the bucket has changed.
pub(super) fn retarget(conn: &Connection, batch: &BatchRecord) -> rusqlite::Result<usize> {
    let sql = "UPDATE batch SET target_ug = $1, low_ug = $2, high_ug = $3, ladder_ug = $4, solids_fraction = $5, \
               bucket = $6, request = $7, measured_us = $8 WHERE id = $9";
    conn.prepare_cached(sql)?.execute(params![
        ug(batch.target),
        ug(batch.low),
        ug(batch.high),
        ladder_words(&batch.ladder),
        batch.solids_fraction,
        batch.bucket,
        batch.request,
        batch.measured_at.map(WallTime::unix_us),
        batch.id,
    ])
}

pub(super) fn batch(row: &Row<'_>) -> rusqlite::Result<BatchRecord> {
    Ok(BatchRecord {
        id: row.get("id")?,
        name: row.get("name")?,
        pieces: row.get("pieces")?,
        target: mass(row.get("target_ug")?),
        low: mass(row.get("low_ug")?),
        high: mass(row.get("high_ug")?),
        ladder: ladder(&row.get::<_, String>("ladder_ug")?),
        solids_fraction: row.get("solids_fraction")?,
        pourer: row.get("pourer")?,
        jug: row.get("jug")?,
        vessel: row.get("vessel")?,
        finish: row.get("finish")?,
        glaze_name: row.get("glaze_name")?,
        bucket: row.get("bucket")?,
        measured_at: row.get::<_, Option<i64>>("measured_us")?.map(WallTime::from_unix_us),
        bare: row
            .get::<_, Option<i64>>("bare_least_ug")?
            .zip(row.get::<_, Option<i64>>("bare_greatest_ug")?)
            .map(|(least, greatest)| (mass(least), mass(greatest))),
        form: row.get("form")?,
        fired: row.get("fired")?,
        request: row.get("request")?,
        created_at: WallTime::from_unix_us(row.get("created_us")?),
        begun_at: row.get::<_, Option<i64>>("begun_us")?.map(WallTime::from_unix_us),
        ended_at: row.get::<_, Option<i64>>("ended_us")?.map(WallTime::from_unix_us),
    })
}

fn ladder_words(ladder: &[Aim]) -> String {
    let each = |w: &Aim| [w.target, w.low, w.high].map(|m| ug(m).to_string()).join(" ");
    ladder.iter().map(each).collect::<Vec<_>>().join(" ")
}

/// What is no three numbers is left out: then the batch's own target holds.
fn ladder(words: &str) -> Vec<Aim> {
    let numbers: Vec<Mass> = words.split_whitespace().filter_map(|w| w.parse().ok()).map(mass).collect();
    let each = |three: &[Mass]| match three {
        [target, low, high] => Some(Aim { target: *target, low: *low, high: *high }),
        _ => None,
    };
    numbers.chunks(3).filter_map(each).collect()
}

pub(super) fn insert_pour(conn: &Connection, pour: &PourRecord) -> rusqlite::Result<()> {
    let sql = format!(
        "INSERT INTO pour ({POUR_COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, \
         $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29)"
    );
    conn.prepare_cached(&sql)?.execute(params![
        pour.id,
        pour.rev,
        seq(pour.seq),
        pour.batch,
        pour.piece,
        pour.started_at.unix_us(),
        ug(pour.tare),
        ug(pour.target),
        ug(pour.low),
        ug(pour.high),
        pour.first_net.map(ug),
        pour.net.map(ug),
        pour.net_u.map(ug),
        pour.rolled.map(ug),
        pour.top_ups,
        pour.dry.map(ug),
        pour.verdict.word(),
        pour.interrupted,
        pour.settled,
        pour.guided,
        millionths(pour.seconds),
        pour.contact.map(us),
        pour.flow_g_s.map(millionths),
        pour.stop_cue.map(ug),
        pour.calibration,
        pour.scale,
        pour.marks.words(),
        pour.bucket,
        pour.label,
    ])?;
    Ok(())
}

/// The pour as the log holds it: masses to the microgram, times to the microsecond.
pub(super) fn rounded(pour: PourRecord) -> PourRecord {
    let to_ug = |exact: Mass| mass(ug(exact));
    PourRecord {
        tare: to_ug(pour.tare),
        target: to_ug(pour.target),
        low: to_ug(pour.low),
        high: to_ug(pour.high),
        first_net: pour.first_net.map(to_ug),
        net: pour.net.map(to_ug),
        net_u: pour.net_u.map(to_ug),
        rolled: pour.rolled.map(to_ug),
        dry: pour.dry.map(to_ug),
        seconds: millionths(pour.seconds) as f64 / 1e6,
        contact: pour.contact.map(|span| Duration::from_micros(us(span).unsigned_abs())),
        flow_g_s: pour.flow_g_s.map(|flow| millionths(flow) as f64 / 1e6),
        stop_cue: pour.stop_cue.map(to_ug),
        ..pour
    }
}

/// A pour without its trace, which has a table of its own.
pub(super) fn pour(row: &Row<'_>) -> rusqlite::Result<PourRecord> {
    let optional = |column: &str| row.get::<_, Option<i64>>(column);
    Ok(PourRecord {
        id: row.get("id")?,
        rev: row.get("rev")?,
        seq: row.get::<_, i64>("seq")?.unsigned_abs(),
        batch: row.get("batch")?,
        piece: row.get("piece")?,
        started_at: WallTime::from_unix_us(row.get("started_us")?),
        tare: mass(row.get("tare_ug")?),
        target: mass(row.get("target_ug")?),
        low: mass(row.get("low_ug")?),
        high: mass(row.get("high_ug")?),
        first_net: optional("first_net_ug")?.map(mass),
        net: optional("net_ug")?.map(mass),
        net_u: optional("net_u_ug")?.map(mass),
        rolled: optional("rolled_ug")?.map(mass),
        top_ups: row.get("top_ups")?,
        dry: optional("dry_ug")?.map(mass),
        fired: row.get("fired")?,
        verdict: verdict(row)?,
        interrupted: row.get("interrupted")?,
        settled: row.get("settled")?,
        guided: row.get("guided")?,
        seconds: row.get::<_, i64>("lasted_us")? as f64 / 1e6,
        contact: optional("contact_us")?.map(|us| Duration::from_micros(us.unsigned_abs())),
        flow_g_s: optional("flow_ug_s")?.map(|ug| ug as f64 / 1e6),
        stop_cue: optional("stop_cue_ug")?.map(mass),
        bucket: row.get("bucket")?,
        calibration: row.get("calibration")?,
        scale: row.get("scale")?,
        label: row.get("label")?,
        marks: Marks::from_words(&row.get::<_, String>("marks")?),
        trace: Vec::new(),
    })
}

fn verdict(row: &Row<'_>) -> rusqlite::Result<Verdict> {
    let word: String = row.get("verdict")?;
    Verdict::from_word(&word).ok_or_else(|| unknown(row, "verdict", &word))
}

/// A word in this column that no program of this layout wrote.
pub(super) fn unknown(row: &Row<'_>, column: &str, word: &str) -> rusqlite::Error {
    let index = row.as_ref().column_index(column).unwrap_or(0);
    let reason = format!("'{word}' is no {column}");
    rusqlite::Error::FromSqlConversionFailure(index, Type::Text, reason.into())
}

pub(super) fn set_trace(conn: &Connection, pour: &str, bytes: &[u8]) -> rusqlite::Result<()> {
    conn.prepare_cached(
        "INSERT INTO trace (pour, bytes) VALUES ($1, $2) ON CONFLICT (pour) DO UPDATE SET bytes = excluded.bytes",
    )?
    .execute(params![pour, bytes])?;
    Ok(())
}

pub(super) fn set_hand(conn: &Connection, key: &str, hand: HandRecord) -> rusqlite::Result<()> {
    conn.prepare_cached(
        "INSERT INTO hand (key, hand_us, pours, lag_us, scatter_us, ease_kept_ppm, ease_pours, pace_ug_s, pace_cv_ppm, \
         pace_pours, trickle_us, trickle_ug_s, trickle_cv_ppm, trickle_pours) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) \
         ON CONFLICT (key) DO UPDATE SET hand_us = excluded.hand_us, pours = excluded.pours, \
         lag_us = excluded.lag_us, scatter_us = excluded.scatter_us, \
         ease_kept_ppm = excluded.ease_kept_ppm, ease_pours = excluded.ease_pours, \
         pace_ug_s = excluded.pace_ug_s, pace_cv_ppm = excluded.pace_cv_ppm, pace_pours = excluded.pace_pours, \
         trickle_us = excluded.trickle_us, trickle_ug_s = excluded.trickle_ug_s, \
         trickle_cv_ppm = excluded.trickle_cv_ppm, trickle_pours = excluded.trickle_pours",
    )?
    .execute(params![
        key,
        millionths(hand.hand_s),
        hand.pours,
        hand.lag_s.map(millionths),
        hand.scatter_s.map(millionths),
        millionths(hand.ease_kept),
        hand.ease_pours,
        hand.pace.map(|pace| millionths(pace.flow_g_s)),
        hand.pace.map(|pace| millionths(pace.cv)),
        hand.pace.map(|pace| pace.pours),
        hand.trickle_s.map(millionths),
        hand.trickle.map(|pace| millionths(pace.flow_g_s)),
        hand.trickle.map(|pace| millionths(pace.cv)),
        hand.trickle.map(|pace| pace.pours),
    ])?;
    Ok(())
}

pub(super) fn set_lag(conn: &Connection, scale: &str, lag: &LagRecord) -> rusqlite::Result<()> {
    conn.prepare_cached(
        "INSERT INTO lag (scale, lag_us, u_us, steps, way) VALUES ($1, $2, $3, $4, $5) \
         ON CONFLICT (scale) DO UPDATE SET lag_us = excluded.lag_us, u_us = excluded.u_us, \
         steps = excluded.steps, way = excluded.way",
    )?
    .execute(params![scale, millionths(lag.lag_s), millionths(lag.u_s), lag.steps, lag.way])?;
    Ok(())
}

/// A scale's name, and how late it shows.
pub(super) fn lag(row: &Row<'_>) -> rusqlite::Result<(String, LagRecord)> {
    let seconds = |column| row.get::<_, i64>(column).map(|us| us as f64 / 1e6);
    let lag = LagRecord {
        lag_s: seconds("lag_us")?,
        u_s: seconds("u_us")?,
        steps: row.get("steps")?,
        way: row.get("way")?,
    };
    Ok((row.get("scale")?, lag))
}

pub(super) fn hand(row: &Row<'_>) -> rusqlite::Result<HandRecord> {
    let number =
        |column| Ok::<_, rusqlite::Error>(row.get::<_, Option<i64>>(column)?.map(|us| us as f64 / 1e6));
    let pace = |flow, cv, pours| {
        let known = number(flow)?.zip(number(cv)?).zip(row.get::<_, Option<u32>>(pours)?);
        Ok::<_, rusqlite::Error>(known.map(|((flow_g_s, cv), pours)| PaceRecord { flow_g_s, cv, pours }))
    };
    Ok(HandRecord {
        hand_s: row.get::<_, i64>("hand_us")? as f64 / 1e6,
        pours: row.get("pours")?,
        lag_s: number("lag_us")?,
        scatter_s: number("scatter_us")?,
        ease_kept: row.get::<_, i64>("ease_kept_ppm")? as f64 / 1e6,
        ease_pours: row.get("ease_pours")?,
        pace: pace("pace_ug_s", "pace_cv_ppm", "pace_pours")?,
        trickle_s: number("trickle_us")?,
        trickle: pace("trickle_ug_s", "trickle_cv_ppm", "trickle_pours")?,
    })
}
