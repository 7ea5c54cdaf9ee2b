//! One session: a simulated potter, and whoever calls the stop.

use crate::cell::Setup;
use tarebell::frame::line::{LineDecoder, LineFormat, Unit};
use tarebell::plant::Plant;
use tarebell::plant::session::{Ending, Potter, Script};
use tarebell::pour::engine::{Engine, Start};
use tarebell::pour::entry::{Cue, Output};
use tarebell::pour::hand::Hand;
use tarebell::pour::put_back::Memory;
use tarebell::pour::ware::Ware;
use tarebell::reading::timing::Timing;
use tarebell::reading::{Indicated, Weighing};
use tarebell::scale::response::Lags;
use tarebell::scale::{Origin, ScaleFacts};
use tarebell::time::{Duration, Instant};
use tarebell::units::Mass;

/// How often the oracle looks, and the finest the session is moved.
const TICK: Duration = Duration::from_millis(2);
/// A potter who waits longer for anything has been left alone.
const LONGEST_S: f64 = 3600.0;

/// Who calls the stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Caller {
    /// The engine, through decoded lines; nobody tells it the scale's lag.
    Engine,
    /// A tone when the display reaches the target.
    Plain,
    /// A tone when the display reaches the target less a number of grams, learned as the engine learns its time.
    Grams,
    /// Knows what has left the jug and how fast, and learns the hand's time as the engine does.
    Oracle,
}

impl Caller {
    pub(crate) const ALL: [Self; 4] = [Self::Plain, Self::Grams, Self::Engine, Self::Oracle];

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Engine => "Tarebell",
            Self::Plain => "plain tone",
            Self::Grams => "fixed grams",
            Self::Oracle => "knows all",
        }
    }
}

/// What one piece got.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fill {
    pub(crate) net_g: f64,
    /// Slop on the ware from its first drop to the lift, s.
    pub(crate) contact_s: f64,
    /// A stop was called and not answered too soon.
    pub(crate) told: bool,
    /// What the log says, where it says anything.
    pub(crate) logged_g: Option<f64>,
}

/// Whoever calls instead of the engine.
#[derive(Debug)]
struct Other {
    caller: Caller,
    target_g: f64,
    hand: Hand,
    less_g: f64,
    pours: u32,
    tare_g: Option<f64>,
    warned: u32,
    called: bool,
}

/// What a tone at the target is late by with a usual hand and scale: the fixed grams begin with it.
const LATE_G: f64 = 6.0;

impl Other {
    fn new(caller: Caller, target_g: f64) -> Self {
        let hand = Hand::default();
        Self { caller, target_g, hand, less_g: LATE_G, pours: 0, tare_g: None, warned: 0, called: false }
    }

    /// The words that are due now, after the display showed this.
    fn shown(&mut self, shown_g: f64) -> Option<&'static str> {
        let less_g = match self.caller {
            Caller::Plain => 0.0,
            Caller::Grams => self.less_g,
            Caller::Engine | Caller::Oracle => return None,
        };
        let due = self.tare_g.is_some_and(|tare| shown_g - tare >= self.target_g - less_g);
        (due && !std::mem::replace(&mut self.called, true)).then_some("stop")
    }

    /// The words that are due now, for who knows the jug.
    fn known(&mut self, plant: &Plant, setup: &Setup) -> Option<&'static str> {
        let flow = plant.flow_g_s();
        if self.caller != Caller::Oracle || self.called || flow < 0.3 || !plant.pouring() {
            return None;
        }
        let left_s = (self.target_g - plant.left_jug_g()) / flow - self.hand.hand_s;
        let approach_s = setup.settings.approach.as_secs_f64();
        let warnings = [(approach_s, "approach"), (0.85, "count"), (0.425, "count")];
        if left_s <= 0.0 {
            self.called = true;
            return Some("stop");
        }
        let (at_s, word) = *warnings.get(self.warned as usize)?;
        (left_s <= at_s).then(|| {
            self.warned += 1;
            word
        })
    }

    fn learn(&mut self, error_g: f64, flow_g_s: f64) {
        self.hand = self.hand.learn(error_g, flow_g_s, true);
        self.less_g += error_g * (1.0 / (f64::from(self.pours) + 1.1)).max(0.2);
        self.pours += 1;
        (self.tare_g, self.warned, self.called) = (None, 0, false);
    }
}

/// The engine as the daemon starts it on a scale nobody knows.
fn engine(setup: &Setup) -> Engine {
    let half = (0.05 * setup.target_g).max(setup.scale.step_g);
    Engine::new(Start {
        target: Mass::saturating(setup.target_g),
        low: Mass::saturating(setup.target_g - half),
        high: Mass::saturating(setup.target_g + half),
        scale: ScaleFacts {
            id: "bench".into(),
            step: Mass::saturating(setup.scale.step_g),
            noise: Mass::saturating(0.03),
            lag: Duration::from_millis(300),
            lag_origin: Origin::Assumed,
        },
        hand: Hand::default(),
        ahead: Duration::from_micros((setup.sound_known_s * 1e6) as u64),
        settings: setup.settings.clone(),
        first_piece: 1,
        zero: Mass::ZERO,
        held: false,
        lift_first: false,
        lost: false,
        lost_said: false,
        spare: None,
        ware: Ware::default(),
        memory: Memory::default(),
        lags: Lags::default(),
    })
}

