//! The daemon's answers to the page: reads straight from the log, changes through the
//! engine's thread.

use super::beside;
use super::calibrated::InForce;
use super::clock::Clock;
use super::event::{Answer, Beginning, Event, Reply};
use super::hands;
use crate::batch::supply::Refill;
use crate::guide::weighed::Things;
use crate::page::desk::{Begun, Desk, JugWish, Refusal, RoutineWish};
use crate::page::view::{LagTestView, RoutineView, SlopView, WeighedView};
use crate::pour::curve::Curve;
use crate::pour::guidance::Guidance;
use crate::pour::hand::Hand;
use crate::pour::trace::Trace;
use crate::record::{
    BatchRecord, CalibrationRecord, CalibrationWrite, CheckRecord, Found, History, PourRecord, Search, Shelf,
    ShelfRecord, Tally,
};
use crate::review::control_chart::Rules;
use crate::store::{Reader, Wanted, try_writable};
use crate::time::WallTime;
use crate::units::Mass;
use std::path::PathBuf;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::time::Duration;

/// An answer from the engine's thread needs one disk write; a slow card may take seconds.
const PATIENCE: Duration = Duration::from_secs(10);

const STOPPING: &str = "the daemon is stopping and nothing was done: ask again after its next start";
/// A spare weight is told from so many of the latest pieces: several kiln loads (our choice).
const LATELY: usize = 200;

/// Where the page's requests go.
pub(crate) struct Counter {
    pub(super) dir: PathBuf,
    pub(super) clock: Clock,
    pub(super) scale_id: String,
    pub(super) guidance: Guidance,
    pub(super) events: SyncSender<Event>,
}

impl Counter {
    pub(super) fn reader(&self) -> Result<Reader, Refusal> {
        Reader::open(&self.dir).map_err(storage)
    }

    fn pour(&self, id: &str) -> Result<PourRecord, Refusal> {
        let found = self.reader()?.pour(id).map_err(storage)?;
        found.ok_or_else(|| {
            Refusal::Missing(format!("no pour with id '{id}': GET /api/batches/{{id}}/pours lists them"))
        })
    }

    fn ask(&self, event: impl FnOnce(Reply) -> Event) -> Result<Begun, Refusal> {
        let Answer::Batch(begun) = self.answer(event)? else { return Err(other_question()) };
        Ok(*begun)
    }

    pub(super) fn answer(&self, event: impl FnOnce(Reply) -> Event) -> Result<Answer, Refusal> {
        let (to, answer) = sync_channel(1);
        let wanted = Wanted::default();
        self.events.send(event(Reply { to, wanted: wanted.clone() })).map_err(|_| storage(STOPPING))?;
        if let Ok(answer) = answer.recv_timeout(PATIENCE) {
            return answer;
        }
        // What is answered as failed must not be done later: withdrawn, or under way already.
        if wanted.withdraw() {
            let why = "the log did not answer and nothing was done: check the disk with `tarebell doctor`";
            return Err(storage(why));
        }
        answer.recv_timeout(PATIENCE).unwrap_or_else(|_| {
            let why = "the disk has not answered, and what you asked for may still be written: look before you ask again";
            Err(storage(why))
        })
    }
}

fn heavier(a: Option<Mass>, b: Option<Mass>) -> Option<Mass> {
    a.into_iter().chain(b).reduce(|a, b| if a > b { a } else { b })
}

pub(super) fn storage(error: impl std::fmt::Display) -> Refusal {
    Refusal::Storage(error.to_string())
}

fn other_question() -> Refusal {
    storage("the daemon answered another question; please report it")
}

impl Desk for Counter {
    fn create(&self, batch: BatchRecord) -> Result<BatchRecord, Refusal> {
        try_writable(&self.dir).map_err(storage)?;
        self.ask(|reply| Event::Create(Box::new(batch), reply)).map(|b| b.batch)
    }

    fn begin(&self, id: &str) -> Result<Begun, Refusal> {
        try_writable(&self.dir).map_err(storage)?;
        let batch = self.batch(id)?;
        let who = hands::who(&batch, self.guidance, &self.scale_id);
        let reader = self.reader()?;
        let learned = reader.hand(who.key()).map_err(storage)?;
        let hand = learned.map_or_else(|| Hand::expected(self.guidance), hands::used);
        let heaviest = batch.bare.map(|(_, greatest)| greatest);
        let beginning = Beginning {
            poured: reader.pours(id).map_err(storage)?,
            numbers: reader.numbers(&batch).map_err(storage)?,
            heaviest: heavier(heaviest, reader.heaviest(&batch).map_err(storage)?),
            batch,
            who,
            hand,
        };
        self.ask(|reply| Event::Begin(Box::new(beginning), reply))
    }

