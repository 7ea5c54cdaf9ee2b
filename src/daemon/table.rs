//! The engine's thread: the one place where bytes, engine, log and page meet.
//!
//! Waits only for its own channel. It never waits for the log (jobs are tried, and
//! kept when refused), the page (latest value wins) or a lock.

use super::event::{Event, Reply};
use super::log::Log;
use super::open::{Open, begun, not_done, too_coarse};
pub use super::parts::Parts;
use super::rounds::Rounds;
use super::sight::Sight;
use super::under_way::{self, Batch};
use crate::link::{Facts, LinkEvent};
use crate::page::desk::{Begun, Refusal};
use crate::page::view::{CueView, Event as Told, LastCue, Now, PourView};
use crate::pour::engine::{Command, LinkChange, Start};
use crate::pour::entry::{CueCall, Entry, Output};
use crate::pour::hand::Hand;
use crate::pour::put_back::Memory;
use crate::pour::trace::Input;
use crate::pour::ware::Ware;
use crate::reading::{Indicated, Reading, Weighing};
use crate::record::{BatchRecord, HandRecord, PourRecord, Verdict, WhoPours};
use crate::settle::{Motion, Settler};
use crate::store::{Ack, StoreError, Write};
use crate::time::Instant;
use crate::units::Mass;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};

/// The thread's state.
pub struct Table {
    parts: Parts,
    log: Log,
    settler: Settler,
    sight: Sight,
    batch: Option<Batch>,
    /// The batch whose begin is on its way to the disk, and the job that writes it.
    beginning: Option<(u64, Batch)>,
    last_cue: Option<LastCue>,
    cues: u64,
    rounds: Rounds,
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
            rounds: Rounds::default(),
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
        match event {
            Event::Link(link) => self.handle_link(link),
            Event::Create(batch, reply) => self.create(*batch, reply),
            Event::Begin { batch, who, hand, first_piece, reply } => {
                self.begin(*batch, who, hand, first_piece, reply);
            }
            Event::End(batch, reply) => self.end(*batch, reply),
            Event::StillOn(batch, reply) if reply.wanted.take() => reply.give(self.still_on(*batch)),
            Event::Void(pour, batch, reply) => self.void(*pour, *batch, reply),
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
                self.sight.handle_up();
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
        let taken_at = self.sight.handle_arrival(at);
        let Indicated::Mass(mass) = reading.indicated else { return self.sight.handle_out_of_range(reading) };
        let w = Weighing { mass, arrived_at: at, taken_at };
        let motion = self.settler.handle_weighing(w);
        self.sight.handle_weighing(w, matches!(motion, Motion::AtRest { .. }));
        self.give(Input::Weighing(w));
        if let Some(batch) = &mut self.batch {
            batch.look_at_pan(motion);
        }
    }

