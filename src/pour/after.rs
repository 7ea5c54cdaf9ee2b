//! After a lift: what is worth knowing between two pieces.

use super::engine::Engine;
use super::remark::Remark;
use crate::reading::Weighing;
use std::collections::VecDeque;

/// What waits for the end of a piece.
#[derive(Clone, Debug, Default)]
pub(super) struct After {
    /// A piece was lifted with slop in it, and the bare pan has not been at rest since.
    pub(super) lifted: bool,
    /// Worth saying, oldest first.
    remarks: VecDeque<Remark>,
}

impl Engine {
    /// Said once the next piece has been lifted, and once only.
    pub(super) fn remind(&mut self, remark: Remark) {
        if !self.after.remarks.contains(&remark) {
            self.after.remarks.push_back(remark);
        }
    }

    /// The first rest of the bare pan after a piece: one remark at most.
    pub(super) fn look_after(&mut self, w: Weighing) {
        let bare = self.at_rest().is_some_and(|rest| rest < self.start.settings.min_piece.g());
        if !(bare && std::mem::take(&mut self.after.lifted)) {
            return;
        }
        if let Some(remark) = self.after.remarks.pop_front() {
            self.note(remark, w.arrived_at);
        }
    }
}
