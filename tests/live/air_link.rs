//! A scale in the air, from the search to a whole batch.

use crate::air::{ADDRESS, Air, Bus, NAME, Radio, SERVICE, Scale};
use crate::air_rig::{Hall, by_address, by_name, run_on, says, start, until};
use crate::pan::Pan;
use crate::rig::{Heard, Rig};
use rustix::process::Signal;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::store::Reader;

/// How long the steady reading goes on; a longer run by TAREBELL_AIR_SECONDS.
fn steady() -> Duration {
    let told = std::env::var("TAREBELL_AIR_SECONDS").ok().map(|s| s.parse().expect("seconds"));
    Duration::from_secs(told.unwrap_or(5))
}

#[test]
fn a_scale_is_found_by_its_name_and_read_without_a_gap_and_nothing_is_written_to_it() {
    let from = Instant::now();
    let hall = Hall::live(&by_name());
    println!("first weight {:?} after the start", from.elapsed());
    let (sent, read) = (
        || hall.air.knobs(0).sent.load(Ordering::SeqCst),
        || hall.rig.get("/api/now")["scale"]["readings"].as_u64().expect("a count"),
    );
    let (sent_from, read_from) = (sent(), read());
    let end = Instant::now() + steady();
    while Instant::now() < end {
        let scale = hall.rig.get("/api/now")["scale"].clone();
        assert_eq!(scale["state"], "live", "{scale}");
        std::thread::sleep(Duration::from_millis(50));
    }
    let (sent_now, read_now) = (sent() - sent_from, read() - read_from);
    println!("{sent_now} sent, {read_now} read");
    // One may be on its way at either end.
    assert!(sent_now >= 9 * steady().as_secs() && sent_now.abs_diff(read_now) <= 1, "{sent_now} {read_now}");
    let scale = hall.rig.get("/api/scale");
    assert_eq!((&scale["signal_dbm"], &scale["battery_percent"]), (&(-55).into(), &80.into()), "{scale}");
    assert_eq!((&scale["mass_g"], &scale["skipped"]), (&0.4.into(), &0.into()), "{scale}");
    assert_eq!(hall.air.knobs(0).writes.load(Ordering::SeqCst), 0);
}

#[test]
fn a_battery_that_tells_its_charge_by_itself_is_listened_to_and_read_only_once() {
    let hall = Hall::live(&by_name());
    hall.until("its charge", |scale| scale["battery_percent"] == 80);
    let told = Instant::now();
    hall.air.tell_charge(79);
    hall.until("its new charge", |scale| scale["battery_percent"] == 79);
    // Asked for, it would come after a minute.
    assert!(told.elapsed() < Duration::from_secs(5), "{:?}", told.elapsed());
    assert_eq!(hall.air.knobs(0).battery_reads.load(Ordering::SeqCst), 1);
}

#[test]
fn a_scale_that_asks_for_receipts_is_found_by_its_service_and_one_without_a_battery_tells_none() {
    let settings = format!("[scale]\nlink = \"ble\"\nservice = \"{SERVICE}\"\n");
    let scale = Scale { indicates: true, battery: None, ..Scale::default() };
    let hall = Hall::start(&settings, Radio::On, &[scale]);
    hall.until("live", |scale| scale["state"] == "live");
    let scale = hall.rig.get("/api/scale");
    assert_eq!((&scale["signal_dbm"], &scale["battery_percent"]), (&(-55).into(), &serde_json::Value::Null));
}

