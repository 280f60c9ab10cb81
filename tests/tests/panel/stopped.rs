//! What stops the pump while it runs, in a hand's run and in a dose.

use dosewright_core::event::Event;
use dosewright_core::panel::Input::{Hold, Press, Right};
use dosewright_core::panel::{Card, Preferences};

use crate::rig::{N, Rig};
use crate::touch::at_the_container;

/// What stops it, and how that is told.
const STOPS: [(Event<'_, N>, &str); 3] = [
    (Event::MotorFault, "! fault"),
    (Event::RemoteStop(true), "! remote stop"),
    (Event::Leak(true), "! leak"),
];

#[test]
fn a_prime_that_something_ended_is_not_done() {
    for (stop, told) in STOPS {
        let mut rig = at_the_container(Preferences::NEW);
        rig.touches(&[(Press, 5)]);
        assert_eq!(rig.lines()[3], "> set up, step 6/8");
        rig.touches(&[(Press, 2)]);
        assert!(rig.side.wires.on);
        rig.until(rig.side.now + 20_000);
        assert_eq!(rig.act(stop), None);
        rig.until(rig.side.now + 1000);
        assert!(!rig.side.wires.on);
        assert_eq!(rig.lines(), ["Prime", "Stopped", told, "> run once more"]);
        // it stays the next step, whatever is looked at
        let mut home = rig.clone();
        home.touch(Hold);
        assert_eq!(home.lines()[3], "> set up, step 6/8");
        rig.touch(Press);
        assert_eq!(rig.lines()[1], "Outlet in a vessel?");
        // what keeps the pump off is why it does not start
        rig.touch(Press);
        assert_eq!(rig.lines()[..2], ["Not taken:", told.trim_start_matches("! ")]);
        for over in [Event::RemoteStop(false), Event::Leak(false)] {
            assert_eq!(rig.act(over), None);
        }
        rig.until(rig.side.now + 100_000);
        // lit again
        rig.touches(&[(Press, 1), (Hold, 2), (Press, 2)]);
        assert!(rig.side.wires.on);
        rig.until(rig.side.now + 360_000);
        rig.touch(Press);
        assert_eq!(rig.lines()[0], "Prime is done");
        rig.touch(Hold);
        assert_eq!(rig.lines()[3], "> set up, step 7/8");
    }
}

#[test]
fn a_calibration_run_that_something_ended_asks_no_reading() {
    for (stop, told) in STOPS {
        let mut rig = Rig::set_up(Preferences::NEW);
        rig.go_to_card(Card::Calibrate);
        rig.touches(&[(Press, 3)]);
        assert!(rig.side.wires.on);
        rig.until(rig.side.now + 20_000);
        assert_eq!(rig.act(stop), None);
        rig.until(rig.side.now + 1000);
        assert!(!rig.side.wires.on);
        assert_eq!(rig.lines(), ["Calibrate", "Stopped", told, "> run once more"]);
        let mut left = rig.clone();
        left.touch(Hold);
        assert!(left.panel.is_home());
        // another run into the same vessel, once the pump may run
        for over in [Event::RemoteStop(false), Event::Leak(false)] {
            assert_eq!(rig.act(over), None);
        }
        rig.until(rig.side.now + 65_000);
        // the first press lights it
        rig.touches(&[(Press, 2)]);
        assert_eq!(rig.lines()[1..3], ["Outlet in a vessel?", "100 ml"]);
        rig.touch(Press);
        assert!(rig.side.wires.on, "{:?}", rig.lines());
        rig.until(rig.side.now + 200_000);
        // dark and locked by then
        rig.touches(&[(Press, 1), (Hold, 1)]);
        assert_eq!(rig.lines()[0], "Reading          1/3", "{told}");
    }
}

#[test]
fn what_is_wrong_goes_before_what_was_done_last() {
    // a draft that nobody came back to, and a leak
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::Clock);
    rig.touch(Press);
    let mut dry = rig.clone();
    assert_eq!(rig.act(Event::Leak(true)), None);
    for rig in [&mut rig, &mut dry] {
        rig.until(rig.side.now + 3 * 86_400_000);
        rig.touches(&[(Press, 1), (Hold, 1)]);
    }
    assert_eq!(dry.lines()[2], "Draft is forgotten");
    assert_eq!(rig.lines()[1..3], ["Skipped", "! leak"]);
    // one that is left
    rig.touches(&[(Right, 6), (Press, 1), (Hold, 1)]);
    assert_eq!(rig.lines()[2], "! leak");
}

#[test]
fn a_dose_that_is_held_says_what_holds_it() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let due = rig.side.device.controller().next_dose().unwrap().due_at.as_ms();
    rig.until(due + 300_000);
    assert_eq!(rig.act(Event::RemoteStop(true)), None);
    let mut rig = rig.lit();
    rig.touch(Hold);
    assert_eq!(rig.lines()[0], "Dosing now");
    assert_eq!(rig.lines()[2..], ["! remote stop", "> stop"]);
    assert_eq!(rig.act(Event::RemoteStop(false)), None);
    assert_eq!(rig.lines()[2], "           of 120 ml");
    assert_eq!(rig.act(Event::MotorFault), None);
    assert_eq!(rig.lines()[2..], ["! fault", "> stop"]);
}
