//! A disk that does not take the log: locked by another program, or full.

use crate::rig::Rig;
use rusqlite::Connection;
use rustix::process::Signal;
use serde_json::json;
use std::path::Path;
use std::time::{Duration, Instant};

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
