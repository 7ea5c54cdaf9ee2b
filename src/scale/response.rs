//! How late a scale is, from the steps it shows as a piece lands or leaves: no hand's answer to a tone is in them.
//!
//! The area between a step and the answer to it is the first moment of the scale's response, by which it shows a
//! steady stream too late (derived; the same for any linear smoothing). A pure delay is not seen so: nothing
//! shows when the step was made. It is learned as a part of the hand.

use crate::reading::Weighing;
use crate::time::Instant;
use std::cmp::Ordering;
use std::collections::VecDeque;

/// Smaller steps say little beside noise, drips and a jug, g (a tenth of a usual mug; a guess).
const LEAST_STEP_G: f64 = 40.0;
/// Nothing that runs from a jug climbs so fast over so long, g/s and s: twice the most a jug gives (a guess), and longer than
/// two readings that a link shakes by 0.1 s against each other.
const LEAST_RATE_G_S: f64 = 50.0;
const OVER_S: f64 = 0.2;
/// Longer ones were no single step, readings: six seconds of a quick scale.
const MOST_READINGS: usize = 128;
/// Steps looked back on: four pieces.
const KEPT: usize = 8;
/// Setting a piece down or lifting it off takes a hand about a fifth of a second, and half of that is in the area
/// (a guess).
const HAND_S: f64 = 0.1;
/// A step has begun once a reading is so many standard deviations off (normal law: 1 in 16 000).
const MOVED_SIGMAS: f64 = 4.0;
/// ... and nobody knows when it began if the last rest is longer ago, s: two readings of the slowest scale that guides
/// a pour, and room (a guess).
const WAIT_S: f64 = 1.0;
/// No scale shows earlier than so, and one that showed later would take five seconds to rest, s: that was no single step.
const RANGE_S: (f64, f64) = (0.05, 1.5);
/// A lag known from before counts as so many steps, one that is only assumed as so many: a single odd landing moves
/// neither (own choice).
const KNOWN_STEPS: usize = 4;
const ASSUMED_STEPS: usize = 2;
/// The hand's part of a landing is known to this, s: half of it evenly either way (a guess).
const HAND_U_S: f64 = 0.03;
/// Of one step alone, s: the hand, and when it began (guesses). Lags scatter by no less than the half interval of a usual
/// scale in which a step begins does: 0.1 s over the root of twelve.
const ONE_STEP_S: f64 = 0.06;
const LEAST_SPREAD_S: f64 = 0.03;
/// Nothing that is set down or lifted in one go shows more than this beyond the step, as a share of it, or takes more
/// back again: a wobble (a guess; a quick landing presses about 4 % deeper).
const WOBBLES: f64 = 0.06;

/// What the latest steps showed of a scale's lag.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lags {
    /// Of each step kept, s.
    pub of_steps_s: VecDeque<f64>,
    /// Steps up to then are in them, or were not for learning.
    pub until: Instant,
}

impl Lags {
    /// Of a scale whose lag is known from before, s.
    pub fn known(lag_s: f64) -> Self {
        Self { of_steps_s: VecDeque::from([lag_s; KNOWN_STEPS]), until: Instant::START }
    }

    /// Of a scale whose lag was measured on purpose, s: it takes as many pieces as are kept to move it.
    pub fn measured(lag_s: f64) -> Self {
        Self { of_steps_s: VecDeque::from([lag_s; KEPT]), until: Instant::START }
    }

    /// Where nothing is known yet: most scales' lag, s.
    pub fn or_assumed(self, lag_s: f64) -> Self {
        if !self.of_steps_s.is_empty() {
            return self;
        }
        Self { of_steps_s: VecDeque::from([lag_s; ASSUMED_STEPS]), ..self }
    }

    fn learn(&mut self, lag_s: f64) {
        // To a microsecond, as traces have it.
        self.of_steps_s.push_back((lag_s.max(RANGE_S.0) * 1e6).round() / 1e6);
        if self.of_steps_s.len() > KEPT {
            self.of_steps_s.pop_front();
        }
    }

