//! A weighed piece that still stands there: what a weighing does to it, and what it leaves with.

use super::engine::{Engine, Seen};
use super::entry::{Cue, Output};
use super::landing::Landing;
use super::leaps::Leaps;
use super::put_back::{Back, WAITS};
use super::ready::FRESH_S;
use super::running::MOST_FLOW_G_S;
use super::state::{Done, Pan, Pour, Running, State, Stream};
use super::steps::{BEGUN_G, CHANGED_S, NOT_A_POUR_G_S, TOUCH_S, gap_s, jump_g_s, push_recent};
use super::touch::{let_go_g, tail_ends_at_g};
use super::unseen::TAIL;
use crate::reading::Weighing;
use crate::record::{Mark, Verdict};
use crate::scale::COARSE_STEP_G;
use crate::time::Instant;

/// So many readings in a row that differ by no more than noise, and take so long, s, are a level, and no moment of a
/// lift (that falls all the while).
const LEVEL: usize = 3;
const LEVEL_S: f64 = 0.2;
/// A lift takes less, s (common practice, no source).
pub(super) const LIFT_S: f64 = 0.5;
/// Ware dries and cells creep by less than this, g/s: 0.05 % of 700 g within half a minute (common practice, no source); a
/// spoon takes more.
const DRIFT_G_S: f64 = 0.012;
/// What is entered as the one end of a stretch, and may truly lie anywhere on it, is off by the stretch over the root
/// of three, as a root mean square (derived: x squared has the mean of a third from 0 to 1). The same is the standard
/// deviation of an even spread by so much to either side (GUM 4.3.7, from memory).
pub(super) const EITHER: f64 = 0.577;

/// A weight that lies between two steps is shown as either of them; by more than so many steps it has changed (derived:
/// one, and half of the next).
const COUNTED_ON: f64 = 1.5;

impl Done {
    /// It is short; or nobody knows what it holds, and it was put back for what it lacks at most.
    pub(super) fn wants(&self) -> bool {
        match self.pour.verdict {
            Verdict::Short => true,
            Verdict::Void => self.back.is_some(),
            Verdict::Good | Verdict::Over => false,
        }
    }
}

impl Engine {
    pub(super) fn done(&mut self, d: Done, w: Weighing, seen: Seen) {
        let Some(mut d) = self.still_stands(d, w, seen) else { return };
        let net = w.mass.g() - d.pour.tare;
        let change = net - d.had_g;
        if change < -self.threshold_g() && self.watch.halted_in_a_fall() {
            d.halted = true;
            return self.enter(State::Done(d));
        }
        let lumps = self.start.settings.vessel.in_lumps() && change > 0.0;
        let jump = jump_g_s(w, seen).abs();
        d.jumped |= !lumps && jump > NOT_A_POUR_G_S;
        self.note_at_once(&mut d, change, w, seen);
        self.note_leaps(&mut d.leaps, change, w);
        push_recent(&mut d.recent, (w.taken_at, net));
        let calm = jump < MOST_FLOW_G_S && (-self.threshold_g()..BEGUN_G).contains(&change);
        let strays = d.jumped && !calm || change < -self.threshold_g();
        if strays && self.at_rest().is_none() {
            return self.strays(d, change, w);
        }
        (d.strays_since, d.below_g) = (None, 0.0);
        if d.jumped && !calm {
            return self.jumped(d, w.arrived_at);
        }
        d.jumped = false;
        d.rises = if change > self.threshold_g() { d.rises + 1 } else { 0 };
        let trickles = self.wants_more(&d) && d.rises > 0 && self.climbing().is_some();
        // Of a jug it may be slop that runs on: at rest it is looked at again.
        if lumps && d.rises >= self.rises_wanted() && self.is_another_unseen(&d, net) {
            return self.another(d, w.arrived_at);
        }
        if trickles || d.rises >= self.rises_wanted() {
            return self.more(d, w.arrived_at);
        }
        self.drift(&mut d, w, seen);
        match self.at_rest() {
            Some(rest) => self.rests(d, rest, w.arrived_at),
            None => {
                d.elsewhere = None;
                self.enter(State::Done(d));
            }
        }
    }

