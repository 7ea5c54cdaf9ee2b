//! Tests of the daemon as a whole in this process: what a thread that fails brings about.

use super::*;
use crate::frame::Decoder;
use crate::frame::line::{LineDecoder, LineFormat, Unit};
use crate::link::LinkEvent;
use crate::page::desk::Desk;
use crate::pour::entry::Cue;
use crate::record::BatchRecord;
use crate::settings::Settings;
use crate::sound::{Find, Playing, SoundError};
use std::time::Instant;

/// Noticing takes milliseconds on the bench and the stop that follows at most 2 s by contract;
/// without the notice it is never.
const WAIT: Duration = Duration::from_secs(10);

fn setup(dir: &Path) -> Setup<'_> {
    let settings = Settings::default();
    Setup {
        dir,
        listen: SocketAddr::from(([127, 0, 0, 1], 0)),
        scale: settings.scale,
        pour: settings.pour,
        reminding: settings.reminding,
        capacity: settings.capacity,
        decoder: Decoder::Lines(LineDecoder::new(LineFormat::Auto, Unit::Gram)),
        way: Way::Cable,
        sound: None,
        shown: settings.shown,
    }
}

fn a_batch(clock: Clock) -> BatchRecord {
    let g = crate::units::Mass::saturating;
    BatchRecord {
        id: uuid::Uuid::now_v7().to_string(),
        name: "invented cups".to_owned(),
        pieces: 1,
        target: g(29.0),
        low: g(28.0),
        high: g(30.0),
        ladder: Vec::new(),
        solids_fraction: None,
        pourer: None,
        jug: None,
        vessel: None,
        finish: None,
        glaze_name: None,
        bucket: None,
        measured_at: None,
        bare: None,
        form: None,
        fired: false,
        request: String::new(),
        created_at: clock.wall(),
        begun_at: None,
        ended_at: None,
    }
}

fn no_sound(clock: Clock, events: SyncSender<Event>) -> std::io::Result<Sounding> {
    outlet(None, clock, events)
}

