//! The contract over HTTP and WebSocket, from outside.

use crate::rig::Rig;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;

/// One request as raw text, so that every header is ours; gives status and whole reply.
pub(crate) fn raw(address: &str, request: &str) -> (u16, String) {
    let mut stream = TcpStream::connect(address).expect("it listens");
    // A daemon that refuses early may close before it has read all: the reply counts.
    let _ = stream.write_all(request.as_bytes());
    let mut reply = Vec::new();
    let _ = stream.read_to_end(&mut reply);
    let reply = String::from_utf8(reply).expect("text");
    let status = reply.split(' ').nth(1).and_then(|s| s.parse().ok()).expect("a status");
    (status, reply)
}

pub(crate) fn post(rig: &Rig, path: &str, headers: &str, body: &str) -> (u16, Value) {
    let (address, length) = (&rig.address, body.len());
    let request = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: {length}\r\n{headers}\r\n{body}"
    );
    let (status, reply) = raw(address, &request);
    let body = reply.split_once("\r\n\r\n").map_or("", |(_, body)| body);
    (status, serde_json::from_str(body).unwrap_or(Value::Null))
}

pub(crate) const JSON: &str = "Content-Type: application/json\r\n";

#[test]
fn only_our_own_host_and_origin_and_json_are_taken() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let foreign_host = "GET /api/now HTTP/1.1\r\nHost: glaze.example\r\nConnection: close\r\n\r\n";
    assert_eq!(raw(&rig.address, foreign_host).0, 421);
    let origin = format!("{JSON}Origin: http://glaze.example\r\n");
    assert_eq!(post(&rig, "/api/target", &origin, "{}").0, 403);
    let upgrade = format!(
        "GET /api/live HTTP/1.1\r\nHost: {}\r\nOrigin: http://glaze.example\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n",
        rig.address
    );
    let mut stream = TcpStream::connect(&rig.address).expect("it listens");
    stream.write_all(upgrade.as_bytes()).expect("sent");
    let mut head = [0; 12];
    stream.read_exact(&mut head).expect("a reply");
    assert_eq!(&head, b"HTTP/1.1 403");
    assert_eq!(post(&rig, "/api/target", "Content-Type: text/plain\r\n", "{}").0, 415);
}

#[test]
fn a_refusal_is_a_problem_that_names_the_field() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let wrong = [
        (json!({ "coat": { "by": "direct", "slop_g": -1 }, "tolerance": { "percent": 5 } }), "coat.slop_g"),
        (
            json!({ "coat": { "by": "direct", "slop_g": 29 }, "tolerance": { "percent": 0 } }),
            "tolerance.percent",
        ),
        (json!({ "coat": { "by": "direct", "slop_g": 29 }, "tolerance": { "percent": 5 }, "hue": 1 }), "hue"),
        (
            json!({
                "glaze": { "by": "density", "specific_gravity": 1.0, "powder_density_g_ml": 2.5 },
                "form": { "by": "area", "area_cm2": 250 }, "coat": { "by": "dry", "dry_g_per_cm2": 0.06 },
                "tolerance": { "percent": 5 }
            }),
            "glaze.specific_gravity",
        ),
    ];
    for (request, field) in wrong {
        let (status, problem) = post(&rig, "/api/target", JSON, &request.to_string());
        assert_eq!((status, problem["field"].as_str()), (422, Some(field)), "{problem}");
        assert!(problem["detail"].as_str().is_some_and(|d| d.len() > 8), "{problem}");
    }
    assert_eq!(post(&rig, "/api/target", JSON, "{ broken").0, 400);
    assert_eq!(post(&rig, "/api/batches/none/begin", "", "").0, 404);
    assert_eq!(post(&rig, "/nothing", "", "").0, 404);
}

#[test]
fn the_worked_example_comes_back_over_http() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    // Derived: 250 cm2 x 0.060 g/cm2 = 15 g dry; x = 2.5 (1.45 - 1) / (1.45 (2.5 - 1)) = 15/29; 29 g of slop, 20 mL.
    let reply = rig.post(
        "/api/target",
        json!({
            "glaze": { "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.5 },
            "form": { "by": "area", "area_cm2": 250 }, "coat": { "by": "dry", "dry_g_per_cm2": 0.06 },
            "tolerance": { "percent": 5 }
        }),
    );
    assert!((reply["target_g"].as_f64().expect("a number") - 29.0).abs() < 1e-9, "{reply}");
    let volume =
        reply["target_g"].as_f64().expect("target") / reply["slop_density_g_ml"].as_f64().expect("density");
    assert!((volume - 20.0).abs() < 1e-9, "{volume} mL");
}

#[test]
fn a_batch_begins_once_and_another_must_wait() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let first = rig.begin_batch(2);
    assert_eq!(post(&rig, &format!("/api/batches/{first}/begin"), "", "").0, 200);
    let body = json!({ "name": "b", "pieces": 1, "coat": { "by": "direct", "slop_g": 20 }, "tolerance": { "grams": 1 } });
    let second = rig.post("/api/batches", body)["id"].as_str().expect("an id").to_owned();
    assert_eq!(post(&rig, &format!("/api/batches/{second}/begin"), "", "").0, 409);
    assert_eq!(post(&rig, &format!("/api/batches/{first}/end"), "", "").0, 200);
    assert_eq!(post(&rig, &format!("/api/batches/{second}/begin"), "", "").0, 200);
}

#[test]
fn limits_finer_than_the_scales_step_are_warned_of_when_the_batch_begins() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let body = json!({ "coat": { "by": "direct", "slop_g": 20 }, "tolerance": { "grams": 0.01 } });
    let id = rig.post("/api/batches", body)["id"].as_str().expect("an id").to_owned();
    let begun = rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    let warned = begun["warnings"].to_string();
    let words = ["counts in 0.1 g", "19.99 to 20.01 g", "need steps of 0.01 g or finer", "no stop"];
    assert!(words.iter().all(|w| warned.contains(w)), "{begun}");
    // Shown for as long as the batch is under way: hearing no `ready` needs a reason.
    for _ in 0..8 {
        (&rig.line).write_all(b"300.0 g\n").expect("it takes a line");
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    let trouble = rig.get("/api/now")["scale"]["trouble"].to_string();
    assert!(trouble.contains("need steps of 0.01 g"), "{trouble}");
}

#[test]
fn a_snapshot_never_shows_a_cue_whose_message_was_not_sent_first_and_numbers_rise() {
    use tarebell::plant::{
        Person, Plant, ScaleModel, Table,
        session::{Potter, Script},
    };
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.begin_batch(1);
    let (watched, heard) = (rig.listen(), rig.listen());
    let mut potter = Potter::new(
        Plant::new(5, Person::typical(), ScaleModel::with_lag(0.15), Table::default()),
        Script::of(1, 29.0),
    );
    rig.pour(&mut potter, &heard, std::time::Instant::now() + std::time::Duration::from_secs(30));
    let (mut cues, mut seq) = (0, 0);
    while let Ok(h) = watched.try_recv() {
        let m = h.message;
        let next = m["seq"].as_u64().expect("a number");
        assert!(next > seq, "{m}");
        seq = next;
        match m["kind"].as_str() {
            Some("cue") => cues = m["n"].as_u64().expect("n"),
            Some("now") if !m["last_cue"].is_null() => {
                assert!(m["last_cue"]["n"].as_u64().expect("n") <= cues, "{m}");
            }
            _ => {}
        }
    }
    assert!(cues >= 3, "ready, stop and a verdict at least");
}
