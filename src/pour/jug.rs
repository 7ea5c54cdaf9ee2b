//! The jug: known by what it weighs empty, it is set on the bare pan between two pieces to say what is left in it, and
//! is no piece.
//!
//! What could be a piece is a piece: the jug is known only where no bare piece of the batch weighs as much.

use super::engine::Engine;
use super::entry::Output;
use super::kept::PLACED;
use super::landing::Landing;
use super::ready::LUMP;
use super::recognised::Landed;
use super::remark::Remark;
use super::stand::Stand;
use super::state::{Other, State};
use crate::reading::Weighing;
use crate::time::{Duration, Instant};
use crate::units::Mass;

/// Slop at hand is told to no better than this share of itself and so many grams (own choices: a bucket's mark).
const SLOP_SHARE: f64 = 0.02;
const SLOP_G: f64 = 10.0;
/// Who sets the same weight down again so soon after it was called a jug says that it is a piece (a guess).
const AGAIN_WITHIN: Duration = Duration::from_secs(15);
/// A jug on the pan whose weight changes by more was poured into, or from; less is a drip or a finger (own choice).
const POURED_INTO_G: f64 = 5.0;

/// From reading to reading a jug that stands there may wander so far, or by two steps of the display: creep, a draught,
/// water that dries off (own choice; the least that is poured is more).
const WANDERS_G: f64 = 1.0;
/// Off so much of its weight by its dip, it was lifted (own choice): a hand that steadies it bears less.
const LIFTED_SHARE: f64 = 0.25;

/// A jug that the engine knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jug {
    /// What it weighs empty.
    pub empty: Mass,
    /// The slop there is in all, where the batch tells of it: more is in no jug.
    pub slop: Option<Mass>,
    /// What it weighed when it was last lifted off, and when that was.
    pub lifted: Option<(Mass, Instant)>,
}

/// The jug as it stands on the pan.
#[derive(Clone, Debug, Default)]
pub(super) struct JugOnPan {
    /// What it weighed when that was last told, g.
    gross_g: f64,
    /// What it weighed when it was last at rest, g.
    rest_g: f64,
    /// The least that was shown since, g.
    least_g: f64,
    /// Readings since it was last at rest.
    since: Landing,
}

impl JugOnPan {
    fn of(gross_g: f64) -> Self {
        Self { gross_g, rest_g: gross_g, least_g: gross_g, since: Landing::default() }
    }

    /// It is at rest once more, and nothing was seen but wandering: taken for the jug it stays that, whatever else may weigh
    /// as much by now.
    fn wanders(&mut self, gross_g: f64, within_g: f64) -> bool {
        let lifted = self.rest_g - self.least_g > LIFTED_SHARE * self.rest_g;
        let more_g = gross_g - self.rest_g;
        (self.rest_g, self.least_g) = (gross_g, gross_g);
        !lifted && more_g.abs() <= within_g
    }
}

impl Jug {
    /// One that weighs so much empty.
    pub fn of(empty: Mass) -> Self {
        Self { empty, slop: None, lifted: None }
    }
}

impl Engine {
    /// A known jug came to rest on the bare pan: what it weighs is told, nothing is tared and no number used.
    pub(super) fn jug_set(&mut self, rest_g: f64, at: Instant) -> bool {
        let gross_g = rest_g - self.zero_g;
        let Some(jug) = self.jug.filter(|jug| self.may_hold(jug, gross_g)) else { return false };
        if self.set_again(&jug, gross_g, at) || !matches!(self.recognise(rest_g), Landed::New) {
            return false;
        }
        self.enter(State::Other(Other::Jug(Box::new(JugOnPan::of(gross_g)))));
        self.outputs.push_back(Output::Jug { gross: Mass::saturating(gross_g), before: None });
        self.note(Remark::Jug, at);
        true
    }

