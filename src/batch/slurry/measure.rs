//! One measurement of the bucket: a dry share, or a specific gravity.
//!
//! Never combines two of them.

use super::super::bounds::{Input, Notes, Refused, Told, within};
use super::super::known::{Known, Source};
use super::super::request::{GlazeRequest, TargetRequest};
use super::gravity::VolumeWeight;
use super::{MEASURE_AGAIN, MIX_AND_WEIGH, U_POWDER_G_ML, likely_slip, mass, vessel};
use crate::units::{Density, as_told};

/// Standard uncertainty of a specific gravity from 100 mL weighed to about half a gram.
const U_SPECIFIC_GRAVITY: f64 = 0.005;
/// Standard uncertainty of a mixing weight: 0.2 percent, at least half a gram
/// (kitchen scale, some powder left in the scoop). Own estimate.
const U_MIX_SHARE: f64 = 0.002;
/// See [`U_MIX_SHARE`], g.
const U_MIX_LEAST_G: f64 = 0.5;
/// Standard uncertainty of each weighing of a drying sample, g: a 0.1 g scale. Own estimate.
const U_DRYING_G: f64 = 0.1;
/// Grains of glaze are no lighter and no heavier, g/mL: clays 2.5, whiting 2.7 to 2.9, dolomite 2.9
/// (Harrison et al., Handbook for Australian Potters, seen quoted); oxides of zinc, tin and lead, from
/// memory, 5.6 to 9.5, are a part only.
const POWDER_G_ML: (f64, f64) = (2.0, 6.0);

/// What the measurement is made in: uncertainties told at the top, and the water.
pub(super) struct Around<'a> {
    pub(super) top: &'a TargetRequest,
    pub(super) water: Density,
}

/// What one measurement found.
pub(super) struct Measured {
    /// By which measurement, in words.
    pub(super) by: &'static str,
    pub(super) found: Found,
    /// The powder's density where it was told with it.
    pub(super) powder: Option<Known>,
    pub(super) working: String,
    /// The member that a refusal names.
    pub(super) field: &'static str,
}

pub(super) enum Found {
    Solids(Known),
    Gravity(Known),
}

/// An uncertainty told beside its quantity, and told at the top.
pub(super) type Doubt = (Option<f64>, Option<f64>);

pub(super) fn measured(
    glaze: &GlazeRequest,
    at: &str,
    around: &Around<'_>,
    notes: &mut Notes,
) -> Result<Measured, Refused> {
    let top = around.top;
    match *glaze {
        GlazeRequest::Mix { dry_g, water_g, u_dry_g, u_water_g } => {
            mix(at, [(dry_g, (u_dry_g, top.u_dry_g)), (water_g, (u_water_g, top.u_water_g))], notes)
        }
        GlazeRequest::Drying { wet_g, dry_g, u_dry_g } => {
            drying(at, wet_g, dry_g, (u_dry_g, top.u_dry_g), notes)
        }
        GlazeRequest::Density {
            specific_gravity: sg,
            powder_density_g_ml: powder,
            u_specific_gravity: us,
            u_powder_density_g_ml: up,
        } => {
            let powder = Powder { at, told: powder, doubt: (up, top.u_powder_density_g_ml) };
            density("specific_gravity", sg, (us, top.u_specific_gravity), &powder, around, notes)
        }
        GlazeRequest::Volume {
            g_per_ml,
            g_per_100_ml,
            ounces_per_pint,
            powder_density_g_ml: powder,
            u_specific_gravity: us,
            u_powder_density_g_ml: up,
        } => {
            let powder = Powder { at, told: powder, doubt: (up, top.u_powder_density_g_ml) };
            let (field, sg) = volume(at, [g_per_ml, g_per_100_ml, ounces_per_pint], around.water, notes)?;
            density(field, sg, (us, top.u_specific_gravity), &powder, around, notes)
        }
        GlazeRequest::Vessel { .. } => by_vessel(glaze, at, around, notes),
        GlazeRequest::Several { .. } => {
            Err(Refused::new(format!("{at}.by"), "`several` within `several`: list the measurements once"))
        }
    }
}

fn density(
    field: &'static str,
    sg: f64,
    doubt: Doubt,
    powder: &Powder<'_>,
    around: &Around<'_>,
    notes: &mut Notes,
) -> Result<Measured, Refused> {
    // No slop is heavier than its powder.
    let most = powder.checked()?.unwrap_or(POWDER_G_ML.1) / around.water.g_ml();
    let found = gravity((powder.at, field), sg, most, doubt, notes)?;
    Ok(by_volume("the slop's density", found, powder.known(notes)?, field))
}

