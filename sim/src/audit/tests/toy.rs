//! The ideal device as a device to look at: it keeps a ledger and drives a pin.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId, Nominal};
use dosewright_core::record::{
    Act, Adopted, Alarm, Born, DueKey, Outcome, Pulse, Record, Reset, Staged,
};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable::Timetable;
use dosewright_core::tube::Found;
use dosewright_core::units::{Carry, Flow, Volume};

use super::bench::{Ev, HOUR, Show, Stream};
use crate::audit::device::Ideal;
use crate::audit::ideal::Running;
use crate::audit::model::{Due, Model};
use crate::audit::predict::Hand;
use crate::audit::{Facts, Predicted};
use crate::observe::{DeviceAct, LINES, Observation};

/// Where the ideal device's doings go.
pub(super) trait Take {
    fn take(&mut self, ms: u64, ev: Ev);
}

impl Take for Stream {
    fn take(&mut self, ms: u64, ev: Ev) {
        self.push((ms, ev));
    }
}

impl Take for Show {
    fn take(&mut self, ms: u64, ev: Ev) {
        self.see(ms, &ev);
    }
}

/// Writes a ledger of what the ideal device does.
pub(super) struct Scribe<T> {
    pub(super) to: T,
    pub(super) lines: Vec<Option<(Entry, u16)>>,
    pub(super) closed_runs: Vec<(DueKey, i64, u32)>,
    pub(super) asked: bool,
    pub(super) stamped_at: i64,
}

impl<T: Take> Scribe<T> {
    fn write(&mut self, ms: u64, record: Record) {
        self.to.take(ms, Ev::Record(record));
        self.stamped_at = record.at().map_or(self.stamped_at, |at| at.as_ms().max(self.stamped_at));
    }

    fn line_of(&self, id: EntryId) -> u8 {
        self.lines.iter().position(|l| l.is_some_and(|(e, _)| e.id == id)).unwrap_or(0) as u8
    }

    fn adopt(&mut self, model: &Model, ms: u64, at: i64, t: &Timetable<LINES>) {
        let (mut written, mut cleared) = (0, 0);
        for line in 0..LINES {
            let gone = self.lines[line].is_some_and(|(e, _)| t.get(e.id).is_none());
            if gone {
                self.lines[line] = None;
                cleared |= 1 << line;
            }
        }
        for entry in t.entries() {
            let (revision, mark) = model.line(entry.id).map_or((1, None), |l| (l.revision, l.next));
            let new = (entry, revision);
            if self.lines.contains(&Some(new)) {
                continue;
            }
            let old = self.lines.iter().position(|l| l.is_some_and(|(e, _)| e.id == entry.id));
            let line = old.or_else(|| self.lines.iter().position(Option::is_none)).unwrap();
            self.lines[line] = Some(new);
            written |= 1 << line;
            let mark = mark.map(|n| Nominal(n as u32));
            let edited = old.is_some();
            self.write(
                ms,
                Record::Staged(Staged { line: line as u8, entry, revision, mark, edited }),
            );
        }
        self.write(ms, Record::StagedClosed(t.closed));
        let at = Instant::from_ms(at);
        self.write(
            ms,
            Record::Adopted(Adopted {
                at,
                ceiling: t.ceiling,
                written,
                cleared,
                closed_staged: true,
                kept_ceiling: Volume::from_nl(model.ceiling_before.map_or(0, |(nl, _)| nl)),
            }),
        );
    }
}

fn due_key(key: crate::audit::model::Key) -> DueKey {
    DueKey {
        id: key.id,
        revision: key.revision,
        epoch: key.epoch,
        nominal: Nominal(key.nominal as u32),
    }
}

fn mark_of(model: &Model, id: EntryId) -> Option<Nominal> {
    model
        .line(id)
        .and_then(|l| l.next)
        .filter(|&n| n < i64::from(u32::MAX))
        .map(|n| Nominal(n as u32))
}

impl<T: Take> Hand for Scribe<T> {
    fn booted(&mut self, model: &Model, ms: u64, at: i64, feed_kept: bool) {
        let at = Instant::from_ms(at);
        self.write(ms, Record::Boot { at, feed_kept, reset: Reset::PowerOn });
        self.stamped_at = at.as_ms();
        if !feed_kept && model.clock.offset_ms.is_none() {
            let alarm = Alarm::ClockUnset;
            self.write(ms, Record::Alarm { at, alarm, on: true, detail: 0 });
        }
    }

