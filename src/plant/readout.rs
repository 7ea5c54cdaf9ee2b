//! The scale: what the pan feels becomes numbers on a display, late, rounded and noisy.
//!
//! Moving average, then one pole, then noise, then rounding; knows nothing of what lies on the pan.

use super::chance::Chance;
use crate::time::{Duration, Instant};
use std::collections::VecDeque;

/// One display reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// When its message has arrived.
    pub arrives_at: Instant,
    /// When the scale took it.
    pub taken_at: Instant,
    /// The gross mass shown, grams, rounded to the display step.
    pub mass_g: f64,
}

/// What kind of scale it is.
#[derive(Clone, Debug, PartialEq)]
pub struct ScaleModel {
    /// Length of the moving average, seconds.
    pub ma_s: f64,
    /// Time constant of the pole after it, seconds.
    pub pole_s: f64,
    /// Noise of one reading before rounding, grams rms.
    pub noise_g: f64,
    /// Display step, grams; 0 for none.
    pub step_g: f64,
    /// Time between readings, seconds.
    pub period_s: f64,
    /// Unevenness of the moments at which readings are taken, seconds rms.
    pub clock_jitter_s: f64,
    /// Mean age of a reading on arrival, seconds.
    pub age_s: f64,
    /// Unevenness of that age, seconds rms.
    pub jitter_s: f64,
    /// Readings are handed over only every so many seconds, all that came meanwhile; 0: at once.
    pub bunch_s: f64,
    /// Chance that a reading never arrives.
    pub drop_p: f64,
}

impl ScaleModel {
    /// Ten readings a second in steps of 0.1 g, with this lag in seconds: half from the moving
    /// average, half from the pole.
    pub fn with_lag(lag_s: f64) -> Self {
        Self {
            ma_s: lag_s,
            pole_s: lag_s / 2.0,
            noise_g: 0.03,
            step_g: 0.1,
            period_s: 0.1,
            clock_jitter_s: 0.005,
            age_s: 0.04,
            jitter_s: 0.01,
            bunch_s: 0.0,
            drop_p: 0.0,
        }
    }

    /// Lag 0.15 s.
    pub fn fast() -> Self {
        Self::with_lag(0.15)
    }

    /// Lag 0.30 s.
    pub fn middling() -> Self {
        Self::with_lag(0.30)
    }

    /// Lag 0.70 s.
    pub fn slow() -> Self {
        Self::with_lag(0.70)
    }

    /// Lag in seconds: first moment of the response to a blow, the area between a step and the
    /// answer to it. The age on arrival comes on top.
    pub fn lag(&self) -> f64 {
        self.ma_s / 2.0 + self.pole_s
    }
}

/// Seconds per simulation step.
pub(super) const STEP_S: f64 = 0.001;

/// A scale at work.
#[derive(Clone, Debug)]
pub(super) struct Readout {
    model: ScaleModel,
    chance: Chance,
    window: VecDeque<f64>,
    sum: f64,
    smooth: f64,
    nominal: Instant,
    next: Instant,
    last_arrival: Instant,
}

impl Readout {
    pub(super) fn new(model: ScaleModel, chance: Chance) -> Self {
        let samples = (model.ma_s / STEP_S).round().max(0.0) as usize + 1;
        Self {
            window: VecDeque::from(vec![0.0; samples]),
            sum: 0.0,
            smooth: 0.0,
            nominal: Instant::START,
            next: Instant::START,
            last_arrival: Instant::START,
            model,
            chance,
        }
    }

    /// One step with `force_g` on the pan; a reading where one is due and not lost.
    pub(super) fn step(&mut self, now: Instant, force_g: f64) -> Option<Shown> {
        let oldest = self.window.pop_front().unwrap_or(0.0);
        self.window.push_back(force_g);
        self.sum += force_g - oldest;
        let average = self.sum / self.window.len() as f64;
        // This weight makes the discrete pole's first moment exactly `pole_s`.
        self.smooth += (average - self.smooth) * STEP_S / (self.model.pole_s.max(0.0) + STEP_S);
        if now < self.next {
            return None;
        }
        self.take(now)
    }

    fn take(&mut self, now: Instant) -> Option<Shown> {
        let period = self.model.period_s.max(STEP_S);
        self.nominal = self.nominal.offset_seconds(period);
        let uneven = self.model.clock_jitter_s * self.chance.normal();
        self.next = self.nominal.offset_seconds(uneven.clamp(-period / 3.0, period / 3.0));
        let noisy = self.smooth + self.model.noise_g * self.chance.normal();
        let age = (self.model.age_s + self.model.jitter_s * self.chance.normal()).max(0.0);
        let lost = self.chance.happens(self.model.drop_p);
        if lost {
            return None;
        }
        let step = self.model.step_g;
        let mass_g = if step > 0.0 { (noisy / step).round() * step } else { noisy };
        // Messages keep their order.
        self.last_arrival =
            (self.last_arrival + Duration::from_micros(1)).max(self.handed_over(now.offset_seconds(age)));
        Some(Shown { arrives_at: self.last_arrival, taken_at: now, mass_g })
    }

    /// The next moment at which the link hands readings over.
    fn handed_over(&self, at: Instant) -> Instant {
        let every_us = (self.model.bunch_s * 1e6) as u64;
        if every_us == 0 { at } else { Instant::from_us(at.us().div_ceil(every_us) * every_us) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_moment_of_the_step_response_is_the_lag() {
        for lag in [0.15, 0.30, 0.70] {
            let model = ScaleModel {
                noise_g: 0.0,
                step_g: 0.0,
                period_s: STEP_S,
                clock_jitter_s: 0.0,
                ..ScaleModel::with_lag(lag)
            };
            let mut readout = Readout::new(model.clone(), Chance::of(1, 0, 0));
            let mut area = 0.0;
            for ms in 0..20_000 {
                let shown = readout.step(Instant::from_us(ms * 1000), 100.0).unwrap();
                area += (1.0 - shown.mass_g / 100.0) * STEP_S;
            }
            assert!((area - lag).abs() < 1e-6, "{area} for {lag}");
            assert!((model.lag() - lag).abs() < 1e-12);
        }
    }

    #[test]
    fn a_ramp_is_shown_late_by_exactly_the_lag() {
        let model = ScaleModel { noise_g: 0.0, step_g: 0.0, ..ScaleModel::slow() };
        let mut readout = Readout::new(model, Chance::of(1, 0, 0));
        let mut last = None;
        for ms in 0..30_000_u64 {
            let now = Instant::from_us(ms * 1000);
            last = readout.step(now, 8.0 * now.seconds()).or(last);
        }
        let shown = last.unwrap();
        let late = shown.taken_at.seconds() - shown.mass_g / 8.0;
        assert!((late - 0.70).abs() < 1e-6, "{late}");
    }

    #[test]
    fn readings_are_rounded_spaced_and_in_order() {
        let mut readout = Readout::new(ScaleModel::fast(), Chance::of(3, 0, 0));
        let all: Vec<Shown> =
            (0..60_000_u64).filter_map(|ms| readout.step(Instant::from_us(ms * 1000), 12.34)).collect();
        assert!((595..=601).contains(&all.len()), "{}", all.len());
        assert!(all.windows(2).all(|w| w[0].arrives_at < w[1].arrives_at));
        assert!(all.iter().all(|s| ((s.mass_g * 10.0).round() - s.mass_g * 10.0).abs() < 1e-9));
        assert!(all.iter().all(|s| s.arrives_at >= s.taken_at));
    }
}
