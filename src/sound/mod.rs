//! What the potter hears: a thread of its own that keeps the loudspeaker open while a batch is under way.
//!
//! Whoever sends a cue never waits for it. Opening a device can hang, so each try has a thread of
//! its own; so has letting go of one that died. Without a device everything else works, and it is
//! looked for again. It never decides which cue is due: that is the engine's.

mod device;
pub mod score;
pub mod tone;

use crate::pour::entry::Cue;
use crate::settings::Sound;
use crate::time::{Duration, Instant};
use device::Stream;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, sync_channel};
use std::thread::JoinHandle;

/// Orders that may wait: far more than the engine has under way at once.
const ORDERS: usize = 64;
/// How often the device is looked at; an order is taken at once all the same.
const LOOK: Duration = Duration::from_millis(100);
/// While a device is being opened, to have it soon.
const LOOK_SOON: Duration = Duration::from_millis(10);
/// A device that took longer than this to open hangs: a slow one needs under a second (common practice, no source).
const OPENING: Duration = Duration::from_secs(3);
/// By contract: no samples taken for this long while open means that the sound is dead.
const SILENT: Duration = Duration::from_millis(500);
/// The device stays open this long after a batch: the next one often follows at once.
const STAYS: Duration = Duration::from_secs(60);
/// Pause before a missing device is looked for again,
const AGAIN: Duration = Duration::from_secs(5);
/// and before one that died is opened again: doubled each time up to the last.
const FIRST_PAUSE: Duration = Duration::from_secs(1);
/// See [`FIRST_PAUSE`].
const LAST_PAUSE: Duration = Duration::from_secs(30);
/// A stop or a fault that sounds when the daemon ends is played out, for this long at most: a stop takes two
/// seconds in all.
const LAST_WORDS: Duration = Duration::from_secs(1);
/// A change of the delay under this is not worth telling.
const SAME_LATENCY: Duration = Duration::from_millis(2);

/// Why there is no sound, and what to try.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SoundError {
    /// Nothing to play on.
    #[error("no loudspeaker found: plug one in or switch it on")]
    None,
    /// Not the one that was asked for.
    #[error("no loudspeaker has '{wanted}' in its name: set [sound] device to part of one of: {found}")]
    NotNamed {
        /// As set.
        wanted: String,
        /// What is there.
        found: String,
    },
    /// Another program has it.
    #[error("the loudspeaker '{device}' is in use by another program: close that one")]
    Busy {
        /// Its name.
        device: String,
    },
    /// This user may not.
    #[error("no permission to use the loudspeaker '{device}': add yourself to the group audio, log in again")]
    Permission {
        /// Its name.
        device: String,
    },
    /// Anything else that the system says.
    #[error("the loudspeaker '{device}' can't be used ({why}): choose another with [sound] device")]
    Refused {
        /// Its name.
        device: String,
        /// The system's words.
        why: String,
    },
    /// It hangs.
    #[error("the loudspeaker does not answer: unplug it and plug it in again, or restart the sound service")]
    Hangs,
    /// It was there, and takes no more.
    #[error("the loudspeaker '{device}' takes no more sound: plug it in again; tried again by itself")]
    Dead {
        /// Its name.
        device: String,
    },
}

/// How the loudspeaker is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SoundState {
    /// It can be heard.
    On,
    /// It is not wanted.
    Off,
    /// There is none.
    Missing,
    /// It was there and takes no more, or hangs.
    Dead,
}

impl SoundState {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Off => "off",
            Self::Missing => "missing",
            Self::Dead => "dead",
        }
    }
}

/// What is known of the loudspeaker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundStatus {
    /// How it is.
    pub state: SoundState,
    /// Its name.
    pub device: Option<String>,
    /// From an order to the ear, as far as the system tells: the longest so far.
    pub latency: Duration,
    /// In plain words, with what to try.
    pub words: String,
}

