//! A piece that comes back to the pan: rolled and weighed again, to be topped up, or with some poured back. Which one it is
//! says `recognised.rs`.

use super::aim::lacks;
use super::done::EITHER;
use super::engine::Engine;
use super::entry::{Cue, Output};
use super::kept::{Kept, PLACED, ROLLED_SD_G};
use super::leaps::Leaps;
use super::ready::Ready;
use super::recognised::{DOUBTFUL, Held, Perhaps};
use super::remark::Remark;
use super::state::{Done, Pour, State, Stream};
use crate::reading::Weighing;
use crate::record::{Mark, Verdict};
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// A weight that is known no better, g, tells too little of which piece it is to be mended by what was put back (an
/// estimate of a stream of 12 g/s on a scale that may be 0.3 s later than assumed).
const KNOWN_U_G: f64 = 4.0;
/// A verdict that was given so long ago has been heard (a hand's own time and the sound's length, own choice).
const HEARD: Duration = Duration::from_millis(700);
/// A piece put back is lifted again within so long; whoever waits longer waits for `ready` (a guess).
pub(super) const WAITS: Duration = Duration::from_secs(4);

/// How a piece was when it was put back.
#[derive(Clone, Debug)]
pub(super) struct Back {
    /// As it was remembered.
    pub(super) perhaps: Perhaps,
    pub(super) gross_g: f64,
}

impl Back {
    /// What it holds, where it may well be a bare piece and this no slop.
    fn doubtful(&self) -> Option<Held> {
        self.perhaps.kept.held(self.gross_g).filter(|_| self.perhaps.odds < DOUBTFUL)
    }
}

impl Pour {
    /// Slop runs into one that was put back: if that was another piece, it holds so much less. However sure it is this time that
    /// it is the same, what was poured into it before may have been poured into another.
    pub(super) fn keep_in_doubt(&mut self, back: Option<&Back>) {
        let both = self.perhaps_other.into_iter().chain(back.and_then(Back::doubtful));
        self.perhaps_other = both.max_by(|a, b| a.g.total_cmp(&b.g));
        self.rival = back.and_then(|back| back.perhaps.rival);
    }
}

/// Its potter had heard that it is short for long enough before it was lifted.
fn was_told(pour: &Pour, lifted_at: Instant) -> bool {
    let said = pour.net.is_some_and(|net| lacks(&pour.aim, net));
    said && pour.entered.is_some_and(|at| lifted_at.since(at) > HEARD)
}

impl Engine {
    /// Remembers a piece that leaves the pan with slop in it.
    pub(super) fn keep(&mut self, pour: &Pour, at: Instant) {
        let Some(net) = pour.net else { return };
        let (net_u_g, gross_g) = (pour.net_u.unwrap_or(0.0), pour.tare + net);
        // At rest what it weighs is known, whatever of it may be no slop.
        let u_g = if pour.settled { net_u_g.min(self.weight_u_g(gross_g)) } else { net_u_g };
        let pour = Pour { told: was_told(pour, at), ..pour.clone() };
        self.memory.keep(Kept { pour: pour.clone(), gross_g, u_g, zero_g: self.zero_g, lifted_at: at });
        if !pour.came_back {
            self.memory.new += 1;
            self.ware.handle_bare(pour.tare - self.zero_g);
        }
    }

    /// The same piece stands there again, and what it wants is told.
    pub(super) fn stands_again(&mut self, perhaps: Perhaps, gross_g: f64, at: Instant) {
        let d = self.put_back(perhaps, gross_g, true, at);
        let (verdict, net, wants) = (d.pour.verdict, d.had_g, d.wants());
        self.enter(State::Done(d));
        if wants {
            // And not `ready`: who hears the wrong one sets it down again.
            self.cue_now(Cue::Short, at, Some(self.start.target.g() - net));
        } else if verdict != Verdict::Good {
            // That it is good may be said of a bare piece: first something must tell.
            self.say_verdict(verdict, net, at);
        }
    }

    /// It was put back, and weighs so much gross, at rest or as far as it is known.
    pub(super) fn put_back(&mut self, perhaps: Perhaps, gross_g: f64, rests: bool, at: Instant) -> Done {
        let (kept, odds) = (perhaps.kept.clone(), perhaps.odds);
        self.aim_at(kept.pour.aim);
        self.memory.forget(kept.pour.piece);
        let counted = self.set_anew(gross_g).is_some_and(|anew| anew.taken_for.is_some());
        self.memory.came_back += u32::from(!counted);
        self.away = 0;
        let back = Back { perhaps, gross_g };
        let mut pour = self.weighed_again(kept, gross_g, rests, at, odds);
        let had_g = gross_g - pour.tare;
        // What it was told before was another pour's trouble.
        pour.troubled &= pour.verdict != Verdict::Void;
        let mut d = Done { had_g, back: Some(Box::new(back)), ..Done::new(pour) };
        d.asks_since = (!d.wants()).then_some(at);
        d
    }

