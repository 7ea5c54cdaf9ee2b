//! `doctor` as a person runs it: what each line says, and the exit code.

use crate::rig::Rig;
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn run(dir: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    // What it says of sound is in a test of its own: the others must not depend on this machine's loudspeaker.
    command.args(["doctor", "--no-sound"]).arg("--data").arg(dir).args(more).output().expect("it runs")
}

/// Exit code, and the lines by what they are about.
fn looked(dir: &Path) -> (Option<i32>, Vec<(String, bool, String)>) {
    let output = run(dir, &["--json"]);
    let lines: Vec<Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    let word = |line: &Value, key: &str| line[key].as_str().expect(key).to_owned();
    let lines = lines.iter().map(|l| (word(l, "what"), l["ok"] == true, word(l, "says"))).collect();
    (output.status.code(), lines)
}

/// With these settings: exit code, and whether the line about `what` is in order and what it says.
fn with(settings: &str, what: &str) -> (Option<i32>, bool, String) {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("tarebell.toml"), settings).expect("settings");
    let (code, lines) = looked(dir.path());
    let (_, ok, says) = lines.into_iter().find(|(w, _, _)| w == what).expect(what);
    (code, ok, says)
}

#[test]
fn a_simulated_scale_needs_nothing_and_the_exit_code_is_0() {
    let (code, ok, says) = with("[scale]\nlink = \"simulated\"\n", "scale");
    assert_eq!((code, ok), (Some(0), true), "{says}");
    assert!(says.contains("simulated"), "{says}");
}

#[test]
fn a_port_that_is_no_device_is_no_scale_and_the_line_says_what_to_try() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("notes.txt");
    std::fs::write(&file, "not a scale").expect("a file");
    for port in [file.to_str().expect("a path"), dir.path().to_str().expect("a path")] {
        let (code, ok, says) = with(&format!("[scale]\nlink = \"serial\"\nport = \"{port}\"\n"), "scale");
        assert_eq!((code, ok), (Some(1), false), "{says}");
        assert!(says.contains("not a serial port") && says.contains("tarebell scales"), "{says}");
    }
    let (code, ok, says) = with("[scale]\nlink = \"serial\"\nport = \"/dev/null\"\n", "scale");
    assert_eq!((code, ok), (Some(1), false), "{says}");
    assert!(says.contains("not a serial port"), "{says}");
    let (code, ok, says) = with("[scale]\nlink = \"serial\"\nport = \"/dev/ttyNONE9\"\n", "scale");
    assert_eq!((code, ok), (Some(1), false), "{says}");
    assert!(says.contains("is not there"), "{says}");
}

#[test]
fn each_line_that_is_not_in_order_says_what_to_do_and_the_exit_code_is_1() {
    let (code, ok, says) = with("", "scale");
    assert_eq!((code, ok), (Some(1), false));
    assert!(says.contains("[scale] link"), "{says}");
    let (code, ok, says) = with("[scale]\nbuad = 1\n", "settings");
    assert_eq!((code, ok), (Some(1), false));
    assert!(says.contains("line 2") && says.contains("buad"), "{says}");
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("file");
    std::fs::write(&file, "").expect("a file");
    let (code, lines) = looked(&file.join("below"));
    assert_eq!(code, Some(1));
    assert!(lines.iter().any(|(what, ok, _)| what == "disk" && !ok), "{lines:?}");
}

#[test]
fn doctor_works_beside_a_running_daemon_and_leaves_its_port_alone() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(1);
    let heard = rig.listen();
    let (code, lines) = looked(dir.path());
    assert_eq!(code, Some(0), "{lines:?}");
    assert!(lines.iter().all(|(_, ok, _)| *ok), "{lines:?}");
    assert_eq!(rig.get("/api/now")["scale"]["trouble"].as_str().filter(|t| t.contains("unplugged")), None);
    // What is said on the line after doctor looked still reaches the daemon.
    let mut line = &rig.line;
    std::io::Write::write_all(&mut line, b"12.3 g\r\n12.3 g\r\n").expect("written");
    let told = heard.iter().find(|h| h.message["scale"]["mass_g"] == 12.3);
    assert!(told.is_some(), "the stream ended");
}

#[test]
fn the_text_has_one_line_each_and_the_help_names_those_lines_and_no_more() {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("tarebell.toml"), "[scale]\nlink = \"simulated\"\n").expect("settings");
    let (_, lines) = looked(dir.path());
    let text = String::from_utf8(run(dir.path(), &[]).stdout).expect("text");
    assert_eq!(text.lines().count(), lines.len(), "{text}");
    assert!(text.lines().all(|l| l.starts_with("ok ")), "{text}");
    let help =
        Command::new(env!("CARGO_BIN_EXE_tarebell")).args(["doctor", "--help"]).output().expect("it runs");
    let help = String::from_utf8(help.stdout).expect("text");
    for (what, _, _) in &lines {
        assert!(help.contains(what.as_str()), "{what}: {help}");
    }
    assert!(help.contains("Exit code 0") && help.contains('1'), "{help}");
}

#[test]
fn the_loudspeaker_is_named_with_its_delay_and_how_that_is_known_or_said_to_be_missing() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = crate::ear::Ear::open(dir.path());
    std::fs::write(dir.path().join("none.conf"), "").expect("a file");
    let said = |config: &Path| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
        command.arg("doctor").arg("--data").arg(dir.path()).env("ALSA_CONFIG_PATH", config);
        let output = command.output().expect("it runs");
        let text = String::from_utf8(output.stdout).expect("text") + &String::from_utf8_lossy(&output.stderr);
        text.lines().find(|l| l.contains("  sound ")).expect("a line").to_owned()
    };
    let line = said(&ear.config);
    assert!(line.starts_with("ok") && line.contains("measured over half a second"), "{line}");
    let ms =
        line.split_once(" ms from order to ear").and_then(|(l, _)| l.split_whitespace().last()?.parse().ok());
    let ms: f64 = ms.expect("a number");
    // The daemon on the same sound system counts the same; a call's length (11 ms) more or less is chance.
    let rig = crate::sound::serve(dir.path(), &ear.config);
    crate::sound::wait_for(&rig, "on", std::time::Duration::from_secs(5));
    std::thread::sleep(std::time::Duration::from_secs(1));
    let told_ms = rig.get("/api/now")["sound"]["latency_us"].as_f64().expect("us") / 1000.0;
    println!("doctor measured {ms} ms, the daemon {told_ms} ms: {line}");
    assert!(ms > 0.0 && (ms - told_ms).abs() < 12.0, "{line}; {told_ms} ms");
    let line = said(&dir.path().join("none.conf"));
    assert!(line.starts_with("--") && line.contains("no loudspeaker found"), "{line}");
}
