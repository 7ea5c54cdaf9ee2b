//! One who has only the display, and is told everything else: the scale's moving average and pole, when each reading was
//! taken, when the stream began, how flows differ and wander.
//!
//! The linear filter of least error (Kalman, J. Basic Eng. 82 (1960) 35 to 45, from memory); a step of the display counts
//! as noise of its own variance, so that one that counts in grams may be read more closely than this.

use super::cell::Setup;
use nalgebra::{DMatrix, DVector};
use tarebell::plant::Shown;
use tarebell::time::Instant;

/// The model's step, s.
const STEP_S: f64 = 0.02;
const MASS: usize = 0;
const FLOW: usize = 1;
const USUAL: usize = 2;
/// The first of the masses of so many steps before; what the pole shows comes after them.
const BEFORE: usize = 3;
/// How much may have left the jug when the stream is seen to begin, g: one step of the session.
const BEGIN_SD_G: f64 = 0.1;

#[derive(Debug)]
pub(crate) struct Told {
    setup: Setup,
    moves: DMatrix<f64>,
    state: DVector<f64>,
    covariance: DMatrix<f64>,
    at_s: f64,
    running: bool,
}

impl Told {
    pub(crate) fn new(setup: &Setup) -> Self {
        let scale = &setup.scale;
        let taps = (scale.ma_s / STEP_S).round().max(1.0) as usize;
        let (states, shown) = (BEFORE + taps + 1, BEFORE + taps);
        let mut moves = DMatrix::zeros(states, states);
        let keep = (-STEP_S / setup.table.memory_s).exp();
        let through_s = setup.table.memory_s * (1.0 - keep);
        for (to, from, share) in [
            (MASS, MASS, 1.0),
            (MASS, FLOW, through_s),
            (MASS, USUAL, STEP_S - through_s),
            (FLOW, FLOW, keep),
            (FLOW, USUAL, 1.0 - keep),
            (USUAL, USUAL, 1.0),
        ] {
            moves[(to, from)] = share;
        }
        // The newest part of the average is of this very step: half of it what had left before, half what has now.
        let newest = 0.5 * moves.row(MASS);
        moves.row_mut(BEFORE).copy_from(&newest);
        moves[(BEFORE, MASS)] += 0.5;
        for tap in BEFORE + 1..shown {
            moves[(tap, tap - 1)] = 1.0;
        }
        let share = 1.0 - (-STEP_S / scale.pole_s).exp();
        let average = moves.rows(BEFORE, taps).row_sum() * (share / taps as f64);
        moves.row_mut(shown).copy_from(&average);
        moves[(shown, shown)] += 1.0 - share;
        let (state, covariance) = (DVector::zeros(states), DMatrix::zeros(states, states));
        Self { setup: setup.clone(), moves, state, covariance, at_s: 0.0, running: false }
    }

    /// A stream runs now: where it is a new one the one before is forgotten.
    pub(crate) fn runs(&mut self, now: Instant) {
        if std::mem::replace(&mut self.running, true) {
            return;
        }
        let table = &self.setup.table;
        let flows = (table.flow_cv * table.flow_g_s).powi(2);
        let wanders = (table.flow_wander * table.flow_g_s).powi(2);
        self.state.fill(0.0);
        (self.state[FLOW], self.state[USUAL]) = (table.flow_g_s, table.flow_g_s);
        self.covariance.fill(0.0);
        self.covariance[(MASS, MASS)] = BEGIN_SD_G * BEGIN_SD_G;
        for (i, j) in [(FLOW, FLOW), (FLOW, USUAL), (USUAL, FLOW), (USUAL, USUAL)] {
            self.covariance[(i, j)] = flows;
        }
        self.covariance[(FLOW, FLOW)] += wanders;
        // A flow that rises evenly gives what a full one gives in half the time.
        self.at_s = now.seconds() + 0.5 * table.ramp_s;
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
        self.runs_on(taken_s);
        self.looks(|seen_g| shown.mass_g - tare_g - seen_g);
    }

    /// The stream runs on until then.
    pub(crate) fn runs_on(&mut self, to_s: f64) {
        while self.at_s + 0.5 * STEP_S < to_s {
            self.step();
        }
    }

    /// A reading is taken now, which is off what is expected of it by so much, g.
    pub(crate) fn looks(&mut self, off_g: impl Fn(f64) -> f64) {
        let last = self.state.len() - 1;
        let scale = &self.setup.scale;
        let clock_g = self.state[FLOW] * scale.clock_jitter_s;
        let variance = scale.noise_g.powi(2) + scale.step_g.powi(2) / 12.0 + clock_g * clock_g;
        let seen = self.covariance.column(last).into_owned();
        let gain = &seen / (seen[last] + variance);
        self.state += &gain * off_g(self.state[last]);
        self.covariance -= gain * seen.transpose();
    }

    fn step(&mut self) {
        let table = &self.setup.table;
        let keep = (-STEP_S / table.memory_s).exp();
        self.state = &self.moves * &self.state;
        self.covariance = &self.moves * &self.covariance * self.moves.transpose();
        self.covariance[(FLOW, FLOW)] +=
            (table.flow_wander * self.state[USUAL].max(1.0)).powi(2) * (1.0 - keep * keep);
        self.at_s += STEP_S;
    }

    /// What will have left the jug so long after then, g.
    pub(crate) fn mass_g(&self, at: Instant, ahead_s: f64) -> f64 {
        self.grows(at.seconds() - self.at_s + ahead_s).dot(&self.state.rows(MASS, BEFORE))
    }

    /// Variance of that, so long after now, but for how the flow wanders until then, g2.
    #[allow(dead_code, reason = "a test reckons with it what the bench plays")]
    pub(crate) fn variance_g2(&self, ahead_s: f64) -> f64 {
        let grows = self.grows(ahead_s);
        (self.covariance.view((MASS, MASS), (BEFORE, BEFORE)) * &grows).dot(&grows)
    }

    /// How much of mass, flow and usual flow is in the mass so much later.
    fn grows(&self, ahead_s: f64) -> DVector<f64> {
        let memory_s = self.setup.table.memory_s;
        let through_s = memory_s * (1.0 - (-ahead_s / memory_s).exp());
        DVector::from_vec(vec![1.0, through_s, ahead_s - through_s])
    }
}
