//! What operators and inputs ask for, event by event.

use super::Controller;
use crate::cause::Cause;
use crate::civil::{Date, Local};
use crate::config::{Container, Head};
use crate::effect::{Effect, Effects};
use crate::entry::GapRule;
use crate::event::Event;
use crate::record::{Act, Record};
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
            _ => {}
        }
        let unanswered = self.appending.is_some() || self.adopting || self.start.is_some();
        let record = if unanswered {
            Err(Refusal::Busy)
        } else if self.retry_at.is_some() && event.is_request() {
            // dues that are owed a record would pass by the new settings (D1)
            Err(Refusal::Ledger)
        } else {
            self.request(event, effects)
        };
        match record {
            Ok(Some(record)) => {
                self.appending = Some((record, true));
                effects.push(Effect::Append(record));
            }
            Ok(None) => {}
            Err(refusal) => effects.push(Effect::Refused(refusal)),
        }
    }

    /// The record that a request needs before anything of it is done.
    fn request(
        &mut self,
        event: Event<'_, N>,
        effects: &mut Effects,
    ) -> Result<Option<Record>, Refusal> {
        let at = self.now;
        match event {
            Event::SetClock(local) => self.set_clock_record(local).map(Some),
            Event::SetZone(zone) => {
                let utc = self.book.utc(at);
                let epoch = self.book.epoch.saturating_add(u16::from(utc.is_some()));
                Ok(Some(Record::Clock { at, epoch, utc, zone: *zone }))
            }
            Event::Timetable(timetable) => {
                let head = self.book.head.ok_or(Refusal::OutOfRange)?;
                match timetable.first_refusal(&head, self.book.clock.as_ref(), at) {
                    Some(refusal) => Err(refusal),
                    None => {
                        self.adoption_fits(timetable)?;
                        self.adopting = true;
                        effects.push(Effect::Adopt);
                        Ok(None)
                    }
                }
            }
            Event::SetHead(head) => self.head_record(*head).map(Some),
            Event::SetFlow(flow) => match self.book.head {
                Some(head) => self.head_record(Head { flow, ..head }).map(Some),
                None => Err(Refusal::OutOfRange),
            },
            Event::RunAgain(id) => {
                let line = self.book.line_of(id).ok_or(Refusal::NoSuchEntry { id })?;
                self.ask(line).map(Some)
            }
            Event::Prime(volume) => {
                let head = self.book.head.ok_or(Refusal::Busy)?;
                let run = head.flow.on_time(volume, Carry(0)).0;
                self.begin_service(Act::PrimeBegun, run.as_ms()).map(Some)
            }
            Event::Calibrate { run_ms } => {
                self.begin_service(Act::CalibrationBegun, u64::from(run_ms)).map(Some)
            }
            Event::Release => {
                if self.service.is_some() {
                    self.stop_run(effects);
                }
                Ok(None)
            }
            Event::Container(container, level) => {
                self.container_record(*container, level).map(Some)
            }
            Event::Refill(level) => {
                self.container_record(self.book.stock.container, level).map(Some)
            }
            Event::Acknowledge => Ok(Some(Record::Act { at, act: Act::Acknowledged, ms: 0 })),
            Event::Wake
            | Event::Appended
            | Event::AppendFailed
            | Event::Adopted(_)
            | Event::RemoteStop(_)
            | Event::Leak(_)
            | Event::LevelLow(_)
            | Event::MotorFault => Ok(None),
        }
    }

    /// The setting of the clock to a local time of the zone in force (D8, D9).
    fn set_clock_record(&self, local: Local) -> Result<Record, Refusal> {
        if !(Date::MIN..=Date::MAX).contains(&local.date()) {
            return Err(Refusal::OutOfRange);
        }
        let utc = self.book.zone.to_utc(local, GapRule::Shift);
        let epoch = self.book.epoch.checked_add(1).ok_or(Refusal::OutOfRange)?;
        Ok(Record::Clock { at: self.now, epoch, utc: Some(utc), zone: self.book.zone })
    }

    fn container_record(&self, container: Container, level: Volume) -> Result<Record, Refusal> {
        if !container.is_sound() || level > container.capacity {
            return Err(Refusal::OutOfRange);
        }
        Ok(Record::Container { at: self.now, container, level })
    }

    fn head_record(&self, head: Head) -> Result<Record, Refusal> {
        match head.problem() {
            Some(problem) => Err(Refusal::Head(problem)),
            None => Ok(Record::Head { at: self.now, head }),
        }
    }
}
