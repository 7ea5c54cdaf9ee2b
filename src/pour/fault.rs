//! Readings that can't be trusted: a display that stands still in the middle of a stream.

use super::done::EITHER;
use super::engine::Engine;
use super::entry::Cue;
use super::running::ESTIMATE_SD_G;
use super::state::{Fault, State, Trouble};
use super::vessel::Vessel;
use super::zeroed::LANDED_OVER;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::{COARSE_STEP_G, LAG_INTERVALS};
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// Readings are kept this long before the display came to stand: long enough to know a trickle.
const KEPT_S: f64 = 2.0;
/// Fewer equal readings than this may be chance.
const LEAST_EQUAL: u32 = 3;
/// A scale's own tail shrinks from reading to reading; a last rise this close to the mean of
/// those before it is a halt with no tail (derived for lags of 0.1 s and more at 10 readings
/// a second: a real tail's last visible rise is one or two steps).
const NO_TAIL: f64 = 0.6;
/// Rises of fewer steps from reading to reading show no tail: they are judged as a trickle.
const TAIL_STEPS: f64 = 3.0;
/// A trickle is judged by its slope in the half second before it stood still against the
/// slope before that: a hand that eased off is not a scale that stands still.
const LATE_S: f64 = 0.5;
const NOT_EASED: f64 = 0.8;
/// On a coarse display one that fell to less than this share has eased for sure (own choice: whoever eases off at
/// `approach` pours half).
const EASED: f64 = 0.5;
/// A trickle must stand still this long; `fault` is promised within 1 s.
const TRICKLE_S: f64 = 0.7;

/// A hand that pours on may pour so much less than it did (own choice: two standard deviations of a flow that wanders by
/// 15 %).
const SLACK: f64 = 0.7;

/// On a wheel that turns a display stands still for so long, s: `fault` is promised within 1 s.
const ON_A_WHEEL_S: f64 = 0.9;
/// A display that stands still for so long shows what there is (as the pause that ends a pour from a jug).
const STANDS: Duration = Duration::from_millis(1500);

/// Watches for a display that stands still while slop runs.
#[derive(Clone, Debug)]
pub(super) struct Watch {
    /// Readings up to the last change, by when they were taken: a link may hand over several at once.
    recent: VecDeque<(Instant, f64)>,
    /// When the last of them arrived.
    since: Instant,
    /// Readings equal to it since.
    equal: VecDeque<(Instant, f64)>,
    step_g: f64,
    sd_g: f64,
}

impl Watch {
    pub(super) fn new(step_g: f64, sd_g: f64) -> Self {
        Self { recent: VecDeque::new(), since: Instant::START, equal: VecDeque::new(), step_g, sd_g }
    }

    /// Takes a weighing; true when it moved against the one before.
    pub(super) fn handle_weighing(&mut self, w: Weighing) -> bool {
        let (at, g) = (w.taken_at, w.mass.g());
        if self.recent.back().is_some_and(|(_, last)| (last - g).abs() < self.step_g * 0.01) {
            if self.equal.len() < 100 {
                self.equal.push_back((at, g));
            }
            return false;
        }
        self.recent.append(&mut self.equal);
        self.recent.push_back((at, g));
        self.since = w.arrived_at;
        while self.recent.front().is_some_and(|(t, _)| at.seconds_from(*t) > KEPT_S) {
            self.recent.pop_front();
        }
        true
    }

    /// Since when the display stands still although slop should be showing: it halted more
    /// abruptly than its own response allows, or more than two steps of a trickle are missing.
    pub(super) fn frozen(&self, now: Instant) -> Option<Instant> {
        let since = self.since;
        let enough = self.stands();
        (enough && (self.halted(now, since) || self.trickle_missing(now, since))).then_some(since)
    }

    /// Grams and seconds from each reading to the next.
    fn rises(&self) -> Vec<(f64, f64)> {
        let pairs = self.recent.iter().zip(self.recent.iter().skip(1));
        pairs.map(|((t0, a), (t1, b))| (b - a, t1.seconds_from(*t0).max(1e-3))).collect()
    }

    fn halted(&self, now: Instant, since: Instant) -> bool {
        let rises = self.rises();
        let Some(((last_g, last_s), before)) = rises.split_last() else { return false };
        let before = &before[before.len().saturating_sub(4)..];
        if before.len() < 2 {
            return false;
        }
        let (rise_g, span_s) = before.iter().fold((0.0, 0.0), |(g, s), (dg, ds)| (g + dg, s + ds));
        let flow_g_s = rise_g / span_s;
        rise_g / before.len() as f64 >= TAIL_STEPS * self.step_g
            && last_g / last_s >= NO_TAIL * flow_g_s
            && flow_g_s * now.seconds_from(since) > self.owed_g()
    }

