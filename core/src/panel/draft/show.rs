//! A draft on the screen: a question, or at the end what it comes to.

use super::put::VESSELS;
use super::{Draft, Kind, Step};
use crate::panel::field::{Field, NO_WHEEL, days_of, to_date};
use crate::panel::pen::{Pen, Style};
use crate::panel::preferences::Language;
use crate::panel::view::View;
use crate::panel::words::{self, Word};
use crate::panel::zones;
use crate::time::Duration;

impl Draft {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn show<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        // a language is shown in its own words while it is being chosen
        pen.style = Style::of(self.preferences());
        let spec = self.spec();
        pen.say(spec.title);
        if self.kind == Kind::Entry {
            pen.char(' ');
            pen.number(u32::from(self.id.0), 1);
        }
        let (at, wheel) = (self.at, self.wheel);
        let Some(step) = self.step(at) else {
            self.sum(view, pen);
            return pen.action(spec.put);
        };
        // which question it is, of how many
        if self.count() > 1 {
            pen.tab();
            pen.number(u32::from(at) + 1, 1);
            pen.char('/');
            pen.number(u32::from(self.count()), 1);
        }
        pen.end();
        self.question(step, wheel, view, pen);
        pen.action(if wheel == NO_WHEEL {
            Word::DoEdit
        } else if self.field(step).ends_at(self.get(step), wheel) {
            Word::DoDone
        } else {
            Word::DoNext
        });
    }

    /// The question and its answer. An entry to choose is known by what it does.
    fn question<const N: usize, const H: usize>(
        &self,
        step: Step,
        wheel: u8,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        let id = if step == Step::WhichEntry { view.entry(self.get(step)) } else { None };
        if let Some(id) = id {
            Self::open(Kind::Entry, id, &self.kept, view).when(pen);
            pen.end();
            pen.char('[');
            pen.lead(Word::Entry);
            pen.number(u32::from(id.0), 1);
            pen.char(']');
        } else {
            pen.line(step.question().label);
            self.answer(step, wheel, pen);
        }
        pen.end();
    }

    /// An answer, in brackets as far as it is being turned.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn answer(&self, step: Step, wheel: u8, pen: &mut Pen<'_>) {
        if wheel == 0 {
            pen.char('[');
        }
        let value = self.get(step);
        match self.field(step) {
            Field::Choice { first, .. } => self.choice(step, value, first, pen),
            field => field.show(pen, value, wheel),
        }
        if wheel == 0 {
            pen.char(']');
        }
    }

    /// What a choice stands for.
    fn choice(&self, step: Step, value: u32, first: Word, pen: &mut Pen<'_>) {
        match step {
            Step::Language => pen.nth(Language::at(value).words(), Word::Name as u16),
            Step::Zone if value as usize >= zones::COUNT => pen.say(Word::AsFound),
            Step::Zone => pen.nth(&words::PLACE_NAMES, value as u16),
            Step::Bore => {
                pen.decimal(value * 16 + 16, 1);
                pen.unit(Word::Millimetre);
            }
            Step::Vessel => {
                let ml = VESSELS.get(value as usize).map_or(0, |&(ml, _)| ml);
                pen.number(u32::from(ml), 1);
                pen.unit(Word::Millilitre);
            }
            Step::WhichSetting | Step::Fresh => pen.say(self.kind.choice(value).spec().title),
            Step::WhichEntry => pen.say(Word::NewEntry),
            _ => pen.say_of(first as u16, value as u16),
        }
    }

    /// When its doses come: `00:45 Mo-Sa`, `every 6 h`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn when(&self, pen: &mut Pen<'_>) {
        let repeat = self.get(Step::Repeat);
        if repeat >= 2 {
            pen.lead(Word::Each);
            pen.number(self.get(Step::Every), 1);
            pen.unit(Word::H);
        } else {
            pen.minute(self.get(Step::Start));
            pen.char(' ');
            pen.days(days_of(self.get(Step::Days)), repeat == 0);
        }
    }

    /// What it comes to: the rest of the first line, and two more.
    fn sum<const N: usize, const H: usize>(&self, view: &View<'_, N, H>, pen: &mut Pen<'_>) {
        let spec = self.spec();
        if matches!(self.kind, Kind::Entry | Kind::NewEntry) {
            return self.sum_entry(pen);
        }
        pen.end();
        if let Some(word) = spec.before {
            pen.line(word);
        }
        match self.kind {
            Kind::Clock => {
                pen.long_date(to_date(self.get(Step::Date)));
                pen.end();
                pen.minute(self.get(Step::Time));
            }
            Kind::Prime => {
                pen.pair(Word::UpTo);
                self.answer(Step::MostPrime, NO_WHEEL, pen);
            }
            Kind::RunAgain => {
                if let Some(entry) = view.controller.book().timetable.get(self.id) {
                    pen.volume(entry.volume);
                }
            }
            Kind::Acknowledge => {
                if let Some((alarm, _)) = view.alarm() {
                    pen.alarm(alarm, 0);
                }
            }
            Kind::Product if self.get(Step::Capacity) == 0 => return pen.line(Word::NoAccount),
            Kind::Calibrate => {
                self.answer(Step::Vessel, NO_WHEEL, pen);
                pen.tab();
                let ms = self.get(Step::RunMs);
                if ms > 0 {
                    pen.length(Duration::from_ms(u64::from(ms)));
                }
            }
            _ => {}
        }
        for &step in spec.sum.iter().filter(|&&step| self.asks(step)) {
            self.answer(step, NO_WHEEL, pen);
            pen.end();
        }
        pen.end();
    }

    fn sum_entry(&self, pen: &mut Pen<'_>) {
        let (state, repeat) = (self.get(Step::State), self.get(Step::Repeat));
        pen.tab();
        match state {
            0 if repeat < 2 && self.kind == Kind::Entry => {
                pen.say_of(Word::ByNight as u16, repeat as u16);
            }
            1 => pen.say(Word::StateOff),
            _ => {}
        }
        pen.end();
        self.answer(Step::Dose, NO_WHEEL, pen);
        pen.tab();
        self.answer(Step::Window, NO_WHEEL, pen);
        pen.end();
        if state == 2 {
            // what is taken out has no other figures that matter
            return pen.line(Word::StateGone);
        }
        self.when(pen);
        pen.end();
    }
}
