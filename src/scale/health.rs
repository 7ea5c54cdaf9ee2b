//! What a scale's readings tell of its health, beside the weight: a step that is coarser than told, its
//! own tare key, a pan that never rests, and that it is about to switch itself off.

use super::ScaleFacts;
use super::display::{Hidden, Hold};
use crate::reading::Weighing;
use crate::time::{Duration, Instant};
use crate::units::Mass;
use std::collections::VecDeque;

/// Changes of the display from which its step is told. Those of a steady stream are nearly equal and prove
/// nothing: so many, of at least [`KINDS`] sizes, the least of them one step (tried on simulated pours).
const CHANGES: usize = 40;
/// Sizes of change, in steps.
const KINDS: usize = 3;
/// Readings within this much weight share a step: scales with several ranges change it at hundreds of grams.
const RANGE_G: f64 = 100.0;
/// The grain in which steps are compared: a tenth of the finest step that can be told.
const GRAIN_G: f64 = 1e-4;
/// A bare pan at rest that shows less than this: a piece or a bowl was tared by the scale's own key
/// (chosen: less than any piece weighs, more than drift of a bare pan).
const OWN_TARE_G: f64 = -5.0;
/// A pour ends and rests well within this; common practice, no source.
const RESTLESS: Duration = Duration::from_secs(20);
/// What moves further than this is being worked with (chosen: a draught or a shaking table moves a display by
/// less, a pour and a hand by more).
const WORKED_WITH_G: f64 = 20.0;
/// No scale switches itself off sooner than this; common practice, no source.
const SHORTEST_WAKE: Duration = Duration::from_secs(55);
/// A scale that slept is woken by a hand: a link that hesitates is back sooner (a guess).
const SHORTEST_SLEEP: Duration = Duration::from_secs(5);
/// It is said when this share of the time has passed (chosen: of a minute that leaves 12 s to touch the scale).
const SOON: f64 = 0.8;

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ailment {
    /// The scale's own tare key was used with something on the pan.
    OwnTare,
    /// The display counts in this step at this load, coarser than told.
    Coarse(Mass),
    /// The scale says by itself that it counts in this step, coarser than told.
    Promised(Mass),
    /// The display stands still while the weight changes, then jumps.
    Holds,
    /// The display took a piece for its zero: near it a slow trickle may be swallowed.
    Hides,
    /// So much came off with a piece that the display had never shown: it was pulled to zero.
    Swallowed(Mass),
    /// The weight never comes to rest.
    Restless,
    /// Once it fell silent after so long without a change, and that is nearly over again.
    SleepsSoon(Duration),
}

/// Watches one scale.
#[derive(Clone, Debug)]
pub struct Health {
    step_g: f64,
    /// The latest changes: the values before and after lie within one range.
    values: VecDeque<f64>,
    observed: Option<Mass>,
    promised: Option<Mass>,
    latest: Option<(Weighing, bool)>,
    /// Since when the weight has not been at rest, and what it showed meanwhile.
    restless: Option<(Instant, f64, f64)>,
    /// Since when the weight has not changed, and what it was.
    unchanged: Option<(Instant, f64)>,
    slept_after: Option<Duration>,
    hold: Hold,
    hidden: Hidden,
}

impl Health {
    /// A scale of which nothing was seen yet.
    pub fn new(scale: &ScaleFacts) -> Self {
        Self {
            step_g: scale.step.g(),
            values: VecDeque::new(),
            observed: None,
            promised: None,
            latest: None,
            restless: None,
            unchanged: None,
            slept_after: None,
            hold: Hold::new(scale),
            hidden: Hidden::new(scale),
        }
    }

    /// Somebody says that a piece of this weight still stands under a display that shows something else.
    pub fn handle_still_on(&mut self, gross: Mass) {
        if let Some((w, _)) = self.latest {
            self.hidden.handle_zeroed(gross, w.mass);
        }
    }

    /// Takes a weighing, and whether the weight is at rest.
    pub fn handle_weighing(&mut self, w: Weighing, at_rest: bool) {
        let g = w.mass.g();
        self.note_step(g);
        self.hold.handle_weighing(w);
        self.hold.forget(w.taken_at);
        if at_rest {
            self.hidden.handle_rest(w);
        }
        self.restless = match self.restless {
            _ if at_rest => None,
            None => Some((w.arrived_at, g, g)),
            Some((since, least, most)) => Some((since, least.min(g), most.max(g))),
        };
        self.unchanged = match self.unchanged {
            Some((since, was)) if (g - was).abs() <= 2.0 * self.step_g => Some((since, was)),
            Some(_) | None => Some((w.arrived_at, g)),
        };
        self.latest = Some((w, at_rest));
    }

    /// Readings had stopped for so long.
    pub fn handle_silence(&mut self, lasted: Duration) {
        let unchanged = self.unchanged.take().zip(self.latest.take());
        let awake = unchanged.map(|((since, _), (last, _))| last.arrived_at.since(since));
        if let Some(awake) = awake.filter(|awake| *awake >= SHORTEST_WAKE && lasted >= SHORTEST_SLEEP) {
            self.slept_after = Some(self.slept_after.map_or(awake, |before| before.min(awake)));
        }
        self.restless = None;
        self.values.clear();
        self.hold.handle_silence();
    }

