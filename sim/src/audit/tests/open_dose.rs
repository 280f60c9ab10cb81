//! A dose that owns the pump, intent by intent: what just holds, and what is a
//! millisecond too much (D3 to D7).
//!
//! A minute of pumping in ten pulses of 6 s, a minute apart; figures worked out on paper.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{DueKey, Pulse};
use dosewright_core::time::Instant;
use dosewright_core::units::Flow;

use super::bench::round_head;
use crate::audit::causes::Causes;
use crate::audit::dose::{Finding, Flight, Hurry, Open, Plan};
use crate::audit::limits::Limits;
use crate::audit::model::{Begin, Due, Key, Why};

const DUE: i64 = 1_000_000;
const WINDOW: i64 = 600_000;
const GRACE: i64 = 60_000;
const DEADLINE: i64 = DUE + WINDOW + GRACE;
const TOTAL: i64 = 60_000;
const FLOW: u32 = 60_000_000;
const NOTHING: Causes = Causes::NONE;

fn due() -> Due {
    let key = Key { id: EntryId(1), revision: 1, epoch: 1, nominal: 45, asked: false };
    let (due_at, window_ms, grace_ms) = (DUE, WINDOW, GRACE);
    Due { key, due_at, window_ms, grace_ms, why: Why::Awake, weekly: true }
}

fn open_of(total_ms: i64, pulses: Option<u16>) -> Open {
    let begin = Begin { at: DUE, utc_ms: None, losses: 0 };
    let plan = Plan { total_ms, carry_after: 0, carries: true, flow: FLOW, cut: None, pulses };
    Open::new(due(), begin, plan, &Limits::default())
}

fn open() -> Open {
    open_of(TOTAL, Some(10))
}

fn pulse(after_ms: i64, on_ms: i64, before_ms: i64) -> Pulse {
    let due = DueKey { id: EntryId(1), revision: 1, epoch: 1, nominal: Nominal(45) };
    Pulse {
        line: 0,
        due,
        mark: None,
        at: Instant::from_ms(DUE + after_ms),
        due_at: Instant::from_ms(DUE),
        begun_after_ms: 0,
        on_ms: on_ms as u32,
        least_ms: before_ms as u32,
        most_ms: before_ms as u32,
        dose_ms: TOTAL as u32,
        flow: Flow::from_nl_per_min(FLOW).unwrap(),
        first: before_ms == 0,
        asked: false,
        cut: None,
        restarts: 0,
    }
}

/// After so many good pulses, the last of which ran in full.
fn after(pulses: i64) -> Open {
    let mut open = open();
    for i in 0..pulses {
        let found = open.intend(&pulse(i * 60_000, 6_000, i * 6_000), &head(), &Limits::default());
        assert_eq!(found, []);
        open.flight.as_mut().unwrap().ran_ms = Some(6_000);
    }
    open
}

fn head() -> Head {
    round_head()
}

fn says(found: &[Finding], promise: &str, words: &str) -> bool {
    found.iter().any(|(of, what)| *of == promise && what.contains(words))
}

/// What a pulse of an open dose brings up.
fn intend(mut open: Open, p: &Pulse, head: &Head, limits: &Limits) -> Vec<Finding> {
    open.intend(p, head, limits)
}

/// What the fourth pulse brings up, by a change of the head and the pulse.
fn fourth(p: &Pulse, head: &Head) -> Vec<Finding> {
    intend(after(3), p, head, &Limits::default())
}

