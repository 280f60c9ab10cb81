//! When an entry is due: nominal times by the plain calendar, their moments by
//! an independent civil-time library, found in two ways that share nothing.

use dosewright_core::civil::{Date, Days, Weekday};
use dosewright_core::entry::{Entry, GapRule, Recurrence};
use jiff::tz::TimeZone;

use super::readings::Reading;
use super::zone;

const DAY_MIN: i64 = 1440;
const NOON_MIN: u16 = 720;
const MIN_MS: i64 = 60_000;
const DAY_MS: i64 = 86_400_000;
/// Past every offset, and every move of a time in a gap, that a zone can have.
const MARGIN_MS: i64 = 3 * DAY_MS;

/// What makes a weekly entry due, apart from any zone. A nominal time is a
/// minute of local time counted from 1970-01-01 00:00 local.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weekly {
    days: Days,
    at_min: u16,
    by_night: bool,
    first: Option<Date>,
    last: Option<Date>,
    gap_rule: GapRule,
    reading: Option<Reading>,
}

impl Weekly {
    /// Of a weekly entry; `None` for another.
    pub fn of(entry: &Entry, reading: Option<Reading>) -> Option<Self> {
        let Recurrence::Weekly { days, at_min, by_night } = entry.recurrence else { return None };
        let gap_rule = match reading {
            Some(Reading::SkippedAtFirstValid) => GapRule::FirstValid,
            _ => entry.gap_rule,
        };
        let (first, last) = (entry.first, entry.last);
        Some(Self { days, at_min, by_night, first, last, gap_rule, reading })
    }

    /// Days since 1970-01-01 of the date, or of the trading night, that a time
    /// on this calendar day belongs to: a night runs from noon to noon.
    fn named(&self, calendar_day: i64) -> i64 {
        let after_midnight = self.by_night && self.at_min < NOON_MIN;
        let on_named_day = self.reading == Some(Reading::NightOnNamedDay);
        if after_midnight && !on_named_day { calendar_day - 1 } else { calendar_day }
    }

    /// The date or night that a nominal time belongs to.
    pub fn date_or_night(&self, nominal: i64) -> Date {
        Date::from_days(self.named(nominal.div_euclid(DAY_MIN)) as i32)
    }

    /// The date by which closed dates are looked up.
    pub fn closed_date(&self, nominal: i64) -> Date {
        if self.reading == Some(Reading::ClosedByCalendar) {
            return Date::from_days(nominal.div_euclid(DAY_MIN) as i32);
        }
        self.date_or_night(nominal)
    }

    fn day_counts(&self, calendar_day: i64) -> bool {
        let named = self.named(calendar_day);
        // day 0 was a Thursday
        let weekday = Weekday::ALL[(named + 3).rem_euclid(7) as usize];
        self.days.contains(weekday)
            && self.first.is_none_or(|d| named >= i64::from(d.days()))
            && self.last.is_none_or(|d| named <= i64::from(d.days()))
    }

    /// Whether the entry is due at this minute of local time.
    pub fn is_nominal(&self, minute: i64) -> bool {
        minute.rem_euclid(DAY_MIN) == i64::from(self.at_min)
            && self.day_counts(minute.div_euclid(DAY_MIN))
    }

    /// The first nominal time not before `from`.
    pub fn next_nominal(&self, from: i64) -> Option<i64> {
        let at = i64::from(self.at_min);
        let mut day = (from - at + DAY_MIN - 1).div_euclid(DAY_MIN);
        if let Some(first) = self.first {
            day = day.max(i64::from(first.days()));
        }
        // one more than a week: the night before the first day may count
        let days = day..day + 9;
        days.into_iter().find(|&d| self.day_counts(d)).map(|d| d * DAY_MIN + at)
    }

    /// How many nominal times lie from `first` to `last`, both included.
    pub fn count(&self, first: i64, last: i64) -> u64 {
        let mut count = 0;
        let mut next = self.next_nominal(first);
        while let Some(n) = next.filter(|&n| n <= last) {
            count += 1;
            next = self.next_nominal(n + 1);
        }
        count
    }

    /// The shortest time from one nominal time to the next, in ms.
    pub fn shortest_gap_ms(&self) -> i64 {
        let on: Vec<i64> = (0..7).filter(|&d| self.days.bits() >> d & 1 == 1).collect();
        let gap = |(i, &d): (usize, &i64)| match on.get(i + 1) {
            Some(next) => next - d,
            None => on.first().map_or(7, |first| first + 7 - d),
        };
        on.iter().enumerate().map(gap).min().unwrap_or(7) * DAY_MS
    }
}

/// A way to find the moments of nominal times.
pub trait Finder: std::fmt::Debug {
    /// The moment of a nominal time in ms since 1970 UTC; `None` beyond the
    /// calendar.
    fn moment(&self, tz: &TimeZone, weekly: &Weekly, nominal: i64) -> Option<i64>;

