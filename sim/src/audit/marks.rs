//! What settings and acceptance do to marks, and to dues that wait.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::ClosedList;
use dosewright_core::zone::Zone;

use super::causes::Causes;
use super::dues::Weekly;
use super::model::{Due, Fate, Key, Line, Model, Span, Why};
use super::readings::Reading;
use super::{rules, zone};

impl Model {
    /// The clock chip lost its feed: the clock is unset.
    pub(crate) fn lose_clock(&mut self) {
        self.clock.offset_ms = None;
        self.clock.losses = self.clock.losses.wrapping_add(1);
        self.look_ahead_all();
    }

    /// A new zone. Where the clock is set, what it says stays the same moment.
    pub(crate) fn set_zone(&mut self, now: i64, zone: Zone, fates: &mut Vec<Fate>) {
        // the library takes every zone that a TZ string can name
        let tz = zone::to_jiff(&zone).unwrap_or(jiff::tz::TimeZone::UTC);
        self.clock.remember();
        (self.clock.zone, self.clock.tz) = (zone, tz);
        if let Some(offset) = self.clock.offset_ms {
            if self.reading == Some(Reading::ZoneOpensNoEpoch) {
                self.clock.epoch = self.clock.epoch.wrapping_sub(1);
            }
            self.open_epoch(now, offset, fates);
        }
    }

    /// The clock says from now on what the offset makes of the instant.
    pub(crate) fn set_offset(&mut self, now: i64, offset_ms: i64, fates: &mut Vec<Fate>) {
        self.clock.remember();
        self.open_epoch(now, offset_ms, fates);
    }

    fn open_epoch(&mut self, now: i64, offset_ms: i64, fates: &mut Vec<Fate>) {
        if self.clock.offset_ms.is_none() && self.clock.losses > 0 {
            self.not_before = Some(now);
        }
        self.clock.offset_ms = Some(offset_ms);
        (self.clock.epoch, self.clock.set_at) =
            (super::settings::clock_epoch(self.clock.epoch, true), now);
        for index in 0..self.lines.len() {
            let Some(line) = self.lines.get(index) else { continue };
            if line.weekly.is_none() {
                continue;
            }
            let after = self.first_from(line, now + 1);
            let next = match line.next {
                // accepted while the clock was unset
                None => self.first_from(line, now),
                Some(mark) => Some(match (self.reading, after) {
                    (Some(Reading::MarkNotLowered), _) | (_, None) => mark,
                    (Some(Reading::MarkRaised), Some(after)) => after,
                    (_, Some(after)) => mark.min(after),
                }),
            };
            let moved = line.waiting.and_then(|due| {
                self.instant(line, due.key.nominal).map(|at| Due { due_at: at, ..due })
            });
            let Some(line) = self.lines.get_mut(index) else { continue };
            if line.next != next {
                line.passed = None;
            }
            line.next = next;
            line.again = None;
            if let Some(moved) = moved {
                let unset = self.not_before.is_some_and(|first| moved.due_at < first)
                    && self.reading != Some(Reading::UnsetCaughtUp);
                if moved.due_at > now || unset {
                    let key = moved.key;
                    let old = line.waiting.take().unwrap_or(moved);
                    // one that is put ahead again keeps the instant that it had
                    let (cause, due_at) = if moved.due_at > now {
                        (Cause::ClockSet, old.due_at)
                    } else {
                        (Cause::ClockUnset, moved.due_at)
                    };
                    let span = Span { key, last: key.nominal, count: 1, due_at, by: now };
                    fates.push(Fate::Skipped(span, Causes::of(cause)));
                } else if moved.deadline() <= now {
                    line.waiting = None;
                    fates.push(Fate::Lapsed(moved));
                } else {
                    line.waiting = Some(moved);
                }
            }
        }
        self.look_ahead_all();
        self.births(now, Why::Setting, fates);
    }