    fn set(&mut self, model: &Model, ms: u64, at: i64, act: &DeviceAct, dose: Option<&Running>) {
        let instant = Instant::from_ms(at);
        match act {
            DeviceAct::SetHead(_) | DeviceAct::SetFlow(_) => {
                self.write(ms, Record::Head { at: instant, head: model.head.unwrap() });
            }
            DeviceAct::SetZone(_) | DeviceAct::SetClock(_) => {
                let utc = model.clock.utc_ms(at).map(Utc::from_ms);
                let (epoch, zone) = (model.clock.epoch, model.clock.zone);
                self.write(ms, Record::Clock { at: instant, epoch, utc, zone });
            }
            DeviceAct::SetTimetable(t) => self.adopt(model, ms, at, t),
            DeviceAct::SetContainer(_, level) | DeviceAct::Refill(level) => {
                let container = model.stock.container.unwrap();
                let dose = dose.filter(|dose| !dose.is_on());
                let pumped_ms = dose.map(|dose| dose.most_ms as u32);
                let level = *level;
                self.write(ms, Record::Container { at: instant, container, level, pumped_ms });
            }
            DeviceAct::TubeChanged => {
                self.write(ms, Record::Act { at: instant, act: Act::TubeChanged, ms: 0 });
            }
            DeviceAct::Acknowledge => {
                self.write(ms, Record::Act { at: instant, act: Act::Acknowledged, ms: 0 });
            }
            _ => {}
        }
    }

    fn calibrated(&mut self, ms: u64, found: Found, in_force: bool) {
        self.write(ms, Record::Calibration { found, in_force, lead_ms: 0 });
    }

    fn waits(&mut self, model: &Model, ms: u64, due: &Due, cause: Cause, at: i64) {
        self.write(
            ms,
            Record::Born(Born {
                line: self.line_of(due.key.id),
                due: due_key(due.key),
                mark: mark_of(model, due.key.id),
                at: Instant::from_ms(at),
                due_at: Instant::from_ms(due.due_at),
                cause,
            }),
        );
    }

    fn intends(&mut self, model: &Model, ms: u64, dose: &Running, at: i64, on_ms: i64) {
        let (least, most) = dose.before();
        let due = &dose.due;
        self.write(
            ms,
            Record::Pulse(Pulse {
                line: self.line_of(due.key.id),
                due: due_key(due.key),
                mark: mark_of(model, due.key.id),
                at: Instant::from_ms(at),
                due_at: Instant::from_ms(due.due_at),
                begun_after_ms: (dose.begin.at - due.due_at) as u32,
                on_ms: on_ms as u32,
                least_ms: least as u32,
                most_ms: most as u32,
                dose_ms: dose.total_ms as u32,
                flow: Flow::from_nl_per_min(dose.flow).unwrap(),
                first: at == dose.begin.at,
                asked: due.key.asked,
                cut: dose.cut,
                restarts: dose.restarts,
            }),
        );
    }

    fn pump(&mut self, ms: u64, on: bool) {
        self.to.take(ms, Ev::Pump(on));
    }

    fn ended(&mut self, model: &Model, ms: u64, what: &Predicted, dose: Option<&Running>) {
        let kind = what.kind.unwrap();
        let mut due = DueKey {
            id: what.id,
            revision: what.revision,
            epoch: what.epoch,
            nominal: Nominal(what.nominal),
        };
        let (mut count, mut due_at) = (what.count as u32, what.due_at);
        if kind.cause() == Some(Cause::Closed) {
            let same = |(k, _, _): &&mut (DueKey, i64, u32)| {
                (k.id, k.revision, k.epoch) == (due.id, due.revision, due.epoch)
            };
            if let Some(run) = self.closed_runs.iter_mut().find(same) {
                run.2 += count;
                (due, due_at, count) = *run;
            } else {
                self.closed_runs.push((due, due_at, count));
            }
        } else {
            self.closed_runs.retain(|(k, _, _)| k.id != what.id);
        }
        self.write(
            ms,
            Record::Outcome(Outcome {
                line: self.line_of(what.id),
                due,
                last: Nominal(what.last),
                count,
                at: Instant::from_ms(what.ended_at),
                due_at: Instant::from_ms(due_at),
                begun_after_ms: what.begun_at.map_or(0, |at| (at - what.due_at) as u32),
                least: Volume::from_nl(what.least_nl),
                most: Volume::from_nl(what.most_nl),
                kind,
                asked: what.asked,
                restarts: dose.map_or(0, |d| d.restarts),
                mark: mark_of(model, what.id),
                carry: Carry(model.line(what.id).map_or(0, |l| l.carry)),
            }),
        );
    }

