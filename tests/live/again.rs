//! A batch that was begun before the daemon's last start: gone on with, or ended as it is.

use crate::rig::Rig;
use crate::window::Browser;
use fantoccini::Locator;
use rusqlite::Connection;
use rustix::process::Signal;
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;
use std::time::Duration;

/// An invented batch; gives its id.
fn make(rig: &Rig, name: &str) -> String {
    let cups = json!({ "name": name, "pieces": 12, "coat": { "by": "direct", "slop_g": 29.0 } });
    rig.post("/api/batches", cups)["id"].as_str().expect("an id").to_owned()
}

/// A batch with one piece poured, then a daemon that was ended and started again; gives the batch.
fn interrupted(dir: &Path) -> (Rig, String) {
    let mut rig = Rig::start(dir);
    let batch = make(&rig, "blue cups");
    rig.post(&format!("/api/batches/{batch}/begin"), json!({}));
    rig.send(1.5, |_| 0.0);
    rig.send(2.0, |_| 300.0);
    rig.send(3.6, |t| 300.0 + 8.0 * t);
    rig.send(3.5, |_| 328.8);
    rig.send(1.5, |_| 0.0);
    rig.stop(Signal::TERM);
    drop(rig);
    (Rig::start(dir), batch)
}

#[test]
fn a_batch_that_was_begun_and_is_not_under_way_is_ended_as_it_is_and_a_draft_is_not() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    rig.stop(Signal::TERM);
    drop(rig);
    let rig = Rig::start(dir.path());
    let draft = make(&rig, "a draft");
    let (status, refused) = rig.try_post(&format!("/api/batches/{draft}/end"), json!({}));
    assert_eq!(status, 409, "{refused}");
    let path = format!("/api/batches/{batch}");
    let begun_at = rig.get(&path)["begun_at"].clone();

    let beside = Connection::open(dir.path().join("tarebell.db")).expect("the log");
    beside.busy_timeout(Duration::from_secs(5)).expect("a limit");
    beside.execute_batch("BEGIN IMMEDIATE").expect("the lock");
    let (status, refused) = rig.try_post(&format!("{path}/end"), json!({}));
    assert_eq!(status, 503, "{refused}");
    assert!(refused["detail"].as_str().is_some_and(|d| d.contains("nothing was done")), "{refused}");
    beside.execute_batch("ROLLBACK").expect("let go");
    assert_eq!(rig.get(&path)["ended_at"], Value::Null);

    let (status, ended) = rig.try_post(&format!("{path}/end"), json!({}));
    assert_eq!((status, &ended["warnings"]), (200, &json!([])), "{ended}");
    let on_disk = rig.get(&path);
    assert!(on_disk["ended_at"].is_string(), "{on_disk}");
    assert_eq!((&on_disk["ended_at"], &on_disk["begun_at"]), (&ended["ended_at"], &begun_at));
    assert_eq!(rig.get("/api/now")["batch"], Value::Null, "it was not begun again");
    assert_eq!(rig.try_post(&format!("{path}/end"), json!({})).1["ended_at"], on_disk["ended_at"]);
    assert_eq!(rig.try_post(&format!("{path}/begin"), json!({})).0, 409, "it has ended");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_a_restart_the_batch_that_was_begun_comes_first_and_is_gone_on_with_by_one_button() {
    let dir = tempfile::tempdir().expect("a folder");
    let (rig, batch) = interrupted(dir.path());
    for n in 1..=6 {
        make(&rig, &format!("draft {n}"));
    }
    let mut line = rig.line.try_clone().expect("the line");
    std::thread::spawn(move || {
        for _ in 0..600 {
            let _ = line.write_all(b"0.0 g\r\n");
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    let browser = Browser::open(dir.path()).await;
    browser.size(360, 740).await;
    let at = format!("http://{}", rig.address);
    browser.client.goto(&format!("{at}/#batch")).await.expect("the page");
    let first = "const first = document.querySelector('.place button');
        return first?.textContent === 'Go on with blue cups: 1 of 12 poured' && first.getBoundingClientRect().bottom < innerHeight";
    browser.until("it comes first", first).await;
    browser.client.goto(&format!("{at}/#pour")).await.expect("the page");
    let big = "const on = document.querySelector('.say button'); if (!on) return false;
        const r = on.getBoundingClientRect();
        return on.textContent === 'Go on with blue cups: 1 of 12 poured' && r.height >= 0.15 * innerWidth && r.bottom < innerHeight";
    browser.until("one big button", big).await;
    assert_eq!(rig.get("/api/now")["batch"], Value::Null, "nothing begins by itself");
    browser.client.find(Locator::Css(".say button")).await.expect("it").click().await.expect("a click");
    browser
        .until(
            "it goes on",
            "return document.querySelector('.do')?.textContent === 'Set piece 2 on the scale'",
        )
        .await;
    assert_eq!(rig.get("/api/now")["batch"], json!(batch));
    browser.client.clone().close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_batch_gone_on_with_is_not_told_to_set_the_first_piece_and_can_be_ended_without_that() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(3);
    rig.stop(Signal::TERM);
    drop(rig);
    let mut rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    let on = browser.client.wait().for_element(Locator::Css(".begun button")).await.expect("go on");
    on.click().await.expect("a click");
    let said = "const said = document.querySelector('.said').textContent;
        return said.startsWith('It goes on.') && !said.includes('first')";
    browser.until("it goes on", said).await;
    rig.stop(Signal::TERM);
    drop(rig);
    rig = Rig::start(dir.path());
    browser.client.goto("about:blank").await.expect("away");
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    browser.until("a way to end it", "return !!document.querySelector('.begun .hold')").await;
    browser
        .js("document.querySelector('.begun .hold').dispatchEvent(new PointerEvent('pointerdown'));")
        .await;
    browser.until("gone", "return !document.querySelector('.begun')").await;
    assert!(rig.get(&format!("/api/batches/{batch}"))["ended_at"].is_string());
    assert_eq!(rig.get("/api/now")["batch"], Value::Null);
    browser.client.clone().close().await.expect("closed");
}
