//! The potter's own glazes, forms and coats over HTTP, a bucket that changes under a batch, and targets from piece to
//! piece. Everything on the shelves is invented.

use crate::rig::Rig;
use serde_json::{Value, json};

pub(crate) fn glaze(sg: f64) -> Value {
    json!({ "glaze": { "by": "density", "specific_gravity": sg, "powder_density_g_ml": 2.5 }, "slop_g": 5000.0 })
}

pub(crate) fn put(rig: &Rig, shelf: &str, name: &str, what: &Value, note: &str) -> (u16, Value) {
    rig.try_post("/api/shelves", json!({ "shelf": shelf, "name": name, "what": what, "note": note }))
}

/// A batch of three of this glaze: 250 cm2 at 0.06 g/cm2.
pub(crate) fn begun(rig: &Rig, more: &[(&str, Value)]) -> String {
    let mut asked = glaze(1.45);
    asked["form"] = json!({ "by": "area", "area_cm2": 250.0 });
    asked["coat"] = json!({ "by": "dry", "dry_g_per_cm2": 0.06 });
    asked["name"] = json!("invented cups");
    asked["pieces"] = json!(3);
    asked["glaze_name"] = json!("Invented green");
    asked.as_object_mut().expect("an object").remove("slop_g");
    for (key, value) in more {
        asked[*key] = value.clone();
    }
    let made = rig.post("/api/batches", asked);
    let id = made["id"].as_str().expect("an id").to_owned();
    rig.until("the scale's port is open", |now| now["scale"]["state"] != "searching");
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    id
}

/// A piece of so many grams gets so much and is lifted.
pub(crate) fn a_piece(rig: &mut Rig, bare_g: f64, slop_g: f64) {
    rig.send(1.2, |_| 0.0);
    rig.send(1.8, |_| bare_g);
    rig.send(slop_g / 8.0, |t| bare_g + 8.0 * t);
    rig.send(3.0, |_| bare_g + slop_g);
    rig.send(1.5, |_| 0.0);
}

#[test]
fn every_version_stays_the_newest_holds_and_what_cannot_be_reckoned_with_is_refused() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    assert_eq!(put(&rig, "glaze", "Invented green", &glaze(1.45), "new bucket").0, 201);
    let (status, again) = put(&rig, "glaze", "Invented green", &glaze(1.45), "");
    assert_eq!((status, &again["version"]), (200, &json!(1)), "the same is no new version");
    let (status, second) = put(&rig, "glaze", "Invented green", &glaze(1.40), "added water");
    assert_eq!((status, &second["version"], &second["note"]), (201, &json!(2), &json!("added water")));
    let (status, looked) = put(&rig, "glaze", "Invented green", &glaze(1.40), "measured again");
    assert_eq!((status, &looked["version"]), (201, &json!(3)), "looked at again is news");
    let mut holes = glaze(1.40);
    holes["water_c"] = Value::Null;
    let (_, whole) = put(&rig, "glaze", "Invented green", &holes, "");
    assert_eq!((&whole["version"], &whole["what"]), (&json!(3), &glaze(1.40)), "a null says nothing");
    let form = json!({ "form": { "by": "cylinder", "diameter_mm": 76.0, "height_mm": 85.0 } });
    assert_eq!(put(&rig, "form", "Invented mug", &form, "").0, 201);
    let (status, refused) = put(&rig, "glaze", "Invented red", &glaze(0.9), "");
    assert_eq!((status, &refused["field"]), (422, &json!("what.glaze.specific_gravity")), "{refused}");
    for (body, field) in [
        (json!({ "shelf": "jar", "name": "x", "what": glaze(1.45) }), "shelf"),
        (json!({ "shelf": "glaze", "what": glaze(1.45) }), "name"),
        (json!({ "shelf": "glaze", "name": "x", "what": 5 }), "what"),
        (json!({ "shelf": "glaze", "name": "x", "what": glaze(1.45), "hue": 1 }), "hue"),
    ] {
        let (status, refused) = rig.try_post("/api/shelves", body);
        assert_eq!((status, &refused["field"]), (422, &json!(field)), "{refused}");
    }
    // kill -9 and a new start: what was answered is there.
    let _ = rig.stop(rustix::process::Signal::KILL);
    let rig = Rig::start(dir.path());
    let all = rig.get("/api/shelves");
    assert_eq!((&all["glazes"][0]["version"], &all["glazes"][0]["what"]), (&json!(3), &glaze(1.40)), "{all}");
    assert_eq!((&all["forms"][0]["name"], &all["coats"]), (&json!("Invented mug"), &json!([])));
    let (status, off) = put(&rig, "form", "Invented mug", &Value::Null, "");
    assert_eq!((status, &off["what"]), (201, &Value::Null));
    assert_eq!(put(&rig, "form", "Invented mug", &Value::Null, "").0, 404, "it is off already");
    assert_eq!(rig.get("/api/shelves")["forms"], json!([]));
    let past = rig.get("/api/shelves/form/Invented%20mug");
    let told = [(&past[0]["version"], &past[0]["what"]), (&past[1]["version"], &past[1]["what"])];
    assert_eq!(told, [(&json!(2), &Value::Null), (&json!(1), &form)], "{past}");
    let versions = rig.get("/api/shelves/glaze/Invented%20green");
    assert_eq!(versions.as_array().map(Vec::len), Some(3), "{versions}");
    for (path, status) in [("jar/x", 422), ("glaze/x", 404), ("glaze/%ff", 400)] {
        let asked = ureq::get(format!("http://{}/api/shelves/{path}", rig.address));
        let reply = asked.config().http_status_as_error(false).build().call().expect(path);
        assert_eq!(reply.status().as_u16(), status, "{path}");
    }
}

