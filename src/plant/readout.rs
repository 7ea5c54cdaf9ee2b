//! The scale: what the pan feels becomes numbers on a display, late, rounded and noisy.
//!
//! Delay and creep, moving average, one pole, noise, then the display; knows nothing of what lies on the pan.

use super::chance::Chance;
use super::display::Display;
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
    /// Pure delay of the weight, seconds.
    pub delay_s: f64,
    /// Share of a load that shows only by and by, over about a minute.
    pub creep: f64,
    /// Steps a second by which the display follows drift near zero; 0 for never.
    pub zero_tracking: f64,
    /// The display stands while the weight stays within so many grams of what it shows.
    pub hold_g: f64,
    /// The step grows with the load: from 500 g twice, from 1000 g five times as coarse.
    pub step_grows: bool,
    /// Error of a load per centimetre off the pan's centre, as a share of it.
    pub off_centre: f64,
    /// Averages over half the time while the weight moves fast, as many scales do (common practice, no source).
    pub halves_moving: bool,
    /// The pole is three times as quick while what is shown is off by more than so many grams; 0: never.
    pub hurries_g: f64,
    /// Grams shown for each gram that lies there: 1 of a scale that is set right.
    pub span: f64,
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
            delay_s: 0.0,
            creep: 0.0,
            zero_tracking: 0.0,
            hold_g: 0.0,
            step_grows: false,
            off_centre: 0.0,
            halves_moving: false,
            hurries_g: 0.0,
            span: 1.0,
        }
    }

    /// A scale by its name in scenes: `quick` 20 readings a second, lag 0.11 s; `usual` 10, 0.30 s; `late`
    /// 5, 0.70 s; `coarse` as usual in steps of 1 g; `lossy` as usual, unevenly and 8 % of them lost. All
    /// but the last two count in 0.1 g. Invented.
    pub fn named(name: &str) -> Option<Self> {
        let usual = Self::middling();
        match name {
            "quick" => Some(Self { period_s: 0.05, ..Self::with_lag(0.11) }),
            "usual" => Some(usual),
            "late" => Some(Self { period_s: 0.2, ..Self::slow() }),
            "coarse" => Some(Self { step_g: 1.0, ..usual }),
            "lossy" => Some(Self { jitter_s: 0.04, age_s: 0.06, drop_p: 0.08, ..usual }),
            _ => None,
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
        self.delay_s + self.ma_s / 2.0 + self.pole_s
    }
}

/// Seconds per simulation step.
pub(super) const STEP_S: f64 = 0.001;
/// Creep's time constant: 95 % of it shows within a minute, seconds (a guess).
const CREEP_S: f64 = 20.0;

/// What counts as moving fast: so many steps of the display within so many seconds (a working value).
const MOVING: (f64, f64) = (5.0, 0.3);

/// How much quicker a pole is that hurries (a working value).
const HURRIES: f64 = 3.0;

