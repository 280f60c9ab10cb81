//! The stage: a device in its world, from event to event.

mod acts;
mod battery;
mod calibrate;
mod faults;
mod inputs;
mod ongoing;
mod panel;
mod pump;
mod queue;
mod supply;
#[cfg(test)]
mod tests;

pub(super) use acts::start_of;
pub(super) use battery::Ask;

use std::cell::RefCell;
use std::rc::Rc;

use dosewright_core::device::Device;
use dosewright_core::event::Event;
use dosewright_core::ledger::{Geometry, SLOT};
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;

use super::WorldError;
use super::battery::Battery;
use super::chip::Chip;
use super::flash::{NorMock, Tear};
use super::memory::{Deed, Deeds, PAGE, Watched, Wires};
use super::operator::Plan;
use super::plant::Plant;
use super::script::{Cue, Script};
use crate::observe::{LINES, Observation, Observer, Records};
use crate::run::{ActEnd, FaultEnd, Frame, Options, RunEnd};
use crate::scenario::Scenario;

/// Deliveries that the simulated device keeps account of.
const ACCOUNT: usize = 128;
/// Calls at one instant after which the logic counts as caught in a loop.
const MOST_CALLS: u32 = 1000;

type Pump<const W: usize> = Device<Watched<W>, LINES, ACCOUNT>;

/// Bytes that a sector must have for the simulated device to use it: a power of two.
pub(crate) const LEAST_SECTOR_BYTES: u32 =
    (Pump::<4>::LEAST_SLOTS * SLOT).next_power_of_two() as u32;

/// A moment in true ms that no run reaches: what never comes.
const NEVER: u64 = u64::MAX;

/// Where the device's flash is.
enum Power<const W: usize> {
    On(Box<Pump<W>>),
    Off(Watched<W>),
}

/// A device and its world, with flash words of `W` bytes.
pub(super) struct Stage<'a, const W: usize> {
    scenario: &'a Scenario,
    frame: Frame,
    observer: &'a mut dyn Observer,
    observe_wakes: bool,
    geometry: Geometry,
    now: u64,
    chip: Chip,
    /// The clock chip lost its feed while the supply was off.
    feed_lost: bool,
    /// True ms until which the supply stays off.
    off_until: u64,
    power: Option<Power<W>>,
    /// When the device wants to be called, as of its last call.
    wants_call: Option<Instant>,
    deeds: Deeds,
    script: Script,
    plan: Plan,
    /// True ms at which the one-shot turns the pump off; `None` while it is off.
    one_shot: Option<u64>,
    pump_on_since: u64,
    plant: Plant,
    /// The pack; `None` on mains.
    battery: Option<Battery>,
    /// The faults that last and are on, in the order in which they began.
    ongoing: Vec<ongoing::Ongoing>,
    /// When the motor's driver knows of trouble.
    trip_at: Option<u64>,
    contact: inputs::Contact,
    /// The fault of the foot valve that is on.
    foot_valve: Option<usize>,
    /// The next calls come so late: by ms, so many times, the fault's number.
    late: Option<(u64, u32, usize)>,
    /// Sectors that are worn and were not written to since, each with its fault.
    worn: Vec<(u32, usize)>,
    remote_stop: bool,
    leak: bool,
    /// What the device was told last of the two.
    told_stop: bool,
    told_leak: bool,
    /// The display is lit.
    lit: bool,
    /// Of the ledger, for acts that wait for a pulse.
    records: Records,
    /// The account of the container that was told of last, in nl.
    account_nl: Option<u64>,
    /// Doses and pulses begun, where a cue waits for one.
    dose: u32,
    pulse: u32,
    calls_now: u32,
    /// The act of the file that is being done.
    doing: Option<usize>,
    /// The panel with a hand on it; `None` where nobody stands there.
    front: Option<panel::Front<'a>>,
    /// Nothing was set up before the run.
    is_bare: bool,
    /// True ms of the first write that the memory took nothing of; no record came since.
    refuses_since: Option<u64>,
    seed: u64,
    /// What had come out when the calibration run began, in nl.
    measured_from: u64,
    /// How often something was read off a vessel.
    readings: u32,
    /// Runs that acts of calibration have had beside their first.
    reruns: Vec<calibrate::Rerun>,
    end: RunEnd,
}