impl SoundStatus {
    /// Nobody wants sound.
    pub fn off() -> Self {
        let words = "sound is off (--no-sound): cues go to the clients of the live stream only".to_owned();
        Self { state: SoundState::Off, device: None, latency: Duration::ZERO, words }
    }

    /// Before anything was tried.
    pub fn looking() -> Self {
        let words = "looking for a loudspeaker".to_owned();
        Self { state: SoundState::Missing, device: None, latency: Duration::ZERO, words }
    }

    fn on(device: &str, latency: Duration) -> Self {
        let words = format!("sound goes to '{device}'");
        Self { state: SoundState::On, device: Some(device.to_owned()), latency, words }
    }

    fn without(error: &SoundError) -> Self {
        let state = match error {
            SoundError::None
            | SoundError::NotNamed { .. }
            | SoundError::Busy { .. }
            | SoundError::Permission { .. }
            | SoundError::Refused { .. } => SoundState::Missing,
            SoundError::Hangs | SoundError::Dead { .. } => SoundState::Dead,
        };
        Self { state, device: None, latency: Duration::ZERO, words: error.to_string() }
    }

    fn differs(&self, other: &Self) -> bool {
        let (more, less) = (self.latency.max(other.latency), self.latency.min(other.latency));
        (self.state, &self.device, &self.words) != (other.state, &other.device, &other.words)
            || more - less > SAME_LATENCY
    }
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
        let (orders, inbox) = sync_channel(ORDERS);
        let outlet = Outlet::new(sound, now, tell);
        let thread =
            std::thread::Builder::new().name("sound".to_owned()).spawn(move || outlet.run(&inbox))?;
        Ok((Self { orders }, thread))
    }

    /// Passes an order on, without ever waiting: with 64 waiting the sound is dead anyway.
    pub fn give(&self, order: Order) {
        let _ = self.orders.try_send(order);
    }
}

/// Opens the device and lets it run for a moment; gives its name and the delay it tells.
///
/// # Errors
/// Why it can't be heard.
pub fn look(
    sound: &Sound,
    now: impl Fn() -> Instant + Clone + Send + 'static,
) -> Result<(String, Duration), SoundError> {
    let opening = open_aside(sound, now);
    let stream = opening.recv_timeout(OPENING).map_err(|_| SoundError::Hangs)??;
    // A few periods: until then the device's own delay is not known.
    std::thread::sleep(SILENT);
    let (device, taken, latency) = (stream.device.clone(), stream.taken(), stream.latency());
    let_go(stream);
    if taken == 0 { Err(SoundError::Dead { device }) } else { Ok((device, latency)) }
}

fn open_aside(
    sound: &Sound,
    now: impl Fn() -> Instant + Clone + Send + 'static,
) -> Receiver<Result<Stream, SoundError>> {
    let (give, opening) = sync_channel(1);
    let sound = sound.clone();
    let open = move || {
        // When nobody waits any more the stream ends here, on the thread that may hang.
        let _ = give.send(device::open(&sound, now));
    };
    // Without a thread the channel closes, and that is told like a device that hangs.
    let _ = std::thread::Builder::new().name("sound-open".to_owned()).spawn(open);
    opening
}

/// Ending a stream waits for its thread, which a dead device may hold.
fn let_go(stream: Stream) {
    let _ = std::thread::Builder::new().name("sound-close".to_owned()).spawn(move || drop(stream));
}

struct Opening {
    result: Receiver<Result<Stream, SoundError>>,
    since: Instant,
}

/// The thread's state.
struct Outlet<N, T> {
    sound: Sound,
    now: N,
    tell: T,
    stream: Option<Stream>,
    opening: Option<Opening>,
    batch: bool,
    /// Without a batch: when to let the device go.
    close_at: Instant,
    try_at: Instant,
    pause: Duration,
    /// Samples taken when last looked at and changed.
    seen: (u64, Instant),
    told: SoundStatus,
    /// Until then a stop or a fault sounds.
    sounds_until: Instant,
}

