//! Spoilt calibrations: every check is seen to fail on what it is for (O2, O4, O6).

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::config::Container;
use dosewright_core::lock::PinWord;
use dosewright_core::record::{Act, Record};
use dosewright_core::tube::Found;
use dosewright_core::units::{Flow, Volume};

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, lacks, places, table,
    weekly,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
const VESSEL: Vessel =
    Vessel { capacity: Volume::from_ml(100), reading_error: Volume::from_ul(500) };

fn read(nl: u64, as_found: bool) -> Ev {
    Ev::Act(DeviceAct::Measured(Measured {
        amount: Amount::Volume(Volume::from_nl(nl)),
        reading_error: VESSEL.reading_error,
        as_found,
    }))
}

/// The first night, and in the morning these acts.
fn morning(acts: &[(i64, Ev)]) -> Stream {
    let mut stream = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let container = Container { capacity: Volume::from_ml(10_000), ..Container::NONE };
    let filled = DeviceAct::SetContainer(container, Volume::from_ml(7_000));
    stream.push((6 * HOUR as u64 - 1, Ev::Act(filled)));
    stream.extend(acts.iter().map(|(ms, ev)| ((6 * HOUR + ms) as u64, ev.clone())));
    ideal_stream(&stream, END)
}

fn run() -> (i64, Ev) {
    (0, Ev::Act(DeviceAct::CalibrateInto(VESSEL)))
}

/// Near the flow that is in force: a run of 75 s gives 33.1 ml.
const NEAR: u64 = 33_000_000;
/// A tenth less.
const FAR: u64 = 29_700_000;

fn calibrated(stream: &Stream) -> Vec<usize> {
    places(stream, |ev| matches!(ev, Ev::Record(Record::Calibration { .. })))
}

/// The stream with its calibration record changed.
fn spoilt(mut stream: Stream, change: impl Fn(&mut Found, &mut bool)) -> Stream {
    let at = calibrated(&stream)[0];
    if let Ev::Record(Record::Calibration { found, in_force, .. }) = &mut stream[at].1 {
        change(found, in_force);
    }
    stream
}

fn one() -> Stream {
    morning(&[run(), (3 * MIN, read(NEAR, false))])
}

#[test]
fn o2_good_readings_hold() {
    let stream = one();
    assert_eq!(calibrated(&stream).len(), 1);
    holds(&stream, END);
    let found = morning(&[run(), (3 * MIN, read(FAR, true))]);
    assert_eq!(calibrated(&found).len(), 1);
    holds(&found, END);
    let twice = morning(&[
        run(),
        (3 * MIN, read(FAR, false)),
        (5 * MIN, run().1),
        (8 * MIN, read(FAR, false)),
        (9 * MIN, Ev::Act(DeviceAct::TubeChanged)),
        (10 * MIN, run().1),
        // at 23.8 ml/min the run is longer
        (13 * MIN, read(NEAR, false)),
    ]);
    assert_eq!(calibrated(&twice).len(), 2);
    holds(&twice, END);
}

#[test]
fn o2_another_flow_or_uncertainty_than_was_read() {
    let more = |found: &mut Found, by: u32| {
        found.flow = Flow::from_nl_per_min(found.flow.as_nl_per_min() + by).unwrap();
    };
    breaks(&spoilt(one(), |f, _| more(f, 5_000)), END, "O2", "is noted as");
    breaks(&spoilt(one(), |f, _| f.uncertainty_ppm /= 2), END, "O2", "is noted as");
}

#[test]
fn o2_in_force_or_not_against_what_was_said() {
    breaks(&spoilt(one(), |_, on| *on = false), END, "O2", "is not put in force");
    let found = morning(&[run(), (3 * MIN, read(NEAR, true))]);
    breaks(&spoilt(found, |_, on| *on = true), END, "O2", "as found is put in force");
}

