//! What is not taken, and where the way out of it leads.

use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{self, Left, Press, Right};
use dosewright_core::panel::{Card, Preferences, Recent, View};
use dosewright_core::power::Pack;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{Refusal, Timetable};

use crate::forged::{self, N};
use crate::rig::Rig;

/// A new entry by night whose dose is entered by touches, at its last question: its window.
fn at_the_window(dose: &[(Input, u32)]) -> Rig {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::Timetable);
    rig.touches(&[(Press, 1), (Right, 2), (Press, 1)]);
    rig.touches(dose);
    rig.touches(&[(Press, 5)]);
    assert_eq!(rig.lines()[1..3], ["Spread over", "[45 min]"]);
    rig
}

/// Its start and window, in minutes, once it is in force.
fn entered(rig: &Rig) -> Option<(u16, u32)> {
    let entry = rig.book().timetable.get(EntryId(3))?;
    let Recurrence::Weekly { at_min, .. } = entry.recurrence else { return None };
    Some((at_min, entry.window_ms / 60_000))
}

#[test]
fn another_start_is_taken_as_it_was_offered() {
    // at night the first entry has the time that is proposed
    let mut rig = at_the_window(&[]);
    rig.touches(&[(Press, 2)]);
    assert_eq!(rig.lines()[..2], ["Not taken:", "overlaps entry 1"]);
    let offered = rig.lines()[3].strip_prefix("> take ").unwrap().to_owned();
    rig.touch(Press);
    assert_eq!(rig.lines()[2], format!("{offered} every night"));
    rig.touch(Press);
    let (hour, minute) = offered.split_once(':').unwrap();
    let at_min = 60 * hour.parse::<u16>().unwrap() + minute.parse::<u16>().unwrap();
    assert_ne!(at_min, 45);
    assert_eq!(entered(&rig), Some((at_min, 45)));
}

#[test]
fn the_start_that_is_offered_is_one_for_the_entry_that_is_edited() {
    let mut rig = Rig::set_up(Preferences::NEW);
    // a second one from 06:00 on, every night
    let second = Entry { id: EntryId(2), ..at(360) };
    let mut timetable = rig.book().timetable;
    timetable.put(second).unwrap();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    // the first, from 00:45 to 06:25
    rig.go_to_card(Card::Timetable);
    rig.touches(&[(Press, 2), (Left, 3), (Press, 1), (Right, 7)]);
    rig.touches(&[(Press, 1), (Left, 2), (Press, 2)]);
    assert_eq!(rig.lines()[2], "06:25 Mo-Sa");
    rig.touch(Press);
    assert_eq!(rig.lines()[1..4], ["overlaps entry 2", "is free at 06:45", "> take 06:45"]);
    rig.touches(&[(Press, 2)]);
    let first = rig.book().timetable.get(EntryId(1)).unwrap();
    assert_eq!(first.recurrence, at(405).recurrence);
}

/// An entry that is there, on its nights at another minute.
fn at(at_min: u16) -> Entry {
    let Recurrence::Weekly { days, by_night, .. } = forged::ENTRY.recurrence else { panic!() };
    Entry { recurrence: Recurrence::Weekly { days, at_min, by_night }, ..forged::ENTRY }
}

#[test]
fn another_window_moves_the_start_of_a_new_entry() {
    // five minutes for 220 ml, which take more than eight of pumping
    let mut rig = at_the_window(&[(Right, 1), (Press, 1), (Right, 1), (Press, 2)]);
    rig.touches(&[(Right, 1), (Press, 1), (Left, 4), (Press, 2)]);
    assert_eq!(rig.lines()[1], "220 ml         5 min");
    rig.touch(Press);
    assert_eq!(rig.lines()[..2], ["Not taken:", "it needs a window of"]);
    let offered = rig.lines()[3].strip_prefix("> take ").unwrap().to_owned();
    let window_min: u32 = offered.strip_suffix(" min").unwrap().parse().unwrap();
    rig.touch(Press);
    // from its end to the first water at 06:30 there are still five hours
    let start_min = 390 - 300 - window_min;
    let start = format!("{:02}:{:02} every night", start_min / 60, start_min % 60);
    assert_eq!(rig.lines()[2], start);
}

