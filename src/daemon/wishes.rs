//! What people ask of the table: batches made, begun and ended, records voided, numbers changed. What is to
//! be on disk is answered when it is.

use super::calibrated::judged;
use super::event::{Answer, Beginning, Reply};
use super::jug::known;
use super::open::{advice, begun, exact_g, not_done, too_coarse, too_heavy, too_light};
use super::pieces::Pieces;
use super::reminders::Reminders;
use super::spare::{Known, fits, may_be_a_piece};
use super::table::Table;
use super::under_way::{self, Batch, Kept, measured};
use crate::page::desk::{Begun, Refusal};
use crate::pour::PourSettings;
use crate::pour::engine::{Command, Start};
use crate::pour::finish::Finish;
use crate::pour::kept::Memory;
use crate::pour::outlook::Outlook;
use crate::pour::trace::Input;
use crate::pour::vessel::Vessel;
use crate::pour::ware::Ware;
use crate::record::{BatchRecord, PourRecord, Verdict};
use crate::store::Write;
use crate::time::Duration;
use crate::units::Mass;

/// The bare weights of a batch: given, and of its pieces before.
fn seen(beginning: &Beginning) -> Ware {
    let mut pieces: Vec<_> = beginning.poured.iter().filter(|p| p.rev > 0).collect();
    pieces.sort_by_key(|p| p.started_at);
    pieces.iter().fold(Ware::of(beginning.batch.bare), |mut ware, p| {
        ware.handle_bare(p.tare.g());
        ware
    })
}

/// A weight at rest is the pan's for so long: four readings of the slowest scale that guides (our choice).
const FRESH: Duration = Duration::from_secs(1);

impl Table {
    pub(super) fn create(&mut self, record: BatchRecord, reply: Reply) {
        if let Some(why) = self.log.trouble() {
            return reply.give(Err(not_done(&why)));
        }
        self.log.ask(Write::BatchCreated(record.clone()), reply, begun(record, Vec::new()));
    }

    pub(super) fn begin(&mut self, beginning: Beginning, reply: Reply) {
        if let Err(refusal) = self.may_begin(&beginning.batch) {
            return reply.give(Err(refusal));
        }
        if let Some(batch) = &self.batch {
            return reply.give(Ok(begun(batch.record.clone(), self.parts.outlet.warnings())));
        }
        if let Some((ticket, batch)) = &self.beginning {
            return self.log.also(*ticket, reply, begun(batch.record.clone(), self.parts.outlet.warnings()));
        }
        let start = self.start(&beginning);
        let Beginning { batch: mut record, who, poured, numbers, heaviest, .. } = beginning;
        let at = self.parts.clock.wall();
        record.begun_at.get_or_insert(at);
        self.parts.outlet.batch(true);
        let expected = self.outlook(&start);
        let (weighing, said) = judged(self.calibration.as_ref(), &record);
        let mut warnings = self.parts.outlet.warnings();
        warnings.extend(too_coarse(&start.scale, &record));
        warnings.extend(too_heavy(self.parts.capacity, heaviest, &record));
        warnings.extend(too_light(self.parts.settings.min_piece, record.bare));
        warnings.extend(said.into_iter().chain(self.check_said()));
        warnings.extend(may_be_a_piece(self.spare, record.bare));
        warnings.extend(self.leave_off());
        warnings.extend(advice(&expected, &record, &self.parts.settings));
        let write = Write::BatchBegun { id: record.id.clone(), at };
        let exact_g = exact_g(&record, heaviest, self.spare, &expected);
        let begun = begun(record.clone(), warnings);
        let answer = Begun { expected: Some(expected), weighing, exact_g, ..begun };
        let ticket = self.log.ask(write, reply, answer);
        let measured = measured(&record);
        let reminders = Reminders::new(self.parts.reminding, self.parts.clock.now(), measured);
        let kept = Kept {
            pieces: Pieces::new(&poured, numbers, record.solids_fraction),
            reminders,
            lag: self.lag.clone(),
        };
        let mut batch = Batch::new(record, who, start, kept, self.cues);
        batch.jug = super::jug::stood(self.jug, &batch);
        self.beginning = Some((ticket, batch));
    }