impl<'a, const W: usize> Stage<'a, W> {
    pub(super) fn new(
        scenario: &'a Scenario,
        options: &Options,
        observer: &'a mut dyn Observer,
    ) -> Result<Self, WorldError> {
        let frame = Frame::of(scenario, options);
        let memory = &scenario.memory;
        let geometry = Geometry {
            start: 0,
            sector_bytes: memory.sector_bytes,
            sectors: u16::try_from(memory.sectors).map_err(|_| {
                WorldError::Memory(format!("{} sectors are too many", memory.sectors))
            })?,
        };
        let pages =
            (u64::from(memory.sector_bytes) * u64::from(memory.sectors)).div_ceil(PAGE as u64);
        let mut nor = NorMock::<W, PAGE>::new(pages as usize);
        nor.set_tear(Tear::Bytes);
        let deeds: Deeds = Rc::new(RefCell::new(Vec::new()));
        let mut script = Script::default();
        for (index, fault) in scenario.faults.iter().enumerate() {
            script.at_moment(fault.at, &frame, Cue::Fault(index));
        }
        for (index, act) in scenario.operator.iter().enumerate() {
            script.at_moment(act.at, &frame, Cue::Act(index));
        }
        let plan = Plan::new(scenario, |from| start_of(from, &frame, None, 0));
        Ok(Self {
            scenario,
            frame,
            observer,
            observe_wakes: options.observe_wakes,
            geometry,
            now: 0,
            chip: Chip::new(0, 0, scenario.clock.rate_ppb()),
            feed_lost: false,
            off_until: 0,
            power: Some(Power::Off(Watched::new(nor, deeds.clone()))),
            wants_call: None,
            deeds,
            script,
            plan,
            one_shot: None,
            pump_on_since: 0,
            plant: inputs::plant_of(scenario),
            battery: Battery::of(scenario),
            ongoing: Vec::new(),
            trip_at: None,
            contact: inputs::Contact::default(),
            foot_valve: None,
            late: None,
            worn: Vec::new(),
            remote_stop: false,
            leak: false,
            told_stop: false,
            told_leak: false,
            lit: false,
            records: Records::default(),
            account_nl: None,
            dose: 0,
            pulse: 0,
            seed: options.seed,
            measured_from: 0,
            readings: 0,
            reruns: Vec::new(),
            calls_now: 0,
            doing: None,
            front: None,
            is_bare: false,
            refuses_since: None,
            end: RunEnd {
                end_ms: frame.run_ms,
                names: Vec::new(),
                faults: vec![FaultEnd::NotReached; scenario.faults.len()],
                acts: vec![ActEnd::NotReached; scenario.operator.len()],
                wakes: 0,
                starts: 0,
                commanded_nl: 0,
                delivered_nl: 0,
                spilled_nl: 0,
                level_nl: None,
                account_nl: None,
                brown_outs: 0,
                pack_left: None,
                image: Vec::new(),
                erases: Vec::new(),
                alarms: Vec::new(),
                memory_fault: None,
                refused_memory: None,
                install_refused: None,
            },
        })
    }

    /// From power-on to the end.
    pub(super) fn play(mut self) -> Result<RunEnd, WorldError> {
        self.power_on(Reset::PowerOn)?;
        if !self.is_bare {
            self.install();
        }
        let mut stopped = false;
        loop {
            if self.observer.wants_end() || self.front.as_ref().is_some_and(panel::Front::is_done) {
                stopped = true;
                break;
            }
            let off = self.one_shot.unwrap_or(NEVER);
            let wake = self.next_wake();
            let plant = self.plant.next_at();
            let sags = self.sags_at().unwrap_or(NEVER);
            let cue = self.script.next_at().unwrap_or(NEVER);
            let trip = self.trip_at.unwrap_or(NEVER);
            let world = off.min(wake).min(cue).min(trip).min(plant.unwrap_or(NEVER)).min(sags);
            let hand = self.hand_at((world < NEVER).then_some(world));
            let next = hand.unwrap_or(world);
            if next > self.frame.run_ms {
                break;
            }
            if next > self.now {
                self.now = next;
                self.calls_now = 0;
            }
            if plant.is_some() {
                // else nothing about it changes but by an act, which reckons it first
                self.plant.advance(self.now);
            }
            if off <= self.now {
                self.pump_off();
            } else if sags <= self.now {
                self.brown_out();
            } else if self.look_at_contact() || self.trip() {
            } else if wake <= self.now {
                self.calls_now += 1;
                if self.calls_now > MOST_CALLS {
                    return Err(WorldError::BusyLoop { at_ms: self.now });
                }
                self.wake();
            } else if hand.is_some() {
                self.hand_acts();
            } else if let Some(cue) = self.script.pop_by(self.now) {
                self.cue(cue)?;
            }
        }
        if !stopped {
            self.now = self.frame.run_ms;
            self.note_lateness();
        }
        self.end.end_ms = self.now;
        if self.one_shot.is_some() {
            // what has run by the end of the run has been delivered
            self.account_run();
        }
        self.plant.advance(self.now);
        if let Some(battery) = &mut self.battery {
            battery.advance(self.now);
            self.end.pack_left = Some(battery.left());
        }
        self.end.delivered_nl = self.plant.delivered_nl();
        self.end.spilled_nl = self.plant.spilled_nl();
        self.end.level_nl = self.plant.level_nl();
        self.end.account_nl = match &self.power {
            Some(Power::On(device)) => {
                let book = device.controller().book();
                book.stock.container().map(|_| book.account().as_nl())
            }
            _ => None,
        };
        self.end.names = self.plan.names().to_vec();
        let flash = match self.power.take() {
            Some(Power::On(device)) => Some(device.into_flash()),
            Some(Power::Off(flash)) => Some(flash),
            None => None,
        };
        if let Some(flash) = flash {
            self.end.erases.clone_from(&flash.nor.counters().erases);
            self.end.image = flash.nor.into_bytes();
        }
        Ok(self.end)
    }

