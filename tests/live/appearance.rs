//! The page at the sizes of a telephone, a tablet and a laptop: nothing runs out at the side, what is
//! touched is large enough, and the pour's digits can be read from afar.
//!
//! `TAREBELL_VIEWS=folder cargo test --test live appearance` also writes a picture of each, to be looked at.

use crate::faces::{Looker, STANDS, Tour};
use crate::window::{Browser, Look};
use serde_json::{Value, json};
use std::path::PathBuf;

/// Widths and heights in px.
const SIZES: [(u32, u32); 3] = [(360, 740), (768, 1024), (1440, 900)];

/// Faults of the layout as it stands, each with a word for where.
///
/// 48 px for what is touched and 22 vmin for the digits are our own rules: see DEVELOPERS, "The page".
const FAULTS: &str = "
    const faults = [], wide = document.documentElement.clientWidth;
    const say = (what, at) => faults.push(`${what}: ${at.tagName} ${at.className.baseVal ?? at.className} '${at.textContent.slice(0, 40)}'`);
    const seen = (at) => { const r = at.getBoundingClientRect(); return r.width > 1 && r.height > 1; };
    if (document.documentElement.scrollWidth > wide) faults.push('the page runs out at the side');
    if (document.documentElement.scrollHeight > innerHeight) faults.push('the page runs out below');
    for (const at of document.querySelectorAll('main, .place, .stage, .say, header, nav, .alarm')) {
      if (at.scrollWidth > at.clientWidth + 1 && !at.matches('.unseen')) say('runs out at the side', at);
    }
    for (const at of document.querySelectorAll('nav a')) {
      const r = at.getBoundingClientRect();
      if (r.bottom > innerHeight + 0.5 || r.right > wide + 0.5) say('out of sight', at);
    }
    for (const at of document.querySelectorAll('.say')) {
      if (at.scrollHeight > at.clientHeight + 1) say('runs out below', at);
    }
    const field = document.querySelector('.stage');
    for (const at of document.querySelectorAll('#page p, #page h1, #page h2, #page li, #page a, #page button, #page input')) {
      if (!seen(at) || at.closest('.marks')) continue;
      const r = at.getBoundingClientRect();
      if (r.left < -0.5 || r.right > wide + 0.5) say(`from ${r.left} to ${r.right} px`, at);
      const box = field?.getBoundingClientRect();
      if (field?.contains(at) && (r.top < box.top - 0.5 || r.bottom > box.bottom + 0.5)) say('outside of the field', at);
    }
    const say_ = document.querySelector('.say')?.getBoundingClientRect();
    for (const other of ['.stage > header', '.stage > .marks', '.stage > .piece']) {
      const r = document.querySelector(other)?.getBoundingClientRect();
      const clear = (a, b) => a.bottom <= b.top + 1 || b.bottom <= a.top + 1 || a.right <= b.left + 1 || b.right <= a.left + 1;
      if (r && say_ && !clear(r, say_)) faults.push(`${other} and .say lie on each other`);
    }
    for (const at of document.querySelectorAll('a, button, select, label.choice, input:not([type=radio], [type=checkbox])')) {
      const r = at.getBoundingClientRect();
      if (seen(at) && (r.height < 48 || r.width < 48)) say(`${r.width} by ${r.height} px to touch`, at);
    }
    const number = document.querySelector('.number');
    const size = number && parseFloat(getComputedStyle(number).fontSize) / Math.min(innerWidth, innerHeight);
    if (number && size < 0.22) say(`digits of ${size} of the shorter side`, number);
    for (const at of document.querySelectorAll('.do, .mute')) {
      const share = parseFloat(getComputedStyle(at).fontSize) / Math.min(innerWidth, innerHeight);
      if (share < 0.0599) say(`what to do in ${share} of the shorter side`, at);
    }
    for (const at of document.querySelectorAll('select')) {
      // The arrow takes about 20 px.
      const style = getComputedStyle(at), ink = document.createElement('canvas').getContext('2d');
      ink.font = `${style.fontSize} ${style.fontFamily}`;
      const wants = ink.measureText(at.selectedOptions[0].text).width + 20;
      if (wants > at.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight)) say(`its choice wants ${wants} px`, at);
    }
    return faults;";