    /// Gives an input to the engine and carries out what comes of it.
    fn give(&mut self, input: Input) {
        let Some(batch) = &mut self.batch else { return };
        let idle = batch.idle();
        batch.trace.note(input, idle);
        input.give(&mut batch.engine);
        while let Some(output) = self.batch.as_mut().and_then(|b| b.engine.poll_output()) {
            match output {
                Output::Cue(call) => self.tell_cue(&call),
                Output::Entry(entry) => self.enter(&entry),
                Output::Dropped { .. } => self.drop_open(),
                Output::Learned(hand) => self.learn(hand),
                // No weight is known by which it could come.
                Output::VoidLast => {}
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
    }

    fn tell_cue(&mut self, call: &CueCall) {
        self.cues = call.n;
        self.rounds.handle_news();
        self.parts.outlet.play(call);
        let view = CueView::from(call);
        self.last_cue = Some(LastCue { n: view.n, cue: view.cue, at_us: view.at_us, due_us: view.due_us });
        // No client is no error.
        let _ = self.parts.told.send(Told::Cue(view));
    }

    fn enter(&mut self, entry: &Entry) {
        let wall = self.parts.clock.wall();
        let scale = self.parts.scale.id.clone();
        let Some(batch) = &mut self.batch else { return };
        if entry.rev == 0 || batch.open.is_none() {
            let id = uuid::Uuid::now_v7().to_string();
            batch.open = Some(Open { id, piece: entry.piece, started_at: wall });
        }
        let Some(open) = batch.open.as_ref().filter(|o| o.piece == entry.piece) else { return };
        let trace = if entry.rev > 0 { batch.trace.encode() } else { Vec::new() };
        let pour = open.record(&batch.record, entry, scale, trace);
        let write = if entry.rev == 0 { Write::PourOpened(pour) } else { Write::Pour { pour, hand: None } };
        self.log.add(write);
    }

    fn drop_open(&mut self) {
        if let Some(open) = self.batch.as_mut().and_then(|b| b.open.take()) {
            self.log.add(Write::PourDropped { id: open.id });
        }
    }

    fn learn(&mut self, hand: Hand) {
        let Some(batch) = &self.batch else { return };
        let learned = HandRecord { hand_s: hand.hand_s, pours: hand.pours };
        self.log.learned(batch.who.key(), learned);
    }

    fn create(&mut self, record: BatchRecord, reply: Reply) {
        if let Some(why) = self.log.trouble() {
            return reply.give(Err(not_done(&why)));
        }
        self.log.ask(Write::BatchCreated(record.clone()), reply, begun(record, Vec::new()));
    }

    fn begin(&mut self, mut record: BatchRecord, who: WhoPours, hand: Hand, first_piece: u32, reply: Reply) {
        if let Err(refusal) = self.may_begin(&record) {
            return reply.give(Err(refusal));
        }
        if let Some(batch) = &self.batch {
            return reply.give(Ok(begun(batch.record.clone(), self.parts.outlet.warnings())));
        }
        if let Some((ticket, batch)) = &self.beginning {
            return self.log.also(*ticket, reply, begun(batch.record.clone(), self.parts.outlet.warnings()));
        }
        let start = Start {
            target: record.target,
            low: record.low,
            high: record.high,
            scale: self.parts.scale.clone(),
            hand,
            ahead: self.parts.outlet.hearing().ahead,
            settings: self.parts.settings.clone(),
            first_piece,
            zero: Mass::ZERO,
            held: false,
            // Begun before: the daemon ended in between, and the piece of then may still stand there.
            lift_first: record.begun_at.is_some(),
            lost: self.parts.outlet.hearing().lost,
            lost_said: false,
            spare: None,
            ware: Ware::default(),
            memory: Memory::default(),
        };
        let at = self.parts.clock.wall();
        record.begun_at.get_or_insert(at);
        self.parts.outlet.batch(true);
        let mut warnings = self.parts.outlet.warnings();
        warnings.extend(too_coarse(&start.scale, &record));
        let write = Write::BatchBegun { id: record.id.clone(), at };
        let ticket = self.log.ask(write, reply, begun(record.clone(), warnings));
        self.beginning = Some((ticket, Batch::new(record, who, start, self.cues)));
    }

    /// Whether this batch may begin, or is the one under way.
    fn may_begin(&self, record: &BatchRecord) -> Result<(), Refusal> {
        if let Some(batch) = self.batch.as_ref().or(self.beginning.as_ref().map(|(_, batch)| batch)) {
            let name = &batch.record.name;
            let other = batch.record.id != record.id;
            let why = || Refusal::Conflict(format!("the batch '{name}' is under way: end it first"));
            return if other { Err(why()) } else { Ok(()) };
        }
        if record.ended_at.is_some() || self.log.ended(&record.id).is_some() {
            return Err(Refusal::Conflict(format!("the batch '{}' has ended: make a new one", record.name)));
        }
        self.log.trouble().map_or(Ok(()), |why| Err(not_done(&why)))
    }

    fn end(&mut self, mut record: BatchRecord, reply: Reply) {
        if self.batch.as_ref().is_none_or(|b| b.record.id != record.id) {
            return self.end_elsewhere(record, reply);
        }
        // From here on it is done, so it can't be withdrawn; one that was is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.give(Input::Command(Command::End, self.parts.clock.now()));
        self.batch = None;
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

    fn still_on(&mut self, record: BatchRecord) -> Result<Begun, Refusal> {
        let now = self.parts.clock.now();
        let gross = under_way::offered(self.batch.as_ref(), &record, now)?;
        self.sight.handle_still_on(gross);
        self.give(Input::Command(Command::StillOn, now));
        Ok(begun(record, Vec::new()))
    }

    fn void(&mut self, pour: PourRecord, batch: BatchRecord, reply: Reply) {
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

    fn handle_ack(&mut self, ack: Ack) {
        let beginning = self.beginning.as_ref().map(|(ticket, _)| *ticket);
        match &ack {
            Ack::Written { ticket, .. } if beginning == Some(*ticket) => {
                self.batch = self.beginning.take().map(|(_, batch)| batch);
                // Whoever is told that it began finds it in the snapshot.
                self.show(self.parts.clock.now());
            }
            Ack::Refused { ticket, .. } if beginning == Some(*ticket) => {
                self.beginning = None;
                self.parts.outlet.batch(false);
            }
            Ack::Written { .. } | Ack::Refused { .. } | Ack::Failing { .. } => {}
        }
        self.rounds.handle_news();
        if let Some(pour) = self.log.handle_ack(ack) {
            let _ = self.parts.told.send(Told::Pour(Box::new(PourView::from(&pour))));
        }
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

    fn give_if_changed(&mut self, command: Command, now: Instant) {
        let held = self.batch.as_ref().map(|b| b.engine.held());
        if held.is_some_and(|held| held != (command == Command::Hold)) {
            self.give(Input::Command(command, now));
        }
    }

    fn show(&mut self, now: Instant) {
        let hint = self.batch.as_ref().and_then(Batch::hint);
        let view = Now {
            run: self.parts.run.clone(),
            at_us: now.us(),
            scale: self.sight.view(now, self.parts.decoder.counts(), hint),
            last_cue: self.last_cue.clone(),
            not_recorded: self.log.unwritten(),
            sound: self.parts.outlet.view(),
            ..under_way::view(self.batch.as_ref(), now, self.parts.clock.wall())
        };
        self.parts.now.send_replace(Arc::new(view));
    }
}
