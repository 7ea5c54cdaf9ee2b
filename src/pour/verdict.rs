//! Whether a weight is good, and what is said of it.

use super::engine::Engine;
use super::entry::Cue;
use super::state::Pour;
use crate::record::Verdict;
use crate::time::Instant;

/// A miss of less than this share of the half-width beyond a limit is not spoken of (own choice: 0.4 g of 1.45 g).
const SPOKEN: f64 = 0.3;

impl Engine {
    /// Its verdict, or that nobody can call it good.
    pub(super) fn say_of(&mut self, pour: &Pour, net: f64, at: Instant) {
        // One whose slop ran before `ready`, and was told to stop, has had its `fault`.
        if pour.verdict == Verdict::Void && !pour.troubled {
            return self.cue_now(Cue::Fault, at, None);
        }
        self.say_verdict(pour.verdict, net, at);
    }

    /// Good only where what may be no slop makes no difference; nothing where none of it may be slop.
    pub(super) fn judged(&self, pour: &Pour, net: f64) -> Verdict {
        if pour.doubt_g > 0.9 * net && net > 0.0 {
            return Verdict::Void;
        }
        match self.verdict(net) {
            Verdict::Good if self.verdict(net - pour.doubt_g) != Verdict::Good => Verdict::Void,
            verdict @ (Verdict::Good | Verdict::Short | Verdict::Over | Verdict::Void) => verdict,
        }
    }

    /// A miss is logged finely and spoken of coarsely: what nobody would mend is not said.
    pub(super) fn say_verdict(&mut self, verdict: Verdict, net: f64, at: Instant) {
        let slack_g = SPOKEN * 0.5 * (self.start.high - self.start.low).g();
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

    pub(super) fn verdict(&self, net: f64) -> Verdict {
        // A millionth of a gram is below any scale: it only keeps the limits inclusive in binary arithmetic.
        if net < self.start.low.g() - 1e-6 {
            Verdict::Short
        } else if net > self.start.high.g() + 1e-6 {
            Verdict::Over
        } else {
            Verdict::Good
        }
    }
}
