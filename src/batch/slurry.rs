//! The bucket: what share of the slop is dry powder, and how dense the slop is.
//!
//! Never asks how thick a coat is wanted or on what. A solids measure only:
//! specific gravity says nothing about how thickly a slop flows.

use super::bounds::{Notes, Refused, Told, within};
use super::request::{GlazeRequest, TargetRequest};
use crate::units::Density;

/// Powder density taken when a reference piece gives only a specific gravity and
/// the bucket was not measured by density, g/mL. Between clay (2.5) and silica
/// (2.65); common practice.
const USUAL_POWDER_G_ML: f64 = 2.6;
/// Standard uncertainty of a specific gravity from 100 mL weighed to about half a gram.
const U_SPECIFIC_GRAVITY: f64 = 0.005;
/// Standard uncertainty of a powder density taken from a table of minerals, g/mL:
/// tables of feldspars and clays spread by about 0.1 from end to end.
const U_POWDER_G_ML: f64 = 0.05;
/// Standard uncertainty of a mixing weight: 0.2 percent, at least half a gram
/// (kitchen scale, some powder left in the scoop). Own estimate.
const U_MIX_SHARE: f64 = 0.002;
/// See [`U_MIX_SHARE`], g.
const U_MIX_LEAST_G: f64 = 0.5;
/// Standard uncertainty of each weighing of a drying sample, g: a 0.1 g scale. Own estimate.
const U_DRYING_G: f64 = 0.1;

/// A slop whose dry share is known and possible.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slurry {
    solids: f64,
    u_solids: f64,
    density: Option<Density>,
    powder_g_ml: Option<f64>,
}

impl Slurry {
    /// Dry mass over slop mass, between 0 and 1, ends excluded.
    pub const fn solids_fraction(&self) -> f64 {
        self.solids
    }

    /// Standard uncertainty of the dry share.
    pub const fn u_solids_fraction(&self) -> f64 {
        self.u_solids
    }

    /// Density of the slop, where it was measured.
    pub const fn density(&self) -> Option<Density> {
        self.density
    }

    /// Density of the powder's grains in g/mL, told or usual.
    pub(super) fn powder_g_ml(&self) -> (f64, bool) {
        (self.powder_g_ml.unwrap_or(USUAL_POWDER_G_ML), self.powder_g_ml.is_some())
    }

    pub(super) fn parse(
        glaze: &GlazeRequest,
        top: &TargetRequest,
        water: Density,
        notes: &mut Notes,
    ) -> Result<Self, Refused> {
        match *glaze {
            GlazeRequest::Mix { dry_g, water_g, u_dry_g, u_water_g } => {
                let doubts = [(u_dry_g, top.u_dry_g), (u_water_g, top.u_water_g)];
                Self::from_mix(dry_g, water_g, doubts, notes)
            }
            GlazeRequest::Density {
                specific_gravity: sg,
                powder_density_g_ml: powder,
                u_specific_gravity: us,
                u_powder_density_g_ml: up,
            } => {
                let doubts = [(us, top.u_specific_gravity), (up, top.u_powder_density_g_ml)];
                Self::from_density(sg, powder, doubts, water, notes)
            }
            GlazeRequest::Drying { wet_g, dry_g, u_dry_g } => {
                Self::from_drying(wet_g, dry_g, (u_dry_g, top.u_dry_g), notes)
            }
        }
    }

    fn from_mix(dry_g: f64, water_g: f64, doubts: Doubts<2>, notes: &mut Notes) -> Result<Self, Refused> {
        let dry = within("glaze.dry_g", dry_g, 1.0, 1e6, "g")?;
        let water = within("glaze.water_g", water_g, 1.0, 1e6, "g")?;
        // To a whole milligram, so that the echo reads well.
        let usual = |mass: f64| (1000.0 * (mass * U_MIX_SHARE).max(U_MIX_LEAST_G)).round() / 1000.0;
        let ud = notes.doubt("u_dry_g", told(doubts[0], dry, "g"), usual(dry))?;
        let uw = notes.doubt("u_water_g", told(doubts[1], water, "g"), usual(water))?;
        let slop = dry + water;
        let solids = possible("glaze.dry_g", dry / slop, notes)?;
        let working = format!("{dry} g dry / ({dry} g dry + {water} g water)");
        notes.step("Dry share of the slop", working, format!("{solids:.4}"));
        let u_solids = (water * ud).hypot(dry * uw) / (slop * slop);
        Ok(Self { solids, u_solids, density: None, powder_g_ml: None })
    }