#[test]
fn o2_a_reading_of_no_run_or_of_one_that_was_left() {
    let mut stream = one();
    let at = calibrated(&stream)[0];
    let record = stream[at].clone();
    // entered once more
    let again = (record.0 + 60_000, read(NEAR, false));
    let noted = match record.1 {
        Ev::Record(Record::Calibration { found, in_force, lead_ms }) => {
            let later = found.at.plus(dosewright_core::time::Duration::from_min(1));
            Record::Calibration { found: Found { at: later, ..found }, in_force, lead_ms }
        }
        _ => unreachable!(),
    };
    stream.insert(at + 1, again.clone());
    stream.insert(at + 2, (again.0, Ev::Record(noted)));
    breaks(&stream, END, "O2", "none to take: NoRun");
    let mut left = one();
    let reading = places(&left, |ev| matches!(ev, Ev::Act(DeviceAct::Measured(_))))[0];
    let ms = left[reading].0 - 1;
    left.insert(reading, (ms, Ev::Act(DeviceAct::Release)));
    breaks(&left, END, "O2", "none to take: NoRun");
}

#[test]
fn o2_a_flow_far_off_that_was_read_once() {
    let mut stream = one();
    for (_, ev) in &mut stream {
        if let Ev::Act(DeviceAct::Measured(_)) = ev {
            *ev = read(FAR, false);
        }
    }
    breaks(&stream, END, "O2", "none to take: Twice");
    for (_, ev) in &mut stream {
        if let Ev::Act(DeviceAct::Measured(_)) = ev {
            *ev = read(FAR / 3, false);
        }
    }
    breaks(&stream, END, "O2", "none to take: Implausible");
}

#[test]
fn d6_a_reading_in_a_dose_excuses_no_pulse() {
    use dosewright_core::time::Instant;
    // a run at half past midnight, and its reading in the dose: the lead stays as it was
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((30 * MIN as u64, run().1));
    inputs.push((50 * MIN as u64, read(NEAR, false)));
    let mut stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    assert_eq!(calibrated(&stream).len(), 1);
    let pulse = places(&stream, super::bench::is_pulse)[7];
    assert!(calibrated(&stream)[0] < pulse);
    for (ms, ev) in &mut stream[pulse..pulse + 3] {
        *ms += 2;
        if let Ev::Record(Record::Pulse(p)) = ev {
            p.at = Instant::from_ms(p.at.as_ms() + 2);
        }
    }
    breaks(&stream, END, "D6", "pulse 8 of 30");
}

#[test]
fn o2_a_good_reading_that_is_refused() {
    let mut stream = one();
    let at = calibrated(&stream)[0];
    stream.remove(at);
    breaks(&stream, END, "O2", "a good reading was refused");
}

/// A reading that is a flow of so many nl/min, and so many nl more, which the device takes.
fn of_flow(nl_per_min: u64, more_nl: u64) -> Stream {
    let begun = |ev: &Ev| match ev {
        Ev::Record(Record::Act { act: Act::CalibrationBegun, ms, .. }) => Some(u64::from(*ms)),
        _ => None,
    };
    let run_ms = one().iter().find_map(|(_, ev)| begun(ev)).unwrap();
    morning(&[run(), (3 * MIN, read(run_ms * nl_per_min / 60_000 + more_nl, false))])
}

#[test]
fn o2_what_is_noted_is_what_was_read_to_the_edge_of_rounding() {
    // 26 400 000.8 nl/min, noted as 26 400 001: a ten-thousandth and one are given way
    for (off, right) in [(2_640, true), (2_641, false), (-2_641, true), (-2_642, false)] {
        let noted = spoilt(of_flow(26_400_000, 1), |found, _| {
            let flow = found.flow.as_nl_per_min().saturating_add_signed(off);
            found.flow = Flow::from_nl_per_min(flow).unwrap();
        });
        if right {
            lacks(&noted, END, "O2", "is noted as");
        } else {
            breaks(&noted, END, "O2", "a reading of 26400001 nl/min is noted as");
        }
    }
    // and of some 17 600 ppm a thousandth and three
    for (off, right) in [(18, true), (24, false)] {
        let noted = spoilt(one(), |found, _| found.uncertainty_ppm += off);
        if right {
            lacks(&noted, END, "O2", "an uncertainty of");
        } else {
            breaks(&noted, END, "O2", "an uncertainty of");
        }
    }
}

