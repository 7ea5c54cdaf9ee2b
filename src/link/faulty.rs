//! A bad link, made on purpose: what comes through a good one is dropped, repeated, held back, bunched,
//! damaged and cut. For tests; the same seed does the same.
//!
//! Takes events and the time, gives events when they are due; opens nothing.

use super::LinkEvent;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// How bad it is: chances from 0 to 1 for each piece of bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Faults {
    /// It never comes.
    pub dropped: f64,
    /// It comes twice.
    pub repeated: f64,
    /// It, and all that follows, is held back for up to [`Faults::held`].
    pub delayed: f64,
    /// One of its bits is turned over.
    pub flipped: f64,
    /// The link goes down here, for up to [`Faults::down`].
    pub cut: f64,
    /// Bytes are handed over only every so long; zero: at once.
    pub bunch: Duration,
    /// The longest a piece is held back.
    pub held: Duration,
    /// The longest a cut lasts.
    pub down: Duration,
}

/// A link through which everything goes wrong now and then.
#[derive(Clone, Debug)]
pub struct Faulty {
    faults: Faults,
    state: u64,
    waiting: VecDeque<(Instant, LinkEvent)>,
    /// The link is down until then.
    down_until: Option<Instant>,
}

impl Faulty {
    /// A link with these faults.
    pub fn new(faults: Faults, seed: u64) -> Self {
        Self { faults, state: seed, waiting: VecDeque::new(), down_until: None }
    }

    /// Takes what the good link told at `now`.
    pub fn handle_event(&mut self, event: LinkEvent, now: Instant) {
        self.come_up(now);
        let LinkEvent::Bytes { mut bytes, .. } = event else { return self.queue(event, now) };
        if self.down_until.is_some() || self.happens(self.faults.dropped) {
            return;
        }
        if self.happens(self.faults.cut) {
            return self.go_down(now);
        }
        if self.happens(self.faults.flipped) && !bytes.is_empty() {
            let bit = self.below(8 * bytes.len() as u64) as usize;
            bytes[bit / 8] ^= 1 << (bit % 8);
        }
        let delayed = self.happens(self.faults.delayed);
        let held = if delayed { self.up_to(self.faults.held) } else { Duration::ZERO };
        let twice = self.happens(self.faults.repeated);
        for _ in 0..=usize::from(twice) {
            self.queue(LinkEvent::Bytes { bytes: bytes.clone(), arrived_at: now }, now + held);
        }
    }

    /// What is due by `now`, oldest first; bytes are stamped with the moment they were due.
    pub fn poll_event(&mut self, now: Instant) -> Option<LinkEvent> {
        self.come_up(now);
        let &(due, _) = self.waiting.front().filter(|(due, _)| *due <= now)?;
        match self.waiting.pop_front()?.1 {
            LinkEvent::Bytes { bytes, .. } => Some(LinkEvent::Bytes { bytes, arrived_at: due }),
            event @ (LinkEvent::Up | LinkEvent::Facts(_) | LinkEvent::Down { .. }) => Some(event),
        }
    }

    fn go_down(&mut self, now: Instant) {
        let until = now + self.up_to(self.faults.down);
        self.down_until = Some(until);
        let (reason, try_this) = ("the link was cut".to_owned(), "wait for it".to_owned());
        self.queue(LinkEvent::Down { reason, try_this }, now);
    }

    fn come_up(&mut self, now: Instant) {
        if let Some(until) = self.down_until.filter(|until| *until <= now) {
            self.down_until = None;
            self.queue(LinkEvent::Up, until);
        }
    }

    /// Nothing overtakes what is held back, and all waits for the next hand-over.
    fn queue(&mut self, event: LinkEvent, at: Instant) {
        let every_us = u64::try_from(self.faults.bunch.as_micros()).unwrap_or(u64::MAX);
        let at = if every_us == 0 { at } else { Instant::from_us(at.us().div_ceil(every_us) * every_us) };
        let at = self.waiting.back().map_or(at, |(last, _)| at.max(*last));
        self.waiting.push_back((at, event));
    }

    fn happens(&mut self, chance: f64) -> bool {
        // The highest 53 bits are a number from 0 up to 1.
        ((self.random() >> 11) as f64 / (1_u64 << 53) as f64) < chance
    }

    fn up_to(&mut self, longest: Duration) -> Duration {
        Duration::from_micros(self.below(u64::try_from(longest.as_micros()).unwrap_or(u64::MAX)))
    }

    fn below(&mut self, end: u64) -> u64 {
        if end == 0 { 0 } else { self.random() % end }
    }

    /// SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators, 2014; constants from memory).
    fn random(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let a = (self.state ^ (self.state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let b = (a ^ (a >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        b ^ (b >> 31)
    }
}
