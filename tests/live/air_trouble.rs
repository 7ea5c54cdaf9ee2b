//! What goes wrong between here and a scale in the air: said once in plain words, and mended by itself.

use crate::air::{Air, Bus, Radio, Scale};
use crate::air_rig::{Hall, WAIT, by_address, by_name, says, start, until};
use crate::rig::Rig;
use rustix::process::Signal;
use std::os::unix::net::UnixListener;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

fn live(hall: &Hall) -> Duration {
    hall.until("live", |scale| scale["state"] == "live")
}

/// Waits until it is lost with these words; it says them once, however long it lasts.
fn lost_and_said_once(rig: &Rig, words: &str) {
    until(rig, words, |scale| scale["state"] == "lost" && says(scale, words));
    // Tried again after 0.25, 0.75, 1.75 s and so on.
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(rig.said().matches(words).count(), 1, "{}", rig.said());
}

#[test]
fn a_broken_connection_is_made_again_each_time() {
    // More of them by TAREBELL_AIR_BREAKS: the library now and then panics in a task of its own over one.
    let breaks = std::env::var("TAREBELL_AIR_BREAKS").ok().map_or(5, |n| n.parse().expect("a number"));
    let hall = Hall::live(&by_name());
    for n in 1..=breaks {
        let from = Instant::now();
        hall.air.cut();
        hall.until("lost", |scale| scale["state"] == "lost");
        let lost = from.elapsed();
        live(&hall);
        println!("break {n}: lost after {lost:?}, live again after {:?}", from.elapsed());
        assert!(lost < Duration::from_secs(1) && from.elapsed() < Duration::from_secs(10));
    }
    assert_eq!(hall.air.knobs(0).connects.load(Ordering::SeqCst), breaks + 1);
    assert!(!hall.rig.said().contains("panicked"), "{}", hall.rig.said());
}

#[test]
fn an_adapter_that_is_switched_off_is_said_left_off_and_used_once_it_is_on() {
    let hall = Hall::live(&by_name());
    let from = Instant::now();
    hall.air.power(false);
    hall.until("lost", |scale| scale["state"] == "lost");
    let lost = from.elapsed();
    lost_and_said_once(&hall.rig, "the Bluetooth adapter is off");
    let scale = hall.rig.get("/api/scale");
    assert!(scale["signal_dbm"].is_null() && scale["battery_percent"].is_null(), "of before: {scale}");
    assert_eq!(hall.air.switched_on(), 0, "whoever switched it off had a reason");
    let from = Instant::now();
    hall.air.power(true);
    live(&hall);
    println!("off: lost after {lost:?}; on: live after {:?}", from.elapsed());
    assert_eq!(hall.air.switched_on(), 0);
}

#[test]
fn a_scale_that_the_system_forgets_without_a_word_is_lost_soon_and_found_again() {
    let hall = Hall::live(&by_name());
    let from = Instant::now();
    hall.air.vanish();
    hall.until_said("is gone");
    let lost = from.elapsed();
    live(&hall);
    println!("forgotten: lost after {lost:?}, live again after {:?}", from.elapsed());
    // Looked at every second.
    assert!(lost < Duration::from_secs(5), "{lost:?}");
}

#[test]
fn a_scale_that_comes_back_with_another_address_is_found_by_its_name_again() {
    let mut hall = Hall::live(&by_name());
    hall.feed = None;
    hall.air.die();
    let scale = Scale { address: "02:00:00:00:00:03", ..Scale::default() };
    let air = Air::start(&hall.bus, Radio::On, &[scale]);
    hall.feed = Some(crate::air_rig::Feed::start(&air, 10));
    hall.until("lost", |scale| scale["state"] == "lost");
    println!("with another address: live after {:?}", live(&hall));
    assert_eq!(air.knobs(0).connects.load(Ordering::SeqCst), 1);
}

#[test]
fn a_bluetooth_service_that_dies_is_said_and_used_again_when_it_is_back() {
    let hall = Hall::live(&by_name());
    let from = Instant::now();
    hall.air.die();
    hall.until("lost", |scale| scale["state"] == "lost");
    let lost = from.elapsed();
    lost_and_said_once(&hall.rig, "Bluetooth service is not running");
    let from = Instant::now();
    hall.air.begin(&hall.bus, Radio::On);
    live(&hall);
    println!("service dead: lost after {lost:?}; back: live after {:?}", from.elapsed());
}

#[test]
fn a_bus_that_dies_is_said_and_used_again_when_it_is_back() {
    let mut hall = Hall::live(&by_name());
    let from = Instant::now();
    hall.bus.kill();
    hall.until("lost", |scale| scale["state"] == "lost");
    let lost = from.elapsed();
    lost_and_said_once(&hall.rig, "message bus is not there");
    hall.air.die();
    hall.bus.again();
    hall.air.begin(&hall.bus, Radio::On);
    let from = Instant::now();
    live(&hall);
    println!("bus dead: lost after {lost:?}; back: live after {:?}", from.elapsed());
    assert!(!hall.rig.said().contains("panicked"), "{}", hall.rig.said());
}

