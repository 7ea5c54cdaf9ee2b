//! The log as a whole over HTTP: brought in after a look, found, compared, labelled, copied, put back. All is invented.

use crate::kept::{batch, scattered, write};
use crate::rig::Rig;
use crate::window::Browser;
use fantoccini::Locator;
use serde_json::{Value, json};

/// Six months of an invented hand that gets steadier.
fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let month = |m: u64| {
        let glaze = if m.is_multiple_of(2) { "Invented ash" } else { "Invented blue" };
        let made = batch(&format!("b{m}"), &format!("Invented cups {m}"), glaze, 31 * m as i64);
        (made, scattered(24, 29.0, 0.9 - 0.1 * m as f64, m + 1))
    };
    write(dir.path(), &(0..6).map(month).collect::<Vec<_>>());
    dir
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_log_shows_the_latest_hundred_batches_and_the_older_ones_when_they_are_wanted() {
    let dir = tempfile::tempdir().expect("a folder");
    let one = |n: i64| {
        (
            batch(&format!("b{n}"), &format!("Invented cups {n}"), "Invented ash", n),
            vec![29.0 + 0.01 * n as f64],
        )
    };
    write(dir.path(), &(0..103).map(one).collect::<Vec<_>>());
    let rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#log", rig.address)).await.expect("the page");
    let listed = |n: u32| format!("return document.querySelectorAll('.place option').length === {n}");
    browser.until("the latest hundred", &listed(100)).await;
    let last = "return [...document.querySelectorAll('.place option')].at(-1).textContent";
    assert!(browser.js(last).await.as_str().is_some_and(|t| t.ends_with("Invented cups 3")));
    // One that can't be answered is said, and can be asked again.
    browser.js("window.known = window.fetch; window.fetch = () => Promise.reject(new Error('an invented reason'));").await;
    browser.press(".place > button.plain").await;
    browser
        .until(
            "why not",
            "return document.querySelector('.place .wrong').textContent.includes('an invented reason')",
        )
        .await;
    let button = "return document.querySelectorAll('.place > button.plain').length";
    assert_eq!(browser.js(button).await, json!(1), "it can be pressed again");
    assert_eq!(browser.js(&listed(100)).await, json!(true), "what was listed stays");
    browser.js("window.fetch = window.known;").await;
    browser.press(".place > button.plain").await;
    browser.until("all of them", &listed(103)).await;
    let said = "return document.querySelector('.place .wrong').textContent";
    assert_eq!(browser.js(said).await, json!(""), "and the reason is gone");
    // The button that had the focus is gone: it is at the list, not lost.
    assert_eq!(browser.js("return document.activeElement.tagName").await, json!("SELECT"));
    assert!(browser.js(last).await.as_str().is_some_and(|t| t.ends_with("Invented cups 0")));
    assert_eq!(browser.js(button).await, json!(0), "there are no more");
    let choose = "const at = document.querySelector('.place select'); at.value = 'b0'; at.dispatchEvent(new Event('change'));";
    browser.js(choose).await;
    browser.until("its piece", "return document.querySelector('td.figure')?.textContent === '29.0'").await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

const TABLE: &str = "Day;Batch;Glaze;Grams;Target;Low;High\n31.1.2024;Old shelf;Invented ash;29,4;29;27,5;30,5\n\
                     31.1.2024;Old shelf;Invented ash;26,9;29;27,5;30,5\nsoon;Old shelf;Invented ash;29;29;27,5;30,5\n";

#[test]
fn a_table_is_looked_at_first_brought_in_when_agreed_and_known_again() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let looked = rig.post("/api/history/look", json!({ "csv": TABLE }));
    assert_eq!((&looked["lines"], &looked["known"], &looked["faulty"]), (&json!(2), &json!(0), &json!(1)));
    assert_eq!(
        (&looked["mapping"]["comma"], &looked["mapping"]["dates"]),
        (&json!(true), &json!("day-first"))
    );
    assert_eq!(looked["faults"][0], json!({ "line": 4, "says": "date: 'soon' is no day, day-first" }));
    let batches = |rig: &Rig| rig.get("/api/batches").as_array().map_or(0, Vec::len);
    assert_eq!(batches(&rig), 6, "looking keeps nothing");
    assert_eq!(rig.try_post("/api/history/import", json!({ "csv": TABLE })).1["field"], json!("mapping"));
    let agreed = json!({ "csv": TABLE, "mapping": looked["mapping"] });
    let (status, refused) = rig.try_post("/api/history/import", agreed.clone());
    assert!(status == 422 && refused["detail"].as_str().is_some_and(|d| d.contains("line 4")), "{refused}");
    assert_eq!(batches(&rig), 6, "one line that can't be read, and nothing is kept");
    let mut without = agreed;
    without["without_faults"] = json!(true);
    assert_eq!(rig.post("/api/history/import", without.clone())["done"], json!(2));
    let again = rig.post("/api/history/look", json!({ "csv": TABLE }));
    assert_eq!((&again["lines"], &again["known"]), (&json!(2), &json!(2)), "known again");
    assert_eq!(rig.post("/api/history/import", without)["done"], json!(0));
    let found = rig.get("/api/pours?words=old%20shelf");
    assert_eq!(found.as_array().map(Vec::len), Some(2), "{found}");
    let id = found[0]["batch"].as_str().expect("an id");
    assert_eq!(rig.get(&format!("/api/batches/{id}/review"))["n"], json!(2));
    // Its own table is read without being told how, and all of it is known.
    let mut reply = ureq::get(format!("http://{}/api/history.csv", rig.address)).call().expect("the table");
    let own = reply.body_mut().read_to_string().expect("text");
    assert_eq!(own.lines().count(), 1 + 6 * 24 + 2);
    let looked = rig.post("/api/history/look", json!({ "csv": own }));
    assert_eq!((&looked["lines"], &looked["known"]), (&json!(146), &json!(146)), "{looked}");
    assert_eq!(looked["rows"][0]["line"], json!(2));
    let agreed = json!({ "csv": own, "mapping": looked["mapping"] });
    assert_eq!(rig.post("/api/history/import", agreed)["done"], json!(0), "nothing doubles");
    let whole = rig.get("/api/history.json");
    assert_eq!(whole["batches"].as_array().map(Vec::len), Some(7));
    assert_eq!(whole["batches"][1]["batch"]["solids_fraction"], json!(0.517241379310), "15 parts in 29");
    for path in ["/api/history.json", "/api/history.csv", "/api/batches/b1/pours.csv"] {
        let mut reply = ureq::get(format!("http://{}{path}", rig.address)).call().expect("the log");
        let text = reply.body_mut().read_to_string().expect("text");
        let numbers = text.split(|c: char| !c.is_ascii_digit() && c != '.');
        let longest = numbers.max_by_key(|number| number.len()).expect("numbers");
        assert!((10..=14).contains(&longest.len()), "{path}: {longest}");
    }
    // A new log takes all of it, each piece in its batch.
    let fresh = tempfile::tempdir().expect("a folder");
    let other = Rig::start(fresh.path());
    assert_eq!(
        other.post("/api/history/import", json!({ "csv": own, "mapping": looked["mapping"] }))["done"],
        json!(146)
    );
    assert_eq!(other.get(&format!("/api/batches/{id}/review"))["n"], json!(2));
    assert_eq!(other.post("/api/history/look", json!({ "csv": own }))["known"], json!(146));
}

