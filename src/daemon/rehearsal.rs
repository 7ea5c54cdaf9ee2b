//! Plays a scene: the simulated table's lines go through the real decoder to the engine, its cues go
//! back to the hand. What was said and written down, with the truth beside it, becomes plain text.

use super::commands::{output_json, print};
use super::files;
use crate::cli::ReplayArgs;
use crate::frame::line::{LineDecoder, LineFormat, Unit};
use crate::plant::scene::{LONGEST_S, Scene};
use crate::plant::stage::Stage;
use crate::plant::{Person, ScaleModel, Sent, Truth, What};
use crate::pour::PourSettings;
use crate::pour::engine::{Command, Engine, LinkChange, Start};
use crate::pour::entry::{CueCall, Entry, Output};
use crate::pour::finish::Finish;
use crate::pour::hand::{Hand, Trickle};
use crate::pour::jug::Jug;
use crate::pour::vessel::Vessel;
use crate::pour::ware::Ware;
use crate::reading::timing::Timing;
use crate::reading::{Indicated, Weighing};
use crate::record::Aim;
use crate::scale::{Origin, ScaleFacts};
use crate::time::{Duration, Instant};
use crate::units::Mass;
use anyhow::anyhow;
use std::collections::BTreeSet;
use std::process::ExitCode;

/// The lag that is assumed where none is told (as in the shipped settings).
const ASSUMED_LAG: Duration = Duration::from_millis(300);
/// How closely the hand and the engine are asked.
const WATCH: Duration = Duration::from_millis(5);
/// A clock that was put back still counts from here: the engine's starts a while before the scene.
const BEFORE_S: f64 = 60.0;
/// A hand has learned for so many pours.
const LEARNED_POURS: u32 = 8;

/// One thing of the play, by the scene's clock.
#[derive(Clone, Debug, PartialEq)]
pub enum Said {
    /// A step began; its text.
    Step(Instant, String),
    /// A cue, when it sounds.
    Cue(Instant, CueCall),
    /// A revision of a record, and the piece that truly stood there with the slop that was in it.
    Record(Instant, Entry, Option<(usize, f64)>),
    /// A piece that was opened and got nothing.
    Dropped(Instant, u32),
    /// The last record is to be voided.
    VoidLast(Instant),
    /// The known jug stands there, and weighs so much.
    Jug(Instant, Mass),
}

/// A scene played to its end.
#[derive(Clone, Debug)]
pub struct Played {
    /// The scene's name.
    pub scene: String,
    /// The scale's name.
    pub scale: String,
    /// All that was said, in order.
    pub said: Vec<Said>,
    /// The truth about each piece.
    pub truths: Vec<Truth>,
    /// The display's step.
    pub step_g: f64,
    /// From which state of the engine to which.
    pub moves: BTreeSet<(&'static str, &'static str)>,
    /// It came to its end within an hour.
    pub whole: bool,
}

