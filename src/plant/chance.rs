//! Random numbers from a seed: splitmix64, and the shapes the plant needs.

/// A source of chance.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// From a seed; equal seeds give equal numbers.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 random bits: Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform between the bounds.
    pub fn uniform(&mut self, from: f64, to: f64) -> f64 {
        let unit = (self.bits() >> 11) as f64 / (1_u64 << 53) as f64;
        from + (to - from) * unit
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller, 1958).
    pub fn normal(&mut self) -> f64 {
        let u = self.uniform(f64::MIN_POSITIVE, 1.0);
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * self.uniform(0.0, 1.0)).cos()
    }

    /// Exponential with this mean.
    pub fn exponential(&mut self, mean: f64) -> f64 {
        -mean * self.uniform(f64::MIN_POSITIVE, 1.0).ln()
    }

    /// Lognormal with this mean and relative standard deviation.
    pub fn lognormal(&mut self, mean: f64, relative_sd: f64) -> f64 {
        let variance = (1.0 + relative_sd * relative_sd).ln();
        mean * (self.normal() * variance.sqrt() - 0.5 * variance).exp()
    }
}
