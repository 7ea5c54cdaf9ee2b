//! The layer wanted: dry powder per area, or the slop itself.
//!
//! Never knows the piece at hand. What stays on the piece is meant, not what runs out again.

pub mod layers;

use super::bounds::{Input, Notes, Refused, Told, within};
use super::form::Form;
use super::known::Known;
use super::request::CoatRequest;
use super::slurry::{Slurry, checked_gravity, known_solids};
use crate::units::{Density, Mass, as_told};
use layers::Firing;

/// Limits of a dry coat that can be meant, g/cm2: a hundredth of a millimetre to
/// some centimetres of powder.
const DRY_G_CM2: (f64, f64) = (0.001, 5.0);
/// Dry coats between these draw no remark, g/cm2: about 0.15 to 2 mm of raw
/// powder at a bulk density near 1.2 g/cm3. Common practice, no source.
const USUAL_DRY_G_CM2: (f64, f64) = (0.02, 0.25);
/// A coat of the common size, g/cm2: half a millimetre of raw powder at 1.2 g/cm3. Common practice, no source.
const COMMON_DRY_G_CM2: f64 = 0.06;
/// Standard uncertainty of the slop that stayed on a reference piece, and of a tile's weighing, g: a
/// 0.1 g scale. Own estimate.
const U_WEIGHED_G: f64 = 0.1;
/// Standard uncertainty of a reference slop's specific gravity: as of the bucket.
const U_SPECIFIC_GRAVITY: f64 = 0.005;
/// Standard uncertainty of a dry share that is told as a number. Own estimate: that of 0.005 in
/// specific gravity is 0.004.
const U_SOLIDS: f64 = 0.005;
/// Standard uncertainty of a reference area, percent: as of the form. Of a flat tile, half a millimetre
/// on 50 mm in both directions: 1.5. Own estimates.
const U_AREA_PERCENT: f64 = 3.0;
const U_TILE_AREA_PERCENT: f64 = 1.5;

const ANOTHER_PIECE: &str = "weigh another piece that came out right";
const LARGER_TILE: &str = "coat and weigh a larger tile";

/// A checked coat.
#[derive(Clone, Debug, PartialEq)]
pub enum Coat {
    /// Grams of dry powder per cm2; positive.
    Dry(Known),
    /// Grams of dry powder on the whole of this form, whose area is that of the reference piece.
    SameForm(Known),
    /// Slop per piece.
    Direct(Mass),
}

/// What the coat is told for.
pub(super) struct Before<'a> {
    pub(super) slurry: Option<&'a Slurry>,
    pub(super) form: Option<&'a Form>,
    pub(super) water: Density,
    /// The ware was fired already: the pour is not the coat.
    pub(super) fired: bool,
}

impl Coat {
    /// The coat, and what is known of its firing.
    pub(super) fn parse(
        coat: &CoatRequest,
        before: &Before<'_>,
        notes: &mut Notes,
    ) -> Result<(Self, Firing), Refused> {
        let mut firing = Firing::default();
        let (field, dry, working) = match *coat {
            CoatRequest::Direct { slop_g } => {
                let slop = within("coat.slop_g", slop_g, 0.5, 5000.0, "g")?;
                return Ok((Self::Direct(Mass::saturating(slop)), firing));
            }
            CoatRequest::Dry { dry_g_per_cm2 } => {
                ("coat.dry_g_per_cm2", Known::exact(dry_g_per_cm2), "as given".to_owned())
            }
            CoatRequest::Fired {
                thickness_mm,
                fired_density_g_ml,
                loss_on_ignition,
                firing_shrinkage_percent,
            } => {
                firing = Firing::told(fired_density_g_ml, loss_on_ignition, firing_shrinkage_percent, notes)?;
                let (dry, working) = fired(thickness_mm, &firing)?;
                ("coat.thickness_mm", Known::exact(dry), working)
            }
            CoatRequest::Piece { area_cm2: None, .. } => {
                return same_form(coat, before, notes).map(|coat| (coat, firing));
            }
            CoatRequest::Piece { area_cm2: Some(area), u_area_percent, .. } => {
                let area = reference_area(area, u_area_percent, U_AREA_PERCENT, ANOTHER_PIECE, notes)?;
                let (dry, slop) = on_piece(coat, before, notes)?;
                let working = format!("{slop} / {} cm2, as on the reference piece", area.value());
                ("coat.slop_g", dry.over(&area), working)
            }
            CoatRequest::Tile { area_cm2, before_g, after_g, u_tile_g, u_area_percent } => {
                let area = reference_area(area_cm2, u_area_percent, U_TILE_AREA_PERCENT, LARGER_TILE, notes)?;
                let gain = tile_gain(before_g, after_g, u_tile_g, notes)?;
                let working = format!("({after_g} g - {before_g} g) / {area_cm2} cm2, as on the test tile");
                ("coat.after_g", gain.over(&area), working)
            }
        };
        within(field, dry.value(), DRY_G_CM2.0, DRY_G_CM2.1, "g/cm2 of dry coat")?;
        odd(dry.value(), notes);
        notes.step("Dry coat", working, format!("{:.5} g/cm2", dry.value()));
        Ok((Self::Dry(dry), firing))
    }
}

