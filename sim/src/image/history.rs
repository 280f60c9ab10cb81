//! What the ledger still tells, in the order in which it was written.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Local;
use dosewright_core::entry::EntryId;
use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::record::{Act, DueKey, OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::dues::{Before, Dues};
use super::ended::Ended;
use super::{changes, lost, records, words};
use crate::trace::Stamped;
use crate::words::plural;

/// What kind of record, as the lines have it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Kind {
    Start,
    Clock,
    Head,
    Entry,
    Timetable,
    Waits,
    Outcome,
    Act,
    Alarm,
    Container,
    Pack,
    Pin,
    Calibration,
    Motor,
    /// Records that were there and cannot be read.
    Unreadable,
    /// Records that were overwritten, though older ones still stand.
    Overwritten,
}

/// What a record says beside its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Detail {
    /// Nothing.
    None,
    /// A due, or a row of them, ended.
    Ended(Ended),
    /// A due waits.
    Waits {
        /// For what.
        cause: Cause,
        /// When it was due by the device's clock; `None` while that was unset.
        due: Option<Stamped>,
        /// The device's elapsed time at its due, in ms.
        due_elapsed_ms: i64,
    },
    /// The pack's voltage before a dose.
    Volts {
        /// At rest, in mV.
        rest_mv: u16,
        /// Under load, in mV.
        load_mv: u16,
    },
    /// Prime or a calibration run ended.
    Ran {
        /// It was prime.
        prime: bool,
        /// The pump was on for so long.
        ms: u32,
        /// That time at the flow in force; `None` where there was none.
        volume: Option<Volume>,
    },
}

/// One thing that it tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// The sequence number of its record.
    pub seq: u32,
    /// The device's elapsed time, in ms.
    pub at_ms: i64,
    /// By the clock that was in force, or elapsed time.
    pub when: String,
    /// What kind of record.
    pub kind: Kind,
    /// Which entry, by number.
    pub entry: Option<u16>,
    /// In words.
    pub what: String,
    /// What it says beside them.
    pub detail: Detail,
    /// By the clock that was in force; `None` while that was unset.
    pub local: Option<Local>,
}

/// From when on there are all records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Since {
    /// The device's elapsed time at the oldest, in ms.
    pub at_ms: i64,
    /// By the clock that was in force, or elapsed time.
    pub when: String,
    /// Older ones were overwritten: all of them, or some.
    pub overwritten: bool,
}

/// What the records tell.
pub(super) struct Told {
    pub(super) rows: Vec<Row>,
    pub(super) since: Option<Since>,
    /// What names a due after the last record.
    pub(super) dues: Dues,
}

