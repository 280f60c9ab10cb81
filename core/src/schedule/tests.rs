//! An entry's dues, counted through by the words of its fields.

extern crate std;

use super::*;
use crate::civil::Weekday;
use crate::entry::plain;
use crate::units::Volume;

fn entry(days: Days, at_min: u16, by_night: bool) -> Entry {
    let recurrence = Recurrence::Weekly { days, at_min, by_night };
    let plain = plain(1, recurrence, Volume::from_ml(120));
    Entry { window_ms: 2_700_000, observes_closed: true, ..plain }
}

fn minute(y: i32, m: u8, d: u8, min: u32) -> Nominal {
    Nominal(Date::from_ymd(y, m, d).unwrap().days() as u32 * DAY_MIN + min)
}

#[test]
fn the_night_of_monday_at_a_quarter_to_one_is_tuesday() {
    // 2026-10-19 is a Monday
    let e = entry(Days::NONE.with(Weekday::Mon), 45, true);
    let n = e.next_at_or_after(minute(2026, 10, 19, 0)).unwrap();
    assert_eq!(n, minute(2026, 10, 20, 45));
    assert_eq!(e.date_of(n), Date::from_ymd(2026, 10, 19).unwrap());
    let evening = entry(Days::NONE.with(Weekday::Mon), 23 * 60, true);
    let n = evening.next_at_or_after(minute(2026, 10, 19, 0)).unwrap();
    assert_eq!(n, minute(2026, 10, 19, 23 * 60));
}

#[test]
fn counting_agrees_with_walking() {
    for bits in 1..128 {
        let mut e = entry(Days::from_bits(bits), 45, bits % 2 == 0);
        e.first = Some(Date::from_ymd(2026, 10, 21).unwrap());
        e.last = Some(Date::from_ymd(2026, 12, 5).unwrap());
        for start in 0..9 {
            let a = minute(2026, 10, 17 + start, 45);
            for days in 0..70 {
                let b = Nominal(a.0 + days * DAY_MIN + days % 3);
                let mut walked = 0;
                let mut n = e.next_at_or_after(a);
                while let Some(m) = n.filter(|&m| m < b) {
                    walked += 1;
                    n = e.next_at_or_after(m.next());
                }
                assert_eq!(e.count(a, b), walked, "{bits} {start} {days}");
            }
        }
    }
}

#[test]
fn the_shortest_gap_goes_round_the_end_of_the_week() {
    let e = entry(Days::NONE.with(Weekday::Mon).with(Weekday::Sat), 45, false);
    assert_eq!(e.shortest_gap(), Duration::from_h(48));
    assert_eq!(entry(Days::NONE.with(Weekday::Mon), 45, false).guard(), Duration::from_h(84));
    assert_eq!(entry(Days::ALL, 45, false).guard(), Duration::from_h(12));
}

/// The dues of a weekly entry in some days, by the words of its fields alone.
fn dues_by_day(e: &Entry, days: core::ops::Range<i32>) -> std::vec::Vec<u32> {
    let Recurrence::Weekly { days: set, at_min, by_night } = e.recurrence else { panic!() };
    let of_day = |day: i32| {
        let before = i32::from(by_night && at_min < 720);
        let named = Date::from_days(day - before);
        let is_in =
            e.first.is_none_or(|first| first <= named) && e.last.is_none_or(|last| named <= last);
        let is_due = e.enabled && is_in && set.contains(named.weekday());
        is_due.then_some(day as u32 * 1440 + u32::from(at_min))
    };
    days.filter_map(of_day).collect()
}

