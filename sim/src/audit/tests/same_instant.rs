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
fn d6_a_dose_that_is_stopped_at_the_instant_of_another_due_does_not_keep_it() {
    use dosewright_core::entry::EntryId;
    use dosewright_core::record::Record;

    use super::bench::{every, places};
    // between two pulses of the night's dose, which is stopped a millisecond before the due
    let due = DUE + 30_000;
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, due)]);
    let mut inputs = install(head(), CET, "2026-10-19 00:00", timetable);
    inputs.push((due as u64 - 1, Ev::Act(DeviceAct::StopDose(EntryId(1)))));
    let mut stream = ideal_stream(&inputs, END);
    for (ms, ev) in stream.iter_mut().filter(|(ms, _)| *ms == due as u64 - 1) {
        *ms += 1;
        if let Ev::Record(Record::Outcome(o)) = ev {
            o.at = Instant::from_ms(due);
        }
    }
    holds(&stream, END);
    let of_other = |ev: &Ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(2));
    let third = places(&stream, of_other)[2];
    for (ms, ev) in &mut stream[third..third + 3] {
        *ms += 2;
        if let Ev::Record(Record::Pulse(p)) = ev {
            p.at = Instant::from_ms(p.at.as_ms() + 2);
        }
    }
    breaks(&stream, END, "D6", "pulse 3 of 5");
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
