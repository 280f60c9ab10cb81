//! Figures on the cards and in the questions: volumes in their units, hours from UTC,
//! alarms, and the step of a first set-up.

use dosewright_core::book::Book;
use dosewright_core::civil::Days;
use dosewright_core::config::Container;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::panel::Input::{Press, Right};
use dosewright_core::panel::{Card, Language, Preferences, Unit, zones};
use dosewright_core::record::Alarm;
use dosewright_core::schedule::WallClock;
use dosewright_core::stock::Stock;
use dosewright_core::timetable::Timetable;
use dosewright_core::tube::{Found, Tube};
use dosewright_core::units::Volume;

use crate::forged::{ENTRY, H, Looking, N, NOW, book, flow};

/// A line of a card as it is shown of a state.
fn line(state: Book<N, H>, preferences: Preferences, card: Card, line: usize) -> String {
    let mut looking = Looking::at(state, preferences);
    while looking.panel.card() != card {
        looking.touch(Right);
    }
    looking.lines().swap_remove(line)
}

#[test]
fn tenths_are_shown_below_a_thousand_litres_and_a_hundred_fluid_ounces() {
    // a US fluid ounce is 29.573 53 ml (NIST Handbook 44, Appendix C)
    let us = Unit::UsFluidOunce;
    for (unit, ul, shown) in [
        (Unit::Metric, 120_000, "120 ml"),
        (Unit::Metric, 120_300, "120.3 ml"),
        (Unit::Metric, 999_900, "999.9 ml"),
        (Unit::Metric, 1_000_000, "1 l"),
        (Unit::Metric, 8_100_000, "8.1 l"),
        (Unit::Metric, 999_900_000, "999.9 l"),
        (Unit::Metric, 1_000_500_000, "1000 l"),
        (us, 29_574, "1.0 fl oz"),
        (us, 2_954_400, "99.9 fl oz"),
        (us, 2_969_200, "100 fl oz"),
    ] {
        // nothing is dosed: the account says what is there, and no date
        let container = Container { capacity: Volume::from_ml(2_000_000), ..Container::NONE };
        let stock = Stock { container, level: Volume::from_ul(ul), ..Stock::NONE };
        let state = Book { timetable: Timetable::EMPTY, stock, ..book() };
        let preferences = Preferences { unit, ..Preferences::NEW };
        let found = line(state, preferences, Card::Supply, 1);
        assert_eq!(found, format!("Product{shown:>13}"));
    }
}

#[test]
fn questions_are_in_fluid_ounces_where_they_are_liked() {
    // set-up: the head; supply: the container that is filled; the first entry
    let (set_up, supply, timetable) = (8, 2, 3);
    for (unit, touches, asked) in [
        // 30 ml and 120 ml: 1.014 and 4.058 US, 1.056 and 4.223 imperial fluid ounces
        // (NIST Handbook 44, Appendix C); of ten litres 338.1 and 352.0
        (Unit::Metric, [(Right, set_up), (Press, 1), (Right, 3), (Press, 1)], "[26.5 ml/min]"),
        (
            Unit::UsFluidOunce,
            [(Right, set_up), (Press, 1), (Right, 3), (Press, 1)],
            "[0.90 fl oz/min]",
        ),
        (
            Unit::ImperialFluidOunce,
            [(Right, set_up), (Press, 1), (Right, 3), (Press, 1)],
            "[0.93 fl oz/min]",
        ),
        (Unit::Metric, [(Right, supply), (Press, 2), (Right, 0), (Press, 0)], "10.0 l"),
        (Unit::UsFluidOunce, [(Right, supply), (Press, 2), (Right, 0), (Press, 0)], "338 fl oz"),
        (
            Unit::ImperialFluidOunce,
            [(Right, supply), (Press, 2), (Right, 0), (Press, 0)],
            "352 fl oz",
        ),
        (
            Unit::UsFluidOunce,
            [(Right, timetable), (Press, 1), (Right, 3), (Press, 1)],
            "[4.1 fl oz]",
        ),
        (
            Unit::ImperialFluidOunce,
            [(Right, timetable), (Press, 1), (Right, 3), (Press, 1)],
            "[4.2 fl oz]",
        ),
    ] {
        let mut looking = Looking::at(book(), Preferences { unit, ..Preferences::NEW });
        looking.touches(&touches);
        assert!(looking.lines().iter().any(|line| line == asked), "{asked}: {}", looking.screen());
    }
}