    fn motor(&mut self, ms: u64, at: i64, faults: u8) {
        self.write(ms, Record::Motor { at: Instant::from_ms(at), faults });
    }

    fn alarm(&mut self, ms: u64, at: i64, alarm: Alarm, on: bool) {
        self.write(ms, Record::Alarm { at: Instant::from_ms(at), alarm, on, detail: 0 });
    }

    fn service(&mut self, ms: u64, at: i64, act: Option<&DeviceAct>, length_ms: i64) {
        let act = match act {
            Some(DeviceAct::Prime(_)) => {
                self.asked = true;
                Act::PrimeBegun
            }
            Some(_) => Act::CalibrationBegun,
            None if std::mem::take(&mut self.asked) => Act::PrimeEnded,
            None => Act::CalibrationEnded,
        };
        let at = Instant::from_ms(at);
        self.write(ms, Record::Act { at, act, ms: length_ms as u32 });
    }
}

/// Runs the ideal device through `inputs` and hands everything to `to`.
pub(super) struct Toy<T> {
    pub(super) ideal: Ideal<Scribe<T>>,
}

impl<T: Take> Toy<T> {
    pub(super) fn new(facts: &Facts, to: T) -> Self {
        let scribe = Scribe {
            to,
            lines: vec![None; LINES],
            closed_runs: Vec::new(),
            asked: false,
            stamped_at: 0,
        };
        Self { ideal: Ideal::new(facts, scribe) }
    }

    /// Lets time go on to `ms`, with a stamp at least hourly.
    pub(super) fn run_until(&mut self, ms: u64) {
        self.ideal.boot_if_due();
        if let Some(late_ms) = self.ideal.held_at().filter(|&late| late < ms) {
            self.ideal.release();
            let at = self.ideal.chip.count(late_ms);
            if self.ideal.hand.stamped_at + HOUR <= at {
                self.ideal.hand.write(late_ms, Record::Stamp { at: Instant::from_ms(at) });
            }
        }
        loop {
            let next = self.ideal.hand.stamped_at + HOUR;
            if !self.ideal.is_awake()
                || self.ideal.held_at().is_some()
                || next > self.ideal.chip.count(ms)
            {
                break;
            }
            let at_ms = self.ideal.chip.when(next);
            self.ideal.run_until(at_ms);
            if self.ideal.hand.stamped_at + HOUR <= next {
                let at = Instant::from_ms(self.ideal.chip.count(at_ms));
                self.ideal.hand.write(at_ms, Record::Stamp { at });
            }
        }
        self.ideal.run_until(ms);
    }

    pub(super) fn input(&mut self, ms: u64, ev: &Ev) {
        let asleep = match ev {
            Ev::Late(by) => by + 1,
            _ => 0,
        };
        let lost = matches!(ev, Ev::Chip(_, _, false));
        // the device sets a chip that lost its feed to what its ledger says last
        let set = match ev {
            Ev::Chip(_, rate, false) => Some(Ev::Chip(self.ideal.hand.stamped_at, *rate, false)),
            _ => None,
        };
        let ev = set.as_ref().unwrap_or(ev);
        if !lost && !matches!(ev, Ev::Chip(..)) {
            self.run_until(ms.saturating_sub(asleep));
        }
        let what = match ev {
            Ev::Supply(on) => Observation::Supply { on: *on },
            Ev::Reset => Observation::Reset,
            Ev::Chip(count_ms, rate_ppb, feed_kept) => Observation::Chip {
                count_ms: *count_ms,
                rate_ppb: *rate_ppb,
                feed_kept: *feed_kept,
            },
            Ev::Act(act) => Observation::Act(act),
            Ev::Late(by_ms) => Observation::LateWake { by_ms: *by_ms },
            _ => return,
        };
        let is_act = matches!(ev, Ev::Act(_) | Ev::Late(_) | Ev::Supply(true) | Ev::Chip(..));
        if is_act {
            // what the device does at this moment it does because of it
            self.ideal.hand.to.take(ms, ev.clone());
            self.ideal.see(ms, &what);
        } else {
            self.ideal.see(ms, &what);
            self.ideal.hand.to.take(ms, ev.clone());
        }
    }
}
