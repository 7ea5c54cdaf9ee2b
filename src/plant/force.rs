//! What touches the pan besides piece and slop: hands, blows, wind, warmth. Grams over time.
//!
//! All shapes and times are invented; none leaves anything behind.

use super::chance::Chance;
use crate::time::Instant;
use std::f64::consts::TAU;

/// A hand comes and goes over this long, seconds (a guess).
const EDGE_S: f64 = 0.1;
/// A bumped pan rings at so many turns a second and has come to rest so soon (a guess).
const BUMP: (f64, f64) = (12.0, 0.12);
/// A knocked table rings between these, turns a second, faster than a scale reads, for so long (a guess).
const KNOCK: (f64, f64, f64) = (15.0, 25.0, 0.5);
/// A blow is over after so many of its time constants.
const OVER: f64 = 8.0;
/// Turns a second of a hand that trembles, of the wind, and of a sponge (guesses).
const TREMBLE: [f64; 2] = [2.3, 7.1];
const WIND: [f64; 3] = [0.13, 0.31, 0.7];
const SPONGE: f64 = 1.5;
const SHAKE: [f64; 2] = [0.9, 1.37];
/// Turns a second of a wheel where a scene says nothing (a guess).
pub(super) const WHEEL: f64 = 1.0;

/// What it is that touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touch {
    /// A hand that lies on it; with negative grams one that bears it.
    Press,
    /// A hand that steadies the piece and trembles.
    Steady,
    /// A blow on the pan.
    Bump,
    /// A blow on the table.
    Knock,
    /// A small wheel on the pan that turns evenly.
    Wheel,
    /// A table that shakes, or a hand that rocks the piece: to and fro, and never evenly.
    Shake,
    /// A warm piece's rising air: it reads light at first.
    Draught,
    /// A fan that blows over the pan.
    Fan,
    /// A sponge that pushes and pulls.
    Sponge,
}

/// One touch at work.
#[derive(Clone, Debug)]
pub(super) struct Force {
    touch: Touch,
    g: f64,
    since: Instant,
    for_s: f64,
    phases: [f64; 3],
    turns: f64,
}

impl Force {
    /// A touch that begins at `since`; blows end by themselves.
    pub(super) fn new(touch: Touch, g: f64, for_s: f64, since: Instant, chance: &mut Chance) -> Self {
        let phases = [(); 3].map(|()| chance.between(0.0, TAU));
        let knocked = chance.between(KNOCK.0, KNOCK.1);
        let turns = if touch == Touch::Knock { knocked } else { WHEEL };
        let for_s = match touch {
            Touch::Bump => OVER * BUMP.1,
            Touch::Knock => OVER * KNOCK.2,
            Touch::Press
            | Touch::Steady
            | Touch::Wheel
            | Touch::Shake
            | Touch::Draught
            | Touch::Fan
            | Touch::Sponge => for_s,
        };
        Self { touch, g, since, for_s, phases, turns }
    }

    /// The same, turning so many times a second.
    pub(super) fn turning(self, turns: f64) -> Self {
        Self { turns, ..self }
    }

    /// Grams felt at `now`; `None` once it is over.
    pub(super) fn felt_g(&self, now: Instant) -> Option<f64> {
        let t = now.seconds_from(self.since);
        if t >= self.for_s {
            return None;
        }
        let wave = |turns: f64, i: usize| (TAU * turns * t + self.phases[i]).sin();
        let there = edges(t, self.for_s);
        let shape = match self.touch {
            Touch::Press => there,
            Touch::Steady => there * (0.6 * wave(TREMBLE[0], 0) + 0.4 * wave(TREMBLE[1], 1)),
            Touch::Bump => ((TAU * BUMP.0 * t).cos() * (1.0 - (-t / 0.01).exp())) * (-t / BUMP.1).exp(),
            Touch::Knock => (TAU * self.turns * t).sin() * (-t / KNOCK.2).exp(),
            Touch::Wheel => there * wave(self.turns, 0),
            Touch::Shake => there * (0.6 * wave(SHAKE[0], 0) + 0.4 * wave(SHAKE[1], 1)),
            Touch::Draught => -there.max(0.0) * (1.0 - t / self.for_s).powi(2),
            // Three even waves: together the grams are root mean square.
            Touch::Fan => {
                let all: f64 = WIND.iter().enumerate().map(|(i, turns)| wave(*turns, i)).sum();
                there * all * (2.0_f64 / 3.0).sqrt()
            }
            Touch::Sponge => there * wave(SPONGE, 0),
        };
        Some(self.g * shape)
    }
}

/// 0 to 1 and back, smoothly.
fn edges(t: f64, for_s: f64) -> f64 {
    let edge_s = EDGE_S.min(for_s / 3.0).max(1e-6);
    let smooth = |x: f64| 0.5 - 0.5 * (x.clamp(0.0, 1.0) * TAU / 2.0).cos();
    smooth(t / edge_s) * smooth((for_s - t) / edge_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn felt(touch: Touch, g: f64, for_s: f64) -> Vec<f64> {
        let force = Force::new(touch, g, for_s, Instant::START, &mut Chance::of(1, 2, 3));
        (0..).map_while(|ms| force.felt_g(Instant::from_us(ms * 1000))).collect()
    }

    #[test]
    fn a_press_has_its_grams_in_the_middle_its_length_and_smooth_edges() {
        let g = felt(Touch::Press, 40.0, 0.6);
        assert_eq!(g.len(), 600);
        assert!((g[300] - 40.0).abs() < 1e-9 && g[0].abs() < 0.1 && g[599].abs() < 0.1);
        assert!(g.windows(2).all(|w| (w[1] - w[0]).abs() < 1.0), "no step");
    }

    #[test]
    fn blows_ring_and_are_over() {
        for touch in [Touch::Bump, Touch::Knock] {
            let g = felt(touch, 60.0, 0.0);
            let most = g.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
            assert!((20.0..=60.0).contains(&most), "{touch:?}: {most}");
            assert!(g.iter().any(|g| *g < -5.0) && g.last().is_some_and(|g| g.abs() < 0.5), "{touch:?}");
        }
    }

    #[test]
    fn a_draught_reads_light_and_fades() {
        let g = felt(Touch::Draught, 0.4, 60.0);
        assert!(g.iter().all(|g| *g <= 0.0) && g[1000] < -0.35 && g[50_000] > -0.05);
    }

    #[test]
    fn a_fan_has_its_grams_as_root_mean_square_and_comes_slowly() {
        let g = felt(Touch::Fan, 0.3, 200.0);
        let rms = (g.iter().map(|g| g * g).sum::<f64>() / g.len() as f64).sqrt();
        assert!((rms - 0.3).abs() < 0.03, "{rms}");
        assert!(g.windows(100).step_by(100).skip(2).all(|w| (w[99] - w[0]).abs() < 0.25));
    }

    #[test]
    fn a_wheel_turns_once_a_second_or_as_often_as_is_said() {
        let g = felt(Touch::Wheel, 5.0, 10.0);
        let ups = g[1000..9000].windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
        assert_eq!(ups, 8);
        let slow = Force::new(Touch::Wheel, 5.0, 10.0, Instant::START, &mut Chance::of(1, 2, 3)).turning(0.5);
        let felt = |ms: u64| slow.felt_g(Instant::from_us(ms * 1000)).unwrap_or(0.0);
        assert!((1000..7000).step_by(100).all(|ms| (felt(ms) - felt(ms + 2000)).abs() < 1e-9));
    }
}
