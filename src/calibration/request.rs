//! A calibration as it is told: shape only, numbers not yet judged.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What was set on the pan, and what the scale showed.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationRequest {
    /// Step of the display, g.
    pub division_g: f64,
    /// Loads with their readings.
    pub points: Vec<PointRequest>,
    /// One load set down several times.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<RepeatRequest>,
    /// One load in the centre and towards four corners.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corners: Option<CornersRequest>,
    /// The pour that it is judged for, g; absent: 29.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub net_g: Option<f64>,
    /// How far that pour may be off, g; absent: 5 percent of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_g: Option<f64>,
    /// Change of a constant load over some minutes, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub creep_g: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room_c: Option<f64>,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
}

/// One load.
#[derive(Clone, Debug, Default, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PointRequest {
    /// What the mass is worth, g; 0: the bare pan.
    pub nominal_g: f64,
    /// `E1` to `M3` of OIML R 111, or `F` of NIST Handbook 105-1; a load may be made up of several weights of one set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class: Option<String>,
    /// Its limit of error, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mpe_mg: Option<f64>,
    /// Expanded uncertainty (k = 2) of its certificate, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_mg: Option<f64>,
    /// What the scale showed, g: one for each time it was set down.
    pub readings_g: Vec<f64>,
    /// What it showed without this mass each time, g: a bare pan, or a piece that it is set upon.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_readings_g: Option<Vec<f64>>,
    /// `up` or `down`, in a series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<String>,
    /// Where on the pan, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<String>,
}

/// One load set down several times.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RepeatRequest {
    /// The load, g.
    pub load_g: f64,
    /// What the scale showed each time, g.
    pub readings_g: Vec<f64>,
}

/// One load in five places.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CornersRequest {
    /// What it showed in the centre, g.
    pub centre_g: f64,
    /// What it showed towards each of four corners, g.
    pub readings_g: Vec<f64>,
}
