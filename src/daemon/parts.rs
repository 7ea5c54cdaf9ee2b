//! What the engine's thread is built from.

use super::clock::Clock;
use super::outlet::Outlet;
use super::sight::Way;
use crate::frame::Decoder;
use crate::page::view::{Event as Told, Now};
use crate::pour::PourSettings;
use crate::record::{CalibrationRecord, CheckRecord, JugRecord, LagRecord};
use crate::scale::ScaleFacts;
use crate::settings::Reminding;
use crate::store::Store;
use crate::units::Mass;
use std::sync::Arc;
use tokio::sync::{broadcast, watch};

/// What the thread is built from.
pub struct Parts {
    /// Clock.
    pub clock: Clock,
    /// Scale as known.
    pub scale: ScaleFacts,
    /// What the studio set.
    pub settings: PourSettings,
    /// What is said between two pieces.
    pub reminding: Reminding,
    /// The most that the scale carries, where told.
    pub capacity: Option<Mass>,
    /// Set on the bare pan it voids the last record.
    pub spare: Option<Mass>,
    /// The jug, known by what it weighs empty.
    pub jug: Option<JugRecord>,
    /// What the scale goes by, and its latest check, as the log has them.
    pub calibration: Option<CalibrationRecord>,
    /// See there.
    pub checked: Option<CheckRecord>,
    /// How late the scale shows, as the log has it.
    pub lag: Option<LagRecord>,
    /// Lines to readings.
    pub decoder: Decoder,
    /// How the scale is reached.
    pub way: Way,
    /// The log.
    pub store: Store,
    /// The loudspeaker.
    pub outlet: Outlet,
    /// Latest snapshot.
    pub now: watch::Sender<Arc<Now>>,
    /// Cues and pours, to every client.
    pub told: broadcast::Sender<Told>,
    /// A name for this run.
    pub run: String,
}
