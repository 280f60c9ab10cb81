//! What a draft proposes: what is in force. Taken as it stands it changes nothing, and
//! asks the controller for what it is there for.

use std::collections::BTreeMap;

use dosewright_core::book::Book;
use dosewright_core::civil::{Date, Local};
use dosewright_core::config::Head;
use dosewright_core::controller::Controller;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{self, Hold, Left, Press, Right};
use dosewright_core::panel::{self, Card, Desk, Language, Panel, Preferences, Recent, Unit, View};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::Volume;

use crate::forged::{ENTRY, H, Logic, Looking, N, NOW, book};

/// A desk that takes whatever is asked for and changes nothing.
struct Asked {
    logic: Logic,
    recent: Recent,
    /// What was asked for, keys left out: its name, and whether it is what is in force.
    events: Vec<(String, bool)>,
    /// The last timetable that was.
    timetable: Option<Timetable<N>>,
}

impl Asked {
    fn of(logic: Logic, recent: Recent) -> Self {
        Self { logic, recent, events: Vec::new(), timetable: None }
    }
}

impl Desk<N, H> for Asked {
    fn now(&mut self) -> Instant {
        NOW
    }

    fn controller(&self) -> &Controller<N, H> {
        &self.logic
    }

    fn recent(&self) -> &Recent {
        &self.recent
    }

    fn hand_in(&mut self, event: Event<'_, N>) -> Option<Refusal> {
        let book = self.logic.book();
        let is_in_force = match event {
            Event::Key { .. } | Event::Wake => return None,
            // with the flow that a calibration has found
            Event::SetHead(head) => Some(*head) == book.head,
            Event::Container(container, level) => {
                *container == book.stock.container && level == book.account()
            }
            Event::Refill(level) => level == book.stock.container.capacity,
            Event::Timetable(timetable) => {
                self.timetable = Some(*timetable);
                *timetable == book.timetable
            }
            Event::RunAgain(id) => id == ENTRY.id,
            // 3 m of 3.2 mm hold 24.13 ml; it is shown to a ml, or a tenth of an ounce
            Event::Prime(volume) => volume.as_ul().abs_diff(24_127) < 1_500,
            _ => true,
        };
        let name = format!("{event:?}");
        let name = name.split(['(', ' ']).next().unwrap().to_owned();
        self.events.push((name, is_in_force));
        None
    }
}

/// Everything but what a new device has.
const KEPT: Preferences = Preferences {
    language: Language::English,
    unit: Unit::Metric,
    twelve_hours: true,
    tube_dm: 30,
    bore: 1,
};

/// A device that is set up, with a head of its own.
fn set_up() -> Book<N, H> {
    let mut book = book();
    let roller_pass = Volume::from_ul(290);
    book.head = book.head.map(|head| Head { rollers: 4, roller_pass, ..head });
    // a heel of its own, and hours that are no whole number
    book.stock.container.heel = Volume::from_ml(300);
    let third = book.timetable.get(EntryId(3)).unwrap();
    replace(&mut book, Entry { recurrence: EVERY_90_MIN, ..third });
    book
}

const EVERY_90_MIN: Recurrence = Recurrence::Interval { every_ms: 5_400_000, from: NOW };

fn replace(book: &mut Book<N, H>, entry: Entry) {
    assert!(book.timetable.remove(entry.id));
    book.timetable.put(entry).unwrap();
}

/// Opens what is behind a card, at a choice of it, and takes all as it is proposed.
fn taken(state: Book<N, H>, kept: Preferences, card: usize, choice: usize) -> (Asked, Panel) {
    let Looking { logic, recent, mut panel } = Looking::at(state, kept);
    let mut desk = Asked::of(logic, recent);
    let mut touch = |panel: &mut Panel, input, times| {
        for _ in 0..times {
            panel::operate(panel, &mut desk, input);
        }
    };
    touch(&mut panel, Right, card);
    touch(&mut panel, Press, 1);
    touch(&mut panel, Right, choice);
    for _ in 0..40 {
        if !panel.has_draft() {
            break;
        }
        touch(&mut panel, Press, 1);
    }
    touch(&mut panel, Hold, 2);
    (desk, panel)
}

