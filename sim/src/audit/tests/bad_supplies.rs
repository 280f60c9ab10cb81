//! Spoilt accounts of the container, its contact and the motor: every check is seen to
//! fail on what it is for (O1, O6, P4).
//!
//! A millilitre a second; 120 ml at 00:45 in thirty pulses of 4 s.

use dosewright_core::record::{Act, Alarm, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::bench::{
    Ev, HOUR, MIN, Stream, breaks, changed, holds, lacks, moved, nights, places, round_head, with,
    without,
};
use super::supplies::fill;
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

fn contact(ms: i64, closed: bool) -> (i64, Ev) {
    (ms, Ev::Act(DeviceAct::LevelLow(closed)))
}

fn device(inputs: &[(i64, Ev)]) -> Stream {
    nights(round_head(), inputs, END)
}

fn alarm(ms: i64, alarm: Alarm, on: bool) -> (i64, Ev) {
    (ms, Ev::Record(Record::Alarm { at: Instant::from_ms(ms), alarm, on, detail: 0 }))
}

/// The alarms of a stream in order.
fn alarms(stream: &Stream) -> Vec<(i64, Alarm, bool)> {
    let of = |(ms, ev): &(u64, Ev)| match ev {
        Ev::Record(Record::Alarm { alarm, on, .. }) => Some((*ms as i64, *alarm, *on)),
        _ => None,
    };
    stream.iter().filter_map(of).collect()
}

fn alarm_places(stream: &Stream) -> Vec<usize> {
    places(stream, |ev| matches!(ev, Ev::Record(Record::Alarm { .. })))
}

#[test]
fn o1_a_container_that_runs_empty_is_told() {
    // 60 ml and the heel: the dose is cut in half
    let stream = device(&[fill(MIN, 70)]);
    let ended = 45 * MIN + 14 * 90_000 + 4_000;
    holds(&stream, END);
    assert_eq!(alarms(&stream).len(), 1);
    assert_eq!((alarms(&stream)[0].1, alarms(&stream)[0].2), (Alarm::ContainerEmpty, true));
    assert!(alarms(&stream)[0].0 <= ended + 45 * MIN);
    let silent = without(&stream, &alarm_places(&stream));
    breaks(&silent, END, "O1", "the container is empty, and no alarm says so");
    // said of one that is not
    let full = device(&[fill(MIN, 700)]);
    holds(&full, END);
    let said = with(&full, &[alarm(3 * HOUR, Alarm::ContainerEmpty, true)]);
    breaks(&said, END, "O1", "\"container empty\" comes, against the account");
    breaks(&said, END, "O1", "the container is not empty, and an alarm says so");
    let gone = with(&stream, &[alarm(6 * HOUR, Alarm::ContainerEmpty, false)]);
    breaks(&gone, END, "O1", "\"container empty\" goes, against the account");
    let twice = with(&stream, &[alarm(6 * HOUR, Alarm::ContainerEmpty, true)]);
    breaks(&twice, END, "O1", "\"container empty\" comes, though it stands so already");
    // filled again it goes
    let filled = device(&[fill(MIN, 70), fill(5 * HOUR, 500)]);
    holds(&filled, END);
    assert_eq!(alarms(&filled)[1], (5 * HOUR, Alarm::ContainerEmpty, false));
    let stays = without(&filled, &alarm_places(&filled)[1..]);
    breaks(&stays, END, "O1", "the container is not empty, and an alarm says so");
}

#[test]
fn o1_no_pulse_for_what_the_container_has_not() {
    // enough for all of it; and the same run with less said to be in it
    let stream = device(&[fill(MIN, 130)]);
    holds(&stream, END);
    let less = |nl: u64| {
        let mut stream = stream.clone();
        for (_, ev) in &mut stream {
            match ev {
                Ev::Act(DeviceAct::SetContainer(_, level))
                | Ev::Record(Record::Container { level, .. }) => *level = Volume::from_nl(nl),
                _ => {}
            }
        }
        stream
    };
    // a millisecond of pumping less is given way
    lacks(&less(129_999_000), END, "O1", "by account");
    breaks(&less(129_998_999), END, "O1", "the container has 119998 ms of pumping by account");
}

#[test]
fn o6_the_container_is_spoken_of_as_somebody_did() {
    let stream =
        device(&[fill(MIN, 700), (5 * HOUR, Ev::Act(DeviceAct::Refill(Volume::from_ml(900))))]);
    holds(&stream, END);
    let records = places(&stream, |ev| matches!(ev, Ev::Record(Record::Container { .. })));
    let words = "the ledger speaks of the container as nobody did";
    for place in &records {
        let other = changed(&stream, *place, |record| {
            if let Record::Container { level, .. } = record {
                *level = Volume::from_ml(800);
            }
        });
        breaks(&other, END, "O6", words);
        let other = changed(&stream, *place, |record| {
            if let Record::Container { container, .. } = record {
                container.heel = Volume::from_ml(11);
            }
        });
        breaks(&other, END, "O6", words);
    }
    let acts = places(&stream, |ev| {
        matches!(ev, Ev::Act(DeviceAct::SetContainer(..) | DeviceAct::Refill(_)))
    });
    breaks(&without(&stream, &acts[1..]), END, "O6", words);
}

#[test]
fn o1_a_low_level_is_told_when_it_has_stayed() {
    // 120 of 200 ml are gone by two: the account is at 80, the contact at 50
    let stream = device(&[fill(MIN, 200), contact(3 * HOUR, true)]);
    holds(&stream, END);
    let told = 3 * HOUR + 5_000;
    assert_eq!(alarms(&stream), [(told, Alarm::LowLevel, true)]);
    let place = alarm_places(&stream)[0];
    breaks(&without(&stream, &[place]), END, "O1", "is closed, and no alarm says so");
    let at = |by: i64| {
        let stream = changed(&stream, place, |record| {
            if let Record::Alarm { at, .. } = record {
                *at = Instant::from_ms(told + by);
            }
        });
        moved(&stream, place, by)
    };
    holds(&at(2), END);
    breaks(&at(3), END, "O1", "is closed, and no alarm says so");
    breaks(&at(-1), END, "O1", "for as long as it may bounce");
    // one that bounces is not low
    let bounces =
        device(&[fill(MIN, 200), contact(3 * HOUR, true), contact(3 * HOUR + 4_999, false)]);
    assert_eq!(alarms(&bounces), []);
    holds(&bounces, END);
    // it goes when the container is filled, and not before
    let filled =
        [fill(MIN, 200), contact(3 * HOUR, true), contact(5 * HOUR, false), fill(6 * HOUR, 500)];
    let stream = device(&filled);
    holds(&stream, END);
    assert_eq!(
        alarms(&stream),
        [(told, Alarm::LowLevel, true), (6 * HOUR, Alarm::LowLevel, false)]
    );
    // nor when it is filled with less than the contact has below it
    let mut little = filled;
    little[3] = fill(6 * HOUR, 30);
    let little = device(&little);
    holds(&little, END);
    assert_eq!(alarms(&little), [(told, Alarm::LowLevel, true)]);
    let soon = with(
        &without(&stream, &alarm_places(&stream)[1..]),
        &[alarm(5 * HOUR, Alarm::LowLevel, false)],
    );
    breaks(&soon, END, "O1", "\"low level\" goes, though the container is still low by account");
}

#[test]
fn o1_a_contact_that_contradicts_the_account_is_told() {
    // far is a tenth of the litre above the contact: 150 ml
    let disagrees = |ml: u64| {
        let stream = device(&[fill(3 * HOUR, ml), contact(3 * HOUR + MIN, true)]);
        holds(&stream, END);
        let said: Vec<Alarm> = alarms(&stream).iter().map(|(_, alarm, _)| *alarm).collect();
        (stream, said)
    };
    let (near, said) = disagrees(150);
    assert_eq!(said, [Alarm::LowLevel]);
    let (far, said) = disagrees(151);
    assert_eq!(said, [Alarm::LevelDisagrees, Alarm::LowLevel, Alarm::ContainerEmpty]);
    // the one said where the other was to be
    let only_low = without(&far, &[alarm_places(&far)[0]]);
    breaks(&only_low, END, "O1", "the account says far more: the level disagrees");
    let low = alarm_places(&near)[0];
    let disagree = changed(&near, low, |record| {
        if let Record::Alarm { alarm, .. } = record {
            *alarm = Alarm::LevelDisagrees;
        }
    });
    breaks(&disagree, END, "O1", "though the account agrees with the contact");
    // nobody has said anything since
    let gone = with(&far, &[alarm(6 * HOUR, Alarm::LevelDisagrees, false)]);
    breaks(&gone, END, "O1", "though nobody has said what is in the container");
    let filled = [
        fill(3 * HOUR, 500),
        contact(3 * HOUR + MIN, true),
        contact(5 * HOUR, false),
        fill(6 * HOUR, 400),
    ];
    let stream = device(&filled);
    holds(&stream, END);
    let at_six: Vec<_> = alarms(&stream).into_iter().filter(|(ms, ..)| *ms == 6 * HOUR).collect();
    assert_eq!(at_six.len(), 3, "{at_six:?}");
    assert!(at_six.iter().all(|(_, _, on)| !on));
}

#[test]
fn o1_a_level_that_disagrees_ends_the_dose() {
    let stream = device(&[fill(MIN, 900), contact(60 * MIN, true)]);
    holds(&stream, END);
    let places = alarm_places(&stream);
    assert_eq!(alarms(&stream)[0], (60 * MIN + 5_000, Alarm::LevelDisagrees, true));
    // it goes on all the same
    let outcome = super::bench::places(&stream, super::bench::is_outcome)[0];
    assert!(stream[outcome].0 as i64 <= 60 * MIN + 5_000 && outcome > places[0]);
    breaks(&without(&stream, &[outcome]), END, "D1", "the dose has no outcome by");
}

fn fails(ms: i64) -> (i64, Ev) {
    (ms, Ev::Act(DeviceAct::MotorFault))
}

#[test]
fn p4_a_motor_that_failed_rests_before_it_is_tried() {
    // in the tenth pulse
    let fault = 45 * MIN + 9 * 90_000 + 1_000;
    let stream = device(&[fails(fault)]);
    holds(&stream, END);
    let record = places(&stream, |ev| matches!(ev, Ev::Record(Record::Motor { .. })))[0];
    let counted = |n: u8| {
        changed(&stream, record, |record| {
            if let Record::Motor { faults, .. } = record {
                *faults = n;
            }
        })
    };
    breaks(&counted(2), END, "P4", "fault 2 of the motor in a row is noted: it is 1");
    let act = places(&stream, |ev| *ev == Ev::Act(DeviceAct::MotorFault));
    breaks(&without(&stream, &act), END, "P4", "a fault of the motor is noted, and there was none");
    // it stays off for a minute
    let on = places(&stream, |ev| matches!(ev, Ev::Pump(true)))[10];
    let next = stream[on].0 as i64;
    assert_eq!(next, fault + MIN);
    let early =
        with(&stream, &[(fault + MIN - 500, Ev::Pump(true)), (fault + MIN - 100, Ev::Pump(false))]);
    breaks(&early, END, "P4", "the pump goes on in spite of \"fault\"");
    // one that is told while nothing runs is noted as well
    let idle = device(&[fails(3 * HOUR)]);
    holds(&idle, END);
    assert_eq!(places(&idle, |ev| matches!(ev, Ev::Record(Record::Motor { .. }))).len(), 1);
    // nor is there an intent before it
    let record = on - 1;
    let mut sooner = stream.clone();
    for place in record..record + 3 {
        sooner[place].0 -= 500;
    }
    let sooner = changed(&sooner, record, |record| {
        if let Record::Pulse(p) = record {
            p.at = Instant::from_ms(p.at.as_ms() - 500);
        }
    });
    breaks(&sooner, END, "P4", "an intent in spite of \"fault\"");
    // and off at once
    let off = places(&stream, |ev| matches!(ev, Ev::Pump(false)))[9];
    assert_eq!(stream[off].0 as i64, fault);
    breaks(&moved(&stream, off, 1), END, "P4", "the pump is on in spite of \"fault\"");
}

#[test]
fn p4_the_fourth_fault_in_a_row_is_latched() {
    let first = 45 * MIN + 9 * 90_000 + 1_000;
    // a minute, two and four of rest, and each time it is tried it fails
    let mut inputs = vec![fails(first)];
    let mut stream = device(&inputs);
    for _ in 0..3 {
        let last = inputs.last().unwrap().0 as u64;
        let again = stream.iter().find(|(ms, ev)| *ms > last && *ev == Ev::Pump(true)).unwrap().0;
        inputs.push(fails(again as i64 + 1_000));
        stream = device(&inputs);
    }
    holds(&stream, END);
    let latched = inputs[3].0;
    assert_eq!(alarms(&stream), [(latched, Alarm::MotorFault, true)]);
    let silent = without(&stream, &alarm_places(&stream));
    breaks(&silent, END, "P4", "the motor's fault is latched, and no alarm is on");
    assert!(latched - inputs[2].0 >= 4 * MIN && inputs[2].0 - inputs[1].0 >= 2 * MIN);
    // until somebody acknowledges it
    inputs.push((4 * HOUR, Ev::Act(DeviceAct::Acknowledge)));
    let stream = device(&inputs);
    holds(&stream, END);
    assert_eq!(alarms(&stream)[1], (4 * HOUR, Alarm::MotorFault, false));
    let stays = without(&stream, &alarm_places(&stream)[1..]);
    breaks(&stays, END, "P4", "is not latched, and an alarm is on");
    let acknowledged =
        places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { act: Act::Acknowledged, .. })));
    breaks(&without(&stream, &acknowledged), END, "P4", "alarm is on");
}

