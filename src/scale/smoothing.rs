//! How a scale smooths, told from how its display follows steps of the pan: how late it is, and in which way.
//!
//! Knows nothing of who makes the steps. A pure delay is not seen, as nothing shows when a step was made: it is learned
//! as a part of the hand.

use super::ScaleFacts;
use crate::time::Instant;

/// A smaller step says too little beside noise and drips, g (a guess).
const LEAST_STEP_G: f64 = 4.0;
/// A hand that takes hold of a thing to lift it presses it down, if anything: the step begins with the first reading that
/// lacks more than this share (own choice: a gram of a usual mug).
const BEGINS: f64 = 0.003;
/// More than this beyond the step, or taken back again, is no step in one go (as `response.rs` has it).
const WOBBLES: f64 = 0.06;
/// So many readings from before the step are looked at: at first a heavy filter shows next to nothing.
const BEFORE: usize = 3;
/// So much of the step is shown by [`MOST_S`].
const BEGUN: f64 = 0.5;
/// So many intervals without a reading, and the shape between is not known.
const GAP_INTERVALS: f64 = 2.6;
/// A step of which half is shown later than this was none in one go, s (as `response.rs` has it).
const MOST_S: f64 = 1.5;
/// Lags that are tried, s, and how finely they and the pole's share of them are told in the end.
const LAGS_S: (f64, f64) = (0.02, 1.6);
const FINELY: f64 = 0.002;
/// A hand's ramp is so many steps.
const HAND_STEPS: u32 = 6;
/// A hand may take so much longer to take a thing off, s: a mean over no more than that may be the hand's (a guess).
const HAND_MOST_S: f64 = 0.12;
/// What is late by less can't be told from a hand's own time, s (a guess).
const QUICK_S: f64 = 0.12;
/// A pole of less than this share of the whole is none (tried on simulated scales: a mean alone and a hand's ramp fit up
/// to a tenth).
const LEAST_POLE: f64 = 0.16;
/// The end of the tail takes so many times as long as the rest of it foretells: another, heavier filter (a guess).
const LONGER: f64 = 1.6;
/// The tail is looked at from this share of the step on ...
const TAIL_FROM: f64 = 0.05;
/// ... down to so many steps of the display.
const TAIL_TO_STEPS: f64 = 3.0;
/// Small changes, in steps of the display: a tail that is shown goes through some of them.
const SMALL: (f64, f64) = (0.7, 2.4);
/// So many of them are to be expected before their lack says anything.
const SMALL_WANTED: usize = 5;
/// A display that stood for so many readings in mid-step and then went on by so many steps of its own was frozen.
const STOOD_READINGS: usize = 3;
const STOOD_STEPS: f64 = 5.0;
/// A light thing is answered later than a heavy one by this share, and by so many s, at least: no one filter (a guess).
const LATER: f64 = 0.25;
const LATER_S: f64 = 0.06;

/// The display's answer to one step of the pan.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Seconds since a reading before the step, and the share of it that is still to be shown.
    left: Vec<(f64, f64)>,
    step_g: f64,
    /// The area under it, s: from that reading to the step, and between step and answer.
    area_s: f64,
    /// Changes of the display that are small.
    small: usize,
    /// It stood still in mid-step and went on.
    stood: bool,
}

impl Answer {
    /// The answer in these readings, which begin at rest at one weight and end at rest at another; `None` where the step
    /// was not made in one go, or readings are missing.
    pub fn of(readings: &[(Instant, f64)], before_g: f64, after_g: f64, scale: &ScaleFacts) -> Option<Self> {
        let step_g = after_g - before_g;
        let sd_g = scale.reading_sd_g();
        if step_g.abs() < LEAST_STEP_G.max(20.0 * sd_g) {
            return None;
        }
        let left = |g: f64| (after_g - g) / step_g;
        let near = BEGINS.max(4.0 * sd_g / step_g.abs());
        let last = readings.iter().rposition(|(_, g)| left(*g) >= 1.0 - near)?;
        let moving = &readings[last.saturating_sub(BEFORE)..];
        let from = moving.first()?.0;
        // A hand that takes hold presses.
        let shown: Vec<(f64, f64)> =
            moving.iter().map(|(at, g)| (at.seconds_from(from), left(*g).min(1.0))).collect();
        let step = scale.step.g().max(1e-3);
        let changes: Vec<f64> =
            moving.iter().zip(moving.iter().skip(1)).map(|((_, a), (_, b))| (b - a).abs() / step).collect();
        let small = changes.iter().filter(|c| (SMALL.0..=SMALL.1).contains(*c)).count();
        let in_time = shown.iter().all(|(t, left)| *t < MOST_S || *left < BEGUN);
        let clean = in_one_go(&shown) && evenly(readings, last) && in_time && last + 1 < readings.len();
        let area_s = area_s(&shown);
        clean.then_some(Self { left: shown, step_g: step_g.abs(), area_s, small, stood: stood(&changes) })
    }

