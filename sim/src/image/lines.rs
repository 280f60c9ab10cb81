//! A report on an image as lines for machines.

use std::collections::BTreeMap;

use dosewright_core::cause::Cause;
use dosewright_core::record::Waiting;
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;
use schemars::JsonSchema;
use serde::Serialize;

use super::dues::Dues;
use super::history::{Detail, Kind};
use super::page::{open, state_word};
use super::sums::Sums;
use super::{Report, words};
use crate::audit::posix_string;
use crate::lines::line;
use crate::scenario::show;
use crate::trace::stamp::rfc3339;

/// Every line of `replay --json` of an image.
#[derive(JsonSchema)]
#[serde(untagged)]
#[allow(dead_code, clippy::large_enum_variant)]
enum AnyLine<'a> {
    Line(Line<'a>),
    Row(RowLine<'a>),
}

/// A line of what was found, but for the history.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
// one of the largest is made of an image
#[allow(clippy::large_enum_variant)]
enum Line<'a> {
    /// The image as a whole.
    Image {
        bytes: usize,
        /// Where the ledger begins in it.
        offset: usize,
        /// Of the format.
        version: Option<u16>,
        sector_bytes: u32,
        sectors: u16,
        /// The ledger's header says its geometry.
        geometry_from_header: bool,
        missing_bytes: usize,
        /// The device's elapsed time at the record from which on none was overwritten, and
        /// the same by its clock.
        records_from_ms: Option<i64>,
        records_from: Option<&'a str>,
        /// Older records were overwritten: all of them, or some, with older ones that stand.
        older_overwritten: bool,
        /// A device starts from it.
        starts: bool,
        why_not: Option<&'a str>,
    },
    /// A sector of the ring.
    Sector {
        sector: usize,
        state: &'static str,
        in_force: bool,
        /// Sequence number of its seal.
        seal: Option<u32>,
        good: u32,
        blank: u32,
        damaged: u32,
    },
    /// What the doses of an entry came to, by the records that are here.
    Doses {
        entry: u16,
        dosed: u64,
        part: u64,
        skipped: u64,
        /// Asked for, outside the timetable: in none of the others.
        asked: u64,
        /// The least delivered.
        volume_ul: u64,
        /// The most delivered.
        volume_most_ul: u64,
        /// Why doses of the timetable were part or skipped.
        causes: BTreeMap<&'static str, u64>,
    },
    /// What prime or calibration runs came to, by the records that are here.
    Service {
        what: &'static str,
        runs: u64,
        pump_on_ms: u64,
        /// By the flow in force at the time.
        volume_ul: Option<u64>,
    },
    /// An entry that is in force.
    Setting { entry: u16, enabled: bool, what: String },
    /// An entry whose settings are lost: it does not run.
    Lost {
        /// Its number, where a whole record tells of it.
        entry: Option<u16>,
        /// Its line of the timetable, from 1.
        line: u8,
    },
    /// The device as it starts from it.
    Started {
        at_ms: i64,
        clock_set: bool,
        epoch: u16,
        /// As a POSIX TZ string.
        zone: String,
        /// The closed dates are lost: entries that observe them do not run.
        closed_lost: bool,
        /// First and last of each stretch of closed dates.
        closed: Vec<[String; 2]>,
        /// The most in any 23 h, at that instant: after a change of the timetable that of before
        /// it goes on counting for 23 h.
        ceiling_ul: u64,
        /// A PIN is set; which it is no memory tells.
        pin_set: bool,
        head: Option<String>,
        /// The tube set: when it was put in, its nominal flow, the calibrations that are kept.
        tube: Option<String>,
        /// When the flow of the tube set is a tenth down, by its calibrations, in elapsed time.
        tube_due_ms: Option<i64>,
        /// The container and what is in it by the account.
        product: Option<String>,
        /// What is in it, by the account.
        account_ul: Option<u64>,
        /// When it is down to the heel, by account and timetable, in elapsed time.
        product_until_ms: Option<i64>,
        /// The battery pack; of a device on mains there is none.
        pack: Option<String>,
        pack_capacity_mah: Option<u16>,
        /// What was drawn of it, by account.
        pack_drawn_mah: Option<u64>,
        /// When it was put in, in elapsed time.
        pack_since_ms: Option<i64>,
        /// When what is counted on of it is drawn, by account and timetable, in elapsed time.
        pack_until_ms: Option<i64>,
        /// Its last mean at rest.
        pack_rest_mv: Option<u16>,
        /// Under load.
        pack_load_mv: Option<u16>,
        open_dose: Option<String>,
        /// Doses that wait, by the records.
        waits: Vec<WaitLine>,
        alarms: Vec<&'static str>,
        /// Those that were on by the records, before the start. What contacts say is in no
        /// memory: they are open here.
        alarms_before: Vec<&'static str>,
        pump_on_ms: Option<u64>,
        next_call_ms: Option<i64>,
        next_call_reason: Option<&'static str>,
    },
}

