//! Controller and ledger joined: the few lines that keep the contract of
//! [`Controller::step`], the same in firmware and simulator.

use core::borrow::BorrowMut;

use embedded_storage::nor_flash::NorFlash;

use crate::book::Book;
use crate::controller::{Controller, Start};
use crate::effect::Effect;
use crate::event::Event;
use crate::ledger::{FormatError, Geometry, Ledger, OpenError, RollError};
use crate::notice::notice;
#[cfg(any(feature = "defmt", feature = "log"))]
use crate::record::Record;
use crate::record::{Alarm, Reset};
use crate::recovery;
use crate::time::{Duration, Instant};
use crate::timers::Reason;
use crate::timetable::{Refusal, Timetable};

/// What the device acts on.
pub trait Outputs {
    /// Turn the pump on, and arm the one-shot that turns it off after this
    /// length whatever happens (D4).
    ///
    /// A pump that does not go on is handed in as [`Event::MotorFault`] right after this
    /// call, at [`Device::now`] and before anything sleeps: a run that its end comes to
    /// counts as whole.
    fn pump_on(&mut self, length: Duration);
    /// Turn the pump off.
    fn pump_off(&mut self);
    /// An operator's request was refused.
    fn refused(&mut self, refusal: &Refusal);
    /// An alarm came or went.
    fn alarm(&mut self, alarm: Alarm, on: bool);
    /// Read the battery pack ten times at rest and ten times under a test load, and
    /// hand in each reading after this call. On mains it is never asked for.
    fn test_pack(&mut self) {}
    /// Read the battery pack once while the pump is on, and hand it in.
    fn read_pack(&mut self) {}
    /// Light the display, or let it go dark.
    fn light(&mut self, _on: bool) {}
    /// What time it is after the ledger was written. On a device whose memory
    /// takes time this reads the clock again; the default is that it takes none.
    fn now(&mut self, before: Instant) -> Instant {
        before
    }
}

/// Why a device cannot start from its memory.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StartError<E> {
    /// The ledger does not open.
    Open(OpenError<E>),
    /// A first ledger could not be made.
    Format(FormatError<E>),
    /// A sector is too small to hold the whole state beside some records.
    SectorTooSmall {
        /// Slots that a sector has.
        slots: u16,
        /// Slots that it must have at least.
        least: usize,
    },
}

/// A pump controller with its memory. `C` is the controller itself, or a reference
/// to where it lies: a firmware keeps it in a place of its own, and the device is
/// then small enough to be moved about.
#[derive(Clone, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Device<F, const N: usize = 32, const H: usize = 64, C = Controller<N, H>> {
    controller: C,
    ledger: Ledger<F>,
}

impl<F: NorFlash, const N: usize, const H: usize> Device<F, N, H> {
    /// Starts from what the memory holds; a fresh part is given a first ledger.
    ///
    /// `count` is what the clock chip counts, `None` where it lost its feed: the
    /// device's time then goes on from the last instant in the ledger, and
    /// [`Device::now`] is what the chip is to be set to. The same holds of a count that
    /// cannot be that of the ledger's clock: more than a minute before that instant, or
    /// after [`Instant::LAST`]. The flash comes back with an error.
    pub fn start(
        flash: F,
        geometry: Geometry,
        count: Option<Instant>,
        reset: Reset,
    ) -> Result<Self, (F, StartError<F::Error>)> {
        Self::start_in(Controller::blank(), flash, geometry, count, reset)
    }
}

