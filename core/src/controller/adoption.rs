//! A new timetable, in force whole or not at all (D11).

use super::Controller;
use crate::book::bit;
use crate::entry::{Entry, Nominal};
use crate::record::{Adopted, Mark, Record, Staged};
use crate::timetable::{Refusal, Timetable};

/// The mark of an entry that has no due to come: after all nominals there are.
const NEVER: Nominal = Nominal(u32::MAX - 1);

impl<const N: usize, const H: usize> Controller<N, H> {
    /// The records that put a timetable in force: its changed lines, the closed
    /// dates where they change, and last the record that makes them count.
    pub fn adoption<'a>(
        &'a self,
        timetable: &'a Timetable<N>,
    ) -> impl Iterator<Item = Record> + Clone + 'a {
        let staged = self.staged(timetable);
        let written = staged.clone().fold(0, |bits, s| bits | bit(usize::from(s.line)));
        let cleared = self.cleared(timetable);
        let closed_staged = self.closed_changes(timetable);
        let adopted = Adopted {
            at: self.now,
            ceiling: timetable.ceiling,
            written,
            cleared: cleared & !written,
            closed_staged,
        };
        staged
            .map(Record::Staged)
            .chain(closed_staged.then_some(Record::StagedClosed(timetable.closed)))
            .chain(core::iter::once(Record::Adopted(adopted)))
    }

    /// The lines that a timetable changes. An entry of a known number stays on
    /// its line; a new one takes the first line that is free for it.
    fn staged<'a>(
        &'a self,
        timetable: &'a Timetable<N>,
    ) -> impl Iterator<Item = Staged> + Clone + 'a {
        let changed = timetable.entries().filter_map(move |entry| self.changed(&entry));
        let new = timetable.entries().filter(move |e| self.book.line_of(e.id).is_none());
        let free = (0..N).filter(move |&line| self.is_free(line, timetable));
        let added = new.zip(free).map(move |(entry, line)| self.stage(line, &entry, false));
        changed.chain(added)
    }

    /// What an entry changes on the line it is on already, if anything.
    fn changed(&self, entry: &Entry) -> Option<Staged> {
        let line = self.book.line_of(entry.id)?;
        (self.book.timetable.line(line) != Some(*entry)).then(|| self.stage(line, entry, true))
    }

    /// Lines whose entries are gone from a timetable, a bit a line.
    fn cleared(&self, timetable: &Timetable<N>) -> u64 {
        (0..N)
            .filter(|&line| self.is_cleared(line, timetable))
            .fold(0, |bits, line| bits | bit(line))
    }

    fn closed_changes(&self, timetable: &Timetable<N>) -> bool {
        self.book.closed_damaged || timetable.closed != self.book.timetable.closed
    }

    fn stage(&self, line: usize, entry: &Entry, edited: bool) -> Staged {
        let state = self.book.state(line);
        // a due that waits is not lost with the edit: it is born again
        let waiting_since = state.waiting.filter(|w| edited && w.id == entry.id).map(|w| w.due_at);
        let from = waiting_since.map_or(self.now, |due_at| due_at.min(self.now));
        let clock = self.book.clock.as_ref();
        let mark: Mark = if entry.is_weekly() && clock.is_none() {
            None
        } else {
            Some(entry.first_from(from, clock).unwrap_or(NEVER))
        };
        let revision = if edited { state.revision.saturating_add(1) } else { 1 };
        Staged { line: line as u8, entry: *entry, revision, mark, edited }
    }

    /// Whether the line's entry is gone from a timetable.
    fn is_cleared(&self, line: usize, timetable: &Timetable<N>) -> bool {
        self.book.timetable.id_on(line).is_some_and(|id| timetable.ids().all(|other| other != id))
            || self.book.damaged & bit(line) != 0
    }

    /// Whether a new entry can go on the line: it is empty or cleared, and no due
    /// that waits or runs has still to end there.
    fn is_free(&self, line: usize, timetable: &Timetable<N>) -> bool {
        let open = self.book.open.is_some_and(|open| usize::from(open.pulse.line) == line);
        (self.book.timetable.id_on(line).is_none() || self.is_cleared(line, timetable))
            && !self.book.waits(line)
            && !open
    }

    /// What stands against an adoption beside the timetable's own check.
    pub(super) fn adoption_fits(&self, timetable: &Timetable<N>) -> Result<(), Refusal> {
        let new = || timetable.ids().filter(|&id| self.book.line_of(id).is_none());
        // an entry whose line was damaged in memory may come back under its own
        // number, which the line does not know any more
        let lost = self.book.damaged.count_ones() as usize;
        if let Some(id) = new().filter(|id| id.0 < self.book.next_id).nth(lost) {
            return Err(Refusal::RetiredId { id });
        }
        let free = (0..N).filter(|&line| self.is_free(line, timetable)).count();
        if new().count() > free { Err(Refusal::Busy) } else { Ok(()) }
    }

    /// All records of the adoption are in the ledger: the timetable is in force.
    pub(super) fn adopted(&mut self, timetable: &Timetable<N>) {
        if !core::mem::take(&mut self.adopting) {
            return;
        }
        self.retry_at = None;
        // line by line the same as the records say: a changed line touches no
        // other, and each new entry takes the first line still free
        let cleared = self.cleared(timetable);
        let closed_staged = self.closed_changes(timetable);
        for entry in timetable.entries() {
            if let Some(staged) = self.changed(&entry) {
                self.book.adopt(&staged);
            }
        }
        let mut written = 0;
        for entry in timetable.entries() {
            if self.book.line_of(entry.id).is_some() {
                continue;
            }
            if let Some(line) = (0..N).find(|&line| self.is_free(line, timetable)) {
                let staged = self.stage(line, &entry, false);
                written |= bit(line);
                self.book.adopt(&staged);
            }
        }
        self.book.timetable.closed = timetable.closed;
        let adopted = Adopted {
            at: self.now,
            ceiling: timetable.ceiling,
            written,
            cleared: cleared & !written,
            closed_staged,
        };
        self.book.adopted(&adopted, 0, false);
        self.refit();
    }
}
