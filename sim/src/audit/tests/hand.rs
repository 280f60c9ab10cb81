//! A stream written out by hand, figure by figure, without the ideal device: what
//! the auditor takes as correct is checked against arithmetic done on paper.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{
    Adopted, ClosedList, DueKey, Outcome, OutcomeKind, Pulse, Record, Reset, Staged,
};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::units::{Carry, Flow, Volume};

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, breaks, date, head, holds, local, nominal, table, weekly, zone,
};
use crate::observe::DeviceAct;

/// 2026-10-19 00:00 CEST is 2026-10-18T22:00:00Z: `date -u -d` says 1792360800.
const START_UTC_MS: i64 = 1_792_360_800_000;

fn at(ms: i64) -> Instant {
    Instant::from_ms(ms)
}

/// Switched on at 2026-10-19 00:00 with one entry, Mondays 00:45.
fn start() -> Stream {
    let entry = weekly(1, 1, 45);
    let staged = Staged {
        line: 0,
        entry,
        revision: 1,
        mark: Some(nominal("2026-10-19 00:45")),
        edited: false,
    };
    let (ceiling, kept_ceiling) = (None, Volume::ZERO);
    let (at_0, written, cleared, closed_staged) = (at(0), 1, 0, false);
    let adopted = Adopted { at: at_0, ceiling, written, cleared, closed_staged, kept_ceiling };
    let clock = |epoch, utc: Option<i64>| Record::Clock {
        at: at(0),
        epoch,
        utc: utc.map(Utc::from_ms),
        zone: zone(CET),
    };
    [
        Ev::Supply(true),
        Ev::Chip(0, 0, true),
        Ev::Record(Record::Boot { at: at(0), feed_kept: true, reset: Reset::PowerOn }),
        Ev::Act(DeviceAct::SetHead(head())),
        Ev::Record(Record::Head { at: at(0), head: head() }),
        Ev::Act(DeviceAct::SetZone(zone(CET))),
        Ev::Record(clock(0, None)),
        Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:00"))),
        Ev::Record(clock(1, Some(START_UTC_MS))),
        Ev::Act(DeviceAct::SetTimetable(Box::new(table(&[entry])))),
        Ev::Record(Record::Staged(staged)),
        Ev::Record(Record::Adopted(adopted)),
    ]
    .map(|ev| (0, ev))
    .into()
}

fn key(text: &str, epoch: u16) -> DueKey {
    DueKey { id: EntryId(1), revision: 1, epoch, nominal: nominal(text) }
}

/// 120 ml at 26.5 ml/min are 120 x 60000 / 26.5 = 271698.11 ms: 271698 ms, and
/// 120e6 x 60000 - 271698 x 26.5e6 = 3 000 000 carried on. In 30 pulses over 45
/// min they start every 90 s; their lengths are 9056 and 9057 ms.
const TOTAL_MS: i64 = 271_698;
const CARRY: u32 = 3_000_000;

fn dose(stream: &mut Stream, due_at: i64, due: DueKey, next: Nominal) {
    for i in 0..30 {
        let (from, to) = (TOTAL_MS * i / 30, TOTAL_MS * (i + 1) / 30);
        let (start, on) = (due_at + i * 90_000, to - from);
        assert!(on == 9056 || on == 9057);
        let pulse = Pulse {
            line: 0,
            due,
            mark: Some(next),
            at: at(start),
            due_at: at(due_at),
            begun_after_ms: 0,
            on_ms: on as u32,
            least_ms: from as u32,
            most_ms: from as u32,
            dose_ms: TOTAL_MS as u32,
            flow: Flow::from_nl_per_min(26_500_000).unwrap(),
            first: i == 0,
            asked: false,
            cut: None,
            restarts: 0,
        };
        stream.push((start as u64, Ev::Record(Record::Pulse(pulse))));
        stream.push((start as u64, Ev::Pump(true)));
        stream.push(((start + on) as u64, Ev::Pump(false)));
    }
    let end = due_at + 29 * 90_000 + (TOTAL_MS - TOTAL_MS * 29 / 30);
    let outcome = Outcome {
        line: 0,
        due,
        last: due.nominal,
        count: 1,
        at: at(end),
        due_at: at(due_at),
        begun_after_ms: 0,
        least: Volume::from_nl(119_999_950),
        most: Volume::from_nl(119_999_950),
        kind: OutcomeKind::Dosed,
        asked: false,
        restarts: 0,
        mark: Some(next),
        carry: Carry(CARRY),
    };
    stream.push((end as u64, Ev::Record(Record::Outcome(outcome))));
}

fn stamps(stream: &mut Stream, from: i64, to: i64) {
    let mut hour = from;
    while hour <= to {
        stream.push((hour as u64, Ev::Record(Record::Stamp { at: at(hour) })));
        hour += HOUR;
    }
}

fn good() -> Stream {
    let mut stream = start();
    dose(&mut stream, 45 * MIN, key("2026-10-19 00:45", 1), nominal("2026-10-26 00:45"));
    stamps(&mut stream, 2 * HOUR, 12 * HOUR);
    stream
}

#[test]
fn a_dose_written_out_by_hand_holds() {
    let report = holds(&good(), (12 * HOUR) as u64);
    assert_eq!((report.dues.dues, report.dues.dosed, report.dues.open), (1, 1, 0));
    assert_eq!(report.pump_on_ms, TOTAL_MS as u64);
    assert_eq!(report.pump_starts, 30);
    assert_eq!(report.volume_nl / 1000, 119_999);
    let night = report.entries[&EntryId(1)];
    assert_eq!((night.pin_ms, night.counts.dosed), (TOTAL_MS as u64, 1));
}

