//! Reading a POSIX TZ string (POSIX.1-2024, Base Definitions, section 8.3), with
//! the longer hours that TZif footers use (RFC 9636, section 3.3.1).

use core::fmt;

use super::{ChangeDay, ChangeRule, Summer, Zone, ZoneError};

/// The most by which summer time may differ from standard time, in seconds:
/// with a day or more, a dose that is moved could come at the time of the next one, or after it
/// (D8).
pub(super) const MOST_DIFFERENCE_S: i32 = 86_399;
/// The greatest offset a TZ string can state, either way: 24:59:59.
pub(super) const MOST_OFFSET_S: i32 = 24 * 3600 + 59 * 60 + 59;
/// The latest local time of a change, either way: 167:59:59.
pub(super) const MOST_TIME_S: i32 = 167 * 3600 + 59 * 60 + 59;
/// Summer time's lead where the string does not state its offset.
pub(super) const DEFAULT_LEAD_S: i32 = 3600;
/// Time of a change where the string does not state it: 02:00.
const DEFAULT_TIME_S: i32 = 7200;

impl Zone {
    /// Reads a POSIX TZ string: `CET-1CEST,M3.5.0,M10.5.0/3`.
    ///
    /// Offsets in the string count westward, from -24 h to 24 h; hours of a
    /// change are -167 to 167. Names are checked and then forgotten. Refused,
    /// besides what POSIX does not allow: a summer time without rules (POSIX
    /// leaves its dates to the implementation), one 24 h or more from standard
    /// time, and the `:characters` form.
    ///
    /// # Errors
    ///
    /// The first byte that does not fit, and what was expected there.
    pub fn parse(text: &str) -> Result<Self, ZoneError> {
        let mut reader = Reader { bytes: text.as_bytes(), at: 0 };
        let zone = reader.zone()?;
        debug_assert!(zone.is_legal());
        Ok(zone)
    }
}

impl fmt::Display for ZoneError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "TZ string, byte {} (counted from 0): {}", self.at, self.what)
    }
}

