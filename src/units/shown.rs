//! The units in which weights and lengths are shown and typed.
//!
//! Grams and millimetres are what is reckoned with and kept; this is the edge to eyes and fingers.

use super::{INCH_MM, OUNCE_G, as_told, plain_figure};
use std::fmt::Write as _;

/// What weights are shown in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WeightIn {
    /// Grams.
    #[default]
    Gram,
    /// Avoirdupois ounces.
    Ounce,
}

impl WeightIn {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Gram, Self::Ounce];

    /// Its sign, as shown and as set.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Ounce => "oz",
        }
    }

    /// Grams in one.
    pub const fn in_g(self) -> f64 {
        match self {
            Self::Gram => 1.0,
            Self::Ounce => OUNCE_G,
        }
    }

    /// Digits behind the point beyond those of the same weight in grams: a step of 0.1 g is 0.0035 oz, which only the
    /// third digit shows.
    pub const fn finer(self) -> usize {
        match self {
            Self::Gram => 0,
            Self::Ounce => 2,
        }
    }
}

/// What the sizes of pieces are shown in. Thin layers stay in millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LengthIn {
    /// Millimetres.
    #[default]
    Millimetre,
    /// Centimetres.
    Centimetre,
    /// Inches.
    Inch,
}

impl LengthIn {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Millimetre, Self::Centimetre, Self::Inch];

    /// Its sign, as shown and as set.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Inch => "inch",
        }
    }

    /// Millimetres in one.
    const fn in_mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Inch => INCH_MM,
        }
    }

    /// The sign of an area beside it.
    pub const fn squared(self) -> &'static str {
        match self {
            Self::Millimetre | Self::Centimetre => "cm²",
            Self::Inch => "in²",
        }
    }

    /// Square centimetres in one of these areas.
    const fn in_cm2(self) -> f64 {
        match self {
            Self::Millimetre | Self::Centimetre => 1.0,
            Self::Inch => INCH_MM * INCH_MM / 100.0,
        }
    }
}

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Kept in grams.
    Weight,
    /// Kept in millimetres.
    Length,
    /// Kept in square centimetres.
    Area,
}

/// The units of a studio.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Shown {
    /// Of weights.
    pub weight: WeightIn,
    /// Of sizes and inside areas.
    pub length: LengthIn,
}

impl Shown {
    /// A number as it is kept, in the unit in which it is shown; to a millionth, so that what was typed comes back.
    pub fn of(self, quantity: Quantity, kept: f64) -> f64 {
        let unit = match quantity {
            Quantity::Weight => self.weight.in_g(),
            Quantity::Length => self.length.in_mm(),
            Quantity::Area => self.length.in_cm2(),
        };
        if unit == 1.0 { kept } else { (kept / unit * 1e6).round() / 1e6 }
    }

    /// A weight kept in grams as text in this unit, so fine as `decimals` are in grams; nothing has no sign.
    pub fn grams(self, kept_g: f64, decimals: usize) -> String {
        plain_figure(kept_g / self.weight.in_g(), decimals + self.weight.finer())
    }

    /// ... with its sign, as what is off is told; what rounds to nothing has none.
    pub fn signed(self, kept_g: f64, decimals: usize) -> String {
        let text = self.grams(kept_g, decimals);
        let is_more = kept_g > 0.0 && text.chars().any(|c| ('1'..='9').contains(&c));
        if is_more { format!("+{text}") } else { text }
    }

    /// ... and with its unit.
    pub fn weight(self, kept_g: f64, decimals: usize) -> String {
        format!("{} {}", self.grams(kept_g, decimals), self.weight.word())
    }

    /// A sentence with its weights in grams, `29.0 g` or `28.0 to 30.0 g`, told in this unit. What is by another unit,
    /// such as `0.06 g/cm2`, stays.
    pub fn retold(self, sentence: &str) -> String {
        self.retold_of(sentence, &[])
    }

    /// ... each rounded once where it is one of these weights, g: what a sentence tells with decimals is rounded already.
    pub fn retold_of(self, sentence: &str, known_g: &[f64]) -> String {
        match self.weight {
            WeightIn::Gram => sentence.to_owned(),
            WeightIn::Ounce => in_unit(sentence, "g", self.weight.word(), |text| self.number(text, known_g)),
        }
    }

    /// A sentence about a size with its `80 mm` or `100 cm2` told in these units; layers are told by others.
    pub fn size_retold(self, sentence: &str) -> String {
        let number = |one: f64, text: &str| {
            let told = text.parse::<f64>().map(|kept| (kept / one * 100.0).round() / 100.0);
            told.map_or_else(|_| text.to_owned(), as_told)
        };
        let (mm, cm2) = (self.length.in_mm(), self.length.in_cm2());
        let told = if mm == 1.0 {
            sentence.to_owned()
        } else {
            in_unit(sentence, "mm", self.length.word(), |text| number(mm, text))
        };
        if cm2 == 1.0 { told } else { in_unit(&told, "cm2", self.length.squared(), |text| number(cm2, text)) }
    }

