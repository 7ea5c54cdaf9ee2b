//! A weight that is known: the pour's next revision, and what is learned from it.

use super::done::EITHER;
use super::engine::Engine;
use super::entry::Output;
use super::finish::Finish;
use super::plan::Called;
use super::running::SPLASH_G;
use super::state::{Pour, Running, Stream};
use super::sums::Shown;
use super::vessel::Vessel;
use crate::record::{Mark, Verdict};
use crate::time::Instant;

impl Engine {
    /// Puts the weight out as the pour's next revision, with what was learned from it.
    pub(super) fn write_down(&mut self, s: Stream, net: f64, at: Instant) -> Pour {
        let first = s.pour.rev == 0;
        // At a lift the weight falls as at a touch: only at rest it says something.
        let touched = s.pour.settled && self.bore(&s, net) || s.pour.doubt_g > SPLASH_G.0;
        let Running { mut pour, plan, again, from_g, .. } = *s;
        // A stream that a pause had ended before its stop goes on.
        let went_on = std::mem::take(&mut pour.paused);
        pour.rev += 1;
        pour.entered.get_or_insert(at);
        pour.net = Some(net);
        if pour.marks.has(Mark::Early) {
            // It may have been a hand that let go, and no slop at all.
            let early_g = if self.judged(&pour, net) == Verdict::Void { EITHER * net.abs() } else { 0.0 };
            pour.net_u = pour.net_u.map(|u| u.max(early_g));
        }
        if let Some(rival) = pour.rival.take() {
            self.may_hold_more(rival, net - from_g, &[Verdict::Good, Verdict::Short, Verdict::Over], at);
        }
        if let Some(held) = pour.perhaps_other {
            if first && held.piece != pour.piece {
                self.may_hold_more(held, net, &[Verdict::Good], at);
            }
            // A bare one taken for the short one has all that came since, and the short one none of it.
            let other_g = held.g.max(if first { 0.0 } else { net - held.g });
            pour.net_u = pour.net_u.map(|u| u.hypot(EITHER * other_g));
        }
        pour.verdict = self.judged(&pour, net);
        if first || again {
            pour.first_net = Some(net);
        } else {
            pour.top_ups += 1;
        }
        for (mark, there) in [(Mark::Touched, touched), (Mark::Paused, went_on), (Mark::RanOn, pour.ran_on)] {
            pour.marks = if there { pour.marks.with(mark) } else { pour.marks };
        }
        if !pour.came_back {
            pour.contact = pour.first_slop.map(|t| at.since(t));
        }
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        // What leapt is no measure of a hand's time.
        let leapt = pour.unsure_g > SPLASH_G.0;
        let trusted =
            !(leapt || pour.troubled || pour.ran_on || pour.unheard || touched || self.hearing.lost);
        pour.taught = None;
        if let Some(called) = plan.called.filter(|_| trusted) {
            self.learn(&mut pour, called, net, first);
        }
        pour
    }

    /// What a stream that was told to stop teaches of the hand.
    fn learn(&mut self, pour: &mut Pour, called: Called, net: f64, first: bool) {
        let error_g = net - called.aim_g;
        if first {
            self.note_sum(pour, net);
            pour.taught = self.hand.taught(error_g, called.flow_g_s, pour.settled);
            self.hand = self.hand.learn(error_g, called.flow_g_s, pour.settled);
            if self.start.settings.vessel == Vessel::Jug {
                self.hand.pace = self.hand.pace.learn(called.steady_g_s);
            }
        } else if self.start.settings.finish == Finish::Trickle && pour.settled && pour.top_ups == 1 {
            pour.taught = self.hand.trickle.taught(error_g, called.flow_g_s);
            self.hand.trickle = self.hand.trickle.learn(error_g, called.flow_g_s);
            self.hand.trickle.pace = self.hand.trickle.pace.learn(called.steady_g_s);
        } else {
            return;
        }
        self.outputs.push_back(Output::Learned(self.hand));
    }

    /// The last drops were weighed after the hand had learned: they count too.
    pub(super) fn learn_late(&mut self, pour: &mut Pour, off_g: f64) {
        let Some(taught) = pour.taught.as_mut() else { return };
        let late_s = taught.late_s(off_g);
        if pour.top_ups == 0 {
            self.hand = self.hand.learn_late(late_s);
        } else {
            self.hand.trickle = self.hand.trickle.learn_late(late_s);
        }
    }

    /// What a pour that ended at this weight, at rest, shows of lag and hand together.
    fn note_sum(&mut self, pour: &Pour, net: f64) {
        let known = pour.flow_g_s.zip(pour.shown_at_stop).filter(|_| pour.settled);
        if let Some((flow_g_s, shown_g)) = known {
            self.late.sums.note(Shown { flow_g_s, gain_g: net - shown_g });
        }
    }
}

/// What the scale shows when the stop is due: on a straight line between the readings before and after it.
pub(super) fn note_stop(s: &mut Stream, net: f64, at: Instant) {
    let Some(due) = s.plan.stop_due.filter(|due| *due <= at && s.pour.shown_at_stop.is_none()) else {
        return;
    };
    let Some((before, was_g)) = s.trail.back().filter(|(before, _)| *before <= due) else { return };
    let share = due.seconds_from(*before) / at.seconds_from(*before).max(1e-6);
    s.pour.shown_at_stop = Some(was_g + share * (net - was_g));
}