/// Runs it with nobody asking for a stop; gives its last words.
async fn last_words(daemon: Daemon) -> String {
    let from = Instant::now();
    let ended = tokio::time::timeout(WAIT, daemon.run_until(std::future::pending())).await;
    let error = ended.expect("it notices").expect_err("a failure is no clean end");
    println!("ended by itself after {:?}: {error}", from.elapsed());
    error.to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_panic_of_the_engines_thread_ends_the_daemon_with_words_and_drops_the_live_clients() {
    let dir = tempfile::tempdir().expect("a folder");
    let (fail, failing) = std::sync::mpsc::channel::<()>();
    let run = move |_table: Table, _inbox: Receiver<Event>| {
        let _ = failing.recv();
        panic!("made-up failure of the engine's thread");
    };
    let daemon = Daemon::start_as(setup(dir.path()), tell_acks, run, no_sound).await.expect("it starts");
    let address = format!("ws://{}/api/live", daemon.bound);
    let client = tokio::task::spawn_blocking(move || {
        let (mut socket, _) = tungstenite::connect(address).expect("live");
        socket.read().expect("a first snapshot");
        fail.send(()).expect("it waits");
        // Nothing more but the goodbye: silence never stands for 'keep pouring'.
        while socket.read().is_ok_and(|said| !said.is_close()) {}
    });
    let said = last_words(daemon).await;
    assert!(said.contains("the engine's thread failed"), "{said}");
    tokio::time::timeout(WAIT, client).await.expect("the client is dropped").expect("its checks pass");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_panic_of_the_logs_thread_ends_the_daemon_with_words() {
    let dir = tempfile::tempdir().expect("a folder");
    let acks = |events| {
        let tell = tell_acks(events);
        move |ack: Ack| {
            let fails = matches!(&ack, Ack::Written { write: crate::store::Write::BatchBegun { .. }, .. });
            tell(ack);
            assert!(!fails, "made-up failure of the log's thread");
        }
    };
    let daemon = Daemon::start_as(setup(dir.path()), acks, Table::run, no_sound).await.expect("it starts");
    let mut told = daemon.told.subscribe();
    let (desk, batch) = (daemon.desk.clone(), a_batch(daemon.clock));
    let begun = tokio::task::spawn_blocking(move || {
        let id = batch.id.clone();
        desk.create(batch).and_then(|_| desk.begin(&id))
    });
    let said = last_words(daemon).await;
    assert!(said.contains("the writer of the log") && said.contains("failed"), "{said}");
    begun.await.expect("it ran").expect("written before the failure");
    let first = told.recv().await.expect("a last cue");
    assert!(matches!(&first, Told::Cue(cue) if cue.cue == "fault"), "{first:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_fails_still_has_the_engine_stopped_and_the_log_closed() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut daemon = Daemon::start(setup(dir.path())).await.expect("it starts");
    daemon.page.abort();
    daemon.page = tokio::spawn(async { Err(std::io::Error::other("made-up failure of the page")) });
    let said = last_words(daemon).await;
    assert!(said.contains("the page failed: made-up"), "{said}");
    // Held until the log is closed.
    crate::store::Lock::take(dir.path()).expect("the folder is free again");
}

/// Stands in for a loudspeaker: says which cues it was given, and takes frames all the time.
#[derive(Clone)]
struct Listener {
    clock: Clock,
    heard: std::sync::mpsc::Sender<Cue>,
}

impl Find for Listener {
    type Stream = Self;

    fn look(&self) -> Result<String, SoundError> {
        Ok("listener".to_owned())
    }

    fn open(&self) -> Result<Self, SoundError> {
        Ok(self.clone())
    }
}

impl Playing for Listener {
    fn device(&self) -> &str {
        "listener"
    }

    fn play(&self, cue: Cue, _due: crate::time::Instant) {
        self.heard.send(cue).expect("the test lives");
    }

    fn taken(&self) -> u64 {
        self.clock.now().us()
    }

    fn well_after(&self) -> u64 {
        0
    }

    fn broken(&self) -> bool {
        false
    }

    fn latency(&self) -> Duration {
        Duration::ZERO
    }
}

/// Fails whichever thread it is set on at its first warning.
struct FailsAtAWarning;

impl tracing::Subscriber for FailsAtAWarning {
    fn enabled(&self, metadata: &tracing::Metadata<'_>) -> bool {
        *metadata.level() == tracing::Level::WARN
    }

    fn new_span(&self, _: &tracing::span::Attributes<'_>) -> tracing::span::Id {
        tracing::span::Id::from_u64(1)
    }

    fn record(&self, _: &tracing::span::Id, _: &tracing::span::Record<'_>) {}

    fn record_follows_from(&self, _: &tracing::span::Id, _: &tracing::span::Id) {}

    fn event(&self, _: &tracing::Event<'_>) {
        panic!("made-up failure of the engine's thread");
    }

    fn enter(&self, _: &tracing::span::Id) {}

    fn exit(&self, _: &tracing::span::Id) {}
}

/// Begins a batch on a daemon with a [`Listener`], has `end` end it, gives what was heard and the last words.
async fn heard_at_the_end(end: impl AsyncFnOnce(Daemon) -> String) -> (Vec<Cue>, String) {
    let dir = tempfile::tempdir().expect("a folder");
    let (hear, heard) = std::sync::mpsc::channel();
    let run = |table: Table, inbox: Receiver<Event>| {
        let _fails = tracing::subscriber::set_default(FailsAtAWarning);
        table.run(inbox)
    };
    let listen = |clock: Clock, events: SyncSender<Event>| {
        let tell = move |status| drop(events.send(Event::Sound(status)));
        let find = Listener { clock, heard: hear };
        let (loudspeaker, thread) = Loudspeaker::start_on(find, move || clock.now(), tell)?;
        Ok((Outlet::new(Some(loudspeaker)), Some(thread)))
    };
    let daemon = Daemon::start_as(setup(dir.path()), tell_acks, run, listen).await.expect("it starts");
    let mut now = daemon.now.clone();
    let on = now.wait_for(|now| now.sound.state == "on");
    drop(tokio::time::timeout(WAIT, on).await.expect("it is opened").expect("it runs"));
    let (desk, batch) = (daemon.desk.clone(), a_batch(daemon.clock));
    let begin = move || {
        let id = batch.id.clone();
        desk.create(batch).and_then(|_| desk.begin(&id))
    };
    tokio::task::spawn_blocking(begin).await.expect("it ran").expect("it begins");
    let said = end(daemon).await;
    // All senders are gone with the sound's thread.
    (heard.iter().collect(), said)
}

#[tokio::test(flavor = "multi_thread")]
async fn when_the_engines_thread_fails_in_a_batch_the_loudspeaker_says_fault() {
    let (heard, said) = heard_at_the_end(async |daemon: Daemon| {
        // A line that goes down is warned of by the engine's thread.
        let down = LinkEvent::Down { reason: "made up".to_owned(), try_this: "nothing".to_owned() };
        daemon.events.send(Event::Link(down)).expect("it listens");
        last_words(daemon).await
    })
    .await;
    assert!(said.contains("the engine's thread failed"), "{said}");
    assert_eq!(heard, [Cue::Fault]);
}

#[tokio::test(flavor = "multi_thread")]
async fn when_the_daemon_is_stopped_as_it_should_in_a_batch_no_fault_is_said() {
    let stop = async |daemon: Daemon| format!("{:?}", daemon.stop().await);
    assert_eq!(heard_at_the_end(stop).await, (Vec::new(), "Ok(())".to_owned()));
}

/// A loudspeaker of which is known whether it is open.
#[derive(Clone)]
struct Counted(Listener, Arc<std::sync::atomic::AtomicU64>);

/// As it is while it is open.
struct Open(Listener, Arc<std::sync::atomic::AtomicU64>);

impl Find for Counted {
    type Stream = Open;

    fn look(&self) -> Result<String, SoundError> {
        self.0.look()
    }

    fn open(&self) -> Result<Open, SoundError> {
        self.1.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
        Ok(Open(self.0.clone(), self.1.clone()))
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        self.1.fetch_sub(1, std::sync::atomic::Ordering::SeqCst);
    }
}

impl Playing for Open {
    fn device(&self) -> &str {
        self.0.device()
    }

    fn play(&self, cue: Cue, due: crate::time::Instant) {
        self.0.play(cue, due);
    }

    fn taken(&self) -> u64 {
        self.0.taken()
    }

    fn well_after(&self) -> u64 {
        self.0.well_after()
    }

    fn broken(&self) -> bool {
        self.0.broken()
    }

    fn latency(&self) -> Duration {
        self.0.latency()
    }
}

/// The clock of the sound's thread runs so many times faster: its fifteen seconds are less than one.
const FASTER: u64 = 20;

#[tokio::test(flavor = "multi_thread")]
async fn a_loudspeaker_is_open_while_a_calibration_goes_on_and_is_closed_however_that_ends() {
    let dir = tempfile::tempdir().expect("a folder");
    let (hear, _heard) = std::sync::mpsc::channel();
    let open = Arc::new(std::sync::atomic::AtomicU64::new(0));
    let count = open.clone();
    let sound = |clock: Clock, events: SyncSender<Event>| {
        let tell = move |status| drop(events.send(Event::Sound(status)));
        let find = Counted(Listener { clock, heard: hear }, count);
        let now = move || crate::time::Instant::from_us(FASTER * clock.now().us());
        let (loudspeaker, thread) = Loudspeaker::start_on(find, now, tell)?;
        Ok((Outlet::new(Some(loudspeaker)), Some(thread)))
    };
    let daemon = Daemon::start_as(setup(dir.path()), tell_acks, Table::run, sound).await.expect("it starts");
    let (desk, batch) = (daemon.desk.clone(), a_batch(daemon.clock));
    let asked = move || {
        let until = |wanted: u64, what: &str| {
            let from = Instant::now();
            while open.load(std::sync::atomic::Ordering::SeqCst) != wanted {
                assert!(from.elapsed() < WAIT, "never {what}");
                std::thread::sleep(Duration::from_millis(5));
            }
        };
        let routine = || desk.routine(Some(a_wish())).expect("it begins");
        until(0, "closed before anything begins");
        routine();
        until(1, "open in a calibration");
        // Twice as long as it would stay open without one.
        std::thread::sleep(Duration::from_secs(30) / FASTER as u32);
        assert_eq!(open.load(std::sync::atomic::Ordering::SeqCst), 1, "it stays open");
        // What is weighed is no end of it, and nothing that closes it.
        let things = crate::guide::weighed::Things::new(vec![crate::guide::weighed::Thing::Piece]);
        assert!(matches!(desk.weigh(things), Err(crate::page::desk::Refusal::Conflict(_))));
        assert!(desk.weigh(None).expect("an answer").is_none(), "there is none to be left off");
        std::thread::sleep(Duration::from_secs(30) / FASTER as u32);
        assert_eq!(open.load(std::sync::atomic::Ordering::SeqCst), 1, "it stays open");
        desk.routine(None).expect("it is left off");
        until(0, "closed once it is left off");
        routine();
        until(1, "open again");
        let id = batch.id.clone();
        desk.create(batch).and_then(|_| desk.begin(&id)).expect("a batch ends it");
        desk.end(&id).expect("it ends");
        until(0, "closed after the batch that ended it");
    };
    tokio::task::spawn_blocking(asked).await.expect("its checks pass");
    daemon.stop().await.expect("a clean end");
}

/// A calibration with one invented mass.
fn a_wish() -> crate::page::desk::RoutineWish {
    let told = crate::calibration::masses::MassRequest {
        nominal_g: Some(200.0),
        class: Some("M1".to_owned()),
        ..Default::default()
    };
    crate::page::desk::RoutineWish {
        masses: crate::calibration::masses::OwnMass::set(&[told], "masses").expect("a mass"),
        parts: crate::guide::calibrate::Parts::SHORT,
        pour_g: None,
        drift_share: None,
        piece_g: None,
        room_c: None,
        operator: None,
        check: false,
    }
}
