//! The reference model: clock, marks, births and their fates, settings and
//! acceptance, in the device's elapsed time. Whoever uses it says what began
//! and ended; the model says which dues there are and what may become of them.

use std::collections::VecDeque;

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::record::ClosedList;

use super::causes::Causes;
use super::chip::Clock;
use super::dues::{Finder, Weekly};
use super::readings::Reading;
use super::stock::Stock;
use super::zone;

/// When an entry last began to deliver, as ages are reckoned from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Begin {
    pub(crate) at: i64,
    pub(crate) utc_ms: Option<i64>,
    pub(crate) losses: u16,
}

/// What was delivered, for guard and ceiling.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Delivery {
    pub(crate) id: EntryId,
    pub(crate) begin: Begin,
    pub(crate) due_at: i64,
    pub(crate) most_nl: u64,
}

/// Which occurrence of which entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Key {
    pub(crate) id: EntryId,
    pub(crate) revision: u16,
    pub(crate) epoch: u16,
    pub(crate) nominal: i64,
    /// An operator asked for it; the nominal is its number.
    pub(crate) asked: bool,
}

/// A due that has passed and has not begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Due {
    pub(crate) key: Key,
    pub(crate) due_at: i64,
    pub(crate) window_ms: i64,
    pub(crate) grace_ms: i64,
    /// What passed it.
    pub(crate) why: Why,
    pub(crate) weekly: bool,
}

impl Due {
    pub(crate) fn deadline(&self) -> i64 {
        self.due_at + self.window_ms + self.grace_ms
    }

    /// What puts one due before another.
    pub(crate) fn order(&self) -> (i64, EntryId) {
        (self.due_at, self.key.id)
    }
}

/// A stretch of dues of one entry that are skipped for one reason.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Span {
    pub(crate) key: Key,
    pub(crate) last: i64,
    pub(crate) count: u64,
    pub(crate) due_at: i64,
    /// When its last due must have its outcome.
    pub(crate) by: i64,
}

/// What passes dues at this step: it decides the cause where the deadline is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Why {
    Awake,
    Late,
    Boot,
    /// A start after a reset, the supply being on.
    Restart,
    Setting,
    Edit,
}

impl Why {
    pub(crate) fn causes(self) -> Causes {
        match self {
            Self::Awake | Self::Late => Causes::of(Cause::WokenLate),
            Self::Boot => Causes::of(Cause::SupplyLost),
            Self::Restart => Causes::of(Cause::Restarts),
            Self::Setting => Causes::of(Cause::ClockSet),
            // the rules name no cause for a window that an edit made end in the past
            Self::Edit => Causes::of(Cause::WokenLate).with(Cause::Edited),
        }
    }
}

/// What became of dues.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Fate {
    /// Skipped, for any one of these causes.
    Skipped(Span, Causes),
    /// It lives, and waits on its line until it begins.
    Waits(EntryId),
    /// It waited, and the deadline that a setting gave it is over.
    Lapsed(Due),
    /// The open dose of this entry ends for the cause.
    Ends(EntryId, Cause),
}

/// One entry in force, and what it has come to.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    pub(crate) entry: Entry,
    pub(crate) weekly: Option<Weekly>,
    pub(crate) revision: u16,
    /// The least nominal that has not passed; `None` while there is no mark.
    pub(crate) next: Option<i64>,
    /// The last that passed, unless a setting or an edit has moved the mark since.
    pub(crate) passed: Option<i64>,
    /// The next due and its instant, as the clock stands.
    pub(super) coming: Option<(i64, i64)>,
    /// A second pass, where that is the reading.
    pub(super) again: Option<(i64, i64)>,
    pub(crate) carry: u32,
    /// A record that may have carried the remainder is lost: until the next
    /// outcome any remainder can be the entry's (M2).
    pub(crate) carry_lost: bool,
    /// Edited, and no due of the new revision judged since.
    pub(crate) edited: bool,
    pub(crate) last: Option<Begin>,
    pub(crate) waiting: Option<Due>,
}

/// The model.
#[derive(Debug)]
pub(crate) struct Model {
    pub(crate) clock: Clock,
    pub(crate) head: Option<Head>,
    /// In the order of their ids.
    pub(crate) lines: Vec<Line>,
    pub(crate) closed: ClosedList,
    pub(crate) ceiling_nl: u64,
    /// Somebody has set it.
    pub(super) ceiling_is_set: bool,
    /// The ceiling of before the timetable was changed, and until which due it still counts.
    pub(crate) ceiling_before: Option<(u64, i64)>,
    pub(crate) deliveries: VecDeque<Delivery>,
    /// When the last of all deliveries so far began.
    pub(super) last_begin: i64,
    pub(crate) reading: Option<Reading>,
    pub(crate) asks: u32,
    pub(crate) stock: Stock,
    /// The first setting after the latest loss of the feed: weekly dues before
    /// it are not caught up (D9).
    pub(super) not_before: Option<i64>,
    pub(super) finder: Box<dyn Finder + Send>,
    pub(super) next_birth: Option<i64>,
}

