//! Bucket, form and coat put together into a target.
//!
//! Never looks at a scale: the uncertainty of weighing is added by whoever knows it.

use super::bounds::{Notes, Refused, TARGET_G, within};
use super::coat::layers::{Firing, Layers, TAKEN, layers};
use super::coat::{Before, Coat};
use super::doubt::{Doubt, doubts, largest, remark, too_coarse};
use super::form::Form;
use super::known::Known;
use super::ladder::ladder;
use super::request::{TargetRequest, ToleranceRequest, WareState, meant};
use super::slurry::change::{Change, change};
use super::slurry::{Slurry, water_density};
use super::steps::Step;
use super::supply::{self, Supply};
use super::tolerance::{tolerance, usual_tolerance};
use super::ware::{Wall, wall};
use crate::units::{Area, Density, Length, Mass, Volume};

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
    /// Volume of the inside to the rim.
    pub volume: Option<Volume>,
    /// Density of the powder's grains, told or estimated from weights and density.
    pub powder_density: Option<Density>,
    /// The coat wet, dry and fired: estimates.
    pub layers: Option<Layers>,
    /// Standard uncertainty shared by all pieces: bucket, area and reference; a coat told as a number counts as exact.
    pub standard_uncertainty: Option<Mass>,
    /// Standard uncertainty of one weighing, told, or set by whoever knows the scale.
    pub piece_uncertainty: Option<Mass>,
    /// What the shared one is made of, the largest first.
    pub doubts: Vec<Doubt>,
    /// The largest of them in words, and what makes it smaller.
    pub largest_doubt: Option<String>,
    /// What to do to the bucket, where it is to be changed.
    pub change: Option<Change>,
    /// What the wall does with the coat's water, where the ware was told.
    pub ware: Option<Wall>,
    /// Whether the slop is enough, where that was asked.
    pub supply: Option<Supply>,
    /// A target for each piece in turn; empty: all have the one above.
    pub ladder: Vec<Mass>,
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
        let half_g = self.tolerance.half_g(target);
        let half = Mass::saturating(half_g);
        let fits = (TARGET_G.0..=TARGET_G.1).contains(&target.g()) && half_g < target.g();
        let (low, high) = (target - half, target + half);
        (fits && low < target && target < high).then_some((low, high))
    }

    /// Whether the ware was fired already, so that what is poured in is not its coat.
    pub fn fired(&self) -> bool {
        self.ware.is_some_and(|wall| wall.state == WareState::Fired)
    }

    /// The same target, its pieces weighed with this standard uncertainty of one net weight; warned of where that is
    /// coarser than the tolerance.
    pub fn weighed_to(mut self, u: Mass) -> Self {
        self.warnings.extend(too_coarse(u, self.high - self.target));
        self.piece_uncertainty = Some(u);
        self
    }

    /// Target and limits alone.
    fn bare(target: Mass, half: Mass, tolerance: ToleranceRequest) -> Self {
        Self {
            target,
            low: target - half,
            high: target + half,
            tolerance,
            solids_fraction: None,
            dry: None,
            water: None,
            area: None,
            slop_density: None,
            wet_film: None,
            volume: None,
            powder_density: None,
            layers: None,
            standard_uncertainty: None,
            piece_uncertainty: None,
            doubts: Vec::new(),
            largest_doubt: None,
            change: None,
            ware: None,
            supply: None,
            ladder: Vec::new(),
            warnings: Vec::new(),
            assumed: Vec::new(),
            steps: Vec::new(),
        }
    }
}

/// The target for a request, or which input stands in its way.
pub fn target(request: &TargetRequest) -> Result<Target, Refused> {
    meant(request)?;
    let mut notes = Notes::default();
    let water = water(request.water_c, &mut notes)?;
    let slurry = request.glaze.as_ref().map(|g| Slurry::parse(g, request, water, &mut notes)).transpose()?;
    let form = request.form.as_ref().map(|f| Form::parse(f, request, &mut notes)).transpose()?;
    let fired = request.ware.as_ref().is_some_and(|ware| ware.state == WareState::Fired);
    let before = Before { slurry: slurry.as_ref(), form: form.as_ref(), water, fired };
    let (coat, firing) = Coat::parse(&request.coat, &before, &mut notes)?;
    let (slop, direct) = slop(&coat, &before, &mut notes)?;
    let target = Mass::saturating(slop.value());
    let standard_uncertainty = (!direct).then(|| Mass::saturating(slop.u()));
    let wanted = request.tolerance.unwrap_or_else(|| usual_tolerance(&mut notes));
    let half = tolerance(wanted, target, &mut notes)?;
    let piece_uncertainty = piece_uncertainty(request.u_piece_g)?;
    remark(request, target, standard_uncertainty, &mut notes);
    let mut found = Target::bare(target, half, wanted);
    found.standard_uncertainty = standard_uncertainty;
    found.doubts = doubts(&slop);
    found.largest_doubt = largest(&found.doubts);
    of_bucket(&mut found, slurry.as_ref());
    found.area = form.as_ref().map(Form::area);
    found.volume = form.as_ref().and_then(Form::volume);
    // Of what is poured into fired ware most runs out again: no layer follows from it.
    if !fired {
        spread(&mut found, slurry.as_ref(), &firing, &mut notes);
    }
    plans(&mut found, request, slurry.as_ref(), &mut notes)?;
    found.warnings = notes.warnings;
    found.assumed = notes.assumed;
    found.steps = notes.steps;
    Ok(match piece_uncertainty {
        Some(u) => found.weighed_to(u),
        None => found,
    })
}

