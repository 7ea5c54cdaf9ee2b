//! The engine's thread: the one place where bytes, engine, log and page meet.
//!
//! Waits only for its own channel. It never waits for the log (jobs are tried, and
//! kept when refused), the page (latest value wins) or a lock.

use super::clock::Clock;
use super::event::{Event, Reply};
use super::log::Log;
use super::open::Open;
use crate::frame::line::LineDecoder;
use crate::link::serial::LinkEvent;
use crate::page::desk::{Begun, Refusal};
use crate::page::view::{CueView, Event as Told, LastCue, Now, PourView, ScaleView};
use crate::pour::PourSettings;
use crate::pour::engine::{Command, Engine, LinkChange, Start};
use crate::pour::entry::{CueCall, Entry, Output};
use crate::pour::hand::Hand;
use crate::pour::trace::{Input, Trace};
use crate::reading::{Indicated, Reading, Weighing};
use crate::record::{BatchRecord, HandRecord, WhoPours};
use crate::scale::ScaleFacts;
use crate::settle::{Motion, Settler};
use crate::store::{Ack, Store, StoreError, Write};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use tokio::sync::{broadcast, watch};

/// The page is told at least this often, so that ages stay true.
const HEARTBEAT: Duration = Duration::from_millis(200);
/// Without a reading for this long the scale is stale.
const STALE: Duration = Duration::from_millis(800);

/// What the thread is built from.
pub struct Parts {
    /// Clock.
    pub clock: Clock,
    /// Scale as known.
    pub scale: ScaleFacts,
    /// What the studio set.
    pub settings: PourSettings,
    /// Lines to readings.
    pub decoder: LineDecoder,
    /// The log.
    pub store: Store,
    /// Latest snapshot.
    pub now: watch::Sender<Arc<Now>>,
    /// Cues and pours, to every client.
    pub told: broadcast::Sender<Told>,
    /// A name for this run.
    pub run: String,
}

/// A batch under way.
struct Batch {
    record: BatchRecord,
    who: WhoPours,
    engine: Engine,
    trace: Trace,
    open: Option<Open>,
    /// The job that writes its begin down.
    begin_ticket: u64,
}

/// What the link last said.
enum LinkState {
    Searching,
    Up,
    Lost { reason: String, try_this: String },
}

/// The thread's state.
pub struct Table {
    parts: Parts,
    log: Log,
    link: LinkState,
    settler: Settler,
    settled: bool,
    last: Option<Weighing>,
    range_trouble: Option<&'static str>,
    batch: Option<Batch>,
    last_cue: Option<LastCue>,
    cues: u64,
}

impl Table {
    /// A table with nothing on it.
    pub fn new(parts: Parts) -> Self {
        Self {
            settler: Settler::new(&parts.scale),
            log: Log::default(),
            link: LinkState::Searching,
            settled: false,
            last: None,
            range_trouble: None,
            batch: None,
            last_cue: None,
            cues: 0,
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
            let wait = due.map_or(HEARTBEAT, |at| at.since(now).min(HEARTBEAT));
            match events.recv_timeout(wait) {
                Ok(Event::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(Event::LogGone) => {
                    // The hand must hear that it is over before the stream closes.
                    self.give_if_changed(Command::Hold, self.parts.clock.now());
                    break;
                }
                Ok(event) => self.handle(event),
                Err(RecvTimeoutError::Timeout) => {}
            }
            let now = self.parts.clock.now();
            if due.is_some_and(|at| at <= now) {
                self.give(Input::Timeout(now));
            }
            self.log.flush(&self.parts.store);
            self.hold_or_resume(now);
            self.show(now);
        }
        let now = self.parts.clock.now();
        self.give(Input::Command(Command::End, now));
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
            Event::Ack(ack) => self.handle_ack(*ack),
            // Both end the loop before they come here.
            Event::LogGone | Event::Stop => {}
        }
    }

