//! The most that a timetable asks in any day: what its ceiling goes by.

use super::{DAY, Timetable, WEEK};
use crate::civil::{Date, Weekday};
use crate::entry::Recurrence;
use crate::record::{FAR_DAYS, PackedEntry, PackedWeekly};
use crate::units::Volume;

/// A calendar day.
#[derive(Clone, Copy)]
struct Day {
    number: i32,
    weekday: Weekday,
}

impl Day {
    const fn new(number: i32) -> Self {
        Self { number, weekday: Date::from_days(number).weekday() }
    }

    /// Whether a weekly entry has a due on it, dates taken into account.
    fn has(self, entry: &PackedWeekly) -> bool {
        (entry.first..=entry.last).contains(&self.number) && entry.days.contains(self.weekday)
    }
}

impl<const N: usize> Timetable<N> {
    /// The most volume, and the most dues, in any 24 h: of the weekly entries
    /// by local time, dates taken into account, and on top of it what the
    /// interval entries ask at most in 24 h.
    pub fn most_in_a_day(&self) -> (Volume, u32) {
        let (mut volume, mut dues) = (Volume::ZERO, 0_u32);
        for entry in self.enabled() {
            if let Recurrence::Interval { every_ms, .. } = entry.recurrence {
                let times = DAY.div_ceil(every_ms.max(1));
                volume = volume.plus(Volume::from_nl(entry.volume.as_nl().saturating_mul(times)));
                dues = dues.saturating_add(u32::try_from(times).unwrap_or(u32::MAX));
            }
        }
        let weekly = self.lines.iter().filter_map(PackedEntry::weekly);
        // the set of entries in force is largest just after one of them comes
        // into force, or before any date at all
        let dates = weekly.clone().flat_map(|entry| [entry.first, entry.last]);
        let before_all = dates.filter(|day| day.abs() < FAR_DAYS).min().unwrap_or(0) - 2 * WEEK;
        let starts = weekly.clone().map(|entry| entry.first).filter(|&day| day > -FAR_DAYS);
        let (mut most, mut most_dues) = (Volume::ZERO, 0);
        for start in core::iter::once(before_all).chain(starts) {
            // and the day before it, of which a day may be the second half
            let mut day = Day::new(start - 1);
            for _ in 0..=WEEK {
                let next = Day::new(day.number + 1);
                for anchor in weekly.clone().filter(|entry| day.has(entry)) {
                    let in_span = |entry: &PackedWeekly| {
                        if entry.at_min >= anchor.at_min { day } else { next }.has(entry)
                    };
                    let (sum, n) = weekly
                        .clone()
                        .filter(in_span)
                        .fold((Volume::ZERO, 0), |(sum, n), e| (sum.plus(e.volume), n + 1));
                    most = most.max(sum);
                    most_dues = most_dues.max(n);
                }
                day = next;
            }
        }
        (volume.plus(most), dues.saturating_add(most_dues))
    }
}
