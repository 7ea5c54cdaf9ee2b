//! From readings of reference masses to a correction, its uncertainty and a plain verdict.

use super::correction::Correction;
use super::fit::{Fit, Point, Shape, fit};
use super::fitness::{Fitness, GOOD, class_iii_limit_g, fitness};
use super::reference::{Reference, looks_like_g};
use super::request::{CalibrationRequest, PointRequest};
use super::statistics::mean;
use super::taken::{FAR_OFF, MOST, MOST_G, beside, eccentric, hysteresis, readings, repeatability};
use super::told::{pour, within};
use super::uncertainty::{Known, Term, combined_g};
use super::warnings::{misfit, reach_g, warnings};
use crate::batch::Refused;
use crate::units::shown::Shown;

/// Limits of a display's step, g: from a fine laboratory scale to one that can't guide a bowl.
const DIVISION_G: (f64, f64) = (0.0001, 10.0);
/// A bend is told from chance by this many of its standard deviations (Student's t of three degrees of freedom, 5 percent,
/// two-sided: 3.18).
const BEND_SIGMAS: f64 = 3.2;
/// ... and with at least so many points more than a curve needs.
const BEND_FREEDOM: usize = 3;
/// Masses that agree to this share are one and the same (far below what any limit of error is told to).
const SAME: f64 = 1e-6;
/// USP <41>: the smallest net weight is 2000 standard deviations, for 0.10 percent (2019 text, quoted in a forum).
const USP: f64 = 2000.0;

/// One load as it came out.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// What the mass is worth, g.
    pub load_g: f64,
    /// What the scale showed of it, without the pan or the piece beneath, less that, g.
    pub error_g: f64,
    /// What is left of it after the correction, g.
    pub residual_g: f64,
    /// Expanded uncertainty of that error (k = 2), g.
    pub expanded_g: f64,
    /// Limit of error of class III at initial verification with this step (OIML R 76), g: a yardstick only.
    pub limit_g: f64,
    /// Standard uncertainty of the mass itself, g.
    pub u_mass_g: f64,
    /// Standard uncertainty of its mean reading by digit and spread alone, g.
    pub u_read_g: f64,
}

/// A scale as it was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// corrected = offset + slope x indicated + bend x indicated^2, g.
    pub offset_g: f64,
    /// See there.
    pub slope: f64,
    /// Per g; 0 unless the points show it beyond chance and it matters.
    pub bend_per_g: f64,
    /// What the scale showed of the largest load, g: above it a bend goes on as its tangent.
    pub bends_to_g: f64,
    /// What the bare pan showed, g; 0 where each load was told with what stood there before.
    pub zero_g: f64,
    /// Each point.
    pub loads: Vec<Load>,
    /// The load that was set down several times, as a point of its own that the line was not laid through.
    pub placed: Option<Load>,
    /// Standard deviation of placements, g.
    pub repeatability_g: f64,
    /// Greatest difference between going up and down at one load, g; `None` where no load was met both ways.
    pub hysteresis_g: Option<f64>,
    /// Greatest difference off the centre, g.
    pub eccentric_g: Option<f64>,
    /// The pour it is judged for, and how far that may be off, g.
    pub pour_g: (f64, f64),
    /// Terms of that pour's weight.
    pub budget: Vec<Term>,
    /// Standard uncertainty of that pour's weight, g.
    pub net_u_g: f64,
    /// Smallest pour of which this scale is good, with the same share of tolerance; `None`: of none.
    pub smallest_g: Option<f64>,
    /// Smallest net weight by the rule of USP <41>, for 0.10 percent.
    pub usp_smallest_g: f64,
    /// The load that lies furthest off the correction, beyond what can be by chance; none: all fit.
    pub misfit_g: Option<f64>,
    /// Whether it will do.
    pub fitness: Fitness,
    /// No load was set down twice.
    pub unrepeated: bool,
    /// What is to be said of it, with weights in grams.
    pub warnings: Vec<String>,
    /// What is known of the scale by it.
    pub known: Known,
}

impl Report {
    /// What sets this scale right.
    pub fn correction(&self) -> Correction {
        let bends_to_g = if self.bend_per_g == 0.0 { f64::MAX } else { self.bends_to_g };
        Correction { offset_g: self.offset_g, slope: self.slope, bend_per_g: self.bend_per_g, bends_to_g }
    }

