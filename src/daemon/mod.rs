//! The only module that joins the adapters: threads, channels, start and stop.

mod acks;
mod air;
mod beside;
mod calibrated;
mod calibrating;
pub mod clock;
pub mod commands;
mod counter;
pub mod demo;
pub mod doctor;
pub mod event;
mod files;
mod hands;
mod jug;
mod keeping;
mod lateness;
mod log;
mod measuring;
mod open;
pub mod outlet;
mod parts;
mod pieces;
pub mod rehearsal;
mod reminders;
mod reviewing;
mod rounds;
mod routine;
mod shelves;
mod sight;
mod signals;
mod simulated;
mod spare;
pub mod table;
#[cfg(test)]
mod tests;
mod tour;
mod under_way;
mod weighing;
mod wishes;

use crate::frame::Decoder;
use crate::page::view::{Event as Told, Now, ScaleView};
use crate::page::{self, Page};
use crate::pour::PourSettings;
use crate::record::LagRecord;
use crate::scale::ScaleFacts;
use crate::settings::{Reminding, Sound};
use crate::sound::{Loudspeaker, SoundStatus};
use crate::store::{Ack, Store, StoreError};
use crate::units::Mass;
use crate::units::shown::Shown;
use clock::Clock;
use counter::Counter;
use event::Event;
use outlet::Outlet;
pub use sight::Way;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;
use table::{Parts, Table};
use tokio::sync::{Notify, broadcast, watch};

/// Events that may wait for the engine's thread: 100 s of a quick scale.
const EVENTS: usize = 1024;
/// Cues and pours a slow client may be behind before it is told to come again.
const TOLD: usize = 256;
/// A stop may take two seconds in all. Of these the page's clients get this to let go,
const PAGE_LIMIT: Duration = Duration::from_millis(300);
/// and this is for the engine's thread: a second of last tries, a quarter for a locked log, and room.
const TABLE_LIMIT: Duration = Duration::from_millis(1500);

/// Of the same two seconds: until then a fault may be played out.
const SOUND_LIMIT: Duration = Duration::from_millis(1850);

/// A running daemon.
pub struct Daemon {
    /// Where events go.
    pub events: SyncSender<Event>,
    /// Cues and pours.
    pub told: broadcast::Sender<Told>,
    /// The latest snapshot.
    pub(crate) now: watch::Receiver<Arc<Now>>,
    /// Its clock.
    pub clock: Clock,
    /// The address it serves.
    pub bound: SocketAddr,
    /// Who answers the page.
    pub(crate) desk: Arc<Counter>,
    stop_page: watch::Sender<bool>,
    table: JoinHandle<Result<(), StoreError>>,
    sound: Option<JoinHandle<()>>,
    page: tokio::task::JoinHandle<std::io::Result<()>>,
    ended: Arc<Notify>,
}

/// Tells that a thread or task has ended, however it ended.
struct AtEnd<F: FnMut()>(F);

impl<F: FnMut()> Drop for AtEnd<F> {
    fn drop(&mut self) {
        (self.0)();
    }
}

fn note_end(ended: &Arc<Notify>) -> AtEnd<impl FnMut() + use<>> {
    let ended = ended.clone();
    AtEnd(move || ended.notify_one())
}

/// What the store's thread says goes to the engine's thread, and so does its end.
fn tell_acks(events: SyncSender<Event>) -> impl Fn(Ack) + Send + 'static {
    let gone = events.clone();
    // After a stop nobody listens any more, and nobody needs to.
    let at_end = AtEnd(move || drop(gone.send(Event::LogGone)));
    move |ack| {
        let _ = &at_end;
        let _ = events.send(Event::Ack(Box::new(ack)));
    }
}

/// The loudspeakers, and the thread of this computer's.
type Sounding = (Outlet, Option<JoinHandle<()>>);

/// What a daemon is started from.
pub struct Setup<'a> {
    /// Data folder.
    pub dir: &'a Path,
    /// Address to serve.
    pub listen: SocketAddr,
    /// The scale.
    pub scale: ScaleFacts,
    /// Pouring.
    pub pour: PourSettings,
    /// What is said between two pieces.
    pub reminding: Reminding,
    /// The most that the scale carries, where told.
    pub capacity: Option<Mass>,
    /// Lines to readings.
    pub decoder: Decoder,
    /// How the scale is reached: its troubles have other causes over a cable and through the air.
    pub way: Way,
    /// The loudspeaker; none: it is left alone.
    pub sound: Option<Sound>,
    /// Units in which weights and lengths are shown.
    pub shown: Shown,
}

