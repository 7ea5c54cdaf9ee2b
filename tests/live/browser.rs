//! The page in a real browser: what the potter sees while the real binary reads a simulated scale.

use crate::rig::Rig;
use crate::window::Browser;
use fantoccini::Locator;
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use std::io::Write;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};

/// Notes every face the page shows, with ground, frame and number, however short.
const WATCH: &str = "
    window.seen = [];
    const root = document.documentElement;
    const note = () => {
      const stage = document.querySelector('.stage');
      const number = document.querySelector('.number');
      const face = root.dataset.face;
      if (!stage) return requestAnimationFrame(note);
      const style = getComputedStyle(stage);
      window.seen.push({
        face, ground: style.backgroundColor, bands: style.boxShadow, number: number ? number.textContent : null,
        size: number ? parseFloat(getComputedStyle(number).fontSize) / Math.min(innerWidth, innerHeight) : null,
        word: document.querySelector('.word')?.textContent ?? null,
        locked: document.querySelector('nav').inert,
        coat: parseFloat(document.querySelector('.coat')?.getAttribute('stroke-width') ?? 0),
      });
      requestAnimationFrame(note);
    };
    requestAnimationFrame(note);
    return true;";

/// What was noted under this face.
fn of<'a>(seen: &'a [Value], face: &str) -> Vec<&'a Value> {
    seen.iter().filter(|s| s["face"] == face).collect()
}

fn differing(seen: &[&Value], key: &str) -> usize {
    seen.iter().map(|s| s[key].to_string()).collect::<std::collections::BTreeSet<_>>().len()
}

/// The form is filled in by hand, as a potter does.
async fn begin_by_hand(browser: &Browser, address: &str) {
    let page = &browser.client;
    page.goto(&format!("http://{address}/#batch")).await.expect("the page");
    for (name, text) in [("slop_g", "29"), ("name", "invented cups"), ("pourer", "invented hand")] {
        let input = page.wait().for_element(Locator::Css(&format!("input[name={name}]"))).await.expect(name);
        input.send_keys(text).await.expect(name);
    }
    browser
        .until(
            "the limits",
            "return !!document.querySelector('.result')?.textContent.includes('27.5 to 30.5')",
        )
        .await;
    page.find(Locator::Css("form button")).await.expect("a button").click().await.expect("a click");
    browser.until("the batch begins", "return !!document.querySelector('.hold')").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_potter_sees_ready_the_grams_lift_and_the_verdict_and_loss_is_said_at_once() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    begin_by_hand(&browser, &rig.address).await;
    browser.client.goto(&format!("http://{}/#log", rig.address)).await.expect("the page");
    browser.client.refresh().await.expect("loaded again");
    browser.until("the log", "return document.documentElement.dataset.place === 'log'").await;
    browser.js(WATCH).await;

    let heard = rig.listen();
    let plant = Plant::new(7, Person::typical(), ScaleModel::with_lag(0.15), Table::default());
    let mut potter = Potter::new(plant, Script::of(1, 29.0));
    let (mut rig, shown) = tokio::task::spawn_blocking(move || {
        let shown = rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(30));
        (rig, shown)
    })
    .await
    .expect("a pour");
    keep_sending(&rig);
    let net = shown.last().and_then(|p| p["net_g"].as_f64()).expect("a logged pour");
    let verdict = shown.last().and_then(|p| p["verdict"].as_str()).expect("a verdict").to_owned();
    browser
        .until("the verdict", &format!("return document.documentElement.dataset.face === '{verdict}'"))
        .await;
    let seen = browser.js("return window.seen").await;
    the_faces_are_told_apart(seen.as_array().expect("a list"));

    let number = browser.js("return document.querySelector('.number').textContent").await;
    assert_eq!(number, json!(format!("{net:.1}g")), "the verdict's number is the log's");
    let spoken = browser.js("return document.getElementById('told').textContent").await;
    assert_eq!(spoken, json!(format!("Piece 1: {verdict}")), "verdicts are spoken, grams are not");
    browser.client.goto(&format!("http://{}/#log", rig.address)).await.expect("the page");
    browser
        .until(
            "the pour in the log",
            &format!("return !!document.querySelector('tbody tr')?.textContent.includes('{net:.1}')"),
        )
        .await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    browser.until("the scale", "return !!document.querySelector('.weight')").await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new(), "the browser's log under the policy");

    browser.client.goto(&format!("http://{}/#pour", rig.address)).await.expect("the page");
    browser.until("the field", "return !!document.querySelector('.number')").await;
    lost_is_said(&browser, &mut rig).await;
    browser.client.clone().close().await.expect("closed");
}

