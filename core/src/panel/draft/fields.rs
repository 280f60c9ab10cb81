//! Each question: its kind of answer, its words, its choices.

use super::{Draft, Kind, Step};
use crate::panel::field::Field;
use crate::panel::preferences::{Language, Unit};
use crate::panel::show::Style;
use crate::panel::words::Words;
use crate::panel::zones::PLACES;

/// Bores of tubes to choose from, in the two ways to write them.
const BORES: [[&str; 2]; 4] =
    [["1.6 mm", "1,6 mm"], ["3.2 mm", "3,2 mm"], ["4.8 mm", "4,8 mm"], ["6.4 mm", "6,4 mm"]];
const VESSEL_NAMES: [&str; 4] = ["100 ml", "250 ml", "500 ml", "1000 ml"];

const fn number(digits: u8, decimals: u8, unit: &'static str) -> Field {
    Field::Number { digits, decimals, unit }
}

/// Decimals and digits of a volume in millilitres, and in fluid ounces.
const fn volume(style: &Style, metric: (u8, u8), ounces: (u8, u8), litres: bool) -> Field {
    match style.unit {
        Unit::Metric => number(metric.0, metric.1, if litres { "l" } else { "ml" }),
        _ => number(ounces.0, ounces.1, "fl oz"),
    }
}

pub(super) fn field(draft: &Draft, step: Step, style: &Style) -> Field {
    match step {
        Step::Language => Field::Choice(Language::ALL.len() as u8),
        Step::Zone => {
            // one that is none of the places is a choice of its own
            let own = draft.choices;
            Field::Choice((PLACES.len() as u8).saturating_add(own))
        }
        Step::Unit => Field::Choice(3),
        Step::ClockForm | Step::Method | Step::MeantAs | Step::PinWanted => Field::Choice(2),
        Step::Repeat | Step::State => Field::Choice(3),
        Step::Bore | Step::Vessel => Field::Choice(4),
        Step::Which => Field::Choice(WHICH.len() as u8),
        Step::WhichEntry => Field::Choice(draft.choices),
        Step::Fresh => Field::Choice(3),
        Step::Date => Field::Date,
        Step::Time | Step::FirstWater | Step::Start => Field::Time,
        Step::Flow => match style.unit {
            Unit::Metric => number(4, 1, "ml/min"),
            _ => number(4, 2, "fl oz/min"),
        },
        Step::Rollers => number(2, 0, ""),
        Step::Pass => number(4, 2, "ml"),
        Step::Length => number(3, 1, "m"),
        Step::Capacity | Step::Level | Step::Contact => volume(style, (4, 1), (5, 0), true),
        Step::MostPrime => volume(style, (3, 0), (3, 1), false),
        Step::Dose => volume(style, (4, 0), (4, 1), false),
        Step::Amount => volume(style, (5, 1), (4, 2), false),
        Step::Mass => number(5, 1, "g"),
        Step::Temperature => number(3, 1, "C"),
        Step::Window => number(3, 0, "min"),
        Step::Every => number(3, 0, "h"),
        Step::Days => Field::Days { by_night: draft.by_night() },
        Step::Pin | Step::PinAgain => Field::Pin,
    }
}

/// What the set-up card opens, in its order.
pub(in crate::panel) const WHICH: [Kind; 7] = [
    Kind::Place,
    Kind::NewPin,
    Kind::Lock,
    Kind::Head,
    Kind::Tube,
    Kind::Product,
    Kind::Acknowledge,
];

/// The title of a draft.
pub(in crate::panel) const fn title(kind: Kind, words: &'static Words) -> &'static str {
    match kind {
        Kind::Place => words.place,
        Kind::Clock => words.clock,
        Kind::Head => words.head,
        Kind::Tube => words.tube,
        Kind::Product => words.vessel_of,
        Kind::Prime => words.prime,
        Kind::Calibrate => words.calibrate,
        Kind::Reading => words.reading,
        Kind::NewEntry => words.new_entry,
        Kind::Entry(_) => words.entry,
        Kind::WhichEntry => words.timetable,
        Kind::Fresh | Kind::Refill => words.refill,
        Kind::NewPack => words.new_pack,
        Kind::SetUp => words.set_up,
        Kind::NewPin => words.new_pin,
        Kind::Lock => words.lock_up,
        Kind::RunAgain(_) => words.again,
        Kind::Acknowledge => words.acknowledge,
    }
}

impl Draft {
    /// The question in words.
    pub(super) const fn label(&self, step: Step, words: &'static Words) -> &'static str {
        match step {
            Step::Language => words.language,
            Step::Zone => words.zone,
            Step::Unit => words.unit,
            Step::ClockForm => words.clock_form,
            Step::Date => words.date,
            Step::Time => words.time,
            Step::Flow => words.flow,
            Step::Rollers => words.rollers,
            Step::Pass => words.pass,
            Step::Length => words.length,
            Step::Bore => words.bore,
            Step::Capacity => words.capacity,
            Step::Level => words.level,
            Step::Contact => words.contact,
            Step::MostPrime => words.most_prime,
            Step::Vessel => words.vessel,
            Step::Method => words.method,
            Step::Amount => words.amount,
            Step::Mass => words.mass,
            Step::Temperature => words.temperature,
            Step::MeantAs => words.meant_as,
            Step::Dose => words.dose,
            Step::Repeat => words.repeat,
            Step::FirstWater => words.first_water,
            Step::Days if self.by_night() => words.nights,
            Step::Days => words.days,
            Step::Start => words.start,
            Step::Window => words.window,
            Step::Every => words.every,
            Step::State => words.state,
            Step::Which => words.which,
            Step::WhichEntry => words.which_entry,
            Step::Fresh => words.what_is_new,
            Step::PinWanted => words.pin_wanted,
            Step::Pin => words.pin,
            Step::PinAgain => words.pin_again,
        }
    }

    /// What a choice stands for. That of an entry is shown by its number.
    pub(super) fn choice(&self, step: Step, words: &'static Words) -> &'static str {
        let value = self.get(step) as usize;
        let one_of = |all: &[&'static str]| all.get(value).copied().unwrap_or("-");
        match step {
            Step::Language => Language::at(self.get(step)).words().name,
            Step::Zone => PLACES.get(value).map_or(words.as_found, |place| place.name),
            Step::Unit => one_of(&["ml, l", "US fl oz", "imp fl oz"]),
            Step::ClockForm => one_of(&[words.hours_24, words.hours_12]),
            Step::Bore => {
                let bore = BORES.get(value).and_then(|bore| bore.get(usize::from(words.comma)));
                bore.copied().unwrap_or("-")
            }
            Step::Vessel => one_of(&VESSEL_NAMES),
            Step::Method => one_of(&[words.by_volume, words.by_mass]),
            Step::MeantAs => one_of(&[words.as_new, words.as_found]),
            Step::Repeat => one_of(&[words.by_night, words.by_day, words.by_hours]),
            Step::State => one_of(&[words.state_on, words.state_off, words.state_gone]),
            Step::PinWanted => one_of(&[words.with_pin, words.without_pin]),
            Step::Which => WHICH.get(value).map_or("-", |&kind| title(kind, words)),
            Step::Fresh => one_of(&[words.vessel_of, words.new_pack, words.tube]),
            Step::WhichEntry if value.saturating_add(1) >= usize::from(self.choices) => {
                words.new_entry
            }
            Step::WhichEntry => words.entry,
            _ => "",
        }
    }

    pub(super) const fn by_night(&self) -> bool {
        self.get(Step::Repeat) == 0
    }
}
