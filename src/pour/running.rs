//! The stream and its end: what a weighing does while slop runs, and how a weight is
//! entered.

use super::cell::Display;
use super::done::EITHER;
use super::engine::Engine;
use super::entry::Cue;
use super::falls::Falls;
use super::hand::FIRST_POURS;
use super::landing::Landing;
use super::leaps::Leaps;
use super::lift::Rested;
use super::onset::Onset;
use super::pace::Pace;
use super::plan::Plan;
use super::predict::{Predictor, USUAL_G_S};
use super::ready::Ready;
use super::state::{Done, Pan, Pour, Running, State, Stream};
use super::steps::push_recent;
use super::surges::Surges;
use super::touch::went_again;
use super::vessel::Vessel;
use super::written::note_stop;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::COARSE_STEP_G;
use crate::settle::line::Line;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// On an open bench air moves and a pot warms it: a weight between tare and lift is known no better than this, g
/// (common practice, no source).
const OPEN_BENCH_G: f64 = 0.1;
/// ... nor than this share of the load, as a stream or a hand moves the piece by half a centimetre, and a load off the
/// centre reads wrong by 0.05 % for each (both guesses).
const MOVED: f64 = 0.000_3;
/// A weight estimated before rest may miss the last drip and the end of the impact of the
/// falling stream, up to 1.4 g at 10 g/s from 0.1 m (derived): a standard deviation of half that.
pub(super) const ESTIMATE_SD_G: f64 = 0.7;
/// Readings of that line: half a second of a usual scale, so that a swing to and fro cancels.
pub(super) const TRAIL: usize = 6;
/// ... and of one that tells a climb on a coarse display: a second.
const LONG_TRAIL: usize = 11;
/// A climb is steeper than its own scatter allows by so many standard deviations (normal law: 1 in 700).
const CLIMB_SIGMAS: f64 = 3.0;
/// A hand that heard the stop has ended its stream this long after its own time and the scale's lag (a tilt
/// back takes about a quarter of a second; the rest is room for a scale slower than told; a guess).
const STOPPING_S: f64 = 0.8;
/// A flow that grew by so much since the stop is a new stream, g/s: a quarter of a usual one.
const AGAIN_G_S: f64 = 2.0;
/// What runs on climbs at least so fast, g/s: a trickle.
pub(super) const CLIMB_G_S: f64 = 1.0;
/// No jug gives more, g/s (a guess): what looks like more is a touch. The one place of it.
pub(super) const MOST_FLOW_G_S: f64 = 25.0;
/// What was added to a weighed piece rests for so long before it is believed: a hand leans on a rim for a second.
pub(super) const TOPPED_UP: Duration = Duration::from_millis(800);
/// Less than this, or this share of the target, without a stop is a splash and no pour:
/// it counts towards the target, and the piece stays ready (common practice, no source).
/// Of a large target never more than a few drops.
pub(super) const SPLASH_G: (f64, f64) = (2.0, 3.0);
const SPLASH: f64 = 0.1;
/// Drops are there from this share of the noise's threshold on: on a coarse display it is two steps, and two steps show.
pub(super) const SHOWN: f64 = 0.9;

impl Engine {
    /// Starts the filter where the stream started, and lets it catch up.
    pub(super) fn stream(&self, mut pour: Pour, recent: &VecDeque<(Instant, f64)>, from_g: f64) -> Stream {
        let lag_s = self.start.scale.lag.as_secs_f64();
        let noise = 0.5 * self.threshold_g();
        let quiet = recent.iter().rev().find(|(_, net)| (net - from_g).abs() <= noise);
        let seen = quiet.or(recent.front()).map_or(Instant::START, |(t, _)| *t);
        let began = seen.offset_seconds(-self.unseen_s(pour.rev));
        let sd_g = self.start.scale.reading_sd_g();
        let mut predictor = self.predictor(pour.rev, from_g, began);
        let before = recent.iter().rev().find(|(_, net)| net - from_g <= noise);
        let since = before.map_or(began, |(t, _)| *t);
        let mut onset = Onset::after((since, from_g), lag_s, sd_g);
        for (at, net) in recent.iter().filter(|(t, _)| *t > began) {
            predictor.handle_net(*net, *at);
            if *at > since {
                onset.note(*net, *at);
            }
        }
        pour.first_slop.get_or_insert(began);
        let last_net = recent.back().map_or(from_g, |(_, net)| *net);
        Box::new(Running {
            pour,
            predictor,
            plan: Plan::of(self.start.settings.guidance),
            from_g,
            resting_since: None,
            rested: None,
            last_net,
            shown: last_net,
            recent: VecDeque::new(),
            again: false,
            known: [last_net; 2],
            least_g_s: f64::INFINITY,
            running_on: 0,
            trail: VecDeque::new(),
            peak_g: last_net,
            odd: 0,
            back: None,
            perhaps: None,
            odd_load: false,
            lower_since: None,
            lower_g: 0.0,
            leaps: Leaps::default(),
            surges: Surges::default(),
            onset,
            ran: false,
            falls: Falls::default(),
            lumps: self.start.settings.vessel.in_lumps(),
        })
    }

