//! Lines of a table become batches and pours; the same line always becomes the same pour.

use super::Page;
use super::ask::{Answer, desk};
use super::desk::Refusal;
use crate::intake::{Intake, Row};
use crate::record::{Aim, BatchRecord, Marks, PourRecord, Verdict};
use crate::time::WallTime;
use crate::units::Mass;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

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

/// A batch as lines tell it: its id where the table is this program's own, its name and its glaze.
type Told = (Option<String>, (String, Option<String>));

/// Its form, and whether it was fired already.
type Ware = (Option<String>, bool);

/// Batches of which any line tells a day.
fn dated(intake: &Intake) -> BTreeSet<Told> {
    let with_day = intake.rows.iter().filter(|row| row.at.is_some());
    with_day.map(|row| (row.own_batch.clone(), batch_of(row))).collect()
}

/// Batches with their pours, in the order of the lines. A batch is of one form and of one kind of ware; a piece is known
/// again whatever was said of these.
pub(super) fn records(intake: &Intake, now: WallTime) -> (Vec<BatchRecord>, Vec<PourRecord>) {
    let mut groups: BTreeMap<(Told, Ware), Vec<&Row>> = BTreeMap::new();
    let group = |row: &Row| ((row.own_batch.clone(), batch_of(row)), (row.form.clone(), row.fired));
    intake.rows.iter().for_each(|row| groups.entry(group(row)).or_default().push(row));
    // What a line is known by is told by its batch's name, glaze and days alone.
    let dated = dated(intake);
    let whole = undated(intake);
    let (mut batches, mut pours) = (Vec::new(), Vec::new());
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    for (((own, (name, glaze)), (form, fired)), rows) in groups {
        let Some(first) = rows.first() else { continue };
        let at = rows.iter().filter_map(|row| row.at).min();
        let of_days = dated.contains(&(own.clone(), (name.clone(), glaze.clone())));
        let told = format!("{name}\u{1f}{glaze:?}")
            + &if of_days { String::new() } else { format!("\u{1f}{whole}") };
        let known_by = own.clone().unwrap_or_else(|| id(&told, None));
        let of_form = form.as_ref().map(|form| id(&format!("{told}\u{1f}{form}"), None));
        let made = BatchRecord {
            id: own.or(of_form).unwrap_or_else(|| known_by.clone()),
            form,
            fired,
            ..batch(&name, glaze, first, at.unwrap_or(now), rows.len())
        };
        for (row, turn) in rows.iter().zip(1..) {
            let whole = if row.at.is_none() { &whole } else { "" };
            let told =
                format!("{known_by}\u{1f}{:?}\u{1f}{:?}\u{1f}{:?}{whole}", row.piece, row.at, row.net_g);
            // Two lines that say the same are two pieces.
            let same = seen.entry(told.clone()).or_insert(0);
            *same += 1;
            pours.push(pour(&made, row, turn, &format!("{told}\u{1f}{same}")));
        }
        batches.push(made);
    }
    (batches, pours)
}

/// Those that are not in the log yet: by their id, and where the table is this program's own by batch, piece and start.
pub(super) async fn unknown(
    page: &Arc<Page>,
    intake: &Intake,
    pours: Vec<PourRecord>,
) -> Answer<Vec<PourRecord>> {
    let own: BTreeSet<String> = intake.rows.iter().filter_map(|row| row.own_batch.clone()).collect();
    desk(page, move |desk| {
        let mut there: BTreeMap<String, BTreeSet<Mark>> = BTreeMap::new();
        let mut left = Vec::new();
        for pour in pours {
            if own.contains(&pour.batch) && !there.contains_key(&pour.batch) {
                // The table may be of another log.
                let missing = |refusal| match refusal {
                    Refusal::Missing(_) => Ok(Vec::new()),
                    Refusal::Conflict(_)
                    | Refusal::Weighs { .. }
                    | Refusal::Storage(_)
                    | Refusal::Unfit { .. } => Err(refusal),
                };
                let known = desk.pours(&pour.batch).or_else(missing)?;
                there.insert(pour.batch.clone(), known.iter().map(mark).collect());
            }
            let met = there.get(&pour.batch).is_some_and(|marks| marks.contains(&mark(&pour)));
            if !met && !desk.is_known(&pour.id)? {
                left.push(pour);
            }
        }
        Ok(left)
    })
    .await
}

type Mark = (u32, i64);

/// What tells a pour from the others of its batch.
const fn mark(pour: &PourRecord) -> Mark {
    (pour.piece, pour.started_at.unix_us())
}

fn batch(name: &str, glaze: Option<String>, first: &Row, made: WallTime, pieces: usize) -> BatchRecord {
    let aim = aim(first.aim);
    BatchRecord {
        id: String::new(),
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
        fired: false,
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
        fired: batch.fired,
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

    /// Invented: two mugs and a bowl of one day.
    const FORMS: &str = "date,form,grams,target,low,high\n2026-01-31,mug,29.1,29,28,30\n2026-01-31,bowl,29.1,29,28,30\n\
                         2026-01-31,mug,29.4,29,28,30\n";

    #[test]
    fn a_batch_is_of_one_form_and_a_piece_is_known_again_though_its_form_was_not_told_before() {
        let with = look(FORMS, None, NOW).expect("a table");
        let (batches, mut pours) = records(&with, NOW);
        let forms: Vec<_> = batches.iter().map(|b| (b.form.as_deref(), b.pieces)).collect();
        assert_eq!(forms, [(Some("bowl"), 1), (Some("mug"), 2)]);
        let of = |pour: &PourRecord| batches.iter().find(|b| b.id == pour.batch).and_then(|b| b.form.clone());
        assert_eq!(pours.iter().filter(|p| of(p).as_deref() == Some("mug")).count(), 2);
        let mut mapping = with.mapping;
        mapping.columns.remove(&crate::intake::Column::Form);
        let (one, mut plain) = records(&look(FORMS, Some(mapping), NOW).expect("a table"), NOW);
        assert_eq!((one.len(), one[0].form.as_deref()), (1, None));
        plain.sort_by(|a, b| a.id.cmp(&b.id));
        pours.sort_by(|a, b| a.id.cmp(&b.id));
        let ids = |pours: &[PourRecord]| pours.iter().map(|p| p.id.clone()).collect::<Vec<_>>();
        assert_eq!(ids(&pours), ids(&plain));
    }

    #[test]
    fn the_own_table_tells_the_form_and_that_the_ware_was_fired() {
        let cells = [
            "b-7",
            "Invented cups",
            "",
            "3",
            "2026-01-31T10:00:00Z",
            "29.1",
            "",
            "",
            "29",
            "28",
            "30",
            "good",
        ];
        let head = crate::page::table::whole_head();
        let width = head.split(',').count();
        let mut line = cells.map(str::to_owned).to_vec();
        line.resize(width, String::new());
        let at = |name: &str| head.trim_end().split(',').position(|h| h == name).expect("a column");
        (line[at("fired")], line[at("form_name")]) = ("true".to_owned(), "Invented mug".to_owned());
        let (batches, pours) =
            records(&look(&(head.clone() + &line.join(",")), None, NOW).expect("a table"), NOW);
        assert_eq!((batches[0].form.as_deref(), batches[0].fired), (Some("Invented mug"), true));
        assert_eq!((pours[0].batch.as_str(), pours[0].fired), ("b-7", true));
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