    fn end(&self, id: &str) -> Result<Begun, Refusal> {
        let batch = Box::new(self.batch(id)?);
        self.ask(|reply| Event::End(batch, reply))
    }

    fn still_on(&self, id: &str) -> Result<Begun, Refusal> {
        let batch = Box::new(self.batch(id)?);
        self.ask(|reply| Event::StillOn(batch, reply))
    }

    fn batches(&self) -> Result<Vec<BatchRecord>, Refusal> {
        self.reader()?.batches().map_err(storage)
    }

    fn latest(&self, most: u32) -> Result<Vec<BatchRecord>, Refusal> {
        self.reader()?.latest(most).map_err(storage)
    }

    fn batch(&self, id: &str) -> Result<BatchRecord, Refusal> {
        let found = self.reader()?.batch(id).map_err(storage)?;
        found.ok_or_else(|| Refusal::Missing(format!("no batch with id '{id}': GET /api/batches lists them")))
    }

    fn pours(&self, id: &str) -> Result<Vec<PourRecord>, Refusal> {
        self.batch(id)?;
        self.reader()?.pours(id).map_err(storage)
    }

    fn void(&self, id: &str) -> Result<PourRecord, Refusal> {
        let pour = self.pour(id)?;
        let batch = Box::new(self.batch(&pour.batch)?);
        self.ask(|reply| Event::Void(Box::new(pour), batch, reply))?;
        self.pour(id)
    }

    fn redo(&self, id: &str) -> Result<PourRecord, Refusal> {
        let pour = self.pour(id)?;
        let batch = Box::new(self.batch(&pour.batch)?);
        // That is asked first: in an ended batch a newer record is as little poured again.
        if batch.ended_at.is_none()
            && let Some(later) = self.reader()?.poured_again(&pour).map_err(storage)?
        {
            let why = format!(
                "piece {} was poured again already: ask for its newer record, {}",
                pour.piece, later.id
            );
            return Err(Refusal::Conflict(why));
        }
        self.ask(|reply| Event::Redo(Box::new(pour), batch, reply))?;
        self.pour(id)
    }

    fn skip(&self, id: &str) -> Result<u32, Refusal> {
        let batch = Box::new(self.batch(id)?);
        let done = self.ask(|reply| Event::Skip(batch, reply))?;
        done.left_out.ok_or_else(|| storage("no number was left out; please report it"))
    }

    fn spare(&self, off: bool) -> Result<Option<Mass>, Refusal> {
        let lately = self.reader()?.lately(LATELY).map_err(storage)?;
        let Answer::Spare(spare) = self.answer(|reply| Event::Spare { off, lately, reply })? else {
            return Err(other_question());
        };
        Ok(spare)
    }

    fn jug(&self, wish: JugWish) -> Result<Option<Mass>, Refusal> {
        let Answer::Jug(jug) = self.answer(|reply| Event::Jug(wish, reply))? else {
            return Err(other_question());
        };
        Ok(jug)
    }

    fn test_scale(&self, off: bool) -> Result<Option<LagTestView>, Refusal> {
        let Answer::Test(test) = self.answer(|reply| Event::Test { off, reply })? else {
            return Err(other_question());
        };
        Ok(test)
    }

    fn weigh(&self, things: Option<Things>) -> Result<Option<WeighedView>, Refusal> {
        let Answer::Weighed(weighed) = self.answer(|reply| Event::Weigh { things, reply })? else {
            return Err(other_question());
        };
        Ok(weighed)
    }

    fn routine(&self, wish: Option<RoutineWish>) -> Result<Option<RoutineView>, Refusal> {
        let Answer::Routine(routine) = self.answer(|reply| Event::Routine(wish.map(Box::new), reply))? else {
            return Err(other_question());
        };
        Ok(routine.map(|r| *r))
    }

    fn room(&self, room_c: Option<f64>) -> Result<(), Refusal> {
        self.answer(|reply| Event::Room(room_c, reply)).map(drop)
    }

    fn scale(&self) -> &str {
        &self.scale_id
    }

    fn keep_calibration(&self, write: CalibrationWrite) -> Result<(), Refusal> {
        try_writable(&self.dir).map_err(storage)?;
        self.answer(|reply| Event::Calibration(Box::new(write), reply)).map(drop)
    }

    fn calibrations(&self) -> Result<Vec<CalibrationRecord>, Refusal> {
        self.reader()?.calibrations().map_err(storage)
    }

    fn calibration(&self, id: &str) -> Result<CalibrationRecord, Refusal> {
        let found = self.reader()?.calibration(id).map_err(storage)?;
        found.ok_or_else(|| {
            Refusal::Missing(format!("no calibration with id '{id}': GET /api/calibrations lists them"))
        })
    }

