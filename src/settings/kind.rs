//! A value of another kind than its key takes: which key, on which line, in people's words.

use super::SettingsError;
use toml::de::{DeTable, DeValue};

/// The commented file: its lines are the examples.
const EXAMPLES: &str = include_str!("../../config/tarebell.toml");

/// What is wrong with text whose keys or kinds of values do not fit.
pub(super) fn sort(text: &str, file: &str, error: &toml::de::Error) -> SettingsError {
    let at = error.span().map(|span| span.start);
    if let Some(told) = listed(text, file) {
        return told;
    }
    let key = at.and_then(|at| key_at(DeTable::parse(text).ok()?.get_ref(), at));
    if let (Some(at), Some(key), Some(kind)) = (at, key, wrong_kind(error.message())) {
        let last = key.rsplit('.').next().unwrap_or(&key);
        let expected = example(last).map_or(kind.clone(), |line| format!("{kind}, such as `{line}`"));
        return SettingsError::Kind { file: file.to_owned(), line: line(text, at), key, expected };
    }
    SettingsError::Shape { file: file.to_owned(), text: error.to_string().trim_end().to_owned() }
}

/// A part that is written as a list of parts, `[[pour]]`, where there is one of it.
fn listed(text: &str, file: &str) -> Option<SettingsError> {
    let whole = DeTable::parse(text).ok()?;
    let is_part = |value: &DeValue<'_>| matches!(value, DeValue::Table(_));
    let is_list = |value: &DeValue<'_>| matches!(value, DeValue::Array(all) if all.iter().any(|one| is_part(one.get_ref())));
    let known = |key: &str| EXAMPLES.lines().any(|line| line == format!("[{key}]"));
    let (key, value) =
        whole.get_ref().iter().find(|(key, value)| known(key.get_ref()) && is_list(value.get_ref()))?;
    let key = key.get_ref().to_string();
    let expected = format!("[[{key}]] begins a list of such parts, and there is one: write [{key}], once");
    Some(SettingsError::Kind { file: file.to_owned(), line: line(text, value.span().start), key, expected })
}

/// Line of a place, from 1.
pub(super) fn line(text: &str, at: usize) -> usize {
    text[..at.min(text.len())].matches('\n').count() + 1
}

/// The key whose value lies there, dotted.
fn key_at(table: &DeTable<'_>, at: usize) -> Option<String> {
    table.iter().find_map(|(key, value)| {
        let name = key.get_ref();
        let within = match value.get_ref() {
            DeValue::Table(inner) => key_at(inner, at).map(|rest| format!("{name}.{rest}")),
            DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_) => None,
        };
        within.or_else(|| value.span().contains(&at).then(|| name.to_string()))
    })
}

fn example(key: &str) -> Option<&'static str> {
    let start = format!("# {key} = ");
    EXAMPLES.lines().find(|line| line.starts_with(&start))?.strip_prefix("# ")
}

/// Kinds as the parser names what it found, and as people say them.
const FOUND: [(&str, &str); 6] = [
    ("string ", "the text "),
    ("integer ", "the whole number "),
    ("floating point ", "the number "),
    ("boolean ", ""),
    ("sequence", "a list"),
    ("map", "a table of keys"),
];
/// Kinds as the parser names what it wants.
const WANTED: [(&str, &str); 8] = [
    ("f64", "a number"),
    ("u8", "a whole number from 0 to 255"),
    ("u32", "a whole number, 0 or more"),
    ("u64", "a whole number, 0 or more"),
    ("usize", "a whole number, 0 or more"),
    ("i64", "a whole number"),
    ("a string", "text in quotes"),
    ("a boolean", "true or false"),
];

/// The parser's words for a value of a wrong kind as people say it; none where that is not what is wrong.
pub(super) fn wrong_kind(message: &str) -> Option<String> {
    let message = message.lines().next()?;
    let rest = message.strip_prefix("invalid type: ").or_else(|| message.strip_prefix("invalid value: "))?;
    let (found, wanted) = rest.rsplit_once(", expected ")?;
    let found = FOUND.iter().find_map(|(name, plain)| Some(format!("{plain}{}", found.strip_prefix(name)?)));
    let wanted = WANTED.iter().find(|(name, _)| *name == wanted).map_or(
        if wanted.starts_with("struct ") {
            "a table of keys"
        } else if wanted.contains("sequence") {
            "a list"
        } else {
            "another kind of value"
        },
        |(_, plain)| plain,
    );
    // A number beyond what the parser counts with is named with the parser's own kind behind it.
    let found = found.map(|found| found.trim_end_matches(" as i128").trim_end_matches(" as u128").to_owned());
    let found = found.map_or_else(|| "this value".to_owned(), |found| found.replace('`', ""));
    Some(format!("{found} does not fit: expected {wanted}"))
}
