//! A draft on the screen: a question, or at the end what it comes to.

use super::{At, Draft, Kind, Step, title};
use crate::civil::Days;
use crate::panel::Panel;
use crate::panel::screen::{Screen, Text};
use crate::panel::show::Style;
use crate::panel::view::View;
use crate::panel::words::Words;
use crate::units::Volume;

impl Draft {
    pub(in crate::panel) fn show<const N: usize, const H: usize>(
        &self,
        panel: &Panel,
        view: &View<'_, N, H>,
        screen: &mut Screen,
    ) {
        // a language is shown in its own words while it is being chosen
        let style = Style::of(self.preferences(panel.preferences));
        let words = style.words;
        let mut head = Text::of(title(self.kind, words));
        if let Kind::Entry(id) = self.kind {
            head.char(' ');
            head.number(u32::from(id.0), 1);
        }
        screen.left(0, &head);
        match self.at {
            At::Wheel { step, wheel, .. } => {
                let Some(step_of) = self.step(step) else { return };
                self.place_of(step, screen);
                self.question(step_of, Some(wheel), &style, view, screen);
                let field = self.field(step_of, &style);
                let at_end = field.ends_at(self.get(step_of), wheel);
                screen.action(if at_end { words.do_done } else { words.do_next });
            }
            At::Look { step } => {
                let Some(step_of) = self.step(step) else { return };
                self.place_of(step, screen);
                self.question(step_of, None, &style, view, screen);
                screen.action(words.do_edit);
            }
            At::Put => {
                self.sum(&style, view, screen);
                screen.action(match self.kind {
                    Kind::Prime | Kind::Calibrate | Kind::RunAgain(_) => words.do_run,
                    Kind::Acknowledge => words.do_acknowledge,
                    _ => words.do_put,
                });
            }
        }
    }

    /// Which question it is, of how many.
    fn place_of(&self, step: u8, screen: &mut Screen) {
        if self.steps().len() < 2 {
            return;
        }
        let mut text = Text::new();
        text.number(u32::from(step).saturating_add(1), 1);
        text.char('/');
        text.number(self.steps().len() as u32, 1);
        screen.right(0, &text);
    }

    fn question<const N: usize, const H: usize>(
        &self,
        step: Step,
        wheel: Option<u8>,
        style: &Style,
        view: &View<'_, N, H>,
        screen: &mut Screen,
    ) {
        let mut label = Text::of(self.label(step, style.words));
        let mut value = Text::new();
        let choice = self.choice(step, style.words);
        let entry = match step {
            Step::WhichEntry => self.entry_at(self.get(step), view),
            _ => None,
        };
        if let Some(entry) = entry {
            // an entry is known by what it does
            label = Text::new();
            let Kind::Entry(id) = entry.kind else { return };
            value.char('[');
            value.say(style.words.entry);
            value.char(' ');
            value.number(u32::from(id.0), 1);
            value.char(']');
            entry.when(style, &mut label);
        } else {
            self.field(step, style).show(style, &mut value, self.get(step), wheel, choice);
        }
        screen.left(1, &label);
        screen.left(2, &value);
    }

    /// The draft of the entry that stands at a choice; `None` for a new one.
    fn entry_at<const N: usize, const H: usize>(
        &self,
        choice: u32,
        view: &View<'_, N, H>,
    ) -> Option<Self> {
        let timetable = &view.controller.book().timetable;
        let entry = timetable.entries().nth(choice as usize)?;
        let mut draft = *self;
        draft.kind = Kind::Entry(entry.id);
        draft.fill(&entry, crate::panel::preferences::Unit::Metric);
        Some(draft)
    }

    /// When its doses come: `00:45 Mo-Sa`, `every 6 h`.
    fn when(&self, style: &Style, text: &mut Text) {
        if self.get(Step::Repeat) >= 2 {
            text.say(style.words.each);
            text.char(' ');
            text.number(self.get(Step::Every), 1);
            text.say(" h");
        } else {
            style.minute(text, self.get(Step::Start));
            text.char(' ');
            style.days(text, Days::from_bits((self.get(Step::Days) & 0x7f) as u8), self.by_night());
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn value(&self, step: Step, style: &Style) -> Text {
        let mut text = Text::new();
        let choice = self.choice(step, style.words);
        self.field(step, style).show(style, &mut text, self.get(step), None, choice);
        text
    }

    /// What it comes to, in two lines.
    fn sum<const N: usize, const H: usize>(
        &self,
        style: &Style,
        view: &View<'_, N, H>,
        screen: &mut Screen,
    ) {
        let Words { outlet_in_vessel, look_first, .. } = style.words;
        let words = style.words;
        match self.kind {
            Kind::NewEntry | Kind::Entry(_) => {
                let mut when = Text::new();
                self.when(style, &mut when);
                screen.left(1, &self.value(Step::Dose, style));
                screen.right(1, &self.value(Step::Window, style));
                screen.left(2, &when);
                let state = match self.get(Step::State) {
                    0 if self.get(Step::Repeat) == 0 => words.by_night,
                    0 if self.get(Step::Repeat) == 1 => words.by_day,
                    0 => return,
                    1 => words.state_off,
                    _ => "",
                };
                if self.get(Step::State) == 2 {
                    // what is taken out has no other figures that matter
                    screen.clear(2);
                    return screen.say(2, words.state_gone);
                }
                if matches!(self.kind, Kind::Entry(_)) || state == words.state_off {
                    screen.right(0, &Text::of(state));
                }
            }
            Kind::Prime => {
                screen.say(1, outlet_in_vessel);
                screen.say(2, words.up_to);
                screen.right(2, &self.value(Step::MostPrime, style));
            }
            Kind::Calibrate => {
                screen.say(1, outlet_in_vessel);
                screen.left(2, &self.value(Step::Vessel, style));
            }
            Kind::RunAgain(id) => {
                screen.say(1, look_first);
                let entry = view.controller.book().timetable.get(id);
                let mut text = Text::new();
                style.volume(&mut text, entry.map_or(Volume::ZERO, |entry| entry.volume));
                screen.left(2, &text);
            }
            Kind::Acknowledge => {
                screen.say(1, look_first);
                if let Some((alarm, _)) = view.alarm() {
                    super::super::cards::alarm(alarm, 0, style, screen, 2);
                }
            }
            Kind::Clock => {
                let date = crate::civil::Date::from_days(self.get(Step::Date) as i32);
                let mut text = Text::new();
                style.long_date(&mut text, date);
                screen.left(1, &text);
                let mut text = Text::new();
                style.minute(&mut text, self.get(Step::Time));
                screen.left(2, &text);
            }
            Kind::Reading => {
                let step = if self.get(Step::Method) == 0 { Step::Amount } else { Step::Mass };
                screen.left(1, &self.value(step, style));
                screen.left(2, &self.value(Step::MeantAs, style));
            }
            Kind::Place => {
                screen.left(1, &self.value(Step::Zone, style));
                screen.left(2, &self.value(Step::Language, style));
            }
            Kind::NewPin => screen.left(1, &self.value(Step::PinWanted, style)),
            Kind::NewPack | Kind::Lock => screen.say(1, look_first),
            Kind::Product if self.get(Step::Capacity) == 0 => {
                screen.say(1, words.no_account);
            }
            _ => {
                for (row, &step) in self.steps().iter().take(2).enumerate() {
                    screen.left(row.saturating_add(1), &self.value(step, style));
                }
            }
        }
    }
}
