//! Routines that lead through steps at the pan by what the scale shows, hands-free: nothing need be touched in between.
//!
//! A routine is a row of wants; each is met by a weight that lies still. Page and terminal are two faces of one routine.

pub mod calibrate;
pub mod lag;
pub mod weighed;

use crate::reading::Weighing;
use crate::time::{Duration, Instant};
use crate::units::Mass;

/// A weight that is to be taken as it is lies still for so long: the tail of a late scale is over (own choice).
const STILL: Duration = Duration::from_millis(1000);
/// ... and one that is not what is wanted is told after so long: a hand may still be at it (own choice).
const AMISS: Duration = Duration::from_millis(1500);
/// A bare pan shows less than this either way at first, g: a scale wakes at zero (own choice: less than a cup).
const BARE_G: f64 = 15.0;
/// What is taken off leaves no more than this share of it, or so many grams: a wet foot (a guess).
const LEFT: (f64, f64) = (0.01, 1.5);
/// The same thing set down again weighs the same to this share, or so many grams (a guess).
const SAME: (f64, f64) = (0.03, 1.5);

/// What a step waits for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Want {
    /// Nothing on the pan.
    Bare,
    /// Something that weighs from so much to so much.
    On {
        /// The least.
        least: Mass,
        /// The most.
        most: Mass,
    },
    /// The same once more.
    Again,
    /// What lies there is to be lifted off, in one go.
    Off,
}

/// Why a weight that lies still is not what is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Amiss {
    /// The pan is not bare.
    NotBare,
    /// Less than wanted.
    TooLight,
    /// More than wanted.
    TooHeavy,
    /// Something else than before.
    Other,
    /// It was not done in one go: once more.
    NotInOneGo,
}

impl Amiss {
    /// Every one.
    pub const ALL: [Self; 5] = [Self::NotBare, Self::TooLight, Self::TooHeavy, Self::Other, Self::NotInOneGo];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotBare => "not-bare",
            Self::TooLight => "too-light",
            Self::TooHeavy => "too-heavy",
            Self::Other => "other",
            Self::NotInOneGo => "not-in-one-go",
        }
    }
}

/// A want that was met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Met {
    /// Which.
    pub want: Want,
    /// What the pan showed before it, at rest.
    pub before: Mass,
    /// What it shows now.
    pub after: Mass,
}

/// One run through a row of wants.
#[derive(Clone, Debug)]
pub struct Guide {
    wants: Vec<Want>,
    at: usize,
    /// What the bare pan shows.
    zero_g: f64,
    /// What lay on it last, above that.
    load_g: f64,
    /// The latest weight taken.
    taken_g: f64,
    still_since: Option<Instant>,
    amiss: Option<Amiss>,
}

impl Guide {
    /// At the first of these wants.
    pub fn new(wants: Vec<Want>) -> Self {
        Self { wants, at: 0, zero_g: 0.0, load_g: 0.0, taken_g: 0.0, still_since: None, amiss: None }
    }

    /// What is waited for; `None` at the end.
    pub fn want(&self) -> Option<Want> {
        self.wants.get(self.at).copied()
    }

    /// Steps done, and how many there are.
    pub fn progress(&self) -> (usize, usize) {
        (self.at, self.wants.len())
    }

    /// Why the weight that lies there is not taken.
    pub fn amiss(&self) -> Option<Amiss> {
        self.amiss
    }

    /// Takes a weighing, and the weight at rest where the pan rests; gives the want that was met by it.
    pub fn handle_weighing(&mut self, w: Weighing, rest: Option<Mass>) -> Option<Met> {
        let want = self.want()?;
        let Some(rest) = rest else {
            self.still_since = None;
            return None;
        };
        let still = w.taken_at.since(*self.still_since.get_or_insert(w.taken_at));
        match self.judge(want, rest.g()) {
            Fits::Yes if still >= STILL => Some(self.take(want, rest)),
            Fits::No(amiss) if still >= AMISS => {
                self.amiss = Some(amiss);
                None
            }
            Fits::Yes | Fits::No(_) | Fits::NotYet => None,
        }
    }

    /// The latest steps, so many of them, are to be done again.
    pub fn back(&mut self, steps: usize, why: Amiss) {
        self.at = self.at.saturating_sub(steps);
        self.amiss = Some(why);
    }

    fn take(&mut self, want: Want, rest: Mass) -> Met {
        let before = Mass::saturating(self.taken_g);
        self.taken_g = rest.g();
        match want {
            // What is left on the pan is no part of what comes next.
            Want::Bare | Want::Off => self.zero_g = rest.g(),
            Want::On { .. } | Want::Again => self.load_g = rest.g() - self.zero_g,
        }
        self.at += 1;
        self.amiss = None;
        self.still_since = None;
        Met { want, before, after: rest }
    }

