//! Tests of the log as a whole, on real files; all records are invented.

use super::*;
use crate::record::{Aim, JugRecord, Mark, Marks, PaceRecord, Search, Shelf, Slop, Stood, Verdict};
use crate::review::trend::{By, compare};
use crate::time::Duration;
use crate::units::Mass;
use proptest::prelude::*;
use rusqlite::Connection;
use std::sync::mpsc::{Receiver, channel};

const NOW: WallTime = WallTime::from_unix_us(1_700_000_000_000_000);
const WAIT: Duration = Duration::from_secs(20);

fn g(grams: f64) -> Mass {
    Mass::saturating(grams)
}

/// Of a log that this program makes.
const LAYOUT: i64 = schema::STEPS.len() as i64;

fn a_batch(id: &str) -> BatchRecord {
    BatchRecord {
        id: id.to_owned(),
        name: "Invented: tenmoku mugs".to_owned(),
        pieces: 12,
        target: g(42.123456),
        low: g(40.0),
        high: g(44.5),
        ladder: Vec::new(),
        solids_fraction: Some(0.481_516),
        pourer: Some("A".to_owned()),
        jug: None,
        vessel: None,
        finish: None,
        glaze_name: None,
        bucket: None,
        measured_at: None,
        bare: None,
        form: None,
        fired: false,
        request: r#"{"name":"Invented"}"#.to_owned(),
        created_at: WallTime::from_unix_us(1_700_000_000_000_001),
        begun_at: None,
        ended_at: None,
    }
}

fn an_open_pour(id: &str, piece: u32) -> PourRecord {
    PourRecord {
        id: id.to_owned(),
        rev: 0,
        seq: 0,
        batch: "b1".to_owned(),
        piece,
        started_at: WallTime::from_unix_us(1_700_000_001_000_003),
        tare: g(310.25),
        target: g(42.123456),
        low: g(40.0),
        high: g(44.5),
        first_net: None,
        net: None,
        net_u: None,
        rolled: None,
        top_ups: 0,
        dry: None,
        fired: false,
        verdict: Verdict::Void,
        interrupted: false,
        settled: false,
        guided: false,
        seconds: 0.0,
        contact: None,
        flow_g_s: None,
        stop_cue: None,
        bucket: None,
        calibration: None,
        scale: "invented scale".to_owned(),
        label: None,
        marks: Marks::default(),
        trace: Vec::new(),
    }
}

fn a_pour(id: &str, piece: u32, rev: u32, net_g: f64) -> PourRecord {
    PourRecord {
        rev,
        first_net: Some(g(39.123457)),
        net: Some(g(net_g)),
        net_u: Some(g(0.031)),
        rolled: Some(g(41.875001)),
        top_ups: 2,
        dry: Some(g(20.000001)),
        verdict: Verdict::Good,
        settled: true,
        guided: true,
        seconds: 7.654321,
        contact: Some(Duration::from_micros(3_210_987)),
        flow_g_s: Some(15.25),
        stop_cue: Some(g(38.5)),
        calibration: Some("c1".to_owned()),
        marks: Marks::default().with(Mark::Touched).with(Mark::Residue),
        trace: vec![1, 0, 255, 7],
        ..an_open_pour(id, piece)
    }
}

fn commit(pour: PourRecord) -> Write {
    Write::Pour { pour, hand: None, lag: None }
}

struct Log {
    dir: tempfile::TempDir,
    store: Option<Store>,
    acks: Receiver<Ack>,
    opened: Opened,
    ticket: u64,
}

impl Log {
    fn new() -> Self {
        Self::on(tempfile::tempdir().unwrap())
    }

    fn on(dir: tempfile::TempDir) -> Self {
        let (tell, acks) = channel();
        let (store, opened) = Store::open(dir.path(), NOW, move |ack| drop(tell.send(ack))).unwrap();
        Self { dir, store: Some(store), acks, opened, ticket: 0 }
    }

    fn reopened(mut self) -> Self {
        self.store = None;
        Self::on(self.dir)
    }

    fn send(&mut self, write: Write) -> u64 {
        self.ticket += 1;
        self.store.as_ref().unwrap().try_write(Job { ticket: self.ticket, write, asked: None }).unwrap();
        self.ticket
    }

    fn written(&mut self, write: Write) -> Write {
        let sent = self.send(write);
        loop {
            match self.acks.recv_timeout(WAIT).unwrap() {
                Ack::Written { ticket, write } => {
                    assert_eq!(ticket, sent);
                    return write;
                }
                Ack::Reopened(opened) => self.opened = *opened,
                Ack::Failing { reason, .. } | Ack::Refused { reason, .. } => panic!("{reason}"),
            }
        }
    }

    fn reader(&self) -> Reader {
        Reader::open(self.dir.path()).unwrap()
    }

    fn beside(&self) -> Connection {
        Connection::open(self.dir.path().join(LOG_FILE)).unwrap()
    }
}

fn seq_of(write: &Write) -> u64 {
    match write {
        Write::PourOpened(pour)
        | Write::Pour { pour, .. }
        | Write::PourVoided(pour)
        | Write::PourAgain { pour, .. } => pour.seq,
        Write::BatchCreated(_)
        | Write::BatchBegun { .. }
        | Write::BatchEnded { .. }
        | Write::Trace { .. }
        | Write::NumberLeftOut { .. }
        | Write::Spare(_)
        | Write::Jug(_)
        | Write::Shelf(_)
        | Write::Calibration(_)
        | Write::History(_)
        | Write::Retargeted(..)
        | Write::Lag { .. }
        | Write::PourDropped { .. } => panic!("not a pour: {write:?}"),
    }
}

#[test]
fn every_field_of_a_batch_comes_back_as_it_was_written() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    assert_eq!(log.reader().batch("b1").unwrap(), Some(a_batch("b1")));
    assert_eq!(log.reader().batch("b2").unwrap(), None);
    let full = BatchRecord { jug: Some("J".into()), pourer: None, solids_fraction: None, ..a_batch("b2") };
    let full = BatchRecord { begun_at: Some(NOW), ended_at: Some(NOW), ..full };
    let full = BatchRecord { glaze_name: Some("G".into()), vessel: Some("ladle".into()), ..full };
    let full = BatchRecord { bare: Some((g(250.5), g(310.0))), fired: true, ..full };
    let rung = |g_: f64| Aim { target: g(g_), low: g(g_ - 1.0), high: g(g_ + 1.5) };
    let full = BatchRecord { ladder: vec![rung(32.25), rung(23.0)], ..full };
    log.written(Write::BatchCreated(full.clone()));
    assert_eq!(log.reader().batch("b2").unwrap(), Some(full));
}

#[test]
fn every_field_of_a_pour_comes_back_as_it_was_written() {
    let mut log = Log::new();
    let open = an_open_pour("p1", 3);
    let pour = PourRecord { interrupted: true, ..a_pour("p2", 4, 1, 42.987654) };
    log.written(Write::PourOpened(open.clone()));
    log.written(commit(pour.clone()));
    let rows = log.reader().pours("b1").unwrap();
    assert_eq!(rows[0], PourRecord { seq: 1, ..open });
    assert_eq!(rows[1], PourRecord { seq: 2, trace: Vec::new(), ..pour.clone() });
    assert_eq!(log.reader().trace("p2").unwrap(), Some(pour.trace));
    assert_eq!(log.reader().trace("p1").unwrap(), None);
}

#[test]
fn the_acknowledged_pour_is_the_one_on_disk() {
    let mut log = Log::new();
    let Write::Pour { pour, .. } = log.written(commit(a_pour("p1", 1, 1, 42.123_456_789))) else { panic!() };
    assert_eq!(pour.net, Some(g(42.123457)));
    assert_eq!(log.reader().pour("p1").unwrap(), Some(PourRecord { trace: Vec::new(), ..pour }));
}

#[test]
fn a_list_shows_the_newest_revision_once_and_old_ones_stay() {
    let mut log = Log::new();
    log.written(Write::PourOpened(an_open_pour("p2", 2)));
    log.written(commit(a_pour("p2", 2, 1, 41.0)));
    log.written(commit(a_pour("p1", 1, 1, 40.5)));
    log.written(commit(a_pour("p2", 2, 2, 43.0)));
    let rows = log.reader().pours("b1").unwrap();
    let listed: Vec<_> = rows.iter().map(|p| (p.id.as_str(), p.rev, p.net)).collect();
    assert_eq!(listed, [("p1", 1, Some(g(40.5))), ("p2", 2, Some(g(43.0)))]);
    let revs = log.reader().revisions("p2").unwrap();
    assert_eq!(revs.iter().map(|p| (p.rev, p.seq)).collect::<Vec<_>>(), [(0, 1), (1, 2), (2, 4)]);
    assert_eq!(revs[1].net, Some(g(41.0)));
}

