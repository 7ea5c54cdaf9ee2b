//! A disk that does not take the log: locked by another program, or full.

use crate::rig::{Heard, Rig};
use rusqlite::Connection;
use rustix::process::Signal;
use serde_json::json;
use std::collections::HashSet;
use std::path::Path;
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::store::Reader;

/// Longest a stop may take: a promise of the contract, so it gets no room for a busy machine.
const STOP: Duration = Duration::from_secs(2);

/// Keeps every other program from writing the log until dropped.
struct Locked(Connection);

impl Locked {
    fn new(dir: &Path) -> Self {
        let conn = Connection::open(dir.join("tarebell.db")).expect("the log");
        conn.busy_timeout(Duration::from_secs(5)).expect("a limit");
        conn.execute_batch("BEGIN IMMEDIATE").expect("the lock");
        Self(conn)
    }

    fn let_go(self) {
        self.0.execute_batch("ROLLBACK").expect("let go");
    }
}

fn until(what: &str, mut look: impl FnMut() -> bool) {
    let end = Instant::now() + Duration::from_secs(20);
    while !look() {
        assert!(Instant::now() < end, "{what}: not within 20 s");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn what_was_answered_503_is_never_done_later_and_an_end_is_kept_and_says_so() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let cups = |name: &str| json!({ "name": name, "coat": { "by": "direct", "slop_g": 29.0 }, "tolerance": { "percent": 5.0 } });
    let names = || -> Vec<String> {
        let listed = rig.get("/api/batches");
        listed
            .as_array()
            .expect("a list")
            .iter()
            .map(|b| b["name"].as_str().expect("a name").to_owned())
            .collect()
    };
    let id = rig.post("/api/batches", cups("first"))["id"].as_str().expect("an id").to_owned();
    let batch = format!("/api/batches/{id}");

    let locked = Locked::new(dir.path());
    let (status, problem) = rig.try_post("/api/batches", cups("refused"));
    assert_eq!(status, 503, "{problem}");
    assert!(problem["detail"].as_str().is_some_and(|d| d.contains("nothing was done")), "{problem}");
    let (status, problem) = rig.try_post(&format!("{batch}/begin"), json!({}));
    assert_eq!(status, 503, "{problem}");
    let (status, problem) = rig.try_post("/api/scale/spare", json!({ "off": true }));
    assert_eq!(status, 503, "a spare weight counts from when it is on disk: {problem}");
    locked.let_go();
    // The log is written in order: with this one, all that stood before it is settled.
    rig.post("/api/batches", cups("second"));
    assert_eq!(names(), ["second", "first"]);
    assert_eq!((&rig.get(&batch)["begun_at"], &rig.get("/api/now")["batch"]), (&json!(null), &json!(null)));

    rig.post(&format!("{batch}/begin"), json!({}));
    assert_eq!(rig.get("/api/now")["batch"], id.as_str());
    let locked = Locked::new(dir.path());
    let (status, problem) = rig.try_post(&format!("{batch}/end"), json!({}));
    assert_eq!(status, 503, "{problem}");
    assert!(problem["detail"].as_str().is_some_and(|d| d.contains("the batch has ended")), "{problem}");
    let (status, again) = rig.try_post(&format!("{batch}/end"), json!({}));
    assert_eq!(status, 200, "{again}");
    assert!(again["warnings"][0].as_str().is_some_and(|w| w.contains("not on disk yet")), "{again}");
    assert_eq!(rig.try_post(&format!("{batch}/begin"), json!({})).0, 409, "it has ended");
    // Behind what is kept nobody has to wait, and nothing of it is done later either.
    let asked = Instant::now();
    assert_eq!(rig.try_post("/api/batches", cups("behind")).0, 503);
    println!("refused behind a failing entry after {:?}", asked.elapsed());
    assert_eq!(rig.get("/api/now")["not_recorded"], 1);
    locked.let_go();
    until("the end is written", || rig.get(&batch)["ended_at"].is_string());
    rig.post("/api/batches", cups("third"));
    assert_eq!(names(), ["third", "second", "first"]);
    assert_eq!(rig.get("/api/now")["not_recorded"], 0);
}

#[test]
fn a_stop_that_can_not_write_all_ends_in_time_with_code_1_and_says_what_is_lost() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let id = rig.begin_batch(1);
    let locked = Locked::new(dir.path());
    assert_eq!(rig.try_post(&format!("/api/batches/{id}/end"), json!({})).0, 503);
    let (code, took) = rig.stop(Signal::TERM);
    println!("a stop with the log locked took {took:?}");
    assert!(took < STOP, "{took:?}");
    let said = rig.said();
    assert_eq!(code, Some(1), "{said}");
    let last = said.lines().last().expect("words");
    for words in ["1 entry is not in the log", "tarebell.db", "locked", "by hand"] {
        assert!(last.contains(words), "'{words}' is not in: {last}");
    }
    locked.let_go();
}

