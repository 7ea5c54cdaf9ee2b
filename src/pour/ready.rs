//! A tared piece that waits for its slop: what a weighing does to it.

use super::done::EITHER;
use super::engine::{Engine, Seen};
use super::entry::{Cue, Output};
use super::falls::Falls;
use super::landing::Landing;
use super::leaps::Leaps;
use super::predict::USUAL_G_S;
use super::put_back::Back;
use super::recognised::{Held, Perhaps};
use super::running::{MOST_FLOW_G_S, SHOWN};
use super::state::{Pan, Pour, State};
use super::steps::{BEGUN_G, NOT_A_POUR_G_S, TOUCH_S, jump_g_s, push_recent};
use super::unseen::AtOnce;
use super::unwritten::Unwritten;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::COARSE_STEP_G;
use crate::time::Instant;
use std::collections::VecDeque;

/// A landing's tail is still worth following for so long after `ready`: two lags of a late scale.
pub(super) const FRESH_S: f64 = 1.5;
/// Slop is seen no sooner after `ready` than this, s, if it was waited for, besides two readings and the time a usual stream
/// takes to stand out: half of what a hand takes to answer a tone (0.2 s, Kosinski's review).
const SOON_S: f64 = 0.1;
/// What runs already when the tare is taken ran for no longer than rest is looked at, s, besides the lag (`settle`).
const REST_S: f64 = 0.5;
/// What comes at once and is so much of the target may be a lump of slop from a ladle that nobody told of, as well as a hand
/// that let go (own choice).
pub(super) const LUMP: std::ops::Range<f64> = 0.4..1.6;
/// A piece tared again by more than this gets its `ready` again (own choice).
const AGAIN_G: f64 = 2.0;

/// Tared and waiting for slop.
#[derive(Clone, Debug)]
pub(super) struct Ready {
    pub(super) pour: Pour,
    /// Latest net readings, so that the filter can start where the stream started.
    pub(super) recent: VecDeque<(Instant, f64)>,
    /// Net of a splash that was no pour: it counts towards the target.
    pub(super) base_g: f64,
    pub(super) rises: u32,
    pub(super) leaps: Leaps,
    /// Since when the weight is none that slop explains: a touch, or a hand that let go.
    pub(super) odd_since: Option<Instant>,
    /// What came at once and was tared away may have been all of its slop, g.
    pub(super) lump_g: f64,
    /// It was tared again after it changed by so much, g.
    pub(super) tared_by_g: Option<f64>,
    /// What the display went to within one reading.
    pub(super) at_once: AtOnce,
    /// It lost so much since it last stood at its tare, g: a wiped pan, or a hand that bears it.
    pub(super) falls: Falls,
    /// It may be this one, that was lifted with its slop: perhaps it was put back.
    pub(super) perhaps: Option<Box<Perhaps>>,
    /// It was taken for that one, and entered so: as that one was before.
    pub(super) back: Option<Box<Back>>,
}

impl Ready {
    pub(super) fn new(pour: Pour, base_g: f64) -> Self {
        Self {
            pour,
            recent: VecDeque::new(),
            base_g,
            rises: 0,
            leaps: Leaps::default(),
            odd_since: None,
            lump_g: 0.0,
            tared_by_g: None,
            at_once: AtOnce::default(),
            falls: Falls::default(),
            perhaps: None,
            back: None,
        }
    }
}

impl Engine {
    pub(super) fn ready(&mut self, mut r: Ready, w: Weighing, seen: Seen) {
        match self.pan(&r.pour, w) {
            Pan::Left if self.zeroed => return self.display_zeroed(State::Ready(r), w.arrived_at),
            Pan::Left if self.may_be_borne(&r.pour, w) => return self.enter(State::Ready(r)),
            Pan::Left => return self.left_empty(r, w.arrived_at),
            Pan::Doubtful => return self.enter(State::Ready(r)),
            Pan::Loaded => {}
        }
        self.tare_anew(&mut r, w);
        let net = w.mass.g() - r.pour.tare;
        let change = net - r.base_g;
        let threshold = self.threshold_g();
        if self.at_rest().is_some() && change.abs() <= threshold {
            r.falls.forget();
        }
        r.falls.note(change);
        let lumps = self.start.settings.vessel.in_lumps() && change > 0.0;
        if !lumps && jump_g_s(w, seen).abs() > NOT_A_POUR_G_S || change < -threshold {
            r.odd_since.get_or_insert(w.taken_at);
        }
        if let Some(since) = r.odd_since
            && !(-threshold..BEGUN_G).contains(&change)
        {
            return self.odd(r, since, w);
        }
        r.odd_since = None;
        let before = r.recent.back().filter(|_| self.follows(w, seen)).map(|(_, net)| net - r.base_g);
        r.at_once.note(before, change, threshold);
        push_recent(&mut r.recent, (w.taken_at, net));
        self.note_leaps(&mut r.leaps, change, w);
        r.rises = if change > threshold { r.rises + 1 } else { 0 };
        match r.rises {
            0 | 1 => self.enter(State::Ready(r)),
            _ if lumps && self.came_unseen(r.at_once, change) && !self.fits(&r.pour, net) => {
                self.dropped(&r.pour, State::Landing(Landing::default()));
            }
            _ => self.runs(r, w),
        }
    }