#[test]
fn what_is_handed_out_as_a_text_is_taken_in_elsewhere_once_and_whole_or_not_at_all() {
    let (one, two) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    let (from, to) = (Rig::start(one.path()), Rig::start(two.path()));
    put(&from, "glaze", "Invented green", &glaze(1.45), "");
    put(&from, "glaze", "Invented green", &glaze(1.40), "added water");
    let coat = json!({ "coat": { "by": "dry", "dry_g_per_cm2": 0.06 }, "tolerance": { "percent": 5.0 } });
    put(&from, "coat", "Invented \"thin\" coat", &coat, "");
    let mut reply = ureq::get(format!("http://{}/api/shelves.toml", from.address)).call().expect("the text");
    let text = reply.body_mut().read_to_string().expect("a text");
    assert!(text.contains("added water") && text.contains("[[glaze]]"), "{text}");
    let taken = to.post("/api/shelves/import", json!({ "toml": text }));
    assert_eq!(taken, json!({ "added": 3, "there_already": 0 }));
    assert_eq!(to.post("/api/shelves/import", json!({ "toml": text }))["added"], 0, "once");
    let plain = |rig: &Rig| {
        let all = rig.get("/api/shelves");
        let of = |list: &str| all[list].as_array().expect("a list").clone();
        let what = |v: Value| (v["name"].clone(), v["what"].clone(), v["version"].clone());
        ["glazes", "coats"].map(|list| of(list).into_iter().map(what).collect::<Vec<_>>())
    };
    assert_eq!(plain(&from), plain(&to));
    // What was taken off comes back with its last version.
    put(&to, "glaze", "Invented green", &Value::Null, "");
    assert_eq!(to.post("/api/shelves/import", json!({ "toml": text }))["added"], 1);
    assert_eq!(to.get("/api/shelves")["glazes"][0]["what"], glaze(1.40));
    put(&to, "glaze", "Invented green", &Value::Null, "");
    put(&from, "glaze", "Invented green", &Value::Null, "");
    let bad = text.replace("1.4\n", "0.4\n");
    assert_ne!(bad, text);
    for (bad, word) in [
        (bad.as_str(), "specific_gravity"),
        ("[[jar]]\nname = \"x\"\n", "jar"),
        ("[[glaze]]\n", "no name"),
        ("glaze = 5\n", "no list"),
        ("= =", "no TOML"),
        ("[[glaze]]\nname = \"a\u{202e}b\"\n", "name must be"),
        ("[[glaze]]\nname = \"a\"\nmade = \"yesterday\"\n", "is no time"),
    ] {
        let (status, refused) = to.try_post("/api/shelves/import", json!({ "toml": bad }));
        assert_eq!((status, &refused["field"]), (422, &json!("toml")), "{refused}");
        assert!(refused["detail"].as_str().is_some_and(|d| d.contains(word)), "{word}: {refused}");
    }
    assert_eq!(plain(&from), plain(&to), "nothing of it was taken in");
}

