//! Dues that pass while the memory takes nothing: no record tells of them, so they are
//! reckoned from the entries in force.

use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{Adopted, DueKey, Record, Staged};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;

use crate::audit::SleptThrough;

/// What the records have told so far.
#[derive(Debug, Default)]
pub(super) struct Untold {
    in_force: Vec<Staged>,
    staged: Vec<Staged>,
    epoch: u16,
    /// Of each entry the last due that a record names.
    named: Vec<DueKey>,
    /// When the last record was written.
    last: Instant,
    /// The memory takes nothing.
    refused: bool,
    /// When the device stopped whose memory took nothing; no record came since.
    stopped: Option<Instant>,
}

impl Untold {
    /// The next record.
    pub(super) fn record(&mut self, record: &Record) {
        self.last = record.at().unwrap_or(self.last).max(self.last);
        self.stopped = None;
        match record {
            // what was staged before a start was never adopted
            Record::Boot { .. } => self.staged.clear(),
            Record::Clock { epoch, .. } => self.epoch = *epoch,
            Record::Staged(staged) => self.staged.push(*staged),
            Record::Adopted(adopted) => self.adopt(adopted),
            Record::Born(born) => self.name(born.due),
            Record::Pulse(pulse) if !pulse.asked => self.name(pulse.due),
            Record::Outcome(outcome) if !outcome.asked => {
                self.name(DueKey { nominal: outcome.last, ..outcome.due });
            }
            _ => {}
        }
    }

    /// The memory takes nothing, or takes again.
    pub(super) const fn fault(&mut self, on: bool) {
        self.refused = on;
    }

    /// The device stops, or starts anew: its next start finds out whether the memory takes.
    pub(super) fn stops(&mut self, now: Instant) {
        if std::mem::take(&mut self.refused) {
            self.stopped = Some(now);
        }
    }

    /// The entries in force.
    pub(super) fn in_force(&self) -> &[Staged] {
        &self.in_force
    }

    /// Which entry stands on a line.
    pub(super) fn entry_on(&self, line: u8) -> Option<EntryId> {
        self.in_force.iter().find(|known| known.line == line).map(|known| known.entry.id)
    }

    fn adopt(&mut self, adopted: &Adopted) {
        let has = |bits: u64, line: u8| bits.checked_shr(u32::from(line)).unwrap_or(0) & 1 == 1;
        self.in_force.retain(|known| !has(adopted.cleared | adopted.written, known.line));
        for staged in std::mem::take(&mut self.staged) {
            if has(adopted.written, staged.line) {
                self.in_force.retain(|known| known.line != staged.line);
                self.in_force.push(staged);
            }
        }
    }

    fn name(&mut self, due: DueKey) {
        self.named.retain(|known| known.id != due.id);
        self.named.push(due);
    }

    /// The dues that no record names, a stretch an entry: from the last record up to an
    /// instant, or up to the one at which the device stopped.
    pub(super) fn passed(&self, now: Instant, clock: Option<&WallClock>) -> Vec<SleptThrough> {
        let Some(end) = self.refused.then_some(now).or(self.stopped) else { return Vec::new() };
        self.in_force.iter().filter_map(|staged| self.of(staged, end, clock)).collect()
    }

    /// What is left of dues that were slept through after those that passed: a start that the
    /// memory took no record of is none that could be seen, and a device that sleeps late may
    /// have a memory that takes nothing.
    pub(super) fn after(
        &self,
        passed: &[SleptThrough],
        slept: &SleptThrough,
        clock: Option<&WallClock>,
    ) -> Option<SleptThrough> {
        let of = |due: &DueKey| (due.id, due.revision, due.epoch);
        let Some(told) = passed.iter().find(|told| of(&told.due) == of(&slept.due)) else {
            return Some(*slept);
        };
        if told.last < slept.due.nominal {
            return Some(*slept);
        }
        let staged = self.in_force.iter().find(|staged| staged.entry.id == slept.due.id)?;
        let first = staged.entry.next_at_or_after(told.last.next())?;
        let count = staged.entry.count(first, slept.last.next());
        let due_at = staged.entry.instant_of(first, clock)?;
        let due = DueKey { nominal: first, ..slept.due };
        (count > 0).then_some(SleptThrough { due, last: slept.last, count, due_at })
    }

    fn of(&self, staged: &Staged, now: Instant, clock: Option<&WallClock>) -> Option<SleptThrough> {
        let (entry, revision) = (&staged.entry, staged.revision);
        let first = entry.first_from(self.last, clock)?.max(self.after_named(entry.id, revision));
        let first = entry.next_at_or_after(first)?;
        let end = entry.first_after(now, clock)?;
        let count = entry.count(first, end);
        let last = entry.last_before(end, first).filter(|_| count > 0)?;
        let due = DueKey { id: entry.id, revision, epoch: self.epoch, nominal: first };
        Some(SleptThrough { due, last, count, due_at: entry.instant_of(first, clock)? })
    }

    fn after_named(&self, id: EntryId, revision: u16) -> Nominal {
        let here = |due: &&DueKey| (due.id, due.revision, due.epoch) == (id, revision, self.epoch);
        self.named.iter().find(here).map_or(Nominal(0), |due| due.nominal.next())
    }
}
