//! What is no slop: hands, the jug on the rim, things set on the pan, pushes; told by how fast a weight changes and
//! by whether it stays.

use super::done::{EITHER, LIFT_S};
use super::engine::Engine;
use super::entry::Cue;
use super::landing::Landing;
use super::lighter::BORNE;
use super::ready::Ready;
use super::running::{MOST_FLOW_G_S, SHOWN, SPLASH_G};
use super::state::{Pour, Running, State, Stream};
use super::vessel::Vessel;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::scale::Origin;
use crate::time::Instant;
use std::collections::VecDeque;

/// Impact of a falling stream is its flow times the speed it falls at over gravity: 0.2 s for 0.2 m (derived).
const IMPACT_S: f64 = 0.2;
/// A lump that is emptied in 0.4 s falls with this share of it (0.2 s over 0.4 s, derived).
const LUMP_IMPACT: f64 = 0.5;
/// Less than this falls with a drop, a wave in the bowl, or a scale's own overshoot (a guess).
const LEAST_FALL_G: f64 = 3.0;

/// So many readings that jumped as no slop does are a touch; one alone may be a splash.
const ODD_READINGS: u32 = 3;
/// A hand that lets go is shown over several readings, of which only the steepest rises faster than any jug pours: where that
/// was so much of a weight too small for a pour, and no stream was seen after it, it may all be the hand (a third of a step
/// that takes 0.2 s is shown in one reading of a usual scale, derived; the rest is room for noise).
const LEAPT: f64 = 0.2;
/// So long before a rest, s: half as long again as is looked at for one.
const SANK_S: f64 = 0.7;

/// A lift falls by so many times more from one reading to the next than what is let go before it (a guess: simulated lifts
/// show 3 to 16 times its first part), and what is let go is seen over so many readings and so long, s: of a lift's own beginning
/// there is one reading.
const LIFT_BEGINS: f64 = 3.0;
const LET_GO: usize = 2;
const LET_GO_S: f64 = 0.18;
/// Nobody answers a tone sooner than so, s (Kosinski's review: 0.16 s on the average of rested people).
const ANSWERED_S: f64 = 0.15;
/// A hand that lets go within a quarter of a second shows so much of what it bore as a leap (a third on a simulated
/// quick scale; slower ones show none).
const LEAPS_AT_READY: f64 = 0.25;
/// A touch called the stop within so long, s (a guess; a display of 0.7 s shows what presses for half a second for as long again).
const RAN_S: f64 = 1.2;
/// What a hand takes up little by little grows by so much from reading to reading (a guess).
const GROWS: f64 = 1.4;

/// So many readings in a row, for so long, s, at a piece's tare are that piece, though slop begins before they are a rest (own
/// choices).
const AT_TARE: usize = 4;
const AT_TARE_S: f64 = 0.2;

/// A hand that was seen on the piece may have pushed it by up to two centimetres, evenly: of 0.05 % of the load for each
/// (both guesses) that is this share, as a standard deviation (GUM 4.3.7, from memory).
const PUSHED: f64 = 2.0 * 0.000_5 * EITHER;

/// Where the tail of these readings ends, as a display of one pole runs out: none while it goes on as fast as before, as
/// in a lift.
pub(super) fn tail_ends_at_g(readings: &VecDeque<(Instant, f64)>) -> Option<f64> {
    let mut late = readings.iter().rev();
    let (&(t2, g2), &(t1, g1), &(t0, g0)) = (late.next()?, late.next()?, late.next()?);
    let (last_s, before_s) = (t2.seconds_from(t1).max(1e-3), t1.seconds_from(t0).max(1e-3));
    let (last_g_s, before_g_s) = ((g2 - g1) / last_s, (g1 - g0) / before_s);
    let slower = last_g_s / before_g_s;
    if last_g_s == 0.0 {
        return Some(g2);
    }
    // A slope that falls by this share between the middles of the two stretches falls on as it did.
    (slower > 0.0 && slower < 1.0).then(|| {
        let pole_s = 0.5 * (last_s + before_s) / -slower.ln();
        g2 + last_g_s * slower.powf(0.5 * last_s / (0.5 * (last_s + before_s))) * pole_s
    })
}

