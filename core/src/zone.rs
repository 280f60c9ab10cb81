//! Zones as POSIX TZ strings: offset rules, and the two ways between local time
//! and [`Utc`].
//!
//! What POSIX leaves open is settled here. A change belongs to the year its rule
//! was counted in, though the rule's hours may put it into the year before or
//! after. The summer time of a year lasts from that year's start to the first
//! end, of that year or a later one, that is not before it; an end at the very
//! start leaves no summer time. Where the stretches of two years touch or overlap
//! there is no standard time between them.

mod codec;
mod parse;

use crate::civil::{DAY_MS, Local, Year, days_in_month, is_leap};
use crate::entry::GapRule;
use crate::time::Utc;

/// When in a year an offset changes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ChangeDay {
    /// `Mm.w.d`: weekday `day` (0 is Sunday) of week `week` (5 is the last) of `month`.
    MonthWeekDay {
        /// 1 to 12.
        month: u8,
        /// 1 to 5.
        week: u8,
        /// 0 (Sunday) to 6.
        day: u8,
    },
    /// `Jn`: day 1 to 365, 29 February never counted.
    JulianNoLeap(u16),
    /// `n`: day 0 to 365, 29 February counted. Day 365 of a year without one is
    /// 1 January of the next.
    ZeroBased(u16),
}

/// A rule of change: the day, and the local time on it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ChangeRule {
    /// The day of the year.
    pub day: ChangeDay,
    /// Local time of the change in seconds from midnight, by the offset in force
    /// before it; -167:59:59 h to 167:59:59 h (RFC 9636, section 3.3.1).
    pub time_s: i32,
}

/// Summer time: its offset, and its start and end in each year.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Summer {
    /// Seconds east of UTC in summer.
    pub offset_s: i32,
    /// Into summer time.
    pub start: ChangeRule,
    /// Back to standard time.
    pub end: ChangeRule,
}

/// A time zone as a POSIX TZ string describes it, without its abbreviations.
///
/// Offsets and changes are right for the years 1970 to 9999, and by the same
/// rules for some 199 000 years either way; further out the offset stays what
/// it is there, and results stop at the largest and smallest times there are.
/// No input makes a method panic, nor do fields that no TZ string could give.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Zone {
    /// Seconds east of UTC in standard time.
    pub offset_s: i32,
    /// Summer time, where there is one.
    pub summer: Option<Summer>,
}

/// How a local time relates to the line of moments.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LocalKind {
    /// It happens once.
    Once,
    /// It happens twice: clocks are put back over it.
    Repeated,
    /// It never happens: clocks are put forward over it.
    Skipped,
}

/// A change of a zone's offset.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Change {
    /// The first moment of the new offset.
    pub at: Utc,
    /// Seconds east of UTC until then.
    pub offset_before_s: i32,
    /// Seconds east of UTC from then on.
    pub offset_after_s: i32,
}

/// What is wrong with a TZ string, and at which byte.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ZoneError {
    /// Byte position in the string, counted from 0.
    pub at: usize,
    /// What was expected there, or what limit was broken.
    pub what: &'static str,
}

/// Days from 1970-01-01 within which years are counted; moments beyond are taken
/// as the last day within. It keeps all year arithmetic inside an `i32`.
const LIMIT_DAYS: i64 = 73_000_000;

/// Days before each month in a year without 29 February.
const DAYS_BEFORE_MONTH: [u16; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];

/// Years to look ahead for a change. Whether the rules make a change in a year
/// depends on the calendars of that year and its two neighbours, and each
/// sequence of three calendars comes back within 40 years.
const LOOK_AHEAD_YEARS: i32 = 42;

impl Zone {
    /// UTC, without summer time.
    pub const UTC: Self = Self { offset_s: 0, summer: None };

