//! A loudspeaker that fails: the pour goes on and is logged, the potter is told, and it is opened again.

use crate::ear::{Ear, bare_sink, sink};
use crate::rig::{Heard, Rig};
use crate::sound::{serve, wait_for, warnings};
use rustix::process::Signal;
use std::io::Write as _;
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};

const S: Duration = Duration::from_secs(1);

/// A simulated hand that hears the live stream.
fn potter(pieces: u32) -> Potter {
    let plant = Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default());
    Potter::new(plant, Script::of(pieces, 29.0))
}

/// Pours all of it; gives the cues that were told and the pours that were logged.
fn pour_all(
    rig: &mut Rig,
    potter: &mut Potter,
    heard: &Receiver<Heard>,
    watched: &Receiver<Heard>,
) -> Poured {
    rig.pour(potter, heard, Instant::now() + 60 * S);
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    let messages: Vec<_> = watched.try_iter().map(|h| h.message).collect();
    let cues = messages.iter().filter(|m| m["kind"] == "cue").cloned().collect();
    let batch = rig.get("/api/now")["batch"].as_str().expect("a batch").to_owned();
    let pours = rig.get(&format!("/api/batches/{batch}/pours"));
    Poured { cues, pours: pours.as_array().expect("a list").clone() }
}

struct Poured {
    cues: Vec<serde_json::Value>,
    pours: Vec<serde_json::Value>,
}

impl Poured {
    fn count(&self, cue: &str) -> usize {
        self.cues.iter().filter(|m| m["cue"] == cue).count()
    }
}

/// Waits until it is closed: nothing is heard any more, not even silence. Gives how much was heard till then.
fn closed(ear: &Ear) -> usize {
    let end = Instant::now() + 30 * S;
    let mut pieces = ear.pieces();
    loop {
        assert!(Instant::now() < end, "never closed");
        std::thread::sleep(S);
        if std::mem::replace(&mut pieces, ear.pieces()) == pieces {
            return pieces;
        }
    }
}

fn ends(rig: &mut Rig) {
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < 2 * S, "{code:?} after {took:?}: {}", rig.said());
}

#[test]
fn one_that_takes_no_more_in_mid_pour_is_a_fault_for_whoever_can_hear_and_clear_when_it_is_back() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", 5 * S);
    assert_eq!(warnings(&rig), Vec::<String>::new());
    let (watched, heard) = (rig.listen(), rig.listen());
    let mut potter = potter(2);
    rig.pour_until("pouring", &mut potter, &heard);
    let from = Instant::now();
    ear.deafen(true);
    // The hand pours on until it hears of it.
    let fault = loop {
        assert!(from.elapsed() < 3 * S, "no fault: {}", rig.get("/api/now"));
        rig.pour(&mut potter, &heard, Instant::now() + Duration::from_millis(20));
        let sound = rig.get("/api/now")["sound"].clone();
        if sound["state"] == "dead" {
            assert!(sound["words"].as_str().is_some_and(|w| w.contains("takes no more sound")), "{sound}");
            break from.elapsed();
        }
    };
    println!("said {fault:?} after it took no more");
    // Half a second of no samples, a look each 0.1 s, and what the pipe still takes.
    assert!(fault < S, "{fault:?}");
    ear.deafen(false);
    let done = pour_all(&mut rig, &mut potter, &heard, &watched);
    assert_eq!((done.count("fault"), done.count("clear")), (1, 1), "{:?}", done.cues);
    assert_eq!(done.pours.len(), 2, "{:?}", done.pours);
    assert!(done.pours.iter().all(|p| p["net_g"].is_number()), "{:?}", done.pours);
    assert_eq!(done.pours[1]["guided"], true, "the next piece is poured as ever: {:?}", done.pours[1]);
    wait_for(&rig, "on", 5 * S);
    ends(&mut rig);
}

#[test]
fn one_that_is_unplugged_in_mid_pour_is_a_fault_and_the_pour_is_logged_and_it_is_taken_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let (pipe, config) = bare_sink(dir.path());
    let ear = Ear::open_pipe(&pipe, config.clone());
    let mut rig = serve(dir.path(), &config);
    wait_for(&rig, "on", 5 * S);
    warnings(&rig);
    let (watched, heard) = (rig.listen(), rig.listen());
    let mut potter = potter(2);
    rig.pour_until("pouring", &mut potter, &heard);
    // Every write fails from now on.
    let whole = std::fs::read_to_string(&config).expect("a file");
    std::fs::write(&config, "").expect("a file");
    drop(ear);
    let done = pour_all(&mut rig, &mut potter, &heard, &watched);
    assert_eq!(done.count("fault"), 1, "{:?}", done.cues);
    assert_eq!(done.pours.len(), 2, "{:?}", done.pours);
    assert!(done.pours.iter().all(|p| p["net_g"].is_number()), "{:?}", done.pours);
    assert!(rig.said().contains("takes no more sound"), "{}", rig.said());
    let sound = wait_for(&rig, "missing", 10 * S);
    assert!(sound["words"].as_str().is_some_and(|w| w.contains("loudspeaker")), "{sound}");
    let ear = Ear::open_pipe(&pipe, config.clone());
    std::fs::write(&config, whole).expect("a file");
    wait_for(&rig, "on", 10 * S);
    ends(&mut rig);
    drop(ear);
}

