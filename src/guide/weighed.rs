//! Things weighed one after the other, hands-free: each is set on the bare pan and lifted off again. What a vessel weighs
//! with water and with slop to the same mark tells how dense the slop is (`batch::slurry`); a piece dry and soaked, how
//! much its wall drinks (`batch::ware`).
//!
//! Only takes weights; what they mean is reckoned elsewhere.

use super::{Amiss, Guide, Want};
use crate::reading::Weighing;
use crate::units::Mass;

/// Lighter is a fingertip, heavier no bench scale carries, g (own choice).
const LEAST_G: f64 = 2.0;
const MOST_G: f64 = 20_000.0;
/// So many things in one go are enough for a vessel filled ten times (own choice).
pub const MOST_THINGS: usize = 24;

/// What is set on the pan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Thing {
    /// A vessel with a mark, empty and dry.
    Vessel,
    /// The same with water to the mark.
    Water,
    /// The same with slop to the mark.
    Slop,
    /// A bare piece, dry.
    Dry,
    /// The same soaked in water, its outside wiped.
    Soaked,
    /// A piece to be glazed, bare.
    Piece,
    /// A test tile, bare.
    Tile,
    /// The same with its coat, dry again.
    Coated,
}

impl Thing {
    /// Every one.
    pub const ALL: [Self; 8] = [
        Self::Vessel,
        Self::Water,
        Self::Slop,
        Self::Dry,
        Self::Soaked,
        Self::Piece,
        Self::Tile,
        Self::Coated,
    ];

    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Vessel => "vessel",
            Self::Water => "water",
            Self::Slop => "slop",
            Self::Dry => "dry",
            Self::Soaked => "soaked",
            Self::Piece => "piece",
            Self::Tile => "tile",
            Self::Coated => "coated",
        }
    }

    /// The thing of this word.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|thing| thing.word() == word)
    }

    /// What it weighs more than, where that was weighed before.
    const fn outweighs(self) -> Option<Self> {
        match self {
            Self::Water | Self::Slop => Some(Self::Vessel),
            Self::Soaked => Some(Self::Dry),
            Self::Coated => Some(Self::Tile),
            Self::Vessel | Self::Dry | Self::Piece | Self::Tile => None,
        }
    }
}

/// Some things to weigh: at least one, at most [`MOST_THINGS`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Things(Vec<Thing>);

impl Things {
    /// As given; `None` where there are none, or too many.
    pub fn new(things: Vec<Thing>) -> Option<Self> {
        (1..=MOST_THINGS).contains(&things.len()).then_some(Self(things))
    }
}

/// One run through some things.
#[derive(Clone, Debug)]
pub struct Weighed {
    guide: Guide,
    things: Vec<Thing>,
    grams: Vec<f64>,
    /// What the bare pan shows.
    zero_g: f64,
}

impl Weighed {
    /// These, in this order; waits for a bare pan.
    pub fn new(things: Things) -> Self {
        let on = Want::On { least: Mass::saturating(LEAST_G), most: Mass::saturating(MOST_G) };
        let wants =
            std::iter::once(Want::Bare).chain(things.0.iter().flat_map(|_| [on, Want::Off])).collect();
        Self { guide: Guide::new(wants), things: things.0, grams: Vec::new(), zero_g: 0.0 }
    }

    /// The same things from the first on, where the scale shows otherwise from now on; what is done stays: it was weighed by
    /// one measure.
    pub fn begun_anew(self) -> Self {
        if self.is_done() { self } else { Self::new(Things(self.things)) }
    }

    /// What is waited for, and what is amiss.
    pub fn guide(&self) -> &Guide {
        &self.guide
    }

    /// What is to be weighed, in order.
    pub fn things(&self) -> &[Thing] {
        &self.things
    }

    /// What each weighed so far, g.
    pub fn grams(&self) -> &[f64] {
        &self.grams
    }

    /// What is to be set on the pan, or lifted off it.
    pub fn thing(&self) -> Option<Thing> {
        let lies = matches!(self.guide.want(), Some(Want::Off));
        self.guide.want()?;
        self.things.get(self.grams.len() - usize::from(lies)).copied()
    }

    /// Everything is weighed: the last need not be lifted off.
    pub fn is_done(&self) -> bool {
        self.grams.len() == self.things.len()
    }

    /// Takes a weighing, and the weight at rest where the pan rests. True when a thing was weighed by it.
    pub fn handle_weighing(&mut self, w: Weighing, rest: Option<Mass>) -> bool {
        if self.is_done() {
            return false;
        }
        let Some(met) = self.guide.handle_weighing(w, rest) else { return false };
        match met.want {
            Want::On { .. } | Want::Again => self.weighed(met.after.g() - self.zero_g),
            Want::Bare | Want::Off => {
                self.zero_g = met.after.g();
                false
            }
        }
    }

