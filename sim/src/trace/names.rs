//! The names of entries, which the device does not know: it has numbers.

use dosewright_core::entry::{Entry, EntryId, Recurrence};

use crate::diagnose::display;
use crate::observe::{DeviceAct, LINES};
use crate::scenario::{Act, EntryPlan, RecurrencePlan, Scenario};

/// From an entry's number to its name in the scenario.
#[derive(Debug, Clone, Default)]
pub struct Names {
    known: Vec<(EntryId, String)>,
    /// Entries that operators will bring in.
    to_come: Vec<EntryPlan>,
}

impl Names {
    /// Of a scenario: the entries at the start have the numbers 1, 2, ... in
    /// the order of the file.
    pub fn of(scenario: &Scenario) -> Self {
        let known = (1..)
            .map(EntryId)
            .zip(scenario.entries.iter().map(|entry| entry.name.clone()))
            .collect();
        let to_come = scenario
            .operator
            .iter()
            .flat_map(|act| match &act.act {
                Act::Add(entry) => vec![(**entry).clone()],
                Act::Timetable(entries) => entries.clone(),
                _ => Vec::new(),
            })
            .collect();
        Self { known, to_come }
    }

    /// Learns the numbers of entries that an act brings in, by what they say.
    pub fn learn(&mut self, act: &DeviceAct) {
        let DeviceAct::SetTimetable(timetable) = act else { return };
        for line in 0..LINES {
            let Some(entry) = timetable.line(line) else { continue };
            if self.known.iter().any(|(id, _)| *id == entry.id) {
                continue;
            }
            let plan = self.to_come.iter().position(|plan| same(plan, &entry));
            let name = match plan {
                Some(at) => self.to_come.remove(at).name,
                None => fallback(entry.id),
            };
            self.known.push((entry.id, name));
        }
    }

    /// The name of an entry; its number in words where there is none.
    pub fn name(&self, id: EntryId) -> String {
        self.known
            .iter()
            .find(|(known, _)| *known == id)
            .map_or_else(|| fallback(id), |(_, name)| name.clone())
    }

    /// Cells of the longest name.
    pub fn widest(&self) -> usize {
        let known = self.known.iter().map(|(_, name)| display(name).1);
        let to_come = self.to_come.iter().map(|plan| display(&plan.name).1);
        known.chain(to_come).max().unwrap_or(0)
    }
}

fn fallback(id: EntryId) -> String {
    format!("entry {}", id.0)
}

/// Whether an entry on the device is the one of the file, its number and the
/// start of an interval aside.
fn same(plan: &EntryPlan, entry: &Entry) -> bool {
    let recurrence = match (plan.recurrence, entry.recurrence) {
        (RecurrencePlan::Every { interval_ms, .. }, Recurrence::Interval { every_ms, .. }) => {
            interval_ms == every_ms
        }
        (RecurrencePlan::Weekly { .. }, weekly @ Recurrence::Weekly { .. }) => {
            plan.recurrence.to_core(dosewright_core::time::Instant::ZERO) == weekly
        }
        _ => false,
    };
    recurrence
        && Entry {
            recurrence: entry.recurrence,
            ..plan.to_core(entry.id, dosewright_core::time::Instant::ZERO)
        } == *entry
}
