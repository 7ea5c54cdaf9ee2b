//! What a piece that was just lifted may have left on the pan, as far as that was seen: a display falls to it late, and a
//! sponge or the next piece may come before.

use super::state::Pour;
use crate::scale::{Origin, ScaleFacts};
use crate::time::{Duration, Instant};

/// The end of a display's fall is foreseen to this share of what is still to come (tried on simulated scales, which fall
/// not quite as one pole does).
const FORESEEN_WITHIN: f64 = 0.25;
/// A display has fallen so far after so many of its lags that what lies on the pan may be foreseen (derived for a pole: to a
/// twentieth; to less for a moving average).
const FALLEN_LAGS: f64 = 3.0;
/// The lag of the latest scale told of, s: a scale nobody knows may be as late.
const LATEST_S: f64 = 0.7;
/// So many readings before a hand is seen on the pan it may have begun to fall upon it; so many that are alike are a level
/// (own choice).
const LATELY: usize = 3;

/// What bears on the pan for less long is the next thing that lands (a fifth of a second, and a late display; a guess).
pub(super) const LANDS_WITHIN: Duration = Duration::from_millis(600);

/// A pan's display: its noise, the least piece, g, and how late it may be, s.
pub(super) struct PanShown {
    threshold_g: f64,
    piece_g: f64,
    lag_s: f64,
}

impl PanShown {
    pub(super) fn of(scale: &ScaleFacts, threshold_g: f64, piece_g: f64) -> Self {
        let lag_s = scale.lag.as_secs_f64();
        let lag_s = match scale.lag_origin {
            Origin::Assumed => lag_s.max(LATEST_S),
            Origin::Told | Origin::Learned => lag_s,
        };
        Self { threshold_g, piece_g, lag_s }
    }

    /// So long after a lift its display has fallen far enough, s.
    fn falls_s(&self) -> f64 {
        FALLEN_LAGS * self.lag_s
    }
}

/// A piece that was just lifted.
#[derive(Clone, Debug)]
pub(super) struct Lifted {
    pub(super) pour: Pour,
    /// Its first reading.
    since: Option<Instant>,
    /// What the pan had shown after each of the latest readings, the last one last.
    lately: [Shown; LATELY],
    /// What it showed when it last stood level, g over its zero: a display that still falls never did.
    level_g: Option<f64>,
    /// Something bore on the pan or took hold of it before that was seen at rest.
    borne: Option<Borne>,
}

/// The least that a pan has shown, g over its zero, and what may lie there, as the end of the display's fall was foreseen from
/// that, g.
#[derive(Clone, Copy, Debug)]
struct Shown {
    lowest_g: f64,
    perhaps_g: f64,
}

/// A sponge takes away what lay there: when it came, what may have lain there then as the pan showed it, and at most, g.
#[derive(Clone, Copy, Debug)]
struct Borne {
    at: Instant,
    shown_g: f64,
    most_g: f64,
    /// The least and the most that was shown since, g, and whether it presses.
    range_g: (f64, f64),
    presses: bool,
    /// It went back again: what only rises is the next piece, set down slowly, and what only falls a pan that had been wiped.
    turned: bool,
}

impl Borne {
    fn note(&mut self, shown_g: f64, threshold_g: f64) {
        let (low_g, high_g) = (self.range_g.0.min(shown_g), self.range_g.1.max(shown_g));
        self.range_g = (low_g, high_g);
        let back_g = if self.presses { high_g - shown_g } else { shown_g - low_g };
        self.turned |= back_g > threshold_g;
    }
}

impl Lifted {
    pub(super) fn of(pour: &Pour) -> Self {
        let none = Shown { lowest_g: f64::INFINITY, perhaps_g: f64::INFINITY };
        Self { pour: pour.clone(), since: None, lately: [none; LATELY], level_g: None, borne: None }
    }

    fn last(&self) -> Shown {
        self.lately[LATELY - 1]
    }

    /// The least the pan has shown since, g over its zero.
    pub(super) fn lowest_g(&self) -> f64 {
        self.last().lowest_g
    }

    /// Takes what the pan shows, g over its zero, where its fall ends, and how late it is, s.
    pub(super) fn note(&mut self, (at, shown_g): (Instant, f64), ends_at_g: Option<f64>, pan: &PanShown) {
        self.since.get_or_insert(at);
        let presses = (self.lowest_g() + pan.threshold_g..pan.piece_g).contains(&shown_g);
        if let Some(borne) = &mut self.borne {
            borne.note(shown_g, pan.threshold_g);
        } else if presses || shown_g < -pan.threshold_g {
            let (most_g, range_g) = (self.most_g(), (shown_g, shown_g));
            let shown_g = self.last().perhaps_g;
            self.borne = Some(Borne { at, shown_g, most_g, range_g, presses, turned: false });
        }
        let mut now = self.last();
        if shown_g < now.lowest_g {
            // It ends at the bare pan at the least.
            let foreseen_g = ends_at_g.map(|g| g.max(0.0)).map(|g| g + FORESEEN_WITHIN * (shown_g - g));
            now = Shown { lowest_g: shown_g, perhaps_g: foreseen_g.map_or(shown_g, |g| g.min(shown_g)) };
        }
        self.lately.rotate_left(1);
        self.lately[LATELY - 1] = now;
        if self.lately[0].lowest_g - now.lowest_g <= pan.threshold_g {
            self.level_g = Some(now.lowest_g);
        }
    }

