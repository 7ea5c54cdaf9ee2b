//! Numbers and days as people write them.

use crate::time::WallTime;

/// A number with a point, or a comma, before its fraction; thousands may stand apart by the other, by a blank or an
/// apostrophe. `None` for anything else.
pub fn number(text: &str, comma: bool) -> Option<f64> {
    let (point, apart) = if comma { (',', '.') } else { ('.', ',') };
    let text = text.trim().trim_end_matches(['g', 'G']).trim();
    let (whole, fraction) = text.split_once(point).map_or((text, None), |(w, f)| (w, Some(f)));
    let digits: String =
        whole.chars().filter(|c| *c != apart && !matches!(c, ' ' | '\u{a0}' | '\'')).collect();
    // Thousands stand in threes: `29,1` with a point expected is no 291.
    let parted = whole.split([apart, ' ', '\u{a0}', '\'']).skip(1).all(|part| part.len() == 3);
    let plain = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    let unsigned = digits.trim_start_matches(['-', '+']);
    let fits = parted && plain(unsigned) && digits.len() - unsigned.len() <= 1 && fraction.is_none_or(plain);
    let made = format!("{digits}.{}", fraction.unwrap_or("0"));
    fits.then(|| made.parse().ok()).flatten().filter(|n: &f64| n.is_finite())
}

/// In which order a day is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DateOrder {
    /// 2026-01-31.
    #[default]
    YearFirst,
    /// 31.1.2026.
    DayFirst,
    /// 1/31/2026.
    MonthFirst,
}

impl DateOrder {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::YearFirst, Self::DayFirst, Self::MonthFirst];

    /// The word used in requests.
    pub const fn word(self) -> &'static str {
        match self {
            Self::YearFirst => "year-first",
            Self::DayFirst => "day-first",
            Self::MonthFirst => "month-first",
        }
    }

    /// The moment that is written: a day alone is its noon, a time without a zone is in UTC.
    pub(super) fn read(self, text: &str) -> Option<WallTime> {
        let text = text.trim();
        if let Some(at) = WallTime::from_rfc3339(text) {
            return Some(at);
        }
        let (day, time) = text.split_once([' ', 'T']).map_or((text, None), |(d, t)| (d, Some(t)));
        let mut parts = day.split(['-', '.', '/']).map(|part| part.parse::<i16>().ok());
        let (a, b, c) = (parts.next()??, parts.next()??, parts.next()??);
        if parts.next().is_some() {
            return None;
        }
        let (year, month, day) = match self {
            Self::YearFirst => (a, b, c),
            Self::DayFirst => (c, b, a),
            Self::MonthFirst => (c, a, b),
        };
        let mut clock = time.unwrap_or("12:00").split(':').map(|part| part.parse::<i8>().ok());
        let (hour, minute) = (clock.next()??, clock.next()??);
        WallTime::from_utc(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?, hour, minute)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_with_a_point_or_a_comma_and_nothing_is_guessed() {
        for (text, comma, wanted) in [
            ("29.1", false, Some(29.1)),
            (" 29,1 ", true, Some(29.1)),
            ("29,1", false, None),
            ("29.1", true, None),
            ("1,029.5", false, Some(1029.5)),
            ("1.029,5", true, Some(1029.5)),
            ("1 029,5 g", true, Some(1029.5)),
            ("-0.4", false, Some(-0.4)),
            ("", false, None),
            ("29.1.2", false, None),
            ("NaN", false, None),
            ("1e5", false, None),
            ("--5", false, None),
        ] {
            assert_eq!(number(text, comma), wanted, "{text} {comma}");
        }
    }

    #[test]
    fn days_are_read_in_the_order_that_was_told() {
        let read = |order: DateOrder, text: &str| order.read(text).map(WallTime::rfc3339);
        assert_eq!(read(DateOrder::YearFirst, "2026-01-31"), Some("2026-01-31T12:00:00Z".to_owned()));
        assert_eq!(read(DateOrder::DayFirst, "31.1.2026 08:15"), Some("2026-01-31T08:15:00Z".to_owned()));
        assert_eq!(read(DateOrder::MonthFirst, "1/31/2026"), Some("2026-01-31T12:00:00Z".to_owned()));
        assert_eq!(
            read(DateOrder::DayFirst, "2026-01-31T10:00:00Z"),
            Some("2026-01-31T10:00:00Z".to_owned())
        );
        for odd in ["31.2.2026", "1/31/2026", "yesterday", "", "1.1.2026 25:00", "1.1.26.3"] {
            assert_eq!(read(DateOrder::DayFirst, odd), None, "{odd}");
        }
    }
}
