//! The only place that reads a clock.

use crate::time::{Instant, WallTime};
use std::time::SystemTime;

/// A clock that counts from when it was made.
#[derive(Clone, Copy, Debug)]
pub struct Clock(std::time::Instant);

impl Default for Clock {
    fn default() -> Self {
        Self(std::time::Instant::now())
    }
}

impl Clock {
    /// Now, on the daemon's own clock.
    pub fn now(&self) -> Instant {
        Instant::from_us(u64::try_from(self.0.elapsed().as_micros()).unwrap_or(u64::MAX))
    }

    /// How long until `at`; zero when it has passed.
    pub fn until(&self, at: Instant) -> std::time::Duration {
        at.since(self.now())
    }

    /// Wall time, for records.
    pub fn wall(&self) -> WallTime {
        let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        WallTime::from_unix_us(i64::try_from(since.as_micros()).unwrap_or(i64::MAX))
    }
}
