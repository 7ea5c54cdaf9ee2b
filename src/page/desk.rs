//! What the page asks of the rest of the daemon, and the answers.
//!
//! The page never sees the database or the engine: the daemon answers for both.

use super::view::{FitnessView, LagTestView, RoutineView, SlopView, WeighedView};
use crate::batch::supply::Refill;
use crate::calibration::masses::OwnMass;
use crate::guide::calibrate::Parts;
use crate::guide::weighed::Things;
use crate::pour::curve::Curve;
use crate::pour::outlook::Outlook;
use crate::record::{
    BatchRecord, CalibrationRecord, CalibrationWrite, CheckRecord, Found, History, PourRecord, Search, Shelf,
    ShelfRecord, Tally,
};
use crate::review::control_chart::Rules;
use crate::time::Duration;
use crate::units::Mass;

/// By contract no cue is announced longer than this before it is due: what is announced can't be moved any more.
/// A loudspeaker that is later is told of every stop too late.
pub const MOST_AHEAD: Duration = Duration::from_millis(250);

/// What is wished of the jug.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum JugWish {
    /// It is forgotten.
    Off,
    /// It weighs so much empty.
    Weighs(Mass),
    /// It stands empty at rest on the bare pan.
    StandsThere,
}

/// Why a request could not be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// No such thing.
    Missing(String),
    /// It clashes with what is going on.
    Conflict(String),
    /// It clashes with what things weigh.
    Weighs {
        /// What is wrong and what to try.
        why: String,
        /// The weights that it tells rounded, in full, g.
        exact_g: Vec<f64>,
    },
    /// The log can't be written or read.
    Storage(String),
    /// A field of the request can't be used with this scale.
    Unfit {
        /// Which.
        field: String,
        /// What is wrong and what to try.
        why: String,
    },
}

/// A calibration or a check at the pan, as it is wished.
#[derive(Clone, Debug, PartialEq)]
pub struct RoutineWish {
    /// The masses at hand, the lightest first.
    pub masses: Vec<OwnMass>,
    /// What of it.
    pub parts: Parts,
    /// The pour that it is judged for, and how far that may be off, g; none: the usual one.
    pub pour_g: Option<(f64, f64)>,
    /// How far the scale drifts between calibrations, over the load, where that is known.
    pub drift_share: Option<f64>,
    /// What the latest pieces weighed bare, g, where there were some.
    pub piece_g: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    pub room_c: Option<f64>,
    /// Who does it.
    pub operator: Option<String>,
    /// A check only.
    pub check: bool,
}

/// A batch begun or ended.
#[derive(Clone, Debug)]
pub struct Begun {
    /// The batch as it is now.
    pub batch: BatchRecord,
    /// What the potter should know, such as that no sound can be heard.
    pub warnings: Vec<String>,
    /// The weights that these tell rounded, in full, g: for who is told them in another unit.
    pub exact_g: Vec<f64>,
    /// How far its fills are expected to scatter, where it begins.
    pub expected: Option<Outlook>,
    /// Whether the scale will do for it, where it begins and the scale is calibrated.
    pub weighing: Option<FitnessView>,
    /// The number that is left out, where that was asked.
    pub left_out: Option<u32>,
}

