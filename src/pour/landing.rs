//! A piece has landed and is not at rest: the wait for its tare, and slop that runs before it is known.
//!
//! Where the display was near its rest already, the tare is worked out from there and the pour is guided. Where it
//! was not, slop and the end of the landing look alike, so the hand is told to stop; nothing is called good then.

use super::done::EITHER;
use super::engine::Engine;
use super::entry::{Cue, Output};
use super::leaps::Leaps;
use super::recognised::{Landed, Perhaps};
use super::running::MOST_FLOW_G_S;
use super::stand::{By, Stand};
use super::state::{Pour, State};
use super::steps::push_recent;
use super::tail::ANEW_SIGMAS;
use super::touch::tail_ends_at_g;
use super::vessel::Vessel;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::COARSE_STEP_G;
use crate::settle::line::Line;
use crate::time::Instant;
use crate::units::Mass;
use std::collections::VecDeque;

/// Readings kept: six seconds of a usual scale.
const KEPT: usize = 64;
/// Slop runs once readings have climbed evenly for so long, s: the pole of the latest scale told of, so that the tail
/// of a landing has bent by then (derived); between a trickle (1.5 g/s: a fifth of the usual 8 g/s, a guess) and the
/// steepest climb of slop.
const CLIMB_S: f64 = 0.7;
const CLIMB_G_S: std::ops::Range<f64> = 1.5..MOST_CLIMB_G_S;
/// A fifth more than the most a jug gives, g/s, as noise tilts a short line (a guess): a piece set down softly is steeper.
pub(super) const MOST_CLIMB_G_S: f64 = 1.2 * MOST_FLOW_G_S;
/// At the end of a landing on a late scale (a pole of 0.7 s) the second half of that time climbs at this share of the
/// first half's rate (derived), a stream at the same; noise is kept apart by three standard deviations of a slope.
const DECAYS: f64 = 0.65;
const SIGMAS: f64 = 3.0;
/// A piece has come when this share of it is shown (own choice).
pub(super) const CAME: f64 = 0.9;
/// So many times as long a coarse display stands still that a stream's next step would have come (own choice: the steps of
/// an even stream vary by a third).
const LONGER: f64 = 1.5;
/// Where something was taken off, the end of its fall may hide slop that runs already: a coarse display is at rest once it stood
/// for so long, s (derived: the slowest stream that is told of, 1.5 g/s, shows its next step by then); and where slop comes in
/// strokes any display, as a bottle draws air for a second or two (common practice, no source).
const STOOD_S: f64 = 0.7;
const STROKE_S: f64 = 2.0;
/// Fewer readings show no line: two halves of two, and one between (own choice).
const LEAST: usize = 5;

/// What is known of a landing.
#[derive(Clone, Debug, Default)]
pub(super) struct Landing {
    /// Gross readings since it landed.
    pub(super) recent: VecDeque<(Instant, f64)>,
    /// The first of all of them.
    came: Option<Instant>,
    /// It was there already: what stood beside it is gone, and slop may run since nobody knows when.
    pub(super) stood: bool,
}

impl Landing {
    /// Of what is left on the pan where something was taken off.
    pub(super) fn of_what_stood() -> Self {
        Self { stood: true, ..Self::default() }
    }

    /// Of readings that were kept elsewhere.
    pub(super) fn of(recent: &VecDeque<(Instant, f64)>) -> Self {
        Self { recent: recent.clone(), ..Self::default() }
    }

    /// How long after the landing that was, s; none before it.
    pub(super) fn since(&self, at: Instant) -> Option<f64> {
        self.recent.front().map(|(landed, _)| at.seconds_from(*landed)).filter(|s| *s >= 0.0)
    }

    /// A hand that let go since then.
    fn note_leaps(&self, since: Instant, leaps: &mut Leaps, mean_s: Option<f64>, threshold_g: f64) {
        for (t, g) in self.recent.iter().filter(|(t, _)| *t >= since) {
            let seen = Weighing { mass: Mass::saturating(*g), taken_at: *t, arrived_at: *t };
            leaps.note(seen, mean_s, threshold_g);
        }
    }

    /// Where the tail of the latest readings ends, g.
    pub(super) fn ends_at_g(&self) -> Option<f64> {
        tail_ends_at_g(&self.recent)
    }

    /// The most that was shown of late, gross g.
    fn most_g(&self) -> f64 {
        self.recent.iter().map(|(_, g)| *g).fold(f64::NEG_INFINITY, f64::max)
    }

