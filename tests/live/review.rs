//! The review over HTTP, on the page and at the terminal, beside a running daemon, on an invented log.

use crate::kept::{batch, board, noon, pour, scattered, write, write_all};
use crate::page::raw;
use crate::rig::Rig;
use crate::window::{Browser, Look};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use tarebell::record::BatchRecord;
use tarebell::time::WallTime;

/// The invented board, and 200 pieces of another glaze.
fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let long = batch("b-long", "Invented bowls, 200 pieces", "Invented celadon", 3);
    write(dir.path(), &[(long, scattered(200, 29.1, 0.45, 11)), board()]);
    dir
}

fn tarebell(dir: &Path, words: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    let done = command.args(words).arg("--data").arg(dir).output().expect("the binary");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (done.status.code(), text(done.stdout), text(done.stderr))
}

#[test]
fn a_batch_is_reviewed_alike_over_http_and_at_the_terminal_beside_the_daemon() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let told = rig.get("/api/batches/b-board/review");
    assert_eq!((&told["n"], &told["name"]), (&json!(24), &json!("Invented cups, top shelf")));
    let said = told["sentence"].as_str().expect("a sentence");
    assert!(
        said.starts_with("24 pieces, 29.0 g on average") && said.contains("look at 7 and 19, thin"),
        "{said}"
    );
    let (code, out, _) = tarebell(dir.path(), &["review", "b-board", "--json"]);
    assert_eq!(code, Some(0));
    assert_eq!(serde_json::from_str::<Value>(&out).expect("JSON"), told);
    let (code, out, _) = tarebell(dir.path(), &["review"]);
    assert!(code == Some(0) && out.contains(said) && out.contains("Pp, Ppk"), "the newest one: {out}");
    let (code, _, err) = tarebell(dir.path(), &["review", "no such batch"]);
    assert!(code == Some(1) && err.contains("Invented cups"), "{err}");
    let (code, out, _) = tarebell(dir.path(), &["export"]);
    assert_eq!((code, out.lines().count()), (Some(0), 1 + 224));
    assert!(out.contains("b-board,\"Invented cups, top shelf\",Invented tenmoku,7,"), "{}", &out[..400]);
    let (_, out, _) = tarebell(dir.path(), &["export", "--json", "--batch", "b-long"]);
    let all: Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(all["batches"][0]["pours"].as_array().map(Vec::len), Some(200));
    assert_eq!(all["batches"][0]["batch"]["solids_fraction"], json!(0.517241379310), "15 parts in 29");
    let usual = rig.get("/api/history/rules");
    assert_eq!(usual["rules"], json!(["beyond-3-sigma", "eight-one-side"]));
    let (status, refused) = rig.try_post("/api/history/rules", json!({ "rules": ["seven"] }));
    assert_eq!((status, &refused["field"]), (422, &json!("rules")));
    rig.post("/api/history/rules", json!({ "rules": ["nine-one-side", "six-trend"] }));
    let chosen = rig.get("/api/batches/b-board/review");
    assert_eq!(chosen, rig.get("/api/batches/b-board/review?rules=six-trend,nine-one-side"));
    let (_, out, _) = tarebell(dir.path(), &["review", "b-board", "--json"]);
    assert_eq!(serde_json::from_str::<Value>(&out).expect("JSON"), chosen, "at the terminal as on the page");
    rig.post("/api/history/rules", usual);
    let latest = rig.get("/api/batches?latest=1");
    assert_eq!((latest.as_array().map(Vec::len), &latest[0]["id"]), (Some(1), &json!("b-board")));
    let values: Vec<f64> = rig
        .get("/api/batches/b-board/pours")
        .as_array()
        .expect("pours")
        .iter()
        .filter_map(|p| p["net_g"].as_f64())
        .collect();
    let same = rig.post(
        "/api/review",
        json!({ "values_g": values, "target_g": 29.0, "low_g": 27.55, "high_g": 30.45 }),
    );
    for field in
        ["mean_g", "sd_g", "individuals", "moving_range", "capability", "drift", "share_within", "sentence"]
    {
        assert_eq!(same[field], told[field], "{field}");
    }
}

