//! Whether the weight that lies there is what the step asks for.

use super::step::{Amiss, Load, Step};
use crate::calibration::masses::OwnMass;
use crate::calibration::reference::looks_like_g;

/// A bare pan shows less than this either way at first, g: a scale wakes at zero (as `guide/mod.rs` has it).
const BARE_G: f64 = 15.0;
/// A mass shows what it is worth to within this share: a scale further off is broken (as `calibration/report.rs` has it).
const FAR_OFF: f64 = 0.1;
/// ... or to within so many steps of the display: of a light mass (own choice).
const FAR_STEPS: f64 = 3.0;
/// A change of the load below this share of the mass asked for is no mass set down: drips, a sleeve (a guess).
const NO_MASS: f64 = 0.3;

/// What is known of the pan.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pan {
    division_g: f64,
    /// What it shows bare; none before it was seen so.
    zero_g: Option<f64>,
    /// The latest weight taken, as shown.
    taken_g: f64,
    /// What the piece weighs, above the zero.
    piece_g: f64,
}

/// Whether a weight at rest is what is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Fits {
    Yes,
    No(Amiss),
    /// Nothing was done yet.
    NotYet,
}

impl Pan {
    pub(super) fn new(division_g: f64) -> Self {
        Self { division_g, zero_g: None, taken_g: 0.0, piece_g: 0.0 }
    }

    pub(super) fn zero_g(&self) -> f64 {
        self.zero_g.unwrap_or(0.0)
    }

    pub(super) fn taken_g(&self) -> f64 {
        self.taken_g
    }

    /// This weight was taken.
    pub(super) fn take(&mut self, bare: bool, shown_g: f64) {
        if bare {
            self.zero_g = Some(shown_g);
        }
        self.taken_g = shown_g;
    }

    /// The step goes by how much the load has changed since the latest weight taken: what lay there before is known.
    pub(super) fn judge(&mut self, step: &Step, masses: &[OwnMass], shown_g: f64) -> Fits {
        let net_g = shown_g - self.zero_g();
        let before_g = self.taken_g - self.zero_g();
        let mass_g = step.mass.and_then(|m| masses.get(m)).map_or(0.0, |m| m.reference.mass_g);
        let wanted_g = match step.load {
            Load::Bare if self.zero_g.is_none() => return first_zero(shown_g),
            Load::Bare => return self.bare(net_g, before_g, mass_g),
            Load::Between(least_g, most_g) => return self.piece(net_g, (least_g, most_g)),
            Load::About(g) => g,
            Load::OnPiece(g) => self.piece_g + g,
        };
        let near_g = (FAR_OFF * mass_g).max(FAR_STEPS * self.division_g);
        let moved_g = (net_g - before_g).abs();
        let other = nearer(masses, mass_g, moved_g).filter(|_| (moved_g - mass_g).abs() > 0.02 * mass_g);
        // Something that lies there already is what was wanted: it stays, or was moved.
        let stays = (wanted_g - before_g).abs() < near_g;
        if (net_g - wanted_g).abs() <= near_g && (other.is_none() || stays) {
            return Fits::Yes;
        }
        let close = |g: &f64| (moved_g - g).abs() <= FAR_OFF * g;
        let other = other.filter(close);
        // However light it is: one of the set that lies there in the place of another is no drip.
        if other.is_none() && moved_g <= (NO_MASS * mass_g).max(self.division_g) {
            return Fits::NotYet;
        }
        match other.or_else(|| looks_like_g(moved_g)) {
            Some(g) if (g - mass_g).abs() > 1e-6 => Fits::No(Amiss::LooksLike(g)),
            Some(_) | None => Fits::No(Amiss::Other),
        }
    }

    fn bare(&self, net_g: f64, before_g: f64, mass_g: f64) -> Fits {
        let within_g = (NO_MASS * mass_g).min(BARE_G).max(FAR_STEPS * self.division_g);
        if net_g.abs() <= within_g {
            Fits::Yes
        } else if (net_g - before_g).abs() <= (FAR_OFF * before_g.abs()).max(self.division_g) {
            Fits::NotYet
        } else {
            Fits::No(Amiss::NotBare)
        }
    }

    fn piece(&mut self, net_g: f64, (least_g, most_g): (f64, f64)) -> Fits {
        if net_g < NO_MASS * least_g {
            Fits::NotYet
        } else if net_g < least_g {
            Fits::No(Amiss::TooLight)
        } else if net_g > most_g {
            Fits::No(Amiss::TooHeavy)
        } else {
            self.piece_g = net_g;
            Fits::Yes
        }
    }
}

fn first_zero(shown_g: f64) -> Fits {
    if shown_g.abs() < BARE_G { Fits::Yes } else { Fits::No(Amiss::NotBare) }
}

/// The mass of the set that is nearer to this weight than the one asked for, g.
fn nearer(masses: &[OwnMass], wanted_g: f64, shown_g: f64) -> Option<f64> {
    let off = |g: f64| (g - shown_g).abs();
    let all = masses.iter().map(|m| m.reference.mass_g).filter(|g| off(*g) < off(wanted_g));
    all.min_by(|a, b| off(*a).total_cmp(&off(*b)))
}