/// Coats that are hardly meant, and the likely slip.
fn odd(dry: f64, notes: &mut Notes) {
    let (low, high) = USUAL_DRY_G_CM2;
    if dry >= low && dry <= high {
        return;
    }
    let meant = if dry > high { dry / 10.0 } else { dry * 10.0 };
    notes.warnings.push(format!(
        "Dry coat in g/cm2 {dry:.4} is unusual (mostly {low} to {high}), {} a common one of {COMMON_DRY_G_CM2}: is \
         {meant:.4} meant? Look at the decimal point, or try it on a test tile",
        if dry > high {
            format!("{:.1} times", dry / COMMON_DRY_G_CM2)
        } else {
            format!("{:.0} % of", 100.0 * dry / COMMON_DRY_G_CM2)
        }
    ));
}

fn fired(mm: f64, firing: &Firing) -> Result<(f64, String), Refused> {
    let mm = within("coat.thickness_mm", mm, 0.01, 20.0, "mm")?;
    // The body shrinks under the coat, so a given fired area was larger when it was glazed.
    let shrunk = (1.0 - firing.shrinkage_percent / 100.0).powi(2);
    let percent = firing.shrinkage_percent;
    let working = format!(
        "{mm} mm / 10 x {} g/mL{} / (1 - {} lost in the fire)",
        firing.density_g_ml,
        if percent > 0.0 { format!(" x (1 - {percent} %)^2 for shrinkage") } else { String::new() },
        firing.loss_on_ignition
    );
    Ok((mm / 10.0 * firing.density_g_ml * shrunk / (1.0 - firing.loss_on_ignition), working))
}

