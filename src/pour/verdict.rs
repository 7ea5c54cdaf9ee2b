//! Whether a weight is good, and what is said of it.

use super::aim::unspoken_g;
use super::engine::Engine;
use super::entry::Cue;
use super::running::ESTIMATE_SD_G;
use super::state::{Pour, State};
use crate::record::{Aim, Mark, Verdict};
use crate::time::Instant;
use std::f64::consts::FRAC_1_SQRT_2;

/// A weight that is likelier out than in, where what is unsure besides spreads it as a normal law, is not called good.
const LIKELY: f64 = 0.5;
/// An unusual uncertainty under this share of the tolerance's half-width leaves the weight itself to decide: of one just inside
/// a limit half lies within it then (derived: the other limit is more than three of it away).
const SURE: f64 = 0.6;

/// How much of a normal law around `net` lies in the limits of this aim.
fn share_within(aim: &Aim, net: f64, sd_g: f64) -> f64 {
    let below = |g: f64| 0.5 * libm::erfc((net - g) / sd_g * FRAC_1_SQRT_2);
    below(aim.high.g()) - below(aim.low.g())
}

impl Engine {
    /// Its verdict, or that nobody can call it good.
    pub(super) fn say_of(&mut self, pour: &Pour, net: f64, at: Instant) {
        // One whose slop ran before `ready`, and was told to stop, has had its `fault`; and nothing went wrong with one that
        // was lifted before a late scale could show enough.
        let lifted_early = !pour.settled && pour.unsure_g == 0.0 && pour.doubt_g == 0.0;
        if pour.verdict == Verdict::Void && !pour.troubled && !lifted_early {
            return self.cue_now(Cue::Fault, at, None);
        }
        self.say_verdict(pour.verdict, net, at);
    }

    /// The one place that gives a verdict. Good only where what may be no slop makes no difference and the weight is known
    /// well enough; nothing where none of it may be slop, or its tare is hardly known.
    pub(super) fn judged(&self, pour: &Pour, net: f64) -> Verdict {
        let half_width_g = pour.aim.half_width_g();
        let hardly_tared = pour.marks.has(Mark::Early) && pour.unsure_g > 0.5 * half_width_g;
        // Less than nothing is no slop, and says only that it was not seen.
        if hardly_tared || net < 0.0 || pour.doubt_g > 0.9 * net && net > 0.0 {
            return Verdict::Void;
        }
        match pour.aim.verdict(net) {
            Verdict::Good if pour.aim.verdict(net - pour.doubt_g) != Verdict::Good => Verdict::Void,
            // The short one topped up, or a bare one poured to as much.
            Verdict::Good if pour.perhaps_other.is_some() => Verdict::Void,
            Verdict::Good if self.is_likelier_out(pour, net) => Verdict::Void,
            verdict @ (Verdict::Good | Verdict::Short | Verdict::Over | Verdict::Void) => verdict,
        }
    }

    fn is_likelier_out(&self, pour: &Pour, net: f64) -> bool {
        let sd_g = self.unusual_u_g(pour, net);
        sd_g > SURE * pour.aim.half_width_g() && share_within(&pour.aim, net, sd_g) < LIKELY
    }

    /// A weight that became less sure is not called good any more.
    pub(super) fn doubts(&self, pour: &mut Pour) {
        if let Some(net) = pour.net.filter(|_| pour.verdict == Verdict::Good) {
            pour.verdict = self.judged(pour, net);
        }
    }

    /// What a weight is unsure by besides what every weight of its kind is, g: that is the scale's, and was warned of.
    fn unusual_u_g(&self, pour: &Pour, net: f64) -> f64 {
        let rest_u_g = self.weight_u_g(pour.tare + net);
        let usual_g = if pour.settled { rest_u_g } else { rest_u_g.hypot(ESTIMATE_SD_G) };
        let beyond = pour.net_u.unwrap_or(0.0).powi(2) - usual_g.powi(2);
        beyond.max(0.0).sqrt().max(pour.unsure_g)
    }

    /// A miss is logged finely and spoken of coarsely: what nobody would mend is not said.
    pub(super) fn say_verdict(&mut self, verdict: Verdict, net: f64, at: Instant) {
        let slack_g = unspoken_g(&self.aim());
        let (short_g, over_g) = (self.start.low.g() - net, net - self.start.high.g());
        let cue = match verdict {
            Verdict::Good => Cue::Good,
            Verdict::Short if short_g <= slack_g => return,
            Verdict::Short => Cue::Short,
            Verdict::Over if over_g <= slack_g => return,
            Verdict::Over => Cue::Over,
            // Its own `fault` came when slop ran before `ready`.
            Verdict::Void => return,
        };
        self.cue_now(cue, at, Some(self.start.target.g() - net));
    }

    /// The finer state, and what a weighed piece wants.
    pub(super) fn step(&self, now: Instant) -> &'static str {
        if let State::Draining(s) = &self.state
            && self.ending(s).target_g < self.start.target.g()
        {
            return "stopped short: leave it there";
        }
        let State::Done(d) = &self.state else { return self.state.step() };
        let stood_long = !d.pour.came_back
            && d.pour.first_slop.is_some_and(|t| now.since(t) > self.start.settings.contact_limit);
        if self.wants_trickle(&d.pour) {
            return "a trickle is missing";
        }
        match d.pour.verdict {
            Verdict::Short if stood_long => "short: roll it first, then top it up, or let it go",
            Verdict::Short => "short: pour what is missing, or let it go",
            Verdict::Over => "over: pour some back, or let it go",
            Verdict::Good | Verdict::Void => self.state.step(),
        }
    }

    /// Half of what is between the limits, g.
    pub(super) fn half_width_g(&self) -> f64 {
        self.aim().half_width_g()
    }
}
