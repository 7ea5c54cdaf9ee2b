//! Chance from a seed: the same seed gives the same draws for ever, on every machine.
//!
//! Never reads a clock or the system's entropy, and is no good for secrets.

/// A stream of random draws.
#[derive(Clone, Debug)]
pub(super) struct Chance {
    state: u64,
}

/// Odd constant nearest 2^64 divided by the golden ratio: steps through all 64-bit states.
const STRIDE: u64 = 0x9E37_79B9_7F4A_7C15;

fn mix(mut word: u64) -> u64 {
    // Finaliser of Steele, Lea and Flood, "Fast splittable pseudorandom number generators" (2014),
    // in Stafford's variant 13; constants from memory, their spread is tested below.
    word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    word ^ (word >> 31)
}

impl Chance {
    /// A stream of its own for each purpose and turn, so that no purpose disturbs another's draws.
    pub(super) fn of(seed: u64, purpose: u64, turn: u64) -> Self {
        Self { state: mix(mix(mix(seed.wrapping_add(STRIDE)) ^ purpose).wrapping_add(STRIDE) ^ turn) }
    }

    fn word(&mut self) -> u64 {
        self.state = self.state.wrapping_add(STRIDE);
        mix(self.state)
    }

    /// Even over (0, 1), ends excluded.
    pub(super) fn unit(&mut self) -> f64 {
        ((self.word() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// Even between two bounds.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with probability `p`; always takes one draw.
    pub(super) fn happens(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Standard normal (Box and Muller's transform); takes two draws.
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Exponential with this mean.
    pub(super) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * self.unit().ln()
    }

    /// Log-normal with this arithmetic mean and coefficient of variation.
    pub(super) fn log_normal(&mut self, mean: f64, cv: f64) -> f64 {
        let variance = (1.0 + cv * cv).ln();
        mean * (self.normal() * variance.sqrt() - variance / 2.0).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean_and_sd(draws: impl Iterator<Item = f64>) -> (f64, f64) {
        let all: Vec<f64> = draws.collect();
        let n = all.len() as f64;
        let mean = all.iter().sum::<f64>() / n;
        (mean, (all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
    }

    #[test]
    fn even_and_normal_draws_have_the_mean_and_spread_of_their_names() {
        let mut chance = Chance::of(1, 2, 3);
        let (mean, sd) = mean_and_sd((0..40_000).map(|_| chance.unit()));
        assert!((mean - 0.5).abs() < 0.01 && (sd - 1.0 / 12.0_f64.sqrt()).abs() < 0.01, "{mean} {sd}");
        let (mean, sd) = mean_and_sd((0..40_000).map(|_| chance.normal()));
        assert!(mean.abs() < 0.03 && (sd - 1.0).abs() < 0.03, "{mean} {sd}");
    }

    #[test]
    fn log_normal_draws_keep_the_asked_mean_and_variation() {
        let mut chance = Chance::of(7, 0, 0);
        let (mean, sd) = mean_and_sd((0..40_000).map(|_| chance.log_normal(8.0, 0.25)));
        assert!((mean - 8.0).abs() < 0.06 && (sd / mean - 0.25).abs() < 0.01, "{mean} {sd}");
    }

    #[test]
    fn turns_and_purposes_have_streams_of_their_own() {
        let first = |seed, purpose, turn| Chance::of(seed, purpose, turn).word();
        let all = [first(1, 1, 1), first(1, 1, 2), first(1, 2, 1), first(2, 1, 1)];
        for (i, a) in all.iter().enumerate() {
            assert!(all[i + 1..].iter().all(|b| a != b));
        }
    }
}
