//! A two-point calibration written out by hand, and spoilt: every check is seen to fail
//! on what it is for (O3).

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::record::{Act, Record};
use dosewright_core::time::Instant;
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
/// What the long run gave, in nl.
const LONG_NL: i64 = 33_000_000;
/// What every start loses, in ms.
const LEAD_MS: i64 = 100;
/// Pulses in a train.
const STARTS: i64 = 30;
/// When the train is asked for.
const TRAIN_AT: i64 = 6 * HOUR + 10 * MIN;

fn read(nl: i64) -> Ev {
    Ev::Act(DeviceAct::Measured(Measured {
        amount: Amount::Volume(Volume::from_nl(nl as u64)),
        reading_error: VESSEL.reading_error,
        as_found: false,
    }))
}

fn is_calibration(ev: &Ev) -> bool {
    matches!(ev, Ev::Record(Record::Calibration { .. }))
}

/// Up to the calibration by one run, in force; and how long that run was.
fn long() -> (Stream, i64) {
    let mut stream = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let run = Ev::Act(DeviceAct::CalibrateInto(VESSEL));
    stream.push((6 * HOUR as u64, run));
    stream.push(((6 * HOUR + 3 * MIN) as u64, read(LONG_NL)));
    let mut stream = ideal_stream(&stream, END);
    let run_ms = stream
        .iter()
        .find_map(|(_, ev)| match ev {
            Ev::Record(Record::Act { act: Act::CalibrationBegun, ms, .. }) => Some(*ms),
            _ => None,
        })
        .unwrap();
    let last = places(&stream, is_calibration)[0];
    stream.truncate(last + 1);
    (stream, i64::from(run_ms))
}

/// How a train is spoilt.
#[derive(Clone, Copy)]
struct Train {
    /// Pulses of it that the pump makes.
    pulses: i64,
    /// How much of the rest between them is left out, in ms.
    hurry_ms: i64,
    /// What the calibration notes beside what it should, in ms and nl/min.
    lead_off_ms: i64,
    flow_off: i64,
    /// What is measured beside what came out, in parts of a thousand.
    read_off: i64,
    /// What every start loses beside whole ms, in us.
    lead_us: i64,
    /// It is noted as sure as the train's reading alone.
    alone: bool,
}

const GOOD: Train = Train {
    pulses: STARTS,
    hurry_ms: 0,
    lead_off_ms: 0,
    flow_off: 0,
    read_off: 0,
    lead_us: 0,
    alone: false,
};

/// The pumping of a train into the vessel: whole seconds, for the turn of this head is not
/// known, until 2 sqrt((0.5/sqrt 3/V)^2 + (0.1/t)^2) is 1.5 % or less (JCGM 100, 5.1.6).
fn train_ms(flow_ml_ms: f64) -> i64 {
    let share = |ms: f64| 2.0 * (0.5 / 3_f64.sqrt() / (flow_ml_ms * ms)).hypot(100.0 / ms);
    (1..1000).map(|s| s * 1000).find(|ms| share(*ms as f64) <= 0.015).unwrap()
}

