//! What can happen to the engine's thread: a closed list.

use crate::batch::supply::Refill;
use crate::guide::weighed::Things;
use crate::link::LinkEvent;
use crate::page::desk::{Begun, JugWish, Refusal, RoutineWish};
use crate::page::view::{LagTestView, RoutineView, SlopView, WeighedView};
use crate::pour::hand::Hand;
use crate::record::{BatchRecord, CalibrationWrite, History, Numbers, PourRecord, ShelfRecord, WhoPours};
use crate::sound::SoundStatus;
use crate::store::{Ack, Wanted};
use crate::time::Duration;
use crate::units::Mass;
use std::sync::mpsc::SyncSender;

/// What is answered once it is done.
#[derive(Clone, Debug)]
pub enum Answer {
    /// The batch as it is now.
    Batch(Box<Begun>),
    /// The spare weight as it is now.
    Spare(Option<Mass>),
    /// What the jug weighs empty, as it is now.
    Jug(Option<Mass>),
    /// Where the response test stands.
    Test(Option<LagTestView>),
    /// Where a calibration or a check stands.
    Routine(Option<Box<RoutineView>>),
    /// Where weighing stands.
    Weighed(Option<WeighedView>),
    /// What is left of the slop.
    Slop(SlopView),
    /// It is on disk.
    Kept,
}

impl From<Begun> for Answer {
    fn from(begun: Begun) -> Self {
        Self::Batch(Box::new(begun))
    }
}

/// Where an answer goes, and whether it is still waited for.
#[derive(Clone, Debug)]
pub struct Reply {
    /// Where it goes.
    pub to: SyncSender<Result<Answer, Refusal>>,
    /// Withdrawn when nobody waits any more.
    pub wanted: Wanted,
}

impl Reply {
    /// Gives the answer on a batch.
    pub fn give(&self, answer: Result<Begun, Refusal>) {
        self.tell(answer.map(Answer::from));
    }

    /// Gives the answer.
    pub fn tell(&self, answer: Result<Answer, Refusal>) {
        // A client that went away needs no answer.
        let _ = self.to.try_send(answer);
    }
}

/// What a batch begins from.
#[derive(Clone, Debug)]
pub struct Beginning {
    /// The batch.
    pub batch: BatchRecord,
    /// Whose hand it is.
    pub who: WhoPours,
    /// What was learned of it.
    pub hand: Hand,
    /// Newest revision of each of its pours so far.
    pub poured: Vec<PourRecord>,
    /// Which number comes next.
    pub numbers: Numbers,
    /// The heaviest bare piece that may come, as far as it is known.
    pub heaviest: Option<Mass>,
}

/// One event.
#[derive(Debug)]
pub enum Event {
    /// Bytes, or a change of the link.
    Link(LinkEvent),
    /// A batch is to be written down.
    Create(Box<BatchRecord>, Reply),
    /// A batch is to begin.
    Begin(Box<Beginning>, Reply),
    /// The batch with this id is to end.
    End(Box<BatchRecord>, Reply),
    /// What stood on the pan before the display went to zero still stands there, in the batch with this id.
    StillOn(Box<BatchRecord>, Reply),
    /// This pour is to be taken out of the count of its batch.
    Void(Box<PourRecord>, Box<BatchRecord>, Reply),
    /// As that, and its number goes to the next piece.
    Redo(Box<PourRecord>, Box<BatchRecord>, Reply),
    /// The next number of this batch is to be left out.
    Skip(Box<BatchRecord>, Reply),
    /// The jug is known by its empty weight from now on, or is not.
    Jug(JugWish, Reply),
    /// What lies on the bare pan is the spare weight from now on, or none is.
    Spare {
        /// None is.
        off: bool,
        /// Bare weight, and weight with slop, of the latest pieces.
        lately: Vec<(Mass, Option<Mass>)>,
        /// Where the answer goes.
        reply: Reply,
    },
    /// What was found of the scale is to be kept, or gone by.
    Calibration(Box<CalibrationWrite>, Reply),
    /// These are to stand on their shelves, all or none.
    Put(Vec<ShelfRecord>, Reply),
    /// Something is to be done to the log as a whole.
    Keep(Box<History>, Reply),
    /// What the further pieces of this batch should get.
    Retarget(Box<BatchRecord>, Reply),
    /// There is slop again, for this batch.
    Refill(Box<BatchRecord>, Refill, Reply),
    /// The response test of the scale is to begin, or to be left off.
    Test {
        /// To be left off.
        off: bool,
        /// Where the answer goes.
        reply: Reply,
    },
    /// A calibration or a check at the pan is to begin, or to be left off.
    Routine(Option<Box<RoutineWish>>, Reply),
    /// The room is this warm, degrees Celsius; or nobody knows.
    Room(Option<f64>, Reply),
    /// Things are to be weighed one after the other, or left off.
    Weigh {
        /// What; none: left off.
        things: Option<Things>,
        /// Where the answer goes.
        reply: Reply,
    },
    /// The store wrote something, or can't.
    Ack(Box<Ack>),
    /// The loudspeaker is heard, or no longer.
    Sound(SoundStatus),
    /// A client of the live stream has a loudspeaker that is heard this late, or no longer.
    ClientSound {
        /// Which.
        client: u64,
        /// From a message to the ear.
        latency: Option<Duration>,
    },
    /// The store's thread has ended though the daemon runs: nothing more can be written.
    LogGone,
    /// The daemon stops.
    Stop,
}

impl Event {
    /// Who waits for an answer to it.
    pub(super) fn reply(&self) -> Option<&Reply> {
        match self {
            Self::Create(_, reply)
            | Self::Begin(_, reply)
            | Self::End(_, reply)
            | Self::StillOn(_, reply)
            | Self::Void(_, _, reply)
            | Self::Redo(_, _, reply)
            | Self::Skip(_, reply)
            | Self::Spare { reply, .. }
            | Self::Jug(_, reply)
            | Self::Calibration(_, reply)
            | Self::Put(_, reply)
            | Self::Keep(_, reply)
            | Self::Retarget(_, reply)
            | Self::Refill(_, _, reply)
            | Self::Test { reply, .. }
            | Self::Routine(_, reply)
            | Self::Room(_, reply)
            | Self::Weigh { reply, .. } => Some(reply),
            Self::Link(_)
            | Self::Ack(_)
            | Self::Sound(_)
            | Self::ClientSound { .. }
            | Self::LogGone
            | Self::Stop => None,
        }
    }
}
