//! What the potter hears: a thread of its own that keeps the loudspeaker open while a batch is under way.
//!
//! Whoever sends a cue never waits for it. Opening a device can hang, so each try has a thread of
//! its own; so has letting go of one that died. Without a device everything else works, and it is
//! looked for again. It never decides which cue is due: that is the engine's.

mod device;
mod keep;
pub mod score;
mod status;
pub mod tone;

pub use status::{SoundError, SoundState, SoundStatus};

use crate::pour::entry::Cue;
use crate::settings::Sound;
use crate::time::{Duration, Instant};
use device::System;
use keep::{Found, Keep, OPENING, SILENT, aside, let_go};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

/// Orders that may wait: far more than the engine has under way at once.
const ORDERS: usize = 64;

/// A loudspeaker that is open: it plays silence and cues until it is dropped, which may wait for the device.
pub(crate) trait Playing: Send + 'static {
    /// The device's name.
    fn device(&self) -> &str;
    /// Hands a cue over, without waiting.
    fn play(&self, cue: Cue, due: Instant);
    /// Frames taken since it was opened.
    fn taken(&self) -> u64;
    /// Frames after which it is well.
    fn well_after(&self) -> u64;
    /// The sound system has said that it can't go on.
    fn broken(&self) -> bool;
    /// From an order to the ear at worst.
    fn latency(&self) -> Duration;
}

/// Where a loudspeaker is found. Each call may hang.
pub(crate) trait Find: Clone + Send + 'static {
    /// One that is open.
    type Stream: Playing;
    /// Looks whether it is there and could be opened, and lets go of it; gives its name.
    fn look(&self) -> Result<String, SoundError>;
    /// Opens it.
    fn open(&self) -> Result<Self::Stream, SoundError>;
}

/// What the loudspeaker is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// A batch is under way, or no longer.
    Batch(bool),
    /// A cue is to be heard.
    Cue {
        /// Which.
        cue: Cue,
        /// When.
        due: Instant,
    },
    /// The daemon ends as it should. When the orders end without it a pour may be under way that
    /// nobody watches any more.
    End,
}

/// The loudspeaker; it falls silent when this is dropped.
#[derive(Debug)]
pub struct Loudspeaker {
    orders: SyncSender<Order>,
}

impl Loudspeaker {
    /// Starts the thread; `now` is the daemon's clock, `tell` is told each change. The thread ends soon after
    /// this is dropped, when what must be heard has sounded.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(
        sound: Sound,
        now: impl Fn() -> Instant + Clone + Send + 'static,
        tell: impl Fn(SoundStatus) + Send + 'static,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        Self::start_on(System { sound, now: now.clone() }, now, tell)
    }

    /// As [`Loudspeaker::start`], with where it is found given, so that a test can stand in for it.
    pub(crate) fn start_on(
        find: impl Find,
        now: impl Fn() -> Instant + Send + 'static,
        tell: impl Fn(SoundStatus) + Send + 'static,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (orders, inbox) = sync_channel(ORDERS);
        let keep = Keep::new(find, now, tell);
        let thread = std::thread::Builder::new().name("sound".to_owned()).spawn(move || keep.run(&inbox))?;
        Ok((Self { orders }, thread))
    }

    /// Passes an order on, without ever waiting: with 64 waiting the sound is dead anyway.
    pub fn give(&self, order: Order) {
        let _ = self.orders.try_send(order);
    }
}

/// What a look at the device found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Looked {
    /// Its name.
    pub device: String,
    /// Cues are ordered this long before they are to be heard.
    pub latency: Duration,
    /// From an order to the ear: the most that was measured.
    pub measured: Duration,
}

/// Opens the device, lets it run for half a second and measures its delay in that time.
///
/// # Errors
/// Why it can't be heard.
pub fn look(sound: &Sound, now: impl Fn() -> Instant + Clone + Send + 'static) -> Result<Looked, SoundError> {
    let system = System { sound: sound.clone(), now };
    let opening = aside(move || system.open().map(Found::Open));
    let stream = match opening.recv_timeout(OPENING).map_err(|_| SoundError::Hangs)?? {
        Found::Open(stream) => stream,
        Found::There(_) => return Err(SoundError::None),
    };
    // Some forty calls.
    std::thread::sleep(SILENT);
    let device = stream.device().to_owned();
    let (taken, latency, measured) = (stream.taken(), stream.latency(), stream.measured());
    let_go(stream);
    if taken == 0 { Err(SoundError::Dead { device }) } else { Ok(Looked { device, latency, measured }) }
}
