//! What damage of the memory leaves open of container and motor, and what not (M2, O1, P4).
//!
//! A millilitre a second; 120 ml at 00:45 in thirty pulses of 4 s.

use dosewright_core::record::{Act, Alarm, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::bench::{
    Ev, HOUR, MIN, Stream, breaks, changed, holds, is_pulse, lacks, nights, places, round_head,
    with, without,
};
use super::supplies::fill;
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

fn act(ms: i64, act: DeviceAct) -> (i64, Ev) {
    (ms, Ev::Act(act))
}

fn supply(ms: i64, on: bool) -> (i64, Ev) {
    (ms, Ev::Supply(on))
}

fn is_alarm(of: Alarm) -> impl Fn(&Ev) -> bool {
    move |ev| matches!(ev, Ev::Record(Record::Alarm { alarm, .. }) if *alarm == of)
}

/// The stream in which, the supply being off for the first time, the last record of the kind
/// before that becomes unreadable.
fn lost(stream: &Stream, is: impl Fn(&Ev) -> bool) -> Stream {
    let off = places(stream, |ev| *ev == Ev::Supply(false))[0];
    let place = places(stream, is).into_iter().rfind(|&place| place < off).unwrap();
    let is_record = |ev: &Ev| matches!(ev, Ev::Record(_));
    let since = places(stream, is_record).iter().filter(|&&at| place < at && at < off).count();
    let mut stream = stream.clone();
    stream.insert(off + 1, (stream[off].0, Ev::Flip(since)));
    stream
}

#[test]
fn o1_a_dose_that_a_container_in_doubt_cuts_is_what_its_intents_say() {
    // 60 ml above the heel: half of the dose
    let inputs = [fill(MIN, 70), supply(30 * MIN, false), supply(31 * MIN, true)];
    let stream = nights(round_head(), &inputs, END);
    holds(&stream, END);
    let is_container = |ev: &Ev| matches!(ev, Ev::Record(Record::Container { .. }));
    let lost = lost(&stream, is_container);
    assert_eq!(holds(&lost, END).dues.part, 1);
    // what is not cut by the container is not in doubt
    let mut less = lost.clone();
    for place in places(&lost, is_pulse) {
        less = changed(&less, place, |record| {
            if let Record::Pulse(p) = record {
                p.cut = None;
            }
        });
    }
    breaks(&less, END, "D4", "the dose is to pump 60000 ms, not 120000");
}

/// Two alarms of the container by half past five, of which the memory may lose the last; at
/// six the container is spoken of again, and at seven its contact closes.
fn low_at_seven(is_lost: bool) -> Stream {
    let inputs = [
        fill(MIN, 70),
        supply(5 * HOUR + 30 * MIN, false),
        supply(5 * HOUR + 31 * MIN, true),
        fill(6 * HOUR, 100),
        act(7 * HOUR, DeviceAct::LevelLow(true)),
    ];
    let stream = nights(round_head(), &inputs, END);
    holds(&stream, END);
    if is_lost { lost(&stream, is_alarm(Alarm::ContainerEmpty)) } else { stream }
}

#[test]
fn o1_a_low_level_is_not_looked_for_where_an_alarm_is_lost() {
    let words = "the low-level contact is closed, and no alarm says so";
    let silent = |stream: &Stream| without(stream, &places(stream, is_alarm(Alarm::LowLevel)));
    breaks(&silent(&low_at_seven(false)), END, "O1", words);
    lacks(&silent(&low_at_seven(true)), END, "O1", words);
}

#[test]
fn o1_an_alarm_is_not_judged_where_one_is_lost() {
    let words = "though the contact has not been closed";
    let at = 8 * HOUR;
    let alarm = Alarm::LevelDisagrees;
    let said = (
        6 * HOUR + MIN,
        Ev::Record(Record::Alarm {
            at: Instant::from_ms(6 * HOUR + MIN),
            alarm,
            on: true,
            detail: 0,
        }),
    );
    breaks(&with(&low_at_seven(false), std::slice::from_ref(&said)), at as u64, "O1", words);
    lacks(&with(&low_at_seven(true), &[said]), at as u64, "O1", words);
}

#[test]
fn o1_an_account_in_doubt_stays_so_until_somebody_speaks_of_it() {
    use super::bench::{CET, ideal_stream, install, table, weekly};
    use dosewright_core::calibration::{Amount, Measured, Vessel};
    let words = "the container is not empty, and an alarm says so";
    let reading_error = Volume::from_ul(500);
    let read =
        Measured { amount: Amount::Volume(Volume::from_ml(34)), reading_error, as_found: false };
    let vessel = Vessel { capacity: Volume::from_ml(100), reading_error };
    let later: [&[(i64, Ev)]; 3] = [
        &[],
        // another flow, the same container
        &[
            act(6 * HOUR, DeviceAct::CalibrateInto(vessel)),
            act(6 * HOUR + 3 * MIN, DeviceAct::Measured(read)),
        ],
        // its contact says that it is low
        &[act(6 * HOUR, DeviceAct::LevelLow(true))],
    ];
    for (n, later) in later.iter().enumerate() {
        let mut inputs =
            install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
        let first = [fill(MIN, 250), supply(5 * HOUR, false), supply(5 * HOUR + MIN, true)];
        inputs.extend(first.iter().chain(*later).map(|(ms, ev)| (*ms as u64, ev.clone())));
        let stream = ideal_stream(&inputs, END);
        holds(&stream, END);
        let at = Instant::from_ms(8 * HOUR);
        let empty = Record::Alarm { at, alarm: Alarm::ContainerEmpty, on: true, detail: 0 };
        let said = |stream: &Stream| with(stream, &[(8 * HOUR, Ev::Record(empty))]);
        breaks(&said(&stream), END, "O1", words);
        let lost = lost(&stream, |ev| matches!(ev, Ev::Record(Record::Stamp { .. })));
        lacks(&said(&lost), END, "O1", words);
        let calibrated = |ev: &Ev| matches!(ev, Ev::Record(Record::Calibration { .. }));
        assert_eq!(places(&lost, calibrated).len(), usize::from(n == 1));
    }
}

#[test]
fn o1_a_low_level_may_be_told_two_milliseconds_late_whatever_else_happens() {
    let inputs = [fill(MIN, 200), act(3 * HOUR, DeviceAct::LevelLow(true))];
    let stream = nights(round_head(), &inputs, END);
    let told = 3 * HOUR + 5_000;
    let late = |by: i64| {
        let place = places(&stream, is_alarm(Alarm::LowLevel))[0];
        let mut late = changed(&stream, place, |record| {
            if let Record::Alarm { at, .. } = record {
                *at = Instant::from_ms(told + by);
            }
        });
        let (_, alarm) = late.remove(place);
        with(&late, &[act(told + by, DeviceAct::Release), (told + by, alarm)])
    };
    holds(&late(2), END);
    breaks(&late(3), END, "O1", "is closed, and no alarm says so");
}

#[test]
fn d5_a_container_that_is_spoken_of_while_the_dose_is_stopped() {
    // a stop from 00:50 to the end; meanwhile 20 ml are said to be left for it
    let inputs = [
        fill(MIN, 700),
        act(50 * MIN, DeviceAct::RemoteStop(true)),
        fill(55 * MIN, 30),
        act(100 * MIN, DeviceAct::RemoteStop(false)),
    ];
    let stream = nights(round_head(), &inputs, END);
    assert_eq!(holds(&stream, END).dues.part, 1);
}

#[test]
fn d1_what_the_container_and_the_pump_both_keep() {
    // 30 starts of the night's dose are all that an hour has, and the container is empty by
    // it, at 01:28: the other due, of ten minutes, may be kept by either
    use dosewright_core::cause::Cause;
    use dosewright_core::config::Head;
    use dosewright_core::record::OutcomeKind;

    use super::bench::{
        CET, every, ideal_stream, install, is_outcome, table, weekly, with_outcome,
    };
    let kept_by = |starts_per_hour, from_min: i64, cause| {
        let head = Head { starts_per_hour, ..round_head() };
        let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, from_min * MIN)]);
        let mut inputs = install(head, CET, "2026-10-19 00:00", timetable);
        inputs.push((MIN as u64, fill(0, 130).1));
        let stream = ideal_stream(&inputs, 2 * HOUR as u64);
        assert_eq!(holds(&stream, 2 * HOUR as u64).dues.skipped, 1);
        let n = places(&stream, is_outcome).len() - 1;
        with_outcome(&stream, n, |o| o.kind = OutcomeKind::Skipped(cause))
    };
    let end = 2 * HOUR as u64;
    holds(&kept_by(30, 91, Cause::PumpLimits), end);
    let words = "expected skipped, \"container empty\"";
    breaks(&kept_by(60, 91, Cause::PumpLimits), end, "D1", words);
    // one that has waited for the pump as well: its rest is counted to its use
    holds(&kept_by(30, 86, Cause::PumpInUse), end);
    breaks(&kept_by(30, 91, Cause::PumpInUse), end, "D1", "expected skipped,");
}