    /// What was shown before the lowest reading was of something that is gone.
    pub(super) fn forget_before_lowest(&mut self) {
        let lowest_g = self.recent.iter().map(|(_, g)| *g).fold(f64::INFINITY, f64::min);
        let last = self.recent.iter().rposition(|(_, g)| *g <= lowest_g).unwrap_or(0);
        self.recent.drain(..last);
    }

    pub(super) fn note(&mut self, w: Weighing) {
        self.came.get_or_insert(w.taken_at);
        self.recent.push_back((w.taken_at, w.mass.g()));
        if self.recent.len() > KEPT {
            self.recent.pop_front();
        }
    }

    /// Steps of a coarse display come ever more rarely as a landing's tail ends, and evenly while slop runs: after three
    /// rises it stands for longer than it stood on either of the two steps before. What swings to and fro is no stream: a
    /// step counts where it is higher than all before it.
    fn stands(&self, step_g: f64) -> bool {
        let mut highest_g = self.recent.front().map_or(f64::INFINITY, |(_, g)| *g);
        let mut rises: Vec<Instant> = Vec::new();
        for (came, g) in &self.recent {
            if *g > highest_g + 0.5 * step_g {
                highest_g = *g;
                rises.push(*came);
            }
        }
        let ([.., first, second, third], Some((now, _))) = (rises.as_slice(), self.recent.back()) else {
            return true;
        };
        let longest_s = third.seconds_from(*second).max(second.seconds_from(*first));
        now.seconds_from(*third) >= LONGER * longest_s
    }

    /// The latest readings have shown the same for so long, s.
    fn stood_for(&self, within_g: f64, long_s: f64) -> bool {
        let Some((now, last_g)) = self.recent.back() else { return true };
        let same = self.recent.iter().rev().take_while(|(_, g)| (g - last_g).abs() < within_g);
        same.last().is_some_and(|(since, _)| now.seconds_from(*since) >= long_s)
    }

    /// Readings that showed the piece come, the first one too.
    fn came_over(&self, rest: f64, zero_g: f64) -> usize {
        let part = |(_, g): &&(Instant, f64)| g - zero_g < CAME * (rest - zero_g);
        1 + self.recent.iter().take_while(part).count()
    }

    /// What came after the piece, when a landing's readings had slowed to half of their quickest and then rose anew: a
    /// ladle's lump, or a hand that let go; nothing where it came as one.
    fn came_anew_g(&self, rest: f64, sd_g: f64) -> f64 {
        let rises: Vec<(f64, f64)> =
            self.recent.iter().zip(self.recent.iter().skip(1)).map(|(a, b)| (b.1, b.1 - a.1)).collect();
        // A difference of two rises has the noise of four readings.
        let quicker_g = ANEW_SIGMAS * 2.0 * sd_g;
        let (mut most_g, mut slowest) = (0.0_f64, None::<(f64, f64)>);
        let mut anew_g = 0.0_f64;
        for (g, rise_g) in rises {
            if let Some((from_g, least_g)) = slowest
                && rise_g - least_g > quicker_g
            {
                anew_g = anew_g.max(rest - from_g);
            }
            most_g = most_g.max(rise_g);
            if rise_g < slowest.map_or(0.5 * most_g, |(_, least_g)| least_g) {
                slowest = Some((g, rise_g));
            }
        }
        anew_g
    }

    /// Readings climb as slop does and no landing: slope, where it began as far as it was looked at, and how long
    /// after the landing that was.
    pub(super) fn climbs(&self, sd_g: f64) -> Option<(f64, f64, f64)> {
        self.climbs_over(CLIMB_S, sd_g)
    }

    fn climbs_over(&self, over_s: f64, sd_g: f64) -> Option<(f64, f64, f64)> {
        let &(last, _) = self.recent.back()?;
        let from = self.recent.iter().rposition(|(t, _)| last.seconds_from(*t) >= over_s - 1e-6)?;
        let late: Vec<(Instant, f64)> = self.recent.iter().skip(from).copied().collect();
        let (first, second) = late.split_at(late.len() / 2);
        let whole = Line::through(late.iter()).filter(|_| late.len() >= LEAST)?;
        let (first, second) = (Line::through(first.iter())?, Line::through(second.iter())?);
        let rises =
            late.windows(2).all(|pair| pair.first().zip(pair.last()).is_some_and(|(a, b)| b.1 > a.1 - sd_g));
        // Of n readings dt apart a slope has the standard deviation sd / dt * sqrt(12 / n^3) (least squares, derived).
        let half = 0.5 * late.len() as f64;
        let slope_sd = sd_g * half / (0.5 * over_s) * (12.0 / half.powi(3)).sqrt();
        let even =
            second.slope_g_s - DECAYS * first.slope_g_s > SIGMAS * (1.0 + DECAYS * DECAYS).sqrt() * slope_sd;
        let straight = whole.worst_g <= 4.0 * sd_g + 0.1 * whole.slope_g_s * over_s;
        let landed = self.recent.front()?.0;
        let start = late.first()?;
        (rises && even && straight && CLIMB_G_S.contains(&whole.slope_g_s))
            .then(|| (whole.slope_g_s, start.1, start.0.seconds_from(landed)))
    }
}

