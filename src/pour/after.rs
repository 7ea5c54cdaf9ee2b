//! After a lift: what was left on the pan, and what is worth knowing between two pieces.

use super::engine::{Engine, Start};
use super::entry::{Cue, CueCall};
use super::landing::Landing;
use super::lifted::{LANDS_WITHIN, Lifted};
use super::remark::Remark;
use super::residue::RESIDUE_MOST_G;
use super::state::{Pour, State};
use crate::reading::Weighing;
use crate::settle::pan::BarePan;
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// A remark on a piece that stands there follows its `ready` by so much, or what was said at a lift: the two are heard
/// one after the other.
const AFTER_READY: Duration = Duration::from_millis(350);

/// Of so many pieces at most a revision is written at once: a board of ware, and fewer than the log takes in one go (its
/// queue holds 64). What was lifted before has its remains in the tare of the next ones.
const UNSEEN_MOST: usize = 12;

/// A piece lifted before the bare pan was seen at rest, and at most so much that may be wiped off meanwhile, g.
#[derive(Clone, Debug)]
pub(super) struct Unseen {
    pub(super) pour: Pour,
    pub(super) may_be_wiped_g: f64,
}

/// What waits for the end of a piece.
#[derive(Clone, Debug)]
pub(super) struct After {
    /// A piece was lifted with slop in it, and the bare pan has not been at rest since.
    pub(super) lifted: Option<Lifted>,
    /// Worth saying, oldest first.
    remarks: VecDeque<Remark>,
    /// Pieces lifted since the bare pan was last seen at rest: what lies on it may be of any of them.
    pub(super) unseen: VecDeque<Unseen>,
    /// When the bare pan was last seen at rest, how much lay there as the next piece landed, g, and whether that may have been
    /// wiped off just before: nobody saw it at rest in between.
    rested: Option<Instant>,
    pub(super) under_g: f64,
    may_be_wiped: bool,
    /// The least that the pan showed since the lift, where the next thing landed before it was at rest, g.
    pub(super) passing_g: Option<f64>,
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
            rested: None,
            under_g: 0.0,
            may_be_wiped: false,
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

    /// The bare pan is at rest.
    pub(super) fn rests(&mut self, at: Instant) {
        self.rested = Some(at);
    }

    /// A bare piece that stands there weighs so much more from now on, g: of what lay beneath it so much was wiped off.
    pub(super) fn handle_fall_beneath(&mut self, change_g: f64, zero_g: &mut f64) {
        let wiped_g = (-change_g).clamp(0.0, self.under_g);
        (self.under_g, *zero_g) = (self.under_g - wiped_g, *zero_g - wiped_g);
    }

    /// The next piece lands before the bare pan was seen at rest.
    pub(super) fn handle_landing(&mut self, zero_g: f64, at: Instant, lag: Duration) {
        self.waited = !self.remarks.is_empty();
        let rests = self.rested.is_none_or(|rested| at.since(rested) <= LANDS_WITHIN + lag);
        (self.under_g, self.may_be_wiped) = (self.lay.map_or(0.0, Mass::g), !rests);
        let Some(lifted) = self.lifted.take() else { return };
        self.passing_g = Some(lifted.lowest_g() + zero_g).filter(|g| g.is_finite());
        let may_be_wiped_g = lifted.may_be_wiped_g();
        self.unseen.push_back(Unseen { pour: lifted.pour, may_be_wiped_g });
        if self.unseen.len() > UNSEEN_MOST {
            self.unseen.pop_front();
        }
    }

    /// Its record was revised.
    pub(super) fn renew(&mut self, pour: &Pour) {
        let lifted = self.lifted.iter_mut().map(|lifted| &mut lifted.pour);
        let all = lifted.chain(self.unseen.iter_mut().map(|unseen| &mut unseen.pour));
        all.filter(|one| one.piece == pour.piece).for_each(|one| *one = pour.clone());
    }

    /// It came back: what is left on the pan is looked for when it is lifted again.
    pub(super) fn forget(&mut self, piece: u32) {
        self.unseen.retain(|unseen| unseen.pour.piece != piece);
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

    /// How far the pan's zero beneath what landed may be off the one last seen, down and up, g: wiped since, or with what a piece
    /// left that nobody saw at rest.
    pub(super) fn beneath_g(&self, zero_g: f64) -> (f64, f64) {
        (self.wiped_g(), self.unseen_most_g(zero_g))
    }

    pub(super) fn wiped_g(&self) -> f64 {
        if self.may_be_wiped { self.under_g } else { 0.0 }
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
        self.state.pour().is_none() && self.unwritten.is_none()
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
            | Remark::Jug
            | Remark::Unsure => self.after.remarks.push_back(remark),
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

    /// More lies on the pan than a piece leaves there, and less than one weighs, and slop runs into it: it was never tared.
    pub(super) fn fills_what_is_too_light(&self, w: Weighing) -> bool {
        let bare_g = self.start.zero.g();
        let by_now = w.mass.g() - bare_g > self.start.settings.min_piece.g();
        by_now && self.zero_g - bare_g > RESIDUE_MOST_G && self.climbing().is_some()
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
        let Some(lifted) = self.after.lifted.take() else { return };
        // What was laid down later is no residue: the pan had been lighter.
        let stayed = lowest_g > rest - self.threshold_g();
        self.pan_rests(lifted, rest, stayed, w.arrived_at);
        // After the last piece nothing more is poured onto what lies there: the page shows it.
        let full = self.after.remarks.front() == Some(&Remark::Full);
        if self.after.is_news() && !full {
            return self.note(Remark::Wipe, w.arrived_at);
        }
        if let Some(remark) = self.after.remarks.pop_front() {
            self.note(remark, w.arrived_at);
        }
    }
}