fn by_vessel(
    glaze: &GlazeRequest,
    at: &str,
    around: &Around<'_>,
    notes: &mut Notes,
) -> Result<Measured, Refused> {
    let GlazeRequest::Vessel {
        empty_g,
        ref water_g,
        ref slop_g,
        step_g,
        u_repeat_g,
        u_fill_ml,
        powder_density_g_ml,
        u_powder_density_g_ml,
    } = *glaze
    else {
        return Err(Refused::new(format!("{at}.by"), "no vessel"));
    };
    let doubt = (u_powder_density_g_ml, around.top.u_powder_density_g_ml);
    let powder = Powder { at, told: powder_density_g_ml, doubt }.known(notes)?;
    let weighed = vessel::Weighed { at, empty_g, water_g, slop_g, step_g, u_repeat_g, u_fill_ml };
    let found = vessel::gravity(&weighed, notes)?;
    Ok(by_volume("slop and water in one vessel", found, powder, "slop_g"))
}

const fn by_volume(by: &'static str, found: Known, powder: Option<Known>, field: &'static str) -> Measured {
    Measured { by, found: Found::Gravity(found), powder, working: String::new(), field }
}

fn mix(at: &str, told: [(f64, Doubt); 2], notes: &mut Notes) -> Result<Measured, Refused> {
    let [(dry_g, dry_doubt), (water_g, water_doubt)] = told;
    let dry = mass(&format!("{at}.dry_g"), dry_g, 1.0)?;
    let water = mass(&format!("{at}.water_g"), water_g, 1.0)?;
    // To a whole milligram, so that the echo reads well.
    let usual = |mass: f64| (1000.0 * (mass * U_MIX_SHARE).max(U_MIX_LEAST_G)).round() / 1000.0;
    let input = |name, u_name, what| Input { name, u_name, what, advice: MEASURE_AGAIN };
    let known_dry = notes.known(
        dry,
        &input("dry_g", "u_dry_g", "the powder in the mix"),
        &beside(at, dry_doubt, dry, "g"),
        usual(dry),
    )?;
    let known_water = notes.known(
        water,
        &input("water_g", "u_water_g", "the water in the mix"),
        &beside(at, water_doubt, water, "g"),
        usual(water),
    )?;
    let solids = known_dry.over(&known_dry.plus(&known_water));
    let working = format!("{dry} g dry / ({dry} g dry + {water} g water)");
    Ok(Measured {
        by: "the mix weights",
        found: Found::Solids(solids),
        powder: None,
        working,
        field: "dry_g",
    })
}

fn drying(at: &str, wet_g: f64, dry_g: f64, doubt: Doubt, notes: &mut Notes) -> Result<Measured, Refused> {
    let wet = within(&format!("{at}.wet_g"), wet_g, 1.0, 1e5, "g")?;
    let field = format!("{at}.dry_g");
    let dry = within(&field, dry_g, 0.01, 1e5, "g")?;
    if dry >= wet {
        let reason = format!("{dry} g dry is not less than {wet} g wet; were the two weights swapped?");
        return Err(Refused::new(field, reason));
    }
    let input = |name, what| Input { name, u_name: "u_dry_g", what, advice: "dry a larger sample" };
    let told = beside(at, doubt, wet, "g");
    let known_dry = notes.known(dry, &input("dry_g", "the dried sample"), &told, U_DRYING_G)?;
    let u = known_dry.u();
    let source = Source {
        input: format!("{at}.wet_g"),
        what: "the wet sample".to_owned(),
        u,
        unit: "g",
        advice: "dry a larger sample",
    };
    let solids = known_dry.over(&Known::told(wet, source));
    let working = format!("{dry} g dry / {wet} g wet");
    Ok(Measured {
        by: "the dried sample",
        found: Found::Solids(solids),
        powder: None,
        working,
        field: "dry_g",
    })
}