    /// When less than this share of the step is left for good, s; between two readings on a straight line.
    fn falls_to(&self, share: f64) -> Option<f64> {
        let last = self.left.iter().rposition(|(_, left)| *left > share)?;
        let ((t, a), (u, b)) = (*self.left.get(last)?, *self.left.get(last + 1)?);
        Some(t + (u - t) * ((a - share) / (a - b).max(1e-9)).clamp(0.0, 1.0))
    }
}

/// It neither goes back nor beyond by more than a wobble.
fn in_one_go(shown: &[(f64, f64)]) -> bool {
    let mut least = 1.0_f64;
    shown.iter().all(|(_, left)| {
        let goes_on = *left >= -WOBBLES && *left <= least + WOBBLES;
        least = least.min(*left);
        goes_on
    })
}

fn area_s(shown: &[(f64, f64)]) -> f64 {
    shown.iter().zip(shown.iter().skip(1)).map(|((t, a), (u, b))| 0.5 * (u - t) * (a + b)).sum()
}

/// No reading is missing from where it moved on.
fn evenly(readings: &[(Instant, f64)], from: usize) -> bool {
    let intervals = |all: &[(Instant, f64)]| -> Vec<f64> {
        all.iter().zip(all.iter().skip(1)).map(|((a, _), (b, _))| b.seconds_from(*a)).collect()
    };
    let usual_s = middle(intervals(readings)).unwrap_or(0.0);
    intervals(&readings[from..]).into_iter().all(|s| s <= GAP_INTERVALS * usual_s)
}

/// Changes of the display, in its steps: whether it stood and then jumped, after it had begun to move.
fn stood(changes: &[f64]) -> bool {
    let moved = changes.iter().position(|c| *c > STOOD_STEPS).map_or(changes.len(), |at| at + 1);
    let mut still = 0;
    for change in changes.iter().skip(moved) {
        if *change < 0.1 {
            still += 1;
        } else if still + 1 >= STOOD_READINGS && *change >= STOOD_STEPS {
            return true;
        } else {
            still = 0;
        }
    }
    false
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    Some(0.5 * (values.get(last / 2)? + values.get(last.div_ceil(2))?))
}

/// In which way a scale smooths, as far as it can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Smoothing {
    /// As quick as the hand that made the steps: not told.
    Quick,
    /// One pole: the nearer to the weight, the slower.
    Pole,
    /// A mean over the latest readings.
    Mean,
    /// A mean, and a pole after it.
    Both,
    /// A large change quickly, the last of it or a small one slowly.
    Adaptive,
    /// Small changes are not shown at all, or late and at once.
    Holds,
}

impl Smoothing {
    /// Every one.
    pub const ALL: [Self; 6] = [Self::Quick, Self::Pole, Self::Mean, Self::Both, Self::Adaptive, Self::Holds];

    /// The word used in records and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Quick => "quick",
            Self::Pole => "pole",
            Self::Mean => "mean",
            Self::Both => "both",
            Self::Adaptive => "adaptive",
            Self::Holds => "holds",
        }
    }

    /// The way for a word; `None` for any other word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|way| way.word() == word)
    }
}

/// A mean over `mean_s`, then a pole of `pole_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Filter {
    mean_s: f64,
    pole_s: f64,
}

impl Filter {
    /// Share of a step that is still to be shown so long after it (derived: the step response of the two in a row).
    fn left(self, t: f64) -> f64 {
        let Self { mean_s, pole_s } = self;
        if t <= 0.0 {
            1.0
        } else if mean_s < 1e-6 {
            (-t / pole_s.max(1e-6)).exp()
        } else if t <= mean_s {
            1.0 - (t - pole_s * (1.0 - (-t / pole_s.max(1e-6)).exp())) / mean_s
        } else {
            pole_s / mean_s * ((-(t - mean_s) / pole_s.max(1e-6)).exp() - (-t / pole_s.max(1e-6)).exp())
        }
    }

