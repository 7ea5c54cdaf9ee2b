//! The bucket: what share of the slop is dry powder, and how dense the slop is.
//!
//! Never asks how thick a coat is wanted or on what. A solids measure only:
//! specific gravity says nothing about how thickly a slop flows.

pub mod change;
pub mod gravity;
mod measure;
mod several;
mod vessel;

use super::bounds::{Notes, Refused, within};
use super::known::Known;
use super::request::{GlazeRequest, TargetRequest};
use crate::units::{Density, as_told};
use measure::Found;

/// Powder density taken when a reference piece gives only a specific gravity and
/// the bucket was not measured by density, g/mL. Between clay (2.5) and silica
/// (2.65); common practice.
const USUAL_POWDER_G_ML: f64 = 2.6;
/// Standard uncertainty of a powder density taken from a table of minerals, g/mL:
/// tables of feldspars and clays spread by about 0.1 from end to end.
const U_POWDER_G_ML: f64 = 0.05;
/// What makes a bucket's doubt smaller.
const MEASURE_AGAIN: &str = "measure the bucket again before buying a better scale";
/// What makes a powder's doubt smaller.
const MIX_AND_WEIGH: &str =
    "weigh a mix of known powder and water in a known volume: both together give the powder's density";

/// A slop whose dry share is known and possible.
#[derive(Clone, Debug, PartialEq)]
pub struct Slurry {
    solids: Known,
    gravity: Option<Known>,
    powder: Option<Known>,
    powder_estimated: bool,
    water: Density,
}

impl Slurry {
    /// Dry mass over slop mass, between 0 and 1, ends excluded.
    pub const fn solids(&self) -> &Known {
        &self.solids
    }

    /// Dry mass over slop mass, as a number.
    pub const fn solids_fraction(&self) -> f64 {
        self.solids.value()
    }

    /// Standard uncertainty of the dry share.
    pub fn u_solids_fraction(&self) -> f64 {
        self.solids.u()
    }

    /// Density of the slop, where it was measured.
    pub fn density(&self) -> Option<Density> {
        self.gravity.as_ref().map(|s| Density::saturating(s.value() * self.water.g_ml()))
    }

    /// Density of the powder's grains in g/mL, where told or estimated from weights and density.
    pub const fn powder(&self) -> Option<&Known> {
        self.powder.as_ref()
    }

    /// Where that density is from, in words.
    pub(super) const fn whose_powder(&self) -> &'static str {
        match (&self.powder, self.powder_estimated) {
            (None, _) => super::coat::layers::TAKEN,
            (Some(_), true) => "estimated from weights and density",
            (Some(_), false) => "as told",
        }
    }

    /// Density of the powder's grains in g/mL, told or usual; the usual one is echoed.
    pub(super) fn powder_or_usual(slurry: Option<&Self>, notes: &mut Notes) -> Known {
        slurry.and_then(|s| s.powder.clone()).unwrap_or_else(|| {
            let name = "powder_density_g_ml".to_owned();
            if !notes.assumed.iter().any(|(n, _)| *n == name) {
                notes.assumed.push((name.clone(), USUAL_POWDER_G_ML));
            }
            Known::told(USUAL_POWDER_G_ML, measure::powder_source("glaze", U_POWDER_G_ML))
        })
    }

    pub(super) fn parse(
        glaze: &GlazeRequest,
        top: &TargetRequest,
        water: Density,
        notes: &mut Notes,
    ) -> Result<Self, Refused> {
        if let GlazeRequest::Several { measures, powder_density_g_ml, u_powder_density_g_ml } = glaze {
            let doubt = (*u_powder_density_g_ml, top.u_powder_density_g_ml);
            let told = (*powder_density_g_ml, doubt);
            return several::combined(measures, told, &measure::Around { top, water }, notes);
        }
        let around = measure::Around { top, water };
        let measured = measure::measured(glaze, "glaze", &around, notes)?;
        match measured.found {
            Found::Solids(solids) => {
                let solids = possible("glaze.dry_g", solids, notes)?;
                notes.step("Dry share of the slop", measured.working, format!("{:.5}", solids.value()));
                Ok(Self { solids, gravity: None, powder: None, powder_estimated: false, water })
            }
            Found::Gravity(gravity) => {
                let powder = measured.powder.ok_or_else(|| no_powder("glaze.powder_density_g_ml"))?;
                let field = format!("glaze.{}", measured.field);
                let solids = by_gravity(&field, &gravity, &powder, water, notes)?;
                let solids = possible(&field, solids, notes)?;
                let (gravity, powder) = (Some(gravity), Some(powder));
                Ok(Self { solids, gravity, powder, powder_estimated: false, water })
            }
        }
    }
}