    /// So long before it is seen a stream began, s: what trickles stands out from noise later (best on simulated hands).
    fn unseen_s(&self, rev: u32) -> f64 {
        let lag_s = self.start.scale.lag.as_secs_f64();
        if self.trickles(rev) { 0.75 * lag_s + 0.15 } else { 0.5 * lag_s }
    }

    /// The filter of a stream into a piece with so many entries.
    fn predictor(&self, rev: u32, from_g: f64, began: Instant) -> Predictor {
        let trickles = self.trickles(rev);
        let pace = match rev {
            0 => self.hand.pace,
            _ if trickles => self.hand.trickle.pace,
            _ => Pace::TRICKLE,
        };
        let display = Display::of(&self.start.scale);
        let mut predictor = Predictor::begin(from_g, began, display, pace.usual(), self.hand.ease);
        if pace.pours >= FIRST_POURS {
            predictor = predictor.of_known_hand();
        }
        if trickles { predictor.trickling() } else { predictor }
    }

    pub(super) fn pouring(&mut self, mut s: Stream, w: Weighing) {
        match self.pan_beneath(&s, w) {
            Pan::Left if self.zeroed => return self.display_zeroed(State::Pouring(s), w.arrived_at),
            Pan::Doubtful | Pan::Left if self.never_left(&s) => return self.was_a_hand(s, w.arrived_at),
            Pan::Left => return self.lifted(s, w.arrived_at),
            Pan::Doubtful => return self.enter(State::Pouring(s)),
            Pan::Loaded => {}
        }
        self.feed(&mut s, w);
        let Some(mut s) = self.as_taken(s, w) else { return };
        if s.pour.promised && !self.guides() {
            return self.give_up(s, w.arrived_at);
        }
        let Some(rest) = self.at_rest() else {
            s.resting_since = None;
            let more_g = 0.5 * self.start.scale.step.g() + 2.0 * self.start.scale.reading_sd_g();
            s.rested = s.rested.filter(|rested| w.mass.g() <= rested.gross_g + more_g);
            return self.enter(State::Pouring(s));
        };
        if rest - s.pour.tare - s.from_g < self.threshold_g() {
            // A knock was taken for the stream: nothing runs.
            s.pour.in_tare_g = 0.0;
        }
        let Some(mut s) = self.no_stream(s, rest, w.arrived_at) else { return };
        let amiss_g = self.amiss_g(&s, rest - s.pour.tare, w.arrived_at);
        s.rested = Some(Rested { gross_g: rest, odd: s.odd, amiss_g });
        let since = *s.resting_since.get_or_insert(w.arrived_at);
        if w.arrived_at.since(since) >= self.start.settings.vessel.pause() {
            self.paused(s, rest, w.arrived_at);
        } else {
            self.enter(State::Pouring(s));
        }
    }

    /// The scale became too slow to call the stop that was promised: the hand is told at once.
    fn give_up(&mut self, mut s: Stream, at: Instant) {
        s.pour.troubled = true;
        s.plan.stop_due = Some(at);
        self.slow_said = true;
        self.enter(State::Draining(s));
        self.cue_now(Cue::Fault, at, None);
    }

    /// The stream ended by itself.
    fn paused(&mut self, s: Stream, rest: f64, at: Instant) {
        let net = rest - s.pour.tare;
        if !self.is_splash(&s, net) {
            let ended_by_itself = !s.pour.guided;
            self.weighed(s, rest, at);
            if let Some(pour) = self.state.pour_mut() {
                pour.paused = ended_by_itself;
            }
            return;
        }
        if s.pour.rev > 0 {
            return self.enter(State::Done(Done::new(s.pour)));
        }
        let base_g = if net > SHOWN * self.threshold_g() { net } else { 0.0 };
        self.enter(State::Ready(Ready::new(s.pour, base_g)));
    }

    /// Too little to be a pour or a top-up.
    pub(super) fn is_splash(&self, s: &Stream, net: f64) -> bool {
        if s.plan.stop_due.is_some() || s.pour.ran_on {
            return false;
        }
        if s.pour.rev > 0 { net - s.from_g < self.threshold_g() } else { net < self.splash_g() }
    }

    pub(super) fn splash_g(&self) -> f64 {
        (SPLASH * self.start.target.g()).clamp(SPLASH_G.0, SPLASH_G.1)
    }

