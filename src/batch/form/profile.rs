//! The inside as points up the wall: rings between them.
//!
//! Never has more than one radius at a height, but for flat steps.

use super::super::bounds::{Notes, Refused, within};
use super::{LARGEST_MM, MOST_POINTS};
use crate::units::{Area, Length, Volume};
use std::f64::consts::PI;

const FIELD: &str = "form.points_mm";

/// The points, where they can be the inside of a piece.
pub(super) fn checked<'a>(points_mm: &'a [[f64; 2]], notes: &mut Notes) -> Result<&'a [[f64; 2]], Refused> {
    if points_mm.len() < 2 || points_mm.len() > MOST_POINTS {
        let reason =
            format!("has {} points; give 2 to {MOST_POINTS} pairs of [height, radius]", points_mm.len());
        return Err(Refused::new(FIELD, reason));
    }
    let mut below = f64::NEG_INFINITY;
    for (n, [height, radius]) in points_mm.iter().enumerate() {
        within(&format!("{FIELD}[{n}][0]"), *height, 0.0, LARGEST_MM, "mm of height")?;
        within(&format!("{FIELD}[{n}][1]"), *radius, 0.0, LARGEST_MM / 2.0, "mm of radius")?;
        if *height < below {
            let reason = format!(
                "height {height} mm is below the point before ({below} mm), so that the profile would cross itself; \
                 list points upwards, height first"
            );
            return Err(Refused::new(format!("{FIELD}[{n}][0]"), reason));
        }
        below = *height;
    }
    folded(points_mm)?;
    if points_mm[0][0] >= below {
        let reason = format!(
            "all points lie at height {below} mm, so there is no wall; is each pair [height, radius] in that order?"
        );
        return Err(Refused::new(FIELD, reason));
    }
    if points_mm[0][1] > 0.0 {
        notes.warnings.push(
            "The profile starts off the axis, so it has no floor; start it at radius 0 to count one"
                .to_owned(),
        );
    }
    Ok(points_mm)
}

/// A flat step that runs back over itself counts an area twice.
fn folded(points_mm: &[[f64; 2]]) -> Result<(), Refused> {
    for (n, three) in points_mm.windows(3).enumerate() {
        let flat = three[0][0] == three[2][0];
        let turned = (three[1][1] - three[0][1]) * (three[2][1] - three[1][1]) < 0.0;
        if flat && turned {
            let reason = format!(
                "radius {} mm runs back over the flat step before it, so that the profile crosses itself; leave one of \
                 the points out, or give its height",
                three[2][1]
            );
            return Err(Refused::new(format!("{FIELD}[{}][1]", n + 2), reason));
        }
    }
    Ok(())
}

/// The profile without its top `bare_mm` of height; a ledge where the band begins stays bare with it.
pub(super) fn below_rim(points_mm: &[[f64; 2]], bare_mm: f64) -> Vec<[f64; 2]> {
    if bare_mm <= 0.0 {
        return points_mm.to_vec();
    }
    let rim = points_mm.last().map_or(0.0, |top| top[0]) - bare_mm;
    let mut kept: Vec<[f64; 2]> = points_mm.iter().copied().take_while(|point| point[0] < rim).collect();
    if let (Some(last), Some(next)) = (kept.last().copied(), points_mm.get(kept.len())) {
        let share = (rim - last[0]) / (next[0] - last[0]);
        kept.push([rim, last[1] + share * (next[1] - last[1])]);
    }
    kept
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

/// Volume within a polyline of `[height, radius]` in mm: a sum of frusta.
pub fn profile_volume(points_mm: &[[f64; 2]]) -> Volume {
    let slice = |pair: &[[f64; 2]]| match pair {
        [[h1, r1], [h2, r2]] => {
            frustum_volume(Length::saturating(*r1), Length::saturating(*r2), Length::saturating(h2 - h1)).ml()
        }
        _ => 0.0,
    };
    Volume::saturating(points_mm.windows(2).map(slice).sum())
}

/// Area of a slanting wall between two radii, without ends: pi (r1 + r2) slant.
pub fn frustum_area(r1: Length, r2: Length, height: Length) -> Area {
    let slant = (r2 - r1).mm().hypot(height.mm());
    Area::saturating(PI * (r1 + r2).mm() * slant / 100.0)
}

/// Volume between two radii: pi h (r1^2 + r1 r2 + r2^2) / 3.
pub fn frustum_volume(r1: Length, r2: Length, height: Length) -> Volume {
    let (a, b) = (r1.mm(), r2.mm());
    Volume::saturating(PI * height.mm() * (a * a + a * b + b * b) / 3000.0)
}
