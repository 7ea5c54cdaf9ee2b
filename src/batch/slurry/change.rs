//! The bucket changed: how much water or powder to add, or clear water to take off.
//!
//! By mass; nothing is known here of how fast a slop settles, so the time it takes is not told.

use super::super::bounds::{Notes, Refused, within};
use super::super::request::WantedRequest;
use super::{Slurry, checked_gravity, mass, solids_fraction, specific_gravity};
use crate::units::Mass;

/// What to do to a bucket; exactly one of water, or powder and clear water, is more than nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The slop this is told for.
    pub slop: Mass,
    /// Whether that is what the bucket holds, or 1000 g taken as a measure.
    pub whole_bucket: bool,
    /// Specific gravity now, measured or following from the dry share.
    pub gravity: f64,
    /// Specific gravity wanted.
    pub wanted_gravity: f64,
    /// Dry share it then has.
    pub wanted_solids: f64,
    /// Water to add.
    pub water: Mass,
    /// Powder to add instead, where the slop is too thin.
    pub powder: Mass,
    /// Clear water to take off instead, once it has settled.
    pub clear: Mass,
}

/// Water that brings slop of `solids` down to `wanted`: M (x / x' - 1); negative is water to take off.
pub fn water_to_add(slop: Mass, solids: f64, wanted: f64) -> Mass {
    Mass::saturating(slop.g() * (solids / wanted - 1.0))
}

/// Powder that brings slop of `solids` up to `wanted`: M (x' - x) / (1 - x').
pub fn powder_to_add(slop: Mass, solids: f64, wanted: f64) -> Mass {
    Mass::saturating(slop.g() * (wanted - solids) / (1.0 - wanted))
}

/// Clear water to take off to bring slop of `solids` up to `wanted`: M (1 - x / x').
pub fn clear_to_take(slop: Mass, solids: f64, wanted: f64) -> Mass {
    -water_to_add(slop, solids, wanted)
}

/// What the wanted gravity asks for.
pub(in crate::batch) fn change(
    wanted: &WantedRequest,
    slurry: Option<&Slurry>,
    notes: &mut Notes,
) -> Result<Change, Refused> {
    let slurry = slurry.ok_or_else(|| {
        Refused::new("glaze", "missing; the bucket has to be measured before it can be changed")
    })?;
    let ratio = Slurry::powder_or_usual(Some(slurry), notes).value() / slurry.water.g_ml();
    let gravity = checked_gravity("wanted.specific_gravity", wanted.specific_gravity, ratio)?;
    let x = slurry.solids_fraction();
    let goal = solids_fraction(gravity, ratio);
    let now = slurry.gravity.as_ref().map_or_else(|| specific_gravity(x, ratio), super::Known::value);
    let (slop_g, whole_bucket) = amount(wanted, now * slurry.water.g_ml(), notes)?;
    let slop = Mass::saturating(slop_g);
    let none = Mass::ZERO;
    let (water, powder, clear) = if goal < x {
        (water_to_add(slop, x, goal), none, none)
    } else {
        (none, powder_to_add(slop, x, goal), clear_to_take(slop, x, goal))
    };
    let change = Change {
        slop,
        whole_bucket,
        gravity: now,
        wanted_gravity: gravity,
        wanted_solids: goal,
        water,
        powder,
        clear,
    };
    tell(&change, x, ratio, notes);
    Ok(change)
}

/// Slop in the bucket, g, and whether it was told.
fn amount(wanted: &WantedRequest, g_per_ml: f64, notes: &mut Notes) -> Result<(f64, bool), Refused> {
    match (wanted.slop_g, wanted.slop_ml) {
        (Some(_), Some(_)) => {
            Err(Refused::new("wanted.slop_ml", "given beside slop_g; leave one of them out"))
        }
        (Some(g), None) => mass("wanted.slop_g", g, 1.0).map(|g| (g, true)),
        (None, Some(ml)) => {
            let ml = within("wanted.slop_ml", ml, 1.0, 1e6, "mL")?;
            let g = ml * g_per_ml;
            notes.step("Slop in the bucket", format!("{ml} mL x {g_per_ml:.6} g/mL"), format!("{g:.1} g"));
            Ok((g, true))
        }
        (None, None) => Ok((1000.0, false)),
    }
}

fn tell(change: &Change, solids: f64, ratio: f64, notes: &mut Notes) {
    let (gravity, goal, slop) = (change.wanted_gravity, change.wanted_solids, change.slop.g());
    notes.step(
        "Dry share wanted",
        format!("{ratio:.6} x ({gravity} - 1) / ({gravity} x ({ratio:.6} - 1))"),
        format!("{goal:.5}"),
    );
    let of =
        if change.whole_bucket { "" } else { ", for 1000 g of slop: how much is in the bucket was not told" };
    if change.water.g() > 0.0 {
        let working = format!("{slop:.1} g x ({solids:.6} / {goal:.6} - 1){of}");
        notes.step("Water to add", working, format!("{:.1} g", change.water.g()));
        return;
    }
    let working = format!("{slop:.1} g x ({goal:.6} - {solids:.6}) / (1 - {goal:.6}){of}");
    notes.step("Powder to add", working, format!("{:.1} g", change.powder.g()));
    let working = format!(
        "{slop:.1} g x (1 - {solids:.6} / {goal:.6}){of}; once it stands clear on top, which some slops never do; what \
         is dissolved in it goes with it"
    );
    notes.step("Or clear water to take off", working, format!("{:.1} g", change.clear.g()));
}
