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
        "GET /api/pours/%ff/curve",
        "POST /api/pours/%ff/void",
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

/// A batch of the cups of the other tests with one field changed, as JSON text.
fn batch_with(field: &str, value: &str) -> String {
    format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, "{field}": {value} }}"#)
}

#[test]
fn a_blank_long_or_invisible_name_is_refused_with_field_and_reason() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let long = format!("\"{}\"", "é".repeat(81));
    for field in ["name", "pourer", "jug"] {
        for (value, why) in [
            (r#""""#, "blank"),
            (r#""   ""#, "blank"),
            (r#""\u00a0\u2003\u200b\ufeff""#, "blank"),
            (r#""blue\u0007cups""#, "U+0007"),
            (r#""blue\ncups""#, "U+000A"),
            (r#""blue\u0000""#, "U+0000"),
            (r#""blue\u009bcups""#, "U+009B"),
            (r#""blue\u202espuc""#, "U+202E"),
            (r#""blue\u2028cups""#, "U+2028"),
            (long.as_str(), "81 characters"),
            ("7", "text"),
            ("[]", "text"),
        ] {
            let body = batch_with(field, value);
            let told = problem(&rig, "POST /api/batches", &sized(&body), &body, 422);
            assert_eq!(told["field"], field, "{value}: {told}");
            assert!(told["detail"].as_str().is_some_and(|d| d.contains(why)), "{value}: {told}");
        }
    }
    assert_eq!(rig.get("/api/batches"), json!([]), "a refused batch is not kept");
    for name in [
        "青い茶碗 (1)",
        "Fürs Café – 12 cups",
        "👩\u{200d}🎨 \u{645}\u{6cc}\u{200c}\u{62e}\u{648}\u{627}\u{647}\u{645}",
    ] {
        let made = rig.post(
            "/api/batches",
            json!({ "name": format!(" {name} "), "coat": { "by": "direct", "slop_g": 29 } }),
        );
        let at = format!("/api/batches/{}", made["id"].as_str().expect("an id"));
        assert_eq!(rig.get(&at)["name"], name);
    }
}

#[test]
fn a_number_of_pieces_that_cannot_be_is_refused_by_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    for value in ["0", "-1", "1001", "4294967296", "18446744073709551616", "1e300", "2.5", "\"12\"", "true"] {
        let body = batch_with("pieces", value);
        assert_eq!(
            problem(&rig, "POST /api/batches", &sized(&body), &body, 422)["field"],
            "pieces",
            "{value}"
        );
    }
    for (field, value) in
        [("hue", "1"), ("Name", "\"x\""), ("target_g", "29"), ("method", "\"dip\""), ("targets_g", "29")]
    {
        let body = batch_with(field, value);
        assert_eq!(problem(&rig, "POST /api/batches", &sized(&body), &body, 422)["field"], field);
    }
}

#[test]
fn text_that_is_no_json_is_a_problem_and_the_daemon_goes_on() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let deep = format!("{{ \"coat\": {}{} }}", "[".repeat(30_000), "]".repeat(30_000));
    for body in [
        batch_with("pieces", "NaN"),
        batch_with("pieces", "1e999"),
        batch_with("water_c", "Infinity"),
        batch_with("water_c", "-1e999"),
        batch_with("name", r#""\ud800""#),
        batch_with("name", r#""\udc00x""#),
        batch_with("name", "\"tab\tinside\""),
        batch_with("name", "'x'"),
        batch_with("name", "\"x\" , "),
        deep,
        String::new(),
    ] {
        for path in ["/api/batches", "/api/target"] {
            problem(&rig, &format!("POST {path}"), &sized(&body), &body, 400);
        }
    }
    // JSON leaves open what a name given twice means.
    let twice = r#"{ "coat": { "by": "direct", "slop_g": 29 }, "coat": { "by": "direct", "slop_g": 31 } }"#;
    let (status, _, reply) = ask(&rig, "POST /api/target", &sized(twice), twice);
    assert!(status == 400 && reply.contains("`coat` stands there twice"), "{status} {reply}");
}

/// Names of the program's own kinds of values, which say nothing to people.
const KINDS: [&str; 13] = [
    "struct",
    "enum",
    "u8",
    "u32",
    "u64",
    "usize",
    "i64",
    "f64",
    "sequence",
    "variant",
    "tuple",
    "newtype",
    "deserialize",
];

/// The members that a request of this path takes, as it is described.
fn members(whole: &Value, schema: &Value) -> Vec<String> {
    let schema = match schema["$ref"].as_str() {
        Some(to) => whole.pointer(to.trim_start_matches('#')).expect("described"),
        None => schema,
    };
    let own = schema["properties"].as_object().into_iter().flat_map(|all| all.keys().cloned());
    let parts = ["allOf", "oneOf"].into_iter().filter_map(|of| schema[of].as_array()).flatten();
    own.chain(parts.flat_map(|part| members(whole, part))).collect()
}

#[test]
fn no_refusal_names_a_kind_of_value_as_the_program_does_whatever_stands_in_whichever_field() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let described = rig.get("/api/openapi.json");
    let odd = [
        json!("x"),
        json!(5),
        json!(-1.5),
        json!(1e300),
        json!(true),
        json!(null),
        json!([]),
        json!([[]]),
        json!({}),
        json!({ "by": "x" }),
        json!({ "by": 5 }),
        json!([{ "by": [] }]),
        json!({ "by": "density", "specific_gravity": {} }),
    ];
    let mut asked = 0;
    for (path, ways) in described["paths"].as_object().expect("paths") {
        let Some(post) = ways.get("post") else { continue };
        let schema = &post["requestBody"]["content"]["application/json"]["schema"];
        let at = path.replace("{id}", "none");
        for member in members(&described, schema) {
            for value in &odd {
                let mut body = json!({ "coat": { "by": "direct", "slop_g": 29 } });
                if !path.ends_with("/target") && !path.ends_with("/batches") {
                    body = json!({});
                }
                body[&member] = value.clone();
                let (status, told) = rig.try_post(&at, body.clone());
                asked += 1;
                let said = told["detail"].as_str().unwrap_or_default().to_lowercase();
                let named = said.split(|c: char| !c.is_alphanumeric()).find(|word| KINDS.contains(word));
                assert!(named.is_none() && status != 500, "POST {at} {body}: {told}");
            }
        }
    }
    println!("{asked} requests");
    assert!(asked > 500, "{asked}");
}
