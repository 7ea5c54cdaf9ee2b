//! Lines of a table become batches and pours; the same line always becomes the same pour.

use crate::intake::{Intake, Row};
use crate::record::{Aim, BatchRecord, Marks, PourRecord};
use crate::time::WallTime;
use crate::units::Mass;
use std::collections::BTreeMap;

/// What stands where a scale would.
const FROM_A_TABLE: &str = "from a table";
/// Between two pieces of which only the day is known, us: keeps their order.
const APART_US: i64 = 1_000_000;

/// Of text, 64 bits: FNV-1a (constants as published by Fowler, Noll and Vo). The same for ever, so that a line is known
/// again after years.
fn hash(text: &str, from: u64) -> u64 {
    text.bytes().fold(from, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// An id of the usual kind whose random part tells the line.
fn id(text: &str, at: Option<WallTime>) -> String {
    let (a, b) = (hash(text, 0xcbf2_9ce4_8422_2325), hash(text, 0x6c62_272e_07bb_0142));
    let mut random = [0; 10];
    random
        .iter_mut()
        .zip(a.to_be_bytes().into_iter().chain(b.to_be_bytes()))
        .for_each(|(to, byte)| *to = byte);
    let ms = at.map_or(0, |at| at.unix_us() / 1000).max(0).unsigned_abs();
    uuid::Builder::from_unix_timestamp_millis(ms, &random).into_uuid().to_string()
}

fn aim((target, low, high): (f64, f64, f64)) -> Aim {
    Aim { target: Mass::saturating(target), low: Mass::saturating(low), high: Mass::saturating(high) }
}

/// Which batch a line belongs to: as told, else one a day.
fn batch_of(row: &Row) -> (String, Option<String>) {
    let day = || row.at.map_or("undated".to_owned(), |at| at.rfc3339().chars().take(10).collect());
    (row.batch.clone().unwrap_or_else(day), row.glaze.clone())
}

/// Batches with their pours, in the order of the lines.
pub(super) fn records(intake: &Intake, now: WallTime) -> (Vec<BatchRecord>, Vec<PourRecord>) {
    let mut groups: BTreeMap<(String, Option<String>), Vec<&Row>> = BTreeMap::new();
    intake.rows.iter().for_each(|row| groups.entry(batch_of(row)).or_default().push(row));
    let (mut batches, mut pours) = (Vec::new(), Vec::new());
    for ((name, glaze), rows) in groups {
        let Some(first) = rows.first() else { continue };
        let at = rows.iter().filter_map(|row| row.at).min();
        let made = batch(&name, glaze, first, at, now, rows.len());
        let mut seen: BTreeMap<String, u32> = BTreeMap::new();
        for (row, turn) in rows.iter().zip(1..) {
            let told = format!("{}\u{1f}{:?}\u{1f}{:?}\u{1f}{:?}", made.id, row.piece, row.at, row.net_g);
            // Two lines that say the same are two pieces.
            let same = seen.entry(told.clone()).or_insert(0);
            *same += 1;
            pours.push(pour(&made, row, turn, &format!("{told}\u{1f}{same}")));
        }
        batches.push(made);
    }
    (batches, pours)
}

fn batch(
    name: &str,
    glaze: Option<String>,
    first: &Row,
    at: Option<WallTime>,
    now: WallTime,
    pieces: usize,
) -> BatchRecord {
    let aim = aim(first.aim);
    let told = format!("{name}\u{1f}{glaze:?}");
    let made = at.unwrap_or(now);
    BatchRecord {
        id: id(&told, None),
        name: name.to_owned(),
        pieces: u32::try_from(pieces).unwrap_or(u32::MAX),
        target: aim.target,
        low: aim.low,
        high: aim.high,
        ladder: Vec::new(),
        solids_fraction: None,
        pourer: None,
        jug: None,
        vessel: None,
        finish: None,
        glaze_name: glaze,
        bucket: None,
        measured_at: None,
        bare: None,
        form: None,
        request: String::new(),
        created_at: made,
        begun_at: Some(made),
        ended_at: Some(made),
    }
}

fn pour(batch: &BatchRecord, row: &Row, turn: u32, told: &str) -> PourRecord {
    let aim = aim(row.aim);
    let started = row.at.unwrap_or(batch.created_at).unix_us().saturating_add(i64::from(turn) * APART_US);
    PourRecord {
        id: id(told, row.at),
        rev: 1,
        seq: 0,
        batch: batch.id.clone(),
        piece: row.piece.unwrap_or(turn),
        started_at: WallTime::from_unix_us(started),
        tare: Mass::ZERO,
        target: aim.target,
        low: aim.low,
        high: aim.high,
        first_net: None,
        net: Some(Mass::saturating(row.net_g)),
        net_u: None,
        rolled: None,
        top_ups: 0,
        dry: None,
        verdict: aim.verdict(row.net_g),
        interrupted: false,
        settled: true,
        guided: false,
        seconds: 0.0,
        contact: None,
        flow_g_s: None,
        stop_cue: None,
        bucket: None,
        calibration: None,
        scale: FROM_A_TABLE.to_owned(),
        label: row.label.clone(),
        marks: Marks::default(),
        trace: Vec::new(),
    }
}
