//! Drafts: what is being changed, question by question, until it is put in force whole
//! or left whole.

mod fields;
mod open;
mod put;
mod summary;

use core::fmt;

pub(super) use fields::{WHICH, title};
pub(super) use open::{prime_for, window_from};
pub(super) use put::{Put, pin};

use super::field::Field;
use super::show::Style;
use crate::entry::EntryId;

/// What a draft is of.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Kind {
    Place,
    Clock,
    Head,
    Tube,
    Product,
    Prime,
    Calibrate,
    Reading,
    NewEntry,
    Entry(EntryId),
    WhichEntry,
    Fresh,
    Refill,
    NewPack,
    SetUp,
    NewPin,
    Lock,
    RunAgain(EntryId),
    Acknowledge,
}

/// One question.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Step {
    Language,
    Zone,
    Unit,
    ClockForm,
    Date,
    Time,
    Flow,
    Rollers,
    Pass,
    Length,
    Bore,
    Capacity,
    Level,
    Contact,
    MostPrime,
    Vessel,
    Method,
    Amount,
    Mass,
    Temperature,
    MeantAs,
    Dose,
    Repeat,
    FirstWater,
    Days,
    Start,
    Window,
    Every,
    State,
    Which,
    WhichEntry,
    Fresh,
    PinWanted,
    Pin,
    PinAgain,
}

/// Where in a draft the knob is.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum At {
    /// A wheel of a question is being turned; `again`: it was looked up from the end,
    /// which it goes back to.
    Wheel { step: u8, wheel: u8, again: bool },
    /// At the end: what was entered is looked through.
    Look { step: u8 },
    /// At the end: the next press puts it in force.
    Put,
}

/// The most questions of a draft.
pub(super) const MOST_STEPS: usize = 8;

/// What was entered. A PIN may be among it, so it shows itself to nobody.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Values([u32; MOST_STEPS]);

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
    pub(super) at: At,
    values: Values,
    /// How many entries there are to choose from, where one is chosen.
    choices: u8,
}

/// What a press came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Pressed {
    /// The draft goes on.
    GoesOn,
    /// A choice was made that opens another draft; it stands at so many.
    Chosen(u32),
    /// It is to be put in force.
    Put,
}

impl Draft {
    pub(super) const fn get(&self, step: Step) -> u32 {
        let Values(values) = &self.values;
        values[slot(step) % MOST_STEPS]
    }

    pub(super) const fn set(&mut self, step: Step, value: u32) {
        let Values(values) = &mut self.values;
        values[slot(step) % MOST_STEPS] = value;
    }

