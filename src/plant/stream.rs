//! The stream: slop leaves the jug, falls, lands and pushes on the pan.
//!
//! Knows nothing of scales or of what is said to the potter.

use super::chance::Chance;
use super::person::Person;
use super::readout::STEP_S;
use std::collections::VecDeque;

/// What is poured into what, and how evenly.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Mean mass of a bare piece, grams.
    pub piece_g: f64,
    /// Coefficient of variation of the pieces.
    pub piece_cv: f64,
    /// Mean flow over many pours, grams per second.
    pub flow_g_s: f64,
    /// Coefficient of variation of the flow from pour to pour.
    pub flow_cv: f64,
    /// Spread of the logarithm of the flow within a pour.
    pub flow_wander: f64,
    /// Memory of that wander, seconds.
    pub memory_s: f64,
    /// Seconds from first drop to full flow.
    pub ramp_s: f64,
    /// Least and greatest fall from lip to bottom, metres.
    pub fall_m: (f64, f64),
    /// How much the fall shortens as the piece fills with its first 60 g, metres.
    pub fill_m: f64,
    /// Least and greatest downward speed at the lip, metres per second.
    pub lip_m_s: (f64, f64),
}

impl Default for Table {
    /// An invented mug and jug: 320 g bisque, 8 g/s. Flow wander is a guess no source was found for.
    fn default() -> Self {
        Self {
            piece_g: 320.0,
            piece_cv: 0.03,
            flow_g_s: 8.0,
            flow_cv: 0.25,
            flow_wander: 0.12,
            memory_s: 1.5,
            ramp_s: 0.3,
            fall_m: (0.05, 0.15),
            fill_m: 0.03,
            lip_m_s: (0.0, 0.2),
        }
    }
}

/// Standard gravity, metres per second squared.
pub(super) const GRAVITY: f64 = 9.806_65;
/// Time over which someone who eases off slows to half, seconds (a guess).
const EASE_S: f64 = 1.5;
/// Dripping is over after this many time constants (98 % of an endless tail; the rest is shared in).
const DRIP_ENDS: f64 = 4.0;
/// Below this the fall does not shorten, metres.
const LEAST_FALL_M: f64 = 0.01;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Hand {
    Still,
    Pouring { for_s: f64 },
    Tilting { for_s: f64, over_s: f64, from: f64 },
    Dripping { for_s: f64 },
}

#[derive(Clone, Copy, Debug, Default)]
struct Parcel {
    mass_g: f64,
    momentum_g_m_s: f64,
}

/// The stream into one piece.
#[derive(Clone, Debug)]
pub(super) struct Stream {
    table: Table,
    chance: Chance,
    hand: Hand,
    mean_flow: f64,
    wander: f64,
    easing_s: Option<f64>,
    tilt_s: f64,
    drip_g: f64,
    drip_s: f64,
    fall_m: f64,
    lip_m_s: f64,
    air: VecDeque<Parcel>,
    flow: f64,
    /// Mass that left the jug, grams.
    pub(super) left_g: f64,
    /// Mass that landed, grams.
    pub(super) landed_g: f64,
    /// What the landing stream pushes, as grams.
    pub(super) push_g: f64,
    /// Flow when the tilt began, grams per second.
    pub(super) tilt_flow: Option<f64>,
}

impl Stream {
    pub(super) fn new(table: &Table, person: &Person, mut chance: Chance) -> Self {
        let mean_flow = chance.log_normal(table.flow_g_s, table.flow_cv);
        let wander = table.flow_wander * chance.normal();
        let tilt_s = chance.log_normal(person.tilt_s, person.tilt_cv);
        let drip_g = chance.log_normal(person.drip_g, person.drip_cv);
        let fall_m = chance.between(table.fall_m.0, table.fall_m.1);
        let lip_m_s = chance.between(table.lip_m_s.0, table.lip_m_s.1);
        Self {
            table: table.clone(),
            chance,
            hand: Hand::Still,
            mean_flow,
            wander,
            easing_s: None,
            tilt_s,
            drip_g,
            drip_s: person.drip_s,
            fall_m,
            lip_m_s,
            air: VecDeque::new(),
            flow: 0.0,
            left_g: 0.0,
            landed_g: 0.0,
            push_g: 0.0,
            tilt_flow: None,
        }
    }

    /// Begins to pour, or pours again.
    pub(super) fn start(&mut self) {
        if matches!(self.hand, Hand::Still | Hand::Dripping { .. }) {
            self.hand = Hand::Pouring { for_s: 0.0 };
            self.easing_s = None;
        }
    }