    /// So many steps are in it that what was assumed is no longer the middle one.
    pub fn is_seen(&self) -> bool {
        self.of_steps_s.len() > 2 * ASSUMED_STEPS
    }

    /// The lag that the middle one of the steps shows, s; `None` before the first.
    pub fn lag_s(&self) -> Option<f64> {
        middle(self.of_steps_s.iter().copied().collect())
    }
}

/// A lag, how well it is known, and from how many steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownLag {
    /// How late the scale shows, s.
    pub lag_s: f64,
    /// Its standard uncertainty, s.
    pub u_s: f64,
    /// Steps it was learned from.
    pub steps: u32,
}

impl KnownLag {
    /// The middle one of these lags, s, but for those that are off it by more than `odd_s`; the hand's own part in all
    /// of them is known to `hand_u_s`. `None` of none.
    pub fn among(lags_s: &[f64], odd_s: f64, hand_u_s: f64) -> Option<Self> {
        let middle_s = middle(lags_s.to_vec())?;
        let even: Vec<f64> = lags_s.iter().copied().filter(|s| (s - middle_s).abs() <= odd_s).collect();
        let lag_s = middle(even.clone())?.max(RANGE_S.0);
        let steps = u32::try_from(even.len()).unwrap_or(u32::MAX);
        let u_s = (spread_s(&even) / f64::from(steps).sqrt()).hypot(hand_u_s);
        Some(Self { lag_s, u_s, steps })
    }

    /// What is known now of a scale that showed so many steps since `before`.
    pub fn since(before: Option<Self>, lags: &Lags, steps: u32) -> Option<Self> {
        let newest: Vec<f64> = lags.of_steps_s.iter().rev().take(steps as usize).copied().collect();
        let Some(seen) = Self::among(&newest, f64::INFINITY, HAND_U_S) else { return before };
        let lag_s = lags.lag_s().unwrap_or(seen.lag_s);
        let Some(before) = before else { return Some(Self { lag_s, steps, ..seen }) };
        // A few new ones know no more than all of those before.
        let u_s = if newest.len() < KNOWN_STEPS { before.u_s } else { seen.u_s };
        Some(Self { lag_s, u_s, steps: before.steps.saturating_add(steps) })
    }
}

/// Standard deviation of lags, s; never less than what the readings' own interval does to each.
fn spread_s(lags_s: &[f64]) -> f64 {
    let n = lags_s.len() as f64;
    if n < 2.0 {
        return ONE_STEP_S;
    }
    let mean = lags_s.iter().sum::<f64>() / n;
    let squares: f64 = lags_s.iter().map(|s| (s - mean).powi(2)).sum();
    (squares / (n - 1.0)).sqrt().max(LEAST_SPREAD_S)
}

fn middle(mut lags_s: Vec<f64>) -> Option<f64> {
    lags_s.sort_by(f64::total_cmp);
    let last = lags_s.len().checked_sub(1)?;
    Some(0.5 * (lags_s.get(last / 2)? + lags_s.get(last.div_ceil(2))?))
}

/// Finds the steps among a scale's weighings.
#[derive(Clone, Debug, Default)]
pub struct Response {
    lags: Lags,
    /// Steps learned from by this one.
    learned: u32,
    /// The latest rest.
    rest_g: Option<f64>,
    /// What was shown since, from its last reading on.
    trail: VecDeque<(Instant, f64)>,
    /// The first reading that was off it.
    moved: Option<usize>,
}

impl Response {
    /// Goes on from what earlier steps showed.
    pub fn from(lags: Lags) -> Self {
        Self { lags, ..Self::default() }
    }

    /// Steps that it learned from, those it went on from left out.
    pub fn learned(&self) -> u32 {
        self.learned
    }

    /// What steps have shown so far.
    pub fn lags(&self) -> &Lags {
        &self.lags
    }

