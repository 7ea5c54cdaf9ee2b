//! What a piece may have left on the pan, and what a sponge may have taken off it.

use super::after::Unseen;
use super::done::EITHER;
use super::engine::Engine;
use super::entry::Output;
use super::lifted::{Lifted, PanShown};
use super::remark::Remark;
use super::state::Pour;
use crate::record::Mark;
use crate::settle::pan::worth_wiping_g;
use crate::time::Instant;

/// Of a pour no more than this share is taken for what it left on the pan, or so many grams where that is more, as no less drips
/// beside a small piece (of one that was lifted before rest the jug may have run on beside it); and never more than so many: a
/// sponge laid down is more (guesses).
const RESIDUE_SHARE: f64 = 0.25;
pub(super) const RESIDUE_LITTLE_G: f64 = 5.0;
pub(super) const RESIDUE_MOST_G: f64 = 10.0;
/// Less than this on the bare pan is a scale's own wandering, g (common practice, no source).
const SEEN_G: f64 = 0.25;
/// Who wipes a pan that several pieces left unseen wipes in half of the cases for what the last one left (a guess: what an earlier
/// one left was in sight for longer).
const WIPED_FOR_LAST: f64 = 0.5;
/// An uncertainty that adds less than this share of what is said already is not worth a revision (a tenth in the root of
/// squares).
const MATTERS: f64 = 0.5;
/// What bears on the pan by more than this, g, is a piece or a jug that was set down and taken again, and no sponge (a guess).
pub(super) const WIPES_G: f64 = 100.0;

/// The weight may be off by so much to one side, g, and so is what it weighs when it comes back.
fn add_doubt(pour: &mut Pour, residue_g: f64) {
    pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * residue_g));
    pour.unsure_g = pour.unsure_g.hypot(EITHER * residue_g);
}

/// What this piece may have left at most, g.
fn residue_most_g(pour: &Pour) -> f64 {
    let net = pour.net.unwrap_or(0.0).max(0.0);
    let little_g = if pour.settled { RESIDUE_LITTLE_G } else { 0.0 };
    (RESIDUE_SHARE * net).clamp(little_g, RESIDUE_MOST_G).min(net)
}

impl Engine {
    /// The bare pan is seen at rest for the first time since this piece was lifted: what it left, and what is kept of it for
    /// when it comes back.
    pub(super) fn pan_rests(&mut self, lifted: Lifted, rest: f64, stayed: bool, at: Instant) {
        let residue_g = rest - self.zero_g;
        // What still lies on it may be the sponge.
        let wiped_g = if stayed { lifted.wiped_g() } else { lifted.borne_g() };
        let mut pour = lifted.pour;
        if let Some(wiped_g) = wiped_g {
            pour = self.wiped_off(pour, wiped_g - residue_g.max(0.0), at);
        }
        let pieces: Vec<u32> = self.after.unseen.iter().map(|unseen| unseen.pour.piece).collect();
        let piece = pour.piece;
        let own_g = self.lies_there(pour, residue_g, stayed, at).unwrap_or(0.0);
        self.after.unseen.clear();
        (self.after.passing_g, self.after.under_g) = (None, 0.0);
        if residue_g.abs() <= self.seen_g() {
            return;
        }
        // What it took with it is what went from the pan, whosever lies there.
        self.memory.seen_gone(piece, rest - own_g, 0.0);
        for piece in pieces {
            self.memory.seen_gone(piece, rest, EITHER * residue_g.abs());
        }
    }

