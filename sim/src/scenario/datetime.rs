//! Dates, local times and moments as they are written.

use std::ops::Range;

use dosewright_core::civil::{DAY_MS, Date, Local, Weekday, days_in_month};
use dosewright_core::entry::GapRule;
use dosewright_core::time::{Duration, Utc};
use dosewright_core::zone::{LocalKind, Zone};

use super::model::{ClaimTime, Moment};
use super::nearest::nearest;
use super::other_date::{EXAMPLE, OtherDate};
use super::quantity::{self, Problem, show};
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

fn bad(at: Range<usize>, what: &str) -> Problem {
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

/// A time that the clocks skip, moved by as much; any other as it is.
pub(super) fn existing(zone: &Zone, local: Local) -> Local {
    zone.to_local(zone.to_utc(local, GapRule::Shift))
}

/// What a written moment needs to become one.
#[derive(Clone, Copy)]
pub(super) struct RunBounds {
    pub(super) start: Local,
    pub(super) run_for: Option<Duration>,
    /// `None` where it cannot be read: local times are then as far apart as they look.
    pub(super) zone: Option<Zone>,
}

impl RunBounds {
    fn utc_ms(&self, local: Local) -> i64 {
        self.zone.map_or(local.as_ms(), |zone| zone.to_utc(local, GapRule::Shift).as_ms())
    }

    /// How long after the start a local time is, in ms of true time.
    pub(super) fn ms_after_start(&self, local: Local) -> i64 {
        self.utc_ms(local).saturating_sub(self.utc_ms(self.start))
    }

    fn end_ms(&self) -> Option<i64> {
        Some(self.utc_ms(self.start).saturating_add_unsigned(self.run_for?.as_ms()))
    }

    /// As [`existing`], where the zone is known.
    pub(super) fn existing(&self, local: Local) -> Local {
        self.zone.map_or(local, |zone| existing(&zone, local))
    }

    /// The offset from UTC, in s, that a local time has with the one that it is said to have,
    /// if that is another.
    pub(super) fn other_offset(&self, time: ClaimTime) -> Option<i32> {
        let (zone, said_s) = (self.zone?, time.offset_s?);
        let offset_s = zone.offset_at(Utc::from_ms(time.place_ms()));
        (offset_s != said_s).then_some(offset_s)
    }

    /// The moment of a local time. Its offset tells which of two it is; where it is not one
    /// of them, they are told.
    fn moment_of(&self, time: ClaimTime) -> Result<Moment, String> {
        let Some((zone, said_s)) = self.zone.zip(time.offset_s) else {
            return Ok(Moment::Local(time.local));
        };
        let utc = Utc::from_ms(time.place_ms());
        let first_ms = self.utc_ms(time.local);
        if zone.offset_at(utc) != said_s {
            let at = |ms: i64| show::offset(zone.offset_at(Utc::from_ms(ms)));
            return Err(match zone.kind_of(time.local) {
                LocalKind::Skipped => "the clocks skip this time".to_owned(),
                LocalKind::Once => format!("it is {} then", at(first_ms)),
                LocalKind::Repeated => {
                    let change = zone.next_change_after(Utc::from_ms(first_ms));
                    let second = change.map_or(first_ms, |change| change.at.as_ms());
                    format!("it is {}, then {}", at(first_ms), at(second))
                }
            });
        }
        let after = utc.as_ms().saturating_sub(self.utc_ms(self.start));
        match u64::try_from(after) {
            Ok(after) if utc.as_ms() != first_ms => Ok(Moment::After(Duration::from_ms(after))),
            _ => Ok(Moment::Local(time.local)),
        }
    }

    /// Local time at the end of the run.
    pub(super) fn end(&self) -> Option<Local> {
        let end_ms = self.end_ms()?;
        Some(self.zone.map_or(Local::from_ms(end_ms), |zone| zone.to_local(Utc::from_ms(end_ms))))
    }

    pub(super) fn is_before_start(&self, local: Local) -> bool {
        self.utc_ms(local) < self.utc_ms(self.start)
    }

    pub(super) fn is_after_end(&self, local: Local) -> bool {
        self.end_ms().is_some_and(|end_ms| self.utc_ms(local) > end_ms)
    }
}

/// Reads a moment. `None` for a weekday while the start is not known: the
/// start's own problem is reported already.
pub(super) fn moment(text: &str, bounds: Option<RunBounds>) -> Result<Option<Moment>, Problem> {
    let body = text.trim();
    let begin = text.len() - text.trim_start().len();
    let unreadable = |at: Range<usize>| Problem::new(codes::BAD_MOMENT, at, "is not a moment");
    let forms = "write \"fri 00:50:20\", \"2026-10-25 02:30\", \"+3 d 4 h\" or \"dose 3 pulse 2\"";
    let shift = |mut problem: Problem, by: usize| {
        problem.at = problem.at.start + by..problem.at.end + by;
        problem
    };
    if let Some(rest) = body.strip_prefix('+') {
        let ms = quantity::duration(rest).map_err(|p| shift(p, begin + 1))?;
        let most = i128::from(u32::MAX) * 1000 * 1000;
        if !(0..=most).contains(&ms) {
            return Err(Problem::new(
                codes::OUT_OF_RANGE,
                0..text.len(),
                "is too long after the start",
            ));
        }
        return Ok(Some(Moment::After(Duration::from_ms(ms as u64))));
    }
    if body.starts_with("dose") {
        let words: Vec<&str> = body.split_whitespace().collect();
        let count =
            |word: &str| word.parse::<u32>().ok().filter(|n| *n > 0 && !word.starts_with('+'));
        return match words.as_slice() {
            ["dose", dose, "pulse", pulse] => match (count(dose), count(pulse)) {
                (Some(dose), Some(pulse)) => Ok(Some(Moment::Pulse { dose, pulse })),
                _ => Err(unreadable(0..text.len()).label("doses and pulses are counted from 1")),
            },
            _ => Err(unreadable(0..text.len()).label("a dose and a pulse are wanted").help(forms)),
        };
    }
    if body.starts_with(|c: char| c.is_ascii_digit()) {
        let time = claim_time(body).map_err(|p| shift(p, begin))?;
        let Some(bounds) = bounds else {
            return Ok(time.offset_s.is_none().then_some(Moment::Local(time.local)));
        };
        return bounds.moment_of(time).map(Some).map_err(|label| {
            bad(0..text.len(), "has an offset that the zone does not have then").label(label)
        });
    }
    let word = body.split_whitespace().next().unwrap_or("");
    if word.is_empty() {
        return Err(unreadable(0..text.len()).help(forms));
    }
    let rest = body.get(word.len()..).unwrap_or("");
    let time_at = begin + word.len() + rest.len() - rest.trim_start().len();
    let time = rest.trim_start();
    let day = match weekday(word) {
        Ok(day) => day,
        Err(problem) if time.starts_with(|c: char| c.is_ascii_digit()) => {
            return Err(shift(problem, begin));
        }
        Err(_) => return Err(unreadable(0..text.len()).help(forms)),
    };
    if time.is_empty() {
        return Err(unreadable(0..text.len()).label("a weekday without a time of day").help(forms));
    }
    let mut scan = Scan { text: time, at: 0 };
    let (ms, _) = scan.time().map_err(|p| shift(p, time_at))?;
    scan.end().map_err(|p| shift(p, time_at))?;
    Ok(bounds.map(|bounds| Moment::Local(first_at_or_after(&bounds, day, ms))))
}

/// The first time at or after the start that falls on this weekday at this time.
fn first_at_or_after(bounds: &RunBounds, day: Weekday, ms: i64) -> Local {
    let start = bounds.start;
    let ahead = (i64::from(day.index()) - i64::from(start.date().weekday().index())).rem_euclid(7);
    let midnight = i64::from(start.date().days()) * DAY_MS;
    let candidate = Local::from_ms(midnight + ahead * DAY_MS + ms);
    if bounds.is_before_start(candidate) {
        Local::from_ms(candidate.as_ms() + 7 * DAY_MS)
    } else {
        candidate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problem<T: std::fmt::Debug>(
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

    #[test]
    fn moments_in_their_forms() {
        // 2026-10-19 is a Monday
        let start = local("2026-10-19 12:00").unwrap();
        let bounds = Some(RunBounds { start, run_for: None, zone: None });
        let at = |text: &str| match moment(text, bounds).unwrap().unwrap() {
            Moment::Local(local) => show::local(local),
            other => format!("{other:?}"),
        };
        assert_eq!(at("fri 00:50:20"), "2026-10-23 00:50:20");
        assert_eq!(at("mon 12:00"), "2026-10-19 12:00", "at the start itself");
        assert_eq!(at("mon 11:59"), "2026-10-26 11:59", "a week later");
        assert_eq!(at("2026-10-25 02:30"), "2026-10-25 02:30");
        assert_eq!(moment("+3 d 4 h", bounds), Ok(Some(Moment::After(Duration::from_h(76)))));
        assert_eq!(moment("dose 3 pulse 2", bounds), Ok(Some(Moment::Pulse { dose: 3, pulse: 2 })));
        assert_eq!(moment("fri 00:50", None), Ok(None));
    }

    #[test]
    fn an_offset_tells_which_of_two_moments_it_is() {
        let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let start = local("2026-10-19 12:00").unwrap();
        let bounds = Some(RunBounds { start, run_for: None, zone: Some(zone) });
        let at = |text: &str| moment(text, bounds);
        let plain = Ok(Some(Moment::Local(local("2026-10-25 02:30").unwrap())));
        assert_eq!(at("2026-10-25 02:30"), plain);
        assert_eq!(at("2026-10-25 02:30+02:00"), plain);
        // 5 days and 14 h 30 min, and the hour that comes twice
        let second = Ok(Some(Moment::After(Duration::from_min(5 * 1440 + 14 * 60 + 30 + 60))));
        assert_eq!(at("2026-10-25 02:30 +01:00"), second);
        assert_eq!(at("2026-10-25T02:30:00+01:00"), second);
        let other = |text: &str| problem(at(text), text);
        let text = "2026-10-25 02:30+03:00";
        assert_eq!(other(text).0, codes::BAD_DATE);
        assert_eq!(other(text).2, "it is +02:00, then +01:00");
        assert_eq!(other("2026-10-26 02:30+02:00").2, "it is +01:00 then");
        assert_eq!(other("2026-10-20 12:00Z").2, "it is +02:00 then");
        // one before the start is told as such by its local time
        let early = Moment::Local(local("2026-10-01 12:00").unwrap());
        assert_eq!(at("2026-10-01 12:00+02:00"), Ok(Some(early)));
        let spring = Some(RunBounds {
            zone: Some(zone),
            start: local("2027-03-01 00:00").unwrap(),
            run_for: None,
        });
        let text = "2027-03-28 02:30+01:00";
        assert_eq!(problem(moment(text, spring), text).2, "the clocks skip this time");
    }

    #[test]
    fn what_is_no_moment_says_where() {
        let at = |text: &str| problem(moment(text, None), text);
        assert_eq!(at("friday night").0, codes::BAD_MOMENT);
        assert_eq!(at("thr 00:50"), (codes::UNKNOWN_WORD, "thr".into(), "not a weekday".into()));
        assert_eq!(
            at("fri 25:00"),
            (codes::BAD_DATE, "25:00".into(), "hours go from 0 to 23".into())
        );
        assert_eq!(at("+3 moons").1, "moons");
        for text in
            ["", "fri", "dose 3", "dose 0 pulse 1", "dose 1 pulse -1", "dose x pulse 1", "now"]
        {
            assert_eq!(at(text).0, codes::BAD_MOMENT, "{text}");
        }
    }
}