#[test]
fn pieces_are_found_labelled_and_compared_and_nicknames_can_go() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let found = rig.get("/api/pours?glaze=Invented%20blue&from=2026-04-01");
    assert_eq!(found.as_array().map(Vec::len), Some(48), "b3 and b5");
    let id = found[0]["id"].as_str().expect("an id");
    let labelled = rig.post(&format!("/api/pours/{id}/label"), json!({ "label": "cracked foot" }));
    assert_eq!((&labelled["label"], &labelled["rev"]), (&json!("cracked foot"), &json!(2)));
    assert_eq!(rig.get("/api/pours?words=Cracked")[0]["id"], json!(id));
    let (status, refused) = rig.try_post(&format!("/api/pours/{id}/label"), json!({}));
    assert_eq!((status, &refused["field"]), (422, &json!("label")), "left out, nothing is erased: {refused}");
    assert_eq!(rig.get("/api/pours?words=Cracked")[0]["id"], json!(id));
    assert_eq!(rig.post(&format!("/api/pours/{id}/label"), json!({ "label": null }))["label"], Value::Null);
    rig.post(&format!("/api/pours/{id}/label"), json!({ "label": "cracked foot" }));
    assert_eq!(rig.try_post("/api/pours/none/label", json!({ "label": "x" })).0, 404);
    let time = rig.get("/api/trend");
    assert!(time["sentence"].as_str().is_some_and(|s| s.starts_with("Getting steadier")), "{time}");
    assert_eq!(time["groups"].as_array().map(Vec::len), Some(6));
    assert_eq!(rig.get("/api/trend?by=glaze")["groups"][0]["n"], json!(72));
    let (status, _) = rig.try_post("/api/history/by-pourer", json!({ "on": 1 }));
    assert_eq!(status, 422);
    let refused = ureq::get(format!("http://{}/api/trend?by=pourer", rig.address))
        .config()
        .http_status_as_error(false)
        .build()
        .call();
    assert_eq!(refused.expect("an answer").status(), 409, "off until it is switched on");
    rig.post("/api/history/by-pourer", json!({ "on": true }));
    let coat = json!({ "by": "direct", "slop_g": 29 });
    let own = rig.post(
        "/api/batches",
        json!({ "name": "Invented tiles", "pieces": 1, "coat": coat, "pourer": "Ada" }),
    );
    let own = own["id"].as_str().expect("an id").to_owned();
    rig.post(&format!("/api/batches/{own}/begin"), json!({}));
    assert_eq!(rig.try_post("/api/history/forget", json!({ "pourer": "Ada" })).0, 409, "she pours now");
    rig.post(&format!("/api/batches/{own}/end"), json!({}));
    assert_eq!(rig.post("/api/history/forget", json!({ "pourer": "Ada" }))["done"], json!(1));
    assert_eq!(rig.get("/api/trend?by=pourer")["groups"][0]["name"], json!("invented hand"));
    assert_eq!(rig.post("/api/history/forget", json!({ "pourer": "invented hand" }))["done"], json!(6));
    let named = rig.get("/api/trend?by=pourer")["groups"].to_string() + &rig.get("/api/batches").to_string();
    assert!(!named.contains("invented hand"), "{named}");
    assert_eq!(rig.get("/api/batches/b0/review")["n"], json!(24), "what was poured stays");
    let mut rig = rig;
    let _ = rig.stop(rustix::process::Signal::TERM);
    let bytes = std::fs::read(dir.path().join("tarebell.db")).expect("the log");
    let holds = |name: &[u8]| bytes.windows(name.len()).any(|part| part == name);
    assert!(holds(b"Invented tiles") && !holds(b"invented hand") && !holds(b"Ada"), "nor in what is freed");
}