/// What bore on a piece that weighed `had_g`, and was let go just before the lift that follows, g: as far as the display sank
/// before it fell as in a lift, and how much it may have been; where it still sank as fast as before, as much again is owed.
pub(super) fn let_go_g(
    readings: &VecDeque<(Instant, f64)>,
    had_g: f64,
    threshold_g: f64,
) -> Option<(f64, f64)> {
    let level = readings.iter().rposition(|(_, net)| *net >= had_g - threshold_g);
    let mut late: Vec<(Instant, f64)> = readings.iter().skip(level.unwrap_or(0)).copied().collect();
    if let (None, [(first, _), (second, _), ..]) = (level, late.as_slice()) {
        // It was weighed just before the first of them.
        late.insert(0, (first.offset_seconds(-second.seconds_from(*first)), had_g));
    }
    let level_at = late.first()?.0;
    let mut falls: Vec<f64> = Vec::new();
    // It falls ever faster: a lift, unless that ends.
    let mut faster = false;
    for ((before, from_g), (_, to_g)) in late.iter().zip(late.iter().skip(1)) {
        let (fall_g, sank_g) = (from_g - to_g, had_g - from_g);
        let most_g = falls.iter().copied().fold(0.0, f64::max);
        faster &= fall_g >= 0.5 * most_g;
        let lately_g = falls.iter().rev().take(LET_GO).copied().fold(0.5 * threshold_g, f64::max);
        if !faster && !falls.is_empty() && fall_g > LIFT_BEGINS * lately_g {
            let long = falls.len() >= LET_GO && before.seconds_from(level_at) >= LET_GO_S;
            if long && sank_g > threshold_g && !grows(&falls) {
                let goes_on = falls.last().is_some_and(|last_g| *last_g > 0.5 * most_g);
                return Some((sank_g, if goes_on { 2.0 * sank_g } else { sank_g }));
            }
            faster = true;
        }
        falls.push(fall_g);
    }
    None
}

/// A hand that takes the weight little by little: each fall is greater than the one before.
fn grows(falls: &[f64]) -> bool {
    falls.len() > LET_GO && falls.windows(2).all(|pair| pair[1] > GROWS * pair[0])
}

/// It fell by half of what had come, or more: that has gone.
pub(super) fn went_again(s: &mut Stream, net: f64) {
    let came_g = s.pour.unsure_g / EITHER;
    if !s.pour.marks.has(Mark::Early) && s.peak_g.max(came_g) - net > 0.5 * came_g {
        s.pour.unsure_g = 0.0;
    }
}

impl Running {
    /// So much more came where the filter did not look: slop, or a hand.
    pub(super) fn went_on(&mut self, g: f64) {
        let known = self.known.iter_mut().chain(self.trail.iter_mut().map(|(_, net)| net));
        known.chain([&mut self.peak_g, &mut self.last_net]).for_each(|net| *net += g);
        self.pour.unsure_g = self.pour.unsure_g.hypot(EITHER * g);
    }
}

impl Engine {
    /// What lay on a piece before slop was seen has gone, or stays: what slop explains is a pour.
    pub(super) fn odd_load_gone(&mut self, mut s: Stream, rest: f64, at: Instant) {
        let net = rest - s.pour.tare;
        went_again(&mut s, net);
        let most_g = MOST_FLOW_G_S * at.seconds_from(s.pour.started);
        if !(-self.threshold_g()..most_g).contains(&net) && !self.may_be_a_lump(net) {
            if net > 0.0 && !s.pour.marks.has(Mark::Early) {
                self.set_beside(&s.pour);
            }
            return self.dropped(&s.pour, State::Landing(Landing::of_what_stood()));
        }
        if net > SHOWN * self.threshold_g() {
            return self.weighed(s, rest, at);
        }
        self.cue_now(Cue::Clear, at, None);
        let mut pour = s.pour;
        pour.troubled = false;
        self.enter(State::Ready(Ready::new(pour, 0.0)));
    }

    /// What had borne on a weighed piece goes, and a late display follows slowly.
    pub(super) fn sinks(&self, s: &mut Stream, net: f64, at: Instant) {
        if s.pour.rev == 0 || net >= s.last_net - self.threshold_g() {
            (s.lower_since, s.lower_g) = (None, 0.0);
            return;
        }
        let since = *s.lower_since.get_or_insert(at);
        // Lighter than it was before this slop it is being lifted.
        if at.seconds_from(since) >= LIFT_S && net > s.from_g - self.threshold_g() {
            s.lower_g = s.last_net - net;
        }
    }

