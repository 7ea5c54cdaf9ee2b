//! Calibrations, checks and the potter's own masses as they are told and asked for.

use crate::calibration::masses::MassRequest;
use crate::calibration::report::Report;
use crate::calibration::request::CalibrationRequest;
use crate::record::{CalibrationRecord, CheckRecord};
use crate::units::shown::Shown;
use crate::units::to_step;
use serde::Serialize;
use utoipa::ToSchema;

/// A check does not tell the step of its scale: none that is calibrated here counts finer, g.
const FINEST_G: f64 = 0.001;

/// The calibration that the scale goes by.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct InForceView {
    /// Id (UUIDv7).
    pub id: String,
    /// When it was made (RFC 3339).
    pub made_at: String,
    /// corrected = offset + slope x indicated + bend x indicated^2, g.
    pub offset_g: f64,
    /// See there.
    pub slope: f64,
    /// See there, per g.
    pub bend_per_g: f64,
    /// For the pour it was judged for: `good`, `usable` or `too-coarse`.
    pub verdict: String,
    /// Temperature of the room then, degrees Celsius, where told.
    pub room_c: Option<f64>,
}

/// Whether the scale will do for a batch.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FitnessView {
    /// The calibration that says so.
    pub calibration: String,
    /// Standard uncertainty of a piece's net weight, g.
    pub net_u_g: f64,
    /// How far a piece may be off either way, g.
    pub tolerance_g: f64,
    /// `good` (twice the uncertainty is at most a third of that), `usable` (at most a half) or `too-coarse`.
    pub verdict: &'static str,
}

/// A term of a budget.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TermView {
    /// What.
    pub what: &'static str,
    /// Standard uncertainty, g.
    pub u_g: f64,
    /// Coverage factor of `u_g`: 1, a standard uncertainty.
    pub k: u8,
}

/// One load as it came out.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LoadView {
    /// What the mass is worth, g.
    pub load_g: f64,
    /// What the scale showed of it, less that, g.
    pub error_g: f64,
    /// What the correction leaves of it, g.
    pub residual_g: f64,
    /// Expanded uncertainty of that error (k = 2), g.
    pub u_g: f64,
    /// Coverage factor of `u_g`: 2, expanded.
    pub k: u8,
    /// Limit of error of class III at initial verification (OIML R 76), g: a yardstick, no verification.
    pub limit_g: f64,
}

/// Expanded uncertainty at a load.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ExpandedView {
    /// Load, g.
    pub load_g: f64,
    /// Expanded uncertainty (k = 2) of what the scale shows of it, g.
    pub u_g: f64,
    /// Coverage factor of `u_g`: 2, expanded.
    pub k: u8,
}

/// A calibration.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CalibrationView {
    /// Id (UUIDv7).
    pub id: String,
    /// Name of the scale.
    pub scale: String,
    /// When it was made (RFC 3339).
    pub made_at: String,
    /// The scale goes by it, from the next piece on.
    pub in_force: bool,
    /// corrected = offset + slope x indicated + bend x indicated^2, g.
    pub offset_g: f64,
    /// See there.
    pub slope: f64,
    /// See there, per g; 0 unless the points show a bend beyond chance, it matters, and they reach as far as piece and pour.
    /// Above the largest load the curve goes on as its tangent.
    pub bend_per_g: f64,
    /// The load that does not fit the correction, g; null: all do.
    pub misfit_g: Option<f64>,
    /// What the correction leaves at each point, g.
    pub residuals_g: Vec<f64>,
    /// Each point.
    pub loads: Vec<LoadView>,
    /// Standard deviation of placements, g.
    pub repeatability_g: f64,
    /// Greatest difference of going up and down at one load, g; null where none was met both ways.
    pub hysteresis_g: Option<f64>,
    /// Greatest difference off the centre, g; null: not tried.
    pub eccentric_g: Option<f64>,
    /// Terms of the net weight that it was judged for.
    pub budget: Vec<TermView>,
    /// Expanded uncertainty (k = 2) at each load.
    pub expanded: Vec<ExpandedView>,
    /// The net weight that it was judged for, g.
    pub net_g: f64,
    /// How far that may be off either way, g.
    pub tolerance_g: f64,
    /// Standard uncertainty of that net weight, g.
    pub net_u_g: f64,
    /// Smallest pour of which this scale is good, with the same share of tolerance, g; null: of none.
    pub smallest_pour_g: Option<f64>,
    /// Smallest net weight by the rule of USP <41>, for 0.10 percent, g.
    pub usp_smallest_g: f64,
    /// `good`, `usable` or `too-coarse`.
    pub verdict: &'static str,
    /// What is to be said of it.
    pub warnings: Vec<String>,
    /// What was asked and read.
    pub request: CalibrationRequest,
}

