//! What the maker of faults needs to know of a site, made or from a file.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::units::Flow;

use super::chance::Chance;

/// An entry that something can be done to.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub(super) name: String,
    pub(super) entry: Entry,
    /// The entry as one inline table, its volume left out.
    pub(super) inline: String,
}

/// A container, in nl.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tank {
    pub(super) capacity_nl: u64,
    pub(super) heel_nl: u64,
    /// Level at which its contact closes.
    pub(super) low_nl: Option<u64>,
}

/// A site as faults and acts see it.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// True local time at the start.
    pub(super) start: Local,
    pub(super) entries: Vec<Known>,
    pub(super) flow: Flow,
    pub(super) sectors: u64,
    pub(super) sector_bytes: u64,
    pub(super) container: Option<Tank>,
    /// The suction line is lifted: a leaking foot valve lets it drain back.
    pub(super) lifts: bool,
    /// It runs on a battery pack.
    pub(super) has_pack: bool,
    /// Its pump turns by its rotor's angle.
    pub(super) has_drive: bool,
}

impl Ground {
    /// Any of the entries.
    pub(super) fn any<'a>(&'a self, chance: &mut Chance) -> &'a Known {
        &self.entries[chance.number(0, self.entries.len() as u64 - 1) as usize]
    }

    /// A moment within the window of the next dose of some entry after `at`, more
    /// often than not: that is where things can go wrong.
    pub(super) fn near_a_due(&self, chance: &mut Chance, at: u64) -> Option<u64> {
        if chance.percent(35) {
            return None;
        }
        let entry = self.any(chance).entry;
        let into = chance.number(0, u64::from(entry.window_ms) * 5 / 4);
        match entry.recurrence {
            Recurrence::Weekly { at_min, .. } => {
                let start_of_day = self.start.time_of_day().as_ms();
                let of_day = u64::from(at_min) * 60_000;
                let day = (at + start_of_day) / 86_400_000;
                let due = (day * 86_400_000 + of_day).checked_sub(start_of_day)?;
                Some(if due >= at { due } else { due + 86_400_000 } + into)
            }
            Recurrence::Interval { every_ms, from } => {
                let from = u64::try_from(from.as_ms()).ok()?;
                let count = at.saturating_sub(from).div_ceil(every_ms.max(1));
                Some(from + count * every_ms + into)
            }
        }
    }
}
