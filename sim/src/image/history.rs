//! What the ledger still tells, in the order in which it was written.

use dosewright_core::cause::Cause;
use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::lock::PinWord;
use dosewright_core::motor::Motor;
use dosewright_core::record::{Act, Alarm, DueKey, NewPack, Outcome, OutcomeKind, Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::dues::Dues;
use super::words;
use crate::scenario::show;
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
}

/// From when on there are records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Since {
    /// The device's elapsed time at the oldest, in ms.
    pub at_ms: i64,
    /// By the clock that was in force, or elapsed time.
    pub when: String,
    /// Older ones were overwritten.
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
    for (seq, class, record) in &records {
        dues.see(record);
        // a snapshot repeats what is there already
        if *class == Class::Snapshot {
            continue;
        }
        let at = instant(record).unwrap_or(last);
        last = at;
        if since.is_none() && instant(record).is_some() {
            let (at_ms, when) = (at.as_ms(), words::moment(at, dues.now.as_ref()));
            since = Some(Since { at_ms, when, overwritten: least > of_first });
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
        if let Some((kind, entry, what)) = row(record, &dues) {
            let when = words::moment(at, dues.now.as_ref());
            rows.push(Row { seq: *seq, at_ms: at.as_ms(), when, kind, entry, what });
        }
    }
    Told { rows, since, dues }
}

/// When a record was written, by the device's elapsed time.
pub(super) fn instant(record: &Record) -> Option<Instant> {
    // that of an open dose is carried along by snapshots that are later
    record.at().filter(|_| !matches!(record, Record::SnapOpen { .. }))
}

/// Its word, its entry and what it says; `None` for what is too small to tell.
fn row(record: &Record, dues: &Dues) -> Option<(Kind, Option<u16>, String)> {
    Some(match record {
        Record::Boot { feed_kept, reset, .. } => {
            let why = match reset {
                Reset::PowerOn => "the supply came back",
                Reset::Watchdog => "the watchdog fired",
            };
            let feed = if *feed_kept { "" } else { "; the clock chip had lost its feed" };
            (Kind::Start, None, format!("start: {why}{feed}"))
        }
        Record::Clock { epoch, utc: Some(_), .. } => {
            (Kind::Clock, None, format!("clock or zone set, epoch {epoch}"))
        }
        Record::Clock { .. } => (Kind::Clock, None, "zone set, the clock is unset".to_owned()),
        Record::Head { head, .. } => {
            (Kind::Head, None, format!("head set: {}", show::flow(head.flow)))
        }
        Record::Staged(staged) => (
            Kind::Entry,
            Some(staged.entry.id.0),
            format!(
                "entered, revision {}: {}",
                staged.revision,
                words::entry(&staged.entry, dues.now.as_ref())
            ),
        ),
        Record::Adopted(_) => (Kind::Timetable, None, "a timetable is in force".to_owned()),
        Record::Born(born) => {
            (Kind::Waits, Some(born.due.id.0), format!("waits: {}", born.cause.words()))
        }
        Record::Outcome(outcome) => {
            (Kind::Outcome, Some(outcome.due.id.0), outcome_words(outcome, dues))
        }
        Record::Act { act, ms, .. } => {
            let what = match act {
                Act::PrimeBegun => {
                    format!("prime begins, {} at most", show::length(u64::from(*ms)))
                }
                Act::PrimeEnded => format!("prime ends after {}", show::length(u64::from(*ms))),
                Act::CalibrationBegun => {
                    format!("calibration run of {} begins", show::length(u64::from(*ms)))
                }
                Act::CalibrationEnded => {
                    format!("calibration run ends after {}", show::length(u64::from(*ms)))
                }
                Act::TrainBegun => {
                    format!("calibration train of {} begins", show::length(u64::from(*ms)))
                }
                Act::TrainEnded => {
                    format!("calibration train ends after {}", show::length(u64::from(*ms)))
                }
                Act::Acknowledged => "alarms acknowledged".to_owned(),
                Act::TubeChanged => "new tube set".to_owned(),
                Act::Unlocked => "settings unlocked".to_owned(),
                Act::WrongPin => "a wrong PIN".to_owned(),
            };
            (Kind::Act, None, what)
        }
        Record::Alarm { alarm, on, detail, .. } => {
            let state = if *on { "on" } else { "off" };
            let more = match alarm {
                Alarm::LowLevel | Alarm::LevelDisagrees if *on => {
                    format!("; {} by account", show::volume(Volume::from_nl(*detail)))
                }
                Alarm::MemoryDamaged if *on => format!("; {}", plural(*detail, "slot")),
                Alarm::EntryDamaged if *on && *detail == 0 => "; closed dates".to_owned(),
                Alarm::EntryDamaged | Alarm::DoesNotFit if *on => {
                    format!("; {}", entries_on(*detail, dues))
                }
                _ => String::new(),
            };
            (Kind::Alarm, None, format!("alarm {state}: {}{more}", alarm.words()))
        }
        Record::Container { container, level, .. } => (
            Kind::Container,
            None,
            format!(
                "container: {} of {} in it, {} of them not dosed",
                show::volume(*level),
                show::volume(container.capacity),
                show::volume(container.heel)
            ),
        ),
        Record::Pack { how, .. } => {
            let what = match how {
                NewPack::Set => "battery pack set up",
                NewPack::Changed => "battery pack changed",
                NewPack::Recognised => "another battery pack recognised by its voltage",
            };
            (Kind::Pack, None, what.to_owned())
        }
        Record::PackMeans { rest_mv, load_mv, .. } => {
            let volts = |mv: u16| format!("{:.2} V", f64::from(mv) / 1e3);
            let what = format!(
                "battery pack: {} at rest, {} under load",
                volts(*rest_mv),
                volts(*load_mv)
            );
            (Kind::Pack, None, what)
        }
        Record::Pin { check: PinWord::NONE, .. } => (Kind::Pin, None, "PIN taken away".to_owned()),
        Record::Pin { .. } => (Kind::Pin, None, "PIN set".to_owned()),
        Record::Calibration { found, in_force, lead_ms } => {
            (Kind::Calibration, None, show::calibration(found, *in_force, *lead_ms))
        }
        Record::Motor { faults, .. } => (Kind::Motor, None, motor_words(*faults)),
        _ => return None,
    })
}

