//! A target as told outside, under the names the outside relies on.
//!
//! Weights are told to a microgram, as a batch is kept with them; no other number is changed.

mod parts;

pub use parts::{ChangeReply, DoubtReply, LayersReply, SupplyReply, WallReply};

use super::request::ToleranceRequest;
use super::steps::{Step, plain};
use super::sum::Target;
use serde::Serialize;
use utoipa::ToSchema;

/// A value that was taken because none was given.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Assumed {
    /// Name of the input.
    pub name: String,
    /// The same in plain words, with its unit.
    pub what: String,
    /// Value taken, in the unit its name ends with.
    pub value: f64,
}

/// A target; null where the inputs do not determine a value.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct TargetReply {
    /// Wanted net mass of slop, g.
    pub target_g: f64,
    /// Least good mass, g.
    pub low_g: f64,
    /// Greatest good mass, g.
    pub high_g: f64,
    /// Plus or minus, as told or taken.
    pub tolerance: ToleranceRequest,
    /// Dry share of the slop.
    pub solids_fraction: Option<f64>,
    /// Dry powder in the target, g; null for fired ware, whose coat it is not.
    pub dry_g: Option<f64>,
    /// Water in the target, g.
    pub water_g: Option<f64>,
    /// Inside area, cm2.
    pub area_cm2: Option<f64>,
    /// Density of the slop, g/mL.
    pub slop_density_g_ml: Option<f64>,
    /// Slop spread evenly, mm; null for fired ware.
    pub wet_film_mm: Option<f64>,
    /// Volume of the inside to the rim, mL.
    pub volume_ml: Option<f64>,
    /// Density of the powder's grains, told or estimated, g/mL.
    pub powder_density_g_ml: Option<f64>,
    /// The coat wet, dry and fired: estimates; null for fired ware.
    pub layers: Option<LayersReply>,
    /// Standard uncertainty shared by all pieces, g.
    pub standard_uncertainty_g: Option<f64>,
    /// Standard uncertainty of one weighing, g.
    pub piece_uncertainty_g: Option<f64>,
    /// What the shared uncertainty is made of, the largest first.
    pub doubts: Vec<DoubtReply>,
    /// The largest of them in words, and what makes it smaller.
    pub largest_doubt: Option<String>,
    /// What to do to the bucket, where that was asked.
    pub change: Option<ChangeReply>,
    /// What the wall does with the coat's water, where the ware was told.
    pub ware: Option<WallReply>,
    /// Whether the slop is enough, where that was asked.
    pub supply: Option<SupplyReply>,
    /// A target for each piece in turn, g, where a ladder was asked for: what `targets_g` of a batch takes.
    pub ladder_g: Vec<f64>,
    /// What looks odd.
    pub warnings: Vec<String>,
    /// Values taken because none was given.
    pub assumed: Vec<Assumed>,
    /// The working.
    pub steps: Vec<Step>,
}

impl From<&Target> for TargetReply {
    fn from(target: &Target) -> Self {
        let grams = |mass: crate::units::Mass| mass.told_g();
        let assumed = target.assumed.iter().map(|(name, value)| Assumed {
            name: name.clone(),
            what: plain(name),
            value: *value,
        });
        Self {
            target_g: target.target.told_g(),
            low_g: target.low.told_g(),
            high_g: target.high.told_g(),
            tolerance: target.tolerance,
            solids_fraction: target.solids_fraction,
            dry_g: target.dry.filter(|_| !target.fired()).map(grams),
            water_g: target.water.map(grams),
            area_cm2: target.area.map(|area| area.cm2()),
            slop_density_g_ml: target.slop_density.map(|density| density.g_ml()),
            wet_film_mm: target.wet_film.map(|film| film.mm()),
            volume_ml: target.volume.map(|volume| volume.ml()),
            powder_density_g_ml: target.powder_density.map(|density| density.g_ml()),
            layers: target.layers.as_ref().map(LayersReply::from),
            standard_uncertainty_g: target.standard_uncertainty.map(grams),
            piece_uncertainty_g: target.piece_uncertainty.map(grams),
            doubts: target.doubts.iter().map(DoubtReply::from).collect(),
            largest_doubt: target.largest_doubt.clone(),
            change: target.change.as_ref().map(ChangeReply::from),
            ware: target.ware.as_ref().map(WallReply::from),
            supply: target.supply.as_ref().map(SupplyReply::from),
            ladder_g: target.ladder.iter().map(|rung| rung.told_g()).collect(),
            warnings: target.warnings.clone(),
            assumed: assumed.collect(),
            steps: target.steps.clone(),
        }
    }
}