    /// Seconds east of UTC at a moment.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn offset_at(&self, utc: Utc) -> i32 {
        match &self.summer {
            Some(summer) if self.is_summer(summer, utc.as_ms()) => summer.offset_s,
            _ => self.offset_s,
        }
    }

    /// Local time at a moment.
    pub fn to_local(&self, utc: Utc) -> Local {
        Local::from_ms(utc.as_ms().saturating_add(ms(self.offset_at(utc))))
    }

    /// The moment of a local time (D8): of a repeated one the first pass, of a
    /// skipped one by `rule`, where a shift reads it by the offset in force
    /// before the gap (RFC 5545, section 3.3.5).
    pub fn to_utc(&self, local: Local, rule: GapRule) -> Utc {
        let (early, late) = self.readings(local);
        if self.reads(early) {
            return early.utc;
        }
        // What neither reads is skipped: the smaller offset is the one before the
        // gap, so the late reading is the shifted one, and the early one falls
        // before the gap.
        if rule == GapRule::Shift || self.reads(late) {
            return late.utc;
        }
        self.next_change_after(early.utc).map_or(late.utc, |change| change.at)
    }

    /// Whether the local time happens once, twice or never.
    pub fn kind_of(&self, local: Local) -> LocalKind {
        let (early, late) = self.readings(local);
        if early.offset_s == late.offset_s {
            return LocalKind::Once;
        }
        match (self.reads(early), self.reads(late)) {
            (true, true) => LocalKind::Repeated,
            (false, false) => LocalKind::Skipped,
            _ => LocalKind::Once,
        }
    }

    /// The first change of the offset after a moment; `None` where the offset
    /// never changes again. Rules under which summer and standard time have the
    /// same offset, or summer lasts all the year, make no change.
    ///
    /// It looks two or three years ahead for a zone that changes every year, and
    /// at most 42 for others.
    pub fn next_change_after(&self, utc: Utc) -> Option<Change> {
        let summer = self.summer.as_ref()?;
        if summer.offset_s == self.offset_s {
            return None;
        }
        let now_summer = self.is_summer(summer, utc.as_ms());
        let (offset_before_s, offset_after_s) = if now_summer {
            (summer.offset_s, self.offset_s)
        } else {
            (self.offset_s, summer.offset_s)
        };
        let year = Year::of(day_of(utc.as_ms())).number;
        // Starts alone (or ends alone) come in the order of their years.
        for number in year - 1..=year + LOOK_AHEAD_YEARS {
            let at_ms = if now_summer {
                summer.end_ms(Year::new(number))
            } else {
                self.start_ms(summer, Year::new(number))
            };
            if at_ms > utc.as_ms() && self.is_summer(summer, at_ms) != now_summer {
                return Some(Change { at: Utc::from_ms(at_ms), offset_before_s, offset_after_s });
            }
        }
        None
    }

    /// The offset in force at a moment, in ms, and a stretch about the moment in which
    /// it is in force throughout, up to before its end, in UTC ms.
    ///
    /// Every start and end of summer is looked at, whether or not it changes anything:
    /// the stretch can be shorter than it might be.
    pub(crate) fn steady(&self, utc: Utc) -> (i64, core::ops::Range<i64>) {
        let Some(summer) = &self.summer else {
            return (ms(self.offset_s), i64::MIN..i64::MAX);
        };
        let utc_ms = clamp(utc.as_ms());
        let day = day_of(utc_ms);
        let year = Year::of(day);
        let other = match day - year.jan1 {
            ..10 => Year::new(year.number - 1),
            355.. => Year::new(year.number + 1),
            _ => year,
        };
        // Changes of a year lie less than ten days outside of it.
        let mut from = i64::from(year.jan1.min(other.jan1) + 10) * DAY_MS;
        let mut until = i64::from(year.jan1.max(other.jan1) + 355) * DAY_MS;
        let mut note = |at: i64| {
            if at <= utc_ms {
                from = from.max(at);
            } else {
                until = until.min(at);
            }
        };
        let changes = (self.start_ms(summer, year), summer.end_ms(year));
        note(changes.0);
        note(changes.1);
        let is_summer = if Self::is_well_inside(day, year) {
            self.is_summer_by(summer, utc_ms, year, changes)
        } else {
            note(self.start_ms(summer, other));
            note(summer.end_ms(other));
            self.is_summer_near_new_year(summer, utc_ms, year)
        };
        let offset_s = if is_summer { summer.offset_s } else { self.offset_s };
        (ms(offset_s), from..until)
    }

    /// The smaller and the greater of the offsets, in ms.
    pub(crate) fn offsets_ms(&self) -> (i64, i64) {
        let summer_s = self.summer.map_or(self.offset_s, |summer| summer.offset_s);
        (ms(self.offset_s.min(summer_s)), ms(self.offset_s.max(summer_s)))
    }

    /// The local time read by the greater and by the smaller of the offsets: the
    /// moments, the earlier one first, at which a clock may show it.
    fn readings(&self, local: Local) -> (Reading, Reading) {
        let read_by = |offset_s| Reading {
            utc: Utc::from_ms(local.as_ms().saturating_sub(ms(offset_s))),
            offset_s,
        };
        let summer_s = self.summer.map_or(self.offset_s, |summer| summer.offset_s);
        (read_by(self.offset_s.max(summer_s)), read_by(self.offset_s.min(summer_s)))
    }

    /// Whether the offset a reading supposes is the one in force then.
    fn reads(&self, reading: Reading) -> bool {
        self.offset_at(reading.utc) == reading.offset_s
    }

    /// Whether summer time is in force.
    fn is_summer(&self, summer: &Summer, utc_ms: i64) -> bool {
        let utc_ms = clamp(utc_ms);
        let day = day_of(utc_ms);
        let year = Year::of(day);
        if !Self::is_well_inside(day, year) {
            return self.is_summer_near_new_year(summer, utc_ms, year);
        }
        let changes = (self.start_ms(summer, year), summer.end_ms(year));
        self.is_summer_by(summer, utc_ms, year, changes)
    }

    /// Whether no change of another year can lie about a day of this one.
    const fn is_well_inside(day: i32, year: Year) -> bool {
        // A rule's hours and its offset move a change out of its year by at most
        // 168 h + 26 h, and day 365 may add one day: less than ten days.
        day - year.jan1 >= 10 && day - year.jan1 < 355
    }

    /// Whether summer time is in force at a moment well inside a year with this start
    /// and this end.
    #[inline]
    fn is_summer_by(
        &self,
        summer: &Summer,
        utc_ms: i64,
        year: Year,
        (start, end): (i64, i64),
    ) -> bool {
        if utc_ms >= start {
            return utc_ms < end || start > end;
        }
        // Before this year's start it is summer only if last year's start has not
        // met with an end since.
        if let Some(starts_later) = summer.starts_later() {
            return starts_later && utc_ms < end;
        }
        let last = Year::new(year.number - 1);
        let last_end = if utc_ms >= end { end } else { summer.end_ms(last) };
        self.start_ms(summer, last) > last_end
    }

    /// The same for any moment of the year: looks at every summer that could
    /// reach into it.
    fn is_summer_near_new_year(&self, summer: &Summer, utc_ms: i64, year: Year) -> bool {
        (year.number - 2..=year.number + 1).any(|number| {
            let start = self.start_ms(summer, Year::new(number));
            utc_ms >= start
                && (number..=number + 2)
                    .map(|of| summer.end_ms(Year::new(of)))
                    .find(|end| *end >= start)
                    .is_some_and(|end| utc_ms < end)
        })
    }

    /// The change into summer time in a year, in UTC; its local time is by the
    /// offset in force before it, as is that of the change back.
    fn start_ms(&self, summer: &Summer, year: Year) -> i64 {
        summer.start.utc_ms(year, self.offset_s)
    }
}

