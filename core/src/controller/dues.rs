//! Dues: birth, waiting, and what ends them before they begin.

use super::Controller;
use crate::cause::Cause;
use crate::civil::Date;
use crate::entry::{Entry, Nominal};
use crate::record::{Born, DueKey, LineState, Mark, Outcome, OutcomeKind, Record, Waiting};
use crate::time::Instant;
use crate::timers::Reason;
use crate::units::Volume;

/// A due on its line, with its instant.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Due {
    pub(super) line: usize,
    pub(super) entry: Entry,
    pub(super) state: LineState,
    pub(super) nominal: Nominal,
    pub(super) due_at: Instant,
}

impl Due {
    /// Dues come in the order of their instants; of one instant, of their ids.
    fn rank(&self) -> (Instant, u16) {
        (self.due_at, self.entry.id.0)
    }
}

/// The end of a due that was never begun.
pub(super) struct Skip {
    pub(super) key: DueKey,
    pub(super) last: Nominal,
    pub(super) count: u32,
    pub(super) due_at: Instant,
    pub(super) mark: Mark,
    pub(super) cause: Cause,
}

/// The first minute of a day, as the dues of weekly entries are counted.
fn day_begins(days: i32) -> Nominal {
    Nominal(u32::try_from(days).unwrap_or(0).saturating_mul(crate::civil::DAY_MIN))
}

