//! What the real binary plays, through a sound system without a card.

use crate::ear::{Ear, sink};
use crate::rig::{Heard, Rig, terminal};
use rustix::process::Signal;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::entry::Cue;
use tarebell::sound::tone::{PEAK, tone};

/// The binary with sound, on this sound system.
pub(crate) fn serve(dir: &Path, config: &Path) -> Rig {
    let line = terminal(dir);
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    command.args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(dir);
    command.env("ALSA_CONFIG_PATH", config).stdin(Stdio::null()).stdout(Stdio::null());
    Rig::start_as(command, dir, line)
}

pub(crate) fn wait_for(rig: &Rig, state: &str, limit: Duration) -> serde_json::Value {
    let end = Instant::now() + limit;
    loop {
        let sound = rig.get("/api/now")["sound"].clone();
        if sound["state"] == state {
            return sound;
        }
        assert!(Instant::now() < end, "{state} did not come: {sound}; {}", rig.said());
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Makes and begins a batch; gives what the begin warns of.
pub(crate) fn warnings(rig: &Rig) -> Vec<String> {
    let batch = rig.post(
        "/api/batches",
        serde_json::json!({ "name": "invented cups", "coat": { "by": "direct", "slop_g": 29.0 } }),
    );
    let id = batch["id"].as_str().expect("an id");
    let begun = rig.post(&format!("/api/batches/{id}/begin"), serde_json::json!({}));
    let told = begun["warnings"].as_array().expect("a list");
    told.iter().map(|w| w.as_str().expect("words").to_owned()).collect()
}

/// Strength of one frequency (Goertzel's recurrence).
fn strength(samples: &[f32], hz: f32) -> f32 {
    let turn = 2.0 * (std::f32::consts::TAU * hz / 48_000.0).cos();
    let (mut before, mut last) = (0.0_f32, 0.0_f32);
    for s in samples {
        (before, last) = (last, s + turn * last - before);
    }
    (before * before + last * last - turn * before * last).max(0.0).sqrt()
}

fn mean_and_sd(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (mean, (square / (values.len() - 1) as f64).sqrt())
}

/// When the daemon's clock stood at 0: the earliest that any message allows.
fn clock_zero(messages: &[Heard]) -> Instant {
    let zeros = messages.iter().filter_map(|h| {
        let us = h.message["at_us"].as_u64().filter(|_| h.message["kind"] == "now")?;
        h.at.checked_sub(Duration::from_micros(us))
    });
    zeros.min().expect("snapshots")
}

/// Of the cues' pitches the strongest in this stroke.
pub(crate) fn strongest(stroke: &[f32]) -> Cue {
    let by_pitch = |a: &Cue, b: &Cue| strength(stroke, tone(*a).hz).total_cmp(&strength(stroke, tone(*b).hz));
    Cue::ALL.into_iter().max_by(by_pitch).expect("cues")
}

/// How far after `due` the cue begins, in ms; none when nothing begins there.
fn onset(ear: &Ear, cue: Cue, due: Instant) -> Option<f64> {
    // Less than the 50 ms that lie between the end of `approach` and a pip at the nearest.
    let before = Duration::from_millis(30);
    let piece = ear.since(due - before, Duration::from_millis(400));
    // 1 % of full scale: half a millisecond into the rise.
    let loud = |s: &f32| s.abs() > 0.01;
    // A cue before it may still be fading away: 3 ms of silence end it.
    let ending = piece.samples.iter().take(144).any(loud);
    let silence = |w: &[f32]| !w.iter().any(loud);
    let from = if ending { piece.samples.windows(144).position(silence)? } else { 0 };
    let first = from + piece.samples[from..].iter().position(loud)?;
    let stroke = &piece.samples[first..(first + 1920).min(piece.samples.len())];
    assert_eq!(strongest(stroke), cue, "another cue sounds");
    let at = piece.at + Duration::from_secs_f64(first as f64 / 48_000.0);
    Some(
        1e3 * (at.saturating_duration_since(due).as_secs_f64()
            - due.saturating_duration_since(at).as_secs_f64()),
    )
}

/// One of the two that measure onsets makes both cores busy: the other waits.
static MEASURES: std::sync::Mutex<()> = std::sync::Mutex::new(());

/// How far after it was due each cue of four pours began, in ms.
fn onsets_of_four_pours() -> Vec<f64> {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", Duration::from_secs(5));
    std::thread::sleep(Duration::from_millis(500));
    let sound = rig.get("/api/now")["sound"].clone();
    println!("{sound}");
    assert_eq!(warnings(&rig), Vec::<String>::new());
    let (watched, heard) = (rig.listen(), rig.listen());
    let mut potter = Potter::new(
        Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(4, 29.0),
    );
    rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(90));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    std::thread::sleep(Duration::from_secs(1));
    let messages: Vec<Heard> = watched.try_iter().collect();
    let zero = clock_zero(&messages);
    let (mut late, mut stops) = (Vec::new(), 0);
    for h in messages.iter().filter(|h| h.message["kind"] == "cue") {
        let word = h.message["cue"].as_str().expect("a word");
        let cue = Cue::ALL.into_iter().find(|c| c.word() == word).expect("a cue");
        let us = |key: &str| h.message[key].as_u64().expect(key);
        let due = zero + Duration::from_micros(us("due_us"));
        let error = onset(&ear, cue, due);
        println!(
            "{word:8} due {:7} ms after it was announced: {error:?} ms",
            (us("due_us") - us("at_us")) / 1000
        );
        if cue == Cue::Good {
            assert_eq!(error, None, "good is silent");
            continue;
        }
        // Announced early enough to be placed: what the loudspeaker needs.
        assert!(us("due_us") - us("at_us") >= sound["latency_us"].as_u64().expect("us"), "{}", h.message);
        late.push(error.unwrap_or_else(|| panic!("{word} was not heard")));
        stops += u32::from(cue == Cue::Stop);
    }
    let (mean, sd) = mean_and_sd(&late);
    println!("onset after due over {} cues: mean {mean:.1} ms, SD {sd:.1} ms", late.len());
    assert!(stops >= 4 && late.len() >= 15, "{stops} stops of {} cues", late.len());
    late
}

#[test]
fn what_is_cued_in_a_pour_is_heard_when_it_is_due() {
    let _alone = MEASURES.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let late = onsets_of_four_pours();
    // Of this sink the sound system does not know: 21 ms in the pipe, up to two calls of 11 ms that the
    // writer of files keeps back, and 5 ms that the reader takes at a time. A card has none of these.
    assert!(late.iter().all(|ms| (0.0..48.0).contains(ms)), "{late:?}");
    // Under one call's length: cues are placed within a call, not at its start.
    assert!(mean_and_sd(&late).1 < 8.0, "{late:?}");
}

/// Keeps a core busy until it is dropped.
struct Busy(Arc<AtomicBool>);

impl Busy {
    fn start() -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let seen = stop.clone();
        std::thread::spawn(move || {
            while !seen.load(Ordering::Relaxed) {
                std::hint::spin_loop();
            }
        });
        Self(stop)
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

#[test]
fn what_is_cued_is_heard_when_it_is_due_while_two_cores_are_busy() {
    let _alone = MEASURES.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let _busy = [Busy::start(), Busy::start()];
    let late = onsets_of_four_pours();
    // Measured at most 0.8 ms, as DEVELOPERS.md says: five times that, and a little.
    assert!(mean_and_sd(&late).1 < 5.0, "{late:?}");
}

#[test]
fn the_tour_names_every_cue_and_plays_it_in_its_length_and_pitch_as_loud_as_is_set() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let from = Instant::now();
    std::fs::write(dir.path().join("tarebell.toml"), "[sound]\nvolume = 0.4\nquiet = true\n")
        .expect("a file");
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    command.args(["demo", "--tour", "--data"]).arg(dir.path()).env("ALSA_CONFIG_PATH", &ear.config);
    let output = command.output().expect("it runs");
    let said = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{said}");
    let (cues_said, troubles) = said.split_once("\nWhat goes wrong").expect("two halves");
    let named: Vec<&str> = cues_said.lines().skip(1).filter_map(|l| l.split_whitespace().next()).collect();
    assert_eq!(named, Cue::ALL.map(Cue::word), "{said}");
    // Each kind of trouble has a sound of its own, or a mark on its record.
    for word in ["fault", "clear", "short", "over", "note", "residue", "early", "touched", "put-back"] {
        assert!(troubles.contains(word), "{word}: {troubles}");
    }
    let silent = cues_said.lines().filter(|l| l.contains("silent in a pour"));
    let silent: Vec<&str> = silent.filter_map(|l| l.split_whitespace().next()).collect();
    assert_eq!(silent, ["ready", "approach", "count", "good", "clear", "note"], "{said}");
    let sound = ear.since(from, from.elapsed() + Duration::from_secs(1)).samples;
    // Where it is loud, to 1 ms; half a second of silence parts two cues.
    let loud: Vec<usize> = sound
        .chunks(48)
        .enumerate()
        .filter(|(_, c)| c.iter().any(|s| s.abs() > 0.01))
        .map(|(i, _)| i)
        .collect();
    let cues: Vec<&[usize]> = loud.chunk_by(|a, b| b - a < 500).collect();
    assert!(cues.len() >= 20, "ten cues, and those of nine troubles: {cues:?}");
    for (ms, cue) in cues.iter().zip(Cue::ALL) {
        let (first, last) = (ms[0], ms[ms.len() - 1]);
        let length = last + 1 - first;
        let wanted = tone(cue).length_ms() as usize;
        println!("{:8} {length} ms of {wanted}", cue.word());
        // The softest part of rise and fall is under what counts as loud.
        assert!(length <= wanted + 2 && length + 12 >= wanted, "{}: {length} of {wanted} ms", cue.word());
        let stroke = tone(cue).strokes[0].length_ms as usize;
        assert_eq!(strongest(&sound[first * 48..(first + stroke) * 48]), cue);
        if cue == Cue::Stop {
            let top = sound[first * 48..last * 48].iter().fold(0.0_f32, |top, s| top.max(s.abs()));
            assert!((top - 0.4 * PEAK).abs() < 0.01, "{top} of {PEAK}");
        }
    }
}

#[test]
fn a_stop_that_sounds_when_the_daemon_is_stopped_is_heard_to_its_end() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", Duration::from_secs(5));
    warnings(&rig);
    let (watched, heard) = (rig.listen(), rig.listen());
    let mut potter = Potter::new(
        Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(1, 29.0),
    );
    let end = Instant::now() + Duration::from_secs(30);
    let from = loop {
        assert!(Instant::now() < end, "no stop: {}", rig.get("/api/now"));
        rig.pour(&mut potter, &heard, Instant::now() + Duration::from_millis(10));
        if let Some(stop) = watched.try_iter().find(|h| h.message["cue"] == "stop") {
            break stop.at;
        }
    };
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < Duration::from_secs(2), "{code:?} after {took:?}");
    std::thread::sleep(Duration::from_millis(100));
    let sound = ear.since(from, Duration::from_secs(2)).samples;
    let loud = |s: &f32| s.abs() > 0.01;
    let (first, last) = (sound.iter().position(loud), sound.iter().rposition(loud));
    let length_ms = (last.expect("a stop") - first.expect("a stop")) as f64 / 48.0;
    println!("the stop sounded for {length_ms:.0} ms, the daemon ended after {took:?}");
    assert!((430.0..455.0).contains(&length_ms), "{length_ms}");
}