/// Every whole record, the oldest first; pulses and stamps are left out, and of a row of
/// closed doses all but its last record, which stands for those before it.
pub(super) fn history(memory: &[u8], geometry: &Geometry) -> Told {
    let mut records: Vec<(u32, Class, Record)> = Vec::new();
    // the first sector's numbers begin with 1; of its first slots some may be damaged
    let mut least = u32::MAX;
    let of_first = geometry.sector_bytes / SLOT as u32 / 4;
    for sector in memory.chunks(geometry.sector_bytes.max(1) as usize) {
        for slot in sector.as_chunks::<SLOT>().0 {
            let Slot::Good { seq, class, payload } = Slot::decode(slot) else { continue };
            least = least.min(seq);
            if matches!(class, Class::Record | Class::Snapshot)
                && let Some(record) = Record::decode(&payload)
            {
                records.push((seq, class, record));
            }
        }
    }
    records.sort_by_key(|(seq, ..)| *seq);
    // some are in two slots, with one number
    records.dedup_by_key(|(seq, ..)| *seq);
    let mut dues = Dues::default();
    let mut last = Instant::ZERO;
    let mut rows: Vec<Row> = Vec::new();
    let mut since = None;
    // the row of closed doses of each entry that was told last
    let mut closed: Vec<(DueKey, u32)> = Vec::new();
    // what is staged is told with the adoption that puts it in force: it has no time of its own
    let mut staged: Vec<(u32, EntryId, String)> = Vec::new();
    let mut gaps = lost::gaps(memory, geometry).into_iter().peekable();
    let mut overwritten = lost::overwritten(memory, geometry).into_iter().peekable();
    for (seq, class, record) in &records {
        while let Some((from, count)) = gaps.next_if(|(from, _)| from < seq) {
            let (kind, detail) = (Kind::Unreadable, Detail::None);
            let what = match count {
                1 => "a record is missing here: it cannot be read".to_owned(),
                count => {
                    format!("{} are missing here: they cannot be read", plural(count, "record"))
                }
            };
            rows.push(dues.row(from, last, (kind, None), what, detail));
        }
        let before = dues.before(record);
        dues.see(record);
        // a snapshot repeats what is there already
        if *class == Class::Snapshot {
            continue;
        }
        let at = instant(record).unwrap_or(last);
        last = at;
        if instant(record).is_some() {
            let from = std::iter::from_fn(|| overwritten.next_if(|from| from < seq)).last();
            if since.is_none() || from.is_some() {
                let (at_ms, when) = (at.as_ms(), words::moment(at, dues.now.as_ref()));
                let overwritten = least > of_first || from.is_some();
                since = Some(Since { at_ms, when, overwritten });
            }
            if let Some(from) = from {
                let kind = (Kind::Overwritten, None);
                let what = "the records before this were overwritten; older ones still stand";
                rows.push(dues.row(from, at, kind, what.to_owned(), Detail::None));
            }
        }
        if let Record::Outcome(outcome) = record
            && outcome.kind == OutcomeKind::Skipped(Cause::Closed)
        {
            if let Some((_, told)) = closed.iter().find(|(due, _)| *due == outcome.due) {
                rows.retain(|row| row.seq != *told);
            }
            closed.retain(|(due, _)| due.id != outcome.due.id);
            closed.push((outcome.due, *seq));
        }
        match record {
            Record::Staged(entry) => {
                let what = dues.in_force.entered(entry, dues.now.as_ref());
                staged.push((*seq, entry.entry.id, what));
            }
            Record::Adopted(_) | Record::Boot { .. } => {
                let never = !matches!(record, Record::Adopted(_));
                for (seq, id, mut what) in staged.drain(..) {
                    if never {
                        what.push_str("; a start came before it was in force");
                    }
                    rows.push(dues.row(seq, at, (Kind::Entry, Some(id.0)), what, Detail::None));
                }
            }
            _ => {}
        }
        if let Some((kind, entry, what, detail)) = row(record, &before, &dues) {
            rows.push(dues.row(*seq, at, (kind, entry), what, detail));
        }
    }
    rows.sort_by_key(|row| row.seq);
    Told { rows, since, dues }
}

/// When a record was written, by the device's elapsed time.
pub(super) fn instant(record: &Record) -> Option<Instant> {
    // that of an open dose is carried along by snapshots that are later
    record.at().filter(|_| !matches!(record, Record::SnapOpen { .. }))
}

/// Its kind, its entry and what it says; `None` for what is too small to tell.
fn row(
    record: &Record,
    before: &Before,
    dues: &Dues,
) -> Option<(Kind, Option<u16>, String, Detail)> {
    let clock = dues.now.as_ref();
    let (kind, entry, what) = match record {
        Record::Clock { at, epoch, .. } => {
            (Kind::Clock, None, changes::clock(*at, *epoch, before.clock.as_ref(), clock))
        }
        Record::Adopted(adopted) => {
            let in_force = before.in_force.as_ref().unwrap_or(&dues.in_force);
            (Kind::Timetable, None, in_force.adopted(adopted))
        }
        Record::Outcome(outcome) => {
            let (ended, what) = Ended::of(outcome, dues);
            return Some((Kind::Outcome, Some(outcome.due.id.0), what, Detail::Ended(ended)));
        }
        Record::Born(born) => {
            let due = dues.due(&born.due, false, born.due_at);
            let due = due.map_or_else(|| words::moment(born.due_at, None), |due| due.words);
            let what = format!("waits: {}; due {due}", born.cause.words());
            (Kind::Waits, Some(born.due.id.0), what)
        }
        _ => records::row(record, dues)?,
    };
    let detail = match record {
        Record::Born(born) => {
            let due = dues.due(&born.due, false, born.due_at).map(|due| due.at);
            Detail::Waits { cause: born.cause, due, due_elapsed_ms: born.due_at.as_ms() }
        }
        Record::PackMeans { rest_mv, load_mv, .. } => {
            Detail::Volts { rest_mv: *rest_mv, load_mv: *load_mv }
        }
        Record::Act { act, ms, .. } => {
            let ran = |prime| Detail::Ran { prime, ms: *ms, volume: dues.in_force.pumps(*ms) };
            match act {
                Act::PrimeEnded => ran(true),
                Act::CalibrationEnded | Act::TrainEnded => ran(false),
                _ => Detail::None,
            }
        }
        _ => Detail::None,
    };
    Some((kind, entry, what, detail))
}