    /// What is done at the pan without a batch is left off; says what that was.
    fn leave_off(&mut self) -> Vec<String> {
        self.weighed = None;
        let test = self.test.take().is_some_and(|test| test.found().is_none());
        let routine = self.routine.take().is_some_and(|run| run.goes_on());
        let said = [
            (test, "the test of the scale is left off: begin it again after the batch"),
            (routine, "calibrating is left off, and nothing was changed: begin it again after the batch"),
        ];
        said.into_iter().filter(|(was, _)| *was).map(|(_, says)| says.to_owned()).collect()
    }

    /// What fills are expected to be.
    fn outlook(&self, start: &Start) -> Outlook {
        let half = Mass::saturating(0.5 * (start.high - start.low).g());
        let hand = match start.settings.finish {
            Finish::Stop => start.hand,
            // What is missed is missed by the trickle.
            Finish::Trickle => start.hand.at_a_trickle(),
        };
        Outlook::of(start.target, half, &start.scale, self.sight.interval_s(), hand)
    }

    /// What the engine of this batch starts from.
    fn start(&self, beginning: &Beginning) -> Start {
        let (record, usual) = (&beginning.batch, &self.parts.settings);
        // A hand of before may know it where the scale's own was not kept yet.
        let kept = self.lag.as_ref();
        let lag_s = kept.map(|k| k.lag_s).or(beginning.hand.lag_s);
        let measured = kept.is_some_and(|k| k.way.is_some());
        let (scale, lags) = self.parts.scale.clone().as_learned(lag_s, measured);
        Start {
            target: record.target,
            low: record.low,
            high: record.high,
            scale,
            hand: beginning.hand,
            ahead: self.parts.outlet.hearing().ahead,
            settings: PourSettings {
                vessel: record.vessel.as_deref().and_then(Vessel::from_word).unwrap_or(usual.vessel),
                finish: record.finish.as_deref().and_then(Finish::from_word).unwrap_or(usual.finish),
                ..usual.clone()
            },
            first_piece: beginning.numbers.next(),
            // A display at its own zero is no dirt, also where a calibration was told with an offset.
            zero: self.correction().of(Mass::ZERO),
            held: false,
            // What stands there may hold slop: of a batch that ended, or that was cut off.
            lift_first: true,
            lost: self.parts.outlet.hearing().lost,
            lost_said: false,
            spare: self.spare,
            jug: known(self.jug, beginning),
            ware: seen(beginning),
            memory: Memory::default(),
            lags,
            correction: self.correction(),
        }
    }

    /// Whether this batch may begin, or is the one under way.
    fn may_begin(&self, record: &BatchRecord) -> Result<(), Refusal> {
        if let Some(batch) = self.batch.as_ref().or(self.beginning.as_ref().map(|(_, batch)| batch)) {
            let name = &batch.record.name;
            let other = batch.record.id != record.id;
            let why = || Refusal::Conflict(format!("the batch '{name}' is under way: end it first"));
            return if other { Err(why()) } else { Ok(()) };
        }
        if self.has_ended(record) {
            return Err(super::shelves::ended(record));
        }
        self.log.trouble().map_or(Ok(()), |why| Err(not_done(&why)))
    }

    pub(super) fn end(&mut self, mut record: BatchRecord, reply: Reply) {
        if self.batch.as_ref().is_none_or(|b| b.record.id != record.id) {
            return self.end_elsewhere(record, reply);
        }
        // From here on it is done, so it can't be withdrawn; one that was is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.give(Input::Command(Command::End, self.parts.clock.now()));
        self.batch = None;
        self.note = None;
        self.rounds.handle_news();
        // What the end left to write is no sign of a disk in trouble.
        self.log.flush(&self.parts.store);
        self.parts.outlet.batch(false);
        record.ended_at = Some(self.parts.clock.wall());
        self.log.end(record, reply);
    }