#[test]
fn p4_a_leak_stops_the_pump_as_a_remote_stop_does() {
    let leak = |ms, on| (ms, Ev::Act(DeviceAct::Leak(on)));
    let stream = device(&[leak(60 * MIN + 1_000, true), leak(62 * MIN, false)]);
    holds(&stream, END);
    let off = places(&stream, |ev| matches!(ev, Ev::Pump(false)))[10];
    assert_eq!(stream[off].0 as i64, 60 * MIN + 1_000);
    breaks(&moved(&stream, off, 1), END, "P4", "the pump is on in spite of \"leak\"");
    // one that is there when the supply comes
    let wet = device(&[
        (10 * MIN, Ev::Supply(false)),
        (20 * MIN, Ev::Supply(true)),
        leak(20 * MIN, true),
        leak(2 * HOUR, false),
    ]);
    holds(&wet, END);
    let skipped = super::bench::outcomes(&wet)[0];
    let leak = dosewright_core::cause::Cause::Leak;
    assert_eq!(skipped.kind, dosewright_core::record::OutcomeKind::Skipped(leak));
    let stop = super::bench::with_outcome(&wet, 0, |o| {
        o.kind = dosewright_core::record::OutcomeKind::Skipped(
            dosewright_core::cause::Cause::RemoteStop,
        );
    });
    breaks(&stop, END, "D1", "expected skipped, \"leak\"");
}

#[test]
fn o1_what_is_said_of_the_container_in_a_dose_is_what_it_has_from_then_on() {
    // after eleven pulses of 4 ml it is told that 40 ml are left, 10 of them out of reach
    let stream = device(&[fill(MIN, 900), fill(60 * MIN + 10_000, 40)]);
    holds(&stream, END);
    let outcome = super::bench::outcomes(&stream)[0];
    let empty = dosewright_core::cause::Cause::ContainerEmpty;
    assert_eq!(outcome.kind, dosewright_core::record::OutcomeKind::Part(empty));
    assert_eq!(outcome.most, Volume::from_ml(74));
    // and more again
    let more = device(&[fill(MIN, 900), fill(60 * MIN + 10_000, 40), fill(61 * MIN, 900)]);
    holds(&more, END);
    assert_eq!(super::bench::outcomes(&more)[0].most, Volume::from_ml(120));
}
