//! The potter's own reference masses: weights of a class, with a certificate or a stated limit, coins, a measured volume of
//! water. As they are told ([`MassRequest`]), and as they are reckoned with ([`OwnMass`]).

use super::reference::{COIN_WEAR, Reference, shows_g, water_shows_g};
use super::request::PointRequest;
use crate::batch::Refused;
use crate::batch::slurry::water_density;
use crate::units::as_told;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// More masses than a routine has patience for (own choice).
pub const MOST_MASSES: usize = 12;
/// Coins in one stack at most (own choice).
const MOST_COINS: u32 = 200;
/// Ten steps of the finest display that is calibrated here, g: less tells nothing of any scale.
const LEAST_G: f64 = 0.001;
/// What solid things weigh for their volume, g/mL: from wood to tungsten.
const DENSITY: (f64, f64) = (0.5, 20.0);
/// Longest name, in characters.
const LONGEST_NAME: usize = 40;

/// One mass as it is told.
#[derive(Clone, Debug, Default, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MassRequest {
    /// What the potter calls it; absent: by its grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// What it is worth, g; with `coins` what one coin is, as published. Absent with water.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal_g: Option<f64>,
    /// `E1` to `M3` of OIML R 111, or `F` of NIST Handbook 105-1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class: Option<String>,
    /// Its limit of error, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mpe_mg: Option<f64>,
    /// Expanded uncertainty (k = 2) of its certificate, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_mg: Option<f64>,
    /// What it weighs for its volume, g/mL, where `nominal_g` is its true mass, as of coins or a stone; absent: it is told as
    /// weights are marked. The air carries more of what is light for its volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density_g_ml: Option<f64>,
    /// A stack of so many alike coins: worn by 1 percent of their mass, all alike.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coins: Option<u32>,
    /// So much water, mL, in a vessel that was on the pan before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub water_ml: Option<f64>,
    /// Limit of error of that volume, mL.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mpe_ml: Option<f64>,
    /// Temperature of the water, degrees Celsius; absent: 20.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub water_c: Option<f64>,
}

/// A mass that is known.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnMass {
    /// What it is called.
    pub name: String,
    /// What it is worth, and how well that is known.
    pub reference: Reference,
    /// Its class, where it has one.
    pub class: Option<String>,
}

impl MassRequest {
    /// A set as it was kept; none where it is none. An empty name, which earlier versions kept, is none.
    pub fn kept(body: &str) -> Option<Vec<Self>> {
        let mut set: Vec<Self> = serde_json::from_str(body).ok()?;
        for one in &mut set {
            one.name = one.name.take().filter(|name| !name.trim().is_empty());
        }
        Some(set)
    }
}

impl OwnMass {
    /// Parses one; `at` is its path in the request.
    ///
    /// # Errors
    /// What can't be used, by its field.
    pub fn of(told: &MassRequest, at: &str) -> Result<Self, Refused> {
        let reference = match (told.coins, told.water_ml) {
            (None, None) => weight(told, at)?,
            (Some(coins), None) => stack(told, coins, at)?,
            (None, Some(ml)) => water(told, ml, at)?,
            (Some(_), Some(_)) => {
                let why = "give coins or water, not both";
                return Err(Refused::new(format!("{at}.coins"), why));
            }
        };
        let plain = format!("{} g", rounded(reference.mass_g));
        let reference = in_air(told, reference, at)?;
        let name = told.name.as_deref().map(str::trim);
        let fits =
            |n: &str| (1..=LONGEST_NAME).contains(&n.chars().count()) && !n.chars().any(char::is_control);
        if name.is_some_and(|n| !fits(n)) {
            let why = format!(
                "write 1 to {LONGEST_NAME} characters of plain text on one line, or leave it out: then it is called by its grams"
            );
            return Err(Refused::new(format!("{at}.name"), why));
        }
        Ok(Self { name: name.map_or(plain, str::to_owned), reference, class: told.class.clone() })
    }

