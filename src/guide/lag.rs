//! The response test of a scale: a thing is lifted off five times, in one go, and how the display follows tells how late
//! it is and how it smooths; a light thing, twice, tells whether small changes are answered as large ones are.

use super::{Amiss, Guide, Met, Want};
use crate::reading::Weighing;
use crate::scale::ScaleFacts;
use crate::scale::response::KnownLag;
use crate::scale::smoothing::{Answer, Shape, Steps, shape};
use crate::time::Instant;
use crate::units::Mass;
use std::collections::VecDeque;

/// Five lifts know the lag to a fifth of half an interval (derived: beginnings spread evenly over an interval D leave
/// D / sqrt(12) each, D / sqrt(60) of five).
const LIFTS: usize = 5;
const LIGHT_LIFTS: usize = 2;
/// Heavy: well above noise and drips, and no more than a small bench scale carries, g (own choice).
const HEAVY_G: (f64, f64) = (150.0, 600.0);
/// Light: what runs from a jug within some seconds, g (own choice).
const LIGHT_G: (f64, f64) = (5.0, 40.0);
/// Lifting a thing off in one go unloads the pan over about 0.15 s, and half of that is in the area (loading before a
/// lift takes 0.1 to 0.2 s: Johansson and Westling 1984, from memory).
const LIFT_HAND_S: f64 = 0.075;
/// Setting it down takes a little longer (a guess, as `scale/response.rs` has it).
const SET_DOWN_HAND_S: f64 = 0.1;
/// Neither is known better than to this, s: a hand that takes 0.1 s longer makes the scale look later by up to that (tried in
/// `scale/smoothing.rs`), and most lifts differ by less (a guess).
const HAND_U_S: f64 = 0.04;
/// So much is kept of a step: half a minute of a quick scale.
const MOST_READINGS: usize = 600;
/// An answer that is off the middle by more says that the hand was slow, s (a guess: two intervals of a usual scale).
const ODD_S: f64 = 0.2;

/// What the test found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// How late the scale shows.
    pub lag: KnownLag,
    /// How it smooths.
    pub shape: Shape,
}

/// One response test.
#[derive(Clone, Debug)]
pub struct LagTest {
    guide: Guide,
    scale: ScaleFacts,
    readings: VecDeque<(Instant, f64)>,
    lifts: Vec<Answer>,
    placings: Vec<Answer>,
    light: Vec<Answer>,
    found: Option<Found>,
}

/// The row of steps: bare, on and off with a heavy thing, on and off with a light one.
fn wants() -> Vec<Want> {
    let on =
        |(least, most): (f64, f64)| Want::On { least: Mass::saturating(least), most: Mass::saturating(most) };
    let again = |times: usize| std::iter::repeat_n([Want::Again, Want::Off], times).flatten();
    let mut wants = vec![Want::Bare, on(HEAVY_G), Want::Off];
    wants.extend(again(LIFTS - 1));
    wants.extend([on(LIGHT_G), Want::Off]);
    wants.extend(again(LIGHT_LIFTS - 1));
    wants
}

impl LagTest {
    /// A test of this scale that waits for a bare pan.
    pub fn new(scale: ScaleFacts) -> Self {
        Self {
            guide: Guide::new(wants()),
            scale,
            readings: VecDeque::new(),
            lifts: Vec::new(),
            placings: Vec::new(),
            light: Vec::new(),
            found: None,
        }
    }

    /// What is waited for, and what is amiss.
    pub fn guide(&self) -> &Guide {
        &self.guide
    }

    /// The light thing's turn.
    pub fn is_light(&self) -> bool {
        self.lifts.len() >= LIFTS
    }

    /// What was found, at the end.
    pub fn found(&self) -> Option<&Found> {
        self.found.as_ref()
    }

    /// Takes a weighing, and the weight at rest where the pan rests. True when the last step was done.
    pub fn handle_weighing(&mut self, w: Weighing, rest: Option<Mass>) -> bool {
        if self.found.is_some() {
            return false;
        }
        self.readings.push_back((w.taken_at, w.mass.g()));
        if self.readings.len() > MOST_READINGS {
            self.readings.pop_front();
        }
        if let Some(met) = self.guide.handle_weighing(w, rest) {
            self.met(met);
        }
        self.found.is_some()
    }

    fn met(&mut self, met: Met) {
        let readings: Vec<_> = self.readings.drain(..).collect();
        let answer = Answer::of(&readings, met.before.g(), met.after.g(), &self.scale);
        let heavy = met.before.g().max(met.after.g()) >= LIGHT_G.1;
        match (met.want, answer) {
            (Want::Off, Some(answer)) if heavy => self.lifts.push(answer),
            (Want::Off, Some(answer)) => self.light.push(answer),
            (Want::Off, None) => self.guide.back(2, Amiss::NotInOneGo),
            // Set down in several goes: only the lifts are asked for.
            (Want::On { .. } | Want::Again, answer) if heavy => self.placings.extend(answer),
            (Want::Bare | Want::On { .. } | Want::Again, _) => {}
        }
        if self.guide.want().is_none() {
            self.finish();
        }
    }

    /// All steps are done.
    fn finish(&mut self) {
        let lifted = |answers| Steps { answers, hand_s: LIFT_HAND_S };
        let placings = Steps { answers: &self.placings, hand_s: SET_DOWN_HAND_S };
        let shape = shape(lifted(&self.lifts), placings, lifted(&self.light), &self.scale);
        let lag = shape.as_ref().and_then(|shape| KnownLag::among(&shape.lags_s, ODD_S, HAND_U_S));
        self.found = lag.zip(shape).map(|(lag, shape)| Found { lag, shape });
    }
}
