//! What a start makes of dues whose outcomes the cut has kept out of the ledger, and what an
//! act does while the device sleeps.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::tube::Tube;
use dosewright_core::units::Volume;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, breaks, every, head, holds, ideal_stream, install, is_outcome,
    lacks, local, nights, outcomes, places, round_head, table, weekly, with, with_outcome, without,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

/// A stop from 00:40 on keeps the night's dose until its deadline at 01:30; a millisecond
/// after that the supply goes, until three, and no record of the due is in the ledger.
fn cut_at_the_deadline() -> Stream {
    let cut = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let mut stream = nights(head(), &cut, END);
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    stream[off].0 = 90 * MIN as u64 + 1;
    with(
        &stream,
        &[
            (40 * MIN, Ev::Act(DeviceAct::RemoteStop(true))),
            (HOUR, Ev::Record(Record::Stamp { at: Instant::from_ms(HOUR) })),
        ],
    )
}

#[test]
fn d1_what_is_not_in_the_ledger_passes_again_at_the_start() {
    let mut stream = cut_at_the_deadline();
    stream.sort_by_key(|(ms, _)| *ms);
    assert_eq!(holds(&stream, END).dues.skipped, 1);
    // what kept it before the cut the device cannot know any more
    let stop = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Skipped(Cause::RemoteStop));
    breaks(&stop, END, "D1", "expected skipped, \"supply lost\"");
    let silent = without(&stream, &places(&stream, is_outcome));
    breaks(&silent, END, "D1", "no outcome: expected skipped, \"supply lost\"");
}

#[test]
fn d1_nothing_passes_while_the_supply_is_off() {
    let cut = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = nights(head(), &cut, END);
    let release = |ms: i64| (ms, Ev::Act(DeviceAct::Release));
    holds(&with(&stream, &[release(60 * MIN), release(61 * MIN), release(100 * MIN)]), END);
}

#[test]
fn d9_a_late_wake_owes_its_stamp_at_once() {
    // two hours in which the device is called late, and after it no record
    let stream = nights(head(), &[], 5 * HOUR as u64);
    let late = with(&stream, &[(3 * HOUR, Ev::Late(1_000))]);
    let silent: Stream = late
        .into_iter()
        .filter(|(ms, ev)| !matches!(ev, Ev::Record(Record::Stamp { .. })) || *ms < 2 * HOUR as u64)
        .collect();
    breaks(&silent, 3 * HOUR as u64 + 10 * MIN as u64, "D9", "no record with an instant for");
    lacks(&silent, 3 * HOUR as u64, "D9", "no record with an instant for");
}

#[test]
fn d9_an_alarm_unsets_no_clock() {
    use dosewright_core::record::Alarm;
    let at = Instant::from_ms(10 * MIN);
    let unset = Record::Alarm { at, alarm: Alarm::ClockUnset, on: true, detail: 0 };
    let stream = with(&nights(head(), &[], END), &[(10 * MIN, Ev::Record(unset))]);
    assert_eq!(holds(&stream, END).dues.dosed, 1);
}

#[test]
fn d6_a_wake_a_millisecond_late_excuses_no_pulse() {
    let stream = nights(head(), &[], END);
    let third = places(&stream, super::bench::is_pulse)[2];
    let late = |by: u64| {
        let wake = stream[third].0 as i64 + 30_000;
        let mut late = stream.clone();
        for (ms, ev) in &mut late[third + 3..third + 6] {
            *ms += 2;
            if let Ev::Record(Record::Pulse(p)) = ev {
                p.at = Instant::from_ms(p.at.as_ms() + 2);
            }
        }
        with(&late, &[(wake, Ev::Late(by))])
    };
    breaks(&late(1), END, "D6", "pulse 4 of 30");
    lacks(&late(2), END, "D6", "pulse 4 of 30");
}