    /// It stands there, as far as this reading tells: none where it left, another one came, or nobody knows yet.
    fn still_stands(&mut self, mut d: Done, w: Weighing, seen: Seen) -> Option<Done> {
        let change = w.mass.g() - d.pour.tare - d.had_g;
        let other = seen.gap && gap_s(w, seen) >= CHANGED_S && change.abs() > self.threshold_g();
        let was_away = self.away;
        match self.pan_about(&d, w) {
            Pan::Left => self.leaves_done(d, w.arrived_at),
            // Nobody saw what happened in the gap: another piece is likelier than a top-up.
            Pan::Doubtful | Pan::Loaded if other => self.another(d, w.arrived_at),
            Pan::Doubtful => {
                self.note_at_once(&mut d, change, w, seen);
                self.enter(State::Done(d));
            }
            Pan::Loaded => {
                // What was pulled at so far is looked at once it rests.
                d.jumped |= was_away > 1;
                return Some(d);
            }
        }
        None
    }

    /// At rest: as it was, or at another weight.
    fn rests(&mut self, mut d: Done, rest: f64, at: Instant) {
        let net = rest - d.pour.tare;
        if d.asks_since.is_some_and(|since| at.since(since) >= WAITS) {
            self.asks_for_ready(d, rest, at);
        } else if net < d.had_g - self.threshold_g() {
            self.lighter(d, rest, Mark::PouredBack, at);
        } else if self.counts_off(&d, net) {
            self.lighter(d, rest, Mark::Touched, at);
        } else if self.counts_on(&d, net) {
            self.heavier(d, rest, at);
        } else {
            d.elsewhere = None;
            self.enter(State::Done(d));
        }
    }

    /// A short piece on a coarse display rests at more, and by too little to be seen as a stream: a small top-up.
    fn counts_on(&self, d: &Done, net: f64) -> bool {
        let step_g = self.start.scale.step.g();
        step_g >= COARSE_STEP_G && d.wants() && net - d.had_g > COUNTED_ON * step_g
    }

    /// A coarse display rests at less, and by too little to be seen as a fall: a sponge took what lay around it.
    fn counts_off(&self, d: &Done, net: f64) -> bool {
        let step_g = self.start.scale.step.g();
        step_g >= COARSE_STEP_G && d.had_g - net > COUNTED_ON * step_g
    }

    /// It is believed once no stroke of the vessel follows.
    fn heavier(&mut self, mut d: Done, rest: f64, at: Instant) {
        if self.elsewhere_for(&mut d, rest, at) < self.start.settings.vessel.pause() {
            return self.enter(State::Done(d));
        }
        d.pour.keep_in_doubt(d.back.as_deref());
        let mut stream = self.stream(d.pour, &d.recent, d.had_g);
        (stream.back, stream.leaps) = (d.back, d.leaps);
        self.weighed(stream, rest, at);
    }

    /// Another piece stands there.
    pub(super) fn another(&mut self, mut d: Done, at: Instant) {
        self.enter_anew(&mut d, at);
        self.next_piece(&d.pour, State::Landing(Landing::default()), at);
    }

    /// Something bears on it or holds it up. What climbs meanwhile as slop does is followed; where slop is waited for,
    /// what can't be told is a `fault` as soon as it is no passing touch.
    fn strays(&mut self, mut d: Done, change: f64, w: Weighing) {
        let since = *d.strays_since.get_or_insert(w.taken_at);
        // Lighter than it was bare, or on its way there, it is being lifted.
        let level_g = tail_ends_at_g(&d.recent).unwrap_or(f64::NEG_INFINITY);
        let before_g = d.recent.iter().rev().nth(1).map_or(d.had_g, |(_, net)| *net);
        let ends = level_g > 0.0 && before_g - (d.had_g + change) < TAIL * -change;
        if w.taken_at.seconds_from(since) >= LIFT_S && change > -d.had_g && ends {
            d.below_g = (-change).max(d.had_g - level_g).max(0.0);
        }
        let climbs = Landing::of(&d.recent).climbs(self.start.scale.reading_sd_g()).is_some();
        if climbs && change > self.threshold_g() {
            return self.more(d, w.arrived_at);
        }
        let wanted = self.wants_more(&d) && self.guides();
        if (wanted || climbs) && w.taken_at.seconds_from(since) >= TOUCH_S {
            return self.borne(d, change, w.arrived_at);
        }
        self.enter(State::Done(d));
    }

