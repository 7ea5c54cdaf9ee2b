//! What was read, step by step, and the calibration that is told by it.

use super::plan::{Kind, Wish};
use super::step::{Ask, Step};
use crate::calibration::masses::{OwnMass, together};
use crate::calibration::request::{CalibrationRequest, CornersRequest, PointRequest, RepeatRequest};

/// From so many placements on they tell the spread by themselves; fewer count as points (own choice).
const TELLS_SPREAD: usize = 6;

/// One weight that was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Read {
    pub(super) step: Step,
    /// What was shown, g.
    pub(super) shown_g: f64,
    /// What the bare pan had shown before, g.
    pub(super) zero_g: f64,
    /// What was shown at the step before, g.
    pub(super) before_g: f64,
}

impl Read {
    fn net_g(&self) -> f64 {
        self.shown_g - self.zero_g
    }
}

/// All that counts.
#[derive(Clone, Debug, Default)]
pub(super) struct Readings {
    groups: Vec<(Kind, Vec<Read>)>,
    rounds: Vec<(f64, f64)>,
}

impl Readings {
    /// Zero and span of a round of the warm-up, g.
    fn round(read: &[Read]) -> (f64, f64) {
        let put = read.iter().find(|r| r.step.ask == Ask::Put);
        put.map_or((0.0, 0.0), |r| (r.zero_g, r.net_g()))
    }

    /// This round of the warm-up is as the one before, to within so much.
    pub(super) fn is_steady(&self, read: &[Read], within_g: f64) -> bool {
        let (zero_g, span_g) = Self::round(read);
        // A step of the display is what it is only to the rounding of binary numbers.
        let near = |a: f64, b: f64| (a - b).abs() <= within_g * (1.0 + 1e-9);
        self.rounds.last().is_some_and(|(zero, span)| near(*zero, zero_g) && near(*span, span_g))
    }

    /// One more round of the warm-up.
    pub(super) fn warm_up(&mut self, read: &[Read]) {
        self.rounds.push(Self::round(read));
    }

    pub(super) fn rounds(&self) -> usize {
        self.rounds.len()
    }

    /// A group is over.
    pub(super) fn keep(&mut self, kind: Kind, read: Vec<Read>) {
        self.groups.push((kind, read));
    }

    fn of(&self, kind: Kind) -> impl Iterator<Item = &Read> {
        self.groups.iter().filter(move |(k, _)| *k == kind).flat_map(|(_, read)| read)
    }

    /// Which mass was checked, and what it showed.
    pub(super) fn checked(&self) -> Option<(usize, f64)> {
        // Of the check's reading, what the bare pan showed before and after is the mean.
        let stay = self.of(Kind::Check).find(|r| r.step.ask == Ask::Stay)?;
        let after_g =
            self.of(Kind::Check).find(|r| r.step.ask == Ask::Off).map_or(stay.zero_g, |r| r.shown_g);
        Some((stay.step.mass?, stay.shown_g - 0.5 * (stay.zero_g + after_g)))
    }

    /// As a calibration is told.
    pub(super) fn request(&self, wish: &Wish) -> CalibrationRequest {
        let mut points = vec![self.bare()];
        points.extend(self.series(wish));
        let repeats: Vec<&Read> = self.of(Kind::Repeat).filter(|r| r.step.ask == Ask::Put).collect();
        let mut repeat = None;
        if let Some(mass) = repeats.first().and_then(|r| r.step.mass).and_then(|m| wish.masses.get(m)) {
            if repeats.len() >= TELLS_SPREAD {
                let readings_g = repeats.iter().map(|r| even(r.net_g())).collect();
                let (load_g, u_mass_g) = (mass.reference.mass_g, Some(mass.reference.u_g));
                repeat = Some(RepeatRequest { load_g, readings_g, u_mass_g });
            } else {
                points.push(on_its_own(&[mass], &repeats, |r| r.zero_g));
            }
        }
        points.extend(self.on_piece(wish));
        let pour = wish.pour_g;
        CalibrationRequest {
            division_g: wish.division_g,
            points,
            repeat,
            corners: self.corners(),
            net_g: pour.map(|(net_g, _)| net_g),
            tolerance_g: pour.map(|(_, tolerance_g)| tolerance_g),
            creep_g: self.creep_g(),
            zero_return_g: self.zero_return_g(),
            warm_up_rounds: (!self.rounds.is_empty())
                .then(|| u32::try_from(self.rounds.len()).unwrap_or(u32::MAX)),
            drift_share: wish.drift_share,
            piece_g: wish.piece_g,
            room_c: wish.room_c,
            operator: wish.operator.clone(),
        }
    }