impl<F, const N: usize, const H: usize, C> Device<F, N, H, C>
where
    F: NorFlash,
    C: BorrowMut<Controller<N, H>>,
{
    /// Slots that a sector must have: for the largest snapshot with its header
    /// and seal, for the largest adoption, and eight for what goes twice and for slots
    /// that do not take.
    pub const LEAST_SLOTS: usize = Book::<N, H>::SNAPSHOT_MOST + N + 2 + 2 + 8;

    /// As [`Device::start`], in a controller that is [`Controller::blank`].
    ///
    /// On a device a call, so that what it needs of the stack is given back.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn start_in(
        mut controller: C,
        flash: F,
        geometry: Geometry,
        count: Option<Instant>,
        reset: Reset,
    ) -> Result<Self, (F, StartError<F::Error>)> {
        let (slots, least) = (geometry.slots(), Self::LEAST_SLOTS);
        if usize::from(slots) < least {
            return Err((flash, StartError::SectorTooSmall { slots, least }));
        }
        let blank = controller.borrow_mut();
        let mut ledger = match Ledger::open(flash, geometry) {
            Ok(ledger) => ledger,
            Err((flash, OpenError::Blank | OpenError::Unfinished)) => {
                Ledger::format(flash, geometry, blank.book().snapshot())
                    .map_err(|(flash, error)| (flash, StartError::Format(error)))?
            }
            Err((flash, error)) => return Err((flash, StartError::Open(error))),
        };
        let (unreadable_tail, unreadable, run_lost) =
            recovery::recover_into(blank.book_mut(), &mut ledger);
        let now = count.unwrap_or(blank.book().at);
        let feed_kept = count.is_some();
        blank.begin_with(Start { now, feed_kept, reset, unreadable_tail, unreadable, run_lost });
        Ok(Self { controller, ledger })
    }

    /// The device's time as the controller last knew it.
    pub fn now(&self) -> Instant {
        self.controller().now()
    }

    /// The controller.
    pub fn controller(&self) -> &Controller<N, H> {
        self.controller.borrow()
    }

    /// The ledger.
    pub const fn ledger(&self) -> &Ledger<F> {
        &self.ledger
    }

    /// The ledger, to read from it.
    pub const fn ledger_mut(&mut self) -> &mut Ledger<F> {
        &mut self.ledger
    }

    /// The memory, as it stands.
    pub fn into_flash(self) -> F {
        self.ledger.into_flash()
    }

    /// When to call again, and why.
    pub fn next_wake(&self) -> Option<(Instant, Reason)> {
        self.controller().next_wake()
    }

    /// Hands in an event and does everything that follows from it, until the
    /// controller has nothing more to do.
    ///
    /// What an operator asks for comes after what was due by then: a call that
    /// comes late, and brings a setting with it, ends what was slept through
    /// before it changes anything (D9).
    pub fn handle(&mut self, now: Instant, event: Event<'_, N>, out: &mut impl Outputs) {
        if event.is_request() {
            self.controller.borrow_mut().try_ledger_again();
            self.follow(now, Event::Wake, out);
        }
        self.follow(now, event, out);
    }

    fn follow(&mut self, now: Instant, event: Event<'_, N>, out: &mut impl Outputs) {
        let asked = match event {
            Event::Timetable(timetable) => Some(timetable),
            _ => None,
        };
        let mut now = now;
        let mut effects = self.controller.borrow_mut().step(now, event);
        // every turn has written a record or ends the loop; a call causes a
        // bounded number of records
        loop {
            let mut answer = None;
            for effect in effects.iter() {
                match effect {
                    Effect::PumpOn(length) => out.pump_on(length),
                    Effect::PumpOff => out.pump_off(),
                    Effect::Refused(refusal) => out.refused(&refusal),
                    Effect::TestPack => out.test_pack(),
                    Effect::ReadPack => out.read_pack(),
                    Effect::Light(on) => out.light(on),
                    Effect::Alarm(alarm, on) => {
                        notice!(warn, "alarm {:?}: {:?}", alarm, on);
                        out.alarm(alarm, on);
                    }
                    Effect::Append => {
                        let written = self.append();
                        answer = Some(if written { Event::Appended } else { Event::AppendFailed });
                    }
                    Effect::Adopt => {
                        answer = Some(match asked {
                            Some(timetable) if self.adopt(timetable) => Event::Adopted(timetable),
                            _ => Event::AppendFailed,
                        });
                    }
                }
            }
            let Some(answer) = answer else { return };
            now = out.now(now);
            effects = self.controller.borrow_mut().step(now, answer);
        }
    }

    /// Puts a new sector in force that begins with the state as it is.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn roll(&mut self) -> Result<(), RollError<F::Error>> {
        self.ledger.roll(self.controller.borrow().book().snapshot())
    }

    fn append(&mut self) -> bool {
        let controller = self.controller.borrow();
        let (Some(&payload), twice) = (controller.pending(), controller.goes_twice()) else {
            return false;
        };
        if self.ledger.needs_roll() && self.roll().is_err() {
            return false;
        }
        // a sector that is full, or takes nothing any more, is left for the next one, whether
        // the driver says so or not
        let written = self.ledger.append_in(&payload, twice).is_ok()
            || self.roll().is_ok() && self.ledger.append_in(&payload, twice).is_ok();
        #[cfg(any(feature = "defmt", feature = "log"))]
        if written && let Some(Record::Outcome(outcome)) = Record::decode(&payload) {
            notice!(info, "{:?}", outcome);
        }
        written
    }

    /// Writes an adoption's records, all of them in one sector: they count only
    /// together, and are read together at a restart.
    fn adopt(&mut self, timetable: &Timetable<N>) -> bool {
        // the last of them goes twice
        let count = self.controller.borrow().adoption(timetable).count().saturating_add(1);
        // once where there is room, and once more from the top of a new sector
        // where slots that did not take used the room up
        for _ in 0..2 {
            let room = !self.ledger.needs_roll() && usize::from(self.ledger.free()) >= count;
            if !room && self.roll().is_err() {
                return false;
            }
            let Self { controller, ledger } = self;
            let mut records = controller.borrow().adoption(timetable);
            if records.all(|record| ledger.append_in(&record.encode(), record.goes_twice()).is_ok())
            {
                return true;
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::civil::Date;
    use crate::entry::{ClosedDates, Recurrence, plain};
    use crate::units::Volume;

    use embedded_storage::nor_flash::{ErrorType, NorFlashErrorKind, ReadNorFlash};

    struct Nothing;

    /// A flash of no size.
    impl ErrorType for Nothing {
        type Error = NorFlashErrorKind;
    }

    impl ReadNorFlash for Nothing {
        const READ_SIZE: usize = 1;
        fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), Self::Error> {
            Err(NorFlashErrorKind::OutOfBounds)
        }
        fn capacity(&self) -> usize {
            0
        }
    }

    impl NorFlash for Nothing {
        const WRITE_SIZE: usize = 1;
        const ERASE_SIZE: usize = 1;
        fn erase(&mut self, _: u32, _: u32) -> Result<(), Self::Error> {
            Err(NorFlashErrorKind::OutOfBounds)
        }
        fn write(&mut self, _: u32, _: &[u8]) -> Result<(), Self::Error> {
            Err(NorFlashErrorKind::OutOfBounds)
        }
    }

    impl Outputs for Nothing {
        fn pump_on(&mut self, _: Duration) {}
        fn pump_off(&mut self) {}
        fn refused(&mut self, _: &Refusal) {}
        fn alarm(&mut self, _: Alarm, _: bool) {}
    }

    #[test]
    fn a_ledger_takes_no_time_unless_the_board_says_so() {
        let before = Instant::from_ms(7);
        assert_eq!(Nothing.now(before), before);
    }

    #[test]
    fn m1_a_sector_has_room_for_the_largest_snapshot_and_the_largest_adoption() {
        const N: usize = 8;
        let reset = Reset::PowerOn;
        let now = Instant::ZERO;
        let start = Start {
            now,
            feed_kept: true,
            reset,
            unreadable_tail: 0,
            run_lost: false,
            unreadable: 0,
        };
        let controller = Controller::<N, 16>::start(Book::empty(), start);
        let (mut timetable, day) = (Timetable::EMPTY, Date::MIN);
        for id in 1..=N as u16 {
            let from = Instant::from_ms(i64::from(id) * 3_600_000);
            let daily = Recurrence::Interval { every_ms: 86_400_000, from };
            timetable.put(plain(id, daily, Volume::from_ml(1))).unwrap();
        }
        assert!(timetable.closed.push(ClosedDates { first: day, last: day }));
        // every line, the closed dates, and the record that makes them count
        let adoption = controller.adoption(&timetable).count();
        assert_eq!(adoption, N + 2);
        // a header and a seal as well, the adoption's second slot, and slots that do not take
        let least = Device::<Nothing, N, 16>::LEAST_SLOTS;
        assert_eq!(least, Book::<N, 16>::SNAPSHOT_MOST + 2 + adoption + 8);
    }
}