impl Daemon {
    /// Opens the log, takes the address, starts the threads.
    pub async fn start(setup: Setup<'_>) -> anyhow::Result<Self> {
        let sound = setup.sound.clone();
        Self::start_as(setup, tell_acks, Table::run, |clock, events| outlet(sound, clock, events)).await
    }

    /// As [`Daemon::start`], with what the two threads do and the loudspeaker given, so that a test can have
    /// them fail and listen.
    async fn start_as<A: Fn(Ack) + Send + 'static>(
        setup: Setup<'_>,
        acks: impl FnOnce(SyncSender<Event>) -> A,
        table: impl FnOnce(Table, Receiver<Event>) -> Result<(), StoreError> + Send + 'static,
        outlet: impl FnOnce(Clock, SyncSender<Event>) -> std::io::Result<Sounding>,
    ) -> anyhow::Result<Self> {
        let (clock, run) = (Clock::default(), uuid::Uuid::now_v7().to_string());
        let (events, inbox) = sync_channel(EVENTS);
        let (store, opened) = Store::open(setup.dir, clock.wall(), acks(events.clone()))?;
        opened.interrupted.iter().for_each(|pour| warn_interrupted(pour.piece));
        let (listener, bound) = listen(setup.listen, &store).await?;
        let (now, now_seen) = watch::channel(Arc::new(nothing_yet(&run, &setup.scale, &setup.pour)));
        let (told, _) = broadcast::channel(TOLD);
        let (stop_page, stop) = watch::channel(false);
        let desk = Arc::new(desk(&setup, clock, &events));
        let page = Page {
            now: now_seen.clone(),
            events: told.clone(),
            desk: desk.clone(),
            clock: Arc::new(move || clock.now().us()),
            bound,
            shown: setup.shown,
            stop,
        };
        let (outlet, sound) = outlet(clock, events.clone())?;
        let Setup { scale, pour: settings, reminding, capacity, decoder, way, .. } = setup;
        let parts = Parts {
            clock,
            calibration: opened.calibrations.into_iter().find(|c| c.scale == scale.id),
            checked: opened.checks.into_iter().find(|c| c.scale == scale.id),
            lag: lag_of(opened.lags, &scale.id),
            scale,
            settings,
            reminding,
            capacity,
            spare: opened.spare,
            jug: opened.jug,
            decoder,
            way,
            store,
            outlet,
            now,
            told: told.clone(),
            run,
        };
        let ended = Arc::new(Notify::new());
        let table = start_table(&ended, move || table(Table::new(parts), inbox))?;
        let page = start_page(&ended, listener, page);
        Ok(Self { events, told, now: now_seen, clock, bound, desk, stop_page, table, sound, page, ended })
    }

    /// Comes back when the engine's thread or the page has ended, which neither does by itself.
    pub async fn ended(&self) {
        self.ended.notified().await;
    }

    /// Runs until it is to stop, or until a part of it fails; then stops.
    ///
    /// # Errors
    /// As [`Daemon::stop`], and when a part of it has ended by itself.
    pub async fn run_until(self, asked: impl Future<Output = ()>) -> anyhow::Result<()> {
        let asked = tokio::select! {
            () = asked => true,
            () = self.ended() => false,
        };
        let stopped = self.stop().await;
        anyhow::ensure!(asked || stopped.is_err(), "a part of the daemon ended by itself; please report it");
        stopped
    }

    /// Stops within two seconds: page first, then the engine's thread, which closes the log.
    ///
    /// # Errors
    /// Whatever is not in order at the end, above all what could not be written.
    pub async fn stop(self) -> anyhow::Result<()> {
        let last = tokio::time::Instant::now() + SOUND_LIMIT;
        let _ = self.stop_page.send(true);
        let page = end_page(self.page).await;
        let table = end_table(self.events, self.table).await;
        if let Some(sound) = self.sound {
            // One that hangs is left behind.
            let _ = tokio::time::timeout_at(last, tokio::task::spawn_blocking(move || sound.join())).await;
        }
        let wrong: Vec<String> = [table, page].into_iter().flatten().collect();
        if wrong.is_empty() { Ok(()) } else { Err(anyhow::anyhow!(wrong.join("; "))) }
    }
}

