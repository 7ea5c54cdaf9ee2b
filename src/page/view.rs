//! What leaves the daemon as JSON: serde copies of the pure value types.

mod calibration;
mod history;
mod late;
mod plan;
mod review;
mod shelf;
mod weighed;

pub use calibration::{
    CalibrationView, CheckRequest, CheckView, ExpandedView, FitnessView, InForceView, LoadView, MassesView,
    RoomRequest, RoomView, RoutineReply, RoutineRequest, RoutineView, TermView, UseRequest, UseView,
};
pub use history::{
    BackupView, ComparisonView, DoneView, FoundView, HistoryRequest, LabelRequest, LookView, PourerRequest,
    SwitchRequest,
};
pub use late::{HandView, LagTestReply, LagTestRequest, LagTestView, LagView, SumView};
pub use plan::{
    BatchRequest, BatchView, BegunView, EmptyJugView, JugRequest, JugView, LeftOutView, MadeView,
    RefillRequest, SlopView, SpareRequest, SpareView,
};
pub use review::{BatchReviewView, PlotView, ReviewRequest};
pub use shelf::{ShelfImport, ShelfImported, ShelfRequest, ShelfView, ShelvesView};
pub use weighed::{WeighedReply, WeighedRequest, WeighedView};

use crate::pour::curve::{Curve, Mark};
use crate::pour::entry::CueCall;
use crate::pour::remark::Remark;
use crate::record::{self, PourRecord};
use serde::Serialize;
use utoipa::ToSchema;

/// The scale's part of a snapshot.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct ScaleView {
    /// `searching` (also just after it was found, until a reading could have come), `live`, `stale` (readings have stopped, or
    /// none came) or `lost`.
    pub state: &'static str,
    /// Gross mass, corrected where the scale is calibrated; null until the first reading.
    pub mass_g: Option<f64>,
    /// The scale is at rest.
    pub settled: bool,
    /// Age of the last reading.
    pub age_ms: Option<u64>,
    /// What is wrong and what to try; null when all is well.
    pub trouble: Option<String>,
    /// Readings decoded since the start.
    pub readings: u64,
    /// Lines skipped since the start.
    pub skipped: u64,
    /// Strength of its signal as last heard, dBm; null over a cable and where it is not told.
    pub signal_dbm: Option<i16>,
    /// Charge of its battery, percent; null where it is not told.
    pub battery_percent: Option<u8>,
    /// The spare weight, that voids the last record when it is set on the bare pan in a batch; null: none.
    pub spare_g: Option<f64>,
    /// What the jug weighs empty, that says what is left in it when it is set on the bare pan in a batch; null: none is known.
    pub jug_g: Option<f64>,
    /// The step that a scale of the standard service promises; null where it promises none.
    pub promised_step_g: Option<f64>,
    /// Readings a second that the scale takes; null until a rhythm is clear.
    pub rate_hz: Option<f64>,
    /// How long the link holds readings back: nine in ten by less.
    pub jitter_ms: Option<f64>,
    /// Share of the latest readings that never came, 0 to 1.
    pub loss: Option<f64>,
    /// How late it shows.
    pub lag: LagView,
    /// The response test, under way or just done; null: none.
    pub lag_test: Option<LagTestView>,
    /// The calibration that it goes by; null: by what it shows.
    pub calibration: Option<InForceView>,
    /// Its latest check since; null: none.
    pub check: Option<CheckView>,
    /// A calibration or a check at the pan, under way or just done; null: none.
    pub routine: Option<RoutineView>,
    /// Why it is to be checked: `not-in-order` (the last check was not, and nothing was set right since), `day` (the last check was long ago) or `room` (it is 5 degrees away from then); else null.
    pub check_due: Option<&'static str>,
    /// Things that are weighed one after the other, under way or just done; null: none.
    pub weighed: Option<WeighedView>,
}

/// The loudspeaker of the daemon's computer, and what is known of the clients'.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct SoundView {
    /// `on`, `opening`, `off`, `missing` or `dead`.
    pub state: &'static str,
    /// Its name, null where there is none.
    pub device: Option<String>,
    /// From an order to the ear, as far as the system tells.
    pub latency_us: u64,
    /// In plain words, with what to try.
    pub words: String,
    /// Clients of the live stream whose loudspeaker is heard.
    pub clients: u32,
    /// Cues are announced this long before they are due: the largest latency of all that are heard, at most
    /// 250 000.
    pub ahead_us: u64,
}

