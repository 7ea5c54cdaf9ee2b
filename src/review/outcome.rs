//! What each piece got, which of them to look at, and whose spread it was.

use super::control_chart::{Individuals, Rule};
use super::distribution::normal_below;
use crate::record::{Aim, PourRecord, Verdict};
use crate::units::Mass;
use serde::Serialize;
use std::collections::HashMap;
use utoipa::ToSchema;

/// A piece that counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Its number.
    pub piece: u32,
    /// What it got.
    pub net: Mass,
    /// What it had at the first stop.
    pub first: Option<Mass>,
    /// What it should have got.
    pub aim: Aim,
    /// Standard uncertainty of its weight.
    pub u: Option<Mass>,
    /// Flow at the stop, g/s.
    pub flow_g_s: Option<f64>,
    /// How long slop stood in it, s.
    pub contact_s: Option<f64>,
    /// Dry mass of its coat.
    pub dry: Option<Mass>,
}

impl Piece {
    /// A piece of which no more is known than what it got.
    pub fn of(piece: u32, net: Mass, aim: Aim) -> Self {
        Self { piece, net, first: None, aim, u: None, flow_g_s: None, contact_s: None, dry: None }
    }

    /// What it got, were its target this one.
    pub fn beside(&self, target: Mass) -> f64 {
        self.moved(self.net, target)
    }

    /// What it had at the first stop, were its target this one; what it got, where that was not kept.
    pub fn first_beside(&self, target: Mass) -> f64 {
        self.moved(self.first.unwrap_or(self.net), target)
    }

    fn moved(&self, mass: Mass, target: Mass) -> f64 {
        // The same target costs no digits.
        if self.aim.target == target { mass.g() } else { mass.g() - self.aim.target.g() + target.g() }
    }

    /// Within its own limits, or not.
    pub fn verdict(&self) -> Verdict {
        self.aim.verdict(self.net.g())
    }
}

/// The pieces that count of a batch's newest records, and how many don't.
pub fn counted(pours: &[PourRecord]) -> (Vec<Piece>, usize) {
    let weighed: Vec<&PourRecord> = pours.iter().filter(|p| p.rev > 0).collect();
    let piece = |p: &&PourRecord| {
        let net = p.net.filter(|_| p.verdict != Verdict::Void)?;
        Some(Piece {
            piece: p.piece,
            net,
            first: p.first_net,
            aim: Aim { target: p.target, low: p.low, high: p.high },
            u: p.net_u,
            flow_g_s: p.flow_g_s,
            contact_s: p.contact.map(|c| c.as_secs_f64()),
            dry: p.coat(),
        })
    };
    let pieces: Vec<Piece> = weighed.iter().filter_map(piece).collect();
    let void = weighed.len() - pieces.len();
    (pieces, void)
}

/// The first piece that was ready before the one of the number before it: a clock that was set back does that. Numbers
/// that were poured again come later than their neighbours and say nothing.
pub fn set_back(pours: &[PourRecord]) -> Option<u32> {
    let mut times: HashMap<u32, u32> = HashMap::new();
    pours.iter().for_each(|p| *times.entry(p.piece).or_default() += 1);
    let once: Vec<&PourRecord> = pours.iter().filter(|p| times.get(&p.piece) == Some(&1)).collect();
    let back = |pair: &&[&PourRecord]| matches!(pair, [a, b] if b.started_at < a.started_at);
    once.windows(2).find(back).and_then(|pair| pair.last()).map(|p| p.piece)
}

/// Observed share within the limits.
pub fn share_within(pieces: &[Piece]) -> Option<f64> {
    let good = pieces.iter().filter(|p| p.verdict() == Verdict::Good).count();
    (!pieces.is_empty()).then(|| good as f64 / pieces.len() as f64)
}

/// Share of a normal distribution with this mean and spread that lies within.
pub fn share_estimated(mean: Option<f64>, sd: Option<f64>, low: f64, high: f64) -> Option<f64> {
    let (mean, sd) = mean.zip(sd.filter(|sd| *sd > 0.0))?;
    Some(normal_below((high - mean) / sd) - normal_below((low - mean) / sd))
}

/// Whose spread it was. The bucket's does not show in grams: measure it again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Spread {
    /// Hand and scale together: the standard deviation, g.
    pub hand_and_scale_g: Option<f64>,
    /// The scale's own, from the uncertainty of each weight, g; it holds what all pieces share too.
    pub scale_g: Option<f64>,
    /// The hand's, with the scale's taken out, g; none where the scale's is as large as both.
    pub hand_g: Option<f64>,
}

/// The spread's parts.
pub fn spread(sd: Option<f64>, pieces: &[Piece]) -> Spread {
    let us: Vec<f64> = pieces.iter().filter_map(|p| p.u.map(|u| u.g() * u.g())).collect();
    let known = !pieces.is_empty() && us.len() == pieces.len();
    let scale = known.then(|| us.iter().sum::<f64>() / us.len() as f64);
    let hand = sd.zip(scale).map(|(sd, scale)| sd * sd - scale).filter(|square| *square > 0.0);
    Spread { hand_and_scale_g: sd, scale_g: scale.map(f64::sqrt), hand_g: hand.map(f64::sqrt) }
}

/// Why a piece is worth a look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Why {
    /// Under its least.
    Thin,
    /// Over its greatest.
    Thick,
    /// Within its limits, but unlike the others.
    Odd,
}

/// A piece to look at.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Look {
    /// Its number.
    pub piece: u32,
    /// What it got, g.
    pub net_g: f64,
    /// Why.
    pub why: Why,
}

/// Pieces to look at, in their order.
pub fn look(pieces: &[Piece], chart: &Individuals) -> Vec<Look> {
    let beyond =
        |index: usize| chart.signals.iter().any(|s| s.index == index && s.rule == Rule::Beyond.word());
    let why = |(index, piece): (usize, &Piece)| {
        let why = match piece.verdict() {
            Verdict::Short => Why::Thin,
            Verdict::Over => Why::Thick,
            Verdict::Good | Verdict::Void if beyond(index) => Why::Odd,
            Verdict::Good | Verdict::Void => return None,
        };
        Some(Look { piece: piece.piece, net_g: piece.net.g(), why })
    };
    pieces.iter().enumerate().filter_map(why).collect()
}