    fn judge(&self, want: Want, rest_g: f64) -> Fits {
        let net_g = rest_g - self.zero_g;
        let within = |(share, grams): (f64, f64)| grams.max(share * self.load_g);
        match want {
            Want::Bare if rest_g.abs() < BARE_G => Fits::Yes,
            Want::Bare => Fits::No(Amiss::NotBare),
            Want::On { .. } | Want::Again if net_g.abs() <= LEFT.1 => Fits::NotYet,
            Want::On { least, .. } if net_g < least.g() => Fits::No(Amiss::TooLight),
            Want::On { most, .. } if net_g > most.g() => Fits::No(Amiss::TooHeavy),
            Want::On { .. } => Fits::Yes,
            Want::Again if (net_g - self.load_g).abs() <= within(SAME) => Fits::Yes,
            Want::Again => Fits::No(Amiss::Other),
            Want::Off if net_g.abs() <= within(LEFT) => Fits::Yes,
            Want::Off if (net_g - self.load_g).abs() <= within(SAME) => Fits::NotYet,
            Want::Off => Fits::No(Amiss::NotBare),
        }
    }
}

/// Whether a weight at rest is what is wanted.
enum Fits {
    Yes,
    No(Amiss),
    /// Nothing was done yet.
    NotYet,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(least_g: f64, most_g: f64) -> Want {
        Want::On { least: Mass::saturating(least_g), most: Mass::saturating(most_g) }
    }

    /// The pan rests at these weights for so long each, ten readings a second.
    pub(super) fn rests_with<T>(
        from_s: f64,
        weights: &[(f64, f64)],
        mut take: impl FnMut(Weighing, Option<Mass>) -> T,
    ) -> Vec<T> {
        let (mut t, mut given) = (from_s, Vec::new());
        for (grams, for_s) in weights {
            let until = t + for_s;
            let mut moving = true;
            while t < until {
                let (at, mass) = (Instant::START.offset_seconds(t), Mass::saturating(*grams));
                let w = Weighing { mass, arrived_at: at, taken_at: at };
                given.push(take(w, (!std::mem::take(&mut moving)).then_some(mass)));
                t += 0.1;
            }
        }
        given
    }

    /// As [`rests_with`]; gives what was met.
    fn rests(guide: &mut Guide, from_s: f64, weights: &[(f64, f64)]) -> Vec<Met> {
        rests_with(from_s, weights, |w, rest| guide.handle_weighing(w, rest)).into_iter().flatten().collect()
    }

    #[test]
    fn each_step_is_met_by_a_weight_that_lies_still_and_the_next_one_begins_from_there() {
        let mut guide = Guide::new(vec![Want::Bare, on(200.0, 500.0), Want::Off, Want::Again, Want::Off]);
        let met = rests(
            &mut guide,
            0.0,
            &[(0.2, 2.0), (310.0, 2.0), (0.6, 2.0), (312.0, 0.8), (310.4, 2.0), (0.6, 2.0)],
        );
        let seen: Vec<(f64, f64)> = met.iter().map(|m| (m.before.g(), m.after.g())).collect();
        assert_eq!(seen, [(0.0, 0.2), (0.2, 310.0), (310.0, 0.6), (0.6, 310.4), (310.4, 0.6)]);
        assert_eq!((guide.want(), guide.amiss(), guide.progress()), (None, None, (5, 5)));
    }

    #[test]
    fn a_wrong_weight_is_told_and_nothing_is_taken_for_it() {
        let wanted = |want| Guide::new(vec![want, Want::Off]);
        for (grams, why) in [(90.0, Amiss::TooLight), (700.0, Amiss::TooHeavy)] {
            let mut guide = wanted(on(200.0, 500.0));
            assert!(rests(&mut guide, 0.0, &[(grams, 1.2)]).is_empty());
            assert_eq!(guide.amiss(), None, "a hand may still be at it");
            rests(&mut guide, 2.0, &[(grams, 3.0)]);
            assert_eq!((guide.amiss(), guide.progress().0), (Some(why), 0));
            assert_eq!(rests(&mut guide, 6.0, &[(300.0, 2.0)]).len(), 1, "the right one is taken");
            assert_eq!(guide.amiss(), None);
        }
        let mut guide = wanted(Want::Bare);
        rests(&mut guide, 0.0, &[(320.0, 3.0)]);
        assert_eq!(guide.amiss(), Some(Amiss::NotBare));
        let mut guide = Guide::new(vec![on(200.0, 500.0), Want::Off, Want::Again]);
        rests(&mut guide, 0.0, &[(300.0, 2.0), (120.0, 3.0)]);
        assert_eq!(guide.amiss(), Some(Amiss::NotBare), "only a part of it is off");
        rests(&mut guide, 6.0, &[(0.0, 2.0), (250.0, 3.0)]);
        assert_eq!((guide.amiss(), guide.progress().0), (Some(Amiss::Other), 2));
    }

    #[test]
    fn steps_that_went_wrong_are_done_again() {
        let mut guide = Guide::new(vec![Want::Bare, on(200.0, 500.0), Want::Off]);
        rests(&mut guide, 0.0, &[(0.0, 2.0), (300.0, 2.0), (0.0, 2.0)]);
        guide.back(2, Amiss::NotInOneGo);
        assert_eq!((guide.want(), guide.amiss()), (Some(on(200.0, 500.0)), Some(Amiss::NotInOneGo)));
        assert_eq!(rests(&mut guide, 7.0, &[(300.0, 2.0), (0.0, 2.0)]).len(), 2);
    }
}
