//! Loudspeakers of the live stream's clients: how early cues are announced, and who is told of what can't be.

use crate::rig::{Rig, terminal};
use crate::sound::warnings;
use serde_json::{Value, json};
use std::io::{ErrorKind, Read as _, Write as _};
use std::net::TcpStream;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::time::{Duration, Instant};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

/// A client that says how its loudspeaker is, and reads all the time.
struct Client {
    say: Sender<String>,
    told: Receiver<Value>,
    stream: TcpStream,
}

type Socket = WebSocket<MaybeTlsStream<TcpStream>>;

fn connect(rig: &Rig) -> (Socket, TcpStream) {
    let (socket, _) = tungstenite::connect(format!("ws://{}/api/live", rig.address)).expect("live");
    let MaybeTlsStream::Plain(stream) = socket.get_ref() else { panic!("no TLS here") };
    let stream = stream.try_clone().expect("a second way to it");
    (socket, stream)
}

/// What a client says of its loudspeaker.
fn sound(on: bool, latency_us: u64) -> String {
    json!({ "kind": "sound", "on": on, "latency_us": latency_us }).to_string()
}

/// Sends and reads in turns until the client is dropped or the daemon closes.
fn talk(mut socket: Socket, to_say: &Receiver<String>, tell: &Sender<Value>) {
    loop {
        match to_say.try_recv() {
            Ok(text) => socket.send(Message::text(text)).expect("sent"),
            Err(TryRecvError::Disconnected) => return,
            Err(TryRecvError::Empty) => {}
        }
        match socket.read() {
            Ok(Message::Text(text)) => drop(tell.send(serde_json::from_str(text.as_str()).expect("JSON"))),
            Ok(_) => {}
            Err(tungstenite::Error::Io(error)) if error.kind() == ErrorKind::WouldBlock => {}
            Err(_) => return,
        }
    }
}

impl Client {
    fn of(rig: &Rig) -> Self {
        let (socket, stream) = connect(rig);
        stream.set_read_timeout(Some(Duration::from_millis(5))).expect("a limit");
        let ((say, to_say), (tell, told)) = (channel(), channel());
        std::thread::spawn(move || talk(socket, &to_say, &tell));
        Self { say, told, stream }
    }

    fn say(&self, text: &str) {
        self.say.send(text.to_owned()).expect("it is connected");
    }

    fn sound(&self, on: bool, latency_us: u64) {
        self.say(&sound(on, latency_us));
    }

    /// The next message of this kind.
    fn next(&self, kind: &str) -> Value {
        let end = Instant::now() + Duration::from_secs(10);
        loop {
            let left = end.saturating_duration_since(Instant::now());
            let message = self.told.recv_timeout(left).unwrap_or_else(|_| panic!("no {kind} came"));
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
    let (near, far) = (Client::of(&rig), Client::of(&rig));
    assert_eq!(ahead_ms(&rig, 0), 0);
    near.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    far.sound(true, 250_000);
    // By contract at most that.
    assert_eq!(ahead_ms(&rig, 2), 250);
    drop(far);
    assert_eq!(ahead_ms(&rig, 1), 40);
    near.sound(false, 40_000);
    assert_eq!(ahead_ms(&rig, 0), 0);
    // A client killed without a goodbye leaves too.
    near.sound(true, 60_000);
    assert_eq!(ahead_ms(&rig, 1), 60);
    near.stream.shutdown(std::net::Shutdown::Both).expect("shut");
    assert_eq!(ahead_ms(&rig, 0), 0);
}

#[test]
fn a_loudspeaker_that_comes_in_mid_batch_has_the_next_cues_announced_earlier() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = rig(dir.path());
    rig.begin_batch(2);
    let (speaker, watch) = (Client::of(&rig), Client::of(&rig));
    let ready = |rig: &mut Rig, watch: &Client, stood: f64| {
        // Lifted as a display with a lag of 0.3 s shows it: one that goes to zero at once was set to it.
        let lift = (0..15).map(|i| stood * 0.72_f64.powi(i));
        for g in lift.chain(std::iter::repeat_n(0.0, 10)).chain(std::iter::repeat_n(300.0, 20)) {
            rig.line.write_all(format!("{g:.1} g\r\n").as_bytes()).expect("written");
            std::thread::sleep(Duration::from_millis(100));
        }
        let cue = watch.next("cue");
        assert_eq!(cue["cue"], "ready");
        cue["due_us"].as_u64().expect("us") - cue["at_us"].as_u64().expect("us")
    };
    assert_eq!(ready(&mut rig, &watch, 0.0), 0);
    speaker.sound(true, 120_000);
    assert_eq!(ahead_ms(&rig, 1), 120);
    assert_eq!(ready(&mut rig, &watch, 300.0), 120_000);
    drop(speaker);
    assert_eq!(ahead_ms(&rig, 0), 0);
    // The hand may have listened to it, and the piece is ready.
    assert_eq!(watch.next("cue")["cue"], "fault");
    assert_eq!(ready(&mut rig, &watch, 300.0), 0);
}

#[test]
fn a_begin_warns_only_when_no_loudspeaker_at_all_can_be_heard() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let told = warnings(&rig);
    assert!(told.len() == 1 && told[0].contains("no cue can be heard"), "{told:?}");
    let client = Client::of(&rig);
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
    let client = Client::of(&rig);
    client.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    for bad in ["-1", "NaN", "\"40\"", "null"] {
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

#[test]
fn a_loudspeaker_later_than_any_cue_is_announced_is_refused_with_the_reason_and_counts_no_longer() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let client = Client::of(&rig);
    client.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    client.sound(true, 2_000_000);
    let error = client.next("error");
    assert_eq!(error["field"], "latency_us");
    assert!(error["detail"].as_str().is_some_and(|d| d.contains("wired")), "{error}");
    assert_eq!(ahead_ms(&rig, 0), 0);
    assert!(warnings(&rig)[0].contains("no cue can be heard"));
    client.sound(true, 60_000);
    assert_eq!(ahead_ms(&rig, 1), 60);
}

#[test]
fn a_client_that_no_longer_reads_counts_as_heard_for_two_seconds_at_most_and_is_told_why() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let reads = Client::of(&rig);
    let (mut socket, mut stream) = connect(&rig);
    reads.sound(true, 40_000);
    socket.send(Message::text(sound(true, 60_000))).expect("sent");
    assert_eq!(ahead_ms(&rig, 2), 60);
    let from = Instant::now();
    assert_eq!(ahead_ms(&rig, 1), 40);
    let took = from.elapsed();
    println!("it counted for {took:?}");
    // Four questions half a second apart, and the fifth that is not asked any more.
    assert!(took > Duration::from_secs(1) && took < Duration::from_millis(2500), "{took:?}");
    // What lay there, then the end; read as bytes, as the protocol's answers would go nowhere.
    let mut told = Vec::new();
    stream.read_to_end(&mut told).expect("the end");
    // RFC 6455, section 5.5.1: the code in two bytes, then the reason.
    let goodbye = [&1011_u16.to_be_bytes()[..], b"nothing is read or answered"].concat();
    assert!(told.windows(goodbye.len()).any(|w| w == goodbye), "{} bytes and no reason", told.len());
    // Whoever reads is still there.
    std::thread::sleep(Duration::from_secs(3));
    assert_eq!(ahead_ms(&rig, 1), 40);
    assert_eq!(warnings(&rig), Vec::<String>::new());
}

