//! What operators and detectors do to the ideal device.

use dosewright_core::calibration::Measured;
use dosewright_core::cause::Cause;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::EntryId;

use crate::observe::DeviceAct;

use super::bench::Worth;
use super::causes::Causes;
use super::device::Ideal;
use super::model::Why;
use super::predict::Hand;
use super::rules::{Verdict, on_time, volume_nl};
use super::stock::Motor;
use super::zone;
use dosewright_core::record::Alarm;

impl<H: Hand> Ideal<H> {
    pub(super) fn end_service(&mut self) {
        self.service_until = None;
        if let Some(service) = self.hinder.service.take() {
            let mut ran = service.ran_ms;
            if ran == 0 {
                ran = self.now - service.at;
                self.hand.pump(self.ms, false);
            }
            if service.turned(ran, self.motor.at) {
                self.motor.ran_through();
            }
            self.limits.service_ended(service.at + ran, ran);
            self.bench.ran(service.prime, service.asked_ms, ran, 1);
            let flow = self.model.head.map_or(1, |h| h.flow.as_nl_per_min());
            self.model.stock.service_ends(volume_nl(ran, flow));
            self.hand.service(self.ms, self.now, None, ran);
        }
    }

    pub(super) fn act(&mut self, act: &DeviceAct) {
        let at = self.now;
        let mut fates = Vec::new();
        match act {
            DeviceAct::SetHead(head) => {
                let drawn = self.drawn_by_nl(at);
                let before = self.model.head.replace(*head);
                self.model.stock.flow_is_another(drawn);
                self.bench.set_up(head, before);
            }
            DeviceAct::SetFlow(flow) => {
                let before = self.model.head;
                self.model.stock.flow_is_another(self.drawn_by_nl(at));
                self.model.head = before.map(|h| Head { flow: *flow, ..h });
                self.model.head.iter().for_each(|head| self.bench.set_up(head, before));
            }
            DeviceAct::Measured(measured) => self.read(measured, at),
            DeviceAct::TubeChanged => {
                self.bench.tube_changed(at);
                self.model.stock.settle(self.drawn_by_nl(at));
            }
            DeviceAct::SetZone(zone) => self.model.set_zone(at, *zone, &mut fates),
            DeviceAct::SetClock(local) => {
                if let Some(utc) = zone::utc_ms(&self.model.clock.tz, local.as_ms()) {
                    self.model.set_offset(at, utc - at, &mut fates);
                }
            }
            DeviceAct::SetTimetable(t) => {
                let ceiling = t.ceiling.map(dosewright_core::units::Volume::as_nl);
                self.model.adopt(at, t.entries(), t.closed, ceiling, &mut fates);
            }
            DeviceAct::RunAgain(id) => self.run_again(*id, at),
            DeviceAct::StopDose(id) => self.break_off(*id, Cause::Stopped, at),
            DeviceAct::Prime(_) | DeviceAct::Calibrate(_) | DeviceAct::CalibrateInto(_) => {
                self.serve(act, at);
            }
            // what is predicted is for sites that are calibrated by one run
            DeviceAct::CalibrateTrain(_) => {}
            DeviceAct::Release => {
                self.bench.leave();
                if self.hinder.service.is_some() {
                    self.end_service();
                }
            }
            DeviceAct::SetContainer(container, level) => self.fill(*container, level.as_nl(), at),
            DeviceAct::Refill(level) => {
                if let Some(container) = self.model.stock.container {
                    self.fill(container, level.as_nl(), at);
                }
            }
            DeviceAct::LevelLow(closed) => self.look_at_level(*closed, at),
            DeviceAct::RemoteStop(on) => self.stop(Cause::RemoteStop, *on, at),
            DeviceAct::Leak(on) => self.stop(Cause::Leak, *on, at),
            DeviceAct::MotorFault => {
                let runs = self.open.as_ref().is_some_and(super::ideal::Running::is_on)
                    || self.service_until.is_some();
                if runs || !self.hinder.fault {
                    let faults = self.motor.next(self.model.reading);
                    self.motor = Motor { faults, at, ..Motor::default() };
                    let ran = self.open.as_ref().map_or(0, |open| open.running_ms(at));
                    self.stop(Cause::MotorFault, true, at);
                    self.hand.motor(self.ms, at, faults);
                    if let Some(open) = self.open.as_mut() {
                        // what a stalled motor moved is not sure
                        open.least_ms -= ran;
                        open.fault(at);
                    }
                }
            }
            // what is predicted is for sites without a lock
            DeviceAct::Unlock(_) | DeviceAct::Lock | DeviceAct::SetPin(_) => {}
            // and for a pack that lasts
            DeviceAct::SetPack(_)
            | DeviceAct::PackChanged
            | DeviceAct::PackRead { .. }
            | DeviceAct::Key { .. } => {}
            DeviceAct::Acknowledge => {
                self.motor = Motor::default();
                self.stop(Cause::MotorFault, false, at);
            }
        }
        self.hand.set(&self.model, self.ms, at, act, self.open.as_ref());
        self.take(fates, at);
        let late = std::mem::take(&mut self.held);
        self.step(at, if late { Why::Late } else { Why::Setting });
    }