/// A dose that waits.
#[derive(Serialize, JsonSchema)]
struct WaitLine {
    entry: u16,
    /// When it was due by the device's clock, with its offset; left out while that was unset.
    #[serde(skip_serializing_if = "Option::is_none")]
    due: Option<String>,
    due_elapsed_ms: i64,
    /// For what.
    cause: &'static str,
}

impl WaitLine {
    fn of(waits: &Waiting, dues: &Dues) -> Self {
        let due = dues.due(&waits.key(), false, waits.due_at);
        Self {
            entry: waits.id.0,
            due: due.map(|due| rfc3339(due.at)),
            due_elapsed_ms: waits.due_at.as_ms(),
            cause: waits.cause.words(),
        }
    }
}

/// A record of the history; its event is its kind.
#[derive(Serialize, JsonSchema)]
struct RowLine<'a> {
    event: Kind,
    seq: u32,
    /// The device's elapsed time.
    at_ms: i64,
    /// By the clock that was in force, or elapsed time.
    when: &'a str,
    /// Which entry, by number.
    entry: Option<u16>,
    /// In words.
    what: &'a str,
    #[serde(flatten)]
    detail: Fields,
}

/// What a record says beside its words, by names that lines of a run have as well.
#[derive(Serialize, JsonSchema, Default)]
struct Fields {
    /// Of an outcome: dosed, part or skipped.
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<&'static str>,
    /// Why it was not dosed in full; of a wait, what for.
    #[serde(skip_serializing_if = "Option::is_none")]
    cause: Option<&'static str>,
    /// When it was due by the device's clock, with its offset; left out while that was unset.
    #[serde(skip_serializing_if = "Option::is_none")]
    due: Option<String>,
    /// The device's elapsed time at its due.
    #[serde(skip_serializing_if = "Option::is_none")]
    due_elapsed_ms: Option<i64>,
    /// Doses that it stands for.
    #[serde(skip_serializing_if = "Option::is_none")]
    count: Option<u32>,
    /// As due, of the last of several.
    #[serde(skip_serializing_if = "Option::is_none")]
    last_due: Option<String>,
    /// An operator asked for it, outside the timetable.
    #[serde(skip_serializing_if = "Option::is_none")]
    asked: Option<bool>,
    /// The least delivered; of prime and calibration, by the flow in force.
    #[serde(skip_serializing_if = "Option::is_none")]
    volume_ul: Option<u64>,
    /// The most delivered.
    #[serde(skip_serializing_if = "Option::is_none")]
    volume_most_ul: Option<u64>,
    /// Restarts while it was open.
    #[serde(skip_serializing_if = "Option::is_none")]
    restarts: Option<u8>,
    /// The device's elapsed time when the pump first ran for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    began_elapsed_ms: Option<i64>,
    /// Of prime and calibration: how long the pump ran.
    #[serde(skip_serializing_if = "Option::is_none")]
    pump_on_ms: Option<u32>,
    /// Of a reading of the pack: at rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    rest_mv: Option<u16>,
    /// Under load.
    #[serde(skip_serializing_if = "Option::is_none")]
    load_mv: Option<u16>,
}

impl Fields {
    fn of(detail: &Detail) -> Self {
        match detail {
            Detail::None => Self::default(),
            Detail::Ended(ended) => Self {
                outcome: Some(ended.word()),
                cause: ended.kind.cause().map(Cause::words),
                due: ended.due.map(rfc3339),
                due_elapsed_ms: Some(ended.due_elapsed_ms),
                count: Some(ended.count),
                last_due: ended.last_due.map(rfc3339),
                asked: Some(ended.asked),
                volume_ul: Some(ended.least.as_ul()),
                volume_most_ul: Some(ended.most.as_ul()),
                restarts: Some(ended.restarts),
                began_elapsed_ms: ended.began_elapsed_ms,
                ..Self::default()
            },
            Detail::Waits { cause, due, due_elapsed_ms } => Self {
                cause: Some(cause.words()),
                due: due.map(rfc3339),
                due_elapsed_ms: Some(*due_elapsed_ms),
                ..Self::default()
            },
            Detail::Volts { rest_mv, load_mv } => {
                Self { rest_mv: Some(*rest_mv), load_mv: Some(*load_mv), ..Self::default() }
            }
            Detail::Ran { ms, volume, .. } => Self {
                pump_on_ms: Some(*ms),
                volume_ul: volume.map(Volume::as_ul),
                ..Self::default()
            },
        }
    }
}