#[test]
fn a_revision_is_never_overwritten_and_never_written_twice() {
    let mut log = Log::new();
    let first = log.written(commit(a_pour("p1", 1, 1, 41.123_456_78)));
    let again = log.written(commit(a_pour("p1", 1, 1, 41.123_456_78)));
    assert_eq!(seq_of(&first), seq_of(&again));
    let Write::Pour { pour, .. } = log.written(commit(a_pour("p1", 1, 1, 39.0))) else { panic!() };
    assert_eq!((pour.rev, pour.seq), (2, 2));
    assert_eq!(log.reader().revisions("p1").unwrap().len(), 2);
}

#[test]
fn seq_counts_over_the_whole_log_and_goes_on_after_a_restart() {
    let mut log = Log::new();
    assert_eq!(seq_of(&log.written(commit(a_pour("p1", 1, 1, 41.0)))), 1);
    let elsewhere = PourRecord { batch: "b2".into(), ..a_pour("p2", 1, 1, 41.0) };
    assert_eq!(seq_of(&log.written(commit(elsewhere))), 2);
    let mut log = log.reopened();
    assert_eq!(seq_of(&log.written(commit(a_pour("p3", 2, 1, 41.0)))), 3);
}

#[test]
fn pours_left_open_are_listed_as_interrupted_after_a_restart() {
    let mut log = Log::new();
    log.written(commit(a_pour("p1", 1, 1, 41.0)));
    log.written(Write::PourOpened(an_open_pour("p2", 2)));
    log.written(Write::PourOpened(an_open_pour("p3", 3)));
    log.written(commit(a_pour("p3", 3, 1, 41.0)));
    assert!(log.opened.interrupted.is_empty());
    let log = log.reopened();
    let wanted = PourRecord { rev: 1, seq: 5, interrupted: true, ..an_open_pour("p2", 2) };
    assert_eq!(log.opened.interrupted, std::slice::from_ref(&wanted));
    let rows = log.reader().pours("b1").unwrap();
    assert_eq!(rows.iter().map(|p| p.interrupted).collect::<Vec<_>>(), [false, true, false]);
    assert_eq!(rows[1], wanted);
    assert!(log.reopened().opened.interrupted.is_empty());
}

#[test]
fn what_was_acknowledged_is_there_after_the_process_is_cut_off() {
    let mut log = Log::new();
    log.written(commit(a_pour("p1", 1, 1, 41.0)));
    log.written(Write::PourOpened(an_open_pour("p2", 2)));
    // The files as they lie while the writer still runs: nothing was closed or checkpointed.
    let cut_off = tempfile::tempdir().unwrap();
    for name in [LOG_FILE, "tarebell.db-wal"] {
        std::fs::copy(log.dir.path().join(name), cut_off.path().join(name)).unwrap();
    }
    let after = Log::on(cut_off);
    let rows = after.reader().pours("b1").unwrap();
    let seen: Vec<_> = rows.iter().map(|p| (p.id.as_str(), p.rev, p.interrupted)).collect();
    assert_eq!(seen, [("p1", 1, false), ("p2", 1, true)]);
}

#[test]
fn the_log_syncs_each_commit() {
    let dir = tempfile::tempdir().unwrap();
    let conn = schema::open(&dir.path().join(LOG_FILE), schema::STEPS, NOW).unwrap();
    // 2 is FULL (https://www.sqlite.org/pragma.html#pragma_synchronous).
    assert_eq!(conn.query_row("PRAGMA synchronous", [], |row| row.get::<_, i64>(0)).unwrap(), 2);
    assert_eq!(conn.query_row("PRAGMA journal_mode", [], |row| row.get::<_, String>(0)).unwrap(), "wal");
}

#[test]
fn a_dropped_pour_is_gone_unless_it_was_committed() {
    let mut log = Log::new();
    log.written(Write::PourOpened(an_open_pour("p1", 1)));
    log.written(Write::PourDropped { id: "p1".into() });
    assert_eq!(log.reader().pours("b1").unwrap(), []);
    assert_eq!(seq_of(&log.written(Write::PourOpened(an_open_pour("p2", 1)))), 2);
    log.written(commit(a_pour("p2", 1, 1, 41.0)));
    log.written(Write::PourDropped { id: "p2".into() });
    assert_eq!(log.reader().revisions("p2").unwrap().len(), 2);
}

#[test]
fn batches_are_listed_newest_first_with_their_begin_and_end() {
    let mut log = Log::new();
    let at = WallTime::from_unix_us;
    let (early, late) =
        (a_batch("b1"), BatchRecord { created_at: at(1_800_000_000_000_000), ..a_batch("b0") });
    log.written(Write::BatchCreated(early.clone()));
    log.written(Write::BatchCreated(late.clone()));
    log.written(Write::BatchBegun { id: "b1".into(), at: at(5) });
    log.written(Write::BatchBegun { id: "b1".into(), at: at(6) });
    log.written(Write::BatchEnded { id: "b1".into(), at: at(7) });
    let early = BatchRecord { begun_at: Some(at(5)), ended_at: Some(at(7)), ..early };
    assert_eq!(log.reader().batches().unwrap(), [late, early]);
    log.written(Write::BatchBegun { id: "b1".into(), at: at(8) });
    let again = log.reader().batch("b1").unwrap().unwrap();
    assert_eq!((again.begun_at, again.ended_at), (Some(at(5)), None));
}

/// An invented hand.
const HAND: HandRecord = HandRecord {
    hand_s: 0.305,
    pours: 2,
    lag_s: Some(0.561),
    scatter_s: Some(0.0625),
    ease_kept: 0.71,
    ease_pours: 4,
    pace: Some(PaceRecord { flow_g_s: 6.25, cv: 0.21, pours: 9 }),
    trickle_s: Some(0.35),
    trickle: Some(PaceRecord { flow_g_s: 2.5, cv: 0.3, pours: 3 }),
};

/// ... of which a log of before the third layout says nothing more.
const OLD_HAND: HandRecord = HandRecord {
    lag_s: None,
    scatter_s: None,
    ease_kept: 1.0,
    ease_pours: 0,
    pace: None,
    trickle_s: None,
    trickle: None,
    ..HAND
};

#[test]
fn the_hand_is_kept_with_its_pour_and_the_newest_counts() {
    let mut log = Log::new();
    assert_eq!(log.reader().hand("A jug").unwrap(), None);
    for (rev, hand_s) in [(1, 0.29), (2, 0.312345)] {
        let hand = Some(("A jug".to_owned(), HandRecord { hand_s, pours: rev, ..HAND }));
        log.written(Write::Pour { pour: a_pour("p1", 1, rev, 41.0), hand, lag: None });
    }
    let wanted = HandRecord { hand_s: 0.312345, pours: 2, ..HAND };
    assert_eq!(log.reader().hand("A jug").unwrap(), Some(wanted));
}

#[test]
fn how_late_a_scale_shows_is_kept_for_each_scale_and_the_newest_counts() {
    let mut log = Log::new();
    let lag =
        |lag_s, steps, way: Option<&str>| LagRecord { lag_s, u_s: 0.034, steps, way: way.map(str::to_owned) };
    let (learned, measured) = (lag(0.305, 5, None), lag(0.312345, 10, Some("pole")));
    let pour = a_pour("p1", 1, 1, 41.0);
    let scale = pour.scale.clone();
    log.written(Write::Pour { pour, hand: None, lag: Some(learned.clone()) });
    log.written(Write::Lag { scale: "another".to_owned(), lag: measured.clone() });
    let mut log = log.reopened();
    let mut wanted = vec![("another".to_owned(), measured.clone()), (scale.clone(), learned)];
    wanted.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(log.opened.lags, wanted);
    log.written(Write::Lag { scale: scale.clone(), lag: measured.clone() });
    assert!(log.reopened().opened.lags.contains(&(scale, measured)));
}

#[test]
fn a_second_writer_is_refused_with_the_address_of_the_first() {
    let mut log = Log::new();
    let refused = Store::open(log.dir.path(), NOW, drop).unwrap_err();
    assert!(matches!(&refused, StoreError::Held { address: None, .. }), "{refused}");
    let store = log.store.as_ref().unwrap();
    store.announce("127.0.0.1:65535").unwrap();
    store.announce("127.0.0.1:8737").unwrap();
    let refused = Store::open(log.dir.path(), NOW, drop).unwrap_err();
    let StoreError::Held { dir, address } = &refused else { panic!("{refused}") };
    assert_eq!((dir.as_path(), address.as_deref()), (log.dir.path(), Some("127.0.0.1:8737")));
    assert!(refused.to_string().contains("http://127.0.0.1:8737;"), "{refused}");
    log.store = None;
    let lock = Lock::take(log.dir.path()).unwrap();
    let refused = Lock::take(log.dir.path()).unwrap_err();
    assert!(matches!(refused, StoreError::Held { address: None, .. }), "an old address is not told");
    std::fs::write(log.dir.path().join("tarebell.lock"), "127.0.0.1:87").unwrap();
    let refused = Lock::take(log.dir.path()).unwrap_err();
    assert!(matches!(refused, StoreError::Held { address: None, .. }), "nor one that is half written");
    drop(lock);
}

