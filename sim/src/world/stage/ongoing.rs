//! Faults that last. Several of one kind may be on at once: an input stays on while any of
//! them is, and of two flows the one that began last counts.

use dosewright_core::units::Flow;

use super::Stage;
use crate::observe::DeviceAct;
use crate::scenario::FaultKind;
use crate::world::plant::{OVER_CURRENT_TRIP_MS, STALL_TRIP_MS};

/// A fault that is on.
#[derive(Clone, Copy, Debug)]
pub(in crate::world) struct Ongoing {
    /// Its number in the file.
    fault: usize,
    kind: FaultKind,
    /// When it began, in true ms: it, or one of its kind that it lapped over and outlasts.
    since: u64,
    /// That one's number, and when it was over.
    earlier: Option<(usize, u64)>,
}

impl Ongoing {
    /// How long the motor's driver takes to know of it; `None` where it is none of the
    /// motor's.
    const fn trip_ms(&self) -> Option<u64> {
        match self.kind {
            FaultKind::MotorStall { .. } => Some(STALL_TRIP_MS),
            FaultKind::OverCurrent { .. } => Some(OVER_CURRENT_TRIP_MS),
            _ => None,
        }
    }
}

impl<const W: usize> Stage<'_, W> {
    /// A fault that lasts begins; whether it has taken effect.
    pub(super) fn lasting_begins(&mut self, fault: usize, kind: FaultKind) -> bool {
        self.ongoing.push(Ongoing { fault, kind, since: self.now, earlier: None });
        match kind {
            FaultKind::RemoteStop { .. } | FaultKind::Leak { .. } => {
                self.look_at_detectors();
                true
            }
            FaultKind::ContainerLow { .. } => self.force_contact(true),
            FaultKind::SqueezeLost { flow, .. } => self.squeeze_lost(flow),
            FaultKind::FootValveLeak { flow, .. } => {
                self.foot_valve_leaks(Some(flow), fault);
                // it takes effect when a run begins with air in the suction line
                false
            }
            // those of the motor take effect when the driver says so
            _ => {
                self.look_at_motor();
                false
            }
        }
    }

    /// A fault that lasts is over: what others of its kind keep up stays.
    pub(super) fn lasting_ends(&mut self, fault: usize) {
        let Some(place) = self.ongoing.iter().position(|on| on.fault == fault) else { return };
        let Ongoing { kind, since, earlier, .. } = self.ongoing.remove(place);
        let like = |on: &&Ongoing| on.kind.word() == kind.word();
        for on in self.ongoing.iter_mut().filter(|on| like(&&**on) && since < on.since) {
            // the motor's driver makes no difference between the one and the other
            (on.since, on.earlier) = (since, earlier.or(Some((fault, self.now))));
        }
        let left = self.ongoing.iter().rev().find(like).copied();
        match kind {
            FaultKind::RemoteStop { .. } | FaultKind::Leak { .. } => self.look_at_detectors(),
            FaultKind::ContainerLow { .. } => match left {
                None => _ = self.force_contact(false),
                // from here on it alone keeps the contact closed
                Some(left) if !self.is_low() => self.took_effect(left.fault),
                Some(_) => {}
            },
            FaultKind::SqueezeLost { .. } => {
                if !self.siphons_as(left) {
                    _ = self.set_siphon(None);
                }
            }
            FaultKind::FootValveLeak { .. } => match left {
                Some(Ongoing { fault, kind: FaultKind::FootValveLeak { flow, .. }, .. }) => {
                    self.foot_valve_leaks(Some(flow), fault);
                }
                _ => self.foot_valve_leaks(None, fault),
            },
            _ => self.look_at_motor(),
        }
    }

    /// The container siphons out as this fault has it; whether it is one of that kind.
    fn siphons_as(&mut self, left: Option<Ongoing>) -> bool {
        let Some(Ongoing { fault, kind: FaultKind::SqueezeLost { flow, .. }, .. }) = left else {
            return false;
        };
        if self.squeeze_lost(flow) {
            self.took_effect(fault);
        }
        true
    }

    /// Tells the device of remote stop and leak detector, where they have changed.
    fn look_at_detectors(&mut self) {
        let is_on = |kind: fn(&FaultKind) -> bool| self.ongoing.iter().any(|on| kind(&on.kind));
        let stop = is_on(|kind| matches!(kind, FaultKind::RemoteStop { .. }));
        let leak = is_on(|kind| matches!(kind, FaultKind::Leak { .. }));
        if stop != self.remote_stop {
            self.remote_stop = stop;
            self.input(&DeviceAct::RemoteStop(stop));
        }
        if leak != self.leak {
            self.leak = leak;
            self.input(&DeviceAct::Leak(leak));
        }
    }

    /// The head was opened: it squeezes again, and turns freely.
    pub(super) fn head_cleared(&mut self) {
        self.ongoing.retain(|on| {
            on.trip_ms().is_none() && !matches!(on.kind, FaultKind::SqueezeLost { .. })
        });
        _ = self.set_siphon(None);
        self.look_at_motor();
    }

    /// What the faults that are on do to the motor.
    fn look_at_motor(&mut self) {
        let stalls = |on: &Ongoing| matches!(on.kind, FaultKind::MotorStall { .. });
        let stalled = self.ongoing.iter().any(stalls);
        self.plant.set_stalled(stalled, self.now);
        self.await_trip();
    }

    /// When, and by which fault, the motor's driver knows of trouble in the run that goes.
    fn trouble(&self) -> Option<(u64, Ongoing)> {
        let known = |on: &Ongoing| {
            let from = on.since.max(self.pump_on_since);
            Some((from.saturating_add(on.trip_ms()?), *on))
        };
        self.ongoing.iter().filter_map(known).min_by_key(|(at, _)| *at)
    }

    /// Sets when the motor's driver says so next.
    pub(super) fn await_trip(&mut self) {
        let may_trip = self.one_shot.is_some() && !self.ongoing.is_empty();
        self.trip_at = if may_trip { self.trouble().map(|(at, _)| at) } else { None };
    }

    /// The motor's driver knows of the trouble and says so.
    pub(super) fn trip(&mut self) -> bool {
        if self.trip_at.take_if(|at| *at <= self.now).is_none() {
            return false;
        }
        if let Some((_, Ongoing { fault, earlier, .. })) = self.trouble() {
            self.took_effect(fault);
            // without the one that began it the driver would have known later
            if let Some((earlier, _)) = earlier.filter(|(_, over)| *over > self.pump_on_since) {
                self.took_effect(earlier);
            }
        }
        self.act(&DeviceAct::MotorFault);
        true
    }

    fn set_siphon(&mut self, flow: Option<Flow>) -> bool {
        self.plant.set_siphon(flow, self.now)
    }
}
