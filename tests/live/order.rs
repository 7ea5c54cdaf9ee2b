//! The numbers of pieces over HTTP: on from batch to batch, left out, poured again; all of it across an end
//! of the daemon at a bad moment.

use crate::rig::Rig;
use serde_json::{Value, json};
use std::path::Path;
use tarebell::pour::trace::Trace;
use tarebell::store::Reader;

/// An invented batch of 20 g a piece, begun; gives its id.
fn begin(rig: &Rig, more: Value) -> String {
    let mut asked =
        json!({ "name": "invented cups", "pieces": 6, "coat": { "by": "direct", "slop_g": 20.0 } });
    asked.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
    let id = rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    id
}

/// A piece of 300 g gets 20 g and is lifted; gives the newest record of the batch.
fn a_piece(rig: &mut Rig, batch: &str) -> Value {
    let before = pours(rig, batch).len();
    rig.send(1.2, |_| 0.0);
    rig.send(1.8, |_| 300.0);
    rig.send(2.5, |t| 300.0 + 8.0 * t);
    rig.send(3.0, |_| 320.0);
    rig.send(1.2, |_| 0.0);
    let all = pours(rig, batch);
    assert_eq!(all.len(), before + 1, "{all:?}");
    all.into_iter().max_by_key(|p| p["started_at"].as_str().map(str::to_owned)).expect("a record")
}

fn pours(rig: &Rig, batch: &str) -> Vec<Value> {
    rig.get(&format!("/api/batches/{batch}/pours")).as_array().expect("a list").clone()
}

/// The next number, and the place in the batch.
fn next(rig: &Rig) -> (u64, u64) {
    let now = rig.get("/api/now");
    (now["piece"].as_u64().expect("a number"), now["nth"].as_u64().expect("a place"))
}

fn until_next(rig: &Rig, wanted: (u64, u64)) {
    rig.until(&format!("{wanted:?}"), |now| {
        (now["piece"].as_u64(), now["nth"].as_u64()) == (Some(wanted.0), Some(wanted.1))
    });
}

#[test]
fn the_invented_hand_of_a_simulated_scale_waits_for_a_batch_however_late_it_is_begun() {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("tarebell.toml"), "[scale]\nlink = \"simulated\"\n").expect("settings");
    let line = std::fs::File::open("/dev/null").expect("a file");
    let rig = Rig::start_with(dir.path(), line);
    std::thread::sleep(std::time::Duration::from_secs(3));
    let batch = rig.begin_batch(2);
    rig.until("a piece is poured", |_| pours(&rig, &batch).iter().any(|p| p["net_g"].is_number()));
    rig.post(&format!("/api/batches/{batch}/end"), json!({}));
    std::thread::sleep(std::time::Duration::from_secs(3));
    let batch = rig.begin_batch(2);
    rig.until("and another", |_| pours(&rig, &batch).iter().any(|p| p["net_g"].is_number()));
}

#[test]
fn numbers_go_on_within_a_glaze_a_broken_piece_leaves_its_out_and_a_bad_one_gives_it_to_the_next() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let glaze = json!({ "glaze_name": "invented tenmoku" });
    let one = begin(&rig, glaze.clone());
    assert_eq!(next(&rig), (1, 1));
    let first = a_piece(&mut rig, &one);
    assert_eq!((&first["piece"], next(&rig)), (&json!(1), (2, 2)));

    assert_eq!(rig.post(&format!("/api/batches/{one}/skip"), json!({})), json!({ "left_out": 2 }));
    until_next(&rig, (3, 2));
    let redo = format!("/api/pours/{}/redo", first["id"].as_str().expect("an id"));
    let void = rig.post(&redo, json!({}));
    assert_eq!((&void["verdict"], &void["net_g"]), (&json!("void"), &first["net_g"]), "what it got is kept");
    until_next(&rig, (1, 1));
    assert_eq!(rig.post(&redo, json!({}))["rev"], void["rev"], "asked twice, done once");

    // Nothing but the disk knows of it now.
    rig.child.kill().expect("killed");
    drop(rig);
    let mut rig = Rig::start(dir.path());
    rig.post(&format!("/api/batches/{one}/begin"), json!({}));
    assert_eq!(next(&rig), (1, 1));
    let again = a_piece(&mut rig, &one);
    assert_eq!(again["piece"], 1);
    assert_ne!(again["id"], first["id"], "a record of its own");
    assert_eq!(next(&rig), (3, 2), "on from the last, the one left out with it");
    let (status, refused) = rig.try_post(&redo, json!({}));
    assert_eq!(status, 409, "{refused}");
    assert!(refused["detail"].as_str().is_some_and(|d| d.contains("poured again already")), "{refused}");
    the_next_batches(&mut rig, &one, &glaze);
}

