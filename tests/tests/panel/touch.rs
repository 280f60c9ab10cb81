//! Waking, unlocking, the ring, home; prime under a hand.

use dosewright_core::civil::Local;
use dosewright_core::config::Head;
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Panel, Preferences, Screen, Unit};
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};

use crate::forged::ENTRY;
use crate::rig::{N, Rig};

fn with_head() -> Rig {
    let mut rig = Rig::new();
    let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
    assert_eq!(rig.act(Event::SetHead(&head)), None);
    rig
}

#[test]
fn p2_the_first_touch_only_lights_and_a_hold_opens_the_keys() {
    let mut rig = Rig::new();
    assert_eq!(rig.screen(), Screen::BLANK);
    rig.touch(Press);
    let lit = rig.lines();
    assert_eq!(lit[3], "Hold to unlock keys");
    rig.touches(&[(Right, 3), (Press, 2)]);
    assert_eq!(rig.lines(), lit, "locked keys do nothing");
    rig.touch(Hold);
    assert_eq!(
        rig.lines(),
        [
            "Turn: look or change",
            "Press: do the > line",
            "Hold: back to here",
            "> set up, step 1/8"
        ]
    );
    assert_eq!(rig.side.asked, 0);
    // a minute later it is dark, and the next touch lights what was there
    rig.touch(Right);
    let next = rig.lines();
    rig.until(rig.side.now + 61_000);
    assert_eq!(rig.screen(), Screen::BLANK);
    rig.touch(Press);
    assert_eq!(rig.lines(), next);
}

#[test]
fn the_ring_goes_round_both_ways() {
    let mut rig = with_head().lit();
    let mut seen = Vec::new();
    for _ in Card::ALL {
        seen.push(rig.panel.card());
        assert_eq!(rig.panel.is_home(), seen.len() == 1, "{seen:?}");
        rig.touch(Right);
    }
    assert_eq!(seen, Card::ALL);
    assert!(rig.panel.is_home());
    rig.touch(Left);
    assert_eq!(rig.panel.card(), Card::SetUp);
    rig.touch(Hold);
    assert!(rig.panel.is_home());
}

#[test]
fn o1_prime_stops_at_any_touch_and_by_itself() {
    for touch in [Left, Right, Press, Hold] {
        let mut rig = with_head().lit();
        rig.touches(&[(Right, 4), (Press, 1)]);
        assert!(!rig.side.wires.on, "a look at the outlet comes first");
        rig.touch(Press);
        assert!(rig.side.wires.on);
        assert_eq!(rig.lines()[0], "Priming");
        // long enough for the display to be dark
        rig.until(rig.side.now + 70_000);
        assert!(rig.side.wires.on);
        assert_eq!(rig.screen(), Screen::BLANK);
        rig.touch(touch);
        assert!(!rig.side.wires.on, "{touch:?}");
        assert!(!rig.panel.has_draft());
        // holding leads home; anything else stays where it is
        let card = if touch == Hold { Card::Last } else { Card::Prime };
        assert_eq!(rig.panel.card(), card, "{touch:?}");
    }
    // 60 ml at 30 ml/min
    let mut rig = with_head().lit();
    rig.touches(&[(Right, 4), (Press, 2)]);
    rig.until(rig.side.now + 119_999);
    assert!(rig.side.wires.on);
    rig.until(rig.side.now + 1);
    assert!(!rig.side.wires.on);
}

#[test]
fn o1_a_slow_head_primes_for_as_long_as_it_may_and_is_done() {
    // 7 m of 4.8 mm hold 127 ml; ten minutes of 10 ml/min are the longest prime
    for (unit, up_to) in [(Unit::Metric, "100 ml"), (Unit::UsFluidOunce, "3.4 fl oz")] {
        let mut rig = Rig::new();
        rig.panel = Panel::new(Preferences { tube_dm: 70, bore: 2, unit, ..Preferences::NEW });
        let head = Head::with_flow(Flow::from_nl_per_min(10_000_000).unwrap());
        assert_eq!(rig.act(Event::SetHead(&head)), None);
        rig = rig.lit();
        rig.touches(&[(Right, 4)]);
        assert!(rig.lines()[1].ends_with(up_to), "{:?}", rig.lines());
        rig.touches(&[(Press, 2)]);
        assert!(rig.side.wires.on);
        rig.until(rig.side.now + 600_000);
        assert!(!rig.side.wires.on);
        rig.touch(Press);
        assert_eq!(rig.lines()[2], "Prime is done", "{unit:?}");
    }
}

#[test]
fn a_draft_left_is_a_draft_forgotten() {
    let mut rig = with_head().lit();
    let before = *rig.side.device.controller().book();
    rig.touches(&[(Right, 6), (Press, 1), (Right, 5), (Press, 4), (Hold, 1)]);
    assert!(rig.panel.is_home());
    assert_eq!(rig.lines()[2], "Nothing was changed");
    assert_eq!(rig.side.asked, 1);
    assert_eq!(*rig.side.device.controller().book(), before);
    // and so is one that nobody comes back to
    rig.touches(&[(Right, 6), (Press, 1), (Right, 5)]);
    assert!(rig.panel.has_draft());
    rig.until(rig.side.now + 15 * 60_000);
    rig.touch(Right);
    assert!(rig.panel.is_home());
}

