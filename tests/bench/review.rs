//! How quick the review is: a batch of a thousand, and comparing and searching a log of a million pours, beside pandas
//! on the same file.
//!
//! `cargo bench --bench review`; `-- --pours N` makes another size, `-- --keep FOLDER` keeps the log. What pandas takes
//! is printed where `python3` (or `PYTHON`) has it. All pours are invented.

#![allow(clippy::expect_used, reason = "a bench that fails says where")]

use rusqlite::{Connection, params};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};
use tarebell::record::{Aim, Search, Verdict};
use tarebell::review::control_chart::Rules;
use tarebell::review::outcome::{Piece, counted};
use tarebell::review::trend::{By, compare};
use tarebell::review::{Given, review};
use tarebell::store::{LOG_FILE, Reader, Store};
use tarebell::time::WallTime;
use tarebell::units::Mass;

/// The log as it was before more was kept with each batch: the program brings it up to date itself.
const STEPS: [&str; 6] = [
    include_str!("../../src/store/schema/0001.sql"),
    include_str!("../../src/store/schema/0002.sql"),
    include_str!("../../src/store/schema/0003.sql"),
    include_str!("../../src/store/schema/0004.sql"),
    include_str!("../../src/store/schema/0005.sql"),
    include_str!("../../src/store/schema/0006.sql"),
];
const PIECES: u64 = 24;
const DAY_US: i64 = 86_400_000_000;

fn word(name: &str) -> Option<String> {
    std::env::args().skip_while(|arg| arg != name).nth(1)
}

