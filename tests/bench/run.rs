//! One session: a simulated potter, and whoever calls the stop.

use super::cell::Setup;
use super::ear::Ear;
use super::other::Other;
use tarebell::frame::line::{LineDecoder, LineFormat, Unit};
use tarebell::plant::Plant;
use tarebell::plant::session::{Ending, Potter, Script};
use tarebell::pour::engine::{Engine, Start};
use tarebell::pour::entry::{Cue, Output};
use tarebell::pour::finish::Finish;
use tarebell::pour::hand::Hand;
use tarebell::reading::timing::Timing;
use tarebell::reading::{Indicated, Weighing};
use tarebell::record::Aim;
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
    /// Has the readings, and is told all that can be known of the scale and of how flows wander.
    Told,
    /// The same by a cloud of guesses, which takes the display's steps for what they are.
    Cloud,
}

impl Caller {
    /// Those of the grid.
    pub(crate) const ALL: [Self; 4] = [Self::Plain, Self::Grams, Self::Engine, Self::Oracle];

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Engine => "Tarebell",
            Self::Plain => "plain tone",
            Self::Grams => "fixed grams",
            Self::Oracle => "knows all",
            Self::Told => "told all",
            Self::Cloud => "told all, steps as steps",
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
    /// What it says of the first stop.
    pub(crate) first_g: Option<f64>,
}

/// The engine as the daemon starts it on a scale nobody knows.
pub(crate) fn engine(setup: &Setup) -> Engine {
    let half = (0.05 * setup.target_g).max(setup.scale.step_g);
    let aim = Aim {
        target: Mass::saturating(setup.target_g),
        low: Mass::saturating(setup.target_g - half),
        high: Mass::saturating(setup.target_g + half),
    };
    let scale = ScaleFacts {
        id: "bench".into(),
        step: Mass::saturating(setup.scale.step_g),
        noise: Mass::saturating(0.03),
        lag: Duration::from_micros((1e6 * setup.change.told_lag_s.unwrap_or(0.3)) as u64),
        lag_origin: if setup.change.told_lag_s.is_some() { Origin::Told } else { Origin::Assumed },
    };
    Engine::new(Start {
        hand: Hand::expected(setup.settings.guidance),
        ahead: Duration::from_micros((setup.sound_known_s * 1e6) as u64),
        settings: setup.settings.clone(),
        ..Start::fresh(aim, scale)
    })
}

struct Session {
    potter: Potter,
    engine: Engine,
    decoder: LineDecoder,
    timing: Timing,
    other: Other,
    logged: Vec<[Option<f64>; 2]>,
    first_drop: Option<Instant>,
    fills: Vec<Fill>,
    ear: Ear,
}

/// A session of so many pieces; one that gets stuck is an error that says where.
pub(crate) fn session(setup: &Setup, caller: Caller, seed: u64, pieces: u32) -> Result<Vec<Fill>, String> {
    let plant = Plant::new(seed, setup.person.clone(), setup.scale.clone(), setup.table.clone());
    let trickle_g_s = (setup.settings.finish == Finish::Trickle).then_some(setup.trickle_g_s);
    let usual = Script::of(pieces, setup.target_g);
    let script = Script { before_lift_s: setup.before_lift_s, trickle_g_s, ..usual };
    let mut s = Session {
        potter: Potter::new(plant, script),
        engine: engine(setup),
        decoder: LineDecoder::new(LineFormat::Auto, Unit::Gram),
        timing: Timing::default(),
        other: Other::new(caller, setup),
        logged: vec![[None; 2]; pieces as usize],
        first_drop: None,
        fills: Vec::new(),
        ear: Ear::new(setup, seed),
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
        [fill.logged_g, fill.first_g] = *logged;
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
            self.other.taken(shown);
            let places = usize::from(setup.scale.step_g < 1.0);
            let line = format!("{:.places$} g\r\n", shown.mass_g);
            self.decoder.handle_bytes(line.as_bytes(), t);
            if let Some(word) = self.other.shown(shown.mass_g) {
                self.ear.hear(&mut self.potter, word, t);
            }
        }
        while let Some(reading) = self.decoder.poll_reading() {
            let taken_at = self.timing.handle_arrival(t, reading.indicated.mass());
            if let Indicated::Mass(mass) = reading.indicated {
                self.engine.handle_weighing(Weighing { mass, arrived_at: t, taken_at });
            }
        }
        if let Some(word) = self.other.known(self.potter.plant()) {
            self.ear.hear(&mut self.potter, word, t);
        }
        self.carry_out(caller);
        self.look(before, t);
    }

    fn carry_out(&mut self, caller: Caller) {
        while let Some(output) = self.engine.poll_output() {
            match output {
                Output::Cue(c) if caller == Caller::Engine || guides_no_stop(c.cue) => {
                    self.ear.hear(&mut self.potter, c.cue.word(), c.due);
                }
                Output::Entry(e) => {
                    self.other.tare_g = e.net.is_none().then(|| e.tare.g()).or(self.other.tare_g);
                    if let Some(place) = self.logged.get_mut(e.piece as usize - 1) {
                        *place = [e.net.map(|m| m.g()).or(place[0]), e.first_net.map(|m| m.g()).or(place[1])];
                    }
                }
                Output::Cue(_)
                | Output::Dropped { .. }
                | Output::Learned(_)
                | Output::VoidLast
                | Output::Jug { .. } => {}
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
            self.fills.push(Fill { net_g: poured.net_g, contact_s, told, logged_g: None, first_g: None });
            let error_g = poured.net_g - self.other.target_g;
            if told {
                self.other.learn(error_g, poured.flow_g_s);
            }
            self.other.next();
            self.ear.lifted(told.then_some((error_g, poured.flow_g_s)));
        } else if self.first_drop.is_none() && self.potter.plant().pouring() {
            self.first_drop = Some(t);
        }
    }
}

/// What does not guide the stop comes from the engine, whoever calls it.
fn guides_no_stop(cue: Cue) -> bool {
    match cue {
        Cue::Ready | Cue::Fault | Cue::Clear | Cue::Short | Cue::Over => true,
        Cue::Approach | Cue::Count | Cue::Stop | Cue::Good | Cue::Note => false,
    }
}
