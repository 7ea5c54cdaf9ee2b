//! Ways to tell how heavy a volume of slop is, as specific gravity and back.
//!
//! Never knows the powder.

use crate::units::Density;

/// Ounces of water in an imperial pint: the gallon, 8 pints, was made to hold 10 pounds (160 ounces) of
/// water weighed in air at 62 degrees Fahrenheit (Weights and Measures Act 1878, quoted in Cooley's
/// Cyclopaedia). The pint rule of M. Cardew, Pioneer Pottery, p. 269, counts with it. Today's pint of
/// 568.26125 mL agrees to 0.01 percent where slop is weighed in air against brass or steel.
const OUNCES_OF_WATER_IN_A_PINT: f64 = 20.0;
/// Imperial pint, mL: an eighth of the gallon of 4.54609 L, exact (Weights and Measures Act 1985,
/// schedule 1, part IV; from memory).
pub const PINT_ML: f64 = 568.261_25;

/// A unit in which potters tell the weight of a volume of slop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VolumeWeight {
    /// Slop over water of the same volume and temperature.
    SpecificGravity,
    /// Grams per millilitre.
    GramsPerMl,
    /// Grams that 100 mL weigh.
    GramsPer100Ml,
    /// Ounces that an imperial pint weighs.
    OuncesPerPint,
}

impl VolumeWeight {
    /// All of them.
    pub const ALL: [Self; 4] =
        [Self::SpecificGravity, Self::GramsPerMl, Self::GramsPer100Ml, Self::OuncesPerPint];

    /// How much one unit of specific gravity is, in this unit.
    fn of_water(self, water: Density) -> f64 {
        match self {
            Self::SpecificGravity => 1.0,
            Self::GramsPerMl => water.g_ml(),
            Self::GramsPer100Ml => 100.0 * water.g_ml(),
            Self::OuncesPerPint => OUNCES_OF_WATER_IN_A_PINT,
        }
    }

    /// Specific gravity of slop that weighs `value` in this unit, over water of that density.
    pub fn to_gravity(self, value: f64, water: Density) -> f64 {
        value / self.of_water(water)
    }

    /// The other way about.
    pub fn from_gravity(self, gravity: f64, water: Density) -> f64 {
        gravity * self.of_water(water)
    }
}