fn known(
    (name, u_name, what): (&str, &'static str, &str),
    value: f64,
    (told, otherwise, most): (Option<f64>, f64, f64),
    (unit, advice): (&'static str, &'static str),
    notes: &mut Notes,
) -> Result<Known, Refused> {
    let told = Told { within: "coat", beside: told, at_top: None, most, unit };
    notes.known(value, &Input { name, u_name, what, advice }, &told, otherwise)
}

fn reference_area(
    cm2: f64,
    u: Option<f64>,
    otherwise: f64,
    advice: &'static str,
    notes: &mut Notes,
) -> Result<Known, Refused> {
    let cm2 = within("coat.area_cm2", cm2, 1.0, 100_000.0, "cm2")?;
    let input = ("area_cm2", "u_area_percent", "the area of the reference");
    Ok(known(input, 100.0, (u, otherwise, 50.0), ("%", advice), notes)?.scaled(cm2 / 100.0))
}

fn tile_gain(before_g: f64, after_g: f64, u: Option<f64>, notes: &mut Notes) -> Result<Known, Refused> {
    let before_g = within("coat.before_g", before_g, 0.0, 1e5, "g")?;
    let after_g = within("coat.after_g", after_g, 0.0, 1e5, "g")?;
    if after_g <= before_g {
        let reason = format!(
            "{after_g} g with its dry coat is not more than {before_g} g bare; were the two weights swapped?"
        );
        return Err(Refused::new("coat.after_g", reason));
    }
    let told = (u, U_WEIGHED_G, after_g);
    let after =
        known(("after_g", "u_tile_g", "the coated tile's weight"), after_g, told, ("g", LARGER_TILE), notes)?;
    let u = after.u();
    let source = super::known::Source {
        input: "coat.before_g".to_owned(),
        what: "the bare tile's weight".to_owned(),
        u,
        unit: "g",
        advice: LARGER_TILE,
    };
    Ok(after.minus(&Known::told(before_g, source)))
}

/// A piece of the same form came out right: its area is this one's and needs no measuring.
fn same_form(coat: &CoatRequest, before: &Before<'_>, notes: &mut Notes) -> Result<Coat, Refused> {
    let (dry, slop) = on_piece(coat, before, notes)?;
    let area = before.form.map(|form| form.area().cm2());
    if let Some(cm2) = area {
        within("coat.slop_g", dry.value() / cm2, DRY_G_CM2.0, DRY_G_CM2.1, "g/cm2 of dry coat")?;
        odd(dry.value() / cm2, notes);
    }
    let working = format!("{slop}, as on the reference piece of the same form");
    notes.step("Dry powder on the reference", working, format!("{:.2} g", dry.value()));
    Ok(Coat::SameForm(dry))
}

/// Dry grams on the reference piece, and how they were found.
fn on_piece(coat: &CoatRequest, before: &Before<'_>, notes: &mut Notes) -> Result<(Known, String), Refused> {
    let CoatRequest::Piece {
        slop_g,
        solids_fraction,
        specific_gravity,
        u_slop_g,
        u_solids_fraction,
        u_specific_gravity,
        ..
    } = *coat
    else {
        return Err(Refused::new("coat.by", "no reference piece"));
    };
    let slop = within("coat.slop_g", slop_g, 0.1, 5000.0, "g")?;
    let input = ("slop_g", "u_slop_g", "the slop on the reference piece");
    let slop = known(input, slop, (u_slop_g, U_WEIGHED_G, slop_g), ("g", ANOTHER_PIECE), notes)?;
    let solids = match (solids_fraction, specific_gravity) {
        (Some(x), None) => {
            told_share(x)?;
            let input = ("solids_fraction", "u_solids_fraction", "the dry share of the reference slop");
            known(input, x, (u_solids_fraction, U_SOLIDS, 0.5), ("", ANOTHER_PIECE), notes)?
        }
        (None, Some(sg)) => by_gravity(sg, u_specific_gravity, before, notes)?,
        (Some(_), Some(_)) => {
            return Err(Refused::new(
                "coat.specific_gravity",
                "given beside solids_fraction; leave one of them out",
            ));
        }
        (None, None) => {
            return Err(Refused::new(
                "coat.solids_fraction",
                "missing; give solids_fraction or specific_gravity of the slop that went on that piece",
            ));
        }
    };
    let working = format!("{slop_g} g of slop x {:.6} dry", solids.value());
    Ok((slop.times(&solids), working))
}

fn told_share(x: f64) -> Result<(), Refused> {
    if (0.001..=0.99).contains(&x) {
        return Ok(());
    }
    let slip = if x > 1.0 && x < 99.0 { format!("; {x} % is written {}", x / 100.0) } else { String::new() };
    let reason =
        format!("{} is outside 0.001 to 0.99: it is the dry share of the slop by weight{slip}", as_told(x));
    Err(Refused::new("coat.solids_fraction", reason))
}

/// By the powder of this bucket: its density is shared, and cancels where the bucket was measured so too.
fn by_gravity(sg: f64, u: Option<f64>, before: &Before<'_>, notes: &mut Notes) -> Result<Known, Refused> {
    if before.slurry.is_none() {
        return Err(Refused::new("glaze", "needed for this coat"));
    }
    let powder = Slurry::powder_or_usual(before.slurry, notes);
    let sg = checked_gravity("coat.specific_gravity", sg, powder.value() / before.water.g_ml())?;
    let input = ("specific_gravity", "u_specific_gravity", "the specific gravity of the reference slop");
    let gravity = known(input, sg, (u, U_SPECIFIC_GRAVITY, 0.5), ("", ANOTHER_PIECE), notes)?;
    let solids = known_solids(&gravity, &powder, before.water);
    within("coat.specific_gravity", solids.value(), 0.001, 0.99, "as dry share of that slop")?;
    Ok(solids)
}
