//! Pieces that were lifted with slop in them, and may come back.

use super::aim::lacks;
use super::anew::Anew;
use super::recognised::Held;
use super::state::Pour;
use crate::record::Verdict;
use crate::time::Instant;
use std::collections::VecDeque;

/// Of the over pieces that come back so many lost more than they had to (a guess).
const TOO_MUCH: f64 = 0.15;
/// So much may run out of a rolled piece, g or as a share of what it held (guesses).
const ROLLED_OUT_G: f64 = 5.0;
const ROLLED_OUT: f64 = 0.1;
/// For each piece that is put back as it was so many lost that, and for each good one so many had some poured out of them, as much as
/// they held at most (guesses).
const RAN_OUT: f64 = 0.2;
const POURED_OUT: f64 = 0.01;
/// ... and of those that are set down again until they are known, whatever they were called (a guess).
const POURED_OUT_TOLD: f64 = 0.05;
/// So many pieces are remembered: one pours, another rolls.
const REMEMBERED: usize = 3;
/// Two placements of one load on a bench scale differ by this share of it: corner loading on a pan that
/// is good to one part in a thousand (a guess).
pub(super) const PLACED: f64 = 0.0005;
/// What rolling leaves on a rim or a hand, g, as a standard deviation (common practice, no source).
pub(super) const ROLLED_SD_G: f64 = 0.3;

/// A piece that was lifted with slop in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    pub(super) pour: Pour,
    /// What it weighed with its slop, and how well that is known.
    pub(super) gross_g: f64,
    pub(super) u_g: f64,
    /// What the bare pan showed when it was lifted, besides what this one left there, g: what lies there since is no part of
    /// it. Before the pan was seen so, what it showed last.
    pub(super) zero_g: f64,
    pub(super) lifted_at: Instant,
}

/// The pieces that may come back, newest first, and how often one did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Memory {
    pub(super) kept: VecDeque<Kept>,
    /// What was lifted last, without slop.
    pub(super) anew: Option<Anew>,
    pub(super) came_back: u32,
    pub(super) new: u32,
}

/// The normal law's density.
pub(super) fn normal(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / (sd * std::f64::consts::TAU.sqrt())
}

impl Memory {
    /// Takes a piece that was lifted.
    pub(super) fn keep(&mut self, kept: Kept) {
        self.kept.retain(|k| k.pour.piece != kept.pour.piece);
        self.kept.push_front(kept);
        self.kept.truncate(REMEMBERED);
    }

    pub(super) fn of(&mut self, piece: u32) -> Option<&mut Kept> {
        self.kept.iter_mut().find(|k| k.pour.piece == piece)
    }

    /// What it weighed when it was last seen at rest.
    pub(super) fn stood(&mut self, piece: u32, gross_g: f64, unsure_g: f64) {
        if let Some(kept) = self.of(piece) {
            (kept.gross_g, kept.u_g) = (gross_g, kept.u_g.hypot(unsure_g));
        }
    }

    /// What it left on the pan did not go with it.
    pub(super) fn without(&mut self, pour: &Pour, residue_g: f64) {
        if let Some(kept) = self.of(pour.piece) {
            *kept = Kept { pour: pour.clone(), gross_g: kept.gross_g - residue_g, ..kept.clone() };
        }
    }

    /// What it weighs is less sure by so much, g: it may have left that on the pan.
    pub(super) fn unsure(&mut self, piece: u32, unsure_g: f64) {
        if let Some(kept) = self.of(piece) {
            kept.u_g = kept.u_g.hypot(unsure_g);
        }
    }

    /// The bare pan was first seen at rest since it was lifted: what it showed besides what this one left, g, and how
    /// well that is known.
    pub(super) fn seen_gone(&mut self, piece: u32, zero_g: f64, unsure_g: f64) {
        if let Some(kept) = self.of(piece) {
            (kept.zero_g, kept.u_g) = (zero_g, kept.u_g.hypot(unsure_g));
        }
    }

    pub(super) fn forget(&mut self, piece: u32) {
        self.kept.retain(|k| k.pour.piece != piece);
    }
}

impl Kept {
    /// The same where the bare pan shows something else by now: so it would stand there again.
    pub(super) fn on_a_pan_of(&self, zero_g: f64) -> Self {
        let more_g = zero_g - self.zero_g;
        let pour = Pour { tare: self.pour.tare + more_g, ..self.pour.clone() };
        Self { pour, gross_g: self.gross_g + more_g, zero_g, ..self.clone() }
    }

    /// So much slop is in it where it shows so much, gross g.
    pub(super) fn holds_g(&self, gross_g: f64) -> f64 {
        gross_g - self.pour.tare
    }

