//! What operators and detectors do to the ideal device.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;

use crate::observe::DeviceAct;

use super::causes::Causes;
use super::device::Ideal;
use super::model::Why;
use super::predict::Hand;
use super::rules::{Verdict, on_time};
use super::zone;

impl<H: Hand> Ideal<H> {
    pub(super) fn end_service(&mut self) {
        self.service_until = None;
        if let Some(service) = self.hinder.service.take() {
            let mut ran = service.ran_ms;
            if ran == 0 {
                ran = self.now - service.at;
                self.hand.pump(self.ms, false);
            }
            self.limits.service_ended(service.at + ran, ran);
            self.hand.service(self.ms, self.now, None, ran);
        }
    }

    pub(super) fn act(&mut self, act: &DeviceAct) {
        let at = self.now;
        let mut fates = Vec::new();
        match act {
            DeviceAct::SetHead(head) => self.model.head = Some(*head),
            DeviceAct::SetFlow(flow) => {
                self.model.head = self.model.head.map(|h| Head { flow: *flow, ..h });
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
            DeviceAct::Prime(_) | DeviceAct::Calibrate(_) => self.serve(act, at),
            DeviceAct::Release => {
                if self.hinder.service.is_some() {
                    self.end_service();
                }
            }
            DeviceAct::SetContainer(..) | DeviceAct::Refill(_) | DeviceAct::LevelLow(_) => {}
            DeviceAct::RemoteStop(on) => self.stop(Cause::RemoteStop, *on, at),
            DeviceAct::Leak(on) => self.stop(Cause::Leak, *on, at),
            DeviceAct::MotorFault => self.stop(Cause::MotorFault, true, at),
            DeviceAct::Acknowledge => self.stop(Cause::MotorFault, false, at),
        }
        self.hand.set(&self.model, self.ms, at, act);
        self.take(fates, at);
        let late = std::mem::take(&mut self.held);
        self.step(at, if late { Why::Late } else { Why::Setting });
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
            _ => return,
        };
        self.hinder.service = Some(super::acts::Service { prime, at, ran_ms: 0 });
        self.service_until = Some(at + length);
        self.hand.service(self.ms, at, Some(act), length);
        self.hand.pump(self.ms, true);
    }

    fn stop(&mut self, cause: Cause, on: bool, at: i64) {
        match cause {
            Cause::RemoteStop => self.hinder.stop = on,
            Cause::Leak => self.hinder.leak = on,
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
    }
}
