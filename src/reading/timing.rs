//! When the scale took a reading, worked out from when readings arrived.
//!
//! A scale samples evenly; a link holds readings back and hands several over at once, or loses
//! some. Arrival is regressed on the reading's place in the sequence, robustly, and the line is
//! laid where readings that were not held back arrive. Never guesses where the rhythm is not
//! clear: then a reading was taken when it arrived. A constant delay of the link can't be seen
//! from arrivals; it is learned as part of the hand.

use super::beat::{self, Beat, PROMPT_SDS};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// Readings looked back on: 6 s of a usual scale, so that the period is known to a few parts in a
/// thousand where the link holds readings back by up to 0.3 s (tried on simulated links).
const KEPT: usize = 64;
/// Fewer readings show no rhythm: three bunches of four.
const LEAST: usize = 12;
/// In a row of so many some reading was hardly held back: two bunches of four.
const ROW: usize = 8;
/// Around here lie the readings that were hardly held back, at bunches of up to five.
const PROMPT_SHARE: f64 = 0.1;
/// Held back by more than so many periods is no bunching but another rhythm.
const MOST_HELD: f64 = 5.0;
/// Whatever the rhythm, no reading is put back by more: bunches of five at ten readings a second.
const LONGEST_S: f64 = 0.5;
/// A place in the sequence is wrong when it misses by more than this share of a period.
const MISPLACED: f64 = 0.6;
/// With a greater share lost it is likelier that the period is wrong: a wrong period and losses that are
/// none can explain each other for ever (seen on simulated links).
const MOST_LOST: f64 = 0.05;
/// Held back by more than so many periods, it can't be told which reading of a bunch was lost.
const BUNCHED: f64 = 1.5;
/// After such a doubt arrivals count for so many readings, about a minute: changing to and fro within
/// a pour would cost more than bunches do.
const DOUBT: u32 = 640;
/// Readings closer than this share of the mean interval came together.
const TOGETHER: f64 = 0.3;
/// Such a pause is none of a running link: the sequence begins anew (`fault` comes after 0.8 s too).
const PAUSE_S: f64 = 0.8;

/// What is known of how readings come.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rhythm {
    /// Readings a second that the scale takes; `None` until a rhythm is clear.
    pub rate_hz: Option<f64>,
    /// How unevenly they come: nine in ten are held back by less than this, s.
    pub jitter_s: Option<f64>,
    /// Share of the latest readings that never came, 0 to 1.
    pub loss: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Came {
    place: i64,
    at: Instant,
}

/// The line through the readings that were not held back.
#[derive(Clone, Copy, Debug)]
struct Fit {
    period_s: f64,
    from: Came,
    prompt_s: f64,
    held_s: f64,
}

impl Fit {
    /// How much later than a prompt reading at its place this one came, s.
    fn late_s(&self, came: Came) -> f64 {
        let places = (came.place - self.from.place) as f64;
        came.at.seconds_from(self.from.at) - self.period_s * places - self.prompt_s
    }
}

/// Arrival times to sampling times.
#[derive(Clone, Debug, Default)]
pub struct Timing {
    /// Goes before all else where it is clear: a link that holds readings back by less than half a period, by chance.
    beat: Beat,
    window: VecDeque<Came>,
    fit: Option<Fit>,
    /// In nearly every row of readings one lies near the line: it is a rhythm, not chance.
    even: bool,
    /// In many rows none does: readings come by chance, as from a scale that only tells changes.
    chance: bool,
    /// Readings still to come before a rhythm is believed again.
    doubt: u32,
    latest: Option<Instant>,
}

impl Timing {
    /// After the link came up: nothing of before holds.
    pub fn reset(&mut self) {
        *self = Self { latest: self.latest, ..Self::default() };
    }

