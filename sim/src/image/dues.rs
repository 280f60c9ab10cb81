//! Dues by the clock that they were born under: one set later does not move them.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, EntryId, Nominal};
use dosewright_core::record::{DueKey, Record};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::zone::Zone;

use super::words;

const MINUTE_MS: i64 = 60_000;

/// The clocks and the entries that the ledger has told of so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Dues {
    /// The clock in force; `None` while it is unset.
    pub(super) now: Option<WallClock>,
    epochs: Vec<(u16, WallClock)>,
    entries: Vec<(EntryId, u16, Entry)>,
    /// The entry that stood last on a line.
    on_lines: Vec<(u8, EntryId)>,
}

impl Dues {
    /// The next record of the ledger.
    pub(super) fn see(&mut self, record: &Record) {
        let on_line = match record {
            Record::Staged(staged) | Record::SnapEntry(staged) => {
                Some((staged.line, staged.entry.id))
            }
            Record::SnapLine { line, id, .. } => Some((*line, *id)),
            Record::Born(born) => Some((born.line, born.due.id)),
            Record::Pulse(pulse) => Some((pulse.line, pulse.due.id)),
            Record::Outcome(outcome) => Some((outcome.line, outcome.due.id)),
            _ => None,
        };
        if let Some((line, id)) = on_line {
            self.on_lines.retain(|(known, _)| *known != line);
            self.on_lines.push((line, id));
        }
        match record {
            Record::Clock { at, epoch, utc, zone }
            | Record::SnapClock { at, epoch, utc, zone, .. } => {
                self.now = wall(*at, *utc, *zone);
                if let Some(clock) = self.now {
                    self.epochs.retain(|(known, _)| known != epoch);
                    self.epochs.push((*epoch, clock));
                }
            }
            Record::Boot { feed_kept: false, .. } => self.now = None,
            Record::Staged(staged) | Record::SnapEntry(staged) => {
                let (id, revision) = (staged.entry.id, staged.revision);
                self.entries.retain(|(known, of, _)| (*known, *of) != (id, revision));
                self.entries.push((id, revision, staged.entry));
            }
            _ => {}
        }
    }

    /// What stands on lines whose settings are lost, a bit a line: an entry's number, or
    /// `None` where no whole record tells of it.
    pub(super) fn lost(&self, lines: u64) -> Vec<(u8, Option<EntryId>)> {
        let of = |line: u8| {
            let found = self.on_lines.iter().find(|(known, _)| *known == line);
            (line, found.map(|(_, id)| *id))
        };
        (0..64).filter(|line| lines >> line & 1 == 1).map(of).collect()
    }

    /// When a due was meant. Of a weekly one its own time, moved where a gap moves it; of
    /// any other what the clock in force shows at its instant.
    pub(super) fn due(&self, key: &DueKey, asked: bool, at: Instant) -> String {
        if !asked && let Some(meant) = self.meant(key, key.nominal) {
            return meant;
        }
        words::moment(at, self.now.as_ref())
    }

    /// When the last of a row of dues was meant.
    pub(super) fn last(&self, key: &DueKey, last: Nominal) -> Option<String> {
        if let Some(meant) = self.meant(key, last) {
            return Some(meant);
        }
        let at = self.entry(key)?.instant_of(last, None)?;
        Some(words::moment(at, self.now.as_ref()))
    }

    fn meant(&self, key: &DueKey, n: Nominal) -> Option<String> {
        let (_, clock) = self.epochs.iter().find(|(epoch, _)| *epoch == key.epoch)?;
        let entry = self.entry(key).filter(|entry| entry.is_weekly())?;
        let local = Local::from_ms(i64::from(n.0) * MINUTE_MS);
        Some(words::by_zone(&clock.zone, clock.zone.to_utc(local, entry.gap_rule)))
    }

    fn entry(&self, key: &DueKey) -> Option<&Entry> {
        let known = self.entries.iter();
        known
            .map(|(id, revision, entry)| ((*id, *revision), entry))
            .find_map(|(of, entry)| (of == (key.id, key.revision)).then_some(entry))
    }
}

fn wall(at: Instant, utc: Option<Utc>, zone: Zone) -> Option<WallClock> {
    utc.map(|utc| WallClock::at(at, utc, zone))
}
