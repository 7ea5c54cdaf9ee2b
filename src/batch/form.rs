//! The inside of a piece: how much area the coat has to cover.
//!
//! Never knows what is poured. Areas of revolution only; handles, spouts and
//! facets are the potter's to add as area.

use super::bounds::{Notes, Refused, Told, within};
use super::request::{FormRequest, TargetRequest};
use crate::units::{Area, Length};
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

/// A checked inside area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Form {
    area: Area,
    u_share: f64,
}

impl Form {
    /// The inside area; positive.
    pub const fn area(&self) -> Area {
        self.area
    }

    /// Standard uncertainty of the area as a share of it.
    pub const fn u_share(&self) -> f64 {
        self.u_share
    }

    pub(super) fn parse(form: &FormRequest, top: &TargetRequest, notes: &mut Notes) -> Result<Self, Refused> {
        let (cm2, working, field, beside) = match form {
            FormRequest::Profile { points_mm, u_area_percent } => {
                let (cm2, working) = profile(points_mm, notes)?;
                (cm2, working, "form.points_mm", u_area_percent)
            }
            FormRequest::Cylinder { diameter_mm, height_mm, u_area_percent } => {
                let (cm2, working) = cylinder(*diameter_mm, *height_mm)?;
                (cm2, working, "form.diameter_mm", u_area_percent)
            }
            FormRequest::Bowl { diameter_mm, depth_mm, u_area_percent } => {
                let (cm2, working) = bowl(*diameter_mm, *depth_mm, notes)?;
                (cm2, working, "form.diameter_mm", u_area_percent)
            }
            FormRequest::Cone { bottom_mm, top_mm, height_mm, u_area_percent } => {
                let (cm2, working) = cone(*bottom_mm, *top_mm, *height_mm)?;
                (cm2, working, "form.top_mm", u_area_percent)
            }
            FormRequest::Area { area_cm2, u_area_percent } => {
                (*area_cm2, "as given".to_owned(), "form.area_cm2", u_area_percent)
            }
        };
        let cm2 = within(field, cm2, AREA_CM2.0, AREA_CM2.1, "cm2 of inside area")?;
        notes.step("Inside area", working, format!("{cm2:.2} cm2"));
        let told =
            Told { within: "form", beside: *beside, at_top: top.u_area_percent, most: 50.0, unit: "%" };
        let u_share = notes.doubt("u_area_percent", told, U_AREA_PERCENT)? / 100.0;
        Ok(Self { area: Area::saturating(cm2), u_share })
    }
}

fn side(field: &str, mm: f64) -> Result<f64, Refused> {
    within(field, mm, 1.0, LARGEST_MM, "mm")
}

fn cylinder(diameter_mm: f64, height_mm: f64) -> Result<(f64, String), Refused> {
    let r = side("form.diameter_mm", diameter_mm)? / 20.0;
    let h = side("form.height_mm", height_mm)? / 10.0;
    let working = format!("wall 2 pi x {r} cm x {h} cm + floor pi x ({r} cm)^2");
    Ok((2.0 * PI * r * h + PI * r * r, working))
}

fn cone(bottom_mm: f64, top_mm: f64, height_mm: f64) -> Result<(f64, String), Refused> {
    let bottom = within("form.bottom_mm", bottom_mm, 0.0, LARGEST_MM, "mm")? / 2.0;
    let top = side("form.top_mm", top_mm)? / 2.0;
    let height = side("form.height_mm", height_mm)?;
    let floor = PI * bottom * bottom / 100.0;
    let wall = frustum_area(Length::saturating(bottom), Length::saturating(top), Length::saturating(height));
    let working = format!("slanting wall {:.2} cm2 + floor {floor:.2} cm2", wall.cm2());
    Ok((wall.cm2() + floor, working))
}

fn bowl(diameter_mm: f64, depth_mm: f64, notes: &mut Notes) -> Result<(f64, String), Refused> {
    let a = side("form.diameter_mm", diameter_mm)? / 20.0;
    let h = side("form.depth_mm", depth_mm)? / 10.0;
    if h > a {
        notes.warnings.push(
            "Bowl deeper than half a ball: taken to close in towards the rim; if its wall goes straight up, give a profile"
                .to_owned(),
        );
    }
    Ok((PI * (a * a + h * h), format!("part of a sphere: pi x (({a} cm)^2 + ({h} cm)^2)")))
}

fn profile(points_mm: &[[f64; 2]], notes: &mut Notes) -> Result<(f64, String), Refused> {
    let field = "form.points_mm";
    if points_mm.len() < 2 || points_mm.len() > MOST_POINTS {
        let reason =
            format!("has {} points; give 2 to {MOST_POINTS} pairs of [height, radius]", points_mm.len());
        return Err(Refused::new(field, reason));
    }
    let mut below = f64::NEG_INFINITY;
    for (n, [height, radius]) in points_mm.iter().enumerate() {
        within(&format!("{field}[{n}][0]"), *height, 0.0, LARGEST_MM, "mm of height")?;
        within(&format!("{field}[{n}][1]"), *radius, 0.0, LARGEST_MM / 2.0, "mm of radius")?;
        if *height < below {
            let reason =
                format!("height {height} mm is below the point before ({below} mm); list points upwards");
            return Err(Refused::new(format!("{field}[{n}][0]"), reason));
        }
        below = *height;
    }
    if points_mm.first().is_some_and(|first| first[1] > 0.0) {
        notes.warnings.push(
            "The profile starts off the axis, so it has no floor; start it at radius 0 to count one"
                .to_owned(),
        );
    }
    let working = format!("sum of {} rings between the points", points_mm.len() - 1);
    Ok((profile_area(points_mm).cm2(), working))
}

/// Area swept by a polyline of `[height, radius]` in mm around the axis: a sum of
/// frusta; a step without height is a flat ring.
pub fn profile_area(points_mm: &[[f64; 2]]) -> Area {
    let ring = |pair: &[[f64; 2]]| match pair {
        [[h1, r1], [h2, r2]] => {
            frustum_area(Length::saturating(*r1), Length::saturating(*r2), Length::saturating(h2 - h1)).cm2()
        }
        _ => 0.0,
    };
    Area::saturating(points_mm.windows(2).map(ring).sum())
}

/// Area of a slanting wall between two radii, without ends: pi (r1 + r2) slant.
pub fn frustum_area(r1: Length, r2: Length, height: Length) -> Area {
    let slant = (r2 - r1).mm().hypot(height.mm());
    Area::saturating(PI * (r1 + r2).mm() * slant / 100.0)
}
