//! What stands on the pan: pieces with their slop, other things, slop beside them. Grams over time, and
//! the truth about each piece.

use super::{LANDING_S, LIFTING_S, PRESS, PRESS_S, landing};
use crate::time::Instant;

/// A piece set down softly loads the pan over this many seconds (a guess).
const SOFTLY_S: f64 = 1.0;
/// A hard landing: how much quicker and harder than usual (guesses).
const HARD: (f64, f64) = (3.0, 4.0);
/// A wobble: share of the weight, turns a second, and how soon it has gone, seconds (guesses).
const WOBBLE: (f64, f64, f64) = (0.03, 3.0, 0.4);

/// What landed in a piece is noted so often, seconds: finer than any rule asks.
const NOTED_S: f64 = 0.1;

/// How a piece is put down.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Landing {
    /// As usual, in 0.2 s.
    #[default]
    Usual,
    /// Over a second.
    Softly,
    /// With a blow.
    Hard,
    /// It rocks on its foot.
    Wobbling,
}

impl Landing {
    /// Seconds until the hand has let go.
    pub(super) fn takes_s(self) -> f64 {
        match self {
            Self::Usual | Self::Wobbling => LANDING_S,
            Self::Softly => SOFTLY_S,
            Self::Hard => LANDING_S / HARD.0,
        }
    }

    fn share(self, for_s: f64) -> f64 {
        match self {
            Self::Usual => landing(for_s),
            Self::Softly => {
                let x = (for_s / SOFTLY_S).min(1.0);
                x * x * (3.0 - 2.0 * x)
            }
            Self::Hard => {
                let after = (for_s - LANDING_S / HARD.0).max(0.0) / PRESS_S;
                (for_s * HARD.0 / LANDING_S).min(1.0) + HARD.1 * PRESS * after * (1.0 - after).exp()
            }
            Self::Wobbling => {
                let rocks = (WOBBLE.1 * std::f64::consts::TAU * for_s).sin() * (-for_s / WOBBLE.2).exp();
                landing(for_s) * (1.0 + WOBBLE.0 * rocks)
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    On { since: Instant, how: Landing },
    Going { since: Instant },
}

/// The truth about one piece.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Truth {
    /// The bare piece, grams.
    pub bare_g: f64,
    /// Slop in it now, grams.
    pub net_g: f64,
    /// All slop that ever landed in it, grams.
    pub poured_g: f64,
    /// Each time it was put down.
    pub landed: Vec<Instant>,
    /// Slop in it at each lift, and when it was put back.
    pub at_lift_g: Vec<f64>,
    /// Slop in it while some landed: when, and grams, ten times a second.
    pub ran: Vec<(Instant, f64)>,
}

impl Truth {
    fn bare(bare_g: f64, now: Instant) -> Self {
        Self { bare_g, landed: vec![now], ..Self::default() }
    }

    fn pour(&mut self, g: f64, now: Instant) {
        self.net_g += g;
        self.poured_g += g;
        if self.ran.last().is_none_or(|(last, _)| now.seconds_from(*last) >= NOTED_S) {
            self.ran.push((now, self.net_g));
        }
    }
}

#[derive(Clone, Debug)]
struct Ware {
    truth: Truth,
    /// Water that went into the air or off its foot: it weighs no more, the slop was poured all the same.
    lost_g: f64,
    off_cm: f64,
    place: Place,
}

impl Ware {
    fn gross_g(&self) -> f64 {
        self.truth.bare_g + self.truth.net_g - self.lost_g
    }

    fn felt_g(&self, now: Instant, off_centre: f64) -> f64 {
        let load_g = self.gross_g() * (1.0 + off_centre * self.off_cm);
        match self.place {
            Place::On { since, how } => load_g * how.share(now.seconds_from(since)),
            Place::Going { since } => load_g * (1.0 - now.seconds_from(since) / LIFTING_S).max(0.0),
        }
    }
}

/// What a piece leaves on the pan as it is lifted, g.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Left {
    pub(crate) slop_g: f64,
    pub(crate) water_g: f64,
}

/// The pan and all that was ever on it.
#[derive(Clone, Debug, Default)]
pub(super) struct Pan {
    pieces: Vec<Ware>,
    /// Those that were lifted and are not back, the latest last.
    lifted: Vec<usize>,
    things: Vec<(String, Ware)>,
    /// Slop and water on the pan itself.
    slop_g: f64,
}

impl Pan {
    /// Puts down a new bare piece.
    pub(super) fn land(&mut self, bare_g: f64, how: Landing, now: Instant) {
        let truth = Truth::bare(bare_g, now);
        self.pieces.push(Ware { truth, lost_g: 0.0, off_cm: 0.0, place: Place::On { since: now, how } });
    }

