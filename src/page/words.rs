//! Every word the page shows: `assets/words.json`, the one place.

const ALL: &str = include_str!("assets/words.json");

/// One of the words that stand in the page before its script runs.
pub(super) fn word(name: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(ALL).unwrap_or_default();
    all[name].as_str().unwrap_or_default().to_owned()
}

/// The words as a module for the page's scripts.
pub(super) fn script() -> String {
    format!("export default {ALL};\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_parse_and_the_first_ones_are_there() {
        assert!(serde_json::from_str::<serde_json::Value>(ALL).is_ok_and(|all| all.is_object()));
        assert!(!word("title").is_empty() && !word("no_script").is_empty());
    }
}
