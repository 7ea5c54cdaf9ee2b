//! Many clients of the live stream, and one that never reads: the pour, the log and the prompt ones
//! don't notice, and the daemon does not keep for it what it does not take.

use crate::rig::{Heard, Rig};
use rustix::net::{AddressFamily, SocketType, connect, socket, sockopt};
use serde_json::Value;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

const CLIENTS: usize = 20;
const PIECES: u32 = 3;
/// The latest cue to reach any of the 20, against its quickest message: the middle of five runs beside
/// other tests on two cores at loads of 1.6 to 3 (4.5 to 14.6 ms; 3.9 to 4.7 ms alone).
const MEASURED_LATE: Duration = Duration::from_micros(8_200);

/// A client that asks for much and takes nothing: its own buffer is the smallest there is, and the
/// daemon's is full, as it does not even take questions any more.
fn stalled(address: &str) -> TcpStream {
    let at: SocketAddr = address.parse().expect("an address");
    let raw = socket(AddressFamily::INET, SocketType::STREAM, None).expect("a socket");
    sockopt::set_socket_recv_buffer_size(&raw, 1).expect("a tiny buffer");
    connect(&raw, &at).expect("it listens");
    let mut stream = TcpStream::from(raw);
    let ask = format!(
        "GET /api/live HTTP/1.1\r\nHost: {address}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\
         Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
    );
    stream.write_all(ask.as_bytes()).expect("sent");
    let mut head = [0; 12];
    stream.read_exact(&mut head).expect("a reply");
    assert_eq!(&head, b"HTTP/1.1 101");
    stream.set_write_timeout(Some(Duration::from_secs(1))).expect("a limit");
    let ping = frame(format!(r#"{{"kind":"ping","id":"{}"}}"#, "x".repeat(4000)).as_bytes());
    let mut asked = 0_usize;
    while stream.write_all(&ping).is_ok() {
        asked += ping.len();
        assert!(asked < 200_000_000, "the daemon takes 200 MB of questions and waits for nobody to read");
    }
    println!("the stalled client asked {} kB before the daemon took no more", asked / 1000);
    stream
}

/// A masked text frame (RFC 6455, section 5.2), masked with zeros.
fn frame(text: &[u8]) -> Vec<u8> {
    let length = u16::try_from(text.len()).expect("a short text").to_be_bytes();
    [&[0x81, 0x80 | 126], &length[..], &[0; 4], text].concat()
}

/// Memory that the daemon holds now, in bytes.
fn held(rig: &Rig) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", rig.child.id())).expect("its status");
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).expect("its memory");
    line.split_whitespace().nth(1).and_then(|kb| kb.parse::<u64>().ok()).expect("a number") * 1024
}

/// All that one client was told, with the bytes of it.
struct Told {
    cues: Vec<String>,
    pours: Vec<String>,
    latest: Duration,
    bytes: usize,
    last_seq: u64,
}

/// How much later a message came than the quickest one, by the daemon's stamp and our clock.
fn told(heard: &Receiver<Heard>, epoch: Instant) -> Told {
    let all: Vec<Heard> = heard.try_iter().collect();
    let way = |h: &Heard| {
        let sent = h.message["at_us"].as_u64()? as f64;
        Some(h.at.duration_since(epoch).as_secs_f64() * 1e6 - sent)
    };
    let quickest = all.iter().filter_map(way).fold(f64::INFINITY, f64::min);
    let kind = |word: &'static str| all.iter().filter(move |h| h.message["kind"] == word);
    let late = kind("cue").filter_map(way).map(|us| us - quickest).fold(0.0, f64::max);
    Told {
        cues: kind("cue").map(|h| format!("{} {}", h.message["n"], h.message["cue"])).collect(),
        pours: kind("pour").map(|h| format!("{} {}", h.message["id"], h.message["rev"])).collect(),
        latest: Duration::from_secs_f64(late / 1e6),
        bytes: all.iter().map(|h| h.message.to_string().len()).sum(),
        last_seq: all.iter().filter_map(|h| h.message["seq"].as_u64()).max().unwrap_or(0),
    }
}

