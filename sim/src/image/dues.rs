//! Dues by the clock that they were born under: one set later does not move them.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, EntryId, Nominal};
use dosewright_core::record::{DueKey, Record};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::zone::Zone;

use super::changes::InForce;
use super::history::{Detail, Kind, Row};
use super::words;
use crate::scenario::show;
use crate::trace::Stamped;

const MINUTE_MS: i64 = 60_000;

/// The clocks and the entries that the ledger has told of so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Dues {
    /// The clock in force; `None` while it is unset.
    pub(super) now: Option<WallClock>,
    epochs: Vec<(u16, WallClock)>,
    /// Each clock from the instant on that it was set; `None` where it was lost.
    clocks: Vec<(Instant, Option<WallClock>)>,
    entries: Vec<(EntryId, u16, Entry)>,
    /// Entries, ceiling, closed dates and flow.
    pub(super) in_force: InForce,
    /// The entry that stood last on a line.
    on_lines: Vec<(u8, EntryId)>,
}

/// A due by the clock that it is told by.
pub(super) struct Shown {
    pub(super) at: Stamped,
    pub(super) words: String,
}

impl Shown {
    fn of(zone: &Zone, utc: Utc) -> Self {
        let at = Stamped { local: zone.to_local(utc), offset_s: zone.offset_at(utc) };
        Self { at, words: words::by_zone(zone, utc) }
    }
}

/// What was so before a record that changes it.
pub(super) struct Before {
    pub(super) clock: Option<WallClock>,
    pub(super) in_force: Option<InForce>,
}

impl Dues {
    /// The next record of the ledger.
    pub(super) fn see(&mut self, record: &Record) {
        self.in_force.see(record);
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
                self.clocks.push((*at, self.now));
                if let Some(clock) = self.now {
                    self.epochs.retain(|(known, _)| known != epoch);
                    self.epochs.push((*epoch, clock));
                }
            }
            Record::Boot { at, feed_kept: false, .. } => {
                self.now = None;
                self.clocks.push((*at, None));
            }
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
    /// any other what the clock in force shows at its instant, `None` while it is unset.
    pub(super) fn due(&self, key: &DueKey, asked: bool, at: Instant) -> Option<Shown> {
        let meant = if asked { None } else { self.meant(key, key.nominal) };
        meant.or_else(|| self.shown(at))
    }

    /// When the last of a row of dues was meant.
    pub(super) fn last(&self, key: &DueKey, last: Nominal) -> Option<Shown> {
        let shown = || self.shown(self.entry(key)?.instant_of(last, None)?);
        self.meant(key, last).or_else(shown)
    }

    /// A moment by the clock that was in force then, as far as the records tell.
    pub(super) fn moment(&self, at: Instant) -> String {
        let then = self.clocks.iter().rev().find(|(from, _)| *from <= at);
        // of before the first, the first
        let clock = then.or_else(|| self.clocks.first()).and_then(|(_, clock)| *clock);
        words::moment(at, clock.as_ref())
    }

    /// What was pumped in so long, in words.
    pub(super) fn pumped(&self, ms: u32) -> String {
        let volume = self.in_force.pumps(ms).map(show::dose);
        let length = show::length(u64::from(ms));
        volume.map_or(length.clone(), |volume| format!("{length}: {volume} by the flow in force"))
    }

    /// A row that is told of a moment.
    pub(super) fn row(
        &self,
        seq: u32,
        at: Instant,
        (kind, entry): (Kind, Option<u16>),
        what: String,
        detail: Detail,
    ) -> Row {
        let (at_ms, when) = (at.as_ms(), words::moment(at, self.now.as_ref()));
        let local = self.now.as_ref().map(|clock| clock.local(at));
        Row { seq, at_ms, when, kind, entry, what, detail, local }
    }

    /// What a record is about to change.
    pub(super) fn before(&self, record: &Record) -> Before {
        let in_force = matches!(record, Record::Adopted(_)).then(|| self.in_force.clone());
        Before { clock: self.now, in_force }
    }

    fn shown(&self, at: Instant) -> Option<Shown> {
        let clock = self.now.as_ref()?;
        Some(Shown::of(&clock.zone, clock.utc(at)))
    }

    fn meant(&self, key: &DueKey, n: Nominal) -> Option<Shown> {
        let (_, clock) = self.epochs.iter().find(|(epoch, _)| *epoch == key.epoch)?;
        let entry = self.entry(key).filter(|entry| entry.is_weekly())?;
        let local = Local::from_ms(i64::from(n.0) * MINUTE_MS);
        Some(Shown::of(&clock.zone, clock.zone.to_utc(local, entry.gap_rule)))
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