#[test]
fn d4_what_was_pumped_before_an_intent_is_known_to_the_millisecond() {
    // what the pin did for the first pulse, and what the second may say of it
    for (ran_ms, unsure, least, most) in [
        (Some(6_000), false, (6_000, 6_000), (6_000, 6_000)),
        (None, false, (6_000, 6_000), (6_000, 6_000)),
        (Some(6_000), true, (5_999, 6_000), (5_999, 6_000)),
        // a millisecond short may be the clock's step
        (Some(5_999), true, (5_999, 6_000), (5_999, 6_000)),
        (Some(5_998), true, (0, 5_999), (5_997, 5_999)),
        (Some(3_000), true, (0, 3_001), (2_999, 3_001)),
        (Some(0), true, (0, 1), (0, 1)),
    ] {
        let mut before = after(1);
        before.flight =
            before.flight.map(|flight| Flight { ran_ms, unsure_ms: i64::from(unsure), ..flight });
        assert_eq!(before.after_flight(), (least, most), "{ran_ms:?}");
        let says_of = |least_ms: i64, most_ms: i64| {
            let mut second = pulse(60_000, 6_000, 0);
            (second.first, second.least_ms, second.most_ms) =
                (false, least_ms as u32, most_ms as u32);
            intend(before.clone(), &second, &head(), &Limits::default())
        };
        for (figure, wrong) in
            [(least.0 - 1, true), (least.0, false), (least.1, false), (least.1 + 1, true)]
        {
            if figure >= 0 {
                let found = says_of(figure, most.1);
                assert_eq!(says(&found, "D4", "at least"), wrong, "{ran_ms:?} {figure}");
            }
        }
        for (figure, wrong) in
            [(most.0 - 1, true), (most.0, false), (most.1, false), (most.1 + 1, true)]
        {
            if figure >= 0 {
                let found = says_of(least.1, figure);
                assert_eq!(says(&found, "D4", "at most"), wrong, "{ran_ms:?} {figure}");
            }
        }
    }
}

#[test]
fn d4_an_intent_names_the_dose_that_was_begun() {
    type Change = fn(&mut Pulse);
    let changes: [(Change, &str, &str); 4] = [
        (|p| p.dose_ms += 1, "D4", "the dose is to pump 60001 ms, not 60000"),
        (|p| p.flow = Flow::from_nl_per_min(FLOW - 1).unwrap(), "D5", "it began with 60000000"),
        (|p| p.cut = Some(Cause::Ceiling), "D7", "marked as cut by daily ceiling, not by nothing"),
        (|p| p.restarts = 1, "D4", "1 restarts are noted, not 0"),
    ];
    for (change, promise, words) in changes {
        let mut p = pulse(180_000, 6_000, 18_000);
        assert_eq!(fourth(&p, &head()), []);
        change(&mut p);
        assert!(says(&fourth(&p, &head()), promise, words), "{words}");
    }
}

#[test]
fn d4_never_more_than_the_dose() {
    let of = |on| intend(after(9), &pulse(540_000, on, 54_000), &head(), &Limits::default());
    assert_eq!(of(6_000), []);
    assert!(says(&of(6_001), "D4", "a pulse of 6001 ms after up to 54000 ms would be more"));
}

#[test]
fn d7_runs_and_rests_to_the_millisecond() {
    let longest = |longest_run_ms, lead_ms| {
        let head = Head { longest_run_ms, lead_ms, ..head() };
        let found = fourth(&pulse(180_000, 6_000, 18_000), &head);
        says(&found, "D7", "the longest run is")
    };
    assert_eq!([longest(6_000, 0), longest(5_999, 0)], [false, true]);
    assert_eq!([longest(6_100, 100), longest(6_099, 100)], [false, true]);
    let shortest = |on, lead_ms, left: i64| {
        let mut open = after(3);
        open.total_ms = 18_000 + left;
        let found = intend(
            open,
            &pulse(180_000, on, 18_000),
            &Head { lead_ms, ..head() },
            &Limits::default(),
        );
        says(&found, "D7", "the shortest is 400 ms")
    };
    assert_eq!([shortest(400, 0, 5_000), shortest(399, 0, 5_000)], [false, true]);
    assert_eq!([shortest(300, 100, 5_000), shortest(299, 100, 5_000)], [false, true]);
    // what is left of a dose may be shorter
    assert!(!shortest(399, 0, 399));
    // 600 ms of rest: free at the pulse, a millisecond after it, or two
    let rested = |off_after| {
        let mut limits = Limits::default();
        limits.ended(DUE + 180_000 + off_after, 100);
        let found = intend(after(3), &pulse(180_000, 6_000, 18_000), &head(), &limits);
        says(&found, "D7", "rest and starts an hour allow it from")
    };
    assert_eq!([rested(-600), rested(-599), rested(-598)], [false, false, true]);
}

