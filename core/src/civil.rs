//! The proleptic Gregorian calendar: dates, weekdays, local time of day.

use crate::time::Duration;

/// Milliseconds in a civil day.
pub const DAY_MS: i64 = 86_400_000;
/// Milliseconds in a minute.
pub(crate) const MINUTE_MS: i64 = 60_000;
/// Minutes in a civil day.
pub const DAY_MIN: u32 = 1440;

/// A weekday; Monday first, as in ISO 8601.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(missing_docs)]
pub enum Weekday {
    Mon,
    Tue,
    Wed,
    Thu,
    Fri,
    Sat,
    Sun,
}

impl Weekday {
    /// All seven, Monday first.
    pub const ALL: [Self; 7] =
        [Self::Mon, Self::Tue, Self::Wed, Self::Thu, Self::Fri, Self::Sat, Self::Sun];

    /// 0 for Monday to 6 for Sunday.
    pub const fn index(self) -> u32 {
        self as u32
    }
}

/// A set of weekdays.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Days(u8);

impl Days {
    /// None of them.
    pub const NONE: Self = Self(0);
    /// All seven.
    pub const ALL: Self = Self(0x7f);

    /// From a bit mask, Monday in bit 0; bits above 6 are dropped.
    pub const fn from_bits(bits: u8) -> Self {
        Self(bits & 0x7f)
    }

    /// The bit mask, Monday in bit 0.
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// This set and one day more.
    #[must_use]
    pub const fn with(self, day: Weekday) -> Self {
        Self(self.0 | 1 << day.index())
    }

    /// Whether the day is in the set.
    pub const fn contains(self, day: Weekday) -> bool {
        self.0 >> day.index() & 1 == 1
    }

    /// Whether there is no day in the set.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// How many days are in the set, 0 to 7.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn len(self) -> u32 {
        self.0.count_ones()
    }

    /// Each day moved to the day after it, Sunday to Monday.
    #[must_use]
    pub const fn shifted_to_next_day(self) -> Self {
        Self((self.0 << 1 | self.0 >> 6) & 0x7f)
    }
}

/// A date, as days since 1970-01-01 (which is day 0, a Thursday).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Date(i32);

impl Date {
    /// The first date an entry may name: 2000-01-01.
    pub const MIN: Self = Self::from_ymd_unchecked(2000, 1, 1);
    /// The last date an entry may name: 2179-01-01.
    pub const MAX: Self = Self::from_ymd_unchecked(2179, 1, 1);

    /// From days since 1970-01-01.
    pub const fn from_days(days: i32) -> Self {
        Self(days)
    }

    /// Days since 1970-01-01.
    pub const fn days(self) -> i32 {
        self.0
    }

    /// A date by year (1 to 9999), month (1 to 12) and day; `None` where
    /// the calendar has no such date.
    pub const fn from_ymd(year: i32, month: u8, day: u8) -> Option<Self> {
        if year < 1 || year > 9999 || month < 1 || month > 12 || day < 1 {
            return None;
        }
        if day > days_in_month(year, month) {
            return None;
        }
        Some(Self::from_ymd_unchecked(year, month, day))
    }

    /// Days by the era method: years begin in March, so that the leap day is
    /// the last of its year.
    pub(crate) const fn from_ymd_unchecked(year: i32, month: u8, day: u8) -> Self {
        let y = year as u32 - (month <= 2) as u32;
        let mp = (month as u32 + 9) % 12;
        let doy = (153 * mp + 2) / 5 + day as u32 - 1;
        Self((y * 365 + y / 4 - y / 100 + y / 400 + doy) as i32 - 719_468)
    }

    /// Year, month (1 to 12) and day (1 to 31).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn ymd(self) -> (i32, u8, u8) {
        let Year { number, jan1 } = Year::of(self.0);
        let (mut month, mut day) = (1, self.0.wrapping_sub(jan1));
        while month < 12 && day >= days_in_month(number, month) as i32 {
            day -= days_in_month(number, month) as i32;
            month += 1;
        }
        (number, month, (day + 1) as u8)
    }

    /// The day of the week.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn weekday(self) -> Weekday {
        Weekday::ALL[(self.0 as i64 + 3).rem_euclid(7) as usize]
    }

    /// The date so many days later, or earlier where negative.
    #[must_use]
    pub const fn plus_days(self, days: i32) -> Self {
        Self(self.0.saturating_add(days))
    }
}

/// A calendar year: its number, and its 1 January in days since 1970-01-01.
#[derive(Clone, Copy)]
pub(crate) struct Year {
    pub(crate) number: i32,
    pub(crate) jan1: i32,
}

impl Year {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) const fn new(number: i32) -> Self {
        let y = number - 1;
        let leaps = y.div_euclid(4) - y.div_euclid(100) + y.div_euclid(400);
        // 719 162 days from 0001-01-01 to 1970-01-01.
        Self { number, jan1: (y * 365).wrapping_add(leaps - 719_162) }
    }

    /// The year of a day counted from 1970-01-01, by the era method, in 32 bits: the
    /// device divides those by itself.
    pub(crate) const fn of(day: i32) -> Self {
        // Its years begin in March: 29 February is the last day of a year, of a century
        // and of an era of four of them.
        let z = day.saturating_add(719_468);
        let of_era = z.rem_euclid(146_097) as u32;
        let century = (4 * of_era + 3) / 146_097;
        let of_century = of_era - 146_097 * century / 4;
        let year = (4 * of_century + 3) / 1461;
        let of_year = (of_century - 1461 * year / 4) as i32;
        let number = z.div_euclid(146_097) * 400 + (100 * century + year) as i32;
        // day 306 is 1 January
        if of_year >= 306 {
            return Self { number: number + 1, jan1: day.wrapping_sub(of_year - 306) };
        }
        Self { number, jan1: day.wrapping_sub(of_year + 59 + is_leap(number) as i32) }
    }
}