    fn in_force(&self) -> Result<Option<CalibrationRecord>, Refusal> {
        self.reader()?.in_force(&self.scale_id).map_err(storage)
    }

    fn weighed_to(&self, net: Mass) -> Result<Option<Mass>, Refusal> {
        let u_g = self.in_force()?.map(InForce::of).and_then(|c| c.net_u_g(net.g()));
        Ok(u_g.map(Mass::saturating))
    }

    fn masses(&self) -> Result<Option<String>, Refusal> {
        self.reader()?.masses().map_err(storage)
    }

    fn checks(&self, most: u32) -> Result<Vec<CheckRecord>, Refusal> {
        self.reader()?.checks(&self.scale_id, most).map_err(storage)
    }

    fn beside_readings(&self) -> Result<(Option<f64>, Option<f64>), Refusal> {
        beside::of(&self.reader()?, &self.scale_id).map_err(storage)
    }

    fn curve(&self, id: &str) -> Result<(PourRecord, Curve), Refusal> {
        let pour = self.pour(id)?;
        let Some(bytes) = self.reader()?.trace(id).map_err(storage)? else {
            return Ok((pour, Curve::default()));
        };
        Ok((pour, Trace::decode(&bytes).map_err(storage)?.curve()))
    }

    fn trace(&self, id: &str) -> Result<Vec<u8>, Refusal> {
        let pour = self.pour(id)?;
        self.reader()?.trace(id).map_err(storage)?.ok_or_else(|| {
            Refusal::Missing(format!(
                "no readings are kept of piece {}: it was cut off, is still on the scale, or came from a table",
                pour.piece
            ))
        })
    }

    fn shelves(&self, all: bool) -> Result<Vec<ShelfRecord>, Refusal> {
        let reader = self.reader()?;
        if all { reader.all_shelves() } else { reader.shelves() }.map_err(storage)
    }

    fn versions(&self, shelf: Shelf, name: &str) -> Result<Vec<ShelfRecord>, Refusal> {
        self.reader()?.versions(shelf, name).map_err(storage)
    }

    fn put(&self, records: Vec<ShelfRecord>) -> Result<(), Refusal> {
        try_writable(&self.dir).map_err(storage)?;
        self.answer(|reply| Event::Put(records, reply)).map(drop)
    }

    fn retarget(&self, batch: BatchRecord) -> Result<(), Refusal> {
        self.answer(|reply| Event::Retarget(Box::new(batch), reply)).map(drop)
    }

    fn refill(&self, id: &str, refill: Refill) -> Result<SlopView, Refusal> {
        let batch = Box::new(self.batch(id)?);
        let Answer::Slop(slop) = self.answer(|reply| Event::Refill(batch, refill, reply))? else {
            return Err(other_question());
        };
        Ok(slop)
    }

    fn pour_of(&self, id: &str) -> Result<PourRecord, Refusal> {
        self.pour(id)
    }

    fn is_known(&self, id: &str) -> Result<bool, Refusal> {
        self.reader()?.pour(id).map(|pour| pour.is_some()).map_err(storage)
    }

    fn find(&self, search: &Search, most: usize) -> Result<Vec<Found>, Refusal> {
        self.reader()?.find(search, most).map_err(storage)
    }

    fn tallies(&self) -> Result<Vec<Tally>, Refusal> {
        self.reader()?.tallies().map_err(storage)
    }

    fn by_pourer(&self) -> Result<bool, Refusal> {
        self.reader()?.by_pourer().map_err(storage)
    }

    fn run_rules(&self) -> Result<Rules, Refusal> {
        let kept = self.reader()?.run_rules().map_err(storage)?;
        Ok(kept.map_or_else(Rules::default, Rules::from_bits))
    }

    fn keep(&self, history: History) -> Result<(), Refusal> {
        self.kept(history)
    }

    fn backup(&self) -> Result<(String, u64), Refusal> {
        self.backed_up()
    }

    fn backups(&self) -> Result<Vec<(String, u64)>, Refusal> {
        self.all_backups()
    }

    fn backup_file(&self, name: &str) -> Result<std::fs::File, Refusal> {
        let file = self.backup_at(name)?;
        std::fs::File::open(&file).map_err(|e| storage(format!("could not read {}: {e}", file.display())))
    }

    fn restore(&self, name: &str) -> Result<(String, u64), Refusal> {
        self.put_back(name)
    }

    fn hear_client(&self, client: u64, latency: Option<crate::time::Duration>) {
        // When the engine's thread is gone the daemon is stopping.
        let _ = self.events.send(Event::ClientSound { client, latency });
    }

    fn wall_time(&self) -> WallTime {
        self.clock.wall()
    }
}