#[test]
fn d5_the_last_pulse_ends_with_the_deadline() {
    let ends = |after_ms, lead_ms| {
        let head = Head { lead_ms, ..head() };
        let found = intend(after(9), &pulse(after_ms, 6_000, 54_000), &head, &Limits::default());
        let of = |words| says(&found, "D5", words);
        (of("a pulse ends 1 ms after the window"), of("a pulse ends 1 ms after the deadline"))
    };
    let window = WINDOW - 6_000;
    assert_eq!([ends(window, 0), ends(window + 1, 0)], [(false, false), (true, false)]);
    assert_eq!([ends(window - 100, 100), ends(window - 99, 100)], [(false, false), (true, false)]);
    let deadline = window + GRACE;
    assert_eq!([ends(deadline, 0), ends(deadline + 1, 0)], [(false, false), (false, true)]);
    assert_eq!(
        [ends(deadline - 100, 100), ends(deadline - 99, 100)],
        [(false, false), (false, true)]
    );
}

#[test]
fn d5_the_outcome_is_owed_with_the_end_of_the_last_pulse() {
    let mut open = after(9);
    assert_eq!(open.end_by, DEADLINE);
    let last = pulse(540_000, 6_000, 54_000);
    open.intend(&last, &Head { lead_ms: 100, ..head() }, &Limits::default());
    assert_eq!(open.end_by, DUE + 540_000 + 6_000 + 100);
    // a pulse that may be its last
    open = after(1);
    assert!(!open.may_be_complete() && !open.is_complete());
    (open.flight, open.most) = (None, (TOTAL - 1, TOTAL));
    assert!(open.may_be_complete() && !open.is_complete());
    open.most = (TOTAL, TOTAL);
    assert!(open.is_complete());
}

#[test]
fn d6_each_pulse_has_its_place() {
    for (late, wrong) in [(-2, true), (-1, false), (1, false), (2, true)] {
        let mut open = after(3);
        let p = pulse(180_000 + late, 6_000, 18_000);
        let found = open.intend(&p, &head(), &Limits::default());
        assert_eq!(says(&found, "D6", "pulse 4 of 10"), wrong, "{late}");
        assert_eq!(found.len(), usize::from(wrong));
        // said once: what comes after it is not measured by it
        assert_eq!(open.disturbed, wrong);
    }
    for on in [5_999, 6_001] {
        let found = fourth(&pulse(180_000, on, 18_000), &head());
        assert!(says(&found, "D6", "not 6000 ms long at 180000 ms"), "{on}");
    }
}

#[test]
fn d6_the_straight_line_to_one_pulse() {
    // after 18 s of pumping the line stands at a tenth of the time since the due
    for (after_ms, lead_ms, words) in [
        (173_990, 0, None),
        (173_980, 0, Some("6002 ms of pumping ahead of the straight line")),
        (240_019, 0, None),
        (240_020, 0, Some("6002 ms of pumping behind of the straight line")),
        // the pump runs longer for it, and the line goes on meanwhile
        (173_890, 100, None),
        (173_880, 100, Some("6002 ms of pumping ahead of the straight line")),
    ] {
        let found = fourth(&pulse(after_ms, 6_000, 18_000), &Head { lead_ms, ..head() });
        let line = found.iter().find(|(_, what)| what.contains("straight line"));
        assert_eq!(line.is_some(), words.is_some(), "{after_ms}: {found:?}");
        assert!(words.is_none_or(|words| says(&found, "D6", words)), "{found:?}");
    }
}

#[test]
fn d6_d7_a_pulse_that_rest_holds_back_is_no_fault() {
    // rested over a second after its place, and a second: only the first disturbs
    for (free_after, disturbs) in [(1_001, true), (1_000, false)] {
        let mut limits = Limits::default();
        limits.ended(DUE + 180_000 + free_after - 600, 100);
        let mut open = after(3);
        let p = pulse(180_000 + free_after, 6_000, 18_000);
        assert_eq!(open.intend(&p, &head(), &limits), []);
        assert_eq!(open.disturbed, disturbs);
        assert_eq!(open.causes.contains(Cause::PumpLimits), disturbs);
        // what had fitted before it is still asked for
        assert_eq!((open.able_since, open.most_when_able), (Some(DUE), 0));
    }
}