#[test]
fn what_cannot_be_reviewed_or_drawn_is_refused_by_name() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let good = json!({ "values_g": [29.0, 29.2], "target_g": 29.0, "low_g": 28.0, "high_g": 30.0 });
    let refused = |key: &str, value: Value| {
        let mut body = good.clone();
        body[key] = value;
        let (status, problem) = rig.try_post("/api/review", body);
        (status, problem["field"].as_str().unwrap_or("none").to_owned())
    };
    for (key, value, field) in [
        ("values_g", json!([29.0, "x"]), "values_g[1]"),
        ("values_g", json!([1e300]), "values_g[0]"),
        ("values_g", Value::Null, "values_g"),
        ("target_g", json!("29"), "target_g"),
        ("low_g", json!(29.5), "low_g"),
        ("high_g", json!(28.5), "high_g"),
        ("rules", json!(["seven"]), "rules"),
        ("hue", json!(1), "hue"),
    ] {
        assert_eq!(refused(key, value.clone()), (422, field.to_owned()), "{key} {value}");
    }
    let empty = rig.post("/api/review", json!({ "values_g": [], "target_g": 29, "low_g": 28, "high_g": 30 }));
    assert_eq!(
        (&empty["n"], &empty["mean_g"], &empty["drift"]["p_value"]),
        (&json!(0), &Value::Null, &Value::Null)
    );
    let status = |path: &str| {
        raw(
            &rig.address,
            &format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", rig.address),
        )
        .0
    };
    for (path, wanted) in [
        ("/api/batches/none/review", 404),
        ("/api/batches/b-board/review?rules=seven", 422),
        ("/api/batches/b-board/plots/none", 404),
        ("/api/batches/b-board/plots/run?palette=pink", 422),
        ("/api/batches/b-board/plots/run?hue=1", 422),
    ] {
        assert_eq!(status(path), wanted, "{path}");
    }
    for plot in rig.get("/api/batches/b-board/review")["plots"].as_array().expect("plots") {
        let path = format!(
            "/api/batches/b-board/plots/{}?palette=print&size=narrow",
            plot["plot"].as_str().expect("a word")
        );
        let (code, reply) = raw(
            &rig.address,
            &format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", rig.address),
        );
        assert!(
            code == 200 && reply.contains("image/svg+xml") && reply.contains("</svg>"),
            "{path}: {reply}"
        );
    }
}

async fn looked_at(browser: &Browser, stand: &str) {
    let Some(folder) = std::env::var_os("TAREBELL_VIEWS").map(PathBuf::from) else { return };
    std::fs::create_dir_all(&folder).expect("a folder for the pictures");
    for (width, height) in [(360, 740), (1440, 900)] {
        browser.size(width, height).await;
        browser.wear(Look::Light).await;
        let all = "const m = document.querySelector('main'); return Math.ceil(innerHeight + m.scrollHeight - m.clientHeight)";
        let whole = browser.js(all).await.as_u64().and_then(|h| u32::try_from(h).ok()).expect("a height");
        browser.size(width, whole).await;
        for look in [Look::Light, Look::Dark] {
            browser.wear(look).await;
            browser.until("pictures", PICTURES).await;
            let picture = browser.client.screenshot().await.expect("a picture");
            std::fs::write(folder.join(format!("{stand}-{width}-{}.png", look.word())), picture)
                .expect("a file");
        }
    }
    browser.size(1440, 900).await;
}

