//! What is kept of a scale: its calibrations, which of them it goes by, its checks, and the masses they were made with.

use crate::time::WallTime;

/// A scale as it was found with reference masses. Never changed.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationRecord {
    /// UUIDv7 as text.
    pub id: String,
    /// Name of the scale.
    pub scale: String,
    /// When.
    pub made_at: WallTime,
    /// What was asked and read, as JSON text.
    pub request: String,
    /// The correction: corrected = offset + slope x indicated + bend x indicated^2, g.
    pub offset_g: f64,
    /// See there.
    pub slope: f64,
    /// See there, per g.
    pub bend_per_g: f64,
    /// Word of the verdict for the pour it was judged for.
    pub verdict: String,
}

/// One check of a scale with one mass.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckRecord {
    /// UUIDv7 as text.
    pub id: String,
    /// Name of the scale.
    pub scale: String,
    /// The calibration in force then.
    pub calibration: Option<String>,
    /// When.
    pub made_at: WallTime,
    /// What the mass is worth, g.
    pub mass_g: f64,
    /// What the scale showed of it, as indicated, without the pan, g.
    pub shown_g: f64,
    /// That, corrected, less the mass; of a mass that the scale was calibrated with, less what the scale made of it then, g.
    pub error_g: f64,
    /// Standard uncertainty of that error, g.
    pub u_g: f64,
    /// Temperature of the room, degrees Celsius, where told.
    pub room_c: Option<f64>,
    /// Word of what it says.
    pub says: String,
}

/// What is written down of a scale.
#[derive(Clone, Debug, PartialEq)]
pub enum CalibrationWrite {
    /// A calibration was made; the scale goes by it from now on, or not.
    Made {
        /// It.
        record: CalibrationRecord,
        /// The scale goes by it.
        in_force: bool,
    },
    /// From now on a scale goes by this calibration, or by none.
    InForce {
        /// Name of the scale.
        scale: String,
        /// It.
        calibration: Option<Box<CalibrationRecord>>,
        /// When.
        at: WallTime,
    },
    /// A scale was checked.
    Checked(CheckRecord),
    /// The potter's own masses are these from now on.
    Masses {
        /// As JSON text.
        body: String,
        /// When.
        at: WallTime,
    },
}
