//! The uncertainty of a net weight, term by term.
//!
//! Terms and their laws as in EURAMET cg-18 v4.0 section 7 (from memory) and the GUM. What is poured is a net weight, the
//! difference of two readings of one placement: offsets cancel, and what scales with the load scales with the net.

/// A spread below this share of the step is hidden by the step: sqrt(2) / sqrt(12), the least of a difference of two
/// readings (USP <41> rounds it to 0.41, from memory).
pub const LEAST_SPREAD: f64 = 0.41;

/// What is known of the scale, in grams and shares.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Step of the display, g.
    pub division_g: f64,
    /// Standard deviation of repeated placements as calculated, g.
    pub repeatability_g: f64,
    /// Greatest difference off the centre over the load it was measured with; 0: not measured.
    pub eccentric_share: f64,
    /// Standard uncertainty of the slope.
    pub u_slope: f64,
    /// Change under a constant load within a pour, g, a standard uncertainty; 0: not measured.
    pub creep_g: f64,
    /// How far the scale drifts from one calibration to the next, over the load, a standard uncertainty; 0: not known.
    pub drift_share: f64,
}

/// A term of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// What.
    pub what: &'static str,
    /// Standard uncertainty, g.
    pub u_g: f64,
}

impl Known {
    /// The spread that is reckoned with: never below what the step hides.
    pub fn spread_g(&self) -> f64 {
        self.repeatability_g.max(LEAST_SPREAD * self.division_g)
    }

    /// The digit's error: evenly likely over a step. Repeated readings at rest show the same digit again: not divided by
    /// their number.
    pub fn digit_g(&self) -> f64 {
        self.division_g / 12.0_f64.sqrt()
    }

    /// Terms of a net weight poured in one placement, g: u^2 = 2 (s^2 + d^2/12) + net^2 (u_slope^2 + u_ecc^2) + creep^2.
    pub fn net(&self, net_g: f64) -> Vec<Term> {
        let term = |what, u_g| Term { what, u_g };
        vec![
            term("digit at the tare", self.digit_g()),
            term("digit at the end", self.digit_g()),
            term("spread of two readings", 2.0_f64.sqrt() * self.spread_g()),
            term("off the centre", net_g.abs() * self.eccentric_u()),
            term("slope", net_g.abs() * self.u_slope),
            term("creep", self.creep_g),
            term("drift", net_g.abs() * self.drift_share),
        ]
    }

    /// Terms of a net weight where the piece was taken off and put back: what stands off the centre then counts at the whole
    /// load, twice.
    pub fn net_put_back(&self, net_g: f64, gross_g: f64) -> Vec<Term> {
        let mut terms = self.net(net_g);
        if let Some(ecc) = terms.iter_mut().find(|t| t.what == "off the centre") {
            ecc.u_g = 2.0_f64.sqrt() * gross_g.abs() * self.eccentric_u();
        }
        terms
    }

    /// Of a pour whose two readings are already known to `own_g`, g: those are not counted twice, and never taken for better
    /// than they were found to be. `gross_g`: the piece was taken off and put back.
    pub fn of_pour(&self, own_g: f64, net_g: f64, gross_g: Option<f64>) -> f64 {
        let terms = gross_g.map_or_else(|| self.net(net_g), |gross_g| self.net_put_back(net_g, gross_g));
        let is_reading = |t: &&Term| t.what.starts_with("digit") || t.what.starts_with("spread");
        let (readings, rest): (Vec<&Term>, Vec<&Term>) = terms.iter().partition(is_reading);
        let squares = |of: &[&Term]| of.iter().map(|t| t.u_g * t.u_g).sum::<f64>();
        (squares(&readings).max(own_g * own_g) + squares(&rest)).sqrt()
    }

    /// Of one reading of a load against masses of this standard uncertainty: the error of indication of cg-18.
    pub fn load(&self, load_g: f64, u_mass_g: f64) -> Vec<Term> {
        let term = |what, u_g| Term { what, u_g };
        vec![
            term("digit at zero", self.digit_g()),
            term("digit at the load", self.digit_g()),
            term("repeatability", self.repeatability_g),
            term("off the centre", load_g.abs() * self.eccentric_u()),
            term("reference mass", u_mass_g),
        ]
    }

    /// cg-18: the greatest difference, over twice the load it was found at, evenly likely.
    fn eccentric_u(&self) -> f64 {
        self.eccentric_share / (2.0 * 3.0_f64.sqrt())
    }
}

/// The terms together, g.
pub fn combined_g(terms: &[Term]) -> f64 {
    terms.iter().map(|t| t.u_g * t.u_g).sum::<f64>().sqrt()
}
