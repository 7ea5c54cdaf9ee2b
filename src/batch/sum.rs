//! Bucket, form and coat put together into a target.
//!
//! Never looks at a scale: the uncertainty of weighing is added by whoever knows it.

use super::bounds::{Notes, Refused, within};
use super::coat::Coat;
use super::form::Form;
use super::request::{TargetRequest, ToleranceRequest};
use super::slurry::{Slurry, water_density};
use super::steps::Step;
use crate::units::{Area, Density, Length, Mass};

/// Least and greatest target, g: below half a gram no bench scale guides a hand,
/// above five kilograms none is in reach.
const TARGET_G: (f64, f64) = (0.5, 5000.0);

/// What each piece should get, and how that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Wanted net mass of slop; positive.
    pub target: Mass,
    /// Least good mass; positive.
    pub low: Mass,
    /// Greatest good mass.
    pub high: Mass,
    /// Plus or minus, as told or taken.
    pub tolerance: ToleranceRequest,
    /// Dry share of the slop.
    pub solids_fraction: Option<f64>,
    /// Dry powder in the target.
    pub dry: Option<Mass>,
    /// Water in the target.
    pub water: Option<Mass>,
    /// Inside area.
    pub area: Option<Area>,
    /// Density of the slop.
    pub slop_density: Option<Density>,
    /// Thickness of the slop spread evenly.
    pub wet_film: Option<Length>,
    /// Standard uncertainty shared by all pieces: bucket and area, not the wanted coat itself.
    pub standard_uncertainty: Option<Mass>,
    /// Standard uncertainty of one weighing, set by whoever knows the scale.
    pub piece_uncertainty: Option<Mass>,
    /// What looks odd, in plain words.
    pub warnings: Vec<String>,
    /// Values taken because none was given, by name.
    pub assumed: Vec<(String, f64)>,
    /// The working, in order.
    pub steps: Vec<Step>,
}

impl Target {
    /// From which mass to which another target is good with this one's tolerance; `None` where that leaves no room or no
    /// hand pours it.
    pub fn limits_of(&self, target: Mass) -> Option<(Mass, Mass)> {
        let half_g = match self.tolerance {
            ToleranceRequest::Percent(percent) => target.g() * percent / 100.0,
            ToleranceRequest::Grams(grams) => grams,
        };
        let half = Mass::saturating(half_g);
        let fits = (TARGET_G.0..=TARGET_G.1).contains(&target.g()) && half_g < target.g();
        let (low, high) = (target - half, target + half);
        (fits && low < target && target < high).then_some((low, high))
    }
}

/// The target for a request, or which input stands in its way.
pub fn target(request: &TargetRequest) -> Result<Target, Refused> {
    let mut notes = Notes::default();
    let water = water(request.water_c, &mut notes)?;
    let slurry = request.glaze.as_ref().map(|g| Slurry::parse(g, request, water, &mut notes)).transpose()?;
    let form = request.form.as_ref().map(|f| Form::parse(f, request, &mut notes)).transpose()?;
    let coat = Coat::parse(&request.coat, slurry.as_ref(), water, &mut notes)?;
    let (target, standard_uncertainty) = match coat {
        Coat::Direct(slop) => {
            notes.step("Slop per piece", "as given".to_owned(), format!("{:.3} g", slop.g()));
            (slop, None)
        }
        Coat::Dry(dry) => {
            let (slop, u) = slop_for(dry, slurry.as_ref(), form.as_ref(), &mut notes)?;
            (slop, Some(u))
        }
    };
    let wanted = request.tolerance.unwrap_or_else(|| usual_tolerance(&mut notes));
    let half = tolerance(wanted, target, &mut notes)?;
    remark(request, half, standard_uncertainty, &mut notes);
    let solids_fraction = slurry.map(|s| s.solids_fraction());
    let dry = solids_fraction.map(|x| Mass::saturating(target.g() * x));
    let slop_density = slurry.and_then(|s| s.density());
    let area = form.map(|f| f.area());
    let wet_film = area.zip(slop_density).map(|(a, d)| wet_film(target, a, d, &mut notes));
    Ok(Target {
        target,
        low: target - half,
        high: target + half,
        tolerance: wanted,
        solids_fraction,
        dry,
        water: dry.map(|dry| target - dry),
        area,
        slop_density,
        wet_film,
        standard_uncertainty,
        piece_uncertainty: None,
        warnings: notes.warnings,
        assumed: notes.assumed,
        steps: notes.steps,
    })
}

fn water(celsius: Option<f64>, notes: &mut Notes) -> Result<Density, Refused> {
    let Some(celsius) = celsius else { return Ok(Density::saturating(1.0)) };
    let celsius = within("water_c", celsius, 0.0, 40.0, "degrees Celsius")?;
    let density = water_density(celsius).unwrap_or(Density::saturating(1.0));
    notes.step("Water", format!("at {celsius} degrees Celsius"), format!("{:.6} g/mL", density.g_ml()));
    Ok(density)
}

