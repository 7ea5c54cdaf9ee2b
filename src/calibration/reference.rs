//! Reference masses: what one is worth, and how well that is known.
//!
//! Conventional mass, as weights are marked: a scale set right with such weights shows it. Of slop the air carries 0.02 g
//! at 29 g more than of such weights, alike for all pieces (derived from OIML D 28): left out.

use super::request::PointRequest;
use crate::batch::Refused;
use crate::units::as_told;

/// A class of weights with stated limits of error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// OIML R 111 E1.
    E1,
    /// OIML R 111 E2.
    E2,
    /// OIML R 111 F1.
    F1,
    /// OIML R 111 F2.
    F2,
    /// OIML R 111 M1.
    M1,
    /// OIML R 111 M2.
    M2,
    /// OIML R 111 M3.
    M3,
    /// NIST Handbook 105-1 class F.
    NistF,
}

/// Limits of error in mg by nominal mass in g: E1, E2, F1, F2, M1, M2, M3.
///
/// OIML R 111-1:2004 table 1. M1 to M3 read in a public copy of a Greek text that quotes it, the rest from memory; the
/// table's own structure (ten times from F1 to M1, and so on) is tested.
const R111: [(f64, [f64; 7]); 13] = [
    (10_000.0, [5.0, 16.0, 50.0, 160.0, 500.0, 1600.0, 5000.0]),
    (5000.0, [2.5, 8.0, 25.0, 80.0, 250.0, 800.0, 2500.0]),
    (2000.0, [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0]),
    (1000.0, [0.5, 1.6, 5.0, 16.0, 50.0, 160.0, 500.0]),
    (500.0, [0.25, 0.8, 2.5, 8.0, 25.0, 80.0, 250.0]),
    (200.0, [0.10, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0]),
    (100.0, [0.05, 0.16, 0.5, 1.6, 5.0, 16.0, 50.0]),
    (50.0, [0.03, 0.10, 0.3, 1.0, 3.0, 10.0, 30.0]),
    (20.0, [0.025, 0.08, 0.25, 0.8, 2.5, 8.0, 25.0]),
    (10.0, [0.020, 0.06, 0.20, 0.6, 2.0, 6.0, 20.0]),
    (5.0, [0.016, 0.05, 0.16, 0.5, 1.6, 5.0, 16.0]),
    (2.0, [0.012, 0.04, 0.12, 0.4, 1.2, 4.0, 12.0]),
    (1.0, [0.010, 0.03, 0.10, 0.3, 1.0, 3.0, 10.0]),
];
/// NIST Handbook 105-1 class F, g and mg: from memory.
const NIST_F: [(f64, f64); 16] = [
    (5000.0, 500.0),
    (3000.0, 300.0),
    (2000.0, 200.0),
    (1000.0, 100.0),
    (500.0, 70.0),
    (300.0, 60.0),
    (200.0, 40.0),
    (100.0, 20.0),
    (50.0, 10.0),
    (30.0, 6.0),
    (20.0, 4.0),
    (10.0, 2.0),
    (5.0, 1.5),
    (3.0, 1.3),
    (2.0, 1.1),
    (1.0, 0.90),
];
/// More pieces than this make up no load on a bench scale (own choice).
const MOST_PIECES: usize = 20;
/// A word that is no class is repeated so far, in characters.
const LONGEST_WORD: usize = 20;
/// Circulating coins wear: 1 percent of the nominal as a standard uncertainty, alike in a stack (own assumption; nothing
/// published was found).
pub const COIN_WEAR: f64 = 0.01;

impl Class {
    /// Every one.
    pub const ALL: [Self; 8] =
        [Self::E1, Self::E2, Self::F1, Self::F2, Self::M1, Self::M2, Self::M3, Self::NistF];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::E1 => "E1",
            Self::E2 => "E2",
            Self::F1 => "F1",
            Self::F2 => "F2",
            Self::M1 => "M1",
            Self::M2 => "M2",
            Self::M3 => "M3",
            Self::NistF => "F",
        }
    }

    /// The class for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.word().eq_ignore_ascii_case(word))
    }

    /// Limit of error in mg of one weight of this nominal mass; `None` where the class has no such weight here.
    pub fn limit_mg(self, nominal_g: f64) -> Option<f64> {
        let same = |g: f64| (g - nominal_g).abs() < 1e-9 * g;
        let column = match self {
            Self::E1 => 0,
            Self::E2 => 1,
            Self::F1 => 2,
            Self::F2 => 3,
            Self::M1 => 4,
            Self::M2 => 5,
            Self::M3 => 6,
            Self::NistF => return NIST_F.iter().find(|(g, _)| same(*g)).map(|(_, mg)| *mg),
        };
        R111.iter().find(|(g, _)| same(*g)).and_then(|(_, row)| row.get(column).copied())
    }

    fn nominals(self) -> Vec<f64> {
        match self {
            Self::NistF => NIST_F.iter().map(|(g, _)| *g).collect(),
            Self::E1 | Self::E2 | Self::F1 | Self::F2 | Self::M1 | Self::M2 | Self::M3 => {
                R111.iter().map(|(g, _)| *g).collect()
            }
        }
    }

    /// Limit of error in mg of a load made up of weights of one set, the largest first: their errors add, as they may have
    /// been set right by one standard. `None` where it can't be made up of them.
    pub fn made_up_limit_mg(self, nominal_g: f64) -> Option<f64> {
        let (mut left_g, mut limit_mg) = (nominal_g, 0.0);
        for _ in 0..MOST_PIECES {
            if left_g.abs() < 1e-6 {
                return Some(limit_mg);
            }
            let next = self.nominals().into_iter().find(|g| *g <= left_g + 1e-6)?;
            limit_mg += self.limit_mg(next)?;
            left_g -= next;
        }
        None
    }
}

