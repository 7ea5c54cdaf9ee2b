//! The review's plots: which there are, what each is good for, and how it is drawn.
//!
//! None where there is too little to draw: then a sentence stands in its place.

use super::control_chart::{D4, mean_moving_range, ranges};
use super::outcome::Piece;
use super::{Given, Review, drift};
use crate::plot::{Axis, Layer, Mark, Plot, Stroke, Tone};
use crate::record::Verdict;

/// A plot of a batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Picture {
    /// What each piece got, between its limits.
    Run,
    /// Single values with the limits of their own spread.
    Single,
    /// Differences of neighbours.
    Ranges,
    /// Smoothed values.
    Smoothed,
    /// How many pieces got how much.
    Spread,
    /// The line over all pieces with its band.
    Drift,
    /// Weight against flow.
    Flow,
    /// Weight against the time that slop stood in the piece.
    Contact,
    /// Dry coat on each square centimetre.
    Dry,
}

impl Picture {
    /// Every one, the first glance first.
    pub const ALL: [Self; 9] = [
        Self::Run,
        Self::Single,
        Self::Ranges,
        Self::Smoothed,
        Self::Spread,
        Self::Drift,
        Self::Flow,
        Self::Contact,
        Self::Dry,
    ];

    /// The word used in addresses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Single => "single",
            Self::Ranges => "ranges",
            Self::Smoothed => "smoothed",
            Self::Spread => "spread",
            Self::Drift => "drift",
            Self::Flow => "flow",
            Self::Contact => "contact",
            Self::Dry => "dry",
        }
    }

    /// The picture for a word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|picture| picture.word() == word)
    }

    /// Its heading.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Run => "What each piece got",
            Self::Single => "Against the batch's own spread",
            Self::Ranges => "From piece to piece",
            Self::Smoothed => "Slow changes",
            Self::Spread => "How many got how much",
            Self::Drift => "Did weights grow?",
            Self::Flow => "Does a quick stream weigh more?",
            Self::Contact => "Does a long stay?",
            Self::Dry => "Dry coat on each square centimetre",
        }
    }

    /// What it is good for.
    pub const fn says(self) -> &'static str {
        match self {
            Self::Run => {
                "Disc: good. Triangle on its tip: short. Triangle on its side: over. The band is the tolerance."
            }
            Self::Single => {
                "The lines lie three sigma from the average, by differences of neighbours. A ring marks what chance seldom makes."
            }
            Self::Ranges => {
                "How much each piece differs from the one before it. Above the line something changed at once."
            }
            Self::Smoothed => {
                "Each piece counts three tenths, all before it the rest: a slow change leaves the lines first here."
            }
            Self::Spread => "Bars count pieces; the upright lines are the limits and the target.",
            Self::Drift => "The line through all pieces, and the band in which it lies 95 times of 100.",
            Self::Flow => "A slope to the right means that you stop later when slop runs faster.",
            Self::Contact => "How long slop stood in the piece before it was lifted.",
            Self::Dry => {
                "What is left of the coat when its water is gone, where bucket and inside are known."
            }
        }
    }
}

/// Draws it; `area_cm2` is the inside of a piece, where known.
pub fn picture(picture: Picture, given: &Given, review: &Review, area_cm2: Option<f64>) -> Option<Plot> {
    if given.pieces.is_empty() {
        return None;
    }
    match picture {
        Picture::Run => Some(run(given)),
        Picture::Single => single(given, review),
        Picture::Ranges => moving(given, review),
        Picture::Smoothed => smooth(given, review),
        Picture::Spread => spread(given),
        Picture::Drift => drifted(given),
        Picture::Flow => {
            against(given, |all| Axis::around("flow at the stop, g/s", all).of_weight(), |p| p.flow_g_s)
        }
        Picture::Contact => {
            against(given, |all| Axis::around("s from first slop to lift", all), |p| p.contact_s)
        }
        Picture::Dry => dry(given, area_cm2?),
    }
}

fn at(given: &Given, y: impl Fn(&Piece) -> f64) -> Vec<(f64, f64)> {
    given.pieces.iter().map(|p| (f64::from(p.piece), y(p))).collect()
}

fn pieces_axis(given: &Given) -> Axis {
    Axis::around("piece", given.pieces.iter().map(|p| f64::from(p.piece))).whole()
}

fn level(y: f64, stroke: Stroke, words: &str) -> Layer {
    Layer::Level { y, stroke, words: words.to_owned() }
}

