//! The sound's thread: opens the loudspeaker for a batch, watches it, looks for one that is closed or missing.

use super::{Find, Order, Playing, SoundError, SoundState, SoundStatus, score, tone};
use crate::pour::entry::Cue;
use crate::time::{Duration, Instant};
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError, sync_channel};

/// How often the device is looked at; an order is taken at once all the same.
const LOOK: Duration = Duration::from_millis(100);
/// While a device is being opened, to have it soon.
const LOOK_SOON: Duration = Duration::from_millis(10);
/// A device that took longer than this to open hangs: a slow one needs under a second (common practice, no source).
pub(super) const OPENING: Duration = Duration::from_secs(3);
/// By contract: no samples taken for this long while open means that the sound is dead.
pub(super) const SILENT: Duration = Duration::from_millis(500);
/// The device stays open this long after a batch: the next one often follows at once, and one that follows
/// later has it open again before a piece has landed.
const STAYS: Duration = Duration::from_secs(15);
/// Pause before a missing device, or one that is closed, is looked for again,
const AGAIN: Duration = Duration::from_secs(5);
/// and before one that died is opened again: doubled each time up to the last.
const FIRST_PAUSE: Duration = Duration::from_secs(1);
/// See [`FIRST_PAUSE`].
const LAST_PAUSE: Duration = Duration::from_secs(30);
/// A stop or a fault that sounds when the daemon ends is played out, for this long at most: a stop takes two
/// seconds in all.
const LAST_WORDS: Duration = Duration::from_secs(1);

/// What came of a look or an opening.
pub(super) enum Found<S> {
    /// It is there, and closed again.
    There(String),
    /// It is open.
    Open(S),
}

type Answer<S> = Result<Found<S>, SoundError>;

/// Does what may hang on a throw-away thread.
pub(super) fn aside<S: Playing>(ask: impl FnOnce() -> Answer<S> + Send + 'static) -> Receiver<Answer<S>> {
    let (give, answer) = sync_channel(1);
    let ask = move || {
        // When nobody waits any more the stream ends here, on the thread that may hang.
        let _ = give.send(ask());
    };
    // Without a thread the channel closes, and that is told like a device that hangs.
    let _ = std::thread::Builder::new().name("sound-open".to_owned()).spawn(ask);
    answer
}

/// Ending a stream waits for its thread, which a dead device may hold.
pub(super) fn let_go(stream: impl Playing) {
    let _ = std::thread::Builder::new().name("sound-close".to_owned()).spawn(move || drop(stream));
}

/// By contract a stop and a fault are never too late.
fn in_time(cue: Cue, due: Instant, now: Instant) -> bool {
    score::must_be_heard(cue) || now.since(due) <= score::TOO_LATE
}

/// Whether what a cue that is held says no longer holds once the next is said.
fn over(held: Cue, next: Cue) -> bool {
    match held {
        // Said again it is one; its trouble is over with a clear, and with a piece that is ready.
        Cue::Fault => matches!(next, Cue::Fault | Cue::Clear | Cue::Ready),
        // The weight is known, or another piece stands there.
        Cue::Stop => matches!(next, Cue::Stop | Cue::Good | Cue::Short | Cue::Over | Cue::Ready),
        Cue::Ready
        | Cue::Approach
        | Cue::Count
        | Cue::Good
        | Cue::Short
        | Cue::Over
        | Cue::Clear
        | Cue::Note => false,
    }
}

/// What is heard to its end when the daemon ends: what must be heard, and what is said at the end of a routine at the pan.
fn is_played_out(cue: Cue) -> bool {
    score::must_be_heard(cue) || matches!(cue, Cue::Clear | Cue::Note)
}

struct Asked<S> {
    answer: Receiver<Answer<S>>,
    since: Instant,
}

/// The thread's state.
pub(super) struct Keep<F: Find, N, T> {
    find: F,
    now: N,
    tell: T,
    stream: Option<F::Stream>,
    asked: Option<Asked<F::Stream>>,
    batch: bool,
    /// Without a batch: when to let the device go.
    close_at: Instant,
    /// When one that is missing or died is to be opened.
    try_at: Instant,
    /// When one that is closed is to be looked for.
    look_at: Instant,
    pause: Duration,
    /// Samples taken when last looked at and changed.
    seen: (u64, Instant),
    told: SoundStatus,
    /// Cues that wait for it to be opened.
    held: Vec<(Cue, Instant)>,
    /// Until then something sounds that is played out also where the daemon ends.
    sounds_until: Instant,
}