#[test]
fn d6_d7_a_first_pulse_that_rest_holds_back_begins_the_dose_there() {
    let mut limits = Limits::default();
    limits.ended(DUE + 1_001 - 600, 100);
    let mut open = open();
    assert_eq!(open.intend(&pulse(1_001, 6_000, 0), &head(), &limits), []);
    assert_eq!((open.disturbed, open.able_since), (true, Some(DUE + 1_001)));
    assert_eq!(open.most_when_able, 6_000);
}

#[test]
fn d5_what_is_left_of_a_disturbed_dose_is_spread_and_not_pumped_at_once() {
    // 42 s over 7 minutes, in six pulses of 7 s, none shorter than planned: twice one, and a ms
    let disturbed = || {
        let mut open = after(3);
        open.disturb(Cause::RemoteStop);
        open.resume(DUE + 180_000, &Limits::default());
        open
    };
    for (on_ms, wrong) in [(14_001, false), (14_002, true)] {
        let p = pulse(180_000, on_ms, 18_000);
        let found = disturbed().intend(&p, &head(), &Limits::default());
        assert_eq!(says(&found, "D5", "pulses of 7000 ms would do"), wrong, "{on_ms}: {found:?}");
    }
    // and no more than that ahead of a tenth of the time: 20 s where 6 s are due, or 5.9
    for (after_ms, wrong) in [(234_000, false), (233_000, true)] {
        let mut open = disturbed();
        let first = open.intend(&pulse(180_000, 14_000, 18_000), &head(), &Limits::default());
        assert_eq!(first, []);
        open.flight.as_mut().unwrap().ran_ms = Some(14_000);
        let found = open.intend(&pulse(after_ms, 6_000, 32_000), &head(), &Limits::default());
        assert_eq!(says(&found, "D5", "would do"), wrong, "{after_ms}: {found:?}");
    }
}

#[test]
fn d6_where_the_entry_names_no_pulses_any_even_number_will_do() {
    // 200 ms of 60 s may be the first of 299 pulses or of 300
    let of = |pulses: &[i64]| {
        let mut open = open_of(TOTAL, None);
        let fast = Head { shortest_on_ms: 100, ..head() };
        let mut before = 0;
        let mut all = Vec::new();
        for (i, n) in pulses.iter().enumerate() {
            let i = i as i64;
            let on = TOTAL * (i + 1) / n - TOTAL * i / n;
            let p = pulse(WINDOW * i / n, on, before);
            all.extend(open.intend(&p, &fast, &Limits::default()));
            open.flight.as_mut().unwrap().ran_ms = Some(on);
            before += on;
        }
        all
    };
    assert_eq!(of(&[299, 299, 299, 299, 299, 299]), []);
    assert_eq!(of(&[300, 300, 300, 300]), []);
    assert!(says(&of(&[299, 299, 300]), "D6", "pulse 3 of 299"));
    assert!(says(&of(&[300, 300, 299]), "D6", "pulse 3 of 300"));
    assert!(says(&of(&[300, 290]), "D6", "pulse 2 of"));
}

#[test]
fn d4_a_restart_counts_the_last_intent_and_each_unreadable_slot_as_a_pulse() {
    let restarted = |unreadable, forgets| {
        let mut open = after(2);
        open.restart(DUE + 90_000, unreadable, Cause::SupplyLost, forgets);
        assert_eq!((open.restarts, open.least, open.able_since), (1, (6_000, 6_000), None));
        assert!(open.flight.is_none() && open.disturbed && open.hurry.is_none());
        assert_eq!(open.causes, Causes::of(Cause::SupplyLost));
        (open.most, open.in_doubt_ms)
    };
    assert_eq!(restarted(0, false), ((12_000, 12_000), 6_000));
    assert_eq!(restarted(2, false), ((12_000, 24_000), 18_000));
    assert_eq!(restarted(20, false), ((12_000, TOTAL), 126_000));
    assert_eq!(restarted(2, true), ((6_000, 6_000), 18_000));
    // the end is owed by the deadline, or now
    for (now, end_by) in [(DEADLINE - 1, DEADLINE), (DEADLINE + 7, DEADLINE + 7)] {
        let mut open = after(1);
        open.restart(now, 0, Cause::SupplyLost, false);
        assert_eq!(open.end_by, end_by);
    }
    // one that has to end keeps when it had to
    let mut open = after(1);
    (open.forced, open.end_by) = (Some(Causes::of(Cause::Edited)), DUE + 5);
    open.hinder(DUE + 9, Cause::Leak);
    assert_eq!(open.end_by, DUE + 5);
}

