//! The uncertainty of a timed run, JCGM 100:2008, 4.3.7 and 5.1.6 (from memory);
//! values computed with PyPI uncertainties 3.2.3.

use dosewright_sim::trade::run_length::{Means, Unreachable, shortest};
use dosewright_sim::trade::two_point::{Readings, Steady, solve, uncertainty};
use dosewright_sim::trade::uncertainty::{Budget, coverage, rectangular, timed_run};

use crate::{same, within};

#[test]
fn timed_runs() {
    // (volume ml, tolerance ml, run s, timing s, relative standard uncertainty %)
    for (volume, vessel, run, timing, percent, decimals) in [
        (100.0, 0.5, 60.0, 0.5, 0.8819, 4),
        (100.0, 0.5, 60.0, 0.1, 0.33333, 5),
        (100.0, 1.0, 60.0, 0.5, 1.01379, 5),
        (250.0, 1.0, 150.0, 0.2, 0.26667, 5),
    ] {
        same(100.0 * timed_run(volume, vessel, run, timing).combined(), percent, decimals);
    }
    // 250 ml class A, 150 s, 0.2 s: U = 0.5333 ml/min at 100 ml/min
    same(100.0 * timed_run(250.0, 1.0, 150.0, 0.2).expanded(), 0.5333, 4);
}

/// Student's t for 95.45 % (JCGM 100:2008, Table G.2, as it is printed; each value agrees
/// with the distribution, reckoned by the incomplete beta function).
#[test]
fn the_coverage_factor_is_the_table_s_and_never_less_than_student_s() {
    for (degrees, k) in [
        (1.0, 13.97),
        (2.0, 4.53),
        (3.0, 3.31),
        (5.0, 2.65),
        (8.0, 2.37),
        (10.0, 2.28),
        (20.0, 2.13),
        (50.0, 2.05),
        (100.0, 2.025),
        (f64::INFINITY, 2.0),
    ] {
        within(coverage(degrees), k, 1e-12);
    }
    // between two of them the distribution's own, or a little more
    for (degrees, t, more) in
        [(1.36, 7.475, 0.21), (1.5, 6.418, 0.20), (2.5, 3.732, 0.02), (22.0, 2.120, 0.01)]
    {
        let k = coverage(degrees);
        assert!(k >= t && k < t * (1.0 + more), "{degrees}: {k}");
    }
    assert!(coverage(0.0) >= 13.97, "less than one degree");
}

/// JCGM 100:2008, G.4.1, the example: three relative standard uncertainties of 0.25, 0.57
/// and 0.82 % from 10, 5 and 15 readings are 1.03 % with 19.0 effective degrees of freedom.
#[test]
fn the_effective_degrees_of_freedom_are_the_guide_s() {
    let budget = Budget::default().seen("a", 0.25, 9.0).seen("b", 0.57, 4.0).seen("c", 0.82, 14.0);
    same(budget.combined(), 1.03, 2);
    same(budget.degrees(), 19.0, 1);
    same(budget.coverage(), 2.14, 2);
    // tolerances are known for sure (G.4.3)
    let sure = Budget::default().with("vessel", 0.7).with("timing", 0.3);
    assert_eq!((sure.degrees(), sure.coverage()), (f64::INFINITY, 2.0));
}

#[test]
fn a_longer_run_never_raises_the_uncertainty() {
    let mut last = f64::INFINITY;
    for run in 1..2000 {
        let run_s = f64::from(run);
        let now = timed_run(26.5 / 60.0 * run_s, 1.0, run_s, 0.5).combined();
        assert!(now <= last, "{run} s");
        last = now;
    }
}

/// 26.5 ml/min, three rollers of 0.29 ml, a 100 ml class B cylinder, 0.5 s.
fn means() -> Means {
    Means {
        flow_ml_min: 26.5,
        turn_ml: 0.87,
        vessel_ml: 100.0,
        reading_ml: rectangular(1.0),
        timing_s: 0.5,
        target: 0.02,
        longest_s: 600.0,
        train: None,
    }
}

#[test]
fn the_run_is_whole_turns_and_just_long_enough() {
    for target in [0.015, 0.02, 0.03, 0.05, 0.1] {
        let means = Means { target, ..means() };
        let run = shortest(&means).unwrap();
        let turn_s = 0.87 / 26.5 * 60.0;
        within(run.run_s, f64::from(run.turns) * turn_s, 1e-12);
        assert!(run.expanded <= target, "{target}: {}", run.expanded);
        let before = run.run_s - turn_s;
        let less = timed_run(26.5 / 60.0 * before, 1.0, before, 0.5);
        assert!(less.expanded() > target, "{target}: a turn less would do");
    }
}

#[test]
fn a_vessel_that_is_too_small_is_named_with_the_one_that_would_do() {
    let means = Means { target: 0.005, ..means() };
    let Err(Unreachable::Vessel { needed_ml, best }) = shortest(&means) else {
        panic!("{:?}", shortest(&means))
    };
    assert!(needed_ml > 250.0 && needed_ml < 300.0, "{needed_ml}");
    assert!(best > 0.005 && best < 0.015, "{best}");
    let longer = Means { vessel_ml: needed_ml, ..means };
    assert!(
        matches!(shortest(&longer), Ok(run) if run.expanded <= 0.005),
        "{:?}",
        shortest(&longer)
    );
    let short = Means { longest_s: 30.0, ..means };
    assert!(matches!(shortest(&short), Err(Unreachable::Longest { .. })));
}

#[test]
fn two_points_give_back_the_flow_and_the_loss_they_were_made_with() {
    let (flow, loss) = (26.5, 0.04);
    let volume = |pulses: f64, each_s: f64| pulses * (flow / 60.0 * each_s - loss);
    let readings = Readings {
        long_s: 180.0,
        long_ml: volume(1.0, 180.0),
        pulses: 60,
        pulse_s: 2.0,
        train_ml: volume(60.0, 2.0),
    };
    let steady = solve(&readings).unwrap();
    within(steady.flow_ml_min, flow, 1e-12);
    within(steady.loss_ml, loss, 1e-9);
    // 0.04 ml at 26.5 ml/min are 90.6 ms; a start that gains something has no lead
    within(steady.lead_ms(), 0.04 / 26.5 * 60_000.0, 1e-9);
    same(Steady { loss_ml: -0.01, ..steady }.lead_ms(), 0.0, 9);
    // by differences: what the formulas say is what a small change does
    let (u_flow, u_loss) = uncertainty(&readings, 0.1, 0.0);
    let by = |long: f64, train: f64| {
        solve(&Readings {
            long_ml: readings.long_ml + long,
            train_ml: readings.train_ml + train,
            ..readings
        })
        .unwrap()
    };
    let (a, b) = (by(0.1, 0.0), by(0.0, 0.1));
    within(u_flow, (a.flow_ml_min - flow).hypot(b.flow_ml_min - flow), 1e-6);
    within(u_loss, (a.loss_ml - loss).hypot(b.loss_ml - loss), 1e-6);
    assert_eq!(solve(&Readings { pulse_s: 180.0, ..readings }), None);
}