/// A train after the long run, its reading and what the device makes of it.
///
/// On paper: V1 = q (T1 - d), so q = V1 / (T1 - d); the train gives q (T2 - 30 d).
fn trained(how: Train) -> Stream {
    let (mut stream, run_ms) = long();
    let each_ms = (train_ms(LONG_NL as f64 / 1e6 / run_ms as f64) + STARTS - 1) / STARTS;
    let total_ms = each_ms * STARTS;
    let mut put = |ms: i64, ev: Ev| stream.push((ms as u64, ev));
    let act = |ms: i64, act: Act, figure: i64| {
        Ev::Record(Record::Act { at: Instant::from_ms(ms), act, ms: figure as u32 })
    };
    put(TRAIN_AT, Ev::Act(DeviceAct::CalibrateTrain(VESSEL)));
    put(TRAIN_AT, act(TRAIN_AT, Act::TrainBegun, total_ms));
    // 600 ms of rest between its pulses
    let mut at = TRAIN_AT;
    for _ in 0..how.pulses {
        put(at, Ev::Pump(true));
        put(at + each_ms, Ev::Pump(false));
        at += each_ms + 600 - how.hurry_ms;
    }
    let over = at - 600 + how.hurry_ms;
    put(over, act(over, Act::TrainEnded, total_ms));
    let lost_ms = LEAD_MS as f64 + how.lead_us as f64 / 1e3;
    let q = LONG_NL as f64 / (run_ms as f64 - lost_ms);
    let came = (q * (total_ms as f64 - STARTS as f64 * lost_ms)).round() as i64;
    let read_at = over + MIN;
    let measured = came + came * how.read_off / 1000;
    put(read_at, read(measured));
    let ppm = {
        // JCGM 100, 5.1.6: 0.5 ml at its mark, 0.1 s
        let of = |ml: f64, ms: f64| (2e6 * (0.5 / 3_f64.sqrt() / ml).hypot(100.0 / ms)).ceil();
        let (one, all) = (LONG_NL as f64 / 1e6, measured as f64 / 1e6);
        let (long, train) = (of(one, run_ms as f64), of(all, total_ms as f64));
        // and 5.1.3: thirty times the long run, less the train
        let both = (30.0 * one * long).hypot(all * train) / (30.0 * one - all);
        if how.alone { train as u32 } else { both.ceil() as u32 }
    };
    let found = Found {
        at: Instant::from_ms(read_at),
        flow: Flow::from_nl_per_min((q * 60_000.0 + how.flow_off as f64).round() as u32).unwrap(),
        uncertainty_ppm: ppm,
    };
    let lead_ms = (LEAD_MS + how.lead_off_ms) as u16;
    put(read_at, Ev::Record(Record::Calibration { found, in_force: true, lead_ms }));
    let mut hour = read_at + HOUR;
    while hour <= END as i64 {
        put(hour, Ev::Record(Record::Stamp { at: Instant::from_ms(hour) }));
        hour += HOUR;
    }
    stream
}

#[test]
fn o3_a_train_written_out_by_hand_holds() {
    let stream = trained(GOOD);
    let report = holds(&stream, END);
    // 30 pulses of the night's dose, the long run, and 30 of the train
    assert_eq!(report.pump_starts, 30 + 1 + 30);
}

#[test]
fn o3_what_a_train_finds_is_no_surer_than_the_long_run() {
    breaks(&trained(Train { alone: true, ..GOOD }), END, "O2", "an uncertainty of");
}

#[test]
fn o3_another_lead_or_flow_than_the_two_readings_make() {
    for lead_off_ms in [-3, 3] {
        breaks(&trained(Train { lead_off_ms, ..GOOD }), END, "O3", "is noted as");
    }
    // 100.3 ms are noted rounded down, and a ms more or less is given way
    for (lead_off_ms, right) in [(-2, false), (-1, true), (0, true), (1, true), (2, false)] {
        let noted = trained(Train { lead_us: 300, lead_off_ms, ..GOOD });
        if right {
            holds(&noted, END);
        } else {
            breaks(&noted, END, "O3", "a lead of 100.3 ms is noted as");
        }
    }
    breaks(&trained(Train { flow_off: 100_000, ..GOOD }), END, "O2", "is noted as");
    // a reading of the train that makes another lead than is noted
    breaks(&trained(Train { read_off: -20, ..GOOD }), END, "O3", "a lead of");
}

#[test]
fn o3_a_train_that_is_no_train() {
    breaks(&trained(Train { pulses: 29, ..GOOD }), END, "O1", "is noted with");
    breaks(&trained(Train { pulses: 29, ..GOOD }), END, "O3", "in full, 1 of its pulses short");
    breaks(&trained(Train { pulses: 31, ..GOOD }), END, "D4", "without an intent");
    holds(&trained(Train { hurry_ms: 1, ..GOOD }), END);
    breaks(&trained(Train { hurry_ms: 2, ..GOOD }), END, "D7", "2 ms before its rest is over");
    breaks(&trained(Train { hurry_ms: 200, ..GOOD }), END, "D7", "before its rest is over");
    let mut long_one = trained(GOOD);
    for (_, ev) in &mut long_one {
        if let Ev::Record(Record::Act { act: Act::TrainBegun, ms, .. }) = ev {
            *ms += 30 * 200;
        }
    }
    breaks(&long_one, END, "O3", "a train of");
}