impl CalibrationView {
    /// As told, its sentences in these units.
    pub fn of(
        record: &CalibrationRecord,
        request: CalibrationRequest,
        found: &Report,
        in_force: bool,
        shown: Shown,
    ) -> Self {
        let fine = |g: f64| to_step(g, request.division_g);
        let load = |l: &crate::calibration::report::Load| LoadView {
            load_g: l.load_g,
            error_g: fine(l.error_g),
            residual_g: fine(l.residual_g),
            u_g: l.expanded_g,
            k: 2,
            limit_g: l.limit_g,
        };
        Self {
            id: record.id.clone(),
            scale: record.scale.clone(),
            made_at: record.made_at.rfc3339(),
            in_force,
            // As it was kept: what the scale goes by is never reckoned anew.
            offset_g: fine(record.offset_g),
            slope: record.slope,
            bend_per_g: record.bend_per_g,
            misfit_g: found.misfit_g,
            residuals_g: found.loads.iter().map(|l| fine(l.residual_g)).collect(),
            loads: found.loads.iter().map(load).collect(),
            repeatability_g: found.repeatability_g,
            hysteresis_g: found.hysteresis_g.map(fine),
            eccentric_g: found.eccentric_g.map(fine),
            budget: found.budget.iter().map(|t| TermView { what: t.what, u_g: t.u_g, k: 1 }).collect(),
            expanded: found
                .loads
                .iter()
                .map(|l| ExpandedView { load_g: l.load_g, u_g: l.expanded_g, k: 2 })
                .collect(),
            net_g: found.pour_g.0,
            tolerance_g: found.pour_g.1,
            net_u_g: found.net_u_g,
            smallest_pour_g: found.smallest_g,
            usp_smallest_g: found.usp_smallest_g,
            verdict: found.fitness.word(),
            warnings: found.warnings_in(&request, shown),
            request,
        }
    }
}

/// Whether the scale goes by a calibration.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/calibrations.rs reads it field by field")]
pub struct UseRequest {
    /// True: not any more, by what it shows. Absent or false: by this one from the next piece on.
    pub off: Option<bool>,
}

/// What the scale goes by.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct UseView {
    /// Id of the calibration; null: by what it shows.
    pub calibration: Option<String>,
}

/// The potter's own masses.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct MassesView {
    /// As they were told; empty: none are kept.
    pub masses: Vec<MassRequest>,
}

/// A check of the scale.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CheckView {
    /// Id (UUIDv7).
    pub id: String,
    /// When (RFC 3339).
    pub made_at: String,
    /// The calibration in force then.
    pub calibration: Option<String>,
    /// What the mass is worth, g.
    pub mass_g: f64,
    /// What the scale showed of it, as indicated, g.
    pub shown_g: f64,
    /// That, corrected, less the mass; of a mass that the scale was calibrated with, less what the scale made of it then, g.
    pub error_g: f64,
    /// Standard uncertainty of that error, g: `again` beyond twice, `calibrate` beyond three times it.
    pub u_g: f64,
    /// Coverage factor of `u_g`: 1, a standard uncertainty.
    pub k: u8,
    /// Temperature of the room, degrees Celsius, where told.
    pub room_c: Option<f64>,
    /// `in-order`, `again` (check it once more) or `calibrate`.
    pub says: String,
}