    fn see(&mut self, what: &Observation<'_>) {
        match what {
            Observation::MemoryFault { on: true } => {
                self.end.memory_fault = Some(*self.refuses_since.get_or_insert(self.now));
            }
            Observation::MemoryFault { on: false } => {
                (self.end.memory_fault, self.refuses_since) = (None, None);
            }
            // the next start finds out anew, and may write nothing either
            Observation::Supply { .. } | Observation::Reset => self.end.memory_fault = None,
            Observation::Slot { bytes, .. }
                if self.refuses_since.is_some() && Records::default().see(bytes).is_some() =>
            {
                self.refuses_since = None;
            }
            _ => {}
        }
        self.observer.see(self.now, what);
    }

    fn device(&mut self) -> Option<&mut Pump<W>> {
        match &mut self.power {
            Some(Power::On(device)) => Some(device),
            _ => None,
        }
    }

    fn count(&self) -> Instant {
        Instant::from_ms(self.chip.count(self.now))
    }

    /// The moment at which the device, where it is on, wants to be called.
    fn wish(&self) -> Option<Instant> {
        self.wants_call.filter(|_| matches!(self.power, Some(Power::On(_))))
    }

    /// True ms at which the logic is called next, or [`NEVER`].
    fn next_wake(&self) -> u64 {
        let Some(wish) = self.wish() else { return NEVER };
        let on_time = self.chip.when(wish.as_ms()).max(self.now);
        on_time.saturating_add(self.late.map_or(0, |(by_ms, _, _)| by_ms))
    }

    fn wake(&mut self) {
        self.note_lateness();
        self.end.wakes += 1;
        if self.observe_wakes {
            self.see(&Observation::Wake);
        }
        self.hand_in(Event::Wake);
    }

    /// Hands an event to the device and does what it did.
    fn hand_in(&mut self, event: Event<'_, LINES>) {
        let now = self.count();
        let Some(Power::On(device)) = &mut self.power else { return };
        device.handle(now, event, &mut Wires(&self.deeds));
        self.wants_call = device.next_wake().map(|(at, _)| at);
        self.watch();
    }

    /// A late call is over with the first event that reaches the logic after
    /// the moment it had asked for, whatever brings that event.
    #[inline]
    fn note_lateness(&mut self) {
        if let Some(late) = self.late {
            self.note_late(late);
        }
    }

    fn note_late(&mut self, (by, times, fault): (u64, u32, usize)) {
        let Some(at) = self.wish() else { return };
        let by_ms = self.now.saturating_sub(self.chip.when(at.as_ms()));
        if by_ms > 0 {
            self.late = (times > 1).then_some((by, times - 1, fault));
            self.see(&Observation::LateWake { by_ms });
            self.took_effect(fault);
        }
    }

    /// A worn sector is one for the device once it is written to, or erased in vain.
    #[inline]
    fn note_worn(&mut self, address: u32) {
        // most runs have none
        if !self.worn.is_empty() {
            self.wears(address / self.geometry.sector_bytes);
        }
    }

    fn wears(&mut self, sector: u32) {
        while let Some(at) = self.worn.iter().position(|(worn, _)| *worn == sector) {
            let (_, fault) = self.worn.swap_remove(at);
            self.took_effect(fault);
        }
    }