    /// Slop may be running under a hand: it is told to stop, and what is in the piece is weighed once the hand is gone.
    fn borne(&mut self, d: Done, change: f64, at: Instant) {
        let mut s = self.stream(d.pour, &d.recent, d.had_g);
        s.back = d.back;
        s.pour.troubled = true;
        s.plan.stop_due = Some(at);
        s.odd_load = true;
        s.leaps = Leaps::of(change.abs());
        self.enter(State::Draining(s));
        self.cue_now(Cue::Fault, at, None);
    }

    /// What had borne on a weighed piece is gone, or lies still: what is in it is entered, unless nothing came.
    pub(super) fn bears_no_more(&mut self, s: Stream, rest: f64, at: Instant) {
        self.cue_now(Cue::Clear, at, None);
        let net = rest - s.pour.tare;
        if self.is_emptied(&s.pour, net, s.from_g) {
            return self.next_piece(&s.pour, State::Landing(Landing::default()), at);
        }
        if (net - s.from_g).abs() > self.threshold_g() {
            return self.weighed(s, rest, at);
        }
        let Running { pour, from_g, back, .. } = *s;
        self.enter(State::Done(Done { had_g: from_g, back, ..Done::new(pour) }));
    }

    /// What the pan shows follows a slow drift: ware that dries, a cell that creeps. Just after it was weighed the
    /// weight itself follows the end of the tail and the last drops.
    fn drift(&mut self, d: &mut Done, w: Weighing, seen: Seen) {
        let since = *d.since.get_or_insert(w.arrived_at);
        let Some(rest) = self.at_rest() else { return };
        let off = rest - d.pour.tare - d.had_g;
        let verdict = d.pour.verdict;
        let fresh = w.arrived_at.seconds_from(since) < FRESH_S && d.pour.settled && !d.pour.came_back;
        if fresh && off.abs() < self.threshold_g() {
            return self.weigh_anew(d, off);
        }
        // The tail is over: what it made of the piece is told.
        if d.entered_as.is_some_and(|entered| entered != verdict) {
            self.enter_anew(d, w.arrived_at);
            self.say_verdict(verdict, d.pour.net.unwrap_or(d.had_g), w.arrived_at);
        }
        let since_s = seen.before.map_or(0.0, |b| w.taken_at.seconds_from(b.taken_at));
        if off.abs() < self.threshold_g() {
            d.had_g += off.clamp(-DRIFT_G_S * since_s, DRIFT_G_S * since_s);
        }
    }

    fn weigh_anew(&mut self, d: &mut Done, off: f64) {
        d.entered_as.get_or_insert(d.pour.verdict);
        d.had_g += off;
        d.pour.net = d.pour.net.map(|net| net + off);
        // The tail of a late scale or the draught of a warm pot: nobody knows.
        d.pour.net_u = d.pour.net_u.map(|u| u.hypot(EITHER * off));
        if d.pour.rev == 1 {
            d.pour.first_net = d.pour.net;
        }
        self.learn_late(&mut d.pour, off);
        if let Some(net) = d.pour.net.filter(|_| d.pour.verdict != Verdict::Void) {
            d.pour.verdict = self.judged(&d.pour, net);
        }
    }

    /// A weight that followed the tail is entered as it is now.
    pub(super) fn enter_anew(&mut self, d: &mut Done, at: Instant) {
        if d.entered_as.take().is_some() {
            d.pour.rev += 1;
            self.outputs.push_back(Output::Entry(d.pour.entry(at)));
        }
    }

