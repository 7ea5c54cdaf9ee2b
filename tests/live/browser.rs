//! The page in a real browser: what the potter sees while the real binary reads a simulated scale.

use crate::pan::Pan;
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
    let verdict = shown.last().and_then(|p| p["verdict"].as_str()).expect("a verdict").to_owned();
    browser
        .until("the verdict", &format!("return document.documentElement.dataset.face === '{verdict}'"))
        .await;
    let seen = browser.js("return window.seen").await;
    the_faces_are_told_apart(seen.as_array().expect("a list"));

    let batch = rig.get("/api/now")["batch"].as_str().expect("a batch").to_owned();
    the_number_is_the_logs(&browser, &rig, &batch).await;
    let spoken = browser.js("return document.getElementById('told').textContent").await;
    assert_eq!(spoken, json!(format!("Piece 1: {verdict}")), "verdicts are spoken, grams are not");
    the_log_shows_what_is_on_disk(&browser, &rig, &batch).await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    browser.until("the scale", "return !!document.querySelector('.weight')").await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new(), "the browser's log under the policy");

    browser.client.goto(&format!("http://{}/#pour", rig.address)).await.expect("the page");
    browser.until("the field", "return !!document.querySelector('.number')").await;
    lost_is_said(&browser, &mut rig).await;
    browser.client.clone().close().await.expect("closed");
}

