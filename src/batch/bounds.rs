//! Limits on what a person may type, and the notes made on the way to a target.
//!
//! Never computes anything about glaze; only lets a number through or says why not.

use super::known::{Known, Source};
use super::steps::Step;
use crate::units::as_told;

/// An input that can't be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {reason}")]
pub struct Refused {
    /// Which input, as its path in the request, e.g. `glaze.specific_gravity`.
    pub field: String,
    /// What is wrong with it and what to try.
    pub reason: String,
}

impl Refused {
    /// A refusal of `field`.
    pub fn new(field: impl Into<String>, reason: impl Into<String>) -> Self {
        Self { field: field.into(), reason: reason.into() }
    }
}

/// Least and greatest target, g: below half a gram no bench scale guides a hand, above five kilograms none is in reach.
pub(super) const TARGET_G: (f64, f64) = (0.5, 5000.0);

/// `value` if it is a number from `low` to `high`, ends included.
pub(super) fn within(field: &str, value: f64, low: f64, high: f64, unit: &str) -> Result<f64, Refused> {
    if value >= low && value <= high {
        return Ok(value);
    }
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let told = as_told(value);
    let reason =
        format!("{told}{unit} is outside {low} to {high}{unit}; check the unit and the decimal point");
    Err(Refused::new(field, reason))
}

/// What is gathered while a target is worked out.
#[derive(Debug, Default)]
pub(super) struct Notes {
    pub(super) warnings: Vec<String>,
    pub(super) assumed: Vec<(String, f64)>,
    pub(super) steps: Vec<Step>,
    /// Names of the uncertainties that had a use.
    pub(super) used: Vec<&'static str>,
}

impl Notes {
    pub(super) fn step(&mut self, what: &str, working: String, result: String) {
        self.steps.push(Step { what: what.to_owned(), working, result });
    }

    pub(super) fn warn_outside(&mut self, what: &str, value: f64, low: f64, high: f64, try_this: &str) {
        if value < low || value > high {
            self.warnings.push(format!("{what} {value:.4} is unusual (mostly {low} to {high}): {try_this}"));
        }
    }

    /// A standard uncertainty: told beside its quantity, told at the top of the
    /// request, or the stated default, which is then echoed.
    pub(super) fn doubt(
        &mut self,
        name: &'static str,
        told: &Told<'_>,
        otherwise: f64,
    ) -> Result<f64, Refused> {
        self.used.push(name);
        let beside = format!("{}.{name}", told.within);
        match (told.beside, told.at_top) {
            (Some(_), Some(_)) => {
                Err(Refused::new(name, format!("given twice, also as {beside}; leave one of them out")))
            }
            (Some(value), None) => within(&beside, value, 0.0, told.most, told.unit),
            (None, Some(value)) => within(name, value, 0.0, told.most, told.unit),
            (None, None) => {
                // Of one bucket and one form the name alone says whose it is.
                let alone = ["glaze", "form"].contains(&told.within);
                self.assumed.push((if alone { name.to_owned() } else { beside }, otherwise));
                Ok(otherwise)
            }
        }
    }

    /// A value told, with its uncertainty told or usual.
    pub(super) fn known(
        &mut self,
        value: f64,
        input: &Input<'_>,
        told: &Told<'_>,
        otherwise: f64,
    ) -> Result<Known, Refused> {
        let u = self.doubt(input.u_name, told, otherwise)?;
        Ok(Known::told(
            value,
            Source {
                input: format!("{}.{}", told.within, input.name),
                what: input.what.to_owned(),
                u,
                unit: told.unit,
                advice: input.advice,
            },
        ))
    }
}

/// An input by its names.
pub(super) struct Input<'a> {
    /// In the request.
    pub(super) name: &'a str,
    /// Of its uncertainty in the request.
    pub(super) u_name: &'static str,
    /// In the potter's words.
    pub(super) what: &'a str,
    /// What makes its uncertainty smaller.
    pub(super) advice: &'static str,
}

/// Where an uncertainty was told, and its greatest sensible value.
pub(super) struct Told<'a> {
    pub(super) within: &'a str,
    pub(super) beside: Option<f64>,
    pub(super) at_top: Option<f64>,
    pub(super) most: f64,
    pub(super) unit: &'static str,
}