    /// Ends a batch that is not under way: one that was begun before the daemon's start, or has ended.
    fn end_elsewhere(&mut self, mut record: BatchRecord, reply: Reply) {
        let beginning = self.beginning.as_ref().is_some_and(|(_, batch)| batch.record.id == record.id);
        match under_way::end(&record, self.log.ended(&record.id), beginning) {
            Some(answer) => reply.give(answer),
            None => {
                if let Some(why) = self.log.trouble() {
                    return reply.give(Err(not_done(&why)));
                }
                let at = self.parts.clock.wall();
                record.ended_at = Some(at);
                let write = Write::BatchEnded { id: record.id.clone(), at };
                self.log.ask(write, reply, begun(record, Vec::new()));
            }
        }
    }

    pub(super) fn still_on(&mut self, record: BatchRecord) -> Result<Begun, Refusal> {
        let now = self.parts.clock.now();
        let gross = under_way::offered(self.batch.as_ref(), &record, now)?;
        self.sight.handle_still_on(gross);
        self.give(Input::Command(Command::StillOn, now));
        Ok(begun(record, Vec::new()))
    }

    pub(super) fn void(&mut self, pour: PourRecord, batch: BatchRecord, reply: Reply) {
        let ended = self.log.ended(&batch.id).is_some();
        let refusal = under_way::keeps(&pour, &batch, ended).or_else(|| Some(not_done(&self.log.trouble()?)));
        let answer = begun(batch, Vec::new());
        match refusal {
            Some(refusal) => return reply.give(Err(refusal)),
            None if pour.verdict == Verdict::Void => return reply.give(Ok(answer)),
            None => {}
        }
        // Only the log says when it is done, and keeps it so: one that is refused leaves no trace here.
        self.log.ask(Write::PourVoided(pour), reply, answer);
    }

    /// Voids a record and gives its number to the next piece; its history stays.
    pub(super) fn redo(&mut self, pour: PourRecord, batch: BatchRecord, reply: Reply) {
        let ended = self.log.ended(&batch.id).is_some();
        let refusal = under_way::keeps(&pour, &batch, ended).or_else(|| Some(not_done(&self.log.trouble()?)));
        match refusal {
            Some(refusal) => reply.give(Err(refusal)),
            None => {
                let at = self.parts.clock.wall();
                self.log.ask(Write::PourAgain { pour, at }, reply, begun(batch, Vec::new()));
            }
        }
    }

    /// Leaves the next number out: its piece broke.
    pub(super) fn skip(&mut self, batch: BatchRecord, reply: Reply) {
        let under_way = self.batch.as_ref().filter(|b| b.record.id == batch.id);
        let piece = match under_way.map(Batch::may_skip) {
            None => {
                let why = format!("the batch '{}' is not under way: begin it first", batch.name);
                return reply.give(Err(Refusal::Conflict(why)));
            }
            Some(Err(refusal)) => return reply.give(Err(refusal)),
            Some(Ok(piece)) => piece,
        };
        if let Some(why) = self.log.trouble() {
            return reply.give(Err(not_done(&why)));
        }
        let write = Write::NumberLeftOut { batch: batch.id.clone(), piece, at: self.parts.clock.wall() };
        let answer = Begun { left_out: Some(piece), ..begun(batch, Vec::new()) };
        let ticket = self.log.ask(write, reply, answer);
        // Nobody else gets it while it is on its way to the disk: neither a second wish nor a piece.
        if let Some(batch) = &mut self.batch {
            batch.pieces.numbers_mut().reserve(piece, ticket);
        }
        self.renumber();
    }

