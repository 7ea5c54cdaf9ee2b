//! A log of invented batches, written straight into the store: nobody pours for it.

use std::path::Path;
use tarebell::record::{BatchRecord, Marks, PourRecord};
use tarebell::store::{Ack, Job, Store, Write};
use tarebell::time::{Duration, WallTime};
use tarebell::units::Mass;

/// A day of an invented year, at noon.
pub(crate) fn noon(day: i64) -> i64 {
    1_767_268_800_000_000 + day * 86_400_000_000
}

fn g(grams: f64) -> Mass {
    Mass::saturating(grams)
}

/// A batch of 29 g with 5 %, of an invented cylinder of 250 cm2.
pub(crate) fn batch(id: &str, name: &str, glaze: &str, day: i64) -> BatchRecord {
    let request = r#"{"name":"invented","glaze":{"by":"density","specific_gravity":1.45,"powder_density_g_ml":2.5},
        "form":{"by":"area","area_cm2":250},"coat":{"by":"dry","dry_g_per_cm2":0.06},"tolerance":{"percent":5}}"#;
    let at = WallTime::from_unix_us(noon(day));
    BatchRecord {
        id: id.to_owned(),
        name: name.to_owned(),
        pieces: 24,
        target: g(29.0),
        low: g(27.55),
        high: g(30.45),
        ladder: Vec::new(),
        solids_fraction: Some(15.0 / 29.0),
        pourer: Some("invented hand".to_owned()),
        jug: None,
        vessel: None,
        finish: None,
        glaze_name: Some(glaze.to_owned()),
        bucket: None,
        measured_at: None,
        bare: None,
        form: None,
        fired: false,
        request: request.to_owned(),
        created_at: at,
        begun_at: Some(at),
        ended_at: Some(WallTime::from_unix_us(noon(day) + 3_600_000_000)),
    }
}

/// A piece that got so much, a minute after the one before it.
pub(crate) fn pour(batch: &BatchRecord, piece: u32, net_g: f64) -> PourRecord {
    let at = batch.created_at.unix_us() + i64::from(piece) * 60_000_000;
    let wiggle = f64::from(piece * 7919 % 97) / 97.0;
    PourRecord {
        id: format!("{}-{piece}", batch.id),
        rev: 1,
        seq: 0,
        batch: batch.id.clone(),
        piece,
        started_at: WallTime::from_unix_us(at),
        tare: g(300.0 + 5.0 * wiggle),
        target: batch.target,
        low: batch.low,
        high: batch.high,
        first_net: Some(g(net_g)),
        net: Some(g(net_g)),
        net_u: Some(g(0.1)),
        rolled: None,
        top_ups: 0,
        dry: Some(g(net_g * 15.0 / 29.0)),
        fired: batch.fired,
        verdict: batch.aim().verdict(net_g),
        interrupted: false,
        settled: true,
        guided: true,
        seconds: 9.0,
        contact: Some(Duration::from_secs_f64(4.0 + 2.0 * wiggle)),
        flow_g_s: Some(7.0 + 2.0 * wiggle),
        stop_cue: Some(g(net_g - 2.0)),
        bucket: None,
        calibration: None,
        scale: "invented scale".to_owned(),
        label: None,
        marks: Marks::default(),
        trace: Vec::new(),
    }
}

/// Grams that scatter like a hand: the sum of twelve even draws, from a seed.
pub(crate) fn scattered(n: u32, mean_g: f64, sd_g: f64, seed: u64) -> Vec<f64> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut even = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let one = |_| mean_g + sd_g * ((0..12).map(|_| even()).sum::<f64>() - 6.0);
    // As a display of 0.1 g gives them, and the average of its readings a digit finer.
    (0..n).map(one).map(|g: f64| (g * 100.0).round() / 100.0).collect()
}

/// Writes these batches with what their pieces got.
pub(crate) fn write(dir: &Path, batches: &[(BatchRecord, Vec<f64>)]) {
    let mut jobs = Vec::new();
    for (batch, grams) in batches {
        jobs.push(Write::BatchCreated(batch.clone()));
        for (net_g, piece) in grams.iter().zip(1..) {
            jobs.push(Write::Pour { pour: pour(batch, piece, *net_g), hand: None, lag: None });
        }
    }
    put(dir, jobs);
}

/// A batch with records as they are.
pub(crate) fn write_all(dir: &Path, batch: BatchRecord, pours: Vec<PourRecord>) {
    let pours = pours.into_iter().map(|pour| Write::Pour { pour, hand: None, lag: None });
    put(dir, std::iter::once(Write::BatchCreated(batch)).chain(pours).collect());
}

/// All of it is on disk before the log is closed: a busy disk takes longer than a close waits.
fn put(dir: &Path, jobs: Vec<Write>) {
    let (tell, acks) = std::sync::mpsc::channel();
    let heard = move |ack| _ = tell.send(matches!(ack, Ack::Written { .. }));
    let (store, _) = Store::open(dir, WallTime::from_unix_us(noon(400)), heard).expect("a log");
    let wanted = jobs.len();
    for (write, ticket) in jobs.into_iter().zip(1..) {
        let mut job = Job { ticket, write, asked: None };
        while let Err(back) = store.try_write(job) {
            job = back;
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    }
    let written = acks.iter().filter(|written| *written).take(wanted).count();
    assert_eq!(written, wanted, "each is told as written");
    store.close([]).expect("all of it on disk");
}

/// The invented board that is shown: two thin ones, and coats that grow.
pub(crate) fn board() -> (BatchRecord, Vec<f64>) {
    let mut grams: Vec<f64> = scattered(24, 28.6, 0.2, 5);
    grams.iter_mut().zip(0..).for_each(|(g, i)| *g += 0.05 * f64::from(i));
    grams[6] = 27.3;
    grams[18] = 27.4;
    (batch("b-board", "Invented cups, top shelf", "Invented tenmoku", 10), grams)
}