#[test]
fn the_last_loudspeaker_of_all_that_closes_in_mid_pour_is_a_fault_and_another_clears_it() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = rig(dir.path());
    let id = rig.begin_batch(2);
    let (speaker, watch, heard) = (Client::of(&rig), Client::of(&rig), rig.listen());
    speaker.sound(true, 40_000);
    assert_eq!(ahead_ms(&rig, 1), 40);
    let plant = Plant::new(11, Person::typical(), ScaleModel::with_lag(0.3), Table::default());
    let mut potter = Potter::new(plant, Script::of(2, 29.0));
    rig.pour_until("pouring", &mut potter, &heard);
    rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(1));
    drop(speaker);
    ahead_ms(&rig, 0);
    rig.pour(&mut potter, &heard, Instant::now() + Duration::from_millis(100));
    watch.sound(true, 30_000);
    rig.pour(&mut potter, &heard, Instant::now() + Duration::from_secs(30));
    assert!(potter.done(), "stuck: {}", rig.get("/api/now"));
    let cues: Vec<Value> = watch.told.try_iter().filter(|m| m["kind"] == "cue").collect();
    let count = |word: &str| cues.iter().filter(|c| c["cue"] == word).count();
    // The simulated hand stops at the fault.
    assert_eq!((count("fault"), count("clear")), (1, 1), "{cues:?}");
    let pours = rig.weighed(&id);
    assert!(pours[0]["net_g"].is_number(), "{pours}");
}

#[test]
fn a_client_that_reports_all_the_time_makes_no_flood_of_snapshots_and_the_last_report_holds() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = rig(dir.path());
    let heard = rig.listen();
    let (mut socket, _) = connect(&rig);
    let from = Instant::now();
    let mut reports = 0;
    while from.elapsed() < Duration::from_secs(2) {
        reports += 1;
        socket.send(Message::text(sound(true, 40_000 + reports % 2 * 10_000))).expect("sent");
        // More than that only waits in the daemon's socket.
        std::thread::sleep(Duration::from_micros(500));
    }
    socket.send(Message::text(sound(true, 70_000))).expect("sent");
    let took = from.elapsed().as_secs_f64();
    let shown = heard.try_iter().filter(|h| h.message["kind"] == "now").count() as f64 / took;
    println!("{reports} reports in {took:.1} s, {shown:.0} snapshots a second");
    assert!(reports > 1000, "too few to tell: {reports}");
    // One each 50 ms by the daemon's own clock, and a quarter more for chance.
    assert!(shown < 25.0, "{shown} snapshots a second");
    let end = Instant::now() + Duration::from_secs(5);
    while ahead_ms(&rig, 1) != 70 {
        assert!(Instant::now() < end, "{}", rig.get("/api/now")["sound"]);
    }
}
