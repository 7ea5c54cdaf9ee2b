//! How well a target is known: what all pieces share, and what each has for itself.
//!
//! Warns, never refuses.

use super::bounds::Notes;
use super::known::Known;
use super::request::TargetRequest;
use crate::units::Mass;

/// A coat this much too thick or too thin, percent, is mostly still good: 10 to 15. From memory, common practice.
const USEFUL_COAT_PERCENT: f64 = 15.0;

/// One uncertain input and how far it moves the target, all pieces alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The input, as its path in the request.
    pub input: String,
    /// The same in words.
    pub what: String,
    /// Its standard uncertainty, in `unit`.
    pub u: f64,
    /// Unit of `u`; empty for a ratio.
    pub unit: &'static str,
    /// How far that moves the target.
    pub moves: Mass,
    /// The same in percent of the target.
    pub percent: f64,
    /// What makes it smaller.
    pub advice: &'static str,
}

impl Doubt {
    /// In words, e.g. `0.01 in the specific gravity moves the target by 1.5 %`.
    pub fn told(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        let u = format!("{:.4}", self.u);
        let u = u.trim_end_matches('0').trim_end_matches('.');
        format!(
            "{u}{unit} in {} moves the target by {:.1} % ({:.2} g)",
            self.what,
            self.percent,
            self.moves.g()
        )
    }
}

/// What the target's shared uncertainty is made of, the largest first.
pub(super) fn doubts(slop: &Known) -> Vec<Doubt> {
    let each = |(source, by): (&super::known::Source, f64)| Doubt {
        input: source.input.clone(),
        what: source.what.clone(),
        u: source.u,
        unit: source.unit,
        moves: Mass::saturating(by),
        percent: 100.0 * by / slop.value(),
        advice: source.advice,
    };
    slop.doubts().into_iter().map(each).collect()
}

/// The largest in words, with what makes it smaller.
pub(super) fn largest(doubts: &[Doubt]) -> Option<String> {
    doubts.first().map(|doubt| format!("{}: {}", doubt.told(), doubt.advice))
}

/// What of the uncertainties should be said.
pub(super) fn remark(request: &TargetRequest, target: Mass, shared: Option<Mass>, notes: &mut Notes) {
    // Shared by all pieces, so it is compared with what a coat may be off, not with the tolerance of a piece.
    if let Some(u) = shared.filter(|u| 200.0 * u.g() > USEFUL_COAT_PERCENT * target.g()) {
        notes.warnings.push(format!(
            "The target itself is only known to {:.2} g (one standard uncertainty): pieces will agree with each other, but \
             all may be off the wanted coat by twice that; measure better, or check a test piece",
            u.g()
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

/// What should be said where one weighing, of this standard uncertainty, is coarser than the tolerance.
pub(super) fn too_coarse(u: Mass, half: Mass) -> Option<String> {
    (2.0 * u.g() > half.g()).then(|| {
        format!(
            "One weighing is uncertain by {:.2} g (k = 2), more than the tolerance of {:.2} g: what is called good may not \
             be; widen the tolerance or use a finer scale",
            2.0 * u.g(),
            half.g()
        )
    })
}