#[test]
fn the_clock_tells_how_far_it_is_from_utc() {
    for (place, shown) in [
        ("UTC", "+00:00"),
        ("Berlin, Paris", "+02:00"),
        ("New York", "-04:00"),
        ("Delhi", "+05:30"),
        ("Honolulu", "-10:00"),
    ] {
        let at = zones::NAMES.iter().position(|name| *name == place).unwrap();
        let zone = zones::zone_of(at).unwrap();
        let mut state = book();
        state.clock = state.clock.map(|clock| WallClock { zone, ..clock });
        let found = line(state, Preferences::NEW, Card::Clock, 2);
        assert!(found.ends_with(&format!("UTC{shown}")), "{place}: {found}");
    }
}

#[test]
fn an_entry_of_every_so_many_hours_is_of_no_night_and_no_day() {
    let mut state = book();
    let every = Entry { enabled: true, ..state.timetable.get(EntryId(3)).unwrap() };
    assert!(state.timetable.remove(every.id));
    state.timetable.put(every).unwrap();
    let mut looking = Looking::at(state, Preferences::NEW);
    looking.touches(&[(Right, 3), (Press, 1), (Right, 2), (Press, 1)]);
    let shown = ["Entry 3", "120 ml        45 min", "every 6 h", "> put in force"];
    assert_eq!(looking.lines(), shown);
}

const MIN_MS: u64 = 60_000;
const HOUR_MS: u64 = 60 * MIN_MS;

/// The lines of the first entry's card as it would be put in force, and where it is chosen.
fn entry_lines(entry: Entry, preferences: Preferences) -> [String; 3] {
    let mut state = book();
    for id in [1, 2, 3] {
        assert!(state.timetable.remove(EntryId(id)));
    }
    state.timetable.put(Entry { id: EntryId(1), enabled: true, ..entry }).unwrap();
    let mut looking = Looking::at(state, preferences);
    looking.touches(&[(Right, 3), (Press, 1)]);
    let chosen = looking.lines().swap_remove(1);
    looking.touch(Press);
    let [_, dose, when, _] = <[String; 4]>::try_from(looking.lines()).unwrap();
    [chosen, dose, when]
}

#[test]
fn an_interval_is_shown_as_it_runs() {
    let every = |every_ms, language| {
        let recurrence = Recurrence::Interval { every_ms, from: NOW };
        let preferences = Preferences { language, ..Preferences::NEW };
        let [chosen, _, when] = entry_lines(Entry { recurrence, ..ENTRY }, preferences);
        assert_eq!(chosen, when);
        when
    };
    for (ms, shown) in [
        (MIN_MS, "1 min"),
        (90_000, "1 min 30 s"),
        (90 * MIN_MS, "1 h 30 min"),
        (6 * HOUR_MS, "6 h"),
        (25 * HOUR_MS + 30 * MIN_MS, "25 h 30 min"),
        (50 * HOUR_MS + 15 * MIN_MS, "50 h 15 min"),
        (1000 * HOUR_MS - MIN_MS, "999 h 59 min"),
        (1000 * HOUR_MS, "41 d 16 h"),
        (1440 * HOUR_MS, "60 d"),
        // there is no room for the minutes
        (366 * 24 * HOUR_MS - MIN_MS, "365 d 23 h"),
    ] {
        assert_eq!(every(ms, Language::English), format!("every {shown}"));
        for &language in Language::ALL {
            let line = every(ms, language);
            assert!(line.ends_with(&format!(" {shown}")), "{language:?}: {line}");
        }
    }
}

/// Two days side by side in small letters read as one: `madi`, which is Tuesday and Sunday,
/// is French for Tuesday.
#[test]
fn days_side_by_side_are_told_apart_by_their_capitals() {
    for &language in Language::ALL {
        for first in 0..7 {
            for second in first + 1..7 {
                let days = Days::from_bits(1 << first | 1 << second);
                let recurrence = Recurrence::Weekly { days, at_min: 45, by_night: true };
                let preferences = Preferences { language, ..Preferences::NEW };
                let entry = Entry { recurrence, ..ENTRY };
                let [_, _, when] = entry_lines(entry, preferences);
                let shown: Vec<char> = when.trim_start_matches("00:45 ").chars().collect();
                let [a, b, c, d] = shown[..] else { panic!("{language:?}: {when}") };
                let is_capital = [a, b, c, d].map(char::is_uppercase);
                assert_eq!(is_capital, [true, false, true, false], "{language:?}: {when}");
            }
        }
    }
}

