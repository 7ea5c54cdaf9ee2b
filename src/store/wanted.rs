//! Whether a job that somebody waits for is still to be done.

use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};

const OPEN: u8 = 0;
const TAKEN: u8 = 1;
const WITHDRAWN: u8 = 2;

/// Shared by who asks and who does: a job is taken or withdrawn, never both.
#[derive(Clone, Debug, Default)]
pub struct Wanted(Arc<AtomicU8>);

impl Wanted {
    /// Takes the job to do it; false when it was withdrawn before.
    pub fn take(&self) -> bool {
        self.0.compare_exchange(OPEN, TAKEN, Ordering::AcqRel, Ordering::Acquire) != Err(WITHDRAWN)
    }

    /// Withdraws the job; false when it was taken before: then it is done, or was.
    pub fn withdraw(&self) -> bool {
        self.0.compare_exchange(OPEN, WITHDRAWN, Ordering::AcqRel, Ordering::Acquire) != Err(TAKEN)
    }
}

/// Equal when they are about the same job.
impl PartialEq for Wanted {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}