/// Specific gravity from exactly one weight of a volume, and which.
fn volume(
    at: &str,
    told: [Option<f64>; 3],
    water: Density,
    notes: &mut Notes,
) -> Result<(&'static str, f64), Refused> {
    let names = ["g_per_ml", "g_per_100_ml", "ounces_per_pint"];
    let units = [VolumeWeight::GramsPerMl, VolumeWeight::GramsPer100Ml, VolumeWeight::OuncesPerPint];
    let words = ["g/mL", "g per 100 mL", "ounces per imperial pint"];
    let mut given = (0..3).filter_map(|n| told[n].map(|value| (n, value)));
    let which = format!("give one of {}", names.join(", "));
    let (n, value) = given
        .next()
        .ok_or_else(|| Refused::new(format!("{at}.{}", names[0]), format!("missing; {which}")))?;
    if let Some((other, _)) = given.next() {
        return Err(Refused::new(
            format!("{at}.{}", names[other]),
            format!("told beside {}; {which}", names[n]),
        ));
    }
    let sg = units[n].to_gravity(value, water);
    let divided = units[n].from_gravity(1.0, water);
    let field = format!("{at}.{}", names[n]);
    if !(sg > 1.0 && sg < POWDER_G_ML.1) {
        let reason = format!(
            "{} {} must be above {divided:.4} (water); slop is mostly {:.4} to {:.4}{}",
            as_told(value),
            words[n],
            1.3 * divided,
            1.7 * divided,
            likely_slip(value)
        );
        return Err(Refused::new(field, reason));
    }
    notes.step(
        "Specific gravity",
        format!("{value} / {divided:.6}, {} of slop over that of water", words[n]),
        format!("{sg:.5}"),
    );
    Ok((names[n], sg))
}

fn gravity(
    (at, field): (&str, &'static str),
    sg: f64,
    most: f64,
    doubt: Doubt,
    notes: &mut Notes,
) -> Result<Known, Refused> {
    super::checked_gravity(&format!("{at}.{field}"), sg, most)?;
    odd_gravity(sg, notes);
    let input = Input {
        name: field,
        u_name: "u_specific_gravity",
        what: "the specific gravity",
        advice: MEASURE_AGAIN,
    };
    notes.known(sg, &input, &beside(at, doubt, 0.5, ""), U_SPECIFIC_GRAVITY)
}

pub(super) fn odd_gravity(sg: f64, notes: &mut Notes) {
    notes.warn_outside("Specific gravity", sg, 1.2, 1.9, "weigh a known volume again, well stirred");
}

/// The powder's density as it may be told.
pub(super) struct Powder<'a> {
    pub(super) at: &'a str,
    pub(super) told: Option<f64>,
    pub(super) doubt: Doubt,
}

impl Powder<'_> {
    /// The number, where one was told that can be.
    fn checked(&self) -> Result<Option<f64>, Refused> {
        let Some(powder) = self.told else { return Ok(None) };
        let (least, most) = POWDER_G_ML;
        if powder >= least && powder <= most {
            return Ok(Some(powder));
        }
        let slip = match powder {
            x if x > 0.5 && x < least => {
                "; a scoop of loose powder weighs so little, its grains are meant, mostly near 2.6"
            }
            x if x >= 1000.0 * least && x <= 1000.0 * most => {
                "; is that kg per cubic metre? Then divide by 1000"
            }
            _ => "; the density of the dry powder's grains is meant, mostly near 2.6",
        };
        let reason = format!("{} g/mL is outside {least} to {most} g/mL{slip}", as_told(powder));
        Err(Refused::new(format!("{}.powder_density_g_ml", self.at), reason))
    }

    /// The same with its uncertainty.
    pub(super) fn known(&self, notes: &mut Notes) -> Result<Option<Known>, Refused> {
        let Some(powder) = self.checked()? else { return Ok(None) };
        notes.warn_outside("Powder density", powder, 2.4, 3.2, "most glaze powders are near 2.6 g/mL");
        let told = beside(self.at, self.doubt, 2.0, "g/mL");
        let u = notes.doubt("u_powder_density_g_ml", &told, U_POWDER_G_ML)?;
        Ok(Some(Known::told(powder, powder_source(self.at, u))))
    }
}

/// The powder is one and the same wherever its density is used.
pub(super) fn powder_source(at: &str, u: f64) -> Source {
    Source {
        input: format!("{at}.powder_density_g_ml"),
        what: "the powder's density".to_owned(),
        u,
        unit: "g/mL",
        advice: MIX_AND_WEIGH,
    }
}

fn beside<'a>(at: &'a str, (beside, at_top): Doubt, most: f64, unit: &'static str) -> Told<'a> {
    Told { within: at, beside, at_top, most, unit }
}
