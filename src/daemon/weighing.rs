//! Things weighed one after the other at the table: begun and left off by a wish, led by what the scale shows. Never in a
//! batch; nothing is kept of it but what the page then asks to keep.

use super::event::{Answer, Reply};
use super::table::Table;
use crate::guide::weighed::{Thing, Things, Weighed};
use crate::guide::{Amiss, Want};
use crate::page::desk::Refusal;
use crate::page::view::WeighedView;
use crate::reading::Weighing;
use crate::units::Mass;

/// What leads somebody at the pan where no batch is under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum AtPan {
    /// A calibration against masses.
    Calibration,
    /// A check with one mass.
    Check,
    /// The test of how late the scale shows.
    Test,
    /// Things weighed one after the other.
    Weighing,
}

impl AtPan {
    fn goes_on(self) -> Refusal {
        let (what, path) = match self {
            Self::Calibration => ("a calibration of the scale", "/api/scale/calibrate"),
            Self::Check => ("a check of the scale", "/api/scale/check"),
            Self::Test => ("the test of how late the scale is", "/api/scale/lag"),
            Self::Weighing => ("weighing thing after thing", "/api/scale/weigh"),
        };
        Refusal::Conflict(format!(
            "{what} is under way and goes on: let it end, or leave it off first, on its page or with {{\"off\": true}} to {path}"
        ))
    }
}

impl Table {
    /// These are weighed, anew where others were under way; none: it is left off.
    pub(super) fn weigh(&mut self, things: Option<Things>, reply: &Reply) {
        if let Some(refusal) = things.as_ref().and_then(|_| self.may_weigh().err()) {
            return reply.tell(Err(refusal));
        }
        // One that was withdrawn is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.weighed = things.map(Weighed::new);
        self.rounds.handle_news();
        reply.tell(Ok(Answer::Weighed(self.weighed.as_ref().map(view))));
    }

    fn may_weigh(&self) -> Result<(), Refusal> {
        if self.batch.is_some() || self.beginning.is_some() {
            let why = "a batch is under way: end it first, then weigh";
            return Err(Refusal::Conflict(why.to_owned()));
        }
        self.pan_is_free_for(AtPan::Weighing)
    }

    /// Two things at the pan would ask for different loads: what is under way goes on, unless it is this very thing, which
    /// may be begun anew.
    pub(super) fn pan_is_free_for(&self, wished: AtPan) -> Result<(), Refusal> {
        let routine = self.routine.as_ref().filter(|run| run.goes_on());
        let under_way = [
            routine.map(|run| if run.is_check() { AtPan::Check } else { AtPan::Calibration }),
            self.test.as_ref().filter(|test| test.found().is_none()).map(|_| AtPan::Test),
            self.weighed.as_ref().filter(|weighed| !weighed.is_done()).map(|_| AtPan::Weighing),
        ];
        let other = under_way.into_iter().flatten().find(|what| *what != wished || routine.is_some());
        other.map_or(Ok(()), |what| Err(what.goes_on()))
    }

    /// The pan shows this to what is weighed.
    pub(super) fn follow_weighed(&mut self, w: Weighing, rest: Option<Mass>) {
        if self.weighed.as_mut().is_some_and(|weighed| weighed.handle_weighing(w, rest)) {
            self.rounds.handle_news();
        }
    }
}

/// Where it stands.
pub(super) fn view(weighed: &Weighed) -> WeighedView {
    let wants = match weighed.guide().want() {
        _ if weighed.is_done() => "done",
        None => "done",
        Some(Want::Bare) => "bare",
        Some(Want::On { .. } | Want::Again) => "on",
        Some(Want::Off) => "off",
    };
    WeighedView {
        things: weighed.things().iter().map(|thing| thing.word()).collect(),
        grams: weighed.grams().to_vec(),
        thing: weighed.thing().filter(|_| !weighed.is_done()).map(Thing::word),
        wants,
        amiss: weighed.guide().amiss().map(Amiss::word),
    }
}
