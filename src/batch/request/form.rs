//! The inside of the piece as it is told: shape only.

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// The inside of the piece: its shape, and what holds for any shape.
#[derive(Clone, Debug, Serialize, PartialEq, ToSchema)]
pub struct FormRequest {
    /// The shape.
    #[serde(flatten)]
    pub shape: ShapeRequest,
    /// Height of the band below the rim, or of the lid's gallery, that stays bare, mm, straight down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bare_rim_mm: Option<f64>,
    /// Where the sizes are of leather-hard clay: how much it shrinks in length to bisque, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shrinkage_percent: Option<f64>,
    /// A check: water that fills a fired piece of this form to the brim, g. Never fill bisque that is to
    /// be glazed today: its wall drinks the water.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fired_water_g: Option<f64>,
    /// How much that piece shrank in length from bisque to fired, percent; absent: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fired_shrinkage_percent: Option<f64>,
    /// Standard uncertainty of the area, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_area_percent: Option<f64>,
}

impl FormRequest {
    /// The shape alone.
    pub const fn plain(shape: ShapeRequest) -> Self {
        Self {
            shape,
            bare_rim_mm: None,
            shrinkage_percent: None,
            fired_water_g: None,
            fired_shrinkage_percent: None,
            u_area_percent: None,
        }
    }
}

/// The members that any shape may have beside its own.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Beside {
    bare_rim_mm: Option<f64>,
    shrinkage_percent: Option<f64>,
    fired_water_g: Option<f64>,
    fired_shrinkage_percent: Option<f64>,
    u_area_percent: Option<f64>,
}

const BESIDE: [&str; 5] =
    ["bare_rim_mm", "shrinkage_percent", "fired_water_g", "fired_shrinkage_percent", "u_area_percent"];

impl<'de> Deserialize<'de> for FormRequest {
    // A flattened enum would let unknown members pass unseen.
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let whole = Map::<String, Value>::deserialize(from)?;
        let (beside, own): (Map<_, _>, Map<_, _>) =
            whole.into_iter().partition(|(name, _)| BESIDE.contains(&name.as_str()));
        let shape = ShapeRequest::deserialize(Value::Object(own)).map_err(D::Error::custom)?;
        let beside = Beside::deserialize(Value::Object(beside)).map_err(D::Error::custom)?;
        Ok(Self {
            shape,
            bare_rim_mm: beside.bare_rim_mm,
            shrinkage_percent: beside.shrinkage_percent,
            fired_water_g: beside.fired_water_g,
            fired_shrinkage_percent: beside.fired_shrinkage_percent,
            u_area_percent: beside.u_area_percent,
        })
    }
}

/// The shape of the inside; all sizes are inside sizes.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum ShapeRequest {
    /// Points up the inside wall; a floor only if it starts at radius 0.
    Profile {
        /// Pairs of height and inside radius, mm, from the bottom up.
        points_mm: Vec<[f64; 2]>,
    },
    /// Straight wall and flat floor.
    Cylinder {
        /// Inside diameter, mm.
        diameter_mm: f64,
        /// Height of the inside, mm.
        height_mm: f64,
        /// Radius of the corner between wall and floor, mm; absent: sharp.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        corner_mm: Option<f64>,
    },
    /// Part of a sphere.
    Bowl {
        /// Inside diameter at the rim, mm.
        diameter_mm: f64,
        /// Depth at the middle, mm.
        depth_mm: f64,
    },
    /// Slanting wall and flat floor.
    Cone {
        /// Inside diameter at the floor, mm; 0 for a point.
        bottom_mm: f64,
        /// Inside diameter at the rim, mm.
        top_mm: f64,
        /// Height, mm.
        height_mm: f64,
    },
    /// Four straight walls, square or oblong, and a flat floor.
    Square {
        /// Inside width, mm.
        width_mm: f64,
        /// Inside length, mm; absent: as the width.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        length_mm: Option<f64>,
        /// Height of the inside, mm.
        height_mm: f64,
        /// Radius of the upright corners, mm; absent: sharp.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        corner_mm: Option<f64>,
    },
    /// Straight wall over an ellipse, and a flat floor.
    Oval {
        /// Longest inside width, mm.
        length_mm: f64,
        /// Shortest inside width, mm.
        width_mm: f64,
        /// Height of the inside, mm.
        height_mm: f64,
    },
    /// Known already.
    Area {
        /// Inside area, cm2.
        area_cm2: f64,
    },
}