impl Summer {
    /// Whether the start comes after the end in every year; `None` where the months of
    /// the two do not tell. Neither is moved by more than ten days.
    fn starts_later(&self) -> Option<bool> {
        let (
            ChangeDay::MonthWeekDay { month: start, .. },
            ChangeDay::MonthWeekDay { month: end, .. },
        ) = (self.start.day, self.end.day)
        else {
            return None;
        };
        matches!(start.abs_diff(end), 2..=10).then_some(start > end)
    }

    /// The change back to standard time in a year, in UTC.
    fn end_ms(&self, year: Year) -> i64 {
        self.end.utc_ms(year, self.offset_s)
    }
}

/// A local time read by an offset.
#[derive(Clone, Copy)]
struct Reading {
    utc: Utc,
    offset_s: i32,
}

impl ChangeDay {
    /// Days since 1970-01-01.
    fn in_year(self, year: Year) -> i32 {
        match self {
            Self::MonthWeekDay { month, week, day } => {
                let before = DAYS_BEFORE_MONTH.get(usize::from(month).saturating_sub(1));
                let leap = month > 2 && is_leap(year.number);
                let first = year.jan1 + i32::from(before.map_or(0, |b| *b)) + i32::from(leap);
                // 1970-01-01 was a Thursday, day 4 of a week that begins on Sunday.
                let to_weekday = (i32::from(day) - (first + 4)).rem_euclid(7);
                let mut of_month = to_weekday + 7 * (i32::from(week) - 1);
                // only the last week of a month can be its fourth
                if week > 4 && of_month >= i32::from(days_in_month(year.number, month)) {
                    of_month -= 7;
                }
                first + of_month
            }
            Self::JulianNoLeap(n) => {
                let leap = n >= 60 && is_leap(year.number);
                year.jan1 + i32::from(n) - 1 + i32::from(leap)
            }
            Self::ZeroBased(n) => year.jan1 + i32::from(n),
        }
    }
}