    /// Takes the arrival of a reading and says when the scale took it: never after it arrived,
    /// never before the reading before it.
    pub fn handle_arrival(&mut self, at: Instant, mass: Option<Mass>) -> Instant {
        if self.window.back().is_some_and(|b| at.seconds_from(b.at) > PAUSE_S) {
            // The beat has pauses of its own.
            let beat = std::mem::take(&mut self.beat);
            self.reset();
            self.beat = beat;
        }
        let in_beat = self.beat.handle_arrival(beat::Came { at_s: at.seconds(), mass_g: mass.map(Mass::g) });
        let place = self.place(at);
        self.window.push_back(Came { place, at });
        if self.window.len() > KEPT {
            self.window.pop_front();
        }
        if in_beat.is_some() {
            (self.fit, self.even, self.chance, self.doubt) = (None, false, false, 0);
        } else {
            self.refit();
            if self.window.len() == KEPT {
                self.repair();
            }
            self.doubt();
        }
        // A microsecond apart at least, so that no slope is infinite.
        let after = self.latest.map_or(Instant::START, |b| b + Duration::from_micros(1));
        let taken =
            in_beat.map_or_else(|| self.taken(at), |s| at.offset_seconds((s - at.seconds()).max(-LONGEST_S)));
        let taken = taken.max(after).min(at);
        self.latest = Some(taken);
        taken
    }

    /// What is known of how readings come.
    pub fn rhythm(&self) -> Rhythm {
        if let Some(beat) = self.beat.found() {
            let jitter_s = Some(2.0 * PROMPT_SDS * beat.sd_s);
            return Rhythm { rate_hz: Some(1.0 / beat.period_s), jitter_s, loss: Some(beat.loss) };
        }
        let Some(fit) = self.believed() else { return Rhythm::default() };
        Rhythm { rate_hz: Some(1.0 / fit.period_s), jitter_s: Some(fit.held_s), loss: Some(self.loss()) }
    }

    /// The next place, or a later one where this reading is later than the link has held any back.
    fn place(&self, at: Instant) -> i64 {
        let Some(last) = self.window.back() else { return 0 };
        let next = Came { place: last.place + 1, at };
        // A young line is not sure enough of the period: it would find losses where there are none, and keep them.
        let Some(fit) = self.fit.filter(|_| self.window.len() == KEPT) else { return next.place };
        let beyond = (fit.late_s(next) - fit.held_s) / fit.period_s;
        next.place + whole(beyond).clamp(0, 100)
    }

    fn refit(&mut self) {
        self.fit = None;
        if self.window.len() < LEAST {
            return;
        }
        let places: Vec<Came> = self.window.iter().copied().collect();
        let Some((fit, late)) = line(&places) else { return };
        let limit_s = MISPLACED * fit.period_s;
        let soonest = |row: &[f64]| row.iter().copied().fold(f64::INFINITY, f64::min);
        let odd = late.windows(ROW).filter(|row| soonest(row).abs() > limit_s).count();
        self.even = odd * 10 <= late.len();
        self.chance = odd * 3 > late.len();
        self.fit = Some(fit);
    }

    /// Puts the latest places right: before a reading that comes too early none was lost; before a
    /// row of readings that are all late some were.
    fn repair(&mut self) {
        let (Some(fit), Some(&last)) = (self.fit, self.window.back()) else { return };
        let periods_late = |c: &Came| fit.late_s(*c) / fit.period_s;
        let early = whole(-periods_late(&last));
        let late = whole(self.window.iter().rev().take(ROW).map(periods_late).fold(f64::INFINITY, f64::min));
        if early > 0 {
            self.pull_back(early);
        } else if late > 0 {
            let from = self.window.len().saturating_sub(ROW);
            self.window.iter_mut().skip(from).for_each(|c| c.place += late);
        } else {
            return;
        }
        self.refit();
    }

    /// Takes places back where the sequence jumped last, as far as it did.
    fn pull_back(&mut self, mut places: i64) {
        for i in (1..self.window.len()).rev() {
            let spare = (self.window[i].place - self.window[i - 1].place - 1).min(places);
            if spare > 0 {
                self.window.iter_mut().skip(i).for_each(|c| c.place -= spare);
                places -= spare;
            }
            if places == 0 {
                return;
            }
        }
    }

