//! Predictions, and how each wrong reading changes one.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Days;
use dosewright_core::config::Container;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::record::OutcomeKind;
use dosewright_core::units::Volume;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, date, every, facts, head, install, local, nominal, round_head,
    set_table, table, weekly, zone,
};
use crate::audit::{Facts, Predicted, Reading, predict};
use crate::observe::{DeviceAct, Observation};

fn predicted_by(facts: &Facts, inputs: &Stream, end: i64) -> Vec<Predicted> {
    let observations = inputs.iter().map(|(ms, ev)| {
        let what = match ev {
            Ev::Supply(on) => Observation::Supply { on: *on },
            Ev::Chip(count_ms, rate_ppb, feed_kept) => Observation::Chip {
                count_ms: *count_ms,
                rate_ppb: *rate_ppb,
                feed_kept: *feed_kept,
            },
            Ev::Act(act) => Observation::Act(act),
            Ev::Late(by_ms) => Observation::LateWake { by_ms: *by_ms },
            Ev::Reset => Observation::Reset,
            _ => panic!("{ev:?} is no input"),
        };
        (*ms, what)
    });
    predict(facts, observations, end as u64)
}

/// What is predicted of these inputs with the usual facts.
pub(super) fn predicted(inputs: &Stream, end: i64) -> Vec<Predicted> {
    predicted_by(&facts(), inputs, end)
}

fn by_night(mut entry: Entry) -> Entry {
    if let Recurrence::Weekly { by_night, .. } = &mut entry.recurrence {
        *by_night = true;
    }
    entry
}

#[test]
fn d8_a_year_in_new_york_has_every_due_once() {
    let entry = weekly(1, 0x7f, 150);
    let inputs = install(head(), "EST5EDT,M3.2.0,M11.1.0", "2026-01-01 00:00", table(&[entry]));
    let dues = predicted(&inputs, 365 * DAY);
    assert_eq!(dues.len(), 365);
    assert!(dues.iter().all(|d| d.kind == Some(OutcomeKind::Dosed)));
    let skipped = dues.iter().find(|d| d.nominal == nominal("2026-03-08 02:30").0).unwrap();
    assert_eq!(skipped.due_local_ms, Some(local("2026-03-08 03:30").as_ms()));
}

#[test]
fn predictions_state_least_most_and_what_is_open() {
    let inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let dues = predicted(&inputs, 60 * MIN);
    assert_eq!((dues.len(), dues[0].kind), (1, None));
    let dues = predicted(&inputs, 2 * HOUR);
    assert_eq!((dues[0].least_nl, dues[0].most_nl), (120_000_000, 120_000_000));
    // a ms of flow, and the rounding
    assert_eq!(dues[0].slack_nl, 1_001);
    assert_eq!(dues[0].ended_at, 45 * MIN + 29 * 90_000 + 4_000);
    assert_eq!((dues[0].begun_at, dues[0].epoch, dues[0].revision), (Some(45 * MIN), 1, 1));
}

#[test]
fn an_interval_after_a_year_without_supply_is_one_stretch() {
    let entry = every(2, 15 * MIN, 0);
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[entry]));
    inputs.push((10 * MIN as u64, Ev::Supply(false)));
    inputs.push((365 * DAY as u64 + 1, Ev::Supply(true)));
    let dues = predicted(&inputs, 365 * DAY + 2);
    // 0 dosed; 1 to 35039 over; 35040, due at 365 days, can still run
    assert_eq!(dues.len(), 3);
    assert_eq!((dues[1].nominal, dues[1].last, dues[1].count), (1, 35_039, 35_039));
    assert_eq!(dues[1].kind, Some(OutcomeKind::Skipped(Cause::SupplyLost)));
    assert_eq!((dues[2].nominal, dues[2].kind), (35_040, None));
}

/// A container of a litre with so much in it: the contact at 50 ml, the heel 10 ml.
fn container(level_ml: u64) -> DeviceAct {
    let container = Container {
        capacity: Volume::from_ml(1000),
        low: Volume::from_ml(50),
        heel: Volume::from_ml(10),
        debounce_ms: 5000,
    };
    DeviceAct::SetContainer(container, Volume::from_ml(level_ml))
}

