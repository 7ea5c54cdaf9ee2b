//! The guided calibration: steps at the pan that go on by what the scale shows, hands-free.
//!
//! Page and terminal are two faces of one [`Routine`]. Each group of steps begins and ends with a bare pan; what is read in
//! one counts once it is over. A step that went wrong is said and done again, with its group where the zero has moved:
//! nothing read before is lost. Whoever drops a routine has changed nothing. Takes weighings as the scale shows them.

mod judge;
mod plan;
mod readings;
mod step;

pub use plan::{Parts, Wish};
pub use step::{Amiss, Ask, Heard, Place, StepView};

use crate::batch::Refused;
use crate::calibration::masses::OwnMass;
use crate::calibration::reference::Reference;
use crate::calibration::request::CalibrationRequest;
use crate::calibration::warnings::MOST_ROUNDS;
use crate::guide::lag::{Found, LagTest};
use crate::reading::Weighing;
use crate::scale::ScaleFacts;
use crate::time::{Duration, Instant};
use crate::units::Mass;
use judge::{Fits, Pan};
use plan::{Group, Kind};
use readings::{Read, Readings};
use step::Step;

/// A weight that lies still for so long is taken: the tail of a late scale is over (as `guide/mod.rs` has it).
const STILL: Duration = Duration::from_millis(1000);
/// ... and one that is not what is wanted is told after so long: a hand may still be at it.
const AMISS: Duration = Duration::from_millis(1500);
/// A weight that moves for longer never comes to rest: a draught, a hose, a shaky table (own choice: a late scale and a slow
/// hand need half of it).
const RESTLESS: Duration = Duration::from_secs(12);
/// The zero may move by so many steps of the display from before a load to after it (own choice: what noise and the digit
/// do to two readings; OIML R 76 sets zeros to a quarter of a step).
const ZERO_STEPS: f64 = 2.0;
/// Two rounds of the warm-up that differ by no more than this many steps, in zero and span, are steady (own choice).
const STEADY_STEPS: f64 = 1.0;

/// What came of a routine.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// What the masses showed.
    Calibration {
        /// As a calibration is told.
        request: Box<CalibrationRequest>,
        /// How late the scale shows, where that was tried.
        lag: Option<Box<Found>>,
    },
    /// What one mass showed.
    Check {
        /// What it is worth, and how well that is known.
        mass: Reference,
        /// What the scale showed of it, as indicated, above the bare pan, g.
        shown_g: f64,
        /// Temperature of the room, degrees Celsius, where told.
        room_c: Option<f64>,
    },
}

/// One run of the routine.
#[derive(Clone, Debug)]
pub struct Routine {
    wish: Wish,
    groups: Vec<Group>,
    /// Group and step within it.
    at: (usize, usize),
    pan: Pan,
    /// What this group has read so far, and what all groups before it have.
    now: Vec<Read>,
    kept: Readings,
    amiss: Option<Amiss>,
    /// When the weight came to rest, and since when it moves.
    still_since: Option<Instant>,
    moving_since: Option<Instant>,
    /// When the load of this step was set down, for one that is to lie there.
    since: Option<Instant>,
    latest: Instant,
    lag: Option<LagTest>,
    outcome: Option<Outcome>,
    heard: Option<Heard>,
}

impl Routine {
    /// A calibration of this scale.
    ///
    /// # Errors
    /// What can't be done with these masses, by its field.
    pub fn new(wish: Wish, scale: &ScaleFacts) -> Result<Self, Refused> {
        let groups = plan::calibration(&wish)?;
        let lag = wish.parts.lag.then(|| LagTest::new(scale.clone()));
        Ok(Self::of(wish, groups, lag))
    }

    /// The daily check: one mass, ten seconds.
    ///
    /// # Errors
    /// What can't be done with this mass, by its field.
    pub fn check(wish: Wish) -> Result<Self, Refused> {
        let groups = plan::check(&wish)?;
        Ok(Self::of(wish, groups, None))
    }

