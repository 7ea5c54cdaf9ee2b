//! The colours of a plot: on a light page, on a dark one, on paper.

use plotters::style::RGBColor;

/// Where a plot is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Palette {
    /// A light page.
    Light,
    /// A dark page.
    Dark,
    /// Paper: black and greys, as many printers have no colour.
    Print,
}

/// What a colour stands for; shapes or words say the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Text and frame.
    Ink,
    /// What is looked at.
    Main,
    /// Too little.
    Less,
    /// Too much.
    More,
    /// What stands back.
    Soft,
}

impl Tone {
    /// Every one.
    pub const ALL: [Self; 5] = [Self::Ink, Self::Main, Self::Less, Self::More, Self::Soft];
}

const fn rgb(hex: u32) -> RGBColor {
    let [_, r, g, b] = hex.to_be_bytes();
    RGBColor(r, g, b)
}

impl Palette {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Light, Self::Dark, Self::Print];

    /// The word used in addresses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Dark => "dark",
            Self::Print => "print",
        }
    }

    /// The sheet it is drawn on: as the page's.
    pub(super) const fn sheet(self) -> RGBColor {
        match self {
            Self::Light => rgb(0xfffaf0),
            Self::Dark => rgb(0x261d17),
            Self::Print => rgb(0xffffff),
        }
    }

    /// Of a band behind the rest.
    pub(super) const fn band(self) -> RGBColor {
        match self {
            Self::Light => rgb(0xecd9b4),
            Self::Dark => rgb(0x4b3a26),
            Self::Print => rgb(0xe4e4e4),
        }
    }

    /// Of the lines of the net behind the rest.
    pub(super) const fn net(self) -> RGBColor {
        match self {
            Self::Light => rgb(0xd9cbb6),
            Self::Dark => rgb(0x4a3d32),
            Self::Print => rgb(0xcccccc),
        }
    }

    /// The page's own: iron black, cobalt, ochre, iron red. They differ in lightness too, so that they are told apart
    /// by eyes that tell few colours.
    pub(super) const fn colour(self, tone: Tone) -> RGBColor {
        match (self, tone) {
            (Self::Light, Tone::Ink) => rgb(0x17100b),
            (Self::Light, Tone::Main) => rgb(0x2b4bb0),
            (Self::Light, Tone::Less) => rgb(0x9a6a00),
            (Self::Light, Tone::More) => rgb(0x6e2411),
            (Self::Light, Tone::Soft) => rgb(0x7a6553),
            (Self::Dark, Tone::Ink) => rgb(0xf1e6d6),
            (Self::Dark, Tone::Main) => rgb(0x8fa6ee),
            (Self::Dark, Tone::Less) => rgb(0xe3b04b),
            (Self::Dark, Tone::More) => rgb(0xf7d9cf),
            (Self::Dark, Tone::Soft) => rgb(0xa8937f),
            (Self::Print, Tone::Ink | Tone::Main) => rgb(0x000000),
            (Self::Print, Tone::Less | Tone::More) => rgb(0x222222),
            (Self::Print, Tone::Soft) => rgb(0x666666),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast: Web Content Accessibility Guidelines 2.2, "relative luminance", "contrast ratio".
    fn contrast(a: RGBColor, b: RGBColor) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        let luminance = |c: RGBColor| 0.2126 * linear(c.0) + 0.7152 * linear(c.1) + 0.0722 * linear(c.2);
        let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
        if a > b { a / b } else { b / a }
    }

    /// Criteria 1.4.3 (text 4.5:1) and 1.4.11 (what must be seen of a picture 3:1).
    #[test]
    fn text_and_marks_stand_out_from_the_sheet_and_from_the_band() {
        assert!((contrast(rgb(0x767676), rgb(0xffffff)) - 4.5422).abs() < 1e-4, "a value reckoned elsewhere");
        for palette in Palette::ALL {
            for ground in [palette.sheet(), palette.band()] {
                for tone in Tone::ALL {
                    let least = if tone == Tone::Ink { 4.5 } else { 3.0 };
                    let is = contrast(palette.colour(tone), ground);
                    assert!(is >= least, "{palette:?} {tone:?} on {ground:?}: {is:.2}");
                }
            }
        }
    }

    /// What an eye without cones for long or for middle waves sees: Vienot, Brettel and Mollon 1999, matrices for linear
    /// light as commonly given (from memory).
    #[test]
    fn good_little_and_much_differ_for_eyes_that_tell_few_colours() {
        let protan = [[0.112_38, 0.887_62, 0.0], [0.112_38, 0.887_62, 0.0], [0.004, -0.004, 1.0]];
        let deutan = [[0.292_75, 0.707_25, 0.0], [0.292_75, 0.707_25, 0.0], [-0.022_34, 0.022_34, 1.0]];
        let seen = |c: RGBColor, by: [[f64; 3]; 3]| {
            let linear = [c.0, c.1, c.2].map(|c| (f64::from(c) / 255.0).powf(2.2));
            by.map(|row| row.iter().zip(linear).map(|(m, c)| m * c).sum::<f64>().max(0.0).powf(1.0 / 2.2))
        };
        for palette in [Palette::Light, Palette::Dark] {
            let tones = [Tone::Main, Tone::Less, Tone::More].map(|t| palette.colour(t));
            for (a, b) in [(0, 1), (0, 2), (1, 2)] {
                for eye in [protan, deutan] {
                    let (a, b) = (seen(tones[a], eye), seen(tones[b], eye));
                    let apart = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
                    assert!(apart > 0.2, "{palette:?}: {a:?} and {b:?} are {apart:.2} apart");
                }
            }
        }
    }
}
