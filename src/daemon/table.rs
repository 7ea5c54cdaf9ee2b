//! The engine's thread: the one place where bytes, engine, log and page meet.
//!
//! Waits only for its own channel. It never waits for the log (jobs are tried, and
//! kept when refused), the page (latest value wins) or a lock.

use super::calibrated::InForce;
use super::event::Event;
use super::hands;
use super::lateness;
use super::log::Log;
use super::open::{By, too_coarse};
pub use super::parts::Parts;
use super::pieces::Belongs;
use super::rounds::Rounds;
use super::routine::Run;
use super::sight::Sight;
use super::under_way::{self, Batch};
use super::weighing;
use crate::calibration::check::Due;
use crate::guide::lag::LagTest;
use crate::guide::weighed::Weighed;
use crate::link::{Facts, LinkEvent};
use crate::page::view::{CheckView, CueView, Event as Told, LastCue, Now, ScaleView};
use crate::pour::engine::{Command, LinkChange};
use crate::pour::entry::{CueCall, Entry, Output};
use crate::pour::hand::Hand;
use crate::pour::remark::Remark;
use crate::pour::trace::Input;
use crate::reading::{Indicated, Reading, Weighing};
use crate::record::{CheckRecord, JugRecord, LagRecord};
use crate::settle::{Motion, Settler};
use crate::store::{StoreError, Write};
use crate::time::Instant;
use crate::units::Mass;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};

/// The thread's state.
pub struct Table {
    pub(super) parts: Parts,
    pub(super) log: Log,
    settler: Settler,
    pub(super) sight: Sight,
    pub(super) batch: Option<Batch>,
    /// The batch whose begin is on its way to the disk, and the job that writes it.
    pub(super) beginning: Option<(u64, Batch)>,
    last_cue: Option<LastCue>,
    pub(super) cues: u64,
    /// Said after a lift, until the next piece is ready.
    pub(super) note: Option<Remark>,
    pub(super) rounds: Rounds,
    /// The weight at rest on the pan, and since when it was last read.
    pub(super) rest: Option<(Mass, Instant)>,
    /// Set on the bare pan it voids the last record.
    pub(super) spare: Option<Mass>,
    /// The jug, and how it stood on the pan last.
    pub(super) jug: Option<JugRecord>,
    /// How late the scale shows, as the log has it.
    pub(super) lag: Option<LagRecord>,
    /// Another log is being put back by this write.
    pub(super) restoring: Option<u64>,
    /// The response test of the scale.
    pub(super) test: Option<LagTest>,
    /// What the scale goes by; what it goes by from the next piece on, where that is another; its latest check.
    pub(super) calibration: Option<InForce>,
    pub(super) next_calibration: Option<Option<InForce>>,
    pub(super) checked: Option<CheckRecord>,
    /// A calibration or a check at the pan.
    pub(super) routine: Option<Run>,
    /// Temperature of the room as typed last, degrees Celsius.
    pub(super) room_c: Option<f64>,
    /// What is weighed, one thing after the other.
    pub(super) weighed: Option<Weighed>,
}

impl Table {
    /// A table with nothing on it.
    pub fn new(parts: Parts) -> Self {
        Self {
            settler: Settler::new(&parts.scale),
            log: Log::default(),
            sight: Sight::new(parts.way, &parts.scale),
            batch: None,
            beginning: None,
            last_cue: None,
            cues: 0,
            note: None,
            rounds: Rounds::default(),
            rest: None,
            spare: parts.spare,
            jug: parts.jug,
            lag: parts.lag.clone(),
            restoring: None,
            test: None,
            calibration: parts.calibration.clone().map(InForce::of),
            next_calibration: None,
            checked: parts.checked.clone(),
            routine: None,
            room_c: None,
            weighed: None,
            parts,
        }
    }