#[test]
fn d1_the_same_dose_again_a_week_later_is_a_due_of_its_own() {
    let mut stream = good();
    stamps(&mut stream, 13 * HOUR, 7 * DAY - HOUR);
    // the night before the change back to winter time: 00:45 CEST is 8 days - ...
    // Monday 26 October 00:45 is CET, so that an hour more has gone by
    let due_at = 7 * DAY + HOUR + 45 * MIN;
    stamps(&mut stream, 7 * DAY, 7 * DAY + HOUR);
    let mut second = Stream::new();
    dose(&mut second, due_at, key("2026-10-26 00:45", 1), nominal("2026-11-02 00:45"));
    // 2 x 3 000 000 / 26.5e6 is less than one ms: the same length, twice the carry
    for (_, ev) in &mut second {
        if let Ev::Record(Record::Outcome(o)) = ev {
            o.carry = Carry(2 * CARRY);
        }
    }
    stream.extend(second);
    let report = holds(&stream, (7 * DAY + 3 * HOUR) as u64);
    assert_eq!(report.dues.dosed, 2);
    // the same, an hour early, as if summer time went on
    let mut early = good();
    stamps(&mut early, 13 * HOUR, 7 * DAY - HOUR);
    dose(&mut early, due_at - HOUR, key("2026-10-26 00:45", 1), nominal("2026-11-02 00:45"));
    breaks(&early, (7 * DAY + 3 * HOUR) as u64, "D1", "does not exist");
}

#[test]
fn d1_a_missing_dose_is_missed() {
    let mut stream = start();
    stamps(&mut stream, HOUR, 3 * HOUR);
    breaks(&stream, (3 * HOUR) as u64, "D5", "did not begin");
    breaks(&stream, (3 * HOUR) as u64, "D1", "no outcome");
}

#[test]
fn d1_what_is_open_at_the_end_is_reported_as_open() {
    let stream: Stream = good().into_iter().filter(|(ms, _)| *ms < 60 * MIN as u64).collect();
    let report = holds(&stream, (60 * MIN) as u64 - 1);
    assert_eq!((report.dues.dues, report.dues.open), (1, 1));
    // the same with the deadline over
    breaks(&stream, (2 * HOUR) as u64, "D1", "no outcome");
}

#[test]
fn closed_nights_grow_one_record() {
    let mut stream = start();
    // daily at 00:45, and 20 to 22 October are closed
    let mut entry = weekly(1, 0x7f, 45);
    entry.observes_closed = true;
    let mut timetable = table(&[entry]);
    let closed =
        dosewright_core::entry::ClosedDates { first: date("2026-10-20"), last: date("2026-10-22") };
    assert!(timetable.closed.push(closed));
    let mut list = ClosedList::EMPTY;
    assert!(list.push(closed));
    stream.truncate(9);
    let staged = Staged {
        line: 0,
        entry,
        revision: 1,
        mark: Some(nominal("2026-10-19 00:45")),
        edited: false,
    };
    let (ceiling, kept_ceiling) = (None, Volume::ZERO);
    let (at_0, written, cleared, closed_staged) = (at(0), 1, 0, true);
    let adopted = Adopted { at: at_0, ceiling, written, cleared, closed_staged, kept_ceiling };
    for ev in [
        Ev::Act(DeviceAct::SetTimetable(Box::new(timetable))),
        Ev::Record(Record::Staged(staged)),
        Ev::Record(Record::StagedClosed(list)),
        Ev::Record(Record::Adopted(adopted)),
    ] {
        stream.push((0, ev));
    }
    dose(&mut stream, 45 * MIN, key("2026-10-19 00:45", 1), nominal("2026-10-20 00:45"));
    let mut records = Vec::new();
    for (count, last, next) in [
        (1, "2026-10-20 00:45", "2026-10-21 00:45"),
        (2, "2026-10-21 00:45", "2026-10-22 00:45"),
        (3, "2026-10-22 00:45", "2026-10-23 00:45"),
    ] {
        let due_at = i64::from(count) * DAY + 45 * MIN;
        stamps(&mut stream, due_at - DAY + HOUR, due_at - 1);
        let outcome = Outcome {
            line: 0,
            due: key("2026-10-20 00:45", 1),
            last: nominal(last),
            count,
            at: at(due_at),
            due_at: at(DAY + 45 * MIN),
            begun_after_ms: 0,
            least: Volume::ZERO,
            most: Volume::ZERO,
            kind: OutcomeKind::Skipped(Cause::Closed),
            asked: false,
            restarts: 0,
            mark: Some(nominal(next)),
            carry: Carry(CARRY),
        };
        records.push(stream.len());
        stream.push((due_at as u64, Ev::Record(Record::Outcome(outcome))));
    }
    stamps(&mut stream, 3 * DAY + HOUR, 3 * DAY + 12 * HOUR);
    let end = (3 * DAY + 12 * HOUR) as u64;
    let report = holds(&stream, end);
    assert_eq!((report.dues.dosed, report.dues.skipped), (1, 3));
    // a night that got no record
    let mut less = stream.clone();
    less.remove(records[1]);
    breaks(&less, end, "D1", "no outcome");
    // a record that begins anew
    let mut anew = stream.clone();
    if let Ev::Record(Record::Outcome(o)) = &mut anew[records[1]].1 {
        (o.due, o.count) = (key("2026-10-21 00:45", 1), 1);
        o.due_at = at(2 * DAY + 45 * MIN);
    }
    breaks(&anew, end, "D1", "not one record");
    // a record that counts wrong
    let mut wrong = stream;
    if let Ev::Record(Record::Outcome(o)) = &mut wrong[records[2]].1 {
        o.count = 4;
    }
    breaks(&wrong, end, "D1", "stands for 4 dues");
}