    pub(super) fn draining(&mut self, mut s: Stream, w: Weighing) {
        match self.pan_beneath(&s, w) {
            Pan::Doubtful | Pan::Left if self.never_left(&s) => return self.was_a_hand(s, w.arrived_at),
            Pan::Left => return self.lifted(s, w.arrived_at),
            Pan::Doubtful => return self.enter(State::Draining(s)),
            Pan::Loaded => {}
        }
        self.feed(&mut s, w);
        let Some(mut s) = self.as_taken(s, w) else { return };
        if s.pour.promised && self.guides() && self.runs_on(&mut s, w) {
            return self.run_on(s, w);
        }
        let ended = s.plan.stop_due.is_some_and(|due| w.taken_at.seconds_from(due) >= self.ends_after_s(&s));
        let Some(rest) = self.at_rest() else {
            s.resting_since = None;
            return self.enter(State::Draining(s));
        };
        let since = *s.resting_since.get_or_insert(w.arrived_at);
        // A hand on a piece that was weighed before rests a while, too.
        let long = s.pour.rev == 0 || w.arrived_at.since(since) >= TOPPED_UP;
        if !(ended && long) {
            return self.enter(State::Draining(s));
        }
        if s.odd_load && s.pour.rev > 0 {
            return self.bears_no_more(s, rest, w.arrived_at);
        }
        if s.odd_load {
            return self.odd_load_gone(s, rest, w.arrived_at);
        }
        let net = rest - s.pour.tare;
        if self.is_more_than_slop(&s, net, w) {
            return self.enter(State::Draining(s));
        }
        if s.pour.rev == 0 && !s.pour.troubled && !s.pour.ran_on && net < self.splash_g() {
            return self.little_is_left(s, net, since, w.arrived_at);
        }
        self.weighed(s, rest, w.arrived_at);
    }

    /// After the stop slop still runs at half its flow, or runs again, for three readings.
    fn runs_on(&self, s: &mut Stream, w: Weighing) -> bool {
        let Some(since_s) = s.plan.stop_due.map(|due| w.taken_at.seconds_from(due)) else { return false };
        let flow_g_s = s.predictor.flow_g_s().max(0.0);
        let stopping_s = self.hand.hand_s + self.start.scale.lag.as_secs_f64();
        if since_s < stopping_s {
            return false;
        }
        s.least_g_s = s.least_g_s.min(flow_g_s);
        // A hand that pressed looked like a flood: no measure for what runs on under it.
        let usual_g_s = s.pour.flow_g_s.map_or(f64::INFINITY, |flow_g_s| flow_g_s.min(USUAL_G_S.0));
        let late = since_s > stopping_s + STOPPING_S;
        let goes_on = late && flow_g_s > 0.5 * usual_g_s;
        let again = flow_g_s > s.least_g_s + AGAIN_G_S + s.predictor.flow_sd_g_s();
        // The filter alone may be shaken: the display must climb as well.
        let runs = (goes_on || again) && self.climbs(s) || late && !s.odd_load && self.climbing().is_some();
        s.running_on = if runs { s.running_on + 1 } else { 0 };
        s.running_on >= 3
    }

    /// The display climbs: from reading to reading, or, where rises come in steps or on a wheel, over the last second.
    fn climbs(&self, s: &Stream) -> bool {
        if self.start.scale.step.g() >= COARSE_STEP_G || self.on_a_wheel() {
            let n = s.trail.len() as f64;
            let (Some(&(from, _)), Some(&(to, last_g))) = (s.trail.front(), s.trail.back()) else {
                return false;
            };
            let Some(line) = Line::through(s.trail.iter()) else { return false };
            let still_climbs =
                s.late().next().is_some_and(|(_, g)| last_g > *g + 0.5 * self.start.scale.step.g());
            // Of n readings over a time T a slope has the standard deviation sd / T * sqrt(12 / n) (least squares).
            let slope_sd =
                self.start.scale.reading_sd_g() * (12.0 / n).sqrt() / to.seconds_from(from).max(1e-3);
            return s.trail.len() > TRAIL
                && still_climbs
                && line.slope_g_s > CLIMB_G_S.max(CLIMB_SIGMAS * slope_sd);
        }
        let steps = s.trail.iter().zip(s.trail.iter().skip(1)).rev().take(3);
        let rises = steps.clone().count() == 3 && steps.clone().all(|((_, a), (_, b))| b > a);
        let lately = s.trail.iter().skip(s.trail.len().saturating_sub(4));
        rises && Line::through(lately).is_some_and(|line| line.slope_g_s > CLIMB_G_S)
    }

