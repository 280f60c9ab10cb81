//! The independent judge of a run.
//!
//! It sees what can be seen from outside (the pump's pin, the supply, the clock
//! chip, what operators did, the bytes of the ledger) and works out for itself
//! which doses were due, what had to become of each, and whether the pump and
//! the ledger did that. It uses the logic's data types and none of its
//! reasoning: civil time comes from another library, and the rules are written
//! here a second time, from the promises alone.
//!
//! Feed an [`Auditor`] with a run's observations and [`Auditor::finish`] it; or
//! ask [`predict()`] what a faultless device and pump would have made of the same
//! settings and supply. Both stand on the same reference model.

mod acts;
mod bench;
mod causes;
mod chip;
mod course;
mod device;
mod device_acts;
mod device_dues;
mod dose;
mod dose_checks;
mod dues;
mod ended;
mod ideal;
mod ledger;
mod limits;
mod lock;
mod marks;
mod model;
mod outcomes;
mod owed;
mod pack;
mod pin;
mod predict;
mod pulses;
mod readings;
mod records;
mod report;
mod rules;
mod settings;
mod share;
mod stock;
mod supplies;
mod taint;
#[cfg(test)]
mod tests;
mod timetable;
mod wake;
mod zone;

use std::collections::BTreeMap;

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::DueKey;

use crate::observe::{DeviceAct, Observation, Observer};

pub use causes::Causes;
pub use dues::{DayByDay, Finder, MinuteByMinute, Weekly};
pub use predict::{Predicted, predict};
pub use readings::Reading;
pub use report::{AuditReport, Counts, DueName, DueRecord, EntryTotals, SleptThrough, Violation};
pub use zone::{posix_string, to_jiff};

use chip::Chip;
use dose::Open;
use ledger::LedgerWatch;
use limits::Limits;
use model::{Key, Model};
use owed::OwedList;
use pin::Pin;

/// What the auditor is told beside the observations.
#[derive(Debug, Clone)]
pub struct Facts {
    /// True UTC at the start of the run, in ms since 1970.
    pub start_utc_ms: i64,
    /// The entries' names, for messages.
    pub names: BTreeMap<EntryId, String>,
    /// Where the ledger lies.
    pub geometry: Geometry,
    /// How long after the moment it is owed a record may come, in device ms.
    pub deadline_slack_ms: u64,
    /// List every due in the report. The list grows with the run.
    pub keep_dues: bool,
    /// Find dues minute by minute instead of day by day: slow, and as plain as
    /// can be.
    pub minute_by_minute: bool,
    /// A rule to misread, in tests of tests.
    pub reading: Option<Reading>,
    /// Causes that are believed without evidence: what the observations do not
    /// show, such as a battery or a container.
    pub believed: Causes,
}

impl Facts {
    /// With no names, a few ms of slack, and nothing special.
    pub fn new(start_utc_ms: i64, geometry: Geometry) -> Self {
        Self {
            start_utc_ms,
            names: BTreeMap::new(),
            geometry,
            deadline_slack_ms: 2,
            keep_dues: false,
            minute_by_minute: false,
            reading: None,
            believed: Causes::NONE,
        }
    }

    fn model(&self) -> Model {
        if self.minute_by_minute {
            Model::new(Box::new(MinuteByMinute), self.reading)
        } else {
            Model::new(Box::new(DayByDay), self.reading)
        }
    }
}

/// Looks on and judges.
#[derive(Debug)]
pub struct Auditor {
    facts: Facts,
    report: AuditReport,
    /// True time of the last observation.
    ms: u64,
    chip: Chip,
    /// Device time up to which the model has gone.
    now: i64,
    model: Model,
    ledger: LedgerWatch,
    limits: Limits,
    pin: Pin,
    supply: wake::Supply,
    hinder: acts::Hindrances,
    level: stock::Level,
    motor: stock::Motor,
    bench: bench::Bench,
    lock: lock::Lock,
    pack: pack::Pack,
    pending: settings::Pending,
    staging: settings::Staging,
    snapshot: settings::Snapshot,
    open: Option<Open>,
    owed: BTreeMap<EntryId, OwedList>,
    /// Dues without an outcome whose birth the ledger holds.
    born: Vec<Key>,
    closed_runs: BTreeMap<EntryId, outcomes::ClosedRun>,
    /// The due that has to begin, or be judged, at this instant.
    ready: Option<(Key, i64)>,
    /// The due that nothing keeps any more, but that less is left of than a shortest pulse.
    too_late: Option<Key>,
    ready_reported: Option<Key>,
    /// What last kept each waiting due from beginning.
    kept_by: BTreeMap<EntryId, Causes>,
    /// The fastest flow so far, in nl/min: a remainder is less than a ms of it.
    fastest: u32,
    /// Device time at which a dose last ended.
    last_dose_end: i64,
    /// True ms, entry and number of the last records of skipped dues.
    burst: (u64, EntryId, u32),
    /// Next instant at which something has to be looked at.
    timer: i64,
    tail: Option<wake::Tail>,
    taint: taint::Taint,
    /// A write or an erase of this call did not take, and no record has come after it.
    not_taken: bool,
    /// Slots that the start which is under way cannot read, and the next one may.
    unread: Vec<u32>,
    /// The instant of the snapshot that was written last.
    snapshot_at: i64,
    /// What is asked for in this ms of a device whose start the memory has not taken.
    not_begun: Vec<DeviceAct>,
}

