//! One line of the timetable: when, how much, over what window.

use crate::civil::{DAY_MIN, DAY_MS, Date, Days};
use crate::time::Instant;
use crate::units::Volume;

/// An entry's name for life: never reused, it survives edits and whole new
/// timetables. From 1 to 65 534: the two others stand for no entry, and for several.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EntryId(pub u16);

impl EntryId {
    /// No entry.
    pub(crate) const NONE: Self = Self(0);
    /// Several entries whose deliveries are kept as one.
    pub(crate) const SEVERAL: Self = Self(u16::MAX);
}

/// The place of a due in its entry's own order. For a weekly entry the minute of
/// local time at which it is meant, counted from 1970-01-01 00:00 local; for an
/// interval entry the count of intervals from its start.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Nominal(pub u32);

impl Nominal {
    /// The next in order, whether or not the entry has a due there.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

/// What to do with a weekly due in the hour that spring skips (D8).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum GapRule {
    /// Move it by the length of the gap: 02:30 runs at 03:30, the reading of
    /// RFC 5545, section 3.3.5.
    #[default]
    Shift,
    /// Run it at the first valid instant: 02:30 runs at 03:00.
    FirstValid,
}

/// When an entry's doses are due.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Recurrence {
    /// On weekdays at a local time of day.
    Weekly {
        /// The weekdays, or the trading nights where `by_night` is set.
        days: Days,
        /// Minute of the day, 0 to 1439.
        at_min: u16,
        /// The days are trading nights: a night runs from noon to noon, so a
        /// time before noon falls on the calendar day after the night's name.
        by_night: bool,
    },
    /// Every so often in elapsed time, blind to the wall clock.
    Interval {
        /// Milliseconds from one due to the next, a minute to 366 days.
        every_ms: u64,
        /// The instant of due 0.
        from: Instant,
    },
}

/// One line of the timetable.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Its name for life.
    pub id: EntryId,
    /// A disabled entry has no dues.
    pub enabled: bool,
    /// When doses are due.
    pub recurrence: Recurrence,
    /// The dose, up to 100 l.
    pub volume: Volume,
    /// Time over which the dose is spread, in ms, up to a week; its start is the due time.
    pub window_ms: u32,
    /// Time after the window in which a disturbed dose may still finish, in ms, up to a week.
    pub grace_ms: u32,
    /// First date (or trading night) with a due. Weekly entries only.
    pub first: Option<Date>,
    /// Last date (or trading night) with a due. Weekly entries only.
    pub last: Option<Date>,
    /// Whether closed dates keep this entry from running.
    pub observes_closed: bool,
    /// What happens in the hour that spring skips.
    pub gap_rule: GapRule,
    /// How many pulses to make of a dose; `None` leaves it to the planner.
    pub pulses: Option<u16>,
}

/// A stretch of dates, both ends included, on which entries marked so do not
/// run. For entries by night they are nights.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ClosedDates {
    /// The first closed date.
    pub first: Date,
    /// The last closed date.
    pub last: Date,
}

/// Noon, in minutes of the day: a trading night runs from noon to noon.
const NOON_MIN: u16 = 720;

/// Whether a weekly due at a minute falls on the day after the one, or the night, that it
/// is named by.
pub(crate) const fn is_next_day(by_night: bool, at_min: u16) -> bool {
    by_night && at_min < NOON_MIN
}

const DAY: u64 = DAY_MS as u64;
const MINUTE: u64 = crate::civil::MINUTE_MS as u64;

impl Entry {
    /// The longest window, and the longest grace after it: a week, in ms.
    pub const LONGEST_WINDOW_MS: u32 = (7 * DAY) as u32;

    /// The first field that is out of its range. An entry that has one is neither
    /// accepted nor read back from the ledger.
    pub fn bad_field(&self) -> Option<&'static str> {
        let dated = self.first.is_some() || self.last.is_some();
        match self.recurrence {
            Recurrence::Weekly { days, at_min, .. } => {
                if days.is_empty() {
                    return Some("days");
                }
                if u32::from(at_min) >= DAY_MIN {
                    return Some("at");
                }
            }
            Recurrence::Interval { every_ms, .. } => {
                // a minute to a year: less is no interval of doses, more overflows
                if !(MINUTE..=366 * DAY).contains(&every_ms) {
                    return Some("interval");
                }
                if dated {
                    return Some("first and last");
                }
            }
        }
        let in_range = |d: Option<Date>| d.is_none_or(|d| (Date::MIN..=Date::MAX).contains(&d));
        if !in_range(self.first) || !in_range(self.last) {
            return Some("first and last");
        }
        if self.first.zip(self.last).is_some_and(|(first, last)| first > last) {
            return Some("first and last");
        }
        if self.volume == Volume::ZERO || self.volume > Volume::from_ml(100_000) {
            return Some("volume");
        }
        if self.window_ms == 0 || self.window_ms > Self::LONGEST_WINDOW_MS {
            return Some("window");
        }
        if self.grace_ms > Self::LONGEST_WINDOW_MS {
            return Some("grace");
        }
        if self.pulses == Some(0) {
            return Some("pulses");
        }
        None
    }

    /// The same of one that is to be put in force, its number looked at too: the memory may
    /// have one of before without.
    pub(crate) fn bad_field_or_number(&self) -> Option<&'static str> {
        match self.id {
            EntryId::NONE | EntryId::SEVERAL => Some("number"),
            _ => self.bad_field(),
        }
    }
}

