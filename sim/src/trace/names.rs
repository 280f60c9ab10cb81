//! The names of entries, which the device does not know: it has numbers.

use dosewright_core::entry::EntryId;

use crate::diagnose::display;
use crate::scenario::{Act, Scenario};

/// From an entry's number to its name in the scenario.
#[derive(Debug, Clone, Default)]
pub struct Names {
    known: Vec<(EntryId, String)>,
    /// Those of entries to come, too.
    all: Vec<String>,
    widest: usize,
}

impl Names {
    /// Of a scenario: the entries at the start have the numbers 1, 2, ... in
    /// the order of the file.
    pub fn of(scenario: &Scenario) -> Self {
        let known: Vec<_> = (1..)
            .map(EntryId)
            .zip(scenario.entries.iter().map(|entry| entry.name.clone()))
            .collect();
        let to_come = scenario.operator.iter().flat_map(|act| match &act.act {
            Act::Add(entry) => std::slice::from_ref(&**entry),
            Act::Timetable(entries) => entries,
            _ => &[],
        });
        let names = scenario.entries.iter().chain(to_come).map(|entry| &entry.name);
        let all: Vec<String> = names.cloned().collect();
        let widest = all.iter().map(|name| display(name).1).max().unwrap_or(0);
        Self { known, all, widest }
    }

    /// Learns the name of the entry that gets a number.
    pub fn learn(&mut self, id: EntryId, name: &str) {
        match self.known.iter_mut().find(|(known, _)| *known == id) {
            // the entry that it was given to before was refused
            Some(known) => name.clone_into(&mut known.1),
            None => self.known.push((id, name.to_owned())),
        }
    }

    /// The name of an entry; its number in words where there is none.
    pub fn name(&self, id: EntryId) -> String {
        self.known
            .iter()
            .find(|(known, _)| *known == id)
            .map_or_else(|| format!("entry {}", id.0), |(_, name)| name.clone())
    }

    /// All names, those of entries to come with them.
    pub(super) fn all(&self) -> &[String] {
        &self.all
    }

    /// Cells of the longest name, those of entries to come with it.
    pub fn widest(&self) -> usize {
        self.widest
    }
}
