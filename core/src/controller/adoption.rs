//! A new timetable, in force whole or not at all (D11).

use super::Controller;
use crate::book::bit;
use crate::entry::{Entry, Nominal};
use crate::record::{Adopted, Mark, Record, Staged};
use crate::time::Instant;
use crate::timers::Reason;
use crate::timetable::{Refusal, Timetable};
use crate::units::Volume;

/// The mark of an entry that has no due to come: after all nominals there are.
const NEVER: Nominal = Nominal(u32::MAX - 1);

impl<const N: usize, const H: usize> Controller<N, H> {
    /// The records that put a timetable in force: its changed lines, the closed
    /// dates where they change, and last the record that makes them count.
    pub fn adoption<'a>(
        &'a self,
        timetable: &'a Timetable<N>,
    ) -> impl Iterator<Item = Record> + Clone + 'a {
        let free = self.free_lines(timetable);
        (0..N + 2).filter_map(move |place| self.adoption_record(timetable, free, place))
    }

    #[inline(never)]
    fn adoption_record(&self, timetable: &Timetable<N>, free: u64, place: usize) -> Option<Record> {
        if place < N {
            return self.staged_on(place, timetable, free).map(Record::Staged);
        }
        if place == N {
            return self
                .closed_changes(timetable)
                .then_some(Record::StagedClosed(timetable.closed));
        }
        let written = (0..N)
            .filter(|&line| self.staged_on(line, timetable, free).is_some())
            .fold(0, |bits, line| bits | bit(line));
        Some(Record::Adopted(self.adoption_end(timetable, written)))
    }

    fn adoption_end(&self, timetable: &Timetable<N>, written: u64) -> Adopted {
        Adopted {
            at: self.now,
            ceiling: timetable.ceiling,
            written,
            cleared: self.cleared(timetable) & !written,
            closed_staged: self.closed_changes(timetable),
            kept_ceiling: self.kept_ceiling(timetable),
        }
    }

    /// The ceiling that goes on counting beside that of a timetable: the one in force, where
    /// nobody has set it and nobody sets another.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn kept_ceiling(&self, timetable: &Timetable<N>) -> Volume {
        if self.book.timetable.ceiling.or(timetable.ceiling).is_some() {
            return Volume::ZERO;
        }
        self.ceiling_for(self.now)
    }

    /// What a timetable puts on a line. An entry of a known number stays on its
    /// line; of the new ones each takes the first line that is `free` for it.
    fn staged_on(&self, line: usize, timetable: &Timetable<N>, free: u64) -> Option<Staged> {
        let id = self.book.timetable.id_on(line);
        if let Some(entry) = id.and_then(|id| timetable.get(id)) {
            return (self.book.timetable.line(line) != Some(entry))
                .then(|| self.stage(line, &entry, true));
        }
        if free & bit(line) == 0 {
            return None;
        }
        // those that lost their settings come first: a new entry makes up for a lost one
        let (lost, lower) = (free & self.book.damaged, bit(line).wrapping_sub(1));
        let first = if lost & bit(line) != 0 { lost & lower } else { lost | free & lower };
        let before = first.count_ones() as usize;
        let mut new = timetable.ids().filter(|&id| self.book.line_of(id).is_none());
        let entry = timetable.get(new.nth(before)?)?;
        Some(self.stage(line, &entry, false))
    }

    /// Lines that a new entry can go on, a bit a line.
    fn free_lines(&self, timetable: &Timetable<N>) -> u64 {
        (0..N).filter(|&line| self.is_free(line, timetable)).fold(0, |bits, line| bits | bit(line))
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
        // an open dose is ended by another revision than its own: after the last comes the first
        let revision = if edited { state.revision.checked_add(1).unwrap_or(1) } else { 1 };
        Staged { line: line as u8, entry: *entry, revision, mark, edited }
    }

    /// Whether the line's entry is gone from a timetable. A line that lost its settings
    /// is not: what is put in force without the entry it had may be so for want of it.
    fn is_cleared(&self, line: usize, timetable: &Timetable<N>) -> bool {
        self.book.timetable.id_on(line).is_some_and(|id| timetable.ids().all(|other| other != id))
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
        let lost = self.book.lost_lines() as usize;
        if let Some(id) = new().filter(|id| id.0 < self.book.next_id).nth(lost) {
            return Err(Refusal::RetiredId { id });
        }
        let free = self.free_lines(timetable).count_ones() as usize;
        if new().count() > free { Err(Refusal::Busy) } else { Ok(()) }
    }

    /// All records of the adoption are in the ledger: the timetable is in force.
    pub(super) fn adopted(&mut self, timetable: &Timetable<N>) {
        if !core::mem::take(&mut self.adopting) {
            return;
        }
        self.timers.set(Reason::Retry, Instant::MAX);
        let (cleared, closed_staged) = (self.cleared(timetable), self.closed_changes(timetable));
        let free = self.free_lines(timetable);
        let kept_ceiling = self.kept_ceiling(timetable);
        let mut written = 0;
        for line in 0..N {
            // line by line the same as the records say: an entry that has its line is
            // not new any more, so the next takes the first of the lines still to come
            let to_come = free & !bit(line).wrapping_sub(1);
            if let Some(staged) = self.staged_on(line, timetable, to_come) {
                written |= if staged.edited { 0 } else { bit(line) };
                self.book.adopt(&staged);
            }
        }
        self.book.timetable.closed = timetable.closed;
        let cleared = cleared & !written;
        // no more than a restart finds
        let most = Timetable::<N>::MOST_CEILING;
        let (at, ceiling) = (self.now, timetable.ceiling.map(|ceiling| ceiling.min(most)));
        let adopted = Adopted { at, ceiling, written, cleared, closed_staged, kept_ceiling };
        self.book.adopted(&adopted, 0, false);
        self.refit();
    }
}
