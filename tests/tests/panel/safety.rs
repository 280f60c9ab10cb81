//! Two rows of the Generic Infusion Pump safety requirements (University of
//! Pennsylvania and FDA, 2009) that a hand on the panel shows: they are of another
//! trade, no conformity is claimed.

use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::panel::Card;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::time::Duration;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::Flow;

use crate::forged::ENTRY;
use crate::rig::{N, Rig};

/// A head and one entry, the display lit and its keys open.
fn set_up() -> Rig {
    let mut rig = Rig::new();
    let head = Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap());
    assert_eq!(rig.act(Event::SetHead(&head)), None);
    let mut timetable = Timetable::<N>::EMPTY;
    timetable.put(ENTRY).unwrap();
    assert_eq!(rig.act(Event::Timetable(&timetable)), None);
    rig.lit()
}

/// The rate is the dose over its window, by the flow of the head.
fn rate(rig: &Rig) -> (Option<Head>, Option<(u64, u32)>) {
    let book = rig.side.device.controller().book();
    let entry = book.timetable.get(EntryId(1));
    (book.head, entry.map(|entry| (entry.volume.as_nl(), entry.window_ms)))
}

/// GIP 2.1.1: two steps at least to change a rate.
#[test]
fn gip_2_1_1_two_steps_at_least_change_a_rate() {
    let rig = set_up();
    let before = rate(&rig);
    assert!(before.0.is_some() && before.1.is_some());
    for card in 0..Card::ALL.len() as u32 {
        for first in [Left, Right, Press, Hold] {
            for second in [Left, Right, Press, Hold] {
                let mut rig = rig.clone();
                rig.touches(&[(Right, card), (first, 1), (second, 1)]);
                assert_eq!(rate(&rig), before, "card {card}, {first:?}, {second:?}");
            }
        }
    }
    // it can be changed: the entry is chosen, an answer looked up, turned, taken, and what
    // it comes to is put in force
    let mut rig = rig;
    let mut presses = 0;
    rig.touches(&[(Right, 3), (Press, 2), (Left, 2), (Press, 1), (Right, 2)]);
    while rate(&rig) == before && presses < 10 {
        rig.touch(Press);
        presses += 1;
    }
    assert_ne!(rate(&rig), before, "{:?}", rig.lines());
    assert!(presses >= 2, "{presses}");
}

/// GIP 2.2.3: a reset is confirmed: what is latched, and the calibrations of a tube set.
#[test]
fn gip_2_2_3_a_reset_is_confirmed() {
    let mut rig = set_up();
    let latched = |rig: &Rig| rig.side.device.controller().book().motor.is_latched();
    // retried after 1, 2 and 4 minutes, then latched
    for _ in 0..4 {
        assert_eq!(rig.act(Event::MotorFault), None);
        let rest = Duration::from_min(5).as_ms() as i64;
        rig.until(rig.side.now + rest);
    }
    assert!(latched(&rig));
    let mut rig = rig.lit();
    rig.touch(Hold);
    for other in [Left, Right, Hold] {
        let mut rig = rig.clone();
        rig.touches(&[(Press, 1), (other, 1)]);
        assert!(latched(&rig), "{other:?}");
    }
    rig.touch(Press);
    assert!(latched(&rig), "asked, and not done yet: {:?}", rig.lines());
    rig.touch(Press);
    assert!(!latched(&rig), "{:?}", rig.lines());
}
