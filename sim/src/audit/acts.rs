//! What operators and detectors did, and what of it keeps the pump from running.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::Act;

use crate::observe::DeviceAct;

use super::Auditor;
use super::bench::train_starts;
use super::causes::Causes;
use super::dose::TICK_MS;
use super::limits::fits_evenly;
use super::model::Key;
use super::rules::{Verdict, on_time, volume_nl};

/// Prime or calibrate, while it owns the pump.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Service {
    pub(crate) prime: bool,
    pub(crate) at: i64,
    /// How long it was to run, in device ms.
    pub(crate) asked_ms: i64,
    /// How long the pin was on for it so far, in device ms.
    pub(crate) ran_ms: i64,
    /// Where it is a train of pulses.
    pub(crate) train: Option<Train>,
}

impl Service {
    /// Whether it went on to its end, and the motor with it, where that had its last fault at
    /// an instant; a train shows nothing.
    pub(crate) fn turned(&self, ran_ms: i64, fault_at: i64) -> bool {
        self.train.is_none() && ran_ms >= self.asked_ms && fault_at < self.at
    }
}

/// A train of calibration pulses under way.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Train {
    /// Length of each, in device ms.
    pub(crate) each_ms: i64,
    pub(crate) starts: i64,
    /// Pulses still to come.
    pub(crate) left: i64,
    /// When the pump has rested after the last one.
    pub(crate) free_at: i64,
}

/// What keeps every due from beginning.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Hindrances {
    pub(crate) stop: bool,
    pub(crate) leak: bool,
    pub(crate) fault: bool,
    /// The pack can finish no dose.
    pub(crate) pack: bool,
    /// The last slot could not be written.
    pub(crate) ledger_bad: bool,
    pub(crate) service: Option<Service>,
}

impl Hindrances {
    /// The causes that stop the pump whoever owns it.
    pub(crate) fn stop_causes(&self) -> Causes {
        let of = |on: bool, cause| if on { Causes::of(cause) } else { Causes::NONE };
        of(self.stop, Cause::RemoteStop)
            .or(of(self.leak, Cause::Leak))
            .or(of(self.fault, Cause::MotorFault))
    }

    /// All that keeps a dose from beginning, apart from other dues.
    pub(crate) fn pump_causes(&self) -> Causes {
        let causes = self.run_causes();
        if self.pack { causes.with(Cause::Battery) } else { causes }
    }

    /// All that keeps a dose from going on that has begun: what the pack reads does
    /// not.
    pub(crate) fn run_causes(&self) -> Causes {
        let mut causes = self.stop_causes();
        if self.ledger_bad {
            causes = causes.with(Cause::Ledger);
        }
        if self.service.is_some() {
            causes = causes.with(Cause::Service);
        }
        causes
    }
}

impl Auditor {
    pub(super) fn see_act(&mut self, act: &DeviceAct) {
        match act {
            // inputs are read at the start, before the logic decides anything
            DeviceAct::RemoteStop(on) if !self.supply.awake => {
                self.hinder.stop = *on;
                return;
            }
            DeviceAct::Leak(on) if !self.supply.awake => {
                self.hinder.leak = *on;
                return;
            }
            DeviceAct::LevelLow(closed) if !self.supply.awake => {
                self.look_at_level(*closed, self.chip.count(self.ms));
                return;
            }
            _ if self.start_is_refused() => {
                // what is asked for has the start tried again, and comes after it
                self.not_begun.push(act.clone());
                return;
            }
            _ => self.boot_unseen(),
        }
        let now = self.chip.count(self.ms);
        self.hold_at(now);
        self.note_for_lock(act, now);
        match act {
            DeviceAct::RemoteStop(on) => self.change(now, Cause::RemoteStop, *on),
            DeviceAct::Leak(on) => self.change(now, Cause::Leak, *on),
            DeviceAct::MotorFault => self.motor_fails(now),
            DeviceAct::StopDose(id) => {
                self.pin.ms.by_hand = true;
                self.force_end(*id, Cause::Stopped, now);
            }
            DeviceAct::LevelLow(closed) => self.look_at_level(*closed, now),
            DeviceAct::Acknowledge
            | DeviceAct::Unlock(_)
            | DeviceAct::Lock
            | DeviceAct::SetPin(_)
            | DeviceAct::Key { .. } => {}
            DeviceAct::PackRead { mv, loaded } => self.pack.read(now, *mv, *loaded),
            DeviceAct::RunAgain(id) => {
                self.motor_has_rested(now);
                let busy = !self.hinder.pump_causes().is_empty()
                    || self.open.is_some()
                    || self.model.first_waiting().is_some()
                    || self.model.line(*id).is_none_or(|l| !l.entry.enabled)
                    || !self.could_be_asked_for(*id, now)
                    || self.lock_may_be_closed(now)
                    // a contact that counts by now is taken first
                    || self.low_level_by().is_some()
                    || self.level.due.is_some_and(|due| due <= now);
                self.pending.ask = Some((*id, busy));
            }
            DeviceAct::Prime(_)
            | DeviceAct::Calibrate(_)
            | DeviceAct::CalibrateInto(_)
            | DeviceAct::CalibrateTrain(_) => {
                self.pending.service = Some(act.clone());
            }
            DeviceAct::Release => {
                self.pin.ms.released = true;
                self.bench.leave();
            }
            DeviceAct::Measured(_) => {
                self.pending.locked = self.lock_may_be_closed(now);
                self.pending.setting = Some(act.clone());
            }
            DeviceAct::SetHead(_)
            | DeviceAct::SetFlow(_)
            | DeviceAct::TubeChanged
            | DeviceAct::SetContainer(..)
            | DeviceAct::Refill(_)
            | DeviceAct::SetZone(_)
            | DeviceAct::SetClock(_)
            | DeviceAct::SetPack(_)
            | DeviceAct::PackChanged
            | DeviceAct::SetTimetable(_) => self.pending.setting = Some(act.clone()),
        }
        self.rearm();
    }

