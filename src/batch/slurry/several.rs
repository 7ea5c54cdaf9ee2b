//! Several measurements of one bucket made one.
//!
//! Independent ones are weighted by the inverse of their squared uncertainties. What one of them was
//! used up for (the powder's density) is not counted again.

use super::super::bounds::{Notes, Refused};
use super::super::known::Known;
use super::super::request::GlazeRequest;
use super::measure::{Around, Doubt, Found, Measured, Powder, measured};
use super::{Slurry, by_gravity, no_powder, possible, powder_ratio};

/// Most measurements of one bucket.
const MOST: usize = 20;
/// A value found, and by what.
type By = (&'static str, Known);

/// The slop that these measurements of it agree on best.
pub(super) fn combined(
    measures: &[GlazeRequest],
    (powder, doubt): (Option<f64>, Doubt),
    around: &Around<'_>,
    notes: &mut Notes,
) -> Result<Slurry, Refused> {
    if measures.is_empty() || measures.len() > MOST {
        let reason = format!("has {} measurements; give 1 to {MOST}", measures.len());
        return Err(Refused::new("glaze.measures", reason));
    }
    let mut powder = Powder { at: "glaze", told: powder, doubt }.known(notes)?;
    let (mut shares, mut gravities) = (Vec::<By>::new(), Vec::<By>::new());
    for (n, glaze) in measures.iter().enumerate() {
        let at = format!("glaze.measures[{n}]");
        let one = measured(glaze, &at, around, notes)?;
        one_powder(&mut powder, &one, &at)?;
        match one.found {
            Found::Solids(solids) => {
                notes.step(
                    &format!("Dry share by {}", one.by),
                    one.working,
                    format!("{:.6}, uncertain by {:.4}", solids.value(), solids.u()),
                );
                shares.push((one.by, solids));
            }
            Found::Gravity(gravity) => gravities.push((one.by, gravity)),
        }
    }
    let gravity = (!gravities.is_empty()).then(|| weighted("specific gravity", &gravities, notes));
    if let (Some(gravity), Some(powder)) = (&gravity, &powder) {
        let field = "glaze.measures";
        shares.push(("the slop's density", by_gravity(field, gravity, powder, around.water, notes)?));
    }
    if shares.is_empty() {
        return Err(no_powder("glaze.powder_density_g_ml"));
    }
    let solids = possible("glaze.measures", weighted("dry share", &shares, notes), notes)?;
    let powder_estimated = powder.is_none();
    if powder_estimated {
        powder = gravity.as_ref().and_then(|gravity| estimated(&solids, gravity, around, notes));
    }
    Ok(Slurry { solids, gravity, powder, powder_estimated, water: around.water })
}

/// One bucket has one powder, told once.
fn one_powder(powder: &mut Option<Known>, one: &Measured, at: &str) -> Result<(), Refused> {
    match (powder.as_ref(), &one.powder) {
        (_, None) => {}
        (None, Some(told)) => *powder = Some(told.clone()),
        (Some(_), Some(_)) => {
            let reason = "told twice for one bucket; leave one of them out";
            return Err(Refused::new(format!("{at}.powder_density_g_ml"), reason));
        }
    }
    Ok(())
}

/// The powder's density from weights and density together; solids then rest on the weights alone.
fn estimated(solids: &Known, gravity: &Known, around: &Around<'_>, notes: &mut Notes) -> Option<Known> {
    let (x, s) = (solids.value(), gravity.value());
    let water = around.water.g_ml();
    let Some(ratio) = powder_ratio(x, s) else {
        notes.warnings.push(format!(
            "No powder makes a slop of {x:.4} dry share as heavy as specific gravity {s:.4}: weigh both again; the \
             weights alone are used"
        ));
        return None;
    };
    let rest = 1.0 - s * (1.0 - x);
    let by_x = s * (1.0 - s) / (rest * rest) * water;
    let by_s = x / (rest * rest) * water;
    let powder = Known::of(ratio * water, &[(solids, by_x), (gravity, by_s)]);
    notes.step(
        "Powder density, estimated",
        format!(
            "{x:.6} x {s:.6} / (1 - {s:.6} x (1 - {x:.6})) x {water:.4} g/mL; weights and density are used up for it, so \
             the dry share is that of the weights"
        ),
        format!("{:.3} g/mL, uncertain by {:.3}", powder.value(), powder.u()),
    );
    notes.warn_outside(
        "Powder density, estimated from weights and density,",
        powder.value(),
        2.4,
        3.2,
        "water may have gone, or air or lumps are in the slop: stir and measure again",
    );
    Some(powder)
}

/// The weighted mean; what disagrees beyond what both are known to (k = 2) is said, and widens the doubt.
fn weighted(what: &str, found: &[By], notes: &mut Notes) -> Known {
    let parts: Vec<&Known> = found.iter().map(|(_, known)| known).collect();
    if let [one] = parts.as_slice() {
        return (*one).clone();
    }
    // A value told without doubt outweighs the rest, but not by an infinity.
    let weight = |known: &Known| known.u().max(1e-7).powi(-2);
    let whole: f64 = parts.iter().map(|k| weight(k)).sum();
    let shares: Vec<f64> = parts.iter().map(|k| weight(k) / whole).collect();
    let value = parts.iter().zip(&shares).map(|(k, share)| k.value() * share).sum();
    let slopes: Vec<(&Known, f64)> = parts.iter().copied().zip(shares.iter().copied()).collect();
    let mean = Known::of(value, &slopes);
    let terms = found
        .iter()
        .zip(&shares)
        .map(|((by, known), share)| format!("{share:.4} x {:.5} by {by}", known.value()));
    notes.step(
        &format!("Weighted {what}"),
        terms.collect::<Vec<_>>().join(" + "),
        format!("{value:.5}, uncertain by {:.4}", mean.u()),
    );
    let disagree = disagreements(what, found, notes);
    let square = |known: &&Known| ((known.value() - value) / known.u().max(1e-7)).powi(2);
    // As many free differences as values less one.
    let free = u32::try_from(parts.len() - 1).map_or(1.0, f64::from);
    let stretch = (parts.iter().map(square).sum::<f64>() / free).sqrt();
    if disagree && stretch > 1.0 { mean.doubted(stretch) } else { mean }
}

fn disagreements(what: &str, found: &[By], notes: &mut Notes) -> bool {
    let before = notes.warnings.len();
    for (n, (by, one)) in found.iter().enumerate() {
        for (other_by, other) in &found[n + 1..] {
            let apart = (one.value() - other.value()).abs();
            let room = 2.0 * one.u().hypot(other.u());
            if apart > room {
                notes.warnings.push(format!(
                    "{by} and {other_by} do not agree on the {what}: {:.4} and {:.4} are {apart:.4} apart, more than the \
                     {room:.4} that both are known to (k = 2). Stir well and measure again; has water gone, was powder \
                     left over, or is there air in the slop? Their weighted mean is used, its uncertainty widened to fit",
                    one.value(),
                    other.value()
                ));
            }
        }
    }
    notes.warnings.len() > before
}
