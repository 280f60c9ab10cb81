//! A draft on the screen: a question, or at the end what it comes to.

use super::put::vessel_ml;
use super::{Draft, Kind, Spec, Step};
use crate::book::Book;
use crate::entry::{Entry, Recurrence};
use crate::panel::field::{NO_WHEEL, to_date};
use crate::panel::pen::Pen;
use crate::panel::preferences::Language;
use crate::panel::view::{self, View};
use crate::panel::words::{self, Word};
use crate::panel::zones;

impl Draft {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn show<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        // a language is shown in its own words while it is being chosen
        self.tell_likes(&mut pen.likes);
        let spec = self.spec();
        pen.say(spec.title);
        if self.kind == Kind::Entry {
            pen.number(u32::from(self.id.0), 1);
        }
        let wheel = self.wheel();
        let Some(step) = self.step else {
            self.sum(spec, view, pen);
            pen.action(spec.put);
            return;
        };
        // which question it is, of how many
        let count = self.count();
        if count > 1 {
            pen.tab().part(u32::from(self.at) + 1, u32::from(count));
        }
        pen.end();
        self.question(step, wheel, view.controller.book(), pen);
        pen.action(if wheel == NO_WHEEL {
            Word::DoEdit
        } else {
            let (field, value) = self.asked(step);
            if field.ends_at(value, wheel) { Word::DoDone } else { Word::DoNext }
        });
    }

    /// The question and its answer. An entry to choose is known by what it does.
    fn question<const N: usize, const H: usize>(
        &self,
        step: Step,
        wheel: u32,
        book: &Book<N, H>,
        pen: &mut Pen<'_>,
    ) {
        let id = if step == Step::WhichEntry { view::entry(book, self.get(step)) } else { None };
        if let Some(entry) = id.and_then(|id| book.timetable.get(id)) {
            when(&entry, pen);
            pen.end().char('[').say(Word::Entry).number(u32::from(entry.id.0), 1).char(']');
        } else {
            pen.line(step.question().label);
            self.answer(step, wheel, pen);
        }
    }

    /// An answer, in brackets as far as it is being turned.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn answer<'a, 'p>(&self, step: Step, wheel: u32, pen: &'a mut Pen<'p>) -> &'a mut Pen<'p> {
        pen.bracket(wheel == 0, '[');
        let (field, value) = self.asked(step);
        if field.is_choice() {
            self.choice(step, value, field.word, pen)
        } else {
            pen.field(field, value, wheel)
        };
        pen.bracket(wheel == 0, ']')
    }

    /// What a choice stands for.
    fn choice<'a, 'p>(
        &self,
        step: Step,
        value: u32,
        first: Word,
        pen: &'a mut Pen<'p>,
    ) -> &'a mut Pen<'p> {
        match step {
            Step::Language => pen.nth(Language::at(value).words(), Word::Name as u16),
            Step::Zone if value as usize >= zones::COUNT => pen.say(Word::AsFound),
            Step::Zone => pen.nth(&words::PLACE_NAMES, value as u16),
            Step::Bore => pen.decimal(value * 16 + 16, 1).say(Word::Millimetre),
            Step::Vessel => pen.count(vessel_ml(value), Word::Millilitre),
            Step::WhichSetting | Step::Fresh => pen.say(self.kind.choice(value).spec().title),
            Step::WhichEntry => pen.say(Word::NewEntry),
            _ => pen.say_of(first as u16, value as u16),
        }
    }

    /// What it comes to: the rest of the first line, and two more.
    fn sum<const N: usize, const H: usize>(
        &self,
        spec: &Spec,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        if matches!(self.kind, Kind::Entry | Kind::NewEntry) {
            return self.sum_entry(view, pen);
        }
        let book = view.controller.book();
        if let Some(word) = spec.before {
            pen.end().say(word);
        }
        if self.kind == Kind::Prime {
            self.answer(Step::MostPrime, NO_WHEEL, pen.say(Word::UpTo));
            return;
        }
        pen.end();
        match self.kind {
            Kind::Clock => {
                pen.long_date(to_date(self.get(Step::Date))).end().minute(self.get(Step::Time));
            }
            Kind::RunAgain => {
                pen.volume(self.entry(book).volume);
            }
            Kind::Acknowledge => {
                if let Some((alarm, _)) = view::alarm(view.controller, view::ENDED_BY_HAND) {
                    pen.alarm(alarm, 0);
                }
            }
            Kind::Product if self.get(Step::Capacity) == 0 => {
                pen.say(Word::NoAccount);
                return;
            }
            Kind::Calibrate => {
                self.answer(Step::Vessel, NO_WHEEL, pen).tab();
                let ms = self.get(Step::RunMs);
                if ms > 0 {
                    pen.length(u64::from(ms));
                }
            }
            _ => {}
        }
        for &step in spec.sum.iter().filter(|&&step| self.asks(step)) {
            self.answer(step, NO_WHEEL, pen).end();
        }
    }

    /// The entry as it would be in force: what is shown is what will run.
    fn sum_entry<const N: usize, const H: usize>(&self, view: &View<'_, N, H>, pen: &mut Pen<'_>) {
        let (state, repeat) = (self.get(Step::State), self.get(Step::Repeat));
        let book = view.controller.book();
        let mut entry = self.entry(book);
        self.enter(&mut entry, book, view.now);
        pen.tab();
        match state {
            0 if repeat < 2 && self.kind == Kind::Entry => {
                pen.say_of(Word::ByNight as u16, repeat as u16);
            }
            1 => {
                pen.say(Word::StateOff);
            }
            _ => {}
        }
        pen.end();
        // in the digits that are entered, where they say all of it
        if self.volume(Step::Dose) == entry.volume {
            self.answer(Step::Dose, NO_WHEEL, pen)
        } else {
            pen.volume(entry.volume)
        };
        pen.tab().window(entry.window_ms).end();
        if state == 2 {
            // what is taken out has no other figures that matter
            pen.say(Word::StateGone);
        } else {
            if repeat == 2 && self.kind == Kind::NewEntry {
                pen.minute(self.get(Step::Begin)).space();
            }
            when(&entry, pen);
        }
    }
}

/// When the doses of an entry come: `00:45 Mo-Sa`, `every 6 h`.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn when(entry: &Entry, pen: &mut Pen<'_>) {
    match entry.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => {
            let all = if by_night { Word::EveryNight } else { Word::EveryDay };
            pen.minute(u32::from(at_min)).space().days(days, all);
        }
        Recurrence::Interval { every_ms, .. } => {
            pen.say(Word::Each).span(Word::H, every_ms);
        }
    }
}