/// What each misread rule is misread in: a run whose prediction changes.
fn scene_for(reading: Reading) -> (Stream, i64) {
    let nightly = weekly(1, 0x7f, 45);
    let start = |entries: &[Entry], at: &str| install(round_head(), CET, at, table(entries));
    let act = |act| Ev::Act(act);
    let clock = |text: &str| act(DeviceAct::SetClock(local(text)));
    let mut inputs;
    let end;
    match reading {
        Reading::GuardCapped => {
            // once a week: the guard is three days and a half
            inputs = start(&[weekly(1, 1, 45)], "2026-10-19 00:00");
            inputs.push((2 * DAY as u64, clock("2026-10-19 00:30")));
            end = 3 * DAY;
        }
        Reading::GuardWholeGap => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((3 * HOUR as u64, clock("2026-10-19 14:00")));
            end = 2 * DAY;
        }
        Reading::EditForgets => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((100 * MIN as u64, act(set_table(&[weekly(1, 0x7f, 120)]))));
            end = 6 * HOUR;
        }
        Reading::ElapsedAgeOnly => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((2 * HOUR as u64, Ev::Supply(false)));
            inputs.push((24 * HOUR as u64, Ev::Supply(true)));
            inputs.push((24 * HOUR as u64, Ev::Chip(2 * HOUR, 0, false)));
            inputs.push((24 * HOUR as u64, clock("2026-10-20 00:00")));
            end = 30 * HOUR;
        }
        Reading::RepeatedTwice => {
            // in a gap of five minutes nothing guards: half of it has gone by
            let mut often = weekly(1, 0x7f, 150);
            (often.volume, often.pulses) = (Volume::from_ml(10), Some(10));
            inputs = start(&[often], "2026-10-25 00:00");
            end = 12 * HOUR;
        }
        Reading::SkippedAtFirstValid | Reading::SkippedDropped => {
            inputs = start(&[weekly(1, 0x7f, 150)], "2026-03-28 12:00");
            end = 2 * DAY;
        }
        Reading::MarkRaised => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((10 * MIN as u64, clock("2026-10-19 01:00")));
            end = 6 * HOUR;
        }
        Reading::MarkNotLowered => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((20 * HOUR as u64, clock("2026-10-19 00:30")));
            end = 2 * DAY;
        }
        Reading::ClosedByCalendar | Reading::NightOnNamedDay => {
            let mut night = by_night(nightly);
            night.observes_closed = true;
            if let Recurrence::Weekly { days, .. } = &mut night.recurrence {
                *days = Days::from_bits(0b1);
            }
            let mut timetable = table(&[night]);
            // the Tuesday on which Monday's night ends
            let day = date("2026-10-20");
            assert!(
                timetable
                    .closed
                    .push(dosewright_core::entry::ClosedDates { first: day, last: day })
            );
            inputs = install(round_head(), CET, "2026-10-18 12:00", timetable);
            end = 4 * DAY;
        }
        Reading::CeilingOver24h | Reading::CeilingByBegin => {
            let mut timetable = table(&[nightly]);
            timetable.ceiling = Some(Volume::from_ml(121));
            inputs = install(round_head(), CET, "2026-10-19 00:00", timetable);
            if reading == Reading::CeilingOver24h {
                // 00:45 comes 23 h 30 min after 00:45
                inputs.push((3 * HOUR as u64, clock("2026-10-19 03:30")));
            } else {
                // 00:45 began at 01:20; the next comes 23 h 15 min after it was due
                inputs.push((44 * MIN as u64, act(DeviceAct::RemoteStop(true))));
                inputs.push((80 * MIN as u64, act(DeviceAct::RemoteStop(false))));
                inputs.push((3 * HOUR as u64, clock("2026-10-19 03:45")));
            }
            end = 36 * HOUR;
        }
        Reading::CeilingFallsAtOnce => {
            // 300 ml of two entries, of which one is given up after its dose at 03:00
            let mut two = [nightly, weekly(2, 0x7f, 180)];
            two[1].volume = Volume::from_ml(120);
            inputs = start(&two, "2026-10-19 00:00");
            inputs.push((10 * HOUR as u64, act(set_table(&two[..1]))));
            end = 36 * HOUR;
        }
        Reading::UnsetCaughtUp => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((10 * MIN as u64, Ev::Supply(false)));
            inputs.push((HOUR as u64, Ev::Supply(true)));
            inputs.push((HOUR as u64, Ev::Chip(10 * MIN, 0, false)));
            inputs.push((HOUR as u64 + 1000, clock("2026-10-19 01:00")));
            end = 4 * HOUR;
        }
        Reading::LostFeedGoesOn => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((60 * MIN as u64, Ev::Supply(false)));
            inputs.push((62 * MIN as u64, Ev::Supply(true)));
            inputs.push((62 * MIN as u64, Ev::Chip(60 * MIN - 500, 0, false)));
            end = 4 * HOUR;
        }
        Reading::ZoneOpensNoEpoch => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((1000, act(DeviceAct::SetZone(zone("EET-2EEST,M3.5.0/3,M10.5.0/4")))));
            end = 4 * HOUR;
        }
        Reading::GraceForgotten => {
            let mut patient = nightly;
            patient.grace_ms = HOUR as u32;
            inputs = start(&[patient], "2026-10-19 00:00");
            inputs.push((10 * MIN as u64, Ev::Supply(false)));
            inputs.push((100 * MIN as u64, Ev::Supply(true)));
            end = 6 * HOUR;
        }
        Reading::NewerKept => {
            // the night before the change is an hour shorter than the patience
            let mut long = weekly(1, 0x7f, 300);
            long.grace_ms = (22 * HOUR + 45 * MIN) as u32;
            inputs = start(&[long], "2026-03-28 00:00");
            inputs.push((4 * HOUR as u64, act(DeviceAct::RemoteStop(true))));
            inputs.push(((28 * HOUR + 10 * MIN) as u64, act(DeviceAct::RemoteStop(false))));
            end = 32 * HOUR;
        }
        Reading::RemainderDropped => {
            // 10 ml at 26.5 ml/min leave 0.5 ms: the second dose is 1 ms longer
            let mut small = every(2, HOUR, 0);
            small.volume = Volume::from_ml(17);
            inputs = install(head(), CET, "2026-10-19 00:00", table(&[small]));
            end = 12 * HOUR;
        }
        Reading::RestartForgets => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((60 * MIN as u64, Ev::Supply(false)));
            inputs.push((4 * HOUR as u64, Ev::Supply(true)));
            end = 6 * HOUR;
        }
        Reading::EditMarksNow => {
            // it waits for a stop, and its volume is edited
            let mut patient = nightly;
            patient.grace_ms = HOUR as u32;
            let less = Entry { volume: Volume::from_ml(100), ..patient };
            inputs = start(&[patient], "2026-10-19 00:00");
            inputs.push((40 * MIN as u64, act(DeviceAct::RemoteStop(true))));
            inputs.push((50 * MIN as u64, act(set_table(&[less]))));
            inputs.push((60 * MIN as u64, act(DeviceAct::RemoteStop(false))));
            end = 6 * HOUR;
        }
        Reading::PrimeNotTakenOff => {
            // 60 ml of 170 ml go into the tube: 110 ml are left, 10 of them the heel
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((1000, act(container(170))));
            inputs.push((2000, act(DeviceAct::Prime(Volume::from_ml(60)))));
            end = 6 * HOUR;
        }
        Reading::HeelDosed => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((1000, act(container(125))));
            end = 6 * HOUR;
        }
        Reading::ContactNotBelieved => {
            // 50 ml are what the contact leaves of 140
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((1000, act(container(140))));
            inputs.push((2000, act(DeviceAct::LevelLow(true))));
            end = 6 * HOUR;
        }
        Reading::BouncesCount => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((1000, act(container(140))));
            inputs.push((2000, act(DeviceAct::LevelLow(true))));
            inputs.push((3000, act(DeviceAct::LevelLow(false))));
            end = 6 * HOUR;
        }
        Reading::FaultLatchesAtOnce => {
            inputs = start(&[nightly], "2026-10-19 00:00");
            inputs.push((45 * MIN as u64 + 200, act(DeviceAct::MotorFault)));
            end = 6 * HOUR;
        }
    }
    (inputs, end)
}

