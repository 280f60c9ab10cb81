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

    /// Sets a reason's timer, or takes it back.
    pub fn set(&mut self, reason: Reason, at: Option<Instant>) {
        if let Some(place) = self.at.get_mut(reason as usize) {
            *place = at.unwrap_or(Instant::MAX);
        }
    }

    /// When a reason's timer is over.
    pub fn get(&self, reason: Reason) -> Option<Instant> {
        self.at.get(reason as usize).copied().filter(|&at| at != Instant::MAX)
    }

    /// The earliest timer; of two at the same instant the more urgent.
    pub fn next(&self) -> Option<(Instant, Reason)> {
        let (mut first, mut why) = (Instant::MAX, None);
        for reason in Reason::ALL {
            if let Some(&at) = self.at.get(reason as usize)
                && at < first
            {
                (first, why) = (at, Some(reason));
            }
        }
        why.map(|reason| (first, reason))
    }
}
