//! Drafts: what is being changed, question by question, until it is put in force whole
//! or left whole.

mod entry;
mod kinds;
mod open;
mod put;
mod questions;
mod show;

use core::fmt;

pub(super) use kinds::{Kind, Spec};
pub(super) use questions::Step;

use super::Kept;
use super::field::{Field, NO_WHEEL};
use super::figures::power;
use crate::book::Book;
use crate::entry::EntryId;
use crate::units::Volume;

/// The most questions of a draft.
const MOST_STEPS: usize = 8;

/// What was entered. A PIN may be among it, so it shows itself to nobody.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Values([u32; MOST_STEPS]);

impl Values {
    #[inline]
    fn get(&self, step: Step) -> u32 {
        self.at(step.slot())
    }

    #[inline]
    fn at(&self, slot: u8) -> u32 {
        let Self(values) = self;
        values.get(usize::from(slot)).copied().unwrap_or(0)
    }
}

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
// in this order, so that what is looked at most is in reach of short instructions
#[repr(C)]
pub(super) struct Draft {
    /// [`Kind::Nothing`] where nothing is being changed.
    pub(super) kind: Kind,
    /// The place of the question that is shown among those that are asked; at the end as
    /// many as there are.
    at: u8,
    /// The wheel that is being turned; none where answers are looked through from the
    /// end, or at the end.
    wheel: u8,
    /// The question was looked up from the end, which it goes back to.
    again: bool,
    /// How many there are to choose from, where the device tells.
    choices: u8,
    /// The question that is shown; none at the end.
    step: Option<Step>,
    /// The entry, where it is of one.
    pub(super) id: EntryId,
    values: Values,
    /// What the panel keeps of drafts before.
    pub(super) kept: Kept,
}

/// What a press came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Pressed {
    /// The draft goes on.
    GoesOn,
    /// A choice was made that opens another draft.
    Chosen,
    /// It is to be put in force.
    Put,
}

impl Draft {
    /// None.
    pub(super) const fn none(kept: Kept) -> Self {
        Self {
            kind: Kind::Nothing,
            at: 0,
            wheel: 0,
            again: false,
            choices: 0,
            step: None,
            id: EntryId::NONE,
            values: Values([0; MOST_STEPS]),
            kept,
        }
    }

    /// Whether something is being changed.
    pub(super) fn is_open(&self) -> bool {
        self.kind != Kind::Nothing
    }

    /// It is left, or done with.
    pub(super) const fn close(&mut self) {
        self.kind = Kind::Nothing;
    }

    /// The answer to a question that is known where it is asked for.
    #[inline]
    pub(super) fn get(&self, step: Step) -> u32 {
        self.values.get(step)
    }

    /// The answer to any question.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn value_of(&self, step: Step) -> u32 {
        self.values.get(step)
    }

    /// Sets the answer to a question that is known where it is set.
    #[inline]
    pub(super) fn set(&mut self, step: Step, value: u32) {
        let Values(values) = &mut self.values;
        if let Some(place) = values.get_mut(usize::from(step.slot())) {
            *place = value;
        }
    }

    /// Gives another answer to any question, or the same.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn answer_with(&mut self, step: Step, value: u32) {
        let slot = step.slot();
        let Values(values) = &mut self.values;
        if let Some(place) = values.get_mut(usize::from(slot))
            && *place != value
        {
            *place = value;
            self.kept.given |= 1 << slot;
        }
    }

    /// Whether an answer is left as it was before anybody gave one.
    #[inline]
    fn is_left(&self, step: Step) -> bool {
        self.kept.given >> (step.slot() & 7) & 1 == 0
    }

    pub(super) fn spec(&self) -> &'static Spec {
        self.kind.spec()
    }

    /// Whether a question is asked, by what was answered to another.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn asks(&self, step: Step) -> bool {
        let asked = step.question().asked;
        asked.with >> self.values.at(asked.slot).min(2) & 1 == 1
    }

    /// Goes through the questions that are asked, to the one at a place or to a given one:
    /// its place, and it; how many there are where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn walk(&self, to: u8, or_to: Option<Step>) -> (u8, Option<Step>) {
        let mut place = 0;
        for &step in self.spec().steps {
            if self.asks(step) {
                if place == to || or_to == Some(step) {
                    return (place, Some(step));
                }
                place += 1;
            }
        }
        (place, None)
    }

    fn count(&self) -> u8 {
        self.walk(u8::MAX, None).0
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn field(&self, step: Step) -> Field {
        step.field(self.kept.preferences.unit).or_of(self.choices)
    }

    /// The kind of the answer to a question, and the answer.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn asked(&self, step: Step) -> (Field, u32) {
        (self.field(step), self.value_of(step))
    }

    /// The volume that was entered.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn volume(&self, step: Step) -> Volume {
        let (field, value) = self.asked(step);
        self.kept.preferences.unit.volume_of(value, field)
    }

    /// A figure as it is entered, at most nines in all digits.
    fn shown(&self, step: Step, figure: u64) -> u32 {
        let field = self.field(step);
        if !field.is_number() {
            return figure as u32;
        }
        let value = if field.word.is_of_volume() {
            self.kept.preferences.unit.value_of(field, Volume::from_nl(figure))
        } else {
            figure as u32
        };
        value.min(power(10, field.digits()) - 1)
    }

    pub(super) fn turn(&mut self, right: bool) {
        match self.step {
            Some(step) if self.wheel() != NO_WHEEL => {
                let (field, value) = self.asked(step);
                let (value, wheel) = field.turn(value, self.wheel(), right);
                self.wheel = wheel as u8;
                self.answer_with(step, value);
            }
            _ => {
                let next = if right { self.at + 1 } else { self.at.saturating_sub(1) };
                (self.at, self.step) = self.walk(next, None);
            }
        }
    }

    /// The wheel that is being turned.
    pub(super) const fn wheel(&self) -> u32 {
        self.wheel as u32
    }

    /// To the end.
    pub(super) fn go_to_end(&mut self) {
        self.go_to(u8::MAX, false);
    }

    /// To the first wheel of a question; to the end where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn go_to(&mut self, at: u8, again: bool) {
        self.again = again;
        (self.at, self.step) = self.walk(at, None);
        let wheel = self.step.map_or(NO_WHEEL, |step| {
            let (field, value) = self.asked(step);
            field.first(value)
        });
        self.wheel = wheel as u8;
    }

    /// To the question that something stands against, and from there to the end.
    pub(super) fn ask(&mut self, step: Step) {
        self.go_to(self.walk(u8::MAX, Some(step)).0, step != Step::Pin);
    }

    /// A press: the next wheel, the next question, the end.
    pub(super) fn press<const N: usize, const H: usize>(&mut self, book: &Book<N, H>) -> Pressed {
        let Some(step) = self.step else { return Pressed::Put };
        let (field, value) = self.asked(step);
        let wheel = self.wheel();
        let next = field.next(value, wheel);
        if wheel == NO_WHEEL {
            self.go_to(self.at, true);
        } else if next > 0 {
            self.wheel = next as u8;
        } else if self.spec().opens {
            return Pressed::Chosen;
        } else if !self.again {
            self.propose(step, book);
            self.go_to(self.at + 1, false);
        } else if step.question().brings {
            // the answer brings other questions: they are asked
            self.go_to(self.at + 1, false);
        } else {
            self.go_to_end();
        }
        Pressed::GoesOn
    }
}
