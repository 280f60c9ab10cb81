//! The pump's runs in the stage.

use dosewright_core::time::Duration;

use super::{Power, Stage};
use crate::observe::Observation;

impl<const W: usize> Stage<'_, W> {
    pub(super) fn pump_on(&mut self, length: Duration) {
        let starts = self.one_shot.is_none();
        if starts {
            self.pump_on_since = self.now;
            self.end.starts += 1;
            self.motor_starts();
            self.see(&Observation::Pump { on: true });
        }
        let off_at = self.chip.count(self.now).saturating_add_unsigned(length.as_ms());
        self.one_shot = Some(self.chip.when(off_at));
        if starts {
            self.await_trip();
        }
        if self.script.waits_for_pulses() {
            self.script.pulse_began(self.now, self.dose, self.pulse);
        }
    }

    pub(super) fn pump_off(&mut self) {
        if self.one_shot.is_some() {
            self.account_run();
            self.one_shot = None;
            self.motor_stops();
            self.see(&Observation::Pump { on: false });
        }
    }

    pub(super) fn account_run(&mut self) {
        let on = Duration::from_ms(self.now - self.pump_on_since);
        let head = match &self.power {
            Some(Power::On(device)) => device.controller().book().head,
            _ => None,
        };
        let flow = head.map_or(self.scenario.head.head.flow, |head| head.flow);
        // of a dose's pulse the head's lead is no volume
        let owns = head.is_some() && self.pulse_runs();
        let lead_ms = if owns { head.map_or(0, |head| u64::from(head.lead_ms)) } else { 0 };
        let on = Duration::from_ms(on.as_ms().saturating_sub(lead_ms));
        self.end.commanded_nl += flow.volume(on).as_nl();
    }

    /// Whether it is a dose that the pump runs for.
    pub(super) fn pulse_runs(&self) -> bool {
        let Some(Power::On(device)) = &self.power else { return true };
        device.controller().service_run().is_none()
    }
}
