//! What is to be said of a calibration: too coarse, a load that does not fit, what was not tried. Only says; `report` reckons.

use super::fitness::{Fitness, USABLE};
use super::report::{Load, Report};
use super::request::CalibrationRequest;
use super::statistics::sample_sd;
use super::uncertainty::LEAST_SPREAD;
use crate::units::shown::{Shown, WeightIn};

/// What a bare piece weighs where nothing else is known, g (a mug: common practice, no source).
pub(super) const PIECE_G: f64 = 300.0;
/// From a cup's lid to the largest bowl (own choice).
pub(super) const PIECES_G: (f64, f64) = (10.0, 20_000.0);
/// The warm-up is gone on from after so many rounds, steady or not (own choice: half an hour of warm-up is usual, from
/// memory).
pub const MOST_ROUNDS: u32 = 30;
/// A residual of so many times its expanded uncertainty (k = 2) is not by chance: three standard uncertainties, the action
/// limit of a control chart. At once U itself one right load in twenty would be called wrong, and there are many in a series.
const UNLIKELY: f64 = 1.5;

/// What is to be said of it, first what keeps it from being gone by.
pub(super) fn warnings(request: &CalibrationRequest, found: &Report, shown: Shown) -> Vec<String> {
    let told = |g: f64, decimals| shown.weight(g, decimals);
    let misfit = found.misfit_g.and_then(|g| misfit_said(found, g, shown));
    let mut warnings: Vec<String> = misfit.into_iter().collect();
    let expanded_g = 2.0 * found.net_u_g;
    match found.fitness {
        Fitness::Good => {}
        Fitness::Usable => warnings
            .push(format!("Usable: verdicts nearer to a limit than {} are uncertain", told(expanded_g, 2))),
        Fitness::TooCoarse => warnings.push(format!(
            "Too coarse for plus or minus {} at {}: widen the tolerance to {}, or use a finer scale",
            told(found.pour_g.1, 2),
            told(found.pour_g.0, 1),
            told(expanded_g / USABLE, 2)
        )),
    }
    if found.unrepeated {
        warnings.push(format!(
            "No load was set down twice: the spread is taken as {LEAST_SPREAD} of a step; set one down ten times"
        ));
    } else if request.repeat.as_ref().is_none_or(|r| sample_sd(&r.readings_g).is_none()) {
        warnings.push("The spread comes from the points alone: set one load down ten times".to_owned());
    }
    if found.eccentric_g.is_none() {
        warnings
            .push("Off the centre was not tried: the pan's corners are taken to be as its middle".to_owned());
    }
    if request.zero_return_g.is_some_and(|g| g.abs() > found.known.division_g) {
        warnings.push("After minutes under load the bare pan did not come back to its zero: tare shortly before each pour".to_owned());
    }
    warnings.extend(left_out(request));
    if found.bend_per_g != 0.0 {
        warnings.push("The error bends with the load: the correction bends with it".to_owned());
    }
    let largest_g = found.loads.iter().map(|l| l.load_g).fold(0.0, f64::max);
    let reach_g = reach_g(request, found.pour_g.0);
    if largest_g < reach_g {
        let whose = if request.piece_g.is_some() { "by those of late" } else { "taken as" };
        warnings.push(format!(
            "No mass was as heavy as a piece with its pour ({whose} {}): the greatest was {}. \
             Above that the line is only carried on: add a heavier mass",
            told(reach_g, 0),
            told(largest_g, 1)
        ));
    }
    warnings
}

/// What was not waited for, and what no budget holds.
fn left_out(request: &CalibrationRequest) -> impl Iterator<Item = String> {
    let restless = request.warm_up_rounds.filter(|rounds| *rounds >= MOST_ROUNDS).map(|rounds| {
        format!(
            "The warm-up was left after {rounds} rounds with zero or span still moving: leave the scale on for an hour, \
             away from sun and draughts, and calibrate again"
        )
    });
    let drift = request.drift_share.is_none().then(|| {
        "Drift between calibrations is not included: too few checks of this scale are known; check it daily".to_owned()
    });
    restless.into_iter().chain(drift)
}

/// What stands on the scale at the end of the pour, g.
pub(super) fn reach_g(request: &CalibrationRequest, net_g: f64) -> f64 {
    request.piece_g.unwrap_or(PIECE_G) + net_g
}

fn misfit_said(found: &Report, load_g: f64, shown: Shown) -> Option<String> {
    let load = found.loads.iter().filter(|l| l.load_g == load_g).max_by(|a, b| off(a).total_cmp(&off(b)))?;
    let of = match shown.weight {
        // As it is marked.
        WeightIn::Gram => format!("{load_g} g"),
        WeightIn::Ounce => shown.weight(load_g, 2),
    };
    Some(format!(
        "{of} does not fit: the correction leaves {} {} there, and {} can be by chance. It is kept, not gone by \
         unasked: see that this mass is what it is taken for, and that nothing touches the pan, then calibrate again",
        shown.signed(load.residual_g, 2),
        shown.weight.word(),
        shown.weight(UNLIKELY * load.expanded_g, 2)
    ))
}

/// How far off the correction it lies, in its own expanded uncertainty.
fn off(load: &Load) -> f64 {
    load.residual_g.abs() / load.expanded_g.max(f64::MIN_POSITIVE)
}

/// The load that lies furthest off the correction, where that is not by chance.
pub(super) fn misfit(loads: &[Load]) -> Option<f64> {
    let worst = loads.iter().max_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(worst) > UNLIKELY).then_some(worst.load_g)
}