/// Whether it has all that is in force, and one entry more.
fn is_one_more(new: Timetable<N>) -> bool {
    let before = set_up().timetable;
    new.ids().count() == before.ids().count() + 1
        && before.entries().all(|entry| new.get(entry.id) == Some(entry))
}

#[test]
fn a_draft_taken_as_it_is_proposed_changes_nothing() {
    let mut asked: BTreeMap<String, usize> = BTreeMap::new();
    for unit in Unit::ALL {
        let kept = Preferences { unit, ..KEPT };
        for (at, card) in Card::ALL.into_iter().enumerate() {
            // behind a choice there is another draft: each of them
            let is_choice = matches!(card, Card::Supply | Card::Timetable | Card::SetUp);
            for choice in 0..if is_choice { 9 } else { 1 } {
                let (desk, panel) = taken(set_up(), kept, at, choice);
                assert_eq!(panel.preferences(), kept, "{card:?} {choice}");
                for (name, is_in_force) in desk.events {
                    // a new entry is one more
                    let is_new = name == "Timetable" && desk.timetable.is_some_and(is_one_more);
                    assert!(is_in_force || is_new, "{card:?} {choice}: {name} in {unit:?}");
                    *asked.entry(name).or_default() += 1;
                }
            }
        }
    }
    let names: Vec<&str> = asked.keys().map(String::as_str).collect();
    let each = "Acknowledge CalibrateInto Container PackChanged Prime Refill RunAgain SetHead \
        SetPin Timetable TubeChanged";
    // the same zone is no setting of the clock, nor is the same time
    assert_eq!(names.join(" "), each);
}

#[test]
fn the_first_dose_of_every_so_many_hours_comes_at_the_start_that_was_entered() {
    let card = Card::ALL.iter().position(|card| *card == Card::Timetable).unwrap();
    let mut starts = Vec::new();
    for turns in [0, 3, 9, 10, 11, 12, 20] {
        let state = Book { timetable: Timetable::EMPTY, ..set_up() };
        let kept = Preferences { twelve_hours: false, ..KEPT };
        let Looking { logic, recent, mut panel } = Looking::at(state, kept);
        let mut desk = Asked::of(logic, recent);
        // the dose, how often, every so many hours, and when it begins
        for (times, input) in [(card, Right), (2, Press), (2, Right), (2, Press), (turns, Right)] {
            for _ in 0..times {
                panel::operate(&mut panel, &mut desk, input);
            }
        }
        let view = View { controller: &desk.logic, recent: &desk.recent, now: NOW };
        let screen = panel.screen(&view).to_string();
        let begins = screen.lines().nth(2).unwrap().replace(['[', ']'], "");
        let (hour, minute) = begins.split_once(':').unwrap_or_else(|| panic!("{screen}"));
        let begins_min = 60 * hour.parse::<u64>().unwrap() + minute.parse::<u64>().unwrap();
        for _ in 0..6 {
            if desk.timetable.is_none() {
                panel::operate(&mut panel, &mut desk, Press);
            }
        }
        let timetable = desk.timetable.expect("it was put in force");
        let entry = timetable.entries().next().unwrap();
        // it is 10:05
        let wait = Duration::from_min((begins_min + 24 * 60 - 605) % (24 * 60));
        let every = Recurrence::Interval { every_ms: 86_400_000, from: NOW.plus(wait) };
        assert_eq!(entry.recurrence, every, "{screen}");
        starts.push(begins_min);
    }
    assert!(starts.iter().any(|min| *min < 605) && starts.iter().any(|min| *min > 605));
}

/// Touches of a panel at a desk that takes whatever is asked for.
fn hand(panel: &mut Panel, desk: &mut Asked, touches: &[(Input, usize)]) {
    for &(input, times) in touches {
        for _ in 0..times {
            panel::operate(panel, desk, input);
        }
    }
}