/// The first minute after a date, as the dues of an entry are counted.
fn day_after(entry: &Entry, date: Date) -> Nominal {
    day_begins(entry.calendar_day(date).saturating_add(1))
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// The place and the instant of the next due of a line, or of the next on a date that
    /// is `open`, if it is by then at the latest.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn next_on(
        &self,
        line: usize,
        by: Instant,
        open: bool,
    ) -> Option<(Nominal, Instant)> {
        let mut from = self.book.mark(line)?;
        let entry = self.book.timetable.line(line)?;
        // each turn leaves a stretch of closed dates behind
        loop {
            let nominal = entry.next_at_or_after(from)?;
            if open && let Some(end) = self.closed_until(&entry, nominal) {
                from = end;
                continue;
            }
            let at = entry.instant_of(nominal, self.book.clock.as_ref())?;
            return (at <= by).then_some((nominal, at));
        }
    }

    /// The same with all that is known of it.
    fn next_due(&self, line: usize) -> Option<Due> {
        self.due(line, self.next_on(line, Instant::MAX, false)?)
    }

    fn due(&self, line: usize, (nominal, due_at): (Nominal, Instant)) -> Option<Due> {
        let (entry, state) = (self.book.timetable.line(line)?, self.book.state(line));
        Some(Due { line, entry, state, nominal, due_at })
    }

    /// Sets the timer of the next due of all, and remembers whose it is and when another
    /// line has one.
    pub(super) fn look_ahead(&mut self) {
        let (mut first, mut other) = (Instant::MAX, Instant::MAX);
        for line in 0..N {
            let Some((_, at)) = self.next_on(line, other, false) else { continue };
            if at < first {
                (self.due_line, first, other) = (line as u8, at, first);
            } else {
                other = at;
            }
        }
        self.other_due_at = other;
        self.timers.set(Reason::Due, first);
    }

    /// Whether by the look ahead no line has a due by now but the one it remembers.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn no_other_is_due(&self) -> bool {
        !self.stale && self.now < self.other_due_at
    }

    /// The first due that is to be born now.
    fn newborn(&self) -> Option<Due> {
        if self.timers_say_none_due() {
            return None;
        }
        if self.no_other_is_due() {
            return self.next_due(usize::from(self.due_line));
        }
        self.next_due(self.first_due(self.now, false)?)
    }

    /// The line with the first due by then, or the first on a date that is `open`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn first_due(&self, by: Instant, open: bool) -> Option<usize> {
        self.first_line(|line| {
            let (_, at) = self.next_on(line, by, open)?;
            Some((at, self.book.timetable.id_on(line)?.0))
        })
    }

    /// What keeps the due that waits on a line, or has kept it last.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn keeps(&self, line: usize, entry: &Entry) -> Option<Cause> {
        self.hindrance(entry).or(self.kept.get(line).copied())
    }

    /// The line with the first due that waits: of all, or of those that nothing keeps any
    /// more.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn first_waiting(&self, of_all: bool) -> Option<usize> {
        self.first_line(|line| {
            let (due, _) = self.waiting_due(line)?;
            (of_all || self.hindrance(&due.entry).is_none()).then(|| due.rank())
        })
    }

    /// Whether the timer of the next due, still true, lies ahead.
    fn timers_say_none_due(&self) -> bool {
        !self.stale && !self.timers.is_over(Reason::Due, self.now)
    }

    /// The waiting due of a line, if its entry still is what it was.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn waiting_due(&self, line: usize) -> Option<(Due, Waiting)> {
        if !self.book.waits(line) {
            return None;
        }
        let state = self.book.state(line);
        let waiting = state.waiting?;
        let entry = self.book.timetable.line(line)?;
        let due = Due { line, entry, state, nominal: waiting.nominal, due_at: waiting.due_at };
        (entry.id == waiting.id).then_some((due, waiting))
    }

    /// The deadline that comes first among the dues that wait.
    pub(super) fn next_waiting_deadline(&self) -> Option<Instant> {
        (0..N)
            .filter_map(|line| self.waiting_due(line))
            .map(|(due, _)| due.due_at.plus(due.entry.window_and_grace()))
            .min()
    }

    /// What keeps a due from beginning now.
    pub(super) fn hindrance(&self, entry: &Entry) -> Option<Cause> {
        if entry.is_weekly() && self.book.clock.is_none() {
            return Some(Cause::ClockUnset);
        }
        if entry.is_weekly() && entry.observes_closed && self.book.closed_damaged {
            return Some(Cause::Damaged);
        }
        if self.book.open.is_some() {
            return Some(Cause::PumpInUse);
        }
        if self.service.is_some() {
            return Some(Cause::Service);
        }
        self.stopped_by()
            // what only a person can end is worth more than a rest that ends by itself
            .or_else(|| self.pack_hinders(entry))
            .or_else(|| self.is_short().then_some(Cause::ContainerEmpty))
            .or_else(|| (self.next_start_allowed() > self.now).then_some(Cause::PumpLimits))
    }

    /// What the dues need written next: the end of one that waits, or a birth.
    pub(super) fn next_due_record(&mut self) -> bool {
        if self.any_waiting && self.end_of_waiting() {
            return true;
        }
        self.newborn().is_some_and(|due| self.birth(&due))
    }

    /// The begin, or the skip, of the first waiting due that nothing keeps any more.
    pub(super) fn begin_waiting(&mut self) -> bool {
        if !self.any_waiting {
            return false;
        }
        // a start, or a memory that takes records again, has kept whatever still waits
        let passed = match self.passing {
            Cause::WokenLate | Cause::ClockSet => None,
            passing => Some(passing),
        };
        for line in 0..N {
            if let Some((due, _)) = self.waiting_due(line)
                && let Some(cause) = self.hindrance(&due.entry).or(passed)
                && let Some(kept) = self.kept.get_mut(line)
                // the pump's rest is part of its use
                && !(cause == Cause::PumpLimits
                    && matches!(kept, Cause::PumpInUse | Cause::Service))
            {
                *kept = cause;
            }
        }
        let first = self.first_waiting(false);
        let Some((due, waiting)) = first.and_then(|line| self.waiting_due(line)) else {
            return false;
        };
        let waited = self.kept.get(due.line).copied();
        self.judge(&due, waiting.key(), due.state.mark, waited)
    }

    /// The line whose due comes first, of those for which there is one.
    fn first_line(&self, rank: impl Fn(usize) -> Option<(Instant, u16)>) -> Option<usize> {
        let mut first: Option<(Instant, u16, usize)> = None;
        for line in 0..N {
            if let Some((at, id)) = rank(line)
                && first.is_none_or(|(best, other, _)| (at, id) < (best, other))
            {
                first = Some((at, id, line));
            }
        }
        first.map(|(_, _, line)| line)
    }

    /// The end of a waiting due that is not to begin any more.
    fn end_of_waiting(&mut self) -> bool {
        for line in 0..N {
            if !self.book.waits(line) {
                continue;
            }
            let state = self.book.state(line);
            let Some(waiting) = state.waiting else { continue };
            let cause = match self.waiting_due(line) {
                None if self.book.damaged & crate::book::bit(line) != 0 => Cause::Damaged,
                None => Cause::Removed,
                Some((due, _)) if waiting.revision != state.revision => {
                    if due.entry.enabled {
                        Cause::Edited
                    } else {
                        Cause::Disabled
                    }
                }
                Some((due, _)) => match self.end_of_waiting_due(&due) {
                    Some(cause) => cause,
                    None => continue,
                },
            };
            let skip = Skip {
                key: waiting.key(),
                last: waiting.nominal,
                count: 1,
                due_at: waiting.due_at,
                mark: state.mark,
                cause,
            };
            return self.skip(line, &state, &skip);
        }
        false
    }

    fn end_of_waiting_due(&self, due: &Due) -> Option<Cause> {
        if due.entry.is_weekly() && self.book.clock.is_some() {
            // a setting has lowered the mark below it: it will be born again
            if due.state.mark.is_some_and(|mark| due.nominal >= mark) {
                return Some(Cause::ClockSet);
            }
            if due.due_at < self.book.not_before {
                return Some(Cause::ClockUnset);
            }
        }
        if self.now < due.due_at.plus(due.entry.window_and_grace()) {
            return None;
        }
        match self.passing {
            Cause::WokenLate => self.keeps(due.line, &due.entry),
            passing => Some(passing),
        }
    }

    /// What becomes of a due at its birth.
    fn birth(&mut self, due: &Due) -> bool {
        let Due { line, entry, state, nominal, due_at } = *due;
        let key =
            DueKey { id: entry.id, revision: state.revision, epoch: self.book.epoch, nominal };
        if let Some(cause) = self.missed_by(due) {
            let (last, count) = self.stretch(due, cause);
            let skip = Skip { key, last, count, due_at, mark: Some(last.next()), cause };
            return self.skip(line, &state, &skip);
        }
        let mark = Some(nominal.next());
        if state.waiting.is_some() {
            let cause = Cause::OlderWaiting;
            let skip = Skip { key, last: nominal, count: 1, due_at, mark, cause };
            return self.skip(line, &state, &skip);
        }
        let ahead = (0..N)
            .filter_map(|line| self.waiting_due(line))
            .any(|(other, _)| other.rank() < due.rank() && self.hindrance(&other.entry).is_none());
        let hindrance = self.hindrance(&entry).or(ahead.then_some(Cause::PumpInUse));
        match hindrance {
            None => self.judge(due, key, mark, None),
            Some(cause) => {
                let (line, at) = (line as u8, self.now);
                self.want(&Record::Born(Born { line, due: key, mark, at, due_at, cause }))
            }
        }
    }

    /// What a due that is just born has been missed by already, if anything.
    fn missed_by(&self, due: &Due) -> Option<Cause> {
        if self.is_closed(&due.entry, due.nominal) {
            return Some(Cause::Closed);
        }
        if due.entry.is_weekly() && due.due_at < self.book.not_before {
            return Some(Cause::ClockUnset);
        }
        let is_over = self.now >= due.due_at.plus(due.entry.window_and_grace());
        is_over.then(|| self.passes(due.due_at))
    }

    /// What a due is missed by that is over when it is first seen. A start can pass none that
    /// came after it: the memory has kept the start from being gone through.
    fn passes(&self, due_at: Instant) -> Cause {
        match self.passing {
            Cause::SupplyLost | Cause::Restarts if due_at > self.started_at => Cause::Ledger,
            passing => passing,
        }
    }

    fn is_closed(&self, entry: &Entry, n: Nominal) -> bool {
        self.closed_until(entry, n).is_some()
    }

    /// Where a due is on a closed date: the first minute after the stretch of them.
    pub(super) fn closed_until(&self, entry: &Entry, n: Nominal) -> Option<Nominal> {
        if !entry.is_weekly() || !entry.observes_closed {
            return None;
        }
        let last = self.book.timetable.closed.last_with(entry.date_of(n))?;
        Some(day_after(entry, last))
    }

    /// How far a stretch of dues reaches that are all missed by the same cause:
    /// its last due, and how many there are. It takes a bounded number of steps
    /// however long the stretch is.
    fn stretch(&self, due: &Due, cause: Cause) -> (Nominal, u32) {
        let entry = &due.entry;
        let clock = self.book.clock.as_ref();
        // the first due that the cause does not reach any more, closed dates apart
        let until = match cause {
            Cause::ClockUnset => entry.first_from(self.book.not_before, clock),
            Cause::Closed => entry.first_after(self.now, clock),
            _ => {
                let by = self.now.minus(entry.window_and_grace());
                let is_of_start = matches!(cause, Cause::SupplyLost | Cause::Restarts);
                let by = if is_of_start { by.min(self.started_at) } else { by };
                entry.first_after(by, clock)
            }
        };
        // where none follows, to the end of the entry
        let over = |_| entry.last.map(|last| day_after(entry, last));
        let until = until.or_else(|| clock.and_then(over));
        let mut end = until.unwrap_or(due.nominal.next()).max(due.nominal.next());
        if entry.is_weekly() && entry.observes_closed {
            for closed in self.book.timetable.closed.iter() {
                let from = day_begins(entry.calendar_day(closed.first));
                let to = day_after(entry, closed.last);
                if cause == Cause::Closed {
                    // to the end of the closed dates this due is in
                    if from <= due.nominal && due.nominal < to {
                        end = end.min(to);
                    }
                } else if due.nominal < from {
                    end = end.min(from);
                }
            }
        }
        let last = entry.last_before(end, due.nominal).unwrap_or(due.nominal);
        (last, entry.count(due.nominal, last).saturating_add(1))
    }

    /// The outcome of dues that were never begun. A row of closed dues is one
    /// record that grows.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn skip(&mut self, line: usize, state: &LineState, skip: &Skip) -> bool {
        let outcome = self.skipped(line, state, skip);
        self.want(&Record::Outcome(outcome))
    }

    pub(super) fn skipped(&self, line: usize, state: &LineState, skip: &Skip) -> Outcome {
        let joined = state.closed_run.filter(|run| {
            skip.cause == Cause::Closed
                && (run.first.id, run.first.revision, run.first.epoch)
                    == (skip.key.id, skip.key.revision, skip.key.epoch)
                && run.first.nominal < skip.key.nominal
        });
        let (due, due_at, count) = match joined {
            Some(run) => (run.first, run.due_at, run.count.saturating_add(skip.count)),
            None => (skip.key, skip.due_at, skip.count),
        };
        Outcome {
            line: line as u8,
            due,
            last: skip.last,
            count,
            at: self.now,
            due_at,
            begun_after_ms: 0,
            least: Volume::ZERO,
            most: Volume::ZERO,
            kind: OutcomeKind::Skipped(skip.cause),
            asked: false,
            restarts: 0,
            mark: skip.mark,
            carry: state.carry,
        }
    }

    /// Whether a due of another line waits for the pump, or is about to.
    pub(super) fn another_wants_the_pump(&self, line: usize) -> bool {
        // it is asked for the only due there is, or for one that waits
        if !self.any_waiting && self.no_other_is_due() {
            return false;
        }
        (0..N)
            .filter(|&other| other != line)
            .any(|other| self.waiting_due(other).is_some() || self.is_due_on(other))
    }

    /// Whether a due of a line is to be born now that is not missed already.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn is_due_on(&self, line: usize) -> bool {
        let due = self.next_on(line, self.now, false).and_then(|next| self.due(line, next));
        due.is_some_and(|due| self.missed_by(&due).is_none())
    }

    /// Works out afresh what hangs on the timetable and the head.
    pub(super) fn refit(&mut self) {
        self.ceiling = self.book.timetable.ceiling_in_force();
        self.misfits = 0;
        if let Some(head) = self.book.head {
            for line in 0..N {
                if self
                    .book
                    .timetable
                    .line(line)
                    .is_some_and(|e| e.enabled && crate::timetable::fit(&e, &head).is_err())
                {
                    self.misfits |= crate::book::bit(line);
                }
            }
        }
        self.refit_pack();
        self.stale = true;
    }

    /// Whether nobody has the pump.
    pub(super) fn is_idle(&self) -> bool {
        self.book.open.is_none() && self.service.is_none() && !self.pump_is_on()
    }
}
