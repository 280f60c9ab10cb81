//! What the records that are here come to: dose by dose of each entry, and what service drew.

use std::collections::BTreeMap;

use dosewright_core::cause::Cause;
use dosewright_core::record::OutcomeKind;
use dosewright_core::units::Volume;

use super::history::{Detail, Row};

/// What an entry's doses came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Doses {
    pub(super) dosed: u64,
    pub(super) part: u64,
    pub(super) skipped: u64,
    /// Asked for, outside the timetable: in none of the others.
    pub(super) asked: u64,
    pub(super) least_nl: u64,
    pub(super) most_nl: u64,
    /// Why doses of the timetable were part or skipped.
    pub(super) causes: BTreeMap<Cause, u64>,
}

/// Runs of the pump that were no dose.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Service {
    pub(super) runs: u64,
    pub(super) pump_on_ms: u64,
    /// By the flow in force at the time; `None` where one of them had none.
    pub(super) volume_nl: Option<u64>,
}

/// All of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sums {
    /// By the entry's number.
    pub(super) entries: BTreeMap<u16, Doses>,
    pub(super) prime: Service,
    pub(super) calibration: Service,
}

impl Doses {
    /// Adds those of another entry.
    pub(super) fn add(&mut self, other: &Self) {
        self.dosed += other.dosed;
        self.part += other.part;
        self.skipped += other.skipped;
        self.asked += other.asked;
        self.least_nl = self.least_nl.saturating_add(other.least_nl);
        self.most_nl = self.most_nl.saturating_add(other.most_nl);
        for (cause, count) in &other.causes {
            *self.causes.entry(*cause).or_default() += count;
        }
    }
}

impl Service {
    fn add(&mut self, ms: u32, volume_nl: Option<u64>) {
        let before = if self.runs == 0 { Some(0) } else { self.volume_nl };
        self.runs += 1;
        self.pump_on_ms += u64::from(ms);
        self.volume_nl = before.zip(volume_nl).map(|(sum, more)| sum.saturating_add(more));
    }
}

impl Sums {
    /// Of the rows that are told.
    pub(super) fn of(rows: &[Row]) -> Self {
        let mut sums = Self::default();
        for row in rows {
            match &row.detail {
                Detail::Ended(ended) => {
                    let doses = sums.entries.entry(row.entry.unwrap_or(0)).or_default();
                    doses.least_nl = doses.least_nl.saturating_add(ended.least.as_nl());
                    doses.most_nl = doses.most_nl.saturating_add(ended.most.as_nl());
                    let count = u64::from(ended.count);
                    if ended.asked {
                        doses.asked += count;
                        continue;
                    }
                    match ended.kind {
                        OutcomeKind::Dosed => doses.dosed += count,
                        OutcomeKind::Part(_) => doses.part += count,
                        OutcomeKind::Skipped(_) => doses.skipped += count,
                    }
                    if let Some(cause) = ended.kind.cause() {
                        *doses.causes.entry(cause).or_default() += count;
                    }
                }
                Detail::Ran { prime: true, ms, volume } => {
                    sums.prime.add(*ms, volume.map(Volume::as_nl));
                }
                Detail::Ran { prime: false, ms, volume } => {
                    sums.calibration.add(*ms, volume.map(Volume::as_nl));
                }
                Detail::None | Detail::Waits { .. } | Detail::Volts { .. } => {}
            }
        }
        sums
    }

    /// Of all entries.
    pub(super) fn all(&self) -> Doses {
        let mut all = Doses::default();
        self.entries.values().for_each(|doses| all.add(doses));
        all
    }
}
