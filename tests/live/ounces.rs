//! A studio that weighs in ounces and measures in inches: the page shows and takes them, HTTP and log stay in grams.
//! All of it is invented.
//!
//! `TAREBELL_VIEWS=folder` also writes pictures of the places, to be looked at.

use crate::pan::Pan;
use crate::rig::{Rig, terminal};
use crate::window::Browser;
use serde_json::json;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

fn in_ounces(dir: &Path) -> Rig {
    let line = terminal(dir);
    let settings = std::fs::OpenOptions::new().append(true).open(dir.join("tarebell.toml"));
    let text = "\n[show]\nweight = \"oz\"\nlength = \"inch\"\n";
    settings.expect("settings").write_all(text.as_bytes()).expect("settings");
    Rig::start_with(dir, line)
}

/// Weights in grams and sizes in millimetres that stand in the place, folded away or not; the working of a target, what a
/// table from elsewhere is read as and what a scale is set to send stay in grams.
async fn in_other_units(browser: &Browser) -> serde_json::Value {
    let script = r"const main = document.querySelector('main').cloneNode(true);
        main.querySelectorAll('.working, .keep, ol').forEach((part) => part.remove());
        main.querySelectorAll('td, th, p, li, dt, dd, label, button, option, span, h2, h3, summary, figcaption').forEach((part) => part.append(' \u00a6 '));
        const words = main.textContent.replace(/\s+/g, ' ');
        return words.match(/[^\u00a6]{0,40}(\b[0-9][0-9.,]* ?(g|mm)(?![\w\/])|, (g|mm)(?![\w\/])|\bgrams\b)[^\u00a6]{0,20}/gi) ?? []";
    browser.js(script).await
}

async fn text(browser: &Browser, css: &str) -> String {
    let found = browser.js(&format!("return document.querySelector('{css}')?.textContent ?? ''")).await;
    found.as_str().expect("text").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_batch_is_set_up_poured_and_looked_at_in_ounces_and_logged_in_grams() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = in_ounces(dir.path());
    let pan = Pan::on(&rig);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    browser.choose("by", "bucket").await;
    browser.choose("shape", "cylinder").await;
    for (name, typed) in [
        ("specific_gravity", "1.45"),
        ("powder_density_g_ml", "2.5"),
        ("diameter_mm", "3"),
        ("height_mm", "3.5"),
        ("keep_form", "invented mug"),
        ("dry_g_per_cm2", "0.06"),
        ("keep_coat", "invented coat"),
        ("grams", "0.06"),
        ("at_hand_g", "20"),
        ("name", "invented mugs"),
    ] {
        browser.fill(name, typed).await;
    }
    // By hand: 3 inch wide and 3.5 inch high are 258.419 cm2 of wall and floor; x 0.06 g/cm2 / 0.517241 = 29.977 g,
    // and that / 28.349523125 = 1.0574 oz; 20 oz are enough for all 12.
    browser.until("the ounces", "return document.querySelector('.result')?.textContent.startsWith('1.057 oz of slop, 0.997 to 1.117')").await;
    assert_eq!(text(&browser, "label:has(input[name=diameter_mm])").await, "Inside diameter, inch");
    assert!(text(&browser, ".working").await.contains("28.349523125 g in an ounce = 1.0574 oz"));
    browser.pictures("ounces-batch").await;
    browser.press("form > button").await;
    let now = rig.until("begun", |now| now["batch"].is_string());
    let id = now["batch"].as_str().expect("an id").to_owned();
    let target_g = now["target_g"].as_f64().expect("grams");
    assert!((target_g - 29.977).abs() < 0.001, "{now}");
    assert!(
        (now["high_g"].as_f64().expect("grams") - target_g - 0.06 * 28.349_523_125).abs() < 1e-6,
        "{now}"
    );
    assert!(now.get("shown").is_none(), "who does not ask is told grams alone: {now}");
    let form = &rig.get("/api/shelves")["forms"][0]["what"]["form"];
    assert!((form["diameter_mm"].as_f64().expect("mm") - 76.2).abs() < 1e-9, "{form}");
    browser.until("the target", "return document.querySelector('.place')?.textContent.includes('1.057 oz a piece, 0.997 to 1.117')").await;
    poured(&browser, &pan, &rig).await;
    looked_at(&browser, &id, &rig).await;
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    calibrated(&browser, &rig).await;
    on_paper(&browser, &rig, &id).await;
    for place in ["pour", "batch", "glaze", "scale", "log", "review"] {
        browser.client.goto(&format!("http://{}/#{place}", rig.address)).await.expect("the page");
        browser.until("the place", "return document.querySelector('main')?.textContent.length > 100").await;
        // What it asks for comes after it is shown.
        tokio::time::sleep(Duration::from_millis(700)).await;
        assert_eq!(in_other_units(&browser).await, json!([]), "{place}");
    }
    assert_eq!(browser.complaints().await, Vec::<serde_json::Value>::new());
    browser.client.clone().close().await.expect("closed");
}

/// One piece of 300 g.
async fn poured(browser: &Browser, pan: &Pan, rig: &Rig) {
    browser.place("pour").await;
    // Until the bare pan was seen at rest a piece might hold slop.
    tokio::time::sleep(Duration::from_secs(1)).await;
    pan.still(300.0);
    browser.shows("ready").await;
    assert_eq!(text(browser, ".do").await, "Piece 1: pour 1.057 oz");
    browser.pictures("ounces-ready").await;
    // No hand pours sooner.
    tokio::time::sleep(Duration::from_millis(400)).await;
    pan.runs(8.0, 330.0);
    browser.shows("pouring").await;
    let left = text(browser, ".number").await;
    assert!(left.starts_with("0.") || left.starts_with("1.0"), "ounces that are left: {left}");
    rig.until("weighed", |now| now["phase"] == "done");
    browser.until("its weight", "return document.querySelector('.number')?.textContent === '1.058oz'").await;
    browser.pictures("ounces-done").await;
    pan.still(0.0);
    rig.until("lifted", |now| now["phase"] == "idle");
}