#[test]
fn o1_o3_a_train_is_no_run_and_a_run_no_train() {
    let words = "calibrate of";
    let begun = |mut stream: Stream, what: Act| {
        for (_, ev) in &mut stream {
            if let Ev::Record(Record::Act { act, .. }) = ev
                && matches!(act, Act::CalibrationBegun | Act::TrainBegun)
            {
                *act = what;
            }
        }
        stream
    };
    let train = begun(long().0, Act::TrainBegun);
    breaks(&train, END, "O1", words);
    breaks(&begun(trained(GOOD), Act::CalibrationBegun), END, "O1", words);
    lacks(&long().0, END, "O1", words);
}

#[test]
fn o3_a_train_that_nothing_is_measured_against() {
    let mut stream = trained(GOOD);
    let train = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::CalibrateTrain(_))))[0];
    let ms = stream[train].0 - 1;
    stream.insert(train, (ms, Ev::Act(DeviceAct::Release)));
    breaks(&stream, END, "O3", "no long run is in force");
}

#[test]
fn o3_one_run_leaves_the_lead_as_it_was() {
    let (mut stream, _) = long();
    let last = stream.len() - 1;
    if let Ev::Record(Record::Calibration { lead_ms, .. }) = &mut stream[last].1 {
        *lead_ms = 1;
    }
    breaks(&stream, END, "O3", "a lead of 0.0 ms is noted as 1 ms");
}

/// Where the train's pulses end: after those of the night and the long run.
fn pulses_of_train(stream: &Stream) -> Vec<usize> {
    places(stream, |ev| *ev == Ev::Pump(false))[31..].to_vec()
}

#[test]
fn o3_each_pulse_of_a_train_is_noted_to_a_millisecond() {
    let mut stream = trained(GOOD);
    let offs = pulses_of_train(&stream);
    // the last one is off before it is noted
    for place in &offs[..29] {
        stream[*place].0 += 1;
    }
    holds(&stream, END);
    // 30 ms too long in all are given way, 31 are not
    let longer = |by| {
        let mut stream = stream.clone();
        stream[offs[3]].0 += by;
        stream
    };
    breaks(&longer(2), END, "O1", "is noted with");
    lacks(&longer(1), END, "O1", "is noted with");
    breaks(&longer(1), END, "O1", "it was to stop by itself");
}

#[test]
fn o3_a_train_that_is_stopped_has_no_more_pulses() {
    let stream = trained(GOOD);
    let offs = pulses_of_train(&stream);
    // let go of in its third pulse, and pumped on all the same
    let mut stopped = stream.clone();
    stopped[offs[2]].0 -= 1_000;
    let at = stopped[offs[2]].0;
    stopped.insert(offs[2], (at, Ev::Act(DeviceAct::Release)));
    breaks(&stopped, END, "D4", "the pump goes on without an intent");
    // a millisecond short is none
    let mut short = stream;
    short[offs[2]].0 -= 1;
    holds(&short, END);
}

#[test]
fn o3_a_pulse_of_a_train_has_the_longest_run_for_its_limit() {
    let mut stream = trained(GOOD);
    let off = pulses_of_train(&stream)[4];
    let each = stream[off].0 - stream[off - 1].0;
    for (_, ev) in &mut stream {
        if let Ev::Act(DeviceAct::SetHead(h)) | Ev::Record(Record::Head { head: h, .. }) = ev {
            h.longest_run_ms = 9_500;
        }
    }
    lacks(&stream, END, "D7", "the longest run is");
    let mut long = stream.clone();
    long[off].0 += 9_501 - each;
    lacks(&long, END, "D7", "the longest run is");
    long[off].0 += 1;
    breaks(&long, END, "D7", "the pump ran for 9502 ms: the longest run is 9500 ms");
}