/// Points of each verdict, in its shape.
fn by_verdict(given: &Given, place: impl Fn(&Piece) -> Option<(f64, f64)>) -> Vec<Layer> {
    let kinds = [
        (Verdict::Good, Mark::Disc, Tone::Main, "good"),
        (Verdict::Short, Mark::Down, Tone::Less, "short"),
        (Verdict::Over, Mark::Up, Tone::More, "over"),
    ];
    let layer = |(verdict, mark, tone, words): (Verdict, Mark, Tone, &str)| {
        let of = given.pieces.iter().filter(|p| p.verdict() == verdict);
        let at: Vec<(f64, f64)> = of.filter_map(&place).collect();
        (!at.is_empty()).then(|| Layer::Points { at, mark, tone, words: words.to_owned() })
    };
    kinds.into_iter().filter_map(layer).collect()
}

fn through(at: Vec<(f64, f64)>, stroke: Stroke, tone: Tone, words: &str) -> Layer {
    Layer::Line { through: at, stroke, tone, words: words.to_owned() }
}

fn run(given: &Given) -> Plot {
    let nets = at(given, |p| p.net.g());
    let ends = given.pieces.iter().flat_map(|p| [p.net.g(), p.aim.low.g(), p.aim.high.g()]);
    let x = pieces_axis(given);
    let (left, right) = x.ends();
    let own = given.pieces.iter().any(|p| p.aim != given.aim);
    let (low, high) = (given.aim.low.g(), given.aim.high.g());
    let mut layers = if own {
        let band = |p: &Piece| (f64::from(p.piece), p.aim.low.g(), p.aim.high.g());
        vec![Layer::Band { between: given.pieces.iter().map(band).collect() }]
    } else {
        vec![
            Layer::Band { between: vec![(left, low, high), (right, low, high)] },
            level(high, Stroke::Thin, "most"),
            level(given.aim.target.g(), Stroke::Dashed, "target"),
            level(low, Stroke::Thin, "least"),
        ]
    };
    layers.push(through(nets, Stroke::Thin, Tone::Soft, ""));
    layers.extend(by_verdict(given, |p| Some((f64::from(p.piece), p.net.g()))));
    let y = Axis::around("g of slop", ends).of_weight();
    Plot { x, y, layers }
}

fn single(given: &Given, review: &Review) -> Option<Plot> {
    let chart = &review.individuals;
    let (centre, (lower, upper)) = chart.centre.zip(chart.lower.zip(chart.upper))?;
    let values = at(given, |p| p.beside(given.aim.target));
    let met: Vec<(f64, f64)> = values
        .iter()
        .enumerate()
        .filter(|(i, _)| chart.signals.iter().any(|s| s.index == *i))
        .map(|(_, at)| *at)
        .collect();
    let ends = values.iter().map(|(_, y)| *y).chain([lower, upper]);
    let y = Axis::around("g of slop", ends).of_weight();
    let mut layers = vec![
        level(upper, Stroke::Dashed, "upper"),
        level(centre, Stroke::Thin, "average"),
        level(lower, Stroke::Dashed, "lower"),
        through(values.clone(), Stroke::Thin, Tone::Soft, ""),
        Layer::Points { at: values, mark: Mark::Disc, tone: Tone::Main, words: "piece".to_owned() },
    ];
    if !review.coarse && !met.is_empty() {
        layers.push(Layer::Points {
            at: met,
            mark: Mark::Ring,
            tone: Tone::More,
            words: "look here".to_owned(),
        });
    }
    Some(Plot { x: pieces_axis(given), y, layers })
}

fn values(given: &Given) -> Vec<f64> {
    given.pieces.iter().map(|p| p.beside(given.aim.target)).collect()
}

fn moving(given: &Given, review: &Review) -> Option<Plot> {
    let values = values(given);
    let (centre, upper) = (mean_moving_range(&values)?, review.moving_range.upper?);
    let of = given.pieces.iter().skip(1).map(|p| f64::from(p.piece));
    let points: Vec<(f64, f64)> = of.zip(ranges(&values)).collect();
    let y = Axis::from_zero("g from the piece before", points.iter().map(|(_, y)| *y).chain([D4 * centre]))
        .of_weight();
    let layers = vec![
        level(upper, Stroke::Dashed, "upper"),
        level(centre, Stroke::Thin, "average"),
        through(points.clone(), Stroke::Thin, Tone::Soft, ""),
        Layer::Points { at: points, mark: Mark::Square, tone: Tone::Main, words: String::new() },
    ];
    Some(Plot { x: pieces_axis(given), y, layers })
}

