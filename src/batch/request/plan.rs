//! How many pieces, from how much slop, as they are told: shape only.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The slop that the pieces are to be poured from.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyRequest {
    /// Pieces to be poured.
    pub pieces: u32,
    /// Slop at hand, g.
    pub slop_g: f64,
    /// Slop that can't be poured from the jug, g; absent: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_in_jug_g: Option<f64>,
    /// Slop that goes astray with each piece (drips, sponge), g; absent: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_g_per_piece: Option<f64>,
}

/// Targets that differ from piece to piece: the way to learn from a firing.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LadderRequest {
    /// The targets, g; or give `low_g`, `high_g` and `steps`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub targets_g: Option<Vec<f64>>,
    /// Lowest target, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_g: Option<f64>,
    /// Highest target, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_g: Option<f64>,
    /// How many different targets, the two ends among them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steps: Option<u32>,
    /// Pieces of each target; absent: 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of_each: Option<u32>,
    /// The same number gives the same order again; absent: the order given, or rising.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
}