/// A mass that stands for itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// What it is worth, g.
    pub mass_g: f64,
    /// Standard uncertainty, g.
    pub u_g: f64,
}

impl Reference {
    /// As a point tells it: by class, by a limit of error (both taken as evenly likely up to there, GUM 4.3.7), or by its
    /// certificate's uncertainty (k = 2). A bare pan has no error of its own.
    ///
    /// # Errors
    /// What can't be used, by its field.
    pub fn of(point: &PointRequest, at: &str) -> Result<Self, Refused> {
        let mass_g = point.nominal_g;
        let even = |mg: f64| mg / 1e3 / 3.0_f64.sqrt();
        let u_g = match (&point.class, point.mpe_mg, point.uncertainty_mg) {
            (None, None, None) if mass_g == 0.0 => 0.0,
            (Some(word), None, None) => even(Self::limit_of(word, mass_g, at)?),
            (None, Some(mg), None) => even(positive(mg, mass_g, &format!("{at}.mpe_mg"))?),
            (None, None, Some(mg)) => positive(mg, mass_g, &format!("{at}.uncertainty_mg"))? / 1e3 / 2.0,
            (None, None, None) => {
                let why =
                    "how well is this mass known? Give its class (such as M1), mpe_mg or uncertainty_mg";
                return Err(Refused::new(format!("{at}.class"), why));
            }
            (Some(_), ..) | (None, Some(_), Some(_)) => {
                let why = "give one of class, mpe_mg and uncertainty_mg, not several";
                return Err(Refused::new(format!("{at}.class"), why));
            }
        };
        Ok(Self { mass_g, u_g })
    }

    fn limit_of(word: &str, mass_g: f64, at: &str) -> Result<f64, Refused> {
        let field = format!("{at}.class");
        let class = Class::from_word(word).ok_or_else(|| {
            let all = Class::ALL.map(Class::word).join(", ");
            let word: String = word.chars().filter(|c| !c.is_control()).take(LONGEST_WORD).collect();
            Refused::new(&field, format!("'{word}' is none of {all} (F is that of NIST Handbook 105-1)"))
        })?;
        class.made_up_limit_mg(mass_g).ok_or_else(|| {
            let told = as_told(mass_g);
            let why =
                format!("{told} g can't be made up of weights of class {word} here: give its limit of error instead, as mpe_mg (at the terminal 50:3mg)");
            Refused::new(field, why)
        })
    }
}

/// Above nothing, and no more than a tenth of the mass: what is known worse is no reference (own choice).
fn positive(mg: f64, mass_g: f64, field: &str) -> Result<f64, Refused> {
    let most_mg = 100.0 * mass_g.max(0.0);
    let told = as_told(mg);
    if mg <= 0.0 || !mg.is_finite() {
        Err(Refused::new(field, format!("{told} mg must be above 0")))
    } else if mass_g > 0.0 && mg > most_mg {
        let of = as_told(mass_g);
        let why =
            format!("{told} mg is more than a tenth of {of} g: check the unit (mg), or take another mass");
        Err(Refused::new(field, why))
    } else {
        Ok(mg)
    }
}

/// Mass in g that a scale shows of so much water: its density at that temperature (`batch::slurry::water_density`, g/mL), less
/// what the air carries more of it than of the weights a scale is set with (0.105 percent, derived from OIML D 28).
pub fn water_shows_g(millilitres: f64, density_g_ml: f64) -> f64 {
    shows_g(millilitres * density_g_ml, density_g_ml)
}

/// Mass in g that a scale shows of a true mass of this density, g/mL: conventional mass of OIML D 28, air of 1.2 kg/m3
/// against weights of 8000 kg/m3.
pub fn shows_g(true_g: f64, density_g_ml: f64) -> f64 {
    let carried = |density_g_ml: f64| 1.0 - 0.0012 / density_g_ml;
    true_g * carried(density_g_ml) / carried(8.0)
}

/// The nominal masses that something which shows so much may be, nearest first: what was set down in the place of another.
pub fn looks_like_g(shown_g: f64) -> Option<f64> {
    let all = R111.iter().map(|(g, _)| *g).chain([30.0, 300.0]);
    all.filter(|g| (shown_g - g).abs() < 0.03 * g)
        .min_by(|a, b| (shown_g - a).abs().total_cmp(&(shown_g - b).abs()))
}
