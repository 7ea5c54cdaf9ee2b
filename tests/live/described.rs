//! The description of the HTTP interface against the daemon that serves it.

use crate::page::{JSON, post};
use crate::rig::Rig;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// Fields that stand in a message only where they say something.
const SOMETIMES: [&str; 34] = [
    "about",
    "field",
    "left",
    "routine",
    "u_area_percent",
    "bare_rim_mm",
    "shrinkage_percent",
    "fired_water_g",
    "fired_shrinkage_percent",
    "corner_mm",
    "class",
    "mpe_mg",
    "uncertainty_mg",
    "base_readings_g",
    "direction",
    "position",
    "repeat",
    "corners",
    "net_g",
    "tolerance_g",
    "creep_g",
    "room_c",
    "operator",
    "name",
    "coins",
    "water_ml",
    "mpe_ml",
    "water_c",
    "zero_return_g",
    "warm_up_rounds",
    "drift_share",
    "piece_g",
    "u_mass_g",
    "density_g_ml",
];

fn resolved<'a>(schema: &'a Value, whole: &'a Value) -> &'a Value {
    match schema["$ref"].as_str() {
        Some(at) => whole.pointer(at.trim_start_matches('#')).unwrap_or_else(|| panic!("no {at}")),
        None => schema,
    }
}

/// All properties of a schema, those of its parts with them.
fn properties(schema: &Value, whole: &Value) -> Map<String, Value> {
    let schema = resolved(schema, whole);
    let mut found = schema["properties"].as_object().cloned().unwrap_or_default();
    for part in schema["allOf"].as_array().into_iter().flatten() {
        found.extend(properties(part, whole));
    }
    found
}

/// A schema of parts, one of which is any of several, as those several: each with the other parts.
fn either(schema: &Value, whole: &Value) -> Option<Vec<Value>> {
    let parts = schema["allOf"].as_array()?;
    let any = parts.iter().position(|part| resolved(part, whole)["oneOf"].is_array())?;
    let ways = resolved(&parts[any], whole)["oneOf"].as_array()?;
    let with = |way: &Value| {
        let mut all = parts.clone();
        all[any] = way.clone();
        json!({ "allOf": all })
    };
    Some(ways.iter().map(with).collect())
}

fn kind(value: &Value) -> &'static [&'static str] {
    match value {
        Value::Null => &["null"],
        Value::Bool(_) => &["boolean"],
        Value::Number(n) if n.is_f64() => &["number"],
        Value::Number(_) => &["integer", "number"],
        Value::String(_) => &["string"],
        Value::Array(_) => &["array"],
        Value::Object(_) => &["object"],
    }
}

/// Where a reply is not as described: a field too many or too few, or of another type.
fn unlike(schema: &Value, reply: &Value, whole: &Value, at: &str) -> Vec<String> {
    let schema = resolved(schema, whole);
    if let Some(ways) = schema["oneOf"].as_array() {
        let tried: Vec<_> = ways.iter().map(|way| unlike(way, reply, whole, at)).collect();
        return if tried.iter().any(Vec::is_empty) { Vec::new() } else { tried.concat() };
    }
    if let Some(ways) = either(schema, whole) {
        let tried: Vec<_> = ways.iter().map(|way| unlike(way, reply, whole, at)).collect();
        return if tried.iter().any(Vec::is_empty) { Vec::new() } else { tried.concat() };
    }
    let wanted = properties(schema, whole);
    if let (Some(object), false) = (reply.as_object(), wanted.is_empty()) {
        let has: BTreeSet<_> = object.keys().collect();
        let told: BTreeSet<_> = wanted.keys().collect();
        let mut wrong: Vec<String> =
            has.difference(&told).map(|k| format!("{at}.{k} is not described")).collect();
        let missing = told.difference(&has).filter(|k| !SOMETIMES.contains(&k.as_str()));
        wrong.extend(missing.map(|k| format!("{at}.{k} is described and missing")));
        for (key, value) in object.iter().filter(|(key, _)| wanted.contains_key(*key)) {
            wrong.extend(unlike(&wanted[key], value, whole, &format!("{at}.{key}")));
        }
        return wrong;
    }
    let one = std::slice::from_ref(&schema["type"]);
    let types = schema["type"].as_array().map_or(one, Vec::as_slice);
    if !types.iter().any(|t| kind(reply).iter().any(|k| t == k)) {
        return vec![format!("{at}: {reply} is not {types:?}")];
    }
    let items = reply.as_array().into_iter().flatten().enumerate();
    items.flat_map(|(i, item)| unlike(&schema["items"], item, whole, &format!("{at}[{i}]"))).collect()
}