    /// What is to be said of it in these units, each weight rounded once: a sentence in grams told anew would round twice.
    pub fn warnings_in(&self, request: &CalibrationRequest, shown: Shown) -> Vec<String> {
        warnings(request, self, shown)
    }

    /// Whether the scale goes by it without being asked: it is fine enough, and every load fits.
    pub fn goes_unasked(&self) -> bool {
        self.fitness != Fitness::TooCoarse && self.misfit_g.is_none()
    }

    /// What the scale, corrected, made of this very mass beyond what it is worth, g, and the standard uncertainty of that by
    /// readings alone: the mass's own error is in it, whatever it is. `None` where it was not among the masses.
    pub fn made_of(&self, mass: Reference) -> Option<(f64, f64)> {
        let alike = |a: f64, b: f64| (a - b).abs() <= SAME * a.abs().max(b.abs());
        let its = |l: &&Load| alike(l.load_g, mass.mass_g) && alike(l.u_mass_g, mass.u_g);
        let surest = |a: &&Load, b: &&Load| a.u_read_g.total_cmp(&b.u_read_g);
        let best = self.loads.iter().chain(&self.placed).filter(its).min_by(surest)?;
        Some((-best.residual_g - self.corrected_g(self.zero_g), best.u_read_g))
    }

    /// A weight as it is, g.
    pub fn corrected_g(&self, indicated_g: f64) -> f64 {
        self.correction().of_g(indicated_g)
    }
}

/// One point, taken together.
struct Taken {
    reference: Reference,
    /// Mean of what the mass alone made the scale show, g.
    shown_g: f64,
    /// How often it was set down.
    n: usize,
    /// It stood on something: two readings each.
    based: bool,
}

/// What comes of the readings.
///
/// # Errors
/// What can't be used, by its field, with what to try.
pub fn report(request: &CalibrationRequest) -> Result<Report, Refused> {
    let division_g = within("division_g", request.division_g, DIVISION_G)?;
    let taken = points(&request.points)?;
    seen(&taken, division_g)?;
    let zero_g = zero(&taken);
    let repeatability_g = repeatability(request, zero_g)?;
    let eccentric = eccentric(request)?;
    beside(request, FAR_OFF * heaviest_g(&taken))?;
    let known = Known {
        division_g,
        repeatability_g: repeatability_g.unwrap_or(0.0),
        eccentric_share: eccentric.map_or(0.0, |(off_g, centre_g)| off_g / centre_g),
        creep_g: request.creep_g.unwrap_or(0.0),
        drift_share: request.drift_share.unwrap_or(0.0),
        u_slope: 0.0,
    };
    right_masses(&taken, zero_g)?;
    let pour_g = pour(request.net_g, request.tolerance_g)?;
    let fitted = fitted(&taken, &known, zero_g, reach_g(request, pour_g.0))?;
    let bends_to_g = taken.iter().map(|t| indicated_g(t, zero_g)).fold(0.0, f64::max);
    upright(&fitted, bends_to_g)?;
    let known = Known { u_slope: u_slope(&fitted, &taken), ..known };
    let budget = known.net(pour_g.0);
    let net_u_g = combined_g(&budget);
    let loads = loads(&taken, &fitted, &known, zero_g);
    let mut found = Report {
        offset_g: fitted.coefficients[0],
        slope: fitted.coefficients[1],
        bend_per_g: fitted.coefficients[2],
        bends_to_g,
        zero_g,
        misfit_g: misfit(&loads),
        placed: placed(request, &taken, &fitted, &known, zero_g),
        loads,
        repeatability_g: known.repeatability_g,
        hysteresis_g: hysteresis(&request.points),
        eccentric_g: eccentric.map(|(off_g, _)| off_g),
        pour_g,
        net_u_g,
        smallest_g: smallest(&known, pour_g),
        usp_smallest_g: USP * known.spread_g(),
        fitness: fitness(net_u_g, pour_g.1),
        unrepeated: repeatability_g.is_none(),
        warnings: Vec::new(),
        budget,
        known,
    };
    found.warnings = found.warnings_in(request, Shown::default());
    Ok(found)
}

fn heaviest_g(taken: &[Taken]) -> f64 {
    taken.iter().map(|t| t.reference.mass_g).fold(0.0, f64::max)
}

/// Each mass is a step of the display at least.
fn seen(taken: &[Taken], division_g: f64) -> Result<(), Refused> {
    let unseen = |t: &Taken| t.reference.mass_g > 0.0 && t.reference.mass_g < division_g;
    let Some(n) = taken.iter().position(unseen) else { return Ok(()) };
    let why = format!(
        "is less than one step of the display ({division_g} g): no scale sees it; check the decimal point"
    );
    Err(Refused::new(format!("points[{n}].nominal_g"), why))
}

