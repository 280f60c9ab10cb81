//! The ideal device's train of pulses, on paper: where each starts and how long it is.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::units::Volume;

use super::bench::round_head;
use crate::audit::causes::Causes;
use crate::audit::ideal::{Next, Running};
use crate::audit::limits::Limits;
use crate::audit::model::{Begin, Due, Key, Why};

const DUE: i64 = 1_000_000;
const GRACE: i64 = 60_000;
const TOTAL: i64 = 60_000;

fn dose(window_ms: i64, total_ms: i64, begun_after: i64) -> Running {
    let key = Key { id: EntryId(1), revision: 1, epoch: 1, nominal: 45, asked: false };
    let why = Why::Awake;
    let due = Due { key, due_at: DUE, window_ms, grace_ms: GRACE, why, weekly: true };
    let begin = Begin { at: DUE + begun_after, utc_ms: None, losses: 0 };
    Running::new(due, begin, total_ms, 0, 60_000_000, None)
}

/// The rest of a dose from an instant after its due on: starts and lengths in ms.
fn rest(
    dose: &mut Running,
    from: i64,
    head: &Head,
    limits: &mut Limits,
    hurry: bool,
) -> Vec<(i64, i64)> {
    let mut now = DUE + from;
    let mut train = Vec::new();
    loop {
        match dose.next(now, head, limits, hurry, false) {
            Next::Nothing => now = dose.timer(now, head, limits, false),
            Next::On { on_ms } => {
                limits.started(now);
                train.push((now - DUE, on_ms));
            }
            Next::Off { ran_ms } => limits.ended(now, ran_ms),
            Next::End => return train,
        }
        assert!(train.len() < 1000);
    }
}

/// The whole train of a dose that begins so long after its due.
fn train(
    window_ms: i64,
    total_ms: i64,
    pulses: Option<u16>,
    begun_after: i64,
    head: &Head,
) -> Vec<(i64, i64)> {
    let mut dose = dose(window_ms, total_ms, begun_after);
    dose.plan(head, pulses, total_ms as u64 * 1_000);
    rest(&mut dose, begun_after, head, &mut Limits::default(), false)
}

/// So many equal pulses, so far apart, the first at an instant.
fn even(from: i64, pulses: i64, apart: i64, on: i64) -> Vec<(i64, i64)> {
    (0..pulses).map(|i| (from + i * apart, on)).collect()
}

const MINUTES_10: i64 = 600_000;

#[test]
fn d6_pulses_lie_evenly_in_the_window() {
    let of = |pulses, head: &Head| train(MINUTES_10, TOTAL, pulses, 0, head);
    assert_eq!(of(Some(10), &round_head()), even(0, 10, 60_000, 6_000));
    // 4 ml each where the entry does not say
    assert_eq!(of(None, &round_head()), even(0, 15, 40_000, 4_000));
    let any = Head { least_pulse: Volume::ZERO, ..round_head() };
    assert_eq!(of(None, &any), even(0, 60, 10_000, 1_000));
    // called a millisecond late it is the same train, from there on
    let mut late = even(0, 10, 60_000, 6_000);
    late[0].0 = 1;
    assert_eq!(train(MINUTES_10, TOTAL, Some(10), 1, &round_head()), late);
    // and not spread anew, where the window does not divide
    let mut seven = train(MINUTES_10, 70_000, Some(7), 0, &round_head());
    seven[0].0 = 1;
    assert_eq!(train(MINUTES_10, 70_000, Some(7), 1, &round_head()), seven);
}

#[test]
fn d7_as_many_pulses_as_starts_runs_and_rests_allow() {
    let of = |window, total, pulses, head: Head| train(window, total, Some(pulses), 0, &head);
    let starts = |starts_per_hour| Head { starts_per_hour, ..round_head() };
    assert_eq!(of(MINUTES_10, TOTAL, 10, starts(8)), even(0, 8, 75_000, 7_500));
    // in two hours: ten in any hour, both ends of it included
    assert_eq!(of(7_200_000, TOTAL, 20, starts(11)), even(0, 20, 360_000, 3_000));
    assert_eq!(of(7_200_000, TOTAL, 20, starts(10)).len(), 19);
    // no pulse is shorter than the shortest run, nor longer than the longest
    assert_eq!(of(MINUTES_10, 4_000, 10, round_head()), even(0, 10, 60_000, 400));
    assert_eq!(of(MINUTES_10, 3_999, 10, round_head()).len(), 9);
    let short = Head { longest_run_ms: 10_000, ..round_head() };
    let long = of(MINUTES_10, TOTAL, 1, short);
    assert!(long.iter().all(|(_, on)| *on <= 10_000));
    assert_eq!(long.iter().map(|(_, on)| on).sum::<i64>(), TOTAL);
    // 3 s of rest behind 3 s of run are just there, and a millisecond more is not
    let rests = |least_rest_ms| Head { least_rest_ms, ..short };
    assert_eq!(of(60_000, 30_000, 10, rests(10_000)), even(0, 10, 6_000, 3_000));
    assert_eq!(of(60_000, 30_000, 10, rests(10_001)), even(0, 3, 20_001, 10_000));
    // one pulse needs none
    assert_eq!(of(60_000, 60_000, 1, round_head()), [(0, 60_000)]);
}