#[test]
fn the_standards_weight_scale_is_read_as_its_service_says() {
    let scale = Scale { standard: true, indicates: true, ..Scale::default() };
    let settings = "[scale]\nlink = \"ble\"\nservice = \"181d\"\nlayout = \"standard\"\n";
    let mut hall = Hall::start(settings, Radio::On, &[scale]);
    // What is fed is text: no message of the standard.
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    // Weight Scale Service 1.0: flags 0 are SI units, then the weight in 5 g, low byte first: 100 counts.
    hall.air.send(&[0, 100, 0]);
    hall.until("half a kilogram", |scale| scale["mass_g"] == 500.0);
    // What its Weight Scale Feature says: code 6, 0.01 kg.
    hall.until("the step it promises", |scale| scale["promised_step_g"] == 10.0);
    // Coarser than the 5 g of the service, which is gone by where nothing is set: said, and once.
    hall.until("that it is coarse", |scale| says(scale, "says that it counts in 10 g"));
    assert_eq!(hall.times_said("it says that it counts in 10 g"), 1, "{}", hall.rig.said());
    // Limits that are 8 g off either way could be told apart by steps of 5 g, and not by those of 10 g.
    let wide = serde_json::json!({
        "name": "invented jars", "pieces": 1,
        "coat": { "by": "direct", "slop_g": 80.0 }, "tolerance": { "percent": 10.0 }
    });
    let batch = hall.rig.post("/api/batches", wide);
    let begin = format!("/api/batches/{}/begin", batch["id"].as_str().expect("an id"));
    let begun = hall.rig.post(&begin, serde_json::json!({})).to_string();
    assert!(begun.contains("counts in 10 g: too coarse"), "{begun}");
}

#[test]
fn text_without_line_ends_is_read_where_each_notification_is_a_whole_weight() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    for _ in 0..4 {
        hall.air.send(b"312.4 g");
    }
    hall.until("the fourth", |scale| scale["mass_g"] == 312.4);
    // One that lost its end or its beginning is none.
    for odd in [&b"319"[..], b"9.9 g"] {
        hall.air.send(odd);
    }
    std::thread::sleep(Duration::from_millis(500));
    let scale = hall.rig.get("/api/scale");
    assert_eq!((&scale["mass_g"], &scale["readings"]), (&312.4.into(), &1.into()), "{scale}");
}

#[test]
fn a_layout_told_in_the_settings_is_read_and_each_notification_is_one_message() {
    let layout =
        "{ mass = { offset = 1, bytes = 2, endian = \"big\", unit_g = 0.1 }, header = [0xA5], length = 3 }";
    let mut hall = Hall::start(&format!("{}layout = {layout}\n", by_name()), Radio::On, &[Scale::default()]);
    hall.until("text that is no message", |scale| scale["skipped"].as_u64() > Some(0));
    hall.feed = None;
    let skipped = hall.rig.get("/api/scale")["skipped"].as_u64().expect("a count");
    // Half a message, the other half, a whole one: only that is a reading.
    for message in [&[0xa5, 4][..], &[0xd2], &[0xa5, 0x04, 0xd3]] {
        hall.air.send(message);
    }
    hall.until("the reading", |scale| scale["mass_g"] == 123.5);
    let scale = hall.rig.get("/api/scale");
    assert_eq!((&scale["readings"], &scale["skipped"]), (&1.into(), &(skipped + 2).into()), "{scale}");
}

#[test]
fn of_two_with_one_name_none_is_taken_and_the_address_decides() {
    let other = Scale { address: "02:00:00:00:00:02", signal_dbm: -70, ..Scale::default() };
    let hall = Hall::start(&by_name(), Radio::On, &[Scale::default(), other.clone()]);
    hall.until_said("02:00:00:00:00:01 (-55 dBm), 02:00:00:00:00:02 (-70 dBm)");
    assert!(says(&hall.rig.get("/api/scale"), "set [scale] address"));
    std::thread::sleep(Duration::from_secs(4));
    assert_eq!(hall.times_said("more than one scale"), 1, "{}", hall.rig.said());
    assert_eq!([0, 1].map(|n| hall.air.knobs(n).connects.load(Ordering::SeqCst)), [0, 0]);
    drop(hall);
    let hall = Hall::start(&by_address(), Radio::On, &[Scale::default(), other]);
    hall.until("live", |scale| scale["state"] == "live");
    assert_eq!([0, 1].map(|n| hall.air.knobs(n).connects.load(Ordering::SeqCst)), [1, 0]);
}