#[test]
fn a_file_of_a_thousand_versions_is_taken_in_and_one_that_is_too_large_is_refused_as_that() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let version = |n: usize| {
        format!(
            "[[glaze]]\nname = \"Invented green\"\nnote = \"measured again, invented for the {n}th time\"\n\
             what.glaze = {{ by = \"density\", specific_gravity = {:.4}, powder_density_g_ml = 2.6 }}\n\n",
            1.4 + n as f64 / 10_000.0
        )
    };
    let text: String = (0..1000).map(version).collect();
    assert!(text.len() > 2 * 65_536, "{} bytes", text.len());
    assert_eq!(rig.post("/api/shelves/import", json!({ "toml": text }))["added"], 1000);
    assert_eq!(rig.get("/api/shelves")["glazes"][0]["version"], 1000);
    // Refused by what it says of its length, before a byte of it is sent.
    for (path, length, most) in [
        ("/api/shelves/import", (4 << 20) + 1, "at most 4194304 bytes"),
        ("/api/shelves", 65_537, "at most 65536 bytes"),
    ] {
        let mut line = std::net::TcpStream::connect(&rig.address).expect("a connection");
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n\
             Connection: close\r\n\r\n",
            rig.address
        );
        std::io::Write::write_all(&mut line, head.as_bytes()).expect("a request");
        let mut reply = String::new();
        std::io::Read::read_to_string(&mut line, &mut reply).expect("a reply");
        assert!(reply.starts_with("HTTP/1.1 413") && reply.contains(most), "{reply}");
    }
}

#[test]
fn a_bucket_that_changed_gives_the_next_piece_its_grams_and_each_record_the_version_it_came_from() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    put(&rig, "glaze", "Invented green", &glaze(1.45), "");
    let id = begun(&rig, &[]);
    let change = format!("/api/batches/{id}/bucket");
    assert_eq!(rig.try_post(&change, json!({})).0, 409, "the same version");
    a_piece(&mut rig, 300.0, 29.0);
    put(&rig, "glaze", "Invented green", &glaze(1.40), "added water");
    rig.send(1.0, |_| 0.0);
    rig.send(1.8, |_| 310.0);
    assert!(rig.get("/api/now")["bucket_age_s"].as_u64() >= Some(4), "as old as its measurement");
    let (status, refused) = rig.try_post(&change, json!({}));
    assert_eq!(status, 409, "a piece stands on the scale: {refused}");
    rig.send(1.5, |_| 0.0);
    let new = rig.post(&change, json!({}));
    assert!((new["target_g"].as_f64().expect("grams") - 31.5).abs() < 1e-6, "{new}");
    assert!(rig.until("again", |now| now["bucket_age_s"].is_u64())["bucket_age_s"].as_u64() < Some(8));
    a_piece(&mut rig, 310.0, 31.5);
    let pours = rig.weighed(&id);
    let of = |n: usize, key: &str| pours[n][key].clone();
    assert_eq!(
        (of(0, "bucket"), of(0, "target_g"), of(0, "verdict")),
        (json!(1), json!(29.0), json!("good"))
    );
    assert_eq!(
        (of(1, "bucket"), of(1, "target_g"), of(1, "verdict")),
        (json!(2), json!(31.5), json!("good"))
    );
    let dry = |n: usize| of(n, "dry_g").as_f64().expect("grams");
    assert!((dry(0) - 15.0).abs() < 0.1 && (dry(1) - 15.0).abs() < 0.1, "{pours}");
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    put(&rig, "glaze", "Invented green", &glaze(1.42), "");
    assert_eq!(rig.try_post(&change, json!({})).0, 409, "it has ended");
}