/// Even over 0 to 1, from a counter.
fn even(n: u64) -> f64 {
    let mut word = n.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((word ^ (word >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}

fn invent(dir: &Path, pours: u64) {
    let mut conn = Connection::open(dir.join(LOG_FILE)).expect("a log");
    conn.execute_batch(&STEPS.concat()).expect("its tables");
    conn.pragma_update(None, "user_version", STEPS.len() as i64).expect("its layout");
    let tx = conn.transaction().expect("a transaction");
    for batch in 0..pours.div_ceil(PIECES) {
        one_batch(&tx, batch, PIECES.min(pours - batch * PIECES));
    }
    tx.commit().expect("on disk");
}

fn one_batch(conn: &Connection, batch: u64, pieces: u64) {
    let id = format!("018f-invented-{batch:08}");
    // Twelve years of kiln loads.
    let made = 1_400_000_000_000_000 + (batch as i64) * (12 * 365 * DAY_US / 42_000);
    let (mut sum, mut squares, mut min, mut max) = (0_i64, 0_i128, i64::MAX, 0);
    let mut add = conn
        .prepare_cached(
            "INSERT INTO pour (id, rev, seq, batch, piece, started_us, tare_ug, target_ug, low_ug, high_ug, first_net_ug, \
             net_ug, net_u_ug, top_ups, verdict, interrupted, settled, guided, lasted_us, scale) \
             VALUES ($1, 1, $2, $3, $4, $5, 300000000, 29000000, 27550000, 30450000, $6, $6, 100000, 0, $7, 0, 1, 1, 9000000, 'invented')",
        )
        .expect("a statement");
    for piece in 0..pieces {
        let n = batch * PIECES + piece;
        let off = (0..4).map(|k| even(4 * n + k)).sum::<f64>() - 2.0;
        let net = 29_000_000 + (off * 1_100_000.0) as i64;
        let verdict = match net {
            ..27_550_000 => "short",
            27_550_000..=30_450_000 => "good",
            _ => "over",
        };
        sum += net;
        squares += i128::from(net) * i128::from(net);
        (min, max) = (min.min(net), max.max(net));
        let at = made + piece as i64 * 60_000_000;
        add.execute(params![format!("{id}-{piece}"), n as i64 + 1, id, piece as i64 + 1, at, net, verdict])
            .expect("a pour");
    }
    conn.prepare_cached(
        "INSERT INTO batch (id, name, pieces, target_ug, low_ug, high_ug, request, created_us, n, sum_ug, sum_squares_ug2, \
         min_ug, max_ug, glaze_name) VALUES ($1, $2, 24, 29000000, 27550000, 30450000, '{}', $3, $4, $5, $6, $7, $8, $9)",
    )
    .expect("a statement")
    .execute(params![
        id,
        format!("Invented load {batch}"),
        made,
        pieces as i64,
        sum,
        squares.to_string(),
        min,
        max,
        format!("Invented glaze {}", batch % 12)
    ])
    .expect("a batch");
}

/// The middle of eleven.
fn middle(mut work: impl FnMut()) -> Duration {
    let mut all: Vec<Duration> = (0..11)
        .map(|_| {
            let from = Instant::now();
            work();
            from.elapsed()
        })
        .collect();
    all.sort();
    all[5]
}

fn tell(what: &str, took: Duration) {
    println!("{what:64} {:9.2} ms", took.as_secs_f64() * 1000.0);
}

fn a_thousand() {
    let aim =
        Aim { target: Mass::saturating(29.0), low: Mass::saturating(27.55), high: Mass::saturating(30.45) };
    let piece = |n: u32| Piece::of(n, Mass::saturating(28.0 + 2.0 * even(u64::from(n))), aim);
    let given = Given {
        pieces: (1..=1000).map(piece).collect(),
        void: 0,
        aim,
        rules: Rules::default(),
        set_back: None,
        fired: false,
    };
    tell("review of a batch of 1000, in memory", middle(|| assert_eq!(review(&given).n, 1000)));
}

fn main() {
    let pours = word("--pours").and_then(|n| n.parse().ok()).unwrap_or(1_000_000);
    let made = tempfile::tempdir().expect("a folder");
    let dir = word("--keep").map_or_else(|| made.path().to_owned(), PathBuf::from);
    std::fs::create_dir_all(&dir).expect("a folder");
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!("{pours} invented pours; load {}", load.trim());
    a_thousand();
    if !dir.join(LOG_FILE).exists() {
        invent(&dir, pours);
    }
    let from = Instant::now();
    let (store, _) =
        Store::open(&dir, WallTime::from_unix_us(1_800_000_000_000_000), |_| {}).expect("the log");
    tell("bringing the log up to date (once, with a copy set aside)", from.elapsed());
    store.close([]).expect("closed");
    let reader = || Reader::open(&dir).expect("the log");
    for by in [By::Time, By::Glaze, By::Guidance] {
        let took = middle(|| assert!(!compare(&reader().tallies().expect("kept"), by).groups.is_empty()));
        tell(&format!("comparing all batches by {}", by.word()), took);
    }
    let day = |d: i64| Some(WallTime::from_unix_us(1_400_000_000_000_000 + d * DAY_US));
    let searches = [
        ("the latest", Search::default()),
        ("a month, ten years ago", Search { from: day(700), before: day(730), ..Search::default() }),
        (
            "short ones of a glaze",
            Search {
                glaze: Some("Invented glaze 3".into()),
                verdict: Some(Verdict::Short),
                ..Search::default()
            },
        ),
        ("void ones, of which there are none", Search { verdict: Some(Verdict::Void), ..Search::default() }),
        ("words in one batch's name", Search { words: Some("load 777".into()), ..Search::default() }),
    ];
    for (what, search) in searches {
        tell(&format!("finding 200: {what}"), middle(|| drop(reader().find(&search, 200).expect("found"))));
    }
    let batch = reader().find(&Search::default(), 1).expect("one").remove(0).pour.batch;
    let took = middle(|| {
        let (pieces, void) = counted(&reader().pours(&batch).expect("pours"));
        let aim = Aim {
            target: Mass::saturating(29.0),
            low: Mass::saturating(27.55),
            high: Mass::saturating(30.45),
        };
        review(&Given { pieces, void, aim, rules: Rules::default(), set_back: None, fired: false });
    });
    tell("review of one batch of 24 from the log", took);
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/review.py");
    let said = Command::new(python).arg(script).arg(dir.join(LOG_FILE)).output();
    match said {
        Ok(said) if said.status.success() => print!("{}", String::from_utf8_lossy(&said.stdout)),
        Ok(said) => println!(
            "pandas: not there ({})",
            String::from_utf8_lossy(&said.stderr).lines().last().unwrap_or_default()
        ),
        Err(error) => println!("pandas: not there ({error})"),
    }
}
