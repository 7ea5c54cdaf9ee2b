//! Parts of a target as they are told outside.
//!
//! Never changes a number; copies only.

use crate::batch::coat::layers::Layers;
use crate::batch::doubt::Doubt;
use crate::batch::request::WareState;
use crate::batch::slurry::change::Change;
use crate::batch::supply::Supply;
use crate::batch::ware::Wall;
use serde::Serialize;
use utoipa::ToSchema;

/// One uncertain input and how far it moves the target, all pieces alike.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct DoubtReply {
    /// The input, as its path in the request.
    pub input: String,
    /// The same in words.
    pub what: String,
    /// Its standard uncertainty, in `unit`.
    pub u: f64,
    /// Unit of `u`; empty for a ratio.
    pub unit: String,
    /// How far that moves the target, g.
    pub moves_g: f64,
    /// The same in percent of the target.
    pub moves_percent: f64,
}

impl From<&Doubt> for DoubtReply {
    fn from(doubt: &Doubt) -> Self {
        Self {
            input: doubt.input.clone(),
            what: doubt.what.clone(),
            u: doubt.u,
            unit: doubt.unit.to_owned(),
            moves_g: doubt.moves.told_g(),
            moves_percent: doubt.percent,
        }
    }
}

/// The coat wet, dry and fired; each an estimate.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct LayersReply {
    /// Slop spread evenly, mm; null where the slop's density is not known.
    pub wet_mm: Option<f64>,
    /// Powder once dry, mm.
    pub dry_mm: f64,
    /// Glaze after the firing, mm.
    pub fired_mm: f64,
    /// What was taken for them.
    pub assumptions: Vec<String>,
}

impl From<&Layers> for LayersReply {
    fn from(layers: &Layers) -> Self {
        Self {
            wet_mm: layers.wet.map(|wet| wet.mm()),
            dry_mm: layers.dry.mm(),
            fired_mm: layers.fired.mm(),
            assumptions: layers.assumptions.clone(),
        }
    }
}

/// What to do to the bucket.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct ChangeReply {
    /// The slop this is told for, g.
    pub slop_g: f64,
    /// Whether that is the bucket's own; false: 1000 g taken as a measure.
    pub whole_bucket: bool,
    /// Specific gravity now.
    pub specific_gravity: f64,
    /// Specific gravity wanted.
    pub wanted_specific_gravity: f64,
    /// Dry share it then has.
    pub wanted_solids_fraction: f64,
    /// Water to add, g; 0 where the slop is too thin already.
    pub add_water_g: f64,
    /// Powder to add, g; 0 where the slop is too thick already.
    pub add_powder_g: f64,
    /// Clear water to take off instead of adding powder, g.
    pub take_clear_g: f64,
}

impl From<&Change> for ChangeReply {
    fn from(change: &Change) -> Self {
        Self {
            slop_g: change.slop.told_g(),
            whole_bucket: change.whole_bucket,
            specific_gravity: change.gravity,
            wanted_specific_gravity: change.wanted_gravity,
            wanted_solids_fraction: change.wanted_solids,
            add_water_g: change.water.told_g(),
            add_powder_g: change.powder.told_g(),
            take_clear_g: change.clear.told_g(),
        }
    }
}

/// What the wall does with the coat's water.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct WallReply {
    /// What the ware is like.
    pub state: WareState,
    /// Water the dry wall takes up until it is soaked, percent of its dry weight.
    pub absorption_percent: Option<f64>,
    /// Water it can still take up, g.
    pub takes_up_g: Option<f64>,
    /// Water that the coat brings, g.
    pub water_in_coat_g: Option<f64>,
}

impl From<&Wall> for WallReply {
    fn from(wall: &Wall) -> Self {
        Self {
            state: wall.state,
            absorption_percent: wall.absorption_percent,
            takes_up_g: wall.takes_up.map(|water| water.told_g()),
            water_in_coat_g: wall.water_in_coat.map(|water| water.told_g()),
        }
    }
}

/// Whether the slop is enough.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SupplyReply {
    /// Slop that all pieces need, with what stays in the jug and goes astray, g.
    pub needed_g: f64,
    /// Slop at hand, g.
    pub at_hand_g: f64,
    /// Pieces it is enough for.
    pub enough_for: u32,
    /// The piece that gets too little, counted from 1; null: none.
    pub runs_out_at: Option<u32>,
    /// Slop to mix, g.
    pub short_g: f64,
    /// Powder in it, g.
    pub mix_powder_g: Option<f64>,
    /// Water in it, g.
    pub mix_water_g: Option<f64>,
}

impl From<&Supply> for SupplyReply {
    fn from(supply: &Supply) -> Self {
        Self {
            needed_g: supply.needed.told_g(),
            at_hand_g: supply.at_hand.told_g(),
            enough_for: supply.enough_for,
            runs_out_at: supply.runs_out_at,
            short_g: supply.short.told_g(),
            mix_powder_g: supply.powder.map(|powder| powder.told_g()),
            mix_water_g: supply.water.map(|water| water.told_g()),
        }
    }
}