/// An empty pan's readings for as long as the rest of the test takes, with room to spare.
fn keep_sending(rig: &Rig) {
    let mut line = rig.line.try_clone().expect("the line");
    std::thread::spawn(move || {
        for _ in 0..400 {
            // A daemon that is gone reads nothing more; the line takes it all the same.
            let _ = line.write_all(b"0.0 g\r\n");
            std::thread::sleep(Duration::from_millis(100));
        }
    });
}

fn the_faces_are_told_apart(seen: &[Value]) {
    let (ready, pouring, lift) = (of(seen, "ready"), of(seen, "pouring"), of(seen, "lift"));
    assert!(!ready.is_empty() && !pouring.is_empty() && !lift.is_empty(), "{seen:?}");
    assert_ne!(ready[0]["ground"], pouring[0]["ground"]);
    assert_ne!(ready[0]["bands"], json!("none"), "ready is told by shape too");
    assert_eq!(pouring[0]["bands"], json!("none"));
    assert!(differing(&pouring, "number") >= 5, "the number moves");
    assert!(differing(&pouring, "coat") >= 5, "the coat grows");
    let least = pouring.iter().filter_map(|s| s["size"].as_f64()).fold(f64::MAX, f64::min);
    assert!(least >= 0.22, "digits of {least} of the shorter side");
    assert!(pouring.iter().all(|s| s["locked"] == true), "touch is locked while pouring");
    assert!(lift.iter().all(|s| s["word"] == "Lift"));
    let first = |face: &str| seen.iter().position(|s| s["face"] == face);
    assert!(first("ready") < first("pouring") && first("pouring") < first("lift"));
}

/// The page alone must say it: a daemon that stands still, then one that is gone.
async fn lost_is_said(browser: &Browser, rig: &mut Rig) {
    let daemon = Pid::from_child(&rig.child);
    kill_process(daemon, Signal::STOP).expect("stands still");
    trouble_within(browser, Duration::from_secs(2), "The picture is old").await;
    kill_process(daemon, Signal::CONT).expect("goes on");
    browser.until("trouble is over", "return document.documentElement.dataset.face !== 'trouble'").await;
    rig.child.kill().expect("killed");
    trouble_within(browser, Duration::from_secs(2), "No connection").await;
}

async fn trouble_within(browser: &Browser, limit: Duration, what: &str) {
    let from = Instant::now();
    while browser.face().await != "trouble" {
        assert!(from.elapsed() < limit, "nothing said after {:?}", from.elapsed());
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let said = browser.js("return document.getElementById('warned').textContent").await;
    assert_eq!(said, json!(format!("Stop pouring. {what}")));
    let word = browser.js("return document.querySelector('.word').textContent").await;
    assert_eq!(word, json!("Stop pouring"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_batch_ends_by_a_held_button_only_and_contents_of_others_are_refused() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(2);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    browser.until("the button", "return !!document.querySelector('.hold')").await;
    let press = "document.querySelector('.hold').dispatchEvent(new PointerEvent('pointerdown'));";
    let release = "document.querySelector('.hold').dispatchEvent(new PointerEvent('pointerup'));";
    browser.js(press).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    browser.js(release).await;
    tokio::time::sleep(Duration::from_millis(1000)).await;
    assert!(!rig.get("/api/now")["batch"].is_null(), "a short press ends nothing");
    browser.js(press).await;
    browser.until("the end", "return !!document.querySelector('form')").await;
    assert!(rig.get("/api/now")["batch"].is_null());
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    // The log does show what is refused: else an empty one would prove nothing.
    browser.js("try { document.body.innerHTML += '<b>planted</b>' } catch { }").await;
    assert!(!browser.complaints().await.is_empty(), "markup from text is refused and told");
    browser.client.clone().close().await.expect("closed");
}
