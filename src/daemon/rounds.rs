//! When the loudspeakers are followed and the snapshot shown: at once for news (readings, cues, what is written,
//! a batch that ends), otherwise at most every 50 ms, however many events come, and at least every 200 ms.

use crate::time::{Duration, Instant};

/// The page is told at least this often, so that ages stay true.
const HEARTBEAT: Duration = Duration::from_millis(200);
/// A client may report its loudspeaker thousands of times a second; the eye sees no delay of this (our choice).
const OTHERWISE: Duration = Duration::from_millis(50);

/// What came since the last round.
#[derive(Debug)]
pub(super) struct Rounds {
    news: bool,
    event: bool,
    last: Instant,
}

impl Default for Rounds {
    fn default() -> Self {
        Self { news: false, event: false, last: Instant::START }
    }
}

impl Rounds {
    /// Something came that may show.
    pub(super) fn handle_event(&mut self) {
        self.event = true;
    }

    /// Something came that is to be shown at once.
    pub(super) fn handle_news(&mut self) {
        self.news = true;
    }

    /// When the next round is due if nothing more comes.
    pub(super) fn next(&self) -> Instant {
        self.last + if self.event { OTHERWISE } else { HEARTBEAT }
    }

    /// Whether a round is due; it is taken for done.
    pub(super) fn due(&mut self, now: Instant) -> bool {
        let due = self.news || now >= self.next();
        if due {
            *self = Self { last: now, ..Self::default() };
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounds in a second, with an event each so many microseconds.
    fn rounds(every_us: u64, mut tell: impl FnMut(&mut Rounds)) -> usize {
        let mut rounds = Rounds::default();
        let mut n = 0;
        for us in (0..1_000_000).step_by(every_us as usize) {
            tell(&mut rounds);
            n += usize::from(rounds.due(Instant::from_us(us)));
        }
        n
    }

    #[test]
    fn thousands_of_events_a_second_make_twenty_rounds_and_readings_one_each() {
        assert_eq!(rounds(150, Rounds::handle_event), 19);
        assert_eq!(rounds(10_000, Rounds::handle_news), 100);
    }

    #[test]
    fn a_lone_event_waits_for_fifty_milliseconds_at_most_and_silence_has_five_rounds_a_second() {
        assert_eq!(rounds(1000, |_| ()), 4);
        let mut rounds = Rounds::default();
        assert!(rounds.due(Instant::from_us(200_000)));
        assert_eq!(rounds.next(), Instant::from_us(400_000));
        rounds.handle_event();
        assert_eq!(rounds.next(), Instant::from_us(250_000));
        assert!(!rounds.due(Instant::from_us(249_999)) && rounds.due(Instant::from_us(250_000)));
    }
}
