//! Marks, births and the account of dues (D1, D2's marks, D9).

use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::record::Born;

use super::dose::CEILING_MS;
use super::{DAY_MS, Due, Ghost, Judged, Line, Rules, must};

const MIN_MS: i64 = 60_000;

/// Whether a weekly entry is due on a local day, counted from 1970.
fn is_on(days: u8, by_night: bool, at_min: u16, day: i64) -> bool {
    // a time before noon of a trading night falls on the day after its name
    let named = if by_night && at_min < 720 { day - 1 } else { day };
    // 1970-01-01 was a Thursday
    days >> (named + 3).rem_euclid(7) & 1 == 1
}

/// The occurrence after `n`.
fn after(entry: &Entry, n: i64) -> i64 {
    match entry.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => (n + 1..n + 8)
            .find(|day| is_on(days.bits(), by_night, at_min, *day))
            .expect("an entry has a weekday"),
        Recurrence::Interval { .. } => n + 1,
    }
}

/// The occurrence before `n`, where `n` need not be one.
fn before(entry: &Entry, n: i64) -> i64 {
    match entry.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => (1..8)
            .map(|back| n - back)
            .find(|day| is_on(days.bits(), by_night, at_min, *day))
            .expect("an entry has a weekday"),
        Recurrence::Interval { .. } => n - 1,
    }
}

/// The device time of an occurrence.
pub(in crate::explore::states) fn instant(
    entry: &Entry,
    n: i64,
    clock_ms: Option<i64>,
) -> Option<i64> {
    match entry.recurrence {
        Recurrence::Weekly { at_min, .. } => {
            clock_ms.map(|clock| n * DAY_MS + i64::from(at_min) * MIN_MS - clock)
        }
        Recurrence::Interval { every_ms, from } => Some(from.as_ms() + n * every_ms as i64),
    }
}

/// The last occurrence at or before a device time.
fn last_by(entry: &Entry, at: i64, clock_ms: Option<i64>) -> Option<i64> {
    match entry.recurrence {
        Recurrence::Weekly { at_min, .. } => {
            let day = (at + clock_ms? - i64::from(at_min) * MIN_MS).div_euclid(DAY_MS);
            Some(before(entry, day + 1))
        }
        Recurrence::Interval { every_ms, from } => {
            Some((at - from.as_ms()).div_euclid(every_ms as i64).max(-1))
        }
    }
}

/// An occurrence as the ledger numbers it.
pub(in crate::explore::states) fn nominal(entry: &Entry, n: i64) -> u32 {
    match entry.recurrence {
        Recurrence::Weekly { at_min, .. } => (n * 1440) as u32 + u32::from(at_min),
        Recurrence::Interval { .. } => n as u32,
    }
}

/// The instant of an occurrence as the ledger numbers it.
fn n_of(entry: &Entry, nominal: u32) -> i64 {
    match entry.recurrence {
        Recurrence::Weekly { .. } => i64::from(nominal / 1440),
        Recurrence::Interval { .. } => i64::from(nominal),
    }
}

impl Line {
    /// Window and grace in ms.
    pub(in crate::explore::states) fn whole_ms(&self) -> i64 {
        i64::from(self.entry.window_ms) + i64::from(self.entry.grace_ms)
    }

    /// The least time from one occurrence to the next.
    pub(in crate::explore::states) fn gap_ms(&self) -> i64 {
        match self.entry.recurrence {
            Recurrence::Weekly { .. } => {
                let first = after(&self.entry, 0);
                let (mut day, mut least) = (first, 7);
                while day < first + 7 {
                    let next = after(&self.entry, day);
                    least = least.min(next - day);
                    day = next;
                }
                least * DAY_MS
            }
            Recurrence::Interval { every_ms, .. } => every_ms as i64,
        }
    }

    /// The due that a record speaks of.
    pub(in crate::explore::states) fn find(
        &self,
        revision: u16,
        epoch: u16,
        nominal: u32,
    ) -> Option<usize> {
        let n = n_of(&self.entry, nominal);
        self.dues.iter().position(|due| (due.revision, due.epoch, due.n) == (revision, epoch, n))
    }
}

impl Ghost {
    /// Everything that has passed is born.
    pub(in crate::explore::states) fn bear(&mut self) {
        let (now, clock, epoch) = (self.now, self.clock_ms, self.epoch);
        for line in &mut self.lines {
            let Line { entry, revision, mark, dues, .. } = line;
            let Some(mark) = mark.as_mut().filter(|_| entry.enabled) else { continue };
            loop {
                let n = after(entry, *mark);
                let Some(due_at) = instant(entry, n, clock).filter(|at| *at <= now) else { break };
                dues.push(Due { revision: *revision, epoch, n, due_at, told: false, ahead: false });
                *mark = n;
            }
        }
    }

