//! Content lines (RFC 5545, section 3.1): folded at 75 octets, text escaped.

use dosewright_core::civil::{Date, Local};
use dosewright_core::time::{Duration, Utc};

/// Octets of a line, its end left out.
const MOST: usize = 75;

/// The lines so far.
#[derive(Default)]
pub(super) struct Lines {
    pub(super) text: String,
}

impl Lines {
    /// A content line; folded where it is long, never within a character.
    pub(super) fn put(&mut self, line: &str) {
        let mut room = MOST;
        for c in line.chars() {
            if c.len_utf8() > room {
                self.text.push_str("\r\n ");
                room = MOST - 1;
            }
            room -= c.len_utf8();
            self.text.push(c);
        }
        self.text.push_str("\r\n");
    }
}

/// A TEXT value (section 3.3.11); control characters cannot be said and are left out.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | ';' | ',' => {
                out.push('\\');
                out.push(c);
            }
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

fn date(date: Date) -> String {
    let (year, month, day) = date.ymd();
    format!("{year:04}{month:02}{day:02}")
}

/// `20261020T004500`, rounded down to the second.
pub(super) fn local_time(local: Local) -> String {
    let s = local.time_of_day().as_ms() / 1000;
    format!("{}T{:02}{:02}{:02}", date(local.date()), s / 3600, s / 60 % 60, s % 60)
}

/// `20261019T224500Z`.
pub(super) fn utc_time(utc: Utc) -> String {
    let days = i32::try_from(utc.as_ms().div_euclid(86_400_000)).unwrap_or(0);
    let in_day = Duration::from_ms(utc.as_ms().rem_euclid(86_400_000) as u64);
    format!("{}Z", local_time(Local::new(Date::from_days(days), in_day)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_between_characters() {
        let mut lines = Lines::default();
        let long = format!("SUMMARY:{}", "ä".repeat(100));
        lines.put(&long);
        assert!(lines.text.split("\r\n").all(|line| line.len() <= MOST), "{}", lines.text);
        assert_eq!(lines.text.replace("\r\n ", "").trim_end(), long);
    }

    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a;b,c\\d\ne\u{7}"), "a\\;b\\,c\\\\d\\ne");
    }

    #[test]
    fn days_of_utc_are_days_since_1970() {
        assert_eq!(utc_time(Utc::from_ms(1_774_746_000_000)), "20260329T010000Z");
    }
}
