//! Place and container as they are set up on a device.

use dosewright_core::config::Container;
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{Left, Press, Right};
use dosewright_core::panel::{Card, Preferences, Unit, zones};
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

use crate::rig::Rig;
use crate::touch::at_the_container;

#[test]
fn a_zone_that_is_none_of_the_places_is_a_choice_of_its_own() {
    let mut rig = Rig::set_up(Preferences::NEW);
    // Kathmandu: 5 h 45 min (IANA time zone database)
    let zone = Zone { offset_s: 20_700, summer: None };
    assert_eq!(rig.act(Event::SetZone(&zone)), None);
    rig.go_to_card(Card::SetUp);
    rig.touches(&[(Press, 3)]);
    assert_eq!(rig.lines()[1..3], ["Time zone", "[as it was found]"]);
    let (first, last) = (zones::NAMES[0], zones::NAMES[zones::COUNT - 1]);
    for (turn, shown) in
        [(Right, first), (Left, "as it was found"), (Left, last), (Right, "as it was found")]
    {
        rig.touch(turn);
        assert_eq!(rig.lines()[2], format!("[{shown}]"));
    }
    // taken as it is, it asks for nothing
    let mut left = rig.clone();
    let asked = rig.side.asked;
    left.touches(&[(Press, 3)]);
    assert_eq!(left.lines()[1], "as it was found");
    left.touch(Press);
    assert_eq!(left.lines()[2], "In force");
    assert_eq!((left.side.asked, left.book().zone), (asked, zone));
    // a place is put in force, and is then all there is to choose from
    rig.touches(&[(Left, 1), (Press, 4)]);
    assert_eq!(rig.side.asked, asked + 1);
    assert_eq!(Some(rig.book().zone), zones::zone_of(zones::COUNT - 1));
    rig.touches(&[(Press, 3)]);
    for (turn, shown) in [(Right, first), (Left, last)] {
        rig.touch(turn);
        assert_eq!(rig.lines()[2], format!("[{shown}]"));
    }
}

#[test]
fn a_new_container_is_full_in_any_unit() {
    for unit in Unit::ALL {
        let mut rig = at_the_container(Preferences { unit, ..Preferences::NEW });
        rig.touches(&[(Press, 5)]);
        let ten_litres = Volume::from_ml(10_000);
        assert_eq!(rig.book().stock.container.capacity, ten_litres);
        assert_eq!(rig.book().account(), ten_litres, "{unit:?}");
    }
}

#[test]
fn without_an_account_there_is_no_level_to_ask_for() {
    let mut rig = at_the_container(Preferences::NEW);
    let asked = rig.side.asked;
    // 10.0 l, of which the one is turned to nought
    rig.touches(&[(Press, 1), (Right, 1), (Press, 1), (Left, 1), (Press, 3)]);
    assert_eq!(rig.lines(), ["Container", "no account", "", "> put in force"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[3], "> set up, step 6/8");
    assert_eq!(rig.side.asked, asked, "the controller keeps no account anyway");
    assert_eq!(rig.book().stock.container(), None);
}

#[test]
fn an_account_that_is_kept_goes_on_and_nothing_else_is_said() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let (asked, stock) = (rig.side.asked, rig.book().stock);
    rig.go_to_card(Card::SetUp);
    // 8.1 l are in it when none is to be counted
    rig.touches(&[(Press, 1), (Right, 5), (Press, 1)]);
    assert_eq!(rig.lines()[1..3], ["Holds; 0: no count", "[10.0 l]"]);
    rig.touches(&[(Right, 1), (Press, 1), (Left, 1), (Press, 3)]);
    assert_eq!(rig.lines()[1], "no account");
    rig.touch(Press);
    assert_eq!(rig.lines(), ["Not taken:", "no account", "", "> back to the draft"]);
    assert_eq!((rig.side.asked, rig.book().stock), (asked, stock));
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Holds; 0: no count", "[0.0 l]"]);
}

#[test]
fn a_tube_of_no_length_is_asked_again() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let asked = rig.side.asked;
    rig.go_to_card(Card::SetUp);
    rig.touches(&[(Press, 1), (Right, 4), (Press, 1)]);
    assert_eq!(rig.lines()[1..3], ["Length of both lines", "[5.0 m]"]);
    rig.touches(&[(Right, 1), (Press, 1), (Left, 5), (Press, 3)]);
    assert_eq!(rig.lines()[1..3], ["0.0 m", "4.8 mm"]);
    rig.touch(Press);
    assert_eq!(rig.lines(), ["Not taken:", "out of range", "", "> back to the draft"]);
    assert_eq!((rig.side.asked, rig.book().tube.since), (asked, None));
    assert_eq!(rig.panel.preferences().tube_dm, 0);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Length of both lines", "[0.0 m]"]);
    rig.touches(&[(Right, 1), (Press, 1), (Right, 7), (Press, 3)]);
    assert_eq!(rig.lines()[2], "In force");
    assert_eq!((rig.side.asked, rig.panel.preferences().tube_dm), (asked + 1, 70));
}

#[test]
fn another_container_has_a_heel_of_its_size() {
    let mut rig = Rig::set_up(Preferences::NEW);
    let heel = |rig: &Rig| {
        let Container { capacity, heel, .. } = rig.book().stock.container;
        (capacity.as_ul() / 1000, heel.as_ul() / 1000)
    };
    assert_eq!(heel(&rig), (10_000, 400));
    rig.go_to_card(Card::SetUp);
    // 20.0 l: four per cent stay at the bottom
    rig.touches(&[(Press, 1), (Right, 5), (Press, 1), (Right, 1), (Press, 1), (Right, 1)]);
    rig.touches(&[(Press, 6)]);
    assert_eq!(heel(&rig), (20_000, 800), "{:?}", rig.lines());
}
