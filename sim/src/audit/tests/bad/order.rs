//! D3: one dose owns the pump, and the others wait in the order of their dues.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId, Nominal};
use dosewright_core::record::Record;
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::{END, night, with_inputs};
use crate::audit::tests::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, every, head, holds, ideal_stream, install, is_outcome,
    is_pulse, places, table, weekly, without,
};
use crate::observe::DeviceAct;

#[test]
fn d3_two_at_once_and_out_of_order() {
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, 50 * MIN)]);
    let stream = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    holds(&stream, END);
    // the owner goes on as if nobody waited: its last pulse an hour late
    let of = |id: u16| move |ev: &Ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(id));
    let second = places(&stream, of(2))[0];
    let first_outcome = places(&stream, is_outcome)[0];
    assert!(first_outcome < second);
    // without the owner's outcome the other begins while it owns the pump
    breaks(&without(&stream, &[first_outcome]), END, "D3", "owns the pump");
    // the wait is for another cause
    let mut wrong = stream.clone();
    let born = places(&stream, |ev| matches!(ev, Ev::Record(Record::Born(_))))[0];
    if let Ev::Record(Record::Born(b)) = &mut wrong[born].1 {
        b.cause = Cause::RemoteStop;
    }
    breaks(&wrong, END, "D3", "not for \"pump in use\"");
    if let Ev::Record(Record::Born(b)) = &mut wrong[born].1 {
        b.due.nominal = Nominal(99);
    }
    breaks(&wrong, END, "D1", "there is no such due");
}

#[test]
fn d3_the_owner_does_not_hurry() {
    // the night's dose as if alone, and the other one after its window
    let alone = night();
    let mut other = every(2, 6 * HOUR, 50 * MIN);
    other.grace_ms = HOUR as u32;
    let timetable = table(&[weekly(1, 0x7f, 45), other]);
    let both = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    let from = places(&alone, is_pulse)[0];
    let to = places(&alone, is_outcome)[0];
    let head_of_both = places(&both, is_pulse)[0];
    let born = places(&both, |ev| matches!(ev, Ev::Record(Record::Born(_))))[0];
    let mut slow: Stream = both[..head_of_both].to_vec();
    slow.extend_from_slice(&alone[from..=to]);
    slow.push(both[born].clone());
    slow.sort_by_key(|(ms, _)| *ms);
    breaks(&slow, 91 * MIN as u64, "D3", "while another due waits");
}

#[test]
fn d3_prime_in_a_dose_and_a_dose_in_prime() {
    let prime = [(44 * MIN + 30_000, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let ended = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })))[1];
    breaks(&without(&stream, &[ended]), END, "D3", "in spite of \"prime or calibrate\"");
    let begun = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })))[0];
    let mut in_dose = night();
    let at = places(&in_dose, is_pulse)[3];
    let (ms, _) = in_dose[at];
    let mut service = stream[begun].1.clone();
    if let Ev::Record(Record::Act { at, .. }) = &mut service {
        *at = Instant::from_ms(ms as i64);
    }
    in_dose.insert(at, (ms, service));
    breaks(&in_dose, END, "D3", "while the dose owns the pump");
    breaks(&in_dose, END, "O1", "nobody asked");
}

#[test]
fn d3_two_that_wait_begin_in_the_order_of_their_dues() {
    let mut other = every(2, 6 * HOUR, 50 * MIN);
    other.grace_ms = HOUR as u32;
    let stop = |entries: &[Entry]| {
        let mut inputs = install(head(), CET, "2026-10-19 00:00", table(entries));
        inputs.push((40 * MIN as u64, Ev::Act(DeviceAct::RemoteStop(true))));
        inputs.push((60 * MIN as u64, Ev::Act(DeviceAct::RemoteStop(false))));
        ideal_stream(&inputs, END)
    };
    let both = stop(&[weekly(1, 0x7f, 45), other]);
    holds(&both, END);
    let alone = stop(&[other]);
    let begins = |stream: &Stream| {
        places(stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(2)))[0]
    };
    let first = places(&both, is_pulse)[0];
    let mut turned: Stream = both[..first].to_vec();
    turned.extend_from_slice(&alone[begins(&alone)..]);
    breaks(&turned, 61 * MIN as u64, "D3", "before that of \"night\", 2026-10-19 00:45, which is");
}