fn points(all: &[PointRequest]) -> Result<Vec<Taken>, Refused> {
    if all.len() < 2 || all.len() > MOST {
        let why = format!("has {} points: give at least two, the bare pan (0 g) and a mass", all.len());
        return Err(Refused::new("points", why));
    }
    let taken: Vec<Taken> = all.iter().enumerate().map(|(n, p)| point(p, n)).collect::<Result<_, _>>()?;
    let least = taken.iter().map(|t| t.reference.mass_g).fold(f64::INFINITY, f64::min);
    let most = taken.iter().map(|t| t.reference.mass_g).fold(f64::NEG_INFINITY, f64::max);
    // Without another load a line may lie anyhow.
    if most - least <= 0.0 {
        return Err(Refused::new(
            "points",
            "all have one load: give the bare pan (0 g) and a mass, or two masses",
        ));
    }
    Ok(taken)
}

fn point(p: &PointRequest, n: usize) -> Result<Taken, Refused> {
    let at = format!("points[{n}]");
    within(&format!("{at}.nominal_g"), p.nominal_g, (0.0, MOST_G))?;
    readings(&format!("{at}.readings_g"), &p.readings_g)?;
    let base_g = match &p.base_readings_g {
        None => 0.0,
        Some(base) if base.len() == p.readings_g.len() => {
            readings(&format!("{at}.base_readings_g"), base)?;
            mean(base)
        }
        Some(base) => {
            let why = format!("{} for {} readings: give one for each", base.len(), p.readings_g.len());
            return Err(Refused::new(format!("{at}.base_readings_g"), why));
        }
    };
    if let Some(odd) = p.direction.as_deref().filter(|d| !["up", "down"].contains(d)) {
        return Err(Refused::new(format!("{at}.direction"), format!("'{odd}' is neither up nor down")));
    }
    let reference = Reference::of(p, &at)?;
    let shown_g = mean(&p.readings_g) - base_g;
    Ok(Taken { reference, shown_g, n: p.readings_g.len(), based: p.base_readings_g.is_some() })
}

/// Another mass than was told is set down now and then.
fn right_masses(taken: &[Taken], zero_g: f64) -> Result<(), Refused> {
    for (n, t) in taken.iter().enumerate() {
        let (mass_g, shown_g) = (t.reference.mass_g, indicated_g(t, zero_g) - zero_g);
        if mass_g > 0.0 && (shown_g - mass_g).abs() > FAR_OFF * mass_g {
            let looks = looks_like_g(shown_g).map_or(String::new(), |g| format!(": that looks like {g} g"));
            let why =
                format!("shows {shown_g:.2} g of {mass_g} g{looks}; take the right mass, or begin again");
            return Err(Refused::new(format!("points[{n}].readings_g"), why));
        }
    }
    Ok(())
}

/// What the bare pan showed; 0 where it was not asked.
fn zero(taken: &[Taken]) -> f64 {
    let bare: Vec<f64> =
        taken.iter().filter(|t| t.reference.mass_g == 0.0 && !t.based).map(|t| t.shown_g).collect();
    if bare.is_empty() { 0.0 } else { mean(&bare) }
}

/// Where the scale stood with this mass alone on it.
fn indicated_g(t: &Taken, zero_g: f64) -> f64 {
    if t.based { zero_g + t.shown_g } else { t.shown_g }
}

/// Variance of a mean reading, g2. The digit does not average out, so that even the bare pan has one.
fn reading_g2(t: &Taken, known: &Known) -> f64 {
    let each = if t.based { 2.0 } else { 1.0 };
    each * (known.spread_g().powi(2) / t.n as f64 + known.digit_g().powi(2))
}

/// What lets a scale show more or less than a mass by `FAR_OFF` lets it grow so much more or less for each gram; close loads
/// with one wrong reading make a line that lies down, or falls.
fn upright(fitted: &Fit, most_g: f64) -> Result<(), Refused> {
    let [_, slope, bend] = fitted.coefficients;
    let odd = |slope: &f64| *slope <= 0.0 || (1.0 / slope - 1.0).abs() > FAR_OFF + f64::EPSILON;
    let Some(odd) = [slope, slope + 2.0 * bend * most_g].into_iter().find(odd) else { return Ok(()) };
    let why = format!(
        "would correct by {odd:.3} g for each gram shown, which no scale in order needs: see that each reading stands with \
         its mass, and give loads further apart, such as the bare pan (0 g) and 200 g"
    );
    Err(Refused::new("points", why))
}