/// Numbers of more digits than are told: of a weight six behind the point, of any other twelve in all.
fn long_numbers(reply: &Value, at: &str) -> Vec<String> {
    match reply {
        Value::Number(number) => {
            let text = number.to_string();
            let plain = text.split('e').next().unwrap_or_default();
            let digits =
                plain.trim_start_matches(['-', '0', '.']).chars().filter(char::is_ascii_digit).count();
            let behind = plain.split_once('.').map_or(0, |(_, behind)| behind.len());
            let weighed = WEIGHED.iter().any(|name| at.ends_with(name));
            let long = number.is_f64() && (digits > 12 || weighed && behind > 6);
            if long { vec![format!("{at}: {text}")] } else { Vec::new() }
        }
        Value::Array(list) => list.iter().flat_map(|one| long_numbers(one, at)).collect(),
        Value::Object(object) => {
            object.iter().flat_map(|(name, one)| long_numbers(one, &format!("{at}.{name}"))).collect()
        }
        Value::Null | Value::Bool(_) | Value::String(_) => Vec::new(),
    }
}

/// Weights that are kept to a microgram.
const WEIGHED: [&str; 12] = [
    ".tare_g",
    ".net_g",
    ".off_g",
    ".target_g",
    ".low_g",
    ".high_g",
    ".left_g",
    ".mass_g",
    ".expected_g",
    ".dry_g",
    ".water_g",
    ".needed_g",
];

/// The schema of what this path answers with this status.
fn answer<'a>(whole: &'a Value, method: &str, path: &str, status: &str) -> &'a Value {
    let responses = &whole["paths"][path][method]["responses"];
    let response = responses.get(status).unwrap_or_else(|| panic!("{method} {path} {status}: {responses}"));
    let content = response["content"].as_object().unwrap_or_else(|| panic!("{method} {path}: {response}"));
    &content.values().next().expect("a media type")["schema"]
}

#[test]
fn every_path_of_the_contract_is_described_and_every_described_path_answers() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let whole = rig.get("/api/openapi.json");
    let mut described = BTreeSet::new();
    for (path, methods) in whole["paths"].as_object().expect("paths") {
        for (method, operation) in methods.as_object().expect("methods") {
            described.insert(format!("{method} {path}"));
            assert!(operation["summary"].as_str().is_some_and(|s| s.len() > 8), "{method} {path}");
            let problem = answer(&whole, method, path, "default");
            assert_eq!(problem["$ref"], "#/components/schemas/Problem", "{method} {path}");
            let mut reply = match method.as_str() {
                "get" => ureq::get(url(&rig, path)).config().http_status_as_error(false).build().call(),
                _ => ureq::post(url(&rig, path))
                    .config()
                    .http_status_as_error(false)
                    .build()
                    .send_json(json!({})),
            }
            .expect("an answer");
            let status = reply.status().as_u16();
            let said = reply.body_mut().read_to_string().expect("text");
            assert!(status != 405 && !said.contains("no such path"), "{method} {path}: {status} {said}");
        }
    }
    // Written down from the contract, not from the code.
    let contract = [
        "get /",
        "get /page.css",
        "get /page.js",
        "get /assets/{file}",
        "get /api/now",
        "get /api/live",
        "get /api/scale",
        "post /api/scale/spare",
        "post /api/scale/jug",
        "post /api/scale/weigh",
        "post /api/scale/lag",
        "post /api/scale/calibrate",
        "post /api/scale/check",
        "get /api/scale/checks",
        "get /api/scale/plots/checks",
        "post /api/scale/room",
        "get /api/calibrations",
        "post /api/calibrations",
        "get /api/calibrations/{id}",
        "post /api/calibrations/{id}/use",
        "get /api/calibrations/{id}/plots/{plot}",
        "get /calibrations/{id}",
        "get /api/masses",
        "post /api/masses",
        "post /api/target",
        "get /api/batches",
        "post /api/batches",
        "get /api/batches/{id}",
        "post /api/batches/{id}/begin",
        "post /api/batches/{id}/end",
        "post /api/batches/{id}/still-on",
        "post /api/batches/{id}/skip",
        "get /api/batches/{id}/pours",
        "get /api/batches/{id}/pours.csv",
        "get /api/pours/{id}/curve",
        "get /api/pours/{id}/trace",
        "post /api/pours/{id}/void",
        "post /api/pours/{id}/redo",
        "get /api/shelves",
        "post /api/shelves",
        "get /api/shelves.toml",
        "get /api/shelves/{shelf}/{name}",
        "post /api/shelves/import",
        "post /api/batches/{id}/bucket",
        "post /api/batches/{id}/refill",
        "post /api/review",
        "get /api/batches/{id}/review",
        "get /api/batches/{id}/plots/{plot}",
        "get /report/{id}",
        "get /api/pours",
        "post /api/pours/{id}/label",
        "get /api/trend",
        "get /api/trend/plot",
        "post /api/history/by-pourer",
        "get /api/history/rules",
        "post /api/history/rules",
        "post /api/history/forget",
        "get /api/history.csv",
        "get /api/history.json",
        "post /api/history/look",
        "post /api/history/import",
        "get /api/backups",
        "post /api/backups",
        "get /api/backups/{id}",
        "post /api/backups/{id}/restore",
        "get /api/openapi.json",
    ];
    assert_eq!(described, contract.iter().map(|&c| c.to_owned()).collect());
}