    /// Something that stops the pump came or went.
    pub(super) fn change(&mut self, now: i64, cause: Cause, on: bool) {
        let before = self.hinder.stop_causes();
        match cause {
            Cause::RemoteStop => self.hinder.stop = on,
            Cause::Leak => self.hinder.leak = on,
            _ => self.hinder.fault = on,
        }
        let after = self.hinder.stop_causes();
        if on {
            self.pin.ms.stopped = true;
        }
        if let Some(open) = &mut self.open {
            if on {
                open.hinder(now, cause);
            } else if !before.is_empty() && self.hinder.run_causes().is_empty() {
                // a memory that takes nothing lets it go on once it takes again
                open.resume(now, &self.limits);
            }
            if !after.is_empty() {
                // of stops that lap over one another, the one that lasts is told (D1)
                open.causes = after;
            }
        }
        self.refresh(now);
    }

    pub(super) fn on_act_record(&mut self, at: i64, act: Act, ms: i64) {
        match act {
            Act::PrimeBegun | Act::CalibrationBegun | Act::TrainBegun => {
                let prime = act == Act::PrimeBegun;
                self.service_begins(at, prime, ms, act == Act::TrainBegun);
            }
            Act::PrimeEnded | Act::CalibrationEnded | Act::TrainEnded => self.service_ends(at, ms),
            Act::TubeChanged => self.on_tube_changed(at),
            Act::Acknowledged => self.motor_acknowledged(at),
            Act::Unlocked | Act::WrongPin => {}
        }
    }

    fn service_begins(&mut self, at: i64, prime: bool, ms: i64, is_train: bool) {
        let name = if prime { "prime" } else { "calibrate" };
        if let Some(open) = &self.open {
            let key = open.due.key;
            self.fail("D3", Some(key), format!("{name} begins while the dose owns the pump"));
        }
        if self.hinder.service.is_some() {
            self.fail("D3", None, format!("{name} begins while prime or calibrate owns the pump"));
        }
        self.motor_is_tried(at);
        let stops = self.hinder.stop_causes();
        if !stops.is_empty() {
            self.fail("P4", None, format!("{name} begins in spite of {stops}"));
        }
        let flow = self.model.head.map_or(1, |h| h.flow.as_nl_per_min());
        let flow_known = !self.taint.all();
        let asked = match (self.pending.service.take(), prime) {
            // the volume asked for may be rounded up to a whole ms
            (Some(DeviceAct::Prime(volume)), true) => {
                volume_nl(ms - TICK_MS, flow) <= volume.as_nl() || !flow_known
            }
            (Some(DeviceAct::Calibrate(run_ms)), false) if !is_train => i64::from(run_ms) >= ms,
            (Some(DeviceAct::CalibrateTrain(vessel)), false) if is_train => {
                let wrong =
                    self.model.head.and_then(|head| self.bench.wrong_train(&vessel, &head, ms));
                if let Some(why) = wrong.filter(|_| flow_known) {
                    self.fail("O3", None, format!("a train of {ms} ms begins, and {why}"));
                }
                true
            }
            (Some(DeviceAct::CalibrateInto(vessel)), false) if !is_train => {
                let wrong =
                    self.model.head.and_then(|head| self.bench.wrong_run(&vessel, &head, ms));
                if let Some(why) = wrong.filter(|_| flow_known) {
                    self.fail("O2", None, format!("a calibration of {ms} ms begins, and {why}"));
                }
                true
            }
            _ => false,
        };
        if !asked {
            self.fail(
                "O1",
                None,
                format!("{name} of {ms} ms begins, and nobody asked for so much"),
            );
        }
        let longest = self.model.head.map_or(0, |h| {
            i64::from(if prime { h.longest_prime_ms } else { h.longest_calibration_ms })
        });
        if ms > longest {
            self.fail(
                "D7",
                None,
                format!("{name} of {ms} ms begins: its longest run is {longest} ms"),
            );
        }
        let starts = self.model.head.filter(|_| is_train).map(|head| train_starts(&head, ms));
        let train = starts.map(|starts| Train {
            each_ms: ms / starts,
            starts,
            left: starts - 1,
            free_at: at,
        });
        self.hinder.service = Some(Service { prime, at, asked_ms: ms, ran_ms: 0, train });
        self.model.stock.unsure |= !flow_known && self.model.stock.container.is_some();
        self.model.stock.service_begins(volume_nl(ms, flow));
        self.pin.intend_service(at, train.map_or(ms, |train| train.each_ms));
        self.refresh(at);
    }