/// The curve is drawn for the width there is, as is done ten times a second.
const CURVE_FITS: &str = "
    const drawn = document.querySelector('.curve')?.getAttribute('width');
    return !drawn || Math.abs(Number(drawn) - Math.min(780, document.documentElement.clientWidth - 40)) < 1;";

struct Views {
    folder: Option<PathBuf>,
    looks: usize,
    faults: Vec<String>,
}

impl Looker for Views {
    async fn look(&mut self, browser: &Browser, stand: &str) {
        for (width, height) in SIZES {
            browser.wear(Look::Light).await;
            browser.size(width, height).await;
            browser.until("a curve of this size", CURVE_FITS).await;
            let told = browser.js(FAULTS).await;
            let told = told.as_array().expect("a list");
            self.faults.extend(told.iter().map(|f| format!("{stand}, {width} px: {f}")));
            self.looks += 1;
            let Some(folder) = &self.folder else { continue };
            // The whole of a place that scrolls.
            let all = "const m = document.querySelector('main'); return Math.ceil(innerHeight + m.scrollHeight - m.clientHeight)";
            let whole = browser.js(all).await.as_u64().and_then(|h| u32::try_from(h).ok()).expect("a height");
            browser.size(width, whole).await;
            for look in Look::ALL {
                browser.wear(look).await;
                let picture = browser.client.screenshot().await.expect("a picture");
                let name = format!("{stand}-{width}-{}.png", look.word());
                std::fs::write(folder.join(name), picture).expect("a file in the folder");
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_runs_out_and_all_is_large_enough_on_a_telephone_a_tablet_and_a_laptop() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = std::env::var_os("TAREBELL_VIEWS").map(PathBuf::from);
    if let Some(folder) = &folder {
        std::fs::create_dir_all(folder).expect("a folder for the pictures");
    }
    let tour = Tour::begin(dir.path()).await;
    let mut views = Views { folder, looks: 0, faults: Vec::new() };
    tour.all(&mut views).await;
    assert_eq!(views.looks, STANDS * SIZES.len());
    assert!(views.faults.is_empty(), "{} found:\n{}", views.faults.len(), views.faults.join("\n"));
    tour.browser.client.clone().close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_planted_fault_of_the_layout_is_found() {
    let dir = tempfile::tempdir().expect("a folder");
    let tour = Tour::begin(dir.path()).await;
    let browser = &tour.browser;
    browser.size(360, 740).await;
    browser.shows("empty").await;
    browser.until("a weight", "return /^[0-9]/.test(document.querySelector('.number').textContent)").await;
    let at_the_number = [
        (".number { font-size: 20vmin !important; }", "of the shorter side"),
        (".number { width: 120vw; }", "at the side"),
        (".say { margin-top: -60vh; }", "lie on each other"),
        ("nav { grid-template-columns: repeat(4, 1fr) !important; }", "out of sight"),
        (".say { padding-top: 120vh; }", "outside of the field"),
        (
            ".button { min-height: 40px !important; padding: 0 !important; line-height: 1; font-size: 12px; }",
            "to touch",
        ),
    ];
    planted(browser, &at_the_number).await;
    tour.rig.begin_batch(2);
    browser.shows("next").await;
    planted(browser, &[(".do { font-size: 5vmin !important; }", "what to do in")]).await;
    planted(browser, &[(".mute { font-size: 5vmin !important; }", "what to do in")]).await;
    browser.place("log").await;
    browser.until("its choice", "return !!document.querySelector('select option')").await;
    planted(browser, &[("select { font-size: 3rem !important; }", "its choice wants")]).await;
    browser.client.clone().close().await.expect("closed");
}

/// Each rule makes a fault that is told with these words, where there was none.
async fn planted(browser: &Browser, rules: &[(&str, &str)]) {
    browser.js("document.adoptedStyleSheets = []").await;
    assert_eq!(browser.js(FAULTS).await, json!([]), "nothing is planted yet");
    for (rule, found) in rules {
        browser
            .js(&format!("window.planted = new CSSStyleSheet(); planted.replaceSync('{rule}'); document.adoptedStyleSheets = [planted];"))
            .await;
        let told = browser.js(FAULTS).await;
        let told: Vec<&str> = told.as_array().expect("a list").iter().filter_map(Value::as_str).collect();
        assert!(told.iter().any(|t| t.contains(found)), "{rule}: {told:?}");
    }
}
