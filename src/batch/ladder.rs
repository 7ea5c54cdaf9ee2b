//! A list of targets, one per piece, so that a firing shows which coat comes out best.
//!
//! The order is shuffled so that a place in the kiln or a tired hand does not pass for the coat.

use super::bounds::{Notes, Refused, TARGET_G, within};
use super::request::LadderRequest;
use crate::units::Mass;

/// Most pieces of a ladder, as of a batch.
const MOST: usize = 1000;

/// The targets asked for, in the order they are to be poured.
pub(super) fn ladder(request: &LadderRequest, notes: &mut Notes) -> Result<Vec<Mass>, Refused> {
    let rungs = rungs(request)?;
    let each = request.of_each.unwrap_or(1);
    let pieces = rungs.len().saturating_mul(each as usize);
    if pieces == 0 || pieces > MOST {
        let reason =
            format!("{} targets, {each} of each, make {pieces} pieces; 1 to {MOST} fit", rungs.len());
        return Err(Refused::new("ladder.of_each", reason));
    }
    let all: Vec<Mass> = rungs.iter().copied().cycle().take(pieces).collect();
    let order = request.seed.map_or_else(|| all.clone(), |seed| shuffled(&all, seed));
    if order.windows(2).any(|pair| pair[0] == pair[1]) {
        notes.warnings.push(
            "Pieces one after the other have the same target: there are too many of one to part them"
                .to_owned(),
        );
    }
    let list = order.iter().map(|g| format!("{:.1}", g.g())).collect::<Vec<_>>().join(", ");
    let how = request.seed.map_or("in the order given".to_owned(), |seed| format!("shuffled by seed {seed}"));
    notes.step("Ladder", format!("{} targets, {each} of each, {how}", rungs.len()), format!("{list} g"));
    Ok(order)
}

fn rungs(request: &LadderRequest) -> Result<Vec<Mass>, Refused> {
    let between = (request.low_g, request.high_g, request.steps);
    match (&request.targets_g, between) {
        (Some(list), (None, None, None)) => listed(list),
        (None, (Some(low), Some(high), Some(steps))) => stepped(low, high, steps),
        (Some(_), _) => {
            let reason = "given beside low_g, high_g or steps; leave the list or those out";
            Err(Refused::new("ladder.targets_g", reason))
        }
        (None, _) => {
            let reason = "missing; give a list of targets, or low_g, high_g and steps";
            Err(Refused::new("ladder.targets_g", reason))
        }
    }
}

fn listed(list: &[f64]) -> Result<Vec<Mass>, Refused> {
    if list.is_empty() || list.len() > MOST {
        let reason = format!("has {} targets; give 1 to {MOST}", list.len());
        return Err(Refused::new("ladder.targets_g", reason));
    }
    let each = |(n, g): (usize, &f64)| {
        let field = format!("ladder.targets_g[{n}]");
        within(&field, *g, TARGET_G.0, TARGET_G.1, "g").map(Mass::saturating)
    };
    list.iter().enumerate().map(each).collect()
}

/// Evenly from low to high, both among them.
fn stepped(low: f64, high: f64, steps: u32) -> Result<Vec<Mass>, Refused> {
    let low = within("ladder.low_g", low, TARGET_G.0, TARGET_G.1, "g")?;
    let high = within("ladder.high_g", high, TARGET_G.0, TARGET_G.1, "g")?;
    if high <= low {
        let reason = format!("{high} g is not above {low} g, the lowest; were the two swapped?");
        return Err(Refused::new("ladder.high_g", reason));
    }
    if !(2..=100).contains(&steps) {
        let reason = format!("{steps} is no number of targets from 2 to 100, the two ends among them");
        return Err(Refused::new("ladder.steps", reason));
    }
    let step = (high - low) / f64::from(steps - 1);
    // To a milligram: no scale told of here shows less.
    let rung = |n: u32| Mass::saturating((1000.0 * (low + step * f64::from(n))).round() / 1000.0);
    Ok((0..steps).map(rung).collect())
}

/// These masses in an order that the seed fixes, equal ones never side by side where that can be.
pub fn shuffled(masses: &[Mass], seed: u64) -> Vec<Mass> {
    let mut left: Vec<(Mass, usize)> = Vec::new();
    for mass in masses {
        match left.iter_mut().find(|(known, _)| known == mass) {
            Some((_, count)) => *count += 1,
            None => left.push((*mass, 1)),
        }
    }
    let mut chance = Chance(seed);
    let mut order: Vec<Mass> = Vec::with_capacity(masses.len());
    while order.len() < masses.len() {
        let rest = masses.len() - order.len();
        let n = next(&left, order.last().copied(), rest, &mut chance);
        left[n].1 -= 1;
        order.push(left[n].0);
    }
    order
}

/// Which comes next: one that must, as half of the rest are like it; else any that is not like the last.
fn next(left: &[(Mass, usize)], last: Option<Mass>, rest: usize, chance: &mut Chance) -> usize {
    let free = |n: &usize| left[*n].1 > 0 && Some(left[*n].0) != last;
    let places: Vec<usize> = (0..left.len()).filter(free).collect();
    if let Some(must) = places.iter().find(|n| 2 * left[**n].1 > rest) {
        return *must;
    }
    let whole: usize = places.iter().map(|n| left[*n].1).sum();
    if whole == 0 {
        return left.iter().position(|(_, count)| *count > 0).unwrap_or(0);
    }
    let mut drawn = chance.below(whole);
    for n in places {
        if drawn < left[n].1 {
            return n;
        }
        drawn -= left[n].1;
    }
    0
}

/// A small generator of pseudo-random numbers with 64 bits of state (G. L. Steele, D. Lea, C. H. Flood,
/// OOPSLA 2014, constants from memory): the same seed gives the same order on any machine.
struct Chance(u64);

impl Chance {
    fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `n`, which is at most a thousand: the bias of the remainder is nothing.
    fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.draw() % (n as u64)).unwrap_or(0)
    }
}
