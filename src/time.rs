//! Instants since the daemon started, and wall time for records.
//!
//! Never reads a clock: whoever needs the time is given it.

use std::ops::{Add, Sub};
pub use std::time::Duration;

/// Microseconds since the daemon started, on a clock that never steps back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(u64);

impl Instant {
    /// The moment the daemon started.
    pub const START: Self = Self(0);

    /// An instant from microseconds since the start.
    pub const fn from_us(us: u64) -> Self {
        Self(us)
    }

    /// Microseconds since the start.
    pub const fn us(self) -> u64 {
        self.0
    }

    /// Seconds since the start.
    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// Time since `earlier`; zero when `earlier` is later.
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(self.0.saturating_sub(earlier.0))
    }

    /// Signed seconds from `other` to this instant.
    pub fn seconds_from(self, other: Self) -> f64 {
        (self.0 as i64 - other.0 as i64) as f64 / 1e6
    }

    /// This instant moved by signed seconds; stops at the start.
    pub fn offset_seconds(self, seconds: f64) -> Self {
        Self((self.0 as f64 + seconds * 1e6).max(0.0) as u64)
    }
}

impl Add<Duration> for Instant {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(u64::try_from(span.as_micros()).unwrap_or(u64::MAX)))
    }
}

impl Sub<Duration> for Instant {
    type Output = Self;
    fn sub(self, span: Duration) -> Self {
        Self(self.0.saturating_sub(u64::try_from(span.as_micros()).unwrap_or(u64::MAX)))
    }
}

/// Microseconds since 1970-01-01 UTC.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct WallTime(i64);

impl WallTime {
    /// From microseconds since 1970-01-01 UTC.
    pub const fn from_unix_us(us: i64) -> Self {
        Self(us)
    }

    /// Microseconds since 1970-01-01 UTC.
    pub const fn unix_us(self) -> i64 {
        self.0
    }

    /// RFC 3339 in UTC; times outside jiff's range are written as their nearest bound.
    pub fn rfc3339(self) -> String {
        let stamp = jiff::Timestamp::from_microsecond(self.0);
        stamp.unwrap_or(if self.0 < 0 { jiff::Timestamp::MIN } else { jiff::Timestamp::MAX }).to_string()
    }

    /// Year and month in UTC, bounded as in [`WallTime::rfc3339`].
    pub fn month(self) -> (i16, i8) {
        let stamp = jiff::Timestamp::from_microsecond(self.0);
        let stamp = stamp.unwrap_or(if self.0 < 0 { jiff::Timestamp::MIN } else { jiff::Timestamp::MAX });
        let day = jiff::tz::Offset::UTC.to_datetime(stamp);
        (day.year(), day.month())
    }

    /// From a day and a time in UTC; `None` where there is no such moment.
    pub fn from_utc(year: i16, month: i8, day: i8, hour: i8, minute: i8) -> Option<Self> {
        let at = jiff::civil::DateTime::new(year, month, day, hour, minute, 0, 0).ok()?;
        jiff::tz::Offset::UTC.to_timestamp(at).ok().map(|stamp| Self(stamp.as_microsecond()))
    }

    /// From RFC 3339 text; `None` where it is none.
    pub fn from_rfc3339(text: &str) -> Option<Self> {
        text.parse::<jiff::Timestamp>().ok().map(|stamp| Self(stamp.as_microsecond()))
    }
}