/// The entries on lines, a bit a line.
fn entries_on(lines: u64, dues: &Dues) -> String {
    let lost = dues.lost(lines).into_iter().map(|(line, id)| words::lost_entry(line, id));
    lost.collect::<Vec<String>>().join(", ")
}

/// How a due, or a row of them, ended.
fn outcome_words(outcome: &Outcome, dues: &Dues) -> String {
    let due = dues.due(&outcome.due, outcome.asked, outcome.due_at);
    let (count, last) = match outcome.count {
        0 | 1 => (String::new(), None),
        count => (format!(" ({count} of them)"), dues.last(&outcome.due, outcome.last)),
    };
    let last = last.map_or_else(String::new, |last| format!(", the last {last}"));
    let (least, most) = (show::volume(outcome.least), show::volume(outcome.most));
    let amount = match outcome.kind {
        OutcomeKind::Skipped(_) => String::new(),
        _ if least == most => format!(" {most}"),
        _ => format!(" {least} to {most}"),
    };
    let (word, cause) = match outcome.kind {
        OutcomeKind::Dosed => ("dosed", None),
        OutcomeKind::Part(cause) => ("part", Some(cause)),
        OutcomeKind::Skipped(cause) => ("skipped", Some(cause)),
    };
    let cause = cause.map_or_else(String::new, |cause| format!(", {}", cause.words()));
    let asked = if outcome.asked { "asked for" } else { "due" };
    format!("{word}{count}{amount}{cause}; {asked} {due}{last}")
}

/// A fault of the motor, by its number in a row.
pub(crate) fn motor_words(faults: u8) -> String {
    let motor = Motor { faults, ..Motor::SOUND };
    if motor.is_latched() {
        return "the motor stalled or drew too much again: latched until acknowledged".to_owned();
    }
    let rest = motor.rests_until().since(motor.at);
    format!(
        "the motor stalled or drew too much, {faults}. time: it rests {}",
        show::length(rest.as_ms())
    )
}