    /// The bare pan after each load, with what it showed before: a scale wakes at a zero of its own, so that every load is
    /// told so, and the zero of the day is no error.
    fn bare(&self) -> PointRequest {
        let kinds = [Kind::Series, Kind::Repeat, Kind::Corners, Kind::OnPiece];
        let all = kinds.into_iter().flat_map(|kind| self.of(kind));
        let off: Vec<&Read> = all.filter(|r| r.step.ask == Ask::Off).collect();
        on_its_own(&[], &off, |r| r.zero_g)
    }

    /// Each load of the series, on its way up and on its way down.
    fn series(&self, wish: &Wish) -> Vec<PointRequest> {
        let mut on: Vec<usize> = Vec::new();
        let mut points = Vec::new();
        for read in self.of(Kind::Series) {
            let Some(mass) = read.step.mass.filter(|_| !read.step.ask.is_bare()) else { continue };
            let down = read.step.ask == Ask::TakeOff;
            if down {
                on.pop();
            } else {
                on.push(mass);
            }
            let way = if down { "down" } else { "up" };
            let masses: Vec<&OwnMass> = on.iter().filter_map(|m| wish.masses.get(*m)).collect();
            let point = on_its_own(&masses, &[read], |r| r.zero_g);
            points.push(PointRequest { direction: Some(way.to_owned()), ..point });
        }
        points
    }

    fn on_piece(&self, wish: &Wish) -> Option<PointRequest> {
        let upon: Vec<&Read> = self.of(Kind::OnPiece).filter(|r| r.step.ask == Ask::OnTop).collect();
        let mass = wish.masses.get(upon.first()?.step.mass?)?;
        let point = on_its_own(&[mass], &upon, |r| r.before_g);
        Some(PointRequest { position: Some("on a piece".to_owned()), ..point })
    }

    fn corners(&self) -> Option<CornersRequest> {
        let read: Vec<&Read> = self.of(Kind::Corners).filter(|r| !r.step.ask.is_bare()).collect();
        let (centre, corners) = read.split_first()?;
        Some(CornersRequest {
            centre_g: even(centre.net_g()),
            readings_g: corners.iter().map(|r| even(r.net_g())).collect(),
        })
    }

    /// Of the bare pan after the long load.
    fn zero_return_g(&self) -> Option<f64> {
        let off = self.of(Kind::Creep).find(|r| r.step.ask == Ask::Off)?;
        Some(even(off.shown_g - off.zero_g))
    }

    fn creep_g(&self) -> Option<f64> {
        let stay = self.of(Kind::Creep).find(|r| r.step.ask == Ask::Stay)?;
        Some(even((stay.shown_g - stay.before_g).abs()))
    }
}

/// These masses, each time with what lay there before them.
fn on_its_own(masses: &[&OwnMass], read: &[&Read], base_g: impl Fn(&Read) -> f64) -> PointRequest {
    PointRequest {
        readings_g: read.iter().map(|r| even(r.shown_g)).collect(),
        base_readings_g: Some(read.iter().map(|r| even(base_g(r))).collect()),
        ..together(masses)
    }
}

/// To a tenth of a milligram, finer than any step here: sums of binary numbers read as decimal ones.
fn even(g: f64) -> f64 {
    (g * 1e4).round() / 1e4
}
