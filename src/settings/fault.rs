//! What is wrong with the settings: file, line, key, and what was expected.

use crate::units::as_told;
use toml::Spanned;

/// What is wrong with the settings.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SettingsError {
    /// Not TOML, or an unknown key: the text names line and key.
    #[error("{file}: {text}")]
    Shape {
        /// File.
        file: String,
        /// What the parser says.
        text: String,
    },
    /// A value of another kind than its key takes.
    #[error("{file}, line {line}: {key}: {expected}")]
    Kind {
        /// File.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Key, such as `scale.layout.mass.offset`.
        key: String,
        /// What was found and what was expected.
        expected: String,
    },
    /// A value that can't be.
    #[error("{file}, line {line}: {key}: {expected}")]
    Value {
        /// File.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Key, such as `scale.baud`.
        key: &'static str,
        /// What was expected, and what to try.
        expected: String,
    },
}

/// No whole number that is read has more digits.
const MOST_DIGITS: usize = 20;

/// A number as it is written, or short where that would be hundreds of digits.
fn short(written: String) -> String {
    match written.parse::<f64>() {
        Ok(number) if written.len() > MOST_DIGITS => as_told(number),
        Ok(_) | Err(_) => written,
    }
}

/// The text and its name, for messages.
pub(super) struct Source<'a> {
    pub(super) text: &'a str,
    pub(super) file: &'a str,
}

impl Source<'_> {
    pub(super) fn wrong<T>(
        &self,
        key: &'static str,
        at: &Spanned<T>,
        expected: impl Into<String>,
    ) -> SettingsError {
        let line = super::kind::line(self.text, at.span().start);
        SettingsError::Value { file: self.file.to_owned(), line, key, expected: expected.into() }
    }

    pub(super) fn number<T: Copy + PartialOrd + std::fmt::Display>(
        &self,
        key: &'static str,
        value: Option<&Spanned<T>>,
        default: T,
        range: std::ops::RangeInclusive<T>,
        unit: &str,
    ) -> Result<T, SettingsError> {
        let Some(value) = value else { return Ok(default) };
        if range.contains(value.get_ref()) {
            return Ok(*value.get_ref());
        }
        let (from, to, told) = (range.start(), range.end(), short(value.get_ref().to_string()));
        Err(self.wrong(key, value, format!("{told} is not between {from} and {to} {unit}")))
    }
}