    /// A hand that wipes around it bears it for a moment: where a lump may be in it, it is taken for lifted only once the pan is
    /// nearly bare, or at rest.
    fn may_be_borne(&self, pour: &Pour, w: Weighing) -> bool {
        let lumps = self.start.settings.vessel.in_lumps();
        lumps && !self.nearly_bare(pour, w) && self.at_rest().is_none()
    }

    /// Slop runs into it.
    fn runs(&mut self, r: Ready, w: Weighing) {
        let Ready { mut pour, recent, base_g, perhaps, back, leaps, falls, tared_by_g, .. } = r;
        // Taken for a bare one, and perhaps it is that one: then it holds that much more.
        if let Some(perhaps) = &perhaps {
            pour.perhaps_other = perhaps.other(pour.tare);
        }
        if let Some((back, taken_for)) = back.zip(perhaps.as_ref()) {
            self.gives_back(&back.perhaps.kept, taken_for.kept.pour.rev, w.arrived_at);
        }
        if self.is_denied(pour.tare) {
            let g = pour.aim.target.g();
            pour.perhaps_other.get_or_insert(Held { piece: pour.piece, g });
        }
        // Drops that fell before, or a piece that was pushed: nobody knows.
        pour.unsure_g = EITHER * base_g.abs();
        if falls.fell_g() > self.threshold_g() {
            // Poured before it was tared again: what it lost was never its own, or is back.
            pour.unsure_g = pour.unsure_g.hypot(EITHER * falls.fell_g());
            pour.marks = pour.marks.with(Mark::Touched);
        }
        if self.too_soon_after_ready(&pour, w) {
            let lag_s = self.start.scale.lag.as_secs_f64();
            let in_tare_g = tared_by_g.unwrap_or(USUAL_G_S.0 * (lag_s + REST_S));
            pour.in_tare_g = in_tare_g;
        }
        let mut stream = self.stream(pour, &recent, base_g);
        (stream.leaps, stream.perhaps) = (leaps, perhaps);
        self.enter(State::Pouring(stream));
    }

    /// Slop is seen so soon after the tare that some of it may be in there.
    fn too_soon_after_ready(&self, pour: &Pour, w: Weighing) -> bool {
        let readings_s = 2.0 * self.pace.mean_s().unwrap_or(0.0);
        let soon_s = SOON_S + readings_s + self.threshold_g() / USUAL_G_S.0;
        // A knock on the table swings further than a stream has run by then.
        let most_g = MOST_FLOW_G_S * readings_s + self.threshold_g();
        pour.promised && w.arrived_at.seconds_from(pour.started) < soon_s && w.mass.g() - pour.tare < most_g
    }

    /// What came at once may be slop.
    pub(super) fn may_be_a_lump(&self, change: f64) -> bool {
        LUMP.contains(&(change / self.start.target.g()))
    }

    /// A hand lets go, or the jug comes onto the rim, just before slop is seen.
    pub(super) fn note_leaps(&self, leaps: &mut Leaps, change: f64, w: Weighing) {
        if self.at_rest().is_some() && change.abs() <= self.threshold_g() {
            leaps.forget();
        }
        if !self.start.settings.vessel.in_lumps() {
            leaps.note(w, self.pace.mean_s(), self.threshold_g());
        }
    }

    /// The very end of a landing's tail, seen after `ready`: the tare follows it. A coarse display stands between two
    /// steps of slop too: what it counts on is slop.
    fn tare_anew(&self, r: &mut Ready, w: Weighing) {
        if self.start.scale.step.g() >= COARSE_STEP_G {
            return;
        }
        let fresh = w.arrived_at.seconds_from(r.pour.started) < FRESH_S && r.base_g == 0.0;
        let Some(rest) = self.at_rest().filter(|_| fresh && r.rises == 0) else { return };
        let moved_g = rest - r.pour.tare;
        if moved_g.abs() < self.threshold_g() {
            r.pour.tare = rest;
            r.recent.iter_mut().for_each(|(_, net)| *net -= moved_g);
        }
    }

