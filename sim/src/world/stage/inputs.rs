//! The motor, the tube and the container, and what of them the device is told.

use dosewright_core::time::Duration;
use dosewright_core::units::{Flow, Volume};

use super::{Power, Stage};
use crate::observe::DeviceAct;
use crate::scenario::{Scenario, Tube};
use crate::world::head::HeadModel;
use crate::world::plant::Plant;
use crate::world::script::Cue;

/// The low-level contact.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::world) struct Contact {
    /// What the device was told last.
    told: bool,
    /// A fault keeps it closed.
    forced: bool,
    /// So many faults make it bounce.
    bouncing: u32,
}

/// Pump, tube and container as a scenario has them at its start.
pub(super) fn plant_of(scenario: &Scenario) -> Plant {
    let flow = scenario.head.true_flow.unwrap_or(scenario.head.head.flow);
    let lifted = scenario.tube.as_ref().map_or(Volume::ZERO, Tube::lifted);
    let mut plant = Plant::new(flow, lifted);
    if scenario.head.motion.drive.is_some() {
        plant.set_rotor(HeadModel::of(&scenario.head));
    }
    if let Some(container) = &scenario.container {
        plant.set_tank(container.level, container.heel, container.low_contact);
    }
    plant
}

impl<const W: usize> Stage<'_, W> {
    pub(super) fn is_on(&self) -> bool {
        matches!(self.power, Some(Power::On(_)))
    }

    /// The pump's drive has gone on.
    pub(super) fn motor_starts(&mut self) {
        self.plant.set_drive(true, self.now);
        if let Some(battery) = &mut self.battery {
            battery.set_motor(true, self.now);
        }
        if self.plant.drew_air
            && let Some(fault) = self.foot_valve
        {
            self.took_effect(fault);
        }
    }

    /// The pump's drive has gone off.
    pub(super) fn motor_stops(&mut self) {
        self.plant.set_drive(false, self.now);
        if let Some(battery) = &mut self.battery {
            battery.set_motor(false, self.now);
        }
        self.trip_at = None;
    }

    /// What the device was told last of the contact.
    pub(super) const fn contact_told(&self) -> bool {
        self.contact.told
    }

    /// What the contact says.
    fn contact_closed(&self) -> bool {
        self.contact.forced || self.plant.is_low()
    }

    /// Tells the device of the contact, where it has changed; whether it has.
    pub(super) fn look_at_contact(&mut self) -> bool {
        let closed = self.contact_closed();
        if self.contact.bouncing > 0 || closed == self.contact.told || !self.is_on() {
            return false;
        }
        self.tell_contact(closed);
        true
    }

    fn tell_contact(&mut self, closed: bool) {
        self.contact.told = closed;
        self.act(&DeviceAct::LevelLow(closed));
    }

    /// A device that starts reads the contact, and takes it for open before.
    pub(super) fn contact_at_start(&mut self) {
        self.plant.advance(self.now);
        let closed = self.contact_closed();
        if closed || self.contact.told {
            self.tell_contact(closed);
        }
    }

    /// Whether the contact would be closed without a fault.
    pub(super) fn is_low(&self) -> bool {
        self.plant.is_low()
    }

    /// A fault closes the contact, or lets go of it; whether that changes it.
    pub(super) fn force_contact(&mut self, forced: bool) -> bool {
        let before = self.contact_closed();
        self.contact.forced = forced;
        self.look_at_contact();
        before != self.contact_closed()
    }

    pub(super) fn bounce_begins(&mut self, times: u32, over: Duration, fault: usize) {
        self.contact.bouncing += 1;
        let (times, over) = (u64::from(times), over.as_ms());
        for i in 0..times {
            self.script.at(self.now + over * i / times.max(1), Cue::Bounce);
        }
        self.script.at(self.now.saturating_add(over), Cue::FaultEnds(fault));
    }

    /// One bounce: the contact changes, whatever the level.
    pub(super) fn bounce(&mut self) {
        if self.is_on() {
            self.tell_contact(!self.contact.told);
        }
    }

    pub(super) fn bounce_ends(&mut self) {
        self.contact.bouncing = self.contact.bouncing.saturating_sub(1);
        self.look_at_contact();
    }

    /// The squeeze is lost at a flow, or as tube and product let it run.
    pub(super) fn squeeze_lost(&mut self, flow: Option<Flow>) -> bool {
        let scenario = self.scenario;
        let by_trade = || {
            let siphon = scenario.tube.as_ref()?.siphon(scenario.product.as_ref())?;
            Flow::from_nl_per_min((siphon.ml_min * 1e6).min(f64::from(u32::MAX)) as u32)
        };
        self.plant.set_siphon(flow.or_else(by_trade), self.now)
    }

    pub(super) fn foot_valve_leaks(&mut self, flow: Option<Flow>, fault: usize) {
        self.plant.set_back(flow, self.now);
        self.plant.drew_air = false;
        self.foot_valve = flow.map(|_| fault);
    }

    /// Somebody fills the container.
    pub(super) fn fill(&mut self, level: Volume) {
        self.plant.refill(level, self.now);
        self.look_at_contact();
    }
}
