//! A page that is left open: over a restart of the daemon, a reload in mid-pour, and a sleep of its tab.
//!
//! A computer that sleeps as a whole can't be tried here.

use crate::pan::Pan;
use crate::rig::{Rig, serve_at, terminal};
use crate::window::Browser;
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// Notes what each frame shows, and marks the page, so that a page loaded again is told from this one.
const WATCH: &str = "
    window.shown = [];
    const note = () => {
      const last = window.shown[window.shown.length - 1];
      const face = document.documentElement.dataset.face;
      const number = document.querySelector('.number')?.textContent ?? null;
      const at = performance.now();
      if (last && last.face === face && last.number === number) last.until = at;
      else window.shown.push({ face, number, at, until: at });
    };
    // By a timer: a tab that slept may wake hidden, and then has no frames.
    window.ticks = [];
    setInterval(() => { note(); window.ticks.push(performance.now()); }, 10);
    return true;";

async fn shows_number(browser: &Browser, number: &str) {
    let script = format!("return document.querySelector('.number')?.textContent === '{number}'");
    browser.until(number, &script).await;
}

async fn shown(browser: &Browser) -> Vec<Value> {
    browser.js("return window.shown").await.as_array().expect("a list").clone()
}

async fn open(dir: &std::path::Path, rig: &Rig) -> Browser {
    let browser = Browser::open(dir).await;
    browser.client.goto(&format!("http://{}/", rig.address)).await.expect("the page");
    browser
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_left_open_says_the_loss_at_once_and_comes_back_with_the_new_run_by_itself() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let address = rig.address.clone();
    let run = rig.get("/api/now")["run"].clone();
    let pan = Pan::on(&rig);
    let browser = open(dir.path(), &rig).await;
    pan.still(300.0);
    shows_number(&browser, "300.0g").await;
    browser.js(WATCH).await;
    let from = Instant::now();
    let (code, _) = rig.stop(Signal::TERM);
    assert_eq!(code, Some(0), "{}", rig.said());
    browser.shows("trouble").await;
    println!("the loss was said {:?} after the signal", from.elapsed());
    assert!(from.elapsed() < Duration::from_secs(2), "{:?}", from.elapsed());
    let said = browser.js("return document.querySelector('.do').textContent").await;
    assert_eq!(said, json!("No connection"));
    drop(pan);
    let line = terminal(dir.path());
    let rig = Rig::start_as(serve_at(dir.path(), &address), dir.path(), line);
    assert_eq!(rig.address, address, "the same port");
    assert_ne!(rig.get("/api/now")["run"], run, "another run");
    let pan = Pan::on(&rig);
    pan.still(412.5);
    shows_number(&browser, "412.5g").await;
    let all = shown(&browser).await;
    let lost = all.iter().position(|s| s["face"] == "trouble").expect("the loss was painted");
    let old = all[lost..].iter().find(|s| s["number"] == "300.0g");
    assert_eq!(old, None, "the old run's number came back");
    // The new run's batch too.
    rig.begin_batch(2);
    pan.still(0.0);
    browser.shows("next").await;
    browser.client.clone().close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_loaded_again_in_mid_pour_shows_the_pour_going_on() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(2);
    let pan = Pan::on(&rig);
    let browser = open(dir.path(), &rig).await;
    browser.shows("next").await;
    pan.still(300.0);
    browser.shows("ready").await;
    pan.runs(1.0, 329.0);
    browser.shows("pouring").await;
    browser.client.refresh().await.expect("loaded again");
    browser.shows("pouring").await;
    let left = "return Number(document.querySelector('.number').textContent)";
    let before = browser.js(left).await.as_f64().expect("a number");
    assert!((3.0..=29.0).contains(&before), "{before}");
    browser.until("it goes on", &format!("{left} <= {}", before - 2.0)).await;
    assert_eq!(browser.face().await, "pouring");
    let name = browser.js("return document.querySelector('h1').textContent").await;
    assert_eq!(name, json!("invented cups"));
    browser.client.clone().close().await.expect("closed");
}

/// Has the tab sleep for this long, and proves that it did.
///
/// The browser closes the stream of a tab that it freezes. One that stays open over a sleep is tried with
/// a clock of our own, at the end of this file.
async fn sleeps(browser: &Browser, how_long: Duration, meanwhile: impl FnOnce()) {
    browser.js(WATCH).await;
    browser.until("it ticks", "return window.ticks.length > 5").await;
    browser.order("Page.setWebLifecycleState", json!({ "state": "frozen" })).await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    meanwhile();
    tokio::time::sleep(how_long).await;
    browser.order("Page.setWebLifecycleState", json!({ "state": "active" })).await;
    browser
        .until("it is awake", "return performance.now() - window.ticks[window.ticks.length - 1] < 200")
        .await;
    let gap = "return Math.max(...window.ticks.slice(1).map((at, i) => at - window.ticks[i]))";
    let slept = browser.js(gap).await.as_f64().expect("a gap");
    assert!(slept > how_long.as_secs_f64() * 900.0, "it slept for {slept} ms only");
}