/// Another batch of the glaze goes on, one without a name begins at one.
fn the_next_batches(rig: &mut Rig, one: &str, glaze: &Value) {
    let (status, refused) = rig.try_post("/api/batches/none/skip", json!({}));
    assert_eq!(status, 404, "{refused}");
    rig.post(&format!("/api/batches/{one}/end"), json!({}));
    let first = rig.get(&format!("/api/batches/{one}/pours"))[0]["id"].clone();
    let redo = format!("/api/pours/{}/redo", first.as_str().expect("an id"));
    let (status, refused) = rig.try_post(&redo, json!({}));
    assert!(
        status == 409 && refused["detail"].as_str().is_some_and(|d| d.contains("has ended")),
        "{refused}"
    );
    let (status, refused) = rig.try_post(&format!("/api/batches/{one}/skip"), json!({}));
    assert_eq!(status, 409, "{refused}");
    let two = begin(rig, glaze.clone());
    assert_eq!((next(rig), &rig.get("/api/batches")[0]["glaze_name"]), ((3, 1), &glaze["glaze_name"]));
    rig.send(1.2, |_| 0.0);
    rig.send(1.8, |_| 300.0);
    assert_eq!(rig.get("/api/now")["phase"], "ready");
    let (status, refused) = rig.try_post(&format!("/api/batches/{two}/skip"), json!({}));
    assert_eq!(status, 409, "{refused}");
    assert!(refused["detail"].as_str().is_some_and(|d| d.contains("lift it off")), "{refused}");
    rig.send(1.2, |_| 0.0);
    rig.post(&format!("/api/batches/{two}/end"), json!({}));
    begin(rig, json!({}));
    assert_eq!(next(rig), (1, 1));
}

#[test]
fn a_batch_that_is_cut_off_for_hours_goes_on_with_its_numbers_its_place_and_its_hand() {
    use tarebell::plant::session::{Potter, Script};
    use tarebell::plant::{Person, Plant, ScaleModel, Table};
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(4);
    let plant = |seed| Plant::new(seed, Person::typical(), ScaleModel::with_lag(0.15), Table::default());
    let end = || std::time::Instant::now() + std::time::Duration::from_secs(60);
    let heard = rig.listen();
    rig.pour(&mut Potter::new(plant(5), Script::of(2, 29.0)), &heard, end());
    rig.send(1.2, |_| 0.0);
    until_next(&rig, (3, 3));
    let before = rig.post(&format!("/api/batches/{batch}/begin"), json!({}))["warnings"].clone();
    rig.child.kill().expect("killed");
    drop(rig);
    nine_hours_ago(dir.path());

    let mut rig = Rig::start(dir.path());
    assert_eq!(rig.get("/api/now")["batch"], Value::Null, "nothing begins by itself");
    let begun = rig.post(&format!("/api/batches/{batch}/begin"), json!({}));
    assert_eq!(begun["warnings"], before, "what was warned of still is");
    assert!(before[0].as_str().is_some_and(|w| w.contains("no cue can be heard")), "{before}");
    assert_eq!(next(&rig), (3, 3));
    let heard = rig.listen();
    rig.send(1.2, |_| 0.0);
    rig.pour(&mut Potter::new(plant(6), Script::of(1, 29.0)), &heard, end());
    rig.send(1.2, |_| 0.0);
    let all = pours(&rig, &batch);
    let numbers: Vec<u64> = all.iter().filter_map(|p| p["piece"].as_u64()).collect();
    assert_eq!(numbers, [1, 2, 3]);
    assert!(all.iter().all(|p| p["verdict"] != "void" && p["interrupted"] == false), "{all:?}");
    let trace = Reader::open(dir.path()).expect("the log").trace(all[2]["id"].as_str().expect("an id"));
    let start = Trace::decode(&trace.expect("the log").expect("a trace")).expect("our own").start;
    assert_eq!((start.hand.pours, start.first_piece), (2, 3), "the hand goes on from what it had learned");
}

