//! A small wheel that turns on the pan: the weight swings evenly to and fro, and its mean is what lies there.
//!
//! Found in the readings alone, and only where they swing as nothing else at the table does: at one pace and one
//! height for three whole turns, about a level that stays. A hand that rocks a piece, a fan and a shaken table swing
//! unevenly.

use super::Motion;
use crate::reading::Weighing;
use crate::scale::ScaleFacts;
use crate::time::Instant;
use crate::units::{Flow, Mass};
use std::collections::VecDeque;
use std::f64::consts::TAU;

/// So many whole turns show that a swing is even (own choice: a hand does not rock three times alike).
const TURNS: f64 = 3.0;
/// A wheel is looked for in so many latest seconds: between two paces, turns a second, of which three turns fit, and in
/// steps of a quarter of what so long a stretch can tell apart (derived). Five readings a second show no quicker one.
const STRETCHES: [(f64, f64, f64, f64); 5] = [
    (3.0, 0.97, 2.2, 0.08),
    (3.6, 0.82, 1.05, 0.06),
    (4.4, 0.67, 0.9, 0.05),
    (5.3, 0.56, 0.75, 0.04),
    (6.4, 0.46, 0.62, 0.03),
];
/// Readings kept, s.
const KEPT_S: f64 = 6.6;
/// Fewer readings than this show no swing: the line has five unknowns, and as many again (own choice).
const LEAST: usize = 10;
/// Looked for so often, s: it costs as much as all the rest of a reading (own choice).
const LOOK_S: f64 = 0.25;
/// A swing of less height, in standard deviations of a reading, is left as it is (derived: noise alone makes a tenth of
/// it in so many readings).
const LEAST_SIGMAS: f64 = 3.0;
/// What was shown lies within the swing if it is off by no more than so many of what is left of it (normal law).
const WITHIN_SIGMAS: f64 = 6.0;
/// More is no small wheel, g (a guess).
const MOST_G: f64 = 25.0;
/// How well it is known when a reading was taken, s (as where the stop is found).
const TIMING_S: f64 = 0.02;
/// A wheel swings so evenly, as a share of its height (a guess).
const UNEVEN: f64 = 0.06;
/// Its two halves are as high as each other, and about the same mean, within this share of the height.
const HALVES: f64 = 0.15;
/// Of a wheel that stopped less than this share of its height is left.
const STOPPED: f64 = 0.5;
/// ... and it has stopped where half a turn moves by less than this share of it (derived: a stream that goes against it
/// hides no more than the rest), in so many readings at least (own choice).
const STILL: f64 = 0.3;
const LEAST_STILL: usize = 4;
/// The latest mean is of whole turns, for so long at least, s, and of so many readings.
const MEAN_S: f64 = 0.7;
const MEAN_OF: f64 = 8.0;
/// A slope beyond so many standard deviations is one (normal law: 1 in 80).
const SLOPE_SIGMAS: f64 = 2.5;
/// The pace is followed from so far, and told so finely, turns a second: within a pour of 5 s a swing of 3 g is then off by
/// 0.05 g (derived).
const FOLLOWED: f64 = 0.004;
const FINEST: f64 = 0.0005;

/// A swing about a straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Swing {
    turns: f64,
    centre: Instant,
    mean_g: f64,
    slope_g_s: f64,
    cos_g: f64,
    sin_g: f64,
    scatter_g: f64,
}

impl Swing {
    /// The swing of this pace through readings, by least squares.
    fn through(readings: &[(Instant, f64)], turns: f64) -> Option<Self> {
        let (first, last) = (readings.first()?.0, readings.last()?.0);
        let centre = first.offset_seconds(0.5 * last.seconds_from(first));
        let base_g = readings.first()?.1;
        let row = |t: &Instant| {
            let x = t.seconds_from(centre);
            let (sin, cos) = (TAU * turns * x).sin_cos();
            [1.0, x, cos, sin]
        };
        let mut sums = [[0.0; 5]; 4];
        for (t, g) in readings {
            let row = row(t);
            for (of, sum) in row.iter().zip(&mut sums) {
                for (s, with) in sum.iter_mut().zip(row.iter().chain([&(g - base_g)])) {
                    *s += of * with;
                }
            }
        }
        let [mean_g, slope_g_s, cos_g, sin_g] = solved(sums)?;
        let off = |(t, g): &(Instant, f64)| {
            let [_, x, cos, sin] = row(t);
            g - base_g - mean_g - slope_g_s * x - cos_g * cos - sin_g * sin
        };
        let left = readings.len().checked_sub(5).filter(|n| *n > 0)? as f64;
        let scatter_g = (readings.iter().map(|r| off(r).powi(2)).sum::<f64>() / left).sqrt();
        Some(Self { turns, centre, mean_g: mean_g + base_g, slope_g_s, cos_g, sin_g, scatter_g })
    }

