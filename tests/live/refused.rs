//! Every error is a problem that says what to try, whatever was wrong with the request.

use crate::page::{JSON, raw};
use crate::rig::Rig;
use serde_json::{Value, json};

/// A raw request; gives status, head in lower case, and the body as text.
fn ask(rig: &Rig, line: &str, headers: &str, body: &str) -> (u16, String, String) {
    let close = if headers.contains("Connection: ") { "" } else { "Connection: close\r\n" };
    let request = format!("{line} HTTP/1.1\r\nHost: {}\r\n{close}{headers}\r\n{body}", rig.address);
    let (status, reply) = raw(&rig.address, &request);
    let (head, body) = reply.split_once("\r\n\r\n").expect("a head");
    (status, head.to_lowercase(), body.to_owned())
}

/// Expects a problem with this status; gives it.
fn problem(rig: &Rig, line: &str, headers: &str, body: &str, status: u16) -> Value {
    let (got, head, body) = ask(rig, line, headers, body);
    assert_eq!(got, status, "{line}: {head}\n{body}");
    assert!(head.contains("content-type: application/problem+json"), "{line}: {head}\n{body}");
    let problem: Value = serde_json::from_str(&body).unwrap_or_else(|e| panic!("{line}: {e}: {body}"));
    assert_eq!(problem["status"], json!(status), "{problem}");
    assert!(problem["detail"].as_str().is_some_and(|d| d.len() > 15), "{problem}");
    problem
}

fn sized(body: &str) -> String {
    format!("{JSON}Content-Length: {}\r\n", body.len())
}

#[test]
fn a_body_over_the_limit_is_a_problem_whether_its_length_is_told_or_not() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let chunk = format!("8000\r\n{}\r\n", " ".repeat(0x8000)).repeat(3);
    let headers = format!("{JSON}Transfer-Encoding: chunked\r\n");
    for path in ["/api/target", "/api/batches", "/api/batches/none/begin", "/api/batches/none/end"] {
        let told = problem(&rig, &format!("POST {path}"), &headers, &format!("{chunk}0\r\n\r\n"), 413);
        assert!(told["detail"].as_str().is_some_and(|d| d.contains("65536 bytes")), "{told}");
    }
    problem(&rig, "POST /api/target", &format!("{JSON}Content-Length: 70000\r\n"), "", 413);
    let small = "2\r\n{}\r\n0\r\n\r\n";
    assert_eq!(problem(&rig, "POST /api/target", &headers, small, 422)["field"], "coat");
}

#[test]
fn a_broken_path_is_a_problem_that_names_the_id() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    for line in [
        "GET /api/batches/%ff",
        "GET /api/batches/%ff/pours",
        "GET /api/batches/%ff/pours.csv",
        "POST /api/batches/%ff/begin",
        "POST /api/batches/%c3%28/end",
    ] {
        assert_eq!(problem(&rig, line, "", "", 400)["field"], "id", "{line}");
    }
    problem(&rig, "GET /api/batches/%zz/pours", "", "", 404);
    problem(&rig, "GET /nothing", "", "", 404);
    problem(&rig, "GET /api/batches/a/b/c", "", "", 404);
}

#[test]
fn a_wrong_content_type_is_a_problem_on_every_post() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    for path in ["/api/target", "/api/batches", "/api/batches/none/begin", "/api/batches/none/end"] {
        for kind in
            ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "json"]
        {
            let headers = format!("Content-Type: {kind}\r\nContent-Length: 2\r\n");
            problem(&rig, &format!("POST {path}"), &headers, "{}", 415);
        }
        problem(&rig, &format!("POST {path}"), "Content-Length: 2\r\n", "{}", 415);
    }
}

#[test]
fn a_request_for_the_live_stream_that_is_no_websocket_is_a_problem() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let key = "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n";
    let told = problem(&rig, "GET /api/live", "", "", 426);
    assert!(told["detail"].as_str().is_some_and(|d| d.contains("WebSocket")), "{told}");
    assert!(ask(&rig, "GET /api/live", "", "").1.contains("upgrade: websocket"));
    let upgrade = "Connection: close, Upgrade\r\nUpgrade: websocket\r\n";
    problem(&rig, "GET /api/live", &format!("{upgrade}{key}Sec-WebSocket-Version: 8\r\n"), "", 426);
    problem(&rig, "GET /api/live", &format!("{upgrade}Sec-WebSocket-Version: 13\r\n"), "", 400);
    problem(&rig, "POST /api/live", "", "", 405);
}

#[test]
fn begin_and_end_take_nothing_and_refuse_unknown_fields_by_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    for way in ["begin", "end"] {
        let line = format!("POST /api/batches/none/{way}");
        let body = r#"{ "hue": 1 }"#;
        assert_eq!(problem(&rig, &line, &sized(body), body, 422)["field"], "hue");
        problem(&rig, &line, &sized("[]"), "[]", 422);
        problem(&rig, &line, &sized("{"), "{", 400);
        problem(&rig, &line, &sized("{}"), "{}", 404);
        problem(&rig, &line, "", "", 404);
    }
}

#[test]
fn head_answers_as_get_without_a_body_and_options_tells_what_a_path_takes() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    for path in ["/", "/page.js", "/api/now", "/api/batches", "/api/openapi.json"] {
        let (status, head, body) = ask(&rig, &format!("HEAD {path}"), "", "");
        assert_eq!((status, body.as_str()), (200, ""), "{path}: {head}");
        assert!(head.contains("content-type: "), "{path}: {head}");
    }
    let (status, head, body) = ask(&rig, "HEAD /nothing", "", "");
    assert_eq!((status, body.as_str()), (404, ""), "{head}");
    let (status, head, _) = ask(&rig, "OPTIONS /api/batches", "", "");
    assert_eq!(status, 204, "{head}");
    assert!(head.contains("allow: get,head,post"), "{head}");
    assert!(!head.contains("access-control-"), "no foreign page is let in: {head}");
    problem(&rig, "OPTIONS /nothing", "", "", 404);
    problem(&rig, "DELETE /api/batches", "", "", 405);
    let (_, head, _) = ask(&rig, "DELETE /api/target", "", "");
    assert!(head.contains("allow: post"), "{head}");
}