/// A scale at work.
#[derive(Clone, Debug)]
pub(super) struct Readout {
    model: ScaleModel,
    chance: Chance,
    window: VecDeque<f64>,
    sum: f64,
    /// Of the newer half of the window.
    half_sum: f64,
    smooth: f64,
    /// What it was of late, the oldest first.
    trail: VecDeque<f64>,
    delayed: VecDeque<f64>,
    crept: f64,
    display: Display,
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
            half_sum: 0.0,
            smooth: 0.0,
            trail: VecDeque::new(),
            delayed: VecDeque::from(vec![0.0; (model.delay_s / STEP_S).round().max(0.0) as usize]),
            crept: 0.0,
            display: Display::default(),
            nominal: Instant::START,
            next: Instant::START,
            last_arrival: Instant::START,
            model,
            chance,
        }
    }

    /// One step with `force_g` on the pan; a reading where one is due and not lost.
    pub(super) fn step(&mut self, now: Instant, force_g: f64) -> Option<Shown> {
        self.delayed.push_back(force_g);
        let force_g = self.delayed.pop_front().unwrap_or(force_g);
        self.crept += (force_g - self.crept) * STEP_S / CREEP_S;
        let force_g = self.model.span * (force_g + self.model.creep * self.crept);
        let oldest = self.window.pop_front().unwrap_or(0.0);
        self.window.push_back(force_g);
        self.sum += force_g - oldest;
        let (average, pole_s) = self.averaged(force_g);
        // This weight makes the discrete pole's first moment exactly `pole_s`.
        self.smooth += (average - self.smooth) * STEP_S / (pole_s.max(0.0) + STEP_S);
        if now < self.next {
            return None;
        }
        self.take(now)
    }

    /// The average that counts now, and the time of the pole after it.
    fn averaged(&mut self, force_g: f64) -> (f64, f64) {
        let whole = self.sum / self.window.len() as f64;
        if self.model.hurries_g > 0.0 && (whole - self.smooth).abs() > self.model.hurries_g {
            return (whole, self.model.pole_s / HURRIES);
        }
        if !self.model.halves_moving {
            return (whole, self.model.pole_s);
        }
        let half = self.window.len().div_ceil(2);
        let left = self.window.len() - half;
        self.half_sum += force_g - left.checked_sub(1).map_or(0.0, |i| self.window[i]);
        self.trail.push_back(self.smooth);
        let before = if self.trail.len() as f64 > MOVING.1 / STEP_S { self.trail.pop_front() } else { None };
        let moved_g = (self.smooth - before.unwrap_or(self.smooth)).abs();
        if moved_g > MOVING.0 * self.model.step_g {
            (self.half_sum / half as f64, self.model.pole_s / 2.0)
        } else {
            (whole, self.model.pole_s)
        }
    }

    fn take(&mut self, now: Instant) -> Option<Shown> {
        let period = self.model.period_s.max(STEP_S);
        self.nominal = self.nominal.offset_seconds(period);
        let uneven = self.model.clock_jitter_s * self.chance.normal();
        self.next = self.nominal.offset_seconds(uneven.clamp(-period / 3.0, period / 3.0));
        let noisy = self.smooth + self.model.noise_g * self.chance.normal();
        let age = (self.model.age_s + self.model.jitter_s * self.chance.normal()).max(0.0);
        let lost = self.chance.happens(self.model.drop_p);
        let mass_g = self.display.show(noisy, period, &self.model);
        if lost {
            return None;
        }
        // Messages keep their order.
        self.last_arrival =
            (self.last_arrival + Duration::from_micros(1)).max(self.handed_over(now.offset_seconds(age)));
        Some(Shown { arrives_at: self.last_arrival, taken_at: now, mass_g })
    }

    /// Its own tare key.
    pub(super) fn zero_key(&mut self) {
        self.display.zero_key();
    }

    /// What the scale is.
    pub(super) fn model(&self) -> &ScaleModel {
        &self.model
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

    #[test]
    fn a_filter_that_halves_is_late_by_half_in_a_fast_ramp_and_by_all_in_a_slow_one() {
        let model =
            ScaleModel { noise_g: 0.0, clock_jitter_s: 0.0, halves_moving: true, ..ScaleModel::slow() };
        // More than 5 steps of 0.1 g in 0.3 s is more than 1.67 g/s.
        for (flow, lag_s) in [(8.0, 0.35), (1.0, 0.70)] {
            let mut readout = Readout::new(model.clone(), Chance::of(1, 0, 0));
            let mut late = Vec::new();
            for ms in 0..30_000_u64 {
                let now = Instant::from_us(ms * 1000);
                let shown = readout.step(now, flow * now.seconds());
                late.extend(shown.filter(|_| ms > 15_000).map(|s| s.taken_at.seconds() - s.mass_g / flow));
            }
            let mean = late.iter().sum::<f64>() / late.len() as f64;
            assert!((mean - lag_s).abs() < 0.01, "{mean} at {flow} g/s");
        }
        // Back at rest nothing of it is left.
        let resting = ScaleModel { halves_moving: true, ..ScaleModel::slow() };
        assert!((after(resting, 6.0) - 100.0).abs() < 0.051);
    }

    /// What a scale without noise or steps shows `after_s` a load of 100 g.
    fn after(model: ScaleModel, after_s: f64) -> f64 {
        let model = ScaleModel { noise_g: 0.0, step_g: 0.0, clock_jitter_s: 0.0, ..model };
        let mut readout = Readout::new(model, Chance::of(1, 0, 0));
        let steps = (after_s / STEP_S) as u64;
        (0..steps).filter_map(|ms| readout.step(Instant::from_us(ms * 1000), 100.0)).last().unwrap().mass_g
    }

    #[test]
    fn a_delay_shows_nothing_before_its_time_and_counts_as_lag() {
        let late = ScaleModel { delay_s: 0.5, ..ScaleModel::fast() };
        assert!((late.lag() - 0.65).abs() < 1e-9);
        assert_eq!(after(late.clone(), 0.45), 0.0);
        assert!((after(late, 2.0) - 100.0).abs() < 0.01);
    }

    #[test]
    fn creep_shows_by_and_by_and_is_nearly_all_there_after_a_minute() {
        let creeps = ScaleModel { creep: 0.0005, ..ScaleModel::fast() };
        assert!((after(creeps.clone(), 2.0) - 100.005).abs() < 0.002);
        assert!((after(creeps, 60.0) - 100.0475).abs() < 0.001);
    }
}