    fn doubt(&mut self) {
        let bunched = self.fit.is_some_and(|fit| fit.held_s > BUNCHED * fit.period_s);
        let doubtful = self.chance || (bunched && self.loss() > 0.0) || self.loss() > MOST_LOST;
        let full = self.window.len() == KEPT;
        self.doubt = if doubtful && full { DOUBT } else { self.doubt.saturating_sub(1) };
    }

    fn believed(&self) -> Option<Fit> {
        self.fit.filter(|fit| self.doubt == 0 && self.even && fit.held_s <= MOST_HELD * fit.period_s)
    }

    fn loss(&self) -> f64 {
        let (Some(first), Some(last)) = (self.window.front(), self.window.back()) else { return 0.0 };
        let taken = (last.place - first.place + 1).max(1) as f64;
        (1.0 - self.window.len() as f64 / taken).max(0.0)
    }

    fn taken(&self, at: Instant) -> Instant {
        let (Some(fit), Some(last)) = (self.believed(), self.window.back()) else {
            return at.offset_seconds(-self.in_bunch_s());
        };
        at.offset_seconds(-fit.late_s(*last).clamp(0.0, MOST_HELD * fit.period_s).min(LONGEST_S))
    }

    /// Without a rhythm: readings that come together are taken to be as many as usual, a mean interval
    /// apart, the last one prompt.
    fn in_bunch_s(&self) -> f64 {
        let (Some(first), Some(last)) = (self.window.front(), self.window.back()) else { return 0.0 };
        if self.window.len() < LEAST {
            return 0.0;
        }
        let mean_s = last.at.seconds_from(first.at) / (self.window.len() - 1) as f64;
        let (mut sizes, mut size) = (Vec::new(), 1.0);
        for (a, b) in self.window.iter().zip(self.window.iter().skip(1)) {
            if b.at.seconds_from(a.at) < TOGETHER * mean_s {
                size += 1.0;
            } else {
                sizes.push(std::mem::replace(&mut size, 1.0));
            }
        }
        (mean_s * (share_of(sizes, 0.5) - size).clamp(0.0, MOST_HELD)).min(LONGEST_S)
    }
}

/// The median slope of the pairs far apart (after Theil and Sen), where the prompt readings lie,
/// and how late each reading came.
fn line(places: &[Came]) -> Option<(Fit, Vec<f64>)> {
    let slope = |a: &Came, b: &Came| b.at.seconds_from(a.at) / (b.place - a.place).max(1) as f64;
    let half = places.len() / 2;
    let mut slopes = Vec::new();
    for (a, i) in places.iter().zip(half..) {
        slopes.extend(places.iter().skip(i).map(|b| slope(a, b)));
    }
    let period_s = share_of(slopes, 0.5);
    let level = Fit { period_s, from: *places.first()?, prompt_s: 0.0, held_s: 0.0 };
    let late: Vec<f64> = places.iter().map(|c| level.late_s(*c)).collect();
    let prompt_s = share_of(late.clone(), PROMPT_SHARE);
    let held_s = share_of(late.clone(), 0.9) - prompt_s;
    let late = late.into_iter().map(|s| s - prompt_s).collect();
    (period_s > 1e-3).then_some((Fit { prompt_s, held_s, ..level }, late))
}

/// Whole periods in a miss of so many, less than [`MISPLACED`] of one being none.
fn whole(periods: f64) -> i64 {
    (periods + 1.0 - MISPLACED).floor().clamp(-1e6, 1e6) as i64
}

/// The value below which this share of the values lies; 0 for none.
fn share_of(mut values: Vec<f64>, share: f64) -> f64 {
    let i = (share * values.len().saturating_sub(1) as f64).round() as usize;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(i, f64::total_cmp).1 }
}
