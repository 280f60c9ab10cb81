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
                let epoch = if utc.is_some() { self.next_epoch() } else { self.book.epoch };
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

    /// The number of the epoch that a setting opens. After the last comes the first again,
    /// long after all that the memory holds is of later ones: a clock that something sets
    /// every ten minutes gets there in 15 months.
    fn next_epoch(&self) -> u16 {
        self.book.epoch.checked_add(1).unwrap_or(1)
    }

    /// The setting of the clock to a local time of the zone in force (D8, D9).
    fn set_clock_record(&mut self, local: Local) -> Result<bool, Refusal> {
        if !(Date::MIN..=Date::MAX).contains(&local.date()) {
            return Err(Refusal::OutOfRange);
        }
        let utc = self.book.zone.to_utc(local, GapRule::Shift);
        let (epoch, zone) = (self.next_epoch(), self.book.zone);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::Book;
    use crate::controller::boot;
    use crate::time::{Duration, Instant};
    use crate::units::Flow;
    use crate::zone::Zone;

    type Small = Controller<4, 8>;

    /// Hands it in, with every record acknowledged; what it was refused for.
    fn hand_in(controller: &mut Small, at: Instant, event: Event<'_, 4>) -> Option<Refusal> {
        let mut effects = controller.step(at, event);
        let mut refused = None;
        loop {
            for effect in effects.iter() {
                if let Effect::Refused(refusal) = effect {
                    refused = Some(refusal);
                }
            }
            if !effects.iter().any(|effect| effect == Effect::Append) {
                return refused;
            }
            effects = controller.step(at, Event::Appended);
        }
    }

    /// A controller whose start is in the ledger.
    fn started(book: Book<4, 8>) -> Small {
        let mut controller = boot(book, Instant::ZERO);
        assert_eq!(hand_in(&mut controller, Instant::ZERO, Event::Wake), None);
        controller
    }

    /// With a head of 60 ml/min that primes for two minutes at most.
    fn with_head() -> Small {
        let mut controller = started(Book::empty());
        let flow = Flow::from_nl_per_min(60_000_000).unwrap();
        let head = Head { longest_prime_ms: 120_000, ..Head::with_flow(flow) };
        assert_eq!(hand_in(&mut controller, Instant::ZERO, Event::SetHead(&head)), None);
        controller
    }

    #[test]
    fn container_and_head_are_not_set_while_a_run_draws_from_them() {
        let container = Container {
            capacity: Volume::from_ml(5000),
            low: Volume::from_ml(500),
            heel: Volume::from_ml(50),
            debounce_ms: 400,
        };
        let mut controller = with_head();
        let mut at = Instant::ZERO.plus(Duration::from_h(1));
        let level = Volume::from_ml(4000);
        let before = Event::Container(&container, Volume::from_ml(3000));
        assert_eq!(hand_in(&mut controller, at, before), None);
        assert_eq!(hand_in(&mut controller, at, Event::Prime(Volume::from_ml(60))), None);
        assert!(controller.pump_is_on());
        let head = controller.book().head.unwrap();
        for _ in 0..2 {
            let told = [
                hand_in(&mut controller, at, Event::Container(&container, level)),
                hand_in(&mut controller, at, Event::Refill(level)),
                hand_in(&mut controller, at, Event::SetHead(&head)),
            ];
            assert_eq!(told, [Some(Refusal::Busy); 3]);
            at = at.plus(Duration::from_s(59));
        }
        at = at.plus(Duration::from_s(2));
        hand_in(&mut controller, at, Event::Wake);
        assert_eq!(hand_in(&mut controller, at, Event::Container(&container, level)), None);
        assert_eq!(hand_in(&mut controller, at, Event::SetHead(&head)), None);
        assert_eq!(controller.book().account(), level);
    }

    #[cfg(feature = "panel")]
    #[test]
    fn a_prime_of_more_than_the_longest_is_cut_and_one_of_less_is_not() {
        for (ml, is_cut) in [(119, false), (120, false), (121, true), (60, false)] {
            let mut controller = with_head();
            let mut at = Instant::ZERO.plus(Duration::from_h(1));
            assert_eq!(hand_in(&mut controller, at, Event::Prime(Volume::from_ml(ml))), None);
            at = at.plus(Duration::from_s(120));
            hand_in(&mut controller, at, Event::Wake);
            assert!(!controller.pump_is_on() && controller.service_run().is_none());
            assert_eq!(controller.prime_was_cut(), is_cut, "{ml} ml");
        }
    }

    #[test]
    fn d9_the_clock_can_be_set_after_the_last_number_of_an_epoch() {
        let mut controller = started(Book { epoch: u16::MAX - 2, ..Book::empty() });
        let mut epoch_after = |event| {
            assert_eq!(hand_in(&mut controller, Instant::ZERO, event), None);
            controller.book().epoch
        };
        let noon = Local::new(Date::from_ymd(2026, 3, 2).unwrap(), Duration::from_h(12));
        // a zone of a clock that is not set opens none
        assert_eq!(epoch_after(Event::SetZone(&Zone::UTC)), u16::MAX - 2);
        assert_eq!(epoch_after(Event::SetClock(noon)), u16::MAX - 1);
        assert_eq!(epoch_after(Event::SetZone(&Zone::UTC)), u16::MAX);
        // 0 is that of a clock that was never set
        assert_eq!(epoch_after(Event::SetClock(noon)), 1);
        assert_eq!(epoch_after(Event::SetZone(&Zone::UTC)), 2);
    }
}