/// A wrong reading that changes nothing could not be caught by any table.
#[test]
fn every_wrong_reading_changes_a_prediction() {
    for reading in Reading::ALL {
        let (inputs, end) = scene_for(reading);
        let right = predicted(&inputs, end);
        let wrong = predicted_by(&Facts { reading: Some(reading), ..facts() }, &inputs, end);
        assert_ne!(right, wrong, "{reading:?}");
        assert!(!right.is_empty(), "{reading:?}");
    }
}

/// And an auditor that misreads a rule objects to a device that reads it right.
#[test]
fn every_wrong_reading_is_caught_in_a_run() {
    for reading in Reading::ALL {
        let (inputs, end) = scene_for(reading);
        let stream = super::bench::ideal_stream(&inputs, end as u64);
        super::bench::holds(&stream, end as u64);
        let misled = Facts { reading: Some(reading), ..facts() };
        let report = super::bench::audit_with(misled, &stream, end as u64);
        assert!(!report.held(), "{reading:?}");
    }
}

#[test]
fn minute_by_minute_predicts_the_same() {
    let entries = [weekly(1, 0x7f, 150), every(2, 6 * HOUR, 3 * HOUR)];
    for at in ["2026-10-24 12:00", "2026-03-28 12:00"] {
        let mut inputs = install(round_head(), CET, at, table(&entries));
        inputs.push((30 * HOUR as u64, Ev::Act(DeviceAct::SetClock(local("2026-10-25 01:00")))));
        let plain = Facts { minute_by_minute: true, ..facts() };
        assert_eq!(predicted(&inputs, 3 * DAY), predicted_by(&plain, &inputs, 3 * DAY));
    }
}

