//! What a report counts: refused acts, what is left open, and how many findings it keeps.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::{Flow, Volume};

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Show, Stream, audit, audit_with, breaks, every, facts, head, holds,
    ideal_stream, install, is_outcome, lacks, nights, places, round_head, table, weekly, with,
    without,
};
use crate::audit::Facts;
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

#[test]
fn what_was_asked_for_and_left_no_trace_counts_as_refused() {
    let night = nights(head(), &[], END);
    let refused = |acts: &[(i64, DeviceAct)]| {
        let acts: Vec<(i64, Ev)> =
            acts.iter().map(|(ms, act)| (*ms, Ev::Act(act.clone()))).collect();
        holds(&with(&night, &acts), END).refused_acts
    };
    let flow = || DeviceAct::SetFlow(Flow::from_nl_per_min(20_000_000).unwrap());
    let prime = || DeviceAct::Prime(Volume::from_ml(5));
    let again = || DeviceAct::RunAgain(EntryId(1));
    let noon = 11 * HOUR;
    assert_eq!(refused(&[]), 0);
    assert_eq!(refused(&[(noon, flow())]), 1);
    assert_eq!(refused(&[(noon, prime())]), 1);
    assert_eq!(refused(&[(noon, flow()), (noon, prime())]), 2);
    assert_eq!(refused(&[(noon, flow()), (noon + 1, prime())]), 2);
    // one in the dose, when the pump is in use
    assert_eq!(refused(&[(50 * MIN, again())]), 1);
    assert_eq!(refused(&[(50 * MIN, again()), (60 * MIN, again()), (noon, flow())]), 3);
}

#[test]
fn d2_doses_that_are_asked_for_have_numbers() {
    let again = |ms: i64| (ms, Ev::Act(DeviceAct::RunAgain(EntryId(1))));
    let mut timetable = table(&[every(1, DAY, HOUR)]);
    timetable.ceiling = Some(Volume::from_ml(1000));
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", timetable);
    inputs.push((2 * HOUR as u64, again(0).1));
    let stream = ideal_stream(&inputs, END);
    assert_eq!(holds(&stream, END).asked.dosed, 1);
    // a second one, though nothing speaks against it, is refused
    let report = audit(&with(&stream, &[again(4 * HOUR)]), END);
    let refused: Vec<_> =
        report.violations.iter().filter(|v| v.what.contains("run again was refused")).collect();
    assert_eq!(refused.len(), 1);
    assert_eq!(refused[0].due.as_ref().unwrap().when, "asked for, number 1");
    // but not where the memory fails in that very ms
    holds(&with(&stream, &[again(4 * HOUR), (4 * HOUR, Ev::Torn)]), END);
}

#[test]
fn d1_an_asked_dose_that_falls_silent() {
    let again = Ev::Act(DeviceAct::RunAgain(EntryId(1)));
    let stream = nights(round_head(), &[(2 * HOUR, again)], END);
    let asked = places(&stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.asked));
    let until = stream[asked[0] + 2].0;
    let mut silent: Stream = stream[..asked[0] + 3].to_vec();
    assert_eq!(silent.last().unwrap().0, until);
    silent.push(((3 * HOUR) as u64, Ev::Record(Record::Stamp { at: Instant::from_ms(3 * HOUR) })));
    breaks(&silent, (3 * HOUR) as u64, "D1", "the dose has no outcome by device ms");
}

#[test]
fn what_is_found_is_counted_and_the_first_thousand_kept() {
    // a pump that goes on again and again, and nobody knows why
    let mut stream = nights(head(), &[], END);
    let before = audit(&stream, END).violations_in_all;
    let pulses: Vec<(i64, Ev)> = (0..600)
        .flat_map(|n| {
            let at = 4 * HOUR + n * 1_000;
            [(at, Ev::Pump(true)), (at + 100, Ev::Pump(false))]
        })
        .collect();
    stream = with(&stream, &pulses);
    let report = audit(&stream, END);
    assert_eq!((before, report.violations_in_all, report.violations.len()), (0, 1200, 1000));
}

#[test]
fn dues_are_listed_where_a_list_is_wanted() {
    let stream = nights(head(), &[], 2 * DAY as u64);
    let listed = |keep_dues| {
        let facts = Facts { keep_dues, ..facts() };
        audit_with(facts, &stream, 2 * DAY as u64).due_list
    };
    let list = listed(true).unwrap();
    assert_eq!((listed(false), list.len()), (None, 2));
    assert!(list.iter().all(|due| due.kind == Some(OutcomeKind::Dosed) && due.count == 1));
    assert_eq!(
        (list[1].due_at, list[1].started_ms),
        (DAY + 45 * MIN, Some((DAY + 45 * MIN) as u64))
    );
}

#[test]
fn what_was_found_can_be_asked_for_before_the_end() {
    let mut show = Show::new(facts());
    let mut stream = nights(head(), &[], END);
    stream.push((END, Ev::Pump(true)));
    stream.push((END, Ev::Pump(false)));
    assert!(show.auditor.so_far().held());
    for (ms, ev) in &stream {
        show.see(*ms, ev);
    }
    let found = show.auditor.so_far();
    assert_eq!((found.violations_in_all, found.dues.dosed), (1, 1));
    let records = places(&stream, |ev| matches!(ev, Ev::Record(_))).len() as u64;
    assert_eq!(found.records, records);
}

