//! The tail of a landing: it falls by one share from rise to rise, until more comes.

use super::landing::Landing;
use crate::time::Instant;

/// A rise that is more than the one before it by so many standard deviations is a new one (own choice).
pub(super) const ANEW_SIGMAS: f64 = 4.0;
/// Of a landing's tail so many rises beside each other tell how it falls, and one that exceeds that share by so much is not of
/// the tail alone (own choices: a mean over two readings bends it by a tenth).
const TAIL_PAIRS: usize = 4;
const UNEVEN_TAIL: f64 = 1.15;
/// Of the first of them the least but so many: slop that runs since the landing makes others greater (own choice).
const FIRST_SHARE: usize = 1;
/// Nobody pours a piece in less, s (a guess: at the quickest a jug of a third of a litre is emptied in as much).
const POUR_S: f64 = 1.5;

/// A rise, and what was shown before it, g.
#[derive(Clone, Copy, Debug)]
struct Rise {
    at: Instant,
    from_g: f64,
    by_g: f64,
}

impl Landing {
    /// The rises of its tail beside each other, as far as they stand out from noise.
    fn tail(&self, quicker_g: f64) -> Vec<(Rise, Rise)> {
        let readings = self.recent.iter().zip(self.recent.iter().skip(1));
        let rises: Vec<Rise> =
            readings.map(|(a, b)| Rise { at: b.0, from_g: a.1, by_g: b.1 - a.1 }).collect();
        let steepest = rises.iter().map(|rise| rise.by_g).fold(0.0, f64::max);
        let tail = rises.iter().skip_while(|rise| rise.by_g < steepest).copied();
        tail.clone().zip(tail.skip(1)).take_while(|(a, b)| a.by_g.min(b.by_g) > 0.5 * quicker_g).collect()
    }

    /// What came after the piece where it only slowed the end of the landing, and is as much as a lump.
    pub(super) fn came_in_the_tail_g(&self, rest: f64, sd_g: f64, may_be: impl Fn(f64) -> bool) -> f64 {
        let quicker_g = ANEW_SIGMAS * 2.0 * sd_g;
        let pairs = self.tail(quicker_g);
        let Some(share) = share(&pairs, pairs.len() / 2).filter(|_| pairs.len() >= TAIL_PAIRS) else {
            return 0.0;
        };
        slower(&pairs, share, quicker_g).map(|b| rest - b.from_g).filter(|g| may_be(*g)).fold(0.0, f64::max)
    }

    /// Its tail lasts as long as a pour, and falls more slowly than it began to: slop may have run in it.
    pub(super) fn may_hide_a_pour(&self, sd_g: f64) -> bool {
        let quicker_g = ANEW_SIGMAS * 2.0 * sd_g;
        let pairs = self.tail(quicker_g);
        let Some((first, later)) = pairs.split_at_checked(TAIL_PAIRS) else { return false };
        let lasts_s = later.first().zip(later.last()).map_or(0.0, |(a, b)| b.1.at.seconds_from(a.0.at));
        lasts_s >= POUR_S
            && share(first, FIRST_SHARE).is_some_and(|share| slower(later, share, quicker_g).next().is_some())
    }
}

/// The share by which rises fall, as one of these pairs tells: the least but so many.
fn share(pairs: &[(Rise, Rise)], but: usize) -> Option<f64> {
    let mut shares: Vec<f64> = pairs.iter().map(|(a, b)| b.by_g / a.by_g).collect();
    shares.sort_by(f64::total_cmp);
    shares.get(but).copied()
}

/// Rises that exceed that share of the one before.
fn slower(pairs: &[(Rise, Rise)], share: f64, quicker_g: f64) -> impl Iterator<Item = Rise> + '_ {
    let exceeds = move |(a, b): &&(Rise, Rise)| b.by_g - UNEVEN_TAIL * share * a.by_g > quicker_g;
    pairs.iter().filter(exceeds).map(|(_, b)| *b)
}
