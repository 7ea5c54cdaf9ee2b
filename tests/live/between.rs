//! Between two pieces: reminders, the spare weight, what a batch says of its jug and its ware.

use crate::rig::{Rig, terminal};
use serde_json::{Value, json};
use std::path::Path;

/// The daemon with these lines at the end of its settings.
fn with_settings(dir: &Path, more: &str) -> Rig {
    let line = terminal(dir);
    let config = dir.join("tarebell.toml");
    let text = std::fs::read_to_string(&config).expect("settings");
    std::fs::write(&config, text + more).expect("settings");
    Rig::start_with(dir, line)
}

/// A piece of 300 g gets 29 g and is lifted.
fn a_piece(rig: &mut Rig) {
    rig.send(1.2, |_| 0.0);
    rig.send(1.8, |_| 300.0);
    rig.send(3.6, |t| 300.0 + 8.0 * t);
    rig.send(3.0, |_| 328.8);
    rig.send(1.5, |_| 0.0);
}

fn verdicts(rig: &Rig, batch: &str) -> Vec<Value> {
    let pours = rig.get(&format!("/api/batches/{batch}/pours"));
    pours.as_array().expect("a list").iter().map(|p| p["verdict"].clone()).collect()
}

#[test]
fn a_stir_is_said_once_after_a_lift_and_stays_to_be_read_until_the_next_piece_is_ready() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = with_settings(dir.path(), "[pour]\nstir_every_pieces = 1\n");
    rig.begin_batch(3);
    let heard = rig.listen();
    rig.send(1.2, |_| 0.0);
    assert_eq!(rig.get("/api/now")["note"], Value::Null);
    a_piece(&mut rig);
    assert_eq!(rig.get("/api/now")["note"], "stir");
    rig.send(2.0, |_| 0.0);
    assert_eq!(rig.get("/api/now")["note"], "stir", "it stays");
    let notes: Vec<Value> = heard.try_iter().map(|h| h.message).filter(|m| m["cue"] == "note").collect();
    assert_eq!(notes.iter().map(|n| &n["about"]).collect::<Vec<_>>(), [&json!("stir")], "said once");
    rig.send(1.8, |_| 300.0);
    let now = rig.get("/api/now");
    assert_eq!((&now["phase"], &now["note"]), (&json!("ready"), &Value::Null));
}

#[test]
fn a_batch_begun_with_a_piece_on_the_pan_wants_it_lifted_off_first_whatever_is_in_it() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.send(1.5, |_| 314.0);
    let batch = rig.begin_batch(2);
    rig.send(1.5, |_| 314.0);
    let now = rig.get("/api/now");
    assert_eq!(now["phase"], "fault", "{now}");
    rig.send(1.2, |_| 0.0);
    a_piece(&mut rig);
    assert_eq!(verdicts(&rig, &batch), ["good"]);
}

#[test]
fn the_spare_weight_is_registered_at_rest_and_voids_the_last_record_and_not_the_one_before() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let spare = |rig: &Rig| rig.try_post("/api/scale/spare", json!({}));
    let said = |answer: &(u16, Value), words: &str| {
        assert_eq!(answer.0, 409, "{answer:?}");
        assert!(answer.1["detail"].as_str().is_some_and(|d| d.contains(words)), "{answer:?}");
    };
    said(&spare(&rig), "not at rest");
    for light_g in [0.2, 2.0, 12.0] {
        rig.send(1.5, |_| light_g);
        said(&spare(&rig), "too light");
    }
    rig.send(1.5, |_| 300.0);
    said(&spare(&rig), "no piece is in the log yet");
    rig.send(1.5, |_| 30.0);
    let (status, kept) = spare(&rig);
    let grams = kept["spare_g"].as_f64().expect("a weight");
    assert!(status == 200 && (grams - 30.0).abs() < 0.1, "{kept}");
    rig.until("it is told", |now| now["scale"]["spare_g"] == kept["spare_g"]);
    assert_eq!(rig.get("/api/scale")["spare_g"], kept["spare_g"]);

    let batch = rig.begin_batch(4);
    let heard = rig.listen();
    said(&spare(&rig), "under way");
    a_piece(&mut rig);
    a_piece(&mut rig);
    assert_eq!(verdicts(&rig, &batch), ["good", "good"]);
    rig.send(2.0, |_| 30.0);
    let now = rig.get("/api/now");
    assert_eq!(
        (&now["note"], &now["pan_g"], &now["nth"]),
        (&json!("voided"), &Value::Null, &json!(2)),
        "{now}"
    );
    assert_eq!(verdicts(&rig, &batch), ["good", "void"]);
    rig.send(1.2, |_| 0.0);
    rig.send(2.0, |_| 30.0);
    rig.send(1.2, |_| 0.0);
    assert_eq!(verdicts(&rig, &batch), ["good", "void"], "set down twice, voided once");
    let notes = heard.try_iter().map(|h| h.message).filter(|m| m["cue"] == "note").count();
    assert_eq!(notes, 1, "what voids nothing says nothing");
    a_piece(&mut rig);
    assert_eq!(verdicts(&rig, &batch), ["good", "void", "good"], "the next one is poured as ever");
    rig.send(2.0, |_| 30.0);
    assert_eq!(rig.get("/api/now")["note"], "voided");
    rig.post(&format!("/api/batches/{batch}/end"), json!({}));
    rig.begin_batch(4);
    assert_eq!(rig.get("/api/now")["note"], Value::Null, "no news of the next batch");

    rig.child.kill().expect("killed");
    drop(rig);
    let rig = Rig::start(dir.path());
    rig.until("it is kept", |now| now["scale"]["spare_g"] == json!(grams));
    assert_eq!(rig.post("/api/scale/spare", json!({ "off": true })), json!({ "spare_g": null }));
    rig.until("it is forgotten", |now| now["scale"]["spare_g"].is_null());
    assert_eq!(rig.try_post("/api/scale/spare", json!({ "off": 1 })).1["field"], "off");
    assert_eq!(rig.try_post("/api/scale/spare", json!({ "on": true })).1["field"], "on");
}

