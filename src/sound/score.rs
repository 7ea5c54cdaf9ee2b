//! When which sample is heard. Pure: the time at which a frame will be heard is an argument.
//!
//! Rules: a cue is placed so that it is heard when it is due, at once if that has passed. A stop or
//! a fault is always played; any other cue more than [`TOO_LATE`] behind is dropped. Nothing else
//! sounds from [`HUSH`] before a stop that is known of, and a stop cuts off whatever is playing. While
//! a stop or a fault sounds the others wait, until they are too late.

use crate::pour::entry::Cue;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;
use std::sync::Arc;

/// By contract: any other cue than a stop or a fault is dropped when it is later than this.
pub const TOO_LATE: Duration = Duration::from_millis(100);
/// A warning nearer than about 300 ms to the signal slows the answer to it (J Neurophysiol 2008, jn.01198.2007).
pub const HUSH: Duration = Duration::from_millis(300);
/// What is cut off fades for this long: at once to the ear, and no click.
const FADE_MS: usize = 5;
/// More than the engine ever has under way: approach, pips, stop and what follows.
const WAITING: usize = 16;
/// A step of the device's clock over this is a gap in the sound, not drift.
const GAP_S: f64 = 0.02;
/// Part of each difference that is taken over: smooths what the device says of its delay.
const FOLLOW: f64 = 0.05;

/// A cue with its samples.
#[derive(Clone, Debug)]
pub struct Placed {
    /// Which.
    pub cue: Cue,
    /// When it should be heard.
    pub due: Instant,
    /// One channel at the device's rate.
    pub samples: Arc<[f32]>,
}

#[derive(Clone, Debug)]
struct Playing {
    placed: Placed,
    at: usize,
    /// Frames left of its fade and in all, once it is cut off.
    fade: Option<(usize, usize)>,
}

/// What is playing and what waits.
#[derive(Debug)]
pub struct Score {
    rate_hz: f64,
    fade: usize,
    waiting: VecDeque<Placed>,
    playing: Option<Playing>,
    tail: Option<Playing>,
    /// When frame 0 was or would have been heard, in s, and frames filled so far.
    origin: Option<f64>,
    filled: u64,
}

/// Never dropped, however late.
pub const fn must_be_heard(cue: Cue) -> bool {
    match cue {
        Cue::Stop | Cue::Fault => true,
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

impl Score {
    /// Silence at this many frames a second.
    pub fn new(rate_hz: u32) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            fade: (rate_hz as usize * FADE_MS / 1000).max(1),
            waiting: VecDeque::with_capacity(WAITING),
            playing: None,
            tail: None,
            origin: None,
            filled: 0,
        }
    }

    /// Takes a cue; the audio thread must not allocate, so one too many pushes out the earliest.
    pub fn handle_cue(&mut self, placed: Placed) {
        if placed.samples.is_empty() {
            return;
        }
        if self.waiting.len() == WAITING {
            self.waiting.pop_front();
        }
        let at = self.waiting.partition_point(|p| p.due <= placed.due);
        self.waiting.insert(at, placed);
    }

    /// Fills one channel; the first frame will be heard at `heard` as far as the device knows.
    pub fn fill(&mut self, out: &mut [f32], heard: Instant) {
        let first_s = self.follow(heard.seconds());
        for (i, sample) in out.iter_mut().enumerate() {
            let now_s = first_s + i as f64 / self.rate_hz;
            self.start_what_is_due(now_s);
            let sum = next(&mut self.playing) + next(&mut self.tail);
            *sample = sum.clamp(-1.0, 1.0);
        }
        self.filled += out.len() as u64;
    }

    /// When the next frame is heard: the frames counted, drawn slowly to what the device says.
    fn follow(&mut self, heard_s: f64) -> f64 {
        let counted_s = self.filled as f64 / self.rate_hz;
        let says = heard_s - counted_s;
        let origin = match self.origin {
            Some(origin) if (says - origin).abs() < GAP_S => origin + FOLLOW * (says - origin),
            Some(_) | None => says,
        };
        self.origin = Some(origin);
        origin + counted_s
    }

    fn start_what_is_due(&mut self, now_s: f64) {
        let until = |placed: &Placed| placed.due.seconds() - now_s;
        let stop = self.waiting.iter().filter(|p| p.cue == Cue::Stop).map(until).reduce(f64::min);
        if stop.is_some_and(|s| s < HUSH.as_secs_f64())
            && self.playing.as_ref().is_some_and(|p| !must_be_heard(p.placed.cue))
        {
            self.cut();
        }
        let hushed = stop.is_some_and(|s| s < HUSH.as_secs_f64());
        let mut i = 0;
        while self.waiting.get(i).is_some_and(|p| until(p) <= 0.0) {
            let (must, late) =
                self.waiting.get(i).map_or((false, 0.0), |p| (must_be_heard(p.cue), -until(p)));
            let taken = self.playing.as_ref().is_some_and(|p| must_be_heard(p.placed.cue));
            if !must && (late > TOO_LATE.as_secs_f64() || hushed) {
                self.waiting.remove(i);
            } else if !must && taken {
                i += 1;
            } else if let Some(placed) = self.waiting.remove(i) {
                self.cut();
                self.playing = Some(Playing { placed, at: 0, fade: None });
            }
        }
    }

    /// Lets what is playing fade away.
    fn cut(&mut self) {
        if let Some(mut cut) = self.playing.take() {
            cut.fade = Some((self.fade, self.fade));
            self.tail = Some(cut);
        }
    }
}

/// The next sample; nothing is left playing after the last.
fn next(slot: &mut Option<Playing>) -> f32 {
    let Some(playing) = slot else { return 0.0 };
    let sample = playing.placed.samples.get(playing.at).copied();
    playing.at += 1;
    let share = match &mut playing.fade {
        None => 1.0,
        Some((left, all)) => {
            *left = left.saturating_sub(1);
            0.5 - 0.5 * (std::f32::consts::PI * *left as f32 / *all as f32).cos()
        }
    };
    if sample.is_none() || playing.fade.is_some_and(|(left, _)| left == 0) {
        *slot = None;
    }
    sample.unwrap_or(0.0) * share
}

#[cfg(test)]
mod tests;
