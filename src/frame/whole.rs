//! Text that comes without line ends: whether one notification is one whole line.
//!
//! Decided by what was seen. A piece of a line must never pass for a line, so a notification counts as one only
//! if it ends with a unit of mass (a number that lost its end has lost that first) and those just before it were
//! whole too and of the same shape (one that lost its beginning is shorter). A scale that cuts its lines in
//! pieces sends such as end with no unit in between, and is never believed.

use regex::Regex;
use std::sync::LazyLock;

/// So many whole ones of one shape must have come before (own choice: a third of a second of a usual scale).
const BEFORE: u32 = 3;
/// Where a line end was ever seen it takes as many as two seconds of a usual scale bring (own choice): a line end
/// made by damage is forgotten by and by.
const BEFORE_AFTER_LINE_END: u32 = 20;

/// Watches notifications.
#[derive(Clone, Debug, Default)]
pub(super) struct Whole {
    /// Whole ones of one shape in a row.
    run: u32,
    shape: Vec<u8>,
    line_end_seen: bool,
}

impl Whole {
    /// Takes a notification; true when it is a whole line without an end.
    pub(super) fn handle_message(&mut self, bytes: &[u8]) -> bool {
        if bytes.contains(&b'\r') || bytes.contains(&b'\n') {
            *self = Self { line_end_seen: true, ..Self::default() };
            return false;
        }
        let Some(shape) = shape(bytes) else {
            self.run = 0;
            return false;
        };
        self.run = if shape == self.shape { self.run.saturating_add(1) } else { 1 };
        self.shape = shape;
        self.believed()
    }

    /// The last one was believed.
    pub(super) fn believed(&self) -> bool {
        self.run > if self.line_end_seen { BEFORE_AFTER_LINE_END } else { BEFORE }
    }
}

#[expect(
    clippy::unwrap_used,
    reason = "the pattern is constant; any test that reads text without line ends compiles it"
)]
static WHOLE: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"^[^0-9.,]*[0-9]+(?:[.,][0-9]+)?[ \t]*(?i:kg|mg|oz|lb|g)[ \t]*$").unwrap());

/// What stays the same from weight to weight; none for what is not whole.
fn shape(bytes: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(bytes).ok()?;
    WHOLE.is_match(text).then(|| {
        let number = bytes.iter().position(u8::is_ascii_digit).unwrap_or(0);
        let class = |(i, b): (usize, &u8)| match b {
            b'0'..=b'9' | b' ' | b'+' | b'-' => b'0',
            // Words before the number tell a state.
            b'a'..=b'z' | b'A'..=b'Z' if i < number => b'a',
            other => *other,
        };
        bytes.iter().enumerate().map(class).collect()
    })
}