/// Four faults of the motor in a row latch it; the supply goes, the record of the last
/// becomes unreadable, and the motor is tried by prime at 00:35.
fn tried(says_latched: bool) -> Stream {
    let faults = [10, 12, 15, 20].map(|min| act(min * MIN, DeviceAct::MotorFault));
    let mut inputs = faults.to_vec();
    inputs.extend([supply(25 * MIN, false), supply(26 * MIN, true)]);
    let stream = nights(round_head(), &inputs, END);
    let report = holds(&stream, END);
    assert_eq!((report.dues.dues, report.dues.dosed), (1, 0));
    let is_motor = |ev: &Ev| matches!(ev, Ev::Record(Record::Motor { .. }));
    assert_eq!(places(&stream, is_motor).len(), 4);
    let lost = lost(&stream, is_motor);
    let at = Instant::from_ms(26 * MIN + 1);
    let latched = Record::Alarm { at, alarm: Alarm::MotorFault, on: true, detail: 0 };
    let begun = Record::Act { at: Instant::from_ms(35 * MIN), act: Act::PrimeBegun, ms: 5_000 };
    let ended =
        Record::Act { at: Instant::from_ms(35 * MIN + 5_000), act: Act::PrimeEnded, ms: 5_000 };
    let events = [
        (26 * MIN + 1, Ev::Record(latched)),
        act(35 * MIN, DeviceAct::Prime(Volume::from_ml(5))),
        (35 * MIN, Ev::Record(begun)),
        (35 * MIN, Ev::Pump(true)),
        (35 * MIN + 5_000, Ev::Pump(false)),
        (35 * MIN + 5_000, Ev::Record(ended)),
    ];
    with(&lost, if says_latched { &events } else { &events[1..] })
}