#[test]
fn a_window_is_shown_as_it_runs() {
    let us = Unit::UsFluidOunce;
    for (unit, ml, window_ms, shown) in [
        (Unit::Metric, 120, 45 * MIN_MS, "120 ml        45 min"),
        (Unit::Metric, 120, 65_000, "120 ml     1 min 5 s"),
        (Unit::Metric, 120, 500, "120 ml           1 s"),
        (Unit::Metric, 120, 299 * MIN_MS, "120 ml       299 min"),
        (Unit::Metric, 120, 999 * MIN_MS + 59_000, "120 ml  999 min 59 s"),
        (Unit::Metric, 120, 1000 * MIN_MS, "120 ml   16 h 40 min"),
        (Unit::Metric, 120, 168 * HOUR_MS, "120 ml         168 h"),
        (us, 120, 65_000, "4.1 fl oz  1 min 5 s"),
        // there is no room for the second part
        (us, 900, 65_000, "30.4 fl oz     1 min"),
        (us, 900, 167 * HOUR_MS + 59 * MIN_MS, "30.4 fl oz     167 h"),
    ] {
        let (volume, window_ms) = (Volume::from_ml(ml), window_ms as u32);
        let preferences = Preferences { unit, ..Preferences::NEW };
        let entry = Entry { volume, window_ms, ..ENTRY };
        let [_, dose, _] = entry_lines(entry, preferences);
        assert_eq!(dose, shown);
        let mut state = book();
        state.timetable.put(entry).unwrap();
        assert_eq!(line(state, preferences, Card::Next, 1), shown);
    }
}

#[test]
fn o4_uncertainty_is_of_the_flow_in_force_and_trend_of_the_tube_set() {
    let of =
        |state: Book<N, H>| [1, 2].map(|at| line(state, Preferences::NEW, Card::Calibrate, at));
    let mut state = book();
    assert_eq!(of(state), ["26.5 ml/min    ±1.3%", "Tube until  4 Jul 27"]);
    // set by hand, to less and to more than was found
    for (ul, shown) in [(20_000, "20 ml/min"), (46_500, "46.5 ml/min")] {
        state.head.as_mut().unwrap().flow = flow(ul);
        assert_eq!(of(state), [shown, "Tube until  4 Jul 27"]);
    }
    // one as found has shown the wear, and leaves flow and uncertainty as they were
    let mut worn = book();
    worn.tube.note(Found { at: NOW, flow: flow(25_500), uncertainty_ppm: 8000 });
    let [shown, until] = of(worn);
    assert_eq!(shown, "26.5 ml/min    ±1.3%");
    assert!(until.starts_with("Tube until"), "{until}");
    // another reading gives it
    state.tube.note(Found { at: NOW, flow: flow(46_500), uncertainty_ppm: 8000 });
    assert_eq!(of(state), ["46.5 ml/min    ±0.8%", ""]);
    // one as found leaves it as it was, and its uncertainty is no other's
    state.tube.note(Found { at: NOW, flow: flow(46_000), uncertainty_ppm: 8000 });
    assert_eq!(of(state), ["46.5 ml/min    ±0.8%", ""]);
}

#[test]
fn who_has_calibrated_has_primed() {
    let bare = Book { timetable: Timetable::EMPTY, ..book() };
    assert_eq!(line(bare, Preferences::NEW, Card::Last, 3), "> set up, step 8/8");
    let tube = Tube { found: [None; 3], ..bare.tube };
    assert_eq!(line(Book { tube, ..bare }, Preferences::NEW, Card::Last, 3), "> set up, step 6/8");
}

#[test]
fn without_an_entry_an_unset_clock_is_no_alarm_and_others_are() {
    let mut state = Book::empty();
    // lines that cannot be read are no device that is being set up
    state.damaged = 1;
    state.alarms = 1 << Alarm::ClockUnset as u16 | 1 << Alarm::MemoryDamaged as u16;
    assert_eq!(line(state, Preferences::NEW, Card::Last, 2), "! memory damaged");
    state.alarms |= 1 << Alarm::LowLevel as u16;
    assert_eq!(line(state, Preferences::NEW, Card::Last, 2), "! memory damaged  +1");
}