    fn of(wish: Wish, groups: Vec<Group>, lag: Option<LagTest>) -> Self {
        Self {
            pan: Pan::new(wish.division_g),
            wish,
            groups,
            at: (0, 0),
            now: Vec::new(),
            kept: Readings::default(),
            amiss: None,
            still_since: None,
            moving_since: None,
            since: None,
            latest: Instant::START,
            lag,
            outcome: None,
            heard: None,
        }
    }

    /// What came of it, at the end.
    pub fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// It checks only.
    pub fn is_check(&self) -> bool {
        self.groups.iter().any(|g| g.kind == Kind::Check)
    }

    /// What is asked now, and what is amiss.
    pub fn poll_step(&self) -> StepView {
        let steps: usize = self.groups.iter().map(|g| g.steps.len()).sum();
        let lag_steps = self.lag.as_ref().map_or(0, |lag| lag.guide().progress().1);
        let step = self.step();
        let ask = match (step, &self.lag) {
            (Some(step), _) => step.ask,
            (None, Some(lag)) if self.outcome.is_none() => step::of_lag(lag).0,
            (None, Some(_) | None) => Ask::Done,
        };
        let (done, amiss) = self.stands();
        StepView {
            ask,
            mass: step.and_then(|s| s.mass).and_then(|m| self.wish.masses.get(m)).cloned(),
            seconds_left: step.and_then(|s| s.lasts).map(|lasts| self.left(lasts)),
            amiss,
            done,
            steps: steps + lag_steps,
        }
    }

    /// Steps done, and what is amiss.
    fn stands(&self) -> (usize, Option<Amiss>) {
        let before: usize = self.groups.iter().take(self.at.0).map(|g| g.steps.len()).sum();
        let lag_done = self.lag.as_ref().map_or(0, |lag| lag.guide().progress().0);
        let tried = self.lag.as_ref().filter(|_| self.step().is_none() && self.outcome.is_none());
        let amiss = self.amiss.or_else(|| step::of_lag(tried?).1);
        (before + self.at.1 + lag_done, amiss)
    }

    /// What became of the latest weighing, once, for ears at the pan.
    pub fn poll_heard(&mut self) -> Option<Heard> {
        self.heard.take()
    }

    fn left(&self, lasts: Duration) -> u32 {
        let gone = self.since.map_or(Duration::ZERO, |since| self.latest.since(since));
        u32::try_from(lasts.saturating_sub(gone).as_secs()).unwrap_or(u32::MAX)
    }

    fn step(&self) -> Option<&Step> {
        self.groups.get(self.at.0).and_then(|g| g.steps.get(self.at.1))
    }

    /// More lies there than the scale carries.
    pub fn handle_overload(&mut self) {
        self.still_since = None;
        if self.outcome.is_none() {
            let before = self.stands();
            self.amiss = Some(Amiss::TooMuch);
            self.heard = Heard::between(before, self.stands());
        }
    }

    /// Takes a weighing as the scale shows it, and the weight at rest where the pan rests. True when the last step was done.
    pub fn handle_weighing(&mut self, w: Weighing, rest: Option<Mass>) -> bool {
        if self.outcome.is_some() {
            return false;
        }
        let before = self.stands();
        let over = self.follow(w, rest);
        self.heard = if over { Some(Heard::Over) } else { Heard::between(before, self.stands()) };
        over
    }

    fn follow(&mut self, w: Weighing, rest: Option<Mass>) -> bool {
        self.latest = w.taken_at;
        let Some(step) = self.step().copied() else { return self.follow_lag(w, rest) };
        let Some(rest) = rest else { return self.moves(w.taken_at) };
        self.moving_since = None;
        if self.amiss == Some(Amiss::Restless) {
            self.amiss = None;
        }
        let still = w.taken_at.since(*self.still_since.get_or_insert(w.taken_at));
        match self.pan.judge(&step, &self.wish.masses, rest.g()) {
            Fits::Yes if still >= STILL => self.lies(&step, rest.g(), w.taken_at),
            Fits::No(amiss) if still >= AMISS => self.is_amiss(amiss),
            Fits::NotYet if self.amiss.is_some_and(Amiss::is_of_load) => self.amiss = None,
            Fits::Yes | Fits::No(_) | Fits::NotYet => {}
        }
        if self.step().is_none() && self.lag.is_none() {
            self.finish();
        }
        self.outcome.is_some()
    }

