//! A weight that a bare piece and one that was put back may both have, end to end: what is assumed is said, and setting the
//! piece down again says otherwise.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::window::Browser;
use serde_json::{Value, json};
use std::time::Duration;

/// Set down, until this phase.
fn set_down(rig: &Rig, pan: &Pan, gross_g: f64, phase: &str) {
    // A hand that lifts it holds it for a moment.
    std::thread::sleep(Duration::from_millis(700));
    pan.still(gross_g);
    rig.until(phase, |now| now["phase"] == phase);
}

fn lifted(rig: &Rig, pan: &Pan) {
    std::thread::sleep(Duration::from_millis(700));
    // No display shows all of a lift within one reading.
    for gross_g in [120.0, 8.0, 0.0] {
        pan.still(gross_g);
        std::thread::sleep(Duration::from_millis(70));
    }
    rig.until("lifted", |now| now["phase"] == "idle");
}

/// The first piece has this weight in the log, to a gram, and this verdict.
fn first_is(rig: &Rig, batch: &str, net_g: f64, verdict: &str) {
    let pours = format!("/api/batches/{batch}/pours");
    let is =
        |first: &Value| first["net_g"].as_f64().map(f64::round) == Some(net_g) && first["verdict"] == verdict;
    rig.until(verdict, |_| is(&rig.get(&pours)[0]));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_piece_that_some_was_poured_out_of_is_known_once_it_is_set_down_again_and_the_page_says_how_to_say_no()
 {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let batch = rig.begin_batch(3);
    let pan = Pan::on(&rig);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/", rig.address)).await.expect("the page");
    std::thread::sleep(Duration::from_millis(800));
    set_down(&rig, &pan, 312.4, "ready");
    std::thread::sleep(Duration::from_millis(400));
    pan.runs(8.0, 341.4);
    rig.until("weighed", |now| now["phase"] == "done");
    lifted(&rig, &pan);
    // Twelve grams are poured out: a bare one may weigh as much.
    set_down(&rig, &pan, 329.4, "ready");
    for _ in 0..3 {
        lifted(&rig, &pan);
        std::thread::sleep(Duration::from_millis(700));
        pan.still(329.4);
        let now = rig.until("at rest", |now| now["phase"] == "ready" || now["phase"] == "done");
        if now["phase"] == "done" {
            break;
        }
    }
    browser.shows("short").await;
    rig.until("said", |now| now["last_cue"]["cue"] == "short");
    let said = browser.js("return document.querySelector('.say').textContent").await.to_string();
    assert!(said.contains("Add 12.0 g") && said.contains("Is it another one? Set it down again"), "{said}");
    browser.pictures("put-back").await;
    first_is(&rig, &batch, 17.0, "short");
    // It was another one: the first has its own weight again.
    lifted(&rig, &pan);
    set_down(&rig, &pan, 329.4, "ready");
    first_is(&rig, &batch, 29.0, "good");
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

#[test]
fn a_piece_that_left_without_slop_where_a_ladle_is_told_has_one_row_once_nobody_sets_it_down_again_and_else_none()
 {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let wanted = json!({ "name": "invented cups", "pieces": 3, "vessel": "ladle", "coat": { "by": "direct", "slop_g": 29.0 } });
    let batch = rig.post("/api/batches", wanted)["id"].as_str().expect("an id").to_owned();
    rig.until("the scale's port is open", |now| now["scale"]["state"] != "searching");
    rig.post(&format!("/api/batches/{batch}/begin"), json!({}));
    let pours = || rig.get(&format!("/api/batches/{batch}/pours"));
    let pan = Pan::on(&rig);
    std::thread::sleep(Duration::from_millis(800));
    set_down(&rig, &pan, 312.4, "ready");
    lifted(&rig, &pan);
    set_down(&rig, &pan, 312.4, "ready");
    assert_eq!(pours().as_array().map(Vec::len), Some(1), "its first row is gone: {}", pours());
    lifted(&rig, &pan);
    let now = rig.until("said", |now| now["note"] == "unsure");
    assert_eq!(now["piece"], 2, "{now}");
    rig.until("on disk", |_| pours()[0]["rev"] == 1);
    let all = pours();
    assert!(
        all.as_array().map(Vec::len) == Some(1) && all[0]["verdict"] == "void" && all[0]["piece"] == 1,
        "{all}"
    );
    let trace = format!("/api/pours/{}/trace", all[0]["id"].as_str().expect("an id"));
    assert!(ureq::get(format!("http://{}{trace}", rig.address)).call().is_ok(), "with a trace of its own");
}
