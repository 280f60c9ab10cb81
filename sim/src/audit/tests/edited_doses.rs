//! Doses that run after an edit, and what counts within the guard's span (D2).

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{ClosedList, OutcomeKind, Record};

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, every, holds, ideal_stream, install, is_outcome, is_pulse,
    places, round_head, set_table, table, weekly, with_outcome, with_pulse,
};
use crate::audit::Reading;
use crate::audit::dues::DayByDay;
use crate::audit::model::{Begin, Delivery, Model};
use crate::audit::rules::Verdict;
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
const ML: u64 = 1_000_000;

/// A dose that is stopped the moment it begins, moved to two in the morning.
fn moved() -> Stream {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((45 * MIN as u64, Ev::Act(DeviceAct::StopDose(EntryId(1)))));
    inputs.push((60 * MIN as u64, Ev::Act(set_table(&[weekly(1, 0x7f, 120)]))));
    let stream = ideal_stream(&inputs, END);
    let report = holds(&stream, END);
    assert_eq!((report.dues.dosed, report.volume_nl), (1, 120 * ML));
    stream
}

#[test]
fn d2_an_edited_dose_of_which_nothing_was_taken_may_be_called_a_part() {
    let stream = moved();
    assert_eq!(places(&stream, is_outcome).len(), 2);
    let mut part = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Part(Cause::AlreadyDosed));
    for n in 1..places(&stream, is_pulse).len() {
        part = with_pulse(&part, n, |p| p.cut = Some(Cause::AlreadyDosed));
    }
    holds(&part, END);
    // but not for another cause
    let mut other = stream.clone();
    for (_, ev) in &mut other {
        if let Ev::Record(Record::Pulse(p)) = ev {
            p.cut = Some(Cause::Ceiling);
        }
    }
    breaks(&other, END, "D7", "marked as cut by");
}

#[test]
fn d2_what_was_delivered_a_whole_guard_ago_counts_no_more() {
    let mut model = Model::new(Box::new(DayByDay), None);
    model.head = Some(round_head());
    model.clock.offset_ms = Some(0);
    let adopt = |model: &mut Model, at, entry| {
        let ceiling = Some(1000 * ML);
        model.adopt(at, [entry].into_iter(), ClosedList::EMPTY, ceiling, &mut Vec::new());
    };
    adopt(&mut model, 0, weekly(1, 0x7f, 45));
    for (begun, nl) in [(0, 20 * ML), (HOUR, 30 * ML)] {
        let begin = model.begun(EntryId(1), begun, false);
        model.ended(Delivery { id: EntryId(1), begin, due_at: begun, most_nl: nl });
    }
    assert_eq!(
        model.line(EntryId(1)).unwrap().last,
        Some(Begin { at: HOUR, utc_ms: Some(HOUR), losses: 0 })
    );
    adopt(&mut model, 2 * HOUR, weekly(1, 0x7f, 120));
    let judged = |at| {
        let line = model.line(EntryId(1)).unwrap();
        let due = model.due(line, 0, at, crate::audit::model::Why::Awake);
        model.judge(&due, at)
    };
    let part = |ml| Some(Verdict::Begin { volume_nl: ml * ML, cut: Some(Cause::AlreadyDosed) });
    assert_eq!(judged(12 * HOUR - 1), part(70));
    assert_eq!(judged(12 * HOUR), part(90));
}

#[test]
fn d2_a_guard_that_is_misread_as_capped_is_capped_at_twelve_hours() {
    let guard_h = |entry, reading| {
        let mut model = Model::new(Box::new(DayByDay), reading);
        model.adopt(0, [entry].into_iter(), ClosedList::EMPTY, None, &mut Vec::new());
        model.guard_ms(model.line(EntryId(1)).unwrap()) / HOUR
    };
    let capped = Some(Reading::GuardCapped);
    let once_a_week = weekly(1, 0x01, 45);
    assert_eq!((guard_h(once_a_week, None), guard_h(once_a_week, capped)), (84, 12));
    let every_six_hours = every(1, 6 * HOUR, 0);
    assert_eq!((guard_h(every_six_hours, None), guard_h(every_six_hours, capped)), (3, 3));
}
