//! What a draft begins with: what is in force, or the trade's customary figures. What
//! was measured is never filled in beforehand (O2).

use super::entry::{NEW, WINDOW_MIN, answer_of};
use super::{Draft, Kind, MOST_STEPS, Step, Values};
use crate::book::Book;
use crate::civil::Date;
use crate::config::Container;
use crate::entry::EntryId;
use crate::panel::Kept;
use crate::panel::field::{NO_PIN, from_date};
use crate::panel::figures::parts;
use crate::panel::preferences::Preferences;
use crate::panel::view::View;
use crate::panel::zones;
use crate::units::Volume;

/// The flow of a head until it is told, in a minute: a parameter (common practice, no
/// source).
pub(super) const FLOW: Volume = Volume::from_ml(30);
/// The date that a clock is set from on a device that has none: 2026-01-01.
const FIRST_DATE: Date = Date::from_days(20_454);
/// What a new container is taken for: ten litres, a parameter; of it is left at the
/// bottom what [`HEEL_PER_CENT`] says.
pub(super) static NEW_CONTAINER: Container = Container {
    capacity: Volume::from_ml(10_000),
    heel: Volume::from_ml(100 * HEEL_PER_CENT),
    ..Container::NONE
};
/// What is left at the bottom of a container, in per cent (common practice, no source).
pub(super) const HEEL_PER_CENT: u64 = 4;
/// What stands for a figure that is not filled in.
pub(super) const NOTHING: u64 = u64::MAX;

impl Draft {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn open<const N: usize, const H: usize>(
        kind: Kind,
        id: EntryId,
        kept: &Kept,
        view: &View<'_, N, H>,
    ) -> Self {
        let book = view.controller.book();
        let choices = if kind == Kind::Place {
            // a zone that is none of the places is a choice of its own
            zones::COUNT + usize::from(zones::index_of(&book.zone) == zones::COUNT)
        } else {
            // a new entry is one
            view.entries() as usize + 1
        };
        let mut draft = Self {
            kind,
            id,
            at: 0,
            wheel: 0,
            again: false,
            values: Values([0; MOST_STEPS]),
            choices: choices.min(255) as u8,
            kept: *kept,
        };
        for &step in draft.spec().steps {
            draft.fill(step, book);
        }
        match kind {
            // it is not asked again
            Kind::Entry => draft.fill(Step::Repeat, book),
            Kind::Clock => {
                let (date, minute) = view.local().map_or((FIRST_DATE, 0), parts);
                draft.set(Step::Date, from_date(date.max(Date::MIN).min(Date::MAX)));
                draft.set(Step::Time, minute);
            }
            _ => {}
        }
        if draft.spec().at_end {
            draft.go_to_end();
        }
        draft
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn fill<const N: usize, const H: usize>(&mut self, step: Step, book: &Book<N, H>) {
        let value = self.shown(step, self.in_force(step, book));
        self.set(step, value);
    }

    /// What an answer is before anybody gives it, a volume in nl.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn in_force<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
    ) -> u64 {
        let Preferences { language, unit, twelve_hours, tube_dm, bore } = self.kept.preferences;
        let container = book.stock.container().unwrap_or(&NEW_CONTAINER);
        let volume = match step {
            // what the head was set up with
            Step::Flow => {
                let flow = book.tube.nominal.or(book.head.map(|head| head.flow));
                flow.map_or(FLOW, |flow| Volume::from_nl(u64::from(flow.as_nl_per_min())))
            }
            Step::Pass => book.head.as_ref().map_or(Volume::ZERO, |head| head.roller_pass),
            Step::Level if !book.stock.container.is_none() => book.account(),
            // a new one comes full
            Step::Level | Step::Capacity => container.capacity,
            Step::Refilled => book.stock.container.capacity,
            Step::Contact => container.low,
            Step::MostPrime => self.kept.prime(),
            Step::Dose
            | Step::Repeat
            | Step::FirstWater
            | Step::Nights
            | Step::Days
            | Step::Start
            | Step::Begin
            | Step::Window
            | Step::Every
            | Step::State => {
                let entry = book.timetable.get(self.id);
                return answer_of(step, entry.as_ref().unwrap_or(&NEW));
            }
            _ => {
                return u64::from(match step {
                    Step::Language => language.index(),
                    Step::Zone => zones::index_of(&book.zone) as u32,
                    Step::Unit => unit as u32,
                    Step::ClockForm => u32::from(twelve_hours),
                    Step::Rollers => book.head.as_ref().map_or(3, |head| u32::from(head.rollers)),
                    // a tube that nobody has told of
                    Step::Length if tube_dm == 0 => 50,
                    Step::Bore if tube_dm == 0 => 2,
                    Step::Length => u32::from(tube_dm),
                    Step::Bore => u32::from(bore),
                    Step::Vessel => u32::from(self.kept.vessel),
                    Step::Amount | Step::Mass => return NOTHING,
                    Step::Temperature => 200,
                    Step::Pin | Step::PinAgain => NO_PIN,
                    _ => 0,
                });
            }
        };
        volume.as_nl()
    }

    /// Whether an answer is left as it is shown.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn is_left<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
    ) -> bool {
        self.get(step) == self.shown(step, self.in_force(step, book))
    }

    /// The volume that was entered; where it was left as it is shown, the one of before,
    /// to the last digit.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn taken<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
    ) -> Volume {
        if self.is_left(step, book) {
            Volume::from_nl(self.in_force(step, book))
        } else {
            self.volume(step)
        }
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
            return view.entry(choice).map_or((Kind::NewEntry, none), |id| (Kind::Entry, id));
        }
        let kind = self.kind.choice(choice);
        // what is there needs no set-up to be filled again
        let refills = self.kind == Kind::Fresh && kind == Kind::Product;
        let is_there = book.stock.container().is_some();
        (if refills && is_there { Kind::Refill } else { kind }, none)
    }
}
