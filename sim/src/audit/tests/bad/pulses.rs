//! D4 to D6: what a dose pumps, what is said of it, and where its pulses lie.

use dosewright_core::cause::Cause;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::{Carry, Flow, Volume};

use super::{END, night, with_inputs};
use crate::audit::tests::bench::{
    Ev, MIN, audit, breaks, holds, is_outcome, is_pulse, places, with, with_outcome, with_pulse,
    without,
};

#[test]
fn d4_pulses_of_a_wrong_length() {
    let stream = night();
    let ons = places(&stream, |ev| matches!(ev, Ev::Pump(true)));
    let offs = places(&stream, |ev| matches!(ev, Ev::Pump(false)));
    for (late, words) in [(2_i64, "on an intent of"), (-2, "nothing stopped it")] {
        let mut long = stream.clone();
        long[offs[4]].0 = (long[offs[4]].0 as i64 + late) as u64;
        breaks(&long, END, "D4", words);
    }
    // on without an intent
    let mut bare = stream.clone();
    let (ms, _) = bare[offs[29]];
    bare.push((ms + 5000, Ev::Pump(true)));
    bare.push((ms + 6000, Ev::Pump(false)));
    bare.sort_by_key(|(ms, _)| *ms);
    breaks(&bare, END, "D4", "without an intent");
    // in the dose it counts as what it pumped: 15 s and 271 698 ms of 26.5 ml a minute
    let more = [(46 * MIN, Ev::Pump(true)), (46 * MIN + 15_000, Ev::Pump(false))];
    let more = with(&stream, &more);
    breaks(&more, END, "D4", "at most 119999950 nl, and the pump ran for 126624508 nl");
    assert_eq!(audit(&more, END).volume_nl / 1_000, 126_624);
    // the intent comes after the pump
    let mut swapped = stream.clone();
    swapped.swap(ons[4], ons[4] - 1);
    breaks(&swapped, END, "D4", "without an intent");
    // an intent and no pump
    breaks(&without(&stream, &[ons[4], offs[4]]), END, "D4", "the pump did not go on");
    // the pump goes on late
    let mut late = stream;
    late[ons[4]].0 += 3;
    breaks(&late, END, "D4", "did not go on");
}

#[test]
fn d4_accounts_that_do_not_add_up() {
    let stream = night();
    for (spoilt, words) in [
        (with_pulse(&stream, 9, |p| p.least_ms -= 3), "at least"),
        (with_pulse(&stream, 9, |p| p.most_ms += 3), "at most"),
        (with_pulse(&stream, 0, |p| p.dose_ms += 1), "the dose is to pump"),
        (with_pulse(&stream, 29, |p| p.on_ms += 3), "more than the dose"),
        (with_pulse(&stream, 9, |p| p.restarts = 1), "restarts are noted"),
        (with_pulse(&stream, 9, |p| p.first = true), "says first"),
        (with_outcome(&stream, 0, |o| o.least = Volume::from_ml(119)), "least delivered"),
        (with_outcome(&stream, 0, |o| o.most = Volume::from_ml(121)), "most delivered"),
        (with_outcome(&stream, 0, |o| o.carry = Carry(1)), "a remainder of 1"),
        (with_outcome(&stream, 0, |o| o.restarts = 1), "restarts are noted"),
    ] {
        breaks(&spoilt, END, "D4", words);
    }
    let slower = Flow::from_nl_per_min(26_000_000).unwrap();
    breaks(&with_pulse(&stream, 9, |p| p.flow = slower), END, "D5", "it began with");
    breaks(&with_pulse(&stream, 9, |p| p.begun_after_ms = 4), END, "D2", "its begin is noted");
    breaks(&with_pulse(&stream, 9, |p| p.cut = Some(Cause::Ceiling)), END, "D7", "marked as cut");
    breaks(&with_pulse(&stream, 9, |p| p.due_at = Instant::from_ms(3)), END, "D9", "its instant");
    breaks(&with_pulse(&stream, 9, |p| p.mark = None), END, "D1", "the mark");
    let part = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(Cause::SupplyLost));
    breaks(&part, END, "D1", "expected dosed");
    breaks(&with_outcome(&stream, 0, |o| o.count = 2), END, "D1", "stands for several");
    breaks(&with_outcome(&stream, 0, |o| o.begun_after_ms = 2), END, "D2", "the begin is noted");
}

