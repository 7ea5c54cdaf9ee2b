//! What a scale shows, set right: corrected = offset + slope x indicated + bend x indicated^2, as far as masses were seen.
//! From there on its tangent: a square that is carried on soon leaves what any scale does.

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
    /// What the scale showed of the largest load, g: no bend is known above it. Finite; `f64::MAX` for a line.
    pub bends_to_g: f64,
}

impl Correction {
    /// Leaves a weight as it is shown.
    pub const NONE: Self = Self { offset_g: 0.0, slope: 1.0, bend_per_g: 0.0, bends_to_g: f64::MAX };

    /// A weight as it is, g.
    pub fn of_g(&self, indicated_g: f64) -> f64 {
        let bent_g = indicated_g.min(self.bends_to_g);
        let tangent = self.slope + 2.0 * bent_g * self.bend_per_g;
        self.offset_g + bent_g * (self.slope + bent_g * self.bend_per_g) + (indicated_g - bent_g) * tangent
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
        let correction = Correction { offset_g: 0.5, slope: 0.99, bend_per_g: 1e-5, bends_to_g: 300.0 };
        assert!((correction.of(Mass::saturating(200.0)).g() - (0.5 + 198.0 + 0.4)).abs() < 1e-12);
        // At 300 g: 0.5 + 297 + 0.9; its tangent there is 0.99 + 2 x 300 x 1e-5 = 0.996.
        let above_g = correction.of_g(400.0);
        assert!((above_g - (298.4 + 99.6)).abs() < 1e-9, "no bend above the largest load: {above_g}");
        assert_eq!(Correction::NONE.of(Mass::saturating(123.456)), Mass::saturating(123.456));
    }
}
