//! After a lift: what was left on the pan, and what is worth knowing between two pieces.

use super::done::EITHER;
use super::engine::{Engine, Start};
use super::entry::{Cue, CueCall, Output};
use super::landing::Landing;
use super::lifted::{Lifted, PanShown};
use super::remark::Remark;
use super::state::{Pour, State};
use crate::reading::Weighing;
use crate::record::Mark;
use crate::settle::pan::{BarePan, worth_wiping_g};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// Of a pour no more than this share is taken for what it left on the pan, and no more than so many grams:
/// a sponge laid down is more (guesses).
const RESIDUE_SHARE: f64 = 0.25;
pub(super) const RESIDUE_MOST_G: f64 = 10.0;
/// Less than this on the bare pan is a scale's own wandering, g (common practice, no source).
const SEEN_G: f64 = 0.25;
/// A remark on a piece that stands there follows its `ready` by so much, or what was said at a lift: the two are heard
/// one after the other.
const AFTER_READY: Duration = Duration::from_millis(350);

/// An uncertainty that adds less than this share of what is said already is not worth a revision (a tenth in the root of
/// squares).
const MATTERS: f64 = 0.5;
/// Of so many pieces at most a revision is written at once: a board of ware, and fewer than the log takes in one go (its
/// queue holds 64). What was lifted before has its remains in the tare of the next ones.
const UNSEEN_MOST: usize = 12;

/// What waits for the end of a piece.
#[derive(Clone, Debug)]
pub(super) struct After {
    /// A piece was lifted with slop in it, and the bare pan has not been at rest since.
    lifted: Option<Lifted>,
    /// Worth saying, oldest first.
    remarks: VecDeque<Remark>,
    /// Pieces lifted since the bare pan was last seen at rest: what lies on it may be of any of them.
    unseen: VecDeque<Pour>,
    /// The least that the pan showed since the lift, where the next thing landed before it was at rest, g.
    passing_g: Option<f64>,
    /// A remark has waited for a whole piece.
    waited: bool,
    /// Readings since the lift, while the pan looks bare.
    since: Landing,
    /// The bare pan, and what is left on it where that is worth saying.
    pan: BarePan,
    left: Option<Mass>,
    /// The same as it was when the pan last rested.
    lay: Option<Mass>,
    /// What of it was said.
    said: Mass,
}

impl After {
    /// Before the first piece.
    pub(super) fn new(start: &Start) -> Self {
        let tolerance = Mass::saturating(0.5 * (start.high - start.low).g());
        Self {
            lifted: None,
            remarks: VecDeque::new(),
            unseen: VecDeque::new(),
            passing_g: None,
            waited: false,
            since: Landing::default(),
            pan: BarePan::new(start.zero, tolerance, start.scale.step, start.settings.min_piece),
            left: None,
            lay: None,
            said: Mass::ZERO,
        }
    }

    /// The clean pan counts for so much more from now on, g.
    pub(super) fn shift(&mut self, by_g: f64) {
        self.pan.shift(by_g);
    }

    /// A piece leaves the pan with slop in it.
    pub(super) fn handle_lift(&mut self, pour: &Pour) {
        self.lifted = Some(Lifted::of(pour));
        self.since = Landing::default();
    }

    /// The next piece lands before the bare pan was seen at rest.
    fn handle_landing(&mut self, zero_g: f64) {
        self.waited = !self.remarks.is_empty();
        let Some(lifted) = self.lifted.take() else { return };
        self.passing_g = Some(lifted.lowest_g() + zero_g).filter(|g| g.is_finite());
        self.unseen.push_back(lifted.pour);
        if self.unseen.len() > UNSEEN_MOST {
            self.unseen.pop_front();
        }
    }

    /// It came back: what is left on the pan is looked for when it is lifted again.
    pub(super) fn forget(&mut self, piece: u32) {
        self.unseen.retain(|pour| pour.piece != piece);
        self.lifted.take_if(|lifted| lifted.pour.piece == piece);
    }

    /// More is left on the pan than was said, by as much as is worth saying.
    fn is_news(&mut self) -> bool {
        let Some(left) = self.left else {
            self.said = Mass::ZERO;
            return false;
        };
        let more = self.pan.is_worth_saying(left, self.said);
        self.said = if more { left } else { self.said };
        more
    }

    /// What lay on the pan as the piece landed, as far as it was worth saying or was not seen at rest, g.
    pub(super) fn lay_g(&self, zero_g: f64) -> f64 {
        self.lay.map_or(0.0, Mass::g).max(self.unseen_most_g(zero_g))
    }