    /// What leapt and did not fall again may be slop or not.
    pub(super) fn unsure_of_leaps(&self, s: &mut Stream, net: f64) {
        let stayed = |g: f64| if s.peak_g - net < 0.5 * g { g } else { 0.0 };
        let (at_once_g, leapt_g) = (stayed(self.at_once_g(s, net)), stayed(self.leapt_g(s, net)));
        let surged_g = stayed(s.surges.g());
        s.pour.unsure_g = s.pour.unsure_g.max(EITHER * at_once_g.max(leapt_g).max(surged_g));
        if s.pour.in_tare_g > 0.0 {
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * s.pour.in_tare_g);
            s.pour.marks = s.pour.marks.with(Mark::Early);
        }
        // A hand in mid-pour comes and goes; what is nearly all of the weight may be no slop at all.
        let nearly_all_g = if leapt_g > 0.5 * net { leapt_g } else { 0.0 };
        s.pour.doubt_g = s.pour.doubt_g.max(at_once_g).max(nearly_all_g);
        // A push moves the piece on the pan by less than a top-up is worth.
        let gain_g = net - s.from_g;
        if s.pour.rev > 0 && gain_g < SPLASH_G.0 {
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * gain_g.abs());
        }
    }

    /// A piece at rest that was only touched is tared again; none then.
    pub(super) fn no_stream(&mut self, s: Stream, rest: f64, at: Instant) -> Option<Stream> {
        if s.pour.rev == 0 && rest < s.pour.tare - self.threshold_g() {
            // A hand that wiped the pan beneath it.
            self.enter(State::Ready(Ready::new(s.pour, 0.0)));
            return None;
        }
        let change_g = rest - s.pour.tare;
        if !self.let_go_at_ready(&s, change_g) {
            return Some(s);
        }
        let ready = Ready { back: s.back, ..Ready::new(s.pour, 0.0) };
        self.tared_again(ready, rest, change_g, at);
        None
    }

    /// A hand that had borne the piece let go as `ready` sounded: what rose began before anybody could have answered, a
    /// good part of it faster than any jug pours, and then nothing ran.
    fn let_go_at_ready(&self, s: &Stream, change_g: f64) -> bool {
        let fresh = s.pour.rev == 0 && s.from_g == 0.0 && s.plan.stop_due.or(s.plan.heard).is_none();
        let at_once = s.pour.first_slop.is_some_and(|t| t.seconds_from(s.pour.started) < ANSWERED_S);
        fresh && at_once && s.leaps.g() > LEAPS_AT_READY * change_g && change_g > self.threshold_g()
    }

    /// What came at once as the stream began; of slop that ran before `ready`, and too shortly to tell, all of it.
    fn at_once_g(&self, s: &Stream, net: f64) -> f64 {
        let perhaps_all = s.pour.marks.has(Mark::Early) && !s.pour.troubled;
        if s.pour.rev > 0 || self.start.settings.vessel != Vessel::Jug {
            return if perhaps_all && s.pour.rev == 0 { net.max(0.0) } else { 0.0 };
        }
        s.onset.at_once_g().unwrap_or(if perhaps_all { net.max(0.0) } else { 0.0 })
    }

    /// What leapt; where a good part of it did, and the stream was too short to tell, all of it.
    fn leapt_g(&self, s: &Stream, net: f64) -> f64 {
        let leapt_g = s.leaps.g();
        // As much as a pour gives, and a lump of slop, may leap in part as a hand comes and goes.
        let share = if self.may_be_a_lump(net) { 0.5 } else { LEAPT };
        let most = leapt_g > share * net && s.pour.rev == 0 && s.onset.at_once_g().is_none();
        if most { leapt_g.max(net) } else { leapt_g }
    }

    /// What may be amiss with a weight at rest, g: a lump that a display shows half and stands still, one that sank just
    /// before, and the end of a tail.
    pub(super) fn amiss_g(&self, s: &Stream, net: f64, at: Instant) -> f64 {
        let owed_g = self.watch.owes_g().filter(|_| s.lumps).map_or(0.0, |g| g.min(net.abs()));
        owed_g.hypot(self.sank_g(s, net, at)).hypot(self.tail_g(s)).hypot(self.stuck_g(s, net))
    }

    /// A display that lagged behind when the stop was due, and shows the same since, stands still: what ran until then, and
    /// while the hand stopped, may be in the piece.
    fn stuck_g(&self, s: &Stream, net: f64) -> f64 {
        let Some((due, at_stop_g)) = s.plan.stop_due.zip(s.pour.stop_cue) else { return 0.0 };
        let behind_g = at_stop_g - net;
        let before = s.recent.iter().rposition(|(t, _)| *t <= due);
        let mut since = s.recent.iter().skip(before.unwrap_or(0));
        let stands =
            before.is_some() && since.all(|(_, g)| (g - net).abs() < 0.5 * self.start.scale.step.g());
        if s.lumps || s.pour.rev > 0 || behind_g <= self.threshold_g() || !stands {
            return 0.0;
        }
        let flow_g_s = s.pour.flow_g_s.unwrap_or(0.0).min(MOST_FLOW_G_S);
        behind_g + flow_g_s * self.hand.at_s(flow_g_s)
    }

    /// Where a hand was seen on the piece, whether what it bore stayed or not, it may have moved it.
    pub(super) fn pushed_g(&self, s: &Stream, net: f64, gross_g: f64) -> f64 {
        if self.bore(s, net) || s.leaps.seen() { PUSHED * gross_g } else { 0.0 }
    }

    /// On a scale whose lag is not told the display may have as much to come as it rose by over the readings that looked
    /// like rest.
    fn tail_g(&self, s: &Stream) -> f64 {
        let rise_g =
            s.trail.back().zip(s.trail.iter().rev().nth(3)).map_or(0.0, |((_, to), (_, from))| to - from);
        match self.start.scale.lag_origin {
            Origin::Assumed => (rise_g - 2.0 * self.start.scale.reading_sd_g()).max(0.0),
            Origin::Told | Origin::Learned => 0.0,
        }
    }

    /// By how much the display fell back slowly just before it came to rest, as it does after nothing that slop does: wind.
    fn sank_g(&self, s: &Stream, net: f64, at: Instant) -> f64 {
        let late = s.trail.iter().filter(|(t, _)| at.seconds_from(*t) <= SANK_S);
        let sank_g = late.map(|(_, g)| g - net).fold(0.0, f64::max);
        if !s.lumps && sank_g > self.threshold_g() { sank_g.min(LEAST_FALL_G) } else { 0.0 }
    }

    /// Something bore on the piece while slop ran.
    pub(super) fn bore(&self, s: &Stream, net: f64) -> bool {
        // A lump jumps by itself.
        !s.lumps && s.odd >= ODD_READINGS || s.peak_g - net > self.most_fall_g(s)
    }

    /// The end of the stream's impact lets the display fall; what falls further had borne on the piece.
    pub(super) fn most_fall_g(&self, s: &Stream) -> f64 {
        if s.lumps {
            return (LUMP_IMPACT * s.peak_g).max(LEAST_FALL_G);
        }
        let impact_g = IMPACT_S * s.pour.flow_g_s.unwrap_or(0.0).min(MOST_FLOW_G_S);
        (impact_g + self.threshold_g()).max(LEAST_FALL_G)
    }

    /// After a stop it rests, since then, at hardly more than it weighed bare, or at less. Where slop was seen to run until the stop
    /// a hand bears it, or after longer than that another piece stands there.
    pub(super) fn little_is_left(&mut self, s: Stream, net: f64, since: Instant, at: Instant) {
        if !self.had_run(&s) {
            return self.hardly_begun(s, net, at);
        }
        if at.since(since) < BORNE {
            return self.enter(State::Draining(s));
        }
        self.estimate(s, at);
    }

    /// What called the stop climbed for longer than any touch does.
    fn had_run(&self, s: &Stream) -> bool {
        let climbed = s.pour.flow_g_s.is_some_and(|flow_g_s| flow_g_s < MOST_FLOW_G_S);
        let ran =
            s.pour.first_slop.zip(s.plan.stop_due).is_some_and(|(from, to)| to.seconds_from(from) > RAN_S);
        climbed && ran && s.peak_g - s.leaps.g() >= self.splash_g()
    }

    /// A push or a touch called the stop: hardly any slop is in it, and the pour begins anew.
    pub(super) fn hardly_begun(&mut self, s: Stream, net: f64, at: Instant) {
        let base_g = if net > SHOWN * self.threshold_g() { net } else { 0.0 };
        let pour = Pour { guided: false, flow_g_s: None, stop_cue: None, ..s.pour };
        self.enter(State::Ready(Ready::new(pour, base_g)));
        self.cue_now(Cue::Ready, at, Some(self.start.target.g() - base_g));
    }

    /// Too light to be the piece with its slop, and it stays at its tare: it still stands there, and what was taken for slop
    /// was a hand on it. Nobody lifts a piece and has another that weighs the same at rest so soon.
    pub(super) fn never_left(&self, s: &Stream) -> bool {
        let at_tare = |g: f64| self.is_at_tare(s, g, self.threshold_g());
        let readings = AT_TARE.max((AT_TARE_S / self.pace.mean_s().unwrap_or(AT_TARE_S)).ceil() as usize);
        self.at_rest().is_some_and(at_tare) || self.climb.stays(at_tare, readings)
    }

    /// Weighs what it did bare, or less by what lay on the pan and was wiped off.
    pub(super) fn is_at_tare(&self, s: &Stream, gross_g: f64, within_g: f64) -> bool {
        let lay_g = self.after.lay_g(self.zero_g);
        s.pour.rev == 0 && (-within_g - lay_g..=within_g).contains(&(gross_g - s.pour.tare))
    }

    /// It waits for its slop as before; a hand that was told to stop is told `ready` again.
    pub(super) fn was_a_hand(&mut self, s: Stream, at: Instant) {
        self.away = 0;
        let told = s.plan.stop_due.is_some();
        let pour = Pour { guided: false, flow_g_s: None, stop_cue: None, shown_at_stop: None, ..s.pour };
        let promised = pour.promised;
        self.enter(State::Ready(Ready::new(pour, 0.0)));
        if told && promised {
            self.cue_now(Cue::Ready, at, Some(self.start.target.g()));
        }
    }

    /// More than can have run since the stop: something lies on the pan besides, and is waited out.
    pub(super) fn is_more_than_slop(&self, s: &Stream, net: f64, w: Weighing) -> bool {
        let Some((due, at_stop_g)) = s.plan.stop_due.zip(s.pour.stop_cue) else { return false };
        s.pour.rev == 0 && net - at_stop_g > MOST_FLOW_G_S * w.taken_at.seconds_from(due) + SPLASH_G.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Duration;

    fn every_tenth(nets: &[f64]) -> VecDeque<(Instant, f64)> {
        let at = |i: usize| Instant::START + Duration::from_millis(1000 + 100 * i as u64);
        nets.iter().enumerate().map(|(i, net)| (at(i), *net)).collect()
    }

    #[test]
    fn a_hand_that_lets_go_just_before_a_lift_is_seen_and_a_lift_alone_is_not() {
        let seen = |nets: &[f64], had_g: f64| let_go_g(&every_tenth(nets), had_g, 0.3);
        let is = |seen: Option<(f64, f64)>, sank_g: f64, perhaps_g: f64| {
            seen.is_some_and(|(s, p)| (s - sank_g).abs() < 0.01 && (p - perhaps_g).abs() < 0.01)
        };
        let gone = [68.2, 68.2, 67.9, 67.0, 65.9, 64.7, 63.9, 35.0, -10.0];
        assert!(is(seen(&gone, 68.2), 4.3, 8.6));
        let going = [94.0, 93.9, 94.0, 93.5, 92.2, 65.2, -10.0];
        assert!(is(seen(&going, 94.0), 1.8, 3.6));
        // The reading that it was weighed with is not among them.
        assert!(is(seen(&[93.5, 92.2, 65.2, -10.0], 94.0), 1.8, 3.6));
        let quickly = [50.7, 50.0, 47.5, 42.0, 38.2, 36.7, 36.1, 35.9, 35.8, 35.7, 30.5, 14.7];
        assert!(is(seen(&quickly, 50.7), 15.0, 15.0));
        for lift in [[18.0, 18.0, 6.0, -84.0, -335.0], [18.0, 17.9, 17.4, 5.0, -70.0]] {
            assert_eq!(seen(&lift, 18.0), None);
        }
        let little_by_little = [18.0, 18.0, 17.8, 17.4, 16.5, 14.5, 7.5, -14.0];
        assert_eq!(seen(&little_by_little, 18.0), None);
    }
}