async fn looked_at(browser: &Browser, id: &str, rig: &Rig) {
    let pour = &rig.get(&format!("/api/batches/{id}/pours"))[0];
    assert!((pour["net_g"].as_f64().expect("grams") - 30.0).abs() < 0.05, "{pour}");
    assert!((pour["off_g"].as_f64().expect("grams") - 0.023).abs() < 0.05, "{pour}");
    browser.place("log").await;
    browser
        .until("the row", "return document.querySelectorAll('td.figure')[0]?.textContent === '1.058'")
        .await;
    assert!(text(browser, ".place").await.contains("Good is from 0.997 to 1.117 oz"));
    assert!(text(browser, "thead").await.contains("Got, oz"));
    browser.pictures("ounces-log").await;
    browser.place("review").await;
    browser
        .until("the sentence", "return document.querySelector('.glance')?.textContent.includes('1.058 oz')")
        .await;
    browser.pictures("ounces-review").await;
    browser.place("scale").await;
    browser
        .until("the weight", "return document.querySelector('.weight')?.textContent.trim() === '0.000 oz'")
        .await;
    browser.pictures("ounces-scale").await;
    browser.place("glaze").await;
    browser.until("the inside", "return document.querySelector('.place')?.textContent.includes('straight, 3 inch wide and 3.5 inch high inside')").await;
    // A coat keeps the tolerance that it was used with.
    assert!(text(browser, ".place").await.contains("give or take 0.06 oz"));
    assert_eq!(
        rig.get("/api/shelves")["coats"][0]["what"]["tolerance"],
        json!({ "grams": 0.06 * 28.349_523_125 })
    );
    browser.pictures("ounces-glaze").await;
}

/// A scale that shows 2 percent too much, by masses of which one is marked in grams.
async fn calibrated(browser: &Browser, rig: &Rig) {
    let masses = json!([{ "nominal_g": "2 oz", "mpe_mg": 5 }, { "nominal_g": "200 g", "class": "M1" }]);
    let kept = rig.post("/api/masses", json!({ "masses": masses }))["masses"].clone();
    assert_eq!((&kept[0]["nominal_g"], &kept[0]["name"]), (&json!(56.699_046_25), &json!("2 oz")), "{kept}");
    assert_eq!((&kept[1]["nominal_g"], &kept[1]["name"]), (&json!(200.0), &json!("200 g")), "{kept}");
    let point = |g: f64| {
        let shown = (10.2 * g).round() / 10.0;
        json!({ "nominal_g": g, "mpe_mg": 5, "readings_g": [shown, shown, shown] })
    };
    let made = rig.post(
        "/api/calibrations",
        json!({ "division_g": 0.1, "points": [{ "nominal_g": 0, "readings_g": [0] }, point(100.0), point(200.0)],
            "corners": { "centre_g": 204.0, "readings_g": [204.0, 204.1, 204.0, 203.9] } }),
    );
    assert!(made.get("shown").is_none() && made["net_g"] == 29.0, "HTTP stays in grams: {made}");
    rig.until("gone by", |now| !now["scale"]["calibration"].is_null());
    // A page that is open asks for the masses once.
    browser.client.goto("about:blank").await.expect("another page");
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    browser
        .until("what it is good for", "return document.querySelector('.calibrate')?.textContent.includes('A pour of 1.023 oz is known to')")
        .await;
    browser.until("its plots", "return [...document.querySelectorAll('.calibrate img')].length === 2 && [...document.querySelectorAll('.calibrate img')].every((i) => i.complete && i.naturalWidth > 100)").await;
    let typed = "return ['grams_0', 'grams_1'].map((name) => document.querySelector(`.calibrate [name=${name}]`).value)";
    assert_eq!(browser.js(typed).await, json!(["2", "200 g"]), "as they were told");
    browser.pictures("ounces-calibrate").await;
    let id = made["id"].as_str().expect("an id");
    browser.client.goto(&format!("http://{}/calibrations/{id}", rig.address)).await.expect("the record");
    assert_eq!(in_other_units(browser).await, json!([]), "the record");
    let sheet = text(browser, "main").await;
    // 200 / 28.349523125 = 7.05479 and 0.1 / 28.349523125 = 0.0035, worked by hand.
    assert!(
        sheet.contains("7.05479") && sheet.contains("0.0035 oz") && sheet.contains("Load, oz"),
        "{sheet}"
    );
    browser.pictures("ounces-record").await;
    let plot = svg(rig, &format!("/api/calibrations/{id}/plots/error"));
    assert!(plot.contains("load, oz") && plot.contains("shown less load, oz"), "{plot}");
}

fn svg(rig: &Rig, path: &str) -> String {
    let mut reply = ureq::get(format!("http://{}{path}", rig.address)).call().expect("an image");
    reply.body_mut().read_to_string().expect("text")
}

async fn on_paper(browser: &Browser, rig: &Rig, id: &str) {
    browser.client.goto(&format!("http://{}/report/{id}", rig.address)).await.expect("the report");
    let sheet = text(browser, "body").await;
    assert!(sheet.contains("1.058 oz") && !sheet.contains(" g "), "{sheet}");
    browser.pictures("ounces-report").await;
    let plot = svg(rig, &format!("/api/batches/{id}/plots/run"));
    assert!(plot.contains("oz of slop") && plot.contains("1.06"), "{plot}");
}