impl Model {
    pub(crate) fn new(finder: Box<dyn Finder + Send>, reading: Option<Reading>) -> Self {
        Self {
            clock: Clock::default(),
            head: None,
            lines: Vec::new(),
            closed: ClosedList::EMPTY,
            ceiling_nl: 0,
            ceiling_is_set: false,
            ceiling_before: None,
            deliveries: VecDeque::new(),
            last_begin: i64::MIN,
            reading,
            asks: 0,
            stock: Stock::read_as(reading),
            not_before: None,
            finder,
            next_birth: None,
        }
    }

    /// Where an entry's line is. As long as none was taken out, the numbers have no gap.
    fn place(&self, id: EntryId) -> Option<usize> {
        let is_it = |line: &Line| line.entry.id == id;
        let guess = usize::from(id.0).wrapping_sub(1);
        if self.lines.get(guess).is_some_and(is_it) {
            return Some(guess);
        }
        self.lines.iter().position(is_it)
    }

    pub(crate) fn line(&self, id: EntryId) -> Option<&Line> {
        self.lines.get(self.place(id)?)
    }

    pub(crate) fn line_mut(&mut self, id: EntryId) -> Option<&mut Line> {
        let place = self.place(id)?;
        self.lines.get_mut(place)
    }

    /// The earliest instant at which a due will pass.
    pub(crate) fn next_birth(&self) -> Option<i64> {
        self.next_birth
    }

