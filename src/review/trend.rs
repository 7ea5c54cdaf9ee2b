//! Batches compared: over time, by glaze, form, guidance, and by who pours where that is switched on.
//!
//! Ware that was fired already stands in rows of its own, whatever is compared: what is poured into it is not its coat.
//!
//! Goes by what is kept with each batch, not by its pours. A group's spread is that within its batches, pooled, so that
//! a batch that was off as a whole does not pass for an unsteady hand.

use super::distribution::two_sided_p;
use crate::calibration::fit::{Point, Shape, fit};
use crate::plot::{Axis, Layer, Mark, Plot, Stroke, Tone};
use crate::record::Tally;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// By what batches are put together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Month after month (UTC).
    Time,
    /// Glaze.
    Glaze,
    /// Form.
    Form,
    /// Whether stops were called.
    Guidance,
    /// Who poured.
    Pourer,
}

impl By {
    /// Every one.
    pub const ALL: [Self; 5] = [Self::Time, Self::Glaze, Self::Form, Self::Guidance, Self::Pourer];

    /// The word used in addresses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Glaze => "glaze",
            Self::Form => "form",
            Self::Guidance => "guidance",
            Self::Pourer => "pourer",
        }
    }

    /// What a batch belongs to.
    fn of(self, tally: &Tally) -> Kind<'_> {
        match self {
            Self::Time => Kind::Month(tally.made_at.month()),
            Self::Glaze => Kind::named(&tally.glaze),
            Self::Form => Kind::named(&tally.form),
            // A piece or two that was poured before the scale was up to it does not make a batch by eye.
            Self::Guidance if 2 * tally.guided >= tally.n => Kind::Name("stop called"),
            Self::Guidance => Kind::Name("by eye"),
            Self::Pourer => Kind::named(&tally.pourer),
        }
    }
}

/// Tens of thousands of batches are put together by these, so they are words only once there are groups.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Kind<'a> {
    /// Year and month.
    Month((i16, i8)),
    /// A name or a way.
    Name(&'a str),
}

impl<'a> Kind<'a> {
    fn named(name: &'a Option<String>) -> Self {
        Self::Name(name.as_deref().unwrap_or("not told"))
    }

    fn words(self) -> String {
        match self {
            Self::Month((year, month)) => format!("{year:04}-{month:02}"),
            Self::Name(name) => name.to_owned(),
        }
    }
}

/// What the row of fired ware is called besides.
const FIRED: &str = "fired already";
/// Why it has one.
const APART: &str =
    " Ware that was fired already stands in rows of its own: what is poured in there is not the coat.";

/// Batches of one kind.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Group {
    /// The row in words.
    pub name: String,
    /// Month, glaze, form, way or nickname alone.
    pub of: String,
    /// Of ware that was fired already: what was poured in is not its coat.
    pub fired: bool,
    /// How many batches.
    pub batches: usize,
    /// Their pieces that count.
    pub n: i64,
    /// Mean of what they were off target, g.
    pub bias_g: Option<f64>,
    /// Spread within batches, pooled, g.
    pub sd_g: Option<f64>,
    /// As a share of each batch's target, percent.
    pub sd_percent: Option<f64>,
    /// Share within the limits.
    pub share_within: Option<f64>,
}

/// Batches compared.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Comparison {
    /// By what.
    pub by: &'static str,
    /// In order of time, or of name.
    pub groups: Vec<Group>,
    /// What a person would say.
    pub sentence: String,
}

#[derive(Default)]
struct Sums {
    batches: usize,
    n: i64,
    good: i64,
    off_mg: f64,
    squares_mg2: f64,
    shares: f64,
    freedom: f64,
}

impl Sums {
    fn add(&mut self, t: &Tally) {
        let (n, off, squares) = (t.n as f64, t.off_mg as f64, t.off_squares_mg2 as f64);
        let within = (squares - off * off / n.max(1.0)).max(0.0);
        self.batches += 1;
        self.n += t.n;
        self.good += t.good;
        self.off_mg += off;
        self.squares_mg2 += within;
        self.shares += within / (t.target_g * t.target_g * 1e6).max(1e-9);
        self.freedom += n - 1.0;
    }

    fn group(&self, of: String, fired: bool) -> Group {
        let n = (self.n > 0).then_some(self.n as f64);
        let freedom = (self.freedom > 0.0).then_some(self.freedom);
        Group {
            name: if fired { format!("{of}, {FIRED}") } else { of.clone() },
            of,
            fired,
            batches: self.batches,
            n: self.n,
            bias_g: n.map(|n| self.off_mg / n / 1000.0),
            sd_g: freedom.map(|f| (self.squares_mg2 / f).sqrt() / 1000.0),
            sd_percent: freedom.map(|f| 100.0 * (self.shares / f).sqrt()),
            share_within: n.map(|n| self.good as f64 / n),
        }
    }
}