    /// A piece put back has left without more slop: it was that one.
    pub(super) fn say_if_good(&mut self, pour: &Pour, at: Instant) {
        if let Some(net) = pour.net.filter(|_| pour.verdict == Verdict::Good) {
            self.say_verdict(Verdict::Good, net, at);
        }
    }

    /// Far more ran in than a short piece put back was short by, past its stop: it was a bare one.
    pub(super) fn was_bare(&self, s: &Stream) -> bool {
        s.pour.rev > 0 && s.back.is_some() && !self.fits(&s.pour, s.last_net)
    }

    /// The short one has its old record again, and what stands there one of its own.
    pub(super) fn opens_bare(&mut self, mut s: Stream, w: Weighing) {
        let Some(back) = s.back.take() else { return self.enter(State::Pouring(s)) };
        self.gives_back(&back.perhaps.kept, s.pour.rev, w.arrived_at);
        self.aim_at(self.next);
        let mut pour = Pour::open(self.piece, self.next, back.gross_g, w.arrived_at);
        pour.promised = self.guides();
        pour.marks = pour.marks.with(Mark::RanOn);
        self.outputs.push_back(Output::Entry(pour.entry(w.arrived_at)));
        let net = w.mass.g() - pour.tare;
        let mut stream = self.stream(pour, &VecDeque::from([(w.taken_at, net)]), net);
        stream.from_g = 0.0;
        self.enter(State::Pouring(stream));
    }