    /// Begins to pour again, as slowly as a trickle.
    pub(super) fn trickle(&mut self, mean_g_s: f64) {
        self.mean_flow = self.chance.log_normal(mean_g_s, self.table.flow_cv);
        self.start();
    }

    /// Begins to tilt back; nothing where it is not pouring.
    pub(super) fn tilt_back(&mut self) {
        if let Hand::Pouring { for_s } = self.hand {
            let from = (for_s / self.table.ramp_s.max(STEP_S)).min(1.0);
            self.tilt_flow = Some(self.flow);
            self.hand = Hand::Tilting { for_s: 0.0, over_s: self.tilt_s, from };
        }
    }

    /// Begins to slow down.
    pub(super) fn ease(&mut self) {
        if self.easing_s.is_none() {
            self.easing_s = Some(0.0);
        }
    }

    pub(super) fn flow(&self) -> f64 {
        self.flow
    }

    pub(super) fn lip_speed(&self) -> f64 {
        self.lip_m_s
    }

    pub(super) fn pouring(&self) -> bool {
        matches!(self.hand, Hand::Pouring { .. })
    }

    /// Nothing leaves the jug and nothing is in the air.
    pub(super) fn ended(&self) -> bool {
        matches!(self.hand, Hand::Still) && self.air.is_empty()
    }

    /// One step.
    pub(super) fn step(&mut self) {
        self.flow = self.leave();
        let mass_g = self.flow * STEP_S;
        self.left_g += mass_g;
        if mass_g > 0.0 {
            self.launch(mass_g);
        }
        let parcel = self.air.pop_front().unwrap_or_default();
        self.landed_g += parcel.mass_g;
        self.push_g = parcel.momentum_g_m_s / (STEP_S * GRAVITY);
    }

    fn leave(&mut self) -> f64 {
        match self.hand {
            Hand::Still => 0.0,
            Hand::Pouring { for_s } => {
                self.hand = Hand::Pouring { for_s: for_s + STEP_S };
                self.full_flow() * (for_s / self.table.ramp_s.max(STEP_S)).min(1.0)
            }
            Hand::Tilting { for_s, over_s, from } => {
                let later = for_s + STEP_S;
                self.hand = if later < over_s {
                    Hand::Tilting { for_s: later, over_s, from }
                } else {
                    Hand::Dripping { for_s: 0.0 }
                };
                // Over a lip flow goes with head to the power 1.5 (the weir law of hydraulics
                // textbooks); the head falls evenly.
                self.full_flow() * from * (1.0 - for_s / over_s).max(0.0).powf(1.5)
            }
            Hand::Dripping { for_s } => {
                let later = for_s + STEP_S;
                let over = later >= DRIP_ENDS * self.drip_s;
                self.hand = if over { Hand::Still } else { Hand::Dripping { for_s: later } };
                let shared = 1.0 - (-DRIP_ENDS).exp();
                // Taken half a step on, so that the steps add up to the whole.
                let age = for_s + STEP_S / 2.0;
                self.drip_g / (self.drip_s.max(STEP_S) * shared) * (-age / self.drip_s.max(STEP_S)).exp()
            }
        }
    }

    fn full_flow(&mut self) -> f64 {
        let keep = (-STEP_S / self.table.memory_s.max(STEP_S)).exp();
        let kick = self.table.flow_wander * (1.0 - keep * keep).sqrt();
        self.wander = self.wander * keep + kick * self.chance.normal();
        let eased = match &mut self.easing_s {
            Some(for_s) => {
                *for_s += STEP_S;
                1.0 - 0.5 * (*for_s / EASE_S).min(1.0)
            }
            None => 1.0,
        };
        self.mean_flow * self.wander.exp() * eased
    }

    fn launch(&mut self, mass_g: f64) {
        let filled = (self.landed_g / 60.0).clamp(0.0, 1.0);
        let fall = (self.fall_m - self.table.fill_m * filled).max(LEAST_FALL_M);
        let speed = (self.lip_m_s.powi(2) + 2.0 * GRAVITY * fall).sqrt();
        let steps = (speed - self.lip_m_s) / GRAVITY / STEP_S;
        let whole = steps.floor();
        let late = steps - whole;
        // Shared between the two nearest steps, so that a slowly changing fall lands evenly.
        for (slot, share) in [(whole as usize, 1.0 - late), (whole as usize + 1, late)] {
            if self.air.len() <= slot {
                self.air.resize(slot + 1, Parcel::default());
            }
            self.air[slot].mass_g += mass_g * share;
            self.air[slot].momentum_g_m_s += mass_g * share * speed;
        }
    }
}
