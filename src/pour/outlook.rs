//! What can be held before a batch is begun: how far fills will scatter with this hand, scale and pace, and the shortest
//! pour that can be foreseen. Advice only: nothing is refused by it.
//!
//! The variance of one fill of flow f (derived; notes on each term):
//! - `(f s)^2`: the hand answers with a scatter s.
//! - what the flow does unseen for a time tau (lag, half an interval, the hand's time), its wander of density `Q = (c f)^2`
//!   seen through readings of noise density `r = sigma^2 D`, as a steady Kalman filter has it: `sqrt2 Q^(1/4) r^(3/4) +
//!   2 tau (Q r)^(1/2) + tau^2 sqrt2 Q^(3/4) r^(1/4) + Q tau^3 / 3` (of the two-state model of mass and flow; solved by hand).
//! - `(tau u)^2`: of a short pour the flow itself is known to u only, from what is usual and a line through n readings
//!   (`12 sigma^2 / (D^2 n^3)`, least squares).
//! - what drips, to 0.12 g (creamy slop: 0.3 g, 40 %; a guess).
//!
//! The simulated tables of `tests/bench/figures.csv` are met to a half at worst (short pours on a late scale; `tests/it/outlook.rs`), on evenly read scales.

use super::hand::Hand;
use super::turn::{RAMP_S, WANDER};
use crate::scale::ScaleFacts;
use crate::units::Mass;

/// Scatter of an answer to a tone, s, of somebody practised and at work (people's SD: 0.025 to 0.07; from memory).
const ANSWER_S: f64 = 0.045;
const DRIP_G: f64 = 0.12;
/// A stream is foreseen once its flow is known to this share (derived: then the stop is known to a twentieth of tau).
const KNOWN: f64 = 0.05;
/// After so many lags a display follows a stream that began.
const LAGS: f64 = 2.0;
/// A hand's own scatter counts once it was learned from so many pours.
const LEARNED_POURS: u32 = 10;
/// Readings come so far apart where nothing is known of it, s.
const USUAL_INTERVAL_S: f64 = 0.1;
/// 95 of 100 fills lie within so many standard deviations (normal law).
const SURE: f64 = 1.96;
/// A hand pours a jug no slower and steadily, g/s (a guess): under it a squeeze bottle suits better.
const SLOWEST_G_S: f64 = 2.0;

/// What a fill is expected to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Flow it is for, g/s: this hand's pace, or anybody's.
    pub flow_g_s: f64,
    /// Standard deviation of the fills, g.
    pub spread_g: f64,
    /// The least pour whose own flow is seen in time, g.
    pub shortest_g: f64,
    /// Flow at which 95 of 100 fills lie within the tolerance and the pour is long enough to be foreseen, g/s; none where
    /// the present one does, or where no jug is poured so slowly.
    pub slower_g_s: Option<f64>,
    /// No jug is poured slowly enough for that.
    pub bottle: bool,
}

/// A table as far as it is known before a pour.
#[derive(Clone, Copy, Debug)]
struct Seen {
    sigma_g: f64,
    interval_s: f64,
    lag_s: f64,
    hand: Hand,
    target_g: f64,
}

impl Outlook {
    /// Of a target with a tolerance of so much to either side; readings come so far apart, where that is known.
    pub fn of(
        target: Mass,
        either_side: Mass,
        scale: &ScaleFacts,
        interval_s: Option<f64>,
        hand: Hand,
    ) -> Self {
        let lag_s = scale.lag.as_secs_f64();
        let seen = Seen {
            sigma_g: scale.reading_sd_g(),
            interval_s: interval_s.unwrap_or(USUAL_INTERVAL_S).clamp(0.005, 1.0),
            lag_s,
            hand: hand.beside(lag_s),
            target_g: target.g(),
        };
        let flow_g_s = hand.pace.flow_g_s;
        let holds = |flow_g_s: f64| {
            SURE * seen.spread_g(flow_g_s) <= either_side.g() && seen.shortest_g(flow_g_s) <= target.g()
        };
        // Down from the present flow in steps of a twentieth.
        let slower = (1..60)
            .map(|i| flow_g_s * 0.95_f64.powi(i))
            .take_while(|f| *f >= SLOWEST_G_S)
            .find(|f| holds(*f));
        let ill = !holds(flow_g_s);
        Self {
            flow_g_s,
            spread_g: seen.spread_g(flow_g_s),
            shortest_g: seen.shortest_g(flow_g_s),
            slower_g_s: slower.filter(|_| ill),
            bottle: ill && slower.is_none(),
        }
    }
}

impl Seen {
    /// Unseen for so long when the stop is called, s.
    fn blind_s(&self) -> f64 {
        self.lag_s + 0.5 * self.interval_s + self.hand.hand_s
    }

    fn spread_g(&self, flow_g_s: f64) -> f64 {
        let short_g = self.blind_s() * self.flow_u_g_s(flow_g_s);
        let learned = self.hand.scatter_s.filter(|_| self.hand.pours >= LEARNED_POURS);
        match learned {
            Some(scatter_s) => (scatter_s * flow_g_s).hypot(short_g),
            None => self.wandered_g(flow_g_s).hypot(ANSWER_S * flow_g_s).hypot(DRIP_G).hypot(short_g),
        }
    }

    /// What the flow does unseen, g.
    fn wandered_g(&self, flow_g_s: f64) -> f64 {
        let tau = self.blind_s();
        let q = (WANDER * flow_g_s).powi(2);
        let r = self.sigma_g * self.sigma_g * self.interval_s;
        let root2 = std::f64::consts::SQRT_2;
        let variance = root2 * q.powf(0.25) * r.powf(0.75)
            + 2.0 * tau * (q * r).sqrt()
            + tau * tau * root2 * q.powf(0.75) * r.powf(0.25)
            + q * tau.powi(3) / 3.0;
        variance.sqrt()
    }

    /// How well the flow of a pour of the target is known when its stop is called, g/s.
    fn flow_u_g_s(&self, flow_g_s: f64) -> f64 {
        let usual = (self.hand.pace.cv * flow_g_s).powi(2);
        let seen_s = self.target_g / flow_g_s - RAMP_S - LAGS * self.lag_s - self.blind_s();
        let n = (seen_s / self.interval_s).max(0.0);
        let line = 12.0 * (self.sigma_g / self.interval_s).powi(2);
        // Two that are independent, each weighed by its variance.
        (usual * line / (usual * n.powi(3) + line)).sqrt()
    }

    /// Ramp, what the display needs to follow, the line that fixes the flow, and what is blind.
    fn shortest_g(&self, flow_g_s: f64) -> f64 {
        let line = 12.0 * (self.sigma_g / self.interval_s).powi(2);
        let fixed_s = self.interval_s * (line / (KNOWN * flow_g_s).powi(2)).cbrt();
        flow_g_s * (RAMP_S + LAGS * self.lag_s + fixed_s + self.blind_s())
    }
}
