//! Ends of the daemon: killed, asked to stop, started twice.

use crate::rig::Rig;
use std::io::Write;
use std::process::Command;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::record::Verdict;
use tarebell::store::{Reader, Store};
use tarebell::time::WallTime;

/// Pours until a moment drawn from the seed, kills, and looks at what is left.
/// Gives whether a pour was open at that moment.
fn kill_at(seed: u64) -> bool {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let id = rig.begin_batch(9);
    let heard = rig.listen();
    let mut potter = Potter::new(
        Plant::new(seed, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(9, 29.0),
    );
    let moment = Duration::from_millis(4000 + seed * 7919 % 18_000);
    let mut shown = rig.pour(&mut potter, &heard, Instant::now() + moment);
    rig.child.kill().expect("SIGKILL");
    rig.child.wait().expect("it ends");
    while let Ok(h) = heard.recv_timeout(Duration::from_millis(200)) {
        if h.message["kind"] == "pour" {
            shown.push(h.message);
        }
    }
    let (store, opened) = Store::open(dir.path(), WallTime::default(), |_| {}).expect("it opens again");
    store.close([]).expect("nothing was waiting");
    let logged = Reader::open(dir.path()).expect("the log").pours(&id).expect("pours");
    for pour in &shown {
        let same: Vec<_> = logged.iter().filter(|l| pour["id"] == l.id.as_str()).collect();
        assert_eq!(same.len(), 1, "seed {seed}, after {moment:?}: {pour} is there once");
        if same[0].rev == pour["rev"] {
            assert_eq!(same[0].net.expect("a weight").g(), pour["net_g"].as_f64().expect("a number"));
        }
    }
    for pour in &opened.interrupted {
        assert_eq!((pour.verdict, pour.interrupted), (Verdict::Void, true), "seed {seed}");
    }
    assert!(opened.interrupted.len() <= 1, "seed {seed}: one piece at a time");
    !opened.interrupted.is_empty()
}

#[test]
fn killed_at_ten_moments_every_record_shown_is_there_once() {
    let threads: Vec<_> = (1..=10).map(|seed| std::thread::spawn(move || kill_at(seed))).collect();
    let open = threads.into_iter().map(|t| t.join().expect("its checks pass")).filter(|open| *open).count();
    println!("{open} of 10 kills met an open pour");
    assert!(open >= 1, "no kill met an open pour: the moments test nothing");
}

#[test]
fn asked_to_stop_it_stops_within_two_seconds_with_code_0() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.begin_batch(1);
    let _heard = rig.listen();
    let (code, took) = rig.stop(rustix::process::Signal::TERM);
    // A promise of the contract, so it gets no room for a busy machine.
    assert!(took < Duration::from_secs(2), "{took:?}");
    assert_eq!((code, rig.said().as_str()), (Some(0), ""));
}

#[test]
fn a_client_that_never_ends_its_request_does_not_hold_a_stop_up() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let mut half = std::net::TcpStream::connect(&rig.address).expect("it listens");
    half.write_all(b"POST /api/target HTTP/1.1\r\nContent-Length: 99\r\n").expect("half a request");
    let (code, took) = rig.stop(rustix::process::Signal::TERM);
    println!("a stop with a client that hangs took {took:?}");
    assert!(took < Duration::from_secs(2), "the promise of the contract: {took:?}");
    assert_eq!(code, Some(0), "{}", rig.said());
}

#[test]
fn a_second_daemon_on_the_same_folder_is_refused_and_told_where_the_first_is() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let second = Command::new(env!("CARGO_BIN_EXE_tarebell"))
        .args(["serve", "--no-sound", "--listen", "127.0.0.1:0", "--data"])
        .arg(dir.path())
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&second.stderr);
    assert_eq!(second.status.code(), Some(1), "{said}");
    assert!(said.contains(&rig.address), "{said}");
}
