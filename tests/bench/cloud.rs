//! One who has only the display, is told the scale and how flows differ and wander, and takes a reading for the step in which
//! the weight lies, no more and no less.
//!
//! A cloud of guesses, of which the likelier live on (the bootstrap filter of Gordon, Salmond and Smith, IEE Proc. F 140 (1993)
//! 107, from memory): no law is taken for a normal one, so that nobody who has the same readings does better, but for the
//! cloud's own graininess and the chance of the draw. When the stream began it is told to 0.3 s only: a display in grams does not show it any sooner.

use super::cell::Setup;
use std::f64::consts::{FRAC_1_SQRT_2, TAU};
use tarebell::plant::Shown;
use tarebell::time::Instant;

/// Guesses: on the coarse scale 0.71 g RMS were left with so many, 0.74 g with twice as many (a usual hand, 29 g at 8 g/s).
const GUESSES: usize = 2000;
/// The model's step, s.
const STEP_S: f64 = 0.02;
/// The stream began so long before or after it is said to, s.
const BEGAN_S: f64 = 0.3;
/// A guess that lives on is moved by so much, so that no two stay alike: its mean flow as a share, its tare in steps (own
/// choice).
const MOVED: f64 = 0.01;
const MOVED_STEPS: f64 = 0.02;
/// A reading that no guess foresaw leaves all of them as likely as before.
const LEAST: f64 = 1e-9;

#[derive(Clone, Debug)]
struct Guess {
    began_s: f64,
    /// What has left the jug, g, the mean flow, g/s, and the logarithm of what it is now over that.
    mass_g: f64,
    mean_g_s: f64,
    wander: f64,
    /// What the tare hides of the piece, g.
    tare_g: f64,
    /// What the moving average takes in, the newest last, and what is shown of it, g.
    average: Vec<f64>,
    shown_g: f64,
}

impl Guess {
    fn flow_g_s(&self) -> f64 {
        self.mean_g_s * self.wander.exp()
    }
}

#[derive(Debug)]
pub(crate) struct Cloud {
    setup: Setup,
    guesses: Vec<Guess>,
    at_s: f64,
    running: bool,
    dice: u64,
}

impl Cloud {
    pub(crate) fn new(setup: &Setup) -> Self {
        Self { setup: setup.clone(), guesses: Vec::new(), at_s: 0.0, running: false, dice: 1 }
    }

    /// Even between 0 and 1 (the 64-bit generator of Knuth's MMIX, from memory).
    fn even(&mut self) -> f64 {
        self.dice = self.dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.dice >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// Of the normal law, about 0 with a standard deviation of 1 (Box and Muller).
    fn normal(&mut self) -> f64 {
        let (far, turn) = (self.even(), self.even());
        (-2.0 * far.ln()).sqrt() * (TAU * turn).cos()
    }

    /// A stream runs now: where it is a new one the one before is forgotten.
    pub(crate) fn runs(&mut self, now: Instant) {
        if std::mem::replace(&mut self.running, true) {
            return;
        }
        self.guesses = (0..GUESSES).map(|_| self.guess(now.seconds())).collect();
        self.at_s = now.seconds() - BEGAN_S;
    }

    fn guess(&mut self, said_s: f64) -> Guess {
        let table = self.setup.table.clone();
        let sd = (1.0 + table.flow_cv * table.flow_cv).ln().sqrt();
        let taps = (self.setup.scale.ma_s / STEP_S).round().max(1.0) as usize;
        Guess {
            began_s: said_s + BEGAN_S * (2.0 * self.even() - 1.0),
            mass_g: 0.0,
            mean_g_s: table.flow_g_s * (sd * self.normal() - 0.5 * sd * sd).exp(),
            wander: table.flow_wander * self.normal(),
            tare_g: self.setup.scale.step_g * (self.even() - 0.5),
            average: vec![0.0; taps],
            shown_g: 0.0,
        }
    }

    /// The piece left.
    pub(crate) fn end(&mut self) {
        self.running = false;
    }

    pub(crate) fn reading(&mut self, shown: Shown, tare_g: f64) {
        let taken_s = shown.taken_at.seconds();
        if !self.running || taken_s < self.at_s {
            return;
        }
        while self.at_s + 0.5 * STEP_S < taken_s {
            self.step();
        }
        let likely: Vec<f64> = self.guesses.iter().map(|g| self.likely(g, shown.mass_g - tare_g)).collect();
        self.live_on(&likely);
        for i in 0..GUESSES {
            let (flow, tare) = (self.normal(), self.normal());
            let step_g = self.setup.scale.step_g;
            let guess = &mut self.guesses[i];
            guess.mean_g_s *= (MOVED * flow).exp();
            guess.tare_g = (guess.tare_g + MOVED_STEPS * step_g * tare).clamp(-0.5 * step_g, 0.5 * step_g);
        }
    }

    /// How likely the display shows this step.
    fn likely(&self, guess: &Guess, net_g: f64) -> f64 {
        let scale = &self.setup.scale;
        let sd_g = scale.noise_g.hypot(guess.flow_g_s() * scale.clock_jitter_s);
        let below = |g: f64| 0.5 * libm::erfc((guess.shown_g + guess.tare_g - g) / sd_g * FRAC_1_SQRT_2);
        (below(net_g + 0.5 * scale.step_g) - below(net_g - 0.5 * scale.step_g)).max(0.0) + LEAST
    }

    /// As many guesses as before, each as often as it is likely.
    fn live_on(&mut self, likely: &[f64]) {
        let each = likely.iter().sum::<f64>() / GUESSES as f64;
        let mut due = each * self.even();
        let (mut i, mut reached) = (0, likely[0]);
        let mut alive = Vec::with_capacity(GUESSES);
        for _ in 0..GUESSES {
            while reached < due && i + 1 < GUESSES {
                i += 1;
                reached += likely[i];
            }
            alive.push(self.guesses[i].clone());
            due += each;
        }
        self.guesses = alive;
    }

    fn step(&mut self) {
        let table = &self.setup.table;
        let keep = (-STEP_S / table.memory_s).exp();
        let (sd, ramp_s) = (table.flow_wander * (1.0 - keep * keep).sqrt(), table.ramp_s);
        let share = 1.0 - (-STEP_S / self.setup.scale.pole_s).exp();
        for i in 0..GUESSES {
            let kick = sd * self.normal();
            let guess = &mut self.guesses[i];
            let before_g = guess.mass_g;
            guess.wander = guess.wander * keep + kick;
            guess.mass_g +=
                guess.flow_g_s() * ((self.at_s - guess.began_s) / ramp_s).clamp(0.0, 1.0) * STEP_S;
            guess.average.rotate_left(1);
            if let Some(newest) = guess.average.last_mut() {
                *newest = 0.5 * (before_g + guess.mass_g);
            }
            let mean_g = guess.average.iter().sum::<f64>() / guess.average.len() as f64;
            guess.shown_g += share * (mean_g - guess.shown_g);
        }
        self.at_s += STEP_S;
    }

    /// What will have left the jug so long after then, g.
    pub(crate) fn mass_g(&self, at: Instant, ahead_s: f64) -> f64 {
        let ahead_s = at.seconds() - self.at_s + ahead_s;
        let memory_s = self.setup.table.memory_s;
        let through_s = memory_s * (1.0 - (-ahead_s / memory_s).exp());
        let then_g = |g: &Guess| g.mass_g + g.flow_g_s() * through_s + g.mean_g_s * (ahead_s - through_s);
        self.guesses.iter().map(then_g).sum::<f64>() / GUESSES as f64
    }
}
