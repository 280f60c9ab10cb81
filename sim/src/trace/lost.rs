//! What an alarm of the memory says is lost.

use dosewright_core::record::Alarm;

use super::Names;
use super::untold::Untold;
use crate::words::plural;

/// What of the memory an alarm is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Lost {
    /// It is about nothing of the memory, or it is over.
    Nothing,
    /// So many slots that cannot be read.
    Slots(u64),
    /// The settings of these entries; of none, the closed dates.
    Settings(Vec<String>),
}

impl Lost {
    /// What the record of an alarm says.
    pub(super) fn of(alarm: Alarm, on: bool, detail: u64, untold: &Untold, names: &Names) -> Self {
        match alarm {
            Alarm::MemoryDamaged if on => Self::Slots(detail),
            Alarm::EntryDamaged if on => {
                let name = |line| match untold.entry_on(line) {
                    Some(id) => names.name(id),
                    None => format!("line {line}"),
                };
                let lines = (0..64_u8).filter(|line| detail >> line & 1 == 1);
                Self::Settings(lines.map(name).collect())
            }
            _ => Self::Nothing,
        }
    }

    /// An alarm with it, in words.
    pub fn after(&self, alarm: &str) -> String {
        match self {
            Self::Nothing => alarm.to_owned(),
            Self::Slots(slots) => format!("{alarm} ({})", plural(*slots, "slot")),
            Self::Settings(entries) if entries.is_empty() => format!("{alarm} (closed dates)"),
            Self::Settings(entries) => format!("{alarm} ({})", entries.join(", ")),
        }
    }
}