#[test]
fn the_log_is_copied_and_put_back_while_the_daemon_runs_but_not_under_a_batch() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let made = rig.post("/api/backups", json!({}));
    let name = made["name"].as_str().expect("a name").to_owned();
    assert_eq!(rig.get("/api/backups")[0]["name"], json!(name));
    let mut reply = ureq::get(format!("http://{}/api/backups/{name}", rig.address)).call().expect("the file");
    let bytes = reply.body_mut().read_to_vec().expect("bytes");
    assert!(
        bytes.starts_with(b"SQLite format 3") && bytes.len() as u64 == made["bytes"].as_u64().expect("bytes")
    );
    let id = rig.begin_batch(2);
    let at = format!("/api/backups/{name}/restore");
    let (status, refused) = rig.try_post(&at, json!({}));
    assert!(
        status == 409 && refused["detail"].as_str().is_some_and(|d| d.contains("under way")),
        "{refused}"
    );
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    let points = json!([
        { "nominal_g": 0, "readings_g": [0] },
        { "nominal_g": 400, "class": "M1", "readings_g": [400.4] }
    ]);
    rig.post("/api/calibrations", json!({ "division_g": 0.1, "points": points }));
    let by = rig.until("it goes by it", |now| !now["scale"]["calibration"].is_null());
    let before = rig.post(&at, json!({}));
    assert_ne!(before["name"], json!(name), "in the same second, and yet a file of its own");
    assert_eq!(
        rig.get("/api/scale")["calibration"],
        Value::Null,
        "what is known is of the log that is there"
    );
    assert_eq!(rig.get("/api/batches").as_array().map(Vec::len), Some(6), "as it was");
    let back = format!("/api/backups/{}/restore", before["name"].as_str().expect("a name"));
    rig.post(&back, json!({}));
    assert_eq!(rig.get("/api/scale")["calibration"], by["scale"]["calibration"]);
    assert_eq!(rig.get("/api/backups").as_array().map(Vec::len), Some(3), "none is written over");
    assert_eq!(rig.get("/api/batches").as_array().map(Vec::len), Some(7), "and back again");
    assert_eq!(rig.try_post("/api/backups/..%2Ftarebell.db/restore", json!({})).0, 404);
    std::fs::write(dir.path().join("backups/broken.db"), b"no log at all").expect("a file");
    let (status, refused) = rig.try_post("/api/backups/broken.db/restore", json!({}));
    assert_eq!(status, 409, "{refused}");
    assert_eq!(rig.get("/api/batches").as_array().map(Vec::len), Some(7));
    // A copy that an older program made is brought up to date; the file itself stays as it was.
    let older = include_bytes!("../it/fixtures/log-layout-4.db");
    let file = dir.path().join("backups/older.db");
    std::fs::write(&file, older).expect("a file");
    rig.post("/api/backups/older.db/restore", json!({}));
    assert_eq!(rig.get("/api/batches")[0]["id"], json!("b-fixture"));
    assert_eq!(std::fs::read(&file).expect("the file"), older);
    let names = std::fs::read_dir(dir.path().join("backups")).expect("a folder");
    let left =
        names.filter_map(Result::ok).filter(|f| f.file_name().to_string_lossy().starts_with('.')).count();
    assert_eq!(left, 0, "the copy that was brought up to date is taken away");
    let Value::Object(now) = rig.get("/api/now") else { panic!("a snapshot") };
    assert!(now.contains_key("scale"));
}