#[test]
fn d4_slots_that_may_have_been_the_first_pulses() {
    let doubt = |total_ms, pulses, least, most| {
        let mut open = open_of(total_ms, Some(10));
        open.doubt_tail(least, most, pulses);
        assert!(open.disturbed);
        assert_eq!((open.in_doubt_ms, open.most_when_able), (open.most.1, open.most.1));
        open.most
    };
    assert_eq!(doubt(60_000, Some(10), 1, 2), (6_000, 12_000));
    assert_eq!(doubt(60_005, Some(10), 1, 2), (6_000, 12_002));
    assert_eq!(doubt(60_001, Some(10), 3, 4), (18_000, 24_004));
    assert_eq!(doubt(60_000, Some(10), 11, 12), (60_000, 60_000));
    assert_eq!(doubt(60_000, None, 1, 1), (0, 60_000));
    assert_eq!(doubt(60_000, Some(0), 1, 1), (0, 60_000));
}

/// A dose of which so much is pumped when it ends, nothing of it in flight.
fn pumped(ms: i64) -> Open {
    let mut open = after(1);
    (open.flight, open.least, open.most) = (None, (ms, ms), (ms, ms));
    open
}

#[test]
fn d5_a_dose_that_ends_early_though_it_was_only_kept() {
    let ends = |at, shortest_on_ms| {
        let mut open = pumped(30_000);
        open.able_since = None;
        let head = Head { shortest_on_ms, ..head() };
        let found = open.check_end(at, &head, Causes::of(Cause::Leak), i64::MAX);
        assert!(found.is_empty() || says(&found, "D5", "kept from pumping by \"leak\""));
        !found.is_empty()
    };
    // a pulse of 6 s, and a millisecond
    assert_eq!([ends(DEADLINE - 6_002, 400), ends(DEADLINE - 6_001, 400)], [true, false]);
    assert_eq!([ends(DEADLINE - 8_002, 8_000), ends(DEADLINE - 8_001, 8_000)], [true, false]);
}

#[test]
fn d5_a_part_dose_though_more_fits() {
    let part = |most, since, most_when_able, cap_ms| {
        let mut open = pumped(most);
        (open.able_since, open.most_when_able) = (Some(since), most_when_able);
        let found = open.check_end(DEADLINE, &head(), NOTHING, cap_ms);
        assert!(found.is_empty() || says(&found, "D5", "fit before the deadline"));
        !found.is_empty()
    };
    let all = i64::MAX;
    // all of the minute would have fitted, but for a pulse and a millisecond
    assert_eq!([part(53_998, DUE, 0, all), part(53_999, DUE, 0, all)], [true, false]);
    // half a minute would, after 10 s
    let since = DEADLINE - 30_000;
    assert_eq!([part(33_998, since, 10_000, all), part(33_999, since, 10_000, all)], [true, false]);
    // the container has 40 s for it
    assert_eq!([part(33_998, DUE, 0, 40_000), part(33_999, DUE, 0, 40_000)], [true, false]);
    assert!(!part(40_000, DUE, 0, 40_000) && !part(40_000, DUE, 0, 0));
}

#[test]
fn d3_the_owner_leaves_the_pump_in_time() {
    let left = |ran_ms, free_by| {
        let mut open = pumped(TOTAL - 6_000);
        let flight =
            Flight { at: DUE + 100_000, on_ms: 6_000, ran_ms, unsure_ms: 0, most_ms: 6_000 };
        (open.flight, open.hurry) = (Some(flight), Some(Hurry { free_by }));
        let found = open.check_end(DUE + 200_000, &head(), NOTHING, i64::MAX);
        assert!(found.is_empty() || says(&found, "D3", "while another due waits"));
        !found.is_empty()
    };
    let free_at = DUE + 100_000 + 6_000 + 600;
    assert_eq!([left(Some(6_000), free_at - 1), left(Some(6_000), free_at)], [true, false]);
    assert_eq!([left(None, free_at - 1), left(None, free_at)], [true, false]);
    assert_eq!([left(Some(5_999), free_at - 2), left(Some(5_999), free_at - 1)], [true, false]);
}