    /// Something lies on the bare pan, or is gone from it: of the piece that left, of one before it, or of none. What is known to
    /// be the piece's own, g; whatever else may be its own is in its uncertainty.
    fn lies_there(&mut self, pour: Pour, residue_g: f64, stayed: bool, at: Instant) -> Option<f64> {
        let wiped_g = self.after.wiped_g();
        let lost_g = self.after.under_g.min(-residue_g);
        if lost_g > self.seen_g() && wiped_g == 0.0 {
            // Wiped off beneath it, before it was tared or after that.
            self.may_be_off(pour, lost_g, at);
            return None;
        }
        // Where the pan was wiped before it landed, as much more of this is its own.
        let perhaps_g = residue_g + wiped_g;
        if perhaps_g <= self.seen_g() {
            return None;
        }
        if !stayed {
            // The display had been lower: it was laid there since, or the pan swings.
            if self.is_residue_of(&pour, perhaps_g) {
                self.may_be_off(pour, perhaps_g, at);
            }
            return None;
        }
        // More than all of them may have left is a sponge.
        if perhaps_g > RESIDUE_MOST_G * (self.after.unseen.len() + 1) as f64 {
            return None;
        }
        let known = self.after.unseen.is_empty() && wiped_g == 0.0;
        if known && residue_g <= residue_most_g(&pour) {
            return Some(self.is_its_own(pour, residue_g, at));
        }
        let unseen = std::mem::take(&mut self.after.unseen).into_iter().map(|unseen| unseen.pour);
        for perhaps in unseen.chain([pour]) {
            self.may_be_off(perhaps, perhaps_g.min(RESIDUE_MOST_G), at);
        }
        None
    }

    /// What lies there is this piece's: taken off its weight where it is worth wiping; too little for that is a doubt.
    fn is_its_own(&mut self, pour: Pour, residue_g: f64, at: Instant) -> f64 {
        if self.is_residue_of(&pour, residue_g) {
            self.leaves(pour, residue_g, at);
        } else {
            let pour = self.may_be_off(pour, residue_g, at);
            self.memory.without(&pour, residue_g);
        }
        residue_g
    }

    /// A sponge took what it may have left before that was seen at rest: where a display had stood level at it, it was that.
    fn wiped_off(&mut self, pour: Pour, wiped_g: f64, at: Instant) -> Pour {
        if self.after.unseen.is_empty() && self.is_residue_of(&pour, wiped_g) {
            return self.leaves(pour, wiped_g, at);
        }
        self.wiped_unseen(pour, wiped_g, at)
    }

    /// It may be this one's, or of any that was lifted since the pan was last seen at rest. Where a display never stood level at
    /// it, nobody knows whether there was anything, nor of which.
    fn wiped_unseen(&mut self, pour: Pour, wiped_g: f64, at: Instant) -> Pour {
        let (last, others) = match self.after.unseen.len() as f64 {
            _ if wiped_g.is_finite() => (1.0, 1.0),
            0.0 => (1.0, 0.0),
            others => (WIPED_FOR_LAST, (1.0 - WIPED_FOR_LAST) / others),
        };
        self.unseen_perhaps_left(wiped_g, others.sqrt(), None, at);
        self.perhaps_left(&pour, wiped_g, last.sqrt(), at).unwrap_or(pour)
    }

    /// Beneath a piece that stands there so much went from the pan, g: any that was lifted since that was last seen at rest may
    /// have left it, but for the one that may itself be what stands there.
    pub(super) fn wiped_beneath(&mut self, gone_g: f64, perhaps: Option<u32>, at: Instant) {
        let gone_g = gone_g.min(self.after.unseen_most_g(self.zero_g));
        self.unseen_perhaps_left(gone_g, 1.0, perhaps, at);
    }

    /// Each that was lifted since the pan was last seen at rest, but for this one, may have left so much there, g.
    fn unseen_perhaps_left(&mut self, perhaps_g: f64, share: f64, but: Option<u32>, at: Instant) {
        let mut unseen = std::mem::take(&mut self.after.unseen);
        for one in unseen.iter_mut().filter(|one| Some(one.pour.piece) != but) {
            if let Some(less_sure) = self.perhaps_left(&one.pour, perhaps_g, share, at) {
                one.pour = less_sure;
            }
        }
        self.after.unseen = unseen;
    }

    /// As much as a piece leaves behind, and enough to be worth wiping.
    fn is_residue_of(&self, pour: &Pour, residue_g: f64) -> bool {
        (self.worth_wiping_g()..=residue_most_g(pour)).contains(&residue_g)
    }

