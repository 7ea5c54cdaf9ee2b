//! What the log's writer says: written, refused, or failing.

use super::table::Table;
use crate::page::view::{Event as Told, PourView};
use crate::store::{Ack, Write};

impl Table {
    pub(super) fn handle_ack(&mut self, ack: Ack) {
        if let Ack::Reopened(opened) = ack {
            return self.reopen(*opened);
        }
        let beginning = self.beginning.as_ref().map(|(ticket, _)| *ticket);
        match &ack {
            Ack::Written { ticket, .. } if beginning == Some(*ticket) => {
                self.batch = self.beginning.take().map(|(_, batch)| batch);
                // What was worth knowing in a batch of before is no news of this one.
                self.note = None;
                // Whoever is told that it began finds it in the snapshot.
                self.show(self.parts.clock.now());
            }
            Ack::Refused { ticket, .. } if beginning == Some(*ticket) => {
                self.beginning = None;
                self.parts.outlet.batch(false);
            }
            Ack::Written { .. } | Ack::Refused { .. } | Ack::Failing { .. } | Ack::Reopened(_) => {}
        }
        self.rounds.handle_news();
        if let Ack::Refused { ticket, .. } = &ack {
            self.changed(*ticket);
            self.give_back(*ticket);
            self.restore_ended(*ticket);
        }
        if let Ack::Written { ticket, write } = &ack {
            self.restore_ended(*ticket);
            self.follow_jug(write);
            if let Write::Spare(spare) = write {
                self.spare = *spare;
            }
            self.follow_numbers(write);
            self.follow_lag(write);
            self.follow_calibration(write);
            self.follow_bucket(write);
            self.changed(*ticket);
        }
        if let Some(pour) = self.log.handle_ack(ack) {
            if let Some(batch) = self.batch.as_mut().filter(|b| b.record.id == pour.batch) {
                batch.pieces.handle_written(&pour);
            }
            let _ = self.parts.told.send(Told::Pour(Box::new(PourView::from(&pour))));
        }
    }
}