    /// The stop was not heard, or slop came again before the weight was known: it gets a stop of its own.
    fn run_on(&mut self, mut s: Stream, w: Weighing) {
        if s.odd_load {
            let net = w.mass.g() - s.pour.tare;
            went_again(&mut s, net);
        }
        s.plan = Plan {
            approach_said: true,
            pips_left: 0,
            heard: s.plan.stop_due,
            stop_due: None,
            called: None,
            beats: [None; 2],
        };
        s.pour.ran_on = true;
        s.running_on = 0;
        s.least_g_s = f64::INFINITY;
        s.predictor.expect_more(w.taken_at);
        self.enter(State::Pouring(s));
    }

    fn feed(&self, s: &mut Stream, w: Weighing) {
        let net = w.mass.g() - s.pour.tare;
        // What jumps is left out: a hand on the pot, or one that has begun to lift it.
        let before_g = std::mem::replace(&mut s.shown, net);
        push_recent(&mut s.recent, (w.taken_at, net));
        let falls = net < before_g - self.threshold_g();
        self.sinks(s, net, w.taken_at);
        note_stop(s, net, w.taken_at);
        self.sinks_below(s, net);
        s.predictor.handle_held(w.arrived_at.seconds_from(w.taken_at));
        let believed = s.predictor.handle_net(net, w.taken_at);
        if !s.lumps {
            s.leaps.note(w, self.pace.mean_s(), self.threshold_g());
            if s.onset.is_over(w.taken_at) && self.start.settings.vessel == Vessel::Jug {
                s.surges.note(net, w.taken_at, s.predictor.lag_s(), self.start.scale.reading_sd_g());
            }
        }
        if s.plan.stop_due.is_none_or(|due| due > w.taken_at) {
            if falls { s.onset.note_fall(w.taken_at) } else { s.onset.note(net, w.taken_at) }
        }
        if believed {
            s.peak_g = s.peak_g.max(net);
        } else {
            s.odd += 1;
        }
        if believed && !falls {
            s.last_net = net;
            s.known = [s.predictor.net_g(Instant::START), s.known[0]];
            s.trail.push_back((w.taken_at, net));
            if s.trail.len() > LONG_TRAIL {
                s.trail.pop_front();
            }
            s.ran |= s.pour.rev > 0
                && Landing::of(&s.trail).climbs(self.start.scale.reading_sd_g()).is_some()
                || s.lumps && self.climbing().is_some();
        }
    }

    /// What lay on the pan may have been wiped off beneath the piece, by a hand that pressed it first.
    fn sinks_below(&self, s: &mut Stream, net: f64) {
        let lay_g = self.after.lay_g(self.zero_g);
        if s.pour.rev > 0 || lay_g < self.threshold_g() {
            return;
        }
        s.falls.note(net);
        let gone_g = s.falls.fell_g().min(lay_g);
        // A piece that is lifted falls as well, and does not come back.
        if net > -self.threshold_g() && gone_g > self.threshold_g() {
            s.pour.doubt_g = s.pour.doubt_g.max(gone_g);
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * gone_g);
            s.pour.marks = s.pour.marks.with(Mark::Touched);
        }
    }

    /// The weight is known at rest.
    pub(super) fn weighed(&mut self, mut s: Stream, gross: f64, at: Instant) {
        let back = s.back.take();
        let net = gross - s.pour.tare;
        let amiss_g = self.amiss_g(&s, net, at);
        let pour = self.weigh(s, gross, amiss_g, at);
        self.say_weighed(&pour, net, at);
        self.enter(State::Done(Done { back, ..Done::new(pour) }));
    }

    /// Enters what was weighed at rest.
    pub(super) fn weigh(&mut self, mut s: Stream, gross: f64, amiss_g: f64, at: Instant) -> Pour {
        let net = gross - s.pour.tare;
        self.unsure_of_leaps(&mut s, net);
        self.unsure_of_swing(&mut s.pour);
        s.pour.settled = true;
        let lasting_g = s.pour.unsure_g;
        s.pour.unsure_g = lasting_g.hypot(EITHER * amiss_g);
        let pushed_g = self.pushed_g(&s, net, gross);
        s.pour.net_u = Some(self.weight_u_g(gross).hypot(s.pour.unsure_g).hypot(pushed_g));
        let mut pour = self.write_down(s, net, at);
        // What was amiss with this rest is not with the next one.
        pour.unsure_g = lasting_g;
        pour
    }

    /// How well a difference of two weights at rest is known where nothing is known to have gone wrong.
    pub(super) fn weight_u_g(&self, gross_g: f64) -> f64 {
        let readings_g = self.start.scale.reading_sd_g() * std::f64::consts::SQRT_2;
        readings_g.hypot(OPEN_BENCH_G).hypot(MOVED * gross_g)
    }
}
