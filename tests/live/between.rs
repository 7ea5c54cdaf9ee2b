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
    assert_eq!(abouts, ["other-ware"], "how many pieces it has was not told, so it is never full");
    let now = rig.get("/api/now");
    assert_eq!(
        (&now["nth"], &now["pieces"], &now["foreseen"]),
        (&json!(2), &json!(1), &Value::Null),
        "{now}"
    );
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

/// What each `note` of the stream was about.
fn notes(heard: &std::sync::mpsc::Receiver<crate::rig::Heard>) -> Vec<Value> {
    let notes = heard.try_iter().map(|h| h.message).filter(|m| m["cue"] == "note");
    notes.map(|m| m["about"].clone()).collect()
}

#[test]
fn a_batch_that_is_full_is_said_once_and_further_pieces_are_poured_and_numbered_on_as_ever() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = with_settings(dir.path(), "[pour]\nstir_every_pieces = 2\n");
    let batch = rig.begin_batch(2);
    let heard = rig.listen();
    rig.send(1.2, |_| 0.0);
    a_piece(&mut rig);
    assert_eq!((&rig.get("/api/now")["note"], notes(&heard)), (&Value::Null, Vec::new()), "one is to come");
    a_piece(&mut rig);
    let now = rig.get("/api/now");
    assert_eq!(
        (&now["note"], &now["nth"], &now["foreseen"]),
        (&json!("full"), &json!(3), &json!(2)),
        "{now}"
    );
    rig.send(2.0, |_| 0.0);
    assert_eq!(notes(&heard), ["full"], "before the stir, and once");
    a_piece(&mut rig);
    assert_eq!(notes(&heard), ["stir"], "what waited is said after the next");
    assert_eq!(verdicts(&rig, &batch), ["good", "good", "good"], "nothing need be touched");
    let now = rig.get("/api/now");
    assert_eq!((&now["piece"], &now["nth"]), (&json!(4), &json!(4)), "{now}");
    let pours = rig.get(&format!("/api/batches/{batch}/pours"));
    for n in [1, 2] {
        let id = pours[n]["id"].as_str().expect("an id").to_owned();
        rig.post(&format!("/api/pours/{id}/void"), json!({}));
    }
    a_piece(&mut rig);
    assert_eq!(notes(&heard), ["full"], "one that was taken out of the count was poured again");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_of_a_full_batch_says_so_large_and_counts_on_beside_what_was_foreseen() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let pan = crate::pan::Pan::on(&rig);
    rig.begin_batch(1);
    let browser = crate::window::Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#pour", rig.address)).await.expect("the page");
    browser
        .until("its place", "return document.querySelector('main').textContent.includes('piece 1 of 1')")
        .await;
    pan.still(300.0);
    browser.shows("ready").await;
    tokio::time::sleep(std::time::Duration::from_millis(400)).await;
    pan.runs(8.0, 329.0);
    browser.shows("good").await;
    pan.still(0.0);
    let full =
        "return document.querySelector('.do')?.textContent === 'All 1 are done. Pour more, or end the batch'";
    browser.until("full", full).await;
    rig.until("said", |now| now["note"] == "full");
    pan.still(0.9);
    let note = "return document.querySelector('.note')?.textContent === 'All foreseen pieces are poured'";
    browser.until("in words where the pan is to be wiped", note).await;
    pan.still(0.0);
    browser.until("large again", full).await;
    browser
        .until(
            "its place",
            "return document.querySelector('main').textContent.includes('next: piece 2, 1 were foreseen')",
        )
        .await;
    browser.until("said once", "return !document.querySelector('.note')").await;
    if let Some(folder) = std::env::var_os("TAREBELL_VIEWS").map(std::path::PathBuf::from) {
        std::fs::create_dir_all(&folder).expect("a folder");
        for (width, height) in [(360, 740), (1440, 900)] {
            browser.size(width, height).await;
            for look in [crate::window::Look::Light, crate::window::Look::Dark] {
                browser.wear(look).await;
                let png = browser.client.screenshot().await.expect("a picture");
                let file = folder.join(format!("pour-next-full-{width}-{}.png", look.word()));
                std::fs::write(file, png).expect("a file");
            }
        }
    }
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