    /// A number in grams as text, in this unit, so fine that its last digit in grams still shows.
    fn number(self, text: &str, known_g: &[f64]) -> String {
        let decimals = text.split_once('.').map_or(0, |(_, behind)| behind.len());
        let digits = decimals + self.weight.finer();
        let Ok(g) = text.parse::<f64>() else { return text.to_owned() };
        let told = exactly(g, text, decimals, known_g) / self.weight.in_g();
        // What is less than a hundredth would be nothing.
        let digits = if told.abs() < 0.01 { digits } else { digits.min(MOST_DIGITS) };
        if text.contains('e') { format!("{told:.3e}") } else { format!("{told:.digits$}") }
    }
}

/// The weight that was rounded to this text: the one told, where it is among the known ones; else the known one that rounds
/// so; else as it is told. A whole number was told as it is.
fn exactly(told_g: f64, text: &str, decimals: usize, known_g: &[f64]) -> f64 {
    let rounds_so = |g: &f64| decimals > 0 && format!("{g:.decimals$}") == text;
    let mut known = known_g.iter().map(|g| g.abs());
    if known.clone().any(|g| g == told_g) { told_g } else { known.find(rounds_so).unwrap_or(told_g) }
}

/// A sentence with its numbers in `unit` told by `sign`, each as `number` has it.
fn in_unit(sentence: &str, unit: &str, sign: &str, number: impl Fn(&str) -> String) -> String {
    let mut told = String::with_capacity(sentence.len() + 8);
    let mut rest = sentence;
    while let Some(at) = unit_at(rest, unit) {
        let (before, after) = rest.split_at(at);
        told.push_str(&numbers_at_end(before, &number));
        told.push_str(sign);
        rest = &after[unit.len()..];
    }
    told + rest
}

/// Text that ends with one or two numbers in a unit and a blank, with those numbers told anew.
fn numbers_at_end(text: &str, number: impl Fn(&str) -> String) -> String {
    let (before, last) = number_at_end(text.trim_end());
    let (front, first) = match before.strip_suffix(" to ").map(number_at_end) {
        Some((front, first)) if !first.is_empty() => (front, Some(first)),
        Some(_) | None => (before, None),
    };
    let mut told = front.to_owned();
    if let Some(first) = first {
        told = told + &number(first) + " to ";
    }
    // Writing to a String can't fail.
    let _ = write!(told, "{} ", number(last));
    told
}

/// No weight is told finer, however it was marked: 0.0001 oz is 3 mg.
const MOST_DIGITS: usize = 4;

/// Somebody's own name in a sentence: `'10 g cups'` stays what it is called.
fn is_named(before: &str) -> bool {
    let opens = before.rfind(" '").map(|at| at + 2).or_else(|| before.starts_with('\'').then_some(1));
    let closes = |c: &str| c.starts_with(|c: char| !c.is_alphanumeric());
    opens.is_some_and(|at| !before[at..].match_indices('\'').any(|(end, _)| closes(&before[at + end + 1..])))
}

/// Where this unit stands behind a number.
fn unit_at(text: &str, unit: &str) -> Option<usize> {
    let is_unit = |at: usize| {
        let (before, after) = (&text[..at], &text[at + unit.len()..]);
        let alone = !after.starts_with(|c: char| c == '/' || c == '-' || c.is_alphanumeric());
        alone
            && !is_named(before)
            && before.strip_suffix(' ').is_some_and(|b| b.ends_with(|c: char| c.is_ascii_digit()))
    };
    text.match_indices(unit).map(|(at, _)| at).find(|at| is_unit(*at))
}

/// Text, and the number that it ends with.
fn number_at_end(text: &str) -> (&str, &str) {
    let start_of = |text: &str| {
        text.rfind(|c: char| !c.is_ascii_digit() && c != '.')
            .map_or(0, |at| at + text[at..].chars().next().map_or(1, char::len_utf8))
    };
    let start = start_of(text);
    // A very large or small one: 1e300, 1e-9.
    let power = text[..start].strip_suffix('-').unwrap_or(&text[..start]);
    match power.strip_suffix('e').filter(|front| front.ends_with(|c: char| c.is_ascii_digit())) {
        Some(front) => text.split_at(start_of(front)),
        None => text.split_at(start),
    }
}

/// A number with its unit, such as `1.02 oz` or `3,2 inch`, in grams, millimetres or square centimetres.
pub fn typed(quantity: Quantity, text: &str) -> Option<f64> {
    let text = text.trim();
    let end = text.find(|c: char| !c.is_ascii_digit() && !['.', ',', '-'].contains(&c))?;
    let number: f64 = text[..end].replace(',', ".").parse().ok()?;
    let unit = text[end..].trim().to_ascii_lowercase();
    let one = match quantity {
        Quantity::Weight => WeightIn::ALL.iter().find(|u| u.word() == unit).map(|u| u.in_g()),
        Quantity::Length => LengthIn::ALL.iter().find(|u| u.word() == unit).map(|u| u.in_mm()),
        Quantity::Area => match unit.as_str() {
            "cm2" | "cm²" => Some(1.0),
            "in2" | "in²" => Some(LengthIn::Inch.in_cm2()),
            _ => None,
        },
    };
    one.map(|one| number * one).filter(|kept| kept.is_finite())
}