impl<N: Fn() -> Instant + Clone + Send + 'static, T: Fn(SoundStatus)> Outlet<N, T> {
    fn new(sound: Sound, now: N, tell: T) -> Self {
        Self {
            sound,
            now,
            tell,
            stream: None,
            opening: None,
            batch: false,
            close_at: Instant::START,
            try_at: Instant::START,
            pause: FIRST_PAUSE,
            seen: (0, Instant::START),
            told: SoundStatus::looking(),
            sounds_until: Instant::START,
        }
    }

    fn run(mut self, inbox: &Receiver<Order>) {
        let mut as_it_should = false;
        loop {
            let wait = if self.opening.is_some() { LOOK_SOON } else { LOOK };
            match inbox.recv_timeout(wait) {
                Ok(Order::Batch(on)) => {
                    self.batch = on;
                    self.close_at = (self.now)() + STAYS;
                }
                Ok(Order::Cue { cue, due }) => self.play(cue, due),
                Ok(Order::End) => as_it_should = true,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.tend((self.now)());
        }
        if !as_it_should && self.batch {
            // Silence must never stand for 'keep pouring'.
            self.play(Cue::Fault, (self.now)());
        }
        std::thread::sleep(self.sounds_until.since((self.now)()).min(LAST_WORDS));
        self.close();
    }

    fn play(&mut self, cue: Cue, due: Instant) {
        let Some(stream) = &self.stream else { return };
        stream.play(cue, due);
        if score::must_be_heard(cue) {
            let length = Duration::from_millis(u64::from(tone::tone(cue).length_ms()));
            self.sounds_until = due.max((self.now)()) + length + stream.latency();
        }
    }

    fn tend(&mut self, now: Instant) {
        if self.opening.is_some() {
            self.wait_for_opening(now);
        } else if self.stream.is_some() {
            self.listen(now);
        } else if now >= self.try_at && (self.batch || self.told.state != SoundState::On) {
            // One that is known and not needed stays closed.
            let result = open_aside(&self.sound, self.now.clone());
            self.opening = Some(Opening { result, since: now });
        }
    }

    fn wait_for_opening(&mut self, now: Instant) {
        let Some(Opening { result, since }) = &self.opening else { return };
        let result = match result.try_recv() {
            Ok(result) => result,
            Err(TryRecvError::Disconnected) => Err(SoundError::Hangs),
            Err(TryRecvError::Empty) => {
                // No second try beside one that hangs; should it come back, it is taken.
                if now.since(*since) > OPENING {
                    self.say(SoundStatus::without(&SoundError::Hangs));
                }
                return;
            }
        };
        self.opening = None;
        match result {
            Ok(stream) => {
                self.say(SoundStatus::on(&stream.device, stream.latency()));
                self.seen = (0, now);
                self.close_at = now + STAYS;
                self.stream = Some(stream);
            }
            Err(error) => {
                self.say(SoundStatus::without(&error));
                self.try_at = now + AGAIN;
            }
        }
    }

    fn listen(&mut self, now: Instant) {
        let Some(stream) = &self.stream else { return };
        let taken = stream.taken();
        if taken != self.seen.0 {
            self.seen = (taken, now);
        }
        if stream.broken() || now.since(self.seen.1) > SILENT {
            let error = SoundError::Dead { device: stream.device.clone() };
            self.close();
            self.say(SoundStatus::without(&error));
            self.try_at = now + self.pause;
            self.pause = (self.pause * 2).min(LAST_PAUSE);
            return;
        }
        let status = SoundStatus::on(&stream.device, stream.latency());
        if taken >= stream.well_after() {
            self.pause = FIRST_PAUSE;
        }
        if !self.batch && now >= self.close_at {
            self.close();
        }
        self.say(status);
    }

    fn close(&mut self) {
        if let Some(stream) = self.stream.take() {
            let_go(stream);
        }
    }

    /// Once for each change.
    fn say(&mut self, status: SoundStatus) {
        if self.told.differs(&status) {
            self.told = status.clone();
            (self.tell)(status);
        }
    }
}
