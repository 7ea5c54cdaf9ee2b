//! A scale against masses: the whole routine hands-free on the page and on the terminal, at the simulated scale; readings
//! that are told over HTTP; pours that name their calibration.

use crate::ear::Ear;
use crate::pan::Pan;
use crate::rig::{Heard, Rig, serve, terminal};
use crate::simulated::printed;
use crate::sound::strongest;
use crate::window::{Browser, Look};
use serde_json::{Value, json};
use std::process::{Command, Stdio};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::entry::Cue;

/// An invented scale that shows 2 percent too much.
const TOO_MUCH: f64 = 1.02;

fn simulated(dir: &std::path::Path) {
    std::fs::write(dir.join("tarebell.toml"), "[scale]\nlink = \"simulated\"\n").expect("settings");
}

/// What such a scale shows of masses of 50, 100 and 200 g, each set down three times.
fn told() -> Value {
    let shown = |g: f64| (TOO_MUCH * g * 10.0).round() / 10.0;
    let point =
        |g: f64| json!({ "nominal_g": g, "class": "M1", "readings_g": [shown(g), shown(g), shown(g)] });
    json!({
        "division_g": 0.1, "room_c": 19,
        "points": [{ "nominal_g": 0, "readings_g": [0] }, point(50.0), point(100.0), point(200.0)],
        "corners": { "centre_g": shown(200.0), "readings_g": [shown(200.0), shown(200.0), shown(200.0), shown(200.0)] }
    })
}

#[test]
fn readings_that_are_told_set_the_scale_right_from_the_next_piece_on_and_every_pour_names_its_calibration() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let first = rig.begin_batch(2);
    let heard = rig.listen();
    let model = ScaleModel { span: TOO_MUCH, ..ScaleModel::middling() };
    let mut potter =
        Potter::new(Plant::new(4, Person::typical(), model, Table::default()), Script::of(2, 29.0));
    rig.pour_until("ready", &mut potter, &heard);
    // With the piece on the pan: it is weighed to its end as it was begun.
    let (status, made) = rig.try_post("/api/calibrations", told());
    assert!(status == 201 && made["verdict"] == "good" && made["in_force"] == true, "{status} {made}");
    assert!((made["slope"].as_f64().expect("a slope") - 1.0 / TOO_MUCH).abs() < 1e-3, "{made}");
    assert_eq!(rig.get("/api/scale")["calibration"], Value::Null, "not before the piece is off");
    let mut shown = Vec::new();
    while !potter.done() {
        shown.extend(rig.pour(&mut potter, &heard, std::time::Instant::now() + Duration::from_secs(60)));
    }
    let pours = rig.weighed(&first);
    let truth: Vec<f64> = potter.results().iter().map(|p| p.net_g).collect();
    let net = |n: usize| pours[n]["net_g"].as_f64().expect("a weight");
    assert_eq!((&pours[0]["calibration"], &pours[1]["calibration"]), (&Value::Null, &made["id"]), "{pours}");
    // Within its uncertainty: the first reads 2 percent of 29 g too much, 0.58 g.
    assert!((net(0) - TOO_MUCH * truth[0]).abs() < 0.3, "{} of {}", net(0), truth[0]);
    assert!((net(1) - truth[1]).abs() < 0.3, "{} of {}", net(1), truth[1]);
    let (known, least) = (pours[1]["net_u_g"].as_f64(), made["net_u_g"].as_f64());
    assert!(known >= least, "the budget of the calibration is in it: {known:?} {least:?}");
    assert_eq!(rig.get("/api/scale")["calibration"]["id"], made["id"]);
    rig.post(&format!("/api/batches/{first}/end"), json!({}));
    said_at_targets_and_begins(&rig, &made);
    gone_by_or_not(&rig, &made);
}