    fn handle_link(&mut self, event: LinkEvent) {
        let now = self.parts.clock.now();
        match event {
            LinkEvent::Up => {
                self.link = LinkState::Up;
                self.parts.decoder.reset();
                self.give(Input::Link(LinkChange::Up, now));
            }
            LinkEvent::Down { reason, try_this } => {
                tracing::warn!("scale: {reason}; {try_this}");
                self.link = LinkState::Lost { reason, try_this };
                self.give(Input::Link(LinkChange::Down, now));
            }
            LinkEvent::Bytes { bytes, arrived_at } => {
                self.parts.decoder.handle_bytes(&bytes, arrived_at);
                while let Some(reading) = self.parts.decoder.poll_reading() {
                    self.handle_reading(reading);
                }
            }
        }
    }

    fn handle_reading(&mut self, reading: Reading) {
        let mass = match reading.indicated {
            Indicated::Mass(mass) => mass,
            Indicated::Overload => return self.range_trouble = Some("too much on the scale"),
            Indicated::Underload => return self.range_trouble = Some("the scale shows less than nothing"),
        };
        self.range_trouble = None;
        let w = Weighing { mass, arrived_at: reading.arrived_at, taken_at: reading.taken_at };
        self.settled = matches!(self.settler.handle_weighing(w), Motion::AtRest { .. });
        self.last = Some(w);
        self.give(Input::Weighing(w));
    }

    /// Gives an input to the engine and carries out what comes of it.
    fn give(&mut self, input: Input) {
        let Some(batch) = &mut self.batch else { return };
        let idle = matches!(batch.engine.snapshot(Instant::START).phase, crate::pour::entry::Phase::Idle);
        batch.trace.note(input, idle);
        input.give(&mut batch.engine);
        while let Some(output) = self.batch.as_mut().and_then(|b| b.engine.poll_output()) {
            match output {
                Output::Cue(call) => self.tell_cue(&call),
                Output::Entry(entry) => self.enter(&entry),
                Output::Dropped { .. } => self.drop_open(),
                Output::Learned(hand) => self.learn(hand),
            }
        }
        if let Some(b) = &mut self.batch
            && idle
        {
            b.trace.start.hand = b.engine.hand();
            b.trace.start.first_piece = b.engine.snapshot(Instant::START).piece;
        }
    }

    fn tell_cue(&mut self, call: &CueCall) {
        self.cues = call.n;
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
        self.log.add_answering(Write::BatchCreated(record.clone()), reply, begun(record, Vec::new()));
    }

    fn begin(&mut self, mut record: BatchRecord, who: WhoPours, hand: Hand, first_piece: u32, reply: Reply) {
        if let Some(batch) = &self.batch {
            let answer = if batch.record.id == record.id {
                Ok(begun(batch.record.clone(), Vec::new()))
            } else {
                let name = &batch.record.name;
                Err(Refusal::Conflict(format!("the batch '{name}' is under way: end it first")))
            };
            return answer_to(&reply, answer);
        }
        if record.ended_at.is_some() {
            let why = format!("the batch '{}' has ended: make a new one", record.name);
            return answer_to(&reply, Err(Refusal::Conflict(why)));
        }
        let start = Start {
            target: record.target,
            low: record.low,
            high: record.high,
            scale: self.parts.scale.clone(),
            hand,
            ahead: Duration::ZERO,
            settings: self.parts.settings.clone(),
            first_piece,
        };
        let at = self.parts.clock.wall();
        record.begun_at.get_or_insert(at);
        let mut engine = Engine::new(start.clone());
        engine.count_cues_from(self.cues);
        let warnings =
            vec!["no sound in this version: cues go to the clients of the live stream only".to_owned()];
        let write = Write::BatchBegun { id: record.id.clone(), at };
        let begin_ticket = self.log.add_answering(write, reply, begun(record.clone(), warnings));
        self.batch = Some(Batch { record, who, engine, trace: Trace::new(start), open: None, begin_ticket });
    }

    fn end(&mut self, mut record: BatchRecord, reply: Reply) {
        if self.batch.as_ref().is_none_or(|b| b.record.id != record.id) {
            if record.ended_at.is_some() {
                return answer_to(&reply, Ok(begun(record, Vec::new())));
            }
            let why = format!("the batch '{}' is not under way", record.name);
            return answer_to(&reply, Err(Refusal::Conflict(why)));
        }
        self.give(Input::Command(Command::End, self.parts.clock.now()));
        self.batch = None;
        let at = self.parts.clock.wall();
        record.ended_at = Some(at);
        let write = Write::BatchEnded { id: record.id.clone(), at };
        self.log.add_answering(write, reply, begun(record, Vec::new()));
    }