/// The cues of the stream so far, in order.
fn cues(watched: &Receiver<Heard>) -> Vec<String> {
    let told = std::iter::from_fn(|| watched.try_recv().ok());
    told.filter(|h| h.message["kind"] == "cue")
        .map(|h| h.message["cue"].as_str().expect("cue").to_owned())
        .collect()
}

#[test]
fn a_disk_that_fills_in_mid_pour_is_a_fault_and_nothing_is_lost_when_room_comes_back() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start_limitable(dir.path());
    let id = rig.begin_batch(2);
    let (heard, watched) = (rig.listen(), rig.listen());
    let mut potter = Potter::new(
        Plant::new(7, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(2, 29.0),
    );
    let mut step = |rig: &mut Rig| rig.pour(&mut potter, &heard, Instant::now() + Duration::from_millis(50));
    until("the pour begins", || {
        step(&mut rig);
        rig.get("/api/now")["phase"] == "pouring"
    });
    assert_eq!(cues(&watched), ["ready"]);
    rig.limit_files(Some(0));
    let mut heard_so_far = Vec::new();
    until("a fault", || {
        assert_eq!(step(&mut rig).len(), 0, "shown, though it can't be on disk");
        heard_so_far.extend(cues(&watched));
        heard_so_far.iter().any(|c| c == "fault")
    });
    // Long enough for the hand to put the next piece down, and for that to come to rest.
    let held = Instant::now() + Duration::from_secs(8);
    while Instant::now() < held {
        assert_eq!(step(&mut rig).len(), 0, "shown, though it can't be on disk");
    }
    let during = cues(&watched);
    assert!(!during.iter().any(|c| c == "ready" || c == "clear"), "{during:?}");
    let now = rig.get("/api/now");
    assert!(now["not_recorded"].as_u64() > Some(0) && now["scale"]["settled"] == true, "{now}");
    assert!(now["scale"]["mass_g"].as_f64() > Some(50.0), "the second piece stands there: {now}");
    let listed = || rig.get(&format!("/api/batches/{id}/pours"));
    assert_eq!((listed().as_array().expect("a list").len(), &listed()[0]["rev"]), (1, &json!(0)));

    rig.limit_files(None);
    let shown = rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(40));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    let after = cues(&watched);
    assert_eq!(after.first().map(String::as_str), Some("clear"), "{after:?}");
    let once: HashSet<_> = shown.iter().map(|p| (p["id"].to_string(), p["rev"].as_u64())).collect();
    assert_eq!(once.len(), shown.len(), "each revision is shown once: {shown:?}");
    let logged = Reader::open(dir.path()).expect("the log").pours(&id).expect("pours");
    let pieces: Vec<_> = logged.iter().map(|p| p.piece).collect();
    assert_eq!(pieces, [1, 2]);
    for (pour, truth) in logged.iter().zip(potter.results()) {
        let net = pour.net.expect("a weight").g();
        // As on a disk with room: see the batch of six.
        assert!((net - truth.net_g).abs() < 0.35, "{net} logged, {} poured", truth.net_g);
    }
    assert_eq!(rig.get("/api/now")["not_recorded"], 0);
}

#[test]
fn with_a_log_that_takes_nothing_no_batch_is_made_and_none_begins() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start_limitable(dir.path());
    let cups = json!({ "coat": { "by": "direct", "slop_g": 29.0 }, "tolerance": { "percent": 5.0 } });
    let id = rig.post("/api/batches", cups.clone())["id"].as_str().expect("an id").to_owned();
    let begin = format!("/api/batches/{id}/begin");
    rig.limit_files(Some(0));
    for (path, body) in [("/api/batches", cups), (begin.as_str(), json!({}))] {
        let (status, problem) = rig.try_post(path, body);
        assert_eq!(status, 503, "{path}: {problem}");
        let detail = problem["detail"].as_str().expect("words");
        assert!(detail.contains(&dir.path().display().to_string()) && detail.contains("room"), "{detail}");
    }
    assert_eq!(rig.get("/api/now")["batch"], json!(null));
    rig.limit_files(None);
    assert_eq!(rig.get("/api/batches").as_array().expect("a list").len(), 1);
    assert_eq!(rig.try_post(&begin, json!({})).0, 200);
}