/// A target is told with the weighing's own uncertainty, and a begin with whether the scale will do.
fn said_at_targets_and_begins(rig: &Rig, made: &Value) {
    let asked = |percent: f64| json!({ "coat": { "by": "direct", "slop_g": 29 }, "tolerance": { "percent": percent } });
    let target = rig.post("/api/target", asked(5.0));
    let (told, known) = (target["piece_uncertainty_g"].as_f64(), made["net_u_g"].as_f64());
    assert!(told.zip(known).is_some_and(|(a, b)| (a - b).abs() < 1e-6), "{told:?} {known:?}");
    let begun = |percent: f64| {
        let id = rig.post("/api/batches", asked(percent))["id"].as_str().expect("an id").to_owned();
        let begun = rig.post(&format!("/api/batches/{id}/begin"), json!({}));
        rig.post(&format!("/api/batches/{id}/end"), json!({}));
        (begun["weighing"]["verdict"].clone(), begun["warnings"].to_string())
    };
    let (good, said) = begun(5.0);
    assert!(good == "good" && !said.contains("uncertainty"), "{good} {said}");
    let (coarse, said) = begun(0.5);
    assert!(
        coarse == "too-coarse" && said.contains("Widen the tolerance"),
        "warned, and begun: {coarse} {said}"
    );
}

fn gone_by_or_not(rig: &Rig, made: &Value) {
    let (status, problem) = rig.try_post("/api/calibrations", json!({}));
    assert_eq!((status, &problem["field"]), (422, &json!("division_g")), "{problem}");
    let mut alone = told();
    alone["points"] = json!([{ "nominal_g": 50, "class": "M1", "readings_g": [50] }]);
    assert_eq!(rig.try_post("/api/calibrations", alone).0, 422, "one point only");
    // A narrow tolerance: kept, and not gone by unless that is asked.
    let mut narrow = told();
    narrow["tolerance_g"] = json!(0.1);
    let coarse = rig.post("/api/calibrations", narrow);
    assert_eq!((&coarse["verdict"], &coarse["in_force"]), (&json!("too-coarse"), &json!(false)));
    assert_eq!(rig.get("/api/scale")["calibration"]["id"], made["id"]);
    let id = coarse["id"].as_str().expect("an id");
    rig.post(&format!("/api/calibrations/{id}/use"), json!({}));
    rig.until("gone by", |now| now["scale"]["calibration"]["id"] == coarse["id"]);
    rig.post(&format!("/api/calibrations/{id}/use"), json!({ "off": true }));
    rig.until("not gone by", |now| now["scale"]["calibration"].is_null());
    let (status, problem) = rig.try_post(&format!("/api/calibrations/{id}/use"), json!({ "off": true }));
    let why = problem["detail"].as_str().unwrap_or_default();
    assert!(status == 409 && why.contains("does not go by this calibration"), "{status} {problem}");
    assert_eq!(rig.get("/api/calibrations").as_array().map(Vec::len), Some(2), "both stay");
    assert_eq!(rig.try_post("/api/scale/calibrate", json!({})).1["field"], "masses", "none are kept");
    refused_or_kept_only(rig);
    let heavy = json!({ "masses": [{ "nominal_g": 0.2, "class": "M1" }] });
    assert_eq!(rig.try_post("/api/scale/calibrate", heavy).0, 422);
}

/// Loads that no line goes through, a line that falls, and what is told beside the readings.
fn refused_or_kept_only(rig: &Rig) {
    let shown = |pairs: &[(f64, f64)]| {
        let each =
            |(g, shown): &(f64, f64)| json!({ "nominal_g": g, "class": "M1", "readings_g": [shown, shown] });
        let points: Vec<Value> = pairs.iter().map(each).collect();
        json!({ "division_g": 0.1, "points": points })
    };
    let kinked = shown(&[(50.0, 50.0), (100.0, 100.0), (200.0, 200.0), (500.0, 540.0), (1000.0, 1090.0)]);
    let kept = rig.post("/api/calibrations", kinked);
    assert_eq!((&kept["verdict"], &kept["in_force"]), (&json!("good"), &json!(false)), "{kept}");
    assert!(
        kept["misfit_g"].is_number() && kept["warnings"][0].to_string().contains("does not fit"),
        "{kept}"
    );
    let (status, problem) = rig.try_post("/api/calibrations", shown(&[(100.0, 110.0), (101.0, 91.0)]));
    assert_eq!((status, &problem["field"]), (422, &json!("points")), "{problem}");
    for (field, odd) in
        [("room_c", json!(61)), ("operator", json!("a".repeat(81))), ("operator", json!("a\nb"))]
    {
        let mut request = told();
        request[field] = odd;
        let (status, problem) = rig.try_post("/api/calibrations", request);
        assert_eq!((status, &problem["field"]), (422, &json!(field)), "{problem}");
    }
}

