//! What is no slop: hands, the jug on the rim, things set on the pan, pushes; told by how fast a weight changes and
//! by whether it stays.

use super::done::{EITHER, LIFT_S};
use super::engine::Engine;
use super::entry::Cue;
use super::landing::Landing;
use super::running::{MOST_FLOW_G_S, SPLASH_G};
use super::state::{Pour, Ready, State, Stream};
use super::vessel::Vessel;
use crate::reading::Weighing;
use crate::record::Mark;
use crate::time::Instant;

/// Impact of a falling stream is its flow times the speed it falls at over gravity: 0.2 s for 0.2 m (derived).
const IMPACT_S: f64 = 0.2;
/// Less than this falls with a drop, a wave in the bowl, or a scale's own overshoot (a guess).
const LEAST_FALL_G: f64 = 3.0;

impl Engine {
    /// What lay on a piece before slop was seen has gone, or stays: what slop explains is a pour.
    pub(super) fn odd_load_gone(&mut self, mut s: Stream, rest: f64, at: Instant) {
        let net = rest - s.pour.tare;
        // It fell by half of what had come, or more: that has gone.
        if !s.pour.marks.has(Mark::Early) && s.peak_g - net > 0.5 * s.pour.unsure_g / EITHER {
            s.pour.unsure_g = 0.0;
        }
        let most_g = MOST_FLOW_G_S * at.seconds_from(s.pour.started);
        if !(-self.threshold_g()..most_g).contains(&net) {
            return self.dropped(&s.pour, State::Landing(Landing::default()));
        }
        if net > self.threshold_g() {
            return self.weighed(s, rest, at);
        }
        self.cue_now(Cue::Clear, at, None);
        let mut pour = s.pour;
        pour.troubled = false;
        self.enter(State::Ready(Ready::new(pour, 0.0)));
    }

    /// What rises faster than any jug pours is a touch, or another thing on the pan.
    pub(super) fn leaps(&self, s: &mut Stream, net: f64, before_g: f64, at: Instant) {
        let since_s = at.seconds_from(std::mem::replace(&mut s.shown_at, at)).clamp(0.0, 1.0);
        let rise_g = net - before_g;
        if !s.lumps && rise_g > MOST_FLOW_G_S * since_s + self.threshold_g() {
            s.leapt_g += rise_g;
        } else if rise_g < -self.threshold_g() {
            // It falls again, or came in disorder.
            s.leapt_g = (s.leapt_g + rise_g).max(0.0);
        }
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
        // A link that is uneven makes leaps of its own: they alone put nothing in doubt.
        let (at_once_g, leapt_g) = (stayed(self.at_once_g(s, net)), stayed(self.leapt_g(s, net)));
        s.pour.unsure_g = s.pour.unsure_g.max(EITHER * at_once_g.max(leapt_g));
        s.pour.doubt_g = s.pour.doubt_g.max(at_once_g);
        // A push moves the piece on the pan by less than a top-up is worth.
        let gain_g = net - s.from_g;
        if s.pour.rev > 0 && gain_g < SPLASH_G.0 {
            s.pour.unsure_g = s.pour.unsure_g.max(EITHER * gain_g.abs());
        }
    }

    /// What came at once as the stream began; of slop that ran before `ready`, and too shortly to tell, all of it.
    fn at_once_g(&self, s: &Stream, net: f64) -> f64 {
        if s.pour.rev > 0 || self.start.settings.vessel != Vessel::Jug {
            return 0.0;
        }
        let perhaps_all = s.pour.marks.has(Mark::Early) && !s.pour.troubled;
        s.onset.at_once_g().unwrap_or(if perhaps_all { net.max(0.0) } else { 0.0 })
    }

    /// What leapt; where most of it did, and the stream was too short to tell, all of it.
    fn leapt_g(&self, s: &Stream, net: f64) -> f64 {
        let most = s.leapt_g > 0.5 * net && s.pour.rev == 0 && s.onset.at_once_g().is_none();
        if most { s.leapt_g.max(net) } else { s.leapt_g }
    }

    /// The end of the stream's impact lets the display fall; what falls further had borne on the piece.
    pub(super) fn most_fall_g(&self, s: &Stream) -> f64 {
        let impact_g = IMPACT_S * s.pour.flow_g_s.unwrap_or(0.0).min(MOST_FLOW_G_S);
        (impact_g + self.threshold_g()).max(LEAST_FALL_G)
    }

    /// A push or a touch called the stop: hardly any slop is in it, and the pour begins anew.
    pub(super) fn hardly_begun(&mut self, s: Stream, net: f64, at: Instant) {
        let base_g = if net > self.threshold_g() { net } else { 0.0 };
        let pour = Pour { guided: false, flow_g_s: None, stop_cue: None, ..s.pour };
        self.enter(State::Ready(Ready::new(pour, base_g)));
        self.cue_now(Cue::Ready, at, Some(self.start.target.g() - base_g));
    }

    /// More than can have run since the stop: something lies on the pan besides, and is waited out.
    pub(super) fn is_more_than_slop(&self, s: &Stream, net: f64, w: Weighing) -> bool {
        let Some((due, at_stop_g)) = s.plan.stop_due.zip(s.pour.stop_cue) else { return false };
        s.pour.rev == 0 && net - at_stop_g > MOST_FLOW_G_S * w.taken_at.seconds_from(due) + SPLASH_G.1
    }
}
