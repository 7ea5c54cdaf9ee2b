//! Plots: values in, SVG text out.
//!
//! A [`Plot`] is a frame with two axes and layers drawn over each other in their order; [`svg`] draws it in the colours
//! of a [`Palette`]. What is told by colour is told by shape or by words too. Never opens a file: the page serves the
//! text as an image of its own, so that its policy can stay strict.

mod axis;
mod draw;
mod palette;

pub use axis::Axis;
pub use draw::svg;
pub use palette::{Palette, Tone};

/// How large a plot is drawn: text is as large in each, so the narrow one is for a phone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// For a laptop's page and for paper.
    Wide,
    /// For a phone.
    Narrow,
}

impl Size {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Wide, Self::Narrow];

    /// The word used in addresses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Narrow => "narrow",
        }
    }

    /// Width and height, px: of a page's column, and of a phone's upright screen less its margins.
    pub const fn px(self) -> (u32, u32) {
        match self {
            Self::Wide => (800, 400),
            Self::Narrow => (360, 320),
        }
    }
}

/// The shape of a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A full disc.
    Disc,
    /// A triangle that stands on its tip.
    Down,
    /// A triangle that stands on its side.
    Up,
    /// A cross.
    Cross,
    /// An open square.
    Square,
    /// A wide ring, to be drawn around another mark.
    Ring,
    /// A dot, for hundreds.
    Dot,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Whole and thick.
    Thick,
    /// Whole and thin.
    Thin,
    /// In dashes.
    Dashed,
}

/// What is drawn inside the frame. Values that are not finite are left out.
#[derive(Clone, Debug, PartialEq)]
pub enum Layer {
    /// Points of one kind.
    Points {
        /// Where.
        at: Vec<(f64, f64)>,
        /// Their shape.
        mark: Mark,
        /// Their colour.
        tone: Tone,
        /// What they are, for the line above the frame; empty: not said.
        words: String,
    },
    /// A line through points.
    Line {
        /// Where.
        through: Vec<(f64, f64)>,
        /// How.
        stroke: Stroke,
        /// Its colour.
        tone: Tone,
        /// What it is, for the line above the frame; empty: not said.
        words: String,
    },
    /// An area between two lines: abscissa, lower and upper ordinate.
    Band {
        /// Where.
        between: Vec<(f64, f64, f64)>,
    },
    /// A level across the frame, with its words at the right edge.
    Level {
        /// Ordinate.
        y: f64,
        /// How.
        stroke: Stroke,
        /// A few letters.
        words: String,
    },
    /// A line from foot to head, with its words at the head.
    Upright {
        /// Abscissa.
        x: f64,
        /// How.
        stroke: Stroke,
        /// A few letters.
        words: String,
    },
    /// Bars from zero: from, to, how high.
    Bars {
        /// Where.
        bars: Vec<(f64, f64, f64)>,
    },
}

/// A frame and what is in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// Across.
    pub x: Axis,
    /// Up.
    pub y: Axis,
    /// Drawn one over the other.
    pub layers: Vec<Layer>,
}

impl Plot {
    /// The same with its weights in units of so many grams, by their sign.
    #[must_use]
    pub fn in_unit(self, unit_g: f64, sign: &str) -> Self {
        if unit_g == 1.0 {
            return self;
        }
        let by = (self.x.grams_in(unit_g), self.y.grams_in(unit_g));
        Self {
            layers: self.layers.into_iter().map(|layer| layer.over(by)).collect(),
            x: self.x.in_unit(unit_g, sign),
            y: self.y.in_unit(unit_g, sign),
        }
    }
}

impl Layer {
    /// With abscissas and ordinates over these.
    fn over(self, (x_by, y_by): (f64, f64)) -> Self {
        let points = |at: Vec<(f64, f64)>| at.into_iter().map(|(x, y)| (x / x_by, y / y_by)).collect();
        match self {
            Self::Points { at, mark, tone, words } => Self::Points { at: points(at), mark, tone, words },
            Self::Line { through, stroke, tone, words } => {
                Self::Line { through: points(through), stroke, tone, words }
            }
            Self::Band { between } => {
                let each = |(x, low, high)| (x / x_by, low / y_by, high / y_by);
                Self::Band { between: between.into_iter().map(each).collect() }
            }
            Self::Level { y, stroke, words } => Self::Level { y: y / y_by, stroke, words },
            Self::Upright { x, stroke, words } => Self::Upright { x: x / x_by, stroke, words },
            Self::Bars { bars } => {
                let each = |(from, to, high)| (from / x_by, to / x_by, high / y_by);
                Self::Bars { bars: bars.into_iter().map(each).collect() }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plot_in_another_unit_has_its_weights_changed_and_nothing_else() {
        let plot = Plot {
            x: Axis::around("flow at the stop, g/s", [10.0, 20.0]).of_weight(),
            y: Axis::around("g from the piece before", [30.0, 50.0]).of_weight(),
            layers: vec![
                Layer::Points {
                    at: vec![(10.0, 30.0)],
                    mark: Mark::Disc,
                    tone: Tone::Main,
                    words: "a g".into(),
                },
                Layer::Level { y: 40.0, stroke: Stroke::Thin, words: String::new() },
                Layer::Band { between: vec![(10.0, 30.0, 50.0)] },
            ],
        };
        assert_eq!(plot.clone().in_unit(1.0, "g"), plot);
        let seen = plot.clone().in_unit(10.0, "dag");
        assert_eq!(
            (seen.x.words(), seen.y.words()),
            ("flow at the stop, dag/s", "dag from the piece before")
        );
        let (from, to) = plot.y.ends();
        assert_eq!(seen.y.ends(), (from / 10.0, to / 10.0));
        let Layer::Points { at, words, .. } = &seen.layers[0] else { panic!("{seen:?}") };
        assert_eq!((at.as_slice(), words.as_str()), ([(1.0, 3.0)].as_slice(), "a g"));
        assert_eq!(seen.layers[2], Layer::Band { between: vec![(1.0, 3.0, 5.0)] });
        // Counts stay.
        let bars = Plot {
            x: Axis::around("g of slop", [20.0, 30.0]).of_weight(),
            y: Axis::from_zero("pieces", [4.0]).whole(),
            layers: vec![
                Layer::Bars { bars: vec![(20.0, 30.0, 4.0)] },
                Layer::Upright { x: 20.0, stroke: Stroke::Thin, words: String::new() },
            ],
        };
        let seen = bars.in_unit(10.0, "dag");
        assert_eq!(seen.layers[0], Layer::Bars { bars: vec![(2.0, 3.0, 4.0)] });
        assert_eq!(seen.y.words(), "pieces");
    }
}