#[test]
fn a_connection_that_hangs_is_given_up_after_ten_seconds_and_tried_again() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.air.knobs(0).hang.store(true, Ordering::SeqCst);
    let said = hall.until_said("does not answer");
    println!("hanging connection: said after {said:?}");
    // Given up after 10 s; five times that.
    assert!(said < Duration::from_secs(50), "{said:?}");
    hall.air.knobs(0).hang.store(false, Ordering::SeqCst);
    println!("let go: live after {:?}", live(&hall));
    // While it hangs again the daemon still stops in time.
    hall.air.knobs(0).hang.store(true, Ordering::SeqCst);
    hall.air.cut();
    hall.until("lost", |scale| scale["state"] == "lost");
    std::thread::sleep(Duration::from_millis(500));
    let (code, took) = hall.rig.stop(Signal::TERM);
    println!("stopped in {took:?} while it hung");
    assert!(code == Some(0) && took < Duration::from_secs(2), "{code:?} {took:?}");
}

#[test]
fn a_scale_that_never_sends_is_said_to_be_silent_and_read_as_soon_as_it_sends() {
    let hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.air.knobs(0).mute.store(true, Ordering::SeqCst);
    let told = hall.until("stale", |scale| scale["state"] == "stale" && says(scale, "sends nothing"));
    let given_up = hall.until_said("is connected but sends nothing");
    println!("never sends: told after {told:?}, connected anew after {given_up:?}");
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(hall.times_said("is connected but sends nothing"), 1);
    hall.air.knobs(0).mute.store(false, Ordering::SeqCst);
    println!("sends: live after {:?}", live(&hall));
}

#[test]
fn without_a_bus_it_says_so_serves_all_the_same_and_takes_up_each_part_as_it_comes() {
    let dir = tempfile::tempdir().expect("a folder");
    let address = format!("unix:path={}", dir.path().join("bus").display());
    let rig = start(dir.path(), &by_address(), &address, None, 20);
    lost_and_said_once(&rig, "message bus is not there");
    let bus = Bus::start(dir.path());
    lost_and_said_once(&rig, "Bluetooth service is not running");
    let air = Air::start(&bus, Radio::Absent, &[Scale::default()]);
    lost_and_said_once(&rig, "no Bluetooth adapter found");
    air.die();
    air.begin(&bus, Radio::Off);
    lost_and_said_once(&rig, "the Bluetooth adapter is off");
    assert_eq!(air.switched_on(), 0);
    let _feed = crate::air_rig::Feed::start(&air, 10);
    air.power(true);
    println!("on: live after {:?}", until(&rig, "live", |scale| scale["state"] == "live"));
}

#[test]
fn a_scale_that_is_not_in_reach_is_said_once_with_what_to_try() {
    let settings = "[scale]\nlink = \"ble\"\nname = \"invented and far away\"\n";
    let hall = Hall::start(settings, Radio::On, &[Scale::default()]);
    let said = hall.until_said("'invented and far away' is not in reach");
    println!("not in reach: said after {said:?}");
    assert!(says(&hall.rig.get("/api/scale"), "tarebell scales"));
}

#[test]
fn an_adapter_that_will_not_search_is_said_with_the_reason_and_asked_again() {
    let hall = Hall::live(&by_name());
    hall.air.knobs(0).no_search.store(true, Ordering::SeqCst);
    hall.air.vanish();
    hall.until_said("the Bluetooth adapter won't search: a made-up reason");
    assert!(!hall.rig.said().contains("can't be connected: a made-up reason"), "{}", hall.rig.said());
    hall.air.knobs(0).no_search.store(false, Ordering::SeqCst);
    println!("searches: live after {:?}", live(&hall));
}

#[test]
fn without_permission_it_says_which_group_helps() {
    let dir = tempfile::tempdir().expect("a folder");
    let bus = Bus::start_forbidding(dir.path());
    let _air = Air::start(&bus, Radio::On, &[Scale::default()]);
    let rig = start(dir.path(), &by_address(), &bus.address(), None, 20);
    lost_and_said_once(&rig, "no permission to use Bluetooth");
    assert!(says(&rig.get("/api/scale"), "group bluetooth"));
}

#[test]
fn a_service_that_never_answers_is_said_once_and_the_tries_leave_nothing_open() {
    let dir = tempfile::tempdir().expect("a folder");
    let bus = Bus::start(dir.path());
    let air = Air::start(&bus, Radio::Deaf, &[Scale::default()]);
    let rig = start(dir.path(), &by_name(), &bus.address(), Some(&air), 20);
    lost_and_said_once(&rig, "Bluetooth service does not answer");
    let open = || std::fs::read_dir(format!("/proc/{}/fd", rig.child.id())).expect("a folder").count();
    let before = open();
    // Some four tries, each of which opens a new way to the bus: a socket and what waits for it.
    std::thread::sleep(Duration::from_secs(20));
    let after = open();
    println!("never answers: {before} open, {after} after 20 s more");
    assert!(after <= before + 4, "{before} open, then {after}");
    assert_eq!(rig.said().matches("does not answer").count(), 1, "{}", rig.said());
    air.die();
    air.begin(&bus, Radio::On);
    let _feed = crate::air_rig::Feed::start(&air, 10);
    println!("answers: live after {:?}", until(&rig, "live", |scale| scale["state"] == "live"));
}

