//! Serial ports that give no weight, and what is said of them.

use crate::rig::Rig;
use rustix::fs::{FlockOperation, flock};
use std::fs::File;
use std::io::Write;
use std::time::{Duration, Instant};

/// Writes until the snapshot's scale is as wanted.
fn write_until(rig: &mut Rig, bytes: &[u8], wanted: impl Fn(&serde_json::Value) -> bool) {
    let end = Instant::now() + Duration::from_secs(20);
    loop {
        let scale = rig.get("/api/now")["scale"].clone();
        if wanted(&scale) {
            return;
        }
        assert!(Instant::now() < end, "{scale}");
        rig.line.write_all(bytes).expect("the line is open");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn says(scale: &serde_json::Value, words: &str) -> bool {
    scale["trouble"].as_str().is_some_and(|trouble| trouble.contains(words))
}

#[test]
fn a_wrong_baud_rate_is_counted_and_named_with_and_without_line_ends() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    // What a line looks like at another rate: bytes that are no text (invented).
    write_until(&mut rig, b"\x9a\xf3\x1e\xe6\xb3\xfe", |scale| says(scale, "baud rate"));
    assert_eq!(rig.get("/api/now")["scale"]["skipped"], 0, "no line has ended");
    write_until(&mut rig, b"\x9a\xf3\x1e\xe6\n", |scale| {
        says(scale, "baud rate") && scale["skipped"].as_u64() > Some(2)
    });
    let scale = rig.get("/api/now")["scale"].clone();
    assert_eq!((&scale["readings"], &scale["mass_g"]), (&0.into(), &serde_json::Value::Null), "{scale}");
    write_until(&mut rig, b"12.3 g\r\n", |scale| scale["state"] == "live" && scale["trouble"].is_null());
}

#[test]
fn a_port_that_another_program_has_is_said_once_and_read_as_soon_as_it_is_free() {
    let dir = tempfile::tempdir().expect("a folder");
    let line = crate::rig::terminal(dir.path());
    let port = dir.path().join(crate::rig::PORT);
    let options = rustix::fs::OFlags::RDWR | rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::CLOEXEC;
    let other = File::from(rustix::fs::open(port, options, rustix::fs::Mode::empty()).expect("the port"));
    flock(&other, FlockOperation::NonBlockingLockExclusive).expect("the other program's lock");
    let mut rig = Rig::start_with(dir.path(), line);
    let end = Instant::now() + Duration::from_secs(20);
    while rig.get("/api/now")["scale"]["state"] != "lost" {
        assert!(Instant::now() < end, "{}", rig.get("/api/now"));
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(says(&rig.get("/api/now")["scale"], "in use by another program"));
    // It is tried again after 0.25, 0.75 and 1.75 s.
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(rig.said().matches("in use by another program").count(), 1, "{}", rig.said());
    drop(other);
    write_until(&mut rig, b"12.3 g\r\n", |scale| scale["state"] == "live");
}
