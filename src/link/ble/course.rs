//! Where the supervisor goes: states and troubles in, next state, pause and words out. Does nothing itself.

use super::trouble::BleError;
use std::mem::discriminant;
use std::time::Duration;

/// Pauses between tries grow from the first to the last, as with a serial port.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LAST_PAUSE: Duration = Duration::from_secs(5);
/// A connection without a value for this long is made anew: the engine says `fault` long before, and a scale
/// that sends only what changes is not to be disturbed all the time (own choice).
const FIRST_SILENCE: Duration = Duration::from_secs(10);
/// A scale that sends more rarely is given this many of its own intervals (as `settle/pace.rs` does for readings).
const OWN_INTERVALS: u32 = 3;
/// Each time in vain it gets twice as long, as each connection costs the scale's battery.
const LAST_SILENCE: Duration = Duration::from_secs(300);

/// The states a trouble can lead back to, in the order of a first start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stage {
    /// A way to the Bluetooth service is made.
    Bus,
    /// An adapter that is on is looked for.
    Adapter,
    /// The scale is looked for.
    Scan,
    /// It is connected.
    Connect,
}

/// What follows a trouble.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Turn {
    /// It is new and to be told.
    pub(super) say: bool,
    /// Wait for this long,
    pub(super) pause: Duration,
    /// then go on here.
    pub(super) stage: Stage,
    /// The address that its name or service led to may be an old one: it is to be heard anew.
    pub(super) anew: bool,
}

/// How the tries have gone so far.
#[derive(Debug)]
pub(super) struct Course {
    pause: Duration,
    silence: Duration,
    /// The longest of the latest times between two values.
    interval: Duration,
    said: Option<BleError>,
}

impl Default for Course {
    fn default() -> Self {
        Self { pause: FIRST_PAUSE, silence: FIRST_SILENCE, interval: Duration::ZERO, said: None }
    }
}

impl Course {
    /// A trouble came up.
    pub(super) fn handle_trouble(&mut self, trouble: &BleError) -> Turn {
        // By kind: signals and the system's reasons change from try to try, and are no news.
        let say = self.said.as_ref().is_none_or(|said| discriminant(said) != discriminant(trouble));
        self.said = Some(trouble.clone());
        if matches!(trouble, BleError::Silent { .. }) {
            self.silence = (self.silence * 2).min(LAST_SILENCE);
        }
        let pause = self.pause;
        self.pause = (pause * 2).min(LAST_PAUSE);
        // Some scales change their address; the system remembers the old one, and it never answers again.
        let anew = matches!(trouble, BleError::Refused { .. } | BleError::Hangs { .. });
        Turn { say, pause, stage: after(trouble), anew }
    }

    /// The scale is told as up.
    pub(super) fn handle_up(&mut self) {
        self.said = None;
    }

    /// A value came, so long after the one before on this connection: what was wrong is over.
    pub(super) fn handle_value(&mut self, after: Option<Duration>) {
        // A long one is forgotten by and by, so that a quick scale that paused once is not waited for.
        let interval = after.unwrap_or_default().max(self.interval.mul_f64(0.9));
        *self = Self { interval, ..Self::default() };
    }

    /// A connection that stays is told as up even before its first value, unless just that was the trouble.
    pub(super) fn up_without_values(&self) -> bool {
        !matches!(self.said, Some(BleError::Silent { .. }))
    }

    /// After this long without a value the connection is made anew.
    pub(super) fn silence(&self) -> Duration {
        self.silence.max((OWN_INTERVALS * self.interval).min(LAST_SILENCE))
    }

    /// For so long after a value an answer that is late is no trouble: the connection stands.
    pub(super) fn stands(&self, at_least: Duration) -> Duration {
        at_least.max((2 * self.interval).min(FIRST_SILENCE))
    }
}