impl<F: Find, N: Fn() -> Instant, T: Fn(SoundStatus)> Keep<F, N, T> {
    pub(super) fn new(find: F, now: N, tell: T) -> Self {
        Self {
            find,
            now,
            tell,
            stream: None,
            asked: None,
            batch: false,
            close_at: Instant::START,
            try_at: Instant::START,
            look_at: Instant::START,
            pause: FIRST_PAUSE,
            seen: (0, Instant::START),
            told: SoundStatus::looking(),
            held: Vec::new(),
            sounds_until: Instant::START,
        }
    }

    pub(super) fn run(mut self, inbox: &Receiver<Order>) {
        let mut as_it_should = false;
        loop {
            let wait = if self.asked.is_some() { LOOK_SOON } else { LOOK };
            match inbox.recv_timeout(wait) {
                Ok(Order::Batch(on)) => self.batch(on),
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

    fn batch(&mut self, on: bool) {
        self.batch = on;
        self.close_at = (self.now)() + STAYS;
        if on && self.stream.is_none() && self.told.state == SoundState::On {
            // As late as it was: what is announced meanwhile must not be too late for it.
            let opening = SoundStatus::opening(&self.told);
            self.say(opening);
        }
        if !on {
            self.held.clear();
        }
    }

    /// One that is not open yet holds what must be heard: late is better than never.
    fn play(&mut self, cue: Cue, due: Instant) {
        let Some(stream) = &self.stream else {
            let now = (self.now)();
            self.held.retain(|(held, due)| !over(*held, cue) && in_time(*held, *due, now));
            return self.held.push((cue, due));
        };
        stream.play(cue, due);
        if is_played_out(cue) {
            let length = Duration::from_millis(u64::from(tone::tone(cue).length_ms()));
            self.sounds_until = due.max((self.now)()) + length + stream.latency();
        }
    }

    fn tend(&mut self, now: Instant) {
        let find = self.find.clone();
        if self.asked.is_some() {
            self.wait_for_answer(now);
        } else if self.stream.is_some() {
            self.listen(now);
        } else if self.batch || self.told.state != SoundState::On {
            if now >= self.try_at {
                self.ask(move || find.open().map(Found::Open), now);
            }
        } else if now >= self.look_at {
            // One that is known and not needed stays closed; that it is gone must be known before a begin.
            self.ask(move || find.look().map(Found::There), now);
        }
    }

    fn ask(&mut self, ask: impl FnOnce() -> Answer<F::Stream> + Send + 'static, now: Instant) {
        self.asked = Some(Asked { answer: aside(ask), since: now });
    }

    fn wait_for_answer(&mut self, now: Instant) {
        let Some(Asked { answer, since }) = &self.asked else { return };
        let answer = match answer.try_recv() {
            Ok(answer) => answer,
            Err(TryRecvError::Disconnected) => Err(SoundError::Hangs),
            Err(TryRecvError::Empty) => {
                // No second try beside one that hangs; should it come back, it is taken.
                if now.since(*since) > OPENING {
                    self.say(SoundStatus::without(&SoundError::Hangs));
                }
                return;
            }
        };
        self.asked = None;
        match answer {
            Ok(Found::Open(stream)) => {
                self.say(SoundStatus::on(stream.device(), stream.latency()));
                self.seen = (0, now);
                self.close_at = self.close_at.max(now + STAYS);
                self.stream = Some(stream);
                for (cue, due) in std::mem::take(&mut self.held) {
                    if in_time(cue, due, now) {
                        self.play(cue, due);
                    }
                }
            }
            Ok(Found::There(device)) => self.handle_there(&device, now),
            Err(error) => {
                self.say(SoundStatus::without(&error));
                self.try_at = now + AGAIN;
            }
        }
    }

    fn handle_there(&mut self, device: &str, now: Instant) {
        self.look_at = now + AGAIN;
        if self.told.state == SoundState::On {
            // Perhaps another one by now; how late that is shows when it is opened.
            self.say(SoundStatus::on(device, self.told.latency));
        } else {
            // It hung for a while and came back: whether it plays shows when it is opened.
            self.try_at = now;
        }
    }

    fn listen(&mut self, now: Instant) {
        let Some(stream) = &self.stream else { return };
        let taken = stream.taken();
        if taken != self.seen.0 {
            self.seen = (taken, now);
        }
        if stream.broken() || now.since(self.seen.1) > SILENT {
            let error = SoundError::Dead { device: stream.device().to_owned() };
            self.close();
            self.say(SoundStatus::without(&error));
            self.try_at = now + self.pause;
            self.pause = (self.pause * 2).min(LAST_PAUSE);
            return;
        }
        let status = SoundStatus::on(stream.device(), stream.latency());
        if taken >= stream.well_after() {
            self.pause = FIRST_PAUSE;
        }
        if !self.batch && now >= self.close_at {
            self.close();
            self.look_at = now + AGAIN;
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

#[cfg(test)]
mod tests;
