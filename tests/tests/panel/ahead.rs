//! The dose to come: what will keep it from running.

use dosewright_core::book::Book;
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::motor::Motor;
use dosewright_core::panel::Input::{Hold, Right};
use dosewright_core::panel::{Card, Preferences};
use dosewright_core::timetable::Timetable;

use crate::forged::{ENTRY, H, Looking, N, NOW, book, flow};
use crate::rig::Rig;

/// The lines of the card of a state.
fn next(state: Book<N, H>) -> Vec<String> {
    let mut looking = Looking::at(state, Preferences::NEW);
    looking.touch(Right);
    looking.lines()
}

#[test]
fn a_dose_whose_settings_are_damaged_is_not_promised() {
    let promised = ["Next dose   We 00:45", "120 ml        45 min", "in 14 h 40 min"];
    let damaged = ["Next dose   We 00:45", "120 ml        45 min", "! settings damaged"];
    assert_eq!(next(book())[..3], promised);
    // without a head nothing runs, and with closed dates that are lost what observes them
    assert_eq!(next(Book { head: None, ..book() })[..3], damaged);
    let lost = Book { closed_damaged: true, ..book() };
    assert_eq!(next(lost)[..3], damaged);
    let state = |entry| {
        let mut state = Book { timetable: Timetable::EMPTY, ..lost };
        state.timetable.put(entry).unwrap();
        state
    };
    assert_eq!(next(state(ENTRY))[..3], damaged);
    assert_eq!(next(state(Entry { observes_closed: false, ..ENTRY }))[..3], promised);
    let recurrence = Recurrence::Interval { every_ms: 21_600_000, from: NOW };
    let every = next(state(Entry { recurrence, ..ENTRY }));
    assert!(every[2] != damaged[2], "{every:?}");
    assert_eq!(Head::with_flow(flow(26_500)), book().head.unwrap());
}

#[test]
fn entries_that_are_lost_are_counted() {
    let card = |damaged| {
        let mut looking = Looking::at(Book { damaged, ..book() }, Preferences::NEW);
        for _ in 0..3 {
            looking.touch(Right);
        }
        looking.lines()[1].clone()
    };
    assert_eq!(card(0), "Entries            3");
    assert_eq!(card(0b10), "Entries          3/4");
    assert_eq!(card(0b1010), "Entries          3/5");
}

#[test]
fn a_dose_that_a_latched_motor_will_keep_off_is_not_promised() {
    let mut latched = book();
    latched.motor.failed(NOW, Motor::LATCHED - 1);
    assert_eq!(next(latched)[2], "in 14 h 40 min", "it is tried again after a rest");
    latched.motor.failed(NOW, Motor::LATCHED);
    assert_eq!(next(latched)[2], "! fault");
}

#[test]
fn where_none_is_due_for_want_of_a_clock_that_is_said() {
    let unset = Book { clock: None, ..book() };
    assert_eq!(next(unset)[..2], ["Next dose", "! clock unset"]);
    // without an entry it makes no odds
    let none = Timetable::EMPTY;
    assert_eq!(next(Book { timetable: none, ..unset })[..2], ["Next dose", "none is due"]);
    assert_eq!(next(Book { timetable: none, ..book() })[..2], ["Next dose", "none is due"]);
    assert!(unset.timetable.has(EntryId(1)));
}

/// The first entry is moved to 02:45, so many minutes after its dose of 00:45 has begun: the
/// card of the next dose, and the one of the last an hour after that.
fn moved_after(min: i64) -> (Vec<String>, Vec<String>) {
    let mut rig = Rig::set_up(Preferences::NEW);
    let due = rig.side.device.controller().next_dose().unwrap().due_at.as_ms();
    rig.until(due + min * 60_000);
    let mut timetable = rig.book().timetable;
    let Recurrence::Weekly { days, by_night, .. } = ENTRY.recurrence else { panic!() };
    let recurrence = Recurrence::Weekly { days, at_min: 165, by_night };
    assert!(timetable.remove(ENTRY.id));
    timetable.put(Entry { recurrence, ..ENTRY }).unwrap();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    rig.go_to_card(Card::Last);
    rig = rig.lit();
    rig.touch(Right);
    let next = rig.lines();
    rig.until(due + 180 * 60_000);
    rig = rig.lit();
    rig.touch(Hold);
    (next, rig.lines())
}

#[test]
fn d2_the_next_dose_is_what_the_repeat_guard_leaves_of_it() {
    // a whole dose after it is not due again
    let (next, last) = moved_after(55);
    assert_eq!(next[..3], ["Next dose   We 02:45", "0 ml          45 min", "! already dosed"]);
    assert_eq!(last[..3], ["Last dose   We 02:45", "Skipped", "already dosed"]);
    // of one that was broken off the rest is
    let (next, last) = moved_after(15);
    assert_eq!(next[0], "Next dose   We 02:45");
    assert!(next[2].starts_with("in "), "{next:?}");
    let volume = next[1].split(" ml").next().unwrap();
    assert!(volume.parse::<f64>().is_ok_and(|ml| ml > 60.0 && ml < 120.0), "{next:?}");
    assert_eq!(last[0], "Last dose   We 02:45");
    assert!(last[1].ends_with(&format!(" {volume} ml")), "{next:?} {last:?}");
}