#[test]
fn a_newer_log_is_refused_and_left_as_it_was() {
    for mode in ["DELETE", "WAL"] {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join(LOG_FILE);
        let conn = Connection::open(&file).unwrap();
        let _: String =
            conn.query_row(&format!("PRAGMA journal_mode = {mode}"), [], |row| row.get(0)).unwrap();
        conn.execute_batch("CREATE TABLE later (a TEXT); PRAGMA user_version = 99").unwrap();
        drop(conn);
        let before = std::fs::read(&file).unwrap();
        let refused = Store::open(dir.path(), NOW, drop).unwrap_err();
        assert!(matches!(refused, StoreError::Newer { found: 99, known: LAYOUT, .. }), "{refused}");
        assert!(matches!(Reader::open(dir.path()), Err(StoreError::Newer { .. })));
        assert_eq!(std::fs::read(&file).unwrap(), before);
    }
}

/// The fixture was made from the first step's text with plain INSERTs by another program
/// than this one; its batch is invented.
#[test]
fn a_log_of_the_first_layout_still_opens_and_says_what_it_said() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-1.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let batch = reader.batch("b-fixture").unwrap().unwrap();
    assert_eq!((batch.name.as_str(), batch.pieces, batch.target), ("Invented bowls", 3, g(42.5)));
    let rows = reader.pours("b-fixture").unwrap();
    let seen: Vec<_> = rows.iter().map(|p| (p.piece, p.rev, p.net, p.verdict)).collect();
    let wanted = [(1, 2, Some(g(42.75)), Verdict::Good), (2, 1, None, Verdict::Void)];
    assert_eq!(seen, wanted);
    assert_eq!(log.opened.interrupted, [rows[1].clone()]);
    assert_eq!(rows[1].seq, 5);
    assert_eq!(reader.trace("p-1").unwrap(), Some(vec![1, 2, 3]));
    assert_eq!(reader.hand("A").unwrap(), Some(OLD_HAND));
    let sums = reader.sums("b-fixture").unwrap().unwrap();
    assert_eq!((sums.n, sums.sum_ug, sums.sum_squares_ug2), (1, 42_750_000, 1_827_562_500_000_000));
}

/// Made as the one above, from the texts of both steps; its batch is invented.
#[test]
fn a_log_of_the_second_layout_opens_as_it_is_and_says_what_it_said() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-2.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let batch = reader.batch("b-fixture").unwrap().unwrap();
    assert_eq!(
        (batch.name.as_str(), batch.glaze_name.as_deref()),
        ("Invented bowls", Some("Invented green"))
    );
    assert_eq!((batch.vessel.as_deref(), batch.bare), (Some("ladle"), Some((g(300.0), g(320.0)))));
    let rows = reader.pours("b-fixture").unwrap();
    let seen: Vec<_> = rows.iter().map(|p| (p.piece, p.rev, p.net, p.verdict, p.marks.words())).collect();
    let wanted = [
        (1, 1, Some(g(42.75)), Verdict::Good, "touched residue".to_owned()),
        (2, 2, Some(g(39.0)), Verdict::Void, "paused".to_owned()),
    ];
    assert_eq!(seen, wanted);
    let mut numbers = reader.numbers(&batch).unwrap();
    assert_eq!(numbers.next(), 2, "to be poured again");
    numbers.used(2);
    assert_eq!(numbers.next(), 4, "3 was left out");
    assert_eq!(log.opened.spare, Some(g(61.375)));
    assert_eq!(reader.trace("p-1").unwrap(), Some(vec![1, 2, 3]));
    assert_eq!(reader.hand("A").unwrap(), Some(OLD_HAND));
}

/// Made as the two above, from the texts of three steps; its batch is invented.
#[test]
fn a_log_of_the_third_layout_opens_as_it_is_and_knows_of_no_lag() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-3.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    assert_eq!(reader.batch("b-fixture").unwrap().unwrap().name, "Invented bowls");
    assert_eq!(reader.pours("b-fixture").unwrap().len(), 2);
    let slower = HandRecord { pace: None, trickle_s: None, trickle: None, ..HAND };
    assert_eq!(reader.hand("A").unwrap(), Some(slower));
    assert_eq!((log.opened.spare, &log.opened.lags), (Some(g(61.375)), &vec![]));
}

/// Made as those above, from the texts of four steps; its batch is invented.
#[test]
fn a_log_of_the_fourth_layout_opens_as_it_is_and_all_its_pieces_have_one_target() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-4.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let batch = log.reader().batch("b-fixture").unwrap().unwrap();
    assert_eq!((batch.name.as_str(), batch.ladder), ("Invented bowls", Vec::new()));
    assert_eq!(log.reader().pours("b-fixture").unwrap().len(), 2);
    let lag = LagRecord { lag_s: 0.312, u_s: 0.021, steps: 4, way: None };
    assert_eq!(log.opened.lags, vec![("invented bench".to_owned(), lag)]);
}

/// Made as those above, from the texts of five steps; its batch is invented.
#[test]
fn a_log_of_the_fifth_layout_opens_as_it_is_and_knows_of_no_pace_and_no_finish() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-5.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let batch = reader.batch("b-fixture").unwrap().unwrap();
    assert_eq!((batch.name.as_str(), batch.finish), ("Invented bowls", None));
    let hand = reader.hand("A").unwrap().unwrap();
    assert_eq!((hand.pace, hand.trickle_s, hand.trickle), (None, None, None));
    assert_eq!((hand.hand_s, hand.pours), (HAND.hand_s, HAND.pours));
}

/// Made as those above, from the texts of six steps; its batch is invented.
#[test]
fn a_log_of_the_sixth_layout_opens_as_it_is_and_its_scale_goes_by_what_it_shows() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-6.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let batch = reader.batch("b-fixture").unwrap().unwrap();
    assert_eq!((batch.name.as_str(), batch.finish.as_deref()), ("Invented bowls", Some("trickle")));
    assert_eq!((&log.opened.calibrations, &log.opened.checks), (&vec![], &vec![]));
    assert_eq!((reader.in_force("invented bench").unwrap(), reader.masses().unwrap()), (None, None));
}

/// Made as those above, from the texts of seven steps; its batch and its calibration are invented.
#[test]
fn a_log_of_the_seventh_layout_opens_as_it_is_and_knows_of_no_form() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-7.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let batch = reader.batch("b-fixture").unwrap().unwrap();
    assert_eq!((batch.name.as_str(), batch.form.as_deref()), ("Invented bowls", None));
    let by = reader.in_force("invented bench").unwrap().unwrap();
    assert_eq!((by.id.as_str(), by.offset_g, by.slope), ("c-fixture", 0.05, 0.998));
}

/// Made as those above, from the texts of eight steps; its batches are invented, one of them of ware fired already, and
/// one whose name holds the words by which that is told.
#[test]
fn a_log_of_the_eighth_layout_knows_by_its_requests_which_ware_was_fired() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-8.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let log = Log::on(dir);
    let reader = log.reader();
    let told: Vec<(String, bool)> = reader.batches().unwrap().into_iter().map(|b| (b.id, b.fired)).collect();
    let wanted = [("b-table", false), ("b-sponged", false), ("b-fired", true), ("b-bare", false)];
    assert_eq!(told, wanted.map(|(id, fired)| (id.to_owned(), fired)));
    let pour = |id: &str| reader.pour(id).unwrap().unwrap();
    assert_eq!((pour("b-bare-1").coat(), pour("b-bare-1").fired), (Some(g(14.55)), false));
    assert_eq!((pour("b-fired-1").dry, pour("b-fired-1").coat()), (Some(g(14.95)), None));
    let groups = compare(&reader.tallies().unwrap(), By::Form).groups;
    let rows: Vec<(&str, i64)> = groups.iter().map(|g| (g.name.as_str(), g.n)).collect();
    assert_eq!(rows, [("Invented mug", 6), ("Invented mug, fired already", 2)]);
}

#[test]
fn a_comparison_reads_one_index_and_no_row() {
    let mut conn = Connection::open_in_memory().unwrap();
    conn.execute_batch(&schema::STEPS.concat()).unwrap();
    let mut last = apply::Sequence::read(&conn).unwrap();
    let fired = BatchRecord { fired: true, ..a_batch("b1") };
    apply::apply(&mut conn, &mut Write::BatchCreated(fired), &mut last).unwrap();
    apply::apply(&mut conn, &mut commit(a_pour("p1", 1, 1, 42.0)), &mut last).unwrap();
    assert_eq!(tally::all(&conn).unwrap().iter().map(|t| t.fired).collect::<Vec<_>>(), [true]);
    let plan: String =
        conn.query_row(&format!("EXPLAIN QUERY PLAN {}", tally::ALL), [], |row| row.get("detail")).unwrap();
    assert_eq!(plan, "SCAN batch USING COVERING INDEX batch_compared");
}