/// Whether the year has a 29 February.
pub const fn is_leap(year: i32) -> bool {
    // of the years that four divides, a hundred divides those that 25 does, and four
    // hundred those of them that 16 does
    year % 4 == 0 && (year % 25 != 0 || year % 16 == 0)
}

/// How many days the month has, 28 to 31; 31 for a month that is not 1 to 12.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub const fn days_in_month(year: i32, month: u8) -> u8 {
    match month {
        2 if is_leap(year) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// A local date and time as a clock on the wall shows it: milliseconds since
/// 1970-01-01T00:00:00 local. It names a moment only together with a zone.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Local(i64);

impl Local {
    /// From milliseconds since 1970-01-01T00:00:00 local.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since 1970-01-01T00:00:00 local.
    pub const fn as_ms(self) -> i64 {
        self.0
    }

    /// A date and a time of day, or at most the last there is.
    pub const fn new(date: Date, time_of_day: Duration) -> Self {
        Self((date.0 as i64 * DAY_MS).saturating_add_unsigned(time_of_day.as_ms()))
    }

    /// The date.
    pub const fn date(self) -> Date {
        Date(self.0.div_euclid(DAY_MS) as i32)
    }

    /// The time since midnight.
    pub const fn time_of_day(self) -> Duration {
        Duration::from_ms(self.0.rem_euclid(DAY_MS) as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_one_that_the_calendar_has() {
        let is = |y, m, d| Date::from_ymd(y, m, d).is_some();
        for (y, m, d) in [(1, 1, 1), (9999, 12, 31), (2024, 2, 29), (2000, 2, 29), (2026, 4, 30)] {
            assert!(is(y, m, d), "{y}-{m}-{d}");
            assert_eq!(Date::from_ymd(y, m, d).unwrap().ymd(), (y, m, d));
        }
        for (y, m, d) in [
            (0, 12, 31),
            (10_000, 1, 1),
            (2026, 0, 1),
            (2026, 13, 1),
            (2026, 1, 0),
            (2026, 1, 32),
            (2026, 4, 31),
            (2026, 2, 29),
            (1900, 2, 29),
        ] {
            assert!(!is(y, m, d), "{y}-{m}-{d}");
        }
    }

    #[test]
    fn days_follow_one_another_through_four_centuries() {
        let mut day = Date::from_ymd(1999, 12, 31).unwrap();
        // 10 956 days from 1970 to there: 946 684 800 s less a day, a fact of POSIX time
        assert_eq!((day.days(), day.weekday()), (10_956, Weekday::Fri));
        for year in 2000..2400 {
            for month in 1..=12 {
                for of_month in 1..=days_in_month(year, month) {
                    let next = day.plus_days(1);
                    assert_eq!(next.ymd(), (year, month, of_month));
                    assert_eq!(Date::from_ymd(year, month, of_month), Some(next));
                    assert_eq!(next.weekday().index(), (day.weekday().index() + 1) % 7);
                    day = next;
                }
            }
        }
        // 400 years are 146 097 days, whole weeks
        assert_eq!(day.days(), 10_956 + 146_097);
    }

    #[test]
    fn a_set_of_days_has_each_day_once() {
        let weekend = Days::NONE.with(Weekday::Sat).with(Weekday::Sun).with(Weekday::Sun);
        assert_eq!((weekend.bits(), weekend.len()), (0b110_0000, 2));
        assert_eq!(weekend.shifted_to_next_day(), Days::NONE.with(Weekday::Sun).with(Weekday::Mon));
        for day in Weekday::ALL {
            assert_eq!(weekend.contains(day), day >= Weekday::Sat, "{day:?}");
            assert!(Days::ALL.contains(day) && !Days::NONE.contains(day));
        }
        assert!(Days::NONE.is_empty() && !weekend.is_empty());
        assert_eq!(Days::from_bits(0xff), Days::ALL, "there are seven");
    }

    #[test]
    fn a_local_time_has_its_date_and_its_time_of_day_before_1970_too() {
        for (ms, day, of_day) in
            [(0, 0, 0), (DAY_MS - 1, 0, DAY_MS - 1), (DAY_MS, 1, 0), (-1, -1, DAY_MS - 1)]
        {
            let (local, of_day) = (Local::from_ms(ms), Duration::from_ms(of_day as u64));
            assert_eq!((local.date().days(), local.time_of_day()), (day, of_day));
            assert_eq!(Local::new(local.date(), of_day).as_ms(), ms);
        }
        let of_day = Duration::from_ms(u64::MAX);
        assert_eq!(Local::new(Date::from_days(1), of_day), Local::from_ms(i64::MAX));
    }
}
