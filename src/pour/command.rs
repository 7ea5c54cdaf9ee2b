//! What the engine is told besides weights and the time.

use super::remark::Remark;
use crate::calibration::correction::Correction;
use crate::record::Aim;
use crate::units::Mass;

/// What happened to the link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkChange {
    /// Bytes can come.
    Up,
    /// Unplugged or out of reach.
    Down,
}

/// What a person asks of the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    /// The batch ends: an open pour is entered with what is known.
    End,
    /// The log can't be written: `fault`, and no `ready` until it can.
    Hold,
    /// All is on disk again.
    Resume,
    /// The piece still stands there under a display that went to zero.
    StillOn,
    /// Worth saying once the next piece has been lifted.
    Remind(Remark),
    /// The spare weight took the last record out of the count.
    Voided,
    /// There is so much slop in all: a jug may hold as much; none where nobody told.
    Slop(Option<Mass>),
    /// The next piece gets this number: only between two pieces, else nothing changes.
    Number(u32),
    /// The scale is set right by this from now on: only between two pieces, else nothing changes.
    Correction(Correction),
    /// The next piece should get this: only between two pieces, else nothing changes.
    Aim(Aim),
}