/// A device from the factory, at its step of the container.
pub(crate) fn at_the_container(preferences: Preferences) -> Rig {
    let mut rig = Rig::new();
    rig.panel = Panel::new(preferences);
    rig = rig.lit();
    // place, clock, head, tube set, each as it is proposed
    rig.touches(&[(Press, 6), (Press, 4), (Press, 5), (Press, 4)]);
    assert_eq!(rig.lines()[1..], ["Container", "what it draws from", "> set up, step 5/8"]);
    rig
}

#[test]
fn a_container_holds_no_more_than_it_can() {
    let mut rig = at_the_container(Preferences::NEW);
    // 10.0 l, and 110.0 in it
    rig.touches(&[(Press, 2), (Right, 2), (Press, 4), (Press, 1), (Press, 1)]);
    assert_eq!(
        rig.lines(),
        ["Not taken:", "more than it holds", "10.0 l", "> take 10.0 l"],
        "{:?}",
        rig.panel
    );
    assert_eq!(rig.side.device.controller().book().stock.container(), None);
    rig.touches(&[(Press, 2)]);
    let book = rig.side.device.controller().book();
    assert_eq!(book.account(), Volume::from_ml(10_000));
}

#[test]
fn a_prime_that_was_stopped_is_no_step_done() {
    let mut rig = at_the_container(Preferences::NEW);
    rig.touches(&[(Press, 5)]);
    for (runs_ms, next) in [(1000, "> set up, step 6/8"), (360_000, "> set up, step 7/8")] {
        assert_eq!(rig.lines()[3], "> set up, step 6/8");
        rig.touches(&[(Press, 2)]);
        assert!(rig.side.wires.on);
        rig.until(rig.side.now + runs_ms);
        // it stops, or a dark display lights and its keys open
        rig.touch(Press);
        if runs_ms > 60_000 {
            rig.touch(Hold);
        }
        assert_eq!(rig.lines()[3], next);
    }
}

#[test]
fn the_tube_set_is_known_after_a_restart() {
    let rig = at_the_container(Preferences::NEW);
    let bytes = rig.panel.preferences().to_bytes();
    let mut again = rig.clone();
    again.panel = Panel::new(Preferences::from_bytes(bytes));
    again.touches(&[(Right, 4)]);
    // 5 m of 4.8 mm
    assert_eq!(again.lines()[..2], ["Prime", "Up to          91 ml"]);
}

#[test]
fn a_dose_is_stopped_at_home_by_two_presses_and_no_pin() {
    let mut rig = with_head();
    let now = Local::from_ms(1_790_000_000_000);
    assert_eq!(rig.act(Event::SetClock(now)), None);
    let mut timetable = Timetable::<N>::EMPTY;
    timetable.put(ENTRY).unwrap();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    assert_eq!(rig.act(Event::RunAgain(ENTRY.id)), None);
    assert_eq!(rig.act(Event::SetPin(Pin::from_digits(b"0417"))), None);
    assert_eq!(rig.act(Event::Lock), None);
    let mut rig = rig.lit();
    assert!(rig.side.wires.on);
    let lines = rig.lines();
    assert_eq!((lines[0].as_str(), lines[3].as_str()), ("Dosing now", "> stop"));
    // a look is no stop, and neither is a change of mind
    for away in [Left, Right, Hold] {
        rig.touches(&[(Press, 1), (away, 1), (Hold, 1)]);
        assert!(rig.side.wires.on, "{away:?}");
    }
    rig.touch(Press);
    assert_eq!(rig.lines(), ["Dosing now", "The rest is left out", "", "> stop"]);
    assert!(rig.side.wires.on);
    rig.touch(Press);
    assert!(!rig.side.wires.on);
    let lines = rig.lines();
    assert!(lines[1].starts_with("Part"), "{lines:?}");
    assert_eq!((lines[2].as_str(), lines[3].as_str()), ("Stopped", "> run it again"));
    rig.touches(&[(Right, 1), (Left, 1)]);
    assert_eq!(rig.lines()[2], "stopped by hand");
    // asked too late: the dose is over, and the draft says so
    let mut rig = with_head();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    assert_eq!(rig.act(Event::RunAgain(ENTRY.id)), None);
    let mut rig = rig.lit();
    rig.touch(Press);
    assert_eq!(rig.act(Event::StopDose(ENTRY.id)), None);
    rig.touch(Press);
    assert_eq!(rig.lines()[1], "The dose is over");
    rig.touches(&[(Press, 1), (Hold, 2)]);
    assert!(rig.panel.is_home() && !rig.panel.has_draft());
}

#[test]
fn a_latched_motor_is_acknowledged_at_home_though_a_dose_is_under_way() {
    let mut rig = with_head();
    let mut timetable = Timetable::<N>::EMPTY;
    timetable.put(ENTRY).unwrap();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    assert_eq!(rig.act(Event::RunAgain(ENTRY.id)), None);
    let mut rig = rig.lit();
    // tried again after 1, 2 and 4 minutes, then latched
    for rest_min in [1, 2, 4, 1] {
        assert!(rig.side.wires.on);
        assert_eq!(rig.lines()[3], "> stop");
        assert_eq!(rig.act(Event::MotorFault), None);
        rig.until(rig.side.now + rest_min * 60_000);
        rig = rig.lit();
    }
    let book = rig.side.device.controller().book();
    assert!(book.motor.is_latched() && book.open.is_some());
    assert_eq!(rig.lines()[3], "> acknowledge");
}
