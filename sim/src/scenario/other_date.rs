//! Dates in other forms than the one that is read, and how they are written here.

use dosewright_core::civil::Date;

/// What stands in the help where no date can be told from what is written.
pub(super) const EXAMPLE: &str = "2026-10-25";

/// A date in another form than year, month and day with hyphens.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct OtherDate {
    /// As it is written here; `None` where month and day could be either way round, or there
    /// is no such date.
    pub(super) date: Option<String>,
    /// How long it is in the text.
    pub(super) len: usize,
}

impl OtherDate {
    /// The one that a text begins with: `23.12.2026`, `23. 12. 2026`, `3.1.26`,
    /// `2026.12.23`, `2026/12/23`, `2026-1-5`, `12/11/2026`.
    pub(super) fn at_start(text: &str) -> Option<Self> {
        let (first, rest) = digits(text)?;
        let mark = rest.chars().next().filter(|c| matches!(c, '.' | '/' | '-'))?;
        let (second, rest) = digits(after(rest, mark)?)?;
        let (third, rest) = digits(after(rest, mark)?)?;
        let date = match (first.len(), second.len(), third.len(), mark) {
            (4, 1..=2, 1..=2, _) => existing(first, second, third),
            (1..=2, 1..=2, 4, '.') => existing(third, second, first),
            (1..=2, 1..=2, 2, '.') => existing(&format!("20{third}"), second, first),
            // with slashes or hyphens it can be the month that comes first
            (1..=2, 1..=2, 4, _) => None,
            _ => return None,
        };
        Some(Self { date, len: text.len() - rest.len() })
    }
}

/// The digits that a text begins with, and what comes after them.
fn digits(text: &str) -> Option<(&str, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    (end > 0).then(|| text.split_at(end))
}

/// What comes after a mark; after a dot a space is usual in some languages.
fn after(text: &str, mark: char) -> Option<&str> {
    let rest = text.strip_prefix(mark)?;
    Some(if mark == '.' { rest.strip_prefix(' ').unwrap_or(rest) } else { rest })
}

/// One that a calendar has and that is reckoned with.
fn existing(year: &str, month: &str, day: &str) -> Option<String> {
    let date = Date::from_ymd(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?)?;
    (Date::MIN..=Date::MAX).contains(&date).then(|| format!("{year}-{month:0>2}-{day:0>2}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_told_from_other_forms() {
        for (text, date, len) in [
            ("23.12.2026", Some("2026-12-23"), 10),
            ("23. 12. 2026 05:00", Some("2026-12-23"), 12),
            ("3.1.26", Some("2026-01-03"), 6),
            ("2026.12.23", Some("2026-12-23"), 10),
            ("2026/12/23\n", Some("2026-12-23"), 10),
            ("2026-1-5 10:00", Some("2026-01-05"), 8),
            ("12/11/2026", None, 10),
            ("12-11-2026", None, 10),
            // that there are not, or not here
            ("31.02.2026", None, 10),
            ("31.12.1999", None, 10),
        ] {
            let date = date.map(str::to_owned);
            assert_eq!(OtherDate::at_start(text), Some(OtherDate { date, len }), "{text}");
        }
        for text in ["", "1.2.3", "1.2", "23.12-2026", "12.5 ml", "3/4", "1.2.026", "26-12-03"] {
            assert_eq!(OtherDate::at_start(text), None, "{text}");
        }
    }
}