/// A new entry of 220 ml, its window dialled to five minutes, which take more than eight of
/// pumping; it comes as so many turns choose, and the answers up to its start are given by
/// presses, the start by touches.
fn in_five_minutes(repeats: u32, presses: u32, start: &[(Input, u32)]) -> Rig {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::Timetable);
    rig.touches(&[(Press, 1), (Right, 2), (Press, 1)]);
    rig.touches(&[(Right, 1), (Press, 1), (Right, 1), (Press, 3)]);
    rig.touches(&[(Right, repeats), (Press, presses)]);
    assert_eq!(rig.lines()[1..3], ["Begins at", "[00:45]"]);
    rig.touches(start);
    assert_eq!(rig.lines()[1..3], ["Spread over", "[45 min]"]);
    rig.touches(&[(Right, 1), (Press, 1), (Left, 4), (Press, 1), (Press, 1)]);
    assert_eq!(rig.lines()[1], "220 ml         5 min");
    rig
}

#[test]
fn a_window_that_is_taken_moves_no_start_that_somebody_gave() {
    let dialled = [(Right, 2), (Press, 3)];
    let left = [(Press, 1)];
    for (repeats, presses, start, shown) in [
        (0, 3, &dialled[..], "01:45 every night"),
        (1, 2, &dialled[..], "01:45 every day"),
        // by day there is no first water
        (1, 2, &left[..], "00:45 every day"),
        (2, 2, &dialled[..], "01:45 every 24 h"),
        (2, 2, &left[..], "00:45 every 24 h"),
    ] {
        let mut rig = in_five_minutes(repeats, presses, start);
        assert_eq!(rig.lines()[2], shown);
        rig.touch(Press);
        let least = "it needs a window of";
        assert_eq!(rig.lines()[1..], [least, "9 min", "> take 9 min"], "{shown}");
        rig.touch(Press);
        assert_eq!(rig.lines()[1..3], ["220 ml         9 min", shown]);
    }
}

#[test]
fn the_window_that_is_offered_is_the_least() {
    let mut rig = in_five_minutes(0, 3, &[(Press, 1)]);
    rig.touches(&[(Press, 2), (Left, 1), (Press, 1)]);
    assert_eq!(rig.lines()[1..3], ["Spread over", "[9 min]"]);
    // and a minute less is none
    rig.touches(&[(Right, 1), (Press, 2), (Left, 1), (Press, 2)]);
    assert_eq!(rig.lines()[..2], ["Not taken:", "it needs a window of"]);
}

#[test]
fn o5_a_pin_is_entered_twice_alike() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::SetUp);
    // 1000, and 0000
    rig.touches(&[(Press, 1), (Right, 1), (Press, 2), (Right, 1), (Press, 5)]);
    assert_eq!(rig.lines()[1..3], ["The same again", "[0]"]);
    rig.touches(&[(Press, 5)]);
    assert_eq!(rig.lines()[1], "with a PIN");
    rig.touch(Press);
    assert_eq!(rig.lines()[..2], ["Not taken:", "the two differ"]);
    // both are asked again
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["PIN, 4 to 8 digits", "[1]"]);
    rig.touches(&[(Left, 1), (Press, 5)]);
    assert_eq!(rig.lines()[1..3], ["The same again", "[0]"]);
    assert!(!rig.book().lock.is_set());
    rig.touches(&[(Press, 6)]);
    assert!(rig.book().lock.is_set(), "{:?}", rig.lines());
}

#[test]
fn who_wants_no_pin_needs_no_two_alike() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::SetUp);
    // 1000 and 0000, and then without one
    rig.touches(&[(Press, 1), (Right, 1), (Press, 2), (Right, 1), (Press, 10), (Left, 3)]);
    assert_eq!(rig.lines()[1..3], ["Lock the settings", "with a PIN"]);
    rig.touches(&[(Press, 1), (Right, 1), (Press, 1)]);
    assert_eq!(rig.lines()[1], "without a PIN");
    rig.touch(Press);
    assert_eq!(rig.lines()[2], "In force");
}