    /// A reading is entered after a calibration run.
    fn read(&mut self, measured: &Measured, at: i64) {
        let Some(head) = self.model.head else { return };
        let flow = head.flow.as_nl_per_min();
        match self.bench.worth(measured, &head, 0.0) {
            Worth::Good => {}
            Worth::Twice(flow) => return self.bench.again(flow),
            _ => return,
        }
        let Some(found) = self.bench.found(measured, &head, at) else { return };
        self.bench.note(found, !measured.as_found);
        let drawn = self.drawn_by_nl(at);
        self.model.stock.restate(flow, found.flow.as_nl_per_min(), drawn);
        if !measured.as_found {
            self.model.head = Some(Head { flow: found.flow, ..head });
        }
        self.hand.calibrated(self.ms, found, !measured.as_found);
        self.cap_open();
    }

    /// What the open dose has drawn, the pulse that runs in full.
    fn drawn_nl(&self) -> u64 {
        self.open.as_ref().map_or(0, |open| volume_nl(open.intended_ms(), open.flow))
    }

    /// The same by an instant.
    fn drawn_by_nl(&self, at: i64) -> u64 {
        self.open.as_ref().map_or(0, |open| volume_nl(open.intended_by(at), open.flow))
    }

    fn fill(&mut self, container: Container, level_nl: u64, at: i64) {
        let drawn = self.open.as_ref().map_or(0, |open| volume_nl(open.pumped_by(at), open.flow));
        self.model.stock.set(container, level_nl, drawn);
        self.level.counts = false;
        self.level.look(self.level.closed, at, &self.model.stock, false);
        self.cap_open();
    }

    fn alarm_is_on(&self, alarm: Alarm) -> bool {
        self.alarms >> alarm as u16 & 1 == 1
    }

    fn tell(&mut self, at: i64, alarm: Alarm, on: bool) {
        if self.alarm_is_on(alarm) != on {
            self.alarms ^= 1 << alarm as u16;
            self.hand.alarm(self.ms, at, alarm, on);
        }
    }

    /// Alarms that are on or off by what is known now.
    pub(super) fn tell_alarms(&mut self, at: i64) {
        let stock = self.model.stock;
        let account = stock.account_nl(self.drawn_nl());
        if stock.low_nl().is_some_and(|low| account > low) && !self.level.counts {
            self.tell(at, Alarm::LowLevel, false);
        }
        if !stock.is_nothing() {
            self.tell(at, Alarm::LevelDisagrees, false);
        }
        self.tell(at, Alarm::MotorFault, self.motor.faults >= 4);
        if let (Some(head), None) = (self.model.head, &self.open) {
            self.tell(at, Alarm::ContainerEmpty, stock.is_short(&head));
        }
    }