    /// The same, where it is any.
    pub(super) fn held(&self, gross_g: f64) -> Option<Held> {
        let held = Held { piece: self.pour.piece, g: self.holds_g(gross_g) };
        (held.g > 0.0).then_some(held)
    }

    /// It lacks more by now than is left unsaid.
    pub(super) fn lacks_now(&self, gross_g: f64) -> bool {
        lacks(&self.pour.aim, self.holds_g(gross_g))
    }

    /// Somebody may pour more into it: it is short, or nobody knows what it holds.
    pub(super) fn may_want_more(&self) -> bool {
        match self.pour.verdict {
            Verdict::Short | Verdict::Void => true,
            Verdict::Good | Verdict::Over => false,
        }
    }

    /// So much may run out of it as it is rolled, g.
    pub(super) fn runs_out_g(&self) -> f64 {
        let net = self.pour.net.unwrap_or(0.0).max(0.0);
        ROLLED_OUT_G.max(ROLLED_OUT * net).min(net)
    }

    /// How likely it weighs so much when it is put back, per gram, for each one that is put back as it was; of an over one in all.
    /// That some was poured out of a short one or one that is void is thought of only where it was set down again until it would be
    /// known, `told`.
    pub(super) fn density_per_g(&self, gross_g: f64, sd_g: f64, told: bool) -> f64 {
        let placed_g = PLACED * self.gross_g;
        let sd = (2.0 * sd_g * sd_g + placed_g * placed_g + ROLLED_SD_G.powi(2) + self.u_g * self.u_g).sqrt();
        let same = normal(gross_g - self.gross_g, sd);
        // Of an over one as much may have been poured back as brings it to its lower limit, evenly; more of it seldom.
        let net = self.pour.net.unwrap_or(0.0);
        let most_g = net - self.pour.aim.low.g() + 1.0;
        let back_g = self.gross_g - gross_g;
        let lost = |most_g: f64| if (0.0..most_g).contains(&back_g) { 1.0 / most_g } else { 0.0 };
        match self.pour.verdict {
            Verdict::Over if (0.0..most_g).contains(&back_g) => 0.5 * same + (0.5 - TOO_MUCH) / most_g,
            Verdict::Over if (most_g..net).contains(&back_g) => 0.5 * same + TOO_MUCH / (net - most_g),
            Verdict::Over => 0.5 * same,
            Verdict::Short | Verdict::Void | Verdict::Good => {
                let ran_out = RAN_OUT * lost(self.runs_out_g());
                let poured_out = match (told, self.pour.verdict == Verdict::Good) {
                    (true, _) => POURED_OUT_TOLD,
                    (false, true) => POURED_OUT,
                    (false, false) => 0.0,
                };
                same + ran_out + poured_out * lost(net)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Aim;
    use crate::units::Mass;

    /// Lifted with so much in it, of 29 g that are wanted; 311 g bare.
    fn lifted(net: f64, verdict: Verdict) -> Kept {
        let g = Mass::saturating;
        let aim = Aim { target: g(29.0), low: g(27.5), high: g(30.5) };
        let pour = Pour { net: Some(net), verdict, ..Pour::open(1, aim, 311.0, Instant::START) };
        Kept { pour, gross_g: 311.0 + net, u_g: 0.1, zero_g: 0.0, lifted_at: Instant::START }
    }

    #[test]
    fn one_that_lost_some_is_likelier_to_weigh_less_and_never_to_weigh_more() {
        for (net, verdict) in [(20.0, Verdict::Short), (29.0, Verdict::Good), (29.0, Verdict::Void)] {
            let density =
                |lost_g: f64, told| lifted(net, verdict).density_per_g(311.0 + net - lost_g, 0.03, told);
            let of = |lost_g: f64| density(lost_g, false);
            assert!(of(0.0) > 10.0 * of(2.0), "{verdict:?}: as it was");
            assert!(
                of(2.0) > 10.0 * of(8.0)
                    && (of(8.0) > 1e-6) == (verdict == Verdict::Good)
                    && density(8.0, true) > 1e-6,
                "{verdict:?}: it ran out, or was poured out"
            );
            assert!(
                of(-2.0) < 1e-3 * of(2.0) && of(net + 1.0) < 1e-9,
                "{verdict:?}: not more, nor all of it"
            );
        }
    }

    #[test]
    fn a_good_one_lacks_what_was_poured_out_of_it_and_not_what_stayed_on_a_hand() {
        let good = lifted(29.0, Verdict::Good);
        assert!(!good.lacks_now(339.0) && good.lacks_now(335.0));
    }
}