impl ChangeRule {
    /// The moment of the change in a year, where `offset_s` is in force before it.
    fn utc_ms(self, year: Year, offset_s: i32) -> i64 {
        i64::from(self.day.in_year(year)) * DAY_MS + ms(self.time_s) - ms(offset_s)
    }
}

/// Seconds as milliseconds.
fn ms(s: i32) -> i64 {
    i64::from(s) * 1000
}

/// The moment, or the nearest within the days that are counted.
fn clamp(utc_ms: i64) -> i64 {
    utc_ms.clamp(-LIMIT_DAYS * DAY_MS, LIMIT_DAYS * DAY_MS)
}

/// Days since 1970-01-01.
fn day_of(utc_ms: i64) -> i32 {
    clamp(utc_ms).div_euclid(DAY_MS) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(text: &str) -> Zone {
        Zone::parse(text).unwrap()
    }

    fn first_of(year: i32) -> i64 {
        i64::from(Year::new(year).jan1) * DAY_MS
    }

    #[test]
    fn years_begin_where_the_calendar_says() {
        for day in (-800_000..1_200_000).chain([-73_000_000, 73_000_000]) {
            let year = Year::of(day);
            assert!(year.jan1 <= day && day < Year::new(year.number + 1).jan1);
        }
        // 2000-01-01 is 10957 days, a fact of POSIX time (946684800 s).
        assert_eq!(Year::new(2000).jan1, 10_957);
        assert_eq!(Year::new(1970).jan1, 0);
    }

    #[test]
    fn the_quick_way_agrees_with_the_thorough_one() {
        for text in [
            "CET-1CEST,M3.5.0,M10.5.0/3",
            "AEST-10AEDT,M10.1.0,M4.1.0/3",
            "AAA-24:59:59BBB,M12.5.6/167,M6.3.2/-167",
            "AAA24:59:59BBB,M12.5.6/167,M2.1.0/-167",
            "AAA24:59:59BBB,M11.5.6/167,M1.1.0/-167",
            "AAA-24:59:59BBB,M1.5.6/167,M3.1.0/-167",
            "AAA0BBB,M2.1.0/-167,M12.5.6/167",
            "AAA0BBB,M1.5.6/167,M2.1.0/-167",
            "AAA24:59:59BBB,M12.5.6/167,M1.1.0/-167",
            "AAA24:59:59BBB24,365/167,0/-167",
            "AAA0BBB,M3.5.0,J85/2",
            "AAA0BBB,M4.1.0,365/167",
            "AAA0BBB,365/167,M6.1.0",
        ] {
            let zone = zone(text);
            let summer = zone.summer.unwrap();
            let mut seen = [0, 0];
            for hour in 0..24 * 366 * 12 {
                let at = first_of(2019) + hour * 3_600_000;
                let year = Year::of(day_of(at));
                let thorough = zone.is_summer_near_new_year(&summer, at, year);
                assert_eq!(zone.is_summer(&summer, at), thorough, "{text} at {at}");
                seen[usize::from(thorough)] += 1;
            }
            assert!(seen[0] > 1000 && seen[1] > 1000, "{text}: {seen:?}");
        }
    }

    #[test]
    fn a_steady_stretch_is_steady() {
        let texts = [
            "UTC0",
            "CET-1CEST,M3.5.0,M10.5.0/3",
            "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
            "IST-1GMT0,M10.5.0,M3.5.0/1",
            "AAA0BBB,J1/-160,365/167",
            "AAA0BBB,M4.1.0,M4.2.0",
        ];
        for zone in texts.map(zone) {
            let mut at = first_of(2019);
            while at < first_of(2032) {
                let (offset_ms, span) = zone.steady(Utc::from_ms(at));
                assert!(span.contains(&at), "{zone:?} {at}");
                let ends = [span.start, i64::midpoint(span.start, span.end), span.end - 1];
                for moment in ends.into_iter().chain([at]) {
                    let offset_s = zone.offset_at(Utc::from_ms(moment));
                    assert_eq!(ms(offset_s), offset_ms, "{zone:?} {at} {moment}");
                }
                at += 5 * 3_600_000 + 7;
            }
        }
    }

    #[test]
    fn beyond_the_limit_nothing_changes() {
        let zone = zone("CET-1CEST,M3.5.0,M10.5.0/3");
        let limit_ms = LIMIT_DAYS * DAY_MS;
        assert_eq!(zone.next_change_after(Utc::from_ms(limit_ms)), None);
        assert_eq!(zone.next_change_after(Utc::from_ms(i64::MAX)), None);
        let first = zone.next_change_after(Utc::from_ms(i64::MIN)).unwrap();
        assert!((-limit_ms..400 * DAY_MS - limit_ms).contains(&first.at.as_ms()));
        for (far, near) in [(i64::MIN, -limit_ms), (i64::MAX, limit_ms)] {
            let offset_s = zone.offset_at(Utc::from_ms(near));
            assert_eq!(zone.offset_at(Utc::from_ms(far)), offset_s);
        }
        assert_eq!(zone.to_local(Utc::from_ms(i64::MAX)).as_ms(), i64::MAX);
    }

    #[test]
    fn no_moment_and_no_fields_panic() {
        let odd = |n: i32| ChangeRule {
            day: match n.rem_euclid(3) {
                0 => ChangeDay::MonthWeekDay {
                    month: n as u8,
                    week: (n >> 3) as u8,
                    day: (n >> 5) as u8,
                },
                1 => ChangeDay::JulianNoLeap(n as u16),
                _ => ChangeDay::ZeroBased(n as u16),
            },
            time_s: n.wrapping_mul(0x0100_0193),
        };
        for n in (0..70_000_i32).step_by(97) {
            let zone = Zone {
                offset_s: n.wrapping_mul(0x9e37),
                summer: Some(Summer {
                    offset_s: n.wrapping_mul(-0x7001),
                    start: odd(n),
                    end: odd(n + 1),
                }),
            };
            for at in [i64::MIN, -LIMIT_DAYS * DAY_MS, -1, 0, LIMIT_DAYS * DAY_MS, i64::MAX] {
                let _ = zone.to_local(Utc::from_ms(at));
                let _ = zone.next_change_after(Utc::from_ms(at));
                let _ = zone.kind_of(Local::from_ms(at));
                let _ = zone.to_utc(Local::from_ms(at), GapRule::Shift);
                let _ = zone.to_utc(Local::from_ms(at), GapRule::FirstValid);
            }
        }
    }
}
