//! A batch as it is asked for and told.

use super::FitnessView;
use crate::batch::jug::Jug;
use crate::batch::request::{FormRequest, foreseen};
use crate::batch::{Target, TargetReply};
use crate::page::desk::Begun;
use crate::record::BatchRecord;
use crate::time::WallTime;
use serde::Serialize;
use utoipa::ToSchema;

/// A batch as JSON.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BatchView {
    /// Id (UUIDv7).
    pub id: String,
    /// What the potter calls it.
    pub name: String,
    /// Pieces planned.
    pub pieces: u32,
    /// The same where the batch said how many, or for how many there are targets; null: it did not. More may be poured.
    pub foreseen: Option<u32>,
    /// Wanted net mass of slop.
    pub target_g: f64,
    /// Least good mass.
    pub low_g: f64,
    /// Greatest good mass.
    pub high_g: f64,
    /// A target for each piece in turn, g; empty: all have the one above.
    pub targets_g: Vec<f64>,
    /// Dry share of the slop, where the request determines it.
    pub solids_fraction: Option<f64>,
    /// The inside of the pieces, where the request gave it.
    pub form: Option<FormRequest>,
    /// The same in words.
    pub form_name: Option<String>,
    /// The ware was fired already: what is poured in is not its coat.
    pub fired: bool,
    /// Who pours.
    pub pourer: Option<String>,
    /// With which jug.
    pub jug: Option<String>,
    /// What it is poured from: `jug`, `ladle`, `squeeze` or `syringe`; null: as `[pour] vessel` says.
    pub vessel: Option<String>,
    /// How a pour is finished: `stop` or `trickle`; null: as `[pour] finish` says.
    pub finish: Option<String>,
    /// The glaze by name: its pieces are numbered on from batch to batch.
    pub glaze_name: Option<String>,
    /// The version of that glaze, on its shelf, that the target was reckoned from; null: of none.
    pub bucket: Option<u32>,
    /// The least and the greatest weight of a bare piece, g, where told.
    pub bare_g: Option<[f64; 2]>,
    /// When it was made (RFC 3339).
    pub created_at: String,
    /// When it was first begun (RFC 3339).
    pub begun_at: Option<String>,
    /// When it was ended (RFC 3339).
    pub ended_at: Option<String>,
}

impl From<&BatchRecord> for BatchView {
    fn from(b: &BatchRecord) -> Self {
        Self {
            id: b.id.clone(),
            name: b.name.clone(),
            pieces: b.pieces,
            foreseen: foreseen(b.pieces, &b.request),
            target_g: b.target.told_g(),
            low_g: b.low.told_g(),
            high_g: b.high.told_g(),
            targets_g: b.ladder.iter().map(|w| w.target.told_g()).collect(),
            solids_fraction: b.solids_fraction,
            form: form(&b.request),
            form_name: b.form.clone(),
            fired: b.fired,
            pourer: b.pourer.clone(),
            jug: b.jug.clone(),
            vessel: b.vessel.clone(),
            finish: b.finish.clone(),
            glaze_name: b.glaze_name.clone(),
            bucket: b.bucket,
            bare_g: b.bare.map(|(least, greatest)| [least.told_g(), greatest.told_g()]),
            created_at: b.created_at.rfc3339(),
            begun_at: b.begun_at.map(|t| t.rfc3339()),
            ended_at: b.ended_at.map(|t| t.rfc3339()),
        }
    }
}

/// The form within a stored request. The demo's batch has none, and an old one need not parse.
fn form(request: &str) -> Option<FormRequest> {
    let whole: serde_json::Value = serde_json::from_str(request).ok()?;
    serde_json::from_value(whole.get("form")?.clone()).ok()
}

/// A batch begun or ended.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BegunView {
    /// The batch as it is now.
    #[serde(flatten)]
    pub batch: BatchView,
    /// What the potter should know.
    pub warnings: Vec<String>,
    /// What its fills are expected to be, where it begins; else null.
    pub expected: Option<ExpectedView>,
    /// Whether the scale will do for it, where it begins and the scale is calibrated; else null.
    pub weighing: Option<FitnessView>,
}

/// What fills are expected to be with this hand, scale and pace: advice, no promise.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ExpectedView {
    /// Flow it is for, g/s: this hand's pace as learned, else anybody's.
    pub flow_g_s: f64,
    /// Standard deviation of the fills, g.
    pub spread_g: f64,
    /// 95 of 100 fills lie this near the target, g: twice that.
    pub near_g: f64,
    /// The least pour whose own flow is seen in time, g.
    pub shortest_g: f64,
    /// A slower flow at which 95 of 100 fills lie within the limits, g/s; null where the present one does, or none would.
    pub slower_g_s: Option<f64>,
}

impl From<&Begun> for BegunView {
    fn from(begun: &Begun) -> Self {
        let hundredths = |value: f64| (value * 100.0).round() / 100.0;
        let expected = begun.expected.map(|told| ExpectedView {
            flow_g_s: hundredths(told.flow_g_s),
            spread_g: hundredths(told.spread_g),
            near_g: hundredths(2.0 * told.spread_g),
            shortest_g: hundredths(told.shortest_g),
            slower_g_s: told.slower_g_s.map(hundredths),
        });
        Self {
            batch: BatchView::from(&begun.batch),
            warnings: begun.warnings.clone(),
            expected,
            weighing: begun.weighing.clone(),
        }
    }
}

