//! How far from its target a piece may be and is still good.
//!
//! Never knows how a target was found.

use super::bounds::{Notes, Refused};
use super::request::ToleranceRequest;
use crate::units::{Mass, as_told};

pub(super) fn usual_tolerance(notes: &mut Notes) -> ToleranceRequest {
    notes.assumed.push(("tolerance.percent".to_owned(), ToleranceRequest::USUAL_PERCENT));
    ToleranceRequest::Percent(ToleranceRequest::USUAL_PERCENT)
}

/// The finest step that the settings take (`step_g`): what is good can't be told closer.
const LEAST_TOLERANCE_G: f64 = 0.001;

pub(super) fn tolerance(wanted: ToleranceRequest, target: Mass, notes: &mut Notes) -> Result<Mass, Refused> {
    let (field, percent, working) = match wanted {
        ToleranceRequest::Percent(percent) => {
            ("tolerance.percent", percent, format!("{} %", as_told(percent)))
        }
        ToleranceRequest::Grams(grams) => {
            ("tolerance.grams", 100.0 * grams / target.g(), format!("{} g", as_told(grams)))
        }
    };
    if !(percent > 0.0 && percent < 100.0) {
        let reason = format!(
            "{working} must be above 0 and less than the whole target of {:.3} g; 5 percent is a start",
            target.g()
        );
        return Err(Refused::new(field, reason));
    }
    let half = wanted.half_g(target);
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
