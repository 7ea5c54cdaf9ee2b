//! Which piece has come to rest on the pan: a bare one, or one that was lifted and comes back.
//!
//! A weight alone does not say which piece it is: bare pieces weigh alike, and now and then one weighs what
//! another weighs with its slop. What is likelier is assumed, and marked.

use super::aim::lacks;
use super::anew::WRONGLY;
use super::engine::Engine;
use super::kept::{Kept, PLACED, ROLLED_SD_G};
use crate::record::Verdict;
use crate::time::Duration;

/// Rolling takes 5 to 40 s; after this long a piece stands on its shelf (common practice, no source).
const ROLLED_WITHIN: Duration = Duration::from_secs(150);
/// A weight is the same within so many standard deviations of a placement (normal law: 1 in 370).
const SIGMAS: f64 = 3.0;
/// Until pieces have come back in this batch one in ten is taken to do so, and fewer with each that does not.
const COMES_BACK: (f64, f64) = (1.0, 9.0);
/// So many times likelier than a new piece, and one that has enough is taken for the same without a question.
const SURE: f64 = 5.0;
/// A short one is wherever it is likelier than not: a bare piece taken for it costs an early stop, a short one taken for
/// a bare one is flooded.
pub(super) const LIKELIER: f64 = 1.0;
/// ... and so many times for both to be kept in mind.
const PERHAPS: f64 = 0.3;
/// Two that were lifted weigh alike where neither is so many times likelier (own choice).
const ALIKE: f64 = 0.2;
/// A short piece put back that is not so many times likelier than a bare one is not called good when it is topped up: one in
/// ten would be another (own choice).
pub(super) const DOUBTFUL: f64 = 9.0;
/// Rolling takes 5 s at least, of which half a second is over before a lift is seen; what lands sooner is half as likely put
/// back (guesses).
pub(super) const ROLLED_AFTER: Duration = Duration::from_millis(4500);
const TOO_SOON: f64 = 0.5;
/// ... and a fifth of that where its potter heard that it is short while it stood there: slop is added at once then, and who
/// lifts it instead lets it go, or rolls it first (a guess).
const KNOWN_SHORT: f64 = 0.2;
/// Of the good ones that are put back so many are poured into: of those that some was poured out of, and of those that are as
/// they were (guesses: most are only weighed again, and nobody wants more in a full one).
const INTO_A_GOOD_ONE: (f64, f64) = (0.02, 0.005);
/// Slop that is missing is added before the wall has drunk what is there, and poured out before another is filled: a short one that
/// waited while another was poured is half as likely put back, and half as likely again once its slop stood for longer than the
/// contact limit (a guess).
const WAITED: f64 = 0.5;
/// Of those that are set down again until they are known so many are another than the one lifted last (a guess).
const NOT_THE_LAST: f64 = 0.02;
/// So many new pieces have their ladle of slop before they are at rest (a guess).
const LADLED_EARLY: f64 = 0.02;
/// One that weighs what it should within so many standard deviations stands on the pan as it was last seen (own choice).
const AS_SEEN_SIGMAS: f64 = 2.0;
/// What may lie beneath a new piece is looked at in so many steps (own choice).
const BENEATH: u32 = 5;

/// What has landed.
pub(super) enum Landed {
    /// A bare piece.
    New,
    /// A bare piece, or this one put back to be weighed: told apart by whether slop is poured into it.
    Perhaps(Box<Perhaps>),
    /// This one, put back to be topped up or after some was poured back.
    Same(Box<Perhaps>),
}

/// One that was lifted and may stand there, and how many times likelier that is than a bare piece.
#[derive(Clone, Debug)]
pub(super) struct Perhaps {
    pub(super) kept: Kept,
    pub(super) odds: f64,
    /// It was set down again until it was taken for this one.
    pub(super) told: bool,
    /// Another one that was lifted, with a verdict, and is hardly less likely.
    pub(super) rival: Option<Held>,
}

/// A piece that was lifted, and what it holds where it is the one that stands there, g.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Held {
    pub(super) piece: u32,
    pub(super) g: f64,
}

impl Perhaps {
    /// Told by its weight alone.
    pub(super) fn of(kept: Kept, odds: f64) -> Self {
        Self { kept, odds, told: false, rival: None }
    }

