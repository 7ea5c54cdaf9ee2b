//! A weight that a bare piece and one that was put back may both have, end to end: what is assumed is said, and setting the
//! piece down again says otherwise.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::window::Browser;
use serde_json::Value;
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
    pan.still(0.0);
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
    assert!(said.contains("Add 12.0 g") && said.contains("another one? Set it down again"), "{said}");
    browser.pictures("put-back").await;
    first_is(&rig, &batch, 17.0, "short");
    // It was another one: the first has its own weight again.
    lifted(&rig, &pan);
    set_down(&rig, &pan, 329.4, "ready");
    first_is(&rig, &batch, 29.0, "good");
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}