/// Calibrations, checks and masses.
fn calibrations_as_described(rig: &Rig, same: &dyn Fn(&str, &str, &str, &Value)) {
    let masses = json!({ "masses": [{ "nominal_g": 50, "class": "M1" }] });
    same("post", "/api/masses", "200", &rig.post("/api/masses", masses));
    same("get", "/api/masses", "200", &rig.get("/api/masses"));
    let point =
        |g: f64| json!({ "nominal_g": g, "class": "M1", "readings_g": [g, g], "base_readings_g": [0, 0] });
    let readings = json!({
        "division_g": 0.1, "points": [{ "nominal_g": 0, "readings_g": [0] }, point(50.0), point(200.0)],
        "repeat": { "load_g": 200, "readings_g": [200, 200.1] },
        "corners": { "centre_g": 200, "readings_g": [200, 200, 200, 200] }
    });
    let made = rig.post("/api/calibrations", readings);
    same("post", "/api/calibrations", "201", &made);
    same("get", "/api/calibrations", "200", &rig.get("/api/calibrations"));
    let id = made["id"].as_str().expect("an id");
    same("get", "/api/calibrations/{id}", "200", &rig.get(&format!("/api/calibrations/{id}")));
    same("get", "/api/scale/checks", "200", &rig.get("/api/scale/checks"));
    same("post", "/api/scale/jug", "200", &rig.post("/api/scale/jug", json!({ "jug_g": 251.5 })));
    same("post", "/api/scale/room", "200", &rig.post("/api/scale/room", json!({ "room_c": 20.5 })));
    same("post", "/api/scale/check", "200", &rig.post("/api/scale/check", json!({})));
    rig.post("/api/scale/check", json!({ "off": true }));
    same("post", "/api/scale/calibrate", "200", &rig.post("/api/scale/calibrate", json!({})));
    same("get", "/api/now", "200", &rig.until("steps", |now| !now["scale"]["routine"].is_null()));
    rig.post("/api/scale/calibrate", json!({ "off": true }));
    let used = rig.post(&format!("/api/calibrations/{id}/use"), json!({ "off": true }));
    same("post", "/api/calibrations/{id}/use", "200", &used);
}

fn url(rig: &Rig, path: &str) -> String {
    format!(
        "http://{}{}",
        rig.address,
        path.replace("{id}", "none").replace("{file}", "face.js").replace("{plot}", "error")
    )
}

