//! D3, D7: what a timetable asks in a day, which windows meet, and where another start is
//! free. The figures are worked out by hand beside each case.

use dosewright_core::civil::{Date, Days, Weekday};
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{Refusal, Timetable, meet_at_times, overlap};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

const MIN: u32 = 60_000;
const HOUR: u64 = 3_600_000;
/// 2027-03-01 is a Monday.
const MONDAY: (i32, u8, u8) = (2027, 3, 1);

fn on(days: &[u8]) -> Days {
    Days::from_bits(days.iter().fold(0, |bits, day| bits | 1 << day))
}

fn date(days_after_monday: i32) -> Date {
    let (year, month, day) = MONDAY;
    Date::from_ymd(year, month, day).unwrap().plus_days(days_after_monday)
}

fn weekly(id: u16, days: Days, at_min: u16, window_min: u32) -> Entry {
    Entry {
        id: EntryId(id),
        enabled: true,
        recurrence: Recurrence::Weekly { days, at_min, by_night: false },
        volume: Volume::from_ml(100),
        window_ms: window_min * MIN,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}

fn every(id: u16, hours: u64, from_min: i64, window_min: u32) -> Entry {
    let from = Instant::from_ms(from_min * i64::from(MIN));
    let recurrence = Recurrence::Interval { every_ms: hours * HOUR, from };
    Entry { recurrence, ..weekly(id, Days::NONE, 0, window_min) }
}

fn timetable(entries: &[Entry]) -> Timetable<8> {
    let mut timetable = Timetable::EMPTY;
    for entry in entries {
        timetable.put(*entry).unwrap();
    }
    timetable
}

/// Millilitres and dues of the fullest day.
fn fullest(entries: &[Entry]) -> (u64, u32) {
    let (volume, dues) = timetable(entries).most_in_a_day();
    (volume.as_ul() / 1000, dues)
}

#[test]
fn d7_a_day_begins_at_any_due_and_goes_over_midnight() {
    // Monday evening and Tuesday morning are within 24 h
    let (evening, morning) = (weekly(1, on(&[0]), 1200, 10), weekly(2, on(&[1]), 360, 10));
    assert_eq!(fullest(&[evening, morning]), (200, 2));
    // Monday morning and Tuesday evening are not
    let (morning, evening) = (weekly(1, on(&[0]), 360, 10), weekly(2, on(&[1]), 1200, 10));
    assert_eq!(fullest(&[evening, morning]), (100, 1));
    // the same minute a day later is the next day's
    let same = weekly(2, on(&[1]), 360, 10);
    assert_eq!(fullest(&[morning, same]), (100, 1));
    // on Sunday and Monday, over the end of the week
    let (sunday, monday) = (weekly(1, on(&[6]), 1200, 10), weekly(2, on(&[0]), 360, 10));
    assert_eq!(fullest(&[sunday, monday]), (200, 2));
}

#[test]
fn d7_a_day_counts_the_entries_that_are_in_force_then() {
    let all = weekly(1, Days::ALL, 360, 10);
    // until a Sunday, on Mondays: the last is six days before the date
    let until = Entry { last: Some(date(6)), ..weekly(2, on(&[0]), 720, 10) };
    assert_eq!(fullest(&[all, until]), (200, 2));
    // from a Tuesday, on Mondays: the first is six days after the date
    let from = Entry { first: Some(date(1)), ..weekly(3, on(&[0]), 1080, 10) };
    assert_eq!(fullest(&[all, from]), (200, 2));
    // the two never on one day
    assert_eq!(fullest(&[all, until, from]), (200, 2));
    let longer = Entry { last: Some(date(7)), ..until };
    assert_eq!(fullest(&[all, longer, from]), (300, 3));
    assert_eq!(fullest(&[all, Entry { enabled: false, ..longer }]), (100, 1));
}

#[test]
fn d7_an_entry_of_a_single_date_counts_with_the_evening_before() {
    let sundays = weekly(1, on(&[6]), 1200, 10);
    let once = Entry { first: Some(date(0)), last: Some(date(0)), ..weekly(2, Days::ALL, 360, 10) };
    assert_eq!(fullest(&[sundays, once]), (200, 2));
    assert_eq!(fullest(&[once]), (100, 1));
}

#[test]
fn d7_intervals_come_on_top_as_often_as_a_day_can_hold_them() {
    assert_eq!(fullest(&[every(1, 6, 0, 10)]), (400, 4));
    // five hours: at 0, 5, 10, 15 and 20
    assert_eq!(fullest(&[every(1, 5, 0, 10)]), (500, 5));
    assert_eq!(fullest(&[every(1, 6, 0, 10), weekly(2, Days::ALL, 30, 10)]), (500, 5));
    assert_eq!(fullest(&[every(1, 48, 0, 10)]), (100, 1));
}

#[test]
fn d7_more_dues_than_there_is_an_account_for_are_refused() {
    let head = Head::with_flow(Flow::from_nl_per_min(100_000_000).unwrap());
    let refusal = |entries: &[Entry]| timetable(entries).first_refusal(&head, None, Instant::ZERO);
    let quarter = |id, from_min| {
        let from = Instant::from_ms(from_min * i64::from(MIN));
        let recurrence = Recurrence::Interval { every_ms: HOUR / 4, from };
        let volume = Volume::from_ml(4);
        Entry { recurrence, volume, ..weekly(id, Days::NONE, 0, 3) }
    };
    assert_eq!(fullest(&[quarter(1, 0)]).1, 96);
    assert_eq!(refusal(&[quarter(1, 0)]), None);
    let daily = Entry { volume: Volume::from_ml(4), ..weekly(2, Days::ALL, 5, 3) };
    assert_eq!(refusal(&[quarter(1, 0), daily]), Some(Refusal::TooManyDues { dues: 97, most: 96 }));
}

fn meet(a: &Entry, b: &Entry, clock: Option<&WallClock>) -> bool {
    let found = overlap(a, b, clock, Instant::ZERO);
    assert_eq!(found, overlap(b, a, clock, Instant::ZERO), "from the other side");
    found
}

#[test]
fn d3_intervals_meet_by_what_their_lengths_have_in_common() {
    // 6 h and 4 h: every 2 h the one can stand to the other in any of its places
    let six = every(1, 6, 0, 30);
    for (from_min, window_min, expected) in [
        (0, 30, true),
        (120, 30, true),
        (60, 30, false),
        // it begins as the first ends, or a minute before
        (30, 30, false),
        (29, 30, true),
        // it ends as the first begins again, or a minute after
        (90, 30, false),
        (90, 31, true),
        (-29, 30, true),
        (-31, 31, false),
    ] {
        let four = every(2, 4, from_min, window_min);
        assert_eq!(meet(&six, &four, None), expected, "{from_min} {window_min}");
    }
    // 6 h and 9 h have 3 h in common
    assert!(!meet(&six, &every(2, 9, 60, 30), None));
    assert!(!meet(&six, &every(2, 9, 120, 30), None));
    assert!(meet(&six, &every(2, 9, 180, 30), None));
}

#[test]
fn d3_an_interval_that_keeps_its_time_of_day_meets_a_weekly_one_by_the_clock() {
    let zone = Zone::parse("<+01>-1").unwrap();
    // elapsed time began at midnight of a day, UTC: at 01:00 by the clock
    let clock = WallClock { offset_ms: 20_000 * 24 * HOUR as i64, zone };
    let six = every(1, 6, 0, 30);
    for (at_min, window_min, expected) in [
        (60, 30, true),
        (60 + 6 * 60, 30, true),
        (60 + 18 * 60, 30, true),
        (90, 30, false),
        (89, 30, true),
        (30, 30, false),
        (30, 31, true),
        (0, 30, false),
    ] {
        let other = weekly(2, Days::ALL, at_min, window_min);
        assert_eq!(meet(&six, &other, Some(&clock)), expected, "{at_min} {window_min}");
        assert!(!meet(&six, &other, None), "without a clock nothing is known");
    }
    // whole days keep their time as well; seven hours wander, and wait where they meet
    assert!(meet(&every(1, 48, 0, 30), &weekly(2, Days::ALL, 60, 30), Some(&clock)));
    assert!(!meet(&every(1, 48, 0, 30), &weekly(2, Days::ALL, 420, 30), Some(&clock)));
    assert!(!meet(&every(1, 7, 0, 30), &weekly(2, Days::ALL, 60, 30), Some(&clock)));
}

#[test]
fn d3_an_interval_of_whole_weeks_meets_a_weekly_one_on_its_weekday_alone() {
    let zone = Zone::parse("<+01>-1").unwrap();
    // 2024-10-04, a Friday: its first dose is then at 01:00
    let clock = WallClock { offset_ms: 20_000 * 24 * HOUR as i64, zone };
    let fortnight = every(1, 14 * 24, 0, 30);
    for weekday in Weekday::ALL {
        let days = Days::NONE.with(weekday);
        let same = weekly(2, days, 60, 30);
        assert_eq!(meet(&fortnight, &same, Some(&clock)), weekday == Weekday::Fri, "{weekday:?}");
        // a window over midnight reaches into the day after
        let late = weekly(2, days, 23 * 60 + 30, 91);
        assert_eq!(meet(&fortnight, &late, Some(&clock)), weekday == Weekday::Thu);
        // nine days come to every weekday in time
        assert!(meet(&every(1, 9 * 24, 0, 30), &same, Some(&clock)), "{weekday:?}");
    }
    // Sunday's window reaches round the week's end
    let monday = every(1, 7 * 24, 3 * 24 * 60, 30);
    let late = weekly(2, Days::NONE.with(Weekday::Sun), 23 * 60 + 30, 91);
    assert!(meet(&monday, &late, Some(&clock)));
    let over = weekly(2, Days::NONE.with(Weekday::Sun), 23 * 60 + 30, 90);
    assert!(!meet(&monday, &over, Some(&clock)));
}

#[test]
fn d3_an_interval_does_not_meet_a_weekly_one_that_is_over_before_it_begins() {
    let zone = Zone::parse("<+01>-1").unwrap();
    // from 2024-10-09 on, at 01:00
    let clock = WallClock { offset_ms: 20_000 * 24 * HOUR as i64, zone };
    let (daily, wanders) = (every(1, 24, 5 * 24 * 60, 30), every(1, 5, 5 * 24 * 60, 30));
    for (last, at_min, window_min, expected) in [
        (9, 60, 30, true),
        (8, 60, 30, false),
        // a window over midnight
        (8, 23 * 60 + 30, 91, true),
        (8, 23 * 60 + 30, 90, false),
    ] {
        let last = Date::from_ymd(2024, 10, last);
        let other = Entry { last, ..weekly(2, Days::ALL, at_min, window_min) };
        assert_eq!(meet(&daily, &other, Some(&clock)), expected, "{last:?} {at_min} {window_min}");
        let at_times = meet_at_times(&wanders, &other, &clock, Instant::ZERO);
        assert_eq!(at_times, expected, "{last:?} {at_min} {window_min}");
        // one that has begun meets it for as long as it is not over
        let begun = Entry { last, ..weekly(2, Days::ALL, 60, 30) };
        let meets_at = |at_h: u64| {
            let now = Instant::from_ms((at_h * HOUR) as i64);
            overlap(&every(1, 24, 0, 30), &begun, Some(&clock), now)
        };
        let days_left = last.unwrap().days() - 20_000;
        assert!(meets_at(days_left as u64 * 24));
        assert!(!meets_at(days_left as u64 * 24 + 1));
    }
}

#[test]
fn d3_an_interval_that_wanders_meets_a_weekly_one_now_and_then_or_never() {
    let zone = Zone::parse("<+01>-1").unwrap();
    let clock = WallClock { offset_ms: 20_000 * 24 * HOUR as i64, zone };
    let at_times = |a: &Entry, b: &Entry| {
        assert!(!meet(a, b, Some(&clock)), "no matter of course");
        let found = meet_at_times(a, b, &clock, Instant::ZERO);
        assert_eq!(found, meet_at_times(b, a, &clock, Instant::ZERO), "from the other side");
        found
    };
    // every three and a half days from Friday 01:00: Mondays at 13:00 and Fridays at 01:00
    let twice_a_week = every(1, 84, 0, 30);
    for (day, at_min, expected) in
        [(4, 60, true), (0, 13 * 60, true), (0, 60, false), (1, 13 * 60, false), (0, 779, true)]
    {
        let other = weekly(2, on(&[day]), at_min, 30);
        assert_eq!(at_times(&twice_a_week, &other), expected, "{day} {at_min}");
    }
    // five hours come to every hour of the week; seven divide it
    assert!(at_times(&every(1, 5, 0, 30), &weekly(2, on(&[2]), 200, 30)));
    assert!(!at_times(&every(1, 7, 0, 30), &weekly(2, on(&[2]), 200, 30)));
    // those that keep their time of day are refused instead
    assert!(!meet_at_times(
        &every(1, 24, 0, 30),
        &weekly(2, Days::ALL, 60, 30),
        &clock,
        Instant::ZERO
    ));
}

#[test]
fn d3_a_window_over_midnight_meets_the_next_day_only_where_both_are_in_force() {
    // 23:30 for an hour, and 00:10 of the day after
    let late = weekly(1, Days::ALL, 1410, 60);
    let early = weekly(2, Days::ALL, 10, 30);
    assert!(meet(&late, &early, None));
    let only = Entry { first: Some(date(1)), last: Some(date(1)), ..early };
    assert!(meet(&late, &only, None));
    assert!(meet(&Entry { first: Some(date(0)), ..late }, &only, None));
    assert!(!meet(&Entry { first: Some(date(1)), ..late }, &only, None));
    assert!(meet(&Entry { last: Some(date(0)), ..late }, &only, None));
    assert!(!meet(&Entry { last: Some(date(-1)), ..late }, &only, None));
    // from a day on, and until that day
    let until = Entry { last: Some(date(1)), ..early };
    assert!(!meet(&Entry { first: Some(date(1)), ..late }, &until, None));
    assert!(meet(&Entry { first: Some(date(0)), ..late }, &until, None));
}

#[test]
fn d3_the_nearest_start_leaves_room_for_a_window_of_part_of_a_minute() {
    let head = Head::with_flow(Flow::from_nl_per_min(100_000_000).unwrap());
    let nearest =
        |entries: &[Entry]| match timetable(entries).first_refusal(&head, None, Instant::ZERO) {
            Some(Refusal::Overlap { nearest_min, .. }) => nearest_min,
            other => panic!("{other:?}"),
        };
    // 02:00 to 02:45; of a window of 10.5 min the last start before it is 01:49
    let first = weekly(1, Days::ALL, 120, 45);
    let second = Entry { window_ms: 10 * MIN + MIN / 2, ..weekly(2, Days::ALL, 121, 10) };
    assert_eq!(nearest(&[first, second]), Some(109));
    assert_eq!(nearest(&[first, weekly(2, Days::ALL, 121, 10)]), Some(110));
    // of a first window of 44.5 min the first start after it is 02:45 all the same
    let part = Entry { window_ms: 45 * MIN - MIN / 2, ..first };
    assert_eq!(nearest(&[part, weekly(2, Days::ALL, 160, 30)]), Some(165));
}
