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