    /// Its weight may be off by so much, to one side.
    fn may_be_off(&mut self, mut pour: Pour, residue_g: f64, at: Instant) -> Pour {
        add_doubt(&mut pour, residue_g);
        let was = pour.verdict;
        self.doubts(&mut pour);
        if was != pour.verdict {
            self.remind(Remark::Unsure);
        }
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        self.memory.without(&pour, 0.0);
        self.memory.unsure(pour.piece, EITHER * residue_g);
        pour
    }

    /// The next thing lands. Where nobody saw the bare pan at rest since the lift, as much may lie there as it showed: a splash
    /// beside the piece, or what dripped from its foot.
    pub(super) fn lands(&mut self, at: Instant) {
        self.aim_at(self.next);
        if let Some(mut lifted) = self.after.lifted.take_if(|lifted| lifted.wiped_before_g(at).is_some()) {
            let wiped_g = lifted.wiped_before_g(at).unwrap_or(0.0);
            lifted.pour = self.wiped_off(lifted.pour, wiped_g, at);
            self.after.lifted = Some(lifted);
        } else if let Some(mut lifted) = self.after.lifted.clone() {
            // Where the display had not fallen to it yet, as much may lie there as would have been said.
            let most_g =
                if lifted.tells(at, &self.pan_shown()) { f64::INFINITY } else { self.worth_wiping_g() };
            let perhaps_g = lifted.perhaps_g().min(most_g);
            if let Some(pour) = self.perhaps_left(&lifted.pour, perhaps_g, 1.0, at) {
                lifted.pour = pour;
                self.after.lifted = Some(lifted);
            }
        }
        self.after.handle_landing(self.zero_g, at, self.start.scale.lag);
    }

    pub(super) fn pan_shown(&self) -> PanShown {
        PanShown::of(&self.start.scale, self.threshold_g(), self.start.settings.min_piece.g())
    }

    /// What bore on the pan is gone, and was no piece, or is taken again: a sponge may have taken with it what nobody saw at
    /// rest. Then the pan is looked at as after the lift before.
    pub(super) fn was_no_piece(&mut self, most_g: f64, at: Instant) {
        let Some(Unseen { mut pour, may_be_wiped_g }) = self.after.unseen.pop_back() else { return };
        if most_g - self.zero_g < WIPES_G {
            pour = self.wiped_unseen(pour, may_be_wiped_g, at);
        }
        self.after.handle_lift(&pour);
    }

    /// So much may have lain on the pan of this piece, and nobody saw it at rest, g, in the root of squares by this share; none
    /// where that is not worth a revision.
    fn perhaps_left(&mut self, pour: &Pour, perhaps_g: f64, share: f64, at: Instant) -> Option<Pour> {
        let perhaps_g = share * perhaps_g.min(residue_most_g(pour));
        let matters = EITHER * perhaps_g > MATTERS * pour.net_u.unwrap_or(0.0);
        (perhaps_g > self.seen_g() && matters).then(|| self.may_be_off(pour.clone(), perhaps_g, at))
    }

    /// Less than this on the bare pan is a scale's own wandering, g.
    pub(super) fn seen_g(&self) -> f64 {
        SEEN_G.max(0.9 * self.start.scale.step.g())
    }

    fn worth_wiping_g(&self) -> f64 {
        worth_wiping_g(self.half_width_g(), self.start.scale.step)
    }

    /// What a piece left on the pan did not go with it: taken off its weight.
    fn leaves(&mut self, mut pour: Pour, residue_g: f64, at: Instant) -> Pour {
        let Some(net) = pour.net else { return pour };
        let was = pour.verdict;
        pour.net = Some(net - residue_g);
        // Water of a wet foot was there before the slop: then nothing was to be taken off.
        add_doubt(&mut pour, residue_g);
        pour.verdict = self.judged(&pour, net - residue_g);
        pour.marks = pour.marks.with(Mark::Residue);
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        self.memory.without(&pour, residue_g);
        if was != pour.verdict {
            self.say_verdict(pour.verdict, net - residue_g, at);
        }
        pour
    }
}