#[test]
fn what_runs_by_a_head_that_there_is_none_of_sets_it_up_first() {
    for card in [Card::Prime, Card::Calibrate, Card::Timetable] {
        let mut rig = Rig::new().lit();
        rig.go_to_card(card);
        rig.touch(Press);
        assert_eq!(rig.lines()[..2], ["Head             1/3", "Flow of the head"], "{card:?}");
        rig.touches(&[(Press, 5)]);
        assert!(rig.book().head.is_some());
        rig.go_to_card(card);
        rig.touch(Press);
        assert_ne!(rig.lines()[0], "Head             1/3");
    }
}

#[test]
fn a_device_on_mains_has_no_battery_to_change() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let to_the_battery = [(Press, 1), (Right, 2), (Press, 2)];
    rig.go_to_card(Card::Supply);
    rig.touches(&to_the_battery);
    assert_eq!(rig.lines()[2], "In force");
    assert_eq!(rig.act(Event::SetPack(&Pack::MAINS)), None);
    rig.go_to_card(Card::Supply);
    rig.touch(Press);
    let offered: Vec<String> = (0..3)
        .map(|_| {
            let offered = rig.lines()[2].clone();
            rig.touch(Right);
            offered
        })
        .collect();
    // it goes round between the two others
    assert_eq!(offered[0], offered[2]);
    assert!(!offered.contains(&"[New battery]".to_owned()), "{offered:?}");
}

#[test]
fn a_timetable_that_is_full_offers_no_new_entry() {
    for entries in 1..=N as u16 {
        let mut rig = Rig::set_up(Preferences::NEW);
        let mut timetable = Timetable::<N>::EMPTY;
        for at in 0..entries {
            let id = if at < 2 { at + 1 } else { at + 8 };
            timetable.put(Entry { id: EntryId(id), ..self::at(60 * at) }).unwrap();
        }
        assert_eq!(rig.act(Event::Timetable(&timetable)), None);
        rig.go_to_card(Card::Timetable);
        rig.touch(Press);
        let mut choices = 0;
        let mut is_new = false;
        let first = rig.lines()[1].clone() + &rig.lines()[2];
        loop {
            choices += 1;
            is_new |= rig.lines()[2] == "[New entry]";
            rig.touch(Right);
            if rig.lines()[1].clone() + &rig.lines()[2] == first {
                break;
            }
        }
        let is_full = usize::from(entries) == N;
        assert_eq!((choices, is_new), (entries + u16::from(!is_full), !is_full), "{entries}");
    }
}

#[test]
fn rollers_out_of_range_are_asked_again() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::SetUp);
    // 43 rollers instead of 3
    rig.touches(&[(Press, 1), (Right, 3), (Press, 2), (Right, 5), (Press, 3)]);
    assert_eq!(rig.lines()[1..3], ["26.5 ml/min", "43"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[..2], ["Not taken:", "out of range"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Rollers", "[43]"]);
    rig.touches(&[(Left, 5), (Press, 3)]);
    assert_eq!(rig.lines()[2], "In force");
    assert_eq!(rig.book().head.map(|head| head.rollers), Some(3));
}

#[test]
fn an_entry_without_a_day_is_another_thing_than_one_out_of_range() {
    for (field, reason) in [("days", "no day is chosen"), ("volume", "out of range")] {
        let rig = refused(Refusal::Field { id: EntryId(3), field });
        assert_eq!(rig.lines()[..2], ["Not taken:", reason], "{field}");
    }
}

/// A draft that is answered with a refusal.
fn refused(refusal: Refusal) -> Rig {
    let mut rig = at_the_window(&[]);
    let Rig { side, panel } = &mut rig;
    let (controller, now) = (side.device.controller(), Instant::from_ms(side.now));
    panel.answer(Some(refusal), &View { controller, recent: &Recent::NONE, now });
    rig
}

#[test]
fn o2_a_run_as_long_as_one_may_be_is_offered() {
    for (least_ms, shown) in [
        (600_000, ["run for 10 min", "> run once more"]),
        (600_001, ["at most 10 min", "> back to the draft"]),
    ] {
        let rig = refused(Refusal::RunLonger { least_ms });
        assert_eq!(rig.lines()[2..], shown, "{least_ms}");
    }
}
