//! What a scale shows, set right: corrected = offset + slope x indicated + bend x indicated^2.

use crate::reading::Weighing;
use crate::units::Mass;

/// The correction of a scale; [`Correction::NONE`] where it is not calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// g.
    pub offset_g: f64,
    /// Grams for each gram shown.
    pub slope: f64,
    /// Per g; 0: a straight line.
    pub bend_per_g: f64,
}

impl Correction {
    /// Leaves a weight as it is shown.
    pub const NONE: Self = Self { offset_g: 0.0, slope: 1.0, bend_per_g: 0.0 };

    /// A weight as it is, g.
    pub fn of_g(&self, indicated_g: f64) -> f64 {
        self.offset_g + indicated_g * (self.slope + indicated_g * self.bend_per_g)
    }

    /// A weight as it is.
    pub fn of(&self, indicated: Mass) -> Mass {
        // What is not corrected keeps its last digit.
        if *self == Self::NONE { indicated } else { Mass::saturating(self.of_g(indicated.g())) }
    }

    /// A weighing as it is.
    pub fn weighed(&self, shown: Weighing) -> Weighing {
        Weighing { mass: self.of(shown.mass), ..shown }
    }
}

impl Default for Correction {
    fn default() -> Self {
        Self::NONE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_is_set_right_by_offset_slope_and_bend_and_left_alone_without_them() {
        let correction = Correction { offset_g: 0.5, slope: 0.99, bend_per_g: 1e-5 };
        assert!((correction.of(Mass::saturating(200.0)).g() - (0.5 + 198.0 + 0.4)).abs() < 1e-12);
        assert_eq!(Correction::NONE.of(Mass::saturating(123.456)), Mass::saturating(123.456));
    }
}
