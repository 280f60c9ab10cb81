//! Entries that tests are made with.

use dosewright_core::civil::Days;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::units::Volume;

/// One dose a day at a minute of it, in half an hour, with nothing else to it.
pub const fn daily(id: u16, at_min: u16, volume: Volume) -> Entry {
    Entry {
        id: EntryId(id),
        enabled: true,
        recurrence: Recurrence::Weekly { days: Days::ALL, at_min, by_night: false },
        volume,
        window_ms: 1_800_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}