/// Puts batches together.
pub fn compare(tallies: &[Tally], by: By) -> Comparison {
    let mut all: BTreeMap<(Kind<'_>, bool), Sums> = BTreeMap::new();
    tallies.iter().filter(|t| t.n > 0).for_each(|t| all.entry((by.of(t), t.fired)).or_default().add(t));
    let groups: Vec<Group> =
        all.into_iter().map(|((kind, fired), sums)| sums.group(kind.words(), fired)).collect();
    let alike = alike(&groups);
    let sentence = match by {
        By::Time => steadier(&alike),
        By::Glaze | By::Form | By::Guidance | By::Pourer => steadiest(&alike),
    };
    let apart = if groups.iter().any(|g| g.fired) { APART } else { "" };
    Comparison { by: by.word(), groups, sentence: sentence + apart }
}

/// Those that are laid beside each other: of fired ware only where there is no other.
fn alike(groups: &[Group]) -> Vec<&Group> {
    let only_fired = groups.iter().all(|g| g.fired);
    groups.iter().filter(|g| g.fired == only_fired).collect()
}

/// Whether the spread shrank from month to month: a line through its logarithm that chance makes once in twenty times.
fn steadier(groups: &[&Group]) -> String {
    let spreads: Vec<f64> = groups.iter().filter_map(|g| g.sd_percent).filter(|sd| *sd > 0.0).collect();
    let Some((first, last)) = spreads.first().zip(spreads.last()).filter(|_| spreads.len() >= 3) else {
        return "Too few months to say whether it gets steadier: three at least.".to_owned();
    };
    let point = |(n, sd): (usize, &f64)| Point { x: n as f64, y: sd.ln(), weight: 1.0 };
    let points: Vec<Point> = spreads.iter().enumerate().map(point).collect();
    let sure = fit(&points, Shape::Line).and_then(|line| {
        let [_, slope, _] = line.coefficients;
        let p = two_sided_p(slope / line.sd(1).max(1e-12), line.freedom)?;
        (p < 0.05).then_some(slope)
    });
    let range = format!("the spread went from {first:.1} % to {last:.1} % of the target");
    match sure {
        Some(slope) if slope < 0.0 => format!("Getting steadier: {range}."),
        Some(_) => format!("Getting less steady: {range}."),
        None => format!("No steadier and no less: {range}."),
    }
}

fn steadiest(groups: &[&Group]) -> String {
    let known = groups.iter().filter_map(|g| Some((g.sd_percent?, &g.name)));
    let mut known: Vec<(f64, &String)> = known.collect();
    known.sort_by(|a, b| a.0.total_cmp(&b.0));
    match known.as_slice() {
        [] => "Nothing to compare yet.".to_owned(),
        [(sd, only)] => format!("Only one so far: {only}, {sd:.1} % spread."),
        [(least, steady), .., (most, wild)] => {
            format!("Steadiest: {steady}, {least:.1} % spread; least steady: {wild}, {most:.1} %.")
        }
    }
}

/// Spread over the months, or the rows that are laid beside each other; `None` below two.
pub fn plot(comparison: &Comparison) -> Option<Plot> {
    let months = comparison.by == By::Time.word();
    let alike = alike(&comparison.groups);
    let first = alike.first().map_or("", |g| g.name.as_str());
    let words =
        if months { format!("months poured in, from {first}") } else { "row of the table".to_owned() };
    let row = |g: &Group| comparison.groups.iter().position(|other| other == g).unwrap_or(0);
    let with_spread = alike.iter().filter_map(|g| Some((*g, g.sd_percent?))).enumerate();
    let place = |(n, (g, sd)): (usize, (&Group, f64))| (1.0 + if months { n } else { row(g) } as f64, sd);
    let at: Vec<(f64, f64)> = with_spread.map(place).collect();
    if at.len() < 2 {
        return None;
    }
    let known: Vec<f64> = at.iter().map(|p| p.1).collect();
    let layers = vec![
        Layer::Line { through: at.clone(), stroke: Stroke::Thin, tone: Tone::Soft, words: String::new() },
        Layer::Points { at: at.clone(), mark: Mark::Disc, tone: Tone::Main, words: String::new() },
    ];
    let x = Axis::around(words, at.iter().map(|p| p.0)).whole();
    Some(Plot { x, y: Axis::from_zero("spread, % of target", known), layers })
}
