//! A batch through a pseudo-terminal in real time.

use crate::rig::{Rig, pieces};
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::entry::Output;
use tarebell::pour::trace::Trace;
use tarebell::store::Reader;

#[test]
fn a_batch_of_six_is_tared_cued_and_logged_through_a_real_terminal() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let id = rig.begin_batch(6);
    let heard = rig.listen();
    let mut potter = Potter::new(
        Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(6, 29.0),
    );
    let shown = rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(90));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    assert_eq!(pieces(&shown), 6, "{shown:?}");
    let logged = Reader::open(dir.path()).expect("the log").pours(&id).expect("pours");
    assert_eq!(logged.len(), 6);
    for (pour, truth) in logged.iter().zip(potter.results()) {
        let net = pour.net.expect("a weight").g();
        assert_eq!(pour.piece, truth.piece);
        // Two readings of a 0.1 g scale at rest: 0.1 g of step and four times 0.03 g of noise, twice.
        assert!(
            (net - truth.net_g).abs() < 0.35,
            "piece {}: {net} logged, {} poured",
            pour.piece,
            truth.net_g
        );
        assert!(pour.guided && pour.settled && !pour.interrupted);
    }
    // The first three teach; a plain tone at target gives more than 5 g over on these hands.
    for truth in &potter.results()[3..] {
        assert!((truth.net_g - 29.0).abs() < 3.0, "{truth:?}");
    }
    // Every pour's trace, replayed, ends in the weight that was logged.
    let reader = Reader::open(dir.path()).expect("the log");
    for pour in &logged {
        let bytes = reader.trace(&pour.id).expect("the log").expect("a trace");
        let replayed = Trace::decode(&bytes).expect("our own bytes").replay();
        let net = replayed.iter().rev().find_map(|o| if let Output::Entry(e) = o { e.net } else { None });
        assert_eq!(
            net.map(|m| (m.g() * 1e6).round()),
            pour.net.map(|m| (m.g() * 1e6).round()),
            "piece {}",
            pour.piece
        );
    }
    let listed = rig.get(&format!("/api/batches/{id}/pours"));
    assert_eq!(listed.as_array().expect("a list").len(), 6);
}

#[test]
fn readings_that_stop_in_mid_pour_are_a_fault_within_a_second() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.begin_batch(1);
    let heard = rig.listen();
    let mut potter = Potter::new(
        Plant::new(3, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(1, 60.0),
    );
    let end = Instant::now() + Duration::from_secs(20);
    while rig.get("/api/now")["phase"] != "pouring" && Instant::now() < end {
        rig.pour(&mut potter, &heard, Instant::now() + Duration::from_millis(50));
    }
    assert_eq!(rig.get("/api/now")["phase"], "pouring", "the pour never began");
    let silent_from = Instant::now();
    let fault = loop {
        assert!(silent_from.elapsed() < Duration::from_secs(5), "no fault: {}", rig.get("/api/now"));
        let message = heard.recv_timeout(Duration::from_secs(5)).expect("the stream goes on");
        if message.message["cue"] == "fault" {
            break message.at;
        }
    };
    // The engine allows 0.8 s of silence; the promise is 1 s, and the last reading was before `silent_from`.
    assert!(fault - silent_from < Duration::from_secs(1), "{:?}", fault - silent_from);
    assert_eq!(rig.get("/api/now")["phase"], "fault");
}

#[test]
fn a_line_that_is_closed_is_said_to_be_unplugged_and_the_daemon_goes_on() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let end = Instant::now() + Duration::from_secs(10);
    rig.unplug();
    while rig.get("/api/now")["scale"]["state"] != "lost" {
        assert!(Instant::now() < end, "{}", rig.get("/api/now"));
        std::thread::sleep(Duration::from_millis(50));
    }
    let trouble = rig.get("/api/now")["scale"]["trouble"].as_str().expect("words").to_owned();
    assert!(trouble.contains("plug"), "{trouble}");
}
