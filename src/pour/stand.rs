//! Where the display stood between the end of a landing and slop that is seen to climb: its tare, and how well that is known.
//!
//! Looked for once slop runs, in all readings since the landing: the level among them that hides the least. What a level may
//! hide is a stream that a falling display held up just then, the end of an overshoot or of a piece that rocks on its foot;
//! the shorter it was, the more of one.

use super::done::EITHER;
use super::landing::{CAME, Landing};
use crate::settle::line::Line;
use crate::time::Instant;

/// A level is of so many readings: three at least, as two are always on a line, and at most two seconds of a usual scale, by
/// when it is at rest (own choices).
const READINGS: std::ops::RangeInclusive<usize> = 3..=20;
/// Readings further from their line than so many standard deviations are no level (normal law: 1 in 370).
const SIGMAS: f64 = 3.0;
/// Higher or lower than a level by so many standard deviations more is another one (normal law: 1 in 16 000).
const OTHER_SIGMAS: f64 = 4.0;
/// Slower than this share of the flow that is seen by then, at two standard deviations, is not that stream yet (a guess: a hand's
/// flow wanders by a tenth, and a stroke of one that is thin by half).
const SLOWER: f64 = 0.25;
/// A fall that ends with a time constant hides a stream as quick as itself: over a time T the two part by flow / constant * T²/8
/// (derived), which is seen from two or three standard deviations on.
const HIDES: f64 = 8.0 * 2.5;
/// Half of a display's lag is such a constant (derived for one that averages over as long as its pole takes twice), or less, where
/// the fall was over sooner: down to so many standard deviations (own choice); and a piece
/// that rocks on its foot does so three times a second at the slowest (a guess): its swing is a turn over 2 pi long, and
/// goes one way for half of a turn.
const POLE: f64 = 0.5;
const OVER_SIGMAS: f64 = 2.0;
const ROCKS_S: f64 = 0.053;
const HALF_TURN_S: f64 = 0.17;
/// A coarse display that has stood for so long after a landing began showed slop by then (a guess: false `good`s of simulated pours
/// had begun sooner).
const COARSE_STANDS_S: f64 = 1.2;
/// What else the end of a landing leaves in a tare, g: a step of a usual display (a guess).
const LEAVES_G: f64 = 0.1;

/// A display as it stood before slop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stand {
    pub(super) tare_g: f64,
    pub(super) u_g: f64,
    /// It stood until then.
    pub(super) until: Instant,
}

/// What a level is judged by.
#[derive(Clone, Copy, Debug)]
pub(super) struct By {
    pub(super) lag_s: f64,
    pub(super) sd_g: f64,
    pub(super) coarse: bool,
    /// The bare pan.
    pub(super) zero_g: f64,
    /// The flow that is seen by now: none that was hidden ran faster.
    pub(super) flow_g_s: f64,
}

impl Landing {
    /// The level that hides the least; none where the display never stood, or lay higher or lower before, or where slop may run
    /// since before it was looked at.
    pub(super) fn stand(&self, by: By) -> Option<Stand> {
        if self.stood {
            return None;
        }
        let readings: Vec<(Instant, f64)> = self.recent.iter().copied().collect();
        let last_g = readings.last()?.1;
        let came = |g: f64| g - by.zero_g >= CAME * (last_g - by.zero_g);
        let landed = readings.get(readings.iter().position(|(_, g)| came(*g))?..)?;
        let fell_from = falls_from(landed, OTHER_SIGMAS * by.sd_g);
        let mut best: Option<Stand> = None;
        for until in *READINGS.start()..=landed.len() {
            let (seen, later) = landed.split_at(until);
            for n in READINGS.take_while(|n| *n <= until) {
                let Some((before, level)) = until.checked_sub(n).map(|from| seen.split_at(from)) else {
                    continue;
                };
                let found = stands(before, level, fell_from, by)
                    .filter(|s| later.iter().all(|(_, g)| *g > s.tare_g - SIGMAS * by.sd_g));
                best = found.into_iter().chain(best).min_by(|a, b| a.u_g.total_cmp(&b.u_g));
            }
        }
        best
    }
}

/// The highest reading, of those that then fall by more than this.
fn falls_from(landed: &[(Instant, f64)], by_g: f64) -> Option<(Instant, f64)> {
    let mut highest = *landed.first()?;
    for &(at, g) in landed {
        if g > highest.1 {
            highest = (at, g);
        } else if g < highest.1 - by_g {
            return Some(highest);
        }
    }
    None
}

/// These readings as a level, after those.
fn stands(
    before: &[(Instant, f64)],
    level: &[(Instant, f64)],
    fell_from: Option<(Instant, f64)>,
    by: By,
) -> Option<Stand> {
    let line = Line::through(level.iter()).filter(|line| line.worst_g <= SIGMAS * by.sd_g)?;
    let (&(from, _), &(until, _)) = level.first().zip(level.last())?;
    if let Some((top, _)) = fell_from {
        // It lay lower since it fell: it rose to here.
        let since = before.iter().chain(level).filter(|(at, _)| *at >= top);
        let lowest_g = since.map(|(_, g)| *g).fold(f64::INFINITY, f64::min);
        if until <= top || line.mean_g - lowest_g > OTHER_SIGMAS * by.sd_g {
            return None;
        }
    }
    let landed = before.first().map_or(from, |(at, _)| *at);
    let over_s = until.seconds_from(from).max(1e-3);
    let n = level.len() as f64;
    // Of n readings over a time T a slope has the standard deviation sd / T * sqrt(12 / n) (least squares).
    let slope_sd = by.sd_g / over_s * (12.0 / n).sqrt();
    // What climbs a little may be slop since the landing, and what is flat a stream that a fall holds up.
    let slower = line.slope_g_s + 2.0 * slope_sd < SLOWER * by.flow_g_s;
    let seen_g_s = if slower { 0.0 } else { (line.slope_g_s + slope_sd).clamp(0.0, by.flow_g_s.max(0.0)) };
    let hides_g_s = |constant_s: f64| (HIDES * by.sd_g * constant_s / over_s.powi(2)).min(by.flow_g_s);
    let hidden_g = match fell_from {
        Some((top, top_g)) => {
            // From there to a few standard deviations of noise it fell within so long.
            let folds = ((top_g - line.mean_g) / (OVER_SIGMAS * by.sd_g)).max(1.0).ln().max(1.0);
            let constant_s = (from.seconds_from(top).max(0.0) / folds).min(POLE * by.lag_s);
            hides_g_s(constant_s.max(ROCKS_S)) * until.seconds_from(top)
        }
        // A coarse display shows next to nothing of so quick a swing, or a fall; but soon after a landing, on the same step, a stream.
        None if by.coarse => by.flow_g_s * (COARSE_STANDS_S - until.seconds_from(landed)).max(0.0),
        None => hides_g_s(ROCKS_S) * HALF_TURN_S,
    };
    let slop_g = (seen_g_s * until.seconds_from(landed)).hypot(hidden_g);
    let to_come_g = line.slope_g_s * by.lag_s;
    let u_g = (by.sd_g / n.sqrt()).hypot(EITHER * to_come_g).hypot(EITHER * slop_g).hypot(LEAVES_G);
    Some(Stand { tare_g: line.mean_g, u_g, until })
}