    /// What may lie on the pan since it was last seen at rest, g: a piece left and something landed at once.
    pub(super) fn unseen_most_g(&self, zero_g: f64) -> f64 {
        self.passing_g.map_or(0.0, |lowest_g| (lowest_g - zero_g).clamp(0.0, RESIDUE_MOST_G))
    }
}

impl Engine {
    /// What is left on the bare pan at rest, where that is worth saying.
    pub fn left_on_pan(&self) -> Option<Mass> {
        self.after.left.filter(|_| matches!(self.state, State::Idle))
    }

    /// Looks at the bare pan: what was wiped off or has come.
    pub(super) fn look_at_pan(&mut self) {
        let rest = self.at_rest().map(Mass::saturating);
        self.after.left = rest.and_then(|rest| self.after.pan.handle_rest(rest));
        if rest.is_some() {
            self.after.lay = self.after.left;
        }
    }

    /// Between two pieces: the next one has no record yet.
    pub fn takes_number(&self) -> bool {
        self.state.pour().is_none()
    }

    /// Said once the next piece has been lifted, and once only.
    pub(super) fn remind(&mut self, remark: Remark) {
        if self.after.remarks.contains(&remark) {
            return;
        }
        match remark {
            // There may be no next lift to say it after.
            Remark::Full => self.after.remarks.push_front(remark),
            Remark::Wipe
            | Remark::OtherWare
            | Remark::Voided
            | Remark::Stir
            | Remark::Measure
            | Remark::Check
            | Remark::Jug => self.after.remarks.push_back(remark),
        }
    }

    /// Whoever works so quickly that the bare pan never rests hears at the lift what waited for it.
    pub(super) fn say_what_waited(&mut self, at: Instant) {
        if std::mem::take(&mut self.after.waited)
            && let Some(remark) = self.after.remarks.pop_front()
        {
            self.note_due(remark, at, at + self.hearing.ahead + AFTER_READY);
        }
    }

    /// Says what is worth knowing and asks nothing of the hand.
    pub(super) fn note(&mut self, about: Remark, at: Instant) {
        self.note_due(about, at, at + self.hearing.ahead);
    }

    /// The piece that is ready weighs unlike the others: said before slop is in it.
    pub(super) fn note_other_ware(&mut self, at: Instant) {
        self.note_due(Remark::OtherWare, at, at + self.hearing.ahead + AFTER_READY);
    }

    fn note_due(&mut self, about: Remark, at: Instant, due: Instant) {
        self.call(CueCall { n: 0, cue: Cue::Note, at, due, left: None, piece: 0, about: Some(about) });
    }

    /// Slop runs on a pan that looks bare: the display went to zero with the piece on it, or the hand pours on.
    pub(super) fn runs_on_bare_pan(&mut self, w: Weighing) -> bool {
        if self.after.lifted.is_none() {
            return false;
        }
        self.after.since.note(w);
        self.after.since.climbs(self.start.scale.reading_sd_g()).is_some()
    }

    /// The first rest of the bare pan after a piece: one remark at most.
    pub(super) fn look_after(&mut self, w: Weighing) {
        let (zero_g, least_g) = (self.zero_g, self.start.settings.min_piece.g());
        let pan = self.pan_shown();
        let ends_at_g = self.after.since.ends_at_g().map(|g| g - zero_g);
        let Some(lifted) = &mut self.after.lifted else { return };
        lifted.note((w.taken_at, w.mass.g() - zero_g), ends_at_g, &pan);
        let lowest_g = lifted.lowest_g() + zero_g;
        let Some(rest) = self.at_rest().filter(|rest| *rest - self.zero_g < least_g) else { return };
        let Some(Lifted { mut pour, borne, .. }) = self.after.lifted.take() else { return };
        if let Some(borne) = borne {
            let wiped_g = borne.most_g - (rest - self.zero_g).max(0.0);
            pour = self.wiped_off(pour, wiped_g, w.arrived_at);
        }
        let unseen = std::mem::take(&mut self.after.unseen);
        self.after.passing_g = None;
        let residue_g = rest - self.zero_g;
        if residue_g > self.seen_g() {
            // What was laid down later is no residue: the pan had been lighter.
            let stayed = lowest_g > rest - self.threshold_g();
            self.lies_there(pour, unseen, residue_g, stayed, w.arrived_at);
        }
        // After the last piece nothing more is poured onto what lies there: the page shows it.
        let full = self.after.remarks.front() == Some(&Remark::Full);
        if self.after.is_news() && !full {
            return self.note(Remark::Wipe, w.arrived_at);
        }
        if let Some(remark) = self.after.remarks.pop_front() {
            self.note(remark, w.arrived_at);
        }
    }