    pub(super) fn look_at_level(&mut self, closed: bool, at: i64) {
        if self.level.closed != closed {
            let told = self.alarm_is_on(Alarm::LowLevel);
            self.level.changes(at, 0);
            self.level.look(closed, at, &self.model.stock, told);
        }
    }

    fn cap_open(&mut self) {
        let stock = self.model.stock;
        if let Some(open) = self.open.as_mut() {
            open.cap(stock.cap_ms(open.flow));
        }
    }

    /// The contact has settled, the motor has rested.
    pub(super) fn supplies(&mut self, at: i64) {
        if self.hinder.fault && self.motor.until() <= at {
            self.stop(Cause::MotorFault, false, at);
        }
        let counted = self.level.counts;
        self.level.pass(at);
        if counted || !self.level.counts {
            return;
        }
        let drawn = self.drawn_nl();
        let account = self.model.stock.account_nl(drawn);
        if self.model.stock.far_nl().is_some_and(|far| account > far) {
            self.tell(at, Alarm::LevelDisagrees, true);
            self.model.stock.nothing_left();
            self.stop(Cause::ContainerEmpty, true, at);
        } else {
            let closed_at = at - self.model.stock.debounce_ms();
            self.model.stock.put_down(self.drawn_by_nl(closed_at));
        }
        self.tell(at, Alarm::LowLevel, true);
        self.cap_open();
    }

    fn run_again(&mut self, id: EntryId, at: i64) {
        let busy = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let (Some(head), false) = (self.model.head, busy) else { return };
        let number = i64::from(self.model.asks);
        let Some(due) = self.model.asked_due(id, number, at) else { return };
        if self.limits.free_from(&head, at) > at {
            return;
        }
        if let Some(Verdict::Begin { volume_nl, cut }) = self.model.judge(&due, at) {
            self.model.asks += 1;
            self.begin(due, at, volume_nl, cut, &head);
        }
    }

    fn serve(&mut self, act: &DeviceAct, at: i64) {
        let busy = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let (Some(head), false) = (self.model.head, busy) else { return };
        let (prime, length) = match act {
            DeviceAct::Prime(volume) => {
                let (ms, _) = on_time(volume.as_nl(), 0, head.flow.as_nl_per_min());
                (true, ms.min(i64::from(head.longest_prime_ms)))
            }
            DeviceAct::Calibrate(ms) => {
                (false, i64::from(*ms).min(i64::from(head.longest_calibration_ms)))
            }
            DeviceAct::CalibrateInto(vessel) => {
                let Some(ms) = self.bench.shortest_run(vessel, &head) else { return };
                (false, ms.min(i64::from(head.longest_calibration_ms)))
            }
            _ => return,
        };
        let most = volume_nl(length, head.flow.as_nl_per_min());
        self.model.stock.service_begins(most);
        self.hinder.service =
            Some(super::acts::Service { prime, at, asked_ms: length, ran_ms: 0, train: None });
        self.service_until = Some(at + length);
        self.hand.service(self.ms, at, Some(act), length);
        self.hand.pump(self.ms, true);
    }

    fn stop(&mut self, cause: Cause, on: bool, at: i64) {
        match cause {
            Cause::RemoteStop => self.hinder.stop = on,
            Cause::Leak => self.hinder.leak = on,
            Cause::ContainerEmpty => {}
            _ => self.hinder.fault = on,
        }
        if on && self.hinder.service.is_some() {
            self.end_service();
        }
        if let Some(open) = self.open.as_mut().filter(|_| on) {
            open.disturb(Causes::of(cause));
            if let Some(since) = open.stop(at) {
                self.limits.ended(at, at - since);
                self.hand.pump(self.ms, false);
            }
        }
        let stops = self.hinder.stop_causes();
        if let Some(open) = self.open.as_mut().filter(|_| !stops.is_empty()) {
            // of stops that lap over one another, the one that lasts is told
            (open.causes, open.all_causes) = (stops, stops);
        }
    }
}
