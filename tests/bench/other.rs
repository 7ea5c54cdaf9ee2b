//! Whoever calls the stop instead of the engine.

use super::cell::{Change, Setup};
use super::cloud::Cloud;
use super::run::Caller;
use super::told::Told;
use tarebell::plant::{Plant, Shown};
use tarebell::pour::hand::Hand;

/// What a tone at the target is late by with a usual hand and scale: the fixed grams begin with it.
const LATE_G: f64 = 6.0;
/// As the engine learns its time: the weight of the prior, and the floor of the gain.
const PRIOR_WEIGHT: f64 = 1.1;
const GAIN_FLOOR: f64 = 0.2;
/// No pour's error counts for more than this where the gain is tried, s (as in the engine, after its first pours).
const STEP_LIMIT_S: f64 = 0.15;

/// One who calls.
#[derive(Debug)]
pub(crate) struct Other {
    caller: Caller,
    pub(crate) target_g: f64,
    change: Change,
    approach_s: f64,
    hand: Hand,
    /// What the pour before showed and was not learned yet, s.
    owed_s: f64,
    less_g: f64,
    pours: u32,
    pub(crate) tare_g: Option<f64>,
    warned: u32,
    called: bool,
    told: Told,
    cloud: Cloud,
}

impl Other {
    pub(crate) fn new(caller: Caller, setup: &Setup) -> Self {
        Self {
            caller,
            target_g: setup.target_g,
            change: setup.change.clone(),
            approach_s: setup.settings.approach.as_secs_f64(),
            hand: Hand::default(),
            owed_s: 0.0,
            less_g: LATE_G,
            pours: 0,
            tare_g: None,
            warned: 0,
            called: false,
            told: Told::new(setup),
            cloud: Cloud::new(setup),
        }
    }

    /// The words that are due now, after the display showed this.
    pub(crate) fn shown(&mut self, shown_g: f64) -> Option<&'static str> {
        let less_g = match self.caller {
            Caller::Plain => 0.0,
            Caller::Grams => self.less_g,
            Caller::Engine | Caller::Oracle | Caller::Told | Caller::Cloud => return None,
        };
        let due = self.tare_g.is_some_and(|tare| shown_g - tare >= self.target_g - less_g);
        (due && !std::mem::replace(&mut self.called, true)).then_some("stop")
    }

    /// A reading arrived, for who is told all that can be told of it.
    pub(crate) fn taken(&mut self, shown: Shown) {
        let Some(tare_g) = self.tare_g else { return };
        match self.caller {
            Caller::Told => self.told.reading(shown, tare_g),
            Caller::Cloud => self.cloud.reading(shown, tare_g),
            Caller::Engine | Caller::Plain | Caller::Grams | Caller::Oracle => {}
        }
    }

    /// The words that are due now, for who knows the jug, or all but what left it.
    pub(crate) fn known(&mut self, plant: &Plant) -> Option<&'static str> {
        let flow = plant.flow_g_s();
        if self.called || flow < 0.3 || !plant.pouring() {
            return None;
        }
        let hand_s = self.hand.hand_s + self.change.air_s;
        let word = match self.caller {
            Caller::Oracle => {
                let left_s = (self.target_g - plant.left_jug_g()) / flow - hand_s;
                self.word(|ahead_s| left_s <= ahead_s)
            }
            Caller::Told => {
                self.told.runs(plant.now());
                self.word(|ahead_s| self.told.mass_g(plant.now(), hand_s + ahead_s) >= self.target_g)
            }
            Caller::Cloud => {
                self.cloud.runs(plant.now());
                self.word(|ahead_s| self.cloud.mass_g(plant.now(), hand_s + ahead_s) >= self.target_g)
            }
            Caller::Plain | Caller::Grams | Caller::Engine => None,
        }?;
        if word == "stop" {
            self.called = true;
        } else {
            self.warned += 1;
        }
        Some(word)
    }

    /// What is to be said next, once its time is `within` so many seconds.
    fn word(&self, within: impl Fn(f64) -> bool) -> Option<&'static str> {
        let warnings = [(self.approach_s, "approach"), (0.85, "count"), (0.425, "count")];
        if within(0.0) {
            return Some("stop");
        }
        warnings.get(self.warned as usize).filter(|(at_s, _)| within(*at_s)).map(|(_, word)| *word)
    }

    pub(crate) fn learn(&mut self, error_g: f64, flow_g_s: f64) {
        let weight = 1.0 / (f64::from(self.pours) + PRIOR_WEIGHT);
        self.hand = match self.change.gain {
            None => self.hand.learn(error_g, flow_g_s, true),
            Some(floor) => {
                let seen_s = (error_g / flow_g_s.max(0.5)).clamp(-STEP_LIMIT_S, STEP_LIMIT_S);
                let before_s = std::mem::replace(&mut self.owed_s, seen_s);
                let error_s = if self.change.late_by_one { before_s } else { seen_s };
                Hand { hand_s: self.hand.hand_s + weight.max(floor) * error_s, ..self.hand }
            }
        };
        self.less_g += error_g * weight.max(GAIN_FLOOR);
        self.pours += 1;
    }

    /// The piece was lifted.
    pub(crate) fn next(&mut self) {
        (self.tare_g, self.warned, self.called) = (None, 0, false);
        self.told.end();
        self.cloud.end();
    }
}