#[test]
fn d5_what_is_left_is_spread_over_what_is_left_of_the_window() {
    // five minutes late
    let late = |after| train(MINUTES_10, TOTAL, Some(10), after, &round_head());
    assert_eq!(late(300_000), even(300_000, 10, 30_000, 6_000));
    // nothing of the window is left that would do: to the deadline
    assert_eq!(late(599_000), [(599_000, 60_000)]);
    // what does not fit is not delivered, and less than the shortest pulse is none
    assert_eq!(late(MINUTES_10 + GRACE - 5_000), [(655_000, 5_000)]);
    assert_eq!(late(MINUTES_10 + GRACE - 400), [(659_600, 400)]);
    assert_eq!(late(MINUTES_10 + GRACE - 399), []);
    // disturbed after four pulses: six for the rest of the window
    let after_four = |starts_per_hour| {
        let head = Head { starts_per_hour, ..round_head() };
        let (mut dose, mut limits) = (dose(MINUTES_10, TOTAL, 0), Limits::default());
        dose.plan(&round_head(), Some(10), 60_000_000);
        for (start, on) in even(0, 4, 60_000, 6_000) {
            let now = DUE + start;
            assert_eq!(
                dose.next(now, &round_head(), &limits, false, false),
                Next::On { on_ms: on }
            );
            limits.started(now);
            assert_eq!(
                dose.next(now + on, &round_head(), &limits, false, false),
                Next::Off { ran_ms: on }
            );
            limits.ended(now + on, on);
        }
        dose.disturb(Causes::of(Cause::SupplyLost));
        rest(&mut dose, 240_000, &head, &mut limits, false)
    };
    assert_eq!(after_four(60), even(240_000, 6, 60_000, 6_000));
    // of the twelve starts of the hour eight are left, and of ten six, and of seven three
    assert_eq!([12, 10].map(|starts| after_four(starts).len()), [6, 6]);
    assert_eq!(after_four(7), even(240_000, 3, 120_000, 12_000));
    // a pack of starts that is used up waits for the hour, which is too long
    assert_eq!(after_four(4), []);
}

#[test]
fn d3_in_a_hurry_as_fast_as_the_limits_allow() {
    let head = Head { longest_run_ms: 10_000, least_rest_ms: 5_000, ..round_head() };
    let fast = |total| {
        let mut dose = dose(MINUTES_10, total, 0);
        dose.plan(&head, Some(10), total as u64 * 1_000);
        rest(&mut dose, 0, &head, &mut Limits::default(), true)
    };
    assert_eq!(fast(30_000), even(0, 3, 15_000, 10_000));
    // nothing shorter than the shortest pulse is left for the last
    assert_eq!(fast(10_300), [(0, 9_900), (14_850, 400)]);
    assert_eq!(fast(10_400), [(0, 10_000), (15_000, 400)]);
    assert_eq!(fast(300), [(0, 300)]);
    // a tenth of a second is put off where the first stays long enough
    let near = Head { longest_run_ms: 900, ..head };
    let mut even_out = dose(MINUTES_10, 1_200, 0);
    even_out.plan(&near, Some(1), 1_200_000);
    let train = rest(&mut even_out, 0, &near, &mut Limits::default(), true);
    assert_eq!(train.iter().map(|(_, on)| *on).collect::<Vec<_>>(), [800, 400]);
    // where the first would be too short for it the rest is left
    let tight = Head { longest_run_ms: 500, ..head };
    let mut short = dose(MINUTES_10, 600, 0);
    short.plan(&tight, Some(1), 600_000);
    let train = rest(&mut short, 0, &tight, &mut Limits::default(), true);
    assert_eq!(train[0], (0, 500), "{train:?}");
}