fn no_powder(field: &str) -> Refused {
    let reason = "missing field `powder_density_g_ml`: the density of the dry powder's grains, mostly near \
                  2.6 g/mL; or give the weights of the mix too, in a list of several measurements";
    Refused::new(field, reason)
}

/// Dry share from the slop's specific gravity and the powder's density, told as a step.
fn by_gravity(
    field: &str,
    gravity: &Known,
    powder: &Known,
    water: Density,
    notes: &mut Notes,
) -> Result<Known, Refused> {
    let ratio = powder.value() / water.g_ml();
    let sg = checked_gravity(field, gravity.value(), ratio)?;
    let working = format!(
        "{ratio:.6} x ({} - 1) / ({} x ({ratio:.6} - 1)), powder {ratio:.4} times as dense as water",
        shown(sg),
        shown(sg)
    );
    let solids = known_solids(gravity, powder, water);
    notes.step("Dry share of the slop", working, format!("{:.5}", solids.value()));
    Ok(solids)
}

/// A number as it was typed, or to five places where it was reckoned.
fn shown(value: f64) -> String {
    let typed = value.to_string();
    if typed.len() <= 8 { typed } else { format!("{value:.6}") }
}

/// [`solids_fraction`] with its doubts.
pub(super) fn known_solids(gravity: &Known, powder: &Known, water: Density) -> Known {
    let ratio = powder.value() / water.g_ml();
    let sg = gravity.value();
    let by_sg = ratio / ((ratio - 1.0) * sg * sg);
    let by_powder = -(sg - 1.0) / (sg * (ratio - 1.0).powi(2)) / water.g_ml();
    Known::of(solids_fraction(sg, ratio), &[(gravity, by_sg), (powder, by_powder)])
}

fn possible(field: &str, solids: Known, notes: &mut Notes) -> Result<Known, Refused> {
    let x = solids.value();
    if !(x > 0.001 && x < 0.99) {
        let reason =
            format!("gives a slop that is {:.2} % dry, which can't be poured; check both numbers", 100.0 * x);
        return Err(Refused::new(field, reason));
    }
    notes.warn_outside("Dry share of the slop", x, 0.2, 0.8, "check what the bucket was measured with");
    Ok(solids)
}

/// A specific gravity between water's and the powder's own.
pub(super) fn checked_gravity(field: &str, sg: f64, powder_ratio: f64) -> Result<f64, Refused> {
    if sg > 1.0 && sg < powder_ratio {
        return Ok(sg);
    }
    let reason = format!(
        "{} must be above 1 (water) and below {powder_ratio:.3} (the powder alone, over water); slop is mostly 1.3 to 1.7{}",
        as_told(sg),
        likely_slip(sg)
    );
    Err(Refused::new(field, reason))
}

/// What a number may be that is no specific gravity.
fn likely_slip(sg: f64) -> String {
    let told = |as_what: &str, gravity: f64| format!("; is {sg} {as_what}? That would be {gravity:.3}");
    match sg {
        x if (20.0..40.0).contains(&x) => told("ounces per imperial pint", x / 20.0),
        x if (100.0..200.0).contains(&x) => told("grams per 100 mL", x / 100.0),
        x if (1000.0..2000.0).contains(&x) => told("grams per litre", x / 1000.0),
        x if x > 0.1 && x < 1.0 => {
            "; was the 1 before the point left out, or is it the dry share?".to_owned()
        }
        _ => String::new(),
    }
}

/// Dry share of a slop by mass, from its specific gravity and the powder's
/// density over water's: G (S - 1) / (S (G - 1)). Volumes add: no air, nothing dissolved.
pub fn solids_fraction(specific_gravity: f64, powder_ratio: f64) -> f64 {
    powder_ratio * (specific_gravity - 1.0) / (specific_gravity * (powder_ratio - 1.0))
}

/// The other way about: specific gravity of a slop of this dry share, 1 / (x / G + 1 - x).
pub fn specific_gravity(solids_fraction: f64, powder_ratio: f64) -> f64 {
    1.0 / (solids_fraction / powder_ratio + 1.0 - solids_fraction)
}

/// The powder's density over water's from dry share and specific gravity of the same slop:
/// x S / (1 - S (1 - x)). `None` where no powder, however dense, makes such a slop.
pub fn powder_ratio(solids_fraction: f64, specific_gravity: f64) -> Option<f64> {
    let rest = 1.0 - specific_gravity * (1.0 - solids_fraction);
    (rest > 0.0 && specific_gravity > 1.0).then(|| solids_fraction * specific_gravity / rest)
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

/// A mass typed for the bucket, g.
fn mass(field: &str, g: f64, least: f64) -> Result<f64, Refused> {
    within(field, g, least, 1e6, "g")
}