/// What the doses of an entry came to, by the records that are here.
fn doses(report: &Report) -> String {
    let ul = |nl: u64| Volume::from_nl(nl).as_ul();
    let sums = Sums::of(&report.history);
    let mut out = String::new();
    for (entry, doses) in &sums.entries {
        out += &line(&Line::Doses {
            entry: *entry,
            dosed: doses.dosed,
            part: doses.part,
            skipped: doses.skipped,
            asked: doses.asked,
            volume_ul: ul(doses.least_nl),
            volume_most_ul: ul(doses.most_nl),
            causes: doses.causes.iter().map(|(cause, count)| (cause.words(), *count)).collect(),
        });
    }
    for (what, service) in [("prime", sums.prime), ("calibration", sums.calibration)] {
        if service.runs > 0 {
            out += &line(&Line::Service {
                what,
                runs: service.runs,
                pump_on_ms: service.pump_on_ms,
                volume_ul: service.volume_nl.map(ul),
            });
        }
    }
    out
}

/// All of it.
pub(super) fn json(report: &Report) -> String {
    let found = &report.found;
    let mut out = line(&Line::Image {
        bytes: report.bytes,
        offset: found.offset,
        version: found.version,
        sector_bytes: found.geometry.sector_bytes,
        sectors: found.geometry.sectors,
        geometry_from_header: found.is_said,
        missing_bytes: found.missing(report.bytes),
        records_from_ms: report.since.as_ref().map(|since| since.at_ms),
        records_from: report.since.as_ref().map(|since| since.when.as_str()),
        older_overwritten: report.since.as_ref().is_some_and(|since| since.overwritten),
        starts: report.started.is_ok(),
        why_not: report.started.as_ref().err().map(String::as_str),
    });
    for (at, sector) in found.sectors.iter().enumerate() {
        out += &line(&Line::Sector {
            sector: at,
            state: state_word(sector.state),
            in_force: found.in_force() == Some(at),
            seal: sector.seal,
            good: sector.good,
            blank: sector.blank,
            damaged: sector.damaged,
        });
    }
    for row in &report.history {
        out += &line(&RowLine {
            event: row.kind,
            seq: row.seq,
            at_ms: row.at_ms,
            when: &row.when,
            entry: row.entry,
            what: &row.what,
            detail: Fields::of(&row.detail),
        });
    }
    out += &doses(report);
    let Ok(started) = &report.started else { return out };
    let (state, lasts) = (&started.state, &started.lasts);
    let clock = state.clock.as_ref();
    for entry in state.timetable.entries() {
        out += &line(&Line::Setting {
            entry: entry.id.0,
            enabled: entry.enabled,
            what: words::entry(&entry, clock),
        });
    }
    for (at, id) in report.dues.lost(state.damaged) {
        out += &line(&Line::Lost { entry: id.map(|id| id.0), line: at + 1 });
    }
    out += &line(&Line::Started {
        at_ms: started.at.as_ms(),
        clock_set: clock.is_some(),
        epoch: state.epoch,
        zone: posix_string(&state.zone),
        closed_lost: state.closed_damaged,
        closed: state
            .timetable
            .closed
            .iter()
            .map(|closed| [show::date(closed.first), show::date(closed.last)])
            .collect(),
        ceiling_ul: state.ceiling_for(started.at).as_ul(),
        pin_set: state.lock.is_set(),
        head: state.head.as_ref().map(words::head),
        tube: words::tube(&state.tube, &report.dues),
        tube_due_ms: lasts.tube_due.map(Instant::as_ms),
        product: words::product(state),
        account_ul: state.stock.container().map(|_| state.account().as_ul()),
        product_until_ms: lasts.product_until.map(Instant::as_ms),
        pack: words::pack(&state.gauge.pack),
        pack_capacity_mah: state.gauge.pack().map(|pack| pack.capacity_mah),
        pack_drawn_mah: state.gauge.pack().map(|_| lasts.pack_drawn_mah),
        pack_since_ms: state.gauge.pack().map(|_| state.gauge.since.as_ms()),
        pack_until_ms: lasts.pack_until.map(Instant::as_ms),
        pack_rest_mv: Some(state.gauge.rest_mv).filter(|mv| *mv > 0),
        pack_load_mv: Some(state.gauge.load_mv).filter(|mv| *mv > 0),
        open_dose: started.open.as_ref().map(|_| open(started, &report.dues)),
        waits: started.waits.iter().map(|waits| WaitLine::of(waits, &report.dues)).collect(),
        alarms: started.alarms.iter().map(|alarm| alarm.words()).collect(),
        alarms_before: started.alarms_before.iter().map(|alarm| alarm.words()).collect(),
        pump_on_ms: started.pump_on.map(dosewright_core::time::Duration::as_ms),
        next_call_ms: started.next.map(|(at, _)| at.as_ms()),
        next_call_reason: started.next.map(|(_, reason)| words::reason(reason)),
    });
    out
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<AnyLine<'_>>("replay --json of an image")
}
