//! The container's account, its contact and the motor, as the rules have them,
//! against what the ledger says of them.

use dosewright_core::cause::Cause;
use dosewright_core::config::Container;
use dosewright_core::record::Alarm;

use crate::observe::DeviceAct;

use super::Auditor;
use super::causes::Causes;
use super::dose::TICK_MS;
use super::limits::lead_ms;
use super::rules::volume_nl;
use super::stock::Motor;

impl Auditor {
    /// What the open dose may have drawn by now, its last intent in full; at least
    /// and at most, in nl.
    fn drawn_nl(&self) -> (u64, u64) {
        self.drawn_but_nl(0)
    }

    /// What it has drawn by an instant, if its last pulse runs as it was meant to.
    pub(super) fn drawn_by_nl(&self, at: i64) -> (u64, u64) {
        let flight = self.open.as_ref().and_then(|open| open.flight);
        let lead_ms = self.model.head.as_ref().map_or(0, lead_ms);
        self.drawn_but_nl(flight.map_or(0, |flight| flight.left_ms(at, lead_ms)))
    }

    /// All of its intents but so many ms of the last.
    fn drawn_but_nl(&self, left_ms: i64) -> (u64, u64) {
        let Some(open) = &self.open else { return (0, 0) };
        let flight_ms = open.flight.map_or(0, |flight| flight.most_ms);
        let all = |ms: i64| volume_nl((ms + flight_ms).min(open.total_ms) - left_ms, open.flow);
        (all(open.most.0), all(open.most.1))
    }

    /// The low-level contact changed.
    pub(super) fn look_at_level(&mut self, closed: bool, now: i64) {
        if self.level.closed != closed {
            let told = self.alarm_is_on(Alarm::LowLevel);
            self.level.changes(now, self.chip.slack_ms());
            self.level.look(closed, now, &self.model.stock, told);
        }
    }

    /// By when the low level has to be told, where it is still to be.
    pub(super) fn low_level_by(&self) -> Option<i64> {
        (self.level.counts && !self.level_is_told()).then_some(self.level.since)
    }

    fn level_is_told(&self) -> bool {
        self.alarm_is_on(Alarm::LowLevel) || self.level.reported
    }

    /// The container is low, and no alarm says so.
    pub(super) fn look_for_low_level(&mut self, at: i64, slack: i64) {
        let late = self.low_level_by().is_some_and(|by| at > by + slack);
        // a container that the memory has lost has no level
        let known = !self.taint.alarms && !self.taint.all() && !self.model.stock.unsure;
        // looked at once, whatever comes of it: it is what the timer waits for
        self.level.reported |= late;
        if late && known {
            self.fail(
                "O1",
                None,
                String::from("the low-level contact is closed, and no alarm says so"),
            );
        }
    }

    /// An operator's word on the container is in the ledger (O6).
    pub(super) fn on_container(
        &mut self,
        at: i64,
        container: Container,
        level_nl: u64,
        pumped_ms: Option<u32>,
    ) {
        let said = match self.pending.setting.take() {
            Some(DeviceAct::SetContainer(container, level)) => Some((container, level)),
            Some(DeviceAct::Refill(level)) => self.model.stock.container.map(|c| (c, level)),
            other => {
                self.pending.setting = other;
                None
            }
        };
        let unknown = said.is_none() && self.model.stock.unsure;
        if said.is_none_or(|(c, level)| c != container || level.as_nl() != level_nl) && !unknown {
            self.fail("O6", None, String::from("the ledger speaks of the container as nobody did"));
        }
        let (mut drawn, mut wrong) = (self.drawn_by_nl(at).1, None);
        if let Some(open) = self.open.as_ref().filter(|_| !self.pin.is_on()) {
            // a pulse that was broken off has drawn no more than it ran
            let (low, high) = open.after_flight().1;
            let pumped = pumped_ms.map(i64::from);
            if pumped.is_none_or(|ms| ms < low || ms > high) {
                let found = pumped.map_or_else(|| String::from("nothing"), |ms| format!("{ms} ms"));
                let what = format!(
                    "{found} is said to be pumped of the open dose by then: expected {low} to {high} ms"
                );
                wrong = Some((open.due.key, what));
            }
            drawn = volume_nl(pumped.unwrap_or(high), open.flow);
        }
        if let Some((key, what)) = wrong.filter(|(key, _)| !self.taint.covers(key.id)) {
            self.fail("O1", Some(key), what);
        }
        self.model.stock.set(container, level_nl, drawn);
        self.level.counts = false;
        self.level.reported = false;
        let closed = self.level.closed;
        self.level.look(closed, at, &self.model.stock, false);
        self.cap_open(at);
        self.refresh(at);
        self.rearm();
    }