#[test]
fn o1_a_container_has_so_much_for_it() {
    let mut dose = dose(MINUTES_10, TOTAL, 0);
    dose.plan(&round_head(), Some(10), 60_000_000);
    dose.cap(TOTAL);
    assert_eq!((dose.slack_ms, dose.all_causes), (0, Causes::NONE), "it is enough");
    dose.cap(i64::MAX);
    assert_eq!((dose.slack_ms, dose.all_causes), (0, Causes::NONE), "it was enough before");
    dose.cap(20_000);
    assert_eq!(dose.all_causes, Causes::of(Cause::ContainerEmpty));
    // it is enough again
    let mut filled = dose.clone();
    filled.cap(TOTAL);
    assert_eq!(filled.slack_ms, 12_002);
    let all = rest(&mut dose, 0, &round_head(), &mut Limits::default(), false);
    assert_eq!(all.iter().map(|(_, on)| on).sum::<i64>(), 20_000);
}

#[test]
fn d4_what_a_stop_and_a_restart_leave() {
    let mut running = dose(MINUTES_10, TOTAL, 0);
    running.plan(&round_head(), Some(10), 60_000_000);
    let limits = Limits::default();
    let start = |dose: &mut Running, at| dose.next(at, &round_head(), &limits, false, false);
    assert_eq!(start(&mut running, DUE), Next::On { on_ms: 6_000 });
    assert_eq!((running.is_on(), running.intended_ms()), (true, 6_000));
    assert_eq!(
        [0, 1_000, 6_000, 9_000].map(|ms| running.running_ms(DUE + ms)),
        [0, 1_000, 6_000, 6_000]
    );
    assert_eq!(start(&mut running, DUE + 5_999), Next::Nothing);
    let mut stopped = running.clone();
    assert_eq!(stopped.stop(DUE + 2_000), Some(DUE));
    assert_eq!((stopped.least_ms, stopped.most_ms, stopped.stop(DUE)), (2_000, 2_000, None));
    let mut over = running.clone();
    assert_eq!(over.over_by(DUE + 5_999), None);
    assert_eq!(over.over_by(DUE + 6_000), Some((DUE + 6_000, 6_000)));
    assert_eq!((over.least_ms, over.most_ms, over.is_on()), (6_000, 6_000, false));
    // a cut that the device learns of at its start: the intent counts as delivered at most
    let restarted = |before: i64, forgets| {
        let mut dose = running.clone();
        (dose.least_ms, dose.most_ms) = (before, before);
        assert_eq!(dose.cut(), Some(DUE));
        dose.restart(Causes::of(Cause::SupplyLost), forgets);
        assert_eq!((dose.restarts, dose.causes), (1, Causes::of(Cause::SupplyLost)));
        (dose.least_ms, dose.most_ms)
    };
    assert_eq!([restarted(0, false), restarted(0, true)], [(0, 6_000), (0, 0)]);
    // each disturbance may cost a pulse, and a millisecond
    running.disturb(Causes::of(Cause::Leak));
    running.disturb(Causes::of(Cause::RemoteStop));
    assert_eq!(running.slack_ms, 12_002);
    assert_eq!(running.causes, Causes::of(Cause::RemoteStop));
    assert_eq!(running.all_causes, Causes::of(Cause::Leak).with(Cause::RemoteStop));
    // while it is stopped it waits for its deadline
    let mut waits = dose(MINUTES_10, TOTAL, 0);
    waits.plan(&round_head(), Some(10), 60_000_000);
    let deadline = DUE + MINUTES_10 + GRACE;
    assert_eq!(waits.timer(DUE, &round_head(), &limits, true), deadline);
    assert_eq!(waits.next(deadline - 1, &round_head(), &limits, false, true), Next::Nothing);
    assert_eq!(waits.next(deadline, &round_head(), &limits, false, true), Next::End);
}

#[test]
fn d5_an_even_train_that_rest_holds_up_goes_on_to_the_deadline() {
    // the pump is free ten seconds before the deadline: 6 s, 0.6 of rest, and what is left
    let mut limits = Limits::default();
    limits.ended(DUE + 650_000 - 600, 100);
    let mut dose = dose(MINUTES_10, TOTAL, 0);
    dose.plan(&round_head(), Some(10), 60_000_000);
    let all = rest(&mut dose, 0, &round_head(), &mut limits, false);
    assert_eq!(all, [(650_000, 6_000), (656_600, 3_400)]);
}
