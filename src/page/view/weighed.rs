//! Things weighed one after the other, as JSON.

use serde::Serialize;
use utoipa::ToSchema;

/// Things that are weighed one after the other, under way or just done.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WeighedView {
    /// What is to be weighed, in order: words of `things` as they were asked for.
    pub things: Vec<&'static str>,
    /// What each weighed so far, above the bare pan.
    pub grams: Vec<f64>,
    /// What is to be set on the pan, or lies there; null at the end.
    pub thing: Option<&'static str>,
    /// What the pan waits for: `bare`, `on`, `off`, or `done`.
    pub wants: &'static str,
    /// Why what lies there is not taken: `not-bare`, `too-light` (a full vessel that weighs less than an empty one, too),
    /// `too-heavy`; else null.
    pub amiss: Option<&'static str>,
}

/// Things that are weighed.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WeighedReply {
    /// Where it stands; null: nothing is weighed.
    pub weighed: Option<WeighedView>,
}

/// What is asked about it: one of the two.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/weighed.rs reads it field by field")]
pub struct WeighedRequest {
    /// What is to be weighed, in order, 1 to 24 of these words: `vessel`, `water`, `slop`, `dry`, `soaked`, `piece`,
    /// `tile`, `coated`.
    pub things: Option<Vec<String>>,
    /// True: it is left off.
    pub off: Option<bool>,
}