    /// So many readings in a row were the same as no chance makes.
    fn stands(&self) -> bool {
        self.equal.len() as u32 >= LEAST_EQUAL
    }

    /// The display stands still in the middle of a fall: a lift leaves a tail, and so does a hand that lets go.
    pub(super) fn halted_in_a_fall(&self) -> bool {
        let rises = self.rises();
        let Some(((last_g, last_s), before)) = rises.split_last() else { return false };
        let before = &before[before.len().saturating_sub(4)..];
        let (fall_g, span_s) =
            before.iter().filter(|(dg, _)| *dg < 0.0).fold((0.0, 0.0), |(g, s), (dg, ds)| (g - dg, s + ds));
        let all_g = fall_g - last_g.min(0.0);
        !self.equal.is_empty()
            && all_g > 4.0 * TAIL_STEPS * self.step_g
            && -last_g / last_s >= NO_TAIL * fall_g / span_s.max(1e-3)
    }

    /// What the display still owes since it stands still: the end of the tail that its last rises had. None where it
    /// came to rest as it should.
    pub(super) fn owes_g(&self) -> Option<f64> {
        let rises = self.rises();
        let [.., (before_g, before_s), (last_g, last_s)] = rises[..] else { return None };
        let slower = (last_g / last_s) / (before_g / before_s).max(1e-3);
        let stands = self.stands() && last_g * slower.min(1.0) > self.owed_g();
        stands.then(|| if slower < 1.0 { last_g * slower / (1.0 - slower) } else { f64::INFINITY })
    }

    fn trickle_missing(&self, now: Instant, since: Instant) -> bool {
        let Some(&(last, _)) = self.recent.back() else { return false };
        let still_s = now.seconds_from(since);
        if self.step_g >= COARSE_STEP_G {
            return still_s >= TRICKLE_S && self.outstays(still_s);
        }
        let parted = self.recent.iter().partition::<Vec<_>, _>(|(t, _)| last.seconds_from(*t) <= LATE_S);
        let (Some(late), Some(early)) = (slope_g_s(&parted.0), slope_g_s(&parted.1)) else { return false };
        still_s >= TRICKLE_S && late >= NOT_EASED * early && early * still_s > self.owed_g()
    }

    /// A coarse display counts on within the time that the flow just seen takes for a step: one that stands for longer shows
    /// that the stream eased, or ended, or that it shows nothing any more. Within a step these look alike.
    fn outstays(&self, still_s: f64) -> bool {
        let flow_g_s = if self.eased() { self.late_g_s().0 } else { self.least_flow_g_s() };
        SLACK * flow_g_s * still_s > self.step_g + 4.0 * self.noise_g()
    }

    /// Just before it stood the flow was surely less than it had been: the end of a stream was seen.
    fn eased(&self) -> bool {
        self.late_g_s().1 < EASED * self.least_flow_g_s()
    }

    /// The least and the greatest flow of the last half second.
    fn late_g_s(&self) -> (f64, f64) {
        let Some(&(last, last_g)) = self.recent.back() else { return (0.0, 0.0) };
        let before = self.recent.iter().rfind(|(t, _)| last.seconds_from(*t) >= LATE_S);
        before.map_or((0.0, f64::INFINITY), |(t, g)| {
            let (rise_g, for_s) = (last_g - g, last.seconds_from(*t));
            ((rise_g - self.step_g) / for_s, (rise_g + self.step_g) / for_s)
        })
    }

    /// The flow was so great at least: what was shown to rise rose by a step less, if each end lay at the edge of one.
    fn least_flow_g_s(&self) -> f64 {
        let Some(&(last, last_g)) = self.recent.back() else { return 0.0 };
        let flow = |(t, g): &(Instant, f64)| {
            let for_s = last.seconds_from(*t);
            if for_s < LATE_S { 0.0 } else { (last_g - g - self.step_g) / for_s }
        };
        self.recent.iter().map(flow).fold(0.0, f64::max)
    }

    /// Before a stop was due, a coarse display had stood for too long already.
    fn outstayed(&self, due: Instant) -> bool {
        self.step_g < COARSE_STEP_G || self.outstays(due.seconds_from(self.since))
    }

    /// A scale's own scatter besides its step.
    fn noise_g(&self) -> f64 {
        (self.sd_g.powi(2) - self.step_g.powi(2) / 12.0).max(0.0).sqrt()
    }

