//! How late the scale shows and the hand stops, and the test of the scale, as they are told.

use serde::Serialize;
use utoipa::ToSchema;

/// How late the scale shows.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct LagView {
    /// How late, as it is gone by.
    pub lag_ms: f64,
    /// Standard uncertainty of that; null where it is assumed or told.
    pub u_ms: Option<f64>,
    /// `assumed`, `told` (`lag_ms` of the settings), `learned` (as pieces landed and left) or `measured`.
    pub origin: &'static str,
    /// Steps of the pan it was learned from; while it is still assumed, those that were seen.
    pub steps: u32,
    /// How it smooths, where that was measured: `quick`, `pole`, `mean`, `both`, `adaptive` or `holds`.
    pub way: Option<String>,
    /// What was measured, also where the settings tell something else that is gone by.
    pub measured_ms: Option<f64>,
}

/// How late a hand stops after the tone: of this pourer with this jug on this scale, guided so.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct HandView {
    /// Who pours, where said.
    pub pourer: Option<String>,
    /// With which jug, where said.
    pub jug: Option<String>,
    /// What sounds before the stop: `stop`, `warned` or `countdown`.
    pub guidance: &'static str,
    /// From the stop to the stream's end.
    pub hand_ms: f64,
    /// How it scatters from pour to pour, a standard deviation; null before there are pours enough to tell.
    pub scatter_ms: Option<f64>,
    /// `assumed` or `learned`.
    pub origin: &'static str,
    /// Pours it was learned from.
    pub pours: u32,
}

/// Lag and hand together, found from the pours of this batch, as a check on the two.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SumView {
    /// The two as they are gone by, together.
    pub known_ms: f64,
    /// Their sum by the slope of what came after the reading at the stop, against flow; null until the pours tell it.
    pub slope_ms: Option<f64>,
    /// Standard error of that.
    pub u_ms: Option<f64>,
    /// Pours that say something of it.
    pub pours: u32,
    /// `unknown`, `agrees` or `differs` (by more than 50 ms, for sure).
    pub agreement: &'static str,
}

/// The response test of the scale, under way or just done.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LagTestView {
    /// What the pan waits for: `bare`, `heavy` or `light` (something of such a weight), `again` (the same once more), `off`
    /// (lift it off, in one go), or `done`.
    pub wants: &'static str,
    /// Steps done.
    pub done: u32,
    /// Steps in all.
    pub steps: u32,
    /// The least weight wanted, g; null where none is.
    pub least_g: Option<f64>,
    /// The most.
    pub most_g: Option<f64>,
    /// Why what lies there is not taken: `not-bare`, `too-light`, `too-heavy`, `other` or `not-in-one-go`; else null.
    pub amiss: Option<&'static str>,
}

/// The response test of the scale.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LagTestReply {
    /// Where it stands; null: none is under way.
    pub lag_test: Option<LagTestView>,
}

/// What is asked about the response test.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/ask.rs reads it field by field")]
pub struct LagTestRequest {
    /// True: it is left off. Absent or false: it begins, anew where one was under way.
    pub off: Option<bool>,
}