#[test]
fn values_that_are_no_weight_are_counted_and_the_next_good_one_is_read() {
    let mut hall = Hall::live(&by_name());
    hall.feed = None;
    let counts = |hall: &Hall| {
        let scale = hall.rig.get("/api/scale");
        (scale["readings"].as_u64().expect("a count"), scale["skipped"].as_u64().expect("a count"))
    };
    let (readings, skipped) = counts(&hall);
    hall.air.send(b"");
    hall.air.send(&[0xff, 0x00, 0x9a, b'\n']);
    hall.air.send(b"no weight today\n");
    hall.air.send(&[b'7'; 512]);
    hall.air.send(b"\n12 34 g\n");
    // A line in three, and two in one.
    hall.air.send(b"4");
    hall.air.send(b"5.");
    hall.air.send(b"6 g\n45.7 g\n");
    hall.until("the last weight", |scale| scale["mass_g"] == 45.7);
    assert_eq!(counts(&hall), (readings + 2, skipped + 4));
}

#[test]
fn a_thousand_values_a_second_fill_no_memory_and_hold_up_nobody() {
    let mut hall = Hall::live(&by_name());
    let kilobytes = |rig: &Rig| {
        let status = std::fs::read_to_string(format!("/proc/{}/status", rig.child.id())).expect("status");
        let line = status.lines().find(|l| l.starts_with("VmRSS:")).expect("a line").to_owned();
        line.split_whitespace().nth(1).expect("a number").parse::<u64>().expect("a number")
    };
    // Warm: what is allocated once is there.
    std::thread::sleep(Duration::from_secs(1));
    let before = kilobytes(&hall.rig);
    let read = |hall: &Hall| hall.rig.get("/api/now")["scale"]["readings"].as_u64().expect("a count");
    let (from, read_from, sent_from) =
        (Instant::now(), read(&hall), hall.air.knobs(0).sent.load(Ordering::SeqCst));
    hall.feed = Some(crate::air_rig::Feed::start(&hall.air, 1000));
    let mut slowest = Duration::ZERO;
    while from.elapsed() < Duration::from_secs(5) {
        let asked = Instant::now();
        let scale = hall.rig.get("/api/now")["scale"].clone();
        slowest = slowest.max(asked.elapsed());
        assert_eq!(scale["state"], "live", "{scale}");
        std::thread::sleep(Duration::from_millis(20));
    }
    hall.feed = None;
    let sent = hall.air.knobs(0).sent.load(Ordering::SeqCst) - sent_from;
    let late = Instant::now();
    hall.until("all read", |scale| scale["readings"].as_u64() == Some(read_from + sent));
    let (late, grown) = (late.elapsed(), kilobytes(&hall.rig).saturating_sub(before));
    println!(
        "{sent} in {:?}; slowest answer {slowest:?}; last read {late:?} after; {grown} kB more",
        from.elapsed()
    );
    // Some 5000; on a busy machine the stand-in itself may fall behind.
    assert!(sent > 1000, "the stand-in sent only {sent}");
    assert!(
        slowest < Duration::from_millis(500) && late < Duration::from_millis(500),
        "{slowest:?} {late:?}"
    );
    assert!(grown < 20_000, "{grown} kB more");
}

fn potter(pieces: u32) -> Potter {
    let plant = Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default());
    Potter::new(plant, Script::of(pieces, 29.0))
}

#[test]
fn a_batch_of_six_is_tared_cued_and_logged_through_the_air() {
    let dir = tempfile::tempdir().expect("a folder");
    let bus = Bus::start(dir.path());
    let air = Air::start(&bus, Radio::On, &[Scale::default()]);
    // Three bytes to a notification: each line comes in parts.
    let mut rig = start(dir.path(), &by_name(), &bus.address(), Some(&air), 3);
    until(&rig, "connected", |scale| scale["state"] == "stale");
    let id = rig.begin_batch(6);
    let heard = rig.listen();
    let mut potter = potter(6);
    let shown = rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(90));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    assert_eq!(crate::rig::pieces(&shown), 6, "{shown:?}");
    let logged = Reader::open(dir.path()).expect("the log").pours(&id).expect("pours");
    for (pour, truth) in logged.iter().zip(potter.results()) {
        let net = pour.net.expect("a weight").g();
        println!("piece {}: {net:.2} g logged, {:.2} g poured", pour.piece, truth.net_g);
        // As over a cable: two readings of a 0.1 g scale at rest.
        assert!(
            (net - truth.net_g).abs() < 0.35,
            "piece {}: {net} logged, {} poured",
            pour.piece,
            truth.net_g
        );
        assert!(pour.guided && pour.settled && !pour.interrupted);
        assert_eq!(pour.piece, truth.piece);
        assert_eq!(pour.scale, NAME);
    }
    for truth in &potter.results()[3..] {
        assert!((truth.net_g - 29.0).abs() < 3.0, "{truth:?}");
    }
    assert_eq!((logged.len(), air.knobs(0).writes.load(Ordering::SeqCst)), (6, 0));
}

