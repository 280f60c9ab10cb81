//! A report on an image as lines for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::history::Kind;
use super::page::{open, state_word};
use super::{Report, words};
use crate::audit::posix_string;
use crate::lines::line;
use crate::scenario::show;

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
        /// The device's elapsed time at the oldest record, and the same by its clock.
        records_from_ms: Option<i64>,
        records_from: Option<&'a str>,
        /// Older records were overwritten.
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
    /// An entry that is in force.
    Setting { entry: u16, enabled: bool, what: String },
    /// An entry whose settings are lost: it does not run.
    Lost {
        /// Its number, where a whole record tells of it.
        entry: Option<u16>,
        /// Its line of the timetable, from 0.
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
        /// The most in any 23 h.
        ceiling_ul: u64,
        /// A PIN is set; which it is no memory tells.
        pin_set: bool,
        head: Option<String>,
        /// The tube set: when it was put in, its nominal flow, the calibrations that are kept.
        tube: Option<String>,
        /// The container and what is in it by the account.
        product: Option<String>,
        /// The battery pack; of a device on mains there is none.
        pack: Option<String>,
        open_dose: Option<String>,
        alarms: Vec<&'static str>,
        pump_on_ms: Option<u64>,
        next_call_ms: Option<i64>,
        next_call_reason: Option<&'static str>,
    },
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
    what: &'a str,
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
        });
    }
    let Ok(started) = &report.started else { return out };
    let state = &started.state;
    let clock = state.clock.as_ref();
    for entry in state.timetable.entries() {
        out += &line(&Line::Setting {
            entry: entry.id.0,
            enabled: entry.enabled,
            what: words::entry(&entry, clock),
        });
    }
    for (at, id) in report.dues.lost(state.damaged) {
        out += &line(&Line::Lost { entry: id.map(|id| id.0), line: at });
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
        ceiling_ul: state.timetable.ceiling_in_force().as_ul(),
        pin_set: state.lock.is_set(),
        head: state.head.as_ref().map(words::head),
        tube: words::tube(&state.tube, clock),
        product: words::product(state),
        pack: words::pack(&state.gauge.pack),
        open_dose: started.open.as_ref().map(|_| open(started, &report.dues)),
        alarms: started.alarms.iter().map(|alarm| alarm.words()).collect(),
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
