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

impl Table {
    /// These are weighed, anew where others were under way; none: it is left off.
    pub(super) fn weigh(&mut self, things: Option<Things>, reply: &Reply) {
        if things.is_some() && (self.batch.is_some() || self.beginning.is_some()) {
            let why = "a batch is under way: end it first, then weigh";
            return reply.tell(Err(Refusal::Conflict(why.to_owned())));
        }
        // One that was withdrawn is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.weighed = things.map(Weighed::new);
        // They would ask for different things; a calibration that is left off has changed nothing.
        self.routine = self.routine.take().filter(|run| self.weighed.is_none() || !run.goes_on());
        if self.routine.is_none() {
            self.parts.outlet.routine(false);
        }
        self.rounds.handle_news();
        reply.tell(Ok(Answer::Weighed(self.weighed.as_ref().map(view))));
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
