//! Waking, unlocking, the ring, home; prime under a hand.

use dosewright_core::config::Head;
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Screen};
use dosewright_core::units::Flow;

use crate::rig::Rig;

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
    assert_eq!(lit[3], "Hold to open keys");
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
