//! Doses that end with something left: what counts as whole, and which causes do (D1, O1).
//!
//! A millilitre a second; the shortest pulse is 400 ms.

use dosewright_core::cause::Cause;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::units::Volume;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, is_outcome, lacks,
    nights, places, round_head, table, weekly, with_outcome, with_pulse,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
const HEEL_NL: u64 = 10_000_000;

/// 30 pulses of a volume in all, stopped for good before the last of them.
fn stopped(volume_nl: u64, container_nl: Option<u64>) -> Stream {
    let entry = Entry { volume: Volume::from_nl(volume_nl), ..weekly(1, 0x7f, 45) };
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[entry]));
    if let Some(nl) = container_nl {
        let container = Container {
            capacity: Volume::from_ml(1000),
            heel: Volume::from_nl(HEEL_NL),
            ..Container::NONE
        };
        let level = Volume::from_nl(nl + HEEL_NL);
        inputs.push((MIN as u64, Ev::Act(DeviceAct::SetContainer(container, level))));
    }
    let before_last = 45 * MIN + 29 * 90_000 - 30_000;
    inputs.push((before_last as u64, Ev::Act(DeviceAct::StopDose(EntryId(1)))));
    let stream = ideal_stream(&inputs, END);
    assert_eq!(holds(&stream, END).pump_starts, 29);
    stream
}

fn said(stream: &Stream, kind: OutcomeKind) -> Stream {
    with_outcome(stream, 0, |o| o.kind = kind)
}

#[test]
fn d1_a_rest_that_makes_a_shortest_pulse_is_not_dosed() {
    let whole = |each_nl: u64| said(&stopped(30 * each_nl, None), OutcomeKind::Dosed);
    breaks(&whole(400_000), END, "D1", "dosed with up to 11600 of 12000 ms pumped");
}

#[test]
fn d1_o1_an_empty_container_is_a_cause_where_less_than_a_pulse_is_left() {
    let empty = OutcomeKind::Part(Cause::ContainerEmpty);
    let left = |each_nl: u64| said(&stopped(120_000_000, Some(30 * each_nl)), empty);
    holds(&left(400_000), END);
    breaks(&left(401_000), END, "D1", "part, \"container empty\" with up to 11629 of 12030 ms");
}

#[test]
fn d4_a_dose_and_what_an_earlier_one_left_over() {
    // 120 ml at 26.5 ml/min: 271 698 ms, and 3 000 000 sixty-thousandths, 50 nl, are left;
    // a millisecond of flow and the rounding of two volumes are 443 nl
    let end = 2 * DAY as u64;
    let stream = nights(head(), &[], end);
    let second = |nl: u64| with_outcome(&stream, 1, |o| o.most = Volume::from_nl(nl));
    let words = "of a dose of 120000000 nl";
    lacks(&second(120_000_493), end, "D4", words);
    breaks(&second(120_000_494), end, "D4", words);
    // the first had nothing to take over
    let first = |nl: u64| with_outcome(&stream, 0, |o| o.most = Volume::from_nl(nl));
    lacks(&first(120_000_443), end, "D4", words);
    breaks(&first(120_000_444), end, "D4", words);
}

#[test]
fn d4_each_stop_may_cost_the_account_a_millisecond() {
    // stopped in mid-pulse three times, for a minute each; the device counts a millisecond
    // too little each time
    let mut stops = Vec::new();
    for from in [45 * MIN, 60 * MIN, 75 * MIN] {
        let stream = nights(round_head(), &stops, END);
        let on = stream.iter().find(|(ms, ev)| *ms >= from as u64 && *ev == Ev::Pump(true));
        let at = on.unwrap().0 as i64 + 1_500;
        let stop = |ms: i64, on| (ms, Ev::Act(DeviceAct::RemoteStop(on)));
        stops.extend([stop(at, true), stop(at + MIN, false)]);
    }
    let stream = nights(round_head(), &stops, END);
    holds(&stream, END);
    let stopped_at = places(&stream, |ev| *ev == Ev::Act(DeviceAct::RemoteStop(true)));
    let short_by = |each: u32| {
        let mut short = stream.clone();
        for (n, place) in places(&stream, super::bench::is_pulse).into_iter().enumerate() {
            let stops = stopped_at.iter().filter(|&&stop| stop < place).count() as u32;
            short = with_pulse(&short, n, |p| {
                p.most_ms -= each * stops;
                p.least_ms = p.least_ms.min(p.most_ms);
            });
        }
        with_outcome(&short, 0, |o| {
            o.most = Volume::from_nl(o.most.as_nl() - 3_000 * u64::from(each));
            o.least = o.least.min(o.most);
        })
    };
    holds(&short_by(1), END);
    breaks(&short_by(2), END, "D4", "and the pump ran for");
}