    /// Slop runs into what weighs so much, gross g: where it may well be this one, it held so much already.
    pub(super) fn other(&self, gross_g: f64) -> Option<Held> {
        let poured_on = match self.kept.pour.verdict {
            Verdict::Short | Verdict::Void | Verdict::Over => 1.0,
            Verdict::Good if self.kept.lacks_now(gross_g) => INTO_A_GOOD_ONE.0,
            Verdict::Good => INTO_A_GOOD_ONE.1,
        };
        self.kept.held(gross_g).filter(|_| self.odds * poured_on > 1.0 / DOUBTFUL)
    }
}

/// One whose potter heard that it is short comes back sooner.
fn sure_of_short(kept: &Kept) -> f64 {
    let said = kept.pour.net.is_some_and(|net| lacks(&kept.pour.aim, net));
    if said { LIKELIER } else { SURE }
}

impl Engine {
    /// What has come to rest on the pan.
    pub(super) fn recognise(&self, gross_g: f64) -> Landed {
        let Some(new) = self.bare_per_g(gross_g) else { return Landed::New };
        let on_pan: Vec<(Kept, f64)> =
            self.may_come_back(gross_g).iter().map(|k| self.as_it_would_stand(k, gross_g)).collect();
        let times = self.times_at(gross_g);
        // Set down again it is one that lacks something: nobody asks for more than one that is full would get.
        let wants = |k: &Kept| times <= 1.0 || k.lacks_now(gross_g) || k.pour.verdict == Verdict::Over;
        let may = |k: &Kept| wants(k) && !self.is_said_not_to_be(k, gross_g);
        let likely = |(k, share): &(Kept, f64)| {
            if may(k) { share * times * self.odds(k, gross_g) / new } else { 0.0 }
        };
        let likeliest = |a: &&(Kept, f64), b: &&(Kept, f64)| likely(a).total_cmp(&likely(b));
        let Some(best) = on_pan.iter().max_by(likeliest) else { return Landed::New };
        // Of two that weigh alike the one that is short comes back for more: nobody pours into one that is full.
        let alike = ALIKE * likely(best);
        let short = |k: &&(Kept, f64)| k.0.pour.verdict == Verdict::Short && likely(k) > alike;
        let wanting = on_pan.iter().filter(|k| times <= 1.0 && short(k));
        let one = wanting.max_by(likeliest).unwrap_or(best);
        let k = &one.0;
        // Against a bare piece as against each other one that was lifted.
        let others: f64 = on_pan.iter().filter(|o| o.0.pour.piece != k.pour.piece).map(likely).sum();
        let odds = likely(one) / (1.0 + others);
        let kept = k.clone();
        if self.wants_more_or_less(k, gross_g, likely(one)) {
            let odds = if times > 1.0 { likely(one) * WRONGLY / (1.0 + others * WRONGLY) } else { odds };
            let rival =
                on_pan.iter().filter(|o| o.0.pour.piece != k.pour.piece && o.0.pour.verdict != Verdict::Void);
            let rival = rival.filter(|o| likely(o) * DOUBTFUL > likely(one)).max_by(likeliest);
            let rival = rival.and_then(|o| o.0.held(gross_g));
            return Landed::Same(Box::new(Perhaps { kept, odds, told: times > 1.0, rival }));
        }
        let perhaps = if k.pour.verdict == Verdict::Good { PERHAPS } else { 1.0 / DOUBTFUL };
        // Who was told that it is that one, and sets it down again, says no; who was told that it is none pours if that is so.
        let may_be = times >= 1.0 && likely(one) / times > perhaps;
        if may_be { Landed::Perhaps(Box::new(Perhaps::of(kept, odds / times))) } else { Landed::New }
    }

    /// The same piece on the pan as it is now, and how likely that is. What may lie there or not is as likely to be any weight
    /// from none to the most that may: then what it shows says how much it is.
    fn as_it_would_stand(&self, kept: &Kept, gross_g: f64) -> (Kept, f64) {
        let as_seen = kept.on_a_pan_of(self.zero_g);
        // Who asks for more of it says that it lacks that.
        if self.times_at(gross_g) > 1.0 {
            return (as_seen, 1.0);
        }
        let (down_g, up_g) = self.after.beneath_g(self.zero_g);
        let sd_g = ROLLED_SD_G.hypot(PLACED * gross_g).hypot(kept.u_g);
        let off_g = (gross_g - as_seen.gross_g).clamp(-down_g, up_g);
        if off_g.abs() <= AS_SEEN_SIGMAS * sd_g {
            return (as_seen, 1.0);
        }
        let share = sd_g * std::f64::consts::TAU.sqrt() / (down_g + up_g);
        (kept.on_a_pan_of(self.zero_g + off_g), share.min(1.0))
    }