/// Moves all that the log holds into the past: nobody waits for nine hours in a test.
fn nine_hours_ago(dir: &Path) {
    let log = rusqlite::Connection::open(dir.join("tarebell.db")).expect("the log");
    log.busy_timeout(std::time::Duration::from_secs(5)).expect("a limit");
    let us = 9_i64 * 3600 * 1_000_000;
    let moved = format!(
        "UPDATE batch SET created_us = created_us - {us}, begun_us = begun_us - {us};
         UPDATE pour SET started_us = started_us - {us};"
    );
    log.execute_batch(&moved).expect("moved");
}

#[test]
fn a_begin_warns_where_the_heaviest_piece_known_is_too_much_for_the_scale_and_begins_all_the_same() {
    let dir = tempfile::tempdir().expect("a folder");
    let line = crate::rig::terminal(dir.path());
    let config = dir.path().join("tarebell.toml");
    let text = std::fs::read_to_string(&config).expect("settings");
    std::fs::write(&config, format!("{text}capacity_g = 330.0\n")).expect("settings");
    let mut rig = Rig::start_with(dir.path(), line);
    let asked = json!({ "name": "n", "bare_g": [290, 312], "coat": { "by": "direct", "slop_g": 20.0 } });
    let id = rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
    let begun = rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    let warned = begun["warnings"].as_array().expect("a list");
    assert!(
        warned.iter().any(|w| {
            w.as_str().is_some_and(|w| w.contains("330 g") && w.contains("312.0 g") && w.contains("333.0 g"))
        }),
        "{warned:?}"
    );
    assert_eq!(rig.get("/api/now")["batch"], json!(id), "it never refuses");
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    // Known from the log: 300 g, which fits with 20 g and not with 40 g.
    let first = begin(&rig, json!({}));
    a_piece(&mut rig, &first);
    rig.post(&format!("/api/batches/{first}/end"), json!({}));
    for (slop_g, warned) in [(20.0, false), (40.0, true)] {
        let asked = json!({ "name": "invented cups", "coat": { "by": "direct", "slop_g": slop_g } });
        let id = rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
        let begun = rig.post(&format!("/api/batches/{id}/begin"), json!({}));
        assert_eq!(begun["warnings"].to_string().contains("carries 330 g"), warned, "{begun}");
        rig.post(&format!("/api/batches/{id}/end"), json!({}));
    }
}

#[test]
fn numbers_left_out_at_once_are_each_another_one() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let batch = rig.begin_batch(20);
    rig.send(1.2, |_| 0.0);
    let path = format!("/api/batches/{batch}/skip");
    let left_out = || rig.post(&path, json!({}))["left_out"].as_u64().expect("a number");
    let mut numbers: Vec<u64> = std::thread::scope(|scope| {
        let asked: Vec<_> = (0..8).map(|_| scope.spawn(left_out)).collect();
        asked.into_iter().map(|one| one.join().expect("an answer")).collect()
    });
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=8).collect::<Vec<u64>>());
    assert_eq!(rig.get("/api/now")["piece"], 9);
}
