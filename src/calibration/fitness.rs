//! Whether a scale will do for a pour, and what scales of trade are held to.

/// U(net), k = 2, over what a pour may be off either way: up to a third is good, up to a half usable.
pub(super) const GOOD: f64 = 1.0 / 3.0;
/// See [`GOOD`].
pub(super) const USABLE: f64 = 0.5;

/// How fit the scale is for the pour at hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fitness {
    /// Its uncertainty is at most a third of the tolerance.
    Good,
    /// Verdicts near a limit are uncertain.
    Usable,
    /// Too coarse for this tolerance.
    TooCoarse,
}

impl Fitness {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Usable => "usable",
            Self::TooCoarse => "too-coarse",
        }
    }
}

/// By the standard uncertainty of the pour's weight, and how far it may be off.
pub fn fitness(net_u_g: f64, tolerance_g: f64) -> Fitness {
    match 2.0 * net_u_g / tolerance_g {
        share if share <= GOOD => Fitness::Good,
        share if share <= USABLE => Fitness::Usable,
        _ => Fitness::TooCoarse,
    }
}

/// OIML R 76-1:2006 table 6, class III, initial verification: half a step up to 500 steps, one up to 2,000, one and a half
/// above; ends included. Counted in whole steps, as 0.3 / 0.1 is not 3 in binary.
pub fn class_iii_limit_g(load_g: f64, division_g: f64) -> f64 {
    let steps = (load_g.abs() / division_g * (1.0 - 1e-9)).ceil();
    let limit = if steps <= 500.0 {
        0.5
    } else if steps <= 2000.0 {
        1.0
    } else {
        1.5
    };
    limit * division_g
}
