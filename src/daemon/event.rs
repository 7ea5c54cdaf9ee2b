//! What can happen to the engine's thread: a closed list.

use crate::link::LinkEvent;
use crate::page::desk::{Begun, Refusal};
use crate::pour::hand::Hand;
use crate::record::{BatchRecord, PourRecord, WhoPours};
use crate::sound::SoundStatus;
use crate::store::{Ack, Wanted};
use crate::time::Duration;
use std::sync::mpsc::SyncSender;

/// Where an answer goes, and whether it is still waited for.
#[derive(Clone, Debug)]
pub struct Reply {
    /// Where it goes.
    pub to: SyncSender<Result<Begun, Refusal>>,
    /// Withdrawn when nobody waits any more.
    pub wanted: Wanted,
}

impl Reply {
    /// Gives the answer.
    pub fn give(&self, answer: Result<Begun, Refusal>) {
        // A client that went away needs no answer.
        let _ = self.to.try_send(answer);
    }
}

/// One event.
#[derive(Debug)]
pub enum Event {
    /// Bytes, or a change of the link.
    Link(LinkEvent),
    /// A batch is to be written down.
    Create(Box<BatchRecord>, Reply),
    /// A batch is to begin with this hand, from this piece on.
    Begin {
        /// The batch.
        batch: Box<BatchRecord>,
        /// Whose hand it is.
        who: WhoPours,
        /// What was learned of it.
        hand: Hand,
        /// Number of the next piece.
        first_piece: u32,
        /// Where the answer goes.
        reply: Reply,
    },
    /// The batch with this id is to end.
    End(Box<BatchRecord>, Reply),
    /// What stood on the pan before the display went to zero still stands there, in the batch with this id.
    StillOn(Box<BatchRecord>, Reply),
    /// This pour is to be taken out of the count of its batch.
    Void(Box<PourRecord>, Box<BatchRecord>, Reply),
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
