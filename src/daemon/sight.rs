//! What can be seen of the scale, in the snapshot's words.

use crate::frame::Counts;
use crate::page::view::ScaleView;
use crate::reading::Weighing;
use crate::reading::timing::Timing;
use crate::settle::pace::Pace;
use crate::time::Instant;

/// What the link last said.
#[derive(Default)]
enum Link {
    #[default]
    Searching,
    Up,
    Lost {
        reason: String,
        try_this: String,
    },
}

/// The scale as it was last seen.
#[derive(Default)]
pub(super) struct Sight {
    link: Link,
    last: Option<Weighing>,
    /// Latest reading, a weight or out of range.
    read_at: Option<Instant>,
    pace: Pace,
    timing: Timing,
    /// Bytes came since it was opened or since the last weight.
    heard: bool,
    settled: bool,
    range_trouble: Option<&'static str>,
}

impl Sight {
    pub(super) fn handle_up(&mut self) {
        self.link = Link::Up;
        self.heard = false;
        self.timing.reset();
    }

    /// When the scale took a reading that arrived now.
    pub(super) fn handle_arrival(&mut self, at: Instant) -> Instant {
        self.timing.handle_arrival(at)
    }

    /// Bytes came, whatever they say.
    pub(super) fn handle_bytes(&mut self) {
        self.heard = true;
    }

    pub(super) fn handle_down(&mut self, reason: String, try_this: String) {
        self.link = Link::Lost { reason, try_this };
    }

    pub(super) fn handle_weighing(&mut self, w: Weighing, settled: bool) {
        self.settled = settled;
        self.last = Some(w);
        self.range_trouble = None;
        self.handle_read(w.arrived_at);
    }

    pub(super) fn handle_out_of_range(&mut self, trouble: &'static str, at: Instant) {
        self.range_trouble = Some(trouble);
        self.settled = false;
        self.handle_read(at);
    }

    fn handle_read(&mut self, at: Instant) {
        self.heard = false;
        self.pace.handle_reading(at);
        self.read_at = Some(at);
    }

    /// The scale's part of a snapshot.
    pub(super) fn view(&self, now: Instant, counts: &Counts) -> ScaleView {
        let age = self.last.map(|w| now.since(w.arrived_at));
        let fresh = self.read_at.is_some_and(|at| now.since(at) < self.pace.silence());
        let (state, trouble) = match &self.link {
            Link::Searching => ("searching", None),
            Link::Up if fresh => ("live", self.range_trouble.map(str::to_owned)),
            Link::Up => ("stale", Some(silent(self.heard, counts.skipped))),
            Link::Lost { reason, try_this } => ("lost", Some(format!("{reason}; {try_this}"))),
        };
        let slow = self.pace.too_slow().then(|| {
            "under 4 readings a second: too slow to call a stop in time, so no ready, no stop; weights are logged"
                .to_owned()
        });
        let rhythm = self.timing.rhythm();
        ScaleView {
            state,
            mass_g: self.last.map(|w| w.mass.g()),
            settled: self.settled && fresh,
            age_ms: age.map(|a| u64::try_from(a.as_millis()).unwrap_or(u64::MAX)),
            trouble: trouble.or(slow),
            readings: counts.readings,
            skipped: counts.skipped,
            rate_hz: rhythm.rate_hz,
            jitter_ms: rhythm.jitter_s.map(|s| s * 1000.0),
            loss: rhythm.loss,
        }
    }
}

fn silent(heard: bool, skipped: u64) -> String {
    if heard && skipped == 0 {
        "bytes come, but no whole line of text: check baud rate and framing".to_owned()
    } else if heard {
        format!("no readable weight ({skipped} lines skipped): check baud rate, framing and line format")
    } else {
        "the port is open but the scale says nothing: switch it on, check its sending mode".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mass;

    fn seen(every_s: f64) -> (Sight, Instant) {
        let mut sight = Sight::default();
        sight.handle_up();
        let mut at = Instant::START;
        for _ in 0..6 {
            at = at.offset_seconds(every_s);
            sight.handle_weighing(Weighing { mass: Mass::ZERO, arrived_at: at, taken_at: at }, true);
        }
        (sight, at)
    }

    #[test]
    fn a_slow_scale_is_live_between_its_readings_and_said_to_be_slow() {
        let (sight, at) = seen(1.0);
        let view = sight.view(at.offset_seconds(0.95), &Counts::default());
        assert_eq!(view.state, "live");
        assert!(view.trouble.is_some_and(|t| t.contains("too slow")));
        assert_eq!(sight.view(at.offset_seconds(3.1), &Counts::default()).state, "stale");
    }

    #[test]
    fn a_scale_that_is_loaded_too_much_is_live_and_says_so() {
        let (mut sight, at) = seen(0.1);
        for i in 1..20 {
            sight.handle_out_of_range("too much on the scale", at.offset_seconds(0.1 * f64::from(i)));
        }
        let view = sight.view(at.offset_seconds(1.95), &Counts::default());
        assert_eq!((view.state, view.trouble.as_deref()), ("live", Some("too much on the scale")));
        assert!(!view.settled);
    }
}
