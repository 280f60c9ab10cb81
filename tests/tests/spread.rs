//! D3, D5, D7: what is left of a disturbed dose, over the time there is for it. The
//! figures are worked out by hand beside each case.

use dosewright_core::config::Head;
use dosewright_core::spread::{Bounds, Plan, respread};
use dosewright_core::starts::Starts;
use dosewright_core::time::Instant;
use dosewright_core::units::Flow;

/// Pulses of 0.4 to 60 s, each with half its length of rest, 0.7 s at least.
fn head() -> Head {
    Head {
        shortest_on_ms: 400,
        shortest_off_ms: 700,
        longest_run_ms: 60_000,
        least_rest_ms: 30_000,
        ..Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap())
    }
}

/// The rest of a window that ends after so many ms, with no grace.
fn within(left_ms: i64) -> Bounds<'static> {
    let end = Instant::from_ms(left_ms);
    let starts = &Starts::NONE;
    Bounds { from: Instant::ZERO, window_end: end, deadline: end, starts, hurry: false }
}

/// Starts of the last second, so many that of those of an hour some are left.
fn but(free: u32) -> Starts {
    let mut starts = Starts::NONE;
    for _ in free..u32::from(head().starts_per_hour) {
        starts.push(Instant::ZERO);
    }
    starts
}

fn hurried(left_ms: i64) -> Bounds<'static> {
    Bounds { hurry: true, ..within(left_ms) }
}

/// Pulses, pumping and span of a plan, in ms.
fn parts(plan: Option<Plan>) -> Option<(u32, u32, u64)> {
    plan.map(|plan| (plan.pulses, plan.total_ms, plan.span_ms))
}

#[test]
fn d7_less_than_the_shortest_pulse_is_not_pumped_even_in_a_hurry() {
    for bounds in [within(600_000), hurried(600_000)] {
        assert_eq!(respread(399, 5_000, &head(), &bounds), None);
        let shortest = respread(400, 5_000, &head(), &bounds).unwrap();
        assert_eq!((shortest.pulses, shortest.total_ms), (1, 400));
        // a head that any pulse is long enough for
        let any = Head { shortest_on_ms: 0, ..head() };
        assert_eq!(respread(0, 5_000, &any, &bounds), None);
        let none_free = Bounds { starts: &but(0), ..bounds };
        assert_eq!(respread(40_000, 5_000, &head(), &none_free), None);
    }
}

#[test]
fn d3_in_a_hurry_the_longest_pulses_come_with_the_least_rest() {
    // 100 s are two pulses of 50 s, each with 25 s of rest
    let plan = respread(100_000, 5_000, &head(), &hurried(200_000));
    assert_eq!(parts(plan), Some((2, 100_000, 150_000)));
    // the last rest may lie after the deadline, the last pulse not: 50 + 25 + 50 s
    let plan = respread(100_000, 5_000, &head(), &hurried(125_000));
    assert_eq!(parts(plan), Some((2, 100_000, 150_000)));
    // what does not end in time is no hurried train, and one pulse of the longest is most
    let plan = respread(100_000, 5_000, &head(), &hurried(124_999));
    assert_eq!(parts(plan), Some((1, 60_000, 90_000)));
}

#[test]
fn d3_in_a_hurry_with_few_starts_the_longest_pulses_come_first() {
    let with = |free, rest_ms| {
        let starts = &but(free);
        parts(respread(rest_ms, 5_000, &head(), &Bounds { starts, ..hurried(7_200_000) }))
    };
    // 150 s are three pulses of 50 s, where there are starts for them
    assert_eq!(with(3, 150_000), Some((3, 150_000, 225_000)));
    // with two it is two of 60 s now, and 30 s once there is a start for them
    assert_eq!(with(2, 150_000), Some((2, 120_000, 180_000)));
    assert_eq!(with(1, 150_000), Some((2, 120_000, 180_000)));
    // what would be left is too short for a pulse: three of 40.1 s
    assert_eq!(with(2, 120_399), Some((3, 120_399, 3 * 60_200)));
    assert_eq!(with(2, 120_400), Some((2, 120_000, 180_000)));
}

#[test]
fn d5_fewer_and_longer_pulses_where_the_rests_take_too_much() {
    // 40 s in eight pulses: 8 times 5 + 2.5 s, less the last rest, is 57.5 s
    let plan = respread(40_000, 5_000, &head(), &within(57_500));
    assert_eq!(parts(plan), Some((8, 40_000, 60_000)));
    // in seven: 7 times 5.715 + 2.858 s, less the last rest, is 57.153 s
    let plan = respread(40_000, 5_000, &head(), &within(57_499));
    assert_eq!(parts(plan), Some((7, 40_000, 60_357)));
    // in four: 4 times 10 + 5 s, less the last rest, is 55 s; five are 56 s
    let plan = respread(40_000, 5_000, &head(), &within(55_000));
    assert_eq!(parts(plan), Some((4, 40_000, 60_000)));
}