    /// Its questions, as far as what was entered tells.
    pub(super) fn steps(&self) -> &'static [Step] {
        match self.kind {
            Kind::Place => &[Step::Language, Step::Zone, Step::Unit, Step::ClockForm],
            Kind::Clock => &[Step::Date, Step::Time],
            Kind::Head => &[Step::Flow, Step::Rollers, Step::Pass],
            Kind::Tube => &[Step::Length, Step::Bore],
            Kind::Product if self.get(Step::Capacity) == 0 => &[Step::Capacity],
            Kind::Product => &[Step::Capacity, Step::Level, Step::Contact],
            Kind::Prime => &[Step::MostPrime],
            Kind::Calibrate => &[Step::Vessel],
            Kind::Reading if self.get(Step::Method) == 0 => {
                &[Step::Method, Step::Amount, Step::MeantAs]
            }
            Kind::Reading => &[Step::Method, Step::Mass, Step::Temperature, Step::MeantAs],
            Kind::NewEntry => match self.get(Step::Repeat) {
                0 => &[
                    Step::Dose,
                    Step::Repeat,
                    Step::FirstWater,
                    Step::Days,
                    Step::Start,
                    Step::Window,
                ],
                1 => &[Step::Dose, Step::Repeat, Step::Days, Step::Start, Step::Window],
                _ => &[Step::Dose, Step::Repeat, Step::Every, Step::Window],
            },
            Kind::Entry(_) if self.get(Step::Repeat) < 2 => {
                &[Step::Dose, Step::Days, Step::Start, Step::Window, Step::State]
            }
            Kind::Entry(_) => &[Step::Dose, Step::Every, Step::Window, Step::State],
            Kind::NewPin if self.get(Step::PinWanted) == 0 => {
                &[Step::PinWanted, Step::Pin, Step::PinAgain]
            }
            Kind::NewPin => &[Step::PinWanted],
            Kind::WhichEntry => &[Step::WhichEntry],
            Kind::Fresh => &[Step::Fresh],
            Kind::SetUp => &[Step::Which],
            Kind::Refill => &[Step::Level],
            Kind::NewPack | Kind::Lock | Kind::RunAgain(_) | Kind::Acknowledge => &[],
        }
    }

    pub(super) fn step(&self, at: u8) -> Option<Step> {
        self.steps().get(usize::from(at)).copied()
    }

    /// A draft of one choice opens another: nothing is put in force by it.
    const fn is_choice(&self) -> bool {
        matches!(self.kind, Kind::WhichEntry | Kind::Fresh | Kind::SetUp)
    }

    pub(super) fn turn(&mut self, right: bool, style: &Style) {
        let last = (self.steps().len() as u8).checked_sub(1);
        match self.at {
            At::Wheel { step: at, wheel, again } => {
                let Some(step) = self.step(at) else { return };
                let (value, wheel) = self.field(step, style).turn(self.get(step), wheel, right);
                self.set(step, value);
                self.at = At::Wheel { step: at, wheel, again };
            }
            At::Put => {
                if let Some(step) = last.filter(|_| !right) {
                    self.at = At::Look { step };
                }
            }
            At::Look { step } if right && Some(step) >= last => self.at = At::Put,
            At::Look { step } if right => self.at = At::Look { step: step.saturating_add(1) },
            At::Look { step } => self.at = At::Look { step: step.saturating_sub(1) },
        }
    }

    /// At the first wheel of a question.
    fn wheel_of(&self, at: u8, again: bool, style: &Style) -> At {
        let wheel = self.step(at).map_or(0, |step| self.field(step, style).first(self.get(step)));
        At::Wheel { step: at, wheel, again }
    }

    /// A press: the next wheel, the next question, the end.
    pub(super) fn press(
        &mut self,
        style: &Style,
        propose: impl FnOnce(&mut Self, Step),
    ) -> Pressed {
        match self.at {
            At::Put => return Pressed::Put,
            At::Look { step } => self.at = self.wheel_of(step, true, style),
            At::Wheel { step: at, wheel, again } => {
                let Some(step) = self.step(at) else {
                    self.at = At::Put;
                    return Pressed::GoesOn;
                };
                let value = self.get(step);
                if let Some(wheel) = self.field(step, style).next(value, wheel) {
                    self.at = At::Wheel { step: at, wheel, again };
                    return Pressed::GoesOn;
                }
                if self.is_choice() {
                    return Pressed::Chosen(value);
                }
                let count = self.steps().len();
                if again {
                    self.at = At::Put;
                    // where the answer brings other questions, these are asked
                    let brings = matches!(step, Step::Method | Step::PinWanted | Step::Capacity);
                    if brings && usize::from(at).saturating_add(1) < count {
                        self.at = self.wheel_of(at.saturating_add(1), false, style);
                    }
                } else {
                    propose(self, step);
                    let next = at.saturating_add(1);
                    self.at = if usize::from(next) < count {
                        self.wheel_of(next, false, style)
                    } else {
                        At::Put
                    };
                }
            }
        }
        Pressed::GoesOn
    }
}

/// Where the answer to a question is kept; those of one draft differ.
const fn slot(step: Step) -> usize {
    match step {
        Step::Language
        | Step::Date
        | Step::Flow
        | Step::Length
        | Step::Capacity
        | Step::MostPrime
        | Step::Vessel
        | Step::Method
        | Step::Dose
        | Step::Which
        | Step::WhichEntry
        | Step::Fresh
        | Step::PinWanted => 0,
        Step::Zone
        | Step::Time
        | Step::Rollers
        | Step::Bore
        | Step::Level
        | Step::Amount
        | Step::Repeat
        | Step::Pin => 1,
        Step::Unit
        | Step::Pass
        | Step::Contact
        | Step::Mass
        | Step::FirstWater
        | Step::PinAgain => 2,
        Step::ClockForm | Step::Temperature | Step::Days => 3,
        Step::MeantAs | Step::Start => 4,
        Step::Window => 5,
        Step::Every => 6,
        Step::State => 7,
    }
}

impl Draft {
    pub(super) fn field(&self, step: Step, style: &Style) -> Field {
        fields::field(self, step, style)
    }
}