#[test]
fn a_begin_warns_of_bare_pieces_that_are_too_light_to_be_taken_for_pieces() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let warned = |bare_g: Value| {
        let made =
            rig.post("/api/batches", json!({ "coat": { "by": "direct", "slop_g": 29 }, "bare_g": bare_g }));
        let at = format!("/api/batches/{}", made["id"].as_str().expect("an id"));
        let begun = rig.post(&format!("{at}/begin"), json!({}));
        rig.post(&format!("{at}/end"), json!({}));
        begun["warnings"].to_string()
    };
    assert!(warned(json!([20, 35.5])).contains("no bare piece of this batch is taken for a piece"));
    let partly = warned(json!([38.5, 60]));
    assert!(partly.contains("may weigh 38.5 g, and those up to 40 g are not taken for a piece"), "{partly}");
    assert!(partly.contains("min_piece_g"), "{partly}");
    for fits in [json!([290, 320]), Value::Null] {
        assert!(!warned(fits).contains("min_piece_g"));
    }
}

/// A path's status and bytes.
fn bytes(rig: &Rig, path: &str) -> (u16, Vec<u8>) {
    let agent =
        ureq::get(format!("http://{}{path}", rig.address)).config().http_status_as_error(false).build();
    let mut reply = agent.call().expect("an answer");
    (reply.status().as_u16(), reply.body_mut().read_to_vec().expect("bytes"))
}

#[test]
fn the_trace_of_a_pour_is_had_as_a_file_that_replay_takes_and_one_that_has_none_says_why() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    rig.send(1.2, |_| 0.0);
    a_piece(&mut rig);
    rig.send(1.8, |_| 300.0);
    let pours = rig.get(&format!("/api/batches/{batch}/pours"));
    let at = |n: usize| format!("/api/pours/{}/trace", pours[n]["id"].as_str().expect("an id"));
    let (status, trace) = bytes(&rig, &at(0));
    assert_eq!(status, 200);
    let file = dir.path().join("pour.trace");
    std::fs::write(&file, &trace).expect("a file");
    let replay = |args: &[&std::ffi::OsStr]| {
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_tarebell"))
            .arg("replay")
            .args(args)
            .output()
            .expect("the binary");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("text")
    };
    let told = replay(&[file.as_os_str()]);
    let net_g = pours[0]["net_g"].as_f64().expect("a weight");
    assert!(told.contains(&format!("piece 1: {net_g:.2} g, good")), "{told}");
    let id = std::ffi::OsStr::new(pours[0]["id"].as_str().expect("an id"));
    assert_eq!(told, replay(&[id, "--data".as_ref(), dir.path().as_os_str()]), "as by its id");
    for (path, why) in
        [(at(1), "no readings are kept of piece 2"), ("/api/pours/none/trace".to_owned(), "no pour with id")]
    {
        let (status, said) = bytes(&rig, &path);
        let said = String::from_utf8(said).expect("text");
        assert!(status == 404 && said.contains(why), "{status} {said}");
    }
}

#[test]
fn a_last_piece_that_is_taken_out_of_the_count_on_the_pan_does_not_fill_the_batch() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(1);
    let heard = rig.listen();
    rig.send(1.2, |_| 0.0);
    rig.send(1.8, |_| 300.0);
    rig.send(3.6, |t| 300.0 + 8.0 * t);
    rig.send(3.0, |_| 328.8);
    let id = rig.weighed(&batch)[0]["id"].as_str().expect("an id").to_owned();
    rig.post(&format!("/api/pours/{id}/void"), json!({}));
    rig.send(1.5, |_| 0.0);
    let now = rig.get("/api/now");
    assert_eq!((notes(&heard), &now["nth"]), (Vec::new(), &json!(1)), "{now}");
    assert_eq!(verdicts(&rig, &batch), ["void"]);
}
