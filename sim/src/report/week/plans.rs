//! The settings of an entry when a dose was due: those of the start, and what changes of the
//! timetable made of them since.

use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::time::Instant;

use super::super::facts::{Dose, Facts};
use crate::scenario::Scenario;
use crate::trace::Settings;

/// What a week needs of an entry.
pub(super) struct Plan {
    /// Over how long a dose is spread.
    pub(super) window_ms: u32,
    /// When its doses are due; `None` in lines of a build that did not say it.
    pub(super) entry: Option<Entry>,
}

/// All there were in a run.
pub(super) struct Plans<'a> {
    at_start: &'a [(String, Settings)],
    /// Where lines do not say it.
    scenario: Option<&'a Scenario>,
    /// True ms of each change, the name of an entry, and what it is from then on.
    changes: Vec<(i64, &'a str, Option<&'a Settings>)>,
}

impl<'a> Plans<'a> {
    /// Of a run.
    pub(super) fn of(facts: &'a Facts, scenario: Option<&'a Scenario>) -> Self {
        let changes = facts.visits.iter().filter_map(|visit| {
            let changed = visit.changed()?;
            let at_ms = i64::try_from(visit.at_ms).ok()?;
            Some((at_ms, changed.entry.as_str(), changed.after.as_ref()))
        });
        Self { at_start: &facts.entries_at_start, scenario, changes: changes.collect() }
    }

    /// Of a dose's entry, when it was due.
    pub(super) fn plan(&self, dose: &Dose) -> Option<Plan> {
        let due_ms = dose.due_ms.unwrap_or(i64::MIN);
        let is_before =
            |change: &&(i64, &str, Option<&Settings>)| change.0 <= due_ms && change.1 == dose.entry;
        if let Some((.., Some(settings))) = self.changes.iter().rev().find(is_before) {
            return Some(Plan { window_ms: settings.window_ms, entry: settings.entry() });
        }
        let of_start = self.at_start.iter().find(|(name, _)| *name == dose.entry);
        if let Some((_, settings)) = of_start {
            return Some(Plan { window_ms: settings.window_ms, entry: settings.entry() });
        }
        let plan = self.scenario?.entry(&dose.entry)?;
        let entry = plan.to_core(EntryId(1), Instant::ZERO);
        Some(Plan { window_ms: plan.window_ms, entry: Some(entry) })
    }
}