    /// The display had fallen to the bare pan by then.
    pub(super) fn tells(&self, at: Instant, pan: &PanShown) -> bool {
        let fallen = self.since.is_some_and(|since| at.seconds_from(since) >= pan.falls_s());
        self.lowest_g() < pan.piece_g && fallen
    }

    /// At most so much lies there, as far as that was seen, g: a display that never stood level does not tell, as a sponge may
    /// have been on the pan for a while before it is noticed.
    fn most_g(&self) -> f64 {
        let before_g = |level_g| self.lately.iter().map(|shown| shown.perhaps_g).fold(level_g, f64::max);
        self.level_g.map_or(f64::INFINITY, before_g)
    }

    /// At most so much lay there when something came onto the pan, g.
    pub(super) fn borne_g(&self) -> Option<f64> {
        self.borne.map(|borne| borne.most_g)
    }

    /// At most so much was wiped off by a sponge that was on the pan since, g.
    pub(super) fn wiped_g(&self) -> Option<f64> {
        self.borne.filter(|borne| borne.turned).map(|borne| borne.most_g)
    }

    /// The same of one that was there before the next thing lands, g.
    pub(super) fn wiped_before_g(&self, at: Instant) -> Option<f64> {
        self.borne.filter(|borne| at.since(borne.at) > LANDS_WITHIN).and(self.wiped_g())
    }

    /// At most so much may be wiped off unseen from now on, g.
    pub(super) fn may_be_wiped_g(&self) -> f64 {
        self.wiped_g().unwrap_or_else(|| self.most_g())
    }

    /// What may lie there as the next thing lands, as the pan showed it before it was touched, g.
    pub(super) fn perhaps_g(&self) -> f64 {
        self.borne.map_or(self.last().perhaps_g, |landing| landing.shown_g)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Aim;

    /// What may have lain there by the latest reading, g, of a pan that showed this every tenth of a second at a lag of 0.3 s.
    fn noted(shown: &[f64]) -> Lifted {
        let mut lifted = Lifted::of(&Pour::open(1, Aim::default(), 300.0, Instant::START));
        let pan = PanShown { threshold_g: 0.3, piece_g: 40.0, lag_s: 0.3 };
        for (i, g) in (0..).zip(shown) {
            lifted.note((Instant::START.offset_seconds(0.1 * f64::from(i)), *g), None, &pan);
        }
        lifted
    }

    #[test]
    fn what_lies_on_a_pan_that_was_level_is_known_and_what_a_sponge_took_from_a_falling_display_is_not() {
        let most_g = |shown: &[f64]| noted(shown).wiped_g();
        assert_eq!(most_g(&[30.0, 12.0, 5.0, 2.0, 1.9, 1.9, 1.9]), None, "nothing bore on it");
        assert_eq!(most_g(&[30.0, 2.0, 1.9, 1.9, 15.0, 6.0]), Some(2.0), "level for three readings");
        assert_eq!(most_g(&[30.0, 12.0, 5.0, 15.0, 9.0]), Some(f64::INFINITY), "pressed");
        assert_eq!(most_g(&[30.0, 12.0, 5.0, -3.0, 2.0]), Some(f64::INFINITY), "pulled");
        let slowly = [30.0, 20.0, 14.0, 10.0, 7.0, 5.0, 4.0, 3.4, 3.0, 2.7, 15.0, 3.0];
        assert_eq!(most_g(&slowly), Some(f64::INFINITY), "it had not come to a level, whatever the time");
        assert_eq!(
            most_g(&[30.0, 2.0, 2.0, 2.0, 0.7, -9.0, -2.0]),
            Some(2.0),
            "a sponge pulls at it before it is seen"
        );
    }

    #[test]
    fn a_piece_that_lands_tells_no_more_than_the_pan_showed_before_it() {
        let lifted = noted(&[30.0, 12.0, 5.0, 15.0, 9.0]);
        let at = |s: f64| Instant::START.offset_seconds(s);
        let pan = PanShown { threshold_g: 0.3, piece_g: 40.0, lag_s: 0.3 };
        assert!(!lifted.tells(at(0.4), &pan) && lifted.tells(at(1.5), &pan));
        assert_eq!((lifted.wiped_before_g(at(0.4)), lifted.perhaps_g()), (None, 5.0), "it begins to land");
        assert_eq!(lifted.wiped_before_g(at(1.5)), Some(f64::INFINITY), "a sponge came before it");
    }
}