    /// What the container has may not be enough for the open dose, or be enough
    /// again: its rest is spread anew.
    pub(super) fn cap_open(&mut self, at: i64) {
        let stock = self.model.stock;
        let Some(open) = &mut self.open else { return };
        let most = open.after_flight().1.0;
        let short = stock.cap_ms(open.flow) < open.total_ms + TICK_MS;
        if short || open.causes.contains(Cause::ContainerEmpty) || stock.unsure {
            open.disturb(Cause::ContainerEmpty);
            if open.able_since.is_some() && most < open.total_ms {
                open.resume(at, &self.limits);
            }
        }
    }

    /// An alarm of the container comes or goes.
    pub(super) fn on_container_alarm(&mut self, at: i64, alarm: Alarm, on: bool) {
        if !matches!(alarm, Alarm::LowLevel | Alarm::LevelDisagrees | Alarm::ContainerEmpty) {
            return;
        }
        self.level.pass(at);
        self.level.is_said_to_count(on, at);
        let known = !self.taint.alarms && !self.taint.all() && !self.model.stock.unsure;
        let stock = self.model.stock;
        let (least, most) = self.drawn_nl();
        // the account, at most and at least
        let (high, low) = (stock.account_nl(least), stock.account_nl(most));
        let far = stock.far_nl().unwrap_or(u64::MAX);
        let contact = stock.low_nl().unwrap_or(0);
        let short = self.model.head.is_some_and(|head| stock.is_short(&head));
        let disagreed = self.alarm_is_on(Alarm::LevelDisagrees);
        let wrong = match (alarm, on) {
            _ if self.alarm_is_on(alarm) == on => Some("though it stands so already"),
            (Alarm::LowLevel | Alarm::LevelDisagrees, true) if !self.level.counts => {
                Some("though the contact has not been closed for as long as it may bounce")
            }
            (Alarm::LowLevel, true) if low > far && !disagreed => {
                Some("though the account says far more: the level disagrees")
            }
            (Alarm::LevelDisagrees, true) if high <= far => {
                Some("though the account agrees with the contact")
            }
            (Alarm::LowLevel, false) if high <= contact => {
                Some("though the container is still low by account")
            }
            (Alarm::LowLevel, false) if self.level.counts => {
                Some("though nobody has said that there is more")
            }
            (Alarm::LevelDisagrees, false) if stock.is_nothing() => {
                Some("though nobody has said what is in the container")
            }
            (Alarm::ContainerEmpty, _) if short != on => Some("against the account"),
            _ => None,
        };
        if let Some(why) = wrong.filter(|_| known) {
            let state = if on { "comes" } else { "goes" };
            let what = format!("the alarm \"{}\" {state}, {why}", alarm.words());
            self.fail("O1", None, what);
        }
        match (alarm, on) {
            (Alarm::LowLevel, true) => {
                let closed_at = at - self.model.stock.debounce_ms();
                let (least, most) = self.drawn_by_nl(closed_at);
                self.model.stock.put_down(most);
                self.model.stock.unsure |= least != most;
                self.cap_open(at);
            }
            (Alarm::LevelDisagrees, true) => {
                self.model.stock.nothing_left();
                self.pin.ms.stopped = true;
                // what keeps the dose waiting all the same may be over before its deadline,
                // and the container filled by then
                let waits = !self.hinder.stop_causes().is_empty();
                if let Some(open) = &mut self.open {
                    let empty = Causes::of(Cause::ContainerEmpty);
                    open.disturb(Cause::ContainerEmpty);
                    if !waits {
                        open.forced = Some(open.forced.unwrap_or_default().or(empty));
                        open.end_by = at;
                    }
                }
            }
            _ => {}
        }
        self.refresh(at);
        self.rearm();
    }