fn slop_for(
    dry: f64,
    slurry: Option<&Slurry>,
    form: Option<&Form>,
    notes: &mut Notes,
) -> Result<(Mass, Mass), Refused> {
    let absent = |what: &str, give: &str| {
        Refused::new(what, format!("missing; give {give}, or give the coat directly as slop_g"))
    };
    let form = form.ok_or_else(|| absent("form", "the inside of the piece"))?;
    let slurry = slurry.ok_or_else(|| absent("glaze", "the bucket's mix, density or drying"))?;
    let (area, solids) = (form.area().cm2(), slurry.solids_fraction());
    let powder = area * dry;
    notes.step("Dry powder per piece", format!("{area:.2} cm2 x {dry:.4} g/cm2"), format!("{powder:.3} g"));
    let slop = within("coat", powder / solids, TARGET_G.0, TARGET_G.1, "g of slop per piece")?;
    notes.step(
        "Slop per piece",
        format!("{powder:.3} g dry / {solids:.4} dry share; this much stays on the piece"),
        format!("{slop:.3} g"),
    );
    let share = form.u_share().hypot(slurry.u_solids_fraction() / solids);
    Ok((Mass::saturating(slop), Mass::saturating(slop * share)))
}

fn usual_tolerance(notes: &mut Notes) -> ToleranceRequest {
    notes.assumed.push(("tolerance.percent".to_owned(), ToleranceRequest::USUAL_PERCENT));
    ToleranceRequest::Percent(ToleranceRequest::USUAL_PERCENT)
}

/// The finest step that the settings take (`step_g`): what is good can't be told closer.
const LEAST_TOLERANCE_G: f64 = 0.001;

fn tolerance(wanted: ToleranceRequest, target: Mass, notes: &mut Notes) -> Result<Mass, Refused> {
    let (field, percent, working) = match wanted {
        ToleranceRequest::Percent(percent) => ("tolerance.percent", percent, format!("{percent} %")),
        ToleranceRequest::Grams(grams) => {
            ("tolerance.grams", 100.0 * grams / target.g(), format!("{grams} g"))
        }
    };
    if !(percent > 0.0 && percent < 100.0) {
        let reason = format!(
            "{working} must be above 0 and less than the whole target of {:.3} g; 5 percent is a start",
            target.g()
        );
        return Err(Refused::new(field, reason));
    }
    let half = match wanted {
        ToleranceRequest::Percent(percent) => target.g() * percent / 100.0,
        ToleranceRequest::Grams(grams) => grams,
    };
    if half < LEAST_TOLERANCE_G {
        let reason = format!(
            "{working} is {half:.7} g: no scale told of here shows so little; give {LEAST_TOLERANCE_G} g or more, and at \
             least the step of your scale"
        );
        return Err(Refused::new(field, reason));
    }
    let (low, high) = (target.g() - half, target.g() + half);
    if !(low > 0.0 && low < target.g() && target.g() < high) {
        return Err(Refused::new(
            field,
            format!("{working} leaves no room around the target; try 5 percent"),
        ));
    }
    notes.step("Good from, to", format!("plus or minus {working}"), format!("{low:.3} g to {high:.3} g"));
    Ok(Mass::saturating(half))
}

fn wet_film(slop: Mass, area: Area, density: Density, notes: &mut Notes) -> Length {
    let mm = 10.0 * slop.g() / density.g_ml() / area.cm2();
    let millilitres = slop.g() / density.g_ml();
    let working = format!("{:.3} g / {:.4} g/mL = {millilitres:.3} mL", slop.g(), density.g_ml());
    notes.step("Spread evenly before it dries", working, format!("{mm:.3} mm"));
    Length::saturating(mm)
}

fn remark(request: &TargetRequest, half: Mass, uncertainty: Option<Mass>, notes: &mut Notes) {
    if let Some(u) = uncertainty.filter(|u| *u > half) {
        notes.warnings.push(format!(
            "The target itself is only known to {:.2} g (one standard uncertainty), more than the tolerance of {:.2} g: \
             pieces will agree with each other, not with the wanted coat; measure bucket and area better or check a test piece",
            u.g(),
            half.g()
        ));
    }
    let given = [
        ("u_specific_gravity", request.u_specific_gravity),
        ("u_powder_density_g_ml", request.u_powder_density_g_ml),
        ("u_area_percent", request.u_area_percent),
        ("u_dry_g", request.u_dry_g),
        ("u_water_g", request.u_water_g),
    ];
    for (name, _) in given.iter().filter(|(name, value)| value.is_some() && !notes.used.contains(name)) {
        notes.warnings.push(format!("{name} has no use with these inputs and was left aside"));
    }
}
