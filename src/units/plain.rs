//! What a reader of JSON or TOML says of a value of another kind, as people say it: never by a name of the program's own.

/// Values as the reader names them, and as people say them.
const FOUND: [(&str, &str); 8] = [
    ("string ", "the text "),
    ("character ", "the text "),
    ("integer ", "the number "),
    ("floating point ", "the number "),
    ("boolean ", ""),
    ("sequence", "a list"),
    ("map", "an object"),
    ("unit variant", "a word alone"),
];
/// Kinds of numbers and words as the reader names them, and as people say them.
const WANTED: [(&str, &str); 13] = [
    ("f64", "a number"),
    ("u8", "a whole number from 0 to 255"),
    ("u32", "a whole number from 0 to 4294967295"),
    ("u64", "a whole number, 0 or more"),
    ("usize", "a whole number, 0 or more"),
    ("i64", "a whole number"),
    ("a string", "text between quotes"),
    ("a boolean", "true or false"),
    ("string or map", "a word between quotes"),
    ("variant identifier", "a word between quotes"),
    ("map with a single key", "an object of one member"),
    ("an array of length 2", "two numbers between [ and ]"),
    ("2 elements in sequence", "two numbers between [ and ]"),
];
/// So much of what was sent is repeated, in characters.
const REPEATED: usize = 60;

fn wanted(kind: &str) -> &str {
    let known = WANTED.iter().find(|(name, _)| *name == kind).map(|(_, plain)| *plain);
    known.unwrap_or_else(|| match kind {
        list if list.contains("sequence") || list.contains("array") => "a list between [ and ]",
        one if ["struct ", "enum ", "internally ", "map"].iter().any(|head| one.starts_with(head)) => {
            "an object, its members between { and }"
        }
        _ => "another kind of value",
    })
}

fn found(value: &str) -> String {
    // A number beyond what the reader counts with is named with the reader's own kind behind it.
    let value = value.trim_end_matches(" as i128").trim_end_matches(" as u128");
    let plain = FOUND.iter().find_map(|(name, plain)| Some(format!("{plain}{}", value.strip_prefix(name)?)));
    let plain = plain.unwrap_or_else(|| match value {
        "null" | "unit value" => "nothing".to_owned(),
        _ => "something else".to_owned(),
    });
    let cut: String = plain.replace('`', "").chars().take(REPEATED).collect();
    if cut.chars().count() < REPEATED { cut } else { cut + " ..." }
}

/// A reader's message in people's words.
pub(crate) fn plainly(message: &str) -> String {
    let kind = message.strip_prefix("invalid type: ").or_else(|| message.strip_prefix("invalid value: "));
    if let Some((value, kind)) = kind.and_then(|rest| rest.rsplit_once(", expected ")) {
        return format!("expected {}, and found {}", wanted(kind), found(value));
    }
    if let Some((length, kind)) =
        message.strip_prefix("invalid length ").and_then(|rest| rest.rsplit_once(", expected "))
    {
        return format!("expected {}, and found {length} of them", wanted(kind));
    }
    let message = message.replace("unknown variant", "unknown word");
    WANTED.iter().fold(message, |said, (name, plain)| {
        said.replace(&format!("expected {name}"), &format!("expected {plain}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_of_another_kind_is_told_by_what_is_wanted_and_by_what_was_found() {
        for (message, said) in [
            ("invalid type: string \"x\", expected f64", "expected a number, and found the text \"x\""),
            (
                "invalid value: integer `-5`, expected u32",
                "expected a whole number from 0 to 4294967295, and found the number -5",
            ),
            (
                "invalid type: string \"x\", expected struct Invented with 6 elements",
                "expected an object, its members between { and }, and found the text \"x\"",
            ),
            (
                "invalid type: null, expected internally tagged enum Invented",
                "expected an object, its members between { and }, and found nothing",
            ),
            (
                "invalid type: string \"a, expected f64\", expected a sequence",
                "expected a list between [ and ], and found the text \"a, expected f64\"",
            ),
            (
                "invalid length 3, expected an array of length 2",
                "expected two numbers between [ and ], and found 3 of them",
            ),
            ("unknown variant `x`, expected `a` or `b`", "unknown word `x`, expected `a` or `b`"),
            ("missing field `by`", "missing field `by`"),
        ] {
            assert_eq!(plainly(message), said);
        }
        let long = format!("invalid type: string {:?}, expected f64", "x".repeat(500));
        assert!(plainly(&long).chars().count() < 120, "{}", plainly(&long));
    }
}