#[test]
fn without_a_loudspeaker_it_is_said_once_a_begin_warns_and_all_else_goes_on() {
    let dir = tempfile::tempdir().expect("a folder");
    let config = dir.path().join("none.conf");
    std::fs::write(&config, "").expect("a file");
    let mut rig = serve(dir.path(), &config);
    let sound = wait_for(&rig, "missing", Duration::from_secs(5));
    std::thread::sleep(Duration::from_secs(6));
    assert!(
        rig.get("/api/now")["sound"]["words"].as_str().expect("words").contains("no loudspeaker"),
        "{sound}"
    );
    let told = warnings(&rig);
    assert!(told.len() == 1 && told[0].contains("no loudspeaker found"), "{told:?}");
    let said = rig.said();
    // Looked for at least twice by now.
    assert_eq!(said.matches("no loudspeaker").count(), 1, "{said}");
    assert!(!said.contains("ALSA lib"), "{said}");
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < Duration::from_secs(2), "{code:?} after {took:?}");
}

#[test]
fn a_loudspeaker_that_hangs_is_said_to_and_hangs_nothing_else() {
    let dir = tempfile::tempdir().expect("a folder");
    // A pipe that nobody reads: opening it never comes back.
    let (_, config) = sink(dir.path());
    let mut rig = serve(dir.path(), &config);
    let sound = wait_for(&rig, "dead", Duration::from_secs(6));
    assert!(sound["words"].as_str().expect("words").contains("does not answer"), "{sound}");
    assert!(warnings(&rig)[0].contains("does not answer"));
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < Duration::from_secs(2), "{code:?} after {took:?}");
}

#[test]
fn a_loudspeaker_that_takes_no_more_is_dead_within_a_second_and_opened_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = Ear::open(dir.path());
    let mut rig = serve(dir.path(), &ear.config);
    wait_for(&rig, "on", Duration::from_secs(5));
    warnings(&rig);
    std::thread::sleep(Duration::from_millis(300));
    assert!(ear.pieces() > 0, "silence is played between the cues");
    let from = Instant::now();
    ear.deafen(true);
    let sound = wait_for(&rig, "dead", Duration::from_secs(3));
    println!("{sound} after {:?}", from.elapsed());
    // Half a second of no samples, a look each 0.1 s, and what the pipe still takes.
    assert!(from.elapsed() < Duration::from_millis(1000), "{:?}", from.elapsed());
    ear.deafen(false);
    wait_for(&rig, "on", Duration::from_secs(5));
    let (code, took) = rig.stop(Signal::TERM);
    assert!(code == Some(0) && took < Duration::from_secs(2), "{code:?} after {took:?}");
}