#[test]
fn real_replies_have_exactly_the_described_fields() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let whole = rig.get("/api/openapi.json");
    let same = |method: &str, path: &str, status: &str, reply: &Value| {
        let wrong = unlike(answer(&whole, method, path, status), reply, &whole, path);
        assert!(wrong.is_empty(), "{wrong:#?}\n{reply}");
        let long = long_numbers(reply, path);
        assert!(long.is_empty(), "{long:#?}");
    };
    let bucket = json!({
        "glaze": { "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.5 },
        "form": { "by": "area", "area_cm2": 250 }, "coat": { "by": "dry", "dry_g_per_cm2": 0.06 },
        "tolerance": { "percent": 5 }
    });
    same("post", "/api/target", "200", &rig.post("/api/target", bucket.clone()));
    let mut all = bucket.clone();
    all["wanted"] = json!({ "specific_gravity": 1.4 });
    all["ware"] = json!({ "state": "dry", "dry_g": 300, "soaked_g": 333 });
    all["supply"] = json!({ "pieces": 12, "slop_g": 300 });
    all["ladder"] = json!({ "low_g": 23, "high_g": 35, "steps": 5, "seed": 3 });
    let reply = rig.post("/api/target", all);
    same("post", "/api/target", "200", &reply);
    for part in ["layers", "change", "ware", "supply"] {
        assert!(reply[part].is_object(), "{part}: {reply}");
    }
    same("post", "/api/scale/lag", "200", &rig.post("/api/scale/lag", json!({})));
    same("get", "/api/now", "200", &rig.until("a test", |now| !now["scale"]["lag_test"].is_null()));
    same("post", "/api/scale/lag", "200", &rig.post("/api/scale/lag", json!({ "off": true })));
    same("post", "/api/scale/weigh", "200", &rig.post("/api/scale/weigh", json!({ "things": ["vessel"] })));
    same("get", "/api/now", "200", &rig.until("things", |now| !now["scale"]["weighed"].is_null()));
    same("post", "/api/scale/weigh", "200", &rig.post("/api/scale/weigh", json!({ "off": true })));
    calibrations_as_described(&rig, &same);
    let mut batch = bucket;
    batch["name"] = json!("invented cups");
    batch["pourer"] = json!("left hand");
    batch["glaze_name"] = json!("Invented green");
    batch["supply"] = json!({ "pieces": 12, "slop_g": 300 });
    let shelf = |sg: f64| {
        let glaze = json!({ "by": "density", "specific_gravity": sg, "powder_density_g_ml": 2.5 });
        json!({ "shelf": "glaze", "name": "Invented green", "what": { "glaze": glaze }, "note": "invented" })
    };
    same("post", "/api/shelves", "201", &rig.post("/api/shelves", shelf(1.45)));
    same("post", "/api/shelves", "200", &rig.post("/api/shelves", shelf(1.45)));
    same("get", "/api/shelves", "200", &rig.get("/api/shelves"));
    let text = json!({ "toml": "[[glaze]]\nname = \"Invented red\"\n" });
    same("post", "/api/shelves/import", "200", &rig.post("/api/shelves/import", text));
    batch["form"] =
        json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "corner_mm": 10, "bare_rim_mm": 5 });
    let made = rig.post("/api/batches", batch);
    same("post", "/api/batches", "201", &made);
    let at = format!("/api/batches/{}", made["id"].as_str().expect("an id"));
    same("post", "/api/batches/{id}/begin", "200", &rig.post(&format!("{at}/begin"), json!({})));
    rig.post("/api/shelves", shelf(1.44));
    same("post", "/api/batches/{id}/bucket", "200", &rig.post(&format!("{at}/bucket"), json!({})));
    let refilled = rig.post(&format!("{at}/refill"), json!({ "added_g": 100 }));
    same("post", "/api/batches/{id}/refill", "200", &refilled);
    pour_one(&mut rig, &whole);
    same("get", "/api/now", "200", &rig.get("/api/now"));
    same("get", "/api/scale", "200", &rig.get("/api/scale"));
    let pour = rig.get(&format!("{at}/pours"))[0]["id"].as_str().expect("an id").to_owned();
    same("get", "/api/pours/{id}/curve", "200", &rig.get(&format!("/api/pours/{pour}/curve")));
    same("post", "/api/pours/{id}/void", "200", &rig.post(&format!("/api/pours/{pour}/void"), json!({})));
    same("post", "/api/batches/{id}/end", "200", &rig.post(&format!("{at}/end"), json!({})));
    let pours = rig.get(&format!("{at}/pours"));
    assert_eq!(pours.as_array().map(Vec::len), Some(1), "{pours}");
    same("get", "/api/batches/{id}/pours", "200", &pours);
    same("get", "/api/batches/{id}/review", "200", &rig.get(&format!("{at}/review")));
    same("get", "/api/pours", "200", &rig.get("/api/pours"));
    same(
        "post",
        "/api/pours/{id}/label",
        "200",
        &rig.post(&format!("/api/pours/{pour}/label"), json!({ "label": "invented" })),
    );
    same("get", "/api/trend", "200", &rig.get("/api/trend?by=glaze"));
    let csv = json!({ "csv": "grams,target,low,high,day\n29,29,28,30,2026-01-31\nx,1,1,1,1\n" });
    same("post", "/api/history/look", "200", &rig.post("/api/history/look", csv));
    same("get", "/api/history/rules", "200", &rig.get("/api/history/rules"));
    same(
        "post",
        "/api/history/rules",
        "200",
        &rig.post("/api/history/rules", json!({ "rules": ["six-trend"] })),
    );
    same("post", "/api/history/by-pourer", "200", &rig.post("/api/history/by-pourer", json!({ "on": true })));
    same(
        "post",
        "/api/history/forget",
        "200",
        &rig.post("/api/history/forget", json!({ "pourer": "nobody" })),
    );
    same("post", "/api/backups", "201", &rig.post("/api/backups", json!({})));
    same("get", "/api/backups", "200", &rig.get("/api/backups"));
    let grams = json!({ "values_g": [29.0, 28.7, 29.4], "target_g": 29, "low_g": 28, "high_g": 30 });
    same("post", "/api/review", "200", &rig.post("/api/review", grams));
    same("get", "/api/batches/{id}", "200", &rig.get(&at));
    same("get", "/api/batches", "200", &rig.get("/api/batches"));
    let (status, problem) = post(&rig, "/api/target", JSON, r#"{ "hue": 1 }"#);
    assert_eq!((status, &problem["field"]), (422, &json!("hue")));
    same("post", "/api/target", "default", &problem);
}