/// The line; or the curve, where it earns its place and the points reach as far as it is needed: up to `reach_g`.
fn fitted(taken: &[Taken], known: &Known, zero_g: f64, reach_g: f64) -> Result<Fit, Refused> {
    let point = |t: &Taken| Point {
        x: indicated_g(t, zero_g),
        y: t.reference.mass_g,
        weight: 1.0 / (reading_g2(t, known) + t.reference.u_g.powi(2)),
    };
    let points: Vec<Point> = taken.iter().map(point).collect();
    let line = fit(&points, Shape::Line).ok_or_else(|| {
        Refused::new(
            "points",
            "the scale showed the same for different masses: is it on hold, or overloaded?",
        )
    })?;
    if heaviest_g(taken) < reach_g {
        return Ok(line);
    }
    let Some(bend) = fit(&points, Shape::Bend).filter(|b| b.freedom >= BEND_FREEDOM) else { return Ok(line) };
    let moved_g = points.iter().map(|p| (bend.at(p.x) - line.at(p.x)).abs()).fold(0.0, f64::max);
    // By what the readings are known to scatter, and by what they did.
    let sd = bend.unit_sd(2).max(bend.sd(2));
    let earned = bend.coefficients[2].abs() > BEND_SIGMAS * sd && moved_g > 0.5 * known.division_g;
    Ok(if earned { bend } else { line })
}

/// By the readings, and by their own scatter about the fit where that is more; and by the masses, whose errors may be alike.
fn u_slope(fitted: &Fit, taken: &[Taken]) -> f64 {
    let largest = taken.iter().map(|t| &t.reference).max_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
    let of_masses = largest.map_or(0.0, |r| r.u_g / r.mass_g.max(f64::MIN_POSITIVE));
    fitted.unit_sd(1).max(fitted.sd(1)).hypot(of_masses)
}

/// The net weight from which on U is at most a third of its tolerance: u^2 = a^2 + b^2 net^2 against (share net / 6)^2.
fn smallest(known: &Known, (net_g, tolerance_g): (f64, f64)) -> Option<f64> {
    let at_zero = combined_g(&known.net(0.0));
    let of_net = (combined_g(&known.net(net_g)).powi(2) - at_zero.powi(2)).max(0.0).sqrt() / net_g;
    let room = (GOOD * tolerance_g / net_g / 2.0).powi(2) - of_net.powi(2);
    (room > 0.0).then(|| at_zero / room.sqrt())
}

/// The load of the placements: told by its mass alone, so that how well that is known is looked up among the points; where
/// it stands there only with others, its share of them.
fn placed(
    request: &CalibrationRequest,
    taken: &[Taken],
    fitted: &Fit,
    known: &Known,
    zero_g: f64,
) -> Option<Load> {
    let repeat = request.repeat.as_ref()?;
    let u_g = repeat.u_mass_g.or_else(|| {
        let same = |t: &&Taken| (t.reference.mass_g - repeat.load_g).abs() <= SAME * repeat.load_g;
        taken.iter().find(same).map(|t| t.reference.u_g)
    })?;
    let reference = Reference { mass_g: repeat.load_g, u_g };
    // Each stood on a bare pan.
    let shown_g = mean(&repeat.readings_g) - zero_g;
    let t = Taken { reference, shown_g, n: repeat.readings_g.len(), based: true };
    loads(&[t], fitted, known, zero_g).pop()
}

fn loads(taken: &[Taken], fitted: &Fit, known: &Known, zero_g: f64) -> Vec<Load> {
    let each = |t: &Taken| {
        let (mass_g, shown_g) = (t.reference.mass_g, indicated_g(t, zero_g));
        Load {
            load_g: mass_g,
            error_g: shown_g - zero_g - mass_g,
            residual_g: mass_g - fitted.at(shown_g),
            expanded_g: 2.0 * combined_g(&known.load(mass_g, t.reference.u_g)),
            limit_g: class_iii_limit_g(mass_g, known.division_g),
            u_mass_g: t.reference.u_g,
            u_read_g: reading_g2(t, known).sqrt(),
        }
    };
    taken.iter().map(each).collect()
}