#[test]
fn p4_of_a_motor_in_doubt_no_alarm_is_asked() {
    // latched; and a record is lost that may have told that it was acknowledged
    let mut inputs = [10, 12, 15, 20].map(|min| act(min * MIN, DeviceAct::MotorFault)).to_vec();
    inputs.extend([supply(25 * MIN, false), supply(26 * MIN, true)]);
    let stream = nights(round_head(), &inputs, END);
    let at = Instant::from_ms(26 * MIN + 1);
    let gone = Record::Alarm { at, alarm: Alarm::MotorFault, on: false, detail: 0 };
    let lost = lost(&stream, |ev| matches!(ev, Ev::Record(Record::Boot { .. })));
    let said = |stream: &Stream, ms| with(stream, &[(ms, Ev::Record(gone))]);
    let words = "the motor's fault is latched, and no alarm is on";
    breaks(&said(&stream, 26 * MIN + 1), 30 * MIN as u64, "P4", words);
    lacks(&said(&lost, 26 * MIN + 1), 30 * MIN as u64, "P4", words);
}

#[test]
fn o1_no_alarm_is_asked_of_a_memory_that_takes_none() {
    // the night's dose takes what there is; its alarm is written a second later
    let stream = nights(round_head(), &[fill(MIN, 130)], END);
    holds(&stream, END);
    let place = places(&stream, is_alarm(Alarm::ContainerEmpty))[0];
    let told = stream[place].0 as i64;
    let later = |torn: bool| {
        let mut later = changed(&stream, place, |record| {
            if let Record::Alarm { at, .. } = record {
                *at = Instant::from_ms(told + 1_000);
            }
        });
        let (_, alarm) = later.remove(place);
        let mut events = vec![];
        events.extend(torn.then_some((told, Ev::Torn)));
        events.extend([act(told + 500, DeviceAct::Release), (told + 1_000, alarm)]);
        with(&later, &events)
    };
    holds(&later(true), END);
    breaks(&later(false), END, "O1", "the container is empty, and no alarm says so");
}

#[test]
fn p4_a_motor_that_the_device_says_is_latched_is_not_tried() {
    let end = 40 * MIN as u64;
    breaks(&tried(true), end, "P4", "prime begins in spite of \"fault\"");
    lacks(&tried(false), end, "P4", "prime begins in spite of");
}