#[test]
fn calibrations_stay_and_the_newest_wish_says_which_one_a_scale_goes_by() {
    let mut log = Log::new();
    let made = |id: &str, scale: &str, slope: f64| CalibrationRecord {
        id: id.to_owned(),
        scale: scale.to_owned(),
        made_at: NOW,
        request: r#"{"division_g":0.1,"points":[]}"#.to_owned(),
        offset_g: -0.123_456_789_012,
        slope,
        bend_per_g: 1.5e-7,
        verdict: "good".to_owned(),
    };
    let keep = |log: &mut Log, write| drop(log.written(Write::Calibration(write)));
    let [first, coarse, other] = [made("c1", "A", 0.997), made("c2", "A", 1.003), made("c3", "B", 1.0)];
    keep(&mut log, CalibrationWrite::Made { record: first.clone(), in_force: true });
    keep(&mut log, CalibrationWrite::Made { record: coarse.clone(), in_force: false });
    keep(&mut log, CalibrationWrite::Made { record: other.clone(), in_force: true });
    assert_eq!(
        log.reader().in_force("A").unwrap(),
        Some(first.clone()),
        "one too coarse is kept, not gone by"
    );
    assert_eq!(log.reader().calibrations().unwrap().len(), 3);
    assert_eq!(log.reader().calibration("c2").unwrap(), Some(coarse.clone()));
    let go_by = |calibration| CalibrationWrite::InForce { scale: "A".to_owned(), calibration, at: NOW };
    keep(&mut log, go_by(Some(Box::new(coarse.clone()))));
    let check = CheckRecord {
        id: "k1".to_owned(),
        scale: "A".to_owned(),
        calibration: Some("c2".to_owned()),
        made_at: NOW,
        mass_g: 50.0,
        shown_g: 50.1,
        error_g: -0.05,
        u_g: 0.071,
        room_c: Some(19.5),
        says: "in-order".to_owned(),
    };
    keep(&mut log, CalibrationWrite::Checked(check.clone()));
    keep(&mut log, CalibrationWrite::Masses { body: "[1]".to_owned(), at: NOW });
    keep(&mut log, CalibrationWrite::Masses { body: "[2]".to_owned(), at: NOW });
    let mut log = log.reopened();
    assert_eq!((&log.opened.calibrations, &log.opened.checks), (&vec![coarse, other], &vec![check]));
    assert_eq!(log.reader().masses().unwrap().as_deref(), Some("[2]"));
    keep(&mut log, go_by(None));
    assert_eq!((log.reader().in_force("A").unwrap(), log.reader().checks("A", 9).unwrap().len()), (None, 1));
}

/// A check that was not in order, made under this calibration.
fn a_check(id: &str, calibration: Option<&str>) -> CheckRecord {
    CheckRecord {
        id: id.to_owned(),
        scale: "A".to_owned(),
        calibration: calibration.map(str::to_owned),
        made_at: NOW,
        mass_g: 50.0,
        shown_g: 50.9,
        error_g: 0.8,
        u_g: 0.1,
        room_c: Some(19.5),
        says: "calibrate".to_owned(),
    }
}

#[test]
fn a_check_comes_back_only_with_the_calibration_that_it_was_made_under() {
    let mut log = Log::new();
    let made = |id: &str| CalibrationRecord {
        id: id.to_owned(),
        scale: "A".to_owned(),
        made_at: NOW,
        request: r#"{"division_g":0.1,"points":[]}"#.to_owned(),
        offset_g: 0.0,
        slope: 1.0,
        bend_per_g: 0.0,
        verdict: "good".to_owned(),
    };
    let keep = |log: &mut Log, write| drop(log.written(Write::Calibration(write)));
    let go_by = |calibration: Option<CalibrationRecord>| CalibrationWrite::InForce {
        scale: "A".to_owned(),
        calibration: calibration.map(Box::new),
        at: NOW,
    };
    let comes_back = |log: Log| {
        let log = log.reopened();
        (log.opened.checks.first().map(|c| c.id.clone()), log)
    };
    keep(&mut log, CalibrationWrite::Made { record: made("c1"), in_force: true });
    keep(&mut log, CalibrationWrite::Checked(a_check("k1", Some("c1"))));
    let (found, mut log) = comes_back(log);
    assert_eq!(found.as_deref(), Some("k1"), "of the calibration in force");
    keep(&mut log, CalibrationWrite::Made { record: made("c2"), in_force: true });
    let (found, mut log) = comes_back(log);
    assert_eq!(found, None, "calibrated since: the old check asks for nothing");
    keep(&mut log, CalibrationWrite::Checked(a_check("k2", Some("c2"))));
    keep(&mut log, go_by(Some(made("c1"))));
    let (found, mut log) = comes_back(log);
    assert_eq!(found, None, "back at the older calibration, the latest check was of the newer");
    keep(&mut log, go_by(None));
    let (found, mut log) = comes_back(log);
    assert_eq!(found, None, "by what it shows");
    keep(&mut log, CalibrationWrite::Checked(a_check("k3", None)));
    keep(&mut log, go_by(Some(made("c2"))));
    assert_eq!(comes_back(log).0, None, "a check of the scale as it shows says nothing of a calibration");
}

#[test]
fn a_log_of_an_older_layout_is_not_read_beside_and_the_words_say_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-1.db");
    std::fs::write(dir.path().join(LOG_FILE), fixture).unwrap();
    let refused = Reader::open(dir.path()).unwrap_err();
    assert!(matches!(refused, StoreError::Older { found: 1, known: LAYOUT, .. }));
    assert!(refused.to_string().contains("start `tarebell serve` on its folder once"), "{refused}");
    assert_eq!(std::fs::read(dir.path().join(LOG_FILE)).unwrap(), fixture, "left as it was");
}

/// A batch of this glaze, or of none.
fn of_glaze(id: &str, glaze: Option<&str>) -> BatchRecord {
    BatchRecord { glaze_name: glaze.map(str::to_owned), ..a_batch(id) }
}

fn in_batch(batch: &str, pour: PourRecord) -> PourRecord {
    PourRecord { batch: batch.to_owned(), ..pour }
}

#[test]
fn numbers_go_on_from_the_greatest_of_the_glaze_void_and_left_out_ones_with_it() {
    let mut log = Log::new();
    let batches =
        [of_glaze("b1", Some("G")), of_glaze("b2", Some("G")), of_glaze("b3", None), of_glaze("b4", None)];
    for batch in &batches {
        log.written(Write::BatchCreated(batch.clone()));
    }
    let next = |log: &Log, i: usize| log.reader().numbers(&batches[i]).unwrap().next();
    assert_eq!(next(&log, 0), 1);
    log.written(commit(a_pour("p1", 4, 1, 41.0)));
    log.written(commit(PourRecord { verdict: Verdict::Void, ..a_pour("p2", 6, 1, 41.0) }));
    log.written(commit(in_batch("b3", a_pour("p3", 20, 1, 41.0))));
    assert_eq!([0, 1, 2, 3].map(|i| next(&log, i)), [7, 7, 21, 1], "no name is no glaze in common");
    log.written(Write::NumberLeftOut { batch: "b2".into(), piece: 7, at: NOW });
    assert_eq!([0, 1, 2].map(|i| next(&log, i)), [8, 8, 21]);
}

#[test]
fn a_pour_to_be_done_again_is_void_and_its_number_waits_for_the_next_piece_of_its_batch() {
    let mut log = Log::new();
    let (one, two) = (of_glaze("b1", Some("G")), of_glaze("b2", Some("G")));
    log.written(Write::BatchCreated(one.clone()));
    log.written(Write::BatchCreated(two.clone()));
    log.written(commit(a_pour("p1", 1, 1, 41.0)));
    log.written(commit(a_pour("p2", 2, 1, 41.0)));
    let at = WallTime::from_unix_us(NOW.unix_us() + 60_000_000);
    for _ in 0..2 {
        let again = log.written(Write::PourAgain { pour: a_pour("p1", 1, 1, 0.0), at });
        let Write::PourAgain { pour, .. } = again else { panic!() };
        assert_eq!((pour.rev, pour.verdict, pour.net), (2, Verdict::Void, Some(g(41.0))));
    }
    let next = |log: &Log, batch: &BatchRecord| log.reader().numbers(batch).unwrap().next();
    assert_eq!((next(&log, &one), next(&log, &two)), (1, 3), "it is another batch's piece");
    assert_eq!(log.reader().poured_again(&a_pour("p1", 1, 1, 0.0)).unwrap(), None);
    let later = PourRecord { started_at: at, ..a_pour("p3", 1, 1, 42.0) };
    log.written(commit(later));
    assert_eq!(next(&log, &one), 3);
    let found = log.reader().poured_again(&a_pour("p1", 1, 1, 0.0)).unwrap();
    assert_eq!(found.map(|p| p.id).as_deref(), Some("p3"));
    // A number that waits can be left out too.
    let at = WallTime::from_unix_us(at.unix_us() + 1);
    log.written(Write::PourAgain { pour: a_pour("p2", 2, 1, 0.0), at });
    assert_eq!(next(&log, &one), 2);
    log.written(Write::NumberLeftOut { batch: "b1".into(), piece: 2, at });
    assert_eq!(next(&log, &one), 3);
}