/// The daemon's counter; every call may block on disk, never on the cue path.
pub trait Desk: Send + Sync + 'static {
    /// Writes a new batch down.
    fn create(&self, batch: BatchRecord) -> Result<BatchRecord, Refusal>;
    /// Begins a batch.
    fn begin(&self, id: &str) -> Result<Begun, Refusal>;
    /// Ends a batch.
    fn end(&self, id: &str) -> Result<Begun, Refusal>;
    /// All batches, newest first.
    fn batches(&self) -> Result<Vec<BatchRecord>, Refusal>;
    /// At most so many of them.
    fn latest(&self, most: u32) -> Result<Vec<BatchRecord>, Refusal>;
    /// One batch.
    fn batch(&self, id: &str) -> Result<BatchRecord, Refusal>;
    /// Newest revision of each pour of a batch, by piece.
    fn pours(&self, id: &str) -> Result<Vec<PourRecord>, Refusal>;
    /// What stood on the pan before the display went to zero by itself still stands there.
    fn still_on(&self, id: &str) -> Result<Begun, Refusal>;
    /// Takes a pour out of the count of its batch; gives its new revision.
    fn void(&self, id: &str) -> Result<PourRecord, Refusal>;
    /// Voids a pour and gives its number to the next piece; gives its new revision.
    fn redo(&self, id: &str) -> Result<PourRecord, Refusal>;
    /// Leaves the next number of a batch out; gives that number.
    fn skip(&self, id: &str) -> Result<u32, Refusal>;
    /// A pour with its curve, which has no points where no trace was kept.
    fn curve(&self, id: &str) -> Result<(PourRecord, Curve), Refusal>;
    /// The stored readings of a pour, as a file that `replay` takes.
    fn trace(&self, id: &str) -> Result<Vec<u8>, Refusal>;
    /// What lies at rest on the bare pan is the spare weight from now on; `off`: none is. Gives it.
    fn spare(&self, off: bool) -> Result<Option<Mass>, Refusal>;
    /// What the jug weighs empty from now on. Gives it.
    fn jug(&self, wish: JugWish) -> Result<Option<Mass>, Refusal>;
    /// The response test of the scale begins; `off`: it is left off. Gives where it stands.
    fn test_scale(&self, off: bool) -> Result<Option<LagTestView>, Refusal>;
    /// A calibration or a check at the pan begins; none: it is left off. Gives where it stands.
    fn routine(&self, wish: Option<RoutineWish>) -> Result<Option<RoutineView>, Refusal>;
    /// The room is this warm, degrees Celsius; none: nobody knows.
    fn room(&self, room_c: Option<f64>) -> Result<(), Refusal>;
    /// Name of the scale that is set up.
    fn scale(&self) -> &str;
    /// Keeps what was found of a scale, or has it gone by.
    fn keep_calibration(&self, write: CalibrationWrite) -> Result<(), Refusal>;
    /// All calibrations, the newest first.
    fn calibrations(&self) -> Result<Vec<CalibrationRecord>, Refusal>;
    /// One calibration.
    fn calibration(&self, id: &str) -> Result<CalibrationRecord, Refusal>;
    /// The calibration that the scale goes by.
    fn in_force(&self) -> Result<Option<CalibrationRecord>, Refusal>;
    /// Standard uncertainty of a net weight of so much by it.
    fn weighed_to(&self, net: Mass) -> Result<Option<Mass>, Refusal>;
    /// The potter's own masses, as JSON text.
    fn masses(&self) -> Result<Option<String>, Refusal>;
    /// The latest checks of the scale, at most so many, the newest first.
    fn checks(&self, most: u32) -> Result<Vec<CheckRecord>, Refusal>;
    /// What is known beside the readings of a calibration: how far the scale drifts between two (a share of the load), and what
    /// the latest pieces weighed bare, g.
    fn beside_readings(&self) -> Result<(Option<f64>, Option<f64>), Refusal>;
    /// Things are weighed one after the other; none: it is left off. Gives where it stands.
    fn weigh(&self, things: Option<Things>) -> Result<Option<WeighedView>, Refusal>;
    /// Glazes, forms and coats: the newest version of each that stands on its shelf; or `all` versions of all.
    fn shelves(&self, all: bool) -> Result<Vec<ShelfRecord>, Refusal>;
    /// All versions of one of them, the newest first.
    fn versions(&self, shelf: Shelf, name: &str) -> Result<Vec<ShelfRecord>, Refusal>;
    /// Puts new versions on their shelves: all of them, or none.
    fn put(&self, records: Vec<ShelfRecord>) -> Result<(), Refusal>;
    /// The further pieces of a batch that has not ended should get what stands in this record.
    fn retarget(&self, batch: BatchRecord) -> Result<(), Refusal>;
    /// There is slop again for the batch under way; gives what is left then.
    fn refill(&self, id: &str, refill: Refill) -> Result<SlopView, Refusal>;
    /// The newest revision of a pour.
    fn pour_of(&self, id: &str) -> Result<PourRecord, Refusal>;
    /// Whether the log has a pour of this id.
    fn is_known(&self, id: &str) -> Result<bool, Refusal>;
    /// At most so many pours that fit, the latest first.
    fn find(&self, search: &Search, most: usize) -> Result<Vec<Found>, Refusal>;
    /// What is kept of each batch, the oldest first.
    fn tallies(&self) -> Result<Vec<Tally>, Refusal>;
    /// Whether batches may be compared by who poured.
    fn by_pourer(&self) -> Result<bool, Refusal>;
    /// The run rules that are looked for where none are named.
    fn run_rules(&self) -> Result<Rules, Refusal>;
    /// Does something to the log as a whole.
    fn keep(&self, history: History) -> Result<(), Refusal>;
    /// Copies the whole log into one file; gives its name and bytes.
    fn backup(&self) -> Result<(String, u64), Refusal>;
    /// Such files, the newest first.
    fn backups(&self) -> Result<Vec<(String, u64)>, Refusal>;
    /// What such a file holds.
    fn backup_file(&self, name: &str) -> Result<std::fs::File, Refusal>;
    /// The log becomes what such a file holds; gives the copy of it as it was.
    fn restore(&self, name: &str) -> Result<(String, u64), Refusal>;
    /// A live client's loudspeaker is heard this late; none: no longer.
    fn hear_client(&self, client: u64, latency: Option<Duration>);
    /// Wall time, for new records.
    fn wall_time(&self) -> crate::time::WallTime;
}
