//! What people do to the device: the installer at the start, operators later.

use dosewright_core::civil::Local;
use dosewright_core::entry::{EntryId, GapRule};
use dosewright_core::event::Event;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable::Refusal;

use super::{Power, Stage};
use crate::forecast::pack_setting;
use crate::observe::{DeviceAct, Observation};
use crate::run::{ActEnd, Frame};
use crate::scenario::{Act, Calibration, CellType, ClockSetting, EntryName, IntervalStart};
use crate::world::script::Cue;

/// The act names an entry that is not in the timetable, so there is no number.
const NO_SUCH_ENTRY: ActEnd = ActEnd::Refused(Refusal::NoSuchEntry { id: EntryId(0) });

impl<const W: usize> Stage<'_, W> {
    /// What an installer does at the start.
    pub(super) fn install(&mut self) {
        let clock = &self.scenario.clock;
        let zone = clock.zone_of_device().zone;
        let shows = self
            .frame
            .zone
            .to_utc(clock.start, GapRule::Shift)
            .as_ms()
            .saturating_add(clock.off_by.0);
        let local = zone.to_local(Utc::from_ms(shows));
        self.act(&DeviceAct::SetHead(self.scenario.head.head));
        self.act(&DeviceAct::SetZone(zone));
        if !clock.unset {
            self.act(&DeviceAct::SetClock(local));
        }
        if let Some(container) = &self.scenario.container {
            self.act(&DeviceAct::SetContainer(container.to_core(), container.level));
        }
        if let Some(pack) = pack_setting(self.scenario) {
            self.act(&DeviceAct::SetPack(pack));
        }
        self.act(&DeviceAct::SetTimetable(Box::new(self.plan.timetable())));
    }

    /// Does something to the device, which is on.
    pub(super) fn act(&mut self, act: &DeviceAct) {
        self.note_lateness();
        self.see(&Observation::Act(act));
        match act {
            DeviceAct::RemoteStop(on) => self.told_stop = *on,
            DeviceAct::Leak(on) => self.told_leak = *on,
            _ => {}
        }
        let event = match act {
            DeviceAct::SetHead(head) => Event::SetHead(head),
            DeviceAct::SetFlow(flow) => Event::SetFlow(*flow),
            DeviceAct::SetZone(zone) => Event::SetZone(zone),
            DeviceAct::SetClock(local) => Event::SetClock(*local),
            DeviceAct::SetTimetable(timetable) => Event::Timetable(timetable),
            DeviceAct::RunAgain(id) => Event::RunAgain(*id),
            DeviceAct::StopDose(id) => Event::StopDose(*id),
            DeviceAct::Prime(volume) => Event::Prime(*volume),
            DeviceAct::Calibrate(run_ms) => Event::Calibrate { run_ms: *run_ms },
            DeviceAct::CalibrateInto(vessel) => Event::CalibrateInto(vessel),
            DeviceAct::CalibrateTrain(vessel) => Event::CalibrateTrain(vessel),
            DeviceAct::Measured(measured) => Event::Measured(measured),
            DeviceAct::TubeChanged => Event::TubeChanged,
            DeviceAct::Unlock(pin) => Event::Unlock(*pin),
            DeviceAct::Lock => Event::Lock,
            DeviceAct::SetPin(pin) => Event::SetPin(*pin),
            DeviceAct::Release => Event::Release,
            DeviceAct::RemoteStop(on) => Event::RemoteStop(*on),
            DeviceAct::Leak(on) => Event::Leak(*on),
            DeviceAct::SetContainer(container, level) => Event::Container(container, *level),
            DeviceAct::Refill(level) => Event::Refill(*level),
            DeviceAct::LevelLow(low) => Event::LevelLow(*low),
            DeviceAct::MotorFault => Event::MotorFault,
            DeviceAct::Acknowledge => Event::Acknowledge,
            DeviceAct::SetPack(pack) => Event::SetPack(pack),
            DeviceAct::PackChanged => Event::PackChanged,
            DeviceAct::PackRead { mv, loaded } => Event::PackRead { mv: *mv, loaded: *loaded },
            DeviceAct::Key { held } => Event::Key { held: *held },
        };
        self.hand_in(event);
    }

    pub(super) fn operator_act(&mut self, index: usize) {
        let scenario = self.scenario;
        let Some(operator_act) = scenario.operator.get(index) else { return };
        if let Act::ChangePack { cells_of, told } = operator_act.act {
            return self.change_pack(index, cells_of, told);
        }
        let Some(Power::On(device)) = &self.power else {
            return self.note_act(index, ActEnd::DeviceOff);
        };
        let book = device.controller().book();
        let (clock, head) = (book.clock, book.head);
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
                        let (plan, given) = (&self.plan, before.names().len());
                        let brought_in = plan.names().get(given..).unwrap_or_default().to_vec();
                        for (id, name) in &brought_in {
                            self.see(&Observation::Named { id: *id, name });
                        }
                        let timetable = Box::new(self.plan.timetable());
                        self.act(&DeviceAct::SetTimetable(timetable));
                        if matches!(self.end.acts.get(index), Some(ActEnd::Refused(_))) {
                            self.plan = before;
                        }
                    }
                    None => self.note_act(index, NO_SUCH_ENTRY),
                }
            }
            Act::Prime { volume, lasts } => {
                // a device times a prime by the flow that is in force
                let flow = head.map_or(scenario.head.head.flow, |head| head.flow);
                let by_time = lasts.map(|lasts| flow.volume(lasts));
                let volume = match (*volume, by_time) {
                    (Some(a), Some(b)) => a.min(b),
                    (Some(a), None) | (None, Some(a)) => a,
                    (None, None) => return,
                };
                self.act(&DeviceAct::Prime(volume));
            }
            Act::Calibrate { run: None, result: Calibration::Flow(flow), .. } => {
                self.enter_flow(index, *flow);
            }
            Act::Calibrate { .. } => self.calibrate(index),
            Act::RunAgain(entry) => self.act_on(index, entry, DeviceAct::RunAgain),
            Act::StopDose(entry) => self.act_on(index, entry, DeviceAct::StopDose),
            Act::Unlock(pin) => self.act(&DeviceAct::Unlock(*pin)),
            Act::Lock => self.act(&DeviceAct::Lock),
            Act::SetPin(pin) => self.act(&DeviceAct::SetPin(*pin)),
            Act::Acknowledge => self.act(&DeviceAct::Acknowledge),
            Act::ChangeTube { true_flow } => {
                if let Some(flow) = *true_flow {
                    self.plant.set_flow(flow, self.now);
                }
                self.act(&DeviceAct::TubeChanged);
                self.head_cleared();
            }
            Act::Press { times, .. } => {
                for _ in 0..*times {
                    self.act(&DeviceAct::Key { held: false });
                }
            }
            Act::Refill { level } => {
                let full = scenario.container.as_ref().map(|container| container.capacity);
                let Some(level) = level.or(full) else { return };
                self.fill(level);
                self.act(&DeviceAct::Refill(level));
            }
            Act::ChangePack { .. } => {}
        }
    }

    /// Somebody puts in another pack. A device that is off is told nothing: it has to
    /// find out, and it starts if there is nothing else that keeps it off.
    fn change_pack(&mut self, index: usize, cells_of: Option<CellType>, told: bool) {
        let Some(battery) = &mut self.battery else {
            return self.note_act(index, ActEnd::NoSuchPart("battery pack"));
        };
        battery.change(cells_of, self.now);
        self.note_act(index, ActEnd::Taken);
        if !matches!(self.power, Some(Power::On(_))) {
            self.script.at(self.now.max(self.off_until), Cue::Supply);
            if told {
                self.note_act(index, ActEnd::DeviceOff);
            }
        } else if told {
            self.act(&DeviceAct::PackChanged);
        }
    }

    /// Does what an act asks of an entry, where there is one of that name.
    fn act_on(&mut self, index: usize, entry: &EntryName, act: impl Fn(EntryId) -> DeviceAct) {
        match self.plan.id(&entry.name) {
            Some(id) => self.act(&act(id)),
            None => self.note_act(index, NO_SUCH_ENTRY),
        }
    }

    pub(super) fn note_act(&mut self, index: usize, end: ActEnd) {
        if let Some(place) = self.end.acts.get_mut(index) {
            *place = end;
        }
    }
}

/// The device's instant at which an interval starts. A time entered at the start
/// is true time; one entered later is read off the device's own clock.
pub(in crate::world) fn start_of(
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
