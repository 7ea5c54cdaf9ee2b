//! When cues sound: planned freely until they are announced, never moved after.

use super::engine::Engine;
use super::entry::Cue;
use super::state::{State, Stream};
use crate::time::{Duration, Instant};

impl Engine {
    /// When the next cue of this stream must be announced.
    pub(super) fn next_announcement(&self, s: &Stream) -> Option<Instant> {
        if !self.guides() {
            return None;
        }
        let due = s.predictor.stop_due(self.start.target.g(), self.hand.hand_s)?;
        let said = s.plan.approach_said || s.pour.rev > 0;
        let cue_due = if said { due } else { due - self.start.settings.approach };
        Some(cue_due - self.start.ahead)
    }

    /// Announces the cues whose time has come.
    pub(super) fn announce(&mut self, now: Instant) {
        let guides = self.guides();
        let State::Pouring(s) = &mut self.state else { return };
        if !guides {
            return;
        }
        let target_g = self.start.target.g();
        let Some(due) = s.predictor.stop_due(target_g, self.hand.hand_s) else { return };
        let ahead = self.start.ahead;
        if now + ahead >= due {
            let heard = due.max(now + ahead);
            s.plan.stop_due = Some(heard);
            s.pour.guided = true;
            s.pour.flow_g_s.get_or_insert(s.predictor.flow_g_s());
            let net = s.predictor.net_g(heard);
            s.pour.stop_cue.get_or_insert(net);
            s.predictor.expect_end(heard);
            let stream = s.clone();
            self.enter(State::Draining(stream));
            self.cue(Cue::Stop, now, heard, Some((target_g - net).max(0.0)));
            return;
        }
        let approach = self.start.settings.approach;
        if !s.plan.approach_said
            && s.pour.rev == 0
            && s.predictor.flow_known()
            && now + ahead >= due - approach
        {
            s.plan.approach_said = true;
            let left = target_g - s.predictor.net_g(now);
            let heard = (due - approach).max(now + ahead);
            // Said only where there is room: never within 300 ms of the stop.
            if due.since(heard) >= Duration::from_millis(300) {
                self.cue(Cue::Approach, now, heard, Some(left));
            }
        }
    }
}
