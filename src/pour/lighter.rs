//! A weighed piece that rests at another weight, mostly less: some was poured back, a hand bears it, what bore on it is gone, or
//! another piece stands there.

use super::done::EITHER;
use super::engine::Engine;
use super::entry::Output;
use super::residue::{RESIDUE_LITTLE_G, RESIDUE_MOST_G, WIPES_G};
use super::running::{SPLASH_G, TOPPED_UP};
use super::state::{Done, Pan, Pour, State};
use crate::reading::Weighing;
use crate::record::{Mark, Verdict};
use crate::time::{Duration, Instant};

/// Who pours back, or takes slop out with a spoon, leaves more than this share of it (a guess).
const EMPTIED: f64 = 0.2;
/// No hand bears a piece so evenly for longer (a guess).
pub(super) const BORNE: Duration = Duration::from_secs(2);
/// A display of less lag than this shows what pulls at the pan for half a second as no lift (a guess: half of it is shown by then).
const SHOWS_PULLS: Duration = Duration::from_millis(500);

impl Engine {
    /// For so long it has rested at this other weight.
    pub(super) fn elsewhere_for(&self, d: &mut Done, rest: f64, at: Instant) -> Duration {
        let same = |(level_g, _): &(f64, Instant)| (rest - level_g).abs() <= self.threshold_g();
        let (level_g, since) = d.elsewhere.filter(same).unwrap_or((rest, at));
        d.elsewhere = Some((level_g, since));
        at.since(since)
    }

    /// A sponge or a hand may pull at the pan about a light piece by nearly all of its weight: that was lifted only where the pan is
    /// nearly bare, or stays light.
    pub(super) fn pan_about(&mut self, d: &Done, w: Weighing) -> Pan {
        let fell_g = d.pour.tare + d.had_g - w.mass.g();
        let seen = self.pan(&d.pour, w);
        let away_s = f64::from(self.away) * self.pace.mean_s().unwrap_or(BORNE.as_secs_f64());
        // A late display shows no more of a pull than of a lift that another piece follows at once.
        let shows = self.start.scale.lag < SHOWS_PULLS;
        let pulled =
            shows && fell_g < WIPES_G && !self.nearly_bare(&d.pour, w) && away_s < BORNE.as_secs_f64();
        match seen {
            Pan::Left if pulled && !self.zeroed => Pan::Doubtful,
            seen @ (Pan::Left | Pan::Doubtful | Pan::Loaded) => seen,
        }
    }

    /// A touch passes. What is set beside the piece is waited out; once it is gone, another weight is another piece.
    pub(super) fn jumped(&mut self, mut d: Done, at: Instant) {
        let Some(rest) = self.at_rest() else { return self.enter(State::Done(d)) };
        let change = rest - d.pour.tare - d.had_g;
        if change.abs() <= self.threshold_g() {
            d.jumped = false;
            d.beside = false;
            return self.enter(State::Done(d));
        }
        let came =
            self.dipped(d.at_once, (&d.pour, d.had_g), rest) || self.is_another_unseen(&d, d.had_g + change);
        if change > 0.0 && came {
            return self.another(d, at);
        }
        if change > 0.0 {
            d.beside |= change > self.start.settings.min_piece.g();
            return self.enter(State::Done(d));
        }
        if d.beside && -change > RESIDUE_MOST_G {
            return self.another(d, at);
        }
        // What had borne on it while it was weighed is gone, or a sponge took what lay around it.
        self.lighter(d, rest, Mark::Touched, at);
    }

    /// It weighs about what it did bare after it held so much, net g, and all of that may have been slop.
    pub(super) fn is_emptied(&self, pour: &Pour, net: f64, had_g: f64) -> bool {
        self.fits(pour, had_g) && net < EMPTIED * had_g - self.threshold_g()
    }

    /// Lighter at rest. A display shows what goes as it shows a lift: where it was there at once it had stood still, and
    /// another piece was set down meanwhile. A hand is waited out; less where it is over by what came
    /// after it was weighed, which may have been a hand, and only as long as a pan may ring by so little. What weighs as little as the bare piece for so long is another.
    pub(super) fn lighter(&mut self, mut d: Done, rest: f64, mark: Mark, at: Instant) {
        let net = rest - d.pour.tare;
        // What lay around it, no more: nobody changes it for one that weighs the same.
        let wiped = d.had_g - net <= RESIDUE_LITTLE_G;
        let unseen = self.fell_unseen(d.at_once, net - d.had_g) || self.left_unseen(d.at_once, d.had_g);
        if unseen || !wiped && self.dipped(d.at_once, (&d.pour, d.had_g), rest) {
            return self.another(d, at);
        }
        // No part of it: another one, that nobody saw come, or a hand bears as much as its slop.
        let none_of_it = net < -self.threshold_g();
        let emptied = none_of_it || self.is_emptied(&d.pour, net, d.had_g);
        let waits = match d.pour.verdict {
            // What came onto a weighed piece may have been a hand, and goes as that does.
            Verdict::Over if d.pour.top_ups > 0 && !emptied && d.had_g - net < SPLASH_G.0 => TOPPED_UP,
            Verdict::Over if d.pour.top_ups > 0 && !emptied => Duration::ZERO,
            Verdict::Good | Verdict::Short | Verdict::Over | Verdict::Void => BORNE,
        };
        if self.elsewhere_for(&mut d, rest, at) < waits {
            return self.enter(State::Done(d));
        }
        if emptied {
            return self.another(d, at);
        }
        self.taken_out(d, rest, mark, at);
    }

    /// Lighter at rest: some was poured back or taken out, or what had borne on the piece, or lain around it, is gone.
    fn taken_out(&mut self, d: Done, rest: f64, mark: Mark, at: Instant) {
        let gone_g = d.had_g - (rest - d.pour.tare);
        let Done { mut pour, .. } = d;
        let before = pour.verdict;
        pour.marks = pour.marks.with(mark);
        let under_g = self.after.under_g;
        if mark == Mark::Touched && under_g > self.seen_g() && gone_g <= under_g + self.threshold_g() {
            // No more than was known to lie on the pan as it landed: a sponge took that.
            self.after.handle_fall_beneath(-gone_g, &mut self.zero_g);
            pour.tare -= gone_g;
        } else {
            self.holds_less(&mut pour, gone_g, at);
        }
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        let (verdict, net) = (pour.verdict, rest - pour.tare);
        self.enter(State::Done(Done { had_g: net, ..Done::new(pour) }));
        if verdict != before {
            self.say_verdict(verdict, net, at);
        }
    }

    /// So much of its weight is gone, g. What may lie on the pan and was not seen at rest may be a part of it.
    fn holds_less(&mut self, pour: &mut Pour, gone_g: f64, at: Instant) {
        let Some(net) = pour.net.map(|net| net - gone_g) else { return };
        let beneath_g = gone_g.min(self.after.unseen_most_g(self.zero_g));
        if beneath_g > self.seen_g() {
            self.wiped_beneath(beneath_g, Some(pour.piece), at);
            pour.unsure_g = pour.unsure_g.hypot(EITHER * beneath_g);
            pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * beneath_g));
        }
        // What had borne on it went with what is gone.
        pour.doubt_g = (pour.doubt_g - gone_g).max(0.0);
        pour.net = Some(net);
        pour.verdict = self.judged(pour, net);
    }
}
