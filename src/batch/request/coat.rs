//! The layer wanted, and what it goes on, as they are told: shape only.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The layer wanted.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum CoatRequest {
    /// Dry powder per area.
    Dry {
        /// g/cm2.
        dry_g_per_cm2: f64,
    },
    /// Thickness after the firing.
    Fired {
        /// Fired thickness, mm.
        thickness_mm: f64,
        /// Density of the fired glaze, g/mL.
        fired_density_g_ml: f64,
        /// Share of the dry mass that the fire drives off, 0 to below 1.
        loss_on_ignition: f64,
        /// How much lengths of the piece shrink from glazing to fired, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        firing_shrinkage_percent: Option<f64>,
    },
    /// As on a piece that came out well.
    Piece {
        /// Slop that stayed on it, g.
        slop_g: f64,
        /// Dry share of that slop; or give `specific_gravity`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        solids_fraction: Option<f64>,
        /// Specific gravity of that slop; or give `solids_fraction`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        specific_gravity: Option<f64>,
        /// Inside area of that piece, cm2; absent: a piece of the same form, whose area then cancels.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        area_cm2: Option<f64>,
        /// Standard uncertainty of `slop_g`, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_slop_g: Option<f64>,
        /// Standard uncertainty of `solids_fraction`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_solids_fraction: Option<f64>,
        /// Standard uncertainty of `specific_gravity`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_specific_gravity: Option<f64>,
        /// Standard uncertainty of `area_cm2`, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// As on a test tile, weighed dry before and after it was coated.
    Tile {
        /// Coated area of the tile, cm2.
        area_cm2: f64,
        /// The bare tile, dry, g.
        before_g: f64,
        /// The tile with its coat, dry, g.
        after_g: f64,
        /// Standard uncertainty of either weighing, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_tile_g: Option<f64>,
        /// Standard uncertainty of `area_cm2`, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// The slop itself.
    Direct {
        /// g per piece.
        slop_g: f64,
    },
}

/// What the ware is like as it is glazed.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, PartialEq, Eq, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum WareState {
    /// Bisque, dry.
    Dry,
    /// Bisque, wiped with a wet sponge or rinsed.
    Sponged,
    /// Bisque whose outside has its coat already.
    Outside,
    /// Fired to its end: the wall takes up no water.
    Fired,
}

/// The ware, and how much water its wall takes up.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WareRequest {
    /// What it is like.
    pub state: WareState,
    /// The cone it was bisqued to, e.g. `06`: a note, nothing is reckoned from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bisque_cone: Option<String>,
    /// A piece or a shard dried, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry_g: Option<f64>,
    /// The same soaked through and wiped, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soaked_g: Option<f64>,
    /// Water taken up, percent of the dry weight, where known; instead of the two weights.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub absorption_percent: Option<f64>,
    /// A dry piece of this batch, g; absent: as `dry_g`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece_g: Option<f64>,
    /// Slop that the outside coat put on it, g: its water is in the wall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outside_slop_g: Option<f64>,
    /// Minutes since the outside coat: a note, as how fast ware dries is not known here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outside_minutes: Option<f64>,
    /// Water that sponging or rinsing left in it, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sponged_g: Option<f64>,
}
