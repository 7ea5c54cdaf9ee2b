//! A pour's curve out of its trace: net grams over seconds since the piece was ready.
//!
//! Never draws and never judges a weight: limits and verdict are the record's.

use super::engine::Engine;
use super::entry::{Cue, Output};
use super::trace::{Input, Trace};
use crate::reading::Weighing;
use crate::time::Instant;
use crate::units::Mass;

/// Points of a curve at most: two for each of 300 columns, about what a phone can draw.
pub const MOST_POINTS: usize = 600;

/// A moment worth a mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// The stop should be heard.
    Stop,
    /// The weight was known at rest.
    Weighed,
    /// The piece left.
    Lift,
}

impl Moment {
    /// The word used in messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::Weighed => "weighed",
            Self::Lift => "lift",
        }
    }
}

/// A moment with what the scale showed then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Seconds since the piece was ready.
    pub at_s: f64,
    /// What happened.
    pub what: Moment,
    /// Net of the latest reading, g.
    pub net_g: f64,
}

/// Net over time, as the scale showed it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Seconds since the piece was ready, and net grams; in order of time.
    pub points: Vec<[f64; 2]>,
    /// In order of time.
    pub marks: Vec<Mark>,
}

/// What the replay has shown so far of the piece that is open.
#[derive(Default)]
struct Drawn {
    tare_g: f64,
    started: Instant,
    points: Vec<[f64; 2]>,
    marks: Vec<(f64, Moment)>,
    entered: bool,
    /// As entered last.
    net: Option<Option<Mass>>,
}

impl Drawn {
    fn second(&self, at: Instant) -> f64 {
        (at.seconds_from(self.started) * 1e3).round() / 1e3
    }

    fn handle_output(&mut self, output: &Output) {
        match output {
            Output::Entry(e) if e.rev == 0 => {
                *self = Self { tare_g: e.tare.g(), started: e.started, ..Self::default() };
            }
            // Another piece's: the one before still stands in the lead of a trace, and may be taken for put back.
            Output::Entry(e) if e.started != self.started => {}
            Output::Entry(e) => {
                self.entered = true;
                // A revision at the lift tells how long it stood, and no new weight.
                if e.settled && self.net.replace(e.net) != Some(e.net) {
                    self.marks.push(((e.seconds * 1e3).round() / 1e3, Moment::Weighed));
                }
            }
            Output::Cue(call) if call.cue == Cue::Stop => {
                self.marks.push((self.second(call.due), Moment::Stop));
            }
            Output::Dropped { .. } => *self = Self::default(),
            Output::Cue(_) | Output::Learned(_) | Output::VoidLast | Output::Jug { .. } => {}
        }
    }

    fn handle_weighing(&mut self, w: Weighing) {
        let net_g = w.mass.g() - self.tare_g;
        // A hundredth of a gram is finer than any bench scale's step.
        self.points.push([self.second(w.taken_at), (net_g * 100.0).round() / 100.0]);
    }

    /// The piece left: what fell on the way is the hand's, not the slop's.
    fn lift(&mut self, threshold_g: f64) {
        // Lighter than the bare piece, or falling.
        while let [.., [_, before], [_, last]] = self.points[..]
            && (last < -threshold_g || last < before - threshold_g)
        {
            self.points.pop();
        }
        if let Some([at_s, _]) = self.points.last() {
            self.marks.push((*at_s, Moment::Lift));
        }
    }

    fn curve(mut self) -> Curve {
        self.points.retain(|[at_s, _]| *at_s >= 0.0);
        self.marks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let net_at = |at_s: f64| {
            let shown = self.points.iter().take_while(|[s, _]| *s <= at_s).last();
            shown.map_or(0.0, |[_, net_g]| *net_g)
        };
        let marks = self.marks.iter().map(|&(at_s, what)| Mark { at_s, what, net_g: net_at(at_s) }).collect();
        Curve { marks, points: thinned(self.points, MOST_POINTS) }
    }
}

impl Trace {
    /// The curve of the pour that this trace holds; no points where it holds none.
    pub fn curve(&self) -> Curve {
        let mut engine = Engine::new(self.start.clone());
        let mut drawn = Drawn::default();
        for input in &self.inputs {
            let piece = engine.snapshot(Instant::START).piece;
            input.give(&mut engine);
            while let Some(output) = engine.poll_output() {
                drawn.handle_output(&output);
            }
            let Input::Weighing(w) = input else { continue };
            // A display that hides the piece shows no net; one that was put right is taken as the engine took it.
            if engine.offered().is_none() {
                drawn.handle_weighing(engine.last.unwrap_or(*w));
            }
            if drawn.entered && engine.snapshot(Instant::START).piece != piece {
                drawn.lift(engine.threshold_g());
                return drawn.curve();
            }
        }
        if drawn.entered { drawn.curve() } else { Curve::default() }
    }
}

/// At most `most` points of these: of each stretch the least and the greatest stay, and both ends.
fn thinned(points: Vec<[f64; 2]>, most: usize) -> Vec<[f64; 2]> {
    let (Some(first), Some(last)) = (points.first().copied(), points.last().copied()) else { return points };
    if points.len() <= most {
        return points;
    }
    let stretch = points.len().div_ceil((most / 2).saturating_sub(1).max(1));
    let mut kept = vec![first];
    for part in points.chunks(stretch) {
        let by_net = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
        let ends = part.iter().min_by(by_net).zip(part.iter().max_by(by_net));
        let Some((low, high)) = ends else { continue };
        kept.extend(if low[0] <= high[0] { [*low, *high] } else { [*high, *low] });
    }
    kept.push(last);
    kept.dedup();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_curve_is_thinned_and_keeps_its_ends_and_its_highest_and_lowest_reading() {
        let mut points: Vec<[f64; 2]> =
            (0..20_000).map(|i| [f64::from(i) / 10.0, 20.0 + f64::from(i % 7) / 10.0]).collect();
        points[7_777][1] = 33.3;
        points[12_345][1] = -4.5;
        let kept = thinned(points.clone(), MOST_POINTS);
        assert!(kept.len() <= MOST_POINTS, "{}", kept.len());
        assert!(kept.contains(&points[7_777]) && kept.contains(&points[12_345]));
        assert_eq!((kept[0], kept[kept.len() - 1]), (points[0], points[19_999]));
        assert!(kept.is_sorted_by(|a, b| a[0] < b[0]), "in order of time, none twice");
    }

    #[test]
    fn a_short_curve_keeps_every_point() {
        let points = vec![[0.0, 0.0], [0.1, 0.4], [0.2, 0.9]];
        assert_eq!(thinned(points.clone(), MOST_POINTS), points);
        assert_eq!(thinned(Vec::new(), MOST_POINTS), Vec::<[f64; 2]>::new());
    }
}
