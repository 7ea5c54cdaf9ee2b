//! When cues sound: planned freely until they are announced, never moved after.
//!
//! Before the stop: `approach`, then two even warning pips that lead up to it. A warning
//! shortens a person's reaction and its scatter; one too close to the stop is answered in
//! its place (work on foreperiods and false starts, from memory).

use super::engine::Engine;
use super::entry::Cue;
use super::guidance::Guidance;
use super::state::{State, Stream};
use crate::time::{Duration, Instant};

/// Pips are this far apart, and the last is this far from the stop: an even beat slow enough
/// to keep clear of the stop when that moves by a tenth of a second (derived).
const BEAT: Duration = Duration::from_millis(425);
/// Nothing is announced closer to another cue of a stream, and no stop closer to a pip: a
/// person's answer to a tone takes about 0.2 s (Kosinski's review), and a little.
const APART: Duration = Duration::from_millis(300);
/// Where the hand keeps time with the pips, no beat is moved by more than this share of it: a quarter is heard, and costs
/// less than a stop that can't be moved any more (a guess; a tenth gives the same on simulated hands).
const BENDS: f64 = 0.25;
/// `approach` comes so long before the first pip of a countdown (own choice: a beat and a breath).
const BEFORE_COUNT: Duration = Duration::from_millis(500);
/// A pip that is later than this is left out: a pip off its beat misleads.
const LATE: Duration = Duration::from_millis(100);

/// What was known when a stop was called.
#[derive(Clone, Copy, Debug)]
pub(super) struct Called {
    /// Net that it was to end at.
    pub(super) aim_g: f64,
    pub(super) flow_g_s: f64,
    /// What the flow returned to, had the hand not eased off.
    pub(super) steady_g_s: f64,
}

/// Which cues of this stream were announced, and when its stop is due.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plan {
    pub(super) approach_said: bool,
    pub(super) pips_left: u32,
    /// When the latest of them was due.
    pub(super) heard: Option<Instant>,
    pub(super) stop_due: Option<Instant>,
    pub(super) called: Option<Called>,
    /// The latest two beats of a countdown, newest first.
    pub(super) beats: [Option<Instant>; 2],
}

impl Plan {
    pub(super) fn of(guidance: Guidance) -> Self {
        Self {
            approach_said: false,
            pips_left: guidance.pips(),
            heard: None,
            stop_due: None,
            called: None,
            beats: [None; 2],
        }
    }
}

impl Engine {
    /// When the next cue of this stream must be announced.
    pub(super) fn next_announcement(&self, s: &Stream) -> Option<Instant> {
        self.next_cue(s).map(|(_, due)| due - self.hearing.ahead)
    }

    /// The next cue of this stream as planned now, and when it is due.
    fn next_cue(&self, s: &Stream) -> Option<(Cue, Instant)> {
        // A lump is there before any stop; what climbs for longer than one falls is a stream all the same.
        let lump = s.pour.rev == 0 && s.lumps && !s.ran;
        if !self.guides() || lump {
            return None;
        }
        let ending = self.ending(s);
        let due = s.predictor.stop_due(ending.target_g, ending.hand_s)?;
        if !s.plan.approach_said && !s.predictor.flow_known() {
            return Some((Cue::Stop, due));
        }
        let guidance = self.start.settings.guidance;
        match guidance {
            Guidance::Stop => Some((Cue::Stop, due)),
            Guidance::Warned if !s.plan.approach_said && s.pour.rev == 0 => {
                Some((Cue::Approach, due - self.start.settings.approach))
            }
            Guidance::Warned => Some(Self::pip_or_stop(s, due)),
            Guidance::Countdown if !s.plan.approach_said && s.pour.rev == 0 => {
                let before = (BEAT * guidance.pips() + BEFORE_COUNT).max(self.start.settings.approach);
                Some((Cue::Approach, due - before))
            }
            Guidance::Countdown => Some(Self::on_the_beat(s, due)),
        }
    }

    fn pip_or_stop(s: &Stream, due: Instant) -> (Cue, Instant) {
        match s.plan.pips_left {
            0 => (Cue::Stop, due),
            left => (Cue::Count, due - BEAT * left),
        }
    }

