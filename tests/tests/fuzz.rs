//! A bounded run of the fuzz targets' bodies, the same at every run.

use dosewright_tests::dice::Dice;
use dosewright_tests::fuzz::mutate::mutate;
use dosewright_tests::fuzz::{events, image, message, scenario};

#[test]
fn any_text_is_a_scenario_or_is_refused_with_its_place() {
    let (mut good, mut bad) = (0, 0);
    for seed in 0..4_000 {
        let mut dice = Dice::new(seed);
        let mut text = scenario::SEEDS[dice.below(scenario::SEEDS.len())].as_bytes().to_vec();
        mutate(&mut text, &mut dice);
        if scenario::run(&text) { good += 1 } else { bad += 1 }
    }
    assert!(good > 100 && bad > 1_000, "{good} good, {bad} bad");
}

#[test]
fn m2_any_image_gives_settings_that_were_written_or_none() {
    let (mut started, mut with_settings, mut damaged, mut with_pack) = (0, 0, 0, 0);
    for seed in 0..20_000 {
        let mut dice = Dice::new(seed);
        let mut bytes = image::SEEDS[dice.below(image::SEEDS.len())].to_vec();
        mutate(&mut bytes, &mut dice);
        if seed % 4 == 0 {
            image::forge(&mut bytes);
        }
        let became = image::run(&bytes);
        started += u32::from(became.started);
        with_settings += u32::from(became.with_settings);
        damaged += u32::from(became.damaged);
        with_pack += u32::from(became.with_pack);
    }
    assert!(started > 10_000, "{started} started");
    assert!(with_settings > 5_000 && damaged > 2_000, "{with_settings}, {damaged}");
    assert!(with_pack > 1_000, "{with_pack} on a pack");
}

#[test]
fn o5_any_bytes_on_the_line_are_answered_and_change_nothing_behind_a_closed_lock() {
    let mut sum = message::Became::default();
    for seed in 0..12_000 {
        let mut dice = Dice::new(seed);
        let mut bytes = message::seed(seed % 3 == 0);
        for _ in 0..=dice.below(3) {
            mutate(&mut bytes, &mut dice);
        }
        if seed % 2 == 0 {
            bytes = message::forge(&bytes);
        }
        let became = message::run(&bytes);
        sum.unreadable += became.unreadable;
        sum.refused += became.refused;
        sum.taken += became.taken;
        sum.asked += became.asked;
        sum.timetables += became.timetables;
    }
    let whole = message::run(&message::seed(false));
    assert_eq!((whole.taken, whole.refused, whole.asked, whole.timetables), (8, 0, 1, 1));
    assert!(sum.unreadable > 5_000 && sum.refused > 5_000, "{sum:?}");
    assert!(sum.taken > 10_000 && sum.timetables > 100 && sum.asked > 5_000, "{sum:?}");
}

#[test]
fn p4_any_order_of_events_keeps_the_pump_within_its_limits() {
    let (mut calls, mut runs, mut starts) = (0, 0, 0);
    for seed in 0..3_000 {
        let mut dice = Dice::new(seed);
        let mut stream = vec![0; 40 + dice.below(800)];
        for byte in &mut stream {
            *byte = dice.roll() as u8;
        }
        let became = events::run(&stream);
        calls += became.calls;
        runs += became.runs;
        starts += became.starts;
    }
    assert!(calls > 100_000 && runs > 3_000 && starts > 10_000, "{calls}, {runs}, {starts}");
}