    /// It stands there until it is lifted off.
    pub(super) fn jug_stands(&mut self, mut on: Box<JugOnPan>, w: Weighing) {
        let shown_g = w.mass.g() - self.zero_g;
        // A late display may never reach the bare pan before the next piece lands. An empty one may wander below what
        // it weighs empty.
        let fell = on.rest_g - shown_g > self.placed_within_g(on.rest_g);
        if fell && !self.jug.is_some_and(|jug| self.holds(&jug, shown_g)) {
            if let Some(jug) = &mut self.jug {
                jug.lifted = Some((Mass::saturating(on.rest_g), w.arrived_at));
            }
            return self.enter(State::Idle);
        }
        on.least_g = on.least_g.min(shown_g);
        let Some(gross_g) = self.at_rest().map(|rest| rest - self.zero_g) else {
            return self.jug_moves(on, w);
        };
        let within_g = WANDERS_G.max(2.0 * self.start.scale.step.g());
        if !on.wanders(gross_g, within_g) && !self.jug.is_some_and(|jug| self.may_hold(&jug, gross_g)) {
            // It is gone, and a piece stands there.
            return self.enter(State::Landing(Landing::of_what_stood()));
        }
        on.since = Landing::default();
        let more_g = gross_g - on.gross_g;
        if (POURED_INTO_G..LUMP.end * self.start.target.g()).contains(&more_g) {
            // No more than a pour: a ladle's lump, or what no stream was seen of. What could be a piece is a piece.
            return self.opens(gross_g + self.zero_g, more_g, None, w.arrived_at);
        }
        if more_g.abs() > POURED_INTO_G {
            let before = Some(Mass::saturating(on.gross_g));
            self.outputs.push_back(Output::Jug { gross: Mass::saturating(gross_g), before });
            on.gross_g = gross_g;
        }
        self.enter(State::Other(Other::Jug(on)));
    }

    fn jug_moves(&mut self, mut on: Box<JugOnPan>, w: Weighing) {
        on.since.note(w);
        if self.guides() && on.since.climbs(self.start.scale.reading_sd_g()).is_some() {
            return self.runs_into_jug(&on, w);
        }
        self.enter(State::Other(Other::Jug(on)));
    }

    /// What slop is let run into as into a piece is a piece: it is guided from what it weighed at rest.
    pub(super) fn runs_into_jug(&mut self, on: &JugOnPan, w: Weighing) {
        let tare_g = on.gross_g + self.zero_g;
        let stand = Stand { tare_g, u_g: self.start.scale.reading_sd_g(), until: w.taken_at };
        self.early_pour(&on.since, stand, None, w);
    }

    /// There is so much slop in all from now on; `None`: nobody told.
    pub(super) fn slop_told(&mut self, slop: Option<Mass>) {
        if let Some(jug) = &mut self.jug {
            jug.slop = slop;
        }
    }

    /// Standard uncertainty of one weighing of a jug: of a reading, and of where it stands on the pan.
    pub fn jug_weighed_to(&self, gross: Mass) -> Mass {
        Mass::saturating(self.start.scale.reading_sd_g().hypot(PLACED * gross.g()))
    }

    /// The jug as it is known by now.
    pub fn jug(&self) -> Option<Jug> {
        self.jug
    }

    /// A jug may weigh so much, and no piece of this batch does.
    fn may_hold(&self, jug: &Jug, gross_g: f64) -> bool {
        let holds_g = gross_g - jug.empty.g();
        let enough = jug.slop.is_none_or(|slop| holds_g <= slop.g() + self.slop_room_g(slop));
        enough && self.holds(jug, gross_g) && self.ware.tells() && self.ware.is_unlike(gross_g)
    }

    fn slop_room_g(&self, slop: Mass) -> f64 {
        SLOP_SHARE * slop.g() + SLOP_G + self.placed_within_g(slop.g())
    }

    /// It is not lighter than the jug is empty.
    fn holds(&self, jug: &Jug, gross_g: f64) -> bool {
        gross_g >= jug.empty.g() - self.placed_within_g(gross_g)
    }

    /// What was just called a jug is set down once more: a piece, then.
    fn set_again(&self, jug: &Jug, gross_g: f64, at: Instant) -> bool {
        jug.lifted.is_some_and(|(before, when)| {
            at.since(when) < AGAIN_WITHIN && (gross_g - before.g()).abs() <= self.placed_within_g(gross_g)
        })
    }
}
