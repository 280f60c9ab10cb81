//! Dates, local times and times of day as they are written.

use std::ops::Range;

use dosewright_core::civil::{Date, Local, Weekday, days_in_month};
use dosewright_core::time::Duration;

use super::model::ClaimTime;
use super::nearest::nearest;
use super::other_date::{EXAMPLE, OtherDate};
use super::quantity::Problem;
use super::twelve_hour;
use crate::diagnose::codes;

/// The words of the weekdays, Monday first.
pub(super) const DAY_WORDS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// How a time of day is written where seconds are taken.
const SECONDS_TOO: &str = "write it like 02:30, or 02:30:15";

pub(super) fn bad(at: Range<usize>, what: &str) -> Problem {
    Problem::new(codes::BAD_DATE, at, what)
}

/// A text with the place reached in it.
struct Scan<'t> {
    text: &'t str,
    at: usize,
}

impl Scan<'_> {
    fn rest(&self) -> &str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn eat(&mut self, c: char) -> bool {
        let there = self.rest().starts_with(c);
        if there {
            self.at += c.len_utf8();
        }
        there
    }

    /// Exactly so many digits, and no digit after them.
    fn digits(&mut self, count: usize) -> Option<u32> {
        let rest = self.rest();
        let run = rest.bytes().take_while(u8::is_ascii_digit).count();
        if run != count {
            return None;
        }
        let value = rest.get(..count)?.parse().ok()?;
        self.at += count;
        Some(value)
    }

    fn date(&mut self) -> Result<Date, Problem> {
        let start = self.at;
        let shape = |scan: &mut Self| {
            let year = scan.digits(4)?;
            let month = scan.eat('-').then(|| scan.digits(2))??;
            let day = scan.eat('-').then(|| scan.digits(2))??;
            Some((year, month, day))
        };
        let Some((year, month, day)) = shape(self) else {
            let written = OtherDate::at_start(self.text.get(start..).unwrap_or(""));
            let date = written.and_then(|written| written.date);
            return Err(bad(start..self.text.len(), "is not a date")
                .label("year, month, day are wanted")
                .help(format!("write it like {}", date.as_deref().unwrap_or(EXAMPLE))));
        };
        let at = start..self.at;
        if !(1..=12).contains(&month) {
            return Err(bad(at, "names a date that does not exist")
                .label(format!("there is no month {month}")));
        }
        let date = Date::from_ymd(year as i32, month as u8, day as u8);
        match date {
            Some(date) if (Date::MIN..=Date::MAX).contains(&date) => Ok(date),
            Some(_) => Err(Problem::new(
                codes::OUT_OF_RANGE,
                at,
                "is outside the years that are reckoned with",
            )
            .label("from 2000-01-01 to 2179-01-01")),
            None => {
                let name = MONTHS.get(month as usize - 1).copied().unwrap_or("that month");
                let last = days_in_month(year as i32, month as u8);
                Err(bad(at, "names a date that does not exist")
                    .label(format!("{name} {year} has {last} days")))
            }
        }
    }

    /// `HH:MM[:SS[.fff]]`, in ms; whether seconds were given.
    fn time(&mut self) -> Result<(i64, bool), Problem> {
        let start = self.at;
        if let Some(told) = twelve_hour::told(self.rest()) {
            return Err(bad(start..self.text.len(), "is not a time of day of 24 hours")
                .label("the hours go from 00 to 23")
                .help(told));
        }
        let shape = |scan: &mut Self| {
            let hour = scan.digits(2)?;
            let minute = scan.eat(':').then(|| scan.digits(2))??;
            let mut ms = 0;
            let mut second = 0;
            let with_seconds = scan.eat(':');
            if with_seconds {
                second = scan.digits(2)?;
                if scan.eat('.') {
                    let run = scan.rest().bytes().take_while(u8::is_ascii_digit).count();
                    let digits = scan.rest().get(..run)?.to_owned();
                    let kept: String = digits.chars().chain("000".chars()).take(3).collect();
                    if run == 0 || digits.bytes().skip(3).any(|b| b != b'0') {
                        return None;
                    }
                    ms = kept.parse::<i64>().ok()?;
                    scan.at += run;
                }
            }
            Some((hour, minute, second, ms, with_seconds))
        };
        let Some((hour, minute, second, ms, with_seconds)) = shape(self) else {
            return Err(bad(start..self.text.len(), "is not a time of day")
                .label("hour and minute are wanted, each with two digits")
                .help(SECONDS_TOO));
        };
        let at = start..self.at;
        let problem =
            |label: String| bad(at.clone(), "names a time that does not exist").label(label);
        if hour == 24 && minute == 0 && second == 0 {
            return Err(problem("midnight is 00:00 of the day after".to_owned()));
        }
        for (value, most, name) in
            [(hour, 23, "hours"), (minute, 59, "minutes"), (second, 59, "seconds")]
        {
            if value > most {
                return Err(problem(format!("{name} go from 0 to {most}")));
            }
        }
        let s = i64::from(hour) * 3600 + i64::from(minute) * 60 + i64::from(second);
        Ok((s * 1000 + ms, with_seconds))
    }

    /// `+01:00`, or `Z`: seconds east of UTC; `None` where there is none.
    fn offset(&mut self) -> Result<Option<i32>, Problem> {
        if self.eat('Z') || self.eat('z') {
            return Ok(Some(0));
        }
        if !self.rest().trim_start().starts_with(['+', '-']) {
            return Ok(None);
        }
        self.eat(' ');
        let start = self.at;
        let shape = |scan: &mut Self| {
            let sign = if scan.eat('-') { -1 } else { i32::from(scan.eat('+')) };
            let hours = scan.digits(2)?;
            let minutes = scan.eat(':').then(|| scan.digits(2))??;
            (hours <= 24 && minutes < 60).then_some(sign * (hours * 3600 + minutes * 60) as i32)
        };
        match shape(self) {
            Some(offset_s) => Ok(Some(offset_s)),
            None => Err(bad(start..self.text.len(), "has an offset that cannot be read")
                .label("hours and minutes from UTC are wanted")
                .help("write it like 2026-10-25T02:30:00+01:00")),
        }
    }

    fn end(&self) -> Result<(), Problem> {
        let rest = self.rest();
        if rest.trim().is_empty() {
            return Ok(());
        }
        let problem = bad(self.at..self.text.len(), "goes on after the date or time");
        Err(if rest.starts_with(['Z', 'z', '+', '-']) {
            problem
                .label("an offset")
                .help("leave it out: times are local times of the zone in [clock]")
        } else {
            problem.label("not expected here")
        })
    }
}

