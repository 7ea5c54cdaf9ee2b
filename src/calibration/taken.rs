//! What was read beside and at the points: judged by its limits, and taken together to spread, corners and hysteresis.

use super::request::{CalibrationRequest, PointRequest, RepeatRequest};
use super::statistics::{mean, squares_about_mean};
use super::told::within;
use super::warnings::{PIECE_G, PIECES_G};
use crate::batch::Refused;

/// More than this no bench scale carries, g.
pub(super) const MOST_G: f64 = 100_000.0;
/// Points, and readings of each, of more than a long morning (own choice).
pub(super) const MOST: usize = 1000;
/// A scale further off than this is not a matter of correcting (own choice): another mass lies there, or it is broken.
pub(super) const FAR_OFF: f64 = 0.1;
/// A load of fewer steps tells nothing of a scale (as the guided routine has it; own choice).
pub(super) const LEAST_STEPS: f64 = 10.0;

/// What is told beside the readings: a scale that wanders by more than a tenth of the largest load is broken.
pub(super) fn beside(request: &CalibrationRequest, far_g: f64) -> Result<(), Refused> {
    within("zero_return_g", request.zero_return_g.unwrap_or(0.0), (-far_g, far_g))?;
    within("creep_g", request.creep_g.unwrap_or(0.0), (0.0, far_g))?;
    within("drift_share", request.drift_share.unwrap_or(0.0), (0.0, FAR_OFF))?;
    within("piece_g", request.piece_g.unwrap_or(PIECE_G), PIECES_G)?;
    within("warm_up_rounds", f64::from(request.warm_up_rounds.unwrap_or(1)), (1.0, MOST as f64)).map(drop)
}

pub(super) fn readings(field: &str, readings: &[f64]) -> Result<(), Refused> {
    if readings.is_empty() || readings.len() > MOST {
        let why = format!("has {} readings: give 1 to {MOST}", readings.len());
        return Err(Refused::new(field, why));
    }
    readings.iter().try_for_each(|r| within(field, *r, (-MOST_G, MOST_G)).map(drop))
}

/// One load set down again and again: more than a step, at least twice, and what it is told to be.
pub(super) fn placements(repeat: &RepeatRequest, division_g: f64, zero_g: f64) -> Result<(), Refused> {
    within("repeat.load_g", repeat.load_g, (division_g, MOST_G))?;
    readings("repeat.readings_g", &repeat.readings_g)?;
    within("repeat.u_mass_g", repeat.u_mass_g.unwrap_or(0.0), (0.0, FAR_OFF * repeat.load_g))?;
    if repeat.readings_g.len() < 2 {
        let why =
            "has 1 reading: a spread needs at least two placements, ten are usual; else leave repeat out";
        return Err(Refused::new("repeat.readings_g", why));
    }
    near("repeat.readings_g", &repeat.readings_g, zero_g + repeat.load_g, FAR_OFF * repeat.load_g)
}

/// Readings that are told beside a load which they can't be of.
fn near(field: &str, all: &[f64], wanted_g: f64, within_g: f64) -> Result<(), Refused> {
    let Some(odd) = all.iter().find(|r| (*r - wanted_g).abs() > within_g) else { return Ok(()) };
    let why =
        format!("{odd} g is no reading of {wanted_g} g: see which load was meant, and the decimal point");
    Err(Refused::new(field, why))
}

pub(super) fn repeatability(request: &CalibrationRequest, zero_g: f64) -> Result<Option<f64>, Refused> {
    let mut groups: Vec<Vec<f64>> = Vec::new();
    // The bare pan against itself says nothing of how a load is set down.
    for p in request.points.iter().filter(|p| p.nominal_g > 0.0 || p.base_readings_g.is_none()) {
        let base = p.base_readings_g.as_ref();
        // A difference of two readings scatters by both: half of its variance each.
        let nets = p.readings_g.iter().enumerate().map(|(n, r)| match base.and_then(|b| b.get(n)) {
            Some(b) => (r - b) / 2.0_f64.sqrt(),
            None => *r,
        });
        groups.push(nets.collect());
    }
    if let Some(repeat) = &request.repeat {
        placements(repeat, request.division_g, zero_g)?;
        groups.push(repeat.readings_g.clone());
    }
    let spread: Vec<&Vec<f64>> = groups.iter().filter(|g| g.len() >= 2).collect();
    let freedom: usize = spread.iter().map(|g| g.len() - 1).sum();
    let squares: f64 = spread.iter().map(|g| squares_about_mean(g)).sum();
    Ok((freedom > 0).then(|| (squares / freedom as f64).sqrt()))
}

/// Greatest difference off the centre, and the load, g.
pub(super) fn eccentric(request: &CalibrationRequest) -> Result<Option<(f64, f64)>, Refused> {
    let Some(corners) = &request.corners else { return Ok(None) };
    // Below so much the digit alone makes a corner of a thousandth.
    let least_g = LEAST_STEPS * request.division_g;
    let centre_g = within("corners.centre_g", corners.centre_g, (least_g, MOST_G))?;
    if corners.readings_g.len() != 4 {
        let why = format!("has {} readings: give four, one towards each corner", corners.readings_g.len());
        return Err(Refused::new("corners.readings_g", why));
    }
    readings("corners.readings_g", &corners.readings_g)?;
    near("corners.readings_g", &corners.readings_g, centre_g, FAR_OFF * centre_g)?;
    let off_g = corners.readings_g.iter().map(|r| (r - centre_g).abs()).fold(0.0, f64::max);
    Ok(Some((off_g, centre_g)))
}

/// Greatest difference of the mean readings up and down at one load.
pub(super) fn hysteresis(points: &[PointRequest]) -> Option<f64> {
    let going = |way: &'static str| points.iter().filter(move |p| p.direction.as_deref() == Some(way));
    let both = going("up")
        .flat_map(|up| going("down").filter(|d| d.nominal_g == up.nominal_g).map(move |d| (up, d)));
    // A zero that wandered in between is none of the load's.
    let net_g = |p: &PointRequest| mean(&p.readings_g) - p.base_readings_g.as_deref().map_or(0.0, mean);
    both.map(|(up, down)| (net_g(down) - net_g(up)).abs()).reduce(f64::max)
}
