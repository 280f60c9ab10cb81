//! What the contacts and the motor's driver say: stops, faults, the low level.

use super::Controller;
use crate::cause::Cause;
use crate::config::Container;
use crate::effect::Effects;
use crate::record::{Alarm, Record};
use crate::time::{Duration, Instant};
use crate::timers::Reason;
use crate::units::{Carry, Flow, Volume};

impl<const N: usize, const H: usize> Controller<N, H> {
    /// A contact that stops the pump while it is on. A fault stops at once, and
    /// so does a stop from outside: the rest of the pulse is not lost, it is
    /// spread again when the stop ends.
    pub(super) fn stop_input(&mut self, cause: Cause, on: bool, effects: &mut Effects) {
        let place = if cause == Cause::Leak { &mut self.leak } else { &mut self.remote_stop };
        if *place == on {
            return;
        }
        *place = on;
        if on {
            self.stop_run(effects);
            self.disturb(cause);
        }
    }

    /// The motor stalled or drew too much. What it ran for may have delivered
    /// something, or nothing (D4).
    pub(super) fn motor_fault(&mut self, effects: &mut Effects) {
        // a driver that says again what the logic knows
        if !self.pump_is_on() && self.motor_stops() {
            return;
        }
        let least_ms = self.running.map(|running| running.least_ms);
        self.motor_failed = true;
        self.stop_run(effects);
        self.disturb(Cause::MotorFault);
        if let (Some(running), Some(least_ms)) = (&mut self.running, least_ms) {
            running.least_ms = least_ms;
        }
    }

    /// A fault of the motor that the ledger does not have yet.
    pub(super) fn motor_record(&mut self) -> bool {
        let faults = self.book.motor.one_more();
        self.motor_failed && self.want(&Record::Motor { at: self.now, faults })
    }

    /// The low-level contact changed. It counts when it has been closed for as
    /// long as it may bounce; once it has, only an operator's word on the
    /// container ends the alarm, so that one low level is one alarm.
    pub(super) fn level_input(&mut self, low: bool) {
        if self.contact_low != low {
            // in a late call it may have stood closed for long enough before it opens
            self.debounce();
            self.contact_low = low;
            // at a start: it has stood closed before, and that is told already; of a container
            // that the memory has lost nothing is
            let told = self.container().is_some() && self.book.alarm_is_on(Alarm::LowLevel);
            self.low |= low && told;
            self.await_low();
        }
    }

    fn await_low(&mut self) {
        let stock = &self.book.stock;
        let may_bounce = Duration::from_ms(u64::from(stock.container.debounce_ms));
        let counts = self.contact_low && !self.low && stock.container.low > Volume::ZERO;
        let at = if counts { self.now.plus(may_bounce) } else { Instant::MAX };
        self.timers.set(Reason::Level, at);
    }

    /// The contact has stood closed for long enough.
    pub(super) fn debounce(&mut self) {
        if self.timers.is_over(Reason::Level, self.now) {
            self.timers.set(Reason::Level, Instant::MAX);
            self.low = true;
        }
    }

    fn container(&self) -> Option<&Container> {
        self.book.stock.container()
    }

    /// Whether the low level is to be told: by the contact, and then until the
    /// account is above it again.
    pub(super) fn is_low(&self) -> bool {
        self.container().is_some_and(|container| {
            let on = self.book.alarm_is_on(Alarm::LowLevel);
            self.low || on && self.book.account() <= container.low
        })
    }

    /// Whether the account, when the contact closes, says far more; it stays so
    /// until an operator says what is there.
    pub(super) fn disagrees(&self) -> bool {
        let Some(container) = self.container() else { return false };
        if self.book.alarm_is_on(Alarm::LevelDisagrees) {
            return self.book.stock.level == Volume::ZERO;
        }
        let far = container.low.plus(container.tolerance());
        self.low && self.book.account() > far
    }

    /// Whether only the heel is left by account. That is found out between doses: while
    /// one is open the account is not settled. That there is more again, at any time.
    pub(super) fn is_empty(&self) -> bool {
        let may_come = self.book.open.is_none() || self.book.alarm_is_on(Alarm::ContainerEmpty);
        may_come && self.is_short()
    }

    /// What the account of the container wants written before anything is pumped
    /// by it.
    pub(super) fn level_record(&mut self) -> bool {
        if !self.low || self.book.alarm_is_on(Alarm::LowLevel) {
            return false;
        }
        // the level that disagrees first: the low level makes it agree
        let far = self.disagrees() && !self.book.alarm_is_on(Alarm::LevelDisagrees);
        let alarm = if far { Alarm::LevelDisagrees } else { Alarm::LowLevel };
        let detail = self.book.account().as_nl();
        self.want(&Record::Alarm { at: self.now, alarm, on: true, detail })
    }

    /// The ledger has an alarm that may be one of the container.
    pub(super) fn level_noted(&mut self, alarm: Alarm, on: bool, effects: &mut Effects) {
        match alarm {
            Alarm::LevelDisagrees if on => {
                self.stop_run(effects);
                self.disturb(Cause::ContainerEmpty);
            }
            Alarm::LowLevel if on => self.fit_to_stock(),
            _ => {}
        }
    }

    /// Where the container has less than the open dose still asks for, or had less
    /// before, the rest is spread anew.
    pub(super) fn fit_to_stock(&mut self) {
        let (Some(open), Some(running)) = (&self.book.open, &self.running) else { return };
        let rest = open.pulse.dose_ms.saturating_sub(running.most_ms);
        let short = self.stock_ms(open.pulse.flow) < rest;
        if short || running.disturbed == Some(Cause::ContainerEmpty) {
            self.disturb(Cause::ContainerEmpty);
        }
    }

    /// An operator has said what is in the container: the contact is looked at
    /// afresh, and so is what the open dose can have of it.
    pub(super) fn container_noted(&mut self) {
        self.low = false;
        self.await_low();
        self.fit_to_stock();
        self.stale = true;
    }

    /// What the container can still be asked for; `None` without a container.
    pub(super) fn in_stock(&self) -> Option<Volume> {
        self.container()?;
        let drawn = match (&self.book.open, &self.running) {
            (Some(open), Some(running)) => {
                open.pulse.flow.volume(Duration::from_ms(u64::from(running.most_ms)))
            }
            _ => Volume::ZERO,
        };
        Some(self.book.stock.can_dose(drawn))
    }

    /// How long the pump can draw on it at a flow, in ms.
    pub(super) fn stock_ms(&self, flow: Flow) -> u32 {
        self.in_stock().map_or(u32::MAX, |stock| {
            u32::try_from(flow.on_time(stock, Carry(0)).0.as_ms()).unwrap_or(u32::MAX)
        })
    }

    /// Whether there is less in it than the shortest pulse takes.
    pub(super) fn is_short(&self) -> bool {
        self.book.head.is_some_and(|head| self.stock_ms(head.flow) < head.shortest_pulse_ms())
    }
}
