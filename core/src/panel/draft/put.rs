//! A draft that is put in force: what stands against it at once, and the one event of
//! the controller that it means.

use super::open::{FLOW, HEEL_IS_OF, container_of};
use super::{Draft, Kind, Step, Values};
use crate::book::Book;
use crate::calibration::{Amount, Measured, Vessel};
use crate::civil::{DAY_MIN, Local};
use crate::config::Head;
use crate::event::Event;
use crate::panel::desk::{Desk, hand_in};
use crate::panel::field::{BLANK, pin, to_date};
use crate::panel::figures::{MINUTE_MS, parted};
use crate::panel::preferences::{Language, Preferences, Unit};
use crate::panel::refusal::{Remedy, Told};
use crate::panel::words::Word;
use crate::panel::zones;
use crate::time::Instant;
use crate::timetable::Refusal;
use crate::units::{Flow, Volume, over};

/// Measuring cylinders by what they hold, in ml. Their reading may be off by a hundredth
/// of that, in whole millilitres: twice class A of ASTM E1272, Table 1; 500 and 1000 ml as
/// ISO 4788 has them (from memory), which is the wider.
static VESSELS: [u16; 4] = [100, 250, 500, 1000];

/// What a reading by mass may be off by: scales that show grams, and what stays in the
/// vessel (common practice, no source).
const MASS_ERROR: Volume = Volume::from_ml(1);

/// A head of which nothing is set yet.
static NEW_HEAD: Head = Head::with_flow(match Flow::from_nl_per_min(FLOW.as_nl() as u32) {
    Some(flow) => flow,
    None => Flow::LEAST,
});

/// What a measuring cylinder holds, in ml.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn vessel_ml(at: u32) -> u32 {
    VESSELS.get(at as usize).map_or(0, |&ml| u32::from(ml))
}

/// What its reading may be off by.
fn error_of(ml: u32) -> Volume {
    Volume::from_ml(u64::from(parted(ml, 100).0))
}

/// What a draft of the place or of the tube set says of what somebody likes.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn likes_of(kind: Kind, values: &Values, likes: &mut Preferences) {
    if kind == Kind::Place {
        likes.language = Language::at(values.get(Step::Language));
        likes.unit = Unit::at(values.get(Step::Unit));
        likes.twelve_hours = values.get(Step::ClockForm) == 1;
    } else if kind == Kind::Tube {
        likes.tube_dm = values.get(Step::Length) as u16;
        likes.bore = values.get(Step::Bore) as u8;
    }
}

impl Draft {
    /// Takes what somebody likes over into what the panel keeps.
    pub(in crate::panel) fn keep_likes(&mut self) {
        likes_of(self.kind, &self.values, &mut self.kept.preferences);
    }

    /// What somebody likes, as far as a draft of the place or of the tube set says it.
    pub(super) fn tell_likes(&self, likes: &mut Preferences) {
        likes_of(self.kind, &self.values, likes);
    }

    /// Whether it cannot be asked at all; why is told without asking.
    pub(in crate::panel) fn problem<const N: usize, const H: usize>(
        &self,
        book: &Book<N, H>,
        told: &mut Told,
    ) -> bool {
        let measured = self.measured_as();
        let (word, remedy, step, value) = match self.kind {
            Kind::Reading if self.value_of(measured) == BLANK => {
                (Word::NoNumber, Remedy::Ask, measured, 0)
            }
            Kind::NewPin
                if self.get(Step::PinWanted) == 0
                    && self.get(Step::Pin) != self.get(Step::PinAgain) =>
            {
                (Word::PinsDiffer, Remedy::Ask, Step::Pin, 0)
            }
            // nobody has said how long a tube of no length is
            Kind::Tube if self.get(Step::Length) == 0 => {
                (Word::OutOfRange, Remedy::Ask, Step::Length, 0)
            }
            // an account that is kept goes on
            Kind::Product if self.get(Step::Capacity) == 0 && book.stock.container().is_some() => {
                (Word::NoAccount, Remedy::Ask, Step::Capacity, 0)
            }
            Kind::Lock if !book.lock.is_set() => (Word::NoPin, Remedy::Back, Step::Pin, 0),
            // both keep what it holds and what is in it at the same places; without an
            // account there is no level
            Kind::Product | Kind::Refill
                if self.get(Step::Capacity) > 0
                    && self.get(Step::Level) > self.get(Step::Capacity) =>
            {
                (Word::OverFull, Remedy::Take, Step::Level, self.get(Step::Capacity))
            }
            _ => return false,
        };
        *told = Told::because(word, remedy, step, value);
        true
    }