fn after(trouble: &BleError) -> Stage {
    match trouble {
        // The library's way to the bus stays dead even when the bus comes back.
        BleError::NoBus | BleError::Mute | BleError::Permission => Stage::Bus,
        BleError::NoService | BleError::NoAdapter | BleError::Off | BleError::Blocked { .. } => {
            Stage::Adapter
        }
        // What the system knew of the scale may be gone with its service: begin with the adapter.
        BleError::Gone { .. } => Stage::Adapter,
        BleError::NoSearch { .. } | BleError::NotFound { .. } | BleError::Alike { .. } => Stage::Scan,
        BleError::Refused { .. } | BleError::Hangs { .. } => Stage::Scan,
        BleError::Pairing { .. }
        | BleError::NothingToHear { .. }
        | BleError::SeveralToHear { .. }
        | BleError::SendsNothing { .. }
        | BleError::CutWhileLoading { .. }
        | BleError::Dropped { .. }
        | BleError::Silent { .. }
        | BleError::TooMuch { .. } => Stage::Connect,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dropped() -> BleError {
        BleError::Dropped { scale: "x".into() }
    }

    #[test]
    fn pauses_grow_to_five_seconds_and_begin_anew_after_a_value() {
        let mut course = Course::default();
        let pauses: Vec<u128> =
            (0..7).map(|_| course.handle_trouble(&BleError::Off).pause.as_millis()).collect();
        assert_eq!(pauses, [250, 500, 1000, 2000, 4000, 5000, 5000]);
        course.handle_value(None);
        assert_eq!(course.handle_trouble(&dropped()).pause, FIRST_PAUSE);
    }

    #[test]
    fn a_trouble_is_said_once_another_is_said_too_and_after_a_way_out_it_is_said_again() {
        let mut course = Course::default();
        let alike = |dbm| BleError::Alike {
            scale: "x".into(),
            alike: vec![super::super::TwoAlike {
                address: "02:00:00:00:00:01".into(),
                signal_dbm: Some(dbm),
            }],
        };
        let said = [dropped(), dropped(), BleError::Off, BleError::Off, dropped(), alike(-50), alike(-60)]
            .map(|trouble| course.handle_trouble(&trouble).say);
        assert_eq!(said, [true, false, true, false, true, true, false]);
        course.handle_up();
        assert!(course.handle_trouble(&alike(-60)).say);
    }

    #[test]
    fn a_silent_scale_is_left_alone_longer_and_longer_and_told_as_up_only_with_a_value() {
        let mut course = Course::default();
        assert!(course.up_without_values());
        let mut waited = Vec::new();
        for _ in 0..7 {
            waited.push(course.silence().as_secs());
            course.handle_trouble(&BleError::Silent { scale: "x".into() });
            assert!(!course.up_without_values());
        }
        assert_eq!(waited, [10, 20, 40, 80, 160, 300, 300]);
        course.handle_value(None);
        assert!(course.up_without_values() && course.silence() == FIRST_SILENCE);
    }

    #[test]
    fn a_scale_that_sends_rarely_is_given_three_of_its_own_intervals_and_a_quick_one_ten_seconds() {
        let mut course = Course::default();
        let seconds = Duration::from_secs;
        course.handle_value(None);
        course.handle_value(Some(seconds(2)));
        assert_eq!((course.silence(), course.stands(seconds(1))), (FIRST_SILENCE, seconds(4)));
        course.handle_value(Some(seconds(8)));
        assert_eq!((course.silence(), course.stands(seconds(1))), (seconds(24), FIRST_SILENCE));
        course.handle_value(Some(seconds(200)));
        assert_eq!(course.silence(), LAST_SILENCE);
        for _ in 0..100 {
            course.handle_value(Some(Duration::from_millis(100)));
        }
        assert_eq!((course.silence(), course.stands(seconds(1))), (FIRST_SILENCE, seconds(1)));
    }

    #[test]
    fn a_scale_that_can_not_be_connected_is_looked_for_by_its_name_again_and_one_that_dropped_is_not() {
        let anew = |trouble: BleError| Course::default().handle_trouble(&trouble).anew;
        assert!(anew(BleError::Hangs { scale: "x".into() }));
        assert!(anew(BleError::Refused { scale: "x".into(), why: "y".into() }));
        assert!(!anew(dropped()) && !anew(BleError::Off));
    }

    #[test]
    fn a_dead_bus_is_opened_anew_and_a_dropped_scale_is_connected_without_a_search() {
        for (trouble, stage) in [
            (BleError::Mute, Stage::Bus),
            (BleError::NoService, Stage::Adapter),
            (BleError::Gone { scale: "x".into() }, Stage::Adapter),
            (BleError::Hangs { scale: "x".into() }, Stage::Scan),
            (dropped(), Stage::Connect),
        ] {
            assert_eq!(Course::default().handle_trouble(&trouble).stage, stage, "{trouble}");
        }
    }
}