/// A batch made, with its target.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct MadeView {
    /// Id of the batch.
    pub id: String,
    /// What each piece should get.
    #[serde(flatten)]
    pub target: TargetReply,
}

impl MadeView {
    /// The reply for this batch.
    pub fn new(id: String, target: &Target) -> Self {
        Self { id, target: TargetReply::from(target) }
    }
}

/// What a new batch is made from: the fields of a target request, and these.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/ask.rs reads it field by field")]
pub struct BatchRequest {
    /// What the potter calls it, 1 to 80 characters; absent: batch.
    pub name: Option<String>,
    /// Pieces planned, 1 to 1000; absent: 1. Where `targets_g` or `ladder` gives a target for each of more, as many as those.
    /// More may be poured.
    #[schema(minimum = 1, maximum = 1000)]
    pub pieces: Option<u32>,
    /// Who pours, 1 to 80 characters.
    pub pourer: Option<String>,
    /// With which jug, 1 to 80 characters.
    pub jug: Option<String>,
    /// What it is poured from: `jug`, `ladle`, `squeeze` or `syringe`; absent: as `[pour] vessel` says.
    pub vessel: Option<String>,
    /// How a pour is finished: `stop`, or a little short and then with a `trickle` to a stop of its own; absent: as
    /// `[pour] finish` says.
    pub finish: Option<String>,
    /// The glaze by name, 1 to 80 characters: pieces are numbered on from the last number of any batch of
    /// this name; absent: from 1.
    pub glaze_name: Option<String>,
    /// The least and the greatest weight of a bare piece, g: what weighs otherwise is told as another ware.
    pub bare_g: Option<[f64; 2]>,
    /// A target for each piece in turn, g, each with the batch's tolerance: which coat comes out best shows in the
    /// firing. More pieces than these get the batch's own target.
    pub targets_g: Option<Vec<f64>>,
    /// Only `pour-in` so far.
    pub method: Option<String>,
    /// What each piece should get.
    #[serde(flatten)]
    pub target: crate::batch::TargetRequest,
}

/// What is left of the slop.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SlopView {
    /// In bucket and jug, g, by what was poured and what goes astray.
    pub left_g: f64,
    /// Enough for so many more pieces.
    pub enough_for: u32,
    /// The place in the batch at which it runs out; null: it will do.
    pub runs_out_at: Option<u32>,
}

/// Slop that came to a batch under way: one of the two.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/refill.rs reads it field by field")]
pub struct RefillRequest {
    /// So much slop is there now, g, in bucket and jug.
    pub now_g: Option<f64>,
    /// So much came to what was left, g.
    pub added_g: Option<f64>,
}

/// The spare weight.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SpareView {
    /// What it weighs; null: none is registered.
    pub spare_g: Option<f64>,
}

/// What is asked about the spare weight.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/ask.rs reads it field by field")]
pub struct SpareRequest {
    /// True: it is forgotten. Absent or false: it lies at rest on the bare pan now.
    pub off: Option<bool>,
}

/// The jug as it stood on the pan.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct JugView {
    /// Slop in it, g.
    pub left_g: f64,
    /// Enough for so many more pieces.
    pub enough_for: u32,
    /// What it lost since it stood there before, g; null: it did not, or slop came since.
    pub lost_g: Option<f64>,
    /// What the pieces between got, g.
    pub poured_g: Option<f64>,
    /// Lost, less poured, less what goes astray with each piece, g.
    pub difference_g: Option<f64>,
    /// How far they may differ by weighing alone (k = 2), g.
    pub room_g: Option<f64>,
    /// Whether they agree.
    pub agrees: Option<bool>,
    /// All of it in words.
    pub says: String,
    /// When it stood there (RFC 3339); null: not kept.
    pub at: Option<String>,
    /// It has not stood there since the program was started: this is what was found before.
    pub before: bool,
}

impl JugView {
    /// The jug as it stood on the pan before the program was started.
    pub fn stood(jug: &Jug, at: Option<WallTime>) -> Self {
        Self { says: jug.told_of_before(), before: true, ..Self::of(jug, at) }
    }

    /// The jug as it stands on the pan.
    pub fn of(jug: &Jug, at: Option<WallTime>) -> Self {
        let balance = jug.balance;
        Self {
            left_g: jug.left.told_g(),
            enough_for: jug.enough_for,
            lost_g: balance.map(|b| b.gone.told_g()),
            poured_g: balance.map(|b| b.poured.told_g()),
            difference_g: balance.map(|b| b.difference.told_g()),
            room_g: balance.map(|b| b.room.told_g()),
            agrees: balance.map(|b| b.agrees()),
            says: jug.told(),
            at: at.map(WallTime::rfc3339),
            before: false,
        }
    }
}

/// The jug that is known by its weight.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct EmptyJugView {
    /// What it weighs empty, g; null: none is known.
    pub jug_g: Option<f64>,
}

/// What is asked about the jug.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/jug.rs reads it field by field")]
pub struct JugRequest {
    /// What it weighs empty, g, 20 to 20 000; absent: it stands empty at rest on the bare pan now.
    pub jug_g: Option<f64>,
    /// True: it is forgotten.
    pub off: Option<bool>,
}

/// A number left out.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LeftOutView {
    /// The number that no piece will have.
    pub left_out: u32,
}
