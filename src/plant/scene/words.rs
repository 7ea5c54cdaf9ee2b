//! Reads a line word by word and says what was expected where it goes wrong.

use thiserror::Error;

/// Numbers beyond this are a slip of the pen: more than 100 kg, or than a day in seconds (86 400).
const MOST: f64 = 100_000.0;

/// What was wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Odd {
    pub(super) expected: String,
    pub(super) found: String,
}

/// A scene that can't be read.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[error("{file}:{line}: expected {expected}, found {found}")]
pub struct BadScene {
    /// The file as it was named.
    pub file: String,
    /// Line from 1; the last one where something is missing.
    pub line: usize,
    /// What should stand there.
    pub expected: String,
    /// What stands there.
    pub found: String,
}

/// A word in quotes, as a terminal can take it: the start of a long one, and no control characters.
pub(super) fn shown(word: &str) -> String {
    let mut plain: String =
        word.chars().take(LONGEST_SHOWN).map(|c| if c.is_control() { '?' } else { c }).collect();
    if word.chars().count() > LONGEST_SHOWN {
        plain += "...";
    }
    format!("'{plain}'")
}

/// Longest word that is repeated, in characters: a line of a terminal.
const LONGEST_SHOWN: usize = 80;

/// The words of a line.
pub(super) struct Words<'a> {
    words: std::iter::Peekable<std::str::SplitWhitespace<'a>>,
    before: &'a str,
}

impl<'a> Words<'a> {
    pub(super) fn of(line: &'a str) -> Self {
        Self { words: line.split_whitespace().peekable(), before: "" }
    }

    pub(super) fn odd<T>(&mut self, expected: &str) -> Result<T, Odd> {
        let found = self.words.peek().map_or_else(|| "the end of the line".to_owned(), |w| shown(w));
        let after =
            if self.before.is_empty() { String::new() } else { format!(" after {}", shown(self.before)) };
        Err(Odd { expected: format!("{expected}{after}"), found })
    }

    /// Takes the next word if it is this one.
    pub(super) fn takes(&mut self, word: &str) -> bool {
        let is = self.words.peek() == Some(&word);
        if is {
            self.before = self.words.next().unwrap_or_default();
        }
        is
    }

    /// The next word must be this one.
    pub(super) fn wants(&mut self, word: &str) -> Result<(), Odd> {
        if self.takes(word) { Ok(()) } else { self.odd(&format!("'{word}'")) }
    }

    /// Any word.
    pub(super) fn word(&mut self, what: &str) -> Result<&'a str, Odd> {
        match self.words.next() {
            Some(word) => {
                self.before = word;
                Ok(word)
            }
            None => self.odd(what),
        }
    }

    /// A number from 0 up.
    pub(super) fn number(&mut self, what: &str) -> Result<f64, Odd> {
        let number = self.words.peek().and_then(|w| w.trim_start_matches('+').parse::<f64>().ok());
        match number.filter(|n| (0.0..=MOST).contains(n)) {
            Some(number) => {
                self.before = self.words.next().unwrap_or_default();
                Ok(number)
            }
            None if number.is_some() => self.odd(&format!("{what} (from 0 to {MOST})")),
            None => self.odd(what),
        }
    }

    /// A number above 0.
    pub(super) fn above_nought(&mut self, what: &str) -> Result<f64, Odd> {
        let number = self.words.peek().and_then(|w| w.trim_start_matches('+').parse::<f64>().ok());
        if number.is_some_and(|n| !(n > 0.0 && n <= MOST)) {
            return self.odd(&format!("{what} (more than 0, at most {MOST})"));
        }
        self.number(what)
    }

    /// A whole number from 0 up.
    pub(super) fn whole(&mut self, what: &str) -> Result<u64, Odd> {
        let number = self.words.peek().and_then(|w| w.parse::<i128>().ok());
        match number.and_then(|n| u64::try_from(n).ok()).filter(|n| *n as f64 <= MOST) {
            Some(number) => {
                self.before = self.words.next().unwrap_or_default();
                Ok(number)
            }
            None if number.is_some() => self.odd(&format!("{what} (from 0 to {MOST})")),
            None => self.odd(what),
        }
    }

    /// `for S`.
    pub(super) fn for_s(&mut self) -> Result<f64, Odd> {
        self.wants("for")?;
        self.number("seconds")
    }

    pub(super) fn peek(&mut self) -> Option<&'a str> {
        self.words.peek().copied()
    }

    /// Nothing more may come.
    pub(super) fn end(&mut self) -> Result<(), Odd> {
        if self.words.peek().is_none() { Ok(()) } else { self.odd("nothing more") }
    }
}