/// An entry that unit tests are made with: enabled, in ten minutes, nothing else to it.
#[cfg(test)]
pub(crate) const fn plain(id: u16, recurrence: Recurrence, volume: Volume) -> Entry {
    Entry {
        id: EntryId(id),
        enabled: true,
        recurrence,
        volume,
        window_ms: 600_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::civil::Weekday;

    const WEEKLY: Recurrence =
        Recurrence::Weekly { days: Days::NONE.with(Weekday::Mon), at_min: 45, by_night: false };
    const HOURLY: Recurrence = Recurrence::Interval { every_ms: 3_600_000, from: Instant::ZERO };

    fn bad(recurrence: Recurrence, change: impl FnOnce(&mut Entry)) -> Option<&'static str> {
        let mut entry = plain(1, recurrence, Volume::from_ml(120));
        change(&mut entry);
        entry.bad_field()
    }

    #[test]
    fn each_field_of_an_entry_has_its_range() {
        const WEEK_MS: u32 = 7 * 86_400_000;
        for recurrence in [WEEKLY, HOURLY] {
            assert_eq!(bad(recurrence, |_| ()), None);
            for (nl, is) in [
                (0, Some("volume")),
                (1, None),
                (100_000_000_000, None),
                (100_000_000_001, Some("volume")),
            ] {
                assert_eq!(bad(recurrence, |e| e.volume = Volume::from_nl(nl)), is, "{nl} nl");
            }
            let window = |ms| bad(recurrence, |e| e.window_ms = ms);
            assert_eq!(
                [0, 1, WEEK_MS, WEEK_MS + 1].map(window),
                [Some("window"), None, None, Some("window")]
            );
            let grace = |ms| bad(recurrence, |e| e.grace_ms = ms);
            assert_eq!([0, WEEK_MS, WEEK_MS + 1].map(grace), [None, None, Some("grace")]);
            assert_eq!(bad(recurrence, |e| e.pulses = Some(0)), Some("pulses"));
            assert_eq!(bad(recurrence, |e| e.pulses = Some(1)), None);
        }
        let at = |days, at_min| bad(Recurrence::Weekly { days, at_min, by_night: true }, |_| ());
        assert_eq!([at(Days::ALL, 1439), at(Days::ALL, 1440)], [None, Some("at")]);
        assert_eq!(at(Days::NONE, 45), Some("days"));
        let every = |every_ms| bad(Recurrence::Interval { every_ms, from: Instant::ZERO }, |_| ());
        let year_ms = 366 * 86_400_000;
        assert_eq!(
            [59_999, 60_000, year_ms, year_ms + 1].map(every),
            [Some("interval"), None, None, Some("interval")]
        );
    }

    #[test]
    fn first_and_last_are_dates_in_their_order_of_weekly_entries() {
        let dates = |first: Option<Date>, last: Option<Date>| {
            bad(WEEKLY, |e| (e.first, e.last) = (first, last)).is_none()
        };
        let day = Date::from_ymd(2026, 10, 19);
        let next = day.map(|d| d.plus_days(1));
        assert!(dates(day, None) && dates(None, day) && dates(day, next) && dates(day, day));
        assert!(!dates(next, day));
        let (min, max) = (Date::MIN, Date::MAX);
        assert!(dates(Some(min), Some(max)));
        for out in [min.plus_days(-1), max.plus_days(1)] {
            assert!(!dates(Some(out), None) && !dates(None, Some(out)), "{out:?}");
        }
        // an interval goes by no calendar
        assert_eq!(bad(HOURLY, |e| e.first = day), Some("first and last"));
        assert_eq!(bad(HOURLY, |e| e.last = day), Some("first and last"));
    }
}