    fn of(lag_s: f64, share: f64) -> Self {
        Self { mean_s: 2.0 * (1.0 - share) * lag_s, pole_s: share * lag_s }
    }

    fn lag_s(self) -> f64 {
        0.5 * self.mean_s + self.pole_s
    }

    /// The same where the step is a ramp of a hand, `hand_s` in the middle.
    fn left_by(self, hand_s: f64, t: f64) -> f64 {
        let steps = (0..HAND_STEPS).map(|n| 2.0 * hand_s * (f64::from(n) + 0.5) / f64::from(HAND_STEPS));
        steps.map(|s| self.left(t - s)).sum::<f64>() / f64::from(HAND_STEPS)
    }

    /// How far the answers are off it, squared. When each step began nobody knows: so that its area is right.
    fn misses(self, answers: &[Answer], hand_s: f64) -> f64 {
        let one = |answer: &Answer| -> f64 {
            let began_s = answer.area_s - self.lag_s() - hand_s;
            answer.left.iter().map(|(t, left)| (left - self.left_by(hand_s, t - began_s)).powi(2)).sum()
        };
        answers.iter().map(one).sum()
    }

    /// Where a share of the step is left, s.
    fn falls_to(self, share: f64) -> f64 {
        let (mut low, mut high) = (0.0, 40.0 * (self.mean_s + self.pole_s));
        for _ in 0..60 {
            let half = 0.5 * (low + high);
            if self.left(half) > share { low = half } else { high = half }
        }
        high
    }
}

/// The filter that fits the answers best, found ever more finely around the best so far.
fn fitted(answers: &[Answer], hand_s: f64) -> Option<Filter> {
    answers.first()?;
    let (mut lag_s, mut share) = (0.5 * (LAGS_S.0 + LAGS_S.1), 0.5);
    let (mut reach_s, mut reach) = (0.5 * (LAGS_S.1 - LAGS_S.0), 0.5);
    // Wide at first: there is one valley, but it runs aslant.
    let mut steps = 16;
    while reach_s > FINELY || reach > FINELY {
        let near = |middle: f64, reach: f64, n: i32| middle + reach * f64::from(n) / f64::from(steps);
        let all = (-steps..=steps).flat_map(|i| (-steps..=steps).map(move |j| (i, j)));
        let tried = all.map(|(i, j)| {
            let lag_s = near(lag_s, reach_s, i).clamp(LAGS_S.0, LAGS_S.1);
            let share = near(share, reach, j).clamp(0.0, 1.0);
            (Filter::of(lag_s, share).misses(answers, hand_s), lag_s, share)
        });
        (_, lag_s, share) = tried.min_by(|a, b| a.0.total_cmp(&b.0))?;
        (reach_s, reach) = (reach_s / 4.0, reach / 4.0);
        steps = 8;
    }
    Some(Filter::of(lag_s, share))
}

/// How late this one answer is by itself, s, smoothed in the same way as all.
fn lag_of(answer: &Answer, like: Filter, hand_s: f64) -> f64 {
    let share = like.pole_s / like.lag_s();
    let one = std::slice::from_ref(answer);
    let (mut lag_s, mut reach_s) = (like.lag_s(), 0.4);
    while reach_s > FINELY {
        let tried = (-8..=8).map(|n| {
            let lag_s = (lag_s + reach_s * f64::from(n) / 8.0).clamp(LAGS_S.0, LAGS_S.1);
            (Filter::of(lag_s, share).misses(one, hand_s), lag_s)
        });
        lag_s = tried.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(lag_s, |(_, s)| s);
        reach_s /= 4.0;
    }
    lag_s
}

/// Things that were lifted off or set down in one go, and half of how long that takes a hand, s.
#[derive(Clone, Copy, Debug)]
pub struct Steps<'a> {
    /// How the display followed each.
    pub answers: &'a [Answer],
    /// The hand's own part.
    pub hand_s: f64,
}

/// What steps of the pan showed of a scale.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// In which way it smooths.
    pub smoothing: Smoothing,
    /// How late each step was shown that says how late a pour will be, s.
    pub lags_s: Vec<f64>,
    /// The mean is over so long, s.
    pub mean_s: f64,
    /// The pole's time, s.
    pub pole_s: f64,
}

