//! What happened under a display that stood still: one piece was changed for another, and all of the difference is shown at
//! once. What a scale sees itself it shows over several readings.

use super::engine::{Engine, Seen};
use super::state::{Done, Pour};
use super::zeroed::LANDED_OVER;
use crate::reading::Weighing;
use crate::scale::Origin;

/// A change of so many thresholds from one reading to the next is sudden ...
const SUDDEN: f64 = 5.0;
/// ... and a display that shows a lift over several readings leaves at least this share of it to the next ones (derived for
/// a pole: exp(-1/1.5) is a half; the rest is room); what goes on by less than that is at its end.
pub(super) const TAIL: f64 = 0.2;
/// So much more than fits, as a share of the target, is no slip of a hand (own choice).
const FAR: f64 = 0.25;

/// Readings that lie further apart than so many usual ones hide too much of what the display shows of a change (own choice:
/// one reading lost, or late; a display that is known to show a lift over several leaves twice [`TAIL`] to the next even then).
const FOLLOWS: f64 = 2.0;

/// What stands there by now and was shown lighter by this share of its weight in between, was lifted, or another came for it
/// (own choice: who takes some slop out bears less; a display of 0.7 s falls by more within 0.3 s of a lift).
const DIPPED: f64 = 0.2;

/// What the display went to within one reading from a level that was known, and the least it showed since, g above it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct AtOnce {
    to_g: Option<f64>,
    least_g: f64,
}

impl AtOnce {
    /// Takes a reading and the one that it followed at the usual pace, in g above the level, and by how much noise moves it.
    pub(super) fn note(&mut self, before_g: Option<f64>, now_g: f64, threshold_g: f64) {
        let level = before_g.is_some_and(|g| g.abs() <= threshold_g);
        let other_way = self.to_g.is_some_and(|to_g| to_g * now_g < 0.0);
        if level && now_g.abs() > SUDDEN * threshold_g {
            self.to_g = Some(now_g);
        } else if now_g.abs() <= threshold_g || other_way {
            self.to_g = None;
        }
        self.least_g = if level { now_g.min(0.0) } else { self.least_g.min(now_g) };
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
    /// The display is known to show over several readings what comes or goes at once: so late is it, or so the piece came.
    fn shows_in_parts(&self) -> bool {
        let known = match self.start.scale.lag_origin {
            Origin::Assumed => false,
            Origin::Told | Origin::Learned => true,
        };
        known && self.shows_lifts() || self.landed_over >= LANDED_OVER
    }

    /// This reading follows the one before at the scale's pace.
    pub(super) fn follows(&self, w: Weighing, seen: Seen) -> bool {
        let most_s = self.pace.mean_s().map_or(0.0, |mean_s| FOLLOWS * mean_s);
        let apart_s =
            |b: Weighing| w.taken_at.seconds_from(b.taken_at).max(w.arrived_at.seconds_from(b.arrived_at));
        seen.before.is_some_and(|b| apart_s(b) <= most_s)
    }

    /// The display stood still while that went.
    pub(super) fn fell_unseen(&self, seen: AtOnce, now_g: f64) -> bool {
        self.shows_lifts() && seen.is_all(now_g, self.threshold_g())
    }

    /// The display stood still while that came.
    pub(super) fn came_unseen(&self, seen: AtOnce, now_g: f64) -> bool {
        self.shows_in_parts() && seen.is_all(now_g, self.threshold_g())
    }

    /// It was at once lighter than the bare piece: it was lifted.
    pub(super) fn left_unseen(&self, seen: AtOnce, had_g: f64) -> bool {
        self.shows_in_parts() && seen.fell_g() > had_g + self.threshold_g()
    }

    /// The piece, which held so much, net g, and what stands there now, gross g, were gone in between: the display fell far below
    /// both. Of a jug beside it, that is taken again, it falls too.
    pub(super) fn dipped(&self, seen: AtOnce, (pour, had_g): (&Pour, f64), gross_g: f64) -> bool {
        let level_g = pour.tare + had_g;
        let lifted_g = (1.0 - DIPPED) * (level_g.min(gross_g) - self.zero_g);
        self.fits(pour, had_g) && level_g + seen.least_g - self.zero_g < lifted_g
    }

    /// What the display went to within one reading. Where it had stood in the middle of a fall, that fall went on unseen.
    pub(super) fn note_at_once(&self, d: &mut Done, change: f64, w: Weighing, seen: Seen) {
        let before = d.recent.back().filter(|_| self.follows(w, seen)).map(|(_, net)| net - d.had_g);
        let before = if std::mem::take(&mut d.halted) { before.map(|_| 0.0) } else { before };
        d.at_once.note(before, change, self.threshold_g());
    }

    /// All that is there more was there at once, and more than anybody pours.
    pub(super) fn is_another_unseen(&self, d: &Done, net: f64) -> bool {
        self.came_unseen(d.at_once, net - d.had_g) && !self.fits(&d.pour, net)
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
            // Readings were missing: nobody knows how it came.
            let mut seen = AtOnce::default();
            seen.note(None, side * 34.9, 0.3);
            seen.note(Some(side * 34.9), side * 35.0, 0.3);
            assert!(!seen.is_all(side * 35.0, 0.3));
        }
    }
}
