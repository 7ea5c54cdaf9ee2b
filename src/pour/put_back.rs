//! A piece that comes back to the pan: rolled and weighed again, to be topped up, or with some poured back.
//!
//! A weight alone does not say which piece it is: bare pieces weigh alike, and now and then one weighs what
//! another weighs with its slop. What is likelier is assumed, and marked.

use super::aim::unspoken_g;
use super::done::EITHER;
use super::engine::Engine;
use super::entry::{Cue, Output};
use super::kept::{Kept, PLACED, ROLLED_SD_G};
use super::leaps::Leaps;
use super::ready::Ready;
use super::state::{Done, Pour, State, Stream};
use crate::reading::Weighing;
use crate::record::{Mark, Verdict};
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// Rolling takes 5 to 40 s; after this long a piece stands on its shelf (common practice, no source).
const ROLLED_WITHIN: Duration = Duration::from_secs(150);
/// So much may run out of a rolled piece, g or as a share of what it held (guesses), and a weight is the same within so many
/// standard deviations of a placement (normal law: 1 in 370).
const ROLLED_OUT_G: f64 = 5.0;
const ROLLED_OUT: f64 = 0.1;
const SIGMAS: f64 = 3.0;
/// Until pieces have come back in this batch one in ten is taken to do so, and fewer with each that does not.
const COMES_BACK: (f64, f64) = (1.0, 9.0);
/// So many times likelier than a new piece, and an over one is taken for the same without a question.
const SURE: f64 = 5.0;
/// A short one is wherever it is likelier than not: a bare piece taken for it costs an early stop, a short one taken for
/// a bare one is flooded.
const LIKELIER: f64 = 1.0;
/// ... and so many times for both to be kept in mind.
const PERHAPS: f64 = 0.3;
/// Two that were lifted weigh alike where neither is so many times likelier (own choice).
const ALIKE: f64 = 0.2;
/// A weight that is known no better, g, tells too little of which piece it is to be mended by what was put back (an
/// estimate of a stream of 12 g/s on a scale that may be 0.3 s later than assumed).
const KNOWN_U_G: f64 = 4.0;
/// A short piece put back that is not so many times likelier than a bare one is not called good when it is topped up: one in
/// ten would be another (own choice).
const DOUBTFUL: f64 = 9.0;
/// Rolling takes 5 s at least, of which half a second is over before a lift is seen; what lands sooner is half as likely put
/// back (guesses).
const ROLLED_AFTER: Duration = Duration::from_millis(4500);
const TOO_SOON: f64 = 0.5;
/// ... and a fifth of that where its potter heard that it is short while it stood there: slop is added at once then, and who
/// lifts it instead lets it go, or rolls it first (a guess).
const KNOWN_SHORT: f64 = 0.2;
/// A verdict that was given so long ago has been heard (a hand's own time and the sound's length, own choice).
const HEARD: Duration = Duration::from_millis(700);
/// Slop that is missing is added before the wall has drunk what is there: a short one that waited while another was poured
/// is half as likely put back, and half as likely again once its slop stood for longer than the contact limit (a guess).
const WAITED: f64 = 0.5;
/// So many new pieces have their ladle of slop before they are at rest (a guess).
const LADLED_EARLY: f64 = 0.02;
/// A piece put back is lifted again within so long; whoever waits longer waits for `ready` (a guess).
pub(super) const WAITS: Duration = Duration::from_secs(4);

/// How a piece was when it was put back.
#[derive(Clone, Debug)]
pub(super) struct Back {
    pub(super) before: Pour,
    /// As it was remembered.
    pub(super) kept: Kept,
    pub(super) gross_g: f64,
    /// How many times likelier it was this one than a bare piece.
    pub(super) odds: f64,
}

/// What has landed.
pub(super) enum Landed {
    /// A bare piece.
    New,
    /// A bare piece, or this one put back to be weighed: told apart by whether slop is poured into it.
    Perhaps(Box<Kept>),
    /// This one, put back to be topped up or after some was poured back.
    Same(Box<Kept>, f64),
}

impl Back {
    /// What a short one held, where it may well be a bare piece and this no slop, g.
    fn doubtful_g(&self) -> f64 {
        if self.odds < DOUBTFUL { self.before.net.unwrap_or(0.0) } else { 0.0 }
    }
}