/// The last cue, as it stands in a snapshot.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LastCue {
    /// Counts up by one per cue.
    pub n: u64,
    /// Its word.
    pub cue: &'static str,
    /// When it was announced, microseconds since the daemon started.
    pub at_us: u64,
    /// When it should be heard.
    pub due_us: u64,
}

/// Everything that is true now.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub struct Now {
    /// Changes at each start of the daemon.
    pub run: String,
    /// Rising number shared by all live messages; filled in by the page.
    pub seq: u64,
    /// Microseconds since the daemon started.
    pub at_us: u64,
    /// The scale.
    pub scale: ScaleView,
    /// Closed list: idle, landing, ready, pouring, draining, done, fault.
    pub phase: &'static str,
    /// Finer state.
    pub step: String,
    /// Batch under way.
    pub batch: Option<String>,
    /// Number of the piece on the pan or expected next.
    pub piece: Option<u32>,
    /// Its place among the pieces of the batch that count, from 1; more than `foreseen` where more are poured.
    pub nth: Option<u32>,
    /// Pieces planned.
    pub pieces: Option<u32>,
    /// The same where the batch said how many, or for how many there are targets; null: it did not. More may be poured.
    pub foreseen: Option<u32>,
    /// Net mass.
    pub net_g: Option<f64>,
    /// Wanted net mass.
    pub target_g: Option<f64>,
    /// Least good net mass.
    pub low_g: Option<f64>,
    /// Greatest good net mass.
    pub high_g: Option<f64>,
    /// What is missing to the wanted mass; below zero when there is more.
    pub left_g: Option<f64>,
    /// Net if stopped now.
    pub expected_g: Option<f64>,
    /// Flow.
    pub flow_g_s: Option<f64>,
    /// Last cue announced.
    pub last_cue: Option<LastCue>,
    /// What is left on the bare pan, at rest between two pieces and worth wiping off; else null.
    pub pan_g: Option<f64>,
    /// What stood on the pan before the display went to zero by itself, while the piece may still stand
    /// there; else null. `still-on` says that it does.
    pub offered_g: Option<f64>,
    /// The version of its glaze that the batch goes by; null: of none.
    pub bucket: Option<u32>,
    /// How long ago the bucket was measured that the batch's grams were reckoned from; null
    /// without a batch, or with grams by hand.
    pub bucket_age_s: Option<u64>,
    /// It was measured so long ago that it is to be measured again, by `[pour] measure_after_h`.
    pub bucket_old: bool,
    /// What the latest `note` was about, until the next piece is ready; else null.
    pub note: Option<&'static str>,
    /// What is poured from where a batch does not say: `jug`, `ladle`, `squeeze` or `syringe`.
    pub vessel: &'static str,
    /// What is left of the slop that the batch was planned with; null where it tells of none.
    pub supply: Option<SlopView>,
    /// What the jug said when it last stood on the pan in this batch; null: it did not.
    pub jug: Option<JugView>,
    /// How a pour is finished where a batch does not say: `stop` or `trickle`.
    pub finish: &'static str,
    /// How late the hand of the batch under way stops; null without a batch.
    pub hand: Option<HandView>,
    /// A check on the scale's lag and the hand's time; null without a batch.
    pub sum: Option<SumView>,
    /// Pours that could not be written yet.
    pub not_recorded: u64,
    /// The loudspeaker.
    pub sound: SoundView,
}

/// A cue as a live message.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CueView {
    /// Counts up by one per cue.
    pub n: u64,
    /// Its word.
    pub cue: &'static str,
    /// When it was announced.
    pub at_us: u64,
    /// When it should be heard.
    pub due_us: u64,
    /// Grams left, where that says something.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
    /// Piece it is for.
    pub piece: u32,
    /// What a `note` is about: `wipe`, `other-ware`, `voided`, `stir`, `measure`, `check`, `jug`, `full` (all pieces that were
    /// foreseen are poured; more may be) or `unsure` (a record counts as void: nobody saw what its piece left, or whether it got slop).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub about: Option<&'static str>,
    /// Of a calibration or a check at the pan, which is never in a batch: `taken`, `wrong`, `again` or `over`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub routine: Option<&'static str>,
}

impl From<&CueCall> for CueView {
    fn from(call: &CueCall) -> Self {
        Self {
            n: call.n,
            cue: call.cue.word(),
            at_us: call.at.us(),
            due_us: call.due.us(),
            left: call.left.map(|m| m.told_g()),
            piece: call.piece,
            about: call.about.map(Remark::word),
            routine: None,
        }
    }
}