    /// It stands so sharply as no tail ends.
    fn halted_now(&self, now: Instant) -> bool {
        self.stands() && self.halted(now, self.since)
    }

    /// Two steps, and what noise can hide.
    fn owed_g(&self) -> f64 {
        2.0 * self.step_g + 4.0 * self.sd_g
    }
}

/// Slope from the first to the last of at least three readings.
fn slope_g_s(readings: &[&(Instant, f64)]) -> Option<f64> {
    let (&&(from, a), &&(to, b)) = (readings.first()?, readings.last()?);
    (readings.len() >= 3).then(|| (b - a) / to.seconds_from(from).max(1e-3))
}

impl Engine {
    /// A display that stands still and may well show the weight: entered as not settled,
    /// and nothing is called clear before it moves.
    pub(super) fn stands_still(&mut self, mut f: Fault, w: Weighing) {
        let Some(rest) = self.at_rest() else { return self.enter(State::Fault(f)) };
        let since = *f.resting_since.get_or_insert(w.arrived_at);
        match *f.from {
            State::Pouring(mut s) | State::Draining(mut s)
                if !s.again && w.arrived_at.since(since) >= STANDS =>
            {
                s.pour.settled = false;
                s.pour.troubled = true;
                let net = rest - s.pour.tare;
                self.unsure_of_leaps(&mut s, net);
                if s.pour.marks.has(Mark::Early) {
                    // Slop, or a hand that let go before `ready`.
                    s.pour.unsure_g = s.pour.unsure_g.max(EITHER * net.abs());
                }
                s.pour.net_u = Some(ESTIMATE_SD_G.hypot(s.pour.unsure_g));
                let pour = self.write_down(s, net, w.arrived_at);
                // Weighed again when it moves: slop may have come that nobody saw.
                let mut again = self.stream(pour, &VecDeque::from([(w.taken_at, net)]), net);
                again.again = true;
                again.plan.stop_due = Some(w.arrived_at);
                f.from = Box::new(State::Draining(again));
            }
            from @ (State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Ready(_)
            | State::Pouring(_)
            | State::Draining(_)
            | State::Done(_)
            | State::Fault(_)) => f.from = Box::new(from),
        }
        self.enter(State::Fault(f));
    }

    /// The display is fine, and showed the piece come as late as it is told to be: it shows the end of whatever comes at once over several readings.
    fn shows_tails(&self) -> bool {
        let follows_s = self.pace.mean_s().map_or(f64::INFINITY, |mean_s| LAG_INTERVALS * mean_s);
        let fine = self.start.scale.step.g() < COARSE_STEP_G;
        fine && self.landed_over >= LANDED_OVER && self.start.scale.lag.as_secs_f64() > follows_s
    }

    /// What it means that the display stands still: on a coarse one the stream may have ended.
    pub(super) fn stands(&self) -> Trouble {
        if self.start.scale.step.g() >= COARSE_STEP_G { Trouble::Unmoved } else { Trouble::Frozen }
    }

    pub(super) fn fault_matters(&self) -> bool {
        matches!(self.state, State::Ready(_) | State::Pouring(_) | State::Draining(_))
    }

    pub(super) fn fault(&mut self, trouble: Trouble, at: Instant) {
        if !self.fault_matters() {
            return;
        }
        self.cue_now(Cue::Fault, at, None);
        let mut from = std::mem::replace(&mut self.state, State::Idle);
        if let State::Pouring(s) | State::Draining(s) = &mut from {
            s.pour.troubled = true;
        }
        self.enter(State::Fault(Fault { from: Box::new(from), trouble, resting_since: None, rose_g: 0.0 }));
    }

    /// Slop was running when the display came to stand: later, a hand that heard the stop
    /// brings it to stand.
    pub(super) fn should_move(&self, since: Instant, now: Instant) -> bool {
        // Where a wheel swings back as slop comes on, what is shown stands for a moment.
        if self.on_a_wheel() && now.seconds_from(since) < ON_A_WHEEL_S {
            return false;
        }
        match &self.state {
            // Strokes and lumps end sooner than a stream; but where a lift shows over several readings, so does their end.
            State::Pouring(_) => {
                self.start.settings.vessel == Vessel::Jug || self.shows_tails() && self.watch.halted_now(now)
            }
            State::Draining(s) => s.plan.stop_due.is_some_and(|due| since < due && self.watch.outstayed(due)),
            State::Idle
            | State::Landing(_)
            | State::Other(_)
            | State::Ready(_)
            | State::Done(_)
            | State::Fault(_) => false,
        }
    }
}
