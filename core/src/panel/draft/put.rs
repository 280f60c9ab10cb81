//! What a draft asks for when it is put in force.

use super::open::{flow_decimals, much_digits, of_much};
use super::{Draft, Kind, Step};
use crate::calibration::{Amount, Measured, Vessel};
use crate::civil::{Date, Local};
use crate::config::{Container, Head};
use crate::entry::EntryId;
use crate::lock::Pin;
use crate::panel::Panel;
use crate::panel::field::{BLANK, digits_of};
use crate::panel::preferences::{Language, Preferences, Unit};
use crate::panel::refusal::Problem;
use crate::panel::request::Request;
use crate::panel::show::volume_of;
use crate::panel::view::View;
use crate::panel::zones::PLACES;
use crate::time::Duration;
use crate::timetable::Refusal;
use crate::units::{Flow, Volume};

/// What putting a draft in force comes to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::panel) enum Put {
    /// The controller is asked.
    Ask(Request),
    /// It is the panel's own matter.
    Own,
}

/// Measuring cylinders: what they hold and what their reading may be off by. Twice
/// class A of ASTM E1272, Table 1; 500 and 1000 ml as ISO 4788 has them (from memory),
/// which is the wider.
pub(in crate::panel) const VESSELS: [Vessel; 4] =
    [vessel(100, 1), vessel(250, 2), vessel(500, 5), vessel(1000, 10)];

const fn vessel(ml: u64, error_ml: u64) -> Vessel {
    Vessel { capacity: Volume::from_ml(ml), reading_error: Volume::from_ml(error_ml) }
}

/// What a reading by mass may be off by: scales that show grams, and what stays in the
/// vessel (common practice, no source).
const MASS_ERROR: Volume = Volume::from_ml(1);

/// What is left at the bottom of a container, in per cent (common practice, no source).
const HEEL_PER_CENT: u64 = 4;

impl Draft {
    /// The preferences that a draft of the place stands for.
    pub(in crate::panel) fn preferences(&self, before: Preferences) -> Preferences {
        if self.kind != Kind::Place {
            return before;
        }
        Preferences {
            language: Language::at(self.get(Step::Language)),
            unit: Unit::at(self.get(Step::Unit)),
            twelve_hours: self.get(Step::ClockForm) == 1,
        }
    }