    /// A weight that slop does not explain: at rest the piece is tared again; without rest slop may be running on
    /// it, and the hand is told. What is in the piece is weighed once the touch is over.
    fn odd(&mut self, r: Ready, since: Instant, w: Weighing) {
        if w.mass.g() < r.pour.tare - self.start.settings.min_piece.g() && self.may_be_alone(w) {
            return self.dropped(&r.pour, State::Landing(Landing::of_what_stood()));
        }
        if let Some(rest) = self.at_rest() {
            let change = rest - r.pour.tare - r.base_g;
            if change.abs() > self.start.settings.min_piece.g() && !self.may_be_a_lump(change) {
                if change > 0.0 {
                    self.set_beside(&r.pour);
                }
                return self.dropped(&r.pour, State::Landing(Landing::of_what_stood()));
            }
            return self.tared_again(r, rest, change, w.arrived_at);
        }
        if w.taken_at.seconds_from(since) < TOUCH_S {
            return self.enter(State::Ready(r));
        }
        self.runs_under_a_touch(r, w);
    }

    /// What is in it is weighed once the touch is over; the hand is told.
    pub(super) fn runs_under_a_touch(&mut self, mut r: Ready, w: Weighing) {
        let change = w.mass.g() - r.pour.tare - r.base_g;
        if change < 0.0 {
            self.wiped_beneath(
                -change,
                r.perhaps.as_ref().map(|perhaps| perhaps.kept.pour.piece),
                w.arrived_at,
            );
            // It was tared too heavy: what slop there is nobody knows.
            r.pour.tare =
                w.mass.g().min(r.pour.tare + r.recent.iter().map(|(_, net)| *net).fold(0.0, f64::min));
            r.pour.marks = r.pour.marks.with(Mark::Early);
        }
        r.pour.troubled = true;
        r.pour.unsure_g = EITHER * change.abs();
        r.pour.marks = r.pour.marks.with(Mark::Touched);
        let from = r.base_g;
        let mut s = self.stream(r.pour, &r.recent, from);
        s.plan.stop_due = Some(w.arrived_at);
        s.odd_load = true;
        s.perhaps = r.perhaps;
        self.enter(State::Draining(s));
        self.cue_now(Cue::Fault, w.arrived_at, None);
    }

    /// A hand let go, or the piece was pushed: tared where it rests, and said again where that is worth it.
    pub(super) fn tared_again(&mut self, r: Ready, rest: f64, change: f64, at: Instant) {
        self.after.handle_fall_beneath(change, &mut self.zero_g);
        self.wiped_beneath(-change, r.perhaps.as_ref().map(|perhaps| perhaps.kept.pour.piece), at);
        let mut pour = r.pour;
        pour.tare = rest;
        pour.started = at;
        let lump_g = if self.may_be_a_lump(change) { change } else { 0.0 };
        self.outputs.push_back(Output::Dropped { piece: pour.piece });
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let promised = pour.promised;
        self.enter(State::Ready(Ready {
            perhaps: r.perhaps,
            back: r.back,
            lump_g,
            tared_by_g: Some(change.abs()).filter(|g| *g < BEGUN_G),
            ..Ready::new(pour, 0.0)
        }));
        if promised && change.abs() > AGAIN_G {
            self.cue_now(Cue::Ready, at, Some(self.start.target.g()));
        }
    }

    /// No slop came: nothing was poured, or a piece was put back to be weighed again.
    fn left_empty(&mut self, r: Ready, at: Instant) {
        let Ready { pour, perhaps, back, base_g, recent, lump_g, .. } = r;
        if lump_g > 0.0 {
            let known = Some(lump_g);
            return self.left_perhaps_with_a_lump(Unwritten { pour, recent, known, lifted_at: at });
        }
        let splash_u_g = 2.0 * self.weight_u_g(pour.tare);
        if base_g > SHOWN * self.threshold_g() && base_g + splash_u_g >= self.splash_g() {
            // Few drops, or a small pour: it is written down.
            let mut s = self.stream(pour, &recent, base_g);
            s.pour.settled = true;
            s.pour.net_u = Some(splash_u_g.max(EITHER * base_g));
            let pour = self.write_down(s, base_g, at);
            return self.next_piece(&pour, State::Idle, at);
        }
        if perhaps.is_none() && back.is_none() && self.may_hold_a_lump(pour.tare) {
            return self.left_perhaps_with_a_lump(Unwritten { pour, recent, known: None, lifted_at: at });
        }
        self.dropped(&pour, State::Idle);
        self.left_without_slop(perhaps.map(|perhaps| perhaps.kept), back.as_deref(), pour.tare, at);
    }
}