#[test]
fn o2_near_a_limit_a_reading_may_be_taken_or_refused() {
    // 4.98 and 4.9 % less than is in force, where 5 % has to be found twice
    for (flow, may_refuse) in [(25_176_000, true), (25_200_000, false)] {
        let mut stream = of_flow(flow, 0);
        let at = calibrated(&stream)[0];
        stream.remove(at);
        if may_refuse {
            lacks(&stream, END, "O2", "a good reading was refused");
        } else {
            breaks(&stream, END, "O2", "a good reading was refused");
        }
    }
}

#[test]
fn o5_a_reading_behind_a_closed_lock_is_refused_for_that() {
    use dosewright_core::lock::Pin;
    use dosewright_core::time::Instant;
    let mut stream = one();
    let at = calibrated(&stream)[0];
    stream.remove(at);
    let between = 6 * HOUR + 2 * MIN;
    let set = |is_locked: bool| {
        let mut events = vec![
            (between, Ev::Act(DeviceAct::SetPin(Pin::from_digits(b"0417")))),
            (between, Ev::Record(Record::Pin { at: Instant::from_ms(between), check: PinWord(7) })),
        ];
        events.extend(is_locked.then_some((between + 1, Ev::Act(DeviceAct::Lock))));
        super::bench::with(&stream, &events)
    };
    lacks(&set(true), END, "O2", "a good reading was refused");
    breaks(&set(false), END, "O2", "a good reading was refused");
}

#[test]
fn o2_a_reading_that_the_memory_did_not_take() {
    use dosewright_core::time::Instant;
    let mut stream = one();
    let at = calibrated(&stream)[0];
    let read_at = stream[at].0 as i64;
    stream.remove(at);
    let words = "a good reading was refused";
    let stamp = |ms| (ms, Ev::Record(Record::Stamp { at: Instant::from_ms(ms) }));
    let with = |events: &[(i64, Ev)]| super::bench::with(&stream, events);
    // torn before it, and in the very ms, in which another record stands
    lacks(&with(&[(read_at - 1_000, Ev::Torn)]), END, "O2", words);
    lacks(&with(&[(read_at, Ev::Torn), stamp(read_at)]), END, "O2", words);
    breaks(&with(&[(read_at - 1_000, Ev::Torn), stamp(read_at - 500)]), END, "O2", words);
}

#[test]
fn o6_a_calibration_or_a_tube_set_that_nobody_entered() {
    let mut stream = one();
    let reading = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::Measured(_))))[0];
    stream.remove(reading);
    breaks(&stream, END, "O6", "nobody entered a reading");
    let mut tube = morning(&[(0, Ev::Act(DeviceAct::TubeChanged))]);
    holds(&tube, END);
    let said = places(&tube, |ev| matches!(ev, Ev::Act(DeviceAct::TubeChanged)))[0];
    tube.remove(said);
    breaks(&tube, END, "O6", "nobody put in");
}

#[test]
fn o2_a_run_that_is_not_the_one_for_the_vessel() {
    // the turn of this head is not known: its runs are of whole seconds
    for (by_ms, words) in [
        (300, "are not whole"),
        (-1_000, "it leaves an uncertainty"),
        (1_000, "a turn less would do"),
        (180_000, "do not go into a vessel"),
    ] {
        let mut stream = one();
        for (_, ev) in &mut stream {
            if let Ev::Record(Record::Act { act: Act::CalibrationBegun, ms, .. }) = ev {
                *ms = ms.saturating_add_signed(by_ms);
            }
        }
        breaks(&stream, END, "O2", words);
    }
}