    fn service_ends(&mut self, at: i64, ms: i64) {
        let Some(service) = self.hinder.service.take() else {
            self.fail(
                "O6",
                None,
                String::from("the end of a prime or calibrate that had not begun"),
            );
            return;
        };
        self.pin.use_ended();
        if !service.prime && ms == service.asked_ms {
            self.lock.ran(at);
        }
        let pulses = service.train.map_or(1, |train| train.starts);
        if (service.ran_ms - ms).abs() > (TICK_MS + self.chip.slack_ms()) * pulses {
            self.fail(
                "O1",
                None,
                format!(
                    "{} is noted with {ms} ms, and the pump ran for {} ms",
                    if service.prime { "prime" } else { "calibrate" },
                    service.ran_ms
                ),
            );
        }
        if service.turned(ms, self.motor.at) {
            self.motor.ran_through();
        }
        self.limits.service_ended(at, service.ran_ms);
        if let Some(train) = service.train.filter(|train| train.left > 0)
            && ms == service.asked_ms
        {
            let left = train.left;
            self.fail("O3", None, format!("a train is noted in full, {left} of its pulses short"));
        }
        let starts = service.train.map_or(1, |train| train.starts);
        self.bench.ran(service.prime, service.asked_ms, ms, starts);
        let flow = self.model.head.map_or(1, |h| h.flow.as_nl_per_min());
        self.model.stock.service_ends(volume_nl(ms, flow));
        // a due whose deadline passes in the same ms is kept by the pump's rest as well
        let kept = self.owed_mut();
        for owed in kept.filter(|o| o.by >= at && o.causes.contains(Cause::Service)) {
            owed.causes = owed.causes.with(Cause::PumpLimits);
        }
        self.refresh(at);
    }

    /// Whether guard, ceiling, window and the pump's rest allow a dose of an
    /// entry now, as the settings stand.
    fn could_be_asked_for(&self, id: EntryId, now: i64) -> bool {
        let number = i64::from(self.model.asks);
        let due = self.model.asked_due(id, number, now);
        let verdict = due.and_then(|due| self.model.judge(&due, now));
        let (Some(head), Some(Verdict::Begin { volume_nl, cut })) = (&self.model.head, verdict)
        else {
            return false;
        };
        // a dose that a new flow made too long for its window cannot be asked for (D5)
        let total_ms = on_time(volume_nl, 0, head.flow.as_nl_per_min()).0;
        let line = self.model.line(id);
        let window_ms = line.map_or(0, |l| i64::from(l.entry.window_ms));
        let pulses = line.and_then(|l| l.entry.pulses).filter(|_| cut.is_none());
        fits_evenly(head, total_ms, window_ms, pulses)
            && self.limits.free_at_latest(head, now) <= now
    }

    /// A run-again that nothing speaks against and that left no trace.
    pub(super) fn check_refused_ask(&mut self) {
        let Some((id, busy)) = self.pending.ask.take() else { return };
        // what was due by then comes first, and may have taken the pump
        let taken =
            self.open.is_some() || self.model.first_waiting().is_some() || self.pin.ms.by_hand;
        let spoken = self.pin.ms.damaged || self.taint.covers(id) || self.model.stock.unsure;
        if busy || taken || spoken || !self.supply.awake {
            self.report.refused_acts += 1;
            return;
        }
        let number = i64::from(self.model.asks);
        let epoch = self.model.clock.epoch;
        let revision = self.model.line(id).map_or(0, |l| l.revision);
        let key = Key { id, revision, epoch, nominal: number, asked: true };
        self.fail(
            "D2",
            Some(key),
            String::from("run again was refused, and nothing spoke against it"),
        );
    }
}
