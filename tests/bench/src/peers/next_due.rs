//! The same search with crates that are made for it. All of them give the same answers
//! at the same instants as this project does.

use chrono::{DateTime, Utc as ChronoUtc};
use jiff::civil::DateTime as Civil;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

use crate::next_due::{Answer, Question};

impl Question {
    /// Crate croner: the next of each entry, and the first of those.
    pub fn croner(&self) -> Answer<'_> {
        let crons: Vec<croner::Cron> = self
            .entries
            .iter()
            .map(|entry| pattern(*entry, false).parse().expect("a pattern"))
            .collect();
        Box::new(move |at_s| {
            let from = DateTime::<ChronoUtc>::from_timestamp(at_s, 0).expect("a time");
            let next = |cron: &croner::Cron| cron.find_next_occurrence(&from, true).expect("one");
            crons.iter().map(next).min().expect("one is due").timestamp()
        })
    }

    /// Crate cron.
    pub fn cron(&self) -> Answer<'_> {
        let crons: Vec<cron::Schedule> = self
            .entries
            .iter()
            .map(|entry| pattern(*entry, true).parse().expect("a pattern"))
            .collect();
        Box::new(move |at_s| {
            let before = DateTime::<ChronoUtc>::from_timestamp(at_s - 1, 0).expect("a time");
            let next = |cron: &cron::Schedule| cron.after(&before).next().expect("one");
            crons.iter().map(next).min().expect("one is due").timestamp()
        })
    }

    /// A search by hand on crate jiff's civil time: the first of all in local time,
    /// which alone is turned into a moment.
    pub fn jiff(&self, zone: &str) -> Answer<'_> {
        let zone = TimeZone::posix(zone).expect("a zone");
        let entries: Vec<(u8, jiff::civil::Time)> = self
            .entries
            .iter()
            .map(|&(days, min)| (days, jiff::civil::time((min / 60) as i8, (min % 60) as i8, 0, 0)))
            .collect();
        Box::new(move |at_s| {
            let at = Timestamp::from_second(at_s).expect("a time");
            let mut from = zone.to_datetime(at);
            loop {
                let next = first_civil(&entries, from);
                let due = zone.to_ambiguous_timestamp(next).compatible().expect("a time");
                if due >= at {
                    return due.as_second();
                }
                // a repeated time is due in its first pass: go on after it
                from = next.checked_add(1.second()).expect("a time");
            }
        })
    }
}

/// The first of all in local time: of each entry the first of the days to come that it
/// runs on and whose time is not over.
fn first_civil(entries: &[(u8, jiff::civil::Time)], from: Civil) -> Civil {
    let date = from.date();
    let next = |&(days, at): &(u8, jiff::civil::Time)| {
        (0..=7)
            .map(|ahead| date.checked_add(ahead.days()).expect("a date"))
            .filter(|date| days >> date.weekday().to_monday_zero_offset() & 1 == 1)
            .map(|date| date.to_datetime(at))
            .find(|due| *due >= from)
            .expect("within a week there is one")
    };
    entries.iter().map(next).min().expect("there are entries")
}

/// As a cron pattern; with seconds and another numbering of weekdays for crate cron.
fn pattern((days, at_min): (u8, u16), with_seconds: bool) -> String {
    const NAMES: [&str; 7] = ["MON", "TUE", "WED", "THU", "FRI", "SAT", "SUN"];
    let days: Vec<&str> = (0..7).filter(|day| days >> day & 1 == 1).map(|day| NAMES[day]).collect();
    let seconds = if with_seconds { "0 " } else { "" };
    format!("{seconds}{} {} * * {}", at_min % 60, at_min / 60, days.join(","))
}
