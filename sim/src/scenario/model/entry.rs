//! `[[entry]]`: one line of the timetable.

use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::Volume;

use crate::diagnose::Spans;

/// Where an interval is counted from.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum IntervalStart {
    /// True local time.
    Local(Local),
    /// A length of true time after the start of the run.
    After(Duration),
    /// The moment at which the device takes the entry: for the timetable at
    /// the start that is the start of the run, for an operator's act the act.
    Accepted,
}

/// When an entry's doses are due.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum RecurrencePlan {
    /// `weekly`: weekdays or trading nights, and a local time.
    Weekly {
        /// The weekdays, or the nights where `by_night` is set.
        days: Days,
        /// Minute of the day, 0 to 1439.
        at_min: u16,
        /// The days are trading nights.
        by_night: bool,
    },
    /// `every`: an interval in elapsed time.
    Every {
        /// From one dose to the next, in ms.
        interval_ms: u64,
        /// The first dose.
        from: IntervalStart,
    },
}

impl RecurrencePlan {
    /// As the logic takes it; `from` is the instant of an interval's first
    /// dose on the device's elapsed time line, and not used for a weekly one.
    pub const fn to_core(self, from: Instant) -> Recurrence {
        match self {
            Self::Weekly { days, at_min, by_night } => {
                Recurrence::Weekly { days, at_min, by_night }
            }
            Self::Every { interval_ms, .. } => Recurrence::Interval { every_ms: interval_ms, from },
        }
    }
}

/// One entry as the file gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryPlan {
    /// Its name, unique in its timetable.
    pub name: String,
    /// Disabled entries have no dues.
    pub enabled: bool,
    /// When its doses are due.
    pub recurrence: RecurrencePlan,
    /// The dose.
    pub volume: Volume,
    /// Time over which the dose is spread, in ms.
    pub window_ms: u32,
    /// Time after the window in which a disturbed dose may still finish, in ms.
    pub grace_ms: u32,
    /// First date, or night.
    pub first: Option<Date>,
    /// Last date, or night.
    pub last: Option<Date>,
    /// Whether closed dates keep it from running.
    pub observes_closed: bool,
    /// What happens in the hour that spring skips.
    pub gap_rule: GapRule,
    /// Pulses of a dose; `None` leaves it to the planner.
    pub pulses: Option<u16>,
    /// Where it stands: `spans.at("window")`.
    pub spans: Spans,
    /// Where the keys inside `weekly = {...}` or `every = {...}` stand:
    /// `recurrence_spans.at("at")`.
    pub recurrence_spans: Spans,
}

impl EntryPlan {
    /// Whether it comes by days and a time of day.
    pub const fn is_weekly(&self) -> bool {
        matches!(self.recurrence, RecurrencePlan::Weekly { .. })
    }

    /// As the logic takes it; `from` as in [`RecurrencePlan::to_core`].
    pub const fn to_core(&self, id: EntryId, from: Instant) -> Entry {
        Entry {
            id,
            enabled: self.enabled,
            recurrence: self.recurrence.to_core(from),
            volume: self.volume,
            window_ms: self.window_ms,
            grace_ms: self.grace_ms,
            first: self.first,
            last: self.last,
            observes_closed: self.observes_closed,
            gap_rule: self.gap_rule,
            pulses: self.pulses,
        }
    }
}
