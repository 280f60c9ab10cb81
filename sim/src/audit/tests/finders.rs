//! The two ways to find dues say the same, over years and odd zones (D8).

use dosewright_core::entry::GapRule;
use jiff::Timestamp;

use super::bench::{HOUR, MIN, date, local, nominal, weekly, zone};
use crate::audit::dues::{DayByDay, Finder, MinuteByMinute, Weekly};
use crate::audit::zone::to_jiff;

const ZONES: [&str; 9] = [
    "CET-1CEST,M3.5.0,M10.5.0/3",
    "EST5EDT,M3.2.0,M11.1.0",
    "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
    "<-02>2<-01>,M3.5.0/-1,M10.5.0/0",
    "XXX-3YYY-5,J60/2,J300/2",
    "XXX3YYY,59/1:30,299/23:45",
    "IST-1GMT0,M10.5.0,M3.5.0/1",
    "<+0545>-5:45",
    "AAA12BBB-11,J100/0:30,J200/5",
];

fn utc(text: &str) -> i64 {
    text.parse::<Timestamp>().unwrap().as_millisecond()
}

/// All dues of three years, one after the other, by both finders.
#[test]
fn d8_minute_by_minute_and_day_by_day_agree_over_years() {
    for text in ZONES {
        let tz = to_jiff(&zone(text)).unwrap();
        for (at_min, by_night, rule) in [
            (150, false, GapRule::Shift),
            (150, true, GapRule::FirstValid),
            (45, true, GapRule::Shift),
            (1425, false, GapRule::FirstValid),
        ] {
            let mut entry = weekly(1, 0b0101_1011, at_min);
            entry.gap_rule = rule;
            if let dosewright_core::entry::Recurrence::Weekly { by_night: night, .. } =
                &mut entry.recurrence
            {
                *night = by_night;
            }
            let weekly = Weekly::of(&entry, None).unwrap();
            let mut seen = 0;
            let (mut nominal, end) =
                (nominal("2026-02-10 00:00").0.into(), utc("2027-04-20T00:00:00Z"));
            while let Some(next) = weekly.next_nominal(nominal) {
                let quick = DayByDay.moment(&tz, &weekly, next);
                let plain = MinuteByMinute.moment(&tz, &weekly, next);
                assert_eq!(quick, plain, "{text} {at_min} {rule:?} nominal {next}");
                if quick.unwrap() > end {
                    break;
                }
                seen += 1;
                nominal = next + 1;
            }
            assert!(seen > 200, "{seen}");
        }
    }
}

/// The first due from a moment on, asked for at every half hour around changes.
#[test]
fn d8_both_find_the_same_first_due_after_any_setting() {
    for text in ZONES {
        let tz = to_jiff(&zone(text)).unwrap();
        for (at_min, first, last) in
            [(150, None, None), (45, Some("2026-03-29"), Some("2026-03-31"))]
        {
            let mut entry = weekly(1, 0x7f, at_min);
            (entry.first, entry.last) = (first.map(date), last.map(date));
            let weekly = Weekly::of(&entry, None).unwrap();
            let start = Timestamp::from_second(1_774_000_000).unwrap();
            let mut around: Vec<i64> =
                tz.following(start).take(2).map(|c| c.timestamp().as_millisecond()).collect();
            around.push(utc("2026-03-29T01:00:00Z"));
            for change in around {
                for step in -60..60 {
                    let at = change + step * HOUR / 2;
                    let quick = DayByDay.first_from(&tz, &weekly, at);
                    assert_eq!(
                        quick,
                        MinuteByMinute.first_from(&tz, &weekly, at),
                        "{text} {at_min} {at}"
                    );
                }
            }
        }
    }
}

/// Zones whose changes are not on whole minutes are watched second by second.
#[test]
fn d8_a_zone_with_seconds_is_watched_by_the_second() {
    // offsets of whole minutes may change on a second, and the other way round
    for rule in [
        "XXX3:30:20YYY2:15:10,M3.2.0/1:30:30,M11.1.0/2:00:15",
        "XXX3:30YYY2:15,M3.2.0/1:30:30,M11.1.0/2:00:15",
        "XXX3:30:20YYY2:15:10,M3.2.0/1:30,M11.1.0/2",
    ] {
        let tz = to_jiff(&zone(rule)).unwrap();
        for at_min in [100, 130] {
            let entry = weekly(1, 0x7f, at_min);
            let weekly = Weekly::of(&entry, None).unwrap();
            for text in ["2026-03-07", "2026-03-08", "2026-03-09", "2026-11-01"] {
                let n = i64::from(nominal(&format!("{text} 00:00")).0) + i64::from(at_min);
                assert_eq!(
                    DayByDay.moment(&tz, &weekly, n),
                    MinuteByMinute.moment(&tz, &weekly, n),
                    "{rule} {text} {at_min}"
                );
            }
        }
    }
}

