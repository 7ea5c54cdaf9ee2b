//! One function for each state: what a weighing does there.

use super::engine::Engine;
use super::entry::{Cue, Output};
use super::predict::Predictor;
use super::state::{Done, Plan, Pour, Ready, State, Stream};
use crate::reading::Weighing;
use crate::record::Verdict;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// Readings kept so that the filter can start before the stream was noticed.
const RECENT: usize = 24;
/// A stream that rests this long without a stop has ended (a person's pause is shorter;
/// common practice, no source).
const PAUSE: Duration = Duration::from_millis(1500);
/// A weight estimated before rest may miss the last drip and the end of the impact of the
/// falling stream, up to 1.4 g at 10 g/s from 0.1 m (derived): a standard deviation of half that.
const ESTIMATE_SD_G: f64 = 0.7;
/// After the stop is due the stream takes this long at least to end: hand and drip.
const END: Duration = Duration::from_millis(500);
/// Faster than any hand pours slop: a hand on the pot, or the pot moved.
const NOT_A_POUR_G_S: f64 = 80.0;

impl Engine {
    pub(super) fn idle(&mut self, w: Weighing) {
        let g = w.mass.g();
        let min_g = self.start.settings.min_piece.g();
        if let Some(rest) = self.at_rest()
            && rest < min_g
        {
            self.zero_g = rest;
        }
        self.enter(if g - self.zero_g > min_g { State::Landing } else { State::Idle });
    }

    pub(super) fn landing(&mut self, w: Weighing) {
        if w.mass.g() - self.zero_g < self.start.settings.min_piece.g() {
            return self.enter(State::Idle);
        }
        let Some(tare) = self.at_rest().filter(|_| !self.held) else { return self.enter(State::Landing) };
        let pour = Pour::open(self.piece, tare, w.arrived_at);
        self.outputs.push_back(Output::Entry(pour.entry(w.arrived_at)));
        self.enter(State::Ready(Ready { pour, recent: VecDeque::new(), rises: 0 }));
        if self.guides() {
            self.cue_now(Cue::Ready, w.arrived_at, Some(self.start.target.g()));
        }
    }

    pub(super) fn ready(&mut self, mut r: Ready, w: Weighing, before: Option<Weighing>) {
        let net = w.mass.g() - r.pour.tare;
        if self.lifted(&r.pour, w) {
            self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
            return self.enter(State::Idle);
        }
        let jump =
            before.map_or(0.0, |b| (w.mass.g() - b.mass.g()) / w.taken_at.seconds_from(b.taken_at).max(0.05));
        if jump.abs() > NOT_A_POUR_G_S {
            self.outputs.push_back(Output::Dropped { piece: r.pour.piece });
            return self.enter(State::Landing);
        }
        push_recent(&mut r.recent, (w.taken_at, net));
        r.rises = if net > self.threshold_g() { r.rises + 1 } else { 0 };
        if r.rises >= 2 {
            let Ready { pour, recent, .. } = r;
            let stream = self.stream(pour, &recent, 0.0);
            self.enter(State::Pouring(stream));
        } else {
            self.enter(State::Ready(r));
        }
    }

    /// Starts the filter where the stream started, and lets it catch up.
    pub(super) fn stream(&self, mut pour: Pour, recent: &VecDeque<(Instant, f64)>, from_g: f64) -> Stream {
        let lag_s = self.start.scale.lag.as_secs_f64();
        let noise = 0.5 * self.threshold_g();
        let quiet = recent.iter().rev().find(|(_, net)| (net - from_g).abs() <= noise);
        let began = quiet.or(recent.front()).map_or(Instant::START, |(t, _)| *t).offset_seconds(-0.5 * lag_s);
        let mut predictor = Predictor::begin(from_g, began, lag_s, self.start.scale.reading_sd_g());
        for (at, net) in recent.iter().filter(|(t, _)| *t > began) {
            predictor.handle_net(*net, *at);
        }
        pour.first_slop.get_or_insert(began);
        let last_net = recent.back().map_or(from_g, |(_, net)| *net);
        Stream {
            pour,
            predictor,
            plan: Plan::default(),
            from_g,
            resting_since: None,
            last_net,
            known: [last_net; 2],
        }
    }

