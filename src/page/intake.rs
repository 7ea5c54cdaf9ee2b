//! Lines of a table become batches and pours; the same line always becomes the same pour.

use crate::intake::{Intake, Row};
use crate::record::{Aim, BatchRecord, Marks, PourRecord, Verdict};
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

/// The whole of what stands in a table without days: only all of it, in its order, tells that it is known.
fn undated(intake: &Intake) -> String {
    let each = |row: &Row| format!("{:?}\u{1f}{:?}\u{1f}{:?}\u{1e}", batch_of(row), row.piece, row.net_g);
    intake.rows.iter().filter(|row| row.at.is_none()).map(each).collect()
}

/// Batches with their pours, in the order of the lines.
pub(super) fn records(intake: &Intake, now: WallTime) -> (Vec<BatchRecord>, Vec<PourRecord>) {
    type Group = (Option<String>, (String, Option<String>));
    let mut groups: BTreeMap<Group, Vec<&Row>> = BTreeMap::new();
    let group = |row: &Row| (row.own_batch.clone(), batch_of(row));
    intake.rows.iter().for_each(|row| groups.entry(group(row)).or_default().push(row));
    let whole = undated(intake);
    let (mut batches, mut pours) = (Vec::new(), Vec::new());
    for ((own, (name, glaze)), rows) in groups {
        let Some(first) = rows.first() else { continue };
        let at = rows.iter().filter_map(|row| row.at).min();
        let told = match at {
            Some(_) => format!("{name}\u{1f}{glaze:?}"),
            None => format!("{name}\u{1f}{glaze:?}\u{1f}{whole}"),
        };
        let made =
            batch(own.unwrap_or_else(|| id(&told, None)), &name, glaze, first, at.unwrap_or(now), rows.len());
        let mut seen: BTreeMap<String, u32> = BTreeMap::new();
        for (row, turn) in rows.iter().zip(1..) {
            let whole = if row.at.is_none() { &whole } else { "" };
            let told =
                format!("{}\u{1f}{:?}\u{1f}{:?}\u{1f}{:?}{whole}", made.id, row.piece, row.at, row.net_g);
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
    id: String,
    name: &str,
    glaze: Option<String>,
    first: &Row,
    made: WallTime,
    pieces: usize,
) -> BatchRecord {
    let aim = aim(first.aim);
    BatchRecord {
        id,
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
    let apart = if row.own_batch.is_some() { 0 } else { i64::from(turn) * APART_US };
    let started = row.at.unwrap_or(batch.created_at).unix_us().saturating_add(apart);
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
        verdict: if row.void { Verdict::Void } else { aim.verdict(row.net_g) },
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::look;

    const NOW: WallTime = WallTime::from_unix_us(1_780_000_000_000_000);

    fn pours(text: &str) -> Vec<PourRecord> {
        records(&look(text, None, NOW).expect("a table"), NOW).1
    }

    fn ids(text: &str) -> Vec<String> {
        pours(text).into_iter().map(|pour| pour.id).collect()
    }

    fn table(grams: &[f64]) -> String {
        grams.iter().fold("grams,target,low,high\n".to_owned(), |text, g| text + &format!("{g},29,28,30\n"))
    }

    #[test]
    fn a_table_without_days_is_known_only_as_a_whole_and_in_its_order() {
        let first = ids(&table(&[29.1, 29.3]));
        assert_eq!(first, ids(&table(&[29.1, 29.3])), "the same table");
        for other in [&[29.3, 29.1, 27.0][..], &[29.3, 29.1], &[29.1], &[29.1, 29.3, 29.1]] {
            assert!(ids(&table(other)).iter().all(|id| !first.contains(id)), "{other:?}");
        }
        let twice = ids(&table(&[29.1, 29.1]));
        assert_ne!(twice[0], twice[1], "two lines that say the same are two pieces");
    }

    #[test]
    fn a_line_of_the_own_table_keeps_its_batch_piece_start_and_that_it_does_not_count() {
        let head = crate::page::table::whole_head();
        let line = |verdict: &str| {
            format!("b-7,Invented cups,,3,2026-01-31T10:00:00.123456Z,29.1,,,29,28,30,{verdict}\r\n")
        };
        let made = pours(&(head + &line("void") + &line("good")));
        let told = made.iter().map(|p| (p.batch.as_str(), p.piece, p.started_at.rfc3339(), p.verdict));
        let at = || "2026-01-31T10:00:00.123456Z".to_owned();
        assert_eq!(
            told.collect::<Vec<_>>(),
            [("b-7", 3, at(), Verdict::Void), ("b-7", 3, at(), Verdict::Good)]
        );
    }
}
