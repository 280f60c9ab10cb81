//! The stage: a device in its world, from event to event.

use std::cell::RefCell;
use std::rc::Rc;

use dosewright_core::civil::Local;
use dosewright_core::device::{Device, StartError};
use dosewright_core::entry::GapRule;
use dosewright_core::event::Event;
use dosewright_core::ledger::{Geometry, SLOT, Slot};
use dosewright_core::record::{Record, Reset};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Flow;

use super::chip::Chip;
use super::flash::{NorMock, Tear, Wear};
use super::memory::{Deed, Deeds, PAGE, Watched, Wires};
use super::operator::Plan;
use super::script::{Cue, Script};
use super::{WorldError, open_error};
use crate::observe::{DeviceAct, LINES, Observation, Observer};
use crate::run::{ActEnd, FaultEnd, Frame, Options, RunEnd};
use crate::scenario::{
    Act, Calibration, ClockSetting, FaultKind, IntervalStart, Scenario, WorldPart,
};

/// Deliveries that the simulated device keeps account of.
const ACCOUNT: usize = 128;
/// Calls at one instant after which the logic counts as caught in a loop.
const MOST_CALLS: u32 = 1000;

type Pump<const W: usize> = Device<Watched<W>, LINES, ACCOUNT>;

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
    deeds: Deeds,
    script: Script,
    plan: Plan,
    /// True ms at which the one-shot turns the pump off; `None` while it is off.
    one_shot: Option<u64>,
    pump_on_since: u64,
    true_flow: Flow,
    /// The next calls come so late: by ms, so many times, the fault's number.
    late: Option<(u64, u32, usize)>,
    /// The fault that has armed a torn write, and for how long the supply goes.
    tear: Option<(usize, u64)>,
    remote_stop: bool,
    leak: bool,
    /// Doses and pulses begun, where a cue waits for one.
    dose: u32,
    pulse: u32,
    calls_now: u32,
    /// The act of the file that is being done.
    doing: Option<usize>,
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
            deeds,
            script,
            plan,
            one_shot: None,
            pump_on_since: 0,
            true_flow: scenario.head.true_flow.unwrap_or(scenario.head.head.flow),
            late: None,
            tear: None,
            remote_stop: false,
            leak: false,
            dose: 0,
            pulse: 0,
            calls_now: 0,
            doing: None,
            end: RunEnd {
                end_ms: frame.run_ms,
                names: Vec::new(),
                faults: vec![FaultEnd::NotReached; scenario.faults.len()],
                acts: vec![ActEnd::NotReached; scenario.operator.len()],
                wakes: 0,
                starts: 0,
                delivered_nl: 0,
                image: Vec::new(),
                alarms: Vec::new(),
                refused_memory: None,
                install_refused: None,
            },
        })
    }

    /// From power-on to the end.
    pub(super) fn play(mut self) -> Result<RunEnd, WorldError> {
        self.power_on(Reset::PowerOn)?;
        self.install();
        let mut stopped = false;
        loop {
            if self.observer.wants_end() {
                stopped = true;
                break;
            }
            let wake = self.next_wake();
            let next = [self.one_shot, wake, self.script.next_at()].into_iter().flatten().min();
            let Some(next) = next.filter(|&next| next <= self.frame.run_ms) else { break };
            if next > self.now {
                self.now = next;
                self.calls_now = 0;
            }
            if self.one_shot.is_some_and(|at| at <= self.now) {
                self.pump_off();
            } else if wake.is_some_and(|at| at <= self.now) {
                self.calls_now += 1;
                if self.calls_now > MOST_CALLS {
                    return Err(WorldError::BusyLoop { at_ms: self.now });
                }
                self.wake();
            } else if let Some(cue) = self.script.pop() {
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
        self.end.names = self.plan.names().to_vec();
        self.end.image = match self.power.take() {
            Some(Power::On(device)) => device.into_flash().nor.into_bytes(),
            Some(Power::Off(flash)) => flash.nor.into_bytes(),
            None => Vec::new(),
        };
        Ok(self.end)
    }

    fn see(&mut self, what: &Observation<'_>) {
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

    /// True ms at which the logic is called next.
    fn next_wake(&self) -> Option<u64> {
        let Some(Power::On(device)) = &self.power else { return None };
        let (at, _) = device.next_wake()?;
        let on_time = self.chip.when(at.as_ms()).max(self.now);
        Some(on_time.saturating_add(self.late.map_or(0, |(by_ms, _, _)| by_ms)))
    }

    fn wake(&mut self) {
        self.end.wakes += 1;
        if self.observe_wakes {
            self.see(&Observation::Wake);
        }
        self.hand_in(Event::Wake);
    }

    /// Hands an event to the device and does what it did.
    fn hand_in(&mut self, event: Event<'_, LINES>) {
        self.note_lateness();
        let now = self.count();
        let mut wires = Wires(self.deeds.clone());
        let Some(device) = self.device() else { return };
        device.handle(now, event, &mut wires);
        self.watch();
    }

    /// A late call is over with the first event that reaches the logic after
    /// the moment it had asked for, whatever brings that event.
    fn note_lateness(&mut self) {
        let Some((by, times, fault)) = self.late else { return };
        let Some(Power::On(device)) = &self.power else { return };
        let Some((at, _)) = device.next_wake() else { return };
        let by_ms = self.now.saturating_sub(self.chip.when(at.as_ms()));
        if by_ms > 0 {
            self.late = (times > 1).then_some((by, times - 1, fault));
            self.see(&Observation::LateWake { by_ms });
            self.took_effect(fault);
        }
    }

    /// Sees what the device did, in its order.
    fn watch(&mut self) {
        let mut deeds = std::mem::take(&mut *self.deeds.borrow_mut());
        for deed in deeds.drain(..) {
            match deed {
                Deed::Wrote { address, bytes } => self.see_slots(address, bytes),
                Deed::PumpOn(length) => self.pump_on(length),
                Deed::PumpOff => self.pump_off(),
                Deed::Refused(refusal) => self.refused(refusal),
                Deed::Alarm(alarm, on) => self.end.alarms.push((self.now, alarm, on)),
            }
        }
        *self.deeds.borrow_mut() = deeds;
        let is_cut = match &self.power {
            Some(Power::On(device)) => device.ledger().flash().nor.is_off(),
            _ => false,
        };
        if is_cut && let Some((fault, lasts_ms)) = self.tear.take() {
            self.took_effect(fault);
            self.supply_off(lasts_ms, false);
        }
    }

    fn see_slots(&mut self, address: u32, bytes: u32) {
        let Some(Power::On(device)) = &self.power else { return };
        let first = address as usize / SLOT * SLOT;
        let end = (address + bytes) as usize;
        for at in (first..end).step_by(SLOT) {
            let Some(slot) = device.ledger().flash().nor.bytes().get(at..at + SLOT) else { return };
            self.observer.see(self.now, &Observation::Slot { address: at as u32, bytes: slot });
            if self.script.waits_for_pulses()
                && let Ok(slot) = slot.try_into()
                && let Slot::Good { payload, .. } = Slot::decode(slot)
                && let Some(Record::Pulse(pulse)) = Record::decode(&payload)
            {
                if pulse.first {
                    (self.dose, self.pulse) = (self.dose + 1, 1);
                } else {
                    self.pulse += 1;
                }
            }
        }
    }

    fn pump_on(&mut self, length: Duration) {
        if self.one_shot.is_none() {
            self.pump_on_since = self.now;
            self.end.starts += 1;
            self.see(&Observation::Pump { on: true });
        }
        let off_at = self.chip.count(self.now).saturating_add_unsigned(length.as_ms());
        self.one_shot = Some(self.chip.when(off_at));
        if self.script.waits_for_pulses() {
            self.script.pulse_began(self.now, self.dose, self.pulse);
        }
    }

    fn pump_off(&mut self) {
        if self.one_shot.is_some() {
            self.account_run();
            self.one_shot = None;
            self.see(&Observation::Pump { on: false });
        }
    }

    fn account_run(&mut self) {
        let on = Duration::from_ms(self.now - self.pump_on_since);
        self.end.delivered_nl += self.true_flow.volume(on).as_nl();
    }

    /// Takes down a refusal of the act that is being done.
    fn refused(&mut self, refusal: Refusal) {
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

    /// The supply comes on, or the watchdog fires: the device boots.
    fn power_on(&mut self, reset: Reset) -> Result<(), WorldError> {
        let Some(Power::Off(mut flash)) = self.power.take() else { return Ok(()) };
        flash.nor.power_on();
        if reset == Reset::PowerOn {
            self.see(&Observation::Supply { on: true });
        }
        let feed_kept = !std::mem::take(&mut self.feed_lost);
        let count = feed_kept.then(|| self.count());
        match Device::start(flash, self.geometry, count, reset) {
            Ok(device) => {
                if !feed_kept {
                    self.chip = Chip::new(self.now, device.now().as_ms(), self.chip.rate_ppb);
                }
                let (count_ms, rate_ppb) = (self.chip.count(self.now), self.chip.rate_ppb);
                self.see(&Observation::Chip { count_ms, rate_ppb, feed_kept });
                self.power = Some(Power::On(Box::new(device)));
            }
            Err((flash, StartError::SectorTooSmall { slots, least })) => {
                self.power = Some(Power::Off(flash));
                return Err(WorldError::Memory(format!(
                    "a sector has {slots} slots of 64 bytes, and the device needs {least}; \
                     make sectors of {} KiB or more",
                    (least * SLOT).div_ceil(1024).next_power_of_two()
                )));
            }
            Err((flash, StartError::Format(error))) => {
                self.power = Some(Power::Off(flash));
                return Err(WorldError::Memory(format!("{error:?}")));
            }
            Err((flash, StartError::Open(error))) => {
                // a device that cannot read its memory stays as it is: off
                self.power = Some(Power::Off(flash));
                self.end.refused_memory = Some((self.now, open_error(&error)));
                return Ok(());
            }
        }
        // inputs are read before anything is decided
        if self.remote_stop {
            self.act(&DeviceAct::RemoteStop(true));
        }
        if self.leak {
            self.act(&DeviceAct::Leak(true));
        }
        self.hand_in(Event::Wake);
        Ok(())
    }

    /// The supply goes, for so long at least.
    fn supply_off(&mut self, lasts_ms: u64, feed_lost: bool) {
        self.feed_lost |= feed_lost;
        self.off_until = self.off_until.max(self.now.saturating_add(lasts_ms));
        self.script.at(self.off_until, Cue::Supply);
        self.stop_device();
    }

    fn stop_device(&mut self) {
        if !matches!(self.power, Some(Power::On(_))) {
            return;
        }
        self.note_lateness();
        if let Some(Power::On(device)) = self.power.take() {
            let mut flash = device.into_flash();
            flash.nor.power_off();
            self.power = Some(Power::Off(flash));
        }
        self.pump_off();
        self.see(&Observation::Supply { on: false });
    }

    fn watchdog(&mut self) -> Result<bool, WorldError> {
        if !matches!(self.power, Some(Power::On(_))) {
            return Ok(false);
        }
        self.note_lateness();
        if let Some(Power::On(device)) = self.power.take() {
            self.power = Some(Power::Off(device.into_flash()));
        }
        self.pump_off();
        self.see(&Observation::Reset);
        self.power_on(Reset::Watchdog)?;
        Ok(true)
    }

    /// What an installer does at the start.
    fn install(&mut self) {
        let clock = &self.scenario.clock;
        let zone = clock.zone_of_device().zone;
        let shows = self
            .frame
            .zone
            .to_utc(clock.start, GapRule::Shift)
            .as_ms()
            .saturating_add(clock.off_by.0);
        let local = zone.to_local(dosewright_core::time::Utc::from_ms(shows));
        self.act(&DeviceAct::SetHead(self.scenario.head.head));
        self.act(&DeviceAct::SetZone(zone));
        if !clock.unset {
            self.act(&DeviceAct::SetClock(local));
        }
        self.act(&DeviceAct::SetTimetable(Box::new(self.plan.timetable())));
    }

    /// Does something to the device, which is on.
    fn act(&mut self, act: &DeviceAct) {
        self.note_lateness();
        self.see(&Observation::Act(act));
        let event = match act {
            DeviceAct::SetHead(head) => Event::SetHead(head),
            DeviceAct::SetFlow(flow) => Event::SetFlow(*flow),
            DeviceAct::SetZone(zone) => Event::SetZone(zone),
            DeviceAct::SetClock(local) => Event::SetClock(*local),
            DeviceAct::SetTimetable(timetable) => Event::Timetable(timetable),
            DeviceAct::RunAgain(id) => Event::RunAgain(*id),
            DeviceAct::Prime(volume) => Event::Prime(*volume),
            DeviceAct::Calibrate(run_ms) => Event::Calibrate { run_ms: *run_ms },
            DeviceAct::Release => Event::Release,
            DeviceAct::RemoteStop(on) => Event::RemoteStop(*on),
            DeviceAct::Leak(on) => Event::Leak(*on),
            DeviceAct::MotorFault => Event::MotorFault,
            DeviceAct::Acknowledge => Event::Acknowledge,
        };
        self.hand_in(event);
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
                if self.now >= self.off_until && matches!(self.power, Some(Power::Off(_))) {
                    self.power_on(Reset::PowerOn)?;
                }
            }
            Cue::Spurious => {
                self.note_lateness();
                self.end.wakes += 1;
                self.hand_in(Event::Wake);
            }
        }
        Ok(())
    }

    fn fault(&mut self, index: usize) -> Result<(), WorldError> {
        let Some(fault) = self.scenario.faults.get(index) else { return Ok(()) };
        let is_on = matches!(self.power, Some(Power::On(_)));
        let mut effect = is_on;
        match fault.kind {
            FaultKind::SupplyLoss { lasts } => self.supply_off(lasts.as_ms(), false),
            FaultKind::ClockLost { lasts } => {
                self.supply_off(lasts.as_ms(), true);
                effect = true;
            }
            FaultKind::MemoryTear { during, after_bytes, lasts } => {
                self.tear = Some((index, lasts.as_ms()));
                if let Some(device) = self.device() {
                    device.ledger_mut().flash_mut().tear = Some((during, after_bytes));
                }
                // it takes effect in the first such work from now on
                effect = false;
            }
            FaultKind::BitFlip { address, bit } => {
                self.flash(|flash| flash.nor.flip_bit(address, bit));
                self.see_slot_of(address);
                effect = true;
            }
            FaultKind::PageWorn { sector } => {
                let pages = self.geometry.sector_bytes / PAGE as u32;
                self.flash(|flash| {
                    for page in sector * pages..(sector + 1) * pages {
                        flash.nor.wear_out(page, Wear::Dead);
                    }
                });
                effect = true;
            }
            FaultKind::LateWake { by, times } => {
                self.late = Some((by.as_ms(), times, index));
                // it takes effect when a call comes late
                effect = false;
            }
            FaultKind::SpuriousWake { times, over } => {
                for i in 0..u64::from(times) {
                    let into = over.as_ms() * i / u64::from(times).max(1);
                    self.script.at(self.now + into, Cue::Spurious);
                }
            }
            FaultKind::WatchdogReset => effect = self.watchdog()?,
            FaultKind::RemoteStop { lasts } => {
                self.remote_stop = true;
                self.input(&DeviceAct::RemoteStop(true));
                self.ends_after(lasts, index);
                effect = true;
            }
            FaultKind::Leak { lasts } => {
                self.leak = true;
                self.input(&DeviceAct::Leak(true));
                self.ends_after(lasts, index);
                effect = true;
            }
            _ => {
                if let Some(end) = self.end.faults.get_mut(index) {
                    *end = FaultEnd::NoSuchPart(part_word(fault.kind.needs()));
                }
                return Ok(());
            }
        }
        if let Some(end) = self.end.faults.get_mut(index) {
            *end = if effect { FaultEnd::TookEffect } else { FaultEnd::NoEffect };
        }
        Ok(())
    }

    fn flash(&mut self, change: impl FnOnce(&mut Watched<W>)) {
        match &mut self.power {
            Some(Power::On(device)) => change(device.ledger_mut().flash_mut()),
            Some(Power::Off(flash)) => change(flash),
            None => {}
        }
    }

    /// Shows the slot that a byte lies in as it stands now.
    fn see_slot_of(&mut self, address: u32) {
        let bytes = match &self.power {
            Some(Power::On(device)) => device.ledger().flash().nor.bytes(),
            Some(Power::Off(flash)) => flash.nor.bytes(),
            None => return,
        };
        let at = address as usize / SLOT * SLOT;
        if let Some(slot) = bytes.get(at..at + SLOT) {
            self.observer.see(self.now, &Observation::Slot { address: at as u32, bytes: slot });
        }
    }

    fn ends_after(&mut self, lasts: Option<Duration>, index: usize) {
        if let Some(lasts) = lasts {
            self.script.at(self.now.saturating_add(lasts.as_ms()), Cue::FaultEnds(index));
        }
    }

    fn input(&mut self, act: &DeviceAct) {
        if matches!(self.power, Some(Power::On(_))) {
            self.act(act);
        }
    }

    fn fault_ends(&mut self, index: usize) {
        match self.scenario.faults.get(index).map(|fault| fault.kind) {
            Some(FaultKind::RemoteStop { .. }) => {
                self.remote_stop = false;
                self.input(&DeviceAct::RemoteStop(false));
            }
            Some(FaultKind::Leak { .. }) => {
                self.leak = false;
                self.input(&DeviceAct::Leak(false));
            }
            _ => {}
        }
    }

    fn operator_act(&mut self, index: usize) {
        let scenario = self.scenario;
        let Some(operator_act) = scenario.operator.get(index) else { return };
        let Some(Power::On(device)) = &self.power else {
            return self.note_act(index, ActEnd::DeviceOff);
        };
        let clock = device.controller().book().clock;
        self.note_act(index, ActEnd::Taken);
        match &operator_act.act {
            Act::SetClock(ClockSetting::To(local)) => self.act(&DeviceAct::SetClock(*local)),
            Act::SetClock(ClockSetting::By(by)) => match clock {
                Some(clock) => {
                    let shown = clock.local(self.count()).as_ms();
                    let local = Local::from_ms(shown.saturating_add(by.0));
                    self.act(&DeviceAct::SetClock(local));
                }
                // there is nothing to set it by
                None => self.note_act(index, ActEnd::Refused(Refusal::OutOfRange)),
            },
            Act::SetZone(zone) => self.act(&DeviceAct::SetZone(zone.zone)),
            act @ (Act::Edit { .. }
            | Act::Disable(_)
            | Act::Enable(_)
            | Act::Remove(_)
            | Act::Add(_)
            | Act::Timetable(_)) => {
                let (frame, now) = (self.frame, self.count());
                let start = |from| start_of(from, &frame, clock.as_ref(), now.as_ms());
                match self.plan.after(act, start) {
                    Some(plan) => {
                        let before = std::mem::replace(&mut self.plan, plan);
                        let timetable = Box::new(self.plan.timetable());
                        self.act(&DeviceAct::SetTimetable(timetable));
                        if matches!(self.end.acts.get(index), Some(ActEnd::Refused(_))) {
                            self.plan = before;
                        }
                    }
                    None => self.note_act(
                        index,
                        ActEnd::Refused(Refusal::NoSuchEntry {
                            id: dosewright_core::entry::EntryId(0),
                        }),
                    ),
                }
            }
            Act::Prime { volume, lasts } => {
                let head = self.scenario.head.head;
                let by_time = lasts.map(|lasts| head.flow.volume(lasts));
                let volume = match (*volume, by_time) {
                    (Some(a), Some(b)) => a.min(b),
                    (Some(a), None) | (None, Some(a)) => a,
                    (None, None) => return,
                };
                self.act(&DeviceAct::Prime(volume));
            }
            Act::Calibrate { run: Some(run), .. } => {
                self.act(&DeviceAct::Calibrate(u32::try_from(run.as_ms()).unwrap_or(u32::MAX)));
                if self.end.acts.get(index) == Some(&ActEnd::Taken) {
                    self.script.at(self.now.saturating_add(run.as_ms()), Cue::ActEnds(index));
                }
            }
            Act::Calibrate { run: None, result, .. } => self.enter_flow(index, *result, None),
            Act::RunAgain(entry) => match self.plan.id(&entry.name) {
                Some(id) => self.act(&DeviceAct::RunAgain(id)),
                None => self.note_act(
                    index,
                    ActEnd::Refused(Refusal::NoSuchEntry {
                        id: dosewright_core::entry::EntryId(0),
                    }),
                ),
            },
            Act::Acknowledge => self.act(&DeviceAct::Acknowledge),
            Act::ChangeTube { true_flow } => {
                self.true_flow = true_flow.unwrap_or(self.true_flow);
            }
            Act::Press { .. } => self.note_act(index, ActEnd::NoSuchPart("panel")),
            Act::Refill { .. } => self.note_act(index, ActEnd::NoSuchPart("container")),
            Act::ChangePack { .. } => self.note_act(index, ActEnd::NoSuchPart("battery pack")),
        }
    }

    /// The reading after a calibration run.
    fn act_ends(&mut self, index: usize) {
        let scenario = self.scenario;
        if let Some(Act::Calibrate { run: Some(run), result, .. }) =
            scenario.operator.get(index).map(|act| &act.act)
        {
            self.enter_flow(index, *result, Some(*run));
        }
    }

    fn enter_flow(&mut self, index: usize, result: Calibration, run: Option<Duration>) {
        let flow = match (result, run) {
            (Calibration::Flow(flow), _) => Some(flow),
            (Calibration::Measured(volume), Some(run)) => {
                let nl_per_min =
                    u128::from(volume.as_nl()) * 60_000 / u128::from(run.as_ms().max(1));
                u32::try_from(nl_per_min).ok().and_then(Flow::from_nl_per_min)
            }
            (Calibration::Measured(_), None) => None,
        };
        match flow {
            Some(flow) if matches!(self.power, Some(Power::On(_))) => {
                self.act(&DeviceAct::SetFlow(flow));
            }
            Some(_) => self.note_act(index, ActEnd::DeviceOff),
            None => self.note_act(index, ActEnd::Refused(Refusal::OutOfRange)),
        }
    }

    fn note_act(&mut self, index: usize, end: ActEnd) {
        if let Some(place) = self.end.acts.get_mut(index) {
            *place = end;
        }
    }
}

/// The device's instant at which an interval starts. A time entered at the start
/// is true time; one entered later is read off the device's own clock.
pub(super) fn start_of(
    from: IntervalStart,
    frame: &Frame,
    clock: Option<&WallClock>,
    now_ms: i64,
) -> Instant {
    match (from, clock) {
        (IntervalStart::Local(local), Some(clock)) => {
            clock.instant(clock.zone.to_utc(local, GapRule::Shift))
        }
        (IntervalStart::Local(local), None) => {
            let utc = frame.zone.to_utc(local, GapRule::Shift).as_ms();
            Instant::from_ms(utc.saturating_sub(frame.start_utc_ms))
        }
        (IntervalStart::After(length), _) => Instant::ZERO.plus(length),
        (IntervalStart::Accepted, _) => Instant::from_ms(now_ms),
    }
}

const fn part_word(part: WorldPart) -> &'static str {
    match part {
        WorldPart::Supply => "supply",
        WorldPart::Memory => "memory",
        WorldPart::ClockChip => "clock chip",
        WorldPart::Wakes => "wakes",
        WorldPart::Container => "container",
        WorldPart::Motor => "motor",
        WorldPart::Inputs => "inputs",
        WorldPart::Tube => "tube",
        WorldPart::Queue => "event queue",
    }
}
