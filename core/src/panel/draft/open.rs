//! What a draft begins with: what is in force, or the trade's customary figures. What
//! was measured is never filled in beforehand (O2).

use super::entry::WINDOW_MIN;
use super::{Draft, Kind, MOST_STEPS, Step, Values};
use crate::civil::Date;
use crate::config::Container;
use crate::entry::EntryId;
use crate::panel::Kept;
use crate::panel::field::{BLANK, NO_PIN, from_date};
use crate::panel::figures::parts;
use crate::panel::preferences::Preferences;
use crate::panel::view::View;
use crate::panel::zones;
use crate::units::Volume;

/// The flow of a head until it is told, in a minute: a parameter (common practice, no
/// source).
const FLOW: Volume = Volume::from_ml(30);
/// The date that a clock is set from on a device that has none: 2026-01-01.
const FIRST_DATE: Date = Date::from_days(20_454);
/// What a new container is taken for: ten litres, a parameter; of it is left at the
/// bottom what [`HEEL_PER_CENT`] says.
pub(super) const NEW_CONTAINER: Container = Container {
    capacity: Volume::from_ml(10_000),
    heel: Volume::from_ml(100 * HEEL_PER_CENT),
    ..Container::NONE
};
/// What is left at the bottom of a container, in per cent (common practice, no source).
pub(super) const HEEL_PER_CENT: u64 = 4;
impl Draft {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn open<const N: usize, const H: usize>(
        kind: Kind,
        id: EntryId,
        kept: &Kept,
        view: &View<'_, N, H>,
    ) -> Self {
        let Preferences { language, unit, twelve_hours, tube_dm, bore } = kept.preferences;
        let values = Values([0; MOST_STEPS]);
        let mut draft = Self { kind, id, at: 0, wheel: 0, again: false, values, choices: 0, unit };
        let book = view.controller.book();
        match kind {
            Kind::Place => {
                let place = zones::index_of(&book.zone);
                // a zone that is none of the places is a choice of its own
                draft.choices = (zones::COUNT as u8) + u8::from(place == zones::COUNT);
                draft.set(Step::Language, language.index());
                draft.set(Step::Zone, place as u32);
                draft.set(Step::Unit, unit as u32);
                draft.set(Step::ClockForm, u32::from(twelve_hours));
            }
            Kind::Clock => {
                let (date, minute) = view.local().map_or((FIRST_DATE, 0), parts);
                draft.set(Step::Date, from_date(date.max(Date::MIN).min(Date::MAX)));
                draft.set(Step::Time, minute);
            }
            Kind::Head => {
                let flow = view.nominal().unwrap_or(FLOW);
                draft.set_volume(Step::Flow, flow);
                draft.set(Step::Rollers, 3);
                if let Some(head) = &book.head {
                    draft.set(Step::Rollers, u32::from(head.rollers));
                    draft.set_volume(Step::Pass, head.roller_pass);
                }
            }
            Kind::Tube => {
                let is_told = tube_dm > 0;
                draft.set(Step::Length, if is_told { u32::from(tube_dm) } else { 50 });
                draft.set(Step::Bore, if is_told { u32::from(bore) } else { 2 });
            }
            Kind::Product => {
                let container = book.stock.container();
                // a new one comes full
                let level = container.map_or(NEW_CONTAINER.capacity, |_| book.account());
                let container = container.unwrap_or(&NEW_CONTAINER);
                draft.set_volume(Step::Capacity, container.capacity);
                draft.set_volume(Step::Level, level);
                draft.set_volume(Step::Contact, container.low);
            }
            Kind::Refill => {
                draft.set(Step::Capacity, 1);
                draft.set_volume(Step::Level, book.stock.container.capacity);
            }
            Kind::Prime => draft.set_volume(Step::MostPrime, kept.prime()),
            Kind::Calibrate => draft.set(Step::Vessel, u32::from(kept.vessel)),
            Kind::Reading => {
                draft.set(Step::Amount, BLANK);
                draft.set(Step::Mass, BLANK);
                draft.set(Step::Temperature, 200);
            }
            Kind::NewEntry => draft.begin_entry(),
            Kind::Entry => {
                if let Some(entry) = book.timetable.get(id) {
                    draft.fill(&entry);
                }
            }
            Kind::WhichEntry => {
                draft.choices = book.timetable.ids().count().saturating_add(1).min(255) as u8;
            }
            Kind::NewPin => {
                draft.set(Step::Pin, NO_PIN);
                draft.set(Step::PinAgain, NO_PIN);
            }
            _ => {}
        }
        if draft.spec().at_end {
            draft.go_to_end();
        }
        draft
    }

    /// What follows from an answer: a window that the dose fits, and a start that
    /// leaves it to work until the first water.
    pub(in crate::panel) fn propose<const N: usize, const H: usize>(
        &mut self,
        answered: Step,
        view: &View<'_, N, H>,
    ) {
        match answered {
            // a new container comes full
            Step::Capacity if view.controller.book().stock.container().is_none() => {
                self.set(Step::Level, self.get(Step::Capacity));
            }
            Step::Dose if self.kind == Kind::NewEntry => {
                let window = self.window_that_fits(WINDOW_MIN, view);
                self.set(Step::Window, window.unwrap_or(WINDOW_MIN));
            }
            Step::FirstWater => self.propose_start(),
            _ => {}
        }
    }

    /// What a choice opens.
    pub(in crate::panel) fn chosen<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> (Kind, EntryId) {
        let book = view.controller.book();
        let choice = self.value(0);
        let none = EntryId(0);
        if self.kind == Kind::WhichEntry {
            let id = book.timetable.ids().nth(choice as usize);
            return id.map_or((Kind::NewEntry, none), |id| (Kind::Entry, id));
        }
        let kind = self.kind.choice(choice);
        // what is there needs no set-up to be filled again
        let refills = self.kind == Kind::Fresh && kind == Kind::Product;
        let is_there = book.stock.container().is_some();
        (if refills && is_there { Kind::Refill } else { kind }, none)
    }
}
