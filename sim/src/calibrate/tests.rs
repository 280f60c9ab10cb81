//! Readings, and what is to be done with them.

use super::*;
use crate::trade::vessel::{Class, Standard};

fn setup() -> Setup {
    Setup {
        last_ml_min: 26.5,
        nominal_ml_min: 26.5,
        pass_ml: 0.29,
        rollers: 3,
        gauge: Gauge::Cylinder { size_ml: 100, class: Class::B, standard: Standard::Astm },
        reading_ml: 0.0,
        timing_s: 0.5,
        target: TARGET,
        longest_s: LONGEST_S,
    }
}

fn reading(run_s: f64, volume_ml: f64) -> Reading {
    Reading { run_s, volume_ml, repeats: None, train: None, first_ml_min: None, logged_ml: None }
}

#[test]
fn the_run_that_is_planned_is_accepted_when_it_is_run() {
    let run = setup().plan().unwrap();
    let found = judge(&setup(), &reading(run.run_s, run.volume_ml));
    assert_eq!(found.verdict, Verdict::Accept);
    assert!((found.flow_ml_min - 26.5).abs() < 1e-9);
    assert!((found.turns.unwrap() - f64::from(run.turns)).abs() < 1e-6);
    assert_eq!(found.budget.parts.len(), 2, "whole turns have no part of a pass");
}

#[test]
fn what_is_planned_does_for_a_worn_head_and_the_lowest_reading() {
    for (reading_ml, target) in [(0.0, 0.02), (0.5, 0.02), (0.0, 0.05), (1.0, 0.04)] {
        let setup = Setup { reading_ml, target, ..setup() };
        let run = setup.plan().unwrap();
        let lowest = |share: f64| run.volume_ml * share - 1.0 - reading_ml;
        let found = judge(&setup, &reading(run.run_s, lowest(0.901)));
        assert_eq!(found.verdict, Verdict::Confirm, "{setup:?}");
        // and no longer than that needs, by a turn or the timing
        let found = judge(&setup, &reading(run.run_s, lowest(0.85)));
        let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{setup:?}") };
        // the run that is asked for does in its turn
        let flow = found.flow_ml_min / 60.0;
        let again = reading(longer.run_s, flow * longer.run_s * 0.95 - 1.0 - reading_ml);
        assert_eq!(judge(&setup, &again).verdict, Verdict::Confirm, "{setup:?}");
    }
}

#[test]
fn a_run_that_leaves_less_in_hand_is_better_than_none() {
    // 6 ml/min for ten minutes at most: 60 ml, read to a millilitre
    let slow = Setup { last_ml_min: 6.0, pass_ml: 0.0, longest_s: 600.0, ..setup() };
    let run = slow.plan().unwrap();
    assert!(run.expanded > slow.planned_target() && run.expanded <= slow.target, "{run:?}");
    assert!(run.run_s <= 600.0);
    // slower still, and none meets the target itself
    let plan = Setup { last_ml_min: 5.0, ..slow }.plan();
    let Err(Unreachable::Longest { best, .. }) = plan else { panic!("{plan:?}") };
    assert!(best > slow.target);
}

#[test]
fn too_short_a_run_asks_for_a_longer_one_and_names_one_that_does() {
    let run = setup().plan().unwrap();
    // a turn less is still within what is kept in hand
    let less = |turns: u32| {
        let share = f64::from(turns) / f64::from(run.turns);
        judge(&setup(), &reading(run.run_s * share, run.volume_ml * share))
    };
    assert_eq!(less(run.turns - 1).verdict, Verdict::Accept);
    let found = less(run.turns * 4 / 5);
    let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
    assert_eq!(longer.turns, run.turns);
    // in a small vessel no run does
    let small = Setup { gauge: Gauge::Other { size_ml: 10.0, tolerance_ml: 1.0 }, ..setup() };
    let found = judge(&small, &reading(20.0, 8.8));
    assert!(matches!(found.verdict, Verdict::RunLonger(Err(Unreachable::Vessel { .. }))));
}

#[test]
fn a_longer_run_beside_a_train_is_one_that_does_for_both() {
    let run = setup().plan().unwrap();
    let train = |run: &Run| {
        let each = |s: f64| 26.5 / 60.0 * s - 0.005;
        Reading { train: Some((60, 2.0, 60.0 * each(2.0))), ..reading(run.run_s, each(run.run_s)) }
    };
    // what just does for the run alone leaves too much doubt to the two of them
    let turns = run.turns * 9 / 10;
    let share = f64::from(turns) / f64::from(run.turns);
    let alone = Run { turns, run_s: run.run_s * share, ..run };
    let one = judge(&setup(), &reading(alone.run_s, run.volume_ml * share));
    assert_eq!(one.verdict, Verdict::Accept);
    let found = judge(&setup(), &train(&alone));
    let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
    assert!(longer.turns > run.turns, "{longer:?}");
    let found = judge(&setup(), &train(&longer));
    assert_eq!(found.verdict, Verdict::Accept, "{longer:?}");
    let (steady, expanded, _) = found.steady.unwrap();
    assert!((expanded / steady.flow_ml_min - longer.expanded).abs() < 1e-5);
}

