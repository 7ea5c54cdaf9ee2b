//! A disk that does not take the log: locked by another program, or full.

use crate::rig::Rig;
use rusqlite::Connection;
use rustix::process::Signal;
use serde_json::json;
use std::path::Path;
use std::time::Duration;

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
