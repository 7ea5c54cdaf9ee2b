//! Loudspeakers of the live stream's clients: how early cues are announced, and who is told of what can't be.

use crate::rig::{Rig, terminal};
use crate::sound::warnings;
use serde_json::{Value, json};
use std::io::Write as _;
use std::net::TcpStream;
use std::time::{Duration, Instant};
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

/// A client that says how its loudspeaker is.
struct Client(WebSocket<MaybeTlsStream<TcpStream>>);

impl Client {
    fn of(rig: &Rig) -> Self {
        Self(tungstenite::connect(format!("ws://{}/api/live", rig.address)).expect("live").0)
    }

    fn say(&mut self, text: &str) {
        self.0.send(Message::text(text)).expect("sent");
    }

    fn sound(&mut self, on: bool, latency_us: u64) {
        self.say(&json!({ "kind": "sound", "on": on, "latency_us": latency_us }).to_string());
    }

    /// The next message of this kind.
    fn next(&mut self, kind: &str) -> Value {
        let end = Instant::now() + Duration::from_secs(10);
        loop {
            assert!(Instant::now() < end, "no {kind} came");
            let text = self.0.read().expect("a message").into_text().expect("text");
            let message: Value = serde_json::from_str(text.as_str()).expect("JSON");
            if message["kind"] == kind {
                return message;
            }
        }
    }
}

fn rig(dir: &std::path::Path) -> Rig {
    let line = terminal(dir);
    Rig::start_with(dir, line)
}

/// Waits until so many clients are heard; gives how early cues are announced then, in ms.
fn ahead_ms(rig: &Rig, clients: u64) -> u64 {
    let end = Instant::now() + Duration::from_secs(5);
    loop {
        let sound = rig.get("/api/now")["sound"].clone();
        if sound["clients"] == clients {
            return sound["ahead_us"].as_u64().expect("us") / 1000;
        }
        assert!(Instant::now() < end, "never {clients}: {sound}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn the_latest_loudspeaker_sets_how_early_cues_come_and_one_that_left_no_longer_counts() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let (mut near, mut far) = (Client::of(&rig), Client::of(&rig));
    assert_eq!(ahead_ms(&rig, 0), 0);
    near.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    far.sound(true, 900_000);
    // By contract at most 250 ms.
    assert_eq!(ahead_ms(&rig, 2), 250);
    drop(far);
    assert_eq!(ahead_ms(&rig, 1), 40);
    near.sound(false, 40_000);
    assert_eq!(ahead_ms(&rig, 0), 0);
    // A client killed without a goodbye leaves too.
    near.sound(true, 60_000);
    assert_eq!(ahead_ms(&rig, 1), 60);
    let Client(socket) = near;
    let MaybeTlsStream::Plain(stream) = socket.get_ref() else { panic!("no TLS here") };
    stream.shutdown(std::net::Shutdown::Both).expect("shut");
    assert_eq!(ahead_ms(&rig, 0), 0);
}

#[test]
fn a_loudspeaker_that_comes_in_mid_batch_has_the_next_cues_announced_earlier() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = rig(dir.path());
    rig.begin_batch(2);
    let (mut speaker, mut watch) = (Client::of(&rig), Client::of(&rig));
    // A lift shows over several readings.
    let lifted =
        ["180.3", "66.4", "24.1", "8.8", "3.1", "0.9"].into_iter().chain(std::iter::repeat_n("0.0", 20));
    let ready = |rig: &mut Rig, watch: &mut Client| {
        for g in lifted.clone().chain(std::iter::repeat_n("300.0", 20)) {
            rig.line.write_all(format!("{g} g\r\n").as_bytes()).expect("written");
            std::thread::sleep(Duration::from_millis(100));
        }
        let cue = watch.next("cue");
        assert_eq!(cue["cue"], "ready");
        cue["due_us"].as_u64().expect("us") - cue["at_us"].as_u64().expect("us")
    };
    assert_eq!(ready(&mut rig, &mut watch), 0);
    speaker.sound(true, 120_000);
    assert_eq!(ahead_ms(&rig, 1), 120);
    assert_eq!(ready(&mut rig, &mut watch), 120_000);
    drop(speaker);
    assert_eq!(ahead_ms(&rig, 0), 0);
    assert_eq!(ready(&mut rig, &mut watch), 0);
}

#[test]
fn a_begin_warns_only_when_no_loudspeaker_at_all_can_be_heard() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let told = warnings(&rig);
    assert!(told.len() == 1 && told[0].contains("no cue can be heard"), "{told:?}");
    let mut client = Client::of(&rig);
    client.sound(true, 40_000);
    ahead_ms(&rig, 1);
    let id = rig.get("/api/now")["batch"].as_str().expect("a batch").to_owned();
    let again = |rig: &Rig| rig.post(&format!("/api/batches/{id}/begin"), json!({}))["warnings"].clone();
    assert_eq!(again(&rig), json!([]));
    client.sound(false, 0);
    ahead_ms(&rig, 0);
    assert_eq!(again(&rig).as_array().map(Vec::len), Some(1));
}

#[test]
fn a_report_that_cant_be_is_answered_as_an_error_and_changes_nothing() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let mut client = Client::of(&rig);
    client.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    for bad in ["-1", "1e300", "NaN", "\"40\"", "null", "3000000"] {
        client.say(&format!("{{\"kind\":\"sound\",\"on\":true,\"latency_us\":{bad}}}"));
        let error = client.next("error");
        assert!(error["detail"].as_str().is_some_and(|d| d.len() > 15), "{error}");
        assert!(bad == "NaN" || error["field"] == "latency_us", "{bad}: {error}");
        assert_eq!(ahead_ms(&rig, 1), 40, "{bad}");
    }
    client.say("{\"kind\":\"sound\",\"on\":\"yes\",\"latency_us\":1}");
    assert_eq!(client.next("error")["field"], "on");
    assert_eq!(ahead_ms(&rig, 1), 40);
    // It is still served.
    client.say("{\"kind\":\"ping\",\"id\":7}");
    assert_eq!(client.next("pong")["id"], 7);
}