/// Opens what is folded away under this heading.
async fn unfolded(browser: &Browser, head: &str) {
    let found =
        format!("[...document.querySelectorAll('.review summary')].find((s) => s.textContent === '{head}')");
    browser.until(head, &format!("return !!{found}")).await;
    browser.js(&format!("{found}.click()")).await;
}

async fn counts(browser: &Browser, what: &str, css: &str, n: usize) {
    browser.until(what, &format!("return document.querySelectorAll('{css}').length === {n}")).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_table_is_brought_in_found_and_compared_by_the_forms_of_the_page() {
    let dir = folder();
    let table = dir.path().join("invented.csv");
    std::fs::write(&table, TABLE).expect("a table");
    let rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#review", rig.address)).await.expect("the page");
    unfolded(&browser, "Bring in, hand out, copy").await;
    brought_in(&browser, &rig, &table).await;
    unfolded(&browser, "Find pieces").await;
    found(&browser, &rig).await;
    unfolded(&browser, "Batches compared").await;
    compared(&browser).await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

async fn brought_in(browser: &Browser, rig: &Rig, table: &std::path::Path) {
    let file = browser.client.wait().for_element(Locator::Css("input[name=csv]")).await.expect("a field");
    file.send_keys(table.to_str().expect("a path")).await.expect("a file is chosen");
    counts(browser, "two lines and what is wrong with the third", ".keep .wide tbody tr", 2).await;
    let faults = "return document.querySelector('.keep ul.list').textContent";
    assert!(browser.js(faults).await.as_str().is_some_and(|t| t.contains('4') && t.contains("soon")));
    let first =
        "return [...document.querySelectorAll('.keep .wide tbody tr td.figure')].map((td) => td.textContent)";
    assert_eq!(browser.js(first).await, json!(["29.4", "29.0", "26.9", "29.0"]));
    let form =
        "return document.querySelector('.keep select[name=column_form]')?.selectedOptions[0].textContent";
    assert_eq!(browser.js(form).await, json!("not there"), "a column for the form is asked for");
    // Another column is taken for the grams, and back: nothing is kept meanwhile.
    for (head, grams) in [("Target", "29.0"), ("Grams", "29.4")] {
        let at = Locator::Css("select[name=column_grams]");
        let select = browser.client.find(at).await.expect("a list of columns");
        select.select_by_value(head).await.expect("a column");
        let shows =
            format!("return document.querySelector('.keep .wide td.figure')?.textContent === '{grams}'");
        browser.until(head, &shows).await;
    }
    assert_eq!(rig.get("/api/batches").as_array().map(Vec::len), Some(6), "looking keeps nothing");
    browser.press(".keep .acts > button:not(.plain)").await;
    browser.until("it is said", "return /2/.test(document.querySelector('.keep .said').textContent)").await;
    let batches = rig.get("/api/batches");
    assert_eq!(batches.as_array().map(Vec::len), Some(7), "{batches}");
}

async fn found(browser: &Browser, rig: &Rig) {
    let look = async || browser.press(".review form > button").await;
    browser.fill("words", "OLD shelf").await;
    look().await;
    counts(browser, "both", ".review form ~ .wide tbody tr", 2).await;
    let verdict = browser.client.find(Locator::Css("select[name=verdict]")).await.expect("a list");
    verdict.select_by_value("short").await.expect("a verdict");
    look().await;
    counts(browser, "the thin one", ".review form ~ .wide tbody tr", 1).await;
    browser.fill("label", "cracked foot").await;
    let label = browser.client.find(Locator::Css("input[name=label]")).await.expect("a field");
    label.send_keys("\u{e007}").await.expect("enter");
    let from = std::time::Instant::now();
    while rig.get("/api/pours?words=CRACKED").as_array().is_none_or(|all| all.len() != 1) {
        assert!(from.elapsed() < std::time::Duration::from_secs(15), "the label never came");
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    // A day and a glaze in another case; the batch of that day has 24 pieces.
    let clear = "const f = document.querySelector('.review form'); f.reset();";
    browser.js(clear).await;
    browser.fill("glaze", "invented ASH").await;
    let day = "const d = document.querySelector('input[name=to]'); d.value = '2024-02-01';";
    browser.js(day).await;
    look().await;
    counts(browser, "those of the old shelf", ".review form ~ .wide tbody tr", 2).await;
    browser.fill("words", "no such words").await;
    look().await;
    counts(browser, "none", ".review form ~ .wide tbody tr", 0).await;
}

async fn compared(browser: &Browser) {
    browser.until("a sentence", "return !!document.querySelector('.review .result')?.textContent").await;
    browser.choose("compare_by", "glaze").await;
    let heads = "return [...document.querySelectorAll('.review details .wide tbody th')].map((th) => th.textContent).join()";
    let shows = |names: &str| format!("{heads} === '{names}'");
    browser.until("two glazes", &shows("Invented ash,Invented blue")).await;
    assert_eq!(browser.js("return document.querySelectorAll('[name=compare_by]').length").await, json!(4));
    browser.press("input[name=by_pourer]").await;
    browser.until("who pours", "return document.querySelectorAll('[name=compare_by]').length === 5").await;
    browser.until("by name", &shows("invented hand,not told")).await;
}
