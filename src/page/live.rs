//! The live stream: snapshots (latest wins), cues and pours (each once) on one rising number.

use super::Page;
use super::desk::Desk;
use super::said::{Said, Unfit, parse};
use super::shown::dressed;
use super::told;
use super::view::{CueView, Event, Now, PourView};
use crate::time::Duration;
use crate::units::shown::Shown;
use axum::body::Bytes;
use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket};
use serde::Serialize;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tokio::runtime::Handle;
use tokio::sync::broadcast::error::{RecvError, TryRecvError};
use tokio::sync::{broadcast, watch};
use tokio::task::JoinHandle;
use tokio::time::{MissedTickBehavior, interval, timeout};

/// A client whose loudspeaker counts is asked this often whether it is there,
const ASKED: Duration = Duration::from_millis(500);
/// and after so many questions in a row without any word it counts no longer: 2 s (our choice: whoever does
/// not answer in that time does not sound a stop in time either).
const UNANSWERED: u32 = 4;
/// A message that is not taken in this time never will be in time.
const TAKEN: Duration = Duration::from_secs(2);
/// A goodbye need not be taken; a stop of the daemon waits for it, for 300 ms at most.
const GOODBYE: Duration = Duration::from_millis(200);

/// What goes out, in the shape of the contract.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
enum Out<'a> {
    Now(&'a Now),
    Cue {
        seq: u64,
        #[serde(flatten)]
        cue: &'a CueView,
    },
    Pour {
        #[serde(flatten)]
        pour: &'a PourView,
    },
    Pong {
        id: &'a serde_json::Value,
        at_us: u64,
    },
    /// What the client said was not taken.
    Error {
        detail: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        field: Option<&'a str>,
    },
}

/// A client's loudspeaker: it no longer counts when this is dropped.
struct Ear {
    desk: Arc<dyn Desk>,
    // Kept, so that a drop works wherever it happens.
    runtime: Handle,
    client: u64,
    counts: bool,
}

impl Ear {
    fn new(desk: Arc<dyn Desk>) -> Self {
        static CLIENTS: AtomicU64 = AtomicU64::new(1);
        Self {
            desk,
            runtime: Handle::current(),
            client: CLIENTS.fetch_add(1, Ordering::Relaxed),
            counts: false,
        }
    }

    /// The engine's channel may be full for a moment: waited for where that does no harm.
    fn tell(&mut self, latency: Option<Duration>) -> JoinHandle<()> {
        self.counts = latency.is_some();
        let (desk, client) = (self.desk.clone(), self.client);
        self.runtime.spawn_blocking(move || desk.hear_client(client, latency))
    }
}

impl Drop for Ear {
    fn drop(&mut self) {
        if self.counts {
            drop(self.tell(None));
        }
    }
}

enum Gone {
    Client,
    Lagged,
    /// It takes nothing, or answers nothing.
    Mute,
}

struct Client {
    socket: WebSocket,
    events: broadcast::Receiver<Event>,
    seq: u64,
    ear: Ear,
    /// Questions since its last word.
    asked: u32,
    /// Units in which it is shown weights, where it asked for them.
    shown: Option<Shown>,
}

impl Client {
    async fn send(&mut self, out: &Out<'_>) -> Result<(), Gone> {
        // Every shape here has a JSON form.
        let text = told::text(out).unwrap_or_default();
        let text = self.shown.and_then(|shown| dressed(shown, text.as_bytes(), &[])).unwrap_or(text);
        self.put(Message::Text(Utf8Bytes::from(text))).await
    }

    async fn put(&mut self, message: Message) -> Result<(), Gone> {
        match timeout(TAKEN, self.socket.send(message)).await {
            Ok(sent) => sent.map_err(|_| Gone::Client),
            Err(_) => Err(Gone::Mute),
        }
    }

    /// Asks whether it is still there; whoever reads answers, by the protocol (RFC 6455, section 5.5.2).
    async fn ask(&mut self) -> Result<(), Gone> {
        if self.asked >= UNANSWERED {
            return Err(Gone::Mute);
        }
        self.asked += 1;
        self.put(Message::Ping(Bytes::new())).await
    }