struct Session {
    potter: Potter,
    engine: Engine,
    decoder: LineDecoder,
    timing: Timing,
    other: Other,
    logged: Vec<Option<f64>>,
    first_drop: Option<Instant>,
    fills: Vec<Fill>,
    sound_s: Box<dyn FnMut() -> f64>,
}

/// A session of so many pieces; one that gets stuck is an error that says where.
pub(crate) fn session(setup: &Setup, caller: Caller, seed: u64, pieces: u32) -> Result<Vec<Fill>, String> {
    let plant = Plant::new(seed, setup.person.clone(), setup.scale.clone(), setup.table.clone());
    let script = Script { before_lift_s: setup.before_lift_s, ..Script::of(pieces, setup.target_g) };
    let mut s = Session {
        potter: Potter::new(plant, script),
        engine: engine(setup),
        decoder: LineDecoder::new(LineFormat::Auto, Unit::Gram),
        timing: Timing::default(),
        other: Other::new(caller, setup.target_g),
        logged: vec![None; pieces as usize],
        first_drop: None,
        fills: Vec::new(),
        sound_s: setup.sound(seed),
    };
    let mut t = Instant::START;
    let mut end = None;
    while end.is_none_or(|end| t < end) {
        if t.seconds() > LONGEST_S {
            return Err(format!("seed {seed}: stuck at {:?}", s.engine.snapshot(t)));
        }
        if s.potter.done() {
            // The engine has to see the last piece lifted.
            end.get_or_insert(t + Duration::from_secs(2));
        }
        t = t + TICK;
        s.step(setup, caller, t);
    }
    for (fill, logged) in s.fills.iter_mut().zip(&s.logged) {
        fill.logged_g = *logged;
    }
    Ok(s.fills)
}

impl Session {
    fn step(&mut self, setup: &Setup, caller: Caller, t: Instant) {
        if self.engine.poll_timeout().is_some_and(|due| due <= t) {
            self.engine.handle_timeout(t);
        }
        let before = self.potter.results().len();
        for shown in self.potter.advance(t) {
            let places = usize::from(setup.scale.step_g < 1.0);
            let line = format!("{:.places$} g\r\n", shown.mass_g);
            self.decoder.handle_bytes(line.as_bytes(), t);
            if let Some(word) = self.other.shown(shown.mass_g) {
                self.potter.handle_cue(word, t.offset_seconds((self.sound_s)()));
            }
        }
        while let Some(reading) = self.decoder.poll_reading() {
            let taken_at = self.timing.handle_arrival(t);
            if let Indicated::Mass(mass) = reading.indicated {
                self.engine.handle_weighing(Weighing { mass, arrived_at: t, taken_at });
            }
        }
        if let Some(word) = self.other.known(self.potter.plant(), setup) {
            self.potter.handle_cue(word, t.offset_seconds((self.sound_s)()));
        }
        self.carry_out(caller);
        self.look(before, t);
    }

    fn carry_out(&mut self, caller: Caller) {
        while let Some(output) = self.engine.poll_output() {
            match output {
                Output::Cue(c) if caller == Caller::Engine || guides_no_stop(c.cue) => {
                    self.potter.handle_cue(c.cue.word(), c.due.offset_seconds((self.sound_s)()));
                }
                Output::Entry(e) => {
                    self.other.tare_g = e.net.is_none().then(|| e.tare.g()).or(self.other.tare_g);
                    if let Some(place) = self.logged.get_mut(e.piece as usize - 1) {
                        *place = e.net.map(|m| m.g()).or(*place);
                    }
                }
                Output::Cue(_) | Output::Dropped { .. } | Output::Learned(_) | Output::VoidLast => {}
            }
        }
    }

    /// When slop first landed, and what a piece got that was lifted.
    fn look(&mut self, before: usize, t: Instant) {
        if self.potter.results().len() > before
            && let Some(poured) = self.potter.results().last()
        {
            let contact_s = self.first_drop.take().map_or(0.0, |from| t.seconds_from(from));
            let told = poured.ending == Ending::Told;
            self.fills.push(Fill { net_g: poured.net_g, contact_s, told, logged_g: None });
            if told {
                self.other.learn(poured.net_g - self.other.target_g, poured.flow_g_s);
            } else {
                (self.other.tare_g, self.other.warned, self.other.called) = (None, 0, false);
            }
        } else if self.first_drop.is_none() && self.potter.plant().pouring() {
            self.first_drop = Some(t);
        }
    }
}

/// What does not guide the stop comes from the engine, whoever calls it.
fn guides_no_stop(cue: Cue) -> bool {
    match cue {
        Cue::Ready | Cue::Fault | Cue::Clear => true,
        Cue::Approach | Cue::Count | Cue::Stop | Cue::Good | Cue::Short | Cue::Over | Cue::Note => false,
    }
}