/// Who answers the page.
fn desk(setup: &Setup<'_>, clock: Clock, events: &SyncSender<Event>) -> Counter {
    let (scale_id, guidance) = (setup.scale.id.clone(), setup.pour.guidance);
    Counter { dir: setup.dir.to_owned(), clock, scale_id, guidance, events: events.clone() }
}

/// How late this scale shows, as the log has it.
fn lag_of(lags: Vec<(String, LagRecord)>, scale: &str) -> Option<LagRecord> {
    lags.into_iter().find(|(name, _)| name == scale).map(|(_, lag)| lag)
}

fn warn_interrupted(piece: u32) {
    tracing::warn!("piece {piece} was interrupted: it is in the log as void");
}

/// What tells the end is made before the thread, so that even one that never ran is noticed.
fn start_table(
    ended: &Arc<Notify>,
    run: impl FnOnce() -> Result<(), StoreError> + Send + 'static,
) -> std::io::Result<JoinHandle<Result<(), StoreError>>> {
    let ends = note_end(ended);
    std::thread::Builder::new().name("table".to_owned()).spawn(move || {
        let _ends = ends;
        run()
    })
}

/// As [`start_table`].
fn start_page(
    ended: &Arc<Notify>,
    listener: tokio::net::TcpListener,
    page: Page,
) -> tokio::task::JoinHandle<std::io::Result<()>> {
    let ends = note_end(ended);
    tokio::spawn(async move {
        let _ends = ends;
        page::serve(listener, page).await
    })
}

/// The loudspeaker if it is wanted, and its thread.
fn outlet(sound: Option<Sound>, clock: Clock, events: SyncSender<Event>) -> std::io::Result<Sounding> {
    let Some(sound) = sound else { return Ok((Outlet::new(None), None)) };
    // When the engine's thread is gone the daemon is stopping.
    let tell = move |status| drop(events.send(Event::Sound(status)));
    let (loudspeaker, thread) = Loudspeaker::start(sound, move || clock.now(), tell)?;
    Ok((Outlet::new(Some(loudspeaker)), Some(thread)))
}

/// The address is told to whoever looks into the folder.
async fn listen(at: SocketAddr, store: &Store) -> anyhow::Result<(tokio::net::TcpListener, SocketAddr)> {
    let listener = tokio::net::TcpListener::bind(at)
        .await
        .map_err(|error| anyhow::anyhow!("can't listen on {at}: {error}; choose another with --listen"))?;
    let bound = listener.local_addr()?;
    store.announce(bound)?;
    Ok((listener, bound))
}

/// Waits for the page; gives what went wrong with it.
async fn end_page(mut page: tokio::task::JoinHandle<std::io::Result<()>>) -> Option<String> {
    match tokio::time::timeout(PAGE_LIMIT, &mut page).await {
        Ok(Ok(Ok(()))) => None,
        Ok(Ok(Err(error))) => Some(format!("the page failed: {error}")),
        Ok(Err(error)) => Some(format!("the page failed: {error}; please report it")),
        Err(_) => {
            tracing::warn!("a client did not let go in time");
            page.abort();
            None
        }
    }
}

/// Stops the engine's thread, whatever the page did; gives what went wrong with it or the log.
async fn end_table(events: SyncSender<Event>, table: JoinHandle<Result<(), StoreError>>) -> Option<String> {
    let ended = tokio::task::spawn_blocking(move || {
        let _ = events.send(Event::Stop);
        table.join()
    });
    match tokio::time::timeout(TABLE_LIMIT, ended).await {
        Ok(Ok(Ok(closed))) => closed.err().map(|error| error.to_string()),
        Ok(Ok(Err(_)) | Err(_)) => {
            Some("the engine's thread failed: what was shown as logged is on disk, a pour under way may not be; please report it".to_owned())
        }
        Err(_) => Some(
            "the log's disk did not answer in time: what was never shown as logged may not be on it; check the disk, then look at the batch's list"
                .to_owned(),
        ),
    }
}

fn nothing_yet(run: &str, scale: &ScaleFacts, usual: &PourSettings) -> Now {
    Now {
        run: run.to_owned(),
        scale: ScaleView {
            state: "searching",
            lag: lateness::lag(scale, None, None),
            ..ScaleView::default()
        },
        phase: "idle",
        vessel: usual.vessel.word(),
        finish: usual.finish.word(),
        step: "starting".to_owned(),
        sound: outlet::view(&SoundStatus::looking()),
        ..Now::default()
    }
}
