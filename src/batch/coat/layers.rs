//! The same coat as wet film, dry layer and fired thickness: estimates, side by side.
//!
//! Decides nothing. Grams are what is poured; these show whether they are sensible.

use super::super::bounds::{Notes, Refused, within};
use crate::units::{Density, Length, as_told};

/// Share of a dried raw coat that is air between the grains. From memory, plausible range 0.35 to 0.5.
const AIR_SHARE: f64 = 0.45;
/// Density of a fired glaze, g/mL. From memory; 2.3 to 2.7 for glazes without lead.
const FIRED_G_ML: f64 = 2.45;
/// Share of the dry mass lost in the fire by a glaze with clay and whiting. From memory.
const LOSS: f64 = 0.08;

/// What is known of the firing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Firing {
    /// Density of the fired glaze, g/mL.
    pub density_g_ml: f64,
    /// Share of the dry mass that the fire drives off.
    pub loss_on_ignition: f64,
    /// How much lengths shrink from glazing to fired, percent.
    pub shrinkage_percent: f64,
    /// Whether these were told.
    pub told: bool,
}

impl Default for Firing {
    fn default() -> Self {
        Self { density_g_ml: FIRED_G_ML, loss_on_ignition: LOSS, shrinkage_percent: 0.0, told: false }
    }
}

impl Firing {
    pub(super) fn told(
        density: f64,
        loss: f64,
        shrinkage: Option<f64>,
        notes: &mut Notes,
    ) -> Result<Self, Refused> {
        let density_g_ml = within("coat.fired_density_g_ml", density, 0.5, 10.0, "g/mL")?;
        if !(0.0..1.0).contains(&loss) {
            let reason = format!(
                "{} must be from 0 to below 1, a share of the dry mass; 8 % is written 0.08",
                as_told(loss)
            );
            return Err(Refused::new("coat.loss_on_ignition", reason));
        }
        notes.warn_outside("Loss on ignition", loss, 0.0, 0.3, "it is a share of the dry mass; 8 % is 0.08");
        let percent = shrinkage.unwrap_or(0.0);
        let shrinkage_percent = within("coat.firing_shrinkage_percent", percent, 0.0, 40.0, "%")?;
        if shrinkage.is_none() {
            notes.assumed.push(("coat.firing_shrinkage_percent".to_owned(), 0.0));
        }
        notes.warn_outside(
            "Shrinkage in the glaze firing in percent",
            percent,
            0.0,
            12.0,
            "it is of lengths, from bisque on: 5 to 7 for stoneware, next to nothing for earthenware",
        );
        Ok(Self { density_g_ml, loss_on_ignition: loss, shrinkage_percent, told: true })
    }
}

/// Of what nobody told.
pub(in crate::batch) const TAKEN: &str = "taken, as none was told";

/// One coat in three states; each an estimate.
#[derive(Clone, Debug, PartialEq)]
pub struct Layers {
    /// The slop spread evenly, before the wall drinks its water; where its density is known.
    pub wet: Option<Length>,
    /// The powder once dry.
    pub dry: Length,
    /// The glaze after the firing.
    pub fired: Length,
    /// What was taken for them, in words.
    pub assumptions: Vec<String>,
}

/// The three from dry grams per cm2: dry 10 c / (rho (1 - air)), fired 10 c (1 - loss) / rho' / (1 - shrinkage)^2.
pub(in crate::batch) fn layers(
    dry_g_per_cm2: f64,
    wet: Option<Length>,
    (powder, whose_powder): (Density, &str),
    firing: &Firing,
    notes: &mut Notes,
) -> Layers {
    let powder = powder.g_ml();
    let dry = 10.0 * dry_g_per_cm2 / (powder * (1.0 - AIR_SHARE));
    let left = 1.0 - firing.loss_on_ignition;
    let shrunk = (1.0 - firing.shrinkage_percent / 100.0).powi(2);
    let fired = 10.0 * dry_g_per_cm2 * left / firing.density_g_ml / shrunk;
    notes.step(
        "Dry layer, estimated",
        format!("10 x {dry_g_per_cm2:.5} g/cm2 / ({powder:.3} g/mL x (1 - {AIR_SHARE} air))"),
        format!("{dry:.2} mm"),
    );
    notes.step(
        "Fired thickness, estimated",
        format!(
            "10 x {dry_g_per_cm2:.5} g/cm2 x (1 - {} lost) / {} g/mL / (1 - {} %)^2",
            firing.loss_on_ignition, firing.density_g_ml, firing.shrinkage_percent
        ),
        format!("{fired:.2} mm"),
    );
    let whose_firing = if firing.told { "as told" } else { TAKEN };
    let assumptions = vec![
        format!("powder of {powder:.3} g/mL, {whose_powder}"),
        format!("{AIR_SHARE} of the dry layer is air, taken: it is seldom measured"),
        format!(
            "fired glaze of {} g/mL, {} of the dry weight lost and {} % shrinkage in the glaze firing, {}",
            firing.density_g_ml, firing.loss_on_ignition, firing.shrinkage_percent, whose_firing
        ),
        "spread evenly and nothing run off".to_owned(),
    ];
    Layers { wet, dry: Length::saturating(dry), fired: Length::saturating(fired), assumptions }
}