impl Pour {
    /// Slop runs into one that was put back: if that was another piece, it holds so much less. However sure it is this time that
    /// it is the same, what was poured into it before may have been poured into another.
    pub(super) fn keep_in_doubt(&mut self, back: Option<&Back>) {
        self.perhaps_other_g = self.perhaps_other_g.max(back.map_or(0.0, Back::doubtful_g));
    }
}

/// Its potter had heard that it is short for long enough before it was lifted.
fn was_told(pour: &Pour, lifted_at: Instant) -> bool {
    let said = pour.net.is_some_and(|net| pour.aim.low.g() - net > unspoken_g(&pour.aim));
    said && pour.entered.is_some_and(|at| lifted_at.since(at) > HEARD)
}

/// One whose potter heard that it is short comes back sooner.
fn sure_of_short(kept: &Kept) -> f64 {
    let aim = &kept.pour.aim;
    let said = kept.pour.net.is_some_and(|net| aim.low.g() - net > unspoken_g(aim));
    if said { LIKELIER } else { SURE }
}

/// One that weighs what it should within so many standard deviations stands on the pan as it was last seen (own choice).
const AS_SEEN_SIGMAS: f64 = 2.0;

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

    /// What has come to rest on the pan.
    pub(super) fn recognise(&self, gross_g: f64) -> Landed {
        let Some(new) = self.bare_per_g(gross_g) else { return Landed::New };
        let on_pan: Vec<(Kept, f64)> =
            self.memory.kept.iter().map(|k| self.as_it_would_stand(k, gross_g)).collect();
        let likely = |(k, share): &(Kept, f64)| share * self.odds(k, gross_g) / new;
        let likeliest = |a: &&(Kept, f64), b: &&(Kept, f64)| likely(a).total_cmp(&likely(b));
        let Some(best) = on_pan.iter().max_by(likeliest) else { return Landed::New };
        // Of two that weigh alike the one that is short comes back for more: nobody pours into one that is full.
        let alike = ALIKE * likely(best);
        let wanting = on_pan.iter().filter(|k| k.0.pour.verdict == Verdict::Short && likely(k) > alike);
        let one = wanting.max_by(likeliest).unwrap_or(best);
        let k = &one.0;
        // Against a bare piece as against each other one that was lifted.
        let others: f64 = on_pan.iter().filter(|o| o.0.pour.piece != k.pour.piece).map(likely).sum();
        let odds = likely(one) / (1.0 + others);
        if self.wants_more_or_less(k, gross_g, likely(one)) {
            return Landed::Same(Box::new(k.clone()), odds);
        }
        let perhaps = if k.may_want_more() { 1.0 / DOUBTFUL } else { PERHAPS };
        if likely(one) > perhaps { Landed::Perhaps(Box::new(k.clone())) } else { Landed::New }
    }

    /// The same piece on the pan as it is now, and how likely that is. What may lie there or not is as likely to be any weight
    /// from none to the most that may: then what it shows says how much it is.
    fn as_it_would_stand(&self, kept: &Kept, gross_g: f64) -> (Kept, f64) {
        let as_seen = kept.on_a_pan_of(self.zero_g);
        let (down_g, up_g) = self.after.beneath_g(self.zero_g);
        let sd_g = ROLLED_SD_G.hypot(PLACED * gross_g).hypot(kept.u_g);
        let off_g = (gross_g - as_seen.gross_g).clamp(-down_g, up_g);
        if off_g.abs() <= AS_SEEN_SIGMAS * sd_g {
            return (as_seen, 1.0);
        }
        let share = sd_g * std::f64::consts::TAU.sqrt() / (down_g + up_g);
        (kept.on_a_pan_of(self.zero_g + off_g), share.min(1.0))
    }

    /// How likely a new piece shows so much, gross g, per gram; where it is ladled, with its slop in it already.
    fn bare_per_g(&self, gross_g: f64) -> Option<f64> {
        Some(self.ware.density_per_g(gross_g - self.zero_g)? + self.ladled_early_per_g(gross_g))
    }

    /// How likely a new piece that was ladled before it was at rest shows so much, gross g, per gram.
    fn ladled_early_per_g(&self, gross_g: f64) -> f64 {
        let ladles = self.start.settings.vessel.in_lumps();
        let bare_g = gross_g - self.start.target.g() - self.zero_g;
        LADLED_EARLY * self.ware.density_per_g(bare_g).filter(|_| ladles).unwrap_or(0.0)
    }

    /// How many times likelier what left without slop was this one than a new one that was ladled before it was at rest.
    fn odds_against_ladled(&self, kept: &Kept, gross_g: f64) -> f64 {
        self.odds(kept, gross_g) / self.ladled_early_per_g(gross_g).max(f64::MIN_POSITIVE)
    }

    /// It was short and still is, or it was over.
    fn wants_more_or_less(&self, kept: &Kept, gross_g: f64, odds: f64) -> bool {
        match kept.pour.verdict {
            Verdict::Short => {
                odds > sure_of_short(kept)
                    && kept.pour.aim.verdict(gross_g - kept.pour.tare) == Verdict::Short
            }
            Verdict::Over => odds > SURE,
            // Nobody knows what it holds: to pour it full as if it were bare is the worse mistake.
            Verdict::Void => odds > SURE && kept.pour.aim.verdict(gross_g - kept.pour.tare) == Verdict::Short,
            Verdict::Good => false,
        }
    }

    /// What was lifted last may weigh so much when it was rolled and is put back: some may have run out.
    pub(super) fn may_be_rolled(&self, gross_g: f64) -> bool {
        let last = self.memory.kept.iter().max_by_key(|k| k.lifted_at);
        last.map(|k| self.as_it_would_stand(k, gross_g).0).is_some_and(|k| {
            let placed_g = SIGMAS * (PLACED * k.gross_g).hypot(k.u_g);
            let away = self.landed_at.since(k.lifted_at);
            // What comes back sooner was not rolled.
            let rolled_g = ROLLED_OUT_G.max(ROLLED_OUT * k.pour.net.unwrap_or(0.0));
            let out_g = if away < ROLLED_AFTER { SIGMAS * ROLLED_SD_G } else { rolled_g };
            away <= ROLLED_WITHIN && (-placed_g..=out_g + placed_g).contains(&(k.gross_g - gross_g))
        })
    }

    fn odds(&self, kept: &Kept, gross_g: f64) -> f64 {
        let away = self.landed_at.since(kept.lifted_at);
        if away > ROLLED_WITHIN {
            return 0.0;
        }
        let (back, new) = (f64::from(self.memory.came_back), f64::from(self.memory.new));
        let prior = (COMES_BACK.0 + back) / (COMES_BACK.1 + new);
        let short = kept.pour.verdict == Verdict::Short;
        let soon = match away < ROLLED_AFTER {
            true if short && kept.pour.told => TOO_SOON * KNOWN_SHORT,
            true => TOO_SOON,
            false => 1.0,
        };
        let another = self.memory.kept.iter().any(|k| k.lifted_at > kept.lifted_at);
        let stood = kept.pour.first_slop.map_or(Duration::ZERO, |from| self.landed_at.since(from));
        let waited = match short && another {
            true if stood > self.start.settings.contact_limit => WAITED * WAITED,
            true => WAITED,
            false => 1.0,
        };
        soon * waited * prior * kept.density_per_g(gross_g, self.start.scale.reading_sd_g())
    }

    /// The same piece stands there again, and what it wants is told.
    pub(super) fn stands_again(&mut self, kept: Kept, odds: f64, gross_g: f64, at: Instant) {
        let d = self.put_back(kept, odds, gross_g, true, at);
        let (verdict, net, wants) = (d.pour.verdict, d.had_g, d.wants());
        self.enter(State::Done(d));
        if wants {
            // What a hand waits for before it pours.
            self.cue_now(Cue::Ready, at, Some(self.start.target.g() - net));
        } else if verdict != Verdict::Good {
            // That it is good may be said of a bare piece: first something must tell.
            self.say_verdict(verdict, net, at);
        }
    }

    /// It was put back, and weighs so much gross, at rest or as far as it is known.
    pub(super) fn put_back(&mut self, kept: Kept, odds: f64, gross_g: f64, rests: bool, at: Instant) -> Done {
        self.aim_at(kept.pour.aim);
        self.memory.forget(kept.pour.piece);
        self.memory.came_back += 1;
        self.away = 0;
        let back = Back { before: kept.pour.clone(), kept: kept.clone(), gross_g, odds };
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
        self.restore(&back, s.pour.rev, w.arrived_at);
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

    /// Somebody stands and waits: perhaps it is a bare piece after all, and wants its `ready`.
    pub(super) fn asks_for_ready(&mut self, d: Done, rest: f64, at: Instant) {
        let kept = Kept { gross_g: rest, u_g: 0.0, zero_g: self.zero_g, lifted_at: at, pour: d.pour };
        self.opens(rest, 0.0, Some(Box::new(kept)), at);
        if let State::Ready(r) = &mut self.state {
            r.back = d.back;
        }
    }

    /// No slop came: if it weighed like one put back, it was that one.
    pub(super) fn left_without_slop(
        &mut self,
        perhaps: Option<Kept>,
        weighed: bool,
        gross_g: f64,
        at: Instant,
    ) {
        match perhaps {
            // Taken for it already, and entered so.
            Some(kept) if weighed => {
                self.say_if_good(&kept.pour, at);
                self.memory.keep(kept);
            }
            Some(kept) => self.was_put_back(kept, gross_g, at),
            None => {}
        }
    }

    /// A piece that weighed like one put back, and left without slop: it was that one.
    fn was_put_back(&mut self, kept: Kept, gross_g: f64, at: Instant) {
        self.memory.came_back += 1;
        let (lifted_at, was) = (kept.lifted_at, kept.pour.verdict);
        let odds = self.odds_against_ladled(&kept, gross_g);
        let pour = self.weighed_again(kept, gross_g, true, at, odds);
        if let Some(net) = pour.net.filter(|_| was == Verdict::Over) {
            // Some was to be poured back of it: whether that was enough.
            self.say_verdict(pour.verdict, net, at);
        }
        // Where it was lifted first is what counts for a piece that comes back again.
        self.memory.keep(Kept { gross_g, u_g: 0.0, zero_g: self.zero_g, lifted_at, pour });
    }

    /// The record of a piece that was weighed again, at rest or not; `odds` that it is this one.
    fn weighed_again(&mut self, kept: Kept, gross_g: f64, rests: bool, at: Instant, odds: f64) -> Pour {
        let Kept { mut pour, lifted_at, .. } = kept;
        self.after.forget(pour.piece);
        let again = gross_g - pour.tare;
        let (had, u) = (pour.net.unwrap_or(again), pour.net_u.unwrap_or(0.0));
        let poured_back = pour.verdict == Verdict::Over && had - again > 3.0 * ROLLED_SD_G;
        // One that was lifted since, and lost some, weighs the same: then this one has what it had.
        let other = self.memory.kept.iter().any(|k| k.lifted_at > lifted_at && k.gross_g > gross_g);
        // An estimate gives way to a weight at rest that agrees with it.
        let agrees = u <= KNOWN_U_G && (again - had).abs() <= 2.0 * u + ROLLED_SD_G;
        if rests && (poured_back || !pour.settled && agrees && !other) {
            let sd = self.start.scale.reading_sd_g();
            let other_g = if poured_back && other { EITHER * (had - again) } else { 0.0 };
            pour.net = Some(again);
            let weighed_u_g = (2.0 * sd * sd + (PLACED * gross_g).powi(2) + other_g * other_g).sqrt();
            pour.net_u = Some(weighed_u_g.hypot(pour.unsure_g));
            pour.settled = true;
            if poured_back && odds < DOUBTFUL {
                // Or another piece, that weighs what this one should.
                pour.perhaps_other_g = had - again;
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

    /// Slop runs into what was taken for a piece put back that wants none: it was another one, bare, and that one has
    /// again what it had; `rev` was its latest revision.
    pub(super) fn restore(&mut self, back: &Back, rev: u32, at: Instant) {
        let old = Pour { rev: rev + 1, ..back.before.clone() };
        self.outputs.push_back(Output::Entry(old.entry(at)));
        self.memory.came_back = self.memory.came_back.saturating_sub(1);
        self.memory.keep(Kept { pour: old, ..back.kept.clone() });
    }

    /// A bare piece is ready; perhaps it is one put back.
    pub(super) fn opens(&mut self, tare: f64, lump_g: f64, perhaps: Option<Box<Kept>>, at: Instant) {
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