    /// Lifts the piece that stands there; so much of its slop had run down outside and drips onto the pan, and so much water of
    /// its foot.
    pub(super) fn lift(&mut self, left: Left, now: Instant) {
        let Some(i) = self.pieces.iter().rposition(|w| matches!(w.place, Place::On { .. })) else { return };
        self.lifted.push(i);
        let ware = &mut self.pieces[i];
        let slop_g = left.slop_g.min(ware.truth.net_g);
        ware.truth.net_g -= slop_g;
        // What is no slop was there when it was set down.
        ware.lost_g += left.slop_g - slop_g + left.water_g;
        ware.truth.at_lift_g.push(ware.truth.net_g);
        ware.place = Place::Going { since: now };
        self.slop_g += left.slop_g + left.water_g;
    }

    /// Puts the piece that was lifted last back, `less_g` of its slop poured out or stuck elsewhere.
    pub(super) fn put_back(&mut self, less_g: f64, now: Instant) {
        let Some(ware) = self.lifted.pop().and_then(|i| self.pieces.get_mut(i)) else { return };
        ware.truth.net_g = (ware.truth.net_g - less_g).max(0.0);
        ware.truth.at_lift_g.push(ware.truth.net_g);
        ware.truth.landed.push(now);
        ware.off_cm = 0.0;
        ware.place = Place::On { since: now, how: Landing::Usual };
    }

    /// Pushes the piece off the pan's centre.
    pub(super) fn nudge(&mut self, cm: f64) {
        if let Some(ware) = self.standing() {
            ware.off_cm += cm;
        }
    }

    /// Sets another thing down beside the piece.
    pub(super) fn set(&mut self, name: &str, g: f64, now: Instant) {
        let truth = Truth::bare(g, now);
        let place = Place::On { since: now, how: Landing::Usual };
        self.things.push((name.to_owned(), Ware { truth, lost_g: 0.0, off_cm: 0.0, place }));
    }

    /// Takes it off again.
    pub(super) fn take(&mut self, name: &str, now: Instant) {
        for (_, ware) in self.things.iter_mut().filter(|(known, _)| known == name) {
            if matches!(ware.place, Place::On { .. }) {
                ware.place = Place::Going { since: now };
            }
        }
    }

    /// Slop lands: in the piece, or on the pan where none stands.
    pub(super) fn pour(&mut self, g: f64, now: Instant) {
        match self.standing() {
            Some(ware) => ware.truth.pour(g, now),
            None => self.slop_g += g,
        }
    }

    /// Slop lands beside the piece.
    pub(super) fn splash(&mut self, g: f64) {
        self.slop_g += g;
    }

    /// Wipes the pan so that so much stays.
    pub(super) fn wipe(&mut self, leaving_g: f64) {
        self.slop_g = leaving_g;
    }

    /// Water goes from the slop in the piece.
    pub(super) fn dry(&mut self, g: f64) {
        if let Some(ware) = self.standing() {
            ware.lost_g += g;
        }
    }

    /// What all of it presses on the pan.
    pub(super) fn felt_g(&self, now: Instant, off_centre: f64) -> f64 {
        let pieces: f64 = self.pieces.iter().map(|w| w.felt_g(now, off_centre)).sum();
        let things: f64 = self.things.iter().map(|(_, w)| w.felt_g(now, off_centre)).sum();
        pieces + things + self.slop_g
    }

    /// The truth about every piece, oldest first.
    pub(super) fn truths(&self) -> impl Iterator<Item = &Truth> {
        self.pieces.iter().map(|w| &w.truth)
    }

