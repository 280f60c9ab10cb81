//! Whatever is turned and pressed.

use dosewright_core::book::Book;
use dosewright_core::panel::{self, Input, Language, Panel, Preferences, Unit};
use dosewright_core::timetable::Timetable;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::RngSeed;

use crate::rig::{H, N, Rig};

/// What a hand may do: touch, or let time pass, in ms.
#[derive(Debug, Clone, Copy)]
enum Deed {
    Touch(Input),
    Wait(i64),
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        // waits are rare: locked keys take no touch until one is held
        24 => Just(Deed::Touch(Input::Press)),
        12 => Just(Deed::Touch(Input::Right)),
        9 => Just(Deed::Touch(Input::Left)),
        3 => Just(Deed::Touch(Input::Hold)),
        1 => prop_oneof![
            Just(Deed::Wait(61_000)),
            Just(Deed::Wait(125_000)),
            Just(Deed::Wait(7 * 60_000)),
            Just(Deed::Wait(16 * 60_000)),
            Just(Deed::Wait(11 * 3_600_000)),
        ],
    ]
}

fn preferences() -> impl Strategy<Value = Preferences> {
    (0..Language::ALL.len(), 0..Unit::ALL.len(), any::<bool>()).prop_map(
        |(language, unit, twelve_hours)| Preferences {
            language: Language::ALL[language],
            unit: Unit::ALL[unit],
            twelve_hours,
            ..Preferences::default()
        },
    )
}

/// A device from the factory, or one that is set up with two entries.
fn rig(set_up: bool, preferences: Preferences) -> Rig {
    if set_up {
        return Rig::set_up(preferences);
    }
    let mut rig = Rig::new();
    rig.panel = Panel::new(preferences);
    rig.lit()
}

/// Does it, half a second later where it is a touch. What one touch may change is
/// looked at here.
fn step(rig: &mut Rig, deed: Deed) -> Result<(), TestCaseError> {
    let input = match deed {
        Deed::Wait(ms) => {
            rig.until(rig.side.now + ms);
            return Ok(());
        }
        Deed::Touch(input) => input,
    };
    rig.until(rig.side.now + 500);
    let (asked, stops) = (rig.side.asked, rig.side.stops);
    let (before, has_draft) = (*rig.side.device.controller().book(), rig.panel.has_draft());
    let ran = rig.side.wires.on && rig.side.device.controller().service_run().is_some();
    let dosing = rig.side.wires.on && !ran;
    panel::operate(&mut rig.panel, &mut rig.side, input);
    let after = *rig.side.device.controller().book();
    let requests = rig.side.asked - asked;
    prop_assert!(requests <= 1, "a touch asks for one thing at most");
    if requests == 0 {
        prop_assert_eq!(&before, &after, "what asks for nothing changes nothing");
    }
    if input != Input::Press {
        prop_assert!(requests == 0 || ran, "only a press puts anything in force");
    }
    if ran {
        let calibrates = rig.side.device.controller().service_run().is_some();
        prop_assert!(!rig.side.wires.on || calibrates, "prime stops at any touch");
    }
    // a timetable changes by one entry, whole, or not at all
    let changed = changed_entries(&before.timetable, &after.timetable);
    prop_assert!(changed <= 1, "{} entries changed at once", changed);
    if changed == 0 {
        let revisions = |book: &Book<N, H>| [0, 1, 2, 3].map(|line| book.state(line).revision);
        prop_assert_eq!(revisions(&before), revisions(&after));
        let is_meant = rig.side.stops > stops && has_draft && input == Input::Press;
        prop_assert!(!dosing || rig.side.wires.on || is_meant, "a touch stops no dose");
    }
    for entry in after.timetable.entries() {
        prop_assert_eq!(entry.bad_field(), None);
    }
    Ok(())
}

fn changed_entries(before: &Timetable<N>, after: &Timetable<N>) -> usize {
    let ids = before.ids().chain(after.ids().filter(|&id| before.get(id).is_none()));
    ids.filter(|&id| before.get(id) != after.get(id)).count()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200, failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_126), ..ProptestConfig::default()
    })]

    #[test]
    fn d11_no_draft_is_ever_half_in_force_and_every_screen_fits(
        set_up in any::<bool>(),
        preferences in preferences(),
        deeds in prop::collection::vec(deed(), 1..250),
    ) {
        let mut rig = rig(set_up, preferences);
        for deed in deeds {
            step(&mut rig, deed)?;
            let screen = rig.screen();
            prop_assert!(!screen.is_cut(), "{:?}\n{:?}", screen, rig.panel);
        }
    }

    #[test]
    fn holding_leads_home_in_three_and_changes_no_setting(
        set_up in any::<bool>(),
        deeds in prop::collection::vec(deed(), 1..250),
        now in 0_i64..200_000,
    ) {
        let mut rig = rig(set_up, Preferences::default());
        for deed in deeds {
            step(&mut rig, deed)?;
        }
        rig.until(rig.side.now + now);
        let before = *rig.side.device.controller().book();
        let mut holds = 0;
        while !(rig.panel.is_home() && rig.side.device.controller().takes_keys()) {
            holds += 1;
            prop_assert!(holds <= 3, "{:?} after three", rig.panel);
            step(&mut rig, Deed::Touch(Input::Hold))?;
        }
        let after = *rig.side.device.controller().book();
        prop_assert_eq!(before.timetable, after.timetable);
        prop_assert_eq!(before.head, after.head);
        prop_assert_eq!(before.lock, after.lock);
        prop_assert_eq!(before.epoch, after.epoch);
        // and there it is calm
        let home = rig.panel;
        step(&mut rig, Deed::Touch(Input::Hold))?;
        prop_assert!(rig.panel.is_home());
        prop_assert_eq!(home.card(), rig.panel.card());
    }
}

#[test]
fn random_hands_get_somewhere() {
    // the properties above say little if nothing is ever put in force
    let mut rng = proptest::test_runner::TestRunner::new(ProptestConfig {
        rng_seed: RngSeed::Fixed(7),
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let (mut asked, mut entries, mut stops) = (0, 0, 0);
    for _ in 0..200 {
        let mut rig = rig(true, Preferences::default());
        let from = rig.side.asked;
        let before = rig.side.device.controller().book().timetable;
        for _ in 0..200 {
            let deed = deed().new_tree(&mut rng).unwrap().current();
            step(&mut rig, deed).unwrap();
        }
        asked += rig.side.asked - from;
        stops += rig.side.stops;
        let timetable = &rig.side.device.controller().book().timetable;
        entries += u32::from(*timetable != before);
    }
    assert!(asked > 1500, "only {asked} requests");
    assert!(stops > 20, "only {stops} doses were stopped");
    assert!(entries > 50, "only {entries} timetables were changed");
}
