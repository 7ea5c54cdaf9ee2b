//! A history that nobody wrote down: 200 pieces poured by a simulated hand at a simulated scale, weighed by the engine, kept in
//! a real log, and reviewed over HTTP, on the page, at the terminal and on paper.
//!
//! Hand, jug and scale are invented (the plant's presets); what the pieces truly got is the plant's own.

use crate::kept::{batch, pour, write_all};
use crate::rig::Rig;
use crate::window::{Browser, Look};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::engine::{Engine, Start};
use tarebell::pour::entry::{Entry, Output};
use tarebell::reading::Weighing;
use tarebell::reading::timing::Timing;
use tarebell::record::{BatchRecord, PourRecord};
use tarebell::scale::{Origin, ScaleFacts};
use tarebell::time::{Duration, Instant, WallTime};
use tarebell::units::Mass;

const PIECES: u32 = 200;
const TARGET_G: f64 = 29.0;

fn start(of: &BatchRecord) -> Start {
    let scale = ScaleFacts {
        id: "simulated".into(),
        step: Mass::saturating(0.1),
        noise: Mass::saturating(0.03),
        lag: Duration::from_millis(300),
        lag_origin: Origin::Assumed,
    };
    Start::fresh(of.aim(), scale)
}

/// All revisions of a session, and what each piece truly got, g.
fn poured(of: &BatchRecord, seed: u64) -> (Vec<Entry>, Vec<f64>) {
    let plant = Plant::new(seed, Person::typical(), ScaleModel::middling(), Table::default());
    let mut potter = Potter::new(plant, Script::of(PIECES, TARGET_G));
    let (mut engine, mut timing) = (Engine::new(start(of)), Timing::default());
    let (mut entries, mut t, mut end) = (Vec::new(), Instant::START, None);
    while end.is_none_or(|end| t < end) {
        assert!(t.seconds() < 40.0 * f64::from(PIECES), "stuck at {:?}", engine.snapshot(t));
        if potter.done() {
            end.get_or_insert(t + Duration::from_secs(2));
        }
        t = t + Duration::from_millis(2);
        if engine.poll_timeout().is_some_and(|due| due <= t) {
            engine.handle_timeout(t);
        }
        for shown in potter.advance(t) {
            let mass = Mass::saturating(shown.mass_g);
            engine.handle_weighing(Weighing {
                mass,
                arrived_at: t,
                taken_at: timing.handle_arrival(t, Some(mass)),
            });
        }
        while let Some(output) = engine.poll_output() {
            match output {
                Output::Cue(cue) => potter.handle_cue(cue.cue.word(), cue.due),
                Output::Entry(entry) => entries.push(entry),
                Output::Dropped { .. } | Output::Learned(_) | Output::VoidLast | Output::Jug { .. } => {}
            }
        }
    }
    (entries, potter.results().iter().map(|p| p.net_g).collect())
}

/// As the daemon keeps an entry.
fn record(of: &BatchRecord, e: &Entry) -> PourRecord {
    let at = of.created_at.unix_us() + (1e6 * e.started.seconds()) as i64;
    PourRecord {
        rev: e.rev,
        started_at: WallTime::from_unix_us(at),
        tare: e.tare,
        first_net: e.first_net,
        net: e.net,
        net_u: e.net_u,
        rolled: e.rolled,
        top_ups: e.top_ups,
        dry: e.net.map(|net| Mass::saturating(net.g() * 15.0 / 29.0)),
        verdict: e.verdict,
        settled: e.settled,
        guided: e.guided,
        seconds: e.seconds,
        contact: e.contact,
        flow_g_s: e.flow_g_s,
        stop_cue: e.stop_cue,
        marks: e.marks,
        scale: "simulated".to_owned(),
        ..pour(of, e.piece, 0.0)
    }
}

/// The history in a folder of its own, and what each piece truly got, g.
fn folder() -> (tempfile::TempDir, Vec<f64>) {
    let dir = tempfile::tempdir().expect("a folder");
    let of = BatchRecord {
        pieces: PIECES,
        ..batch("b-simulated", "Simulated cups, 200 pieces", "Invented celadon", 3)
    };
    let (entries, truth) = poured(&of, 20_261_126);
    let kept: Vec<PourRecord> = entries.iter().filter(|e| e.rev > 0).map(|e| record(&of, e)).collect();
    write_all(dir.path(), of, kept);
    (dir, truth)
}