impl Engine {
    pub(super) fn landing(&mut self, mut l: Landing, w: Weighing) {
        if !self.loaded(w) {
            self.was_no_piece(l.most_g(), w.arrived_at);
            return self.enter(State::Idle);
        }
        if self.spare_set() {
            return;
        }
        l.note(w);
        if self.alone_again(&mut l, w) {
            return;
        }
        let Some(rest) = self.at_rest().filter(|rest| !self.held && self.has_stood(&l, *rest)) else {
            return self.before_rest(l, w);
        };
        self.landed_over = l.came_over(rest, self.zero_g);
        self.landed_at = l.came.unwrap_or(w.taken_at);
        self.has_landed(rest, w.arrived_at);
        if self.jug_set(rest, w.arrived_at) {
            return;
        }
        self.rests_after_landing(&l, rest, w.arrived_at);
    }

    /// It stood for as long as its display and its vessel ask, so that no slop is hidden in what it shows: where something was taken
    /// off, or a hand bore the piece, the end of that may hide some; and where slop comes in strokes so may what came after the
    /// landing on a coarse display. What was set down on a pan that was seen bare need not.
    fn has_stood(&self, l: &Landing, rest: f64) -> bool {
        let step_g = self.start.scale.step.g();
        let coarse = step_g >= COARSE_STEP_G;
        let (long_s, strokes) = match self.start.settings.vessel {
            Vessel::Squeeze | Vessel::Syringe => (STROKE_S, coarse),
            Vessel::Jug | Vessel::Ladle if coarse => (STOOD_S, false),
            Vessel::Jug | Vessel::Ladle => (0.0, false),
        };
        let within_g = if coarse { 0.5 * step_g } else { self.threshold_g() };
        let may_hide = l.stood || strokes && l.came_anew_g(rest, self.start.scale.reading_sd_g()) > step_g;
        (!coarse || l.stands(step_g)) && (!may_hide || l.stood_for(within_g, long_s))
    }

    /// It stands there: which one it is, and what is wanted of it.
    fn rests_after_landing(&mut self, l: &Landing, rest: f64, at: Instant) {
        let sd_g = self.start.scale.reading_sd_g();
        // With a jug in the hand a lump is no slop, and what was set down twice is looked at again when it is lifted.
        let ladles = self.start.settings.vessel.in_lumps();
        let anew_g = if ladles { l.came_anew_g(rest, sd_g) } else { 0.0 };
        if self.is_lump(rest, anew_g) {
            // What is put back comes with its slop.
            return self.opens(rest, anew_g, None, at);
        }
        let landed = self.recognise(rest);
        self.was_another(&landed, rest, at);
        match landed {
            Landed::Same(perhaps) => self.stands_again(*perhaps, rest, at),
            Landed::Perhaps(perhaps) => self.opens(rest, 0.0, Some(perhaps), at),
            // What only slowed the tail may as well be how it was set down.
            Landed::New if ladles && !self.may_be_rolled(rest) => {
                let slowed_g = l.came_in_the_tail_g(rest, sd_g, |g| self.is_lump(rest, g));
                self.opens(rest, slowed_g, None, at);
            }
            Landed::New => self.opens(rest, self.perhaps_hidden_g(l), None, at),
        }
    }

    /// So much of what is at rest may be a lump that came with the landing.
    fn is_lump(&self, rest: f64, g: f64) -> bool {
        self.may_be_a_lump(g) && !self.is_no_piece(rest, g)
    }

    /// What runs out of a jug in a late display's tail is at rest with it: as much as a pour, where the tail tells of one, g.
    fn perhaps_hidden_g(&self, l: &Landing) -> f64 {
        let jug = !self.start.settings.vessel.in_lumps();
        let hides = jug && l.may_hide_a_pour(self.start.scale.reading_sd_g());
        if hides { self.start.target.g() } else { 0.0 }
    }

