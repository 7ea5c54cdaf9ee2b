//! Units in which weights and lengths are shown and typed.

use super::fault::{SettingsError, Source};
use crate::units::shown::{LengthIn, Shown, WeightIn};
use serde::Deserialize;
use toml::Spanned;

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ShowText {
    weight: Option<Spanned<String>>,
    length: Option<Spanned<String>>,
}

pub(super) fn shown(source: &Source<'_>, t: &ShowText) -> Result<Shown, SettingsError> {
    let weight = match &t.weight {
        None => WeightIn::default(),
        Some(word) => {
            WeightIn::ALL.into_iter().find(|unit| unit.word() == word.get_ref()).ok_or_else(|| {
                source.wrong("show.weight", word, format!("'{}' is not \"g\" or \"oz\"", word.get_ref()))
            })?
        }
    };
    let length = match &t.length {
        None => LengthIn::default(),
        Some(word) => {
            LengthIn::ALL.into_iter().find(|unit| unit.word() == word.get_ref()).ok_or_else(|| {
                let why = format!("'{}' is not \"mm\", \"cm\" or \"inch\"", word.get_ref());
                source.wrong("show.length", word, why)
            })?
        }
    };
    Ok(Shown { weight, length })
}
