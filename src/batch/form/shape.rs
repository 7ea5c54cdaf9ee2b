//! Areas and volumes of the simple insides, floor and wall.
//!
//! Sizes in mm as typed; areas in cm2, volumes in mL.

use super::super::bounds::{Notes, Refused, within};
use super::super::request::ShapeRequest;
use super::profile::{below_rim, checked, frustum_area, frustum_volume, profile_area, profile_volume};
use super::{LARGEST_MM, Reckoned};
use crate::units::Length;
use std::f64::consts::PI;

/// The shape without its top `bare` mm, and its volume to the rim.
pub(super) fn reckoned(shape: &ShapeRequest, bare: f64, notes: &mut Notes) -> Result<Reckoned, Refused> {
    match shape {
        ShapeRequest::Profile { points_mm } => {
            let points = checked(points_mm, notes)?;
            let height = points[points.len() - 1][0] - points[0][0];
            low_enough(bare, height)?;
            let kept = below_rim(points, bare);
            Ok(Reckoned {
                cm2: profile_area(&kept).cm2(),
                whole_cm2: profile_area(points).cm2(),
                // Whether or not its floor is to be coated.
                ml: Some(profile_volume(points).ml()),
                working: format!("sum of {} rings between the points", kept.len().saturating_sub(1)),
                field: "form.points_mm",
            })
        }
        ShapeRequest::Cylinder { diameter_mm, height_mm, corner_mm } => {
            cylinder(*diameter_mm, *height_mm, corner_mm.unwrap_or(0.0), bare)
        }
        ShapeRequest::Bowl { diameter_mm, depth_mm } => bowl(*diameter_mm, *depth_mm, bare, notes),
        ShapeRequest::Cone { bottom_mm, top_mm, height_mm } => cone(*bottom_mm, *top_mm, *height_mm, bare),
        ShapeRequest::Square { width_mm, length_mm, height_mm, corner_mm } => {
            let length = side("form.length_mm", length_mm.unwrap_or(*width_mm))?;
            square(side("form.width_mm", *width_mm)?, length, *height_mm, corner_mm.unwrap_or(0.0), bare)
        }
        ShapeRequest::Oval { length_mm, width_mm, height_mm } => {
            oval(*length_mm, *width_mm, *height_mm, bare)
        }
        ShapeRequest::Area { area_cm2 } => {
            if bare > 0.0 {
                let reason = "has no use with an area: give the area without the bare band";
                return Err(Refused::new("form.bare_rim_mm", reason));
            }
            Ok(Reckoned {
                cm2: *area_cm2,
                whole_cm2: *area_cm2,
                ml: None,
                working: "as given".to_owned(),
                field: "form.area_cm2",
            })
        }
    }
}

fn side(field: &str, mm: f64) -> Result<f64, Refused> {
    within(field, mm, 1.0, LARGEST_MM, "mm")
}

/// The bare band leaves some of the wall below it.
fn low_enough(bare: f64, height: f64) -> Result<(), Refused> {
    if bare <= 0.0 || bare < height {
        return Ok(());
    }
    let reason =
        format!("{bare} mm leaves nothing of {height} mm of wall; the bare band is mostly 2 to 15 mm");
    Err(Refused::new("form.bare_rim_mm", reason))
}

fn rounded(corner: f64, most: f64) -> Result<f64, Refused> {
    within("form.corner_mm", corner, 0.0, most, "mm of corner radius")
}

/// Wall, floor, and between them a quarter of a torus.
fn cylinder(diameter_mm: f64, height_mm: f64, corner_mm: f64, bare: f64) -> Result<Reckoned, Refused> {
    let r = side("form.diameter_mm", diameter_mm)? / 20.0;
    let h = side("form.height_mm", height_mm)? / 10.0;
    let c = rounded(corner_mm, (10.0 * r).min(10.0 * h))? / 10.0;
    low_enough(bare, 10.0 * (h - c))?;
    let wall = h - c - bare / 10.0;
    let flat = r - c;
    // Pappus: an arc of a quarter turn, its centroid 2 c / pi out from the middle of its circle.
    let arc = 2.0 * PI * (flat + 2.0 * c / PI) * (PI * c / 2.0);
    let floor = PI * flat * flat;
    // The corner's slice: radius flat + sqrt(c^2 - (c - z)^2), squared and summed over the height c.
    let slice = PI * (flat * flat * c + flat * PI * c * c / 2.0 + 2.0 * c.powi(3) / 3.0);
    let wall_high = if bare > 0.0 || c > 0.0 { format!("{wall:.4}") } else { h.to_string() };
    let working = if c > 0.0 {
        format!(
            "wall 2 pi x {r} cm x {wall_high} cm + corner 2 pi x ({flat:.4} cm + 2 x {c} cm / pi) x pi x {c} cm / 2 + \
             floor pi x ({flat:.4} cm)^2"
        )
    } else {
        format!("wall 2 pi x {r} cm x {wall_high} cm + floor pi x ({r} cm)^2")
    };
    let below = arc + floor;
    Ok(Reckoned {
        cm2: 2.0 * PI * r * wall + below,
        whole_cm2: 2.0 * PI * r * (h - c) + below,
        ml: Some(PI * r * r * (h - c) + slice),
        working,
        field: "form.diameter_mm",
    })
}

