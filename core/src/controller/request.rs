//! What operators and inputs ask for, event by event.

use super::Controller;
use super::calibrate::Bench;
use crate::cause::Cause;
use crate::civil::{Date, Local};
use crate::config::{Container, Head};
use crate::effect::{Effect, Effects};
use crate::entry::GapRule;
use crate::event::Event;
use crate::record::{Act, NewPack, Record};
use crate::timetable::Refusal;
use crate::units::{Carry, Volume};

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Takes in an event that is no answer to an effect.
    pub(super) fn take(&mut self, event: Event<'_, N>, effects: &mut Effects) {
        match event {
            Event::RemoteStop(on) => return self.stop_input(Cause::RemoteStop, on, effects),
            Event::Leak(on) => return self.stop_input(Cause::Leak, on, effects),
            Event::LevelLow(low) => return self.level_input(low),
            Event::MotorFault => return self.motor_fault(effects),
            Event::StopDose(id) => return self.stop_dose(id, effects),
            Event::PackRead { mv, loaded } => return self.pack_reading(mv, loaded),
            Event::Key { held } => return self.key(held, effects),
            _ => {}
        }
        let unanswered = self.pending().is_some() || self.adopting || self.start.is_some();
        let wrote = if unanswered {
            Err(Refusal::Busy)
        } else if event.needs_unlocking() && !self.lets_in() {
            Err(Refusal::Locked)
        } else if self.ledger_failed() && event.is_request() {
            // dues that are owed a record would pass by the new settings (D1)
            Err(Refusal::Ledger)
        } else {
            self.request(event, effects)
        };
        match wrote {
            Ok(true) => {
                self.asked = true;
                effects.push(Effect::Append);
            }
            Ok(false) => {}
            Err(refusal) => effects.push(Effect::Refused(refusal)),
        }
    }

    /// Asks for the record that a request needs before anything of it is done;
    /// `false` where it needs none.
    fn request(&mut self, event: Event<'_, N>, effects: &mut Effects) -> Result<bool, Refusal> {
        let at = self.now;
        match event {
            Event::SetClock(local) => self.set_clock_record(local),
            // one that no record can hold would be in force until the next restart
            Event::SetZone(zone) if !zone.is_legal() => Err(Refusal::OutOfRange),
            Event::SetZone(zone) => {
                let utc = self.book.utc(at);
                let epoch = self.book.epoch.saturating_add(u16::from(utc.is_some()));
                Ok(self.want(&Record::Clock { at, epoch, utc, zone: *zone }))
            }
            Event::Timetable(timetable) => {
                let head = self.book.head.ok_or(Refusal::OutOfRange)?;
                let (before, clock) = (&self.book.timetable, self.book.clock.as_ref());
                match timetable.first_refusal_after(Some(before), &head, clock, at) {
                    Some(refusal) => Err(refusal),
                    None => {
                        self.adoption_fits(timetable)?;
                        self.adopting = true;
                        effects.push(Effect::Adopt);
                        Ok(false)
                    }
                }
            }
            Event::SetHead(head) => self.head_record(*head),
            Event::SetFlow(flow) => match self.book.head {
                Some(head) => self.head_record(Head { flow, ..head }),
                None => Err(Refusal::OutOfRange),
            },
            Event::RunAgain(id) => {
                let line = self.book.line_of(id).ok_or(Refusal::NoSuchEntry { id })?;
                self.ask(line)
            }
            Event::Prime(volume) => {
                let head = self.book.head.ok_or(Refusal::Busy)?;
                let run = head.flow.on_time(volume, Carry(0)).0;
                self.begin_service(Act::PrimeBegun, run.as_ms())
            }
            Event::Calibrate { run_ms } => {
                self.begin_service(Act::CalibrationBegun, u64::from(run_ms))
            }
            Event::CalibrateInto(vessel) => self.calibrate_into(vessel),
            Event::CalibrateTrain(vessel) => self.calibrate_train(vessel),
            Event::Measured(measured) => self.measured(measured),
            Event::Unlock(pin) => self.unlock(pin),
            Event::SetPin(pin) => Ok(self.set_pin(pin)),
            Event::Lock => {
                self.lock_up();
                Ok(false)
            }
            Event::TubeChanged => Ok(self.want(&Record::Act { at, act: Act::TubeChanged, ms: 0 })),
            Event::Release => {
                self.bench = Bench::EMPTY;
                if self.service.is_some() {
                    self.stop_run(effects);
                }
                if let Some(service) = &mut self.service {
                    service.over = true;
                }
                Ok(false)
            }
            Event::Container(container, level) => self.container_record(*container, level),
            Event::Refill(level) => self.container_record(self.book.stock.container, level),
            Event::SetPack(pack) if !pack.is_sound() => Err(Refusal::OutOfRange),
            Event::SetPack(pack) => {
                Ok(self.want(&Record::Pack { at, pack: *pack, how: NewPack::Set }))
            }
            Event::PackChanged => match self.book.gauge.pack().copied() {
                Some(pack) => Ok(self.want(&Record::Pack { at, pack, how: NewPack::Changed })),
                None => Err(Refusal::OutOfRange),
            },
            Event::Acknowledge => Ok(self.want(&Record::Act { at, act: Act::Acknowledged, ms: 0 })),
            Event::Wake
            | Event::Appended
            | Event::AppendFailed
            | Event::Adopted(_)
            | Event::StopDose(_)
            | Event::RemoteStop(_)
            | Event::Leak(_)
            | Event::LevelLow(_)
            | Event::MotorFault
            | Event::PackRead { .. }
            | Event::Key { .. } => Ok(false),
        }
    }

    /// The setting of the clock to a local time of the zone in force (D8, D9).
    fn set_clock_record(&mut self, local: Local) -> Result<bool, Refusal> {
        if !(Date::MIN..=Date::MAX).contains(&local.date()) {
            return Err(Refusal::OutOfRange);
        }
        let utc = self.book.zone.to_utc(local, GapRule::Shift);
        let epoch = self.book.epoch.checked_add(1).ok_or(Refusal::OutOfRange)?;
        let zone = self.book.zone;
        Ok(self.want(&Record::Clock { at: self.now, epoch, utc: Some(utc), zone }))
    }

    fn container_record(&mut self, container: Container, level: Volume) -> Result<bool, Refusal> {
        if !container.is_sound() || level > container.capacity {
            return Err(Refusal::OutOfRange);
        }
        // how much a run drew before is not known
        if self.service.is_some() {
            return Err(Refusal::Busy);
        }
        // a pulse that was broken off has drawn less than its intent says
        let running = self.running.as_ref().filter(|_| !self.pump_is_on());
        let pumped_ms = running.map(|running| running.most_ms);
        Ok(self.want(&Record::Container { at: self.now, container, level, pumped_ms }))
    }

    fn head_record(&mut self, head: Head) -> Result<bool, Refusal> {
        match head.problem() {
            Some(problem) => Err(Refusal::Head(problem)),
            // what it draws is taken off the container by the flow that it began with
            None if self.service.is_some() => Err(Refusal::Busy),
            None => Ok(self.want(&Record::Head { at: self.now, head })),
        }
    }
}