#[test]
fn d4_dosed_though_pulses_are_missing() {
    // the supply goes and comes, and the device counts a pulse too many as done
    let cut = [(59 * MIN, Ev::Supply(false)), (72 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    holds(&stream, END);
    let after = places(&stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.restarts == 1));
    let wrong = with_pulse(
        &stream,
        places(&stream, is_pulse).iter().position(|&p| p == after[0]).unwrap(),
        |p| {
            p.most_ms += 9056;
        },
    );
    breaks(&wrong, END, "D4", "at most");
    let forgets = with_pulse(
        &stream,
        places(&stream, is_pulse).iter().position(|&p| p == after[0]).unwrap(),
        |p| {
            p.most_ms -= 9056;
        },
    );
    breaks(&forgets, END, "D4", "at most");
}

#[test]
fn d5_a_part_dose_though_the_rest_fits() {
    let cut = [(59 * MIN, Ev::Supply(false)), (72 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let last = *places(&stream, is_pulse).last().unwrap();
    let outcome = places(&stream, is_outcome)[0];
    let most = match &stream[last].1 {
        Ev::Record(Record::Pulse(p)) => (p.least_ms, p.most_ms),
        _ => unreachable!(),
    };
    // the device gives up three pulses before the end
    let short: Vec<usize> = places(&stream, is_pulse).iter().rev().take(3).copied().collect();
    let drop: Vec<usize> = short.iter().flat_map(|&i| [i, i + 1, i + 2]).collect();
    let first_dropped = *short.last().unwrap();
    let (least, upto) = match &stream[first_dropped].1 {
        Ev::Record(Record::Pulse(p)) => (p.least_ms, p.most_ms),
        _ => unreachable!(),
    };
    assert!(upto < most.1);
    let nl = |ms: u32| Volume::from_nl(u64::from(ms) * 26_500_000 / 60_000);
    let mut part = stream.clone();
    if let Ev::Record(Record::Outcome(o)) = &mut part[outcome].1 {
        o.kind = OutcomeKind::Part(Cause::SupplyLost);
        (o.least, o.most, o.carry) = (nl(least), nl(upto), Carry(0));
    }
    breaks(&without(&part, &drop), END, "D5", "fit before the deadline");
}

#[test]
fn d5_d6_pulses_out_of_place() {
    let stream = night();
    let pulses = places(&stream, is_pulse);
    let shifted = |n: usize, by: i64| {
        let mut moved = stream.clone();
        for place in pulses[n]..pulses[n] + 3 {
            let (ms, ev) = &mut moved[place];
            *ms = (*ms as i64 + by) as u64;
            if let Ev::Record(Record::Pulse(p)) = ev {
                p.at = Instant::from_ms(p.at.as_ms() + by);
            }
        }
        moved
    };
    breaks(&shifted(7, 2), END, "D6", "pulse 8 of 30");
    breaks(&shifted(7, -2000), END, "D6", "pulse 8 of 30");
    breaks(&shifted(0, 5000), END, "D5", "did not begin");
    // all of the dose in the first ten minutes
    let mut rushed = stream.clone();
    for (n, &place) in pulses.iter().enumerate() {
        for place in place..place + 3 {
            let (ms, ev) = &mut rushed[place];
            *ms -= n as u64 * 70_000;
            if let Ev::Record(Record::Pulse(p)) = ev {
                p.at = Instant::from_ms(p.at.as_ms() - n as i64 * 70_000);
            }
        }
    }
    breaks(&rushed, END, "D6", "ahead of the straight line");
    // the last pulse after the window
    breaks(&shifted(29, 85_000), END, "D5", "after the window");
    breaks(&shifted(29, 85_000), END, "D5", "after the deadline");
}