    fn better(self, other: Self) -> Self {
        if other.scatter_g < self.scatter_g { other } else { self }
    }

    /// The pace at which the least is left of the readings, looked for in halved steps.
    fn refined(self, readings: &[(Instant, f64)], step: f64) -> Self {
        let (mut swing, mut step) = (self, step);
        while step > FINEST {
            let beside = [swing.turns - step, swing.turns + step];
            let fits = beside.iter().filter_map(|turns| Self::through(readings, *turns));
            swing = fits.fold(swing, Self::better);
            step *= 0.5;
        }
        swing
    }

    fn height_g(&self) -> f64 {
        self.cos_g.hypot(self.sin_g)
    }

    /// What it adds to a reading, g.
    fn at(&self, t: Instant) -> f64 {
        let (sin, cos) = (TAU * self.turns * t.seconds_from(self.centre)).sin_cos();
        self.cos_g * cos + self.sin_g * sin
    }
}

/// Four equations with four unknowns, by elimination.
fn solved(mut rows: [[f64; 5]; 4]) -> Option<[f64; 4]> {
    for i in 0..4 {
        let pivot = (i..4).max_by(|a, b| rows[*a][i].abs().total_cmp(&rows[*b][i].abs()))?;
        rows.swap(i, pivot);
        let own = rows[i];
        if own[i].abs() < 1e-9 {
            return None;
        }
        for (_, row) in rows.iter_mut().enumerate().filter(|(j, _)| *j != i) {
            let times = row[i] / own[i];
            for (value, of) in row.iter_mut().zip(own) {
                *value -= times * of;
            }
        }
    }
    Some(std::array::from_fn(|i| rows[i][4] / rows[i][i]))
}

/// The least and the greatest of no readings, g.
const NO_ENDS_G: (f64, f64) = (f64::MAX, f64::MIN);

/// The least and the greatest with one more, g.
fn with((low, high): (f64, f64), g: f64) -> (f64, f64) {
    (if g < low { g } else { low }, if g > high { g } else { high })
}

/// Looks for a wheel that turns on the pan, and takes its swing off.
#[derive(Clone, Debug)]
pub struct Ripple {
    sd_g: f64,
    step_g: f64,
    lag_s: f64,
    most_scatter_g: f64,
    readings: VecDeque<(Instant, f64)>,
    known: Option<Swing>,
    rest_g: Option<f64>,
    /// It swings evenly since then.
    since: Option<Instant>,
    looked: Option<Instant>,
}

impl Ripple {
    /// For this scale; a mean that is known no better than `most_u` is of no use.
    pub fn new(scale: &ScaleFacts, most_u: Mass) -> Self {
        Self {
            sd_g: scale.reading_sd_g(),
            step_g: scale.step.g(),
            lag_s: scale.lag.as_secs_f64(),
            most_scatter_g: most_u.g(),
            readings: VecDeque::new(),
            known: None,
            rest_g: None,
            since: None,
            looked: None,
        }
    }

    /// Takes a reading and gives what it shows without the swing. One that is not known yet is only looked for where
    /// `looks`.
    pub fn handle_weighing(&mut self, w: Weighing, gap: bool, looks: bool) -> Mass {
        if gap {
            self.readings.clear();
        }
        self.readings.push_back((w.taken_at, w.mass.g()));
        while self.readings.front().is_some_and(|(t, _)| w.taken_at.seconds_from(*t) > KEPT_S) {
            self.readings.pop_front();
        }
        self.readings.make_contiguous();
        self.rest_g = None;
        match self.known {
            Some(known) => self.follow(known),
            None if looks => self.look(),
            None => {}
        }
        Mass::saturating(w.mass.g() - self.known.map_or(0.0, |known| known.at(w.taken_at)))
    }