#[test]
fn dues_are_those_that_the_fields_say_day_by_day() {
    let monday = Date::from_ymd(2026, 10, 19).unwrap();
    let around = monday.days() - 40..monday.days() + 60;
    for (bits, at_min, by_night, first, last) in [
        (0x7f, 0, false, None, None),
        (0x01, 719, true, Some(0), Some(14)),
        (0x01, 720, true, Some(0), Some(14)),
        (0x41, 45, true, Some(-1), Some(6)),
        (0x41, 1439, false, Some(-1), Some(6)),
        (0x24, 45, true, Some(9), Some(9)),
        (0x24, 45, false, Some(1), None),
        (0x18, 45, true, None, Some(3)),
    ] {
        let mut e = entry(Days::from_bits(bits), at_min, by_night);
        e.first = first.map(|n| monday.plus_days(n));
        e.last = last.map(|n| monday.plus_days(n));
        let dues = dues_by_day(&e, around.clone());
        for day in monday.days() - 20..monday.days() + 30 {
            for off in [-1, 0, 1, 700] {
                let n = Nominal((day * 1440 + i32::from(at_min) + off) as u32);
                let from = dues.partition_point(|&due| due < n.0);
                assert_eq!(e.next_at_or_after(n).map(|n| n.0), dues.get(from).copied(), "{e:?}");
                let before = from.checked_sub(1).map(|index| dues[index]);
                // long after its last date an entry has none that matters
                let near = before.filter(|&due| due >= n.0 - 8 * 1440);
                assert_eq!(e.last_before(n, Nominal(0)).map(|n| n.0), near, "{e:?} {n:?}");
                // none that the floor leaves out
                let floor = Nominal(before.unwrap_or(0));
                assert_eq!(e.last_before(n, floor.next()), None);
                for weeks in 0..3 {
                    let until = Nominal(n.0 + weeks * 7 * 1440 + 1);
                    let count = dues.partition_point(|&due| due < until.0) - from;
                    assert_eq!(e.count(n, until), count as u32, "{e:?} {n:?}");
                }
            }
        }
        for &due in &dues {
            let named = e.date_of(Nominal(due));
            assert_eq!(e.calendar_day(named) as u32, due / 1440);
        }
        e.enabled = false;
        assert_eq!((e.next_at_or_after(Nominal(0)), e.count(Nominal(0), Nominal(9999))), (None, 0));
    }
    assert_eq!(entry(Days::NONE, 45, false).next_at_or_after(Nominal(0)), None);
}

#[test]
fn d9_an_interval_goes_by_elapsed_time_alone() {
    let from = Instant::from_ms(-5_000);
    let every = Recurrence::Interval { every_ms: 60_000, from };
    let e = Entry { recurrence: every, grace_ms: 7, ..entry(Days::NONE, 0, false) };
    let at = |ms| Instant::from_ms(ms);
    let first = |ms| e.first_from(at(ms), None).map(|n| n.0);
    assert_eq!([first(-9_000), first(-5_000), first(-4_999)], [Some(0), Some(0), Some(1)]);
    assert_eq!([first(55_000), first(55_001)], [Some(1), Some(2)]);
    assert_eq!(e.first_after(at(55_000), None), Some(Nominal(2)));
    assert_eq!(e.instant_of(Nominal(2), None), Some(at(115_000)));
    assert_eq!(e.next_at_or_after(Nominal(4)), Some(Nominal(4)));
    assert_eq!((e.count(Nominal(4), Nominal(9)), e.count(Nominal(9), Nominal(4))), (5, 0));
    let last = |n, floor| e.last_before(Nominal(n), Nominal(floor)).map(|n| n.0);
    assert_eq!([last(0, 0), last(4, 0), last(4, 3), last(4, 4)], [None, Some(3), Some(3), None]);
    assert_eq!((e.shortest_gap().as_ms(), e.guard().as_ms()), (60_000, 30_000));
    assert_eq!(e.window_and_grace().as_ms(), 2_700_007);
    assert!(!e.is_weekly() && e.calendar_days().is_empty());
    // no count that does not fit
    let far = Recurrence::Interval { every_ms: 1, from };
    assert_eq!(Entry { recurrence: far, ..e }.first_from(at(1 << 40), None), None);
}

#[test]
fn a_weekly_due_has_no_instant_before_the_clock_is_set() {
    let e = entry(Days::ALL, 60, false);
    assert_eq!(e.first_from(Instant::ZERO, None), None);
    assert_eq!(e.instant_of(Nominal(60), None), None);
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
    // 2026-10-19, when it is summer time there: two hours ahead of UTC
    let day = Date::from_ymd(2026, 10, 19).unwrap();
    let clock = WallClock { offset_ms: Local::new(day, Duration::ZERO).as_ms(), zone };
    let due = Instant::from_ms(-3_600_000);
    assert_eq!(e.first_from(due, Some(&clock)), Some(minute(2026, 10, 19, 60)));
    assert_eq!(e.first_after(due, Some(&clock)), Some(minute(2026, 10, 20, 60)));
    assert_eq!(e.instant_of(minute(2026, 10, 19, 60), Some(&clock)), Some(due));
    assert_eq!(clock.local(due), Local::new(day, Duration::from_h(1)));
}

#[test]
fn an_interval_of_nothing_is_no_way_to_panic() {
    let none = Recurrence::Interval { every_ms: 0, from: Instant::ZERO };
    let e = plain(1, none, Volume::from_ml(1));
    assert_eq!(e.bad_field(), Some("interval"));
    assert_eq!(e.first_from(Instant::ZERO, None), Some(Nominal(0)));
    assert_eq!(e.first_after(Instant::MAX, None), Some(Nominal(1)));
}
