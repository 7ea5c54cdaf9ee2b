//! What is done to the log as a whole while the table works on.

use super::counter::{Counter, storage};
use super::event::{Answer, Event, Reply};
use super::open::not_done;
use super::table::Table;
use crate::page::desk::Refusal;
use crate::record::History;
use crate::store::{Write, backup_file, backup_files, check_backup, try_writable};
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
            Some(why) => reply.tell(Err(not_done(&why))),
            None => drop(self.log.ask(Write::History(history), reply, Answer::Kept)),
        }
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
        check_backup(&file).map_err(|e| Refusal::Conflict(format!("nothing was done: {e}")))?;
        let before = self.backed_up()?;
        self.kept(History::Restored { file })?;
        Ok(before)
    }
}