    /// At rest where the mean over whole turns stays; none where no wheel turns.
    pub fn motion(&self) -> Option<Motion> {
        let known = self.known?;
        let moving = Motion::Moving { flow: Flow::saturating(known.slope_g_s) };
        Some(self.rest_g.map_or(moving, |g| Motion::AtRest { mass: Mass::saturating(g) }))
    }

    /// How far readings scatter about the swing that was taken off; none where no wheel turns.
    pub fn scatter_g(&self) -> Option<f64> {
        self.known.map(|known| known.scatter_g)
    }

    /// How far the swing that was taken off reaches to either side; 0 where no wheel turns.
    pub fn height_g(&self) -> f64 {
        self.known.map_or(0.0, |known| known.height_g())
    }

    /// Time of a turn; none where no wheel turns.
    pub fn turn_s(&self) -> Option<f64> {
        self.known.map(|known| 1.0 / known.turns)
    }

    /// All between the lowest and the highest swing, and since when nothing else was shown; none where no wheel turns at
    /// rest.
    pub fn reach_g(&self) -> Option<(std::ops::RangeInclusive<f64>, Instant)> {
        let ((known, rest_g), since) = self.known.zip(self.rest_g).zip(self.since)?;
        let room_g = known.height_g() + WITHIN_SIGMAS * known.scatter_g.max(self.sd_g);
        Some((rest_g - room_g..=rest_g + room_g, since))
    }

    /// The latest readings, for so long.
    fn latest(&self, for_s: f64) -> &[(Instant, f64)] {
        // All lie in the first slice since the latest came.
        let (readings, _) = self.readings.as_slices();
        let Some(&(last, _)) = readings.last() else { return &[] };
        // Where none is older, they do not reach so far back.
        match readings.partition_point(|(t, _)| last.seconds_from(*t) > for_s) {
            0 => &[],
            from => readings.get(from..).unwrap_or_default(),
        }
    }

    fn look(&mut self) {
        let Some(&(now, _)) = self.readings.back() else { return };
        if self.looked.is_some_and(|looked| now.seconds_from(looked) < LOOK_S) {
            return;
        }
        self.looked = Some(now);
        if let Some((swing, since)) = self.found(now) {
            self.rest_g = Some(swing.mean_g);
            self.since = Some(since);
            self.known = Some(swing);
        }
    }

    /// The swing of the first stretch that shows one.
    fn found(&self, now: Instant) -> Option<(Swing, Instant)> {
        let (readings, _) = self.readings.as_slices();
        let (mut from, mut ends_g) = (readings.len(), NO_ENDS_G);
        STRETCHES.iter().find_map(|stretch| {
            // Each stretch goes on from where the shorter one before it began.
            while let Some((_, g)) =
                readings[..from].last().filter(|(t, _)| now.seconds_from(*t) <= stretch.0)
            {
                ends_g = with(ends_g, *g);
                from -= 1;
            }
            // Where none is older, they do not reach so far back.
            let readings = readings.get(from..).filter(|readings| from > 0 && readings.len() >= LEAST)?;
            if self.may_swing(readings, ends_g) { self.found_in(readings, stretch) } else { None }
        })
    }

    fn found_in(
        &self,
        readings: &[(Instant, f64)],
        &(for_s, from, to, by): &(f64, f64, f64, f64),
    ) -> Option<(Swing, Instant)> {
        let (since, paces) = (readings.first()?.0, from..to);
        let paces = (0..).map(|i| paces.start + by * f64::from(i)).take_while(|turns| *turns < paces.end);
        let swing = paces.filter_map(|turns| Swing::through(readings, turns)).reduce(Swing::better)?;
        let swing = swing.refined(readings, 0.5 * by);
        self.is_even(&swing, readings, for_s).then_some((swing, since))
    }

    /// Worth a closer look: it moves, by no more than a small wheel, and about the same mean in both halves.
    fn may_swing(&self, readings: &[(Instant, f64)], (low_g, high_g): (f64, f64)) -> bool {
        let between_g = high_g - low_g;
        if !(2.0 * LEAST_SIGMAS * self.sd_g..2.0 * MOST_G).contains(&between_g) {
            return false;
        }
        // The second half is as long as the first one, or by one reading longer. Added up side by side, as each sum
        // waits for its last addition.
        let (first, second) = readings.split_at(readings.len() / 2);
        let (mut first_g, mut second_g) = (0.0, 0.0);
        for ((_, a), (_, b)) in first.iter().zip(second) {
            (first_g, second_g) = (first_g + a, second_g + b);
        }
        second_g += second.get(first.len()).map_or(0.0, |(_, g)| *g);
        let apart_g = second_g / second.len() as f64 - first_g / first.len() as f64;
        apart_g.abs() < 0.3 * between_g
    }