    /// A whole set, the lightest first.
    ///
    /// # Errors
    /// What can't be used, by its field.
    pub fn set(told: &[MassRequest], at: &str) -> Result<Vec<Self>, Refused> {
        if told.is_empty() || told.len() > MOST_MASSES {
            let why = format!("has {} masses: give 1 to {MOST_MASSES}", told.len());
            return Err(Refused::new(at, why));
        }
        let each = |(n, one): (usize, &MassRequest)| Self::of(one, &format!("{at}[{n}]"));
        let mut set: Vec<Self> = told.iter().enumerate().map(each).collect::<Result<_, _>>()?;
        set.sort_by(|a, b| a.reference.mass_g.total_cmp(&b.reference.mass_g));
        Ok(set)
    }
}

/// What several masses of one set make together: their errors add, as they may have been set right by one standard.
pub fn together(masses: &[&OwnMass]) -> PointRequest {
    let nominal_g = masses.iter().map(|m| m.reference.mass_g).sum();
    let known = |class: &Option<String>| class.is_some();
    match masses {
        [] => PointRequest { nominal_g: 0.0, ..PointRequest::default() },
        [one] if known(&one.class) => {
            PointRequest { nominal_g, class: one.class.clone(), ..PointRequest::default() }
        }
        several => {
            let u_g: f64 = several.iter().map(|m| m.reference.u_g).sum();
            PointRequest { nominal_g, uncertainty_mg: Some(2e3 * u_g), ..PointRequest::default() }
        }
    }
}

/// To the microgram, so that sums of decimal grams read as such.
fn rounded(g: f64) -> f64 {
    (g * 1e6).round() / 1e6
}

fn grams(told: &MassRequest, at: &str) -> Result<f64, Refused> {
    let field = format!("{at}.nominal_g");
    match told.nominal_g {
        Some(g) if (LEAST_G..=50_000.0).contains(&g) => Ok(g),
        Some(g) => {
            let why = format!("{} g is outside {LEAST_G} to 50000 g: check the decimal point", as_told(g));
            Err(Refused::new(field, why))
        }
        None => Err(Refused::new(field, "missing: what is it worth in grams?")),
    }
}

fn weight(told: &MassRequest, at: &str) -> Result<Reference, Refused> {
    let point = PointRequest {
        nominal_g: grams(told, at)?,
        class: told.class.clone(),
        mpe_mg: told.mpe_mg,
        uncertainty_mg: told.uncertainty_mg,
        ..PointRequest::default()
    };
    Reference::of(&point, at)
}

/// What the scale shows of a true mass of this density.
fn in_air(told: &MassRequest, of: Reference, at: &str) -> Result<Reference, Refused> {
    let Some(density) = told.density_g_ml else { return Ok(of) };
    let field = format!("{at}.density_g_ml");
    if told.class.is_some() || told.water_ml.is_some() {
        let why =
            "weights of a class are marked as they weigh in air, and water has its own density: leave it out";
        return Err(Refused::new(field, why));
    }
    if !(DENSITY.0..=DENSITY.1).contains(&density) {
        let (told, (least, most)) = (as_told(density), DENSITY);
        let why = format!("{told} g/mL is outside {least} to {most}: steel has 7.9, brass 8.4");
        return Err(Refused::new(field, why));
    }
    Ok(Reference { mass_g: rounded(shows_g(of.mass_g, density)), ..of })
}

/// Coins wear alike: the error of one counts as often as there are coins.
fn stack(told: &MassRequest, coins: u32, at: &str) -> Result<Reference, Refused> {
    let each_g = grams(told, at)?;
    if coins == 0 || coins > MOST_COINS {
        let why = format!("{coins} coins: give 1 to {MOST_COINS}");
        return Err(Refused::new(format!("{at}.coins"), why));
    }
    if told.class.is_some() || told.mpe_mg.is_some() || told.uncertainty_mg.is_some() {
        let why = "coins have no class and no certificate: their wear is taken as 1 percent";
        return Err(Refused::new(format!("{at}.class"), why));
    }
    let mass_g = rounded(each_g * f64::from(coins));
    Ok(Reference { mass_g, u_g: COIN_WEAR * mass_g })
}