/// A further revision may come at any time until the lift: the newest counts.
async fn the_number_is_the_logs(browser: &Browser, rig: &Rig, batch: &str) {
    let from = Instant::now();
    loop {
        let net = rig.weighed(batch)[0]["net_g"].as_f64().expect("grams");
        let number = browser.js("return document.querySelector('.number').textContent").await;
        if number == json!(format!("{net:.1}g")) {
            return;
        }
        assert!(from.elapsed() < Duration::from_secs(10), "the log has {net} g, the page {number}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// The weight follows the end of the tail until the lift: what is on disk then is what the log shows.
async fn the_log_shows_what_is_on_disk(browser: &Browser, rig: &Rig, batch: &str) {
    rig.until("lifted", |now| now["phase"] == "idle");
    browser.client.goto(&format!("http://{}/#log", rig.address)).await.expect("the page");
    let from = Instant::now();
    loop {
        let net = rig.weighed(batch)[0]["net_g"].as_f64().expect("grams");
        let row = browser.js("return document.querySelector('tbody tr')?.textContent").await;
        if row.as_str().is_some_and(|row| row.contains(&format!("{net:.1}"))) {
            return;
        }
        assert!(from.elapsed() < Duration::from_secs(10), "{net} g is not in {row}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
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

/// Has the page's field `name` hold this text, as typed.
async fn put(browser: &Browser, name: &str, text: &str) {
    let script = format!(
        "const i = document.querySelector('input[name={name}]'); i.value = '{text}';
         i.dispatchEvent(new Event('input', {{ bubbles: true }})); return true;"
    );
    browser.js(&script).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bucket_by_mix_and_a_profile_are_typed_drawn_reckoned_and_refused_where_they_are_wrong() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let used = json!({ "name": "invented", "pourer": "left hand", "jug": "white jug", "vessel": "ladle", "coat": { "by": "direct", "slop_g": 20 } });
    rig.post("/api/batches", used);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    browser.choose("by", "bucket").await;
    browser.choose("glaze_by", "mix").await;
    browser.choose("shape", "profile").await;
    browser.choose("tolerance_by", "percent").await;
    let add = browser.client.find(Locator::Css(".rows > button")).await.expect("a button");
    add.click().await.expect("a click");
    let typed = [
        ("dry_g", "1000"),
        ("water_g", "900"),
        ("dry_g_per_cm2", "0.06"),
        ("percent", "4"),
        ("height_0", "0"),
        ("radius_0", "0"),
        ("height_1", "0"),
        ("radius_1", "35"),
        ("height_2", "90"),
        ("radius_2", "42"),
        ("height_3", "40"),
        ("radius_3", "50"),
    ];
    for (name, text) in typed {
        put(&browser, name, text).await;
    }
    browser.until("told at the rows", "return !!document.querySelector('.rows #amiss-points_mm')").await;
    browser
        .client
        .find(Locator::Css("button[aria-label$=' 4']"))
        .await
        .expect("a button")
        .click()
        .await
        .expect("a click");
    let target = rig.post("/api/target", json!({
        "glaze": { "by": "mix", "dry_g": 1000, "water_g": 900 }, "coat": { "by": "dry", "dry_g_per_cm2": 0.06 },
        "form": { "by": "profile", "points_mm": [[0, 0], [0, 35], [90, 42]] }, "tolerance": { "percent": 4 }
    }));
    let says = format!("{:.1} g of slop", target["target_g"].as_f64().expect("grams"));
    browser.until("the daemon's grams", &format!(
        "return !!document.querySelector('.result')?.textContent.includes('{says}') && !document.querySelector('.amiss')"
    )).await;
    browser.until("drawn", "return !!document.querySelector('.sketch .cut')").await;
    browser
        .until(
            "jugs used before",
            "return document.querySelector('#jugs-known option')?.value === 'white jug'",
        )
        .await;

    put(&browser, "water_g", "0").await;
    browser.until("told at its own field", "
        const wrong = document.querySelector('[aria-invalid]');
        return wrong?.name === 'water_g' && document.getElementById(wrong.getAttribute('aria-describedby')).textContent.length > 10
          && !document.querySelector('.wrong')?.textContent").await;
    put(&browser, "water_g", "900").await;
    let chosen = "return document.querySelector('input[name=vessel]:checked')?.value";
    assert_eq!(browser.js(chosen).await, "jug", "as the settings say");
    for (name, text) in [
        ("name", "invented cups"),
        ("pourer", "left hand"),
        ("jug", "white jug"),
        ("glaze_name", "invented tenmoku"),
        ("bare_least", "290"),
    ] {
        put(&browser, name, text).await;
    }
    browser.until("this jug is a ladle", &format!("{chosen} === 'ladle'")).await;
    browser
        .client
        .find(Locator::Css("form > button"))
        .await
        .expect("a button")
        .click()
        .await
        .expect("a click");
    browser.until("one weight is no range", "return !!document.getElementById('amiss-bare_g')").await;
    put(&browser, "bare_greatest", "315.5").await;
    browser
        .client
        .find(Locator::Css("form > button"))
        .await
        .expect("a button")
        .click()
        .await
        .expect("a click");
    browser.until("the batch begins", "return !!document.querySelector('.hold')").await;
    let made = rig.get("/api/batches")[0].clone();
    assert_eq!((&made["jug"], &made["vessel"]), (&json!("white jug"), &json!("ladle")));
    assert_eq!((&made["glaze_name"], &made["bare_g"]), (&json!("invented tenmoku"), &json!([290.0, 315.5])));
    // The log keeps whole micrograms.
    let grams = |of: &Value| of["target_g"].as_f64().map(|g| (g * 1e6).round());
    assert_eq!(grams(&made), grams(&target));
    the_header_says_all(&browser, &rig.address).await;
    browser.client.clone().close().await.expect("closed");
}

async fn the_header_says_all(browser: &Browser, address: &str) {
    browser.client.goto(&format!("http://{address}/#pour")).await.expect("the page");
    browser
        .until("the name", "return document.querySelector('header h1')?.textContent === 'invented cups'")
        .await;
    let facts =
        browser.js("return [...document.querySelectorAll('.facts li')].map((li) => li.textContent)").await;
    let scale = &facts[2];
    assert_eq!(facts, json!(["left hand pours", "no sound", scale, "bucket measured just now"]));
    assert!(scale.as_str().is_some_and(|s| s.contains("scale")), "{facts}");
    let ages = browser
        .js("return import('/assets/pour.js').then(({ bucket }) =>
        [[null, false], [59, false], [60, false], [7300, false], [14399, false], [43200, true], [200000, true]].map((a) => bucket(...a)))")
        .await;
    assert_eq!(
        ages,
        json!([
            "grams by hand",
            "bucket measured just now",
            "bucket measured 1 min ago",
            "bucket measured 2 h ago",
            "bucket measured 3 h ago",
            "bucket measured 12 h ago: measure it again?",
            "bucket measured 2 days ago: measure it again?"
        ])
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_pour_shows_its_curve_by_keyboard_and_leaves_the_count_by_a_held_button_only() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(1);
    let heard = rig.listen();
    let plant = Plant::new(7, Person::typical(), ScaleModel::with_lag(0.15), Table::default());
    let mut potter = Potter::new(plant, Script::of(1, 29.0));
    let rig = tokio::task::spawn_blocking(move || {
        rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(30));
        rig
    })
    .await
    .expect("a pour");
    keep_sending(&rig);
    let pour = rig.get(&format!("/api/batches/{batch}/pours"))[0].clone();
    let curve = with_the_lift(&rig, pour["id"].as_str().expect("an id"));
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#log", rig.address)).await.expect("the page");
    let look = browser.client.wait().for_element(Locator::Css(".look")).await.expect("a row's button");
    browser.js("document.querySelector('.look').focus()").await;
    look.send_keys("\u{e007}").await.expect("the enter key");
    browser.until("the curve", "return !!document.querySelector('.curve .net')").await;
    let drawn = browser.js("
        const d = document.querySelector('.curve .net').getAttribute('d');
        const top = (c) => document.querySelector('.curve ' + c).getBBox();
        const band = top('.band'), net = top('.net');
        return { points: d.split(/[ML]/).length - 1, words: [...document.querySelectorAll('.curve .what')].map((t) => t.textContent),
          lift: !!document.querySelector('.curve .lift'), open: document.querySelector('.look').getAttribute('aria-expanded'),
          above: net.y <= band.y + band.height, told: document.querySelector('figcaption').textContent };").await;
    assert_eq!(drawn["points"], json!(curve["points"].as_array().expect("points").len()));
    assert_eq!((&drawn["words"], &drawn["open"]), (&json!(["stop", "lift"]), &json!("true")));
    let good = pour["net_g"].as_f64() >= pour["low_g"].as_f64();
    assert_eq!(drawn["above"], json!(good), "the line reaches the band as the weight does");
    for mark in curve["marks"].as_array().expect("marks") {
        let said = format!("after {:.1} s", mark["at_s"].as_f64().expect("seconds"));
        assert!(drawn["told"].as_str().is_some_and(|t| t.contains(&said)), "{said}: {drawn}");
    }
    out_by_a_held_button(&browser, &rig, &batch).await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

/// The curve once the bare pan was seen, and the lift with it.
fn with_the_lift(rig: &Rig, pour: &str) -> Value {
    let from = Instant::now();
    loop {
        let curve = rig.get(&format!("/api/pours/{pour}/curve"));
        if curve["marks"].as_array().is_some_and(|marks| marks.iter().any(|m| m["what"] == "lift")) {
            return curve;
        }
        assert!(from.elapsed() < Duration::from_secs(10), "no lift: {curve}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

async fn out_by_a_held_button(browser: &Browser, rig: &Rig, batch: &str) {
    let verdict = || rig.get(&format!("/api/batches/{batch}/pours"))[0]["verdict"].clone();
    let press = "document.querySelector('.look-row .hold').dispatchEvent(new PointerEvent('pointerdown'));";
    browser.js(press).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    browser
        .js("document.querySelector('.look-row .hold').dispatchEvent(new PointerEvent('pointerup'));")
        .await;
    tokio::time::sleep(Duration::from_millis(1000)).await;
    assert_ne!(verdict(), "void", "a short press leaves it in");
    browser.js(press).await;
    browser
        .until(
            "out of the count",
            "return document.querySelector('.verdict').textContent.includes('not counted')",
        )
        .await;
    assert_eq!(verdict(), "void");
    browser
        .until("said", "return document.querySelector('.said').textContent === 'Piece 1 is not counted.'")
        .await;
    // What is left is to pour its number again.
    let again = "[...document.querySelectorAll('.look-row .hold')].find((b) => b.textContent.includes('number 1 again'))";
    browser.js(&format!("{again}.dispatchEvent(new PointerEvent('pointerdown'));")).await;
    browser
        .until(
            "to be poured again",
            "return document.querySelector('.said').textContent.includes('gets its number')",
        )
        .await;
    rig.until("its number comes next", |now| now["piece"] == 1);
    browser.until("no way to do it twice", "return ![...document.querySelectorAll('.look-row .hold')].some((b) => b.textContent.includes('out of the count'))").await;
}

/// Presses and lets go after a moment, then holds.
async fn hold(browser: &Browser, word: &str) {
    let button =
        format!("[...document.querySelectorAll('.hold')].find((b) => b.textContent.includes('{word}'))");
    browser.until(word, &format!("return !!{button}")).await;
    let press = |event: &str| format!("{button}.dispatchEvent(new PointerEvent('{event}'));");
    browser.js(&press("pointerdown")).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    // While it is held it says so.
    browser
        .js("document.querySelector('[data-held=yes]').dispatchEvent(new PointerEvent('pointerup'));")
        .await;
    tokio::time::sleep(Duration::from_millis(1000)).await;
    let said =
        browser.js("return [...document.querySelectorAll('.said')].map((s) => s.textContent).join('')").await;
    assert_eq!(said, "", "a short press does nothing");
    browser.js(&press("pointerdown")).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_spare_weight_is_kept_and_a_number_left_out_by_held_buttons_only() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let pan = Pan::on(&rig);
    pan.still(30.0);
    rig.until("at rest", |now| now["scale"]["settled"] == true && now["scale"]["mass_g"] == 30.0);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    hold(&browser, "this is the spare weight").await;
    browser
        .until(
            "kept",
            "return [...document.querySelectorAll('.said')].some((s) => s.textContent === 'Kept: 30.0 g.')",
        )
        .await;
    browser.until("a way back", "return document.querySelectorAll('.hold').length === 6").await;
    pan.still(0.0);
    rig.begin_batch(3);
    browser.place("batch").await;
    hold(&browser, "leave out number 1").await;
    browser
        .until("left out", "return document.querySelector('.said').textContent === 'Number 1 is left out.'")
        .await;
    browser.until("the next", "return !![...document.querySelectorAll('.hold')].find((b) => b.textContent.includes('number 2'))").await;
    browser.place("pour").await;
    browser
        .until(
            "its place",
            "return document.querySelector('.say').textContent.includes('piece 1 of 3, number 2')",
        )
        .await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_dirty_pan_is_said_on_the_pour_place_until_it_is_wiped() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(2);
    let (shown, mut line) =
        (std::sync::Arc::new(std::sync::Mutex::new("0.8")), rig.line.try_clone().expect("the line"));
    let sent = shown.clone();
    std::thread::spawn(move || {
        for _ in 0..600 {
            let grams = *sent.lock().expect("the weight");
            let _ = line.write_all(format!("{grams} g\r\n").as_bytes());
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#pour", rig.address)).await.expect("the page");
    browser
        .until("said", "return document.querySelector('.wipe')?.textContent === 'Wipe the pan: 0.8 g on it'")
        .await;
    browser.until("spoken", "return document.getElementById('told').textContent === 'Wipe the pan'").await;
    *shown.lock().expect("the weight") = "0.0";
    browser
        .until("wiped", "return !!document.querySelector('.word') && !document.querySelector('.wipe')")
        .await;
    browser.client.clone().close().await.expect("closed");
}

/// The page as it stands on the place Pour: its face, its words, and how high the line about the sound is,
/// as a share of the shorter side.
const SOUND_SAID: &str = "
    const text = (css) => document.querySelector(css)?.textContent ?? null, mute = document.querySelector('.mute');
    return { face: document.documentElement.dataset.face, word: text('.word'), wrong: text('.do'), mute: text('.mute'),
      size: mute && parseFloat(getComputedStyle(mute).fontSize) / Math.min(innerWidth, innerHeight) };";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sound_that_dies_in_mid_pour_is_trouble_on_the_page_until_it_is_back() {
    let dir = tempfile::tempdir().expect("a folder");
    let ear = crate::ear::Ear::open(dir.path());
    let mut rig = crate::sound::serve(dir.path(), &ear.config);
    crate::sound::wait_for(&rig, "on", Duration::from_secs(5));
    crate::sound::warnings(&rig);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#pour", rig.address)).await.expect("the page");
    let mut line = rig.line.try_clone().expect("the line");
    let mut send = move |seconds: f64, grams: &dyn Fn(f64) -> f64| {
        for i in 0..(seconds * 10.0) as u32 {
            let t = f64::from(i) / 10.0;
            let live = if i % 3 == 1 { 0.1 } else { 0.0 };
            line.write_all(format!("{:.1} g\r\n", grams(t) + live).as_bytes()).expect("the line");
            std::thread::sleep(Duration::from_millis(100));
        }
    };
    send(1.5, &|_| 0.0);
    send(2.0, &|_| 300.0);
    browser.shows("ready").await;
    let said = browser.js(SOUND_SAID).await;
    assert_eq!(said["mute"], Value::Null, "it is heard: {said}");
    // Slow enough that the stop is far off.
    let pouring = std::thread::spawn(move || {
        send(8.0, &|t| 300.0 + 2.0 * t);
        send(6.0, &|_| 316.0);
    });
    browser.shows("pouring").await;
    ear.deafen(true);
    browser.shows("trouble").await;
    let said = browser.js(SOUND_SAID).await;
    assert_eq!(
        (&said["word"], &said["wrong"]),
        (&json!("Stop pouring"), &json!("The sound stopped")),
        "{said}"
    );
    assert_eq!(said["mute"], "No sound: watch this page", "{said}");
    assert!(said["size"].as_f64().is_some_and(|share| share >= 0.0599), "{said}");
    let spoken = browser.js("return document.getElementById('warned').textContent").await;
    assert_eq!(spoken, json!("Stop pouring. The sound stopped"));
    assert_ne!(rig.get("/api/now")["phase"], "idle", "in mid-pour");
    ear.deafen(false);
    browser
        .until(
            "over",
            "return document.documentElement.dataset.face !== 'trouble' && !document.querySelector('.mute')",
        )
        .await;
    pouring.join().expect("poured");
    rig.stop(Signal::TERM);
    browser.client.clone().close().await.expect("closed");
}

/// Keeps where each part lies: its middle from the left, as a share of the width. In one look with
/// the face: another one has another frame, and all lies elsewhere in it.
const WHERE: &str = "
    if (document.documentElement.dataset.face !== 'next' || document.querySelectorAll('.facts li').length !== 4) return false;
    const at = (css) => { const b = document.querySelector(css).getBoundingClientRect(); return (b.left + b.right) / 2 / innerWidth; };
    window.where = [at('header h1'), at('.facts li'), at('.facts li:last-child'), at('.piece'), at('.say'), at('nav a'), at('nav a:last-child')];
    return true;";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn for_the_left_hand_every_part_lies_on_the_other_side_also_after_loading_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    rig.begin_batch(2);
    // A scale that says nothing would soon be trouble, which is another face.
    let _pan = Pan::on(&rig);
    let browser = Browser::open(dir.path()).await;
    let pour = format!("http://{}/#pour", rig.address);
    browser.client.goto(&pour).await.expect("the page");
    browser.until("the field", WHERE).await;
    let right = browser.js("return window.where").await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    let choice =
        browser.client.wait().for_element(Locator::Css("input[type=checkbox]")).await.expect("the choice");
    choice.click().await.expect("a click");
    browser.client.goto(&pour).await.expect("the page");
    browser.client.refresh().await.expect("loaded again");
    browser.until("the field", WHERE).await;
    let left = browser.js("return window.where").await;
    let (right, left) = (right.as_array().expect("places"), left.as_array().expect("places"));
    for (i, (one, other)) in right.iter().zip(left).enumerate() {
        let sum = one.as_f64().expect("a share") + other.as_f64().expect("a share");
        assert!((sum - 1.0).abs() < 0.03, "part {i}: {one} and {other}");
    }
    browser.client.clone().close().await.expect("closed");
}

#[test]
fn a_scale_in_the_air_shows_its_signal_and_its_battery() {
    // The stand-in has a runtime of its own, which must not begin or end within another.
    let hall = crate::air_rig::Hall::live(&crate::air_rig::by_name());
    tokio::runtime::Runtime::new().expect("a runtime").block_on(async {
        let browser = Browser::open(hall.dir.path()).await;
        browser.client.goto(&format!("http://{}/#scale", hall.rig.address)).await.expect("the page");
        for shown in ["signal -55 dBm", "battery 80 %"] {
            let script = format!("return !!document.querySelector('.list')?.textContent.includes('{shown}')");
            browser.until(shown, &script).await;
        }
        assert_eq!(browser.complaints().await, Vec::<Value>::new());
        browser.client.clone().close().await.expect("closed");
    });
}