/// `replay FILE.scene`: the transcript on each of its scales.
pub(super) fn run(args: &ReplayArgs) -> anyhow::Result<ExitCode> {
    let scene = Scene::parse(&files::text(&args.trace)?, &args.trace.to_string_lossy())?;
    for played in scene.scales.iter().filter_map(|scale| play(&scene, scale)) {
        let text = if args.json {
            let line = |said: &Said| crate::page::told::text(&said.json(&played.scale));
            played.in_order().iter().map(line).collect::<Result<Vec<_>, _>>()?.join("\n")
        } else {
            played.transcript()
        };
        print(&text)?;
        if !played.whole {
            return Err(anyhow!(
                "{} was cut after an hour on the scale '{}': its steps take longer; shorten them",
                args.trace.display(),
                played.scale
            ));
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Plays a scene on one of its scales; `None` for a scale of an unknown name.
pub fn play(scene: &Scene, scale: &str) -> Option<Played> {
    let model = scene.scale(scale)?;
    let mut bench = Bench {
        engine: Engine::new(start(scene, scale, &model)),
        decoder: LineDecoder::new(LineFormat::Auto, Unit::Gram),
        timing: Timing::default(),
        stage: Stage::new(scene, model.clone()),
        said: Vec::new(),
        opened: Vec::new(),
        newest: None,
        voided: BTreeSet::new(),
        state: "idle",
        moves: BTreeSet::new(),
    };
    let mut now = Instant::START;
    while !bench.stage.done() && now.seconds_from(Instant::START) < LONGEST_S {
        now = now + WATCH;
        bench.turn(now, scene);
    }
    let whole = bench.stage.done();
    let at = bench.engine_time(now);
    bench.engine.handle_command(Command::End, at);
    bench.collect(now);
    let truths = bench.stage.close();
    let (scene, scale) = (scene.name.clone(), scale.to_owned());
    Some(Played { scene, scale, said: bench.said, truths, step_g: model.step_g, moves: bench.moves, whole })
}

fn start(scene: &Scene, scale: &str, model: &ScaleModel) -> Start {
    // Whole micrograms, as a trace keeps them.
    let grams = |g: f64| Mass::saturating((g * 1e6).round() / 1e6);
    let lag = if scene.lag_told { Duration::from_secs_f64(model.lag()) } else { ASSUMED_LAG };
    let facts = ScaleFacts {
        id: scale.to_owned(),
        step: grams(model.step_g),
        noise: grams(0.03),
        lag,
        lag_origin: if scene.lag_told { Origin::Told } else { Origin::Assumed },
    };
    let aim = Aim {
        target: grams(scene.target_g),
        low: grams(scene.target_g - scene.tolerance_g),
        high: grams(scene.target_g + scene.tolerance_g),
    };
    Start {
        hand: if scene.new_hand { Hand::default() } else { learned(&scene.person, model, lag) },
        settings: PourSettings {
            vessel: Vessel::from_word(&scene.vessel).unwrap_or_default(),
            finish: if scene.trickle { Finish::Trickle } else { Finish::Stop },
            ..PourSettings::default()
        },
        spare: scene.spare_g.map(grams),
        jug: scene.jug_g.map(|(g, slop_g)| Jug { slop: slop_g.map(grams), ..Jug::of(grams(g)) }),
        ware: Ware::of(scene.bare_g.map(|[least, greatest]| (grams(least), grams(greatest)))),
        ..Start::fresh(aim, facts)
    }
}

/// The time that this person on this scale would be learned to have, by adding up all that is late: the
/// reaction, 0.4 of the tilt (slop over a lip falls as the head to the power 1.5), the drip at 8 g/s, the
/// age of a reading, and what the scale is later than it is taken for. At a trickle of 2.5 g/s the drip is 0.08 s more.
fn learned(person: &Person, model: &ScaleModel, told: Duration) -> Hand {
    let hand_s = person.mean_reaction_s() + 0.4 * person.tilt_s + person.drip_g / 8.0;
    let late_s = model.age_s + model.lag() - told.as_secs_f64();
    let trickle = Trickle { hand_s: (hand_s + late_s + 0.08).max(0.0), ..Trickle::default() };
    Hand { hand_s: (hand_s + late_s).max(0.0), pours: LEARNED_POURS, trickle, ..Hand::default() }
}

/// Everything between the table and the record.
struct Bench {
    engine: Engine,
    decoder: LineDecoder,
    timing: Timing,
    stage: Stage,
    said: Vec<Said>,
    /// Which piece stood there when a record was opened.
    opened: Vec<(u32, usize)>,
    /// The piece of the newest record, and those whose record was voided.
    newest: Option<u32>,
    voided: BTreeSet<u32>,
    state: &'static str,
    moves: BTreeSet<(&'static str, &'static str)>,
}

impl Bench {
    fn turn(&mut self, now: Instant, scene: &Scene) {
        for sent in self.stage.advance(now) {
            self.wake(sent.at);
            self.handle(sent);
            self.collect(now);
        }
        while let Some((at, step)) = self.stage.poll_begun() {
            let step = &scene.steps[step];
            if self.said.last() != Some(&Said::Step(at, step.text.clone())) {
                self.said.push(Said::Step(at, step.text.clone()));
            }
        }
        self.wake(now);
        self.collect(now);
    }

    fn engine_time(&self, at: Instant) -> Instant {
        at.offset_seconds(BEFORE_S + self.stage.clock_shift_s())
    }

    fn scene_time(&self, at: Instant) -> Instant {
        at.offset_seconds(-BEFORE_S - self.stage.clock_shift_s())
    }

    /// Gives the engine the times it asked for, up to now.
    fn wake(&mut self, now: Instant) {
        let now = self.engine_time(now);
        while let Some(due) = self.engine.poll_timeout().filter(|due| *due <= now) {
            self.engine.handle_timeout(due);
            if self.engine.poll_timeout() == Some(due) {
                break;
            }
        }
    }

    fn handle(&mut self, sent: Sent) {
        let arrived_at = self.engine_time(sent.at);
        match sent.what {
            What::Up => {
                self.decoder.reset();
                self.decoder.handle_bytes(b"\n", arrived_at);
                self.timing.reset();
                self.engine.handle_link(LinkChange::Up, arrived_at);
            }
            What::Down => self.engine.handle_link(LinkChange::Down, arrived_at),
            What::Line(text) => {
                self.decoder.handle_bytes(text.as_bytes(), arrived_at);
                while let Some(reading) = self.decoder.poll_reading() {
                    let taken_at = self.timing.handle_arrival(arrived_at, reading.indicated.mass());
                    if let Indicated::Mass(mass) = reading.indicated {
                        self.engine.handle_weighing(Weighing { mass, arrived_at, taken_at });
                        self.note_move();
                    }
                }
            }
        }
    }

    fn note_move(&mut self) {
        let from = std::mem::replace(&mut self.state, self.engine.state());
        if from != self.state {
            self.moves.insert((from, self.state));
        }
    }

    fn collect(&mut self, now: Instant) {
        self.note_move();
        while let Some(output) = self.engine.poll_output() {
            match output {
                Output::Cue(cue) => {
                    let due = self.scene_time(cue.due);
                    self.stage.handle_cue(cue.cue.word(), due);
                    self.said.push(Said::Cue(due, cue));
                }
                Output::Entry(entry) if entry.rev == 0 => {
                    if let Some(on) = self.stage.truths().len().checked_sub(1) {
                        self.opened.push((entry.piece, on));
                    }
                }
                Output::Entry(entry) => {
                    self.newest = Some(entry.piece);
                    let truths = self.stage.truths();
                    let opened = self.opened.iter().rev().find(|(piece, _)| *piece == entry.piece);
                    let on = opened.map(|(_, on)| *on).or(truths.len().checked_sub(1));
                    let truth = on.and_then(|on| truths.get(on).map(|truth| (on, truth.net_g)));
                    self.said.push(Said::Record(now, entry, truth));
                }
                Output::Dropped { piece } => self.said.push(Said::Dropped(now, piece)),
                Output::VoidLast => self.void_last(now),
                Output::Jug { gross, .. } => self.said.push(Said::Jug(now, gross)),
                Output::Learned(_) => {}
            }
        }
    }
}

impl Bench {
    /// As the log does it: once, and not the one before it too.
    fn void_last(&mut self, now: Instant) {
        if self.newest.is_some_and(|piece| self.voided.insert(piece)) {
            self.said.push(Said::VoidLast(now));
            let at = self.engine_time(now);
            self.engine.handle_command(Command::Voided, at);
        }
    }
}

impl Played {
    /// As text: one line for each step (marked `>`), cue and record, times to 0.1 s, the truth beside a
    /// record; last the truth about each piece.
    pub fn transcript(&self) -> String {
        let mut lines = vec![format!("{} on {}", self.scene, self.scale)];
        lines.extend(self.in_order().iter().map(|said| said.text()));
        for (i, t) in (1..).zip(&self.truths) {
            let at_lift: Vec<String> = t.at_lift_g.iter().map(|g| format!("{g:.1}")).collect();
            lines.push(format!(
                "truly {i}: {:.1} g bare, slop at each lift and landing {}",
                t.bare_g,
                at_lift.join(", ")
            ));
        }
        lines.join("\n") + "\n"
    }

    /// By the moment at which each is seen or heard.
    pub fn in_order(&self) -> Vec<Said> {
        let mut said = self.said.clone();
        said.sort_by_key(Said::at);
        said
    }

    /// The newest revision of each record, with the piece it truly was.
    pub fn records(&self) -> Vec<(Entry, Option<usize>)> {
        let mut found: Vec<(Entry, Option<usize>)> = Vec::new();
        for said in &self.said {
            if let Said::Record(_, entry, truth) = said {
                found.retain(|(e, _)| e.piece != entry.piece);
                found.push((*entry, truth.map(|(on, _)| on)));
            }
        }
        found
    }
}

impl Said {
    /// When, by the scene's clock.
    pub fn at(&self) -> Instant {
        match self {
            Self::Step(at, _)
            | Self::Cue(at, _)
            | Self::Record(at, ..)
            | Self::Dropped(at, _)
            | Self::VoidLast(at)
            | Self::Jug(at, _) => *at,
        }
    }

    fn json(&self, scale: &str) -> serde_json::Value {
        let at_us = self.at().us();
        let event = |kind: &str| serde_json::json!({ "kind": kind, "scale": scale, "at_us": at_us });
        match self {
            Self::Step(_, text) => {
                serde_json::json!({ "kind": "step", "scale": scale, "at_us": at_us, "step": text })
            }
            Self::Cue(_, cue) => {
                serde_json::json!({ "kind": "cue", "scale": scale, "at_us": at_us, "n": cue.n, "cue": cue.cue.word() })
            }
            Self::Record(_, entry, truth) => {
                let mut entry = output_json(&Output::Entry(*entry));
                entry["scale"] = scale.into();
                entry["at_us"] = at_us.into();
                entry["true_piece"] = truth.map(|(on, _)| on + 1).into();
                entry["true_net_g"] = truth.map(|(_, g)| g).into();
                entry
            }
            Self::Dropped(_, piece) => {
                serde_json::json!({ "kind": "dropped", "scale": scale, "at_us": at_us, "piece": piece })
            }
            Self::Jug(_, gross) => {
                serde_json::json!({ "kind": "jug", "scale": scale, "at_us": at_us, "gross_g": gross.g() })
            }
            Self::VoidLast(_) => event("void-last"),
        }
    }

    /// As a line of the transcript.
    pub fn text(&self) -> String {
        let at = self.at().seconds();
        match self {
            Self::Step(_, text) => format!("{at:7.1}  > {text}"),
            Self::Cue(_, cue) => {
                let about = cue.about.map_or(String::new(), |about| format!(" {}", about.word()));
                format!("{at:7.1}    {}{about}", cue.cue.word())
            }
            Self::Record(_, entry, truth) => format!("{at:7.1}    {}", record_text(entry, *truth)),
            Self::Dropped(_, piece) => format!("{at:7.1}    record {piece} dropped"),
            Self::VoidLast(_) => format!("{at:7.1}    the last record is voided"),
            Self::Jug(_, gross) => format!("{at:7.1}    the jug weighs {:.1} g", gross.g()),
        }
    }
}

fn record_text(e: &Entry, truth: Option<(usize, f64)>) -> String {
    let grams = |m: Option<Mass>| m.map_or("?".to_owned(), |m| format!("{:.2}", m.g()));
    let mut text = format!("record {}.{} {} {} g", e.piece, e.rev, e.verdict.word(), grams(e.net));
    text += &format!(" +-{} {}", grams(e.net_u), if e.settled { "settled" } else { "estimated" });
    if e.top_ups > 0 {
        text += &format!(", topped up {}", e.top_ups);
    }
    if e.rolled.is_some() {
        text += &format!(", rolled {} g", grams(e.rolled));
    }
    for mark in e.marks.iter() {
        text += &format!(", {}", mark.word());
    }
    let truth =
        truth.map_or("nothing stood there".to_owned(), |(on, g)| format!("truly {}: {g:.2} g", on + 1));
    format!("{text}; {truth}")
}
