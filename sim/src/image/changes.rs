//! What is in force by the records so far, and what a change made of it.

use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Adopted, ClosedList, Record, Staged};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::{Flow, Volume};

use super::words;
use crate::audit::posix_string;
use crate::scenario::show;
use crate::trace::Settings;

/// Entries, ceiling, closed dates and flow.
#[derive(Debug, Clone, Default)]
pub(super) struct InForce {
    entries: Vec<Staged>,
    staged: Vec<Staged>,
    /// The operator's own ceiling; without one it goes by the timetable.
    ceiling: Option<Volume>,
    closed: ClosedList,
    staged_closed: ClosedList,
    flow: Option<(Flow, u16)>,
}

const fn has(bits: u64, line: u8) -> bool {
    line < 64 && bits >> line & 1 == 1
}

impl InForce {
    /// The next record of the ledger.
    pub(super) fn see(&mut self, record: &Record) {
        match record {
            // what was staged before a start was never adopted
            Record::Boot { .. } => self.staged.clear(),
            Record::Staged(staged) => {
                self.staged.retain(|known| known.line != staged.line);
                self.staged.push(*staged);
            }
            Record::StagedClosed(closed) => self.staged_closed = *closed,
            Record::Adopted(adopted) => {
                self.entries = self.after(adopted);
                self.staged.clear();
                self.ceiling = adopted.ceiling;
                self.closed = self.closed_after(adopted);
            }
            Record::Head { head, .. } | Record::SnapHead(head) => self.head(head),
            Record::Calibration { found, in_force: true, lead_ms } => {
                self.flow = Some((found.flow, *lead_ms));
            }
            // a snapshot begins anew
            Record::SnapClock { .. } => {
                self.entries.clear();
                self.staged.clear();
            }
            Record::SnapGlobals { ceiling, .. } => self.ceiling = *ceiling,
            Record::SnapClosed(closed) => self.closed = *closed,
            Record::SnapEntry(staged) => {
                self.entries.retain(|known| known.line != staged.line);
                self.entries.push(*staged);
            }
            _ => {}
        }
    }

    const fn head(&mut self, head: &Head) {
        self.flow = Some((head.flow, head.lead_ms));
    }

    fn after(&self, adopted: &Adopted) -> Vec<Staged> {
        let stays = |known: &&Staged| !has(adopted.cleared | adopted.written, known.line);
        let comes = self.staged.iter().filter(|staged| has(adopted.written, staged.line));
        self.entries.iter().filter(stays).chain(comes).copied().collect()
    }

    const fn closed_after(&self, adopted: &Adopted) -> ClosedList {
        if adopted.closed_staged { self.staged_closed } else { self.closed }
    }

    /// What a staged entry is, or what it makes of the one of before.
    pub(super) fn entered(&self, staged: &Staged, clock: Option<&WallClock>) -> String {
        let before = self.entries.iter().find(|known| known.entry.id == staged.entry.id);
        let what = match before {
            None => words::entry(&staged.entry, clock),
            Some(before) => {
                let after = Settings::of(&staged.entry, clock);
                match Settings::of(&before.entry, clock).to(&after) {
                    same if same.is_empty() => "as before".to_owned(),
                    changes => changes,
                }
            }
        };
        format!("entered, revision {}: {what}", staged.revision)
    }

    /// What a timetable that is put in force takes away, and what it makes of ceiling and
    /// closed dates.
    pub(super) fn adopted(&self, adopted: &Adopted) -> String {
        let after = self.after(adopted);
        let gone = |id: &EntryId| after.iter().all(|staged| staged.entry.id != *id);
        let before = self.entries.iter().map(|staged| staged.entry.id);
        let mut parts: Vec<String> =
            before.filter(gone).map(|id| format!("entry {} taken out", id.0)).collect();
        if adopted.ceiling != self.ceiling {
            let said = |ceiling: Option<Volume>| {
                ceiling.map_or_else(|| "that of the timetable".to_owned(), show::volume)
            };
            parts.push(format!("ceiling {} to {}", said(self.ceiling), said(adopted.ceiling)));
        }
        let closed = self.closed_after(adopted);
        if closed != self.closed {
            parts.push(format!("closed dates {}, before {}", dates(&closed), dates(&self.closed)));
        }
        if parts.is_empty() {
            "a timetable is in force".to_owned()
        } else {
            format!("a timetable is in force: {}", parts.join("; "))
        }
    }

    /// What so much pumping delivers by the flow in force, where there is one.
    pub(super) fn pumps(&self, ms: u32) -> Option<Volume> {
        let (flow, lead_ms) = self.flow?;
        Some(flow.volume(Duration::from_ms(u64::from(ms.saturating_sub(u32::from(lead_ms))))))
    }
}

fn dates(closed: &ClosedList) -> String {
    let each = closed.iter().map(|c| match (show::date(c.first), show::date(c.last)) {
        (first, last) if first == last => first,
        (first, last) => format!("{first} to {last}"),
    });
    let each: Vec<String> = each.collect();
    if each.is_empty() { "none".to_owned() } else { each.join(", ") }
}

/// A setting of clock or zone: what it showed before, and what from then on.
pub(super) fn clock(
    at: Instant,
    epoch: u16,
    before: Option<&WallClock>,
    after: Option<&WallClock>,
) -> String {
    let Some(after) = after else { return "zone set, the clock is unset".to_owned() };
    let shows = |clock: &WallClock, is_zone: bool| {
        if is_zone {
            let offset = show::offset(clock.zone.offset_at(clock.utc(at)));
            format!("{} ({offset})", show::local(clock.local(at)))
        } else {
            words::moment(at, Some(clock))
        }
    };
    let zone = posix_string(&after.zone);
    let Some(before) = before else {
        return format!("clock set to {}, zone {zone}, epoch {epoch}", shows(after, false));
    };
    let moved_ms = after.utc(at).as_ms().abs_diff(before.utc(at).as_ms());
    let what = match (before.zone == after.zone, moved_ms) {
        (true, _) => "clock set".to_owned(),
        // what it shows is rounded to no second
        (false, 0..1000) => format!("zone set to {zone}: the clock goes"),
        (false, _) => format!("clock set, and zone to {zone}"),
    };
    let is_zone = before.zone != after.zone;
    format!("{what} from {} to {}, epoch {epoch}", shows(before, is_zone), shows(after, is_zone))
}
