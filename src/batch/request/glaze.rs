//! The bucket as it is told: shape only.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How the bucket was measured. Uncertainties may stand here or at the top.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum GlazeRequest {
    /// Weights that went into the mix.
    Mix {
        /// Dry powder, g.
        dry_g: f64,
        /// Water, g.
        water_g: f64,
        /// Standard uncertainty of `dry_g`, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_dry_g: Option<f64>,
        /// Standard uncertainty of `water_g`, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_water_g: Option<f64>,
    },
    /// A known volume of slop was weighed, told as a ratio.
    Density {
        /// Slop over water, same volume.
        specific_gravity: f64,
        /// Density of the dry powder's grains, g/mL. May be absent only among `several`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        powder_density_g_ml: Option<f64>,
        /// Standard uncertainty of `specific_gravity`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_specific_gravity: Option<f64>,
        /// Standard uncertainty of `powder_density_g_ml`, g/mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_powder_density_g_ml: Option<f64>,
    },
    /// A known volume of slop was weighed, told as weight of a volume: exactly one of the three.
    Volume {
        /// Grams per millilitre.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        g_per_ml: Option<f64>,
        /// Grams that 100 mL weigh.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        g_per_100_ml: Option<f64>,
        /// Ounces that an imperial pint weighs; one of water weighs 20.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ounces_per_pint: Option<f64>,
        /// Density of the dry powder's grains, g/mL. May be absent only among `several`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        powder_density_g_ml: Option<f64>,
        /// Standard uncertainty of the specific gravity this gives.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_specific_gravity: Option<f64>,
        /// Standard uncertainty of `powder_density_g_ml`, g/mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_powder_density_g_ml: Option<f64>,
    },
    /// Slop and water weighed in the same vessel, filled to the same mark, on the same scale: what the
    /// scale shows too much or too little, and the volume of the vessel, cancel.
    Vessel {
        /// The vessel empty, as shown, g; 0 where the scale was tared with it.
        empty_g: f64,
        /// Filled with water to the mark, as shown, g: one number for each filling.
        water_g: Vec<f64>,
        /// Filled with slop to the mark, as shown, g: one number for each filling.
        slop_g: Vec<f64>,
        /// Smallest step that the scale shows, g; absent: 0.1.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step_g: Option<f64>,
        /// Scatter of the scale when the same is weighed again, g; absent: 0.1.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_repeat_g: Option<f64>,
        /// Scatter of one filling to the mark, mL; absent: 0.5.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_fill_ml: Option<f64>,
        /// Density of the dry powder's grains, g/mL. May be absent only among `several`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        powder_density_g_ml: Option<f64>,
        /// Standard uncertainty of `powder_density_g_ml`, g/mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_powder_density_g_ml: Option<f64>,
    },
    /// A sample was weighed wet, dried, and weighed again.
    Drying {
        /// Sample before drying, g.
        wet_g: f64,
        /// The same sample bone dry, g.
        dry_g: f64,
        /// Standard uncertainty of either weighing, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_dry_g: Option<f64>,
    },
    /// Several measurements of one bucket, weighted by what each is known to.
    Several {
        /// Each in a shape of its own, none of them `several`.
        #[schema(no_recursion)]
        measures: Vec<GlazeRequest>,
        /// Density of the dry powder's grains, g/mL; absent: estimated from the weights and the slop's
        /// density together, which then tell nothing more.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        powder_density_g_ml: Option<f64>,
        /// Standard uncertainty of `powder_density_g_ml`, g/mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_powder_density_g_ml: Option<f64>,
    },
}

/// The bucket is to be changed: how much water, powder, or clear water to take off.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WantedRequest {
    /// The specific gravity that the slop should have.
    pub specific_gravity: f64,
    /// Slop in the bucket, g; or give `slop_ml`; absent: told for 1000 g of slop.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slop_g: Option<f64>,
    /// Slop in the bucket, mL.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slop_ml: Option<f64>,
}