#[test]
fn d7_the_default_ceiling_is_1_25_times_the_fullest_day() {
    use crate::audit::rules::default_ceiling_nl;
    let ml = |entries: &[Entry]| default_ceiling_nl(entries.iter().copied()) / 1_000_000;
    assert_eq!(ml(&[weekly(1, 0x7f, 45)]), 150);
    // Monday 23:00 and Tuesday 22:00 are within 24 h: 240; and 4 x 15 by interval
    assert_eq!(ml(&[weekly(1, 1, 1380), weekly(2, 2, 1320)]), 300);
    assert_eq!(ml(&[weekly(1, 1, 1380), weekly(2, 2, 1380)]), 150);
    assert_eq!(ml(&[weekly(1, 1, 1380), every(2, 6 * HOUR, 0)]), 225);
    assert_eq!(ml(&[every(2, 7 * HOUR, 0)]), 75);
    // one ends the day before the other begins
    let mut first = weekly(1, 0x7f, 45);
    first.last = Some(date("2026-12-31"));
    let mut second = weekly(2, 0x7f, 50);
    second.first = Some(date("2027-01-02"));
    assert_eq!(ml(&[first, second]), 150);
    second.first = Some(date("2027-01-01"));
    assert_eq!(ml(&[first, second]), 150);
    second.first = Some(date("2026-12-31"));
    assert_eq!(ml(&[first, second]), 300);
    let mut off = second;
    (off.id, off.enabled) = (EntryId(3), false);
    assert_eq!(ml(&[off]), 0);
}

#[test]
fn what_a_start_finds_stops_the_pump_before_it_runs() {
    // cut in the dose; a stop, or a leak, is there when the supply comes again
    for act in [DeviceAct::RemoteStop(true), DeviceAct::Leak(true)] {
        let mut inputs =
            install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
        inputs.push((50 * MIN as u64, Ev::Supply(false)));
        inputs.push((55 * MIN as u64, Ev::Supply(true)));
        inputs.push((55 * MIN as u64, Ev::Act(act)));
        let dues = predicted(&inputs, 2 * HOUR);
        // four pulses, of which the last may not have run: it had, when the supply went
        assert_eq!(dues[0].kind, Some(OutcomeKind::Part(Cause::SupplyLost)));
        assert_eq!((dues[0].least_nl, dues[0].most_nl), (12_000_000, 16_000_000));
        assert_eq!(dues[0].causes.iter().collect::<Vec<_>>(), [Cause::SupplyLost]);
        // a pulse for the restart, and a millisecond
        assert_eq!(dues[0].slack_nl, 4_002_001);
        assert_eq!(dues[0].ended_at, 90 * MIN);
    }
}

#[test]
fn what_keeps_a_dose_is_told_with_it() {
    let causes = |inputs: &[(i64, DeviceAct)]| {
        let mut stream =
            install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
        stream.extend(inputs.iter().map(|(ms, act)| (*ms as u64, Ev::Act(act.clone()))));
        let dues = predicted(&stream, 2 * HOUR);
        (dues[0].kind, dues[0].causes.iter().collect::<Vec<_>>())
    };
    let stop = |ms, on| (ms, DeviceAct::RemoteStop(on));
    let leak = |ms, on| (ms, DeviceAct::Leak(on));
    let part = |cause| Some(OutcomeKind::Part(cause));
    // one after the other, through the end of the window: the one that lasted
    let both = causes(&[stop(50 * MIN, true), leak(55 * MIN, true), stop(60 * MIN, false)]);
    assert_eq!(both, (part(Cause::Leak), vec![Cause::Leak]));
    let skipped = causes(&[leak(40 * MIN, true)]);
    assert_eq!(skipped, (Some(OutcomeKind::Skipped(Cause::Leak)), vec![Cause::Leak]));
    let mut wet = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    wet.push((40 * MIN as u64, Ev::Act(DeviceAct::Leak(true))));
    let dues = predicted(&wet, 2 * HOUR);
    assert_eq!((dues[0].ended_at, dues[0].begun_at, dues[0].count), (90 * MIN, None, 1));
    // begun late for it, and ended by the end of the window
    let late = causes(&[stop(40 * MIN, true), stop(89 * MIN, false)]);
    assert_eq!(late, (part(Cause::RemoteStop), vec![Cause::RemoteStop]));
    assert_eq!(causes(&[]), (Some(OutcomeKind::Dosed), vec![]));
}