#[test]
fn the_heaviest_piece_is_looked_for_in_the_batch_its_glaze_and_its_name() {
    let mut log = Log::new();
    let named = |id: &str, name: &str, glaze| BatchRecord { name: name.into(), ..of_glaze(id, glaze) };
    let weighs = |id: &str, batch: &str, tare_g| PourRecord {
        tare: g(tare_g),
        ..in_batch(batch, a_pour(id, 1, 1, 41.0))
    };
    for (id, name, glaze) in [("b1", "mugs", Some("G")), ("b2", "bowls", Some("G")), ("b3", "mugs", None)] {
        log.written(Write::BatchCreated(named(id, name, glaze)));
    }
    let heaviest = |log: &Log, name: &str, glaze| log.reader().heaviest(&named("new", name, glaze)).unwrap();
    assert_eq!(heaviest(&log, "mugs", Some("G")), None);
    log.written(commit(weighs("p1", "b1", 300.0)));
    log.written(commit(weighs("p2", "b2", 700.0)));
    log.written(commit(weighs("p3", "b3", 350.0)));
    assert_eq!(heaviest(&log, "mugs", None), Some(g(350.0)));
    assert_eq!(heaviest(&log, "plates", Some("G")), Some(g(700.0)));
    assert_eq!(heaviest(&log, "plates", None), None);
    let lately = log.reader().lately(2).unwrap();
    assert_eq!(lately, [(g(350.0), Some(g(391.0))), (g(700.0), Some(g(741.0)))]);
}

#[test]
fn the_jug_is_kept_with_where_it_stood_until_it_is_forgotten() {
    let mut log = Log::new();
    assert_eq!(log.opened.jug, None);
    let empty = JugRecord { empty: g(251.25), stood: None };
    log.written(Write::Jug(Some(empty)));
    let mut log = log.reopened();
    assert_eq!(log.opened.jug, Some(empty));
    let stood = Stood { batch: 7, gross: g(751.5), poured: g(58.25), pieces: 2, at: Some(NOW) };
    log.written(Write::Jug(Some(JugRecord { stood: Some(stood), ..empty })));
    let mut log = log.reopened();
    assert_eq!(log.opened.jug, Some(JugRecord { stood: Some(stood), ..empty }));
    log.written(Write::Jug(Some(empty)));
    let mut log = log.reopened();
    assert_eq!(log.opened.jug, Some(empty), "what it stood for is gone");
    log.written(Write::Jug(None));
    assert_eq!(log.reopened().opened.jug, None);
}