    /// What is asked for. What cannot be asked at all is told without asking.
    pub(in crate::panel) fn put<const N: usize, const H: usize>(
        &self,
        panel: &Panel,
        view: &View<'_, N, H>,
    ) -> Result<Put, Problem> {
        let book = view.controller.book();
        let unit = panel.preferences.unit;
        let much = |step| volume_of(self.get(step), much_digits(unit).0, unit, true);
        let out_of_range = Problem::Refused(Refusal::OutOfRange);
        let request = match self.kind {
            Kind::Place => match PLACES.get(self.get(Step::Zone) as usize) {
                // another zone is a setting of the clock: only where it is another
                Some(place) if place.zone != book.zone => Request::SetZone(place.zone),
                _ => return Ok(Put::Own),
            },
            Kind::Clock => {
                let time = Duration::from_min(u64::from(self.get(Step::Time)));
                let date = Date::from_days(self.get(Step::Date) as i32);
                Request::SetClock(Local::new(date, time))
            }
            Kind::Head => {
                let per_min = volume_of(self.get(Step::Flow), flow_decimals(unit), unit, false);
                let nl = u32::try_from(per_min.as_nl()).unwrap_or(0);
                let flow = Flow::from_nl_per_min(nl).ok_or(out_of_range)?;
                let before = book.head.unwrap_or(Head::with_flow(flow));
                Request::SetHead(Head {
                    flow,
                    rollers: self.get(Step::Rollers).min(255) as u8,
                    roller_pass: volume_of(self.get(Step::Pass), 2, Unit::Metric, false),
                    ..before
                })
            }
            Kind::Tube => Request::TubeChanged,
            Kind::Product => {
                if self.get(Step::Capacity) == 0 {
                    // no account is wanted; one that is kept goes on
                    return Ok(Put::Own);
                }
                let before = book.stock.container().copied();
                // what was left as it is shown stays as it was to the last digit
                let keep = |step, was: Option<Volume>| {
                    let same = was.filter(|&was| of_much(was, unit) == self.get(step));
                    same.unwrap_or(much(step))
                };
                let capacity = keep(Step::Capacity, before.map(|b| b.capacity));
                let heel = Volume::from_nl(capacity.as_nl() / 100 * HEEL_PER_CENT);
                let container = Container {
                    capacity,
                    low: keep(Step::Contact, before.map(|b| b.low)),
                    heel: before.filter(|b| b.capacity == capacity).map_or(heel, |b| b.heel),
                    ..before.unwrap_or(Container::NONE)
                };
                Request::Container(container, much(Step::Level).min(capacity))
            }
            Kind::Refill => Request::Refill(much(Step::Level).min(book.stock.container.capacity)),
            Kind::NewPack => Request::PackChanged,
            Kind::Prime => {
                let decimals = u32::from(!matches!(unit, Unit::Metric));
                Request::Prime(volume_of(self.get(Step::MostPrime), decimals, unit, false))
            }
            Kind::Calibrate => {
                let vessel = VESSELS.get(self.get(Step::Vessel) as usize);
                Request::Calibrate(*vessel.ok_or(out_of_range)?)
            }
            Kind::Reading => Request::Measured(self.measured(panel, unit)?),
            Kind::NewEntry => {
                let id = EntryId(book.next_id.max(1));
                Request::Put(self.entry(id, None, unit, view.now))
            }
            Kind::Entry(id) if self.get(Step::State) == 2 => Request::Remove(id),
            Kind::Entry(id) => {
                let before = book.timetable.get(id);
                let gone = Problem::Refused(Refusal::NoSuchEntry { id });
                Request::Put(self.entry(id, Some(before.ok_or(gone)?), unit, view.now))
            }
            Kind::NewPin if self.get(Step::PinWanted) == 1 => Request::SetPin(None),
            Kind::NewPin => {
                if self.get(Step::Pin) != self.get(Step::PinAgain) {
                    return Err(Problem::PinsDiffer);
                }
                Request::SetPin(Some(pin(self.get(Step::Pin)).ok_or(out_of_range)?))
            }
            Kind::Lock => Request::Lock,
            Kind::RunAgain(id) => Request::RunAgain(id),
            Kind::Acknowledge => Request::Acknowledge,
            Kind::WhichEntry | Kind::Fresh | Kind::SetUp => return Ok(Put::Own),
        };
        Ok(Put::Ask(request))
    }

    fn measured(&self, panel: &Panel, unit: Unit) -> Result<Measured, Problem> {
        let by_mass = self.get(Step::Method) == 1;
        let value = self.get(if by_mass { Step::Mass } else { Step::Amount });
        if value == BLANK {
            return Err(Problem::NoNumber);
        }
        let amount = if by_mass {
            Amount::Water {
                mass_mg: value.saturating_mul(100),
                tenths_of_degree: self.get(Step::Temperature).min(9999) as u16,
            }
        } else {
            let decimals = if matches!(unit, Unit::Metric) { 1 } else { 2 };
            Amount::Volume(volume_of(value, decimals, unit, false))
        };
        let of_vessel = VESSELS.get(usize::from(panel.vessel)).map(|vessel| vessel.reading_error);
        let reading_error = if by_mass { MASS_ERROR } else { of_vessel.unwrap_or(MASS_ERROR) };
        Ok(Measured { amount, reading_error, as_found: self.get(Step::MeantAs) == 1 })
    }
}

/// The PIN that was entered.
pub(in crate::panel) fn pin(value: u32) -> Option<Pin> {
    let (digits, len) = digits_of(value);
    Pin::from_digits(digits.get(..len)?)
}
