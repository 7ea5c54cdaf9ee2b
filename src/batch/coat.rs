//! The layer wanted: dry powder per area, or the slop itself.
//!
//! Never knows the piece at hand. What stays on the piece is meant, not what runs out again.

use super::bounds::{Notes, Refused, within};
use super::request::CoatRequest;
use super::slurry::{Slurry, checked_gravity, solids_fraction};
use crate::units::{Density, Mass};

/// Limits of a dry coat that can be meant, g/cm2: a hundredth of a millimetre to
/// some centimetres of powder.
const DRY_G_CM2: (f64, f64) = (0.001, 5.0);
/// Dry coats between these draw no remark, g/cm2: about 0.15 to 2 mm of raw
/// powder at a bulk density near 1.2 g/cm3. Common practice, no source.
const USUAL_DRY_G_CM2: (f64, f64) = (0.02, 0.25);

/// A checked coat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coat {
    /// Grams of dry powder per cm2; positive.
    Dry(f64),
    /// Slop per piece.
    Direct(Mass),
}

impl Coat {
    pub(super) fn parse(
        coat: &CoatRequest,
        slurry: Option<&Slurry>,
        water: Density,
        notes: &mut Notes,
    ) -> Result<Self, Refused> {
        let (field, dry, working) = match *coat {
            CoatRequest::Direct { slop_g } => {
                return Ok(Self::Direct(Mass::saturating(within("coat.slop_g", slop_g, 0.5, 5000.0, "g")?)));
            }
            CoatRequest::Dry { dry_g_per_cm2 } => {
                ("coat.dry_g_per_cm2", dry_g_per_cm2, "as given".to_owned())
            }
            CoatRequest::Fired {
                thickness_mm,
                fired_density_g_ml,
                loss_on_ignition,
                firing_shrinkage_percent,
            } => {
                let shrinkage = firing_shrinkage_percent.unwrap_or(0.0);
                let (dry, working) =
                    fired(thickness_mm, fired_density_g_ml, loss_on_ignition, shrinkage, notes)?;
                ("coat.thickness_mm", dry, working)
            }
            CoatRequest::Piece { slop_g, solids_fraction, specific_gravity, area_cm2 } => {
                let slop = within("coat.slop_g", slop_g, 0.1, 5000.0, "g")?;
                let area = within("coat.area_cm2", area_cm2, 1.0, 100_000.0, "cm2")?;
                let solids = piece_solids(solids_fraction, specific_gravity, slurry, water, notes)?;
                let working =
                    format!("{slop} g of slop x {solids:.4} dry / {area} cm2, as on the reference piece");
                ("coat.slop_g", slop * solids / area, working)
            }
        };
        let dry = within(field, dry, DRY_G_CM2.0, DRY_G_CM2.1, "g/cm2 of dry coat")?;
        notes.warn_outside(
            "Dry coat in g/cm2",
            dry,
            USUAL_DRY_G_CM2.0,
            USUAL_DRY_G_CM2.1,
            "try it on a test tile",
        );
        notes.step("Dry coat", working, format!("{dry:.4} g/cm2"));
        Ok(Self::Dry(dry))
    }
}

fn fired(
    mm: f64,
    density: f64,
    loss: f64,
    percent: f64,
    notes: &mut Notes,
) -> Result<(f64, String), Refused> {
    let mm = within("coat.thickness_mm", mm, 0.01, 20.0, "mm")?;
    let density = within("coat.fired_density_g_ml", density, 0.5, 10.0, "g/mL")?;
    if !(0.0..1.0).contains(&loss) {
        let reason =
            format!("{loss} must be from 0 to below 1, a share of the dry mass; 8 % is written 0.08");
        return Err(Refused::new("coat.loss_on_ignition", reason));
    }
    let percent = within("coat.firing_shrinkage_percent", percent, 0.0, 40.0, "%")?;
    notes.warn_outside("Loss on ignition", loss, 0.0, 0.3, "it is a share of the dry mass; 8 % is 0.08");
    // The body shrinks under the coat, so a given fired area was larger when it was glazed.
    let shrunk = (1.0 - percent / 100.0).powi(2);
    let working = format!(
        "{mm} mm / 10 x {density} g/mL{} / (1 - {loss} lost in the fire)",
        if percent > 0.0 { format!(" x (1 - {percent} %)^2 for shrinkage") } else { String::new() }
    );
    Ok((mm / 10.0 * density * shrunk / (1.0 - loss), working))
}

fn piece_solids(
    solids: Option<f64>,
    gravity: Option<f64>,
    slurry: Option<&Slurry>,
    water: Density,
    notes: &mut Notes,
) -> Result<f64, Refused> {
    match (solids, gravity) {
        (Some(solids), None) => within("coat.solids_fraction", solids, 0.001, 0.99, ""),
        (None, Some(sg)) => {
            let (powder, told) = slurry
                .map(Slurry::powder_g_ml)
                .ok_or_else(|| Refused::new("glaze", "needed for this coat"))?;
            if !told {
                notes.assumed.push(("powder_density_g_ml".to_owned(), powder));
            }
            let ratio = powder / water.g_ml();
            let solids = solids_fraction(checked_gravity("coat.specific_gravity", sg, ratio)?, ratio);
            within("coat.specific_gravity", solids, 0.001, 0.99, "as dry share of that slop")
        }
        (Some(_), Some(_)) => {
            Err(Refused::new("coat.specific_gravity", "given beside solids_fraction; leave one of them out"))
        }
        (None, None) => Err(Refused::new(
            "coat.solids_fraction",
            "missing; give solids_fraction or specific_gravity of the slop that went on that piece",
        )),
    }
}