#[test]
fn two_hundred_simulated_pieces_are_reviewed_as_they_truly_were() {
    let (dir, truth) = folder();
    let rig = Rig::start(dir.path());
    let told = rig.get("/api/batches/b-simulated/review");
    let (n, mean) = (truth.len() as f64, truth.iter().sum::<f64>() / truth.len() as f64);
    let sd = (truth.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let number = |path: &str| told.pointer(path).and_then(Value::as_f64).unwrap_or(f64::NAN);
    println!("{}", told["sentence"]);
    println!(
        "truly {mean:.3} g, {sd:.3} g; reviewed {:.3} g, {:.3} g; {}",
        number("/mean_g"),
        number("/sd_g"),
        told["capability"]
    );
    assert!(truth.len() == PIECES as usize && number("/n") >= 0.97 * n, "{told}");
    assert!(
        (number("/mean_g") - mean).abs() < 0.15 && (number("/sd_g") - sd).abs() < 0.15,
        "{mean} {sd} {told}"
    );
    let off = |p: &Value| {
        let piece = p["piece"].as_u64().and_then(|n| usize::try_from(n).ok()).expect("a number");
        (p["net_g"].as_f64().unwrap_or(f64::NAN) - truth[piece - 1]).abs()
    };
    let pours = rig.get("/api/batches/b-simulated/pours");
    let close = pours.as_array().expect("a list").iter().filter(|p| off(p) < 0.6).count();
    assert!(close as f64 > 0.95 * n, "{close} of {n} weights are what the pieces got");
    let done = Command::new(env!("CARGO_BIN_EXE_tarebell"))
        .args(["review", "b-simulated", "--data"])
        .arg(dir.path())
        .output()
        .expect("the binary");
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    println!("{said}");
    assert!(done.status.success() && said.contains(told["sentence"].as_str().expect("a sentence")), "{said}");
    assert!(!said.contains("NaN") && !told.to_string().contains("NaN"));
    printed(&rig, dir.path(), "report/b-simulated", "report-b-simulated");
}

#[test]
fn the_demos_own_batch_is_kept_in_a_folder_and_reviewed_there() {
    let dir = tempfile::tempdir().expect("a folder");
    let demo = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
        command.args(["demo", "--no-sound", "--pieces", "3", "--data"]).arg(dir.path());
        command.output().expect("the binary")
    };
    let done = demo();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success() && said.contains("tarebell review --data"), "{said}");
    let review = Command::new(env!("CARGO_BIN_EXE_tarebell"))
        .args(["review", "--json", "--data"])
        .arg(dir.path())
        .output()
        .expect("the binary");
    let told: Value = serde_json::from_slice(&review.stdout).expect("JSON");
    assert!(told["n"] == 3 && told["name"] == "invented cups (simulated)", "{told}");
    assert!(told["sentence"].as_str().is_some_and(|s| s.starts_with("3 pieces")), "{told}");
    let again = demo();
    let why = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(again.status.code() == Some(1) && why.contains("empty folder"), "{why}");
    let rig = Rig::start(dir.path());
    let shelves = rig.get("/api/shelves");
    for (shelf, name) in
        [("glazes", "invented celadon"), ("forms", "invented mug"), ("coats", "invented coat")]
    {
        assert_eq!(shelves[shelf][0]["name"], name, "{shelves}");
    }
    let id = told["batch"].as_str().expect("an id");
    printed(&rig, dir.path(), &format!("report/{id}"), "report-demo");
}

/// As a browser prints it; `TAREBELL_VIEWS` keeps the file.
pub(crate) fn printed(rig: &Rig, dir: &Path, path: &str, name: &str) {
    let pdf = dir.join(format!("{name}.pdf"));
    let done = Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", dir.join("printing").display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("http://{}/{path}", rig.address))
        .output()
        .expect("chromium");
    let bytes = std::fs::read(&pdf).unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&done.stderr)));
    assert!(bytes.starts_with(b"%PDF") && bytes.len() > 20_000, "{} bytes", bytes.len());
    if let Some(folder) = std::env::var_os("TAREBELL_VIEWS").map(PathBuf::from) {
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::write(folder.join(format!("{name}.pdf")), bytes).expect("a file in the folder");
    }
}

/// Types into a field as a hand does.
async fn types(browser: &Browser, at: &str, text: &str) {
    let field = browser.client.find(fantoccini::Locator::Css(at)).await.expect(at);
    field.send_keys(text).await.expect("typed");
}

async fn pictured(browser: &Browser, name: &str) {
    let Some(folder) = std::env::var_os("TAREBELL_VIEWS").map(PathBuf::from) else { return };
    std::fs::create_dir_all(&folder).expect("a folder for the pictures");
    for width in [360, 1440] {
        browser.size(width, 900).await;
        let all = "const m = document.querySelector('main'); return Math.ceil(innerHeight + m.scrollHeight - m.clientHeight)";
        let whole = browser.js(all).await.as_u64().and_then(|h| u32::try_from(h).ok()).expect("a height");
        browser.size(width, whole.min(6000)).await;
        for look in [Look::Light, Look::Dark] {
            browser.wear(look).await;
            tokio::time::sleep(std::time::Duration::from_millis(300)).await;
            let picture = browser.client.screenshot().await.expect("a picture");
            std::fs::write(folder.join(format!("{name}-{width}-{}.png", look.word())), picture)
                .expect("a file");
        }
    }
    browser.size(1440, 900).await;
    browser.wear(Look::Light).await;
}