#[test]
fn another_number_of_hours_counts_from_the_same_start() {
    let Looking { logic, recent, mut panel } = Looking::at(set_up(), KEPT);
    let mut desk = Asked::of(logic, recent);
    // the third entry; its hours are the answer before its window and its state
    hand(&mut panel, &mut desk, &[(Right, 3), (Press, 1), (Right, 2), (Press, 1), (Left, 3)]);
    let lines = |panel: &Panel, desk: &Asked| {
        let view = View { controller: &desk.logic, recent: &desk.recent, now: NOW };
        panel.screen(&view).to_string().lines().map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(lines(&panel, &desk)[1..3], ["Every so many hours", "2 h"]);
    hand(&mut panel, &mut desk, &[(Press, 1), (Right, 1), (Press, 2), (Right, 3), (Press, 1)]);
    assert_eq!(lines(&panel, &desk)[2], "every 5 h");
    hand(&mut panel, &mut desk, &[(Press, 1)]);
    let entry = desk.timetable.expect("it was put in force").get(EntryId(3)).unwrap();
    assert_eq!(entry.recurrence, Recurrence::Interval { every_ms: 5 * 3_600_000, from: NOW });
}

#[test]
fn a_figure_of_more_digits_than_there_are_wheels_is_nines_and_stays_as_it_was() {
    let mut state = set_up();
    replace(&mut state, Entry { volume: Volume::from_ml(12_000), window_ms: 72_000_000, ..ENTRY });
    let mut looking = Looking::at(state, KEPT);
    looking.touches(&[(Right, 3), (Press, 2)]);
    // what runs is shown at the end, at its question what can be entered
    assert_eq!(looking.lines()[1], "12 l            20 h");
    looking.touches(&[(Left, 2)]);
    assert_eq!(looking.lines()[1..3], ["Spread over", "999 min"]);
    looking.touches(&[(Left, 3)]);
    assert_eq!(looking.lines()[1..3], ["A dose is", "9999 ml"]);
    let (desk, _) = taken(state, KEPT, 3, 0);
    assert_eq!(desk.events, [("Timetable".to_owned(), true)]);
}

/// Entry 3, every 90 minutes, of a dose and a window that are no whole numbers, with one of
/// its answers turned up by one and back again, by the wheel that so many presses lead to.
fn turned_and_back(answers_back: usize, presses: usize) -> (Vec<String>, Entry) {
    let mut state = set_up();
    let third = state.timetable.get(EntryId(3)).unwrap();
    let third = Entry { volume: Volume::from_ul(53_500), window_ms: 750_000, ..third };
    replace(&mut state, third);
    let Looking { logic, recent, mut panel } = Looking::at(state, KEPT);
    let mut desk = Asked::of(logic, recent);
    hand(&mut panel, &mut desk, &[(Right, 3), (Press, 1), (Right, 2), (Press, 1)]);
    if answers_back > 0 {
        hand(&mut panel, &mut desk, &[(Left, answers_back), (Press, 1), (Right, 1)]);
        hand(&mut panel, &mut desk, &[(Press, presses), (Right, 1), (Left, 1), (Press, 1)]);
    }
    let view = View { controller: &desk.logic, recent: &desk.recent, now: NOW };
    let lines = panel.screen(&view).to_string().lines().map(str::to_owned).collect();
    hand(&mut panel, &mut desk, &[(Press, 1)]);
    (lines, desk.timetable.expect("it was put in force").get(EntryId(3)).unwrap())
}

#[test]
fn what_the_end_of_a_draft_shows_of_an_entry_is_what_comes_in_force() {
    let shown = |lines: &[String]| [lines[1].clone(), lines[2].clone()];
    let (lines, as_it_was) = turned_and_back(0, 0);
    assert_eq!(shown(&lines), ["53.5 ml  12 min 30 s", "every 1 h 30 min"]);
    assert_eq!((as_it_was.volume, as_it_was.window_ms), (Volume::from_ul(53_500), 750_000));
    assert_eq!(as_it_was.recurrence, EVERY_90_MIN);
    // a figure that is rounded where it is asked can be said as it is shown there: state,
    // window, hours, dose
    let (lines, entry) = turned_and_back(2, 2);
    assert_eq!(shown(&lines), ["53.5 ml       13 min", "every 1 h 30 min"]);
    assert_eq!(entry, Entry { window_ms: 780_000, ..as_it_was });
    let (lines, entry) = turned_and_back(3, 2);
    assert_eq!(shown(&lines), ["53.5 ml  12 min 30 s", "every 2 h"]);
    let every = Recurrence::Interval { every_ms: 7_200_000, from: NOW };
    assert_eq!(entry, Entry { recurrence: every, ..as_it_was });
    let (lines, entry) = turned_and_back(4, 3);
    assert_eq!(shown(&lines), ["54 ml    12 min 30 s", "every 1 h 30 min"]);
    assert_eq!(entry, Entry { volume: Volume::from_ml(54), ..as_it_was });
}

/// A start dialled for every 24 hours, by a clock that shows a local time of Berlin: what
/// the end of the draft shows, and when the first dose comes.
fn begins(now: Local, hours: usize, minutes: [(Input, usize); 3]) -> (String, Instant) {
    let mut state = Book { timetable: Timetable::EMPTY, ..set_up() };
    let utc = state.zone.to_utc(now, GapRule::Shift);
    let clock = |clock| WallClock { offset_ms: utc.as_ms() - NOW.as_ms(), ..clock };
    state.clock = state.clock.map(clock);
    let kept = Preferences { twelve_hours: false, ..KEPT };
    let Looking { logic, recent, mut panel } = Looking::at(state, kept);
    let mut desk = Asked::of(logic, recent);
    hand(&mut panel, &mut desk, &[(Right, 3), (Press, 2), (Right, 2), (Press, 2)]);
    // of 00:45
    hand(&mut panel, &mut desk, &[(Right, 1 + hours), (Press, 1)]);
    hand(&mut panel, &mut desk, &minutes);
    // and the window as it is
    hand(&mut panel, &mut desk, &[(Press, 2)]);
    let view = View { controller: &desk.logic, recent: &desk.recent, now: NOW };
    let shown = panel.screen(&view).to_string().lines().nth(2).unwrap().to_owned();
    hand(&mut panel, &mut desk, &[(Press, 1)]);
    let entry = desk.timetable.expect("it was put in force").entries().next().unwrap();
    let Recurrence::Interval { from, .. } = entry.recurrence else { panic!("{entry:?}") };
    (shown, from)
}

#[test]
fn d8_the_start_of_every_so_many_hours_is_by_the_clock_over_a_change_of_it() {
    let evening = |month, day| {
        let date = Date::from_ymd(2026, month, day).unwrap();
        Local::new(date, Duration::from_ms(22 * 3_600_000 + 55_000))
    };
    let (minute_35, minute_30) =
        ([(Left, 1), (Press, 1), (Left, 0)], [(Left, 1), (Press, 1), (Left, 5)]);
    // it is 22:00:55; the night of the change has an hour more, or less
    for (now, hours, minutes, shown, wait_s) in [
        (evening(10, 24), 6, minute_35, "06:35 every 24 h", 34_445),
        (evening(10, 20), 6, minute_35, "06:35 every 24 h", 30_845),
        (evening(3, 28), 6, minute_35, "06:35 every 24 h", 27_245),
        // half past two is none in spring, and runs at half past three
        (evening(3, 28), 2, minute_30, "02:30 every 24 h", 16_145),
        // and comes in autumn in its first pass
        (evening(10, 24), 2, minute_30, "02:30 every 24 h", 16_145),
    ] {
        let first = NOW.plus(Duration::from_ms(wait_s * 1000));
        assert_eq!(begins(now, hours, minutes), (shown.to_owned(), first), "{now:?}");
    }
}