    /// How likely a new piece shows so much, gross g, per gram; where it is ladled, with its slop in it already. What may lie beneath
    /// it or not is as likely to be any weight from none to the most that may.
    fn bare_per_g(&self, gross_g: f64) -> Option<f64> {
        let (down_g, up_g) = self.after.beneath_g(self.zero_g);
        let beneath = (0..BENEATH).map(|i| f64::from(i) / f64::from(BENEATH - 1) * (up_g + down_g) - down_g);
        let each = beneath.map(|g| self.ware.density_per_g(gross_g - self.zero_g - g));
        let mean = each.sum::<Option<f64>>()? / f64::from(BENEATH);
        Some(mean + self.ladled_early_per_g(gross_g))
    }

    /// How likely a new piece that was ladled before it was at rest shows so much, gross g, per gram.
    fn ladled_early_per_g(&self, gross_g: f64) -> f64 {
        let ladles = self.start.settings.vessel.in_lumps();
        let bare_g = gross_g - self.start.target.g() - self.zero_g;
        LADLED_EARLY * self.ware.density_per_g(bare_g).filter(|_| ladles).unwrap_or(0.0)
    }

    /// How many times likelier it is this one than a bare piece.
    pub(super) fn odds_against_bare(&self, kept: &Kept, gross_g: f64) -> f64 {
        let times = self.times_at(gross_g);
        times * self.odds(kept, gross_g) / self.bare_per_g(gross_g).unwrap_or(0.0).max(f64::MIN_POSITIVE)
    }

    /// How many times likelier what left without slop was this one than a new one that was ladled before it was at rest.
    pub(super) fn odds_against_ladled(&self, kept: &Kept, gross_g: f64) -> f64 {
        self.odds(kept, gross_g) / self.ladled_early_per_g(gross_g).max(f64::MIN_POSITIVE)
    }

    /// It was short and still is, or it was over.
    fn wants_more_or_less(&self, kept: &Kept, gross_g: f64, odds: f64) -> bool {
        let short = kept.pour.aim.verdict(kept.holds_g(gross_g)) == Verdict::Short;
        if self.times_at(gross_g) > 1.0 {
            return odds > LIKELIER;
        }
        match kept.pour.verdict {
            Verdict::Short => short && odds > sure_of_short(kept),
            Verdict::Over => odds > SURE,
            // Nobody knows what it holds: to pour it full as if it were bare is the worse mistake.
            Verdict::Void => short && odds > DOUBTFUL,
            // Nobody wants more in it, unless some was poured out; and a bare one may be heavier than was told.
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
            let out_g = if away < ROLLED_AFTER { SIGMAS * ROLLED_SD_G } else { k.runs_out_g() };
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
        let back_g = kept.gross_g - gross_g;
        let soon = match away < ROLLED_AFTER {
            // Some is poured back sooner than a piece is rolled.
            true if kept.pour.verdict == Verdict::Over => 1.0,
            true if short && kept.pour.told => TOO_SOON * KNOWN_SHORT,
            true => TOO_SOON,
            false => 1.0,
        };
        let another = self.memory.kept.iter().any(|k| k.lifted_at > kept.lifted_at);
        let stood = kept.pour.first_slop.map_or(Duration::ZERO, |from| self.landed_at.since(from));
        let waited = match another {
            true if self.times_at(gross_g) > 1.0 => NOT_THE_LAST,
            true if short && stood > self.start.settings.contact_limit => WAITED * WAITED,
            true if short || back_g > kept.runs_out_g() => WAITED,
            true | false => 1.0,
        };
        soon * waited
            * prior
            * kept.density_per_g(gross_g, self.start.scale.reading_sd_g(), self.times_at(gross_g) > 1.0)
    }
}
