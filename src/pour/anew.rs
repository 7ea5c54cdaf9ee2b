//! A piece that is lifted without slop and set down again at once: the word of a hand that heard what it was taken for.
//!
//! A weight alone does not always say whether a bare piece or one that was lifted has come to rest. What is assumed is said:
//! `ready` for a bare one, `short` for one that wants more, `over` for one that holds too much. Who hears the wrong one lifts it and
//! sets it down again.

use super::engine::Engine;
use super::kept::Kept;
use super::put_back::Back;
use super::recognised::Landed;
use super::state::Pour;
use crate::record::Verdict;
use crate::time::{Duration, Instant};

/// Lifted to be set down again it is back within so long; taken elsewhere it is not (a guess).
pub(super) const AT_ONCE: Duration = Duration::from_secs(5);
/// So many times oftener it is lifted without slop and set down again where it was taken for the wrong one than where it was taken
/// rightly: one in two, and one in a hundred that was set down badly (guesses).
pub(super) const WRONGLY: f64 = 50.0;

/// What was lifted without slop, and may be set down again.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Anew {
    /// What it weighed, gross, and when it was lifted.
    pub(super) gross_g: f64,
    pub(super) lifted_at: Instant,
    /// So many times likelier than its weight says it is one that was lifted with slop in it.
    pub(super) times: f64,
    /// The one it was taken for, as that was remembered before.
    pub(super) taken_for: Option<Box<Kept>>,
    /// What is to be said of it, and of which net g, unless it is set down again: of which piece a cue is would not be clear then.
    pub(super) unsaid: Option<(Verdict, f64)>,
    /// It was taken for that one because it was set down again, and got nothing then.
    pub(super) in_vain: bool,
}

impl Anew {
    fn lifted(gross_g: f64, at: Instant, times: f64, taken_for: Option<Kept>) -> Self {
        let taken_for = taken_for.map(Box::new);
        Self { gross_g, lifted_at: at, times, taken_for, unsaid: None, in_vain: false }
    }
}

impl Engine {
    /// It was taken for a bare piece, and leaves without slop.
    pub(super) fn left_bare(&mut self, gross_g: f64, at: Instant) {
        let times = self.times_at(gross_g) * WRONGLY;
        self.memory.anew = Some(Anew::lifted(gross_g, at, times, None));
    }

    /// It was taken for this one, and that was said; it leaves without more slop.
    pub(super) fn left_as_it_was(&mut self, back: &Back, at: Instant) {
        let times = self.times_at(back.gross_g) / WRONGLY;
        let left = Anew::lifted(back.gross_g, at, times, Some(back.perhaps.kept.clone()));
        self.memory.anew = Some(Anew { in_vain: back.perhaps.told, ..left });
    }

    /// It got its `ready`, and left without slop: it was this one; `unsaid` of it.
    pub(super) fn was_taken_for(
        &mut self,
        before: Kept,
        gross_g: f64,
        unsaid: Option<(Verdict, f64)>,
        at: Instant,
    ) {
        let times = self.times_at(gross_g) * WRONGLY;
        self.memory.anew = Some(Anew { unsaid, ..Anew::lifted(gross_g, at, times, Some(before)) });
    }

    /// It was taken for one that was lifted because its potter asked for that, and got nothing: nobody knows which one it was.
    pub(super) fn was_asked_for_in_vain(&mut self, at: Instant) {
        let Some(anew) = self.memory.anew.take_if(|anew| anew.in_vain) else { return };
        let Some(was) = anew.taken_for else { return };
        self.was_not_put_back(&was, at);
        if let Some(held) = was.held(anew.gross_g) {
            self.may_hold_more(held, 0.0, &[Verdict::Good, Verdict::Short, Verdict::Over], at);
        }
    }

    /// This one has again what it had, as far as it is still remembered.
    fn was_not_put_back(&mut self, was: &Kept, at: Instant) {
        if let Some(rev) = self.memory.of(was.pour.piece).map(|kept| kept.pour.rev) {
            self.gives_back(was, rev, at);
        }
    }

    /// It was not set down again: what its weight was is said.
    pub(super) fn say_what_left(&mut self, now: Instant) {
        let Some(anew) = self.memory.anew.as_mut().filter(|anew| now.since(anew.lifted_at) > AT_ONCE) else {
            return;
        };
        if let Some((verdict, net)) = anew.unsaid.take() {
            self.say_verdict(verdict, net, now);
        }
        self.was_asked_for_in_vain(now);
    }

    /// Those that were lifted; the one that was taken for what stands there again as it was before.
    pub(super) fn may_come_back(&self, gross_g: f64) -> Vec<Kept> {
        let before = self.set_anew(gross_g).and_then(|anew| anew.taken_for.as_deref());
        let as_it_was = |now: &Kept| match before.filter(|before| before.pour.piece == now.pour.piece) {
            Some(before) => {
                Kept { pour: Pour { rev: now.pour.rev, ..before.pour.clone() }, ..before.clone() }
            }
            None => now.clone(),
        };
        self.memory.kept.iter().map(as_it_was).collect()
    }

    /// What has come to rest at this weight is what was lifted last, without slop.
    pub(super) fn set_anew(&self, gross_g: f64) -> Option<&Anew> {
        let within_g = self.placed_within_g(gross_g) * std::f64::consts::SQRT_2;
        let same = |anew: &&Anew| {
            self.landed_at.since(anew.lifted_at) <= AT_ONCE && (anew.gross_g - gross_g).abs() <= within_g
        };
        self.memory.anew.as_ref().filter(same)
    }

    /// So many times likelier than its weight says it is one that was lifted.
    pub(super) fn times_at(&self, gross_g: f64) -> f64 {
        self.set_anew(gross_g).map_or(1.0, |anew| anew.times)
    }

    /// Its potter was told that it is this one, and set it down again: it is not, however much it weighs like it.
    pub(super) fn is_said_not_to_be(&self, kept: &Kept, gross_g: f64) -> bool {
        let denied = self.set_anew(gross_g).filter(|anew| anew.times < 1.0);
        denied.and_then(|anew| anew.taken_for.as_ref()).is_some_and(|was| was.pour.piece == kept.pour.piece)
    }

    /// It was set down again so often that it is hardly a bare one, and it may be one of which nobody knows what it holds.
    pub(super) fn is_denied(&self, gross_g: f64) -> bool {
        let unknown = |kept: &Kept| kept.pour.verdict == Verdict::Void && kept.held(gross_g).is_some();
        self.times_at(gross_g) >= WRONGLY * WRONGLY && self.memory.kept.iter().any(unknown)
    }

    /// Slop runs before anything was said of it: that it was set down again is no word.
    pub(super) fn was_told_nothing(&mut self) {
        if let Some(anew) = &mut self.memory.anew {
            anew.times = 1.0;
        }
    }

    /// Set down again it is taken for a bare one, or for another than it was: that one has again what it had.
    pub(super) fn was_another(&mut self, now: &Landed, gross_g: f64, at: Instant) {
        let now = match now {
            Landed::New => None,
            Landed::Perhaps(perhaps) | Landed::Same(perhaps) => Some(perhaps.kept.pour.piece),
        };
        if self.set_anew(gross_g).is_none() {
            return;
        }
        let taken_for = self.memory.anew.as_mut().map(|anew| &mut anew.taken_for);
        let other = |was: &mut Box<Kept>| now != Some(was.pour.piece);
        if let Some(was) = taken_for.and_then(|was| was.take_if(other)) {
            self.was_not_put_back(&was, at);
        }
    }
}
