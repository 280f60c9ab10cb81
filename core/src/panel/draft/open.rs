//! What a draft begins with: what is in force, or the trade's customary figures. What
//! was measured is never filled in beforehand (O2).

use core::num::NonZeroU32;

use super::entry::{WINDOW_MIN, WINDOW_STEP_MIN, answer_of};
use super::{Draft, Kind, MOST_STEPS, Step, Values};
use crate::book::Book;
use crate::civil::DAY_MIN;
use crate::config::Container;
use crate::entry::EntryId;
use crate::panel::field::{BLANK, NO_PIN, from_date};
use crate::panel::figures::Minute;
use crate::panel::preferences::Preferences;
use crate::panel::view;
use crate::panel::zones;
use crate::units::Volume;

/// The flow of a head until it is told, in a minute: a parameter (common practice, no
/// source).
pub(super) const FLOW: Volume = Volume::from_ml(30);
/// The date that a clock is set from on a device that has none: 2026-01-01.
const FIRST: Minute = Minute(NonZeroU32::MIN.saturating_add(20_454 * DAY_MIN - 1));
/// What a new container is taken for: ten litres, a parameter.
static NEW_CONTAINER: Container = Container {
    capacity: Volume::from_ml(10_000),
    heel: Volume::from_ml(10_000 / HEEL_IS_OF),
    ..Container::NONE
};
/// What is left at the bottom of a container: so much of it, four per cent (common
/// practice, no source).
pub(super) const HEEL_IS_OF: u64 = 25;

/// The container; a new one where there is none.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn container_of<const N: usize, const H: usize>(book: &Book<N, H>) -> &Container {
    book.stock.container().unwrap_or(&NEW_CONTAINER)
}

impl Draft {
    /// Begins it: what it is of, and the answers as they are before anybody gives them.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn begin<const N: usize, const H: usize>(
        &mut self,
        kind: Kind,
        id: EntryId,
        book: &Book<N, H>,
    ) {
        // a head that there is none of is set up first
        let (mut kind, mut spec) = (kind, kind.spec());
        if spec.by_head && book.head.is_none() {
            kind = Kind::Head;
            spec = kind.spec();
        }
        let choices = if kind == Kind::Place {
            // a zone that is none of the places is a choice of its own
            zones::index_of(&book.zone).max(zones::COUNT - 1)
        } else if kind == Kind::Fresh {
            // a battery where there is one
            1 + usize::from(book.gauge.pack().is_some())
        } else {
            // where all lines are taken there is no choice of a new entry
            (view::entries(book) as usize).min(N.saturating_sub(1))
        };
        // as a new entry is one
        (self.kind, self.id, self.choices) = (kind, id, choices as u8 + 1);
        self.values = Values([0; MOST_STEPS]);
        for &step in spec.steps {
            self.fill(step, book);
        }
        match kind {
            // it is not asked again
            Kind::Entry => self.fill(Step::Repeat, book),
            Kind::Reading => {
                self.set(Step::Amount, BLANK);
                self.set(Step::Mass, BLANK);
            }
            _ => {}
        }
        self.kept.given = 0;
        self.go_to(if spec.at_end { u8::MAX } else { 0 }, false);
    }

    /// What time a clock is set from.
    pub(in crate::panel) fn tell_time(&mut self, now: Option<Minute>) {
        let (date, minute) = now.unwrap_or(FIRST).parts();
        self.set(Step::Date, from_date(date));
        self.set(Step::Time, minute);
    }

    /// An answer before anybody gives it, as it is shown.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn fill<const N: usize, const H: usize>(&mut self, step: Step, book: &Book<N, H>) {
        let value = self.shown(step, self.in_force(step, book));
        self.answer_with(step, value);
    }

    /// What an answer is before anybody gives it, a volume in nl.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn in_force<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
    ) -> u64 {
        let Preferences { language, unit, twelve_hours, tube_dm, bore } = self.kept.preferences;
        let container = container_of(book);
        let volume = match step {
            Step::Flow => book
                .head
                .as_ref()
                .map_or(FLOW, |head| Volume::from_nl(u64::from(head.flow.as_nl_per_min()))),
            Step::Pass => book.head.as_ref().map_or(Volume::ZERO, |head| head.roller_pass),
            Step::Level if !book.stock.container.is_none() => book.account(),
            // a new one comes full
            Step::Level | Step::Capacity => container.capacity,
            Step::Full | Step::Refilled => book.stock.container.capacity,
            Step::Contact => container.low,
            Step::MostPrime => self.kept.prime(book.head.as_ref()),
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
                return answer_of(step, &self.entry(book));
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
                    Step::Temperature => 200,
                    Step::Pin | Step::PinAgain => NO_PIN,
                    _ => 0,
                });
            }
        };
        volume.as_nl()
    }

    /// The volume that was entered; where it was left as it is shown, the one of before,
    /// to the last digit.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn taken<const N: usize, const H: usize>(
        &self,
        step: Step,
        book: &Book<N, H>,
    ) -> Volume {
        if self.is_left(step) {
            Volume::from_nl(self.in_force(step, book))
        } else {
            self.volume(step)
        }
    }

    /// What follows from an answer: a window that the dose fits, and a start that
    /// leaves it to work until the first water.
    pub(super) fn propose<const N: usize, const H: usize>(
        &mut self,
        answered: Step,
        book: &Book<N, H>,
    ) {
        match answered {
            // a new container comes full
            Step::Capacity if book.stock.container().is_none() => {
                self.answer_with(Step::Level, self.get(Step::Capacity));
            }
            // of a new entry: of one that is there nothing is asked for the first time
            Step::Dose => {
                let window = self.window_that_fits(WINDOW_MIN, WINDOW_STEP_MIN, book);
                self.answer_with(Step::Window, window.unwrap_or(WINDOW_MIN));
            }
            Step::FirstWater => self.propose_start(),
            _ => {}
        }
    }

    /// What a choice opens.
    pub(in crate::panel) fn chosen<const N: usize, const H: usize>(
        &self,
        book: &Book<N, H>,
    ) -> (Kind, EntryId) {
        let choice = self.values.at(0);
        let none = EntryId::NONE;
        if self.kind == Kind::WhichEntry {
            let entry = view::entry(book, choice);
            return entry.map_or((Kind::NewEntry, none), |id| (Kind::Entry, id));
        }
        let kind = self.kind.choice(choice);
        // what is there needs no set-up to be filled again
        let refills = self.kind == Kind::Fresh && kind == Kind::Product;
        let is_there = book.stock.container().is_some();
        (if refills && is_there { Kind::Refill } else { kind }, none)
    }
}