impl From<&CheckRecord> for CheckView {
    fn from(c: &CheckRecord) -> Self {
        Self {
            id: c.id.clone(),
            made_at: c.made_at.rfc3339(),
            calibration: c.calibration.clone(),
            mass_g: c.mass_g,
            shown_g: to_step(c.shown_g, FINEST_G),
            error_g: to_step(c.error_g, FINEST_G),
            u_g: c.u_g,
            k: 1,
            room_c: c.room_c,
            says: c.says.clone(),
        }
    }
}

/// A routine at the pan: a calibration or a check, under way or just done.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RoutineView {
    /// `calibration` or `check`.
    pub kind: &'static str,
    /// What the pan waits for: `empty`, `put`, `add`, `take-off`, `off`, `move`, `piece`, `on-top`, `stay`, `wait`, of the
    /// response test `heavy`, `light`, `again`, `lift`; or `done`.
    pub wants: &'static str,
    /// That in words.
    pub says: String,
    /// The mass it is about, by name; null: of none.
    pub mass: Option<String>,
    /// What that mass is worth, g.
    pub mass_g: Option<f64>,
    /// Where on the pan: `front-left` and so on; null: in the middle.
    pub place: Option<&'static str>,
    /// Seconds that it is still to lie there; null: none.
    pub seconds_left: Option<u32>,
    /// Why what lies there is not taken: `not-bare`, `looks-like`, `other`, `too-much`, `restless`, `zero-moved`,
    /// `taken-off`, `too-light`, `too-heavy`, `not-in-one-go`; else null.
    pub amiss: Option<&'static str>,
    /// That in words.
    pub amiss_says: Option<String>,
    /// Steps done.
    pub done: u32,
    /// Steps in all.
    pub steps: u32,
    /// Id of the calibration or the check that came of it, once it is on its way to the disk.
    pub result: Option<String>,
    /// What a check says (`in-order`, `again`, `calibrate`), or the verdict of a calibration (`does-not-fit`: a load does not).
    pub verdict: Option<&'static str>,
    /// Why nothing came of it.
    pub refused: Option<String>,
}

/// A routine at the pan.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RoutineReply {
    /// Where it stands; null: none is under way.
    pub routine: Option<RoutineView>,
}

/// What is asked about a calibration at the pan.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/routine.rs reads it field by field")]
pub struct RoutineRequest {
    /// The masses at hand; absent: those that are kept.
    pub masses: Option<Vec<MassRequest>>,
    /// What of it besides series and placements: `corners`, `many`, `on-piece`, `creep`, `warm-up`, `lag`. Absent:
    /// `corners`.
    pub parts: Option<Vec<String>>,
    /// The pour that it is judged for, g; absent: 29.
    pub net_g: Option<f64>,
    /// How far that may be off, g; absent: 5 percent of it.
    pub tolerance_g: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    pub room_c: Option<f64>,
    /// Who does it.
    pub operator: Option<String>,
    /// True: it is left off, and nothing is changed.
    pub off: Option<bool>,
}

/// What is asked about a check.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/routine.rs reads it field by field")]
pub struct CheckRequest {
    /// The mass at hand, alone in the list; absent: the heaviest of those that are kept.
    pub masses: Option<Vec<MassRequest>>,
    /// Temperature of the room, degrees Celsius.
    pub room_c: Option<f64>,
    /// True: it is left off.
    pub off: Option<bool>,
}

/// How warm the room is.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/routine.rs reads it field by field")]
pub struct RoomRequest {
    /// Degrees Celsius; null: nobody knows.
    pub room_c: Option<f64>,
}

/// How warm the room is.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RoomView {
    /// Degrees Celsius; null: nobody knows.
    pub room_c: Option<f64>,
}