    /// The step that the display was seen to count in at this load, where it is coarser than told.
    pub fn observed_step(&self) -> Option<Mass> {
        self.observed
    }

    /// The scale says by itself in which step it counts; of one that has a step for each system of units `finer`
    /// is the finer one.
    pub fn handle_promise(&mut self, step: Mass, finer: Mass) {
        // A percent is less than any two steps of a scale differ by.
        self.promised = (finer.g() > 1.01 * self.step_g).then_some(step);
    }

    /// The step to go by: as told, or the coarser one that the scale promises by itself.
    pub fn step(&self) -> Mass {
        self.promised.unwrap_or(Mass::saturating(self.step_g))
    }

    /// What is wrong with the step.
    fn coarse(&self) -> Option<Ailment> {
        match (self.observed, self.promised) {
            (Some(seen), Some(promised)) if seen.g() <= 1.01 * promised.g() => {
                Some(Ailment::Promised(promised))
            }
            (Some(seen), _) => Some(Ailment::Coarse(seen)),
            (None, promised) => promised.map(Ailment::Promised),
        }
    }

    /// What is wrong now, the worst first.
    pub fn ailment(&self, now: Instant) -> Option<Ailment> {
        let (w, at_rest) = self.latest?;
        if let Some(swallowed) = self.hidden.swallowed(now) {
            return Some(Ailment::Swallowed(swallowed));
        }
        if at_rest && w.mass.g() < OWN_TARE_G.min(-2.0 * self.step_g) {
            return Some(Ailment::OwnTare);
        }
        if let Some(coarse) = self.coarse() {
            return Some(coarse);
        }
        if self.hold.holds(now) {
            return Some(Ailment::Holds);
        }
        if self.hidden.hides() {
            return Some(Ailment::Hides);
        }
        let shaken = self
            .restless
            .filter(|(since, least, most)| now.since(*since) >= RESTLESS && most - least < WORKED_WITH_G);
        if shaken.is_some() {
            return Some(Ailment::Restless);
        }
        let (after, (since, _)) = self.slept_after.zip(self.unchanged)?;
        (now.since(since) >= after.mul_f64(SOON)).then_some(Ailment::SleepsSoon(after))
    }

    fn note_step(&mut self, g: f64) {
        if self.values.back().is_some_and(|last| (last - g).abs() < 0.1 * self.step_g) {
            return;
        }
        if self.values.front().is_some_and(|first| (first - g).abs() > RANGE_G) {
            self.values.clear();
            self.observed = None;
        }
        self.values.push_back(g);
        if self.values.len() <= CHANGES {
            return;
        }
        self.values.pop_front();
        let changes = self.values.iter().zip(self.values.iter().skip(1));
        let mut grains: Vec<u64> = changes.map(|(a, b)| ((b - a).abs() / GRAIN_G).round() as u64).collect();
        let divisor = grains.iter().copied().fold(0, greatest_divisor);
        let seen_g = divisor as f64 * GRAIN_G;
        grains.sort_unstable();
        grains.dedup();
        let enough = grains.len() >= KINDS && grains.first() == Some(&divisor) && seen_g > 1.5 * self.step_g;
        self.observed = enough.then(|| Mass::saturating(seen_g));
    }
}

