//! A display that does not follow the weight: held until it jumps, or pulled to its zero.
//!
//! Told from readings alone, and only where no weight on a working scale can look like it.

use super::{LAG_INTERVALS, ScaleFacts};
use crate::reading::Weighing;
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// A display that is held stands still for at least so many readings before it jumps (own choice: a pour's own
/// display changes with every reading or two).
const STILL_READINGS: u32 = 3;
/// A jump is at least so many steps, or deviations of a reading, or grams: a ramp's first reading after rest is a
/// step or two, and noise is none (own choices).
const JUMP_STEPS: f64 = 5.0;
const JUMP_SIGMAS: f64 = 6.0;
const LEAST_JUMP_G: f64 = 0.5;
/// What is put down weighs more than what a held display leaves out (own choice).
const JUMP_G: f64 = 25.0;
/// After a jump the next reading goes on by less than this share of it. What falls onto a pan at once shows over
/// several readings: with the lag of [`LAG_INTERVALS`] a single pole's second change is at least half of its
/// first (derived: exp(-1/1.5)), a moving average's as large.
const SHARE: f64 = 0.2;
/// So many jumps within this time: one alone may be a knock.
const JUMPS: usize = 3;
const WITHIN: Duration = Duration::from_secs(60);

/// Looks for a display that is held: it stands still while slop runs, then jumps.
#[derive(Clone, Debug)]
pub(super) struct Hold {
    step_g: f64,
    least_g: f64,
    lag_s: f64,
    last: Option<Weighing>,
    /// For so many readings the display has been the same.
    still: u32,
    /// A jump by so much, of which the next reading decides.
    jump_g: Option<f64>,
    jumps: VecDeque<Instant>,
}

impl Hold {
    pub(super) fn new(scale: &ScaleFacts) -> Self {
        Self {
            step_g: scale.step.g(),
            least_g: (JUMP_STEPS * scale.step.g()).max(JUMP_SIGMAS * scale.reading_sd_g()).max(LEAST_JUMP_G),
            lag_s: scale.lag.as_secs_f64(),
            last: None,
            still: 0,
            jump_g: None,
            jumps: VecDeque::new(),
        }
    }

    pub(super) fn handle_weighing(&mut self, w: Weighing) {
        let Some(last) = self.last.replace(w) else {
            self.still = 1;
            return;
        };
        let change_g = w.mass.g() - last.mass.g();
        let interval_s = w.taken_at.seconds_from(last.taken_at);
        if let Some(jump_g) = self.jump_g.take() {
            let stays = (-0.5 * self.step_g..SHARE * jump_g).contains(&change_g);
            if stays && interval_s < self.lag_s / LAG_INTERVALS {
                self.jumps.push_back(w.taken_at);
            }
        }
        if change_g.abs() < 0.1 * self.step_g {
            self.still += 1;
            return;
        }
        let jumped = self.still >= STILL_READINGS && (self.least_g..JUMP_G).contains(&change_g);
        // A reading that was lost hides how it rose.
        if jumped && interval_s < self.lag_s / LAG_INTERVALS {
            self.jump_g = Some(change_g);
        }
        self.still = 1;
    }

    pub(super) fn handle_silence(&mut self) {
        (self.last, self.jump_g) = (None, None);
    }

    /// The display is held, as often as it is needed to be sure.
    pub(super) fn holds(&self, now: Instant) -> bool {
        self.jumps.iter().rev().nth(JUMPS - 1).is_some_and(|at| now.since(*at) <= WITHIN)
    }

    /// Jumps that are too old are let go.
    pub(super) fn forget(&mut self, now: Instant) {
        while self.jumps.front().is_some_and(|at| now.since(*at) > WITHIN) {
            self.jumps.pop_front();
        }
    }
}

/// What is missing at a lift must be more than this, besides three steps of the display (own choice: what a wet
/// foot leaves on the pan makes it less, never more).
const MISSING_G: f64 = 0.5;
/// That is said for so long.
const SAID: Duration = Duration::from_secs(120);

/// A display that took a piece for its zero: what it weighs then and after the lift tells what was swallowed.
#[derive(Clone, Debug)]
pub(super) struct Hidden {
    step_g: f64,
    /// What stood there, by the display of before, and what the display showed for it.
    piece: Option<(f64, f64)>,
    swallowed: Option<(Instant, Mass)>,
}

impl Hidden {
    pub(super) fn new(scale: &ScaleFacts) -> Self {
        Self { step_g: scale.step.g(), piece: None, swallowed: None }
    }

    /// A piece of this weight stands under a display that shows so much.
    pub(super) fn handle_zeroed(&mut self, gross: Mass, shown: Mass) {
        self.piece = Some((gross.g(), shown.g()));
        self.swallowed = None;
    }

    /// At rest: once the piece is off, the display falls below zero by all that stood there.
    pub(super) fn handle_rest(&mut self, w: Weighing) {
        let Some((gross_g, shown_g)) = self.piece else { return };
        let off_g = shown_g - w.mass.g();
        if off_g < 0.5 * gross_g {
            return;
        }
        self.piece = None;
        // Slop that was seen to run in is off again with the piece: only what was never shown is left over.
        let missing_g = off_g - gross_g;
        if missing_g > MISSING_G.max(3.0 * self.step_g) {
            self.swallowed = Some((w.arrived_at, Mass::saturating(missing_g)));
        }
    }

    /// The display still takes a piece for its zero.
    pub(super) fn hides(&self) -> bool {
        self.piece.is_some()
    }

    /// So much slop was on the pan and never on the display.
    pub(super) fn swallowed(&self, now: Instant) -> Option<Mass> {
        self.swallowed.filter(|(at, _)| now.since(*at) < SAID).map(|(_, mass)| mass)
    }
}