    /// The dues that wait, by their lines.
    pub(crate) fn waiting(&self) -> impl Iterator<Item = Due> + '_ {
        self.lines.iter().filter_map(|line| line.waiting)
    }

    /// The waiting due that is first in order.
    pub(crate) fn first_waiting(&self) -> Option<&Due> {
        self.lines.iter().filter_map(|l| l.waiting.as_ref()).min_by_key(|d| d.order())
    }

    /// Whether another due waits than one of the owner's entry: that one a clock that was
    /// set back has put ahead, and it hurries nobody (D9).
    pub(crate) fn another_waits(&self, owner: Key) -> bool {
        let mut waiting = self.lines.iter().filter_map(|l| l.waiting.as_ref());
        waiting.any(|due| owner.asked || due.key.id != owner.id)
    }

    /// The shortest nominal gap of an entry halved: its repeat guard, in ms.
    pub(crate) fn guard_ms(&self, line: &Line) -> i64 {
        let gap = match (line.entry.recurrence, line.weekly) {
            (Recurrence::Interval { every_ms, .. }, _) => every_ms as i64,
            (_, Some(weekly)) => weekly.shortest_gap_ms(),
            _ => 0,
        };
        match self.reading {
            Some(Reading::GuardCapped) => (gap / 2).min(12 * 3_600_000),
            Some(Reading::GuardWholeGap) => gap,
            _ => gap / 2,
        }
    }

    /// The instant of a nominal by D8, in the clock and zone in force.
    pub(crate) fn instant(&self, line: &Line, nominal: i64) -> Option<i64> {
        match (line.entry.recurrence, line.weekly) {
            (Recurrence::Interval { every_ms, from }, _) => {
                Some(from.as_ms() + nominal * every_ms as i64)
            }
            (_, Some(weekly)) => {
                let offset = self.clock.offset_ms?;
                Some(self.finder.moment(&self.clock.tz, &weekly, nominal)? - offset)
            }
            _ => None,
        }
    }

    /// The first nominal whose instant is not before `at`; `None` where there is
    /// none, or the clock is unset.
    pub(super) fn first_from(&self, line: &Line, at: i64) -> Option<i64> {
        match (line.entry.recurrence, line.weekly) {
            (Recurrence::Interval { every_ms, from }, _) => {
                let every = (every_ms as i64).max(1);
                Some((at - from.as_ms() + every - 1).div_euclid(every).max(0))
            }
            (_, Some(weekly)) => {
                let utc = at + self.clock.offset_ms?;
                self.finder.first_from(&self.clock.tz, &weekly, utc)
            }
            _ => None,
        }
    }

    /// Works out again when a line's next due comes.
    pub(super) fn look_ahead(&mut self, index: usize) {
        let Some(line) = self.lines.get(index) else { return };
        let coming = if line.entry.enabled { self.coming_of(line) } else { None };
        if let Some(line) = self.lines.get_mut(index) {
            line.coming = coming;
        }
        self.next_birth =
            self.lines.iter().flat_map(|l| [l.coming, l.again]).flatten().map(|(_, at)| at).min();
    }

    pub(super) fn look_ahead_all(&mut self) {
        for index in 0..self.lines.len() {
            self.look_ahead(index);
        }
        if self.lines.is_empty() {
            self.next_birth = None;
        }
    }

    fn coming_of(&self, line: &Line) -> Option<(i64, i64)> {
        let mut from = line.next?;
        loop {
            let nominal = match line.weekly {
                Some(weekly) => weekly.next_nominal(from)?,
                None => from,
            };
            let dropped = self.reading == Some(Reading::SkippedDropped)
                && line.weekly.is_some()
                && zone::is_skipped(&self.clock.tz, nominal * 60_000);
            if dropped {
                from = nominal + 1;
                continue;
            }
            return Some((nominal, self.instant(line, nominal)?));
        }
    }

    pub(super) fn due(&self, line: &Line, nominal: i64, due_at: i64, why: Why) -> Due {
        let grace_ms = match self.reading {
            Some(Reading::GraceForgotten) => 0,
            _ => i64::from(line.entry.grace_ms),
        };
        let key = Key {
            id: line.entry.id,
            revision: line.revision,
            epoch: self.clock.epoch,
            nominal,
            asked: false,
        };
        Due {
            key,
            due_at,
            window_ms: i64::from(line.entry.window_ms),
            grace_ms,
            why,
            weekly: line.weekly.is_some(),
        }
    }

    /// A dose that an operator asks for now.
    pub(crate) fn asked_due(&self, id: EntryId, number: i64, now: i64) -> Option<Due> {
        let line = self.line(id)?;
        let mut due = self.due(line, number, now, Why::Awake);
        due.key.asked = true;
        Some(due)
    }

    /// Passes every due whose instant has come, in order of instant and id.
    pub(crate) fn births(&mut self, now: i64, why: Why, fates: &mut Vec<Fate>) {
        while self.next_birth.is_some_and(|at| at <= now) {
            let coming = |l: &Line| match (l.coming, l.again) {
                (Some(a), Some(b)) => Some(if b.1 < a.1 { b } else { a }),
                (a, b) => a.or(b),
            };
            let first = self
                .lines
                .iter()
                .enumerate()
                .filter_map(|(i, l)| coming(l).map(|(n, at)| (at, l.entry.id, i, n)))
                .min();
            let Some((at, _, index, nominal)) = first else { return };
            self.pass(index, nominal, at, now, why, fates);
            self.look_ahead(index);
        }
    }

    fn pass(&mut self, index: usize, n: i64, at: i64, now: i64, why: Why, fates: &mut Vec<Fate>) {
        let Some(line) = self.lines.get(index) else { return };
        let due = self.due(line, n, at, why);
        let mut span = Span { key: due.key, last: n, count: 1, due_at: at, by: due.deadline() };
        let closed = line.entry.observes_closed
            && line.weekly.is_some_and(|w| self.closed.contains(w.closed_date(n)));
        let unset = line.weekly.is_some()
            && self.not_before.is_some_and(|first_setting| at < first_setting)
            && self.reading != Some(Reading::UnsetCaughtUp);
        let second = match (self.reading, line.again) {
            (Some(Reading::RepeatedTwice), None) if line.weekly.is_some() => {
                let utc = zone::second_pass_utc_ms(&self.clock.tz, n * 60_000);
                utc.zip(self.clock.offset_ms).map(|(utc, offset)| (n, utc - offset))
            }
            _ => None,
        };
        let waiting = line.waiting;
        let mut lives = false;
        if closed {
            push_skipped(fates, span, Causes::of(Cause::Closed), now);
        } else if unset {
            push_skipped(fates, span, Causes::of(Cause::ClockUnset), now);
        } else if due.deadline() <= now {
            if let Recurrence::Interval { every_ms, .. } = line.entry.recurrence {
                // all whose deadline is over share this fate: no need to go one by one
                let more = (now - due.deadline()) / (every_ms as i64).max(1);
                span.last = n + more;
                span.count += more as u64;
            }
            push_skipped(fates, span, why.causes(), now);
        } else if let Some(older) = waiting {
            let causes = Causes::of(Cause::OlderWaiting);
            if self.reading == Some(Reading::NewerKept) {
                let by = older.deadline();
                let (key, due_at) = (older.key, older.due_at);
                let old = Span { key, last: key.nominal, count: 1, due_at, by };
                fates.push(Fate::Skipped(old, causes));
                lives = true;
            } else {
                fates.push(Fate::Skipped(span, causes));
            }
        } else {
            lives = true;
        }
        if let Some(line) = self.lines.get_mut(index) {
            if line.again == Some((n, at)) {
                line.again = None;
            } else {
                line.next = Some(span.last + 1);
                line.passed = Some(span.last);
                line.again = second.or(line.again);
            }
            if lives {
                line.waiting = Some(due);
                fates.push(Fate::Waits(due.key.id));
            }
        }
    }
}

/// Adds a stretch of skipped dues, or makes the entry's last one longer where it
/// ends for the same causes and both are over.
fn push_skipped(fates: &mut Vec<Fate>, span: Span, causes: Causes, now: i64) {
    let of_entry = |fate: &&mut Fate| match fate {
        Fate::Skipped(s, _) => s.key.id == span.key.id,
        // it was born before the setting that made it lapse
        Fate::Lapsed(_) => false,
        Fate::Waits(id) | Fate::Ends(id, _) => *id == span.key.id,
    };
    if let Some(Fate::Skipped(last, same)) = fates.iter_mut().rev().find(of_entry) {
        let alike = last.key.revision == span.key.revision && last.key.epoch == span.key.epoch;
        if *same == causes && alike && last.by.max(span.by) <= now {
            last.last = span.last;
            last.count += span.count;
            last.by = span.by;
            return;
        }
    }
    fates.push(Fate::Skipped(span, causes));
}