#[test]
fn slop_that_came_is_a_version_of_the_glaze_that_the_batch_goes_by_where_it_went_by_the_newest() {
    let mut log = Log::new();
    let shelf = |body: Option<&str>| ShelfRecord {
        shelf: Shelf::Glaze,
        name: "G".to_owned(),
        version: 0,
        body: body.map(str::to_owned),
        note: "measured".to_owned(),
        made_at: NOW,
    };
    let batch = BatchRecord { bucket: Some(1), ..of_glaze("b1", Some("G")) };
    log.written(Write::BatchCreated(batch.clone()));
    let at = WallTime::from_unix_us(NOW.unix_us() + 7);
    // Made in the morning as well, ended, of an older bucket, and of another glaze.
    let others = [("b2", Some("G"), 1), ("b3", Some("G"), 1), ("b4", Some("G"), 0), ("b5", Some("H"), 1)];
    for (id, glaze, bucket) in others {
        log.written(Write::BatchCreated(BatchRecord { bucket: Some(bucket), ..of_glaze(id, glaze) }));
    }
    log.written(Write::BatchEnded { id: "b3".into(), at });
    let came = |slop_g: f64| SlopCame { slop: Slop::Came(g(slop_g)), at };
    let refilled = |log: &mut Log, batch: &BatchRecord, came| {
        let Write::Retargeted(batch, _) = log.written(Write::Retargeted(batch.clone(), Some(came))) else {
            panic!()
        };
        batch
    };
    // Not on its shelf: there is nothing that would be another version.
    assert_eq!(refilled(&mut log, &batch, came(200.0)).bucket, Some(1));
    assert_eq!(log.reader().versions(Shelf::Glaze, "G").unwrap(), []);
    log.written(Write::Shelf(vec![shelf(Some(r#"{"cup_s":12.5,"glaze":{"by":"mix"},"slop_g":900}"#))]));
    let batch = refilled(&mut log, &batch, came(200.0));
    let batch = refilled(&mut log, &batch, SlopCame { slop: Slop::There(g(420.25)), at });
    assert_eq!((batch.bucket, log.reader().batch("b1").unwrap().unwrap().bucket), (Some(3), Some(3)));
    let goes_by = others.map(|(id, ..)| log.reader().batch(id).unwrap().unwrap().bucket);
    assert_eq!(goes_by, [Some(3), Some(1), Some(0), Some(1)]);
    let told: Vec<_> = log.reader().versions(Shelf::Glaze, "G").unwrap();
    let bodies: Vec<&str> = told.iter().filter_map(|v| v.body.as_deref()).collect();
    assert_eq!(
        bodies,
        [
            r#"{"cup_s":12.5,"glaze":{"by":"mix"},"there_g":420.25}"#,
            r#"{"came_g":200.0,"cup_s":12.5,"glaze":{"by":"mix"},"slop_g":900}"#,
            r#"{"cup_s":12.5,"glaze":{"by":"mix"},"slop_g":900}"#,
        ]
    );
    assert_eq!((told[0].made_at, told[2].made_at), (at, NOW));
    assert_eq!((told[0].note.as_str(), told[1].note.as_str()), ("counted what is there", "refilled the jug"));
    // Its target came from an older one: it goes by that still.
    let older = BatchRecord { bucket: Some(1), ..batch.clone() };
    assert_eq!(refilled(&mut log, &older, came(1.0)).bucket, Some(1));
    log.written(Write::Shelf(vec![shelf(None)]));
    assert_eq!(refilled(&mut log, &batch, came(1.0)).bucket, Some(3), "taken off its shelf");
    assert_eq!(log.reader().versions(Shelf::Glaze, "G").unwrap().len(), 5);
}

#[test]
fn the_spare_weight_is_kept_until_it_is_forgotten() {
    let mut log = Log::new();
    assert_eq!(log.opened.spare, None);
    log.written(Write::Spare(Some(g(61.25))));
    log.written(Write::Spare(Some(g(61.375))));
    let mut log = log.reopened();
    assert_eq!(log.opened.spare, Some(g(61.375)));
    log.written(Write::Spare(None));
    assert_eq!(log.reopened().opened.spare, None);
}

#[test]
fn a_log_is_copied_aside_before_a_step_and_a_new_one_is_not() {
    let mut log = Log::new();
    log.written(commit(a_pour("p1", 1, 1, 41.0)));
    log.store = None;
    let count = || std::fs::read_dir(log.dir.path()).unwrap().count();
    assert_eq!(count(), 2, "the log and the lock");
    let file = log.dir.path().join(LOG_FILE);
    let steps = [schema::STEPS, &["ALTER TABLE pour ADD COLUMN made_up TEXT"]].concat();
    let conn = schema::open(&file, &steps, NOW).unwrap();
    assert_eq!(schema::layout(&conn).unwrap(), LAYOUT + 1);
    let kept = log.dir.path().join(format!("tarebell-layout-{LAYOUT}-1700000000000000.db"));
    let kept = Connection::open(kept).unwrap();
    assert_eq!(schema::layout(&kept).unwrap(), LAYOUT);
    assert_eq!(query::pours(&kept, "b1").unwrap().len(), 1);
    assert_eq!(query::pours(&conn, "b1").unwrap().len(), 1);
}

#[test]
fn a_step_that_fails_leaves_the_log_as_it_was() {
    let log = Log::new().reopened();
    let file = log.dir.path().join(LOG_FILE);
    drop(log.store);
    let steps =
        [schema::STEPS, &["CREATE TABLE extra (a TEXT); ALTER TABLE missing ADD COLUMN a TEXT"]].concat();
    assert!(schema::open(&file, &steps, NOW).is_err());
    let conn = Connection::open(&file).unwrap();
    assert_eq!(schema::layout(&conn).unwrap(), LAYOUT);
    assert!(conn.prepare("SELECT a FROM extra").is_err());
}

#[test]
fn the_sums_of_a_batch_follow_its_newest_revisions() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    log.written(Write::PourOpened(an_open_pour("p1", 1)));
    assert_eq!(log.reader().sums("b1").unwrap(), Some(BatchSums::default()));
    log.written(commit(a_pour("p1", 1, 1, 40.0)));
    log.written(commit(a_pour("p2", 2, 1, 42.0)));
    log.written(commit(a_pour("p3", 3, 1, 41.5)));
    log.written(commit(a_pour("p1", 1, 2, 43.0)));
    log.written(commit(PourRecord { verdict: Verdict::Void, ..a_pour("p3", 3, 2, 41.5) }));
    // By hand: 42 and 43 g, so 85e6 ug and (42e6)^2 + (43e6)^2 = 1764e12 + 1849e12.
    let wanted = BatchSums {
        n: 2,
        sum_ug: 85_000_000,
        sum_squares_ug2: 3_613_000_000_000_000,
        min_ug: Some(42_000_000),
        max_ug: Some(43_000_000),
    };
    assert_eq!(log.reader().sums("b1").unwrap(), Some(wanted));
}

#[test]
fn a_void_takes_the_newest_revision_and_no_later_weight_brings_the_pour_back() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    let read = a_pour("p1", 1, 1, 40.0);
    log.written(commit(read.clone()));
    // A top-up that was on its way when the void was asked for.
    log.written(commit(a_pour("p1", 1, 2, 43.0)));
    let Write::PourVoided(void) = log.written(Write::PourVoided(read)) else { panic!("another write") };
    assert_eq!((void.rev, void.net, void.verdict), (3, Some(g(43.0)), Verdict::Void));
    assert_eq!(log.reader().sums("b1").unwrap(), Some(BatchSums::default()));
    let Write::PourVoided(again) = log.written(Write::PourVoided(void.clone())) else { panic!("another") };
    assert_eq!((again.rev, again.seq), (void.rev, void.seq), "asked twice, done once");
    // A top-up that was under way: its number is the engine's own.
    log.written(commit(a_pour("p1", 1, 3, 44.0)));
    let newest = log.reader().pour("p1").unwrap().unwrap();
    assert_eq!((newest.rev, newest.net, newest.verdict), (4, Some(g(44.0)), Verdict::Void));
    assert_eq!(log.reader().sums("b1").unwrap(), Some(BatchSums::default()));
}

#[test]
fn a_refused_write_is_told_once_kept_in_order_and_written_when_the_disk_takes_it() {
    let mut log = Log::new();
    let beside = log.beside();
    beside
        .execute_batch(
            "CREATE TRIGGER full BEFORE INSERT ON pour BEGIN SELECT RAISE(ABORT, 'made-up full disk'); END",
        )
        .unwrap();
    let first = log.send(commit(a_pour("p1", 1, 1, 41.0)));
    let second = log.send(commit(a_pour("p2", 2, 1, 42.0)));
    let Ack::Failing { ticket, reason } = log.acks.recv_timeout(WAIT).unwrap() else { panic!() };
    assert_eq!(ticket, first);
    assert!(reason.contains("made-up full disk"), "{reason}");
    let silent = log.acks.recv_timeout(Duration::from_millis(1200));
    assert!(silent.is_err(), "told once, though tried again: {silent:?}");
    assert_eq!(log.reader().pours("b1").unwrap(), []);
    beside.execute_batch("DROP TRIGGER full").unwrap();
    for (ticket, seq) in [(first, 1), (second, 2)] {
        let Ack::Written { ticket: told, write } = log.acks.recv_timeout(WAIT).unwrap() else { panic!() };
        assert_eq!((told, seq_of(&write)), (ticket, seq));
    }
    assert_eq!(log.reader().pours("b1").unwrap().len(), 2);
}

#[test]
fn what_somebody_waits_for_is_tried_once_or_withdrawn_and_what_is_behind_it_goes_on() {
    let log = Log::new();
    let beside = log.beside();
    beside
        .execute_batch(
            "CREATE TRIGGER full BEFORE INSERT ON batch BEGIN SELECT RAISE(ABORT, 'made-up full'); END",
        )
        .unwrap();
    let ask =
        |ticket, id| Job { ticket, write: Write::BatchCreated(a_batch(id)), asked: Some(Wanted::default()) };
    let store = log.store.as_ref().unwrap();
    store.try_write(ask(1, "refused")).unwrap();
    let withdrawn = ask(2, "withdrawn");
    assert!(withdrawn.asked.as_ref().unwrap().withdraw());
    store.try_write(withdrawn).unwrap();
    store.try_write(Job { ticket: 3, write: commit(a_pour("p1", 1, 1, 41.0)), asked: None }).unwrap();
    let next = || log.acks.recv_timeout(WAIT).unwrap();
    assert!(matches!(next(), Ack::Refused { ticket: 1, reason } if reason.contains("made-up full")));
    assert!(matches!(next(), Ack::Refused { ticket: 2, .. }));
    assert!(matches!(next(), Ack::Written { ticket: 3, .. }));
    beside.execute_batch("DROP TRIGGER full").unwrap();
    let wanted = ask(4, "written");
    store.try_write(wanted.clone()).unwrap();
    assert!(matches!(next(), Ack::Written { ticket: 4, .. }));
    assert!(!wanted.asked.unwrap().withdraw(), "too late");
    let ids: Vec<_> = log.reader().batches().unwrap().into_iter().map(|b| b.id).collect();
    assert_eq!(ids, ["written"]);
}

#[test]
fn handing_over_never_waits_and_a_refused_job_comes_back_whole() {
    let mut log = Log::new();
    log.beside()
        .execute_batch("CREATE TRIGGER full BEFORE INSERT ON pour BEGIN SELECT RAISE(ABORT, 'full'); END")
        .unwrap();
    log.send(commit(a_pour("first", 1, 1, 41.0)));
    log.acks.recv_timeout(WAIT).unwrap();
    for piece in 0..64 {
        log.send(commit(a_pour(&format!("p{piece}"), piece, 1, 41.0)));
    }
    let job = Job { ticket: 99, write: commit(a_pour("last", 99, 1, 41.0)), asked: None };
    assert_eq!(log.store.as_ref().unwrap().try_write(job.clone()), Err(job.clone()));
    let start = std::time::Instant::now();
    let left = log.store.take().unwrap().close([job]).unwrap_err();
    let took = start.elapsed();
    assert!(took > Duration::from_millis(900) && took < Duration::from_secs(2), "gave up after {took:?}");
    let said = left.to_string();
    let wanted = ["66 entries are not in the log", LOG_FILE, "piece 99: 41.0 g, good", ": full;", "by hand"];
    assert!(wanted.iter().all(|words| said.contains(words)), "{said}");
    assert!(log.acks.iter().all(|ack| matches!(ack, Ack::Failing { .. })), "none is claimed to be written");
}

#[test]
fn closing_writes_what_is_queued() {
    let mut log = Log::new();
    for piece in 1..=40 {
        log.send(commit(a_pour(&format!("p{piece}"), piece, 1, 41.0)));
    }
    // More than the queue holds: a close hands over the rest by itself.
    let rest = (41..=200).map(|piece| Job {
        ticket: piece.into(),
        write: commit(a_pour(&format!("p{piece}"), piece, 1, 41.0)),
        asked: None,
    });
    let store = log.store.take().unwrap();
    // A busy disk may take more than the second that a close gives it.
    store.closing.set(std::time::Instant::now() + WAIT).unwrap();
    store.close(rest).unwrap();
    assert_eq!(log.reader().pours("b1").unwrap().len(), 200);
    assert_eq!(log.acks.iter().count(), 200);
}

#[test]
fn reading_where_there_is_no_log_says_so_and_makes_none() {
    let dir = tempfile::tempdir().unwrap();
    assert!(matches!(Reader::open(dir.path()), Err(StoreError::Missing { .. })));
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
}

#[test]
fn the_probe_leaves_nothing_and_fails_where_nothing_can_be_written() {
    let dir = tempfile::tempdir().unwrap();
    try_writable(dir.path()).unwrap();
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
    assert!(matches!(try_writable(&dir.path().join("missing")), Err(StoreError::Disk { .. })));
    let log = dir.path().join(LOG_FILE);
    std::fs::write(&log, "").unwrap();
    let mut facts = std::fs::metadata(&log).unwrap().permissions();
    facts.set_readonly(true);
    std::fs::set_permissions(&log, facts).unwrap();
    assert!(matches!(try_writable(dir.path()), Err(StoreError::Disk { .. })));
}

#[test]
fn many_at_once_find_a_disk_writable_and_leave_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let all = std::sync::Barrier::new(8);
    let refused: Vec<String> = std::thread::scope(|scope| {
        let probe = || {
            all.wait();
            let tries = (0..25).map(|_| try_writable(dir.path()));
            tries.filter_map(|tried| tried.err().map(|e| e.to_string())).collect::<Vec<_>>()
        };
        let threads: Vec<_> = (0..8).map(|_| scope.spawn(probe)).collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    assert_eq!(refused, Vec::<String>::new());
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
}

proptest! {
    #[test]
    fn a_microgram_survives_the_way_to_grams_and_back(ug in -(1_i64 << 50)..(1_i64 << 50)) {
        prop_assert_eq!(rows::ug(rows::mass(ug)), ug);
    }

    #[test]
    fn kept_sums_equal_sums_made_anew(
        steps in prop::collection::vec((0_usize..4, 0.0..60.0_f64, any::<bool>()), 1..25)
    ) {
        let mut conn = Connection::open_in_memory().unwrap();
        conn.execute_batch(&schema::STEPS.concat()).unwrap();
        let mut last = apply::Sequence::read(&conn).unwrap();
        apply::apply(&mut conn, &mut Write::BatchCreated(a_batch("b1")), &mut last).unwrap();
        let mut revs = [0_u32; 4];
        for (which, net_g, void) in steps {
            revs[which] += 1;
            let verdict = if void { Verdict::Void } else { Verdict::Over };
            let pour = a_pour(&format!("p{which}"), 1, revs[which], net_g.round());
            apply::apply(&mut conn, &mut commit(PourRecord { verdict, ..pour }), &mut last).unwrap();
            prop_assert_eq!(query::sums(&conn, "b1").unwrap().unwrap(), apply::recount(&conn, "b1").unwrap());
        }
        let pours = query::pours(&conn, "b1").unwrap();
        let counted: Vec<_> = pours.iter().filter(|p| p.verdict != Verdict::Void).collect();
        let off = |p: &&PourRecord| (rows::ug(p.net.unwrap()) - rows::ug(p.target)) / 1000;
        let wanted = (counted.len() as i64, counted.iter().map(off).sum::<i64>(), counted.iter().map(|p| off(p).pow(2)).sum::<i64>());
        let kept = tally::all(&conn).unwrap().pop().unwrap_or_default();
        prop_assert_eq!((kept.n, kept.off_mg, kept.off_squares_mg2), wanted);
    }
}

#[test]
fn a_trace_that_went_on_takes_the_place_of_the_first() {
    let mut log = Log::new();
    log.written(Write::Pour {
        pour: PourRecord { trace: vec![1, 2], ..a_pour("p1", 1, 1, 29.0) },
        hand: None,
        lag: None,
    });
    log.written(Write::Trace { pour: "p1".into(), bytes: vec![1, 2, 3] });
    assert_eq!(log.reader().trace("p1").unwrap(), Some(vec![1, 2, 3]));
    assert_eq!(log.reader().revisions("p1").unwrap().len(), 1, "no new revision");
}

/// The step that keeps more with each batch reckons it for those that are there already: as it is kept from then on.
#[test]
fn what_is_kept_for_comparing_is_reckoned_anew_for_an_older_log() {
    let mut conn = Connection::open_in_memory().unwrap();
    conn.execute_batch(&schema::STEPS.concat()).unwrap();
    let mut last = apply::Sequence::read(&conn).unwrap();
    apply::apply(&mut conn, &mut Write::BatchCreated(a_batch("b1")), &mut last).unwrap();
    for (piece, net_g, verdict) in [
        (1, 42.0, Verdict::Good),
        (2, 39.0, Verdict::Short),
        (3, 41.0, Verdict::Void),
        (4, 45.6, Verdict::Over),
    ] {
        let pour = PourRecord { verdict, ..a_pour(&format!("p{piece}"), piece, 1, net_g) };
        apply::apply(&mut conn, &mut commit(pour), &mut last).unwrap();
    }
    apply::apply(
        &mut conn,
        &mut commit(PourRecord { verdict: Verdict::Over, ..a_pour("p2", 2, 2, 44.6) }),
        &mut last,
    )
    .unwrap();
    let all = "SELECT good, short, voids, guided, off_mg, off_squares_mg2, first_us, last_us FROM batch";
    let read = |conn: &Connection| -> Vec<Option<i64>> {
        conn.query_row(all, [], |row| (0..8).map(|i| row.get(i)).collect()).unwrap()
    };
    let kept = read(&conn);
    // By hand: good 42.0 of 42.123456, over 45.6 and 44.6; -123, 3476 and 2476 mg.
    assert_eq!(kept[..6], [Some(1), Some(0), Some(1), Some(3), Some(5829), Some(18_228_281)]);
    let step = schema::STEPS.iter().find(|step| step.contains("newest_pour")).unwrap();
    let view = &step[step.find("CREATE VIEW").unwrap()..step.find("DROP VIEW").unwrap()];
    conn.execute_batch(
        "UPDATE batch SET good = 0, short = 0, voids = 0, guided = 0, off_mg = 0, off_squares_mg2 = 0",
    )
    .unwrap();
    conn.execute_batch(view).unwrap();
    assert_eq!(read(&conn), kept);
}

#[test]
fn a_label_is_a_further_revision_that_later_weights_keep() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    log.written(commit(a_pour("p1", 1, 1, 42.0)));
    let label = |text: &str| Write::History(History::Labelled { pour: "p1".into(), label: text.into() });
    log.written(label("cracked foot"));
    let now = |log: &Log| log.reader().pour("p1").unwrap().map(|p| (p.rev, p.label)).unwrap();
    assert_eq!(now(&log), (2, Some("cracked foot".into())));
    log.written(label("cracked foot"));
    assert_eq!(now(&log).0, 2, "said twice, done once");
    log.written(commit(a_pour("p1", 1, 3, 42.5)));
    assert_eq!(now(&log), (3, Some("cracked foot".into())));
    log.written(label(""));
    assert_eq!(now(&log), (4, Some(String::new())));
    assert_eq!(log.reader().revisions("p1").unwrap().len(), 4);
}

fn found(log: &Log, search: Search) -> Vec<String> {
    log.reader().find(&search, 100).unwrap().into_iter().map(|f| f.pour.id).collect()
}

#[test]
fn pours_are_found_by_date_glaze_verdict_and_words() {
    let mut log = Log::new();
    let b2 = BatchRecord {
        name: "Invented bowls 100%".into(),
        glaze_name: Some("Celadon".into()),
        ..a_batch("b2")
    };
    log.written(Write::BatchCreated(a_batch("b1")));
    log.written(Write::BatchCreated(b2));
    let later = |us: i64| WallTime::from_unix_us(1_700_000_001_000_003 + us);
    log.written(commit(a_pour("p1", 1, 1, 42.0)));
    log.written(commit(PourRecord {
        verdict: Verdict::Short,
        started_at: later(10),
        ..a_pour("p2", 2, 1, 39.0)
    }));
    log.written(commit(PourRecord { batch: "b2".into(), started_at: later(20), ..a_pour("p3", 1, 1, 42.0) }));
    log.written(Write::History(History::Labelled { pour: "p1".into(), label: "Cracked Foot".into() }));
    log.written(Write::PourOpened(an_open_pour("p4", 4)));
    assert_eq!(found(&log, Search::default()), ["p3", "p2", "p1"], "the latest first, none that is open");
    assert_eq!(found(&log, Search { from: Some(later(10)), ..Search::default() }), ["p3", "p2"]);
    assert_eq!(found(&log, Search { before: Some(later(10)), ..Search::default() }), ["p1"]);
    assert_eq!(found(&log, Search { glaze: Some("Celadon".into()), ..Search::default() }), ["p3"]);
    assert_eq!(found(&log, Search { verdict: Some(Verdict::Short), ..Search::default() }), ["p2"]);
    assert_eq!(found(&log, Search { verdict: Some(Verdict::Over), ..Search::default() }), [] as [String; 0]);
    assert_eq!(found(&log, Search { words: Some("cracked".into()), ..Search::default() }), ["p1"]);
    assert_eq!(found(&log, Search { words: Some("100%".into()), ..Search::default() }), ["p3"], "no pattern");
    assert_eq!(found(&log, Search { words: Some("tenmoku".into()), ..Search::default() }), ["p2", "p1"]);
    assert_eq!(log.reader().find(&Search::default(), 2).unwrap().len(), 2);
}

#[test]
fn a_nickname_goes_from_batches_requests_and_hands() {
    let mut log = Log::new();
    let named = |id: &str, who: &str| BatchRecord {
        pourer: Some(who.to_owned()),
        request: format!(r#"{{"name":"Invented","pourer":"{who}"}}"#),
        ..a_batch(id)
    };
    log.written(Write::BatchCreated(named("b1", "Kiln cat")));
    log.written(Write::BatchCreated(named("b2", "Kiln")));
    let hand =
        |who: &str| crate::record::WhoPours::new(Some(who), None, None, "invented scale").key().to_owned();
    let beside = log.beside();
    for who in ["Kiln cat", "Kiln"] {
        beside.execute("INSERT INTO hand (key, hand_us, pours) VALUES ($1, 1, 1)", [hand(who)]).unwrap();
    }
    log.written(Write::History(History::Forgotten { pourer: "Kiln".into() }));
    let (b1, b2) = (log.reader().batch("b1").unwrap().unwrap(), log.reader().batch("b2").unwrap().unwrap());
    assert_eq!((b1.pourer.as_deref(), b2.pourer), (Some("Kiln cat"), None));
    assert_eq!(b2.request, r#"{"name":"Invented"}"#);
    assert!(
        log.reader().hand(&hand("Kiln")).unwrap().is_none()
            && log.reader().hand(&hand("Kiln cat")).unwrap().is_some()
    );
}

#[test]
fn a_copy_that_is_put_back_is_read_as_at_a_start_and_a_pour_left_open_in_it_is_marked() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    log.written(Write::Spare(Some(Mass::saturating(30.0))));
    log.written(Write::PourOpened(PourRecord { rev: 0, ..a_pour("p1", 1, 0, 0.0) }));
    let dir = log.dir.path().to_owned();
    let made = log.reader().backup(&dir, NOW).unwrap();
    log.written(commit(a_pour("p1", 1, 1, 42.0)));
    log.written(Write::Spare(None));
    let file = backup_file(&dir, &made.name).unwrap();
    let before = new_backup(&dir, NOW).unwrap();
    log.written(Write::History(History::Restored { file, before }));
    assert_eq!(log.opened.spare, Some(Mass::saturating(30.0)));
    assert_eq!(log.opened.interrupted.len(), 1);
    let rows = log.reader().pours("b1").unwrap();
    assert_eq!(rows.iter().map(|p| (p.rev, p.interrupted)).collect::<Vec<_>>(), [(1, true)]);
}

#[test]
fn the_whole_log_is_copied_while_it_is_written_and_put_back() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    log.written(commit(a_pour("p1", 1, 1, 42.0)));
    let dir = log.dir.path().to_owned();
    let made = log.reader().backup(&dir, NOW).unwrap();
    let file = backup_file(&dir, &made.name).unwrap();
    check_backup(&file).unwrap();
    log.written(commit(a_pour("p2", 2, 1, 43.0)));
    assert_eq!(log.reader().pours("b1").unwrap().len(), 2);
    let before = new_backup(&dir, NOW).unwrap();
    assert_ne!(before, file, "one of the same second");
    log.written(Write::History(History::Restored { file: file.clone(), before: before.clone() }));
    let kept = Connection::open(&before).unwrap();
    let all: i64 = kept.query_row("SELECT COUNT(*) FROM pour", [], |row| row.get(0)).unwrap();
    assert_eq!(all, 2, "what was there is in the copy, to the last write");
    check_backup(&before).unwrap();
    let rows = log.reader().pours("b1").unwrap();
    assert_eq!(rows.iter().map(|p| p.id.as_str()).collect::<Vec<_>>(), ["p1"]);
    // The count of commits goes on from what is there now.
    let Write::Pour { pour, .. } = log.written(commit(a_pour("p3", 3, 1, 41.0))) else { panic!() };
    assert_eq!(pour.seq, 2);
    assert_eq!(backup_files(&dir).unwrap().len(), 2);
    let holed = Connection::open(dir.join("backups/holed.db")).unwrap();
    holed.execute_batch("CREATE TABLE batch (id TEXT)").unwrap();
    holed.pragma_update(None, "user_version", schema::STEPS.len() as i64).unwrap();
    let refused = check_backup(&dir.join("backups/holed.db")).unwrap_err().to_string();
    assert!(refused.contains("is missing"), "{refused}");
    assert!(backup_file(&dir, "../tarebell.db").is_none() && backup_file(&dir, ".db").is_none());
    let mut bytes = std::fs::read(&file).unwrap();
    let half = bytes.len() / 2;
    bytes[half..].fill(7);
    std::fs::write(&file, &bytes).unwrap();
    assert!(check_backup(&file).is_err(), "a damaged file is told");
    std::fs::write(&file, b"no log at all, but long enough to be looked at as one").unwrap();
    assert!(check_backup(&file).is_err());
    let old = Connection::open(dir.join("backups/old.db")).unwrap();
    old.execute_batch(schema::STEPS[0]).unwrap();
    old.pragma_update(None, "user_version", 1).unwrap();
    assert!(matches!(check_backup(&dir.join("backups/old.db")), Err(StoreError::Older { .. })));
}

#[test]
fn a_link_among_the_copies_is_neither_listed_nor_handed_out() {
    let log = Log::new();
    let dir = log.dir.path();
    let made = log.reader().backup(dir, NOW).unwrap();
    let own = dir.join("backups").join(&made.name);
    std::fs::write(dir.join("secret.db"), b"somebody else's").unwrap();
    std::os::unix::fs::symlink(dir.join("secret.db"), dir.join("backups/link.db")).unwrap();
    std::os::unix::fs::symlink(&own, dir.join("backups/inner.db")).unwrap();
    std::fs::create_dir(dir.join("backups/folder.db")).unwrap();
    for name in ["link.db", "inner.db", "folder.db", "../secret.db", "none.db"] {
        assert_eq!(backup_file(dir, name), None, "{name}");
    }
    assert_eq!(backup_file(dir, &made.name), Some(own));
    assert_eq!(backup_files(dir).unwrap(), [made]);
}

#[test]
fn letters_beyond_a_to_z_are_found_in_either_case() {
    let mut log = Log::new();
    let named = |id: &str, name: &str| BatchRecord { name: name.to_owned(), ..a_batch(id) };
    log.written(Write::BatchCreated(named("b1", "Crème brûlée")));
    log.written(Write::BatchCreated(named("b2", "Plain cups")));
    log.written(commit(a_pour("p1", 1, 1, 42.0)));
    log.written(commit(in_batch(
        "b2",
        PourRecord { label: Some("Año Übung".into()), ..a_pour("p2", 1, 1, 42.0) },
    )));
    let found = |words: &str| -> Vec<String> {
        let search = Search { words: Some(words.to_owned()), ..Search::default() };
        log.reader().find(&search, 9).unwrap().into_iter().map(|f| f.pour.id).collect()
    };
    for (words, id) in [("CRÈME", "p1"), ("crème BRÛ", "p1"), ("AÑO", "p2"), ("übUNG", "p2"), ("cups", "p2")]
    {
        assert_eq!(found(words), [id], "{words}");
    }
    assert_eq!(found("creme"), Vec::<String>::new(), "another letter is another word");
    let glazed = BatchRecord { glaze_name: Some("Émail Bleu".to_owned()), ..a_batch("b3") };
    log.written(Write::BatchCreated(glazed));
    log.written(commit(in_batch("b3", a_pour("p3", 1, 1, 42.0))));
    for (glaze, n) in [("émail bleu", 1), ("ÉMAIL BLEU", 1), ("émail", 0)] {
        let search = Search { glaze: Some(glaze.to_owned()), ..Search::default() };
        assert_eq!(log.reader().find(&search, 9).unwrap().len(), n, "{glaze}");
    }
}

#[test]
fn a_copy_of_an_older_layout_is_put_back_brought_up_to_date_and_stays_as_it_was() {
    let mut log = Log::new();
    log.written(Write::BatchCreated(a_batch("b1")));
    let dir = log.dir.path().to_owned();
    let before = new_backup(&dir, NOW).unwrap();
    let old = dir.join("backups/older.db");
    let fixture = include_bytes!("../../tests/it/fixtures/log-layout-3.db");
    std::fs::write(&old, fixture).unwrap();
    let (file, copied) = made_current(&old, NOW).unwrap();
    assert!(copied && file != old);
    assert_eq!(std::fs::read(&old).unwrap(), fixture, "left as it was");
    assert!(backup_files(&dir).unwrap().iter().all(|f| f.name == "older.db"), "the copy is not listed");
    log.written(Write::History(History::Restored { file, before }));
    assert!(
        log.reader().batch("b-fixture").unwrap().is_some() && log.reader().batch("b1").unwrap().is_none()
    );
    let newer = Connection::open(dir.join("backups/newer.db")).unwrap();
    newer.pragma_update(None, "user_version", LAYOUT + 1).unwrap();
    let refused = made_current(&dir.join("backups/newer.db"), NOW).unwrap_err();
    assert!(matches!(refused, StoreError::Newer { .. }), "{refused}");
    Connection::open(dir.join("backups/other.db")).unwrap().execute_batch("CREATE TABLE t (x)").unwrap();
    let refused = made_current(&dir.join("backups/other.db"), NOW).unwrap_err();
    assert!(refused.to_string().contains("no log of this program"), "{refused}");
    assert!(std::fs::read_dir(dir.join("backups")).unwrap().count() == 5, "no half copy is left");
}

#[test]
fn the_run_rules_that_were_chosen_stay() {
    let mut log = Log::new();
    assert_eq!(log.reader().run_rules().unwrap(), None);
    log.written(Write::History(History::RunRules(5)));
    assert_eq!(log.reopened().reader().run_rules().unwrap(), Some(5));
}
