//! Runs the engine by hand: curves of gross grams in, cues and entries out.

use tarebell::pour::engine::{Engine, Start};
use tarebell::pour::entry::{Cue, Entry, Output, Phase};
use tarebell::pour::trace::{Input, Trace};
use tarebell::reading::Weighing;
use tarebell::record::Aim;
use tarebell::scale::{Origin, ScaleFacts};
use tarebell::time::{Duration, Instant};
use tarebell::units::Mass;

pub(crate) fn start() -> Start {
    start_for(29.0)
}

/// The default settings with a target of so many grams, 5 % to either side.
pub(crate) fn start_for(target_g: f64) -> Start {
    // Whole micrograms, as a trace keeps them.
    let limit = |share: f64| Mass::saturating((share * target_g * 1e6).round() / 1e6);
    let aim = Aim { target: Mass::saturating(target_g), low: limit(0.95), high: limit(1.05) };
    let scale = ScaleFacts {
        id: "trace".into(),
        step: Mass::saturating(0.1),
        noise: Mass::saturating(0.03),
        lag: Duration::from_millis(300),
        lag_origin: Origin::Told,
    };
    Start::fresh(aim, scale)
}

/// What an engine that has seen nothing yet starts from, as version 7 of the layout had it.
pub(crate) const OF_VERSION_7: [u8; 64] = [
    7, 64, 0, 0, 0, 128, 133, 212, 27, 224, 132, 163, 26, 160, 133, 133, 29, 192, 154, 12, 224, 212, 3, 128,
    232, 146, 38, 192, 207, 36, 0, 192, 216, 158, 1, 128, 178, 200, 148, 2, 0, 2, 0, 0, 0, 128, 180, 137, 19,
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 38, 160, 139, 14,
];

pub(crate) fn weighing(at_s: f64, g: f64) -> Input {
    let at = Instant::START.offset_seconds(at_s);
    Input::Weighing(Weighing {
        mass: Mass::saturating((g * 10.0).round() / 10.0),
        arrived_at: at,
        taken_at: at,
    })
}

/// Runs inputs, asking for timeouts in between as the daemon does.
pub(crate) struct Run {
    pub(crate) engine: Engine,
    pub(crate) trace: Trace,
    pub(crate) outputs: Vec<Output>,
    /// Readings a second.
    pub(crate) hz: f64,
}

impl Run {
    pub(crate) fn new() -> Self {
        Self::of(start())
    }

    pub(crate) fn of(start: Start) -> Self {
        Self { engine: Engine::new(start.clone()), trace: Trace::new(start), outputs: Vec::new(), hz: 10.0 }
    }

    pub(crate) fn give(&mut self, input: Input, at: Instant) {
        while let Some(due) = self.engine.poll_timeout().filter(|due| *due < at) {
            self.one(Input::Timeout(due));
            if self.engine.poll_timeout() == Some(due) {
                break;
            }
        }
        self.one(input);
    }

    pub(crate) fn one(&mut self, input: Input) {
        self.trace.note(input, false);
        input.give(&mut self.engine);
        self.outputs.extend(std::iter::from_fn(|| self.engine.poll_output()));
    }

    /// A curve of gross grams from `from_s` to `to_s`.
    pub(crate) fn curve(&mut self, from_s: f64, to_s: f64, gross: impl Fn(f64) -> f64) {
        let steps = ((to_s - from_s) * self.hz).round() as u64;
        for i in 0..steps {
            let t = from_s + i as f64 / self.hz;
            // A little scatter, as a real scale has; fixed, so that the test is the same each time.
            let scatter = 0.03 * ((i * 7919 % 13) as f64 / 6.0 - 1.0);
            self.give(weighing(t, gross(t) + scatter), Instant::START.offset_seconds(t));
        }
    }

    /// As [`Run::curve`], without scatter: a display that says just this.
    pub(crate) fn flat(&mut self, from_s: f64, to_s: f64, gross: impl Fn(f64) -> f64) {
        for i in 0..((to_s - from_s) * self.hz).round() as u64 {
            let t = from_s + i as f64 / self.hz;
            self.give(weighing(t, gross(t)), Instant::START.offset_seconds(t));
        }
    }

    pub(crate) fn cues(&self) -> Vec<Cue> {
        let cue = |o: &Output| if let Output::Cue(c) = o { Some(c.cue) } else { None };
        self.outputs.iter().filter_map(cue).collect()
    }

    /// Entries, newest last.
    pub(crate) fn entries(&self) -> Vec<Entry> {
        let entry = |o: &Output| if let Output::Entry(e) = o { Some(*e) } else { None };
        self.outputs.iter().filter_map(entry).collect()
    }

    /// The newest entry's net weight.
    pub(crate) fn net_g(&self) -> f64 {
        self.entries().last().and_then(|e| e.net).map_or(f64::NAN, |n| n.g())
    }

    /// Due seconds of every cue of this kind.
    pub(crate) fn due_s(&self, cue: Cue) -> Vec<f64> {
        let due = |o: &Output| {
            if let Output::Cue(c) = o { (c.cue == cue).then_some(c.due.seconds()) } else { None }
        };
        self.outputs.iter().filter_map(due).collect()
    }

    /// An engine that saw the same inputs with another target.
    pub(crate) fn with_target(&self, target_g: f64) -> Engine {
        let mut engine = Engine::new(start_for(target_g));
        for input in &self.trace.inputs {
            input.give(&mut engine);
        }
        while engine.poll_output().is_some() {}
        engine
    }

    pub(crate) fn phase(&self) -> Phase {
        self.engine.snapshot(Instant::START).phase
    }
}

/// A stream of 8 g/s from 4 s on through a one-pole scale of 0.3 s, that ends at `end_s`.
pub(crate) fn stream(t: f64, end_s: f64) -> f64 {
    let ramp = |t: f64| if t <= 0.0 { 0.0 } else { 8.0 * (t - 0.3 * (1.0 - (-t / 0.3).exp())) };
    300.0 + ramp(t - 4.0) - ramp(t - end_s)
}
