//! What an alarm says it is about: what of the memory is lost, which doses do not fit.

use dosewright_core::record::Alarm;

use super::Names;
use super::untold::Untold;
use crate::words::plural;

/// What an alarm is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Lost {
    /// It says nothing more, or it is over.
    Nothing,
    /// So many slots that cannot be read.
    Slots(u64),
    /// The settings of these entries; of none, the closed dates.
    Settings(Vec<String>),
    /// The doses of these entries do not fit their windows.
    Misfits(Vec<String>),
}

impl Lost {
    /// What the record of an alarm says.
    pub(super) fn of(alarm: Alarm, on: bool, detail: u64, untold: &Untold, names: &Names) -> Self {
        match alarm {
            Alarm::MemoryDamaged if on => Self::Slots(detail),
            Alarm::EntryDamaged if on => Self::Settings(named(detail, untold, names)),
            Alarm::DoesNotFit if on => Self::Misfits(named(detail, untold, names)),
            _ => Self::Nothing,
        }
    }

    /// The entries that it names.
    pub const fn entries(&self) -> Option<&Vec<String>> {
        match self {
            Self::Settings(entries) | Self::Misfits(entries) => Some(entries),
            Self::Nothing | Self::Slots(_) => None,
        }
    }

    /// An alarm with it, in words.
    pub fn after(&self, alarm: &str) -> String {
        match self {
            Self::Nothing => alarm.to_owned(),
            Self::Slots(slots) => format!("{alarm} ({})", plural(*slots, "slot")),
            Self::Settings(entries) if entries.is_empty() => format!("{alarm} (closed dates)"),
            Self::Settings(entries) | Self::Misfits(entries) => {
                format!("{alarm} ({})", entries.join(", "))
            }
        }
    }
}

/// What stands on lines, a bit a line; they are counted from 1, as entries are.
fn named(lines: u64, untold: &Untold, names: &Names) -> Vec<String> {
    let name = |line| match untold.entry_on(line) {
        Some(id) => names.name(id),
        None => format!("line {}", line + 1),
    };
    (0..64_u8).filter(|line| lines >> line & 1 == 1).map(name).collect()
}
