//! What is done to the log as a whole while the table works on.

use super::calibrated::InForce;
use super::counter::{Counter, storage};
use super::event::{Answer, Event, Reply};
use super::lag_of;
use super::open::not_done;
use super::table::Table;
use crate::page::desk::Refusal;
use crate::record::History;
use crate::store::{
    Opened, Write, backup_file, backup_files, backup_made, made_current, new_backup, try_writable,
};
use std::path::PathBuf;

impl Table {
    /// Labels, records from elsewhere, names taken out; an older log only while no batch is under way.
    pub(super) fn keep(&mut self, history: History, reply: Reply) {
        let restores = matches!(history, History::Restored { .. });
        let busy = self.batch.is_some() || self.beginning.is_some();
        match self.log.trouble() {
            _ if restores && busy => {
                let why = "a batch is under way: end it first, then put the older log back";
                reply.tell(Err(Refusal::Conflict(why.to_owned())));
            }
            _ if self.pours(&history) => {
                let why = "this one pours now: end the batch first, then take the name out";
                reply.tell(Err(Refusal::Conflict(why.to_owned())));
            }
            Some(why) => reply.tell(Err(not_done(&why))),
            None => {
                let ticket = self.log.ask(Write::History(history), reply, Answer::Kept);
                self.restoring = Some(ticket).filter(|_| restores).or(self.restoring);
            }
        }
    }

    /// A name that is to be forgotten is that of who pours now: the next pour would bring it back.
    fn pours(&self, history: &History) -> bool {
        let History::Forgotten { pourer } = history else { return false };
        let begins = self.beginning.as_ref().map(|(_, batch)| batch);
        self.batch.iter().chain(begins).any(|batch| batch.record.pourer.as_ref() == Some(pourer))
    }

    /// While another log is being put back nothing else is asked of it: it would be of the one that goes.
    pub(super) fn waits_for_restore(&self, event: &Event) -> bool {
        let Some(reply) = event.reply().filter(|_| self.restoring.is_some()) else { return false };
        let why = "an older log is being put back: ask again in a moment";
        reply.tell(Err(Refusal::Conflict(why.to_owned())));
        true
    }

    /// The log is another one: what is known from it is known anew.
    pub(super) fn reopen(&mut self, opened: Opened) {
        let id = &self.parts.scale.id;
        self.spare = opened.spare;
        self.jug = opened.jug;
        self.checked = opened.checks.into_iter().find(|c| c.scale == *id);
        let by = opened.calibrations.into_iter().find(|c| c.scale == *id);
        self.lag = lag_of(opened.lags, id);
        self.next_calibration = Some(by.map(InForce::of));
        self.take_calibration();
    }

    /// The log that was to be put back is, or was refused.
    pub(super) fn restore_ended(&mut self, ticket: u64) {
        self.restoring = self.restoring.filter(|under_way| *under_way != ticket);
    }
}

impl Counter {
    pub(super) fn kept(&self, history: History) -> Result<(), Refusal> {
        try_writable(&self.dir).map_err(storage)?;
        self.answer(|reply| Event::Keep(Box::new(history), reply)).map(drop)
    }

    pub(super) fn backed_up(&self) -> Result<(String, u64), Refusal> {
        let made = self.reader()?.backup(&self.dir, self.clock.wall()).map_err(storage)?;
        Ok((made.name, made.bytes))
    }

    pub(super) fn all_backups(&self) -> Result<Vec<(String, u64)>, Refusal> {
        let all = backup_files(&self.dir).map_err(storage)?;
        Ok(all.into_iter().map(|file| (file.name, file.bytes)).collect())
    }

    pub(super) fn backup_at(&self, name: &str) -> Result<PathBuf, Refusal> {
        let none = || Refusal::Missing(format!("no file '{name}': GET /api/backups lists them"));
        backup_file(&self.dir, name).ok_or_else(none)
    }

    /// The log as it is now is copied before it becomes another one.
    pub(super) fn put_back(&self, name: &str) -> Result<(String, u64), Refusal> {
        let file = self.backup_at(name)?;
        let refused = |e| Refusal::Conflict(format!("nothing was done: {e}"));
        let (file, copied) = made_current(&file, self.clock.wall()).map_err(refused)?;
        let before = new_backup(&self.dir, self.clock.wall()).map_err(storage)?;
        // Never taken away again: on a slow disk what is answered as failed may still be done.
        self.kept(History::Restored { file: file.clone(), before: before.clone() })?;
        if copied {
            // It is done with; one that stays is not listed, and harms nobody.
            drop(std::fs::remove_file(&file));
        }
        backup_made(&before).map(|made| (made.name, made.bytes)).map_err(storage)
    }
}