/// The page looks at its own age every 100 ms, and a hidden one draws 50 ms later: twice that.
const AWAKE_MS: f64 = 300.0;

/// A page that shows 300 g on the pan, with the folder that all of it lives in.
async fn page_with_300_g() -> (tempfile::TempDir, Rig, Pan, Browser) {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let pan = Pan::on(&rig);
    let browser = open(dir.path(), &rig).await;
    pan.still(300.0);
    shows_number(&browser, "300.0g").await;
    (dir, rig, pan, browser)
}

/// After the sleep nothing old is painted as if it were new.
async fn nothing_old_after_the_sleep(browser: &Browser, old: &str) {
    let woke = "let i = window.ticks.length - 1; while (i > 0 && window.ticks[i] - window.ticks[i - 1] < 1000) i--; return window.ticks[i]";
    let woke = browser.js(woke).await.as_f64().expect("a time");
    tokio::time::sleep(Duration::from_millis(500)).await;
    let all = shown(browser).await;
    let after: Vec<_> = all.iter().filter(|s| s["until"].as_f64() > Some(woke + AWAKE_MS)).collect();
    assert!(!after.is_empty(), "{all:?}");
    println!("after the sleep: {after:?}");
    assert!(after.iter().all(|s| s["face"] == "trouble" || s["number"] != old), "woke at {woke}: {after:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tab_that_slept_wakes_to_the_present_and_never_to_an_old_number() {
    let (_dir, _rig, pan, browser) = page_with_300_g().await;
    sleeps(&browser, Duration::from_secs(3), || pan.still(412.5)).await;
    shows_number(&browser, "412.5g").await;
    nothing_old_after_the_sleep(&browser, "300.0g").await;
    browser.client.clone().close().await.expect("closed");
}

/// A tab that is hidden between asking for a frame and getting it gets none.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_that_is_given_no_frame_still_follows_the_scale() {
    let (_dir, _rig, pan, browser) = page_with_300_g().await;
    browser.js("window.requestAnimationFrame = () => 0").await;
    pan.still(412.5);
    shows_number(&browser, "412.5g").await;
    browser.client.clone().close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tab_that_slept_while_the_daemon_stood_still_wakes_to_trouble() {
    let (_dir, rig, _pan, browser) = page_with_300_g().await;
    let daemon = Pid::from_child(&rig.child);
    sleeps(&browser, Duration::from_secs(3), || kill_process(daemon, Signal::STOP).expect("stands still"))
        .await;
    browser.shows("trouble").await;
    nothing_old_after_the_sleep(&browser, "300.0g").await;
    browser.client.clone().close().await.expect("closed");
}

/// The page's own stream, with a socket that does as it is told.
const SOCKETS: &str = "
    const sockets = [];
    window.WebSocket = class { constructor() { sockets.push(this); } };
    const wait = (ms) => new Promise((done) => setTimeout(done, ms));
    const { Live } = await import('/assets/live.js');
    const live = new Live(() => {}, () => {});
    const at = () => Math.round(performance.now() * 1000);
    sockets[0].onopen();
    sockets[0].onmessage({ data: JSON.stringify({ kind: 'now', at_us: at(), run: 'old', phase: 'idle' }) });
    const before = live.fresh();
    sockets[0].onclose();
    const lost = live.fresh();
    while (sockets.length < 2) await wait(10);
    sockets[1].onopen();
    const silent = live.fresh();
    sockets[1].onmessage({ data: JSON.stringify({ kind: 'now', at_us: 5000, run: 'new', phase: 'idle' }) });
    return [before, lost, silent, live.fresh(), live.now.run];";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn connected_again_the_page_believes_nothing_until_the_new_run_has_spoken() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let browser = open(dir.path(), &rig).await;
    browser.shows("empty").await;
    let told = browser.js(&format!("return (async () => {{ {SOCKETS} }})()")).await;
    assert_eq!(told, json!([true, false, false, true, "new"]));
    browser.client.clone().close().await.expect("closed");
}

/// The page's own stream at a clock that does as it is told: silence, then what was said long ago, as
/// after a sleep of the whole computer, then the present.
const LATE: &str = "
    const sockets = [];
    window.WebSocket = class { constructor() { sockets.push(this); } };
    let at = 10000;
    performance.now = () => at;
    const { Live } = await import('/assets/live.js');
    const live = new Live(() => {}, () => {});
    const says = (ms) => sockets[0].onmessage({ data: JSON.stringify({ kind: 'now', at_us: ms * 1000, phase: 'idle' }) });
    sockets[0].onopen();
    says(500);
    at += 900;
    const soon = live.fresh();
    at += 200;
    const silent = live.fresh();
    says(550);
    const late = live.fresh();
    says(1600);
    return [soon, silent, late, live.fresh()];";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_silent_for_a_second_or_comes_a_second_late_is_not_believed() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let browser = open(dir.path(), &rig).await;
    browser.shows("empty").await;
    let told = browser.js(&format!("return (async () => {{ {LATE} }})()")).await;
    assert_eq!(told, json!([true, false, false, true]));
    browser.client.clone().close().await.expect("closed");
}