/// 03:00 becomes 02:00 in Berlin on 25 October 2026, at 01:00 UTC: what has happened in the
/// first pass does not happen in the second.
#[test]
fn d8_a_minute_that_has_happened_does_not_happen_again() {
    let tz = to_jiff(&zone("CET-1CEST,M3.5.0,M10.5.0/3")).unwrap();
    for (at_min, from) in [(179, "2026-10-25T01:10:00Z"), (120, "2026-10-25T00:00:01Z")] {
        let weekly = Weekly::of(&weekly(1, 0x7f, at_min), None).unwrap();
        let next = i64::from(nominal("2026-10-26 00:00").0) + i64::from(at_min);
        for finder in [&DayByDay as &dyn Finder, &MinuteByMinute] {
            assert_eq!(finder.first_from(&tz, &weekly, utc(from)), Some(next), "{finder:?}");
        }
    }
    // nor, where clocks are put forward in mid-minute, the minute in which they are
    let tz = to_jiff(&zone("XXX0YYY,M3.2.0/1:30:30,M11.1.0")).unwrap();
    let mut entry = weekly(1, 0x7f, 90);
    entry.gap_rule = GapRule::FirstValid;
    let weekly = Weekly::of(&entry, None).unwrap();
    let next = i64::from(nominal("2026-03-09 01:30").0);
    let skipped = i64::from(nominal("2026-03-08 02:00").0);
    for finder in [&DayByDay as &dyn Finder, &MinuteByMinute] {
        let found = finder.first_from(&tz, &weekly, utc("2026-03-08T01:30:10Z"));
        assert_eq!(found, Some(next), "{finder:?}");
        let moment = finder.moment(&tz, &weekly, skipped);
        assert_eq!(moment, Some(utc("2026-03-08T01:30:30Z")), "{finder:?}");
    }
}

/// 02:00 becomes 03:00 in Berlin on 29 March 2026, at 01:00 UTC.
#[test]
fn d8_the_first_minute_that_is_left_out_happens_later_by_the_jump() {
    let tz = to_jiff(&zone("CET-1CEST,M3.5.0,M10.5.0/3")).unwrap();
    for (at_min, moment) in [(119, "00:59"), (120, "01:00"), (121, "01:01"), (180, "01:00")] {
        let weekly = Weekly::of(&weekly(1, 0x7f, at_min), None).unwrap();
        let n = i64::from(nominal("2026-03-29 00:00").0) + i64::from(at_min);
        let moment = utc(&format!("2026-03-29T{moment}:00Z"));
        for finder in [&DayByDay as &dyn Finder, &MinuteByMinute] {
            assert_eq!(finder.moment(&tz, &weekly, n), Some(moment), "{finder:?} {at_min}");
        }
    }
}

/// New York in 2026, as jiff and Python zoneinfo both have it: 02:30 on 8 March
/// is 1772955000, 01:30 on 1 November 1793511000.
#[test]
fn d8_the_published_moments_come_out_of_both() {
    let tz = to_jiff(&zone("EST5EDT,M3.2.0,M11.1.0")).unwrap();
    for (at_min, text, moment) in
        [(150, "2026-03-08 02:30", 1_772_955_000_i64), (90, "2026-11-01 01:30", 1_793_511_000)]
    {
        let entry = weekly(1, 0x7f, at_min);
        let weekly = Weekly::of(&entry, None).unwrap();
        let n = local(text).as_ms() / MIN;
        for finder in [&DayByDay as &dyn Finder, &MinuteByMinute] {
            assert_eq!(finder.moment(&tz, &weekly, n), Some(moment * 1000), "{text}");
        }
    }
}

#[test]
fn nights_and_dates_bound_the_nominals() {
    let mut entry = weekly(1, 0b1_0000, 45);
    if let dosewright_core::entry::Recurrence::Weekly { by_night, .. } = &mut entry.recurrence {
        *by_night = true;
    }
    (entry.first, entry.last) = (Some(date("2026-10-23")), Some(date("2026-10-30")));
    let weekly = Weekly::of(&entry, None).unwrap();
    // 23 and 30 October 2026 are Fridays: their nights' 00:45 is on Saturday
    let first = i64::from(nominal("2026-10-24 00:45").0);
    let second = i64::from(nominal("2026-10-31 00:45").0);
    assert_eq!(weekly.next_nominal(0), Some(first));
    assert_eq!(weekly.next_nominal(first + 1), Some(second));
    assert_eq!(weekly.next_nominal(second + 1), None);
    assert_eq!(weekly.count(0, i64::from(u32::MAX)), 2);
    assert_eq!(weekly.date_or_night(first), date("2026-10-23"));
    assert_eq!(weekly.shortest_gap_ms(), 7 * 24 * HOUR);
}

/// 02:00 to 03:00 is left out in Berlin on 29 March 2026, from 01:00 UTC on.
#[test]
fn d8_the_first_valid_instant_is_the_change_itself() {
    use crate::audit::zone::{is_skipped, utc_ms_first_valid};
    let tz = to_jiff(&zone("CET-1CEST,M3.5.0,M10.5.0/3")).unwrap();
    let change = utc("2026-03-29T01:00:00Z");
    for (text, skipped, moment) in [
        ("2026-03-29 01:59", false, change - MIN),
        ("2026-03-29 02:00", true, change),
        ("2026-03-29 02:30", true, change),
        ("2026-03-29 02:59", true, change),
        ("2026-03-29 03:00", false, change),
        ("2026-03-29 03:01", false, change + MIN),
    ] {
        let at = local(text).as_ms();
        assert_eq!(is_skipped(&tz, at), skipped, "{text}");
        assert_eq!(utc_ms_first_valid(&tz, at), Some(moment), "{text}");
    }
}