/// Reads a date.
pub(super) fn date(text: &str) -> Result<Date, Problem> {
    let mut scan = Scan { text, at: 0 };
    let date = scan.date()?;
    if scan.rest().starts_with(['T', 't', ' '])
        && scan.rest().trim_start_matches(['T', 't', ' ']).starts_with(|c: char| c.is_ascii_digit())
    {
        return Err(bad(scan.at..text.len(), "has a time where a date is wanted")
            .label("the date alone is wanted"));
    }
    scan.end()?;
    Ok(date)
}

/// Reads a local date and time.
pub(super) fn local(text: &str) -> Result<Local, Problem> {
    let mut scan = Scan { text, at: 0 };
    let local = date_and_time(&mut scan)?;
    scan.end()?;
    Ok(local)
}

/// Reads a local date and time that may have its offset from UTC.
pub(super) fn claim_time(text: &str) -> Result<ClaimTime, Problem> {
    let mut scan = Scan { text, at: 0 };
    let local = date_and_time(&mut scan)?;
    let offset_s = scan.offset()?;
    scan.end()?;
    Ok(ClaimTime { local, offset_s })
}

/// The time of day after a date in another form, or an example of one.
fn time_in(text: &str) -> String {
    let rest = OtherDate::at_start(text).and_then(|written| text.get(written.len..));
    let time = rest.unwrap_or("").trim_start_matches([' ', 'T', 't']);
    let minutes = minute_of_day(time).unwrap_or(150);
    format!("{:02}:{:02}:00", minutes / 60, minutes % 60)
}

fn date_and_time(scan: &mut Scan) -> Result<Local, Problem> {
    let text = scan.text;
    let date = scan.date().map_err(|mut problem| {
        // what is to be written has a time of day, too
        problem.help = problem.help.map(|help| format!("{help}T{}", time_in(text)));
        problem
    })?;
    if scan.rest().trim().is_empty() {
        let help = format!("write \"{text} 00:00\" for midnight");
        return Err(bad(0..text.len(), "has no time of day").help(help));
    }
    if !(scan.eat('T') || scan.eat('t') || scan.eat(' ')) {
        let help = "write it like \"2026-10-25 02:30\"";
        return Err(bad(scan.at..text.len(), "is not a date and time").help(help));
    }
    let (ms, _) = scan.time()?;
    Ok(Local::new(date, Duration::from_ms(ms as u64)))
}

/// Reads a time of day: ms after midnight.
pub(super) fn time_of_day(text: &str) -> Result<i64, Problem> {
    let mut scan = Scan { text, at: 0 };
    let (ms, _) = scan.time()?;
    scan.end()?;
    Ok(ms)
}

