//! The operator's idea of the timetable: entries by name, and what an act makes
//! of them.

use dosewright_core::entry::{ClosedDates, EntryId};
use dosewright_core::time::Instant;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::Volume;

use crate::observe::LINES;
use crate::scenario::{Act, EntryPlan, IntervalStart, RecurrencePlan, Scenario};

/// An entry with the number and the start it was given.
#[derive(Debug, Clone)]
struct Known {
    id: EntryId,
    plan: EntryPlan,
    from: Instant,
}

/// The timetable as the operator last entered it.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    entries: Vec<Known>,
    names: Vec<(EntryId, String)>,
    closed: Vec<ClosedDates>,
    ceiling: Option<Volume>,
}

impl Plan {
    /// The timetable of the file. `start` turns the start of an interval into an
    /// instant of the device.
    pub(super) fn new(scenario: &Scenario, start: impl Fn(IntervalStart) -> Instant) -> Self {
        let mut plan = Self {
            entries: Vec::new(),
            names: Vec::new(),
            closed: scenario.closed.clone(),
            ceiling: scenario.limits.daily_ceiling,
        };
        for entry in &scenario.entries {
            plan.add(entry, &start);
        }
        plan
    }

    fn add(&mut self, entry: &EntryPlan, start: impl Fn(IntervalStart) -> Instant) {
        let id = EntryId(self.names.len() as u16 + 1);
        self.names.push((id, entry.name.clone()));
        let from = from_of(&entry.recurrence, start);
        self.entries.push(Known { id, plan: entry.clone(), from });
    }

    /// Every number that was given out, with its name.
    pub(super) fn names(&self) -> &[(EntryId, String)] {
        &self.names
    }

    /// The number of an entry by its name.
    pub(super) fn id(&self, name: &str) -> Option<EntryId> {
        self.entries.iter().find(|known| known.plan.name == name).map(|known| known.id)
    }

    /// The plan after an act on the timetable; `None` where the act is no such
    /// act or names an entry that is not there.
    pub(super) fn after(
        &self,
        act: &Act,
        start: impl Fn(IntervalStart) -> Instant + Copy,
    ) -> Option<Self> {
        let mut plan = self.clone();
        let index_of = |name: &str| self.entries.iter().position(|known| known.plan.name == name);
        match act {
            Act::Edit { entry, edit, .. } => {
                let known = plan.entries.get_mut(index_of(&entry.name)?)?;
                known.plan = edit.apply(&known.plan);
                if let Some(recurrence) = &edit.recurrence {
                    known.from = from_of(recurrence, start);
                }
            }
            Act::Disable(entry) => {
                plan.entries.get_mut(index_of(&entry.name)?)?.plan.enabled = false;
            }
            Act::Enable(entry) => plan.entries.get_mut(index_of(&entry.name)?)?.plan.enabled = true,
            Act::Remove(entry) => {
                plan.entries.remove(index_of(&entry.name)?);
            }
            Act::Add(entry) => plan.add(entry, start),
            Act::Timetable(entries) => {
                // entries of a known name keep their number; so does the start of
                // an interval that is still the same
                plan.entries.clear();
                for entry in entries {
                    match index_of(&entry.name).and_then(|index| self.entries.get(index)) {
                        Some(known) => {
                            let from = if known.plan.recurrence == entry.recurrence {
                                known.from
                            } else {
                                from_of(&entry.recurrence, start)
                            };
                            plan.entries.push(Known { id: known.id, plan: entry.clone(), from });
                        }
                        None => plan.add(entry, start),
                    }
                }
            }
            _ => return None,
        }
        Some(plan)
    }

    /// As the device takes it.
    pub(super) fn timetable(&self) -> Timetable<LINES> {
        let mut timetable = Timetable::EMPTY;
        timetable.ceiling = self.ceiling;
        for dates in &self.closed {
            let taken = timetable.closed.push(*dates);
            debug_assert!(taken, "the reader lets no more closed dates through than fit");
        }
        for known in &self.entries {
            let taken = timetable.put(known.plan.to_core(known.id, known.from));
            debug_assert!(taken.is_ok(), "the reader lets no more entries through than fit");
        }
        timetable
    }
}

fn from_of(recurrence: &RecurrencePlan, start: impl Fn(IntervalStart) -> Instant) -> Instant {
    match recurrence {
        RecurrencePlan::Every { from, .. } => start(*from),
        RecurrencePlan::Weekly { .. } => Instant::ZERO,
    }
}