#[test]
fn a_check_that_is_not_in_order_is_asked_for_and_said_at_a_begin_until_the_scale_is_calibrated() {
    let dir = tempfile::tempdir().expect("a folder");
    simulated(dir.path());
    let rig = Rig::start_with(dir.path(), terminal_nobody_reads());
    let calibrated = |shown_g: f64| {
        let points = json!([{ "nominal_g": 0, "readings_g": [0] }, { "nominal_g": 200, "class": "M1", "readings_g": [shown_g] }]);
        rig.post("/api/calibrations", json!({ "division_g": 0.1, "points": points }))
    };
    let begun = || {
        let asked = json!({ "coat": { "by": "direct", "slop_g": 29 }, "tolerance": { "percent": 5 } });
        let id = rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
        let begun = rig.post(&format!("/api/batches/{id}/begin"), json!({}));
        rig.post(&format!("/api/batches/{id}/end"), json!({}));
        begun["warnings"].to_string()
    };
    // The simulated scale shows what is there: by this one it does not.
    calibrated(204.0);
    rig.until("gone by", |now| !now["scale"]["calibration"].is_null());
    rig.post("/api/scale/check", json!({ "masses": [{ "nominal_g": 200, "class": "M1" }] }));
    rig.until("checked", |now| now["scale"]["check"]["says"] == "calibrate");
    assert_eq!(rig.get("/api/scale")["check_due"], "not-in-order");
    let said = begun();
    assert!(said.contains("check of the scale was not in order"), "{said}");
    let right = calibrated(200.0);
    rig.until("set right", |now| now["scale"]["calibration"]["id"] == right["id"]);
    assert_eq!(rig.get("/api/scale")["check_due"], Value::Null);
    let said = begun();
    assert!(!said.contains("not in order"), "{said}");
}

#[test]
fn a_routine_under_way_goes_on_whatever_else_is_asked_and_a_check_says_from_where_the_room_moves() {
    let dir = tempfile::tempdir().expect("a folder");
    simulated(dir.path());
    let rig = Rig::start_with(dir.path(), terminal_nobody_reads());
    let points = json!([{ "nominal_g": 0, "readings_g": [0] }, { "nominal_g": 200, "class": "M1", "readings_g": [200] }]);
    rig.post("/api/calibrations", json!({ "division_g": 0.1, "room_c": 19, "points": points }));
    rig.until("gone by", |now| !now["scale"]["calibration"].is_null());
    let mass = || json!({ "masses": [{ "nominal_g": 200, "class": "M1" }] });
    rig.post("/api/scale/room", json!({ "room_c": 24 }));
    rig.until("another room", |now| now["scale"]["check_due"] == "room");
    rig.post("/api/scale/check", mass());
    let others = [
        ("/api/scale/calibrate", mass()),
        ("/api/scale/check", mass()),
        ("/api/scale/lag", json!({})),
        ("/api/scale/weigh", json!({ "things": ["piece"] })),
    ];
    for (path, body) in others {
        let (status, problem) = rig.try_post(path, body);
        let why = problem["detail"].as_str().unwrap_or_default();
        assert!(
            status == 409 && why.contains("a check") && why.contains("{\"off\": true} to /api/scale/check"),
            "{path}: {status} {problem}"
        );
    }
    let now = rig.until("checked", |now| !now["scale"]["check"].is_null());
    let check = &now["scale"]["check"];
    assert!(check["says"] == "in-order" && check["k"] == 1, "it went on to its end: {check}");
    // Nobody told the room with it: it was told before, and the next move is counted from there.
    assert_eq!(check["room_c"], 24.0, "{check}");
    rig.until("as at the check", |now| now["scale"]["check_due"].is_null());
    rig.post("/api/scale/room", json!({ "room_c": 20 }));
    assert_eq!(rig.get("/api/scale")["check_due"], Value::Null, "4 degrees from the check");
    rig.post("/api/scale/room", json!({ "room_c": 29 }));
    rig.until("another room", |now| now["scale"]["check_due"] == "room");
    rig.post("/api/scale/check", mass());
    rig.post("/api/scale/calibrate", json!({ "off": true, "masses": null, "room_c": null }));
    rig.post("/api/scale/check", mass());
}