#[test]
fn d11_a_snapshot_before_the_outcome_has_the_mark_as_it_was() {
    use dosewright_core::record::LineState;
    // called an hour late, behind the window; a stamp, the ledger begun anew, the outcome
    let at = 100 * MIN;
    let late = nights(head(), &[(at, Ev::Late(60 * MIN as u64))], END);
    holds(&late, END);
    let place = places(&late, is_outcome)[0];
    let found = |mark: &str| {
        let mut show = super::bench::Show::new(super::bench::facts());
        for (ms, ev) in &late[..place] {
            show.see(*ms, ev);
        }
        let ms = at as u64;
        show.record(ms, &Record::Stamp { at: Instant::from_ms(at) });
        let mark = Some(super::bench::nominal(mark));
        let state = LineState { revision: 1, mark, ..LineState::default() };
        let line = Record::SnapLine { line: 0, id: EntryId(1), state };
        let tube = Record::SnapTube(Tube { nominal: Some(head().flow), ..Tube::UNKNOWN });
        show.snapshot(ms, &[line, tube]);
        show.see(ms, &late[place].1);
        let report = show.auditor.finish(ms + 1);
        report.violations.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert_eq!(found("2026-10-19 00:45"), Vec::<String>::new());
    assert_eq!(found("2026-10-20 00:45"), Vec::<String>::new());
}

#[test]
fn d9_a_clock_that_is_lost_while_the_memory_takes_nothing() {
    let end = DAY as u64;
    let cut = [
        (2 * HOUR, Ev::Supply(false)),
        (3 * HOUR, Ev::Supply(true)),
        (3 * HOUR, Ev::Chip(0, 0, false)),
        (4 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 04:00")))),
    ];
    let stream = nights(head(), &cut, end);
    holds(&stream, end);
    let alarm = places(&stream, |ev| matches!(ev, Ev::Record(Record::Alarm { .. })));
    let words = "the clock was lost, and no alarm was raised";
    let silent = without(&stream, &alarm);
    breaks(&silent, end, "D9", words);
    let mut torn = silent;
    torn.insert(alarm[0], (3 * HOUR as u64, Ev::Torn));
    lacks(&torn, end, "D9", words);
}

#[test]
fn d1_what_a_start_tries_in_vain_to_write_is_not_owed_at_the_next() {
    // the night's due passes while the supply is off; four seconds after it is back the
    // watchdog fires, and no record tells of either start
    let (on, again) = (3 * HOUR as u64, 3 * HOUR as u64 + 4_000);
    let cut = [(30 * MIN, Ev::Supply(false)), (on as i64, Ev::Supply(true))];
    let stream = nights(head(), &cut, END);
    let records = places(&stream, |ev| matches!(ev, Ev::Record(_)));
    let late: Vec<usize> = records.into_iter().filter(|&at| stream[at].0 >= on).collect();
    let silent = with(&without(&stream, &late), &[(again as i64, Ev::Reset)]);
    breaks(&silent, END, "D1", "no outcome: expected skipped, \"supply lost\"");
    let refused = with(&silent, &[(on as i64, Ev::Torn), (again as i64, Ev::Torn)]);
    assert_eq!(holds(&refused, END).dues.open, 1);
    // the second start alone knows of it
    let known = with(&silent, &[(again as i64, Ev::Torn)]);
    breaks(&known, END, "D1", "no outcome: expected skipped, \"supply lost\"");
}

#[test]
fn d1_a_device_that_does_not_start_owes_nothing() {
    // the watchdog fires a minute before the night's dose, and the memory holds no ledger
    let reset = 44 * MIN as u64;
    let stream: Stream =
        nights(head(), &[], END).into_iter().filter(|(ms, _)| *ms < reset).collect();
    let silent = with(&stream, &[(reset as i64, Ev::Reset)]);
    breaks(&silent, END, "D5", "the dose did not begin");
    let off = with(&silent, &[(reset as i64, Ev::NotStarted)]);
    let report = holds(&off, END);
    assert_eq!((report.dues.open, report.slept_through.len()), (1, 1));
    // the supply comes again, and it starts
    let again = with(&off, &[(HOUR, Ev::Supply(false)), (2 * HOUR, Ev::Supply(true))]);
    breaks(&again, END, "D1", "no outcome");
}

/// A dose of one pulse that the supply goes in; another waits for it, and has a minute left
/// for two minutes of pumping when the supply is back.
fn behind_a_dose_that_the_start_ends() -> Stream {
    let one = Entry {
        volume: Volume::from_ml(1),
        window_ms: MIN as u32,
        pulses: Some(1),
        ..every(1, 30 * HOUR, 45 * MIN)
    };
    let timetable = table(&[one, weekly(2, 0x7f, 45)]);
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", timetable);
    let cut = [(45 * MIN + 500, Ev::Supply(false)), (89 * MIN, Ev::Supply(true))];
    inputs.extend(cut.map(|(ms, ev)| (ms as u64, ev)));
    ideal_stream(&inputs, END)
}

#[test]
fn d1_what_the_start_has_ended_keeps_nobody() {
    let stream = behind_a_dose_that_the_start_ends();
    let report = holds(&stream, END);
    assert_eq!((report.dues.dosed, report.dues.part), (1, 1));
    assert_eq!(outcomes(&stream)[1].kind, OutcomeKind::Part(Cause::SupplyLost));
    let wrong = |kind| with_outcome(&stream, 1, |o| o.kind = kind);
    let words = "expected part, \"supply lost\"";
    for cause in [Cause::PumpInUse, Cause::Restarts, Cause::Service] {
        breaks(&wrong(OutcomeKind::Part(cause)), END, "D1", words);
    }
}

#[test]
fn d1_what_goes_on_after_a_start_has_kept_the_one_that_waits() {
    // 45 s of pumping in three pulses, and a cut in the first of them: the start goes on
    // with the dose, and the other is left 75 s for two minutes
    let owner = Entry {
        volume: Volume::from_ml(45),
        window_ms: 20 * MIN as u32,
        pulses: Some(3),
        ..every(1, 30 * HOUR, 45 * MIN)
    };
    let other = Entry { window_ms: 5 * MIN as u32, ..weekly(2, 0x7f, 46) };
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[owner, other]));
    let off = [(45 * MIN + 5_000, Ev::Supply(false)), (49 * MIN + 15_000, Ev::Supply(true))];
    inputs.extend(off.map(|(ms, ev)| (ms as u64, ev)));
    let stream = ideal_stream(&inputs, END);
    let report = holds(&stream, END);
    assert_eq!((report.dues.dosed, report.dues.part), (1, 1));
    let lost = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Part(Cause::SupplyLost));
    breaks(&lost, END, "D1", "expected part, \"pump in use\"");
}