/// How the scale smooths, from heavy things lifted off, set down where that was clean, and light ones lifted off. `None`
/// where nothing heavy was lifted.
pub fn shape(lifts: Steps<'_>, placings: Steps<'_>, light: Steps<'_>, scale: &ScaleFacts) -> Option<Shape> {
    let filter = fitted(lifts.answers, lifts.hand_s)?;
    let each = |steps: Steps<'_>, like: Filter| -> Vec<f64> {
        steps.answers.iter().map(|a| lag_of(a, like, steps.hand_s)).collect()
    };
    let lag_s = filter.lag_s();
    let of_light = fitted(light.answers, light.hand_s);
    let later = of_light.filter(|light| light.lag_s() - lag_s > LATER_S.max(LATER * lag_s));
    let smoothing = if holds(lifts.answers, filter, scale) {
        Smoothing::Holds
    } else if later.is_some() || ends_slowly(lifts.answers, filter, scale) {
        Smoothing::Adaptive
    } else if lag_s < QUICK_S {
        Smoothing::Quick
    } else if filter.mean_s <= HAND_MOST_S {
        Smoothing::Pole
    } else if filter.pole_s < LEAST_POLE * lag_s {
        Smoothing::Mean
    } else {
        Smoothing::Both
    };
    // A pour changes the weight by as little as a light thing does.
    let lags_s = match later {
        Some(slower) => each(light, slower),
        None => [each(lifts, filter), each(placings, filter)].concat(),
    };
    Some(Shape { smoothing, lags_s, mean_s: filter.mean_s, pole_s: filter.pole_s })
}

/// The display skips what a tail goes through, or stands still in mid-step.
fn holds(lifts: &[Answer], filter: Filter, scale: &ScaleFacts) -> bool {
    let step = scale.step.g().max(1e-3);
    let foretold = |answer: &Answer| {
        let began_s = answer.area_s - filter.lag_s();
        let of = |(t, _): &(f64, f64)| answer.step_g / step * filter.left(*t - began_s);
        let pairs = answer.left.iter().zip(answer.left.iter().skip(1));
        pairs.filter(|(a, b)| (SMALL.0..=SMALL.1).contains(&(of(a) - of(b)))).count()
    };
    let wanted: usize = lifts.iter().map(foretold).sum();
    let seen: usize = lifts.iter().map(|a| a.small).sum();
    let stood = lifts.iter().filter(|a| a.stood).count();
    wanted >= SMALL_WANTED && 8 * seen <= wanted || 2 * stood > lifts.len()
}