#[test]
fn d7_no_pulse_is_longer_than_the_longest_to_save_rests() {
    // two of 50 s need 125 s; in 110 s one of 100 s would fit, and is too long
    let plan = respread(100_000, 50_000, &head(), &within(110_000));
    assert_eq!(parts(plan), Some((1, 60_000, 90_000)));
}

#[test]
fn d5_what_cannot_be_delivered_in_time_is_delivered_as_far_as_it_goes() {
    // the longest pulse with its rest takes 90 s
    for (left_ms, pulses, total_ms) in [
        (40_000, 1, 40_000),
        (60_000, 1, 60_000),
        (70_000, 1, 60_000),
        (90_000, 1, 60_000),
        (180_000, 2, 120_000),
        (200_000, 2, 120_000),
        (270_000, 3, 180_000),
    ] {
        let plan = respread(1_000_000, 50_000, &head(), &within(left_ms)).unwrap();
        assert_eq!((plan.pulses, plan.total_ms), (pulses, total_ms), "{left_ms} ms left");
        // half of its length is the rest of each
        assert_eq!(plan.span_ms, u64::from(total_ms) * 3 / 2, "{left_ms} ms left");
    }
    assert_eq!(respread(1_000_000, 50_000, &head(), &within(399)), None);
    assert_eq!(parts(respread(1_000_000, 50_000, &head(), &within(400))), Some((1, 400, 1_100)));
    // as many starts as are free, and no more
    let bounds = Bounds { starts: &but(2), ..within(270_000) };
    assert_eq!(parts(respread(1_000_000, 50_000, &head(), &bounds)), Some((2, 120_000, 180_000)));
}

#[test]
fn d5_an_hour_whose_starts_are_used_up_is_no_reason_to_run_what_is_left_at_once() {
    // 60 starts a minute apart; the first is an hour old now, the next a minute from now
    let mut starts = Starts::NONE;
    for minute in 1..=60 {
        starts.push(Instant::from_ms(minute * 60_000));
    }
    let from = Instant::from_ms(61 * 60_000);
    let end = Instant::from_ms(180 * 60_000);
    let bounds = Bounds { from, window_end: end, deadline: end, starts: &starts, hurry: false };
    // a pulse a minute to the end of the window, the last one's rest of 2.5 s behind it
    let plan = respread(595_000, 5_000, &head(), &bounds);
    assert_eq!(parts(plan), Some((119, 595_000, 119 * 60_000 + 2_500)));
    assert!(plan.unwrap().is_allowed(&starts, head().starts_per_hour));
    // pulses of half a second would be ten a minute
    let plan = respread(595_000, 500, &head(), &bounds).unwrap();
    assert!((60..=119).contains(&plan.pulses) && plan.is_allowed(&starts, head().starts_per_hour));
    assert!(plan.span_ms > 118 * 60_000, "{plan:?}");
}

#[test]
fn d7_starts_that_come_free_within_the_train_are_reckoned_with() {
    // ten are free, and no more for an hour: eleven pulses do not go, ten do
    let plan = respread(55_000, 5_000, &head(), &Bounds { starts: &but(10), ..within(300_000) });
    assert_eq!(parts(plan), Some((10, 55_000, 302_750)));
    // one of them is an hour old a minute from now, less than the second it may be put off by
    let mut starts = Starts::NONE;
    starts.push(Instant::from_ms(60_000));
    for _ in 1..60 {
        starts.push(Instant::from_ms(120_000));
    }
    let from = Instant::from_ms(3_659_000);
    let plan = |from| Plan { origin: from, span_ms: 60_000, pulses: 1, total_ms: 5_000, next: 0 };
    assert!(plan(from).is_allowed(&starts, 60));
    assert!(!plan(Instant::from_ms(3_658_999)).is_allowed(&starts, 60));
}

#[test]
fn d5_as_many_pulses_as_there_can_be() {
    // pulses of 55 s may be 60 s at most: of 20, nineteen fit in 19 minutes, at 57.895 s each
    let head = Head { least_rest_ms: 0, ..head() };
    let plan = respread(1_100_000, 55_000, &head, &within(1_114_000));
    assert_eq!(parts(plan), Some((20, 1_100_000, 1_114_700)));
    let plan = respread(1_100_000, 55_000, &head, &within(1_113_299));
    assert_eq!(parts(plan), Some((19, 1_100_000, 1_113_999)));
    // one pulse is too long for it, and two are too short: the longest is what there can be
    let head = Head { shortest_on_ms: 50_000, ..head };
    let plan = respread(70_000, 55_000, &head, &within(600_000));
    assert_eq!(parts(plan), Some((1, 60_000, 60_700)));
}
