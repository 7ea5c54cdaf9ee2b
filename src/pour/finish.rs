//! How a pour is finished: at its one stop, or a little short and then with a trickle.
//!
//! A trickle misses by less than a pour, as everything that is uncertain in time counts by its flow. The first stop comes
//! short by a reserve: the least trickle that can be guided, and what this hand misses by on this scale.

use super::engine::Engine;
use super::entry::Cue;
use super::hand::{FIRST_POURS, SCATTER_S};
use super::state::{Done, Pour, Stream};
use crate::record::Verdict;
use crate::time::Instant;

/// How a pour is finished.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Finish {
    /// At its one stop: slop stands in the piece no longer than it must.
    #[default]
    Stop,
    /// The first stop comes short by what this hand and scale may miss by; what is missing then is let trickle to a stop of
    /// its own. For ware that does not drink, as the slop stands in it for some seconds longer.
    Trickle,
}

impl Finish {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Stop, Self::Trickle];

    /// The word used in settings and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::Trickle => "trickle",
        }
    }

    /// The finish for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|finish| finish.word() == word)
    }
}

/// The first stop may be off by so many standard deviations before it leaves too little, or none, to trickle (normal law:
/// 1 in 44).
const SURE: f64 = 2.0;
/// Before the first pours the sum of hand and lag is known to about so much, s (a guess).
const UNKNOWN_S: f64 = 0.2;
/// A trickle shows so many readings after it stands out from noise (own choice: two that rise).
const READINGS: f64 = 2.0;
/// ... and its own flow is known so long after that, s and lags of the scale (on simulated hands, at a lag of 0.70 s: 0.7 lags
/// left 0.37 g, 1.4 0.34 g, 2.1 0.33 g, 3 0.32 g, 4 0.31 g; longer costs time).
const SEEN_S: f64 = 0.5;
const SEEN_LAGS: f64 = 3.0;
/// A pour of less than this share of the target is no pour: the reserve takes no more of it.
const MOST: f64 = 0.4;
/// Of the least trickle that can be guided so much is still worth it: half of it over is as bad as half of it short (derived).
const WORTH: f64 = 0.5;

/// After its stop was due a stream takes so long at least to end, hand and drip, s; and so long after the hand has ended it and
/// the scale shows that (on simulated hands, 8 g at 1.3 g/s: 0 s left 0.20 g RMS, 0.2 s 0.18 g, 0.4 s no less).
const END_S: f64 = 0.5;
const DRIPS_S: f64 = 0.2;

/// Where a stream is to end, and how long the hand takes there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ending {
    pub(super) target_g: f64,
    pub(super) hand_s: f64,
}

impl Engine {
    /// Where this stream is to end.
    pub(super) fn ending(&self, s: &Stream) -> Ending {
        let target_g = self.start.target.g();
        let (hand_s, trickle_s) = (self.hand.at_s(s.predictor.coming_g_s()), self.hand.trickle.hand_s);
        match self.start.settings.finish {
            Finish::Trickle if s.pour.rev > 0 => Ending { target_g, hand_s: trickle_s },
            Finish::Trickle if self.stops_short(s) => {
                let reserve_g = self.reserve_g(s.predictor.flow_g_s());
                Ending { target_g: target_g - reserve_g, hand_s }
            }
            Finish::Trickle | Finish::Stop => Ending { target_g, hand_s },
        }
    }

    /// A stream has ended so long after its stop was due, s: what still comes of a slow one looks like rest.
    pub(super) fn ends_after_s(&self, s: &Stream) -> f64 {
        let Some(called) = s.plan.called else { return END_S };
        END_S.max(self.hand.at_s(called.flow_g_s) + self.start.scale.lag.as_secs_f64() + DRIPS_S)
    }

    /// A stream into a piece with so many entries is a trickle that finishes a pour.
    pub(super) fn trickles(&self, rev: u32) -> bool {
        self.start.settings.finish == Finish::Trickle && rev > 0
    }

    /// What runs on after its stop is stopped where it should have ended.
    fn stops_short(&self, s: &Stream) -> bool {
        s.pour.rev == 0 && !s.pour.ran_on && !s.lumps
    }

    /// What the first stop leaves to trickle, g.
    fn reserve_g(&self, flow_g_s: f64) -> f64 {
        let known = self.hand.pours >= FIRST_POURS;
        let sd_s = if known { self.hand.scatter_s.unwrap_or(SCATTER_S) } else { UNKNOWN_S };
        let seen_s = SEEN_S + SEEN_LAGS * self.start.scale.lag.as_secs_f64();
        let seen_g = seen_s * self.hand.trickle.pace.flow_g_s;
        let reserve_g = self.least_trickle_g() + seen_g + SURE * sd_s * flow_g_s.max(0.0);
        reserve_g.min(MOST * self.start.target.g())
    }

    /// Less than this is over before it was seen and answered, g.
    fn least_trickle_g(&self) -> f64 {
        let trickle = self.hand.trickle;
        let seen_s = self.start.scale.lag.as_secs_f64() + READINGS * self.pace.mean_s().unwrap_or(0.1);
        self.threshold_g() + trickle.pace.flow_g_s * (seen_s + trickle.hand_s)
    }

    /// The first stop of this piece is weighed, and what is missing is worth a trickle.
    pub(super) fn wants_trickle(&self, pour: &Pour) -> bool {
        let Some(net) = pour.net.filter(|_| self.start.settings.finish == Finish::Trickle) else {
            return false;
        };
        let first = pour.rev == 1 && pour.settled && pour.guided && !pour.came_back && !pour.ran_on;
        let fits = matches!(pour.verdict, Verdict::Short | Verdict::Good);
        let missing_g = self.start.target.g() - net;
        first && fits && self.guides() && missing_g > WORTH * self.least_trickle_g()
    }

    /// A weighed piece lacks something.
    pub(super) fn wants_more(&self, d: &Done) -> bool {
        d.wants() || self.wants_trickle(&d.pour)
    }

    /// What is said of a piece that was weighed at rest: `ready` asks for its trickle.
    pub(super) fn say_weighed(&mut self, pour: &Pour, net: f64, at: Instant) {
        if self.wants_trickle(pour) {
            return self.cue_now(Cue::Ready, at, Some(self.start.target.g() - net));
        }
        self.say_of(pour, net, at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_finish_comes_back_from_its_word() {
        for finish in Finish::ALL {
            assert_eq!(Finish::from_word(finish.word()), Some(finish));
        }
        assert_eq!(Finish::from_word("drip"), None);
    }
}