impl Auditor {
    /// Before the first observation.
    pub fn new(facts: Facts) -> Self {
        let report =
            AuditReport { due_list: facts.keep_dues.then(Vec::new), ..AuditReport::default() };
        Self {
            model: facts.model(),
            ledger: LedgerWatch::new(facts.geometry),
            facts,
            report,
            ms: 0,
            chip: Chip::default(),
            now: 0,
            limits: Limits::default(),
            pin: Pin::default(),
            supply: wake::Supply::default(),
            hinder: acts::Hindrances::default(),
            level: stock::Level::default(),
            motor: stock::Motor::default(),
            bench: bench::Bench::default(),
            lock: lock::Lock::default(),
            pack: pack::Pack::default(),
            pending: settings::Pending::default(),
            staging: settings::Staging::default(),
            snapshot: settings::Snapshot::default(),
            open: None,
            owed: BTreeMap::new(),
            born: Vec::new(),
            closed_runs: BTreeMap::new(),
            ready: None,
            too_late: None,
            ready_reported: None,
            kept_by: BTreeMap::new(),
            fastest: 1,
            last_dose_end: i64::MIN,
            burst: (0, EntryId(0), 0),
            timer: i64::MAX,
            tail: None,
            taint: taint::Taint::default(),
            not_taken: false,
            unread: Vec::new(),
            snapshot_at: 0,
            not_begun: Vec::new(),
        }
    }

    /// The findings so far, without what is still open.
    pub fn so_far(&self) -> &AuditReport {
        &self.report
    }

    /// The run is over, at this true time in ms from its start.
    pub fn finish(mut self, end_ms: u64) -> AuditReport {
        self.settle_refusal();
        if end_ms > self.ms {
            self.settle();
            self.ms = end_ms;
        }
        if !self.supply.sleeps_late() {
            let now = self.chip.count(self.ms);
            self.advance(now);
            self.check_stamp(now);
        }
        self.pass_what_is_slept_through();
        self.count_what_is_open();
        self.report
    }

    fn slack(&self) -> i64 {
        i64::try_from(self.facts.deadline_slack_ms).unwrap_or(0)
    }

    fn fail(&mut self, promise: &'static str, due: Option<Key>, what: String) {
        let due = due.map(|key| self.name(key));
        let at_ms = self.ms;
        self.report.add(Violation { promise, at_ms, due, what });
    }

    /// A due's name for people.
    fn name(&self, key: Key) -> DueName {
        let entry = self.facts.names.get(&key.id).cloned();
        let weekly = self.model.line(key.id).is_none_or(|l| l.weekly.is_some());
        let when = if key.asked {
            format!("asked for, number {}", key.nominal)
        } else if weekly {
            zone::local_text(key.nominal * 60_000)
        } else {
            let line = self.model.line(key.id);
            let at = line.and_then(|l| self.model.instant(l, key.nominal)).unwrap_or(0);
            match self.model.clock.local_ms(at) {
                Some(local) => format!("interval {} ({})", key.nominal, zone::local_text(local)),
                None => format!("interval {} (device ms {at})", key.nominal),
            }
        };
        DueName {
            id: key.id,
            entry: entry.unwrap_or_else(|| format!("entry {}", key.id.0)),
            revision: key.revision,
            epoch: key.epoch,
            nominal: u32::try_from(key.nominal).unwrap_or(u32::MAX),
            when,
        }
    }
}

impl Observer for Auditor {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        // what the device makes of things is for people: nothing is judged by it, and
        // it moves nothing
        let is_telling = matches!(
            what,
            Observation::Display { .. }
                | Observation::Account { .. }
                | Observation::Named { .. }
                | Observation::MemoryFault { .. }
        );
        if is_telling {
            return;
        }
        let is_of_the_call = matches!(
            what,
            Observation::Slot { .. } | Observation::Erased { .. } | Observation::Unread { .. }
        );
        if at_ms > self.ms || !is_of_the_call {
            self.settle_refusal();
        }
        if at_ms > self.ms {
            self.settle();
            self.ms = at_ms;
        }
        match *what {
            Observation::Supply { on } => self.see_supply(on),
            Observation::Reset => self.see_reset(),
            Observation::Chip { count_ms, rate_ppb, feed_kept } => {
                self.see_chip(count_ms, rate_ppb, feed_kept);
            }
            Observation::Pump { on } => self.see_pump(on),
            Observation::Slot { address, bytes } => self.see_slot(address, bytes),
            Observation::Unread { address } => self.on_unread(address),
            Observation::Erased { address, left } => self.on_erase(address, left),
            Observation::NotStarted => self.supply.refused = true,
            Observation::Act(act) => self.see_act(act),
            Observation::LateWake { by_ms } => self.see_late_wake(by_ms),
            Observation::Named { .. }
            | Observation::Wake
            | Observation::Display { .. }
            | Observation::Account { .. }
            | Observation::MemoryFault { .. } => {}
        }
    }
}

fn key_of(due: &DueKey, asked: bool) -> Key {
    Key {
        id: due.id,
        revision: due.revision,
        epoch: due.epoch,
        nominal: i64::from(due.nominal.0),
        asked,
    }
}

fn words(cause: Cause) -> String {
    format!("\"{}\"", cause.words())
}