/// So many nights without supply, which the device may note one by one.
fn one_by_one(mut dues: i64, entry: Entry, from: &str) -> (Stream, u64) {
    let inputs = install(head(), CET, from, table(&[entry]));
    let end = (dues + 1) * DAY;
    let mut inputs = inputs;
    inputs.push((MIN as u64, Ev::Supply(false)));
    inputs.push(((end - 12 * HOUR) as u64, Ev::Supply(true)));
    let stream = ideal_stream(&inputs, end as u64);
    holds(&stream, end as u64);
    let place = places(&stream, is_outcome)[0];
    let Ev::Record(Record::Outcome(all)) = stream[place].1.clone() else { panic!("an outcome") };
    dues = i64::from(all.count);
    let step = i64::from(all.last.0 - all.due.nominal.0) / (dues - 1);
    let mut split: Stream = stream[..place].to_vec();
    for n in 0..dues {
        let mut one = all;
        one.due.nominal.0 += (n * step) as u32;
        (one.last, one.count) = (one.due.nominal, 1);
        one.due_at = Instant::from_ms(all.due_at.as_ms() + n * DAY);
        split.push((stream[place].0, Ev::Record(Record::Outcome(one))));
    }
    split.extend_from_slice(&stream[place + 1..]);
    (split, end as u64)
}

#[test]
fn d9_what_one_moment_may_cost_in_records() {
    let words = "more than 64 records of skipped dues at once";
    // no zone's clocks change in winter
    let entry = weekly(1, 0x7f, 45);
    let (most, end) = one_by_one(63, entry, "2026-11-01 00:00");
    assert_eq!(places(&most, is_outcome).len(), 64);
    assert_eq!(holds(&most, end).dues.skipped, 64);
    let (more, end) = one_by_one(64, entry, "2026-11-01 00:00");
    assert_eq!(places(&more, is_outcome).len(), 65);
    breaks(&more, end, "D9", words);
    // and those of interval entries are counted one by one as well
    let (daily, end) = one_by_one(20, every(1, DAY, 45 * MIN), "2026-11-01 00:00");
    let report = holds(&daily, end);
    assert_eq!(report.dues.skipped, places(&daily, is_outcome).len() as u64);
    lacks(&daily, end, "D9", words);
}

#[test]
fn d1_a_closed_row_goes_on_through_a_timetable_that_leaves_its_entry() {
    use dosewright_core::entry::ClosedDates;
    let closed = Entry { observes_closed: true, ..weekly(1, 0x7f, 45) };
    let with_closed = |entries: &[Entry]| {
        let mut timetable = table(entries);
        let (first, last) = (super::bench::date("2026-10-20"), super::bench::date("2026-10-23"));
        assert!(timetable.closed.push(ClosedDates { first, last }));
        timetable
    };
    let other = every(2, 6 * HOUR, 3 * HOUR);
    let mut inputs = install(head(), CET, "2026-10-19 00:00", with_closed(&[closed]));
    let set = DeviceAct::SetTimetable(Box::new(with_closed(&[closed, other])));
    inputs.push(((2 * DAY + 12 * HOUR) as u64, Ev::Act(set)));
    let end = 6 * DAY as u64;
    let stream = ideal_stream(&inputs, end);
    assert_eq!(holds(&stream, end).entries[&EntryId(1)].counts.skipped, 4);
    // begun anew after it, it is two records
    let mut anew = stream.clone();
    let rows = places(&stream, |ev| {
        matches!(ev, Ev::Record(Record::Outcome(o))
        if o.due.id == EntryId(1) && o.kind == OutcomeKind::Skipped(Cause::Closed))
    });
    let Ev::Record(Record::Outcome(o)) = &mut anew[rows[2]].1 else { panic!("an outcome") };
    (o.due.nominal, o.count) = (o.last, 1);
    o.due_at = Instant::from_ms(3 * DAY + 45 * MIN);
    breaks(&anew, end, "D1", "closed dues in a row are not one record");
}

#[test]
fn d5_what_did_not_begin_is_said_once() {
    // the device is silent from 00:45 on; another due is over before the first one is
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, 50 * MIN)]);
    let stream = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    let silent: Stream = stream.into_iter().filter(|(ms, _)| *ms < 45 * MIN as u64).collect();
    let report = audit(&silent, 89 * MIN as u64);
    let said: Vec<_> =
        report.violations.iter().filter(|v| v.what.contains("did not begin")).collect();
    assert_eq!(said.len(), 1, "{said:?}");
    assert_eq!(said[0].due.as_ref().unwrap().id, EntryId(1));
    assert!(report.violations.iter().any(|v| v.promise == "D1"));
}

#[test]
fn d1_a_due_that_is_kept_is_not_skipped_for_the_guard() {
    // set back over a dose: inside the guard, it is skipped when it could begin
    let back = Ev::Act(DeviceAct::SetClock(super::bench::local("2026-10-19 00:30")));
    let stream = nights(head(), &[(2 * HOUR, back)], END);
    holds(&stream, END);
    let skipped = places(&stream, is_outcome)[1];
    assert!(matches!(&stream[skipped].1, Ev::Record(Record::Outcome(o))
        if o.kind == OutcomeKind::Skipped(Cause::AlreadyDosed)));
    let stop = (2 * HOUR + 10 * MIN, Ev::Act(DeviceAct::RemoteStop(true)));
    breaks(&with(&stream, &[stop]), END, "D1", "it can wait until its deadline at device ms");
    assert!(!audit(&without(&stream, &[skipped]), END).held());
}
