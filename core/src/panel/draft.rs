//! Drafts: what is being changed, question by question, until it is put in force whole
//! or left whole.

mod entry;
mod kinds;
mod open;
mod put;
mod questions;
mod show;

use core::fmt;

pub(super) use entry::WINDOW_STEP_MIN;
pub(super) use kinds::{Kind, Spec};
pub(super) use put::pin;
pub(super) use questions::Step;

use super::Kept;
use super::field::{BLANK, Field, NO_WHEEL};
use super::figures::power;
use crate::entry::EntryId;
use crate::units::Volume;

use open::NOTHING;

/// The most questions of a draft.
const MOST_STEPS: usize = 8;

/// What was entered. A PIN may be among it, so it shows itself to nobody.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Values([u32; MOST_STEPS]);

impl fmt::Debug for Values {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Values")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Values {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Values");
    }
}

/// A draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Draft {
    pub(super) kind: Kind,
    /// The entry, where it is of one.
    pub(super) id: EntryId,
    /// The question that is shown; as many as there are stands for the end.
    at: u8,
    /// The wheel that is being turned; none where answers are looked through from the
    /// end, or at the end.
    wheel: u8,
    /// The question was looked up from the end, which it goes back to.
    again: bool,
    values: Values,
    /// How many there are to choose from, where the device tells.
    choices: u8,
    /// What the panel kept when it was opened.
    pub(super) kept: Kept,
}

/// What a press came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Pressed {
    /// The draft goes on.
    GoesOn,
    /// A question is answered for the first time.
    Answered(Step),
    /// A choice was made that opens another draft.
    Chosen,
    /// It is to be put in force.
    Put,
}

impl Draft {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn get(&self, step: Step) -> u32 {
        self.value(step.question().slot)
    }

    fn value(&self, slot: u8) -> u32 {
        let Values(values) = &self.values;
        values.get(usize::from(slot)).copied().unwrap_or(0)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn set(&mut self, step: Step, value: u32) {
        let Values(values) = &mut self.values;
        if let Some(place) = values.get_mut(usize::from(step.question().slot)) {
            *place = value;
        }
    }

    pub(super) fn spec(&self) -> &'static Spec {
        self.kind.spec()
    }

    /// Whether a question is asked, by what was answered to another.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn asks(&self, step: Step) -> bool {
        let asked = step.question().asked;
        asked.with >> self.value(asked.slot).min(2) & 1 == 1
    }

    /// The questions that are asked.
    fn steps(&self) -> impl Iterator<Item = Step> + '_ {
        self.spec().steps.iter().copied().filter(|&step| self.asks(step))
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn step(&self, at: u8) -> Option<Step> {
        self.steps().nth(usize::from(at))
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn count(&self) -> u8 {
        self.steps().count() as u8
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn field(&self, step: Step) -> Field {
        match step.field(self.kept.preferences.unit) {
            Field::Choice { first, count: 0 } => Field::Choice { first, count: self.choices },
            field => field,
        }
    }

    /// The volume that was entered.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn volume(&self, step: Step) -> Volume {
        match self.field(step) {
            Field::Number { decimals, unit, .. } => {
                self.kept.preferences.unit.volume_of(self.get(step), decimals, unit)
            }
            _ => Volume::ZERO,
        }
    }

    /// A figure as it is entered, at most nines in all digits.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn shown(&self, step: Step, figure: u64) -> u32 {
        let Field::Number { digits, decimals, unit } = self.field(step) else {
            return figure as u32;
        };
        let value = if figure == NOTHING {
            return BLANK;
        } else if unit.is_of_volume() {
            self.kept.preferences.unit.value_of(Volume::from_nl(figure), decimals, unit)
        } else {
            figure as u32
        };
        value.min(power(10, digits) - 1)
    }

    pub(super) fn turn(&mut self, right: bool) {
        if self.wheel == NO_WHEEL {
            let next = if right { self.at + 1 } else { self.at.saturating_sub(1) };
            self.at = next.min(self.count());
        } else if let Some(step) = self.step(self.at) {
            let value;
            (value, self.wheel) = self.field(step).turn(self.get(step), self.wheel, right);
            self.set(step, value);
        }
    }

    /// To the end.
    pub(super) fn go_to_end(&mut self) {
        (self.at, self.wheel) = (self.count(), NO_WHEEL);
    }

    /// To the first wheel of a question; to the end where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn go_to(&mut self, at: u8, again: bool) {
        let Some(step) = self.step(at) else { return self.go_to_end() };
        (self.at, self.again) = (at, again);
        self.wheel = self.field(step).first(self.get(step));
    }

    /// To the question that something stands against, and from there to the end.
    pub(super) fn ask(&mut self, step: Step) {
        let at = self.steps().position(|asked| asked == step);
        self.go_to(at.map_or(self.count(), |at| at as u8), step != Step::Pin);
    }

    /// A press: the next wheel, the next question, the end.
    pub(super) fn press(&mut self) -> Pressed {
        let Some(step) = self.step(self.at) else { return Pressed::Put };
        if self.wheel == NO_WHEEL {
            self.go_to(self.at, true);
        } else if let Some(wheel) = self.field(step).next(self.get(step), self.wheel) {
            self.wheel = wheel;
        } else if self.spec().opens {
            return Pressed::Chosen;
        } else if !self.again {
            self.go_to(self.at + 1, false);
            return Pressed::Answered(step);
        } else if step.question().brings {
            // the answer brings other questions: they are asked
            self.go_to(self.at + 1, false);
        } else {
            self.go_to_end();
        }
        Pressed::GoesOn
    }
}
