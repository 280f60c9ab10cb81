//! A head whose starts take something: the pump runs longer than its pulses count (O3).

use dosewright_core::config::Head;
use dosewright_core::record::Record;
use dosewright_core::time::Instant;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, is_outcome, lacks,
    moved, places, table, weekly,
};

const END: u64 = 2 * DAY as u64;
const LEAD_MS: u64 = 100;

/// Two nights of a device whose clock is so fast, in parts of 10^9, and whose pump runs as
/// long as it has to.
fn led(rate_ppb: i64) -> Stream {
    let head = Head { lead_ms: LEAD_MS as u16, ..head() };
    let mut inputs = install(head, CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs[1].1 = Ev::Chip(0, rate_ppb, true);
    let mut stream = ideal_stream(&inputs, END);
    for (ms, ev) in &mut stream {
        match ev {
            Ev::Pump(false) => *ms += LEAD_MS,
            Ev::Record(Record::Outcome(o)) => {
                *ms += LEAD_MS;
                o.at = Instant::from_ms(o.at.as_ms() + LEAD_MS as i64);
            }
            _ => {}
        }
    }
    stream.sort_by_key(|(ms, _)| *ms);
    stream
}

fn off(stream: &Stream, n: usize) -> usize {
    places(stream, |ev| matches!(ev, Ev::Pump(false)))[n]
}

#[test]
fn o3_what_a_start_takes_is_no_part_of_the_dose() {
    let stream = led(0);
    let report = holds(&stream, END);
    // 30 starts a night, and 271 698 ms that count: the remainder is less than a ms
    assert_eq!(report.pump_on_ms, 2 * (271_698 + 30 * LEAD_MS));
    assert_eq!(report.volume_nl / 1_000, 239_999);
    for rate_ppb in [-40_000, 200_000] {
        assert_eq!(holds(&led(rate_ppb), END).dues.dosed, 2, "{rate_ppb}");
    }
}

#[test]
fn d4_a_pulse_without_what_its_start_takes_is_short() {
    let stream = led(0);
    let place = off(&stream, 4);
    holds(&moved(&stream, place, 1), END);
    holds(&moved(&stream, place, -1), END);
    breaks(&moved(&stream, place, 2), END, "D4", "ran for 9159 ms on an intent of 9157 ms");
    breaks(&moved(&stream, place, -100), END, "D4", "went off after 9057 of 9157 ms");
    // the outcome comes when the pump is off
    let outcome = places(&stream, is_outcome)[0];
    breaks(&moved(&stream, outcome, -1), END, "D4", "what it ran for has ended");
}

#[test]
fn d7_the_rest_comes_after_the_run() {
    // 9156 ms of run and 80 843 ms of rest leave a millisecond of the minute and a half
    let with_rest = |least_rest_ms| {
        let mut stream = led(0);
        for (_, ev) in &mut stream {
            if let Ev::Act(crate::observe::DeviceAct::SetHead(h))
            | Ev::Record(Record::Head { head: h, .. }) = ev
            {
                (h.longest_run_ms, h.least_rest_ms) = (9_157, least_rest_ms);
            }
        }
        stream
    };
    holds(&with_rest(80_843), END);
    lacks(&with_rest(80_844), END, "D7", "allow it from");
    breaks(&with_rest(80_846), END, "D7", "allow it from");
    assert!(END > (HOUR + MIN) as u64);
}