    /// Slop was poured into what may be this one: where it was called one of these, and would be called otherwise then, nobody knows
    /// any more what it holds.
    pub(super) fn may_hold_more(&mut self, held: Held, poured_g: f64, called: &[Verdict], at: Instant) {
        let becomes = |kept: &&mut Kept| {
            let (was, holds_g) = (kept.pour.verdict, held.g + poured_g);
            called.contains(&was) && kept.pour.aim.verdict(holds_g) != was
        };
        let Some(kept) = self.memory.of(held.piece).filter(becomes) else { return };
        let pour = &mut kept.pour;
        let off_g = held.g + poured_g - pour.net.unwrap_or(held.g);
        pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * off_g.abs()));
        (pour.perhaps_other, pour.verdict) = (Some(Held { piece: held.piece, g: poured_g }), Verdict::Void);
        pour.rev += 1;
        let pour = pour.clone();
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        self.after.renew(&pour);
        self.remind(Remark::Unsure);
    }

    /// Somebody stands and waits: perhaps it is a bare piece after all, and wants its `ready`.
    pub(super) fn asks_for_ready(&mut self, d: Done, rest: f64, at: Instant) {
        let kept = Kept { gross_g: rest, u_g: 0.0, zero_g: self.zero_g, lifted_at: at, pour: d.pour };
        let odds = d.back.as_ref().map_or(1.0, |back| back.perhaps.odds);
        self.opens(rest, 0.0, Some(Box::new(Perhaps::of(kept, odds))), at);
        if let State::Ready(r) = &mut self.state {
            r.back = d.back;
        }
    }

    /// No slop came: if it weighed like one put back, it was that one; `back` where it was taken for it already, and entered so.
    pub(super) fn left_without_slop(
        &mut self,
        perhaps: Option<Kept>,
        back: Option<&Back>,
        gross_g: f64,
        at: Instant,
    ) {
        match (perhaps, back) {
            (Some(kept), Some(back)) => {
                self.say_if_good(&kept.pour, at);
                self.memory.keep(kept);
                self.was_taken_for(back.perhaps.kept.clone(), gross_g, None, at);
            }
            (Some(kept), None) => {
                let unsaid = self.was_put_back(kept.clone(), gross_g, at);
                self.was_taken_for(kept, gross_g, unsaid, at);
            }
            (None, _) => self.left_bare(gross_g, at),
        }
    }

    /// A piece that weighed like one put back, and left without slop: it was that one. Gives what is to be said of it.
    fn was_put_back(&mut self, kept: Kept, gross_g: f64, at: Instant) -> Option<(Verdict, f64)> {
        self.memory.came_back += 1;
        let (lifted_at, was) = (kept.lifted_at, kept.pour.verdict);
        let odds = self.odds_against_ladled(&kept, gross_g);
        let pour = self.weighed_again(kept, gross_g, true, at, odds);
        // Some was poured back of it: whether that was enough, or too much.
        let changed = was == Verdict::Over || was != pour.verdict;
        let unsaid = pour.net.filter(|_| changed).map(|net| (pour.verdict, net));
        // Where it was lifted first is what counts for a piece that comes back again.
        self.memory.keep(Kept { gross_g, u_g: 0.0, zero_g: self.zero_g, lifted_at, pour });
        unsaid
    }

    /// The record of a piece that was weighed again, at rest or not; `odds` that it is this one.
    fn weighed_again(&mut self, kept: Kept, gross_g: f64, rests: bool, at: Instant, odds: f64) -> Pour {
        let again = kept.holds_g(gross_g);
        let poured_back = self.was_poured_out_of(&kept, gross_g);
        let Kept { mut pour, lifted_at, .. } = kept;
        self.after.forget(pour.piece);
        let (had, u) = (pour.net.unwrap_or(again), pour.net_u.unwrap_or(0.0));
        // One that was lifted since, and lost some, weighs the same: then this one has what it had.
        let other = self.memory.kept.iter().any(|k| k.lifted_at > lifted_at && k.gross_g > gross_g);
        // An estimate gives way to a weight at rest that agrees with it.
        let agrees = u <= KNOWN_U_G && (again - had).abs() <= 2.0 * u + ROLLED_SD_G;
        if rests && (poured_back || !pour.settled && agrees && !other) {
            let sd = self.start.scale.reading_sd_g();
            pour.net = Some(again);
            let weighed_u_g = (2.0 * sd * sd + (PLACED * gross_g).powi(2)).sqrt();
            pour.net_u = Some(weighed_u_g.hypot(pour.unsure_g));
            pour.settled = true;
            if poured_back && (odds < DOUBTFUL || other) {
                // Or another piece, that weighs what this one should.
                pour.perhaps_other = Some(Held { piece: pour.piece, g: had - again });
                pour.net_u = pour.net_u.map(|u| u.hypot(EITHER * (had - again)));
            }
            pour.verdict = self.judged(&pour, again);
        }
        if poured_back {
            pour.marks = pour.marks.with(Mark::PouredBack);
        }
        pour.rolled = if rests { Some(again) } else { pour.rolled };
        pour.marks = pour.marks.with(Mark::PutBack);
        pour.came_back = true;
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        pour
    }

    /// It holds so much less that some was poured out: of an over one more than rolling leaves on a hand, of another one more than
    /// may have run out, if it is that one at all.
    fn was_poured_out_of(&self, kept: &Kept, gross_g: f64) -> bool {
        let lost_g = kept.pour.net.unwrap_or(0.0) - kept.holds_g(gross_g);
        match kept.pour.verdict {
            Verdict::Over => lost_g > 3.0 * ROLLED_SD_G,
            Verdict::Good | Verdict::Short | Verdict::Void => {
                let told = self.times_at(gross_g) > 1.0 && lost_g > 3.0 * ROLLED_SD_G;
                (told || lost_g > kept.runs_out_g()) && self.odds_against_bare(kept, gross_g) > 1.0
            }
        }
    }

    /// This one was not put back, but another one, bare: its record says again what it said; `rev` was its latest revision.
    pub(super) fn gives_back(&mut self, was: &Kept, rev: u32, at: Instant) {
        let old = Pour { rev: rev + 1, ..was.pour.clone() };
        self.outputs.push_back(Output::Entry(old.entry(at)));
        self.after.renew(&old);
        self.memory.came_back = self.memory.came_back.saturating_sub(1);
        self.memory.keep(Kept { pour: old, ..was.clone() });
    }

    /// A bare piece is ready; perhaps it is one put back.
    pub(super) fn opens(&mut self, tare: f64, lump_g: f64, perhaps: Option<Box<Perhaps>>, at: Instant) {
        self.away = 0;
        self.aim_at(self.next);
        let mut pour = Pour::open(self.piece, self.next, tare, at);
        pour.promised = self.guides();
        let promised = pour.promised;
        let unlike = self.ware.is_unlike(tare - self.zero_g);
        if unlike {
            pour.marks = pour.marks.with(Mark::OtherWare);
        }
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        // A hand may let go of it within the very next readings.
        let leaps = Leaps::after(self.climb.standing(tare, self.threshold_g()));
        self.enter(State::Ready(Ready { perhaps, lump_g, leaps, ..Ready::new(pour, 0.0) }));
        if promised {
            self.cue_now(Cue::Ready, at, Some(self.start.target.g()));
        }
        if unlike {
            self.note_other_ware(at);
        }
    }
}