    /// Runs until told to stop; closes the log.
    ///
    /// # Errors
    /// What could not be written.
    pub fn run(mut self, events: Receiver<Event>) -> Result<(), StoreError> {
        loop {
            let now = self.parts.clock.now();
            let due = self.batch.as_ref().and_then(|b| b.engine.poll_timeout());
            let next = self.rounds.next();
            let wait = due.map_or(next, |at| at.min(next)).since(now);
            match events.recv_timeout(wait) {
                Ok(Event::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(Event::LogGone) => {
                    // The hand must hear that it is over before the stream closes.
                    self.give_if_changed(Command::Hold, self.parts.clock.now());
                    break;
                }
                Ok(event) => {
                    self.rounds.handle_event();
                    self.handle(event);
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
            let now = self.parts.clock.now();
            if due.is_some_and(|at| at <= now) {
                self.give(Input::Timeout(now));
            }
            self.log.flush(&self.parts.store);
            self.hold_or_resume(now);
            if self.rounds.due(now) {
                self.follow_hearing(now);
                self.remind(now);
                self.show(now);
            }
        }
        let now = self.parts.clock.now();
        self.give(Input::Command(Command::End, now));
        self.parts.outlet.end();
        // With nobody to take its word the store's thread must not wait for room in the channel.
        drop(events);
        self.log.close(self.parts.store)
    }

    fn handle(&mut self, event: Event) {
        if self.waits_for_restore(&event) {
            return;
        }
        match event {
            Event::Link(link) => self.handle_link(link),
            Event::Create(batch, reply) => self.create(*batch, reply),
            Event::Begin(beginning, reply) => self.begin(*beginning, reply),
            Event::End(batch, reply) => self.end(*batch, reply),
            Event::StillOn(batch, reply) if reply.wanted.take() => reply.give(self.still_on(*batch)),
            Event::Void(pour, batch, reply) => self.void(*pour, *batch, reply),
            Event::Redo(pour, batch, reply) => self.redo(*pour, *batch, reply),
            Event::Skip(batch, reply) => self.skip(*batch, reply),
            Event::Spare { off, lately, reply } => self.keep_spare(off, &lately, reply),
            Event::Jug(wish, reply) => self.keep_jug(wish, reply),
            Event::Test { off, reply } => self.test_scale(off, &reply),
            Event::Calibration(write, reply) => self.keep_calibration(*write, reply),
            Event::Room(room_c, reply) => self.handle_room(room_c, &reply),
            Event::Routine(wish, reply) => self.begin_routine(wish.map(|w| *w), &reply),
            Event::Weigh { things, reply } => self.weigh(things, &reply),
            Event::Put(records, reply) => self.put(records, reply),
            Event::Keep(history, reply) => self.keep(*history, reply),
            Event::Retarget(batch, reply) => self.retarget(*batch, reply),
            Event::Refill(batch, refill, reply) => self.refill(&batch, refill, reply),
            Event::Ack(ack) => self.handle_ack(*ack),
            Event::Sound(status) => self.parts.outlet.handle_status(status),
            Event::ClientSound { client, latency } => self.parts.outlet.handle_client(client, latency),
            // A wish withdrawn; the other two end the loop before they come here.
            Event::StillOn(..) | Event::LogGone | Event::Stop => {}
        }
    }

    fn handle_link(&mut self, event: LinkEvent) {
        self.rounds.handle_news();
        let now = self.parts.clock.now();
        match event {
            LinkEvent::Up => {
                self.sight.handle_up(now);
                self.parts.decoder.reset();
                self.give(Input::Link(LinkChange::Up, now));
            }
            LinkEvent::Down { reason, try_this } => {
                tracing::warn!("scale: {reason}; {try_this}");
                self.sight.handle_down(reason, try_this);
                self.give(Input::Link(LinkChange::Down, now));
            }
            LinkEvent::Facts(facts) => self.handle_facts(facts, now),
            LinkEvent::Bytes { bytes, arrived_at } => {
                self.sight.handle_bytes();
                self.parts.decoder.handle_bytes(&bytes, arrived_at);
                while let Some(reading) = self.parts.decoder.poll_reading() {
                    self.handle_reading(reading);
                }
            }
        }
    }

    /// Where the scale's step is another than was known, all that goes by it is told.
    fn handle_facts(&mut self, facts: Facts, now: Instant) {
        let Some(step) = self.sight.handle_facts(facts) else { return };
        self.parts.scale.step = step;
        self.settler = Settler::new(&self.parts.scale);
        self.batch.iter_mut().for_each(|b| b.coarse = too_coarse(&self.parts.scale, &b.record));
        self.give(Input::Step(step, now));
    }

    fn handle_reading(&mut self, reading: Reading) {
        let at = reading.arrived_at;
        let taken_at = self.sight.handle_arrival(&reading);
        let Indicated::Mass(mass) = reading.indicated else {
            if reading.indicated == Indicated::Overload {
                self.overload_routine();
            }
            return self.sight.handle_out_of_range(reading);
        };
        let w = Weighing { mass, arrived_at: at, taken_at };
        let motion = self.settler.handle_weighing(w);
        let shown = match motion {
            Motion::AtRest { mass } => Some(mass),
            Motion::Moving { .. } => None,
        };
        self.rest = shown.map(|mass| (self.correction().of(mass), at));
        // On a wheel that turns rest is the mean over its turns.
        let on_a_wheel = self.batch.as_ref().is_some_and(|b| b.engine.on_a_wheel());
        self.sight.handle_weighing(w, self.rest.is_some() || on_a_wheel);
        self.follow_test(w, shown);
        self.follow_routine(w, shown);
        self.follow_weighed(w, self.rest.map(|(mass, _)| mass));
        self.give(Input::Weighing(w));
    }

    /// Gives an input to the engine and carries out what comes of it.
    pub(super) fn give(&mut self, input: Input) {
        let Some(batch) = &mut self.batch else { return };
        let idle = batch.idle();
        batch.trace.note(input, idle);
        input.give(&mut batch.engine);
        while let Some(output) = self.batch.as_mut().and_then(|b| b.engine.poll_output()) {
            match output {
                Output::Cue(call) => self.tell_cue(&call),
                Output::Entry(entry) => self.enter(&entry),
                Output::Dropped { piece } => self.drop_open(piece),
                Output::Learned(hand) => self.learn(hand),
                Output::VoidLast => self.void_last(),
                Output::Jug { gross, before } => self.jug_stands(gross, before),
            }
        }
        let Some(batch) = &mut self.batch else { return };
        if idle {
            batch.start_trace();
        } else if batch.idle()
            && let Some(write) = batch.whole_trace()
        {
            self.log.add(write);
        }
        if let Some(command) = batch.renumber() {
            // Once: then the engine's number is the one that is due.
            self.give(Input::Command(command, self.parts.clock.now()));
        }
        self.take_calibration();
    }

    fn tell_cue(&mut self, call: &CueCall) {
        self.cues = call.n;
        self.rounds.handle_news();
        self.parts.outlet.play(call);
        self.note = call.about.or(self.note);
        let view = CueView::from(call);
        self.last_cue = Some(LastCue { n: view.n, cue: view.cue, at_us: view.at_us, due_us: view.due_us });
        // No client is no error.
        let _ = self.parts.told.send(Told::Cue(view));
    }

    fn enter(&mut self, entry: &Entry) {
        let wall = self.parts.clock.wall();
        let scale = self.parts.scale.id.clone();
        let by = self.calibration.as_ref();
        let by = by.map(|c| By { id: c.record.id.clone(), known: c.known() });
        let Some(batch) = &mut self.batch else { return };
        let Belongs { open, on_pan } = batch.pieces.take(entry, wall, batch.record.bucket, by);
        if entry.rev == 0 {
            self.note = None;
        }
        if entry.rev == 1 {
            batch.reminders.handle_piece();
        }
        // The trace at hand is that of the piece on the pan; one of before has its own on disk.
        let own = entry.rev > 0 && on_pan;
        let trace = if own { batch.trace.encode() } else { Vec::new() };
        let pour = open.record(&batch.record, entry, scale, trace);
        batch.pieces.handle_record(&pour);
        let write = if entry.rev == 0 {
            Write::PourOpened(pour)
        } else {
            Write::Pour { pour, hand: None, lag: None }
        };
        self.log.add(write);
        if entry.rev == 0 {
            self.was_no_jug(entry.tare);
        }
    }

    fn drop_open(&mut self, piece: u32) {
        if let Some(open) = self.batch.as_mut().and_then(|b| b.pieces.drop_empty(piece)) {
            self.log.add(Write::PourDropped { id: open.id });
        }
    }

    fn learn(&mut self, hand: Hand) {
        let Some(batch) = &self.batch else { return };
        self.log.learned(batch.who.key(), hands::kept(hand), lateness::learned(batch));
    }

    fn hold_or_resume(&mut self, now: Instant) {
        let command = if self.log.trouble().is_some() { Command::Hold } else { Command::Resume };
        self.give_if_changed(command, now);
    }

    /// What the loudspeakers need may change at any time, also between a begin and its first piece.
    fn follow_hearing(&mut self, now: Instant) {
        let hearing = self.parts.outlet.hearing();
        if self.batch.as_ref().is_some_and(|b| b.engine.hearing() != hearing) {
            self.give(Input::Hearing(hearing, now));
        }
    }

    /// What is due between two pieces is said by the engine, after the next lift.
    fn remind(&mut self, now: Instant) {
        let wall = self.parts.clock.wall();
        let check = self.check_due().is_some();
        if self.batch.as_mut().is_some_and(Batch::became_full) {
            self.give(Input::Command(Command::Remind(Remark::Full), now));
        }
        if let Some(remark) = self.batch.as_mut().and_then(|b| b.reminders.due(now, wall, check)) {
            self.give(Input::Command(Command::Remind(remark), now));
        }
    }

    fn give_if_changed(&mut self, command: Command, now: Instant) {
        let held = self.batch.as_ref().map(|b| b.engine.held());
        if held.is_some_and(|held| held != (command == Command::Hold)) {
            self.give(Input::Command(command, now));
        }
    }

    pub(super) fn show(&mut self, now: Instant) {
        let hint = self.batch.as_ref().and_then(Batch::hint);
        let seen = self.sight.view(now, self.parts.decoder.counts(), hint);
        let view = Now {
            run: self.parts.run.clone(),
            at_us: now.us(),
            scale: ScaleView {
                spare_g: self.spare.map(Mass::told_g),
                jug_g: self.jug.map(|jug| jug.empty.told_g()),
                lag: lateness::lag(&self.parts.scale, self.lag.as_ref(), self.batch.as_ref()),
                lag_test: self.test.as_ref().map(lateness::test),
                mass_g: seen.mass_g.map(|g| Mass::saturating(self.correction().of_g(g)).told_g()),
                calibration: self.calibration.as_ref().map(InForce::view),
                check: self.checked.as_ref().map(CheckView::from),
                routine: self.routine.as_ref().map(Run::view),
                check_due: self.check_due().map(Due::word),
                weighed: self.weighed.as_ref().map(weighing::view),
                ..seen
            },
            last_cue: self.last_cue.clone(),
            note: self.note.filter(|_| self.batch.is_some()).map(Remark::word),
            vessel: self.parts.settings.vessel.word(),
            finish: self.parts.settings.finish.word(),
            not_recorded: self.log.unwritten(),
            sound: self.parts.outlet.view(),
            ..under_way::view(self.batch.as_ref(), now, self.parts.clock.wall())
        };
        self.parts.now.send_replace(Arc::new(view));
    }
}