#[test]
fn what_is_under_way_at_the_pan_goes_on_until_it_is_left_off_whichever_it_is() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let mass = || json!({ "masses": [{ "nominal_g": 200, "class": "M1" }] });
    let all = [
        ("/api/scale/calibrate", mass(), "routine"),
        ("/api/scale/check", mass(), "routine"),
        ("/api/scale/lag", json!({}), "lag_test"),
        ("/api/scale/weigh", json!({ "things": ["piece"] }), "weighed"),
    ];
    for (under_way, body, key) in &all {
        rig.post(under_way, body.clone());
        for (path, body, _) in all.iter().filter(|(path, ..)| path != under_way) {
            let (status, problem) = rig.try_post(path, body.clone());
            let why = problem["detail"].as_str().unwrap_or_default();
            assert!(
                status == 409 && why.contains("goes on") && why.contains(under_way),
                "{path} in {under_way}: {status} {problem}"
            );
        }
        let on = rig.get("/api/scale");
        let wants = &on[key]["wants"];
        assert!(wants == "bare" || wants == "level" || wants == "empty", "{under_way} goes on: {on}");
        // Another is left off: this one is not.
        for (path, _, other) in all.iter().filter(|(.., other)| other != key) {
            rig.post(path, json!({ "off": true }));
            assert!(!rig.get("/api/scale")[key].is_null(), "{other} off in {under_way}");
        }
        rig.post(under_way, json!({ "off": true }));
        assert_eq!(rig.get("/api/scale")[key], Value::Null, "{under_way}");
    }
    // The same again, from its start.
    for (path, body, _) in &all[2..] {
        rig.post(path, body.clone());
        rig.post(path, body.clone());
        rig.post(path, json!({ "off": true }));
    }
}

#[test]
fn the_terminal_refuses_what_is_out_of_its_limits_before_the_routine_starts() {
    let dir = tempfile::tempdir().expect("a folder");
    simulated(dir.path());
    for odd in [["--net-g", "9000"], ["--tolerance-g", "30"], ["--room-c", "nan"], ["--operator", "a\nb"]] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
        command.args(["calibrate", "--mass", "50:M1", odd[0], odd[1], "--data"]).arg(dir.path());
        let refused = command.stdin(Stdio::null()).output().expect("it runs");
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        let field = odd[0].trim_start_matches("--").replace('-', "_");
        assert!(refused.status.code() == Some(2) && said.contains(&field), "{odd:?}: {said}");
    }
}

#[test]
fn the_terminal_leads_through_the_routine_hands_free_and_says_who_holds_the_folder() {
    let dir = tempfile::tempdir().expect("a folder");
    simulated(dir.path());
    let ear = Ear::open(dir.path());
    let run = |more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
        command.args(["calibrate", "--data"]).arg(dir.path()).args(more).stdin(Stdio::null());
        command.env("ALSA_CONFIG_PATH", &ear.config);
        command.output().expect("it runs")
    };
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let none = run(&[]);
    assert!(none.status.code() == Some(2) && text(&none.stderr).contains("--mass 50:M1"), "{none:?}");
    let begun = Instant::now();
    let done = run(&["--mass", "50:M1", "--mass", "200:M1", "--only-series", "--room-c", "19"]);
    let said = text(&done.stdout);
    let steps = said.lines().filter(|line| line.contains(&format!("/{}  ", steps_of(&said)))).count();
    heard_each(&ear, begun, steps);
    assert_eq!(done.status.code(), Some(0), "{said}{}", text(&done.stderr));
    for words in [
        "Take everything off the pan",
        "Put 50 g",
        "Add 200 g",
        "Take 200 g off",
        "good",
        "gone by from now on",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // The masses are kept: the check needs none to be typed.
    let check = run(&["--check", "--json"]);
    let told: Value = serde_json::from_slice(&check.stdout).expect("JSON");
    assert!(told["says"] == "in-order" && told["mass_g"] == 200.0, "{told} {}", text(&check.stderr));
    // The address of the run before stands in it.
    std::fs::remove_file(dir.path().join("tarebell.lock")).expect("the lock's file");
    let mut daemon = serve(dir.path()).spawn().expect("a daemon");
    let lock = dir.path().join("tarebell.lock");
    let from = std::time::Instant::now();
    while !std::fs::read_to_string(&lock).is_ok_and(|t| t.contains("127.")) {
        assert!(from.elapsed() < Duration::from_secs(20), "no daemon");
        std::thread::sleep(Duration::from_millis(20));
    }
    let held = run(&["--check"]);
    daemon.kill().expect("killed");
    daemon.wait().expect("ended");
    assert!(held.status.code() == Some(1) && text(&held.stderr).contains("http://127.0.0.1:"), "{held:?}");
}

