//! What operators and inputs ask for, event by event.

use super::Controller;
use crate::cause::Cause;
use crate::civil::{Date, Local};
use crate::config::Head;
use crate::effect::{Effect, Effects};
use crate::entry::GapRule;
use crate::event::Event;
use crate::record::{Act, Record};
use crate::timetable::Refusal;
use crate::units::Carry;

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Takes in an event that is no answer to an effect.
    pub(super) fn take(&mut self, event: Event<'_, N>, effects: &mut Effects) {
        match event {
            Event::RemoteStop(on) => return self.input(Cause::RemoteStop, on, effects),
            Event::Leak(on) => return self.input(Cause::Leak, on, effects),
            _ => {}
        }
        let unanswered = self.appending.is_some() || self.adopting || self.start.is_some();
        let record = if unanswered && event != Event::MotorFault {
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

    /// A contact that stops the pump while it is on. A fault stops at once, and
    /// so does a stop from outside: the rest of the pulse is not lost, it is
    /// spread again when the stop ends.
    fn input(&mut self, cause: Cause, on: bool, effects: &mut Effects) {
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
            Event::MotorFault => {
                self.stop_run(effects);
                self.disturb(Cause::MotorFault);
                self.motor_fault = true;
                Ok(None)
            }
            Event::Acknowledge => {
                self.motor_fault = false;
                self.acknowledged = true;
                Ok(Some(Record::Act { at, act: Act::Acknowledged, ms: 0 }))
            }
            Event::Wake
            | Event::Appended
            | Event::AppendFailed
            | Event::Adopted(_)
            | Event::RemoteStop(_)
            | Event::Leak(_) => Ok(None),
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

    fn head_record(&self, head: Head) -> Result<Record, Refusal> {
        match head.problem() {
            Some(problem) => Err(Refusal::Head(problem)),
            None => Ok(Record::Head { at: self.now, head }),
        }
    }
}
