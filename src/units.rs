//! Physical quantities, finite by construction.
//!
//! Never holds a NaN or an infinity: the only way in is a checked constructor,
//! and arithmetic that would leave the finite range saturates at the largest
//! finite value. Nothing here knows about scales, glazes or time of day.

pub(crate) mod plain;
pub mod shown;

use std::ops::{Add, Neg, Sub};

fn clamp_finite(value: f64) -> f64 {
    if value.is_nan() { 0.0 } else { value.clamp(f64::MIN, f64::MAX) }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $new:ident, $get:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(0.0);

            #[doc = concat!("A quantity from a number in ", $unit, "; `None` for NaN and infinities.")]
            pub fn $new(value: f64) -> Option<Self> {
                value.is_finite().then_some(Self(value))
            }

            #[doc = concat!("A quantity from a number in ", $unit, " that arithmetic made: out-of-range values saturate.")]
            pub fn saturating(value: f64) -> Self {
                Self(clamp_finite(value))
            }

            #[doc = concat!("The number in ", $unit, ".")]
            pub const fn $get(self) -> f64 {
                self.0
            }

            /// The quantity without its sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::saturating(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::saturating(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
    };
}

quantity!(/** A mass, or what a scale shows as one. */ Mass, grams, g, "grams");
quantity!(/** A flow of slop. */ Flow, grams_per_second, g_s, "grams per second");
quantity!(/** A length. */ Length, millimetres, mm, "millimetres");
quantity!(/** An area. */ Area, square_centimetres, cm2, "square centimetres");
quantity!(/** A volume. */ Volume, millilitres, ml, "millilitres");
quantity!(/** A density. */ Density, grams_per_millilitre, g_ml, "grams per millilitre");

/// Avoirdupois ounce, g: a sixteenth of the pound of 453.59237 g, both exact (NIST Handbook 44, appendix C;
/// Weights and Measures Act 1985, schedule 1, part V).
pub const OUNCE_G: f64 = 28.349_523_125;
/// Inch, mm; exact (NIST Handbook 44, appendix C; from memory).
pub const INCH_MM: f64 = 25.4;

impl Mass {
    /// A mass from a number in ounces; `None` for NaN and infinities.
    pub fn ounces(value: f64) -> Option<Self> {
        Self::grams(value * OUNCE_G)
    }

    /// The number in grams as it is told outside: to a microgram, as fine as the log keeps it.
    pub fn told_g(self) -> f64 {
        let micro = (self.g() * 1e6).round();
        // What is too large to be rounded stays; nothing has no sign.
        if micro.is_finite() { micro / 1e6 + 0.0 } else { self.g() }
    }

    /// The number in ounces.
    pub fn oz(self) -> f64 {
        self.g() / OUNCE_G
    }
}

impl Length {
    /// A length from a number in inches; `None` for NaN and infinities.
    pub fn inches(value: f64) -> Option<Self> {
        Self::millimetres(value * INCH_MM)
    }

    /// The number in inches.
    pub fn inch(self) -> f64 {
        self.mm() / INCH_MM
    }
}

/// A figure with so many decimals; one that rounds to nothing has no sign.
pub fn plain_figure(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if !rest.chars().any(|c| ('1'..='9').contains(&c)) => rest.to_owned(),
        Some(_) | None => text,
    }
}

/// A number as somebody told it, for a message: short whatever it is, where plain digits would be hundreds.
pub fn as_told(value: f64) -> String {
    let plain = value == 0.0 || (1e-4..1e7).contains(&value.abs()) || !value.is_finite();
    if plain { format!("{value}") } else { format!("{value:e}") }
}

/// A weight found by reckoning, g, to a ten-thousandth of the scale's step: finer it means nothing, and 2.8e-14 is 0.
pub fn to_step(value_g: f64, step_g: f64) -> f64 {
    // A step of a kilogram and one of a microgram are the ends of what is told.
    let places = (4.0 - step_g.log10().floor()).clamp(1.0, 10.0);
    let grain = 10_f64.powf(places.round());
    let rounded = (value_g * grain).round() / grain;
    // What is too large to be rounded stays; nothing has no sign.
    if rounded.is_finite() { rounded + 0.0 } else { value_g }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_messages_are_short_and_found_weights_as_fine_as_a_scale_can_mean() {
        assert_eq!([1e300, -1e300, 1e-300].map(as_told), ["1e300", "-1e300", "1e-300"]);
        assert_eq!([0.0, 0.001, 50_000.5, f64::NAN].map(as_told), ["0", "0.001", "50000.5", "NaN"]);
        let found = [2.8e-14, -2.8e-14, 0.123_456_789, -29.3].map(|g| to_step(g, 0.1));
        assert_eq!(found.map(|g| format!("{g}")), ["0", "0", "0.12346", "-29.3"]);
        assert_eq!((to_step(0.123_456_789, 0.001), to_step(0.123_456_789, 5.0)), (0.123_456_8, 0.123_5));
        assert_eq!(to_step(1e305, 0.1), 1e305, "too large to be rounded");
    }

    #[test]
    fn a_weight_is_told_to_a_microgram() {
        let told = |g: f64| format!("{}", Mass::saturating(g).told_g());
        assert_eq!([29.299_999_999_999_997, -2.8e-14, 28.559_312_499].map(told), ["29.3", "0", "28.559312"]);
        assert_eq!(Mass::saturating(f64::MAX).told_g(), f64::MAX, "too large to be rounded");
    }

    #[test]
    fn what_rounds_to_nothing_has_no_sign() {
        let all = [(-0.001, 2), (-0.01, 2), (0.0, 1), (-3.0, 0)].map(|(v, n)| plain_figure(v, n));
        assert_eq!(all, ["0.00", "-0.01", "0.0", "-3"]);
    }

    #[test]
    fn a_quantity_is_never_nan_or_infinite() {
        assert_eq!(Mass::grams(f64::NAN), None);
        assert_eq!(Mass::grams(f64::INFINITY), None);
        let largest = Mass::saturating(f64::MAX);
        assert!((largest + largest).g().is_finite());
        assert!(Mass::saturating(f64::NAN).g().is_finite());
    }
}