#[test]
fn d4_pulses_that_are_each_a_millisecond_short() {
    let stream = nights(round_head(), &[], END);
    let offs = places(&stream, |ev| *ev == Ev::Pump(false));
    let short = |pulses: usize| {
        let mut stream = stream.clone();
        for place in &offs[..pulses] {
            stream[*place].0 -= 1;
        }
        stream
    };
    // a millisecond in all is given way
    holds(&short(1), END);
    breaks(&short(2), END, "D4", "dosed, and 1 ms of 120000 ms are lacking");
}

#[test]
fn d7_the_rest_goes_by_what_a_pulse_was_to_be() {
    // ten times as much rest as run: a pulse of 10 s every 110 s
    let slow = Head { longest_run_ms: 10_000, least_rest_ms: 100_000, ..round_head() };
    let entry =
        Entry { volume: Volume::from_ml(300), window_ms: 55 * MIN as u32, ..weekly(1, 0x7f, 45) };
    let stream = ideal_stream(&install(slow, CET, "2026-10-19 00:00", table(&[entry])), END);
    holds(&stream, END);
    let off = places(&stream, |ev| *ev == Ev::Pump(false))[4];
    holds(&super::bench::moved(&stream, off, 1), END);
    breaks(&super::bench::moved(&stream, off, 2), END, "D7", "rest and starts an hour allow");
}

#[test]
fn d1_a_stop_that_goes_while_another_stays_lets_nothing_run() {
    let act = |ms: i64, act| (ms, Ev::Act(act));
    let stream = nights(
        round_head(),
        &[
            act(50 * MIN, DeviceAct::RemoteStop(true)),
            act(55 * MIN, DeviceAct::Leak(true)),
            act(60 * MIN, DeviceAct::RemoteStop(false)),
        ],
        END,
    );
    assert_eq!(holds(&stream, END).dues.part, 1);
    // nor does one that was not there
    let none = nights(round_head(), &[act(50 * MIN, DeviceAct::Leak(false))], END);
    assert_eq!(holds(&none, END).dues.dosed, 1);
}

#[test]
fn d1_a_dose_that_is_stopped_by_hand_is_a_part_for_that_alone() {
    let stop = (50 * MIN, Ev::Act(DeviceAct::StopDose(EntryId(1))));
    let part = |before: &[(i64, Ev)], cause| {
        let stream = nights(round_head(), &[before, std::slice::from_ref(&stop)].concat(), END);
        holds(&stream, END);
        said(&stream, OutcomeKind::Part(cause))
    };
    let late = |by: i64| [(45 * MIN + by, Ev::Late(by as u64))];
    let words = "part, \"woken late\"";
    breaks(&part(&late(1), Cause::WokenLate), END, "D1", words);
    lacks(&part(&late(2), Cause::WokenLate), END, "D1", words);
    // begun late for a stop, and no dose was in its way
    let act = |ms: i64, on| (ms, Ev::Act(DeviceAct::RemoteStop(on)));
    let stopped = [act(44 * MIN, true), act(46 * MIN, false)];
    breaks(&part(&stopped, Cause::PumpInUse), END, "D1", "part, \"pump in use\"");
    lacks(&part(&stopped, Cause::RemoteStop), END, "D1", "part, \"remote stop\"");
}

#[test]
fn d4_an_intent_that_asks_for_a_millisecond_less() {
    let stream = nights(head(), &[], END);
    let mut less = stream.clone();
    for (_, ev) in &mut less {
        if let Ev::Record(Record::Pulse(p)) = ev {
            p.dose_ms -= 1;
        }
    }
    breaks(&less, END, "D4", "the dose is to pump 271697 ms, not 271698");
    assert_eq!(places(&less, is_outcome).len(), 1);
}

#[test]
fn d5_a_container_that_is_filled_late_gives_the_rest_its_grace() {
    // 200 ml by account; at 60 ml drawn its contact says that 50 are left, 40 above the heel;
    // filled half a minute before the window of ten ends, the other 20 ml take 45 s
    let litre = Container {
        capacity: Volume::from_ml(1000),
        low: Volume::from_ml(50),
        heel: Volume::from_nl(HEEL_NL),
        debounce_ms: 5_000,
    };
    let entry =
        Entry { window_ms: 10 * MIN as u32, grace_ms: 45 * MIN as u32, ..weekly(1, 0x7f, 45) };
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[entry]));
    let mut act = |ms: i64, act| inputs.push((ms as u64, Ev::Act(act)));
    act(MIN, DeviceAct::SetContainer(litre, Volume::from_ml(200)));
    act(45 * MIN + 15 * 20_000 - 5_000, DeviceAct::LevelLow(true));
    let filled = 54 * MIN + 30_000;
    act(filled, DeviceAct::LevelLow(false));
    act(filled, DeviceAct::Refill(Volume::from_ml(500)));
    let stream = ideal_stream(&inputs, END);
    assert_eq!(holds(&stream, END).dues.dosed, 1);
    let outcome = places(&stream, is_outcome)[0];
    assert!(stream[outcome].0 > 55 * MIN as u64, "within its window after all");
}