fn smooth(given: &Given, review: &Review) -> Option<Plot> {
    let (lower, upper) = review.smoothed.lower.zip(review.smoothed.upper)?;
    let numbers = given.pieces.iter().map(|p| f64::from(p.piece));
    let line: Vec<(f64, f64)> = numbers.zip(review.smoothed.values_g.iter().copied()).collect();
    let nets = at(given, |p| p.beside(given.aim.target));
    let y = Axis::around("g of slop", nets.iter().chain(&line).map(|(_, y)| *y).chain([lower, upper]))
        .of_weight();
    let layers = vec![
        level(upper, Stroke::Dashed, "upper"),
        level(lower, Stroke::Dashed, "lower"),
        Layer::Points { at: nets, mark: Mark::Dot, tone: Tone::Soft, words: "piece".to_owned() },
        through(line, Stroke::Thick, Tone::Main, "smoothed"),
    ];
    Some(Plot { x: pieces_axis(given), y, layers })
}

/// Bars: as many as Sturges' rule gives, one more than the binary logarithm of n (from memory).
fn spread(given: &Given) -> Option<Plot> {
    let values = values(given);
    let least = values.iter().copied().reduce(f64::min)?;
    let most = values.iter().copied().reduce(f64::max)?;
    if most <= least {
        return None;
    }
    let count = (values.len() as f64).log2().ceil() as usize + 1;
    let width = (most - least) / count as f64;
    let place = |v: &f64| (((v - least) / width) as usize).min(count - 1);
    let bar = |n: usize| {
        let from = least + n as f64 * width;
        (from, from + width, values.iter().filter(|v| place(v) == n).count() as f64)
    };
    let bars: Vec<(f64, f64, f64)> = (0..count).map(bar).collect();
    let limits =
        [(given.aim.low.g(), "least"), (given.aim.target.g(), "target"), (given.aim.high.g(), "most")];
    let x = Axis::around("g of slop", [least, most].into_iter().chain(limits.map(|(x, _)| x))).of_weight();
    let y = Axis::from_zero("pieces", bars.iter().map(|b| b.2)).whole();
    let upright = |(x, words): (f64, &str)| Layer::Upright {
        x,
        stroke: if words == "target" { Stroke::Dashed } else { Stroke::Thin },
        words: words.to_owned(),
    };
    let layers = [Layer::Bars { bars }].into_iter().chain(limits.map(upright)).collect();
    Some(Plot { x, y, layers })
}

fn drifted(given: &Given) -> Option<Plot> {
    let values = values(given);
    let band = drift::band(&values);
    if band.is_empty() {
        return None;
    }
    let numbers: Vec<f64> = given.pieces.iter().map(|p| f64::from(p.piece)).collect();
    let area = numbers.iter().zip(&band).map(|(x, b)| (*x, b.low, b.high)).collect();
    let line = numbers.iter().zip(&band).map(|(x, b)| (*x, b.line)).collect();
    let points: Vec<(f64, f64)> = numbers.iter().copied().zip(values.iter().copied()).collect();
    let y =
        Axis::around("g of slop", values.iter().copied().chain(band.iter().flat_map(|b| [b.low, b.high])))
            .of_weight();
    let layers = vec![
        Layer::Band { between: area },
        Layer::Points { at: points, mark: Mark::Disc, tone: Tone::Soft, words: "piece".to_owned() },
        through(line, Stroke::Thick, Tone::Main, "line through all"),
    ];
    Some(Plot { x: pieces_axis(given), y, layers })
}

/// Weight against something else that was kept of each piece; three of them at least.
fn against(
    given: &Given,
    axis: impl Fn(Vec<f64>) -> Axis,
    x: impl Fn(&Piece) -> Option<f64>,
) -> Option<Plot> {
    let known: Vec<f64> = given.pieces.iter().filter_map(&x).collect();
    if known.len() < 3 {
        return None;
    }
    let y = |p: &Piece| p.beside(given.aim.target);
    let limits = [given.aim.low.g(), given.aim.high.g()];
    let up = Axis::around("g of slop", given.pieces.iter().map(y).chain(limits)).of_weight();
    let across = axis(known);
    let (left, right) = across.ends();
    let mut layers = vec![Layer::Band { between: [left, right].map(|x| (x, limits[0], limits[1])).to_vec() }];
    layers.extend(by_verdict(given, |p| Some((x(p)?, y(p)))));
    Some(Plot { x: across, y: up, layers })
}

fn dry(given: &Given, area_cm2: f64) -> Option<Plot> {
    let mg = |p: &Piece| p.dry.map(|dry| 1000.0 * dry.g() / area_cm2);
    let known: Vec<f64> = given.pieces.iter().filter_map(mg).filter(|mg| mg.is_finite()).collect();
    if known.is_empty() {
        return None;
    }
    let y = Axis::around("mg of dry coat per cm\u{b2}", known);
    Some(Plot { x: pieces_axis(given), y, layers: by_verdict(given, |p| Some((f64::from(p.piece), mg(p)?))) })
}
