//! The potter's own glazes, forms and coats, and a bucket that changed under a batch.

use super::event::{Answer, Reply};
use super::open::not_done;
use super::table::Table;
use super::under_way::{Batch, measured};
use crate::batch::supply::{Refill, refilled, stock_of, with_slop_of};
use crate::page::desk::Refusal;
use crate::page::view::SlopView;
use crate::record::{BatchRecord, ShelfRecord, Slop, SlopCame};
use crate::store::Write;
use crate::units::Mass;

impl Table {
    /// New versions on their shelves.
    pub(super) fn put(&mut self, records: Vec<ShelfRecord>, reply: Reply) {
        match self.log.trouble() {
            Some(why) => reply.tell(Err(not_done(&why))),
            None => drop(self.log.ask(Write::Shelf(records), reply, Answer::Kept)),
        }
    }

    /// What the further pieces of a batch should get: from when it is on disk.
    pub(super) fn retarget(&mut self, mut batch: BatchRecord, reply: Reply) {
        let on_pan = self.batch.as_ref().is_some_and(|b| b.record.id == batch.id && !b.idle());
        let refusal = match self.log.trouble() {
            // What it should get, and how much of that is dry, is told by the bucket it was poured from.
            _ if on_pan => {
                let why =
                    "a piece stands on the scale: lift it off first, then say that the bucket has changed";
                Some(Refusal::Conflict(why.to_owned()))
            }
            _ if self.has_ended(&batch) => Some(ended(&batch)),
            Some(why) => Some(not_done(&why)),
            None => self.batch.as_ref().filter(|b| b.record.id == batch.id).and_then(changing),
        };
        if let Some(refusal) = refusal {
            return reply.tell(Err(refusal));
        }
        if let Some(running) = self.batch.as_ref().filter(|b| b.record.id == batch.id) {
            // It may have been refilled since this was asked for.
            batch.request = with_slop_of(&batch.request, &running.record.request);
        }
        self.change(Write::Retargeted(batch, None), reply, Answer::Kept);
    }

    /// The jug was refilled, or there is new slop: counted on from there once it is on disk.
    pub(super) fn refill(&mut self, batch: &BatchRecord, refill: Refill, reply: Reply) {
        let trouble = self.log.trouble();
        let under_way = self.batch.as_ref().filter(|b| b.record.id == batch.id);
        let told = match (under_way, trouble) {
            (None, _) if self.has_ended(batch) => Err(ended(batch)),
            (None, _) => Err(Refusal::Conflict(format!(
                "the batch '{}' is not under way: begin it, then say what is there",
                batch.name
            ))),
            (Some(_), Some(why)) => Err(not_done(&why)),
            (Some(batch), None) => batch.refilled(refill),
        };
        match told {
            Err(refusal) => reply.tell(Err(refusal)),
            Ok((record, slop)) => {
                let told = match refill {
                    Refill::Now(there) => Slop::There(there),
                    Refill::Added(came) => Slop::Came(came),
                };
                let came = SlopCame { slop: told, at: self.parts.clock.wall() };
                self.change(Write::Retargeted(record, Some(came)), reply, Answer::Slop(slop));
            }
        }
    }

    /// It has, on disk or in what is on its way there.
    pub(super) fn has_ended(&self, batch: &BatchRecord) -> bool {
        batch.ended_at.is_some() || self.log.ended(&batch.id).is_some()
    }

    fn change(&mut self, write: Write, reply: Reply, answer: Answer) {
        let under_way = self.batch.as_mut().filter(|b| is_of(&write, &b.record.id));
        let ticket = self.log.ask(write, reply, answer);
        under_way.into_iter().for_each(|batch| batch.changing = Some(ticket));
    }

    /// The disk took such a change, or refused it.
    pub(super) fn changed(&mut self, ticket: u64) {
        if let Some(batch) = self.batch.as_mut().filter(|b| b.changing == Some(ticket)) {
            batch.changing = None;
        }
    }

    /// It is: the piece on the pan keeps what it should get.
    pub(super) fn follow_bucket(&mut self, write: &Write) {
        let Write::Retargeted(new, _) = write else { return };
        if let Some(batch) = self.batch.as_mut().filter(|b| b.record.id == new.id) {
            // What was begun or named meanwhile stays.
            let old = &mut batch.record;
            (old.target, old.low, old.high) = (new.target, new.low, new.high);
            (old.solids_fraction, old.bucket) = (new.solids_fraction, new.bucket);
            old.measured_at = new.measured_at;
            old.ladder.clone_from(&new.ladder);
            old.request.clone_from(&new.request);
            let before = std::mem::replace(&mut batch.stock, stock_of(&new.request));
            let other_slop = before != batch.stock;
            batch.pieces.handle_bucket(new.solids_fraction);
            batch.reminders.handle_measured(measured(&batch.record));
            batch.coarse = super::open::too_coarse(&self.parts.scale, &batch.record);
            self.renumber();
            if other_slop {
                self.slop_came();
            }
        }
    }
}

/// It changes this batch's bucket or slop.
fn is_of(write: &Write, id: &str) -> bool {
    matches!(write, Write::Retargeted(batch, _) if batch.id == id)
}

/// Nothing of it is changed any more.
pub(super) fn ended(batch: &BatchRecord) -> Refusal {
    Refusal::Conflict(format!("the batch '{}' has ended: make a new one", batch.name))
}

/// Two changes at once would each forget the other.
fn changing(batch: &Batch) -> Option<Refusal> {
    let why = "another change of the bucket or its slop is just being written: ask again in a moment";
    batch.changing.map(|_| Refusal::Conflict(why.to_owned()))
}

/// The most slop that a batch may tell of, g.
const MOST_SLOP_G: f64 = 1e6;

impl Batch {
    /// The record with its slop told anew, and what is left then.
    fn refilled(&self, refill: Refill) -> Result<(BatchRecord, SlopView), Refusal> {
        let refused = |why: &str| Err(Refusal::Conflict(why.to_owned()));
        if self.stock.is_none() {
            return refused(
                "this batch was made without saying how much slop there is, so nothing is counted down: say it with the \
                 next one (at hand, in 'Is the slop enough?')",
            );
        }
        // What is in the piece by now, and what still runs into it, nobody who looks into the jug can tell.
        if matches!(refill, Refill::Now(_)) && !self.idle() {
            return refused(
                "a piece stands on the scale: lift it off first, then say how much is there; how much was added may be \
                 said at any time",
            );
        }
        if let Some(refusal) = changing(self) {
            return Err(refusal);
        }
        let by_count = self.stock.as_ref().and_then(|stock| self.at_hand(stock)).unwrap_or(Mass::ZERO);
        let request = refilled(&self.record.request, by_count, refill);
        let told = request.and_then(|request| {
            let slop = self.supply_of(&stock_of(&request)?)?;
            Some((BatchRecord { request, ..self.record.clone() }, slop))
        });
        if told.as_ref().is_some_and(|(_, slop)| slop.left_g > MOST_SLOP_G) {
            return refused("with that there would be more than 1000000 g of slop: check the decimal point");
        }
        told.map_or_else(|| refused("the batch's own request can't be read: make a new batch"), Ok)
    }
}
