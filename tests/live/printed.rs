//! Results whose reader has gone, or finds no room: no panic, and a code that says which.

use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use tarebell::pour::engine::Start;
use tarebell::pour::trace::{Input, Trace};
use tarebell::reading::Weighing;
use tarebell::record::Aim;
use tarebell::time::Instant;
use tarebell::units::Mass;

/// A trace of a piece that lands and is ready: a cue and an entry come of it.
fn trace() -> Vec<u8> {
    let settings = tarebell::settings::Settings::default();
    let [target, low, high] = [29.0, 27.5, 30.5].map(Mass::saturating);
    let start = Start { settings: settings.pour, ..Start::fresh(Aim { target, low, high }, settings.scale) };
    let mut trace = Trace::new(start);
    for n in 0..40 {
        let at = Instant::START.offset_seconds(0.1 * f64::from(n));
        let mass = Mass::saturating(if n < 20 { 0.0 } else { 300.0 });
        trace.note(Input::Weighing(Weighing { mass, arrived_at: at, taken_at: at }), false);
    }
    assert!(!trace.replay().is_empty());
    trace.encode()
}

/// A folder with settings in order, and a trace that says something.
fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("tarebell.toml"), "[scale]\nlink = \"simulated\"\n").expect("settings");
    std::fs::write(dir.path().join("trace"), trace()).expect("a trace");
    dir
}

/// Each command that prints a result, in words and as JSON.
fn commands(dir: &Path) -> Vec<Command> {
    let (data, trace) = (dir.to_str().expect("a path"), dir.join("trace"));
    let words: [&[&str]; 4] = [
        &["target", "--slop-g", "29"],
        &["doctor", "--no-sound", "--data", data],
        &["scales"],
        &["replay", trace.to_str().expect("a path")],
    ];
    let command = |words: &[&str], more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
        command.args(words).args(more).stdin(Stdio::null());
        // The bus of the test's own: there is none.
        command.env("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/bus");
        command
    };
    words.iter().flat_map(|words| [command(words, &[]), command(words, &["--json"])]).collect()
}

#[test]
fn a_reader_that_has_gone_ends_no_command_with_a_panic_or_a_word() {
    let dir = folder();
    for mut command in commands(dir.path()) {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let output = command.stdout(writer).output().expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{command:?}: {said}");
        assert!(!said.contains("panicked") && !said.contains("can't write"), "{command:?}: {said}");
    }
}

#[test]
fn a_result_that_finds_no_room_is_said_and_the_code_is_one() {
    let dir = folder();
    for mut command in commands(dir.path()) {
        let full = File::options().write(true).open("/dev/full").expect("the full device");
        let output = command.stdout(full).output().expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{command:?}: {said}");
        assert!(said.contains("can't write the result") && !said.contains("panicked"), "{command:?}: {said}");
    }
}

#[test]
fn words_beside_a_result_that_nobody_takes_end_no_command_with_a_panic() {
    let dir = folder();
    for mut command in commands(dir.path()) {
        let full = File::options().write(true).open("/dev/full").expect("the full device");
        let output = command.stderr(full).output().expect("it runs");
        assert_eq!(output.status.code(), Some(0), "{command:?}");
        assert!(!output.stdout.is_empty(), "{command:?}");
    }
}