    /// At the end of a ms: an empty container is told, and a latched motor.
    pub(super) fn check_container_alarms(&mut self) {
        if !self.supply.awake
            || self.hinder.ledger_bad
            || self.taint.alarms
            || self.taint.all()
            || self.pin.ms.damaged
        {
            return;
        }
        let latched = self.motor.faults >= 4;
        let known = !self.motor.unsure && self.facts.reading.is_none();
        if latched != self.alarm_is_on(Alarm::MotorFault) && known {
            let what = if latched { "is latched, and no" } else { "is not latched, and an" };
            self.fail("P4", None, format!("the motor's fault {what} alarm is on"));
        }
        let short = self.model.head.is_some_and(|head| self.model.stock.is_short(&head));
        let told = self.alarm_is_on(Alarm::ContainerEmpty);
        // while a dose is open its account is not settled, and the alarm does not come
        if short != told
            && (self.open.is_none() || told)
            && !self.model.stock.unsure
            && self.facts.reading.is_none()
        {
            let what = if short { "is empty, and no" } else { "is not empty, and an" };
            self.fail("O1", None, format!("the container {what} alarm says so"));
        }
    }

    /// The motor stalls or draws too much. A driver may say again what is known.
    pub(super) fn motor_fails(&mut self, now: i64) {
        if self.pin.is_on() || !self.hinder.fault {
            self.motor.pending = true;
            self.change(now, Cause::MotorFault, true);
        }
    }

    /// The ledger holds a fault of the motor.
    pub(super) fn on_motor(&mut self, at: i64, faults: u8) {
        let wanted = self.motor.next(self.facts.reading);
        if !self.motor.pending {
            self.fail(
                "P4",
                None,
                String::from("a fault of the motor is noted, and there was none"),
            );
        } else if faults != wanted && !self.motor.row_unsure {
            let what = format!("fault {faults} of the motor in a row is noted: it is {wanted}");
            self.fail("P4", None, what);
        }
        let faults = if self.motor.row_unsure { faults.clamp(1, 4) } else { wanted };
        self.motor = Motor { faults, at, ..Motor::default() };
        (self.taint.motor, self.taint.motor_failed) = (false, true);
        self.hinder.fault = true;
        if let Some(flight) = self.open.as_mut().and_then(|open| open.flight.as_mut()) {
            flight.most_ms = flight.most_ms.min(at - flight.at);
        }
        self.rearm();
    }

    /// The motor's rest is over by an instant, whatever else that brings.
    pub(super) fn motor_has_rested(&mut self, at: i64) {
        if self.hinder.fault && self.motor.until() <= at {
            self.change(at, Cause::MotorFault, false);
        }
    }

    /// The pump is to run: a device whose memory has lost the fault knows of none.
    pub(super) fn motor_is_tried(&mut self, at: i64) {
        self.motor_has_rested(at);
        if !self.motor.unsure || self.motor.pending {
            return;
        }
        self.motor.unsure = false;
        if self.hinder.fault {
            self.motor = Motor { row_unsure: true, ..Motor::default() };
            self.change(at, Cause::MotorFault, false);
        }
    }

    /// An alarm of the motor comes or goes. What the memory has lost of it is known
    /// again when the device says that it is latched.
    pub(super) fn on_motor_alarm(&mut self, at: i64, alarm: Alarm, on: bool) {
        if alarm == Alarm::MotorFault && on && self.motor.unsure {
            self.motor = Motor { faults: 4, at, ..Motor::default() };
            self.change(at, Cause::MotorFault, true);
        }
    }

    /// An operator acknowledges what is latched.
    pub(super) fn motor_acknowledged(&mut self, at: i64) {
        self.motor = Motor::default();
        self.taint.motor = false;
        if self.hinder.fault {
            self.change(at, Cause::MotorFault, false);
        }
    }
}