    /// Takes a weighing, the mass at rest where the pan rests, the scatter of a reading, and whether readings were
    /// missing before it. True when a step was learned from.
    pub fn handle_weighing(&mut self, w: Weighing, rest_g: Option<f64>, sd_g: f64, gap: bool) -> bool {
        if gap || self.trail.len() >= MOST_READINGS || self.waited_long(w.taken_at) {
            self.rest_g = None;
        }
        self.trail.push_back((w.taken_at, w.mass.g()));
        let Some(after_g) = rest_g else {
            let off = self.rest_g.is_some_and(|rest_g| (w.mass.g() - rest_g).abs() > MOVED_SIGMAS * sd_g);
            if off {
                self.moved.get_or_insert(self.trail.len() - 1);
            }
            return false;
        };
        let before_g = self.rest_g.replace(after_g);
        let lag_s = before_g.and_then(|before_g| self.lag_of(before_g, after_g));
        self.trail.clear();
        self.trail.push_back((w.taken_at, w.mass.g()));
        self.moved = None;
        let Some(lag_s) = lag_s.filter(|_| w.taken_at > self.lags.until) else { return false };
        self.lags.until = w.taken_at;
        self.lags.learn(lag_s);
        self.learned = self.learned.saturating_add(1);
        true
    }

    /// It moved a little, and then nothing came of it: where a step begins after that is not known.
    fn waited_long(&self, at: Instant) -> bool {
        let rested = self.trail.front().map_or(at, |(rested, _)| *rested);
        self.moved.is_none() && at.seconds_from(rested) > WAIT_S
    }

    /// The area between the step from one rest to another and its answer, less the hand's part.
    fn lag_of(&self, before_g: f64, after_g: f64) -> Option<f64> {
        let step_g = after_g - before_g;
        let first = self.moved.filter(|_| step_g.abs() >= LEAST_STEP_G)?;
        let left = |g: f64| (after_g - g) / step_g;
        let (mut area_s, mut least): (f64, f64) = (0.0, 1.0);
        for (n, ((from, a), (to, b))) in self.trail.iter().zip(self.trail.iter().skip(1)).enumerate() {
            let dt = to.seconds_from(*from);
            least = least.min(left(*b));
            if least < -WOBBLES || left(*b) > least + WOBBLES {
                return None;
            }
            area_s += match (n + 1).cmp(&first) {
                Ordering::Less => 0.0,
                // It began somewhere between the two.
                Ordering::Equal => 0.5 * dt * 0.5 * (1.0 + left(*b)),
                Ordering::Greater => 0.5 * dt * (left(*a) + left(*b)),
            };
        }
        let lag_s = area_s - HAND_S;
        (self.leaps() && lag_s <= RANGE_S.1).then_some(lag_s)
    }