#[test]
fn one_that_hangs_when_it_is_opened_holds_up_no_pour_and_once_it_answers_cues_come_early_enough() {
    let dir = tempfile::tempdir().expect("a folder");
    // A pipe that nobody reads: opening it does not come back.
    let (pipe, config) = sink(dir.path());
    let mut rig = serve(dir.path(), &config);
    let told = warnings(&rig);
    assert!(told.len() == 1 && told[0].contains("no cue can be heard"), "{told:?}");
    let (watched, heard) = (rig.listen(), rig.listen());
    let done = pour_all(&mut rig, &mut potter(1), &heard, &watched);
    assert_eq!((done.count("stop"), done.count("fault")), (1, 0), "it never was there: {:?}", done.cues);
    assert_eq!(done.pours.len(), 1, "{:?}", done.pours);
    let ahead_us =
        |cue: &serde_json::Value| cue["due_us"].as_u64().zip(cue["at_us"].as_u64()).map(|(d, a)| d - a);
    let ready = |cues: &[serde_json::Value]| cues.iter().find(|c| c["cue"] == "ready").and_then(ahead_us);
    assert_eq!(ready(&done.cues), Some(0));
    wait_for(&rig, "dead", 6 * S);
    let ear = Ear::open_pipe(&pipe, config);
    wait_for(&rig, "on", 5 * S);
    std::thread::sleep(S);
    let latency_us = rig.get("/api/now")["sound"]["latency_us"].as_u64();
    // The same batch: what was begun before the device was open takes over what it needs.
    let done = pour_all(&mut rig, &mut potter(1), &heard, &watched);
    println!("announced {:?} us ahead, latency {latency_us:?} us", ready(&done.cues));
    assert!(ready(&done.cues) >= latency_us && latency_us > Some(0), "{:?}", done.cues);
    assert_eq!(done.pours.len(), 2, "{:?}", done.pours);
    ends(&mut rig);
    drop(ear);
}

#[test]
fn one_that_refuses_every_format_is_said_holds_up_no_pour_and_is_tried_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let whole = std::fs::read_to_string(&ear.config).expect("a file");
    // Takes only samples on a logarithmic scale, which nobody here makes.
    let odd = "pcm.!default { type mulaw slave { pcm nothing format S16_LE } }\npcm.nothing { type null }\n";
    std::fs::write(&ear.config, odd).expect("a file");
    let mut rig = serve(dir.path(), &ear.config);
    let told = warnings(&rig);
    assert!(told.len() == 1, "{told:?}");
    let (watched, heard) = (rig.listen(), rig.listen());
    let done = pour_all(&mut rig, &mut potter(1), &heard, &watched);
    assert_eq!((done.count("stop"), done.pours.len()), (1, 1), "{:?}", done.cues);
    let sound = wait_for(&rig, "missing", 6 * S);
    println!("{sound}");
    assert!(sound["words"].as_str().is_some_and(|w| w.contains("can't be used")), "{sound}");
    assert_eq!(rig.said().matches("can't be used").count(), 1, "{}", rig.said());
    std::fs::write(&ear.config, whole).expect("a file");
    wait_for(&rig, "on", 10 * S);
    ends(&mut rig);
}

#[test]
fn one_that_is_unplugged_while_it_is_closed_is_noticed_before_the_next_begin() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let whole = std::fs::read_to_string(&ear.config).expect("a file");
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", 5 * S);
    let pieces = closed(&ear);
    std::thread::sleep(7 * S);
    assert_eq!(ear.pieces(), pieces, "a look plays nothing");
    assert_eq!(rig.get("/api/now")["sound"]["state"], "on");
    std::fs::write(&ear.config, "").expect("a file");
    let from = Instant::now();
    wait_for(&rig, "missing", 10 * S);
    println!("noticed after {:?}", from.elapsed());
    assert!(warnings(&rig)[0].contains("no loudspeaker"));
    std::fs::write(&ear.config, whole).expect("a file");
    wait_for(&rig, "on", 10 * S);
    ends(&mut rig);
}

#[test]
fn a_batch_begun_again_over_a_piece_that_stands_there_has_its_fault_heard_though_it_was_closed() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut before = Rig::start(dir.path());
    let id = before.begin_batch(2);
    ends(&mut before);
    let ear = Ear::open(dir.path());
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", 5 * S);
    closed(&ear);
    let watched = rig.listen();
    let stands = |rig: &mut Rig, n| {
        for _ in 0..n {
            rig.line.write_all(b"300.0 g\r\n").expect("written");
            std::thread::sleep(S / 10);
        }
    };
    stands(&mut rig, 10);
    let from = Instant::now();
    let begun = rig.post(&format!("/api/batches/{id}/begin"), serde_json::json!({}));
    assert_eq!(begun["warnings"], serde_json::json!([]));
    stands(&mut rig, 25);
    let cues: Vec<_> = watched.try_iter().filter(|h| h.message["kind"] == "cue").collect();
    let words: Vec<_> = cues.iter().map(|h| h.message["cue"].clone()).collect();
    assert_eq!(words, ["fault"]);
    let sound = ear.since(from, 3 * S).samples;
    let loud = sound.iter().filter(|s| s.abs() > 0.01).count();
    println!("{loud} loud samples of {}, announced {:?} after the begin", sound.len(), cues[0].at - from);
    // A tenth of a second at 48 000 a second; a fault is longer.
    assert!(loud > 4800, "{loud} of {}: {}", sound.len(), rig.said());
    ends(&mut rig);
}
