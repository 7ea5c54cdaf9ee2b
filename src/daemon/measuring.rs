//! The response test of the scale at the table: begun and left off by a wish, led by what the scale shows, kept when it is
//! done. Never in a batch.

use super::event::{Answer, Reply};
use super::lateness;
use super::open::not_done;
use super::table::Table;
use super::weighing::AtPan;
use crate::guide::lag::LagTest;
use crate::page::desk::Refusal;
use crate::reading::Weighing;
use crate::store::Write;
use crate::units::Mass;

impl Table {
    /// A test begins, anew where one is under way; `off`: it is left off.
    pub(super) fn test_scale(&mut self, off: bool, reply: &Reply) {
        if let Err(refusal) = self.may_test(off) {
            return reply.tell(Err(refusal));
        }
        // One that was withdrawn is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.test = (!off).then(|| LagTest::new(self.parts.scale.clone()));
        self.rounds.handle_news();
        reply.tell(Ok(Answer::Test(self.test.as_ref().map(lateness::test))));
    }

    fn may_test(&self, off: bool) -> Result<(), Refusal> {
        if off {
            return Ok(());
        }
        if self.batch.is_some() || self.beginning.is_some() {
            let why = "a batch is under way: end it first, then test the scale";
            return Err(Refusal::Conflict(why.to_owned()));
        }
        self.pan_is_free_for(AtPan::Test)?;
        self.log.trouble().map_or(Ok(()), |why| Err(not_done(&why)))
    }

    /// The pan shows this to the test under way.
    pub(super) fn follow_test(&mut self, w: Weighing, rest: Option<Mass>) {
        let Some(test) = &mut self.test else { return };
        if !test.handle_weighing(w, rest) {
            return;
        }
        if let Some(found) = test.found() {
            let (scale, lag) = (self.parts.scale.id.clone(), lateness::measured(found));
            // It counts from when it is on disk.
            self.log.add(Write::Lag { scale, lag });
        }
    }

    /// How late a scale shows is on disk.
    pub(super) fn follow_lag(&mut self, write: &Write) {
        let kept = match write {
            Write::Lag { scale, lag } if *scale == self.parts.scale.id => Some(lag),
            Write::Pour { pour, lag, .. } if pour.scale == self.parts.scale.id => lag.as_ref(),
            Write::Lag { .. }
            | Write::Pour { .. }
            | Write::BatchCreated(_)
            | Write::BatchBegun { .. }
            | Write::BatchEnded { .. }
            | Write::PourOpened(_)
            | Write::PourVoided(_)
            | Write::PourAgain { .. }
            | Write::NumberLeftOut { .. }
            | Write::Spare(_)
            | Write::Jug(_)
            | Write::Shelf(_)
            | Write::Calibration(_)
            | Write::History(_)
            | Write::Retargeted(..)
            | Write::Trace { .. }
            | Write::PourDropped { .. } => None,
        };
        if let Some(lag) = kept {
            self.lag = Some(lag.clone());
        }
    }
}
