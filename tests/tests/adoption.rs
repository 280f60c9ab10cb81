//! D11: what a new timetable writes, and the line that each of its entries takes.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Date;
use dosewright_core::entry::{ClosedDates, Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::record::{ClosedList, OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::Volume;
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, GEOMETRY, N, Pump};
use dosewright_tests::slots::{damage, records};
use dosewright_tests::wires::Wires;

/// A dose of 40 ml at an hour of its own.
fn entry(id: u16) -> Entry {
    daily(id, 60 * (1 + id), Volume::from_ml(40))
}

fn timetable(ids: &[u16], closed: ClosedList) -> Timetable<N> {
    let entries: Vec<Entry> = ids.iter().map(|id| entry(*id)).collect();
    let mut timetable = pump::timetable(&entries);
    timetable.closed = closed;
    timetable
}

fn closed() -> ClosedList {
    let mut list = ClosedList::EMPTY;
    let day = Date::from_ymd(2027, 12, 24).unwrap();
    assert!(list.push(ClosedDates { first: day, last: day }));
    list
}

const fn at(minute: i64) -> Instant {
    Instant::from_ms(minute * 60_000)
}

fn act(device: &mut Pump, minute: i64, event: Event<'_, N>) -> Result<(), Refusal> {
    let mut wires = Wires::default();
    pump::wake_until(device, at(minute), &mut wires);
    pump::tell(device, at(minute), event, &mut wires)
}

/// A device at midnight with the entries 1, 2 and 3, on its first three lines.
fn started() -> Pump {
    let mut device = pump::started(&mut Wires::default());
    adopt(&mut device, 0, &timetable(&[1, 2, 3], ClosedList::EMPTY)).unwrap();
    device
}

fn adopt(device: &mut Pump, minute: i64, timetable: &Timetable<N>) -> Result<(), Refusal> {
    act(device, minute, Event::Timetable(timetable))
}

/// What an adoption writes: the lines with entry, revision and whether it is edited; whether
/// closed dates; the lines written and cleared, a bit a line. The record that makes them count
/// is the last, and is alone.
type Written = (Vec<(u8, u16, u16, bool)>, bool, u64, u64);

fn written(device: &Pump, timetable: &Timetable<N>) -> Written {
    let records: Vec<Record> = device.controller().adoption(timetable).collect();
    let Some((Record::Adopted(end), staged)) = records.split_last() else { panic!("{records:?}") };
    let (mut lines, mut closed) = (Vec::new(), false);
    for record in staged {
        match record {
            Record::Staged(s) => lines.push((s.line, s.entry.id.0, s.revision, s.edited)),
            Record::StagedClosed(list) => {
                assert_eq!(*list, timetable.closed);
                closed = true;
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(closed, end.closed_staged);
    (lines, closed, end.written, end.cleared)
}

fn ids(device: &Pump) -> [Option<u16>; N] {
    let timetable = &device.controller().book().timetable;
    [0, 1, 2, 3].map(|line| timetable.id_on(line).map(|id| id.0))
}

#[test]
fn d11_only_what_changes_is_written() {
    let device = started();
    let none = ClosedList::EMPTY;
    let same = timetable(&[1, 2, 3], none);
    assert_eq!(written(&device, &same), (vec![], false, 0, 0));
    // the order in which they stand is no change
    assert_eq!(written(&device, &timetable(&[3, 1, 2], none)), (vec![], false, 0, 0));
    assert_eq!(written(&device, &timetable(&[1, 3], none)), (vec![], false, 0, 0b10));
    let mut edited = same;
    edited.put(Entry { volume: Volume::from_ml(41), ..entry(3) }).unwrap();
    assert_eq!(written(&device, &edited), (vec![(2, 3, 2, true)], false, 0b100, 0));
    assert_eq!(written(&device, &timetable(&[1, 2, 3], closed())), (vec![], true, 0, 0));
}

#[test]
fn d7_a_ceiling_beyond_what_the_ledger_holds_is_the_same_after_a_restart() {
    let held = Volume::from_nl((1 << 40) - 2);
    assert_eq!(held, Timetable::<N>::MOST_CEILING);
    for (asked, in_force) in [(u64::MAX, held), ((1 << 40) - 1, held), (held.as_nl(), held)] {
        let mut device = started();
        let mut with_ceiling = timetable(&[1, 2, 3], ClosedList::EMPTY);
        with_ceiling.ceiling = Some(Volume::from_nl(asked));
        adopt(&mut device, 1, &with_ceiling).unwrap();
        assert_eq!(device.controller().book().timetable.ceiling, Some(in_force), "{asked}");
        let device = pump::start(device.into_flash(), pump::GEOMETRY, at(2));
        assert_eq!(device.controller().book().timetable.ceiling, Some(in_force), "{asked}");
    }
}

#[test]
fn d3_of_two_that_overlap_the_one_that_was_edited_is_to_move() {
    // 02:00, 03:00 and 04:00, half an hour each
    let mut device = started();
    let moved = |id, at_min| Entry {
        recurrence: daily(id, at_min, Volume::ZERO).recurrence,
        window_ms: 45 * 60_000,
        ..entry(id)
    };
    let mut overlaps = |edited: &[Entry]| {
        let mut timetable = timetable(&[1, 2, 3], ClosedList::EMPTY);
        for entry in edited {
            timetable.put(*entry).unwrap();
        }
        match adopt(&mut device, 1, &timetable) {
            Err(Refusal::Overlap { first, second, nearest_min }) => {
                (first.0, second.0, nearest_min.unwrap())
            }
            other => panic!("{other:?}"),
        }
    };
    // the first is moved to 02:55, where 45 min run into the second
    assert_eq!(overlaps(&[moved(1, 175)]), (2, 1, 135));
    // the last into the second
    assert_eq!(overlaps(&[moved(3, 200)]), (2, 3, 210));
    // one that is new, on the line after them
    assert_eq!(overlaps(&[moved(4, 205)]), (2, 4, 270));
    // both: of two that are edited the later
    assert_eq!(overlaps(&[moved(1, 135), moved(2, 160)]), (1, 2, 180));
    // what was offered is taken
    let mut taken = timetable(&[1, 2, 3], ClosedList::EMPTY);
    taken.put(moved(1, 135)).unwrap();
    adopt(&mut device, 1, &taken).unwrap();
}

#[test]
fn d3_no_start_is_named_where_two_overlap_that_nobody_edited() {
    // what was taken while the clock was unset, and meets once it is set
    let mut device = pump::start(NorMock::new(16), GEOMETRY, Instant::ZERO);
    act(&mut device, 0, Event::SetHead(&pump::head())).unwrap();
    let every_ms = 24 * 3_600_000;
    let interval = Recurrence::Interval { every_ms, from: at(60) };
    let mut held = pump::timetable(&[
        Entry { recurrence: interval, ..entry(2) },
        daily(3, 60, Volume::from_ml(40)),
    ]);
    adopt(&mut device, 0, &held).unwrap();
    act(&mut device, 1, Event::SetClock(pump::midnight())).unwrap();
    held.put(daily(4, 600, Volume::from_ml(40))).unwrap();
    let (first, second, nearest_min) = (EntryId(2), EntryId(3), None);
    assert_eq!(adopt(&mut device, 2, &held), Err(Refusal::Overlap { first, second, nearest_min }));
}

#[test]
fn d11_a_new_entry_takes_the_first_line_that_is_free() {
    let mut device = started();
    let table = timetable(&[1, 6, 3, 7], closed());
    let lines = vec![(1, 6, 1, false), (3, 7, 1, false)];
    assert_eq!(written(&device, &table), (lines, true, 0b1010, 0));
    adopt(&mut device, 1, &table).unwrap();
    assert_eq!(ids(&device), [Some(1), Some(6), Some(3), Some(7)]);
    assert_eq!(device.controller().book().timetable.closed, closed());
    // a full timetable takes no more, and changes as a whole
    assert_eq!(written(&device, &table), (vec![], false, 0, 0));
    adopt(&mut device, 2, &timetable(&[8, 9, 10, 11], ClosedList::EMPTY)).unwrap();
    assert_eq!(ids(&device), [Some(8), Some(9), Some(10), Some(11)]);
    assert_eq!(device.controller().book().timetable.closed, ClosedList::EMPTY);
}

#[test]
fn d11_no_new_entry_takes_a_line_where_a_due_has_still_to_end() {
    // entry 1 is due at 02:00; it runs, or a stop keeps it waiting
    for stops in [false, true] {
        let mut device = started();
        if stops {
            act(&mut device, 100, Event::RemoteStop(true)).unwrap();
        }
        act(&mut device, 125, Event::Wake).unwrap();
        let book = device.controller().book();
        assert_eq!((book.open.is_some(), book.waits(0)), (!stops, stops));
        let table = timetable(&[8, 2, 3], ClosedList::EMPTY);
        let expected = (vec![(3, 8, 1, false)], false, 0b1000, 0b1);
        assert_eq!(written(&device, &table), expected, "{stops}");
        // two new ones have only one line
        let two = timetable(&[8, 2, 3, 9], ClosedList::EMPTY);
        assert_eq!(adopt(&mut device, 126, &two), Err(Refusal::Busy), "{stops}");
        adopt(&mut device, 127, &table).unwrap();
        assert_eq!(ids(&device), [None, Some(2), Some(3), Some(8)], "{stops}");
        // it has ended with its entry, and its line is free again
        adopt(&mut device, 128, &timetable(&[8, 2, 3, 9], ClosedList::EMPTY)).unwrap();
        assert_eq!(ids(&device), [Some(9), Some(2), Some(3), Some(8)], "{stops}");
    }
}

/// A device at minute 2 whose closed dates were lost.
fn without_closed_dates(timetable: &Timetable<N>) -> Pump {
    let mut device = started();
    adopt(&mut device, 1, timetable).unwrap();
    let mut flash = device.into_flash();
    let hit = damage(&mut flash, |_, record| matches!(record, Record::StagedClosed(_)));
    assert_eq!(hit, 1);
    let mut device = pump::start(flash, GEOMETRY, at(2));
    act(&mut device, 2, Event::Wake).unwrap();
    assert!(device.controller().book().closed_damaged);
    device
}

#[test]
fn m2_closed_dates_that_were_lost_keep_only_those_back_that_observe_them() {
    let mut table = timetable(&[1, 2, 3], closed());
    table.put(Entry { observes_closed: true, ..entry(2) }).unwrap();
    let mut device = without_closed_dates(&table);
    act(&mut device, 300, Event::Wake).unwrap();
    let mut outcomes: Vec<_> = records(device.ledger().flash().bytes())
        .filter_map(|(_, record)| match record {
            Record::Outcome(outcome) => Some((outcome.due.id.0, outcome.kind)),
            _ => None,
        })
        .collect();
    outcomes.sort_by_key(|outcome| outcome.0);
    let kept = OutcomeKind::Skipped(Cause::Damaged);
    assert_eq!(outcomes, [(1, OutcomeKind::Dosed), (2, kept), (3, OutcomeKind::Dosed)]);
}

#[test]
fn m2_closed_dates_that_were_lost_are_told_again_even_if_there_are_none() {
    let mut device = without_closed_dates(&timetable(&[1, 2, 3], closed()));
    let none = timetable(&[1, 2, 3], ClosedList::EMPTY);
    assert_eq!(written(&device, &none), (vec![], true, 0, 0));
    adopt(&mut device, 3, &none).unwrap();
    assert!(!device.controller().book().closed_damaged);
    assert_eq!(device.controller().book().timetable.get(EntryId(2)), Some(entry(2)));
}

/// The ceiling of the timetable, and the one that counts for a due of a minute.
fn ceilings(device: &Pump, minute: i64) -> [u64; 2] {
    let book = device.controller().book();
    [book.timetable.ceiling_in_force(), book.ceiling_for(at(minute))].map(Volume::as_ul)
}

#[test]
fn d7_a_ceiling_that_follows_from_the_timetable_falls_23_hours_after_it() {
    const SPAN: i64 = 23 * 60;
    let none = ClosedList::EMPTY;
    let mut device = started();
    assert_eq!(ceilings(&device, 0), [150_000; 2]);
    adopt(&mut device, 10, &timetable(&[1, 2], none)).unwrap();
    assert_eq!(ceilings(&device, 9 + SPAN), [100_000, 150_000]);
    assert_eq!(ceilings(&device, 10 + SPAN), [100_000; 2]);
    // what the record says is what a restart finds
    let mut device = pump::start(device.into_flash(), GEOMETRY, at(11));
    assert_eq!(ceilings(&device, 9 + SPAN), [100_000, 150_000]);
    // another change before that is over: the greater goes on with it
    adopt(&mut device, 20, &timetable(&[1], none)).unwrap();
    assert_eq!(ceilings(&device, 19 + SPAN), [50_000, 150_000]);
    assert_eq!(ceilings(&device, 20 + SPAN), [50_000; 2]);
    // one that somebody sets counts at once, down and up
    let set = |ml| {
        let mut timetable = timetable(&[1], none);
        timetable.ceiling = Some(Volume::from_ml(ml));
        timetable
    };
    adopt(&mut device, 30, &set(40)).unwrap();
    assert_eq!(ceilings(&device, 30), [40_000; 2]);
    adopt(&mut device, 31, &set(400)).unwrap();
    assert_eq!(ceilings(&device, 31), [400_000; 2]);
    adopt(&mut device, 32, &timetable(&[1], none)).unwrap();
    assert_eq!(ceilings(&device, 32), [50_000; 2]);
    // and what is over does not come again
    adopt(&mut device, 33, &timetable(&[1, 5], none)).unwrap();
    adopt(&mut device, 34 + SPAN, &timetable(&[1], none)).unwrap();
    assert_eq!(ceilings(&device, 34 + SPAN), [50_000, 100_000]);
}
