//! The questions: words, the kind of the answer, where it is kept, and when each is
//! asked.

use crate::panel::field::Field;
use crate::panel::preferences::{Language, Unit};
use crate::panel::words::Word;

/// When a question is asked: by the answer that is kept in a slot, with a bit for 0, for
/// 1 and for more.
#[derive(Clone, Copy)]
pub(super) struct Asked {
    pub(super) slot: u8,
    pub(super) with: u8,
}

/// One question.
pub(super) struct Question {
    pub(super) label: Word,
    /// Where the answer is kept; those of one draft differ.
    pub(super) slot: u8,
    pub(super) asked: Asked,
    /// Whether its answer brings other questions.
    pub(super) brings: bool,
    field: Field,
    /// Digits and decimals where a volume is entered in fluid ounces; 0 where it never is.
    ounces: (u8, u8),
}

const fn ask(label: Word, slot: u8, field: Field) -> Question {
    let asked = Asked { slot: 0, with: 0b111 };
    Question { label, slot, asked, brings: false, field, ounces: (0, 0) }
}

impl Question {
    /// In fluid ounces it has so many digits, and of them so many decimals.
    const fn ounces(self, digits: u8, decimals: u8) -> Self {
        Self { ounces: (digits, decimals), ..self }
    }

    /// It is asked by the answer of a slot.
    const fn asked(self, slot: u8, with: u8) -> Self {
        Self { asked: Asked { slot, with }, ..self }
    }

    const fn brings(self) -> Self {
        Self { brings: true, ..self }
    }

    pub(super) const fn field(&self, unit: Unit) -> Field {
        let (digits, decimals) = self.ounces;
        match unit {
            Unit::UsFluidOunce | Unit::ImperialFluidOunce if digits > 0 => {
                number(digits, decimals, self.field.word.in_ounces())
            }
            _ => self.field,
        }
    }
}

const fn number(digits: u8, decimals: u8, unit: Word) -> Field {
    Field::number(digits, decimals, unit)
}

const fn choice(first: Word, count: u8) -> Field {
    Field::choice(first, count)
}

const NIGHT: u8 = 0b001;
const DAY: u8 = 0b010;
const HOURS: u8 = 0b100;
const NOT_ZERO: u8 = 0b110;

macro_rules! questions {
    ($($(#[$about:meta])* $step:ident $question:expr,)*) => {
        /// A question, by its place in the table.
        #[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub(in crate::panel) enum Step { $($(#[$about])* $step,)* }

        static QUESTIONS: &[Question] = &[$($question,)*];
    };
}

questions! {
    Language ask(Word::Language, 0, choice(Word::Bare, Language::ALL.len() as u8)),
    Zone ask(Word::Zone, 1, choice(Word::Bare, 0)),
    Unit ask(Word::Unit, 2, choice(Word::UnitMetric, 3)),
    ClockForm ask(Word::ClockForm, 3, choice(Word::Hours24, 2)),
    Date ask(Word::Date, 0, Field::DATE),
    Time ask(Word::Time, 1, Field::TIME),
    Flow ask(Word::Flow, 0, number(4, 1, Word::MillilitrePerMin))
        .ounces(4, 2),
    Rollers ask(Word::Rollers, 1, number(2, 0, Word::Bare)),
    Pass ask(Word::Pass, 2, number(4, 2, Word::Millilitre)),
    Length ask(Word::Length, 0, number(3, 1, Word::Metre)),
    Bore ask(Word::Bore, 1, choice(Word::Bare, 4)),
    /// 0: no account is kept, and nothing more to ask.
    Capacity ask(Word::Capacity, 0, number(4, 1, Word::Litre))
        .ounces(5, 0).brings(),
    Level ask(Word::Level, 1, number(4, 1, Word::Litre))
        .ounces(5, 0).asked(0, NOT_ZERO),
    Contact ask(Word::Contact, 2, number(4, 1, Word::Litre))
        .ounces(5, 0).asked(0, NOT_ZERO),
    /// Never asked: what a container holds that is filled.
    Full ask(Word::Bare, 0, number(4, 1, Word::Litre))
        .ounces(5, 0).asked(0, 0),
    /// What is in it then.
    Refilled ask(Word::Level, 1, number(4, 1, Word::Litre))
        .ounces(5, 0),
    MostPrime ask(Word::MostPrime, 0, number(3, 0, Word::Millilitre))
        .ounces(3, 1),
    Vessel ask(Word::Vessel, 0, choice(Word::Bare, 4)),
    /// Never asked: how long the run is to be, in ms, where a reading was not sure enough.
    RunMs ask(Word::Bare, 1, Field::TIME).asked(0, 0),
    /// By volume, or by mass.
    Method ask(Word::Method, 0, choice(Word::ByVolume, 2)).brings(),
    Amount ask(Word::Amount, 1, number(5, 1, Word::Millilitre))
        .ounces(4, 2).asked(0, 0b001),
    Mass ask(Word::Mass, 2, number(5, 1, Word::Gram)).asked(0, 0b010),
    Temperature ask(Word::Temperature, 3, number(3, 1, Word::Celsius)).asked(0, 0b010),
    MeantAs ask(Word::MeantAs, 4, choice(Word::AsNew, 2)),
    Dose ask(Word::Dose, 0, number(4, 0, Word::Millilitre))
        .ounces(4, 1),
    /// By night, by day, or every so many hours.
    Repeat ask(Word::Repeat, 1, choice(Word::ByNight, 3)),
    FirstWater ask(Word::FirstWater, 2, Field::TIME).asked(1, NIGHT),
    Nights ask(Word::Nights, 3, Field::NIGHTS).asked(1, NIGHT),
    Days ask(Word::Days, 3, Field::DAYS).asked(1, DAY),
    Start ask(Word::Start, 4, Field::TIME).asked(1, NIGHT | DAY),
    /// The start of an entry that comes every so many hours.
    Begin ask(Word::Start, 4, Field::TIME).asked(1, HOURS),
    Window ask(Word::Window, 5, number(3, 0, Word::Min)),
    Every ask(Word::Every, 6, number(3, 0, Word::H)).asked(1, HOURS),
    /// On, off, or taken out.
    State ask(Word::State, 7, choice(Word::StateOn, 3)),
    WhichSetting ask(Word::Which, 0, choice(Word::Bare, 7)),
    WhichEntry ask(Word::WhichEntry, 0, choice(Word::Bare, 0)),
    /// A battery last, where there is one.
    Fresh ask(Word::WhatIsNew, 0, choice(Word::Bare, 0)),
    /// With one, or without.
    PinWanted ask(Word::PinWanted, 0, choice(Word::WithPin, 2)).brings(),
    Pin ask(Word::Pin, 1, Field::PIN).asked(0, 0b001),
    PinAgain ask(Word::PinAgain, 2, Field::PIN).asked(0, 0b001),
}

impl Step {
    pub(in crate::panel) fn field(self, unit: Unit) -> Field {
        self.question().field(unit)
    }

    /// Where its answer is kept.
    #[inline]
    pub(super) fn slot(self) -> u8 {
        QUESTIONS.get(self as usize).map_or(0, |question| question.slot)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn question(self) -> &'static Question {
        const NONE: Question = ask(Word::Bare, 0, Field::TIME);
        QUESTIONS.get(self as usize).unwrap_or(&NONE)
    }
}