    /// Where the last pip after these two makes the hand expect the fourth beat at `due`: it takes the beat to come half
    /// from the last one and half from their mean (work on changing tempo, from memory), so that
    /// `due = last + (last - second) / 2 + (last - first) / 4`.
    fn leads_to(due: Instant, first: Instant, second: Instant) -> Instant {
        let due_s = due.seconds_from(first);
        first.offset_seconds((due_s + 0.5 * second.seconds_from(first)) / 1.75)
    }

    /// The next beat, where the hand expects it: hardly moved, but no stop is later than it is due.
    fn on_the_beat(s: &Stream, due: Instant) -> (Cue, Instant) {
        let (cue, wanted) = Self::pip_or_stop(s, due);
        let [Some(last), before] = s.plan.beats else { return (cue, wanted) };
        let wanted = match before {
            Some(before) if cue == Cue::Count => Self::leads_to(due, before, last),
            Some(_) | None => wanted,
        };
        let latest = last.offset_seconds((1.0 + BENDS) * BEAT.as_secs_f64());
        let soonest = last.offset_seconds((1.0 - BENDS) * BEAT.as_secs_f64());
        (cue, if cue == Cue::Stop { wanted.min(latest) } else { wanted.clamp(soonest, latest) })
    }

    /// Announces the cues whose time has come.
    pub(super) fn announce(&mut self, now: Instant) {
        let soonest = now + self.hearing.ahead;
        self.foresee();
        while let State::Pouring(s) = &self.state {
            let Some((cue, due)) = self.next_cue(s).filter(|(_, due)| soonest >= *due) else { return };
            let late = soonest.since(due);
            let due = due.max(soonest);
            let State::Pouring(s) = std::mem::replace(&mut self.state, State::Idle) else { return };
            if cue == Cue::Stop {
                self.call_stop(s, now, due);
            } else {
                self.call_warning(s, cue, now, due, late);
            }
        }
    }

    /// The stop as it is foreseen now is kept until the next reading.
    fn foresee(&mut self) {
        let State::Pouring(s) = &self.state else { return };
        let target_g = self.ending(s).target_g;
        if let State::Pouring(s) = &mut self.state {
            s.predictor.foresee(target_g);
        }
    }

    fn call_stop(&mut self, mut s: Stream, now: Instant, due: Instant) {
        let net = s.predictor.net_g(due);
        s.plan.stop_due = Some(due);
        s.plan.called = Some(Called {
            aim_g: self.ending(&s).target_g,
            flow_g_s: s.predictor.flow_g_s(),
            steady_g_s: s.predictor.steady_g_s(),
        });
        if let Some(left) = s.predictor.eased_to().filter(|_| s.pour.rev == 0) {
            self.hand.ease = self.hand.ease.learn(left);
        }
        s.pour.guided = true;
        s.pour.flow_g_s.get_or_insert(s.predictor.flow_g_s());
        s.pour.stop_cue.get_or_insert(net);
        s.predictor.expect_end(due);
        self.enter(State::Draining(s));
        self.cue(Cue::Stop, now, due, Some((self.start.target.g() - net).max(0.0)));
    }

    /// `approach` or a pip, where there is room for it.
    fn call_warning(&mut self, mut s: Stream, cue: Cue, now: Instant, due: Instant, late: Duration) {
        let target_g = self.start.target.g();
        let ending = self.ending(&s);
        let stop = s.predictor.stop_due(ending.target_g, ending.hand_s);
        let room = stop.is_some_and(|stop| stop.since(due) >= APART)
            && s.plan.heard.is_none_or(|last| due.since(last) >= APART);
        let said = if cue == Cue::Approach {
            s.plan.approach_said = true;
            if room {
                s.predictor.expect_easing(due);
            }
            room
        } else {
            s.plan.pips_left = s.plan.pips_left.saturating_sub(1);
            let said = room && late <= LATE;
            match self.start.settings.guidance {
                Guidance::Stop | Guidance::Warned => {}
                // A countdown that lacks a beat misleads: it is left out as a whole.
                Guidance::Countdown if !said => s.plan.pips_left = 0,
                Guidance::Countdown => s.plan.beats = [Some(due), s.plan.beats[0]],
            }
            said
        };
        let left = target_g - s.predictor.net_g(now);
        if said {
            s.plan.heard = Some(due);
        }
        self.enter(State::Pouring(s));
        if said {
            self.cue(cue, now, due, Some(left));
        }
    }
}