const OPEN: &str = "document.querySelectorAll('.review details').forEach((d) => { d.open = true; })";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_history_is_looked_at_compared_and_found_by_what_is_typed_and_a_table_is_brought_in() {
    let (dir, _) = folder();
    let rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#review", rig.address)).await.expect("the page");
    let board = "return document.querySelectorAll('.board li').length >= 195 && [...document.querySelectorAll('img.plot')].every((i) => i.complete && i.naturalWidth > 100)";
    browser.until("the board", board).await;
    pictured(&browser, "simulated-200").await;
    browser.js(OPEN).await;
    brought_in(&browser, dir.path()).await;
    found(&browser).await;
    compared(&browser).await;
    assert_eq!(
        browser.js("return document.querySelector('.review').textContent.includes('NaN')").await,
        json!(false)
    );
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

/// A table with a head of its own is looked at, a column that was guessed wrongly is agreed on, and it is in the log then.
async fn brought_in(browser: &Browser, dir: &Path) {
    let table = dir.join("older.csv");
    let text = "Loading;Day;Weight;Wanted;Least;Most;Note\n\
        Crème cups;31.01.2026;29,1;29;27,5;30,5;Été\n\
        Crème cups;31.01.2026;25,0;29;27,5;30,5;thin one\n\
        Crème cups;31.01.2026;lots;29;27,5;30,5;\n\
        Crème cups;31.01.2026;28,8;29;27,5;30,5;\n";
    std::fs::write(&table, text).expect("a table");
    let field = fantoccini::Locator::Css("input[name=csv]");
    let file = browser.client.wait().for_element(field).await.expect("a field for the file");
    file.send_keys(&table.to_string_lossy()).await.expect("chosen");
    browser.until("it is looked at", "return /[0-9]/.test(document.querySelector('.review input[name=csv]').closest('details').querySelector('p[role=status]:not(.said)')?.textContent ?? '')").await;
    // Each column by its head, whatever was guessed.
    let agree = "const at = document.querySelector('input[name=csv]').closest('details'); const labels = [...at.querySelectorAll('.fields label')].filter((l) => l.querySelector('select')); return labels.map((l) => [l.firstChild.textContent.trim(), l.querySelector('select').value]);";
    println!("{}", browser.js(agree).await);
    for (nth, head) in [
        ("grams", "Weight"),
        ("target", "Wanted"),
        ("low", "Least"),
        ("high", "Most"),
        ("batch", "Loading"),
        ("date", "Day"),
        ("label", "Note"),
    ] {
        let choose = format!(
            "const at = document.querySelector('input[name=csv]').closest('details').querySelector('select[name=column_{nth}]'); at.value = '{head}'; at.dispatchEvent(new Event('change'));"
        );
        browser.js(&choose).await;
        let set = format!("return document.querySelector('select[name=column_{nth}]').value === '{head}'");
        browser.until("agreed", &set).await;
        tokio::time::sleep(std::time::Duration::from_millis(150)).await;
    }
    let rows = "const at = document.querySelector('input[name=csv]').closest('details'); return [at.querySelectorAll('tbody tr').length, at.querySelector('ul.list')?.textContent ?? '']";
    browser.until("its lines", "return document.querySelector('input[name=csv]').closest('details').querySelectorAll('tbody tr').length === 3").await;
    let told = browser.js(rows).await.to_string();
    assert!(told.contains("lots") || told.contains('4'), "the line that can't be read is named: {told}");
    pictured(browser, "brought-in-looked").await;
    browser.js("document.querySelector('input[name=csv]').closest('details').querySelector('.acts button').click()").await;
    browser.until("brought in", "return /3/.test(document.querySelector('input[name=csv]').closest('details').querySelector('.said').textContent)").await;
}

/// Typed in capitals, found in small letters; what is found opens its batch.
async fn found(browser: &Browser) {
    types(browser, ".review form input[name=words]", "CRÈME").await;
    browser.js("document.querySelector('.review form select[name=verdict]').value = 'short'").await;
    browser.js("document.querySelector('.review form').requestSubmit()").await;
    browser.until("one is found", "const rows = [...document.querySelector('.review form').closest('details').querySelectorAll('tbody tr')]; return rows.length === 1 && rows[0].textContent.includes('Crème cups') && rows[0].querySelector('input[name=label]').value === 'thin one'").await;
    pictured(browser, "found").await;
    browser.js("document.querySelector('.review form input[name=words]').value = ''; document.querySelector('.review form select[name=verdict]').value = ''").await;
    types(browser, ".review form input[name=glaze]", "Invented celadon").await;
    browser.js("document.querySelector('.review form').requestSubmit()").await;
    browser.until("many are found", "return document.querySelector('.review form').closest('details').querySelectorAll('tbody tr').length >= 195").await;
}

async fn compared(browser: &Browser) {
    browser.js("document.querySelector('input[name=compare_by][value=glaze]').click()").await;
    browser.until("by glaze", "const at = document.querySelector('input[name=compare_by]').closest('details'); return at.querySelectorAll('tbody tr').length === 2 && /Invented celadon/.test(at.querySelector('tbody').textContent)").await;
    let n = "const at = document.querySelector('input[name=compare_by]').closest('details'); return [...at.querySelectorAll('tbody tr')].map((r) => Number(r.querySelector('td').textContent)).sort((a, b) => a - b)";
    let counted = browser.js(n).await;
    assert!(counted[0] == 3 && counted[1].as_u64().is_some_and(|n| n >= 195), "{counted}");
    pictured(browser, "compared").await;
}
