//! Signals: each that asks for a stop gets one.

use crate::rig::{Rig, serve};
use rustix::process::{Pid, Signal, kill_process};
use std::os::unix::process::ExitStatusExt;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::store::Reader;

/// Longest a stop may take: a promise of the contract, so it gets no room for a busy machine.
const STOP: Duration = Duration::from_secs(2);

fn potter(script: Script) -> Potter {
    Potter::new(Plant::new(3, Person::typical(), ScaleModel::with_lag(0.3), Table::default()), script)
}

#[test]
fn a_terminal_closed_in_mid_pour_stops_it_cleanly_with_the_pour_in_the_log() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let id = rig.begin_batch(1);
    let heard = rig.listen();
    let mut potter = potter(Script::of(1, 60.0));
    rig.pour_until("pouring", &mut potter, &heard);
    let (code, took) = rig.stop(Signal::HUP);
    println!("a stop in mid-pour took {took:?}");
    assert!(took < STOP, "{took:?}");
    assert_eq!(code, Some(0), "{}", rig.said());
    let logged = Reader::open(dir.path()).expect("the log").pours(&id).expect("pours");
    assert_eq!(logged.len(), 1);
    assert!(logged[0].rev >= 1 && logged[0].net.is_some(), "what was poured is entered: {logged:?}");
}

/// Sends a signal this long after the start. Gives whether it was caught.
fn early(signal: Signal, delay: Duration) -> bool {
    let dir = tempfile::tempdir().expect("a folder");
    let data = dir.path().join("log");
    let mut child = serve(&data).spawn().expect("the binary starts");
    std::thread::sleep(delay);
    let asked = Instant::now();
    kill_process(Pid::from_child(&child), signal).expect("a signal");
    let status = loop {
        if let Some(status) = child.try_wait().expect("its state") {
            break status;
        }
        if asked.elapsed() > STOP {
            child.kill().expect("a signal that nobody ignores");
            child.wait().expect("its end");
            panic!(
                "after {delay:?}: {signal:?} has not stopped it (is it ignored here, as by nohup? tests/all.sh mends that)"
            );
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    if status.signal() == Some(signal.as_raw()) {
        // Only while the system was still loading the program: nothing was begun.
        assert!(!data.exists(), "after {delay:?}: killed with the folder in use");
        return false;
    }
    assert_eq!(status.code(), Some(0), "after {delay:?}");
    true
}

#[test]
fn a_signal_at_any_moment_of_the_start_is_a_clean_stop() {
    let mut caught = 0;
    for signal in [Signal::TERM, Signal::INT, Signal::HUP] {
        for delay_ms in [0, 1, 2, 3, 4, 6, 8, 12, 20, 40, 80, 200] {
            caught += u32::from(early(signal, Duration::from_millis(delay_ms)));
        }
    }
    println!("{caught} of 36 signals came after the program was loaded");
    // A start takes about 10 ms on the bench; a machine five times as busy still catches the last of each.
    assert!(caught >= 6, "only {caught} were caught: the moments test nothing");
}

#[test]
fn one_that_was_started_to_outlive_its_terminal_does_and_stops_when_it_is_asked_to() {
    let dir = tempfile::tempdir().expect("a folder");
    let plain = serve(dir.path());
    let mut command = std::process::Command::new("sh");
    command.args(["-c", "trap '' HUP; exec \"$@\"", "sh"]).arg(plain.get_program()).args(plain.get_args());
    let line = crate::rig::terminal(dir.path());
    let mut rig = Rig::start_as(command, dir.path(), line);
    kill_process(Pid::from_child(&rig.child), Signal::HUP).expect("a signal");
    // A stop takes up to two seconds; what was going to stop would be doing so by now.
    std::thread::sleep(STOP);
    assert_eq!(rig.child.try_wait().expect("its state"), None, "{}", rig.said());
    assert_eq!(rig.get("/api/now")["phase"], "idle");
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < STOP, "{code:?} after {took:?}");
}

#[test]
fn a_demo_that_is_interrupted_stops_cleanly_and_leaves_no_folder() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_tarebell"))
        .args(["demo", "--pieces", "3"])
        .env("TMPDIR", dir.path())
        .stdout(std::process::Stdio::null())
        .spawn()
        .expect("the binary starts");
    let there = || std::fs::read_dir(dir.path()).expect("a folder").count();
    let end = Instant::now() + Duration::from_secs(20);
    while there() == 0 {
        assert!(Instant::now() < end, "no folder");
        std::thread::sleep(Duration::from_millis(10));
    }
    std::thread::sleep(Duration::from_millis(500));
    let asked = Instant::now();
    kill_process(Pid::from_child(&child), Signal::INT).expect("a signal");
    let status = child.wait().expect("it ends");
    assert!(asked.elapsed() < STOP, "{:?}", asked.elapsed());
    assert_eq!((status.code(), there()), (Some(0), 0));
}

#[test]
fn words_that_nobody_reads_do_not_hold_up_a_fault() {
    let dir = tempfile::tempdir().expect("a folder");
    let full = dir.path().join("paused");
    rustix::fs::mknodat(rustix::fs::CWD, &full, rustix::fs::FileType::Fifo, 0o600.into(), 0).expect("a pipe");
    let mut pipe = std::fs::OpenOptions::new();
    let pipe = std::os::unix::fs::OpenOptionsExt::custom_flags(pipe.read(true).write(true), NONBLOCK);
    let mut pipe = pipe.open(&full).expect("our end");
    for chunk in [512, 1] {
        while std::io::Write::write(&mut pipe, &[b'.'; 512][..chunk]).is_ok() {}
    }
    let plain = serve(dir.path());
    let mut command = std::process::Command::new("sh");
    command.args(["-c", "exec \"$@\" 2>\"$0\""]).arg(&full).arg(plain.get_program()).args(plain.get_args());
    command.stdin(std::process::Stdio::null()).stdout(std::process::Stdio::null());
    let line = crate::rig::terminal(dir.path());
    let mut rig = Rig::start_as(command, dir.path(), line);
    rig.begin_batch(1);
    let heard = rig.listen();
    let mut potter = potter(Script::of(1, 60.0));
    rig.pour_until("pouring", &mut potter, &heard);
    // Unplugged: the daemon has something to say, and nobody takes it.
    rig.unplug();
    let unplugged = Instant::now();
    while rig.get("/api/now")["phase"] != "fault" {
        // The contract's own second.
        assert!(unplugged.elapsed() < Duration::from_secs(1), "{}", rig.get("/api/now"));
    }
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < STOP, "{code:?} after {took:?}");
}

#[test]
fn a_batch_ends_with_a_piece_ready_and_no_word_of_a_slow_disk() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let id = rig.begin_batch(1);
    let heard = rig.listen();
    let mut potter = potter(Script { before_pour_s: (30.0, 40.0), ..Script::of(1, 29.0) });
    rig.pour_until("ready", &mut potter, &heard);
    let ended = rig.post(&format!("/api/batches/{id}/end"), serde_json::json!({}));
    assert!(ended["ended_at"].is_string(), "{ended}");
}

/// `O_NONBLOCK`.
const NONBLOCK: i32 = rustix::fs::OFlags::NONBLOCK.bits() as i32;