/// Pours one piece; each message of the stream is as its words say.
fn pour_one(rig: &mut Rig, whole: &Value) {
    use tarebell::plant::session::{Potter, Script};
    use tarebell::plant::{Person, Plant, ScaleModel, Table};
    let (watched, heard) = (rig.listen(), rig.listen());
    let plant = Plant::new(7, Person::typical(), ScaleModel::with_lag(0.15), Table::default());
    let mut potter = Potter::new(plant, Script::of(1, 29.0));
    rig.pour(&mut potter, &heard, std::time::Instant::now() + std::time::Duration::from_secs(30));
    let mut seen = BTreeSet::new();
    while let Ok(h) = watched.try_recv() {
        let mut message = h.message;
        let kind = message.as_object_mut().expect("an object").remove("kind").expect("a kind");
        let schema = match kind.as_str() {
            Some("now") => "Now",
            Some("cue") => "CueView",
            Some("pour") => "PourView",
            _ => panic!("{kind}: {message}"),
        };
        if schema == "CueView" {
            // The stream's own number; the view is the cue alone.
            assert!(message.as_object_mut().and_then(|m| m.remove("seq")).is_some());
        }
        let wrong =
            unlike(&json!({ "$ref": format!("#/components/schemas/{schema}") }), &message, whole, schema);
        assert!(wrong.is_empty(), "{wrong:#?}\n{message}");
        seen.insert(schema);
    }
    assert_eq!(seen.len(), 3, "a cue, a pour and snapshots: {seen:?}");
}

#[test]
fn the_comparison_finds_a_field_too_many_too_few_and_of_another_type() {
    let whole = json!({ "components": { "schemas": { "Cup": {
        "properties": { "size": { "type": "integer" }, "form": { "type": ["string", "null"] } }
    } } } });
    let cups = json!({ "type": "array", "items": { "$ref": "#/components/schemas/Cup" } });
    let wrong = |reply: Value| unlike(&cups, &reply, &whole, "cups");
    assert_eq!(wrong(json!([{ "size": 1, "form": null }])), Vec::<String>::new());
    assert_eq!(wrong(json!([{ "size": 1 }])), ["cups[0].form is described and missing"]);
    assert_eq!(wrong(json!([{ "size": 1, "form": "round", "hue": 1 }])), ["cups[0].hue is not described"]);
    assert_eq!(wrong(json!([{ "size": 1.5, "form": "round" }])).len(), 1);
    assert_eq!(wrong(json!({})).len(), 1);
}

#[test]
fn a_number_longer_than_it_is_known_is_found_in_a_reply() {
    let reply = json!({ "net_g": 29.299999999999997, "all": [{ "off_g": 1.0200001 }, { "off_g": -1.02 }], "rate_hz": 9.9985,
        "share": 0.333333333333, "small_u": 1.23456789012e-9, "n": 12345678901234_u64 });
    assert_eq!(long_numbers(&reply, "r"), ["r.all.off_g: 1.0200001", "r.net_g: 29.299999999999997"]);
}

#[test]
fn no_path_is_routed_past_the_description() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/page");
    let mut routed = 0;
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        let Ok(text) = std::fs::read_to_string(&path) else { continue };
        for way in [".route(", ".route_service(", ".nest(", ".nest_service(", ".merge(", ".fallback_service("]
        {
            assert!(!text.contains(way), "{} uses {way}: use routes! in paths.rs", path.display());
        }
        routed += text.matches("routes!(").count();
    }
    assert!(routed >= 14, "the list of paths has moved: {routed}");
}