    fn before_rest(&mut self, l: Landing, w: Weighing) {
        // A bounce is over within two readings; and a ladle's lump or a stroke is no even climb.
        if self.held || !self.guides() {
            return self.enter(State::Landing(l));
        }
        let sd_g = self.start.scale.reading_sd_g();
        let coarse = self.start.scale.step.g() >= COARSE_STEP_G;
        // What a coarse display shows in so short a time tells only a quick stream from a tail.
        let longer = || l.climbs_over(2.0 * CLIMB_S, sd_g).filter(|_| coarse);
        let Some((flow_g_s, start_g, after_s)) = l.climbs(sd_g).or_else(longer) else {
            return self.enter(State::Landing(l));
        };
        let lag_s = self.start.scale.lag.as_secs_f64();
        let stand = l.stand(By { lag_s, sd_g, coarse, zero_g: self.zero_g, flow_g_s });
        // What is known no better than a pour may be off guides nobody.
        let guides = |s: &Stand| s.u_g < self.half_width_g() && w.mass.g() > s.tare_g + self.threshold_g();
        match stand.filter(guides) {
            Some(stand) => self.early(&l, stand, w),
            None => self.too_soon(&l, (flow_g_s, start_g, after_s), w),
        }
    }

    /// Slop runs, and the tare is known from just before it: into a bare piece, or into one put back.
    fn early(&mut self, l: &Landing, stand: Stand, w: Weighing) {
        let tare = stand.tare_g;
        self.landed_at = l.came.unwrap_or(w.taken_at);
        self.has_landed(tare, w.arrived_at);
        self.was_told_nothing();
        // Whose tare is hardly known has no verdict either.
        let sure = stand.u_g <= 0.5 * self.half_width_g();
        match self.recognise(tare) {
            Landed::Same(perhaps) if perhaps.kept.may_want_more() && sure => {
                let mut d = self.put_back(*perhaps, tare, false, w.arrived_at);
                l.recent.iter().for_each(|(t, g)| push_recent(&mut d.recent, (*t, g - d.pour.tare)));
                l.note_leaps(stand.until, &mut d.leaps, self.pace.mean_s(), self.threshold_g());
                self.more(d, w.arrived_at);
            }
            Landed::Perhaps(perhaps) | Landed::Same(perhaps) => self.early_pour(l, stand, Some(perhaps), w),
            Landed::New => self.early_pour(l, stand, None, w),
        }
    }

    /// `perhaps`: it may be this one that was lifted, and what that holds is in it then.
    pub(super) fn early_pour(
        &mut self,
        l: &Landing,
        stand: Stand,
        perhaps: Option<Box<Perhaps>>,
        w: Weighing,
    ) {
        let tare = stand.tare_g;
        let mut pour = self.opens_early(tare, stand.u_g, w.arrived_at);
        pour.perhaps_other = perhaps.as_ref().and_then(|perhaps| perhaps.other(tare));
        let recent = l.recent.iter().map(|(t, g)| (*t, g - tare)).collect();
        let mut stream = self.stream(pour, &recent, 0.0);
        stream.perhaps = perhaps;
        l.note_leaps(stand.until, &mut stream.leaps, self.pace.mean_s(), self.threshold_g());
        self.enter(State::Pouring(stream));
    }

    /// Slop runs since nobody knows when: the hand is told at once, and the weight is what it can be.
    pub(super) fn too_soon(
        &mut self,
        l: &Landing,
        (slope_g_s, start_g, after_s): (f64, f64, f64),
        w: Weighing,
    ) {
        // It may have run since the landing or since the climb was seen: half of that, as uncertain.
        let half_g = 0.5 * slope_g_s * after_s;
        // Or a hand let go of it, and no slop is in it at all: never so little that it could be called good.
        let u_g = (2.0 * EITHER * half_g).max(self.half_width_g());
        let mut pour = self.opens_early(start_g - half_g, u_g, w.arrived_at);
        pour.troubled = true;
        let tare = pour.tare;
        let recent = l.recent.iter().map(|(t, g)| (*t, g - tare)).collect();
        let mut stream = self.stream(pour, &recent, half_g);
        stream.plan.stop_due = Some(w.arrived_at);
        self.enter(State::Draining(stream));
        self.cue_now(Cue::Fault, w.arrived_at, None);
    }

    fn opens_early(&mut self, tare: f64, u_g: f64, at: Instant) -> Pour {
        self.away = 0;
        self.has_landed(tare, at);
        self.aim_at(self.next);
        let mut pour = Pour::open(self.piece, self.next, tare, at);
        pour.promised = true;
        pour.unsure_g = u_g;
        pour.marks = pour.marks.with(Mark::Early);
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        pour
    }
}
