//! Tests of the daemon as a whole in this process: what a thread that fails brings about.

use super::*;
use crate::frame::Decoder;
use crate::frame::line::{LineDecoder, LineFormat, Unit};
use crate::page::desk::Desk;
use crate::record::BatchRecord;
use crate::settings::Settings;
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
        decoder: Decoder::Lines(LineDecoder::new(LineFormat::Auto, Unit::Gram)),
        way: Way::Cable,
        sound: None,
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
        solids_fraction: None,
        pourer: None,
        jug: None,
        request: String::new(),
        created_at: clock.wall(),
        begun_at: None,
        ended_at: None,
    }
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
    let daemon = Daemon::start_as(setup(dir.path()), tell_acks, run).await.expect("it starts");
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
    let daemon = Daemon::start_as(setup(dir.path()), acks, Table::run).await.expect("it starts");
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