impl core::error::Error for ZoneError {}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Reader<'_> {
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn take(&mut self, byte: u8) -> bool {
        let found = self.peek() == Some(byte);
        if found {
            self.at = self.at.saturating_add(1);
        }
        found
    }

    fn take_while(&mut self, wanted: impl Fn(u8) -> bool) -> usize {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let count = rest.iter().take_while(|byte| wanted(**byte)).count();
        self.at = self.at.saturating_add(count);
        count
    }

    fn expected<T>(&self, what: &'static str) -> Result<T, ZoneError> {
        Err(ZoneError { at: self.at, what })
    }

    fn zone(&mut self) -> Result<Zone, ZoneError> {
        if self.peek() == Some(b':') {
            return self.expected(
                "a string that begins with ':' means something else on every system; \
                 write the rules out, such as CET-1CEST,M3.5.0,M10.5.0/3",
            );
        }
        self.name("expected the name of standard time: three letters or more, or <...>")?;
        if matches!(self.peek(), Some(b'/' | b'_')) {
            return self.expected(
                "expected an offset; a place such as Area/City is not a TZ string, \
                 write the rules out, such as CET-1CEST,M3.5.0,M10.5.0/3",
            );
        }
        let offset_s = self.offset()?;
        if self.peek().is_none() {
            return Ok(Zone { offset_s, summer: None });
        }
        self.name("expected the end, or the name of summer time: three letters or more, or <...>")?;
        let offset_at = self.at;
        let summer_s = match self.peek() {
            None | Some(b',') => offset_s + DEFAULT_LEAD_S,
            Some(_) => self.offset()?,
        };
        if (summer_s - offset_s).abs() > MOST_DIFFERENCE_S {
            return Err(ZoneError {
                at: offset_at,
                what: "summer time 24 h or more from standard time is not supported",
            });
        }
        if self.peek().is_none() {
            return self.expected(
                "summer time is named but not when it starts and ends; \
                 add its rules, such as ,M3.5.0,M10.5.0/3",
            );
        }
        let start = self.rule("expected ',' and the rule for the start of summer time")?;
        let end = self.rule("expected ',' and the rule for the end of summer time")?;
        if self.peek().is_some() {
            return self.expected("expected the end of the string");
        }
        Ok(Zone { offset_s, summer: Some(Summer { offset_s: summer_s, start, end }) })
    }

    fn name(&mut self, what: &'static str) -> Result<(), ZoneError> {
        if self.take(b'<') {
            let count = self.take_while(|b| b.is_ascii_alphanumeric() || b == b'+' || b == b'-');
            if self.peek() != Some(b'>') {
                return self.expected("expected a letter, a digit, '+', '-' or the closing '>'");
            }
            if count < 3 {
                return self.expected("expected three characters or more between '<' and '>'");
            }
            self.take(b'>');
            return Ok(());
        }
        match self.take_while(|b| b.is_ascii_alphabetic()) {
            0 => self.expected(what),
            1 | 2 => self.expected("expected a third letter of the name"),
            _ => Ok(()),
        }
    }

    /// An offset as the string has it is what to add to local time; here it is
    /// seconds east of UTC.
    fn offset(&mut self) -> Result<i32, ZoneError> {
        let hours = Number {
            most_digits: 2,
            least: 0,
            most: 24,
            what: "expected an offset: hours 0 to 24, westward of Greenwich or with '-' eastward",
        };
        Ok(-self.time(&hours)?)
    }

    /// `[+-]hh[:mm[:ss]]` in seconds.
    fn time(&mut self, hours: &Number) -> Result<i32, ZoneError> {
        let negative = self.take(b'-');
        if !negative {
            self.take(b'+');
        }
        let mut seconds = i32::from(self.number(hours)?) * 3600;
        if self.take(b':') {
            let what = "expected minutes as two digits, 00 to 59";
            seconds += self.sixtieths(what)? * 60;
            if self.take(b':') {
                seconds += self.sixtieths("expected seconds as two digits, 00 to 59")?;
            }
        }
        Ok(if negative { -seconds } else { seconds })
    }

    fn sixtieths(&mut self, what: &'static str) -> Result<i32, ZoneError> {
        let at = self.at;
        let value = self.number(&Number { most_digits: 2, least: 0, most: 59, what })?;
        if self.at.saturating_sub(at) != 2 {
            return Err(ZoneError { at, what });
        }
        Ok(i32::from(value))
    }

    /// `,date[/time]`.
    fn rule(&mut self, comma: &'static str) -> Result<ChangeRule, ZoneError> {
        if !self.take(b',') {
            return self.expected(comma);
        }
        let day = self.day()?;
        let time_s = if self.take(b'/') {
            self.time(&Number {
                most_digits: 3,
                least: 0,
                most: 167,
                what: "expected the hours of a change, -167 to 167",
            })?
        } else {
            DEFAULT_TIME_S
        };
        Ok(ChangeRule { day, time_s })
    }

    fn day(&mut self) -> Result<ChangeDay, ZoneError> {
        if self.take(b'M') {
            let month = self.part(2, 12, "expected a month, 1 to 12")?;
            self.dot("expected '.' and the week of the month")?;
            let week = self.part(1, 5, "expected a week of the month, 1 to 5 (5 is the last)")?;
            self.dot("expected '.' and the day of the week")?;
            let day = self.number(&Number {
                most_digits: 1,
                least: 0,
                most: 6,
                what: "expected a day of the week, 0 (Sunday) to 6",
            })?;
            return Ok(ChangeDay::MonthWeekDay { month, week, day: day as u8 });
        }
        if self.take(b'J') {
            return Ok(ChangeDay::JulianNoLeap(self.number(&Number {
                most_digits: 3,
                least: 1,
                most: 365,
                what: "expected a day of the year, J1 to J365",
            })?));
        }
        Ok(ChangeDay::ZeroBased(self.number(&Number {
            most_digits: 3,
            least: 0,
            most: 365,
            what: "expected a day of change: Mm.w.d, Jn with n from 1 to 365, or n from 0 to 365",
        })?))
    }

    fn part(&mut self, most_digits: u8, most: u16, what: &'static str) -> Result<u8, ZoneError> {
        let number = Number { most_digits, least: 1, most, what };
        Ok(self.number(&number)? as u8)
    }

    fn dot(&mut self, what: &'static str) -> Result<(), ZoneError> {
        if self.take(b'.') {
            return Ok(());
        }
        self.expected(what)
    }

    /// All the digits that follow, as a number within its limits; an error points
    /// at the first of them.
    fn number(&mut self, wanted: &Number) -> Result<u16, ZoneError> {
        let at = self.at;
        let mut value = 0_u16;
        while let Some(byte @ b'0'..=b'9') = self.peek() {
            value = value.saturating_mul(10).saturating_add(u16::from(byte - b'0'));
            self.at = self.at.saturating_add(1);
        }
        let digits = self.at.saturating_sub(at);
        let fits = value >= wanted.least && value <= wanted.most;
        if digits == 0 || digits > usize::from(wanted.most_digits) || !fits {
            return Err(ZoneError { at, what: wanted.what });
        }
        Ok(value)
    }
}