    /// Slop runs into a piece that was weighed.
    pub(super) fn more(&mut self, mut d: Done, at: Instant) {
        let recent = std::mem::take(&mut d.recent);
        let wants_none = !d.wants();
        let back = d.back.take();
        let Some(back) = back.as_deref().filter(|_| wants_none).cloned() else {
            d.pour.keep_in_doubt(back.as_deref());
            let mut stream = self.stream(d.pour, &recent, d.had_g);
            (stream.back, stream.leaps) = (back, d.leaps);
            return self.enter(State::Pouring(stream));
        };
        // Already in it: what was taken for a top-up.
        let moved_g = back.gross_g - d.pour.tare;
        self.gives_back(&back.perhaps.kept, d.pour.rev, at);
        self.aim_at(self.next);
        let mut pour = Pour::open(self.piece, self.next, back.gross_g, at);
        pour.promised = self.guides();
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let recent = recent.iter().map(|(t, net)| (*t, net - moved_g)).collect();
        let mut stream = self.stream(pour, &recent, d.had_g - moved_g);
        stream.perhaps = Some(Box::new(back.perhaps));
        self.enter(State::Pouring(stream));
    }

    /// The piece leaves with its slop in it: how long that stood is known now.
    fn leaves_done(&mut self, d: Done, at: Instant) {
        let below_g = self.lower_level_g(&d);
        let Done { mut pour, had_g, entered_as, asks_since, back, .. } = d;
        let (was, unsaid) = (pour.verdict, self.wants_trickle(&pour));
        self.unsure(&mut pour, below_g);
        if !pour.came_back {
            pour.contact = pour.first_slop.map(|t| at.since(t));
        }
        if !pour.came_back || below_g > 0.0 || entered_as.is_some() {
            pour.rev += 1;
            self.outputs.push_back(Output::Entry(pour.entry(at)));
        }
        if entered_as.is_some() && pour.taught.is_some() {
            self.outputs.push_back(Output::Learned(self.hand));
        }
        if asks_since.is_some() {
            self.say_if_good(&pour, at);
        }
        // Its trickle was asked for and never came: nothing was said yet.
        if was != pour.verdict || unsaid {
            self.say_of(&pour, had_g, at);
        }
        // What bore on it, and is gone, may be in what it weighed or not.
        let gross_g = pour.tare + had_g - 0.5 * below_g;
        self.next_piece(&pour, State::Idle, at);
        self.memory.stood(pour.piece, gross_g, EITHER * below_g);
        let nothing_came = |back: &Back| pour.rev == back.perhaps.kept.pour.rev + 1;
        if let Some(back) = back.filter(|back| pour.verdict != Verdict::Good && nothing_came(back)) {
            self.left_as_it_was(&back, at);
        }
    }

    /// How far below its weight the piece stood just before it left: a hand bore it then, or one had borne on it before.
    fn lower_level_g(&self, d: &Done) -> f64 {
        let readings: Vec<f64> = d.recent.iter().map(|(_, net)| *net).collect();
        let level_s = LEVEL_S / self.pace.mean_s().unwrap_or(LEVEL_S);
        let level = readings.windows(LEVEL.max(level_s.ceil() as usize + 1)).rev().find_map(|run| {
            let (low, high) = run.iter().fold((f64::MAX, f64::MIN), |(l, h), g| (l.min(*g), h.max(*g)));
            (high - low <= self.threshold_g()).then_some(0.5 * (low + high))
        });
        // On a late display what had borne on it is still going down.
        let below_g = level.map_or(0.0, |level| d.had_g - level).max(d.below_g);
        let gone = let_go_g(&d.recent, d.had_g, self.threshold_g());
        let below_g = below_g.max(gone.map_or(0.0, |(_, perhaps_g)| perhaps_g));
        if below_g > self.threshold_g() { below_g } else { 0.0 }
    }

    /// The weight may be off by so much, nobody knows which way.
    fn unsure(&self, pour: &mut Pour, by_g: f64) {
        if by_g > 0.0 {
            pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * by_g));
            pour.marks = pour.marks.with(Mark::Touched);
            self.doubts(pour);
        }
    }
}