    fn handle_ack(&mut self, ack: Ack) {
        if let Ack::Failing { ticket, .. } = &ack
            && self.batch.as_ref().is_some_and(|b| b.begin_ticket == *ticket && b.open.is_none())
        {
            // A batch does not begin when the log can't be written; whoever asked is told so.
            self.batch = None;
        }
        if let Some(pour) = self.log.handle_ack(ack) {
            let _ = self.parts.told.send(Told::Pour(Box::new(PourView::from(&pour))));
        }
    }

    fn hold_or_resume(&mut self, now: Instant) {
        let command = if self.log.in_trouble() { Command::Hold } else { Command::Resume };
        self.give_if_changed(command, now);
    }

    fn give_if_changed(&mut self, command: Command, now: Instant) {
        let held = self.batch.as_ref().map(|b| b.engine.held());
        if held.is_some_and(|held| held != (command == Command::Hold)) {
            self.give(Input::Command(command, now));
        }
    }

    fn show(&mut self, now: Instant) {
        let snapshot = self.batch.as_ref().map(|b| b.engine.snapshot(now));
        let record = self.batch.as_ref().map(|b| &b.record);
        let grams = |m: Option<Mass>| m.map(|m| m.g());
        let view = Now {
            run: self.parts.run.clone(),
            seq: 0,
            at_us: now.us(),
            scale: self.scale_view(now),
            phase: snapshot.map_or("idle", |s| s.phase.word()),
            step: snapshot.map_or("no batch under way", |s| s.step).to_owned(),
            batch: record.map(|r| r.id.clone()),
            piece: snapshot.map(|s| s.piece),
            net_g: grams(snapshot.and_then(|s| s.net)),
            target_g: record.map(|r| r.target.g()),
            low_g: record.map(|r| r.low.g()),
            high_g: record.map(|r| r.high.g()),
            expected_g: grams(snapshot.and_then(|s| s.expected)),
            flow_g_s: snapshot.and_then(|s| s.flow_g_s),
            last_cue: self.last_cue.clone(),
            not_recorded: self.log.unwritten(),
        };
        self.parts.now.send_replace(Arc::new(view));
    }

    fn scale_view(&self, now: Instant) -> ScaleView {
        let age = self.last.map(|w| now.since(w.arrived_at));
        let fresh = age.is_some_and(|a| a < STALE);
        let counts = self.parts.decoder.counts();
        let (state, trouble) = match &self.link {
            LinkState::Searching => ("searching", None),
            LinkState::Up if fresh => ("live", self.range_trouble.map(str::to_owned)),
            LinkState::Up => ("stale", Some(silent(counts.skipped))),
            LinkState::Lost { reason, try_this } => ("lost", Some(format!("{reason}; {try_this}"))),
        };
        let slow = self.batch.as_ref().is_some_and(|b| !b.engine.guides());
        let slow = slow.then(|| {
            "under 4 readings a second: too slow, this version neither calls a stop nor logs a weight"
                .to_owned()
        });
        ScaleView {
            state,
            mass_g: self.last.map(|w| w.mass.g()),
            settled: self.settled && fresh,
            age_ms: age.map(|a| u64::try_from(a.as_millis()).unwrap_or(u64::MAX)),
            trouble: trouble.or(slow),
            readings: counts.readings,
            skipped: counts.skipped,
        }
    }
}

fn silent(skipped: u64) -> String {
    if skipped > 0 {
        format!("no readable weight ({skipped} lines skipped): check baud rate, framing and line format")
    } else {
        "the port is open but the scale says nothing: switch it on, check its sending mode".to_owned()
    }
}

fn begun(batch: BatchRecord, warnings: Vec<String>) -> Begun {
    Begun { batch, warnings }
}

pub(super) fn answer_to(reply: &Reply, answer: Result<Begun, Refusal>) {
    // A client that went away needs no answer.
    let _ = reply.try_send(answer);
}
