//! A display that goes to zero by itself, end to end: nothing is tared in silence, and what stood there is
//! offered back.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::window::Browser;
use fantoccini::Locator;
use serde_json::{Value, json};
use std::time::Duration;

#[test]
fn a_piece_that_the_scales_own_key_hid_is_offered_back_and_poured_to_its_target() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    let still_on = format!("/api/batches/{batch}/still-on");
    let pan = Pan::on(&rig);
    std::thread::sleep(Duration::from_millis(800));
    assert_eq!(rig.try_post(&still_on, json!({})).0, 409, "nothing is offered yet");
    pan.still(312.4);
    rig.until("ready", |now| now["phase"] == "ready");
    // The key is pressed: the display goes to zero at once.
    pan.still(0.0);
    let now = rig.until("fault", |now| now["phase"] == "fault");
    assert!(now["step"].as_str().is_some_and(|s| s.contains("lift the piece off")), "{now}");
    assert!(now["offered_g"].as_f64().is_some_and(|g| (g - 312.4).abs() < 0.15), "{now}");
    assert_eq!(rig.try_post("/api/batches/none/still-on", json!({})).0, 404);
    rig.post(&still_on, json!({}));
    let now = rig.until("ready again", |now| now["phase"] == "ready");
    assert!(now["offered_g"].is_null(), "{now}");
    let said = now["scale"]["trouble"].as_str().unwrap_or_default();
    assert!(said.contains("zero tracking") && said.contains("leave taring to Tarebell"), "{now}");
    // A hand waits for it.
    std::thread::sleep(std::time::Duration::from_millis(400));
    pan.runs(8.0, 28.9);
    rig.until("weighed", |now| now["phase"] == "done");
    let pours = rig.weighed(&batch);
    let net_g = pours[0]["net_g"].as_f64().expect("a weight");
    assert!((net_g - 28.9).abs() < 0.2 && pours[0]["verdict"] == "good", "{pours}");
    assert!(pours[0]["tare_g"].as_f64().is_some_and(|g| (g - 312.4).abs() < 0.15), "{pours}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_offers_the_hidden_piece_back_by_one_button_and_asks_for_it_to_be_lifted_first() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(2);
    let pan = Pan::on(&rig);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/", rig.address)).await.expect("the page");
    std::thread::sleep(Duration::from_millis(800));
    pan.still(312.4);
    browser.shows("ready").await;
    pan.still(0.0);
    browser.shows("trouble").await;
    let said = browser.js("return document.querySelector('.say').textContent").await.to_string();
    assert!(said.contains("Lift the piece off") && said.contains("go on from 312.4 g"), "{said}");
    let button = browser.client.find(Locator::Css(".say button")).await.expect("a button");
    button.click().await.expect("pressed");
    browser.shows("ready").await;
    let left = browser.js("return document.querySelectorAll('.say button').length").await;
    assert_eq!(left, 0, "the offer is over");
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}
