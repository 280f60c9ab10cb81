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

/// A change of the timetable that left an entry in it.
struct Change<'a> {
    at_ms: i64,
    entry: &'a str,
    /// `None` in lines of a build that did not say it.
    revision: Option<u16>,
    settings: &'a Settings,
}

/// All there were in a run.
pub(super) struct Plans<'a> {
    at_start: &'a [(String, Settings)],
    /// Where lines do not say it.
    scenario: Option<&'a Scenario>,
    changes: Vec<Change<'a>>,
}

impl<'a> Plans<'a> {
    /// Of a run.
    pub(super) fn of(facts: &'a Facts, scenario: Option<&'a Scenario>) -> Self {
        let changes = facts.visits.iter().filter_map(|visit| {
            let changed = visit.changed()?;
            Some(Change {
                at_ms: i64::try_from(visit.at_ms).ok()?,
                entry: &changed.entry,
                revision: changed.revision,
                settings: changed.after.as_ref()?,
            })
        });
        Self { at_start: &facts.entries_at_start, scenario, changes: changes.collect() }
    }

    /// Of a dose's entry, when it was born: a clock that is set far on gives dues that are
    /// meant long before, so it is told by its revision where there is one.
    pub(super) fn plan(&self, dose: &Dose) -> Option<Plan> {
        let due_ms = dose.due_ms.unwrap_or(i64::MIN);
        let is_its = |change: &&Change<'_>| {
            let by_revision = change.revision.map(|revision| revision <= dose.revision);
            change.entry == dose.entry && by_revision.unwrap_or(change.at_ms <= due_ms)
        };
        // an entry that was taken out and brought in again begins with the first revision
        let rank = |change: &&Change<'_>| (change.revision, change.at_ms <= due_ms, change.at_ms);
        let of_start = self.at_start.iter().find(|(name, _)| *name == dose.entry);
        let change = self.changes.iter().filter(is_its).max_by_key(rank).filter(|change| {
            // the start's own is the first revision, too
            of_start.is_none() || change.revision != Some(1) || change.at_ms <= due_ms
        });
        let settings = change.map(|change| change.settings);
        if let Some(settings) = settings.or(of_start.map(|(_, settings)| settings)) {
            return Some(Plan { window_ms: settings.window_ms, entry: settings.entry() });
        }
        let plan = self.scenario?.entry(&dose.entry)?;
        let entry = plan.to_core(EntryId(1), Instant::ZERO);
        Some(Plan { window_ms: plan.window_ms, entry: Some(entry) })
    }
}
