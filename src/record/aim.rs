//! What one piece should get: in a batch that climbs from coat to coat each piece has its own.

use super::Verdict;
use crate::units::Mass;

/// A millionth of a gram is below any scale: it only keeps the limits inclusive in binary arithmetic.
const INCLUSIVE_G: f64 = 1e-6;

/// Target and limits of a piece, net.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Aim {
    /// Aim net mass.
    pub target: Mass,
    /// Least good net mass.
    pub low: Mass,
    /// Greatest good net mass.
    pub high: Mass,
}

impl Aim {
    /// Half of what is between the limits, g.
    pub fn half_width_g(&self) -> f64 {
        0.5 * (self.high - self.low).g()
    }

    /// Good from limit to limit, both inclusive.
    pub fn verdict(&self, net_g: f64) -> Verdict {
        if net_g < self.low.g() - INCLUSIVE_G {
            Verdict::Short
        } else if net_g > self.high.g() + INCLUSIVE_G {
            Verdict::Over
        } else {
            Verdict::Good
        }
    }
}
