//! The inside of a piece: how much area the coat has to cover.
//!
//! Never knows what is poured. Handles, spouts and facets are the potter's to add as area.

mod profile;
mod shape;

pub use profile::{frustum_area, frustum_volume, profile_area, profile_volume};
pub use shape::ellipse_around;

use super::bounds::{Input, Notes, Refused, Told, within};
use super::known::Known;
use super::request::{FormRequest, TargetRequest};
use crate::units::{Area, Volume};
use std::f64::consts::PI;

/// Standard uncertainty of an area measured with a ruler, percent: about 1 mm on
/// 80 mm in each of two directions is 2 %, and the corner is never sharp. Own estimate.
const U_AREA_PERCENT: f64 = 3.0;
/// No dimension of a piece is larger, mm.
const LARGEST_MM: f64 = 2000.0;
/// More points than this is a mistake, not a profile.
const MOST_POINTS: usize = 2000;
/// Limits of an inside area, cm2.
const AREA_CM2: (f64, f64) = (1.0, 100_000.0);
/// So many times the least area that its volume allows is no pot but a sheet: a plate of 200 mm and
/// 10 mm depth has 2.1 times, a mug 1.2 times. Own estimate.
const SHEET: f64 = 6.0;

/// A checked inside.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    area: Known,
    volume: Option<Volume>,
}

/// What a shape gives, at the size that was typed.
struct Reckoned {
    /// Area to be coated.
    cm2: f64,
    /// Area to the rim, the bare band with it.
    whole_cm2: f64,
    /// Volume to the rim.
    ml: Option<f64>,
    working: String,
    /// The input that a refusal of the area names.
    field: &'static str,
}

impl Form {
    /// The inside area to be coated; positive.
    pub fn area(&self) -> Area {
        Area::saturating(self.area.value())
    }

    /// The same with its doubts, cm2.
    pub const fn known_area(&self) -> &Known {
        &self.area
    }

    /// Volume to the rim, where the shape or the water in a fired piece gives it.
    pub const fn volume(&self) -> Option<Volume> {
        self.volume
    }

    /// Standard uncertainty of the area as a share of it.
    pub fn u_share(&self) -> f64 {
        self.area.u() / self.area.value()
    }

    pub(super) fn parse(form: &FormRequest, top: &TargetRequest, notes: &mut Notes) -> Result<Self, Refused> {
        let bare = within("form.bare_rim_mm", form.bare_rim_mm.unwrap_or(0.0), 0.0, LARGEST_MM, "mm")?;
        let mut found = shape::reckoned(&form.shape, bare, notes)?;
        shrink(form, &mut found, notes)?;
        let cm2 = within(found.field, found.cm2, AREA_CM2.0, AREA_CM2.1, "cm2 of inside area")?;
        notes.step("Inside area", found.working.clone(), format!("{cm2:.2} cm2"));
        let told = Told {
            within: "form",
            beside: form.u_area_percent,
            at_top: top.u_area_percent,
            most: 50.0,
            unit: "%",
        };
        let input = Input {
            name: "area",
            u_name: "u_area_percent",
            what: "the inside area",
            advice: "measure the inside again, or check it with water in a fired piece",
        };
        let percent = notes.known(100.0, &input, &told, U_AREA_PERCENT)?;
        let area = percent.scaled(cm2 / 100.0);
        let volume = volume(form, &found, area.u() / cm2, notes)?;
        Ok(Self { area, volume: volume.map(Volume::saturating) })
    }
}

/// From the size of leather-hard clay to that of bisque.
fn shrink(form: &FormRequest, found: &mut Reckoned, notes: &mut Notes) -> Result<(), Refused> {
    let Some(percent) = form.shrinkage_percent else { return Ok(()) };
    let percent = within("form.shrinkage_percent", percent, 0.0, 40.0, "%")?;
    notes.warn_outside(
        "Shrinkage to bisque in percent",
        percent,
        0.0,
        15.0,
        "it is of lengths, not of areas",
    );
    let left = 1.0 - percent / 100.0;
    found.cm2 *= left.powi(2);
    found.whole_cm2 *= left.powi(2);
    found.ml = found.ml.map(|ml| ml * left.powi(3));
    found.working = format!("({}) x (1 - {percent} %)^2 for shrinkage to bisque", found.working);
    Ok(())
}

/// The volume, checked by water in a fired piece where that was weighed.
fn volume(
    form: &FormRequest,
    found: &Reckoned,
    u_share: f64,
    notes: &mut Notes,
) -> Result<Option<f64>, Refused> {
    if let Some(ml) = found.ml {
        notes.step("Volume to the rim", "of the same shape".to_owned(), format!("{ml:.1} mL"));
    }
    let Some(water_g) = form.fired_water_g else {
        if form.fired_shrinkage_percent.is_some() {
            let reason = "has no use without fired_water_g, the water that fills a fired piece";
            return Err(Refused::new("form.fired_shrinkage_percent", reason));
        }
        return Ok(found.ml);
    };
    let water_g = within("form.fired_water_g", water_g, 1.0, 100_000.0, "g")?;
    let percent = form.fired_shrinkage_percent.unwrap_or(0.0);
    let percent = within("form.fired_shrinkage_percent", percent, 0.0, 40.0, "%")?;
    // A gram of water is a millilitre to 0.3 percent: far closer than any brim is filled.
    let ml = water_g / (1.0 - percent / 100.0).powi(3);
    notes.step(
        "Volume by water in a fired piece",
        format!("{water_g} g / (1 - {percent} %)^3; never fill bisque that is to be glazed today: its wall drinks the water"),
        format!("{ml:.1} mL"),
    );
    match found.ml {
        Some(shape) => compared(shape, ml, found.cm2, u_share, notes),
        None => possible(found, ml, u_share, notes)?,
    }
    Ok(Some(found.ml.unwrap_or(ml)))
}

/// Least inside area of an open vessel of this volume, cm2: half a ball, A^3 = 18 pi V^2.
pub fn least_area_cm2(ml: f64) -> f64 {
    (18.0 * PI * ml * ml).cbrt()
}

/// No wall is smaller than half a ball's for its volume.
fn possible(found: &Reckoned, ml: f64, u_share: f64, notes: &mut Notes) -> Result<(), Refused> {
    let least = least_area_cm2(ml);
    let (cm2, field) = (found.whole_cm2, found.field);
    if cm2 * (1.0 + 2.0 * u_share) < least {
        let reason = format!(
            "{cm2:.1} cm2 can't hold {ml:.1} mL: even half a ball, the least wall for it, has {least:.1} cm2; is the area \
             in cm2, the water in g, and the floor counted?"
        );
        return Err(Refused::new(field, reason));
    }
    if cm2 > SHEET * least {
        notes.warnings.push(format!(
            "{cm2:.1} cm2 is much for {ml:.1} mL, {:.1} times the least there can be: check the unit of the area and \
             the water",
            cm2 / least
        ));
    }
    Ok(())
}

/// Volumes that differ by more than twice what the area's doubt explains (volume goes as its power of 3/2).
fn compared(shape_ml: f64, water_ml: f64, cm2: f64, u_share: f64, notes: &mut Notes) {
    let share = water_ml / shape_ml - 1.0;
    if share.abs() > 2.0 * 1.5 * u_share {
        notes.warnings.push(format!(
            "Water says {water_ml:.0} mL, the measures say {shape_ml:.0} mL: the inside was measured too {}; an inside of \
             the same shape with the water's volume has {:.0} cm2",
            if share > 0.0 { "small" } else { "large" },
            cm2 * (water_ml / shape_ml).powf(2.0 / 3.0)
        ));
    }
}
