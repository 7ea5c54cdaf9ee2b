//! What the bucket wants between two pieces: a stir, a new measurement. Pure: time is an argument.
//!
//! Each is said once when it is due, and again after as long or as many pieces again.

use crate::pour::remark::Remark;
use crate::settings::Reminding;
use crate::time::{Duration, Instant, WallTime};

/// The reminders of one batch under way.
#[derive(Debug)]
pub(super) struct Reminders {
    set: Reminding,
    /// Pieces since the bucket was stirred, or that was last said. Whoever begins has stirred.
    pieces: u32,
    stirred: Instant,
    /// When the bucket was measured; none: the grams are typed in.
    measured: Option<WallTime>,
    /// From when on it is to be said that it was long ago.
    measure_from: Option<WallTime>,
    /// It was said that the scale is to be checked.
    check_said: bool,
}

impl Reminders {
    /// A batch begins now, with the bucket measured then.
    pub(super) fn new(set: Reminding, now: Instant, measured: Option<WallTime>) -> Self {
        let measure_from = measured.and_then(|at| set.measure_after.map(|after| later(at, after)));
        Self { set, pieces: 0, stirred: now, measured, measure_from, check_said: false }
    }

    /// The bucket was measured again then.
    pub(super) fn handle_measured(&mut self, measured: Option<WallTime>) {
        self.measured = measured;
        self.measure_from = measured.and_then(|at| self.set.measure_after.map(|after| later(at, after)));
    }

    /// A piece was weighed.
    pub(super) fn handle_piece(&mut self) {
        self.pieces = self.pieces.saturating_add(1);
    }

    /// What is due now, each once.
    pub(super) fn due(&mut self, now: Instant, wall: WallTime, check: bool) -> Option<Remark> {
        let many = self.set.stir_every_pieces.is_some_and(|n| self.pieces >= n);
        // Nobody pours meanwhile: a bucket that waits for the potter is stirred by whoever comes back.
        let long = self.pieces > 0 && self.set.stir_every.is_some_and(|span| now.since(self.stirred) >= span);
        if many || long {
            self.pieces = 0;
            self.stirred = now;
            return Some(Remark::Stir);
        }
        if self.measure_from.is_some_and(|from| wall >= from) {
            self.measure_from = self.set.measure_after.map(|after| later(wall, after));
            return Some(Remark::Measure);
        }
        // Once in a batch, after its first piece: the page says so too, and nothing waits for it.
        (check && self.pieces > 0 && !std::mem::replace(&mut self.check_said, true)).then_some(Remark::Check)
    }

    /// The bucket was measured so long ago that it is to be measured again.
    pub(super) fn bucket_old(&self, wall: WallTime) -> bool {
        self.measured.zip(self.set.measure_after).is_some_and(|(at, after)| wall >= later(at, after))
    }
}

fn later(at: WallTime, span: Duration) -> WallTime {
    WallTime::from_unix_us(at.unix_us().saturating_add(i64::try_from(span.as_micros()).unwrap_or(i64::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: WallTime = WallTime::from_unix_us(1_700_000_000_000_000);

    fn at(minutes: u64) -> (Instant, WallTime) {
        let span = Duration::from_secs(60 * minutes);
        (Instant::START + span, later(START, span))
    }

    fn due(reminders: &mut Reminders, minutes: u64) -> Option<Remark> {
        let (now, wall) = at(minutes);
        reminders.due(now, wall, false)
    }

    #[test]
    fn a_stir_is_due_after_eight_pieces_once_and_again_after_eight_more() {
        let mut reminders = Reminders::new(Reminding::default(), Instant::START, None);
        let mut said = Vec::new();
        for piece in 1..=20 {
            reminders.handle_piece();
            said.extend(due(&mut reminders, 0).map(|_| piece));
        }
        assert_eq!(said, [8, 16]);
    }

    #[test]
    fn a_stir_is_due_after_a_quarter_of_an_hour_in_which_something_was_poured() {
        let mut reminders = Reminders::new(Reminding::default(), Instant::START, None);
        assert_eq!(due(&mut reminders, 60), None, "nobody pours: nothing to stir for");
        reminders.handle_piece();
        assert_eq!(due(&mut reminders, 60), Some(Remark::Stir));
        reminders.handle_piece();
        assert_eq!(due(&mut reminders, 74), None);
        assert_eq!(due(&mut reminders, 75), Some(Remark::Stir));
        assert_eq!(due(&mut reminders, 75), None, "once");
    }

    #[test]
    fn a_bucket_measured_four_hours_ago_is_to_be_measured_and_that_is_said_every_four_hours() {
        let mut reminders = Reminders::new(Reminding::default(), Instant::START, Some(START));
        assert_eq!(due(&mut reminders, 239), None);
        assert!(!reminders.bucket_old(at(239).1) && reminders.bucket_old(at(240).1));
        assert_eq!(due(&mut reminders, 240), Some(Remark::Measure));
        assert_eq!(due(&mut reminders, 479), None);
        assert_eq!(due(&mut reminders, 480), Some(Remark::Measure));
        let mut by_hand = Reminders::new(Reminding::default(), Instant::START, None);
        assert_eq!((due(&mut by_hand, 600), by_hand.bucket_old(at(600).1)), (None, false));
    }

    #[test]
    fn a_check_of_the_scale_is_asked_for_once_in_a_batch_after_its_first_piece() {
        let mut reminders = Reminders::new(Reminding::default(), Instant::START, None);
        let (now, wall) = at(1);
        assert_eq!(reminders.due(now, wall, true), None);
        reminders.handle_piece();
        assert_eq!(reminders.due(now, wall, true), Some(Remark::Check));
        assert_eq!(reminders.due(now, wall, true), None, "once");
    }

    #[test]
    fn what_is_switched_off_is_never_said() {
        let off = Reminding { stir_every_pieces: None, stir_every: None, measure_after: None };
        let mut reminders = Reminders::new(off, Instant::START, Some(START));
        for hours in 0..100 {
            reminders.handle_piece();
            assert_eq!(due(&mut reminders, 60 * hours), None);
        }
        assert!(!reminders.bucket_old(at(6000).1));
    }
}