    pub(super) fn pouring(&mut self, mut s: Stream, w: Weighing) {
        if self.lifted(&s.pour, w) {
            return self.estimate(s, w.arrived_at);
        }
        self.feed(&mut s, w);
        let Some(rest) = self.at_rest() else {
            s.resting_since = None;
            return self.enter(State::Pouring(s));
        };
        let since = *s.resting_since.get_or_insert(w.arrived_at);
        if w.arrived_at.since(since) >= PAUSE {
            self.weighed(s, rest, w.arrived_at);
        } else {
            self.enter(State::Pouring(s));
        }
    }

    pub(super) fn draining(&mut self, mut s: Stream, w: Weighing) {
        if self.lifted(&s.pour, w) {
            return self.estimate(s, w.arrived_at);
        }
        self.feed(&mut s, w);
        let ended = s.plan.stop_due.is_some_and(|due| w.taken_at.seconds_from(due) >= END.as_secs_f64());
        match self.at_rest() {
            Some(rest) if ended => self.weighed(s, rest, w.arrived_at),
            Some(_) | None => self.enter(State::Draining(s)),
        }
    }

    pub(super) fn feed(&self, s: &mut Stream, w: Weighing) {
        let net = w.mass.g() - s.pour.tare;
        if net < s.last_net - (5.0 * self.threshold_g()) {
            // Slop does not leave the piece: a hand has begun to lift it.
            return;
        }
        s.last_net = net;
        s.predictor.handle_net(s.last_net, w.taken_at);
        s.known = [s.predictor.net_g(Instant::START), s.known[0]];
    }

    pub(super) fn done(&mut self, mut d: Done, w: Weighing) {
        if self.lifted(&d.pour, w) {
            self.piece = d.pour.piece + 1;
            return self.enter(State::Idle);
        }
        let net = w.mass.g() - d.pour.tare;
        let had = d.pour.net.unwrap_or(0.0);
        push_recent(&mut d.recent, (w.taken_at, net));
        d.rises = if net - had > self.threshold_g() { d.rises + 1 } else { 0 };
        if d.rises >= 2 {
            let Done { mut pour, recent, .. } = d;
            pour.top_ups += 1;
            let stream = self.stream(pour, &recent, had);
            return self.enter(State::Pouring(stream));
        }
        self.enter(State::Done(d));
    }

    pub(super) fn lifted(&self, pour: &Pour, w: Weighing) -> bool {
        let piece_g = pour.tare - self.zero_g;
        w.mass.g() < pour.tare - (0.3 * piece_g).max(3.0 * self.threshold_g())
    }

    /// The weight is known at rest.
    pub(super) fn weighed(&mut self, mut s: Stream, gross: f64, at: Instant) {
        let net = gross - s.pour.tare;
        let sd = self.start.scale.reading_sd_g();
        s.pour.settled = true;
        s.pour.net_u = Some(sd * std::f64::consts::SQRT_2);
        self.commit(s, net, at);
    }

    /// The piece left, or the batch ended, before rest: what the filter knows.
    pub(super) fn estimate(&mut self, mut s: Stream, at: Instant) {
        let net = if s.plan.stop_due.is_some() { s.known[1] } else { s.last_net };
        s.pour.settled = false;
        s.pour.net_u = Some(s.predictor.net_sd_g().max(ESTIMATE_SD_G));
        self.commit(s, net, at);
        if let State::Done(d) = &self.state {
            self.piece = d.pour.piece + 1;
            self.enter(State::Idle);
        }
    }

    pub(super) fn commit(&mut self, s: Stream, net: f64, at: Instant) {
        let Stream { mut pour, from_g, plan, .. } = s;
        let first = pour.rev == 0;
        pour.rev += 1;
        pour.net = Some(net);
        pour.verdict = self.verdict(net);
        if first {
            pour.first_net = Some(net);
        }
        pour.contact = pour.first_slop.map(|t| at.since(t));
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let target_g = self.start.target.g();
        if first && pour.settled && !pour.troubled && plan.stop_due.is_some() && from_g == 0.0 {
            self.hand = self.hand.learn(net - target_g, pour.flow_g_s.unwrap_or(0.0));
            self.outputs.push_back(Output::Learned(self.hand));
        }
        let cue = match pour.verdict {
            Verdict::Good => Cue::Good,
            Verdict::Short => Cue::Short,
            Verdict::Over => Cue::Over,
            Verdict::Void => Cue::Fault,
        };
        self.enter(State::Done(Done { pour, recent: VecDeque::new(), rises: 0 }));
        self.cue_now(cue, at, Some(target_g - net));
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

fn push_recent(recent: &mut VecDeque<(Instant, f64)>, reading: (Instant, f64)) {
    recent.push_back(reading);
    if recent.len() > RECENT {
        recent.pop_front();
    }
}