#[test]
fn a_rung_that_is_voided_after_the_bucket_changed_is_poured_again_with_the_same_dry_powder() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    put(&rig, "glaze", "Invented green", &glaze(1.45), "");
    let id = begun(&rig, &[("targets_g", json!([23, 32]))]);
    a_piece(&mut rig, 300.0, 23.0);
    put(&rig, "glaze", "Invented green", &glaze(1.40), "added water");
    rig.post(&format!("/api/batches/{id}/bucket"), json!({}));
    // 0.51724 dry before, 0.47619 now: 1.08621 times as much slop.
    let near = |now: &Value, g: f64| now["target_g"].as_f64().is_some_and(|t| (t - g).abs() < 0.005);
    rig.send(0.5, |_| 0.0);
    rig.until("the second rung", |now| near(now, 34.759));
    let pours = rig.weighed(&id);
    rig.post(&format!("/api/pours/{}/void", pours[0]["id"].as_str().expect("an id")), json!({}));
    rig.send(0.5, |_| 0.0);
    rig.until("the first again", |now| near(now, 24.983));
}

#[test]
fn each_piece_of_a_ladder_is_poured_to_its_own_and_one_that_is_voided_is_poured_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let supply = json!({ "pieces": 3, "slop_g": 80 });
    let id = begun(&rig, &[("targets_g", json!([32, 23, 26])), ("supply", supply)]);
    assert_eq!(rig.get(&format!("/api/batches/{id}"))["targets_g"], json!([32.0, 23.0, 26.0]));
    rig.send(0.5, |_| 0.0);
    rig.until("the first", |now| now["target_g"] == 32.0);
    a_piece(&mut rig, 300.0, 32.0);
    rig.until("the second", |now| now["target_g"] == 23.0);
    // 48 g are left for 23 g and 26 g.
    let left = rig.until("what is left", |now| now["supply"]["left_g"].as_f64().is_some_and(|g| g < 50.0));
    assert_eq!(
        (&left["supply"]["enough_for"], &left["supply"]["runs_out_at"]),
        (&json!(1), &json!(3)),
        "{left}"
    );
    a_piece(&mut rig, 310.0, 23.0);
    rig.until("the third", |now| now["target_g"] == 26.0);
    let pours = rig.weighed(&id);
    let told = |n: usize| (pours[n]["target_g"].clone(), pours[n]["verdict"].clone());
    assert_eq!((told(0), told(1)), ((json!(32.0), json!("good")), (json!(23.0), json!("good"))), "{pours}");
    rig.post(&format!("/api/pours/{}/void", pours[0]["id"].as_str().expect("an id")), json!({}));
    rig.send(0.5, |_| 0.0);
    rig.until("the first again", |now| now["target_g"] == 32.0);
    for (bad, field) in [
        (json!([]), "targets_g"),
        (json!("23"), "targets_g"),
        (json!([23, "x"]), "targets_g[1]"),
        (json!([23, 0.1]), "targets_g[1]"),
    ] {
        let asked = json!({ "coat": { "by": "direct", "slop_g": 29 }, "targets_g": bad });
        let (status, refused) = rig.try_post("/api/batches", asked);
        assert_eq!((status, &refused["field"]), (422, &json!(field)), "{refused}");
    }
    let mut own = json!({ "coat": { "by": "direct", "slop_g": 29 } });
    own["ladder"] = json!({ "low_g": 23, "high_g": 35, "steps": 5, "of_each": 2, "seed": 7 });
    let made = rig.post("/api/batches", own.clone());
    assert_eq!(made["ladder_g"].as_array().map(Vec::len), Some(10), "{made}");
    let at = format!("/api/batches/{}", made["id"].as_str().expect("an id"));
    assert_eq!(rig.get(&at)["targets_g"], made["ladder_g"]);
    for (told, pieces) in [(json!(null), 10), (json!(1), 10), (json!(12), 12)] {
        own["pieces"] = told;
        let made = rig.post("/api/batches", own.clone());
        let batch = rig.get(&format!("/api/batches/{}", made["id"].as_str().expect("an id")));
        assert_eq!((&batch["pieces"], &batch["foreseen"]), (&json!(pieces), &json!(pieces)), "{batch}");
    }
    own["targets_g"] = json!([29]);
    assert_eq!(rig.try_post("/api/batches", own).1["field"], "targets_g");
}
