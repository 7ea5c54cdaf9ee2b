//! A studio that weighs in ounces and measures in inches: the page shows and takes them, HTTP and log stay in grams.
//! All of it is invented.
//!
//! `TAREBELL_VIEWS=folder` also writes pictures of the places, to be looked at.

use crate::pan::Pan;
use crate::rig::{Rig, terminal};
use crate::window::{Browser, Look};
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

/// Pictures of what is shown now, where they are wanted.
async fn pictures(browser: &Browser, name: &str) {
    let Some(folder) = std::env::var_os("TAREBELL_VIEWS") else { return };
    let folder = std::path::PathBuf::from(folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    for (width, height) in [(360, 740), (1440, 900)] {
        browser.size(width, height).await;
        for look in [Look::Light, Look::Dark] {
            browser.wear(look).await;
            let png = browser.client.screenshot().await.expect("a picture");
            let file = folder.join(format!("ounces-{name}-{width}-{}.png", look.word()));
            std::fs::write(file, png).expect("a file");
        }
    }
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
    assert!(text(&browser, ".working").await.contains("28.349523125 g in an ounce = 1.0575 oz"));
    pictures(&browser, "batch").await;
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
    pictures(browser, "ready").await;
    // No hand pours sooner.
    tokio::time::sleep(Duration::from_millis(400)).await;
    pan.runs(8.0, 330.0);
    browser.shows("pouring").await;
    let left = text(browser, ".number").await;
    assert!(left.starts_with("0.") || left.starts_with("1.0"), "ounces that are left: {left}");
    rig.until("weighed", |now| now["phase"] == "done");
    browser.until("its weight", "return document.querySelector('.number')?.textContent === '1.058oz'").await;
    pictures(browser, "done").await;
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
    pictures(browser, "log").await;
    browser.place("review").await;
    browser
        .until("the sentence", "return document.querySelector('.glance')?.textContent.includes('1.058 oz')")
        .await;
    pictures(browser, "review").await;
    browser.place("scale").await;
    browser
        .until("the weight", "return document.querySelector('.weight')?.textContent.trim() === '0.000 oz'")
        .await;
    pictures(browser, "scale").await;
    browser.place("glaze").await;
    browser.until("the inside", "return document.querySelector('.place')?.textContent.includes('straight, 3 inch wide and 3.5 inch high inside')").await;
    // A coat keeps the tolerance that it was used with.
    assert!(text(browser, ".place").await.contains("give or take 0.06 oz"));
    assert_eq!(
        rig.get("/api/shelves")["coats"][0]["what"]["tolerance"],
        json!({ "grams": 0.06 * 28.349_523_125 })
    );
    pictures(browser, "glaze").await;
}
