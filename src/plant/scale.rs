//! A simulated scale: moving average, then one pole, noise, steps, and a display rate.

use super::chance::Chance;
use crate::time::Instant;
use std::collections::VecDeque;

/// Inner step of the plant.
pub const TICK_S: f64 = 0.001;

/// What a simulated scale is like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleModel {
    /// Length of the moving average, s.
    pub average_s: f64,
    /// Time constant of the pole, s.
    pub pole_s: f64,
    /// Scatter, g.
    pub noise_g: f64,
    /// Display step, g.
    pub step_g: f64,
    /// Time between readings, s.
    pub period_s: f64,
    /// Clock jitter of a reading, s (one standard deviation).
    pub jitter_s: f64,
}

impl ScaleModel {
    /// A 0.1 g scale at ten readings a second with this lag: half of it boxcar, half pole.
    pub fn with_lag(lag_s: f64) -> Self {
        Self {
            average_s: lag_s,
            pole_s: lag_s / 2.0,
            noise_g: 0.03,
            step_g: 0.1,
            period_s: 0.1,
            jitter_s: 0.003,
        }
    }

    /// First moment of the step response, s: half the average's length and the pole.
    pub fn lag_s(&self) -> f64 {
        self.average_s / 2.0 + self.pole_s
    }
}

/// A reading as it leaves the scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// When it is sent.
    pub at: Instant,
    /// What it shows, in steps of the scale.
    pub mass_g: f64,
}

/// The scale's inner state.
#[derive(Clone, Debug)]
pub struct Scale {
    model: ScaleModel,
    window: VecDeque<f64>,
    sum: f64,
    pole: f64,
    next_s: f64,
}

impl Scale {
    /// A scale at rest with nothing on it.
    pub fn new(model: ScaleModel) -> Self {
        let length = (model.average_s / TICK_S).round().max(1.0) as usize;
        Self { model, window: VecDeque::from(vec![0.0; length]), sum: 0.0, pole: 0.0, next_s: 0.0 }
    }

    /// One tick with this force on the pan, in grams; a reading when one is due.
    pub fn tick(&mut self, at_s: f64, pan_g: f64, chance: &mut Chance) -> Option<Shown> {
        self.sum += pan_g - self.window.pop_front().unwrap_or(0.0);
        self.window.push_back(pan_g);
        let average = self.sum / self.window.len() as f64;
        self.pole += (average - self.pole) * (1.0 - (-TICK_S / self.model.pole_s.max(1e-6)).exp());
        if at_s < self.next_s {
            return None;
        }
        self.next_s = at_s + self.model.period_s + self.model.jitter_s * chance.normal();
        let noisy = self.pole + self.model.noise_g * chance.normal();
        let mass_g = (noisy / self.model.step_g).round() * self.model.step_g;
        Some(Shown { at: Instant::START.offset_seconds(at_s), mass_g })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_area_over_the_step_response_is_the_stated_lag() {
        for lag in [0.15, 0.3, 0.7] {
            let model = ScaleModel {
                noise_g: 0.0,
                step_g: 1e-6,
                period_s: TICK_S,
                jitter_s: 0.0,
                ..ScaleModel::with_lag(lag)
            };
            let (mut scale, mut chance) = (Scale::new(model), Chance::new(1));
            let mut area = 0.0;
            for i in 0..6000 {
                let shown =
                    scale.tick(f64::from(i) * TICK_S, 1.0, &mut chance).map_or(scale.pole, |s| s.mass_g);
                area += (1.0 - shown) * TICK_S;
            }
            assert!((area - model.lag_s()).abs() < 0.002, "lag {lag}: area {area}");
        }
    }
}
