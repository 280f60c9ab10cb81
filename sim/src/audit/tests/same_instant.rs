//! What is done at the very instant of a due, where the device does it first.

use dosewright_core::record::Record;
use dosewright_core::time::Instant;

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, set_table, table,
    weekly,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
const DUE: i64 = 45 * MIN;

/// Another timetable, set a millisecond before the due at 00:45 and noted then; the act and
/// its records so much later.
fn edited(entries: &[dosewright_core::entry::Entry], by: i64) -> Stream {
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((DUE as u64 - 1, Ev::Act(set_table(entries))));
    let mut stream = ideal_stream(&inputs, END);
    for (ms, ev) in &mut stream {
        if *ms != DUE as u64 - 1 {
            continue;
        }
        *ms = ms.saturating_add_signed(by);
        if let Ev::Record(Record::Adopted(adopted)) = ev {
            adopted.at = Instant::from_ms(adopted.at.as_ms() + by);
        }
    }
    stream
}

#[test]
fn d11_a_timetable_set_at_the_instant_of_a_due_comes_before_it() {
    let later = weekly(1, 0x7f, 120);
    for by in [0, 1] {
        let report = holds(&edited(&[], by), END);
        assert_eq!((report.dues.dues, report.dues.open), (0, 0), "{by}");
        let report = holds(&edited(&[later], by), END);
        assert_eq!((report.dues.dues, report.dues.dosed), (1, 1), "{by}");
    }
    // four milliseconds after it the dose was to begin, and is ended by the edit
    breaks(&edited(&[], 5), END, "D5", "did not begin");
    breaks(&edited(&[], 5), END, "D1", "no outcome: expected skipped, \"removed\"");
}

#[test]
fn d1_a_stop_at_the_instant_of_a_due_keeps_it() {
    let due = DUE as u64;
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((due - 1, Ev::Act(DeviceAct::RemoteStop(true))));
    inputs.push((due + MIN as u64, Ev::Act(DeviceAct::RemoteStop(false))));
    let mut stream = ideal_stream(&inputs, END);
    let place = super::bench::places(&stream, |ev| *ev == Ev::Act(DeviceAct::RemoteStop(true)))[0];
    stream[place].0 = due;
    assert_eq!(holds(&stream, END).dues.dosed, 1);
}
