//! Controller and ledger joined: the few lines that keep the contract of
//! [`Controller::step`], the same in firmware and simulator.

use embedded_storage::nor_flash::NorFlash;

use crate::book::Book;
use crate::controller::{Controller, Start};
use crate::effect::Effect;
use crate::event::Event;
use crate::ledger::{AppendError, FormatError, Geometry, Ledger, OpenError, RollError};
use crate::notice::notice;
use crate::record::{Alarm, Record, Reset};
use crate::recovery;
use crate::time::{Duration, Instant};
use crate::timers::Reason;
use crate::timetable::{Refusal, Timetable};

/// What the device acts on.
pub trait Outputs {
    /// Turn the pump on, and arm the one-shot that turns it off after this
    /// length whatever happens (D4).
    fn pump_on(&mut self, length: Duration);
    /// Turn the pump off.
    fn pump_off(&mut self);
    /// An operator's request was refused.
    fn refused(&mut self, refusal: &Refusal);
    /// An alarm came or went.
    fn alarm(&mut self, alarm: Alarm, on: bool);
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

/// A pump controller with its memory.
#[derive(Clone, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Device<F, const N: usize = 32, const H: usize = 64> {
    controller: Controller<N, H>,
    ledger: Ledger<F>,
}

impl<F: NorFlash, const N: usize, const H: usize> Device<F, N, H> {
    /// Slots that a sector must have: for the largest snapshot with its header
    /// and seal, for the largest adoption, and for slots that do not take.
    pub const LEAST_SLOTS: usize = Book::<N, H>::SNAPSHOT_MOST + N + 2 + 2 + 8;

    /// Starts from what the memory holds; a fresh part is given a first ledger.
    ///
    /// `count` is what the clock chip counts, `None` where it lost its feed: the
    /// device's time then goes on from the last instant in the ledger, and
    /// [`Device::now`] is what the chip is to be set to. The flash comes
    /// back with an error.
    pub fn start(
        flash: F,
        geometry: Geometry,
        count: Option<Instant>,
        reset: Reset,
    ) -> Result<Self, (F, StartError<F::Error>)> {
        let (slots, least) = (geometry.slots(), Self::LEAST_SLOTS);
        if usize::from(slots) < least {
            return Err((flash, StartError::SectorTooSmall { slots, least }));
        }
        let controller = Controller::with_book(Book::EMPTY);
        let ledger = match Ledger::open(flash, geometry) {
            Ok(ledger) => ledger,
            Err((flash, OpenError::Blank | OpenError::Unfinished)) => {
                let snapshot = controller.book().snapshot().map(|record| record.encode());
                Ledger::format(flash, geometry, snapshot)
                    .map_err(|(flash, error)| (flash, StartError::Format(error)))?
            }
            Err((flash, error)) => return Err((flash, StartError::Open(error))),
        };
        let mut device = Self { controller, ledger };
        let Self { controller, ledger } = &mut device;
        let (unreadable_tail, unreadable) = recovery::recover_into(controller.book_mut(), ledger);
        controller.begin_with(Start {
            now: count.unwrap_or(controller.book().at),
            feed_kept: count.is_some(),
            reset,
            unreadable_tail,
            unreadable,
        });
        Ok(device)
    }

    /// The device's time as the controller last knew it.
    pub const fn now(&self) -> Instant {
        self.controller.now()
    }

    /// The controller.
    pub const fn controller(&self) -> &Controller<N, H> {
        &self.controller
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
        self.controller.next_wake()
    }

    /// Hands in an event and does everything that follows from it, until the
    /// controller has nothing more to do.
    ///
    /// What an operator asks for comes after what was due by then: a call that
    /// comes late, and brings a setting with it, ends what was slept through
    /// before it changes anything (D9).
    pub fn handle(&mut self, now: Instant, event: Event<'_, N>, out: &mut impl Outputs) {
        if event.is_request() {
            self.controller.try_ledger_again();
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
        let mut effects = self.controller.step(now, event);
        // every turn has written a record or ends the loop; a call causes a
        // bounded number of records
        loop {
            let mut answer = None;
            for effect in effects.iter() {
                match effect {
                    Effect::PumpOn(length) => out.pump_on(length),
                    Effect::PumpOff => out.pump_off(),
                    Effect::Refused(refusal) => out.refused(&refusal),
                    Effect::Alarm(alarm, on) => {
                        notice!(warn, "alarm {:?}: {:?}", alarm, on);
                        out.alarm(alarm, on);
                    }
                    Effect::Append(record) => {
                        let written = self.append(&record);
                        if let (true, Record::Outcome(outcome)) = (written, &record) {
                            notice!(info, "{:?}", outcome);
                        }
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
            effects = self.controller.step(now, answer);
        }
    }

    /// Puts a new sector in force that begins with the state as it is.
    fn roll(&mut self) -> Result<(), RollError<F::Error>> {
        let snapshot = self.controller.book().snapshot().map(|record| record.encode());
        self.ledger.roll(snapshot)
    }

    fn append(&mut self, record: &Record) -> bool {
        if self.ledger.needs_roll() && self.roll().is_err() {
            return false;
        }
        let payload = record.encode();
        match self.ledger.append(&payload) {
            Ok(_) => true,
            Err(AppendError::Full | AppendError::Worn) => {
                self.roll().is_ok() && self.ledger.append(&payload).is_ok()
            }
            Err(_) => false,
        }
    }

    /// Writes an adoption's records, all of them in one sector: they count only
    /// together, and are read together at a restart.
    fn adopt(&mut self, timetable: &Timetable<N>) -> bool {
        let records = self.controller.adoption(timetable);
        let count = records.clone().count();
        // once where there is room, and once more from the top of a new sector
        // where slots that did not take used the room up
        for _ in 0..2 {
            let room = !self.ledger.needs_roll() && usize::from(self.ledger.free()) >= count;
            if !room {
                let snapshot = self.controller.book().snapshot().map(|record| record.encode());
                if self.ledger.roll(snapshot).is_err() {
                    return false;
                }
            }
            let mut failed = None;
            for record in records.clone() {
                if let Err(error) = self.ledger.append(&record.encode()) {
                    failed = Some(error);
                    break;
                }
            }
            match failed {
                None => return true,
                Some(AppendError::Full | AppendError::Worn) => {}
                Some(_) => return false,
            }
        }
        false
    }
}