/// What the bucket alone says of the target.
fn of_bucket(found: &mut Target, slurry: Option<&Slurry>) {
    let Some(slurry) = slurry else { return };
    let dry = Mass::saturating(found.target.g() * slurry.solids_fraction());
    found.solids_fraction = Some(slurry.solids_fraction());
    found.dry = Some(dry);
    found.water = Some(found.target - dry);
    found.slop_density = slurry.density();
    found.powder_density = slurry.powder().map(|powder| Density::saturating(powder.value()));
}

/// The coat on the area: wet film, dry layer, fired thickness.
fn spread(found: &mut Target, slurry: Option<&Slurry>, firing: &Firing, notes: &mut Notes) {
    let Some(area) = found.area else { return };
    found.wet_film = found.slop_density.map(|density| wet_film(found.target, area, density, notes));
    let Some(dry) = found.dry else { return };
    let whose = slurry.map_or(TAKEN, Slurry::whose_powder);
    let powder = Density::saturating(Slurry::powder_or_usual(slurry, notes).value());
    found.layers = Some(layers(dry.g() / area.cm2(), found.wet_film, (powder, whose), firing, notes));
}

/// What was asked besides the grams.
fn plans(
    found: &mut Target,
    request: &TargetRequest,
    slurry: Option<&Slurry>,
    notes: &mut Notes,
) -> Result<(), Refused> {
    found.change = request.wanted.as_ref().map(|wanted| change(wanted, slurry, notes)).transpose()?;
    found.ware = request.ware.as_ref().map(|ware| wall(ware, slurry, found.water, notes)).transpose()?;
    if let Some(request) = &request.ladder {
        found.ladder = ladder(request, notes)?;
        if let Some(n) = found.ladder.iter().position(|rung| found.limits_of(*rung).is_none()) {
            let reason =
                format!("{} g leaves no room for the tolerance; give a narrower one", found.ladder[n].g());
            return Err(Refused::new("tolerance", reason));
        }
    }
    let supply = |asked| supply::asked(asked, &found.ladder, found.target, found.solids_fraction, notes);
    found.supply = request.supply.as_ref().map(supply).transpose()?;
    Ok(())
}

fn piece_uncertainty(told_g: Option<f64>) -> Result<Option<Mass>, Refused> {
    let checked = |g| within("u_piece_g", g, 0.0, 1000.0, "g").map(Mass::saturating);
    told_g.map(checked).transpose()
}

fn water(celsius: Option<f64>, notes: &mut Notes) -> Result<Density, Refused> {
    let Some(celsius) = celsius else { return Ok(Density::saturating(1.0)) };
    let celsius = within("water_c", celsius, 0.0, 40.0, "degrees Celsius")?;
    let density = water_density(celsius).unwrap_or(Density::saturating(1.0));
    notes.step("Water", format!("at {celsius} degrees Celsius"), format!("{:.6} g/mL", density.g_ml()));
    Ok(density)
}

/// Slop per piece, and whether it was told as such.
fn slop(coat: &Coat, before: &Before<'_>, notes: &mut Notes) -> Result<(Known, bool), Refused> {
    let absent = |what: &str, give: &str| {
        Refused::new(what, format!("missing; give {give}, or give the coat directly as slop_g"))
    };
    let dry = match coat {
        Coat::Direct(slop) => {
            notes.step("Slop per piece", "as given".to_owned(), format!("{:.3} g", slop.g()));
            return Ok((Known::exact(slop.g()), true));
        }
        Coat::Dry(dry) => {
            let form = before.form.ok_or_else(|| absent("form", "the inside of the piece"))?;
            let powder = form.known_area().times(dry);
            let working = format!("{:.2} cm2 x {:.6} g/cm2", form.area().cm2(), dry.value());
            notes.step("Dry powder per piece", working, format!("{:.2} g", powder.value()));
            powder
        }
        Coat::SameForm(dry) => dry.clone(),
    };
    let slurry = before.slurry.ok_or_else(|| absent("glaze", "the bucket's mix, density or drying"))?;
    let slop = dry.over(slurry.solids());
    within("coat", slop.value(), TARGET_G.0, TARGET_G.1, "g of slop per piece")?;
    notes.step(
        "Slop per piece",
        format!(
            "{:.3} g dry / {:.6} dry share; {}",
            dry.value(),
            slurry.solids_fraction(),
            if before.fired { "most of it runs out again" } else { "this much stays on the piece" }
        ),
        format!("{:.2} g", slop.value()),
    );
    Ok((slop, false))
}

fn wet_film(slop: Mass, area: Area, density: Density, notes: &mut Notes) -> Length {
    let mm = 10.0 * slop.g() / density.g_ml() / area.cm2();
    let millilitres = slop.g() / density.g_ml();
    let working = format!("{:.3} g / {:.5} g/mL", slop.g(), density.g_ml());
    notes.step("Volume of that slop", working, format!("{millilitres:.2} mL"));
    let working = format!("10 x {millilitres:.3} mL / {:.2} cm2", area.cm2());
    notes.step("Spread evenly before it dries", working, format!("{mm:.3} mm"));
    Length::saturating(mm)
}