    /// What passed and is not in the ledger will pass again.
    pub(in crate::explore::states) fn retract(&mut self) {
        for line in &mut self.lines {
            let untold = line.dues.iter().filter(|due| !due.told);
            let first = untold.filter(|due| due.revision == line.revision).map(|due| due.n).min();
            if let Some(first) = first {
                line.mark = Some(before(&line.entry, first));
            }
            line.dues.retain(|due| due.told);
        }
    }

    /// The clock is set, so that it shows so much more than elapsed time.
    pub(in crate::explore::states) fn set_clock(&mut self, clock_ms: i64) {
        let (now, clock) = (self.now, Some(clock_ms));
        if self.clock_ms.is_none() && self.losses > 0 {
            self.not_before = Some(now);
        }
        self.clock_ms = clock;
        self.epoch += 1;
        for line in self.lines.iter_mut().filter(|line| line.entry.is_weekly()) {
            let Some(last) = last_by(&line.entry, now, clock) else { continue };
            line.mark = match line.mark {
                Some(mark) => Some(mark.min(last)),
                None => last_by(&line.entry, now - 1, clock),
            };
            for due in line.dues.iter_mut().filter(|due| due.revision == line.revision) {
                match instant(&line.entry, due.n, clock) {
                    Some(at) if at <= now => due.due_at = at,
                    _ => due.ahead = true,
                }
            }
        }
        self.bear();
    }

    /// Whether a due is of before the first setting after the clock was lost, by
    /// the clock as it stands (D9).
    pub(in crate::explore::states) fn is_of_before(&self, line: &Line, due_at: i64) -> bool {
        line.entry.is_weekly() && self.not_before.is_some_and(|first| due_at < first)
    }

    /// These entries are in force from now on; they stand in the order of their
    /// numbers.
    pub(in crate::explore::states) fn adopt(&mut self, entries: &[Entry]) {
        self.former_ceiling = (self.ceiling_nl(self.now), self.now + CEILING_MS);
        for (index, entry) in entries.iter().enumerate() {
            let known = self.lines.get(index);
            if known.is_some_and(|line| line.entry == *entry) {
                continue;
            }
            // an edited entry's due that has not begun is born again
            let waiting = known.and_then(|line| line.dues.iter().map(|due| due.due_at).min());
            let from = waiting.map_or(self.now, |at| at.min(self.now));
            let mark = last_by(entry, from - 1, self.clock_ms);
            match self.lines.get_mut(index) {
                Some(line) => {
                    line.entry = *entry;
                    line.revision += 1;
                    (line.mark, line.edited) = (mark, true);
                }
                None => self.lines.push(Line {
                    entry: *entry,
                    revision: 1,
                    mark,
                    edited: false,
                    carry: 0,
                    last: None,
                    dues: Vec::new(),
                }),
            }
        }
        self.bear();
    }

    /// The ledger knows of a due that waits.
    pub(in crate::explore::states) fn told(&mut self, born: &Born) -> Judged {
        let line = usize::from(born.due.id.0) - 1;
        let found = self.lines.get_mut(line).and_then(|line| {
            let at = line.find(born.due.revision, born.due.epoch, born.due.nominal.0)?;
            line.dues.get_mut(at)
        });
        let Some(due) = found else {
            return must(false, "D1", || format!("a due waits that is none: {born:?}"));
        };
        must(due.due_at == born.due_at.as_ms() && !due.told, "D1", || {
            format!("a due of {} ms waits as one of {:?}", due.due_at, born.due_at)
        })?;
        due.told = true;
        let told = self.lines[line].dues.iter().filter(|due| due.told).count();
        must(told == 1, "D3", || format!("{told} dues of one entry wait"))?;
        // the dose that runs is waited for
        self.disturb();
        Ok(())
    }

    /// Whatever has passed has a word in the ledger, and an outcome once its
    /// time is over.
    pub(in crate::explore::states) fn accounted(&self, rules: &Rules) -> Judged {
        for line in &self.lines {
            for due in &line.dues {
                must(due.told, "D1", || {
                    format!("a due of {} ms passed, and the ledger has no word of it", due.due_at)
                })?;
                let ended = self.now >= due.due_at + line.whole_ms()
                    || due.ahead
                    || due.revision != line.revision;
                must(!ended, "D1", || {
                    format!("a due of {} ms is over and has no outcome", due.due_at)
                })?;
                self.no_reason_to_wait(line, due, rules)?;
            }
        }
        match self.open {
            Some(open) if !self.pin.is_on() => must(self.now < open.deadline, "D1", || {
                format!("a dose's deadline, {} ms, is over and it has no outcome", open.deadline)
            }),
            _ => Ok(()),
        }
    }

    /// A due waits for something only.
    fn no_reason_to_wait(&self, line: &Line, due: &Due, rules: &Rules) -> Judged {
        let idle =
            self.open.is_none() && self.service.is_none() && !self.stopped && !self.motor_rests();
        let may_run = !line.entry.is_weekly() || self.clock_ms.is_some();
        must(!(idle && may_run && self.rested(rules)), "D5", || {
            format!("a due of {} ms waits, and nothing keeps it", due.due_at)
        })
    }
}