    fn limit_g(&self, swing: &Swing) -> f64 {
        let height_g = swing.height_g();
        (2.0 * self.sd_g).hypot(TIMING_S * TAU * swing.turns * height_g).hypot(UNEVEN * height_g)
    }

    fn is_even(&self, swing: &Swing, readings: &[(Instant, f64)], for_s: f64) -> bool {
        let height_g = swing.height_g();
        let (first, second) = readings.split_at(readings.len() / 2);
        let halves = Swing::through(first, swing.turns).zip(Swing::through(second, swing.turns));
        let near_g = HALVES * height_g + 2.0 * self.sd_g;
        let alike = halves.is_some_and(|(a, b)| {
            (a.height_g() - b.height_g()).abs() < near_g && (a.mean_g - b.mean_g).abs() < near_g
        });
        height_g >= LEAST_SIGMAS * self.sd_g
            && swing.turns * for_s >= TURNS - 0.1
            && swing.scatter_g <= self.limit_g(swing).min(self.most_scatter_g)
            && self.stays(swing, readings)
            && alike
    }

    /// Nothing comes or goes: what is still to come of a tail is less than the mean is known to, and the slope no more than
    /// scatter alone makes (of n readings over a time T it has the standard deviation sd / T * sqrt(12 / n), derived).
    fn stays(&self, swing: &Swing, readings: &[(Instant, f64)]) -> bool {
        let ends = readings.first().zip(readings.last());
        let for_s = ends.map_or(0.0, |((first, _), (last, _))| last.seconds_from(*first));
        let (lag_s, scatter_g) = (self.lag_s.max(0.3), swing.scatter_g.max(self.sd_g));
        let by_chance_g = SLOPE_SIGMAS * scatter_g * (12.0 / readings.len() as f64).sqrt();
        let slope_g_s = swing.slope_g_s.abs();
        slope_g_s * lag_s <= 0.5 * self.step_g + 2.0 * scatter_g * lag_s && slope_g_s * for_s <= by_chance_g
    }

    /// For half a turn nothing moves: any half of a turn goes at least its height up or down.
    fn stands_still(&self, known: &Swing) -> bool {
        let half = self.latest(0.5 / known.turns);
        let (low, high) = half.iter().fold(NO_ENDS_G, |ends, (_, g)| with(ends, *g));
        half.len() >= LEAST_STILL && high - low < STILL * known.height_g()
    }