fn cone(bottom_mm: f64, top_mm: f64, height_mm: f64, bare: f64) -> Result<Reckoned, Refused> {
    let bottom = within("form.bottom_mm", bottom_mm, 0.0, LARGEST_MM, "mm")? / 2.0;
    let top = side("form.top_mm", top_mm)? / 2.0;
    let height = side("form.height_mm", height_mm)?;
    low_enough(bare, height)?;
    let kept = height - bare;
    let rim = bottom + (top - bottom) * kept / height;
    let floor = PI * bottom * bottom / 100.0;
    let mm = Length::saturating;
    let wall = |radius: f64, h: f64| frustum_area(mm(bottom), mm(radius), mm(h)).cm2();
    let coated = wall(rim, kept);
    let working = format!(
        "slanting wall pi x ({:.4} cm + {:.4} cm) x slant {:.4} cm + floor pi x ({} cm)^2",
        bottom / 10.0,
        rim / 10.0,
        (rim - bottom).hypot(kept) / 10.0,
        bottom / 10.0
    );
    Ok(Reckoned {
        cm2: coated + floor,
        whole_cm2: wall(top, height) + floor,
        ml: Some(frustum_volume(mm(bottom), mm(top), mm(height)).ml()),
        working,
        field: "form.top_mm",
    })
}

fn bowl(diameter_mm: f64, depth_mm: f64, bare: f64, notes: &mut Notes) -> Result<Reckoned, Refused> {
    let a = side("form.diameter_mm", diameter_mm)? / 20.0;
    let h = side("form.depth_mm", depth_mm)? / 10.0;
    low_enough(bare, 10.0 * h)?;
    if h > a {
        notes.warnings.push(
            "Bowl deeper than half a ball: taken to close in towards the rim; if its wall goes straight up, give a profile"
                .to_owned(),
        );
    }
    let whole = PI * (a * a + h * h);
    // Archimedes: a zone of a sphere has 2 pi R times its height, whatever its place.
    let ball = (a * a + h * h) / (2.0 * h);
    let band = 2.0 * PI * ball * bare / 10.0;
    let mut working = format!("part of a sphere: pi x (({a} cm)^2 + ({h} cm)^2)");
    if bare > 0.0 {
        working += &format!(" - bare band 2 pi x {ball:.5} cm x {} cm", bare / 10.0);
    }
    Ok(Reckoned {
        cm2: whole - band,
        whole_cm2: whole,
        ml: Some(PI * h * (3.0 * a * a + h * h) / 6.0),
        working,
        field: "form.diameter_mm",
    })
}

/// A straight wall around a floor, cm, each with its working.
fn upright(around: (f64, &str), floor: (f64, &str), height: f64, bare: f64) -> Reckoned {
    let ((around, how_around), (floor, how_floor)) = (around, floor);
    let wall = height - bare / 10.0;
    Reckoned {
        cm2: around * wall + floor,
        whole_cm2: around * height + floor,
        ml: Some(floor * height),
        working: format!("wall {how_around} x {wall:.4} cm + floor {how_floor}"),
        field: "form.width_mm",
    }
}

fn square(width: f64, length: f64, height_mm: f64, corner_mm: f64, bare: f64) -> Result<Reckoned, Refused> {
    let (a, b) = (width / 10.0, length / 10.0);
    let h = side("form.height_mm", height_mm)? / 10.0;
    low_enough(bare, 10.0 * h)?;
    let c = rounded(corner_mm, width.min(length) / 2.0)? / 10.0;
    let around = 2.0 * (a + b) - (8.0 - 2.0 * PI) * c;
    let floor = a * b - (4.0 - PI) * c * c;
    let (how_around, how_floor) = if c > 0.0 {
        (
            format!("(2 x ({a} cm + {b} cm) - (8 - 2 pi) x {c} cm)"),
            format!("({a} cm x {b} cm - (4 - pi) x ({c} cm)^2)"),
        )
    } else {
        (format!("2 x ({a} cm + {b} cm)"), format!("{a} cm x {b} cm"))
    };
    Ok(upright((around, &how_around), (floor, &how_floor), h, bare))
}

fn oval(length_mm: f64, width_mm: f64, height_mm: f64, bare: f64) -> Result<Reckoned, Refused> {
    let a = side("form.length_mm", length_mm)? / 20.0;
    let b = side("form.width_mm", width_mm)? / 20.0;
    let h = side("form.height_mm", height_mm)? / 10.0;
    low_enough(bare, 10.0 * h)?;
    let around = ellipse_around(a, b);
    let how_around = format!("{around:.4} cm around the ellipse");
    Ok(upright((around, &how_around), (PI * a * b, &format!("pi x {a} cm x {b} cm")), h, bare))
}

/// Length around an ellipse of these half widths, by the arithmetic-geometric mean: 2 pi (a^2 - sum of
/// 2^(n-1) c_n^2) / agm(a, b), n from 0, c_0^2 = a^2 - b^2 (NIST Digital Library of Mathematical Functions,
/// 19.8.6; from memory). Each step doubles the digits: eight are more than enough.
pub fn ellipse_around(half_a: f64, half_b: f64) -> f64 {
    let (mut a, mut b) = (half_a.max(half_b), half_a.min(half_b));
    let mut sum = a * a - (a * a - b * b) / 2.0;
    let mut weight = 0.5;
    for _ in 0..8 {
        weight *= 2.0;
        let c = (a - b) / 2.0;
        (a, b) = ((a + b) / 2.0, (a * b).sqrt());
        sum -= weight * c * c;
    }
    2.0 * PI * sum / a
}