    fn weighed(&mut self, net_g: f64) -> bool {
        let thing = self.things.get(self.grams.len());
        let lighter = thing.and_then(|thing| thing.outweighs()).and_then(|of| self.latest(of));
        if lighter.is_some_and(|least_g| net_g <= least_g) {
            self.guide.back(1, Amiss::TooLight);
            return false;
        }
        self.grams.push(net_g);
        true
    }

    fn latest(&self, of: Thing) -> Option<f64> {
        let weighed = self.things.iter().zip(&self.grams);
        weighed.filter(|(thing, _)| **thing == of).map(|(_, g)| *g).next_back()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::rests_with;
    use super::*;

    fn of(things: &[Thing]) -> Weighed {
        Weighed::new(Things::new(things.to_vec()).unwrap())
    }

    fn rests(weighed: &mut Weighed, from_s: f64, weights: &[(f64, f64)]) {
        rests_with(from_s, weights, |w, rest| weighed.handle_weighing(w, rest));
    }

    #[test]
    fn a_vessel_is_weighed_with_water_and_slop_twice_and_each_weight_is_above_the_pan_as_it_was() {
        let mut weighed = of(&[Thing::Vessel, Thing::Water, Thing::Water, Thing::Slop, Thing::Slop]);
        assert_eq!((weighed.thing(), weighed.guide().want()), (Some(Thing::Vessel), Some(Want::Bare)));
        rests(&mut weighed, 0.0, &[(0.3, 2.0), (120.3, 2.0)]);
        assert_eq!((weighed.thing(), weighed.guide().want()), (Some(Thing::Vessel), Some(Want::Off)));
        rests(&mut weighed, 5.0, &[(0.5, 2.0)]);
        assert_eq!(weighed.thing(), Some(Thing::Water));
        for (from_s, g) in [(10.0, 219.9), (20.0, 220.3), (30.0, 265.1)] {
            rests(&mut weighed, from_s, &[(g + 0.5, 2.0), (0.5, 2.0)]);
        }
        assert!(!weighed.is_done());
        rests(&mut weighed, 40.0, &[(265.5, 2.0)]);
        assert!(weighed.is_done() && weighed.thing() == Some(Thing::Slop), "the last need not be lifted");
        let wanted = [120.0, 219.9, 220.3, 265.1, 265.0];
        let close = |(a, b): (&f64, f64)| (a - b).abs() < 1e-6;
        assert!(weighed.grams().iter().zip(wanted).all(close), "{:?}", weighed.grams());
        rests(&mut weighed, 50.0, &[(0.5, 2.0), (99.0, 2.0)]);
        assert_eq!(weighed.grams().len(), 5);
    }

    #[test]
    fn a_full_vessel_that_weighs_less_than_an_empty_one_is_told_and_weighed_again() {
        let mut weighed = of(&[Thing::Vessel, Thing::Water]);
        rests(&mut weighed, 0.0, &[(0.0, 2.0), (120.0, 2.0), (0.0, 2.0), (119.0, 3.0)]);
        assert_eq!((weighed.guide().amiss(), weighed.grams().len()), (Some(Amiss::TooLight), 1));
        rests(&mut weighed, 20.0, &[(220.0, 3.0)]);
        assert_eq!((weighed.guide().amiss(), weighed.grams().len()), (None, 2));
    }

    #[test]
    fn begun_anew_the_same_things_are_weighed_from_the_first_on_and_what_is_done_stays() {
        let mut weighed = of(&[Thing::Dry, Thing::Soaked]);
        rests(&mut weighed, 0.0, &[(0.0, 2.0), (200.0, 2.0)]);
        assert_eq!(weighed.grams().len(), 1);
        let mut anew = weighed.begun_anew();
        assert_eq!(
            (anew.grams().len(), anew.thing(), anew.guide().want()),
            (0, Some(Thing::Dry), Some(Want::Bare))
        );
        assert_eq!(anew.things(), [Thing::Dry, Thing::Soaked]);
        rests(&mut anew, 10.0, &[(0.0, 2.0), (201.0, 2.0), (0.0, 2.0), (222.0, 2.0)]);
        assert_eq!(anew.begun_anew().grams().len(), 2);
    }

    #[test]
    fn each_thing_has_a_word_of_its_own_and_none_or_too_many_are_no_things() {
        for thing in Thing::ALL {
            assert_eq!(Thing::of(thing.word()), Some(thing));
        }
        assert_eq!(Thing::of("lead"), None);
        assert_eq!(Things::new(Vec::new()), None);
        assert_eq!(Things::new(vec![Thing::Piece; MOST_THINGS + 1]), None);
        assert!(Things::new(vec![Thing::Piece; MOST_THINGS]).is_some());
    }
}