/// Reads a time of day in whole minutes: the minute of the day.
pub(super) fn minute_of_day(text: &str) -> Result<u16, Problem> {
    let mut scan = Scan { text, at: 0 };
    let (ms, _) = scan.time().map_err(|problem| match problem.help {
        // seconds are none of this
        Some(help) if help == SECONDS_TOO => {
            Problem { help: None, ..problem }.help("write it like 02:30")
        }
        help => Problem { help, ..problem },
    })?;
    scan.end()?;
    if ms % 60_000 != 0 {
        return Err(
            bad(0..text.len(), "is not a whole minute").label("entries begin on whole minutes")
        );
    }
    Ok((ms / 60_000) as u16)
}

/// Reads one weekday.
pub(super) fn weekday(word: &str) -> Result<Weekday, Problem> {
    let found = DAY_WORDS.iter().zip(Weekday::ALL).find(|(name, _)| **name == word);
    if let Some((_, day)) = found {
        return Ok(day);
    }
    let lower = word.to_lowercase();
    let long = DAY_WORDS
        .iter()
        .find(|name| lower.len() > 3 && lower.starts_with(**name) && lower.ends_with("day"));
    let near = long.copied().or_else(|| nearest(&lower, DAY_WORDS));
    let help = near.map_or_else(
        || format!("weekdays: {}", DAY_WORDS.join(", ")),
        |near| format!("did you mean \"{near}\"?"),
    );
    Err(Problem::new(codes::UNKNOWN_WORD, 0..word.len(), "has an unknown weekday")
        .label("not a weekday")
        .help(help))
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::quantity::show;
    use super::*;

    /// Code, place in the text and label of what is wrong with it.
    pub(in crate::scenario) fn problem<T: std::fmt::Debug>(
        result: Result<T, Problem>,
        text: &str,
    ) -> (&'static str, String, String) {
        let problem = result.unwrap_err();
        (problem.code, text[problem.at].to_owned(), problem.label)
    }

    #[test]
    fn local_times_in_their_forms() {
        for text in ["2026-10-25T02:30:00", "2026-10-25 02:30", "2026-10-25t02:30:00.000"] {
            assert_eq!(show::local(local(text).unwrap()), "2026-10-25 02:30");
        }
        assert_eq!(show::local(local("2026-10-25 02:30:15.5").unwrap()), "2026-10-25 02:30:15.500");
    }

    #[test]
    fn dates_and_times_that_do_not_exist_say_why() {
        let at = |text: &str| problem(local(text), text);
        assert_eq!(
            at("2026-02-30 01:00"),
            (codes::BAD_DATE, "2026-02-30".into(), "February 2026 has 28 days".into())
        );
        assert_eq!(at("2026-13-01 01:00").2, "there is no month 13");
        assert_eq!(at("2026-10-25 24:00").2, "midnight is 00:00 of the day after");
        assert_eq!(
            at("2026-10-25 02:60"),
            (codes::BAD_DATE, "02:60".into(), "minutes go from 0 to 59".into())
        );
        assert_eq!(at("2026-10-25 02:30:60").2, "seconds go from 0 to 59");
        assert_eq!(at("2026-10-25T02:30:00Z"), (codes::BAD_DATE, "Z".into(), "an offset".into()));
        assert_eq!(at("2026-10-25 02:30+02:00").1, "+02:00");
        assert_eq!(at("1999-12-31 00:00").0, codes::OUT_OF_RANGE);
        for text in [
            "2026-1-25 02:30",
            "26-10-25 02:30",
            "2026-10-25",
            "2026-10-25 2:30",
            "",
            "2026-10-25 02:30:15.0001",
        ] {
            assert_eq!(at(text).0, codes::BAD_DATE, "{text}");
        }
        assert_eq!(problem(date("2026-10-25 02:30"), "2026-10-25 02:30").1, " 02:30");
        assert_eq!(
            problem(minute_of_day("00:45:30"), "00:45:30").2,
            "entries begin on whole minutes"
        );
    }

    #[test]
    fn a_date_in_another_form_is_told_as_it_can_be_read() {
        let help = |problem: Problem| problem.help.unwrap().replace("write it like ", "");
        for (text, is) in [
            ("23. 12. 2026", "2026-12-23"),
            ("3.12.26", "2026-12-03"),
            ("2026-12-3", "2026-12-03"),
            ("31.02.2026", "2026-10-25"),
            ("12/3/2026", "2026-10-25"),
        ] {
            let said = help(date(text).unwrap_err());
            assert_eq!(said, is, "{text}");
            assert!(date(&said).is_ok());
            let said = help(local(text).unwrap_err());
            assert_eq!(said, format!("{is}T02:30:00"), "{text}");
            assert!(local(&said).is_ok());
        }
        assert_eq!(help(local("2.11.2026 12:00").unwrap_err()), "2026-11-02T12:00:00");
        assert_eq!(help(local("2.11.2026 noon").unwrap_err()), "2026-11-02T02:30:00");
    }
}
