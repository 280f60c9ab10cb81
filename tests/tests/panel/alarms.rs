//! What is wrong, wherever somebody looks for it.

use dosewright_core::book::Book;
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Language, Preferences};
use dosewright_core::record::Alarm;
use dosewright_core::timetable::{Refusal, Timetable};

use crate::forged::{self, H, Looking, N, book};
use crate::rig::Rig;

fn with(alarms: &[Alarm]) -> Book<N, H> {
    let mut state = book();
    for &alarm in alarms {
        state.alarms |= 1 << alarm as u16;
    }
    state
}

#[test]
fn m2_a_memory_that_takes_nothing_is_told_though_no_record_says_so() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.side.device.ledger_mut().flash_mut().power_off();
    let pin = Pin::from_digits(b"0417");
    assert_eq!(rig.act(Event::SetPin(pin)), Some(Refusal::Ledger));
    rig.touch(Hold);
    assert_eq!(rig.lines()[2], "! memory fault");
    rig.touch(Right);
    assert_eq!([&rig.lines()[0][..9], &rig.lines()[2]], ["Next dose", "! memory fault"]);
    rig.side.device.ledger_mut().flash_mut().power_on();
    rig.until(rig.side.now + 100_000);
    assert_eq!(rig.act(Event::SetPin(None)), None);
    rig = rig.lit();
    assert_eq!(rig.lines()[2], "");
    rig.touch(Right);
    assert!(rig.lines()[2].starts_with("in "), "{:?}", rig.lines());
}

#[test]
fn what_is_acknowledged_is_what_an_acknowledgement_ends() {
    for (alarms, shown) in [
        (&[Alarm::Leak, Alarm::MotorFault][..], "! motor fault"),
        (&[Alarm::ContainerEmpty, Alarm::MemoryDamaged], "! memory damaged"),
        (&[Alarm::MemoryDamaged, Alarm::MotorFault], "! motor fault"),
        (&[Alarm::Leak], ""),
    ] {
        let mut looking = Looking::at(with(alarms), Preferences::NEW);
        looking.touches(&[(Left, 1), (Press, 1), (Left, 1), (Press, 1)]);
        let lines = ["Acknowledge", "Nobody near it?", shown, "> acknowledge"];
        assert_eq!(looking.lines(), lines);
    }
}

#[test]
fn a_device_without_an_entry_tells_what_is_wrong_before_it_is_set_up_again() {
    let mut state = Book { timetable: Timetable::EMPTY, ..with(&[]) };
    let step = |state| Looking::at(state, Preferences::NEW).lines();
    let lines = ["New entry", "how much and when", "", "> set up, step 8/8"];
    assert_eq!(step(state), lines);
    state.alarms = with(&[Alarm::Leak]).alarms;
    let lines = ["New entry", "how much and when", "! leak", "> set up, step 8/8"];
    assert_eq!(step(state), lines);
    state.alarms |= 1 << Alarm::LowLevel as u16;
    assert_eq!(step(state)[2], "! leak            +1");
}

#[test]
fn o5_what_the_panel_alone_keeps_asks_for_the_pin_that_has_come_back() {
    let mut rig = Rig::set_up(Preferences::NEW);
    assert_eq!(rig.act(Event::SetPin(Pin::from_digits(b"0417"))), None);
    let enter = [(Press, 1), (Right, 4), (Press, 1), (Right, 1), (Press, 1), (Left, 3), (Press, 2)];
    rig.act(Event::Lock);
    rig.go_to_card(Card::SetUp);
    rig.touches(&[(Press, 2)]);
    assert_eq!(rig.lines()[1], "PIN, 4 to 8 digits");
    rig.touches(&enter);
    assert_eq!(rig.lines()[..2], ["Place            1/4", "Language"]);
    // somebody thinks for six minutes
    for turn in [Right, Left, Right, Left, Right, Left, Right] {
        rig.until(rig.side.now + 55_000);
        rig.touch(turn);
    }
    let likes = rig.panel.preferences();
    rig.touches(&[(Press, 5)]);
    assert_eq!((rig.lines()[2].as_str(), rig.panel.preferences()), ("[0]", likes));
    rig.touches(&enter);
    rig.touch(Press);
    assert_ne!(rig.panel.preferences(), likes, "{:?}", rig.lines());
    assert_eq!(rig.panel.preferences().language, Language::ALL[1]);
}

#[test]
fn a_clock_that_was_only_looked_at_goes_on() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let (asked, clock) = (rig.side.asked, rig.book().clock);
    rig.go_to_card(Card::Clock);
    rig.touches(&[(Press, 3)]);
    assert_eq!(rig.lines()[3], "> put in force");
    rig.until(rig.side.now + 50_000);
    rig.touch(Press);
    assert_eq!(rig.lines()[3], "> set the clock");
    assert_eq!((rig.side.asked, rig.book().clock), (asked, clock));
    // one that was turned and back is set to what it shows
    rig.touches(&[(Press, 2), (Right, 2), (Left, 1), (Press, 4)]);
    assert_eq!(rig.side.asked, asked + 1, "{:?}", rig.lines());
    assert_ne!(rig.book().clock, clock);
}

#[test]
fn a_contact_that_is_below_the_heel_is_asked_again() {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::SetUp);
    rig.touches(&[(Press, 1), (Right, 5), (Press, 3)]);
    assert_eq!(rig.lines()[1..3], ["Low contact, 0: none", "[1.0 l]"]);
    // 0.1 l, where 0.4 l stay at the bottom
    rig.touches(&[(Right, 1), (Press, 2), (Left, 1), (Press, 1), (Right, 1), (Press, 2)]);
    assert_eq!(rig.lines()[..2], ["Not taken:", "out of range"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Low contact, 0: none", "[0.1 l]"]);
    assert_eq!(rig.book().stock.container.low, forged::book().stock.container.low);
}