    /// The scene is over: what stands there counts as it stands.
    pub(super) fn close(&mut self) {
        if let Some(ware) = self.standing() {
            ware.truth.at_lift_g.push(ware.truth.net_g);
        }
    }

    fn standing(&mut self) -> Option<&mut Ware> {
        self.pieces.iter_mut().rfind(|w| matches!(w.place, Place::On { .. }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: f64) -> Instant {
        Instant::START.offset_seconds(s)
    }

    #[test]
    fn however_it_is_put_down_the_pan_feels_the_piece_in_the_end() {
        for how in [Landing::Usual, Landing::Softly, Landing::Hard, Landing::Wobbling] {
            let mut pan = Pan::default();
            pan.land(300.0, how, at(1.0));
            assert!((pan.felt_g(at(5.0), 0.0) - 300.0).abs() < 0.05, "{how:?}");
            assert!(pan.felt_g(at(1.01), 0.0) < 100.0, "{how:?}");
        }
        let most = |how: Landing| (0..2000).map(|ms| how.share(f64::from(ms) / 1e3)).fold(0.0, f64::max);
        assert!(most(Landing::Softly) <= 1.0 && most(Landing::Usual) < 1.05);
        assert!(most(Landing::Hard) > 1.1 && most(Landing::Wobbling) > 1.005);
    }

    #[test]
    fn slop_goes_with_the_piece_and_what_lies_beside_stays() {
        let mut pan = Pan::default();
        pan.land(300.0, Landing::Usual, at(1.0));
        pan.pour(20.0, at(4.0));
        pan.splash(2.0);
        assert!((pan.felt_g(at(5.0), 0.0) - 322.0).abs() < 0.01);
        pan.lift(Left { slop_g: 1.0, water_g: 0.5 }, at(6.0));
        assert!((pan.felt_g(at(7.0), 0.0) - 3.5).abs() < 1e-9);
        pan.pour(5.0, at(7.0));
        assert!((pan.felt_g(at(7.0), 0.0) - 8.5).abs() < 1e-9, "no piece: it lands on the pan");
        pan.wipe(0.5);
        pan.put_back(4.0, at(8.0));
        assert!((pan.felt_g(at(12.0), 0.0) - 315.0).abs() < 0.01, "what was left is gone");
        let truth = pan.truths().next().cloned().unwrap();
        assert_eq!((truth.at_lift_g, truth.poured_g), (vec![19.0, 15.0], 20.0));
    }

    #[test]
    fn what_landed_in_a_piece_is_noted_ten_times_a_second_and_what_landed_beside_it_is_not() {
        let mut pan = Pan::default();
        pan.land(300.0, Landing::Usual, at(1.0));
        for ms in 0..=250 {
            pan.pour(0.01, at(2.0 + f64::from(ms) / 1e3));
        }
        pan.lift(Left::default(), at(3.0));
        pan.pour(5.0, at(4.0));
        let ran: Vec<_> = pan.truths().flat_map(|t| &t.ran).map(|(at, g)| (at.us(), g.round())).collect();
        assert_eq!(ran, [(2_000_000, 0.0), (2_100_000, 1.0), (2_200_000, 2.0)]);
    }

    #[test]
    fn off_the_centre_a_load_errs_by_its_share_and_water_in_the_air_weighs_nothing() {
        let mut pan = Pan::default();
        pan.land(300.0, Landing::Usual, at(1.0));
        pan.pour(20.0, at(4.0));
        pan.nudge(2.0);
        assert!((pan.felt_g(at(5.0), 0.001) - 320.64).abs() < 0.01);
        pan.dry(0.5);
        assert!((pan.felt_g(at(5.0), 0.0) - 319.5).abs() < 0.01);
        assert_eq!(pan.truths().next().map(|t| t.net_g), Some(20.0));
        pan.set("jug", 700.0, at(6.0));
        assert!((pan.felt_g(at(9.0), 0.0) - 1019.5).abs() < 0.01);
        pan.take("jug", at(9.0));
        assert!((pan.felt_g(at(9.5), 0.0) - 319.5).abs() < 0.01);
    }
}