    fn from_density(
        sg: f64,
        powder: f64,
        doubts: Doubts<2>,
        water: Density,
        notes: &mut Notes,
    ) -> Result<Self, Refused> {
        let powder = within("glaze.powder_density_g_ml", powder, 1.05, 12.0, "g/mL")?;
        let ratio = powder / water.g_ml();
        let sg = checked_gravity("glaze.specific_gravity", sg, ratio)?;
        notes.warn_outside("Specific gravity", sg, 1.2, 1.9, "weigh a known volume again, well stirred");
        notes.warn_outside("Powder density", powder, 2.4, 3.2, "most glaze powders are near 2.6 g/mL");
        let us = notes.doubt("u_specific_gravity", told(doubts[0], 0.5, ""), U_SPECIFIC_GRAVITY)?;
        let up = notes.doubt("u_powder_density_g_ml", told(doubts[1], 2.0, "g/mL"), U_POWDER_G_ML)?;
        let solids = possible("glaze.specific_gravity", solids_fraction(sg, ratio), notes)?;
        let working = format!(
            "{ratio:.4} x ({sg} - 1) / ({sg} x ({ratio:.4} - 1)), powder {ratio:.4} times as dense as water"
        );
        notes.step("Dry share of the slop", working, format!("{solids:.4}"));
        let by_sg = ratio / ((ratio - 1.0) * sg * sg) * us;
        let by_powder = (sg - 1.0) / (sg * (ratio - 1.0).powi(2)) * (up / water.g_ml());
        let density = Density::grams_per_millilitre(sg * water.g_ml());
        Ok(Self { solids, u_solids: by_sg.hypot(by_powder), density, powder_g_ml: Some(powder) })
    }

    fn from_drying(wet_g: f64, dry_g: f64, doubt: Doubt, notes: &mut Notes) -> Result<Self, Refused> {
        let wet = within("glaze.wet_g", wet_g, 1.0, 1e5, "g")?;
        let dry = within("glaze.dry_g", dry_g, 0.01, 1e5, "g")?;
        if dry >= wet {
            let reason = format!("{dry} g dry is not less than {wet} g wet; were the two weights swapped?");
            return Err(Refused::new("glaze.dry_g", reason));
        }
        let u = notes.doubt("u_dry_g", told(doubt, wet, "g"), U_DRYING_G)?;
        let solids = possible("glaze.dry_g", dry / wet, notes)?;
        notes.step("Dry share of the slop", format!("{dry} g dry / {wet} g wet"), format!("{solids:.4}"));
        let u_solids = (u / wet).hypot(dry * u / (wet * wet));
        Ok(Self { solids, u_solids, density: None, powder_g_ml: None })
    }
}

type Doubt = (Option<f64>, Option<f64>);
type Doubts<const N: usize> = [Doubt; N];

fn told((beside, at_top): Doubt, most: f64, unit: &'static str) -> Told {
    Told { within: "glaze", beside, at_top, most, unit }
}

fn possible(field: &str, solids: f64, notes: &mut Notes) -> Result<f64, Refused> {
    if !(solids > 0.001 && solids < 0.99) {
        let reason = format!(
            "gives a slop that is {:.2} % dry, which can't be poured; check both numbers",
            100.0 * solids
        );
        return Err(Refused::new(field, reason));
    }
    notes.warn_outside("Dry share of the slop", solids, 0.2, 0.8, "check what the bucket was measured with");
    Ok(solids)
}

/// A specific gravity between water's and the powder's own.
pub(super) fn checked_gravity(field: &str, sg: f64, powder_ratio: f64) -> Result<f64, Refused> {
    if sg > 1.0 && sg < powder_ratio {
        return Ok(sg);
    }
    let reason = format!(
        "{sg} must be above 1 (water) and below {powder_ratio:.3} (the powder alone, over water); slop is mostly 1.3 to 1.7"
    );
    Err(Refused::new(field, reason))
}

/// Dry share of a slop by mass, from its specific gravity and the powder's
/// density over water's: G (S - 1) / (S (G - 1)). Volumes add: no air, nothing dissolved.
pub fn solids_fraction(specific_gravity: f64, powder_ratio: f64) -> f64 {
    powder_ratio * (specific_gravity - 1.0) / (specific_gravity * (powder_ratio - 1.0))
}

/// Density of air-free water at 101.325 kPa from 0 to 40 degrees Celsius; `None` outside.
///
/// CIPM formula: M. Tanaka et al., Metrologia 38 (2001) 301.
pub fn water_density(celsius: f64) -> Option<Density> {
    if !(0.0..=40.0).contains(&celsius) {
        return None;
    }
    let t = celsius;
    let drop = (t - 3.983_035).powi(2) * (t + 301.797) / (522_528.9 * (t + 69.348_81));
    Density::grams_per_millilitre(0.999_974_950 * (1.0 - drop))
}
