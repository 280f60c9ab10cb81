//! Zones that no place has, and by which no run could be judged or told.

use dosewright_core::zone::{ChangeDay, ChangeRule, Zone};
use jiff::civil::{Date, Weekday, date};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

/// Why no run by a zone could be judged or told: what its traces cannot say, or readers of
/// TZ strings do not agree on.
pub(super) fn unjudged(zone: &Zone) -> Option<&'static str> {
    let summer_s = zone.summer.map_or(zone.offset_s, |summer| summer.offset_s);
    if zone.offset_s.abs().max(summer_s.abs()) >= 86_400 {
        return Some("24 h or more from UTC, which neither RFC 3339 nor RFC 5545 can say");
    }
    read_otherwise(zone)
}

/// What of a zone's changes the auditor's library reads otherwise than the device does, where
/// POSIX leaves open what holds; `None` where both go by the same local time.
pub fn read_otherwise(zone: &Zone) -> Option<&'static str> {
    let summer = zone.summer?;
    let ahead_s = i64::from(summer.offset_s) - i64::from(zone.offset_s);
    let outside = Some("a change of the clocks can fall outside of its year");
    let (mut last_s, mut is_start_first) = (None, None);
    // each sequence of three calendars comes back within 40 years
    for year in 2000..=2041 {
        let [new_year_s, next_s] = [year, year + 1].map(|year| midnight_s(date(year, 1, 1)));
        let [start_s, end_s] = [summer.start, summer.end].map(|rule| standard_s(rule, year));
        let (Some(start_s), Some(end_s)) = (start_s, end_s.map(|end_s| end_s - ahead_s)) else {
            return outside;
        };
        // summer all the year
        if (start_s, end_s) == (new_year_s, next_s) {
            continue;
        }
        for at_s in [start_s.min(end_s), start_s.max(end_s)] {
            // by the one offset or the other, or by UTC
            if !(new_year_s + 2 * DAY_S..=next_s - 2 * DAY_S).contains(&at_s) {
                return outside;
            }
            if last_s.is_some_and(|last_s| at_s - last_s < DAY_S) {
                return Some("two changes of the clocks can lie within a day");
            }
            last_s = Some(at_s);
        }
        if *is_start_first.get_or_insert(start_s < end_s) != (start_s < end_s) {
            return Some("which change of the clocks comes first differs from year to year");
        }
    }
    None
}

const DAY_S: i64 = 86_400;

/// The moment of a change in a year by the offset before it, in seconds since 1970 as if that
/// were UTC; `None` where the day is none of the year.
fn standard_s(rule: ChangeRule, year: i16) -> Option<i64> {
    let first = date(year, 1, 1);
    let day = match rule.day {
        ChangeDay::MonthWeekDay { month, week, day } => {
            let nth = if week == 5 { -1 } else { week.cast_signed() };
            let weekday = Weekday::from_sunday_zero_offset(day.cast_signed()).ok()?;
            date(year, month.cast_signed(), 1).nth_weekday_of_month(nth, weekday).ok()?
        }
        ChangeDay::JulianNoLeap(n) => {
            let leap_day = i64::from(n >= 60 && first.in_leap_year());
            first.checked_add((i64::from(n) - 1 + leap_day).days()).ok()?
        }
        ChangeDay::ZeroBased(n) => first.checked_add(i64::from(n).days()).ok()?,
    };
    (day.year() == year).then(|| midnight_s(day) + i64::from(rule.time_s))
}

/// A day's beginning in seconds since 1970 as if it were UTC.
fn midnight_s(day: Date) -> i64 {
    TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).map_or(0, Timestamp::as_second)
}