    /// Something lies on the bare pan: of the piece that left, of one before it, or of none.
    fn lies_there(&mut self, pour: Pour, unseen: VecDeque<Pour>, residue_g: f64, stayed: bool, at: Instant) {
        if stayed && unseen.is_empty() && self.is_residue_of(&pour, residue_g) {
            self.leaves(pour, residue_g, at);
            return;
        }
        if stayed && residue_g <= RESIDUE_MOST_G {
            for perhaps in unseen.into_iter().chain([pour]) {
                self.may_have_left(perhaps, residue_g, at);
            }
        }
    }

    /// A sponge took what it may have left before that was seen at rest: where a display had stood level at it, it was that.
    fn wiped_off(&mut self, pour: Pour, wiped_g: f64, at: Instant) -> Pour {
        if self.after.unseen.is_empty() && self.is_residue_of(&pour, wiped_g) {
            return self.leaves(pour, wiped_g, at);
        }
        self.perhaps_left(&pour, wiped_g, at).unwrap_or(pour)
    }

    /// As much as a piece leaves behind, and enough to be worth wiping.
    fn is_residue_of(&self, pour: &Pour, residue_g: f64) -> bool {
        let most_g = (RESIDUE_SHARE * pour.net.unwrap_or(0.0)).min(RESIDUE_MOST_G);
        (self.worth_wiping_g()..=most_g).contains(&residue_g)
    }

    /// Its weight may be too great by so much.
    fn may_have_left(&mut self, mut pour: Pour, residue_g: f64, at: Instant) -> Pour {
        pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * residue_g));
        self.doubts(&mut pour);
        pour.rev += 1;
        self.outputs.push_back(Output::Entry(pour.entry(at)));
        self.memory.without(&pour, 0.0);
        pour
    }

    /// The next thing lands. Where nobody saw the bare pan at rest since the lift, as much may lie there as it showed: a splash
    /// beside the piece, or what dripped from its foot.
    pub(super) fn lands(&mut self, at: Instant) {
        self.aim_at(self.next);
        if let Some(mut lifted) = self.after.lifted.take_if(|lifted| lifted.wiped_g(at).is_some()) {
            let wiped_g = lifted.wiped_g(at).unwrap_or(0.0);
            lifted.pour = self.wiped_off(lifted.pour, wiped_g, at);
            self.after.lifted = Some(lifted);
        } else if let Some(mut lifted) = self.after.lifted.clone() {
            // Where the display had not fallen to it yet, as much may lie there as would have been said.
            let most_g =
                if lifted.tells(at, &self.pan_shown()) { f64::INFINITY } else { self.worth_wiping_g() };
            let perhaps_g = lifted.perhaps_g().min(most_g);
            if let Some(pour) = self.perhaps_left(&lifted.pour, perhaps_g, at) {
                lifted.pour = pour;
                self.after.lifted = Some(lifted);
            }
        }
        self.after.handle_landing(self.zero_g);
    }

    fn pan_shown(&self) -> PanShown {
        PanShown::of(&self.start.scale, self.threshold_g(), self.start.settings.min_piece.g())
    }

    /// What bore on the pan is gone, and was no piece: a sponge may have taken with it what nobody saw at rest.
    pub(super) fn was_no_piece(&mut self, at: Instant) {
        for pour in std::mem::take(&mut self.after.unseen) {
            self.perhaps_left(&pour, f64::INFINITY, at);
        }
    }

    /// So much may have lain on the pan of this piece, and nobody saw it at rest, g; none where that is not worth a revision.
    fn perhaps_left(&mut self, pour: &Pour, perhaps_g: f64, at: Instant) -> Option<Pour> {
        let most_g = (RESIDUE_SHARE * pour.net?).clamp(0.0, RESIDUE_MOST_G);
        let perhaps_g = perhaps_g.min(most_g);
        let matters = EITHER * perhaps_g > MATTERS * pour.net_u.unwrap_or(0.0);
        (perhaps_g > self.seen_g() && matters).then(|| self.may_have_left(pour.clone(), perhaps_g, at))
    }

    /// Less than this on the bare pan is a scale's own wandering, g.
    fn seen_g(&self) -> f64 {
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
        pour.net_u = Some(pour.net_u.unwrap_or(0.0).hypot(EITHER * residue_g));
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