#[test]
fn a_bus_that_takes_calls_and_never_answers_is_said_and_holds_up_no_stop() {
    let dir = tempfile::tempdir().expect("a folder");
    let socket = dir.path().join("bus");
    let _deaf = UnixListener::bind(&socket).expect("a socket");
    let mut rig = start(dir.path(), &by_address(), &format!("unix:path={}", socket.display()), None, 20);
    let said = until(&rig, "lost", |scale| scale["state"] == "lost" && says(scale, "does not answer"));
    let (code, took) = rig.stop(Signal::TERM);
    println!("deaf bus: said after {said:?}, stopped in {took:?}");
    assert!(code == Some(0) && took < Duration::from_secs(2) && said < WAIT, "{code:?} {took:?}");
}

#[test]
fn a_scale_that_is_cut_off_while_its_services_are_loaded_is_said_to_be_lost_just_then() {
    let hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    let knobs = hall.air.knobs(0);
    knobs.never_loaded.store(true, Ordering::SeqCst);
    let connected = Instant::now();
    while knobs.connects.load(Ordering::SeqCst) == 0 {
        assert!(connected.elapsed() < WAIT, "never connected");
        std::thread::sleep(Duration::from_millis(20));
    }
    // Seen to be connected: it is looked at every 100 ms.
    std::thread::sleep(Duration::from_millis(600));
    let cut = Instant::now();
    hall.air.cut();
    hall.until_said("was lost while its services were being loaded");
    let said = cut.elapsed();
    println!("cut while loading: said after {said:?}");
    assert!(said < Duration::from_secs(2), "{said:?}");
    knobs.never_loaded.store(false, Ordering::SeqCst);
    // What was loading when that was let go is given up too.
    hall.air.cut();
    println!("then live after {:?}", live(&hall));
}

#[test]
fn a_scale_that_is_cut_off_as_it_is_subscribed_to_is_lost_and_not_refused() {
    let hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.air.knobs(0).cut_instead.store(true, Ordering::SeqCst);
    live(&hall);
    assert_eq!(hall.times_said("was lost while its services were being loaded"), 1, "{}", hall.rig.said());
    assert_eq!(hall.times_said("can't be connected") + hall.times_said("refuses"), 0, "{}", hall.rig.said());
}

#[test]
fn a_subscription_that_is_refused_is_said_with_the_reason_and_asked_for_again() {
    let hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.air.knobs(0).refuse.store(true, Ordering::SeqCst);
    lost_and_said_once(&hall.rig, "refuses to send its values");
    let scale = hall.rig.get("/api/scale");
    assert!(says(&scale, "a made-up reason") && says(&scale, "switch the scale off and on"), "{scale}");
    hall.air.knobs(0).refuse.store(false, Ordering::SeqCst);
    println!("no more refused: live after {:?}", live(&hall));
}

#[test]
fn a_service_without_characteristics_is_named_and_the_battery_is_not_offered_for_a_weight() {
    let scale = Scale { bare: true, ..Scale::default() };
    let hall = Hall::start(&by_name(), Radio::On, &[scale]);
    hall.until_said("has nothing to listen to");
    let scale = hall.rig.get("/api/scale");
    assert!(says(&scale, &format!("{} without characteristics", crate::air::SERVICE)), "{scale}");
    assert!(!says(&scale, "180f") && !says(&scale, "2a19"), "{scale}");
}

#[test]
fn a_signal_that_is_not_known_is_no_number_and_the_scale_is_found_all_the_same() {
    for signal_dbm in [127, 32767] {
        let scale = Scale { signal_dbm, ..Scale::default() };
        let hall = Hall::start(&by_name(), Radio::On, &[scale]);
        live(&hall);
        // The signal is asked for at once after connecting.
        hall.until("its battery", |scale| scale["battery_percent"] == 80);
        let scale = hall.rig.get("/api/scale");
        assert!(scale["signal_dbm"].is_null(), "{scale}");
    }
}

#[test]
fn a_scale_that_sends_every_two_seconds_is_said_to_be_too_slow_and_never_to_be_silent() {
    let mut hall = Hall::start(&by_name(), Radio::On, &[Scale::default()]);
    hall.feed = None;
    hall.until("connected", |scale| scale["state"] == "stale");
    let from = Instant::now();
    let mut said = Vec::new();
    for n in 0..7_u32 {
        hall.air.send(b"123.4 g\r\n");
        while from.elapsed() < 2 * (n + 1) * Duration::from_secs(1) {
            // The line that was cut by the connection may be dropped: then nothing was read yet.
            if n > 0 {
                let scale = hall.rig.get("/api/scale");
                said.push(scale["trouble"].as_str().unwrap_or_default().to_owned());
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }
    assert!(!said.iter().any(|s| s.contains("sends nothing")), "{said:?}");
    assert!(said.last().is_some_and(|s| s.contains("under 4 readings a second")), "{said:?}");
    assert_eq!(hall.air.knobs(0).connects.load(Ordering::SeqCst), 1);
}