    /// Somewhere it moved faster than slop runs.
    fn leaps(&self) -> bool {
        self.trail.iter().enumerate().any(|(n, (from, a))| {
            let later = self.trail.iter().skip(n).find(|(to, _)| to.seconds_from(*from) >= OVER_S);
            later.is_some_and(|(to, b)| (b - a).abs() >= LEAST_RATE_G_S * to.seconds_from(*from))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mass;

    /// Readings every `dt_s` of a pan that takes 300 g at 2.03 s and gives it back at 7.03 s, through one pole.
    fn shown(lag_s: f64, dt_s: f64, lost: impl Fn(u32) -> bool) -> Response {
        let mut response = Response::default();
        let answer = |since_s: f64| if since_s < 0.0 { 0.0 } else { 1.0 - (-since_s / lag_s).exp() };
        let mut before = 0.0;
        for n in (0..(12.0 / dt_s) as u32).filter(|n| !lost(*n)) {
            let t = f64::from(n) * dt_s;
            let g = 300.0 * (answer(t - 2.03) - answer(t - 7.03));
            let at = Instant::START.offset_seconds(t);
            let rests = (t < 2.0 || (2.03..7.0).contains(&t) || t > 7.03) && f64::abs(g - before) < 0.05;
            let w =
                Weighing { mass: Mass::saturating((g * 10.0).round() / 10.0), arrived_at: at, taken_at: at };
            response.handle_weighing(w, rests.then_some(g), 0.04, false);
            before = g;
        }
        response
    }

    #[test]
    fn the_lag_of_one_pole_is_seen_less_the_hand_that_was_not_there() {
        for (lag_s, dt_s) in [(0.15, 0.05), (0.3, 0.1), (0.5, 0.1), (0.5, 0.2)] {
            let lags = shown(lag_s, dt_s, |_| false).lags().clone();
            assert_eq!(lags.of_steps_s.len(), 2, "lag {lag_s}");
            for seen_s in lags.of_steps_s {
                assert!(
                    (seen_s + HAND_S - lag_s).abs() < 0.5 * dt_s,
                    "lag {lag_s} every {dt_s} s: {seen_s} s"
                );
            }
        }
    }

    #[test]
    fn a_pour_and_a_small_step_are_no_steps() {
        let mut response = Response::default();
        let pours = |t: f64| 150.0 * ((t - 2.0) / 6.0).clamp(0.0, 1.0) + if t > 12.0 { 20.0 } else { 0.0 };
        for n in 0..200 {
            let t = f64::from(n) * 0.1;
            let at = Instant::START.offset_seconds(t);
            let w = Weighing { mass: Mass::saturating(pours(t)), arrived_at: at, taken_at: at };
            let rests = !(2.0..8.1).contains(&t);
            assert!(!response.handle_weighing(w, rests.then_some(pours(t)), 0.04, false), "at {t} s");
        }
        assert_eq!(response.lags().lag_s(), None);
    }

    #[test]
    fn the_middle_step_counts_and_a_step_is_learned_once() {
        let odd = Lags { of_steps_s: VecDeque::from([0.3, 0.31, 0.9, 0.29, 0.05]), ..Lags::default() };
        assert_eq!(odd.lag_s(), Some(0.3));
        let assumed = Lags::default().or_assumed(0.3);
        assert!(!assumed.is_seen() && odd.is_seen(), "two that are assumed and three that were seen");
        let mut lags = shown(0.3, 0.1, |_| false).lags().clone();
        lags.until = Instant::START.offset_seconds(60.0);
        let mut again = Response::from(lags.clone());
        for (n, g) in [0.0, 0.0, 250.0, 300.0, 300.0].into_iter().enumerate() {
            let at = Instant::START.offset_seconds(10.0 + 0.1 * n as f64);
            let w = Weighing { mass: Mass::saturating(g), arrived_at: at, taken_at: at };
            assert!(!again.handle_weighing(w, (n != 2 && n != 3).then_some(g), 0.04, false));
        }
        assert_eq!(again.lags(), &lags);
    }

    #[test]
    fn a_lag_is_known_the_better_the_more_steps_showed_it_and_never_better_than_the_hand() {
        let of = |lags: &[f64]| KnownLag::among(lags, 0.2, HAND_U_S).unwrap();
        assert_eq!(KnownLag::among(&[], 0.2, HAND_U_S), None);
        let (one, five) = (of(&[0.3]), of(&[0.28, 0.33, 0.3, 0.26, 0.35]));
        assert_eq!((one.lag_s, one.steps, five.lag_s, five.steps), (0.3, 1, 0.3, 5));
        // SD of the five 0.0365 (n - 1), over the root of five 0.0163; with 0.03 together 0.0342.
        assert!((five.u_s - 0.0342).abs() < 1e-4 && one.u_s > five.u_s, "{five:?}");
        assert_eq!(of(&[0.3, 0.31, 0.29, 0.9]).steps, 3, "a slow hand is left out");
        assert!(of(&[0.3; 100]).u_s >= HAND_U_S);
        let lags = Lags { of_steps_s: VecDeque::from([0.3, 0.3, 0.32, 0.34]), ..Lags::default() };
        let two = KnownLag::since(None, &lags, 2).unwrap();
        assert_eq!((two.lag_s, two.steps), (0.31, 2));
        let more = KnownLag::since(Some(five), &lags, 2).unwrap();
        assert_eq!((more.steps, more.u_s), (7, five.u_s));
        assert_eq!(KnownLag::since(Some(five), &lags, 0), Some(five));
    }

    #[test]
    fn a_step_whose_beginning_is_lost_is_left_out() {
        let lost = shown(0.3, 0.1, |n| (10..=21).contains(&n));
        assert_eq!(lost.lags().of_steps_s.len(), 1);
    }
}
