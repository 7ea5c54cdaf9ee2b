//! What the piece at hand should get, and the next one.
//!
//! Never changes while a piece has a record: what a piece was poured to is its own, also when it is put back.

use super::engine::Engine;
use crate::record::Aim;

/// A miss of less than this share of the half-width beyond a limit is not spoken of (own choice: 0.4 g of 1.45 g).
const SPOKEN: f64 = 0.3;

/// What nobody would mend, beyond a limit, g.
pub(super) fn unspoken_g(aim: &Aim) -> f64 {
    SPOKEN * aim.half_width_g()
}

/// What holds so much lacks more than that.
pub(super) fn lacks(aim: &Aim, net_g: f64) -> bool {
    aim.low.g() - net_g > unspoken_g(aim)
}

impl Engine {
    /// What the piece at hand should get.
    pub(super) fn aim(&self) -> Aim {
        Aim { target: self.start.target, low: self.start.low, high: self.start.high }
    }

    /// From now on this piece is at hand.
    pub(super) fn aim_at(&mut self, aim: Aim) {
        (self.start.target, self.start.low, self.start.high) = (aim.target, aim.low, aim.high);
    }

    /// The next new piece should get this: only between two pieces, else nothing changes.
    pub(super) fn aim_next(&mut self, aim: Aim) {
        if self.takes_number() {
            self.next = aim;
            self.aim_at(aim);
        }
    }

    /// What the next new piece should get.
    pub fn next_aim(&self) -> Aim {
        self.next
    }
}
