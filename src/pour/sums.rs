//! The sum of the scale's lag and the hand's time, found from finished pours alone: a check on the two as learned.
//!
//! What still comes after the reading that the scale showed when the stop was due is flow times that sum, and what drips
//! (derived). So over pours of different flows the slope is a time, whatever drips; which part of it is the scale's no
//! finished pour tells. It decides nothing: it is only said.

use std::collections::VecDeque;

/// Pours looked back on: an afternoon of one hand (own choice).
const KEPT: usize = 48;
/// Less is no stream, g/s (as `hand.rs` has it).
const LEAST_FLOW_G_S: f64 = 0.5;
/// Fewer say nothing: two values are fitted (own choice).
const LEAST_POURS: usize = 8;
/// The flow has to vary by this share of itself (own choice: of a hand that pours as evenly the slope is not known to
/// 50 ms before some hundred pours).
const LEAST_SPREAD: f64 = 0.1;
/// A sum that is off by less is taken for the same, s (lags from quick and slow pours should agree to that; own choice).
pub const SAME_S: f64 = 0.05;
/// A slope that is known no better than this, as a standard error, agrees with nearly anything, s (derived: two of them
/// are then no more than what is tolerated).
const KNOWN_S: f64 = 0.025;
/// Two standard errors: 95 of 100 lie within (normal law).
const SURE: f64 = 2.0;

/// What one pour shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Flow when the stop was due, g/s.
    pub flow_g_s: f64,
    /// What came after the reading of that moment, g.
    pub gain_g: f64,
}

/// The slope of what still came against flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Lag and hand together, s.
    pub sum_s: f64,
    /// Its standard error, s.
    pub u_s: f64,
    /// What comes at any flow, g.
    pub drip_g: f64,
    /// Pours it is from.
    pub pours: u32,
}

/// Whether the sum from the pours is the sum as learned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Agreement {
    /// Too few pours, too even a flow, or too much scatter.
    Unknown,
    /// It is, as well as it is known.
    Agrees,
    /// It is not.
    Differs,
}

impl Agreement {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Agrees => "agrees",
            Self::Differs => "differs",
        }
    }
}

impl Slope {
    /// Against this sum, s. They differ where all that is likely is more than [`SAME_S`] off it; they agree where none is.
    pub fn against(&self, sum_s: f64) -> Agreement {
        let off_s = (self.sum_s - sum_s).abs();
        if off_s - SURE * self.u_s > SAME_S {
            Agreement::Differs
        } else if self.u_s <= KNOWN_S && off_s <= SAME_S {
            Agreement::Agrees
        } else {
            Agreement::Unknown
        }
    }
}

/// What the latest pours showed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sums {
    pours: VecDeque<Shown>,
}

impl Sums {
    /// Takes a pour that was told to stop and is weighed at rest.
    pub fn note(&mut self, shown: Shown) {
        if shown.flow_g_s < LEAST_FLOW_G_S {
            return;
        }
        self.pours.push_back(shown);
        if self.pours.len() > KEPT {
            self.pours.pop_front();
        }
    }

    /// Pours noted.
    pub fn pours(&self) -> usize {
        self.pours.len()
    }

    /// The slope; `None` of too few pours, or too even ones. A hand scatters in time, so each pour counts by one over its
    /// flow squared (common practice of regression). The flow is the filter's, the likeliest by what was seen: an error of
    /// that kind does not flatten the slope (Berkson 1950, from memory).
    pub fn slope(&self) -> Option<Slope> {
        let n = self.pours.len() as f64;
        let sum = |of: &dyn Fn(&Shown) -> f64| self.pours.iter().map(of).sum::<f64>();
        let weight = |p: &Shown| 1.0 / (p.flow_g_s * p.flow_g_s);
        let whole = sum(&weight);
        let flow_g_s = sum(&|p| weight(p) * p.flow_g_s) / whole;
        let gain_g = sum(&|p| weight(p) * p.gain_g) / whole;
        let spread = sum(&|p| weight(p) * (p.flow_g_s - flow_g_s).powi(2));
        let varies = (spread / whole).sqrt() >= LEAST_SPREAD * flow_g_s;
        if self.pours.len() < LEAST_POURS || !varies {
            return None;
        }
        let sum_s = sum(&|p| weight(p) * (p.flow_g_s - flow_g_s) * (p.gain_g - gain_g)) / spread;
        let drip_g = gain_g - sum_s * flow_g_s;
        let off = sum(&|p| weight(p) * (p.gain_g - drip_g - sum_s * p.flow_g_s).powi(2));
        let u_s = (off / (n - 2.0) / spread).sqrt();
        let pours = u32::try_from(self.pours.len()).unwrap_or(u32::MAX);
        Some(Slope { sum_s, u_s, drip_g, pours })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pours whose stream goes on for `sum_s` and then drips 0.3 g, each a little off; the same ones each time.
    fn poured(n: u32, sum_s: f64, scatter_s: f64, flow: impl Fn(f64) -> f64) -> Sums {
        let mut sums = Sums::default();
        for i in 0..n {
            // Evenly spread, without a period in common.
            let (a, b) = ((f64::from(i) * 0.618_034).fract(), (f64::from(i) * 0.754_877).fract());
            let flow_g_s = flow(a);
            let off_s = scatter_s * 12.0_f64.sqrt() * (b - 0.5);
            sums.note(Shown { flow_g_s, gain_g: flow_g_s * (sum_s + off_s) + 0.3 });
        }
        sums
    }

    #[test]
    fn the_slope_is_the_sum_and_what_drips_is_left_out_of_it() {
        let slope = poured(12, 0.62, 0.0, |a| 5.0 + 6.0 * a).slope().expect("a slope");
        assert!((slope.sum_s - 0.62).abs() < 1e-9 && (slope.drip_g - 0.3).abs() < 1e-9, "{slope:?}");
        assert!(slope.u_s < 1e-9 && slope.pours == 12);
        let slope = poured(48, 0.62, 0.05, |a| 5.0 + 6.0 * a).slope().expect("a slope");
        assert!((slope.sum_s - 0.62).abs() < 2.0 * slope.u_s, "{slope:?}");
        assert!((0.01..0.06).contains(&slope.u_s), "{slope:?}");
    }

    #[test]
    fn few_pours_and_an_even_flow_say_nothing() {
        assert_eq!(poured(7, 0.62, 0.0, |a| 5.0 + 6.0 * a).slope(), None);
        assert_eq!(poured(40, 0.62, 0.05, |a| 8.0 + 0.4 * a).slope(), None);
        assert_eq!(Sums::default().slope(), None);
    }

    #[test]
    fn a_difference_is_told_only_where_all_that_is_likely_is_over_50_ms_off() {
        let slope = |sum_s, u_s| Slope { sum_s, u_s, drip_g: 0.3, pours: 20 };
        assert_eq!(slope(0.62, 0.02).against(0.64), Agreement::Agrees);
        assert_eq!(slope(0.62, 0.02).against(0.70), Agreement::Unknown);
        assert_eq!(slope(0.62, 0.02).against(0.72), Agreement::Differs);
        assert_eq!(slope(0.62, 0.02).against(0.52), Agreement::Differs);
        assert_eq!(slope(0.62, 0.05).against(0.62), Agreement::Unknown, "known too badly to agree");
        assert_eq!(slope(0.62, 0.05).against(0.76), Agreement::Unknown);
        assert_eq!(slope(0.62, 0.05).against(0.78), Agreement::Differs);
    }
}