    /// Goes by the clock setting again in which a due was born, where by it the due
    /// has the instant that was noted: whether it does.
    pub(crate) fn go_back_to(&mut self, key: Key, noted: i64) -> bool {
        let later = self.clock.clone();
        let fits = self.clock.go_back_to(key.epoch)
            && self.line(key.id).and_then(|line| self.instant(line, key.nominal)) == Some(noted);
        if fits {
            self.look_ahead_all();
        } else {
            self.clock = later;
        }
        fits
    }

    /// Puts a timetable in force, entry by entry, at one instant.
    pub(crate) fn adopt(
        &mut self,
        now: i64,
        entries: impl Iterator<Item = Entry> + Clone,
        closed: ClosedList,
        ceiling_nl: Option<u64>,
        fates: &mut Vec<Fate>,
    ) {
        self.closed = closed;
        let removed = |l: &Line| !entries.clone().any(|e| e.id == l.entry.id);
        for line in self.lines.iter_mut().filter(|l| removed(l)) {
            let id = line.entry.id;
            fates.extend(line.waiting.take().map(|due| dropped(&due, now, Cause::Removed)));
            fates.push(Fate::Ends(id, Cause::Removed));
        }
        self.lines.retain(|l| !removed(l));
        for entry in entries.clone() {
            self.accept(now, &entry, fates);
        }
        self.lines.sort_by_key(|l| l.entry.id);
        let follows = !self.ceiling_is_set && ceiling_nl.is_none();
        let lasts = (self.ceiling_for_nl(now), now + rules::CEILING_SPAN_MS);
        self.ceiling_before = follows.then_some(lasts);
        self.ceiling_is_set = ceiling_nl.is_some();
        self.ceiling_nl = ceiling_nl.unwrap_or_else(|| rules::default_ceiling_nl(entries));
        self.look_ahead_all();
        self.births(now, Why::Edit, fates);
    }

    fn accept(&mut self, now: i64, entry: &Entry, fates: &mut Vec<Fate>) {
        let weekly = Weekly::of(entry, self.reading);
        let mut line = Line {
            entry: *entry,
            weekly,
            revision: 1,
            next: None,
            passed: None,
            coming: None,
            again: None,
            carry: 0,
            carry_lost: false,
            edited: false,
            last: None,
            waiting: None,
        };
        let mut from = now;
        if let Some(old) = self.lines.iter().find(|l| l.entry.id == entry.id) {
            if old.entry == *entry {
                return;
            }
            let disabled = old.entry.enabled && !entry.enabled;
            let cause = if disabled { Cause::Disabled } else { Cause::Edited };
            if let Some(due) = &old.waiting {
                fates.push(dropped(due, now, cause));
                if self.reading != Some(Reading::EditMarksNow) {
                    from = from.min(due.due_at);
                }
            }
            fates.push(Fate::Ends(entry.id, cause));
            line.revision = old.revision % u16::MAX + 1;
            (line.carry, line.carry_lost) = (old.carry, old.carry_lost);
            line.last = old.last;
            line.edited = self.reading != Some(Reading::EditForgets);
            if self.reading == Some(Reading::EditForgets) {
                line.last = None;
            }
        }
        line.next = self.first_from(&line, from);
        if line.next.is_none() && (weekly.is_none() || self.clock.offset_ms.is_some()) {
            // no due any more: the mark stands past all of them
            line.next = Some(i64::from(u32::MAX));
        }
        self.lines.retain(|l| l.entry.id != entry.id);
        self.lines.push(line);
    }

    /// Puts a due back to where it had not passed: nothing of it is in the ledger.
    pub(crate) fn unpass(&mut self, id: EntryId, nominal: i64) {
        if let Some(index) = self.lines.iter().position(|l| l.entry.id == id) {
            if let Some(line) = self.lines.get_mut(index) {
                line.next = line.next.map(|next| next.min(nominal));
                line.passed = None;
            }
            self.look_ahead(index);
        }
    }
}

fn dropped(due: &Due, now: i64, cause: Cause) -> Fate {
    let (key, due_at) = (due.key, due.due_at);
    let span = Span { key, last: key.nominal, count: 1, due_at, by: now };
    Fate::Skipped(span, Causes::of(cause))
}
