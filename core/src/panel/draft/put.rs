//! A draft that is put in force: what stands against it at once, and the one event of
//! the controller that it means.

use super::open::{FLOW, HEEL_PER_CENT, NEW_CONTAINER};
use super::{Draft, Kind, Step};
use crate::calibration::{Amount, Measured, Vessel};
use crate::civil::Local;
use crate::config::Head;
use crate::event::Event;
use crate::lock::Pin;
use crate::panel::desk::{Desk, hand_in};
use crate::panel::field::{BLANK, digits_of, to_date};
use crate::panel::preferences::{Language, Preferences, Unit};
use crate::panel::refusal::{Remedy, Told};
use crate::panel::view::View;
use crate::panel::words::Word;
use crate::panel::zones;
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::{Flow, Volume, over};

/// Measuring cylinders by what they hold and what their reading may be off by, in ml.
/// Twice class A of ASTM E1272, Table 1; 500 and 1000 ml as ISO 4788 has them (from
/// memory), which is the wider.
pub(super) const VESSELS: [(u16, u8); 4] = [(100, 1), (250, 2), (500, 5), (1000, 10)];

/// What a reading by mass may be off by: scales that show grams, and what stays in the
/// vessel (common practice, no source).
const MASS_ERROR: Volume = Volume::from_ml(1);

/// A head of which nothing is set yet.
static NEW_HEAD: Head = Head::with_flow(match Flow::from_nl_per_min(FLOW.as_nl() as u32) {
    Some(flow) => flow,
    None => Flow::LEAST,
});

fn vessel(at: u32) -> Vessel {
    let (ml, error_ml) = VESSELS.get(at as usize).copied().unwrap_or((0, 0));
    Vessel {
        capacity: Volume::from_ml(u64::from(ml)),
        reading_error: Volume::from_ml(u64::from(error_ml)),
    }
}

impl Draft {
    /// The preferences that a draft of the place or of the tube set stands for.
    pub(in crate::panel) fn preferences(&self) -> Preferences {
        let before = self.kept.preferences;
        match self.kind {
            Kind::Place => Preferences {
                language: Language::at(self.get(Step::Language)),
                unit: Unit::at(self.get(Step::Unit)),
                twelve_hours: self.get(Step::ClockForm) == 1,
                ..before
            },
            Kind::Tube => Preferences {
                tube_dm: self.get(Step::Length) as u16,
                bore: self.get(Step::Bore) as u8,
                ..before
            },
            _ => before,
        }
    }

    /// What cannot be asked at all, told without asking.
    pub(in crate::panel) fn problem<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<Told> {
        let book = view.controller.book();
        let (word, stands, remedy) = match self.kind {
            Kind::Reading => {
                let step = self.measured_as();
                (Word::NoNumber, self.get(step) == BLANK, Remedy::Ask(step))
            }
            Kind::NewPin => {
                let differ = self.get(Step::Pin) != self.get(Step::PinAgain);
                let asks = self.get(Step::PinWanted) == 0;
                (Word::PinsDiffer, asks && differ, Remedy::Ask(Step::Pin))
            }
            Kind::Lock => (Word::NoPin, !book.lock.is_set(), Remedy::Back),
            Kind::Product | Kind::Refill => {
                let (step, full) = if self.kind == Kind::Product {
                    (Step::Level, self.get(Step::Capacity))
                } else {
                    (
                        Step::Refilled,
                        self.shown(Step::Refilled, self.in_force(Step::Refilled, book)),
                    )
                };
                // without an account there is no level
                let is_over = full > 0 && self.get(step) > full;
                (Word::OverFull, is_over, Remedy::Take(step, full))
            }
            _ => return None,
        };
        stands.then(|| Told::because(word, remedy))
    }

    /// Whether it is the panel's own matter: no account is wanted, and one that is kept
    /// goes on; the same zone, since another one is a setting of the clock.
    pub(in crate::panel) fn is_own<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> bool {
        match self.kind {
            Kind::Place => {
                self.get(Step::Zone) as usize == zones::index_of(&view.controller.book().zone)
            }
            Kind::Product => self.get(Step::Capacity) == 0,
            _ => false,
        }
    }

    /// Asks the controller for it; why it is not taken.
    pub(in crate::panel) fn hand_in<const N: usize, const H: usize>(
        &self,
        now: Instant,
        desk: &mut impl Desk<N, H>,
    ) -> Option<Refusal> {
        let view = &View { controller: desk.controller(), recent: desk.recent(), now };
        let book = view.controller.book();
        let (zone, mut head, mut container, into, measured);
        let event = match self.kind {
            Kind::Place => {
                zone = zones::zone_of(self.get(Step::Zone) as usize);
                Event::SetZone(zone.as_ref()?)
            }
            Kind::Clock => {
                let time = Duration::from_min(u64::from(self.get(Step::Time)));
                Event::SetClock(Local::new(to_date(self.get(Step::Date)), time))
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
                container = *book.stock.container().unwrap_or(&NEW_CONTAINER);
                let capacity = self.taken(Step::Capacity, book);
                if capacity != container.capacity {
                    let per_cent = over(capacity.as_nl(), 100);
                    container.heel = Volume::from_nl(per_cent.wrapping_mul(HEEL_PER_CENT));
                }
                container.capacity = capacity;
                container.low = self.taken(Step::Contact, book);
                Event::Container(&container, self.taken(Step::Level, book).min(capacity))
            }
            Kind::Refill => {
                let full = book.stock.container.capacity;
                Event::Refill(self.taken(Step::Refilled, book).min(full))
            }
            Kind::NewPack => Event::PackChanged,
            Kind::Prime => Event::Prime(self.volume(Step::MostPrime)),
            Kind::Calibrate => match self.get(Step::RunMs) {
                0 => {
                    into = vessel(self.get(Step::Vessel));
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
                if let Err(refusal) = self.enter_in(&mut timetable, view) {
                    return Some(refusal);
                }
                return hand_in(desk, Event::Timetable(&timetable));
            }
            Kind::NewPin => match self.get(Step::PinWanted) {
                0 => Event::SetPin(Some(pin(self.get(Step::Pin))?)),
                _ => Event::SetPin(None),
            },
            Kind::Lock => Event::Lock,
            Kind::RunAgain => Event::RunAgain(self.id),
            _ => Event::Acknowledge,
        };
        hand_in(desk, event)
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
            let mass_mg = self.get(step).wrapping_mul(100);
            (Amount::Water { mass_mg, tenths_of_degree }, MASS_ERROR)
        } else {
            let of_vessel = vessel(u32::from(self.kept.vessel)).reading_error;
            (Amount::Volume(self.volume(step)), of_vessel)
        };
        Measured { amount, reading_error, as_found: self.get(Step::MeantAs) == 1 }
    }
}

/// The PIN that was entered.
pub(in crate::panel) fn pin(value: u32) -> Option<Pin> {
    let (digits, len) = digits_of(value);
    Pin::from_digits(digits.get(..len)?)
}