/// The end of the tail takes much longer than the filter that fits the rest of it says.
fn ends_slowly(lifts: &[Answer], filter: Filter, scale: &ScaleFacts) -> bool {
    let longer = |answer: &Answer| {
        let end =
            (TAIL_TO_STEPS * scale.step.g().max(scale.reading_sd_g()) / answer.step_g).min(0.5 * TAIL_FROM);
        let seen_s = answer.falls_to(end)? - answer.falls_to(TAIL_FROM)?;
        let foretold_s = filter.falls_to(end) - filter.falls_to(TAIL_FROM);
        let between_s = answer.left.get(1)?.0 - answer.left.first()?.0;
        Some(seen_s - between_s > LONGER * foretold_s)
    };
    let slow = lifts.iter().filter_map(longer).filter(|slow| *slow).count();
    2 * slow > lifts.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::Origin;
    use crate::time::Duration;
    use crate::units::Mass;

    fn scale(step_g: f64) -> ScaleFacts {
        ScaleFacts {
            id: "test".into(),
            step: Mass::saturating(step_g),
            noise: Mass::saturating(0.03),
            lag: Duration::from_millis(300),
            lag_origin: Origin::Assumed,
        }
    }

    /// Readings every 0.1 s of a pan that is rid of 300 g at once, at 2 s and `phase_s`.
    fn rid(phase_s: f64, left: impl Fn(f64) -> f64) -> Vec<(Instant, f64)> {
        let at = |n: u32| f64::from(n) * 0.1;
        let g = |n: u32| (3000.0 * left(at(n) - 2.0 - phase_s)).round() / 10.0;
        (0..80).map(|n| (Instant::START.offset_seconds(at(n)), g(n))).collect()
    }

    fn answers(left: impl Fn(f64) -> f64 + Copy) -> Vec<Answer> {
        let of =
            |n: u32| Answer::of(&rid(0.01 + 0.018 * f64::from(n), left), 300.0, 0.0, &scale(0.1)).unwrap();
        (0..5).map(of).collect()
    }

    #[test]
    fn a_fit_finds_how_late_a_mean_and_a_pole_are_and_tells_them_apart() {
        for (mean_s, pole_s) in [(0.0, 0.4), (0.8, 0.0), (0.5, 0.2)] {
            let filter = Filter { mean_s, pole_s };
            let found = fitted(&answers(|t| filter.left(t)), 0.0).unwrap();
            // Five beginnings spread over an interval: within a fifth of one.
            assert!((found.lag_s() - filter.lag_s()).abs() < 0.02, "{filter:?}: {found:?}");
            assert!((found.pole_s - pole_s).abs() < 0.05, "{filter:?}: {found:?}");
        }
    }

    #[test]
    fn a_hand_that_takes_a_tenth_of_a_second_longer_makes_the_scale_look_later_by_no_more_than_that() {
        for filter in [Filter { mean_s: 0.0, pole_s: 0.3 }, Filter { mean_s: 0.3, pole_s: 0.15 }] {
            let found = fitted(&answers(|t| filter.left_by(0.125, t)), 0.075).unwrap();
            let off_s = found.lag_s() - filter.lag_s();
            assert!((0.02..0.11).contains(&off_s), "{filter:?}: {found:?}");
        }
    }

    #[test]
    fn what_a_step_response_leaves_has_the_lag_as_its_area() {
        // Derived: the first moments of the two add up.
        for (mean_s, pole_s) in [(0.3, 0.15), (0.0, 0.3), (0.6, 0.0), (0.8, 0.4)] {
            let filter = Filter { mean_s, pole_s };
            let area: f64 = (0..20_000).map(|ms| 0.001 * filter.left(0.001 * (f64::from(ms) + 0.5))).sum();
            assert!((area - (0.5 * mean_s + pole_s)).abs() < 1e-4, "{filter:?}: {area}");
        }
    }

    #[test]
    fn a_step_in_two_goes_one_with_a_gap_and_a_small_one_are_no_answers() {
        let twice = rid(0.05, |t| {
            if t < 0.0 {
                1.0
            } else if t < 3.0 {
                0.5
            } else {
                0.0
            }
        });
        assert_eq!(Answer::of(&twice, 300.0, 0.0, &scale(0.1)), None, "it took three seconds");
        let back = rid(0.05, |t| {
            if t < 0.0 {
                1.0
            } else if t < 0.25 {
                0.4
            } else if t < 0.5 {
                0.7
            } else {
                0.0
            }
        });
        assert_eq!(Answer::of(&back, 300.0, 0.0, &scale(0.1)), None, "set back once");
        let pole = |t: f64| if t < 0.0 { 1.0 } else { (-t / 0.3).exp() };
        let lost: Vec<_> = rid(0.05, pole)
            .into_iter()
            .enumerate()
            .filter(|(n, _)| !(21..25).contains(n))
            .map(|(_, r)| r)
            .collect();
        assert_eq!(Answer::of(&lost, 300.0, 0.0, &scale(0.1)), None, "four readings lost");
        assert!(Answer::of(&rid(0.05, pole), 300.0, 0.0, &scale(0.1)).is_some());
        let small: Vec<_> = rid(0.05, pole).into_iter().map(|(t, g)| (t, g / 100.0)).collect();
        assert_eq!(Answer::of(&small, 3.0, 0.0, &scale(0.1)), None);
    }

    #[test]
    fn a_display_that_stands_in_mid_step_and_jumps_is_frozen() {
        assert!(stood(&[0.0, 900.0, 0.0, 0.0, 0.0, 700.0]));
        assert!(!stood(&[0.0, 0.0, 0.0, 900.0, 300.0, 100.0, 0.0, 0.0, 1.0]));
    }

    #[test]
    fn every_way_has_a_word_of_its_own_and_comes_back_from_it() {
        for way in Smoothing::ALL {
            assert_eq!(Smoothing::from_word(way.word()), Some(way));
        }
        assert_eq!(Smoothing::from_word("of-tomorrow"), None);
    }
}