/// Waits for this cue; gives when it came.
fn cue(rig: &Rig, heard: &Receiver<Heard>, word: &str) -> Instant {
    let from = Instant::now();
    loop {
        assert!(from.elapsed() < Duration::from_secs(10), "no {word}: {}", rig.get("/api/now"));
        let message = heard.recv_timeout(Duration::from_secs(10)).expect("the stream goes on");
        if message.message["cue"] == word {
            return message.at;
        }
    }
}

#[test]
fn a_connection_that_breaks_in_mid_pour_is_a_fault_within_a_second_and_is_made_again() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    hall.rig.begin_batch(1);
    let heard = hall.rig.listen();
    let mut potter = potter(1);
    hall.rig.pour_until("pouring", &mut potter, &heard);
    let broken = Instant::now();
    hall.air.cut();
    let fault = cue(&hall.rig, &heard, "fault") - broken;
    assert!(fault < Duration::from_secs(1), "{fault:?}");
    // The hand has stopped; the scale says what it says.
    hall.feed = Some(crate::air_rig::Feed::start(&hall.air, 10));
    hall.until("live", |scale| scale["state"] == "live");
    println!("fault {fault:?} after the break, readings again after {:?}", broken.elapsed());
    assert_eq!(hall.rig.get("/api/now")["scale"]["trouble"], serde_json::Value::Null);
}

#[test]
fn a_scale_that_falls_silent_in_mid_pour_is_a_fault_within_a_second() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    hall.rig.begin_batch(1);
    let heard = hall.rig.listen();
    hall.rig.pour_until("pouring", &mut potter(1), &heard);
    // Nothing is said: values just no longer come.
    let silent = Instant::now();
    let fault = cue(&hall.rig, &heard, "fault") - silent;
    println!("fault {fault:?} after the last value");
    assert!(fault < Duration::from_secs(1), "{fault:?}");
}

#[test]
fn slop_left_on_the_pan_the_scales_own_tare_and_still_on_go_through_the_air_as_over_a_cable() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    let batch = hall.rig.begin_batch(2);
    let pan = Pan::on(&hall.rig);
    hall.until("live", |scale| scale["state"] == "live");
    pan.still(0.8);
    hall.rig.until("left on the pan", |now| now["pan_g"].as_f64().is_some_and(|g| (g - 0.8).abs() < 0.05));
    pan.still(0.0);
    hall.rig.until("wiped", |now| now["pan_g"].is_null());
    std::thread::sleep(Duration::from_millis(800));
    pan.still(312.4);
    hall.rig.until("ready", |now| now["phase"] == "ready");
    pan.still(0.0);
    let now = hall.rig.until("fault", |now| now["phase"] == "fault");
    assert!(now["offered_g"].as_f64().is_some_and(|g| (g - 312.4).abs() < 0.15), "{now}");
    hall.rig.post(&format!("/api/batches/{batch}/still-on"), serde_json::json!({}));
    hall.rig.until("ready again", |now| now["phase"] == "ready");
    // A hand waits for it.
    std::thread::sleep(Duration::from_millis(400));
    pan.runs(8.0, 28.9);
    hall.rig.until("weighed", |now| now["phase"] == "done");
    let pours = hall.rig.weighed(&batch);
    assert!(pours[0]["net_g"].as_f64().is_some_and(|g| (g - 28.9).abs() < 0.2), "{pours}");
    assert_eq!(pours[0]["verdict"], "good", "{pours}");
}

