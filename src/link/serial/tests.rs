//! Tests of the link on pseudo-terminals.

use super::*;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::Write;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// Longest wait for what the bench shows in at most 1 s.
const WAIT: Duration = Duration::from_secs(5);

fn terminal() -> (File, String) {
    let line = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
    grantpt(&line).unwrap();
    unlockpt(&line).unwrap();
    let port = ptsname(&line, Vec::new()).unwrap().into_string().unwrap();
    (File::from(line), port)
}

fn settings(port: &str, ask: Option<(String, Duration)>) -> Serial {
    let framing = Framing { data_bits: 8, parity: 'N', stop_bits: 1 };
    Serial { port: port.to_owned(), baud: 9600, framing, ask }
}

fn start(cfg: Serial) -> UnboundedReceiver<LinkEvent> {
    let (to, told) = unbounded_channel();
    tokio::spawn(run(cfg, || Instant::START, move |event| drop(to.send(event))));
    told
}

async fn next(told: &mut UnboundedReceiver<LinkEvent>) -> LinkEvent {
    tokio::time::timeout(WAIT, told.recv()).await.expect("an event").expect("it runs on")
}

#[tokio::test]
async fn a_port_in_use_is_said_once_and_taken_when_it_is_free() {
    let (mut line, port) = terminal();
    let other = open(&settings(&port, None)).unwrap();
    let mut told = start(settings(&port, None));
    let LinkEvent::Down { reason, try_this } = next(&mut told).await else { panic!() };
    assert!(
        reason.contains("in use") && try_this.contains("close the other program"),
        "{reason}; {try_this}"
    );
    // Tries after 0.25 and 0.75 s.
    tokio::time::sleep(Duration::from_millis(1100)).await;
    assert!(told.try_recv().is_err(), "said once");
    drop(other);
    assert_eq!(next(&mut told).await, LinkEvent::Up);
    line.write_all(b"1.2 g\r\n").unwrap();
    assert!(matches!(next(&mut told).await, LinkEvent::Bytes { .. }));
}

/// Puts ever new terminals in one place, each of which dies 20 ms after the next is there.
fn flap(place: &std::path::Path, until: std::time::Instant) {
    let mut before = None;
    while std::time::Instant::now() < until {
        let (line, port) = terminal();
        let new = place.with_extension("new");
        std::os::unix::fs::symlink(&port, &new).unwrap();
        std::fs::rename(&new, place).unwrap();
        std::thread::sleep(Duration::from_millis(20));
        before = Some(line);
    }
    drop(before);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_port_that_opens_and_dies_at_once_is_said_once_and_never_told_as_up() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("port");
    let (end, there) = (std::time::Instant::now() + Duration::from_millis(2500), place.clone());
    let flapping = tokio::task::spawn_blocking(move || flap(&there, end));
    while !place.exists() {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    let mut told = start(settings(&place.display().to_string(), None));
    // Tries at 0, 0.25, 0.75 and 1.75 s.
    tokio::time::sleep(Duration::from_millis(2200)).await;
    let said: Vec<_> = std::iter::from_fn(|| told.try_recv().ok()).collect();
    assert!(
        matches!(&said[..], [LinkEvent::Down { reason, .. }] if reason.contains("unplugged")),
        "{said:?}"
    );
    flapping.await.unwrap();
}

#[tokio::test]
async fn a_scale_that_takes_no_bytes_is_still_read() {
    let (mut line, port) = terminal();
    // Nobody reads the near end, so a question larger than the terminal's buffer never gets through.
    let mut told = start(settings(&port, Some(("?".repeat(100_000), Duration::from_millis(20)))));
    assert_eq!(next(&mut told).await, LinkEvent::Up);
    // By now it has asked several times over and is stuck.
    tokio::time::sleep(Duration::from_millis(200)).await;
    for n in 0..3 {
        line.write_all(b"1.2 g\r\n").unwrap();
        assert!(matches!(next(&mut told).await, LinkEvent::Bytes { .. }), "reading {n}");
    }
}

#[test]
fn every_way_a_port_is_refused_has_its_own_words() {
    use std::io::ErrorKind as Io;
    use tokio_serial::{Error, ErrorKind};
    // The texts are the system's, from memory.
    for (kind, text, words) in [
        (ErrorKind::Io(Io::PermissionDenied), "Permission denied", "no permission"),
        (ErrorKind::Io(Io::PermissionDenied), "", "no permission"),
        (ErrorKind::Io(Io::NotFound), "No such file or directory", "is not there"),
        (ErrorKind::NoDevice, "No such file or directory", "is not there"),
        (ErrorKind::NoDevice, "Device or resource busy", "in use"),
        (ErrorKind::NoDevice, "Unable to acquire exclusive lock on serial port", "in use"),
        (ErrorKind::InvalidInput, "a made-up reason", "a made-up reason"),
    ] {
        let sorted = sort("/dev/made-up", &Error::new(kind, text));
        let said = sorted.to_string();
        assert!(said.contains("/dev/made-up") && said.contains(words), "{kind:?} '{text}': {said}");
        assert!(sorted.try_this().len() > 20, "{sorted:?}");
    }
    let refused = sort("/dev/made-up", &Error::new(ErrorKind::Io(Io::PermissionDenied), ""));
    assert!(refused.try_this().contains("group that owns it"));
}
