//! The one table of timers: everything that can ask for a call.

use crate::time::Instant;

/// Why the controller wants to be called.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Reason {
    /// The start has still to be taken down.
    Boot,
    /// A pulse, a prime or a calibration run ends.
    RunEnd,
    /// The governor's limit of a run.
    Governor,
    /// A pulse starts.
    PulseStart,
    /// An entry has a due.
    Due,
    /// The deadline of a due that waits.
    Deadline,
    /// The deadline of the open dose, while something keeps it from going on.
    DoseDeadline,
    /// The low-level contact has been closed for as long as it may bounce.
    Level,
    /// The battery pack is tested before a dose.
    PackTest,
    /// The display goes dark.
    Display,
    /// The ledger is tried again.
    Retry,
    /// An hour has passed since the last stamp of elapsed time.
    Stamp,
}

/// How many reasons there are.
const REASONS: usize = 12;

impl Reason {
    /// All reasons, the more urgent first.
    pub const ALL: [Self; REASONS] = [
        Self::Boot,
        Self::RunEnd,
        Self::Governor,
        Self::PulseStart,
        Self::Due,
        Self::Deadline,
        Self::DoseDeadline,
        Self::Level,
        Self::PackTest,
        Self::Display,
        Self::Retry,
        Self::Stamp,
    ];
}

/// An instant for each reason to be called, where there is one.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TimerTable {
    at: [Instant; REASONS],
}

impl TimerTable {
    /// No timer is set.
    pub const UNSET: Self = Self { at: [Instant::MAX; REASONS] };

    /// Sets a reason's timer; [`Instant::MAX`] takes it back.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn set(&mut self, reason: Reason, at: Instant) {
        if let Some(place) = self.at.get_mut(reason as usize) {
            *place = at;
        }
    }

    /// When a reason's timer is over; [`Instant::MAX`] where it is not set.
    pub fn at(&self, reason: Reason) -> Instant {
        self.at.get(reason as usize).copied().unwrap_or(Instant::MAX)
    }

    /// Whether a reason's timer is set.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn is_set(&self, reason: Reason) -> bool {
        self.at(reason) != Instant::MAX
    }

    /// Whether a reason's timer is over.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn is_over(&self, reason: Reason, now: Instant) -> bool {
        self.at(reason) <= now
    }

    /// The earliest timer; of two at the same instant the more urgent.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn next(&self) -> Option<(Instant, Reason)> {
        let first = self.earliest_from(0);
        if first == Instant::MAX {
            return None;
        }
        let mut reasons = Reason::ALL.into_iter();
        let why = reasons.find(|&reason| self.is_over(reason, first)).unwrap_or(Reason::Stamp);
        Some((first, why))
    }

    /// The earliest of those that are less urgent than a pulse; [`Instant::MAX`] where
    /// none is set.
    pub(crate) fn next_beside_pulses(&self) -> Instant {
        self.earliest_from(Reason::PulseStart as usize + 1)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn earliest_from(&self, place: usize) -> Instant {
        let timers = self.at.get(place..).unwrap_or_default();
        timers.iter().fold(Instant::MAX, |first, &at| first.min(at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
    }

    #[test]
    fn the_earliest_asks_and_of_two_the_more_urgent() {
        let mut timers = TimerTable::UNSET;
        assert_eq!(timers.next(), None);
        // the less urgent first: what is set later does not count for more
        for reason in Reason::ALL.into_iter().rev() {
            timers.set(reason, at(5));
            assert_eq!(timers.next(), Some((at(5), reason)));
        }
        timers.set(Reason::Stamp, at(4));
        assert_eq!(timers.next(), Some((at(4), Reason::Stamp)));
        timers.set(Reason::Stamp, Instant::MAX);
        assert_eq!(timers.next(), Some((at(5), Reason::Boot)));
    }

    #[test]
    fn a_timer_is_over_from_its_instant_on() {
        let mut timers = TimerTable::UNSET;
        assert!(!timers.is_set(Reason::Due));
        timers.set(Reason::Due, at(5));
        assert!(timers.is_set(Reason::Due) && !timers.is_set(Reason::Deadline));
        let over = [4, 5, 6].map(|ms| timers.is_over(Reason::Due, at(ms)));
        assert_eq!(over, [false, true, true]);
        timers.set(Reason::Due, Instant::MAX);
        assert!(!timers.is_set(Reason::Due));
    }

    #[test]
    fn beside_pulses_is_what_is_less_urgent_than_one() {
        for (place, reason) in Reason::ALL.into_iter().enumerate() {
            let mut timers = TimerTable::UNSET;
            timers.set(reason, at(7));
            let beside = timers.next_beside_pulses();
            assert_eq!(beside, if place > 3 { at(7) } else { Instant::MAX }, "{reason:?}");
        }
    }
}