    /// Sees what the device did, in its order.
    fn watch(&mut self) {
        let mut deeds = self.deeds.take();
        let mut asked = Vec::new();
        // the logic runs on to the end of its call, the device does not: it only refuses what
        // it could not write any more
        let mut was_cut = false;
        for deed in &deeds {
            match *deed {
                Deed::Refused(refusal) => self.refused(refusal),
                _ if was_cut => {}
                Deed::Cut => was_cut = true,
                Deed::Wrote { address, slot } => {
                    self.note_worn(address);
                    self.see_slot(address, &slot);
                }
                Deed::Unread { address } => self.see(&Observation::Unread { address }),
                Deed::Erased { address, ref left } => {
                    if !left.is_empty() {
                        self.note_worn(address);
                    }
                    self.see(&Observation::Erased { address, left });
                }
                Deed::Failed(fault) => self.took_effect(fault),
                Deed::PumpOn(length) => self.pump_on(length),
                Deed::PumpOff => self.pump_off(),
                Deed::Alarm(alarm, on) => {
                    self.end.alarms.push((self.now, alarm, on));
                    if alarm == Alarm::LedgerFault {
                        self.see(&Observation::MemoryFault { on });
                    }
                }
                Deed::Pack(ask) => asked.push(ask),
                Deed::Light(on) => self.light(on),
            }
        }
        deeds.clear();
        self.deeds.replace(deeds);
        let is_cut = match &self.power {
            Some(Power::On(device)) => device.ledger().flash().nor.is_off(),
            _ => false,
        };
        if is_cut {
            self.torn();
        }
        self.look_at_account();
        for ask in asked {
            self.read_pack(ask);
        }
    }

    /// Tells of the container's account where it has changed and stands still.
    fn look_at_account(&mut self) {
        let Some(Power::On(device)) = &self.power else { return };
        let book = device.controller().book();
        let stock = &book.stock;
        if stock.container().is_none() || stock.service.as_nl() > 0 {
            return;
        }
        let raw_nl = stock.level.as_nl();
        if self.account_nl != Some(raw_nl) {
            self.account_nl = Some(raw_nl);
            // where somebody tells of it in mid-dose, that dose is to come off the level in
            // the book when it ends, and has drawn some of it
            let level = book.account();
            self.see(&Observation::Account { level });
        }
    }

    fn light(&mut self, on: bool) {
        if let Some(battery) = &mut self.battery {
            battery.set_lit(on, self.now);
        }
        if on != self.lit {
            self.lit = on;
            self.see(&Observation::Display { lit: on });
        }
    }

    fn see_slot(&mut self, address: u32, slot: &[u8; SLOT]) {
        self.observer.see(self.now, &Observation::Slot { address, bytes: slot });
        if self.script.waits_for_pulses()
            && let Some(Record::Pulse(pulse)) = self.records.see(slot)
        {
            if pulse.first {
                (self.dose, self.pulse) = (self.dose + 1, 1);
            } else {
                self.pulse += 1;
            }
        }
    }

    /// Takes down a refusal of the act that is being done.
    fn refused(&mut self, refusal: Refusal) {
        if let Some(front) = &mut self.front
            && front.refused(refusal)
        {
            return;
        }
        match self.doing {
            Some(index) => self.note_act(index, ActEnd::Refused(refusal)),
            None => self.end.install_refused = self.end.install_refused.or(Some(refusal)),
        }
    }

    fn took_effect(&mut self, fault: usize) {
        if let Some(end) = self.end.faults.get_mut(fault) {
            *end = FaultEnd::TookEffect;
        }
    }

    fn cue(&mut self, cue: Cue) -> Result<(), WorldError> {
        match cue {
            Cue::Fault(index) => self.fault(index)?,
            Cue::FaultEnds(index) => self.fault_ends(index),
            Cue::Act(index) => {
                self.doing = Some(index);
                self.operator_act(index);
            }
            Cue::ActEnds(index) => {
                self.doing = Some(index);
                self.act_ends(index);
            }
            Cue::Supply => {
                let is_off = matches!(self.power, Some(Power::Off(_)));
                if self.now >= self.off_until && is_off && self.can_be_fed() {
                    self.power_on(Reset::PowerOn)?;
                }
            }
            Cue::Spurious => self.wake(),
            Cue::Bounce => self.bounce(),
        }
        Ok(())
    }
}