    /// Whether it is the panel's own matter: no account is wanted, where none is kept; the
    /// same zone, since another one is a setting of the clock; a clock that was looked at.
    pub(in crate::panel) fn is_own<const N: usize, const H: usize>(
        &self,
        book: &Book<N, H>,
    ) -> bool {
        match self.kind {
            Kind::Place => self.get(Step::Zone) as usize == zones::index_of(&book.zone),
            Kind::Product => self.get(Step::Capacity) == 0,
            Kind::Clock => self.kept.given == 0 && book.clock.is_some(),
            _ => false,
        }
    }

    /// Asks the controller for it; why it is not taken.
    pub(in crate::panel) fn hand_in<const N: usize, const H: usize>(
        &self,
        now: Instant,
        desk: &mut impl Desk<N, H>,
    ) -> Option<Refusal> {
        let book = desk.controller().book();
        let (zone, mut head, mut container, into, measured);
        let event = match self.kind {
            Kind::Place => {
                zone = zones::zone_of(self.get(Step::Zone) as usize);
                Event::SetZone(zone.as_ref()?)
            }
            Kind::Clock => {
                let date = to_date(self.get(Step::Date)).days() as u32;
                let minute = date.wrapping_mul(DAY_MIN).wrapping_add(self.get(Step::Time));
                Event::SetClock(Local::from_ms(i64::from(minute) * i64::from(MINUTE_MS)))
            }
            Kind::Head => {
                let nl = self.taken(Step::Flow, book).as_nl();
                let Some(flow) = Flow::from_nl_per_min(nl as u32) else {
                    return Some(Refusal::OutOfRange);
                };
                head = *book.head.as_ref().unwrap_or(&NEW_HEAD);
                head.flow = flow;
                head.rollers = self.get(Step::Rollers) as u8;
                head.roller_pass = self.taken(Step::Pass, book);
                Event::SetHead(&head)
            }
            Kind::Tube => Event::TubeChanged,
            Kind::Product => {
                container = *container_of(book);
                let capacity = self.taken(Step::Capacity, book);
                if !self.is_left(Step::Capacity) {
                    container.heel = Volume::from_nl(over(capacity.as_nl(), HEEL_IS_OF));
                }
                container.capacity = capacity;
                container.low = self.taken(Step::Contact, book);
                Event::Container(&container, self.level(Step::Level, book, capacity))
            }
            Kind::Refill => {
                let full = book.stock.container.capacity;
                Event::Refill(self.level(Step::Refilled, book, full))
            }
            Kind::NewPack => Event::PackChanged,
            Kind::Prime => Event::Prime(self.taken(Step::MostPrime, book)),
            Kind::Calibrate => match self.get(Step::RunMs) {
                0 => {
                    let ml = vessel_ml(self.get(Step::Vessel));
                    let capacity = Volume::from_ml(u64::from(ml));
                    into = Vessel { capacity, reading_error: error_of(ml) };
                    Event::CalibrateInto(&into)
                }
                run_ms => Event::Calibrate { run_ms },
            },
            Kind::Reading => {
                measured = self.measured();
                Event::Measured(&measured)
            }
            Kind::NewEntry | Kind::Entry => {
                let mut timetable = book.timetable;
                if !self.enter_in(&mut timetable, book, now) {
                    return Some(match self.kind {
                        Kind::NewEntry => Refusal::TooManyEntries { most: N },
                        _ => Refusal::NoSuchEntry { id: self.id },
                    });
                }
                return hand_in(desk, Event::Timetable(&timetable));
            }
            Kind::NewPin => match self.get(Step::PinWanted) {
                0 => Event::SetPin(Some(pin(self.get(Step::Pin)))),
                _ => Event::SetPin(None),
            },
            Kind::Lock => Event::Lock,
            Kind::RunAgain => Event::RunAgain(self.id),
            Kind::StopDose => Event::StopDose(self.id),
            _ => Event::Acknowledge,
        };
        hand_in(desk, event)
    }

    /// What is in a container that holds so much.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn level<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
        capacity: Volume,
    ) -> Volume {
        self.taken(step, book).min(capacity)
    }

    /// The question that asks what came out.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn measured_as(&self) -> Step {
        if self.get(Step::Method) == 1 { Step::Mass } else { Step::Amount }
    }

    fn measured(&self) -> Measured {
        let step = self.measured_as();
        let (amount, reading_error) = if step == Step::Mass {
            let tenths_of_degree = self.get(Step::Temperature) as u16;
            let mass_mg = self.get(Step::Mass).wrapping_mul(100);
            (Amount::Water { mass_mg, tenths_of_degree }, MASS_ERROR)
        } else {
            let of_vessel = error_of(vessel_ml(u32::from(self.kept.vessel)));
            (Amount::Volume(self.volume(step)), of_vessel)
        };
        Measured { amount, reading_error, as_found: self.get(Step::MeantAs) == 1 }
    }
}
