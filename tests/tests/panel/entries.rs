//! What a knob makes of the entries of a timetable: off, out of it, run again, one more.

use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{self, Left, Press, Right};
use dosewright_core::panel::{Card, Preferences};

use crate::forged::{ENTRY, N};
use crate::rig::Rig;

/// The first entry, its last question opened: whether it is on.
const STATE: [(Input, u32); 3] = [(Press, 2), (Left, 1), (Press, 1)];

#[test]
fn an_entry_is_put_off_on_or_taken_out() {
    for (turns, state) in [(1, Some(false)), (2, None), (3, Some(true))] {
        let mut rig = Rig::set_up(Preferences::NEW);
        rig.go_to_card(Card::Timetable);
        rig.touches(&STATE);
        assert_eq!(rig.lines()[1..3], ["The entry is", "[on]"]);
        rig.touches(&[(Right, turns), (Press, 2)]);
        let entry = rig.book().timetable.get(ENTRY.id);
        assert_eq!(entry.map(|entry| entry.enabled), state, "{turns}");
        assert!(rig.book().timetable.has(EntryId(2)));
    }
}

#[test]
fn what_is_in_no_timetable_any_more_is_not_run_again() {
    let mut rig = Rig::set_up(Preferences::NEW);
    assert_eq!(rig.act(Event::RunAgain(ENTRY.id)), None);
    rig.until(rig.side.now + 100 * 60_000);
    rig = rig.lit();
    assert_eq!(rig.lines()[1..], ["Dosed         120 ml", "", "> run it again"]);
    let mut timetable = rig.book().timetable;
    assert!(timetable.remove(ENTRY.id));
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    assert_eq!(rig.lines()[1..], ["Dosed         120 ml", "", ""]);
    rig.touch(Press);
    assert!(!rig.panel.has_draft(), "{:?}", rig.lines());
}

#[test]
fn a_timetable_that_is_full_by_now_takes_no_new_entry() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::Timetable);
    // a new entry by night, as it is proposed
    rig.touches(&[(Press, 1), (Right, 2), (Press, 1)]);
    let mut timetable = rig.book().timetable;
    for id in 3..=N as u16 {
        timetable.put(Entry { id: EntryId(id), enabled: false, ..ENTRY }).unwrap();
    }
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    for _ in 0..20 {
        if rig.lines()[0] == "Not taken:" {
            break;
        }
        rig.touch(Press);
    }
    assert_eq!(rig.lines()[..2], ["Not taken:", "no line is free"]);
    assert_eq!(rig.book().timetable, timetable);
}
