//! Slop and water weighed in the same vessel, to the same mark, on the same scale.
//!
//! A ratio of two differences of readings: the scale's span, the vessel's weight and its volume cancel.
//! Air's buoyancy does not quite: at a specific gravity of 1.45 it adds 0.0005, left out here.

use super::super::bounds::{Notes, Refused, within};
use super::super::known::{Known, Source};
use super::MEASURE_AGAIN;

/// Smallest step of a kitchen scale, g. Own estimate.
const STEP_G: f64 = 0.1;
/// Scatter of such a scale when the same is weighed again, g. Own estimate.
const U_REPEAT_G: f64 = 0.1;
/// Scatter of one filling to a mark, mL: half a millimetre of level in a vessel of 35 mm bore. Own estimate.
const U_FILL_ML: f64 = 0.5;
/// Most fillings that are taken.
const MOST_FILLINGS: usize = 50;

/// What was read.
pub(super) struct Weighed<'a> {
    pub(super) at: &'a str,
    pub(super) empty_g: f64,
    pub(super) water_g: &'a [f64],
    pub(super) slop_g: &'a [f64],
    pub(super) step_g: Option<f64>,
    pub(super) u_repeat_g: Option<f64>,
    pub(super) u_fill_ml: Option<f64>,
}

/// The slop's specific gravity with its budget: digits, the scale's repeat, filling to the mark.
pub(super) fn gravity(weighed: &Weighed<'_>, notes: &mut Notes) -> Result<Known, Refused> {
    let at = weighed.at;
    let empty = within(&format!("{at}.empty_g"), weighed.empty_g, 0.0, 1e5, "g")?;
    let water = mean(&format!("{at}.water_g"), weighed.water_g)?;
    let slop = mean(&format!("{at}.slop_g"), weighed.slop_g)?;
    if water - empty < 1.0 {
        let reason = format!(
            "{water} g with water is not more than the vessel's {empty} g; give what the scale shows, vessel and all, \
             or 0 for empty_g where the vessel was tared"
        );
        return Err(Refused::new(format!("{at}.water_g"), reason));
    }
    if slop <= water {
        let reason = format!(
            "{slop} g with slop is not more than {water} g with water to the same mark; were the two swapped?"
        );
        return Err(Refused::new(format!("{at}.slop_g"), reason));
    }
    let sg = (slop - empty) / (water - empty);
    super::checked_gravity(&format!("{at}.slop_g"), sg, 6.0)?;
    super::measure::odd_gravity(sg, notes);
    if water - empty < 50.0 {
        notes.warnings.push(format!(
            "Only {:.1} g of water fill the vessel: one of 100 mL or more is read more closely",
            water - empty
        ));
    }
    let budget = Budget::new(weighed, sg, notes)?;
    let known_empty = budget.reading("empty_g", "the empty vessel's reading", empty, 1);
    let known_water = budget.filled("water_g", "water", water, weighed.water_g.len(), 1.0);
    let known_slop = budget.filled("slop_g", "slop", slop, weighed.slop_g.len(), sg);
    let found = known_slop.minus(&known_empty).over(&known_water.minus(&known_empty));
    notes.step(
        "Specific gravity",
        format!("({slop:.4} g with slop - {empty} g vessel) / ({water:.4} g with water - {empty} g vessel)"),
        format!("{sg:.6}, uncertain by {:.4}", found.u()),
    );
    Ok(found)
}

fn mean(field: &str, readings: &[f64]) -> Result<f64, Refused> {
    if readings.is_empty() || readings.len() > MOST_FILLINGS {
        let reason =
            format!("has {} readings; give 1 to {MOST_FILLINGS}, one for each filling", readings.len());
        return Err(Refused::new(field, reason));
    }
    for (n, reading) in readings.iter().enumerate() {
        within(&format!("{field}[{n}]"), *reading, 0.0, 1e5, "g")?;
    }
    Ok(readings.iter().sum::<f64>() / count(readings.len()))
}

/// A number of readings; far below 2^32.
fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(1.0, f64::from)
}

/// Standard uncertainties of one reading.
struct Budget<'a> {
    at: &'a str,
    digits_g: f64,
    repeat_g: f64,
    fill_ml: f64,
}

impl<'a> Budget<'a> {
    fn new(weighed: &Weighed<'a>, sg: f64, notes: &mut Notes) -> Result<Self, Refused> {
        let at = weighed.at;
        let mut told = |name: &str, value: Option<f64>, otherwise: f64, most: f64, unit: &str| {
            let field = format!("{at}.{name}");
            match value {
                Some(value) => within(&field, value, 0.0, most, unit),
                None => {
                    notes.assumed.push((field, otherwise));
                    Ok(otherwise)
                }
            }
        };
        let step = told("step_g", weighed.step_g, STEP_G, 100.0, "g")?;
        let repeat_g = told("u_repeat_g", weighed.u_repeat_g, U_REPEAT_G, 100.0, "g")?;
        let fill_ml = told("u_fill_ml", weighed.u_fill_ml, U_FILL_ML, 100.0, "mL")?;
        let seen = scatter_ml(weighed, sg);
        if seen > 2.0 * fill_ml.hypot(repeat_g) {
            notes.warnings.push(format!(
                "The fillings scatter by {seen:.2} mL, more than the {fill_ml} mL taken for one: stir, tap the bubbles out \
                 and fill again; the scatter seen is used"
            ));
        }
        // A reading is anywhere within a step: half its width over the root of three.
        Ok(Self { at, digits_g: step / 12.0_f64.sqrt(), repeat_g, fill_ml: fill_ml.max(seen) })
    }

    fn source(&self, name: &str, what: String, u: f64, unit: &'static str) -> Source {
        Source { input: format!("{}.{name}", self.at), what, u, unit, advice: MEASURE_AGAIN }
    }

    /// A reading: its digits stay, its scatter shrinks with repeats.
    fn reading(&self, name: &str, what: &str, value: f64, n: usize) -> Known {
        let u = self.digits_g.hypot(self.repeat_g / count(n).sqrt());
        Known::told(value, self.source(name, what.to_owned(), u, "g"))
    }

    /// The mean of several fillings of what weighs so many grams per mL.
    fn filled(&self, name: &str, what: &str, value: f64, n: usize, g_per_ml: f64) -> Known {
        let reading = self.reading(name, &format!("the reading with {what}"), value, n);
        let u = self.fill_ml / count(n).sqrt();
        let fill = self.source(&format!("{name}.fill"), format!("{what} filled to the mark"), u, "mL");
        Known::of(value, &[(&reading, 1.0), (&Known::told(0.0, fill), g_per_ml)])
    }
}

/// Standard deviation of the fillings about their means, water and slop together, mL; 0 without repeats.
fn scatter_ml(weighed: &Weighed<'_>, sg: f64) -> f64 {
    let squares = |readings: &[f64], g_per_ml: f64| {
        let mean = readings.iter().sum::<f64>() / count(readings.len());
        readings.iter().map(|r| ((r - mean) / g_per_ml).powi(2)).sum::<f64>()
    };
    let free = weighed.water_g.len() + weighed.slop_g.len();
    if free < 3 {
        return 0.0;
    }
    ((squares(weighed.water_g, 1.0) + squares(weighed.slop_g, sg)) / count(free - 2)).sqrt()
}