/// The limits of a number.
struct Number {
    most_digits: u8,
    least: u16,
    most: u16,
    what: &'static str,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_says_where_and_what() {
        for (text, at, what) in [
            ("", 0, "name of standard time"),
            (":Somewhere", 0, "begins with ':'"),
            (" CET-1", 0, "name of standard time"),
            ("CE-1", 2, "third letter"),
            ("CET", 3, "an offset"),
            ("Area/City", 4, "a place such as"),
            ("<+1>-1", 3, "three characters"),
            ("<+01-1", 6, "closing '>'"),
            ("<+0_1>-1", 3, "a letter, a digit"),
            ("CET-25", 4, "hours 0 to 24"),
            ("CET-001", 4, "hours 0 to 24"),
            ("CET--1", 4, "hours 0 to 24"),
            ("CET-1:5", 6, "two digits"),
            ("CET-1:60", 6, "minutes"),
            ("CET-1:00:", 9, "seconds"),
            ("CET-1:00:61", 9, "seconds"),
            ("CET-1 ", 5, "the end, or the name of summer time"),
            ("CET-1CEST", 9, "rules"),
            ("CET-1CEST-2", 11, "rules"),
            ("CET-1CEST-2;", 11, "','"),
            ("AAA12BBB-13,J1,J2", 8, "24 h or more"),
            ("AAA12BBB-12,J1,J2", 8, "24 h or more"),
            ("AAA-12BBB12,J1,J2", 9, "24 h or more"),
            ("CET-1CEST,", 10, "a day of change"),
            ("CET-1CEST,J0,J2", 11, "J1 to J365"),
            ("CET-1CEST,366,J2", 10, "a day of change"),
            ("CET-1CEST,M13.1.0,J2", 11, "month"),
            ("CET-1CEST,M3.6.0,J2", 13, "week of the month"),
            ("CET-1CEST,M3.5.7,J2", 15, "day of the week"),
            ("CET-1CEST,M3-5.0,J2", 12, "'.'"),
            ("CET-1CEST,M3.5.0", 16, "','"),
            ("CET-1CEST,M3.5.0/168,J2", 17, "-167 to 167"),
            ("CET-1CEST,M3.5.0/,J2", 17, "-167 to 167"),
            ("CET-1CEST,M3.5.0,M10.5.0/3 ", 26, "the end of the string"),
            ("CET-1CEST,M3.5.0,M10.5.0/3\u{e9}", 26, "the end of the string"),
        ] {
            let error = Zone::parse(text).unwrap_err();
            assert!(error.at == at && error.what.contains(what), "{text:?}: {error:?}");
        }
    }

    #[test]
    fn an_error_reads_as_a_sentence() {
        extern crate std;
        let error = Zone::parse("CET-1CEST,M13.1.0,J2").unwrap_err();
        assert_eq!(
            std::format!("{error}"),
            "TZ string, byte 11 (counted from 0): expected a month, 1 to 12"
        );
    }

    #[test]
    fn what_is_not_stated_has_its_default() {
        let zone = Zone::parse("EST5EDT,M3.2.0,M11.1.0").unwrap();
        let stated = Zone::parse("<-05>+05:00:00<-04>4,M3.2.0/2,M11.1.0/+2:00").unwrap();
        assert_eq!(zone, stated);
        assert_eq!(zone.offset_s, -18_000);
        assert_eq!(zone.summer.map(|s| s.offset_s), Some(-14_400));
    }

    #[test]
    fn the_widest_values_are_read() {
        let zone = Zone::parse("AAA-24:59:59BBB,J365/-167:59:59,365/167:59:59").unwrap();
        let summer = zone.summer.unwrap();
        assert_eq!((zone.offset_s, MOST_OFFSET_S), (89_999, 89_999));
        assert_eq!(summer.offset_s, 93_599);
        assert_eq!((summer.start.time_s, summer.end.time_s), (-604_799, 604_799));
        assert_eq!(MOST_TIME_S, 604_799);
        assert!(Zone::parse("AAA12BBB-11:59:59,J1,J2").is_ok());
    }
}
