//! A pour's curve and its way out of the count, over HTTP, with weights sent line by line.

use crate::rig::Rig;
use serde_json::{Value, json};
use std::time::Duration;

/// A piece of 300 g with 20 g of slop in it, weighed and still on the pan; gives its record.
fn short_piece(rig: &mut Rig, batch: &str) -> Value {
    rig.send(1.5, |_| 0.0);
    rig.send(2.0, |_| 300.0);
    rig.send(2.5, |t| 300.0 + 8.0 * t);
    rig.send(3.5, |_| 320.0);
    let pours = rig.get(&format!("/api/batches/{batch}/pours"));
    assert_eq!((&pours[0]["verdict"], &pours[0]["rev"]), (&json!("short"), &json!(1)), "{pours}");
    pours[0].clone()
}

#[test]
fn a_piece_taken_out_of_the_count_stays_out_whatever_is_poured_into_it_later() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    let heard = rig.listen();
    let pour = short_piece(&mut rig, &batch);
    let path = format!("/api/pours/{}/void", pour["id"].as_str().expect("an id"));
    let out = rig.post(&path, json!({}));
    assert_eq!((&out["verdict"], &out["rev"]), (&json!("void"), &json!(2)));
    assert_eq!((&out["id"], &out["net_g"]), (&pour["id"], &pour["net_g"]), "what it got is kept");
    assert_eq!(rig.post(&path, json!({}))["rev"], 2, "asked twice, done once");

    rig.send(1.2, |t| 320.0 + 8.0 * t);
    rig.send(3.5, |_| 329.6);
    rig.send(1.5, |_| 0.0);
    let listed = rig.get(&format!("/api/batches/{batch}/pours"));
    assert_eq!(listed.as_array().map(Vec::len), Some(1), "{listed}");
    assert_eq!(listed[0]["verdict"], "void", "{listed}");
    assert!(listed[0]["net_g"].as_f64().is_some_and(|net| (net - 29.6).abs() < 0.2), "{listed}");
    let told: Vec<Value> = heard.try_iter().map(|h| h.message).filter(|m| m["kind"] == "pour").collect();
    let verdicts: Vec<&Value> = told.iter().map(|m| &m["verdict"]).collect();
    assert_eq!(
        verdicts,
        ["short", "void", "void", "void"],
        "the stream tells each revision, that of the lift too"
    );

    rig.post(&format!("/api/batches/{batch}/end"), json!({}));
    assert_eq!(rig.try_post(&path, json!({})).0, 409, "the log of an ended batch stays as it is");
}

#[test]
fn a_void_that_was_refused_leaves_the_piece_in_the_count_whatever_is_poured_into_it_later() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    let heard = rig.listen();
    let pour = short_piece(&mut rig, &batch);
    let path = format!("/api/pours/{}/void", pour["id"].as_str().expect("an id"));
    let beside = rusqlite::Connection::open(dir.path().join("tarebell.db")).expect("the log");
    beside.busy_timeout(Duration::from_secs(5)).expect("a limit");
    beside.execute_batch("BEGIN IMMEDIATE").expect("the lock");
    let (status, problem) = rig.try_post(&path, json!({}));
    assert_eq!(status, 503, "{problem}");
    assert!(problem["detail"].as_str().is_some_and(|d| d.contains("nothing was done")), "{problem}");
    beside.execute_batch("ROLLBACK").expect("let go");

    rig.send(1.2, |t| 320.0 + 8.0 * t);
    rig.send(3.5, |_| 329.6);
    rig.send(1.5, |_| 0.0);
    let listed = rig.get(&format!("/api/batches/{batch}/pours"));
    assert_eq!((&listed[0]["verdict"], &listed[0]["rev"]), (&json!("good"), &json!(3)), "{listed}");
    let told: Vec<Value> = heard.try_iter().map(|h| h.message).filter(|m| m["kind"] == "pour").collect();
    let verdicts: Vec<&Value> = told.iter().map(|m| &m["verdict"]).collect();
    assert_eq!(verdicts, ["short", "good", "good"]);
}

#[test]
fn the_curve_has_the_weights_that_were_sent_and_the_moments_that_were_told() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(2);
    let pour = short_piece(&mut rig, &batch);
    rig.send(1.5, |_| 0.0);
    let path = format!("/api/pours/{}/curve", pour["id"].as_str().expect("an id"));
    let curve = rig.get(&path);
    assert_eq!((&curve["target_g"], &curve["low_g"]), (&pour["target_g"], &pour["low_g"]));
    let points = curve["points"].as_array().expect("points");
    let net = |point: &Value| point[1].as_f64().expect("grams");
    assert!(points.len() > 50, "8 s at ten readings a second: {}", points.len());
    assert!(net(&points[0]).abs() < 0.15 && (net(&points[points.len() - 1]) - 20.0).abs() < 0.15, "{curve}");
    let marks: Vec<(&str, f64)> = curve["marks"]
        .as_array()
        .expect("marks")
        .iter()
        .map(|m| (m["what"].as_str().expect("a word"), m["at_s"].as_f64().expect("seconds")))
        .collect();
    let words: Vec<&str> = marks.iter().map(|m| m.0).collect();
    assert_eq!(words, ["weighed", "lift"], "the stream ended by itself: no stop");
    assert!((marks[0].1 - pour["seconds"].as_f64().expect("seconds")).abs() < 0.01, "{marks:?} {pour}");
    let (status, unknown) = rig.try_post("/api/pours/none/void", json!({}));
    assert_eq!(status, 404, "{unknown}");
    let missing = ureq::get(format!("http://{}/api/pours/none/curve", rig.address))
        .config()
        .http_status_as_error(false)
        .build()
        .call()
        .expect("an answer");
    assert_eq!(missing.status(), 404);
    assert_eq!(missing.headers()["content-type"], "application/problem+json");
}

#[test]
fn what_is_left_on_the_bare_pan_is_told_until_it_is_wiped_off_and_only_in_a_batch() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.send(1.5, |_| 0.8);
    assert_eq!(rig.get("/api/now")["pan_g"], Value::Null, "no batch, nothing to say");
    rig.begin_batch(2);
    rig.send(1.5, |_| 0.8);
    assert!(rig.get("/api/now")["pan_g"].as_f64().is_some_and(|g| (g - 0.8).abs() < 0.05));
    rig.send(1.5, |_| 0.1);
    assert_eq!(rig.get("/api/now")["pan_g"], Value::Null);
    rig.send(1.5, |_| 300.8);
    assert_eq!(rig.get("/api/now")["pan_g"], Value::Null, "a piece is no dirt");
}
