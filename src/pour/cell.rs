//! What a display says: in which of its steps the weight lies, and no more.
//!
//! A weight thought to be normally spread, and then seen in a step, is spread as a normal law cut off at that step's
//! ends. Its mean and variance stand for it (the Gaussian fit of R. E. Curry, Estimation and Control with Quantized
//! Measurements, 1970, from memory). So a coarse display tells most in the instants when it changes.

use crate::scale::ScaleFacts;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// What the filter has to know of a display.
#[derive(Clone, Copy, Debug)]
pub(super) struct Display {
    pub(super) step_g: f64,
    pub(super) noise_g: f64,
    pub(super) lag_s: f64,
}

impl Display {
    pub(super) fn of(scale: &ScaleFacts) -> Self {
        Self { step_g: scale.step.g(), noise_g: scale.noise.g(), lag_s: scale.lag.as_secs_f64() }
    }

    /// Variance of rounding to a step, g2.
    pub(super) fn rounding(&self) -> f64 {
        self.step_g.powi(2) / 12.0
    }
}

/// Mean and variance of what is left of a standard normal law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spread {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

/// Steps finer than this, in standard deviations, are an error that is even over the step and nothing more.
const FINE: f64 = 0.5;
/// A step whose nearest end lies further out says less than its middle: the law's tails are not to be believed there.
const FAR: f64 = 3.0;

/// The standard normal law after the value was seen in the step of this width around `at`.
pub(super) fn within(at: f64, width: f64) -> Spread {
    let half = 0.5 * width;
    if width > FINE && at.abs() < FAR + half {
        return cut(at - half, at + half);
    }
    let rounding = width * width / 12.0;
    Spread { mean: at / (1.0 + rounding), variance: rounding / (1.0 + rounding) }
}

fn cut(low: f64, high: f64) -> Spread {
    let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
    let below = |z: f64| 0.5 * libm::erfc(-z * FRAC_1_SQRT_2);
    // In the tail that is small, so that nothing cancels.
    let inside = if low > 0.0 { below(-low) - below(-high) } else { below(high) - below(low) };
    if inside < 1e-9 {
        return Spread { mean: 0.5 * (low + high), variance: (high - low).powi(2) / 12.0 };
    }
    let (at_low, at_high) = (density(low), density(high));
    let mean = (at_low - at_high) / inside;
    let square = 1.0 + (low * at_low - high * at_high) / inside;
    Spread { mean, variance: (square - mean * mean).clamp(1e-6, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same by adding up: fine slices of the law.
    fn summed(low: f64, high: f64) -> Spread {
        let n = 20_000;
        let slice = |i: i32| low + (high - low) * (f64::from(i) + 0.5) / f64::from(n);
        let weight = |z: f64| (-0.5 * z * z).exp();
        let whole: f64 = (0..n).map(|i| weight(slice(i))).sum();
        let mean = (0..n).map(|i| slice(i) * weight(slice(i))).sum::<f64>() / whole;
        let square = (0..n).map(|i| slice(i).powi(2) * weight(slice(i))).sum::<f64>() / whole;
        Spread { mean, variance: square - mean * mean }
    }

    #[test]
    fn a_law_cut_at_a_steps_ends_has_the_mean_and_variance_that_adding_up_gives() {
        for (at, width) in [(0.0, 1.0), (0.5, 1.0), (-2.0, 3.0), (3.2, 0.6), (0.0, 20.0), (1.0, 0.7)] {
            let (got, wanted) = (within(at, width), summed(at - 0.5 * width, at + 0.5 * width));
            assert!((got.mean - wanted.mean).abs() < 1e-4, "{at} {width}: {got:?}, {wanted:?}");
            assert!((got.variance - wanted.variance).abs() < 1e-4, "{at} {width}: {got:?}, {wanted:?}");
        }
    }

    #[test]
    fn a_half_of_the_law_has_the_mean_of_tables() {
        // Mean of the half-normal law: the root of 2 over pi; variance 1 - 2 over pi (textbooks, from memory).
        let half = within(6.0, 12.0);
        assert!(
            (half.mean - (2.0 / PI).sqrt()).abs() < 1e-6 && (half.variance - (1.0 - 2.0 / PI)).abs() < 1e-6
        );
    }

    #[test]
    fn a_fine_step_counts_as_an_even_error_and_a_far_one_breaks_nothing() {
        let fine = within(1.0, 0.1);
        assert!((fine.mean - 1.0).abs() < 1e-3 && (fine.variance - 0.01 / 12.0).abs() < 1e-5);
        for at in [-40.0, -5.0, 5.0, 40.0] {
            let far = within(at, 2.0);
            assert!(far.mean.is_finite() && (0.0..=1.0).contains(&far.variance), "{at}: {far:?}");
        }
    }
}
