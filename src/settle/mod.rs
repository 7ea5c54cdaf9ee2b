//! Weighings to motion: at rest, or moving at a flow.
//!
//! Rest is judged by slope and scatter against the scale's own noise, never by
//! equal readings: at the edge of a digit equal readings may never come.

pub mod line;
pub mod pace;
pub mod pan;
pub mod ripple;

use crate::reading::Weighing;
use crate::scale::{COARSE_STEP_G, ScaleFacts};
use crate::time::Instant;
use crate::units::{Flow, Mass};
use line::Line;
use pace::Pace;
use std::collections::VecDeque;

/// Readings are judged over this window, or over the last four where they come more slowly. Derived: at 10 readings a second and 0.04 g
/// scatter it fixes the slope to about 0.12 g/s, and it leaves `ready` inside 0.6 s of rest.
const WINDOW_S: f64 = 0.45;
/// Fewer readings than this say nothing about rest.
const LEAST_READINGS: usize = 4;
/// Residuals beyond this many standard deviations are not noise (normal law: 1 in 16 000).
const SCATTER_SIGMAS: f64 = 4.0;

/// What the pan is doing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Motion {
    /// At rest at this gross mass.
    AtRest {
        /// Mean gross mass over the window.
        mass: Mass,
    },
    /// Not at rest, or not known to be.
    Moving {
        /// Slope over the window.
        flow: Flow,
    },
}

/// Judges rest from the latest weighings.
#[derive(Clone, Debug)]
pub struct Settler {
    window: VecDeque<(Instant, f64)>,
    pace: Pace,
    sd_g: f64,
    step_g: f64,
    lag_s: f64,
}

impl Settler {
    /// A settler for this scale.
    pub fn new(scale: &ScaleFacts) -> Self {
        Self {
            window: VecDeque::new(),
            pace: Pace::default(),
            sd_g: scale.reading_sd_g(),
            step_g: scale.step.g(),
            lag_s: scale.lag.as_secs_f64(),
        }
    }

    /// The scale turned out to be so late, s.
    pub fn set_lag(&mut self, lag_s: f64) {
        self.lag_s = lag_s;
    }

    /// Takes one more weighing and says what the pan is doing.
    pub fn handle_weighing(&mut self, weighing: Weighing) -> Motion {
        let at = weighing.taken_at;
        if self.pace.handle_reading(at) {
            self.window.clear();
        }
        self.window.push_back((at, weighing.mass.g()));
        while self.window.len() > LEAST_READINGS
            && self.window.front().is_some_and(|(first, _)| at.seconds_from(*first) > WINDOW_S)
        {
            self.window.pop_front();
        }
        self.judge(at)
    }

    /// A coarse display that stepped to one side only is on its way: at an edge it goes to and fro.
    fn steps_one_way(&self) -> bool {
        if self.step_g < COARSE_STEP_G {
            return false;
        }
        let steps = self.window.iter().zip(self.window.iter().skip(1)).map(|((_, a), (_, b))| b - a);
        let (up, down) = steps.fold((false, false), |(up, down), step| {
            (up | (step > 0.5 * self.step_g), down | (step < -0.5 * self.step_g))
        });
        up != down
    }

    /// What is still to come of an exponential tail is slope times lag: half a step, plus what noise allows.
    fn is_flat(&self, line: &Line) -> bool {
        let still_to_come = line.slope_g_s.abs() * self.lag_s.max(0.1);
        still_to_come <= 0.5 * self.step_g + 2.0 * self.sd_g * self.lag_s.min(1.0)
    }

    fn judge(&self, at: Instant) -> Motion {
        let Some(line) = Line::through(self.window.iter()) else {
            return Motion::Moving { flow: Flow::ZERO };
        };
        let (slope, worst) = (line.slope_g_s, line.worst_g);
        let span = self.window.front().map_or(0.0, |(first, _)| at.seconds_from(*first));
        let enough = self.window.len() >= LEAST_READINGS && span >= 0.6 * WINDOW_S;
        let quiet = worst <= SCATTER_SIGMAS * self.sd_g + 0.5 * self.step_g && !self.steps_one_way();
        // Of a slow scale's four readings the oldest may still be of the landing: three that lie flat are enough.
        let late = || Line::through(self.window.iter().skip(1)).filter(|_| span > WINDOW_S);
        let flat = || Some(line).filter(|l| self.is_flat(l)).or_else(|| late().filter(|l| self.is_flat(l)));
        match Some(()).filter(|()| enough && quiet).and_then(|()| flat()) {
            Some(line) => Motion::AtRest { mass: Mass::saturating(line.mean_g) },
            None => Motion::Moving { flow: Flow::saturating(slope) },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::Origin;
    use crate::time::Duration;

    fn facts() -> ScaleFacts {
        ScaleFacts {
            id: "test".into(),
            step: Mass::saturating(0.1),
            noise: Mass::saturating(0.03),
            lag: Duration::from_millis(300),
            lag_origin: Origin::Told,
        }
    }

    fn feed(masses: impl Iterator<Item = f64>) -> Motion {
        feed_every(100_000, masses)
    }

    fn feed_every(us: u64, masses: impl Iterator<Item = f64>) -> Motion {
        let mut settler = Settler::new(&facts());
        let mut motion = Motion::Moving { flow: Flow::ZERO };
        for (i, g) in masses.enumerate() {
            let at = Instant::from_us(1_000_000 + i as u64 * us);
            let mass = Mass::saturating(g);
            motion = settler.handle_weighing(Weighing { mass, arrived_at: at, taken_at: at });
        }
        motion
    }

    #[test]
    fn a_digit_that_flickers_at_its_edge_is_at_rest() {
        let flicker = (0..12).map(|i| if i % 2 == 0 { 300.0 } else { 300.1 });
        assert!(matches!(feed(flicker), Motion::AtRest { .. }));
    }

    #[test]
    fn the_tail_of_a_lagging_scale_is_not_rest_until_half_a_step_is_left() {
        let tail = |n: usize| (0..n).map(|i| 330.0 - 30.0 * (-(i as f64) * 0.1 / 0.3).exp());
        assert!(matches!(feed(tail(8)), Motion::Moving { .. }));
        assert!(matches!(feed(tail(40)), Motion::AtRest { .. }));
    }

    #[test]
    fn a_slow_scale_is_at_rest_after_four_steady_readings() {
        for us in [200_000, 333_333, 1_000_000, 5_000_000] {
            assert!(
                matches!(feed_every(us, [300.0, 300.1, 300.0, 300.0].into_iter()), Motion::AtRest { .. }),
                "{us}"
            );
            assert!(
                matches!(feed_every(us, [300.0, 300.0, 300.0].into_iter()), Motion::Moving { .. }),
                "{us}"
            );
            assert!(
                matches!(feed_every(us, [300.0, 308.0, 316.0, 324.0].into_iter()), Motion::Moving { .. }),
                "{us}"
            );
        }
    }

    #[test]
    fn two_readings_are_not_enough_to_call_it_rest() {
        assert!(matches!(feed([300.0, 300.0].into_iter()), Motion::Moving { .. }));
    }
}