fn greatest_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::Origin;

    fn health() -> Health {
        Health::new(&ScaleFacts {
            id: "test".into(),
            step: Mass::saturating(0.1),
            noise: Mass::saturating(0.03),
            lag: Duration::from_millis(300),
            lag_origin: Origin::Told,
        })
    }

    fn feed(health: &mut Health, from_s: f64, grams: impl Iterator<Item = f64>, at_rest: bool) -> Instant {
        let mut at = Instant::START.offset_seconds(from_s);
        for g in grams {
            at = at.offset_seconds(0.1);
            let mass = Mass::saturating(g);
            health.handle_weighing(Weighing { mass, arrived_at: at, taken_at: at }, at_rest);
        }
        at
    }

    /// A pour seen through a display of this step.
    fn pour(step_g: f64) -> impl Iterator<Item = f64> {
        // Uneven, as hands pour.
        let poured = |i: i32| 300.0 + 0.9 * f64::from(i) + 3.0 * (f64::from(i) * 0.7).sin();
        (0..90).map(move |i| (poured(i) / step_g).round() * step_g)
    }

    #[test]
    fn a_step_that_is_coarser_at_this_load_is_told_from_the_display() {
        for (step_g, wanted) in [(0.1, None), (0.2, Some(0.2)), (0.5, Some(0.5)), (1.0, Some(1.0))] {
            let mut health = health();
            let at = feed(&mut health, 0.0, pour(step_g), false);
            let seen = health.observed_step().map(|m| (m.g() * 1000.0).round() / 1000.0);
            assert_eq!(seen, wanted, "step {step_g} g");
            assert_eq!(matches!(health.ailment(at), Some(Ailment::Coarse(_))), wanted.is_some());
        }
    }

    #[test]
    fn a_promised_step_is_said_where_it_is_coarser_than_told_and_one_seen_that_is_coarser_still_comes_first()
    {
        let g = Mass::saturating;
        let mut health = health();
        let at = feed(&mut health, 0.0, std::iter::repeat_n(0.0, 10), true);
        for fine in [0.05, 0.1] {
            health.handle_promise(g(fine), g(fine));
            assert_eq!((health.ailment(at), health.step()), (None, g(0.1)), "{fine} g");
        }
        health.handle_promise(g(0.5), g(0.45));
        assert_eq!((health.ailment(at), health.step()), (Some(Ailment::Promised(g(0.5))), g(0.5)));
        let at = feed(&mut health, 2.0, pour(0.5), false);
        assert_eq!(health.ailment(at), Some(Ailment::Promised(g(0.5))));
        let at = feed(&mut health, 20.0, pour(1.0), false);
        assert!(matches!(health.ailment(at), Some(Ailment::Coarse(seen)) if (seen.g() - 1.0).abs() < 1e-6));
        assert_eq!(health.step(), g(0.5));
    }

    #[test]
    fn a_piece_tared_by_the_scales_own_key_shows_once_it_is_lifted() {
        let mut health = health();
        let at = feed(&mut health, 0.0, std::iter::repeat_n(0.0, 10), true);
        assert_eq!(health.ailment(at), None);
        let at = feed(&mut health, 2.0, std::iter::repeat_n(-312.0, 10), true);
        assert_eq!(health.ailment(at), Some(Ailment::OwnTare));
    }

    #[test]
    fn slop_that_a_zeroed_display_never_showed_is_said_once_the_piece_is_off_and_only_then() {
        let mass = Mass::saturating;
        for (swallowed_g, wanted) in [(0.0, None), (0.2, None), (3.0, Some(3.0))] {
            let mut health = health();
            feed(&mut health, 0.0, std::iter::repeat_n(0.0, 10), true);
            health.handle_still_on(mass(312.4));
            // 20 g are shown to run in; all that came off with the piece shows at the lift.
            let at = feed(&mut health, 2.0, (0..25).map(|i| 0.8 * f64::from(i)), false);
            assert_eq!(health.ailment(at), Some(Ailment::Hides));
            let at = feed(&mut health, 5.0, std::iter::repeat_n(19.2, 10), true);
            assert_eq!(health.ailment(at), Some(Ailment::Hides));
            let at = feed(&mut health, 7.0, std::iter::repeat_n(-312.4 - swallowed_g, 10), true);
            let said = match health.ailment(at) {
                Some(Ailment::Swallowed(mass)) => Some((mass.g() * 10.0).round() / 10.0),
                Some(other) => {
                    assert_eq!(other, Ailment::OwnTare);
                    None
                }
                None => panic!("less than nothing on the pan is said"),
            };
            assert_eq!(said, wanted, "{swallowed_g} g swallowed");
        }
    }

    #[test]
    fn a_weight_that_never_rests_is_said_but_not_while_it_is_poured_to() {
        let mut health = health();
        let shaken = (0..220).map(|i| 300.0 + if i % 2 == 0 { 0.7 } else { -0.7 });
        let at = feed(&mut health, 0.0, shaken, false);
        assert_eq!(health.ailment(at), Some(Ailment::Restless));
        let mut health = self::health();
        let poured = (0..220).map(|i| 300.0 + 0.1 * (3.7 * f64::from(i)).round());
        let at = feed(&mut health, 0.0, poured, false);
        assert_eq!(health.ailment(at), None);
    }

    #[test]
    fn a_scale_that_once_fell_asleep_is_said_to_be_about_to() {
        let mut health = health();
        // Two minutes without a change, then silence.
        feed(&mut health, 0.0, std::iter::repeat_n(0.0, 1200), true);
        health.handle_silence(Duration::from_secs(60));
        let at = feed(&mut health, 300.0, std::iter::repeat_n(0.0, 900), true);
        assert_eq!(health.ailment(at), None);
        let at = feed(&mut health, 390.0, std::iter::repeat_n(0.0, 100), true);
        assert!(matches!(health.ailment(at), Some(Ailment::SleepsSoon(s)) if s.as_secs() == 119));
        // A cable pulled out in the middle of work teaches nothing.
        let mut health = self::health();
        feed(&mut health, 0.0, std::iter::repeat_n(0.0, 100), true);
        health.handle_silence(Duration::from_secs(60));
        assert_eq!(health.slept_after, None);
        // Nor does a link that hesitates for a second after two minutes without a change.
        let mut health = self::health();
        feed(&mut health, 0.0, std::iter::repeat_n(0.0, 1200), true);
        health.handle_silence(Duration::from_millis(1100));
        assert_eq!(health.slept_after, None);
    }
}