    async fn tell(&mut self, event: &Event) -> Result<(), Gone> {
        self.seq += 1;
        match event {
            Event::Cue(cue) => self.send(&Out::Cue { seq: self.seq, cue }).await,
            // In the stream every message carries the stream's number; lists give the log's.
            Event::Pour(pour) => {
                let pour = PourView { seq: self.seq, ..PourView::clone(pour) };
                self.send(&Out::Pour { pour: &pour }).await
            }
        }
    }

    /// What was announced before this snapshot goes out before it.
    async fn show(&mut self, now: &Now) -> Result<(), Gone> {
        loop {
            match self.events.try_recv() {
                Ok(event) => self.tell(&event).await?,
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Lagged(_)) => return Err(Gone::Lagged),
                Err(TryRecvError::Closed) => return Err(Gone::Client),
            }
        }
        self.seq += 1;
        let now = Now { seq: self.seq, ..now.clone() };
        self.send(&Out::Now(&now)).await
    }

    async fn close(self, code: u16, reason: &'static str) {
        let Self { mut socket, ear, .. } = self;
        drop(ear);
        let frame = CloseFrame { code, reason: Utf8Bytes::from_static(reason) };
        // A client that is gone needs no goodbye.
        let _ = timeout(GOODBYE, socket.send(Message::Close(Some(frame)))).await;
    }
}

/// Serves one client until it goes, falls behind, or the daemon stops.
pub(super) async fn live(socket: WebSocket, page: Arc<Page>, shown: Option<Shown>) {
    let mut now = page.now.clone();
    let mut stop = page.stop.clone();
    let (events, ear) = (page.events.subscribe(), Ear::new(page.desk.clone()));
    let mut client = Client { socket, events, seq: 0, ear, asked: 0, shown };
    now.mark_changed();
    let end = tokio::select! {
        end = follow(&mut client, &mut now, &page) => end,
        // An error means that the daemon is gone: the same.
        () = async { drop(stop.wait_for(|stop| *stop).await) } => return client.close(1001, "the daemon stops").await,
    };
    match end {
        Gone::Client => {}
        Gone::Lagged => client.close(1011, "too far behind: connect again").await,
        Gone::Mute => client.close(1011, "nothing is read or answered: connect again").await,
    }
}

async fn follow(client: &mut Client, now: &mut watch::Receiver<Arc<Now>>, page: &Page) -> Gone {
    let mut ask = interval(ASKED);
    ask.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        let done = tokio::select! {
            biased;
            event = client.events.recv() => match event {
                Ok(event) => client.tell(&event).await,
                Err(RecvError::Lagged(_)) => Err(Gone::Lagged),
                Err(RecvError::Closed) => Err(Gone::Client),
            },
            changed = now.changed() => match changed {
                Ok(()) => {
                    let latest = now.borrow_and_update().clone();
                    client.show(&latest).await
                }
                Err(_) => Err(Gone::Client),
            },
            said = client.socket.recv() => handle(client, said, page).await,
            // Last, so that no answer which has come is overlooked.
            _ = ask.tick(), if client.ear.counts => client.ask().await,
        };
        if let Err(gone) = done {
            return gone;
        }
    }
}

async fn handle(
    client: &mut Client,
    said: Option<Result<Message, axum::Error>>,
    page: &Page,
) -> Result<(), Gone> {
    client.asked = 0;
    match said {
        Some(Ok(Message::Text(text))) => answer(client, &text, page).await,
        Some(Ok(Message::Binary(_) | Message::Ping(_) | Message::Pong(_))) => Ok(()),
        Some(Ok(Message::Close(_)) | Err(_)) | None => Err(Gone::Client),
    }
}

async fn answer(client: &mut Client, text: &str, page: &Page) -> Result<(), Gone> {
    match parse(text) {
        Ok(Said::Ping { id }) => client.send(&Out::Pong { id: &id, at_us: (page.clock)() }).await,
        Ok(Said::Sound(latency)) => {
            // One report after the other; a task that failed has failed with the daemon.
            let _ = client.ear.tell(latency).await;
            Ok(())
        }
        Err(Unfit { field, why, too_late }) => {
            if too_late {
                let _ = client.ear.tell(None).await;
            }
            client.send(&Out::Error { detail: &why, field: field.as_deref() }).await
        }
    }
}