#[test]
fn twenty_clients_hear_every_cue_in_time_while_one_more_never_reads() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let epoch = Instant::now();
    let id = rig.begin_batch(PIECES);
    let crowd: Vec<_> = (0..CLIENTS).map(|_| rig.listen()).collect();
    let potters = rig.listen();
    let _stalled = stalled(&rig.address);
    // The potter's time began with the daemon.
    let mut script = Script::of(PIECES, 29.0);
    script.first_at = script.first_at + epoch.elapsed();
    let plant = Plant::new(3, Person::typical(), ScaleModel::with_lag(0.3), Table::default());
    let mut potter = Potter::new(plant, script);
    let shown = rig.pour(&mut potter, &potters, Instant::now() + Duration::from_secs(60));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    assert_eq!(crate::rig::pieces(&shown), PIECES as usize, "{shown:?}");
    let logged = rig.get(&format!("/api/batches/{id}/pours"));
    assert_eq!(logged.as_array().map(Vec::len), Some(PIECES as usize), "{logged}");
    std::thread::sleep(Duration::from_millis(200));
    let all: Vec<Told> = crowd.iter().map(|heard| told(heard, epoch)).collect();
    let latest = all.iter().map(|t| t.latest).max().expect("a client");
    println!("{} cues to each of {CLIENTS}; the latest {latest:?} late", all[0].cues.len());
    assert!(all[0].cues.len() >= 3 * PIECES as usize, "{:?}", all[0].cues);
    for one in &all {
        assert_eq!((&one.cues, &one.pours), (&all[0].cues, &all[0].pours), "all are told the same");
        // Weighed, and at the lift; the last one may still stand there.
        assert!(one.pours.len() >= PIECES as usize);
        assert!(one.last_seq > 100, "hardly a snapshot");
    }
    assert!(latest < 5 * MEASURED_LATE, "{latest:?}");
}

#[test]
fn nothing_is_kept_for_a_client_that_never_reads() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let _stalled: Vec<_> = (0..4).map(|_| stalled(&rig.address)).collect();
    let prompt = rig.listen();
    // The quickest pace that the line takes: far more than a scale sends.
    let flood = |seconds: u64| {
        let (from, mut n) = (Instant::now(), 0_u32);
        let mut line = rig.line.try_clone().expect("the line");
        while from.elapsed() < Duration::from_secs(seconds) {
            n += 1;
            line.write_all(format!("{}.{} g\r\n", 100 + n % 7, n % 10).as_bytes())
                .expect("the line takes it");
            std::thread::sleep(Duration::from_micros(300));
        }
        told(&prompt, from).bytes as u64
    };
    flood(2);
    let before = held(&rig);
    let sent = flood(8);
    let grown = held(&rig).saturating_sub(before);
    println!("a prompt client was sent {} kB; the daemon grew by {} kB", sent / 1000, grown / 1000);
    assert!(sent > 4_000_000, "too little to tell: {sent} bytes");
    // Kept for four clients it would be four times what was sent.
    assert!(grown < sent / 2, "grown by {grown} bytes while {sent} were sent");
}

/// One reply after the other, with nothing between them: what a cue meets that follows a snapshot.
#[test]
fn a_second_message_does_not_wait_until_the_first_is_acknowledged() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let (mut socket, _) = tungstenite::connect(format!("ws://{}/api/live", rig.address)).expect("live");
    let mut between: Vec<Duration> = (0..20).map(|pair| time_between(&mut socket, pair)).collect();
    between.sort();
    let middle = between[between.len() / 2];
    println!("{middle:?} between two replies, {:?} at most", between[between.len() - 1]);
    // An acknowledgement is held back for 40 ms or more (RFC 9293, section 3.8.6.3, allows 500).
    assert!(middle < Duration::from_millis(20), "{between:?}");
}

/// From the first to the second of two replies to a client that acknowledges as late as it may.
fn time_between(socket: &mut WebSocket<MaybeTlsStream<TcpStream>>, pair: u32) -> Duration {
    let MaybeTlsStream::Plain(stream) = socket.get_ref() else { unreachable!("no TLS here") };
    sockopt::set_tcp_quickack(stream, false).expect("late acknowledgements");
    let ids = [2 * pair, 2 * pair + 1];
    for id in ids {
        socket.write(Message::text(format!(r#"{{"kind":"ping","id":{id}}}"#))).expect("kept");
    }
    socket.flush().expect("sent at once");
    let mut came = Vec::new();
    while came.len() < ids.len() {
        let text = socket.read().expect("a message").into_text().unwrap_or_default();
        let message: Value = serde_json::from_str(text.as_str()).unwrap_or_default();
        if message["kind"] == "pong" && ids.iter().any(|id| message["id"] == *id) {
            came.push(Instant::now());
        }
    }
    came[1].duration_since(came[0])
}
