//! D3, D5, D7: what is left of a disturbed dose, over the time there is for it. The
//! figures are worked out by hand beside each case.

use dosewright_core::config::Head;
use dosewright_core::spread::{Bounds, Plan, respread};
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
fn within(left_ms: i64) -> Bounds {
    let end = Instant::from_ms(left_ms);
    Bounds { from: Instant::ZERO, window_end: end, deadline: end, free_starts: 50, hurry: false }
}

fn hurried(left_ms: i64) -> Bounds {
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
        let none_free = Bounds { free_starts: 0, ..bounds };
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
fn d5_fewer_and_longer_pulses_where_the_rests_take_too_much() {
    // 40 s in eight pulses: 8 times 5 + 2.5 s, less the last rest, is 57.5 s
    let plan = respread(40_000, 5_000, &head(), &within(57_500));
    assert_eq!(parts(plan), Some((8, 40_000, 60_000)));
    // in four: 4 times 10 + 5 s, less the last rest, is 55 s
    let plan = respread(40_000, 5_000, &head(), &within(57_499));
    assert_eq!(parts(plan), Some((4, 40_000, 62_499)));
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
    let bounds = Bounds { free_starts: 2, ..within(270_000) };
    assert_eq!(parts(respread(1_000_000, 50_000, &head(), &bounds)), Some((2, 120_000, 180_000)));
}