/// How many steps a routine says that it has.
fn steps_of(said: &str) -> usize {
    let first = said.lines().find_map(|line| line.trim().strip_prefix("1/")).expect("a first step");
    first.split_whitespace().next().and_then(|n| n.parse().ok()).expect("how many")
}

/// A tick at each step but the last, and its end: a tick that opens into a long soft one.
fn heard_each(ear: &Ear, from: Instant, steps: usize) {
    // What is heard by now was played.
    let samples = ear.since(from, from.elapsed()).samples;
    // 1 % of full scale; strokes of one cue are at least 50 ms apart.
    let loud: Vec<usize> = (0..samples.len()).filter(|i| samples[*i].abs() > 0.01).collect();
    let strokes: Vec<&[usize]> = loud.chunk_by(|a, b| b - a < 48 * 40).collect();
    let cues: Vec<Cue> = strokes.iter().map(|s| strongest(&samples[s[0]..=s[s.len() - 1]])).collect();
    let mut wanted = vec![Cue::Ready; steps - 1];
    wanted.extend([Cue::Clear; 2]);
    assert!(steps > 10 && cues == wanted, "{steps} steps: {cues:?}");
    let last = strokes[strokes.len() - 1];
    let ms = (last[last.len() - 1] - last[0]) / 48;
    assert!((150..=240).contains(&ms), "played to its end: {ms} ms");
}

/// The sounds of a routine that were told until now: for each its cue, and why.
fn told_sounds(heard: &Receiver<Heard>) -> Vec<(String, String)> {
    let word = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let cues = heard.try_iter().map(|h| h.message).filter(|m| m["kind"] == "cue");
    cues.map(|m| (word(&m["cue"]), word(&m["routine"]))).collect()
}