    /// The first nominal time whose moment is not before `utc_ms`.
    fn first_from(&self, tz: &TimeZone, weekly: &Weekly, utc_ms: i64) -> Option<i64>;
}

/// Day by day, asking the library for the moment of each.
#[derive(Debug, Clone, Copy, Default)]
pub struct DayByDay;

impl Finder for DayByDay {
    fn moment(&self, tz: &TimeZone, weekly: &Weekly, nominal: i64) -> Option<i64> {
        let local = nominal * MIN_MS;
        match weekly.gap_rule {
            GapRule::Shift => zone::utc_ms(tz, local),
            GapRule::FirstValid => zone::utc_ms_first_valid(tz, local),
        }
    }

    fn first_from(&self, tz: &TimeZone, weekly: &Weekly, utc_ms: i64) -> Option<i64> {
        let start = (zone::local_ms(tz, utc_ms) - MARGIN_MS).div_euclid(MIN_MS);
        let mut next = weekly.next_nominal(start)?;
        while self.moment(tz, weekly, next)? < utc_ms {
            next = weekly.next_nominal(next + 1)?;
        }
        Some(next)
    }
}

/// Minute by minute: a clock on a wall is watched, and nothing is computed. A
/// minute that it shows for the first time happens; minutes that it jumps over
/// happen later by the length of the jump, or at once where the entry says so.
#[derive(Debug, Clone, Copy, Default)]
pub struct MinuteByMinute;

impl MinuteByMinute {
    /// Watches from `from_ms` on and tells `happens` of each local minute and
    /// its moment, until that says it has seen enough or `until_ms` is over.
    fn watch(
        tz: &TimeZone,
        rule: GapRule,
        from_ms: i64,
        until_ms: i64,
        happens: &mut dyn FnMut(i64, i64) -> bool,
    ) {
        let step = if Self::is_in_whole_minutes(tz, from_ms) { MIN_MS } else { 1000 };
        let mut now = from_ms.div_euclid(MIN_MS) * MIN_MS;
        let mut latest = zone::local_ms(tz, now) - step;
        let mut moved: Vec<(i64, i64)> = Vec::new();
        while now <= until_ms {
            let shown = zone::local_ms(tz, now);
            let expected = latest + step;
            if shown > expected {
                let mut minute = expected.div_euclid(MIN_MS) + i64::from(expected % MIN_MS != 0);
                while minute * MIN_MS < shown {
                    let later = match rule {
                        GapRule::Shift => minute * MIN_MS - expected,
                        GapRule::FirstValid => 0,
                    };
                    moved.push((now + later, minute));
                    minute += 1;
                }
            }
            while let Some(i) = moved.iter().position(|&(at, _)| at <= now) {
                let (at, minute) = moved.remove(i);
                if happens(minute, at) {
                    return;
                }
            }
            if shown > latest {
                if shown % MIN_MS == 0 && happens(shown / MIN_MS, now) {
                    return;
                }
                latest = shown;
            }
            now += step;
        }
    }

    fn is_in_whole_minutes(tz: &TimeZone, from_ms: i64) -> bool {
        let Ok(from) = jiff::Timestamp::from_millisecond(from_ms) else { return false };
        let changes = tz.following(from).take(4);
        zone::offset_s(tz, from_ms) % 60 == 0
            && changes
                .into_iter()
                .all(|c| c.offset().seconds() % 60 == 0 && c.timestamp().as_second() % 60 == 0)
    }
}

impl Finder for MinuteByMinute {
    fn moment(&self, tz: &TimeZone, weekly: &Weekly, nominal: i64) -> Option<i64> {
        let mut found = None;
        let around = nominal * MIN_MS;
        let span = (around - MARGIN_MS, around + MARGIN_MS);
        Self::watch(tz, weekly.gap_rule, span.0, span.1, &mut |minute, at| {
            if minute == nominal {
                found = Some(at);
            }
            found.is_some()
        });
        found
    }

    fn first_from(&self, tz: &TimeZone, weekly: &Weekly, utc_ms: i64) -> Option<i64> {
        let day_ms = |d: Date| i64::from(d.days()) * DAY_MS;
        let start = weekly.first.map_or(utc_ms, |d| utc_ms.max(day_ms(d))) - MARGIN_MS;
        let mut end = start + 2 * MARGIN_MS + 9 * DAY_MS;
        if let Some(last) = weekly.last {
            end = end.min(day_ms(last) + MARGIN_MS);
        }
        let mut found = None;
        Self::watch(tz, weekly.gap_rule, start, end, &mut |minute, at| {
            if at >= utc_ms && weekly.is_nominal(minute) {
                found = Some(minute);
            }
            found.is_some()
        });
        found
    }
}
