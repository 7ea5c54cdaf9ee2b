//! What happened under a display that stood still: one piece was changed for another, and all of the difference is shown at
//! once. What a scale sees itself it shows over several readings.

use super::engine::Engine;
use super::state::Pour;
use super::zeroed::LANDED_OVER;

/// A change of so many thresholds from one reading to the next is sudden ...
const SUDDEN: f64 = 5.0;
/// ... and a display that shows a lift over several readings leaves at least this share of it to the next ones (derived for
/// a pole: exp(-1/1.5) is a half; the rest is room); what goes on by less than that is at its end.
pub(super) const TAIL: f64 = 0.2;
/// So much more than fits, as a share of the target, is no slip of a hand (own choice).
const FAR: f64 = 0.25;

/// What the display went to from a level that was known, as nothing goes that it shows.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct AtOnce {
    /// Within one reading, g above the level.
    to_g: Option<f64>,
    /// It stood in the middle of a fall.
    stood: bool,
}

impl AtOnce {
    /// Takes a reading and the one before it, in g above the level, and by how much noise moves it.
    pub(super) fn note(&mut self, before_g: Option<f64>, now_g: f64, threshold_g: f64) {
        let level = before_g.is_some_and(|g| g.abs() <= threshold_g);
        let other_way = self.to_g.is_some_and(|to_g| to_g * now_g < 0.0);
        self.stood &= now_g.abs() > threshold_g;
        if level && now_g.abs() > SUDDEN * threshold_g {
            self.to_g = Some(now_g);
        } else if now_g.abs() <= threshold_g || other_way {
            self.to_g = None;
        }
    }

    /// It stands in the middle of a fall, or fell on.
    pub(super) fn note_stands(&mut self, stands: bool) {
        self.stood |= stands;
    }

    /// So far below its level it was at once, g.
    fn fell_g(self) -> f64 {
        self.to_g.map_or(0.0, |to_g| -to_g)
    }

    /// It was there at once, and nothing was left to later readings.
    fn is_all(self, now_g: f64, threshold_g: f64) -> bool {
        self.to_g.is_some_and(|to_g| (to_g - now_g).abs() <= threshold_g.max(TAIL * now_g.abs()))
    }
}

impl Engine {
    /// The display shows over several readings what comes or goes at once: so late is it, or so the piece came.
    pub(super) fn shows_in_parts(&self) -> bool {
        self.shows_lifts() || self.landed_over >= LANDED_OVER
    }

    /// The display stood still while that came or went.
    pub(super) fn went_unseen_at_once(&self, seen: AtOnce, now_g: f64) -> bool {
        self.shows_in_parts() && seen.is_all(now_g, self.threshold_g())
    }

    /// The rest of a fall was not shown, or it was at once lighter than the bare piece: it was lifted.
    pub(super) fn left_unseen(&self, seen: AtOnce, had_g: f64) -> bool {
        seen.stood || self.shows_in_parts() && seen.fell_g() > had_g + self.threshold_g()
    }

    /// So much is poured into a piece at most, net g, by a hand that slips.
    pub(super) fn fits(&self, pour: &Pour, net: f64) -> bool {
        net <= pour.aim.high.g() + FAR * pour.aim.target.g()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noted(readings: &[f64]) -> AtOnce {
        let mut seen = AtOnce::default();
        let mut before = None;
        for g in readings {
            seen.note(before, *g, 0.3);
            before = Some(*g);
        }
        seen
    }

    #[test]
    fn what_is_there_at_once_is_told_from_what_leaves_a_tail_either_way() {
        for side in [1.0, -1.0] {
            let of = |readings: &[f64]| noted(&readings.iter().map(|g| side * g).collect::<Vec<f64>>());
            assert!(of(&[0.0, 0.1, 34.9, 34.9, 35.0]).is_all(side * 35.0, 0.3));
            assert!(!of(&[0.0, 0.1, 12.0, 27.0, 33.0]).is_all(side * 34.9, 0.3));
            // Gone again, or on the other side: another matter.
            assert!(!of(&[0.0, 34.9, 34.9, 0.1]).is_all(side * 0.1, 0.3));
            assert!(!of(&[0.0, 34.9, -20.0]).is_all(side * -20.0, 0.3));
            // No level before it.
            assert!(!of(&[4.0, 34.9, 34.9]).is_all(side * 34.9, 0.3));
        }
    }
}