/// All images have come, and are images.
const PICTURES: &str = "const all = [...document.querySelectorAll('img.plot')]; return all.length > 0 && all.every((i) => i.complete && i.naturalWidth > 100)";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_says_it_in_a_sentence_marks_the_board_and_folds_the_rest() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#review", rig.address)).await.expect("the page");
    browser
        .until("a sentence", "return document.querySelector('.glance')?.textContent.startsWith('24 pieces')")
        .await;
    browser.until("the run chart", PICTURES).await;
    let marked = browser.js("return [...document.querySelectorAll('.board li[data-look]')].map((l) => l.querySelector('span').textContent)").await;
    assert_eq!(marked, json!(["7", "19"]));
    assert_eq!(browser.js("return document.querySelectorAll('img.plot').length").await, json!(1), "folded");
    looked_at(&browser, "review-board").await;
    browser.js("document.querySelectorAll('.board button')[6].click()").await;
    browser
        .until(
            "what is kept of piece 7",
            "return document.querySelector('.look-row')?.textContent.includes('No readings')",
        )
        .await;
    browser.js("document.querySelectorAll('.board button')[6].click()").await;
    browser.until("closed again", "return !document.querySelector('.look-row')").await;
    browser.js("document.querySelectorAll('.review details').forEach((d) => { d.open = true; })").await;
    // The eight more of this batch, and that of the months: one month is too little for it.
    browser.until("all plots", "return document.querySelectorAll('img.plot').length === 9").await;
    browser.until("drawn", PICTURES).await;
    assert_eq!(
        browser.js("return document.querySelector('.review').textContent.includes('NaN')").await,
        json!(false)
    );
    browser.js("document.querySelector('input[name=rule][value=six-trend]').click()").await;
    browser
        .until(
            "drawn with the rule",
            "return [...document.querySelectorAll('.told-by img.plot')].every((i) => i.src.includes('six-trend'))",
        )
        .await;
    looked_at(&browser, "review-board-open").await;
    let chosen = "const s = document.querySelector('select'); s.value = 'b-long'; s.dispatchEvent(new Event('change'));";
    browser.js(chosen).await;
    browser.until("200 pieces", "return document.querySelectorAll('.board li').length === 200").await;
    browser.until("drawn again", PICTURES).await;
    looked_at(&browser, "review-200").await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}

/// As a browser prints it. `TAREBELL_VIEWS` keeps the file.
#[test]
fn the_report_is_printed_on_paper_with_its_sentence_its_board_and_its_plots() {
    let dir = folder();
    let rig = Rig::start(dir.path());
    for batch in ["b-board", "b-long"] {
        let pdf = dir.path().join(format!("{batch}.pdf"));
        let printed = Command::new("chromium")
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"])
            .arg(format!("--user-data-dir={}", dir.path().join("browser").display()))
            .arg(format!("--print-to-pdf={}", pdf.display()))
            .arg(format!("http://{}/report/{batch}", rig.address))
            .output()
            .expect("chromium");
        let bytes =
            std::fs::read(&pdf).unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&printed.stderr)));
        assert!(bytes.starts_with(b"%PDF") && bytes.len() > 20_000, "{} bytes", bytes.len());
        if let Some(folder) = std::env::var_os("TAREBELL_VIEWS").map(PathBuf::from) {
            std::fs::write(folder.join(format!("report-{batch}.pdf")), bytes).expect("a file in the folder");
        }
    }
    let told = raw(
        &rig.address,
        &format!("GET /report/b-board HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", rig.address),
    );
    for wanted in ["look at 7 and 19, thin", "<li class=\"look\">", "/plots/run?palette=print", "leach test"]
    {
        assert!(told.0 == 200 && told.1.contains(wanted), "{wanted}: {}", told.1);
    }
    assert!(!told.1.contains("NaN") && !told.1.contains("<script"));
}