#[test]
fn far_from_the_last_needs_a_second_run_that_agrees() {
    let far = reading(180.0, 23.9 * 3.0);
    assert_eq!(judge(&setup(), &far).verdict, Verdict::Confirm);
    let confirmed = Reading { first_ml_min: Some(24.1), ..far };
    assert_eq!(judge(&setup(), &confirmed).verdict, Verdict::Accept);
    let other = Reading { first_ml_min: Some(26.4), ..far };
    assert_eq!(judge(&setup(), &other).verdict, Verdict::Disagree);
    // 5 % is not over 5 %
    let edge = reading(180.0, 26.5 * 0.9501 * 3.0);
    assert_eq!(judge(&setup(), &edge).verdict, Verdict::Accept);
}

#[test]
fn outside_the_plausible_range_nothing_helps() {
    for share in [0.49, 1.51] {
        let wrong = Reading { first_ml_min: Some(26.5 * share), ..reading(600.0, 265.0 * share) };
        assert_eq!(judge(&setup(), &wrong).verdict, Verdict::Refused, "{share}");
    }
    for share in [0.51, 1.49] {
        let far = judge(&setup(), &reading(600.0, 265.0 * share));
        assert_eq!(far.verdict, Verdict::Confirm, "{share}");
    }
}

#[test]
fn a_worn_tube_turns_as_fast_as_a_new_one() {
    let run = setup().plan().unwrap();
    let found = judge(&setup(), &reading(run.run_s, run.volume_ml * 0.8));
    assert!((found.turns.unwrap() - f64::from(run.turns)).abs() < 1e-6, "{found:?}");
    assert_eq!(found.budget.parts.len(), 2, "it still is whole turns");
    let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
    let turn_s = |run: &Run| run.run_s / f64::from(run.turns);
    assert!((turn_s(&longer) - turn_s(&run)).abs() < 1e-9, "{longer:?}");
}

#[test]
fn a_part_of_a_pass_is_in_the_budget_of_an_odd_run() {
    let odd = judge(&setup(), &reading(180.0, 79.5));
    let part = odd.budget.parts.iter().find(|part| part.name == "part of a pass");
    assert!(part.is_some_and(|part| part.share > 0.0), "{:?}", odd.budget);
}

#[test]
fn by_mass_water_and_product_differ_by_their_density() {
    let gauge = |liquid| Gauge::Balance { within_g: 0.1, liquid };
    let water = gauge(Liquid::Water(20.0)).half_width_ml().unwrap();
    let product = gauge(Liquid::Product(1.03)).half_width_ml().unwrap();
    assert!((water - 0.100_29).abs() < 1e-5 && (product - 0.097_087).abs() < 1e-5);
}

#[test]
fn two_points_give_the_steady_flow_and_the_account_is_restated_with_it() {
    let volume = |pulses: f64, each_s: f64| pulses * (26.0 / 60.0 * each_s - 0.02);
    let setup = Setup { gauge: Gauge::Other { size_ml: 250.0, tolerance_ml: 0.5 }, ..setup() };
    let both = Reading {
        train: Some((60, 2.0, volume(60.0, 2.0))),
        logged_ml: Some(18_700.0),
        ..reading(180.0, volume(1.0, 180.0))
    };
    let found = judge(&setup, &both);
    assert_eq!(found.verdict, Verdict::Accept);
    let (steady, _, loss_u) = found.steady.unwrap();
    assert!((steady.flow_ml_min - 26.0).abs() < 1e-9 && (steady.loss_ml - 0.02).abs() < 1e-9);
    assert!(loss_u > 0.0 && loss_u < 0.02, "{loss_u}");
    // a start that gives more than it takes has no lead, and the flow is the run's
    let train = |share: f64| {
        let train_ml = 60.0 * 26.0 / 60.0 * 2.0 * share;
        let found = judge(
            &setup,
            &Reading { train: Some((60, 2.0, train_ml)), ..reading(180.0, 26.0 * 3.0) },
        );
        assert!((found.flow_ml_min - 26.0).abs() < 1e-9, "{found:?}");
        assert!(found.steady.unwrap().0.lead_ms() <= 0.0);
        found.verdict
    };
    assert_eq!([train(1.01), train(1.049)], [Verdict::Accept, Verdict::Accept]);
    assert_eq!([train(1.06), train(1.15)], [Verdict::TrainGivesMore, Verdict::TrainGivesMore]);
    let restated = found.restated.unwrap();
    assert!((restated.least - 18_700.0 * 26.0 / 26.5).abs() < 1e-6);
}