fn water(told: &MassRequest, ml: f64, at: &str) -> Result<Reference, Refused> {
    let within = |field: &str, value: f64, least: f64, most: f64| {
        if value >= least && value <= most {
            return Ok(value);
        }
        let why = format!("{} is outside {least} to {most}", as_told(value));
        Err(Refused::new(format!("{at}.{field}"), why))
    };
    let ml = within("water_ml", ml, 1.0, 5000.0)?;
    let celsius = told.water_c.unwrap_or(20.0);
    let density = water_density(celsius).ok_or_else(|| {
        let why = format!("{} is outside 0 to 40 degrees Celsius", as_told(celsius));
        Refused::new(format!("{at}.water_c"), why)
    })?;
    let Some(mpe_ml) = told.mpe_ml else {
        let why = "how well is this volume known? Give the limit of error of the vessel, mL";
        return Err(Refused::new(format!("{at}.mpe_ml"), why));
    };
    let mpe_ml = within("mpe_ml", mpe_ml, 0.001, ml)?;
    let each_g = water_shows_g(1.0, density.g_ml());
    // Evenly likely up to the limit (GUM 4.3.7).
    Ok(Reference { mass_g: ml * each_g, u_g: mpe_ml * each_g / 3.0_f64.sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(json: &str) -> Result<OwnMass, Refused> {
        OwnMass::of(&serde_json::from_str(json).unwrap(), "masses[0]")
    }

    #[test]
    fn coins_of_a_stack_are_worn_alike_and_water_is_weighed_in_air() {
        // Published nominal of a coin: 5.000 g (United States Mint, coin specifications).
        let nickels = told(r#"{ "nominal_g": 5, "coins": 40 }"#).unwrap();
        assert_eq!((nickels.reference.mass_g, nickels.name.as_str()), (200.0, "200 g"));
        assert!((nickels.reference.u_g - 2.0).abs() < 1e-12, "1 percent, as often as there are coins");
        // CIPM 998.2067 kg/m3 at 20 degrees, less 0.105 percent (OIML D 28, derived).
        let water = told(r#"{ "water_ml": 100, "mpe_ml": 0.5, "water_c": 20 }"#).unwrap();
        assert!((water.reference.mass_g - 99.7157).abs() < 1e-3, "{water:?}");
        assert!((water.reference.u_g - 0.2878).abs() < 1e-3);
    }

    #[test]
    fn the_air_carries_more_of_a_stone_than_of_a_weight() {
        // OIML D 28: conventional mass = m (1 - 1.2 / rho) / (1 - 1.2 / 8000), rho in kg/m3. 300 g of stone at 2700: worked
        // by hand 300 x 0.99955556 / 0.99985 = 299.9117 g.
        let stone = told(r#"{ "nominal_g": 300, "uncertainty_mg": 50, "density_g_ml": 2.7 }"#).unwrap();
        assert!((stone.reference.mass_g - 299.9117).abs() < 2e-4, "{stone:?}");
        assert_eq!(stone.name, "300 g", "called as it is marked");
        let weight = told(r#"{ "nominal_g": 200, "mpe_mg": 10, "density_g_ml": 8.0 }"#).unwrap();
        assert_eq!(weight.reference.mass_g, 200.0);
    }

    #[test]
    fn what_is_not_known_of_a_mass_is_asked_for_by_its_field() {
        for (json, field) in [
            ("{}", "masses[0].nominal_g"),
            (r#"{ "nominal_g": 50 }"#, "masses[0].class"),
            (r#"{ "nominal_g": -1, "class": "M1" }"#, "masses[0].nominal_g"),
            (r#"{ "nominal_g": 5, "coins": 0 }"#, "masses[0].coins"),
            (r#"{ "nominal_g": 5, "coins": 3, "class": "M1" }"#, "masses[0].class"),
            (r#"{ "nominal_g": 1e-9, "mpe_mg": 1 }"#, "masses[0].nominal_g"),
            (r#"{ "nominal_g": 1, "mpe_mg": 500 }"#, "masses[0].mpe_mg"),
            (r#"{ "nominal_g": 20, "class": "M1", "density_g_ml": 7.9 }"#, "masses[0].density_g_ml"),
            (r#"{ "nominal_g": 5, "coins": 3, "density_g_ml": 890 }"#, "masses[0].density_g_ml"),
            (r#"{ "water_ml": 100 }"#, "masses[0].mpe_ml"),
            (r#"{ "water_ml": 100, "mpe_ml": 1, "water_c": 90 }"#, "masses[0].water_c"),
            (r#"{ "nominal_g": 50, "class": "M1", "name": "" }"#, "masses[0].name"),
            (r#"{ "nominal_g": 50, "class": "M1", "name": " \t " }"#, "masses[0].name"),
            (r#"{ "nominal_g": 50, "class": "M1", "name": "a\nb" }"#, "masses[0].name"),
        ] {
            assert_eq!(told(json).unwrap_err().field, field, "{json}");
        }
    }

    #[test]
    fn an_empty_name_that_was_kept_before_is_none() {
        let kept = MassRequest::kept(
            r#"[{ "nominal_g": 50, "class": "M1", "name": " " }, { "nominal_g": 1, "name": "brass" }]"#,
        );
        let names: Vec<_> = kept.unwrap().into_iter().map(|one| one.name).collect();
        assert_eq!(names, [None, Some("brass".to_owned())]);
        assert_eq!(MassRequest::kept("{}"), None);
    }

    #[test]
    fn absurd_numbers_are_refused_in_words_that_fit_on_a_line() {
        for json in [
            r#"{ "nominal_g": 1e300, "class": "M1" }"#,
            r#"{ "nominal_g": 1e-300, "mpe_mg": 1 }"#,
            r#"{ "nominal_g": 50, "mpe_mg": 1e300 }"#,
            r#"{ "nominal_g": 50, "mpe_mg": -1e300 }"#,
            r#"{ "nominal_g": 50, "uncertainty_mg": 1e300 }"#,
            r#"{ "nominal_g": 50, "mpe_mg": 5, "density_g_ml": 1e300 }"#,
            r#"{ "nominal_g": 1e300, "coins": 3 }"#,
            r#"{ "water_ml": 1e300, "mpe_ml": 1 }"#,
            r#"{ "water_ml": 100, "mpe_ml": 1e300 }"#,
            r#"{ "water_ml": 100, "mpe_ml": 1, "water_c": 1e300 }"#,
        ] {
            let refused = told(json).unwrap_err();
            assert!(refused.reason.len() < 120 && refused.reason.contains('e'), "{json}: {refused}");
        }
    }

    #[test]
    fn errors_of_one_set_add_and_a_single_mass_keeps_its_class() {
        let set = OwnMass::set(
            &[20.0, 10.0].map(|g| MassRequest {
                nominal_g: Some(g),
                class: Some("M1".into()),
                ..Default::default()
            }),
            "masses",
        )
        .unwrap();
        assert_eq!(set[0].reference.mass_g, 10.0, "the lightest first");
        assert_eq!(together(&[&set[0]]).class.as_deref(), Some("M1"));
        // 2.0 mg and 2.5 mg, evenly likely.
        let both = together(&[&set[0], &set[1]]);
        assert!((both.uncertainty_mg.unwrap() - 2.0 * 4.5 / 3.0_f64.sqrt()).abs() < 1e-9);
    }
}