#[test]
fn d4_the_ledger_leaves_of_a_pulse_what_ran_until_the_motors_fault() {
    let broken = Flight { at: 1_000, on_ms: 6_000, ran_ms: Some(300), unsure_ms: 0, most_ms: 301 };
    // with a lead of 50 ms
    assert_eq!([1_050, 1_200, 1_351, 9_000].map(|at| broken.left_ms(at, 50)), [301, 151, 0, 0]);
    let mut open = pumped(30_000);
    let before = open.most;
    open.flight = Some(broken);
    open.restart(2_000, 0, Cause::SupplyLost, false);
    assert_eq!(open.most, (before.0 + 301, before.1 + 301));
    // only a pulse that went on to its end, and came after the fault, shows that it turns
    let turned = |flight: Flight, fault_at| {
        let mut open = pumped(30_000);
        open.flight = Some(flight);
        open.turned(fault_at)
    };
    let whole = Flight { ran_ms: Some(6_000), most_ms: 6_000, ..broken };
    assert_eq!([999, 1_000].map(|fault_at| turned(whole, fault_at)), [true, false]);
    assert!(!turned(broken, 999) && !turned(Flight { ran_ms: None, ..whole }, 999));
    assert!(!pumped(30_000).turned(0), "nothing is known of a pulse before a restart");
}

#[test]
fn d3_how_soon_the_owner_can_have_left() {
    // a rest of a tenth of each run; all that is left goes into one
    let head = Head { least_rest_ms: 60_000, ..head() };
    let now = DUE + 60_500;
    let mut open = pumped(30_000);
    open.hurry_from(now, &head, &Limits::default());
    // 30 s and 3 s of rest, and a pulse of the old spread: 0.4, 0.6 and 3 s, and 2 ms
    assert_eq!(open.hurry.unwrap().free_by, now + 33_000 + 4_002);
    assert!(open.disturbed);
    let mut open = pumped(30_000);
    open.flight =
        Some(Flight { at: now - 1_000, on_ms: 6_000, ran_ms: None, unsure_ms: 0, most_ms: 6_000 });
    open.hurry_from(now, &head, &Limits::default());
    // 5 s of the pulse that runs, 0.6 of rest, 24 and 2.4 s; and 0.4, 0.6, 2.4 s, 2 ms
    assert_eq!(open.hurry.unwrap().free_by, now + 32_000 + 3_402);
    // one that is over is over
    let mut open = pumped(30_000);
    open.flight = Some(Flight {
        at: now - 9_000,
        on_ms: 6_000,
        ran_ms: Some(6_000),
        unsure_ms: 0,
        most_ms: 6_000,
    });
    open.hurry_from(now, &head, &Limits::default());
    assert_eq!(open.hurry.unwrap().free_by, now + 26_400 + 3_402);
}

#[test]
fn d5_a_disturbed_dose_keeps_its_window_where_it_can() {
    let late = |end, lead_ms: u16, since, most_when_able, disturbed| {
        let mut open = pumped(TOTAL - 6_000);
        open.flight = Some(Flight {
            at: end - 6_000,
            on_ms: 6_000,
            ran_ms: Some(6_000),
            unsure_ms: 0,
            most_ms: 6_000,
        });
        (open.able_since, open.most_when_able) = (Some(since), most_when_able);
        open.disturbed = disturbed;
        let head = Head { lead_ms, ..head() };
        let found = open.check_end(end, &head, NOTHING, i64::MAX);
        assert!(found.is_empty() || says(&found, "D5", "ms after its window, though the rest"));
        !found.is_empty()
    };
    let window = DUE + WINDOW;
    let since = DUE + 500_000;
    assert!(late(window + 3, 0, since, 50_000, true) && !late(window + 2, 0, since, 50_000, true));
    assert!(late(window - 97, 100, since, 50_000, true));
    assert!(!late(window - 98, 100, since, 50_000, true));
    assert!(!late(window + 3, 0, since, 50_000, false), "each pulse has been looked at");
    assert!(!late(window + 3, 0, since, TOTAL, true), "nothing was left");
    // 10 s just fit, less a pulse and a millisecond
    let last = window - 6_001 - 10_000;
    assert!(late(window + 3, 0, last, 50_000, true));
    assert!(!late(window + 3, 0, last + 1, 50_000, true));
}
