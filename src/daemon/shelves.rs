//! The potter's own glazes, forms and coats, and a bucket that changed under a batch.

use super::event::{Answer, Reply};
use super::open::not_done;
use super::table::Table;
use super::under_way::measured;
use crate::page::desk::Refusal;
use crate::record::{BatchRecord, ShelfRecord};
use crate::store::Write;

impl Table {
    /// New versions on their shelves.
    pub(super) fn put(&mut self, records: Vec<ShelfRecord>, reply: Reply) {
        match self.log.trouble() {
            Some(why) => reply.tell(Err(not_done(&why))),
            None => drop(self.log.ask(Write::Shelf(records), reply, Answer::Kept)),
        }
    }

    /// What the further pieces of a batch should get: from when it is on disk.
    pub(super) fn retarget(&mut self, batch: BatchRecord, reply: Reply) {
        let ended = batch.ended_at.is_some() || self.log.ended(&batch.id).is_some();
        let on_pan = self.batch.as_ref().is_some_and(|b| b.record.id == batch.id && !b.idle());
        let refusal = match self.log.trouble() {
            // What it should get, and how much of that is dry, is told by the bucket it was poured from.
            _ if on_pan => {
                let why =
                    "a piece stands on the scale: lift it off first, then say that the bucket has changed";
                Some(Refusal::Conflict(why.to_owned()))
            }
            _ if ended => {
                Some(Refusal::Conflict(format!("the batch '{}' has ended: make a new one", batch.name)))
            }
            Some(why) => Some(not_done(&why)),
            None => None,
        };
        match refusal {
            Some(refusal) => reply.tell(Err(refusal)),
            None => drop(self.log.ask(Write::Retargeted(batch), reply, Answer::Kept)),
        }
    }

    /// It is: the piece on the pan keeps what it should get.
    pub(super) fn follow_bucket(&mut self, write: &Write) {
        let Write::Retargeted(new) = write else { return };
        if let Some(batch) = self.batch.as_mut().filter(|b| b.record.id == new.id) {
            // What was begun or named meanwhile stays.
            let old = &mut batch.record;
            (old.target, old.low, old.high) = (new.target, new.low, new.high);
            (old.solids_fraction, old.bucket) = (new.solids_fraction, new.bucket);
            old.measured_at = new.measured_at;
            old.ladder.clone_from(&new.ladder);
            old.request.clone_from(&new.request);
            batch.pieces.handle_bucket(new.solids_fraction);
            batch.reminders.handle_measured(measured(&batch.record));
            batch.coarse = super::open::too_coarse(&self.parts.scale, &batch.record);
            self.renumber();
        }
    }
}
