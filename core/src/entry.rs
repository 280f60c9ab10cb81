//! One line of the timetable: when, how much, over what window.

use crate::civil::{DAY_MIN, DAY_MS, Date, Days};
use crate::time::Instant;
use crate::units::Volume;

/// An entry's name for life: never reused, it survives edits and whole new
/// timetables.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EntryId(pub u16);

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
        /// Milliseconds from one due to the next, at least a minute.
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
    /// The dose.
    pub volume: Volume,
    /// Time over which the dose is spread, in ms; its start is the due time.
    pub window_ms: u32,
    /// Time after the window in which a disturbed dose may still finish, in ms.
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

const DAY: u64 = DAY_MS as u64;
const MINUTE_MS: u64 = 60_000;

impl Entry {
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
                if !(MINUTE_MS..=366 * DAY).contains(&every_ms) {
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
        if self.window_ms == 0 || u64::from(self.window_ms) > 7 * DAY {
            return Some("window");
        }
        if u64::from(self.grace_ms) > 7 * DAY {
            return Some("grace");
        }
        if self.pulses == Some(0) {
            return Some("pulses");
        }
        None
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