    /// The mean over the latest whole turns, and whether the wheel still turns.
    fn follow(&mut self, known: Swing) {
        let pace = self.readings.iter().zip(self.readings.iter().skip(1));
        let mean_s = pace.map(|((a, _), (b, _))| b.seconds_from(*a)).sum::<f64>()
            / self.readings.len().saturating_sub(1).max(1) as f64;
        let least_s = MEAN_S.max(MEAN_OF * mean_s);
        let for_s = (known.turns * least_s).ceil() / known.turns;
        if self.stands_still(&known) {
            self.known = None;
            return;
        }
        let turn = self.latest(for_s);
        let Some(now) = Swing::through(turn, known.turns) else { return };
        let steady = Swing { scatter_g: now.scatter_g.max(known.scatter_g), ..now };
        if now.scatter_g > self.limit_g(&known).max(1.5 * known.scatter_g) || !self.stays(&steady, turn) {
            return;
        }
        if now.height_g() < STOPPED * known.height_g() {
            self.known = None;
            return;
        }
        self.rest_g = Some(now.mean_g);
        let readings = self.latest(TURNS / known.turns);
        let longer = Swing::through(readings, known.turns).map(|swing| swing.refined(readings, FOLLOWED));
        let better =
            longer.filter(|swing| swing.scatter_g <= self.limit_g(swing) && self.stays(swing, readings));
        self.known = Some(better.unwrap_or(Swing { scatter_g: known.scatter_g, ..now }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::Origin;
    use crate::time::Duration;

    fn ripple() -> Ripple {
        let scale = ScaleFacts {
            id: "test".into(),
            step: Mass::saturating(0.1),
            noise: Mass::saturating(0.03),
            lag: Duration::from_millis(300),
            lag_origin: Origin::Told,
        };
        Ripple::new(&scale, Mass::saturating(0.5))
    }

    /// Ten readings a second of what `shown` gives; the evened readings, and the last motion.
    fn fed(ripple: &mut Ripple, for_s: f64, shown: impl Fn(f64) -> f64) -> (Vec<f64>, Option<Motion>) {
        let at = |i: i32| 0.1 * f64::from(i);
        let all = (0..(10.0 * for_s) as i32).map(|i| {
            let mass = Mass::saturating((shown(at(i)) * 10.0).round() / 10.0);
            let t = Instant::START.offset_seconds(at(i));
            ripple.handle_weighing(Weighing { mass, arrived_at: t, taken_at: t }, false, true).g()
        });
        (all.collect(), ripple.motion())
    }

    fn wheel(t: f64, g: f64, turns: f64) -> f64 {
        612.0 + g * (TAU * turns * t + 0.7).sin()
    }

    #[test]
    fn a_wheel_is_found_after_three_turns_and_taken_off() {
        for turns in [0.5, 0.8, 1.0, 1.37, 2.0] {
            for g in [0.5, 3.0, 10.0] {
                let (even, motion) = fed(&mut ripple(), 9.0, |t| wheel(t, g, turns));
                let Some(Motion::AtRest { mass }) = motion else {
                    panic!("{turns} a second, {g} g: {motion:?}")
                };
                assert!((mass.g() - 612.0).abs() < 0.05, "{turns} a second, {g} g: {} g", mass.g());
                let worst = even.iter().rev().take(15).map(|e| (e - 612.0).abs()).fold(0.0, f64::max);
                assert!(worst < 0.15 + 0.03 * g, "{turns} a second, {g} g: {worst} g are left of it");
            }
        }
    }

    #[test]
    fn slop_that_runs_on_a_wheel_is_no_rest_and_is_seen_without_the_swing() {
        let poured = |t: f64| wheel(t, 3.0, 1.0) + 8.0 * (t - 6.0).clamp(0.0, 3.0);
        let mut slop = ripple();
        let (even, motion) = fed(&mut slop, 9.0, poured);
        assert!(matches!(motion, Some(Motion::Moving { .. })), "{motion:?}");
        let off = |i: usize| even[i] - 612.0 - 8.0 * (0.1 * i as f64 - 6.0).max(0.0);
        assert!((60..90).all(|i| off(i).abs() < 0.3), "{even:?}");
    }

    #[test]
    fn a_wheel_that_stops_is_forgotten() {
        let mut ripple = ripple();
        let (even, motion) = fed(&mut ripple, 10.0, |t| if t < 6.0 { wheel(t, 3.0, 1.0) } else { 612.0 });
        assert_eq!(motion, None);
        assert!(even.iter().rev().take(10).all(|g| (g - 612.0).abs() < 0.1), "{even:?}");
    }

    #[test]
    fn what_swings_unevenly_is_no_wheel() {
        let tau = TAU;
        // A rocked piece that comes to rest, a hand that rocks it, a fan, a pour in strokes.
        let rocked = |t: f64| 612.0 + 18.0 * (tau * 1.5 * t).sin() * (-t / 1.5).exp();
        let hand = |t: f64| 612.0 + 3.0 * (0.6 * (tau * 0.9 * t).sin() + 0.4 * (tau * 1.37 * t).sin());
        let fan = |t: f64| 612.0 + [0.13, 0.31, 0.7].iter().map(|f| (tau * f * t).sin()).sum::<f64>();
        let strokes = |t: f64| 612.0 + 3.2 * t.floor() + 3.2 * (2.0 * t.fract()).min(1.0);
        let others: [&dyn Fn(f64) -> f64; 4] = [&rocked, &hand, &fan, &strokes];
        for (i, shown) in others.iter().enumerate() {
            for from_s in [0.0, 0.3, 0.7, 1.1, 1.9] {
                let (even, motion) = fed(&mut ripple(), 9.0, |t| shown(t + from_s));
                let same = |(n, even): (usize, &f64)| (even - shown(0.1 * n as f64 + from_s)).abs() < 0.06;
                assert!(
                    motion.is_none() && even.iter().enumerate().all(same),
                    "{i} from {from_s} s: {even:?}"
                );
            }
        }
    }
}