/// A pour record as JSON.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[allow(missing_docs, reason = "each field is described on record::PourRecord")]
pub struct PourView {
    pub id: String,
    pub rev: u32,
    pub seq: u64,
    pub batch: String,
    pub piece: u32,
    pub started_at: String,
    pub tare_g: f64,
    pub target_g: f64,
    pub low_g: f64,
    pub high_g: f64,
    pub first_net_g: Option<f64>,
    pub net_g: Option<f64>,
    /// What it got more than wanted; below zero: less.
    pub off_g: Option<f64>,
    pub net_u_g: Option<f64>,
    pub rolled_g: Option<f64>,
    pub top_ups: u32,
    /// Dry mass of its coat; null for fired ware, of which what was poured in is not the coat.
    pub dry_g: Option<f64>,
    pub fired: bool,
    pub verdict: &'static str,
    pub interrupted: bool,
    pub settled: bool,
    pub guided: bool,
    pub seconds: f64,
    pub contact_ms: Option<u64>,
    pub flow_g_s: Option<f64>,
    pub stop_cue_g: Option<f64>,
    pub bucket: Option<u32>,
    pub calibration: Option<String>,
    pub scale: String,
    pub label: Option<String>,
    pub marks: Vec<&'static str>,
}

impl From<&PourRecord> for PourView {
    fn from(p: &PourRecord) -> Self {
        Self {
            id: p.id.clone(),
            rev: p.rev,
            seq: p.seq,
            batch: p.batch.clone(),
            piece: p.piece,
            started_at: p.started_at.rfc3339(),
            tare_g: p.tare.told_g(),
            target_g: p.target.told_g(),
            low_g: p.low.told_g(),
            high_g: p.high.told_g(),
            first_net_g: p.first_net.map(|m| m.told_g()),
            net_g: p.net.map(|m| m.told_g()),
            off_g: p.net.map(|net| (net - p.target).told_g()),
            net_u_g: p.net_u.map(|m| m.told_g()),
            rolled_g: p.rolled.map(|m| m.told_g()),
            top_ups: p.top_ups,
            dry_g: p.coat().map(|m| m.told_g()),
            fired: p.fired,
            verdict: p.verdict.word(),
            interrupted: p.interrupted,
            settled: p.settled,
            guided: p.guided,
            seconds: p.seconds,
            contact_ms: p.contact.map(|d| d.as_millis() as u64),
            flow_g_s: p.flow_g_s,
            stop_cue_g: p.stop_cue.map(|m| m.told_g()),
            bucket: p.bucket,
            calibration: p.calibration.clone(),
            scale: p.scale.clone(),
            label: p.label.clone().filter(|label| !label.is_empty()),
            marks: p.marks.iter().map(record::Mark::word).collect(),
        }
    }
}

/// A moment of a pour.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct MarkView {
    /// Seconds since the piece was ready.
    pub at_s: f64,
    /// `stop` (should be heard), `weighed` (known at rest) or `lift` (the piece left).
    pub what: &'static str,
    /// What the scale showed then, net.
    pub net_g: f64,
}

/// A pour as the scale saw it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct CurveView {
    /// Pairs of seconds since the piece was ready and net grams, at most about 600: of more, the
    /// least and the greatest of each stretch. None where no readings were kept.
    pub points: Vec<[f64; 2]>,
    /// Moments worth a mark, in order of time.
    pub marks: Vec<MarkView>,
    /// Wanted net mass.
    pub target_g: f64,
    /// Least good net mass.
    pub low_g: f64,
    /// Greatest good net mass.
    pub high_g: f64,
}

impl CurveView {
    /// The curve of this pour.
    pub fn new(pour: &PourRecord, curve: Curve) -> Self {
        let mark = |m: &Mark| MarkView { at_s: m.at_s, what: m.what.word(), net_g: m.net_g };
        Self {
            marks: curve.marks.iter().map(mark).collect(),
            points: curve.points,
            target_g: pour.target.told_g(),
            low_g: pour.low.told_g(),
            high_g: pour.high.told_g(),
        }
    }
}

/// What goes out to every live client, in order, besides snapshots.
#[derive(Clone, Debug)]
pub enum Event {
    /// A cue was announced.
    Cue(CueView),
    /// A pour is on disk.
    Pour(Box<PourView>),
}