    /// It does not rest.
    fn moves(&mut self, at: Instant) -> bool {
        self.still_since = None;
        let since = *self.moving_since.get_or_insert(at);
        if at.since(since) >= RESTLESS {
            self.amiss = Some(Amiss::Restless);
        }
        false
    }

    fn is_amiss(&mut self, amiss: Amiss) {
        // What is to lie there for a while was taken off: its group begins anew.
        if self.since.take().is_some() {
            self.again(Amiss::TakenOff);
        } else {
            self.amiss = Some(amiss);
        }
    }

    /// What is wanted lies there; some things are to lie there for a while.
    fn lies(&mut self, step: &Step, rest_g: f64, at: Instant) {
        let since = *self.since.get_or_insert(at);
        if step.lasts.is_some_and(|lasts| at.since(since) < lasts) {
            self.amiss = None;
            return;
        }
        let read =
            Read { step: *step, shown_g: rest_g, zero_g: self.pan.zero_g(), before_g: self.pan.taken_g() };
        let bare = step.ask.is_bare();
        let moved_g = rest_g - self.pan.zero_g();
        self.pan.take(bare, rest_g);
        (self.since, self.still_since, self.amiss) = (None, None, None);
        self.now.push(read);
        self.at.1 += 1;
        let over = self.step().is_none();
        if bare && over && !self.may_move() && moved_g.abs() > ZERO_STEPS * self.wish.division_g {
            return self.again(Amiss::ZeroMoved);
        }
        if over {
            self.end_group();
        }
    }

    /// The very first zero, the warm-up and the long load tell how far it moves.
    fn may_move(&self) -> bool {
        let kind = self.groups.get(self.at.0).map(|g| g.kind);
        matches!(kind, Some(Kind::Empty | Kind::WarmUp | Kind::Creep) | None)
    }

    /// The group is done again; what it read is dropped.
    fn again(&mut self, why: Amiss) {
        self.at.1 = 0;
        self.now.clear();
        (self.since, self.still_since) = (None, None);
        self.amiss = Some(why);
    }

    fn end_group(&mut self) {
        let Some(group) = self.groups.get(self.at.0) else { return };
        let kind = group.kind;
        let read = std::mem::take(&mut self.now);
        if kind == Kind::WarmUp && !self.kept.is_steady(&read, STEADY_STEPS * self.wish.division_g) {
            self.kept.warm_up(&read);
            // After the last one it is gone on with, and the calibration says so.
            if self.kept.rounds() < MOST_ROUNDS as usize {
                self.at.1 = 0;
                return;
            }
        }
        self.kept.keep(kind, read);
        self.at = (self.at.0 + 1, 0);
    }

    fn follow_lag(&mut self, w: Weighing, rest: Option<Mass>) -> bool {
        let done = self.lag.as_mut().is_some_and(|lag| lag.handle_weighing(w, rest));
        // Where nothing was found the masses still count.
        if done || self.lag.as_ref().is_none_or(|lag| lag.guide().want().is_none()) {
            self.finish();
        }
        self.outcome.is_some()
    }

    fn finish(&mut self) {
        if let Some((mass, shown_g)) = self.kept.checked().and_then(|(m, g)| Some((self.mass(m)?, g))) {
            self.outcome = Some(Outcome::Check { mass: mass.reference, shown_g, room_c: self.wish.room_c });
            return;
        }
        let lag = self.lag.as_ref().and_then(|lag| lag.found().cloned()).map(Box::new);
        let request = Box::new(self.kept.request(&self.wish));
        self.outcome = Some(Outcome::Calibration { request, lag });
    }

    fn mass(&self, at: usize) -> Option<&OwnMass> {
        self.wish.masses.get(at)
    }
}

#[cfg(test)]
mod tests;
