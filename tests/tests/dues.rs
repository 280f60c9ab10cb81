//! When dues are, against the standard's worked examples and two libraries that
//! know nothing of this project.

use chrono::{DateTime, Datelike, TimeZone, Timelike};
use dosewright_core::civil::{Date, Days, Local, Weekday};
use dosewright_core::entry::{Entry, EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;
use proptest::prelude::*;

const NEW_YORK: &str = "EST5EDT,M3.2.0,M11.1.0";

fn weekly(days: Days, at_min: u16) -> Entry {
    Entry {
        id: EntryId(1),
        enabled: true,
        recurrence: Recurrence::Weekly { days, at_min, by_night: false },
        volume: Volume::from_ml(100),
        window_ms: 60_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}

/// A device whose elapsed time is POSIX time in ms.
fn clock(zone: &str) -> WallClock {
    WallClock { offset_ms: 0, zone: Zone::parse(zone).unwrap() }
}

fn local(y: i32, m: u8, d: u8, h: u64, min: u64) -> Local {
    Local::new(Date::from_ymd(y, m, d).unwrap(), Duration::from_min(h * 60 + min))
}

/// The first dues at or after a local time, as unix seconds.
fn dues(entry: &Entry, clock: &WallClock, from: Local, count: usize) -> Vec<i64> {
    let at = clock.instant(clock.zone.to_utc(from, GapRule::Shift));
    let mut n = entry.first_from(at, Some(clock));
    let mut found = Vec::new();
    while let Some(nominal) = n.filter(|_| found.len() < count) {
        found.push(entry.instant_of(nominal, Some(clock)).unwrap().as_ms() / 1000);
        n = entry.next_at_or_after(nominal.next());
    }
    found
}

fn shown(clock: &WallClock, unix: &[i64]) -> Vec<(i32, u8, u8, u64)> {
    unix.iter()
        .map(|s| {
            let local = clock.local(Instant::from_ms(s * 1000));
            let (y, m, d) = local.date().ymd();
            (y, m, d, local.time_of_day().as_ms() / 60_000)
        })
        .collect()
}

#[test]
fn rfc5545_weekly_on_tuesday_and_thursday() {
    // RFC 5545, section 3.8.5.3: FREQ=WEEKLY;COUNT=10;BYDAY=TU,TH from
    // 1997-09-02 09:00 New York: Sep 2 4 9 11 16 18 23 25 30, Oct 2
    let entry = weekly(Days::NONE.with(Weekday::Tue).with(Weekday::Thu), 540);
    let clock = clock(NEW_YORK);
    let found = dues(&entry, &clock, local(1997, 9, 2, 9, 0), 10);
    let days: Vec<_> = shown(&clock, &found).iter().map(|&(_, m, d, _)| (m, d)).collect();
    let september = [2, 4, 9, 11, 16, 18, 23, 25, 30].map(|d| (9, d));
    assert_eq!(days, [&september[..], &[(10, 2)]].concat());
    assert!(shown(&clock, &found).iter().all(|&(_, _, _, min)| min == 540));
}

fn interval(every_min: u64, from: Local, clock: &WallClock) -> Entry {
    let from = clock.instant(clock.zone.to_utc(from, GapRule::Shift));
    let recurrence = Recurrence::Interval { every_ms: every_min * 60_000, from };
    Entry { recurrence, ..weekly(Days::NONE, 0) }
}

#[test]
fn rfc5545_intervals() {
    // RFC 5545, section 3.8.5.3, all from 1997-09-02 09:00 New York
    let clock = clock(NEW_YORK);
    let start = local(1997, 9, 2, 9, 0);
    let found = |every_min, count| {
        shown(&clock, &dues(&interval(every_min, start, &clock), &clock, start, count))
    };
    // FREQ=DAILY;INTERVAL=10;COUNT=5: Sep 2 12 22, Oct 2 12
    let days: Vec<_> = found(14_400, 5).iter().map(|&(_, m, d, _)| (m, d)).collect();
    assert_eq!(days, [(9, 2), (9, 12), (9, 22), (10, 2), (10, 12)]);
    // FREQ=MINUTELY;INTERVAL=15;COUNT=6: 09:00 to 10:15
    let minutes: Vec<_> = found(15, 6).iter().map(|&(_, _, _, min)| min).collect();
    assert_eq!(minutes, [540, 555, 570, 585, 600, 615]);
    // FREQ=MINUTELY;INTERVAL=90;COUNT=4: 09:00 10:30 12:00 13:30
    let minutes: Vec<_> = found(90, 4).iter().map(|&(_, _, _, min)| min).collect();
    assert_eq!(minutes, [540, 630, 720, 810]);
    // FREQ=HOURLY;INTERVAL=3 to 17:00 (erratum 3883 gives the end as
    // 19970902T210000Z): 09:00 12:00 15:00
    let until = 873_234_000;
    let dues = dues(&interval(180, start, &clock), &clock, start, 10);
    let before: Vec<_> = dues.into_iter().filter(|&at| at <= until).collect();
    let minutes: Vec<_> = shown(&clock, &before).iter().map(|&(_, _, _, min)| min).collect();
    assert_eq!(minutes, [540, 720, 900]);
}

#[test]
fn d8_new_york_in_spring_and_autumn() {
    // computed with jiff and Python zoneinfo: daily 02:30 on 2026-03-08 is
    // 03:30 EDT = 1772955000; daily 01:30 on 2026-11-01 happens once, 1793511000
    let clock = clock(NEW_YORK);
    let spring = dues(&weekly(Days::ALL, 150), &clock, local(2026, 3, 8, 0, 0), 2);
    assert_eq!(spring, [1_772_955_000, 1_772_955_000 + 23 * 3600]);
    let autumn = dues(&weekly(Days::ALL, 90), &clock, local(2026, 11, 1, 0, 0), 2);
    assert_eq!(autumn, [1_793_511_000, 1_793_511_000 + 25 * 3600]);
    // the option of the first valid instant: 03:00 EDT
    let first_valid = Entry { gap_rule: GapRule::FirstValid, ..weekly(Days::ALL, 150) };
    assert_eq!(dues(&first_valid, &clock, local(2026, 3, 8, 0, 0), 1), [1_772_953_200]);
}

fn by_day(days: Days) -> Vec<String> {
    let names = ["MO", "TU", "WE", "TH", "FR", "SA", "SU"];
    Weekday::ALL
        .iter()
        .filter(|&&day| days.contains(day))
        .map(|day| names[day.index() as usize].to_owned())
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// Crate `rrule` gives the same dues. It drops a skipped local time where RFC
    /// 5545 moves it, so days on which its time of day is skipped are left out.
    #[test]
    fn d8_weekly_dues_are_those_of_an_independent_rrule(
        bits in 1..128_u8, at_min in 0..1440_u16, day in 0..3650_i64,
    ) {
        let days = Days::from_bits(bits);
        let zone = chrono_tz::Europe::Berlin;
        let clock = clock("CET-1CEST,M3.5.0,M10.5.0/3");
        let start = chrono::NaiveDate::from_ymd_opt(2021, 1, 1).unwrap() + chrono::Days::new(day as u64);
        let rule = format!(
            "DTSTART;TZID=Europe/Berlin:{}T000000\nRRULE:FREQ=WEEKLY;BYDAY={};BYHOUR={};BYMINUTE={};BYSECOND=0;COUNT=120",
            start.format("%Y%m%d"), by_day(days).join(","), at_min / 60, at_min % 60,
        );
        let set: rrule::RRuleSet = rule.parse().map_err(|e| TestCaseError::fail(format!("{e}")))?;
        let theirs: Vec<i64> = set.all(120).dates.iter().map(DateTime::timestamp).collect();
        let (y, m, d) = (start.year(), start.month() as u8, start.day() as u8);
        let ours = dues(&weekly(days, at_min), &clock, local(y, m, d, 0, 0), 120 + 20);
        let is_plain = |at: &i64| {
            let shown = zone.timestamp_opt(*at, 0).unwrap();
            shown.hour() * 60 + shown.minute() == u32::from(at_min)
        };
        let ours: Vec<i64> = ours.into_iter().filter(is_plain).collect();
        let theirs: Vec<i64> = theirs.into_iter().filter(is_plain).collect();
        prop_assert!(theirs.len() > 100);
        prop_assert_eq!(&ours[..theirs.len()], &theirs[..]);
    }

    /// Crate `croner` gives the same dues away from gaps (in a gap it fires at
    /// the end of it, where RFC 5545 moves by its length).
    #[test]
    fn d8_weekly_dues_are_those_of_an_independent_cron(
        bits in 1..128_u8, at_min in 0..1440_u16, day in 0..3650_u64,
    ) {
        let days = Days::from_bits(bits);
        let numbers: Vec<String> = Weekday::ALL
            .iter()
            .filter(|&&d| days.contains(d))
            .map(|d| ((d.index() + 1) % 7).to_string())
            .collect();
        let cron: croner::Cron =
            format!("{} {} * * {}", at_min % 60, at_min / 60, numbers.join(",")).parse().unwrap();
        let zone = chrono_tz::America::New_York;
        let clock = clock(NEW_YORK);
        let start = chrono::NaiveDate::from_ymd_opt(2021, 1, 1).unwrap() + chrono::Days::new(day);
        let noon = start.and_hms_opt(12, 0, 0).unwrap();
        let from = zone.from_local_datetime(&noon).unwrap();
        let theirs: Vec<i64> = cron.iter_after(from).take(120).map(|at| at.timestamp()).collect();
        let (y, m, d) = (start.year(), start.month() as u8, start.day() as u8);
        let ours = dues(&weekly(days, at_min), &clock, local(y, m, d, 12, 1), 140);
        let is_plain = |at: &&i64| {
            let shown = zone.timestamp_opt(**at, 0).unwrap();
            shown.hour() * 60 + shown.minute() == u32::from(at_min)
        };
        let ours: Vec<i64> = ours.iter().filter(is_plain).copied().collect();
        let theirs: Vec<i64> = theirs.iter().filter(is_plain).copied().collect();
        prop_assert!(theirs.len() > 100);
        prop_assert_eq!(&ours[..theirs.len()], &theirs[..]);
    }

    /// The instants of one entry's dues never run against its order, in any zone
    /// that is accepted, so that marks and births go one way.
    #[test]
    fn dues_are_in_the_order_of_their_nominals(
        standard_h in -12..12_i32, summer_h in -12..12_i32, at_min in 0..1440_u16, bits in 1..128_u8,
        first_valid in any::<bool>(),
    ) {
        let zone = format!("AAA{}BBB{},M3.5.0,M10.5.0/3", -standard_h, -summer_h);
        let clock = clock(&zone);
        let gap_rule = if first_valid { GapRule::FirstValid } else { GapRule::Shift };
        let entry = Entry { gap_rule, ..weekly(Days::from_bits(bits), at_min) };
        let found = dues(&entry, &clock, local(2026, 1, 1, 0, 0), 400);
        prop_assert_eq!(found.len(), 400);
        prop_assert!(found.windows(2).all(|pair| pair[0] <= pair[1]));
    }

    /// The search for the first due from an instant on agrees with a walk from
    /// far before it.
    #[test]
    fn the_first_due_from_an_instant_is_found(
        at_min in 0..1440_u16, bits in 1..128_u8, from_min in 0..1_000_000_i64, by_night in any::<bool>(),
    ) {
        let clock = clock("<+1030>-10:30<+11>-11,M10.1.0,M4.1.0");
        let recurrence = Recurrence::Weekly { days: Days::from_bits(bits), at_min, by_night };
        let entry = Entry { recurrence, ..weekly(Days::ALL, 0) };
        let at = Instant::from_ms(1_760_000_000_000 + from_min * 60_000);
        let mut walked = entry.next_at_or_after(Nominal(29_000_000));
        while let Some(n) = walked {
            if entry.instant_of(n, Some(&clock)).unwrap() >= at {
                break;
            }
            walked = entry.next_at_or_after(n.next());
        }
        prop_assert_eq!(entry.first_from(at, Some(&clock)), walked);
    }
}