#[test]
fn a_batch_keeps_its_vessel_and_its_ware_and_a_piece_of_another_ware_is_marked_and_said() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let asked = |more: Value| {
        let mut whole = json!({ "name": "invented cups", "coat": { "by": "direct", "slop_g": 29.0 } });
        whole.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        whole
    };
    for (field, value) in [
        ("vessel", json!("bucket")),
        ("bare_g", json!([320, 290])),
        ("bare_g", json!([290])),
        ("bare_g", json!("300")),
        ("bare_g", json!([0, 300])),
    ] {
        let (status, problem) = rig.try_post("/api/batches", asked(json!({ field: value })));
        assert_eq!((status, &problem["field"]), (422, &json!(field)), "{problem}");
    }
    let made = rig.post("/api/batches", asked(json!({ "vessel": "squeeze", "bare_g": [310, 340.5] })));
    let id = made["id"].as_str().expect("an id").to_owned();
    let batch = rig.get(&format!("/api/batches/{id}"));
    assert_eq!((&batch["vessel"], &batch["bare_g"]), (&json!("squeeze"), &json!([310.0, 340.5])));
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    let heard = rig.listen();
    a_piece(&mut rig);
    let pour = rig.get(&format!("/api/batches/{id}/pours"))[0].clone();
    assert_eq!(pour["marks"], json!(["other-ware"]), "{pour}");
    let abouts: Vec<Value> = heard
        .try_iter()
        .map(|h| h.message)
        .filter(|m| m["cue"] == "note")
        .map(|m| m["about"].clone())
        .collect();
    assert_eq!(abouts, ["other-ware"]);
    let trace = tarebell::store::Reader::open(dir.path()).expect("the log");
    let bytes = trace.trace(pour["id"].as_str().expect("an id")).expect("the log").expect("a trace");
    let start = tarebell::pour::trace::Trace::decode(&bytes).expect("our own").start;
    assert_eq!(start.settings.vessel.word(), "squeeze");
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    let plain = rig.post("/api/batches", asked(json!({})))["id"].clone();
    let batch = rig.get(&format!("/api/batches/{}", plain.as_str().expect("an id")));
    assert_eq!((&batch["vessel"], &batch["bare_g"]), (&Value::Null, &Value::Null));
}

#[test]
fn beside_a_log_of_an_older_layout_the_commands_that_read_say_what_to_do() {
    let dir = tempfile::tempdir().expect("a folder");
    let fixture = include_bytes!("../it/fixtures/log-layout-1.db");
    std::fs::write(dir.path().join("tarebell.db"), fixture).expect("the log");
    let run = |args: &[&str]| {
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_tarebell"))
            .args(args)
            .arg("--data")
            .arg(dir.path())
            .output()
            .expect("the binary");
        (done.status.code(), String::from_utf8_lossy(&[done.stdout, done.stderr].concat()).into_owned())
    };
    let (code, said) = run(&["replay", "01900000-0000-7000-8000-000000000000"]);
    assert!(code == Some(1) && said.contains("start `tarebell serve` on its folder once"), "{code:?} {said}");
    let (_, said) = run(&["doctor", "--no-sound"]);
    assert!(said.contains("start `tarebell serve` on its folder once"), "{said}");
    assert_eq!(std::fs::read(dir.path().join("tarebell.db")).expect("the log"), fixture, "left as it was");
}