#[test]
fn doctor_beside_a_daemon_that_listens_leaves_its_scale_alone() {
    let hall = Hall::live(&by_name());
    std::fs::write(hall.dir.path().join("tarebell.toml"), by_name()).expect("settings");
    let data = hall.dir.path().to_str().expect("a path");
    let (code, text, _) = run_on(&hall.bus.address(), &["doctor", "--no-sound", "--data", data]);
    assert_eq!(code, Some(0), "{text}");
    assert_eq!(hall.rig.get("/api/scale")["state"], "live");
    let knobs = hall.air.knobs(0);
    assert_eq!((knobs.connects.load(Ordering::SeqCst), knobs.disconnects.load(Ordering::SeqCst)), (1, 0));
}

#[test]
fn the_end_of_the_daemon_lets_the_scale_go_so_that_others_find_it() {
    let mut hall = Hall::live(&by_name());
    let (code, took) = hall.rig.stop(Signal::TERM);
    assert_eq!(code, Some(0), "{}", hall.rig.said());
    println!("stopped in {took:?}");
    assert!(took < Duration::from_secs(2), "{took:?}");
    assert_eq!(hall.air.knobs(0).disconnects.load(Ordering::SeqCst), 1);
    assert!(!hall.rig.said().contains("panicked"), "{}", hall.rig.said());
}

#[test]
fn a_scale_that_a_killed_daemon_left_connected_is_taken_over() {
    let dir = tempfile::tempdir().expect("a folder");
    let bus = Bus::start(dir.path());
    let air = Air::start(&bus, Radio::On, &[Scale::default()]);
    let _feed = crate::air_rig::Feed::start(&air, 10);
    for _ in 0..2 {
        let mut rig = start(dir.path(), &by_address(), &bus.address(), Some(&air), 20);
        until(&rig, "live", |scale| scale["state"] == "live");
        rig.child.kill().expect("our own child");
    }
}

#[test]
fn scales_and_doctor_say_what_is_in_the_air_and_how_it_is_heard() {
    let dir = tempfile::tempdir().expect("a folder");
    let bus = Bus::start(dir.path());
    let other =
        Scale { address: "02:00:00:00:00:02", name: "invented other", signal_dbm: -70, ..Scale::default() };
    let air: Arc<Air> = Air::start(&bus, Radio::On, &[other, Scale::default()]);
    let (code, list, said) = run_on(&bus.address(), &["scales", "--json"]);
    assert_eq!((code, said.as_str()), (Some(0), ""));
    let list: serde_json::Value = serde_json::from_str(&list).expect("JSON");
    let in_air: Vec<_> = list.as_array().expect("a list").iter().filter(|f| f["link"] == "ble").collect();
    assert_eq!(in_air.len(), 2, "{list}");
    // The nearest first.
    let first = in_air[0];
    assert_eq!((&first["address"], &first["name"]), (&ADDRESS.into(), &NAME.into()));
    assert_eq!((&first["signal_dbm"], &first["connected"]), (&(-55).into(), &false.into()));
    let services = first["services"].as_array().expect("a list");
    let battery = services.iter().find(|s| s["service"] == "180f").expect("the battery");
    assert_eq!((&battery["name"], services.len()), (&"battery".into(), 2), "{first}");
    let (_, text, _) = run_on(&bus.address(), &["scales"]);
    assert!(text.contains(NAME) && text.contains("-55 dBm") && text.contains("180f (battery)"), "{text}");

    std::fs::write(dir.path().join("tarebell.toml"), by_address()).expect("settings");
    let data = dir.path().to_str().expect("a path");
    let doctor = || run_on(&bus.address(), &["doctor", "--no-sound", "--data", data]);
    let (code, text, _) = doctor();
    assert!(code == Some(0) && text.contains("adapter is on") && text.contains("-55 dBm"), "{text}");
    air.power(false);
    let (code, text, _) = doctor();
    assert!(code == Some(1) && text.contains("adapter is off"), "{text}");
    assert_eq!(air.switched_on(), 0);
    let (code, _, said) = run_on(&bus.address(), &["scales"]);
    assert!(code == Some(0) && said.contains("adapter is off"), "{said}");
    drop(air);
    let (code, text, _) = doctor();
    assert!(code == Some(1) && text.contains("not running"), "{text}");
}