    /// The disk refused what was asked: a number that waited for it is free again.
    pub(super) fn give_back(&mut self, ticket: u64) {
        if self.batch.as_mut().is_some_and(|b| b.pieces.numbers_mut().give_back(ticket)) {
            self.renumber();
        }
    }

    /// Between two pieces the engine's next number follows the one that is due.
    pub(super) fn renumber(&mut self) {
        if let Some(command) = self.batch.as_ref().and_then(Batch::renumber) {
            self.give(Input::Command(command, self.parts.clock.now()));
        }
    }

    /// The spare weight was set on the bare pan: the newest record is void, once.
    pub(super) fn void_last(&mut self) {
        if let Some(pour) = self.batch.as_mut().and_then(|b| b.pieces.void_last()) {
            self.log.add(Write::PourVoided(pour));
            self.give(Input::Command(Command::Voided, self.parts.clock.now()));
        }
    }

    /// What lies at rest on the pan is the spare weight from now on; `off`: none is. From the next begin on.
    pub(super) fn keep_spare(&mut self, off: bool, lately: &[(Mass, Option<Mass>)], reply: Reply) {
        match self.new_spare(off, lately) {
            Err(refusal) => reply.tell(Err(refusal)),
            // It counts from when it is on disk.
            Ok(spare) => drop(self.log.ask(Write::Spare(spare), reply, Answer::Spare(spare))),
        }
    }

    fn new_spare(&self, off: bool, lately: &[(Mass, Option<Mass>)]) -> Result<Option<Mass>, Refusal> {
        if self.batch.is_some() || self.beginning.is_some() {
            // Its engine goes by what it was begun with.
            let why =
                "a batch is under way: end it first, then set the spare weight on the bare pan, or forget it";
            return Err(Refusal::Conflict(why.to_owned()));
        }
        let spare = if off { None } else { Some(self.weighed_spare(lately)?) };
        self.log.trouble().map_or(Ok(spare), |why| Err(not_done(&why)))
    }

    fn weighed_spare(&self, lately: &[(Mass, Option<Mass>)]) -> Result<Mass, Refusal> {
        let rest = self.rests_there()?;
        let (step, min_piece) = (self.parts.scale.step, self.parts.settings.min_piece);
        let known = Known { step, min_piece, lately };
        let exact_g = || known.weights_g(rest);
        fits(rest, &known).map_err(|why| Refusal::Weighs { why, exact_g: exact_g() })?;
        Ok(rest)
    }

    /// What lies on the pan now, at rest.
    pub(super) fn rests_there(&self) -> Result<Mass, Refusal> {
        let now = self.parts.clock.now();
        let rest = self.rest.filter(|(_, at)| now.since(*at) < FRESH).map(|(rest, _)| rest);
        let why = "the scale is not at rest, or says nothing: wait until it shows a steady weight";
        rest.ok_or_else(|| Refusal::Conflict(why.to_owned()))
    }

    /// A number that is left out or poured again counts from when that is on disk.
    pub(super) fn follow_numbers(&mut self, write: &Write) {
        let Some(batch) = &mut self.batch else { return };
        match write {
            Write::NumberLeftOut { batch: id, piece, .. } if *id == batch.record.id => {
                batch.pieces.numbers_mut().used(*piece);
            }
            Write::PourAgain { pour, .. } if pour.batch == batch.record.id => {
                batch.pieces.numbers_mut().again(pour.piece);
            }
            Write::NumberLeftOut { .. }
            | Write::PourAgain { .. }
            | Write::BatchCreated(_)
            | Write::BatchBegun { .. }
            | Write::BatchEnded { .. }
            | Write::PourOpened(_)
            | Write::Pour { .. }
            | Write::PourVoided(_)
            | Write::Trace { .. }
            | Write::PourDropped { .. }
            | Write::Lag { .. }
            | Write::Spare(_)
            | Write::Jug(_)
            | Write::Shelf(_)
            | Write::Calibration(_)
            | Write::History(_)
            | Write::Retargeted(..) => return,
        }
        self.renumber();
    }
}