/// Two boards of one glaze and one form, invented; the pieces of the second had been fired before.
#[test]
fn fired_ware_is_never_put_together_with_bisque_and_no_dry_coat_is_told_of_it() {
    let dir = tempfile::tempdir().expect("a folder");
    let of = |id: &str, day, fired| BatchRecord {
        form: Some("Invented mug".to_owned()),
        fired,
        ..batch(id, "Invented mugs", "Invented celadon", day)
    };
    let (bare, fired) = (of("b-bare", 3, false), of("b-fired", 4, true));
    write(dir.path(), &[(bare, scattered(24, 29.0, 0.3, 1)), (fired, scattered(24, 29.2, 0.9, 2))]);
    let rig = Rig::start(dir.path());
    for (by, name) in [("glaze", "Invented celadon"), ("form", "Invented mug"), ("time", "2026-01")] {
        let told = rig.get(&format!("/api/trend?by={by}"));
        let row = |n: usize| (told["groups"][n]["name"].clone(), told["groups"][n]["n"].clone());
        assert_eq!(row(0), (json!(name), json!(24)), "{told}");
        assert_eq!(row(1), (json!(format!("{name}, fired already")), json!(24)), "{told}");
    }
    let plots = |id: &str| rig.get(&format!("/api/batches/{id}/review"))["plots"].to_string();
    assert!(plots("b-bare").contains("\"dry\"") && !plots("b-fired").contains("\"dry\""));
    let dry = |id: &str| {
        let pours = rig.get(&format!("/api/batches/{id}/pours"));
        let pours = pours.as_array().expect("pours").clone();
        pours.iter().filter(|p| !p["dry_g"].is_null()).count()
    };
    assert_eq!((dry("b-bare"), dry("b-fired")), (24, 0));
    let get = |path: &str| {
        let head = format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", rig.address);
        raw(&rig.address, &head).1
    };
    for path in ["/api/batches/b-fired/pours.csv", "/api/history.csv"] {
        let mut reply = ureq::get(format!("http://{}{path}", rig.address)).call().expect("the table");
        let table = reply.body_mut().read_to_string().expect("text");
        let rows: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
        let at = |head: &str| rows[0].iter().position(|h| *h == head).expect("a column");
        let of_fired = rows[1..].iter().filter(|row| row[at("fired")] == "true").map(|row| row[at("dry_g")]);
        assert_eq!(of_fired.collect::<Vec<_>>(), [""; 24], "{path}");
    }
    let said = "the ware was fired already: what was poured in is not its coat, so no dry coat is told";
    let (_, terminal, _) = tarebell(dir.path(), &["review", "b-fired"]);
    for text in [&get("/report/b-fired"), &terminal, &rig.get("/api/batches/b-fired/review").to_string()] {
        assert_eq!(text.matches(said).count(), 1, "{text}");
    }
    assert!(!get("/report/b-fired").contains("/plots/dry") && !get("/report/b-bare").contains(said));
}

#[test]
fn a_clock_that_jumped_changes_no_number_and_each_piece_is_found_by_the_day_it_was_given() {
    let dir = tempfile::tempdir().expect("a folder");
    let of = batch("b-jump", "Invented cups, clock jumped", "Invented ash", 100);
    let values = scattered(24, 29.0, 0.4, 11);
    let mut pours: Vec<_> = values.iter().zip(1..).map(|(g, piece)| pour(&of, piece, *g)).collect();
    // Back by ten years after the eighth piece, and ahead by thirty after the sixteenth.
    let (back, ahead) = (noon(100 - 3650), noon(100 + 10950));
    for (n, pour) in pours.iter_mut().enumerate().skip(8) {
        pour.started_at = WallTime::from_unix_us(if n < 16 { back } else { ahead } + n as i64);
    }
    write_all(dir.path(), of, pours);
    let rig = Rig::start(dir.path());
    let told = rig.get("/api/batches/b-jump/review");
    let same = rig.post(
        "/api/review",
        json!({ "values_g": values, "target_g": 29.0, "low_g": 27.55, "high_g": 30.45 }),
    );
    for field in ["n", "mean_g", "sd_g", "individuals", "moving_range", "drift", "sentence"] {
        assert_eq!(same[field], told[field], "{field}: pieces stand in their order, whatever the clock says");
    }
    assert!(
        told["warnings"]
            .to_string()
            .contains("piece 9 was ready before the one before it by its time: was the clock set back?"),
        "{}",
        told["warnings"]
    );
    let found = |query: &str| rig.get(&format!("/api/pours?{query}")).as_array().map(Vec::len);
    assert_eq!((found("before=2020-01-01"), found("from=2050-01-01")), (Some(8), Some(8)));
    assert_eq!(found("from=2026-01-01&before=2027-01-01"), Some(8));
    let months = rig.get("/api/trend");
    assert_eq!(months["groups"].as_array().map(Vec::len), Some(1), "by when the batch was made: {months}");
    let sheet = raw(
        &rig.address,
        &format!("GET /report/b-jump HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", rig.address),
    );
    for text in [told.to_string(), months.to_string(), sheet.1] {
        assert!(!text.contains("NaN"), "{text}");
    }
}