#[test]
fn each_step_at_the_pan_is_told_as_a_sound_and_is_no_cue_of_a_pour() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let pan = Pan::on(&rig);
    let heard = rig.listen();
    let masses = json!([{ "nominal_g": 200, "class": "M1" }]);
    rig.post("/api/scale/calibrate", json!({ "masses": masses, "parts": [] }));
    let mut all = Vec::new();
    let mut lies = |grams: f64, cue: &str, why: &str| {
        pan.still(grams);
        let from = Instant::now();
        // Still for 1.5 s at the most, and the scale's own rest: ten times that.
        while all.is_empty() {
            assert!(from.elapsed() < Duration::from_secs(20), "{grams} g: no {cue}");
            all = told_sounds(&heard);
            std::thread::sleep(Duration::from_millis(20));
        }
        assert_eq!(std::mem::take(&mut all), [(cue.to_owned(), why.to_owned())], "{grams} g");
    };
    lies(0.0, "ready", "taken");
    lies(500.0, "fault", "wrong");
    assert_eq!(rig.get("/api/scale")["routine"]["amiss"], "looks-like");
    lies(200.0, "ready", "taken");
    lies(0.0, "ready", "taken");
    lies(200.0, "ready", "taken");
    lies(0.5, "short", "again");
    for _ in 0..2 {
        lies(200.5, "ready", "taken");
        lies(0.5, "ready", "taken");
    }
    lies(200.5, "ready", "taken");
    lies(0.5, "clear", "over");
    let now = rig.get("/api/now");
    assert_eq!(
        (&now["last_cue"], &now["scale"]["routine"]["wants"]),
        (&Value::Null, &json!("done")),
        "{now}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_leads_through_the_routine_hands_free_and_its_record_can_be_printed() {
    let dir = tempfile::tempdir().expect("a folder");
    simulated(dir.path());
    let rig = Rig::start_with(dir.path(), terminal_nobody_reads());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    browser.until("the masses", "return !!document.querySelector('.calibrate [name=grams_0]')").await;
    for (name, value) in
        [("grams_0", "50"), ("how_0", "M1"), ("grams_1", "200"), ("how_1", "M1"), ("room", "19")]
    {
        let script = format!(
            "const at = document.querySelector('.calibrate [name={name}]'); at.value = '{value}'; at.dispatchEvent(new Event('input'));"
        );
        browser.js(&script).await;
    }
    let heard = rig.listen();
    let hold = "[...document.querySelectorAll('.calibrate .hold')].find((b) => b.textContent.includes('to calibrate'))";
    browser.js(&format!("{hold}.dispatchEvent(new PointerEvent('pointerdown'));")).await;
    browser
        .until(
            "the first step",
            "return /Take everything off/.test(document.querySelector('.step .ask')?.textContent)",
        )
        .await;
    browser
        .until("a mass", "return /Put 50 g/.test(document.querySelector('.step .ask')?.textContent)")
        .await;
    views(&browser, "calibrate-step").await;
    let done = "return /Calibrated, and kept/.test(document.querySelector('.calibrate .said')?.textContent)";
    // Some 21 steps of 3 to 4 s each; five times that.
    browser.within(Duration::from_secs(400), "it is done", done).await;
    let scale = rig.until("gone by", |now| !now["scale"]["calibration"].is_null())["scale"].clone();
    let steps = scale["routine"]["steps"].as_u64().expect("how many") as usize;
    let sounds = told_sounds(&heard);
    let taken = sounds.iter().filter(|(cue, why)| cue == "ready" && why == "taken").count();
    let last = sounds.last().map(|(cue, why)| (cue.as_str(), why.as_str()));
    assert!(taken + 1 == steps && sounds.len() == steps && last == Some(("clear", "over")), "{sounds:?}");
    // The simulated scale is set right as it is.
    assert!((scale["calibration"]["slope"].as_f64().expect("a slope") - 1.0).abs() < 2e-3, "{scale}");
    browser.until("its plots", "return [...document.querySelectorAll('.calibrate img')].length === 2 && [...document.querySelectorAll('.calibrate img')].every((i) => i.complete && i.naturalWidth > 100)").await;
    views(&browser, "calibrate-done").await;
    rig.post("/api/scale/room", json!({ "room_c": 25 }));
    browser
        .until(
            "the room is another",
            "return document.querySelector('.calibrate').textContent.includes('5 °C or more')",
        )
        .await;
    let id = scale["calibration"]["id"].as_str().expect("an id").to_owned();
    browser.client.goto(&format!("http://{}/calibrations/{id}", rig.address)).await.expect("the record");
    browser
        .until(
            "its pictures",
            "return [...document.querySelectorAll('img')].every((i) => i.complete && i.naturalWidth > 100)",
        )
        .await;
    let sheet = browser.js("return document.querySelector('main').textContent").await.to_string();
    for words in ["no legal verification", "200.000", "M1", "19 °C", "Standard uncertainty", "Tarebell 0."] {
        assert!(sheet.contains(words), "{words}: {sheet}");
    }
    views(&browser, "calibrate-record").await;
    printed(&rig, dir.path(), &format!("calibrations/{id}"), "calibration");
    browser.client.close().await.expect("closed");
}

/// The simulated scale needs no line.
fn terminal_nobody_reads() -> std::fs::File {
    let dir = tempfile::tempdir().expect("a folder");
    terminal(dir.path())
}

/// Pictures to be looked at, where `TAREBELL_VIEWS` names a folder.
async fn views(browser: &Browser, name: &str) {
    let Some(folder) = std::env::var_os("TAREBELL_VIEWS") else { return };
    std::fs::create_dir_all(&folder).expect("a folder for the pictures");
    for (width, look) in [(360, Look::Light), (1440, Look::Light), (360, Look::ALL[1]), (1440, Look::ALL[1])]
    {
        browser.wear(look).await;
        browser.size(width, 900).await;
        let all = "const m = document.querySelector('main'); return Math.ceil(Math.max(innerHeight + m.scrollHeight - m.clientHeight, document.documentElement.scrollHeight))";
        let whole = browser.js(all).await.as_u64().and_then(|h| u32::try_from(h).ok()).expect("a height");
        browser.size(width, whole.min(9000)).await;
        tokio::time::sleep(Duration::from_millis(300)).await;
        let picture = browser.client.screenshot().await.expect("a picture");
        let file = std::path::Path::new(&folder).join(format!("{name}-{width}-{}.png", look.word()));
        std::fs::write(file, picture).expect("a file in the folder");
    }
    browser.wear(Look::Light).await;
}
