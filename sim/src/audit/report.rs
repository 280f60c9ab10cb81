//! What the auditor has to say at the end.

use std::collections::BTreeMap;
use std::fmt;

use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{DueKey, OutcomeKind};
use dosewright_core::time::Instant;

/// Violations kept in full; beyond them only the count goes on.
const MOST_KEPT: usize = 1000;

/// Which due a violation is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueName {
    /// The entry.
    pub id: EntryId,
    /// The entry's name.
    pub entry: String,
    /// The revision it was born under.
    pub revision: u16,
    /// The clock epoch it was born in.
    pub epoch: u16,
    /// Its place in the entry's order.
    pub nominal: u32,
    /// When it is meant, in words: local time, or the number of the interval.
    pub when: String,
}

impl fmt::Display for DueName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "\"{}\", {}", self.entry, self.when)?;
        if self.revision > 1 {
            write!(f, ", revision {}", self.revision)?;
        }
        if self.epoch > 1 {
            write!(f, ", clock epoch {}", self.epoch)?;
        }
        Ok(())
    }
}

/// One promise not kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// The promise's number, such as `D2`.
    pub promise: &'static str,
    /// True time from the start of the run, in ms.
    pub at_ms: u64,
    /// The due, where it is about one.
    pub due: Option<DueName>,
    /// What was expected and what was found.
    pub what: String,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} at {} ms: ", self.promise, self.at_ms)?;
        if let Some(due) = &self.due {
            write!(f, "{due}: ")?;
        }
        f.write_str(&self.what)
    }
}

/// How many dues came to what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// All dues that were born.
    pub dues: u64,
    /// Dosed in full.
    pub dosed: u64,
    /// Dosed in part.
    pub part: u64,
    /// Not dosed.
    pub skipped: u64,
    /// Without an outcome at the end, and none was owed yet.
    pub open: u64,
}

/// What one entry came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EntryTotals {
    /// Its dues.
    pub counts: Counts,
    /// The least delivered by its outcomes, in nl.
    pub least_nl: u64,
    /// The most delivered by its outcomes, in nl.
    pub most_nl: u64,
    /// What the pin delivered for it at the calibrated flow, in nl.
    pub pin_nl: u64,
    /// How long the pin was on for it, in true ms.
    pub pin_ms: u64,
}

/// One due, or a stretch of skipped ones, and its outcome.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueRecord {
    /// Which.
    pub name: DueName,
    /// How many dues it stands for.
    pub count: u64,
    /// The last of them.
    pub last: u32,
    /// Instant of the due in device ms.
    pub due_at: i64,
    /// How it ended; `None` while it is open.
    pub kind: Option<OutcomeKind>,
    /// An operator asked for it.
    pub asked: bool,
    /// The least delivered, in nl.
    pub least_nl: u64,
    /// The most delivered, in nl.
    pub most_nl: u64,
    /// True ms at which the pump first went on for it.
    pub started_ms: Option<u64>,
    /// True ms at which the outcome was written.
    pub ended_ms: u64,
}

/// Dues of an entry that came while the device could not know of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SleptThrough {
    /// The first.
    pub due: DueKey,
    /// The last in its entry's order; the first itself where there is one.
    pub last: Nominal,
    /// How many.
    pub count: u32,
    /// The first one's instant by the device's time.
    pub due_at: Instant,
}

/// The auditor's findings.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AuditReport {
    /// Promises not kept, in the order they were noticed; the first thousand.
    pub violations: Vec<Violation>,
    /// How many there were in all.
    pub violations_in_all: u64,
    /// Dues of the timetable and what became of them.
    pub dues: Counts,
    /// Doses that operators asked for, outside the timetable.
    pub asked: Counts,
    /// By entry.
    pub entries: BTreeMap<EntryId, EntryTotals>,
    /// What the pin delivered at the calibrated flow in doses, in nl.
    pub volume_nl: u64,
    /// What the pin delivered in prime and calibrate, in nl.
    pub service_nl: u64,
    /// How long the pump's pin was on, in true ms.
    pub pump_on_ms: u64,
    /// How often it went on.
    pub pump_starts: u64,
    /// Records of the ledger that were read.
    pub records: u64,
    /// Operator's acts that left no trace in the ledger: refused.
    pub refused_acts: u64,
    /// Outcomes taken as they are, because memory was damaged before.
    pub unjudged: u64,
    /// Dues whose instant came while the device was off or slept, to the end of
    /// the run: the ledger has no word of them.
    pub slept_through: Vec<SleptThrough>,
    /// Every due, where that was asked for.
    pub due_list: Option<Vec<DueRecord>>,
}

impl AuditReport {
    /// Whether every promise was kept.
    pub fn held(&self) -> bool {
        self.violations_in_all == 0
    }

    pub(crate) fn add(&mut self, violation: Violation) {
        self.violations_in_all += 1;
        if self.violations.len() < MOST_KEPT {
            self.violations.push(violation);
        }
    }

    pub(crate) fn counts_mut(&mut self, id: EntryId, asked: bool) -> [&mut Counts; 2] {
        let all = if asked { &mut self.asked } else { &mut self.dues };
        [all, &mut self.entries.entry(id).or_default().counts]
    }

    pub(crate) fn list(&mut self, record: impl FnOnce() -> DueRecord) {
        if let Some(list) = &mut self.due_list {
            list.push(record());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finding_names_its_due_with_what_sets_it_apart() {
        let name = |revision, epoch| DueName {
            id: EntryId(1),
            entry: String::from("night"),
            revision,
            epoch,
            nominal: 45,
            when: String::from("2026-10-19 00:45"),
        };
        assert_eq!(name(1, 1).to_string(), "\"night\", 2026-10-19 00:45");
        assert_eq!(name(2, 1).to_string(), "\"night\", 2026-10-19 00:45, revision 2");
        assert_eq!(name(1, 3).to_string(), "\"night\", 2026-10-19 00:45, clock epoch 3");
        let what = String::from("no outcome");
        let found = Violation { promise: "D1", at_ms: 7, due: Some(name(1, 1)), what };
        assert_eq!(found.to_string(), "D1 at 7 ms: \"night\", 2026-10-19 00:45: no outcome");
        let bare = Violation { due: None, ..found };
        assert_eq!(bare.to_string(), "D1 at 7 ms: no outcome");
    }
}
