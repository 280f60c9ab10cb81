//! The device's zone, handed to an independent library as a POSIX TZ string.

use std::fmt::Write as _;

use dosewright_core::zone::{ChangeDay, ChangeRule, Summer, Zone};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

/// The zone as a POSIX TZ string, with invented abbreviations.
pub fn posix_string(zone: &Zone) -> String {
    let mut text = String::from("STD");
    // POSIX counts offsets west of UTC, the zone's fields count east
    push_hms(&mut text, -zone.offset_s);
    if let Some(summer) = zone.summer {
        text.push_str("DST");
        // an hour ahead is what it means unstated, and can lie beyond what can be stated
        if summer.offset_s != zone.offset_s + 3600 {
            push_hms(&mut text, -summer.offset_s);
        }
        push_rule(&mut text, summer.start);
        push_rule(&mut text, summer.end);
    }
    text
}

fn push_rule(text: &mut String, rule: ChangeRule) {
    let _ = match rule.day {
        ChangeDay::MonthWeekDay { month, week, day } => write!(text, ",M{month}.{week}.{day}"),
        ChangeDay::JulianNoLeap(day) => write!(text, ",J{day}"),
        ChangeDay::ZeroBased(day) => write!(text, ",{day}"),
    };
    text.push('/');
    push_hms(text, rule.time_s);
}

fn push_hms(text: &mut String, s: i32) {
    let sign = if s < 0 { "-" } else { "" };
    let s = s.unsigned_abs();
    let _ = write!(text, "{sign}{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
}

/// The library's zone; `None` where it takes no such zone.
pub fn to_jiff(zone: &Zone) -> Option<TimeZone> {
    // west of Greenwich the library has a summer that never ends begin with the year of UTC
    if let Some(summer) = zone.summer.filter(|summer| lasts_all_year(zone, summer)) {
        return Some(TimeZone::fixed(Offset::from_seconds(summer.offset_s).ok()?));
    }
    TimeZone::posix(&posix_string(zone)).ok()
}

/// Whether summer begins with the first moment of the year and ends with its last, which by
/// RFC 9636, section 3.3.1, has it last all the year.
fn lasts_all_year(zone: &Zone, summer: &Summer) -> bool {
    let first = [ChangeDay::ZeroBased(0), ChangeDay::JulianNoLeap(1)];
    let over_s = 86_400 + summer.offset_s - zone.offset_s;
    first.contains(&summer.start.day)
        && summer.start.time_s == 0
        && (summer.end.day, summer.end.time_s) == (ChangeDay::JulianNoLeap(365), over_s)
}

/// The moment of a local time in ms since 1970 in the library's zone, both in
/// ms since 1970: a repeated time means its first pass, a skipped one is moved
/// by the gap (D8). `None` where the library's calendar ends.
pub(crate) fn utc_ms(tz: &TimeZone, local_ms: i64) -> Option<i64> {
    let local = civil(local_ms)?;
    Some(tz.to_ambiguous_timestamp(local).compatible().ok()?.as_millisecond())
}

/// As [`utc_ms`], but a skipped time runs at the first instant after the gap.
pub(crate) fn utc_ms_first_valid(tz: &TimeZone, local_ms: i64) -> Option<i64> {
    let moved = utc_ms(tz, local_ms)?;
    if !is_skipped(tz, local_ms) {
        return Some(moved);
    }
    // the moved moment lies in the new offset: the change is the last one up to it
    let after = Timestamp::from_millisecond(moved + 1).ok()?;
    Some(tz.preceding(after).next()?.timestamp().as_millisecond())
}

/// Whether clocks are put forward over the local time.
pub(crate) fn is_skipped(tz: &TimeZone, local_ms: i64) -> bool {
    civil(local_ms).is_some_and(|local| {
        matches!(tz.to_ambiguous_timestamp(local).offset(), AmbiguousOffset::Gap { .. })
    })
}

/// The second pass of a repeated local time.
pub(crate) fn second_pass_utc_ms(tz: &TimeZone, local_ms: i64) -> Option<i64> {
    let ambiguous = tz.to_ambiguous_timestamp(civil(local_ms)?);
    match ambiguous.offset() {
        AmbiguousOffset::Fold { .. } => Some(ambiguous.later().ok()?.as_millisecond()),
        _ => None,
    }
}

/// Local time in ms since 1970 at a moment.
pub(crate) fn local_ms(tz: &TimeZone, utc_ms: i64) -> i64 {
    utc_ms + i64::from(offset_s(tz, utc_ms)) * 1000
}

/// Seconds east of UTC at a moment.
pub(crate) fn offset_s(tz: &TimeZone, utc_ms: i64) -> i32 {
    Timestamp::from_millisecond(utc_ms).map_or(0, |t| tz.to_offset(t).seconds())
}

fn civil(local_ms: i64) -> Option<DateTime> {
    let as_if_utc = Timestamp::from_millisecond(local_ms).ok()?;
    Some(TimeZone::UTC.to_datetime(as_if_utc))
}

/// A local time in ms since 1970 as `2026-10-25 02:30`, with seconds only where
/// there are any.
pub(crate) fn local_text(local_ms: i64) -> String {
    civil(local_ms).map_or_else(
        || format!("local ms {local_ms}"),
        |t| {
            let mut text = format!("{} {:02}:{:02}", t.date(), t.hour(), t.minute());
            if t.second() != 0 || t.millisecond() != 0 {
                let _ = write!(text, ":{:02}", t.second());
            }
            if t.millisecond() != 0 {
                let _ = write!(text, ".{:03}", t.millisecond());
            }
            text
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const ZONES: [&str; 12] = [
        "CET-1CEST,M3.5.0,M10.5.0/3",
        "GMT0BST,M3.5.0/1,M10.5.0",
        "EST5EDT,M3.2.0,M11.1.0",
        "AEST-10AEDT,M10.1.0,M4.1.0/3",
        "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
        "<-0330>3:30:15",
        "<+0545>-5:45",
        "IST-1GMT0,M10.5.0,M3.5.0/1",
        "<-02>2<-01>,M3.5.0/-1,M10.5.0/0",
        "EET-2EEST,M3.4.4/50,M10.4.4/50",
        "XXX-3YYY-5,J60/2,J300/2",
        "XXX3YYY,59/1:30,299/2:15:20",
    ];

    /// D8: the converter against the library's own reading of the same string.
    #[test]
    fn d8_the_zone_handed_over_is_the_zone_that_was_meant() {
        for text in ZONES {
            let ours = to_jiff(&Zone::parse(text).unwrap()).unwrap();
            let theirs = TimeZone::posix(text).unwrap();
            for year in 0..40 {
                for step in 0..2000_i64 {
                    let utc = year * 31_556_952_000 + step * 15_778_476 + step * 137;
                    assert_eq!(offset_s(&ours, utc), offset_s(&theirs, utc), "{text} {utc}");
                }
            }
            let from = Timestamp::from_second(1_700_000_000).unwrap();
            let (a, b) = (ours.following(from), theirs.following(from));
            for (a, b) in a.zip(b).take(20) {
                assert_eq!(a.timestamp(), b.timestamp(), "{text}");
            }
        }
    }

    /// RFC 9636, section 3.3.1: with summer from 1 January 00:00 to 31 December 24:00 and what
    /// summer is ahead, it is in force all the year.
    #[test]
    fn d8_a_summer_of_the_whole_year_does_not_end_at_new_year() {
        for (text, hours) in [
            ("EST5EDT,0/0,J365/25", -4),
            ("EST5EDT,J1/0,J365/25", -4),
            ("XXX3YYY4,0/0,J365/23", -4),
            ("XXX-3YYY,0/0,J365/25", 4),
        ] {
            let tz = to_jiff(&Zone::parse(text).unwrap()).unwrap();
            // by the hour from 2 h before the new year of UTC to 22 h after it
            for hour in 0..24 {
                let utc_ms = 1_798_754_400_000 + hour * 3_600_000;
                assert_eq!(local_ms(&tz, utc_ms), utc_ms + hours * 3_600_000, "{text}, {hour}");
            }
        }
        let ends = to_jiff(&Zone::parse("EST5EDT,0/0,J365/24").unwrap()).unwrap();
        assert_eq!(local_ms(&ends, 1_798_754_400_000 + 6 * 3_600_000), 1_798_758_000_000);
    }

    /// D8: New York, 2026: 02:30 in spring runs at 03:30 EDT, 01:30 in autumn once
    /// (jiff and Python zoneinfo agree on 1772955000 and 1793511000).
    #[test]
    fn d8_skipped_and_repeated_times_are_the_published_ones() {
        let tz = to_jiff(&Zone::parse("EST5EDT,M3.2.0,M11.1.0").unwrap()).unwrap();
        let skipped = local("2026-03-08T02:30:00");
        assert!(is_skipped(&tz, skipped));
        assert_eq!(utc_ms(&tz, skipped), Some(1_772_955_000_000));
        // the change itself: 2026-03-08 07:00 UTC
        assert_eq!(utc_ms_first_valid(&tz, skipped), Some(1_772_953_200_000));
        let repeated = local("2026-11-01T01:30:00");
        assert_eq!(utc_ms(&tz, repeated), Some(1_793_511_000_000));
        assert_eq!(second_pass_utc_ms(&tz, repeated), Some(1_793_514_600_000));
        assert_eq!(utc_ms_first_valid(&tz, repeated), Some(1_793_511_000_000));
        assert_eq!(local_text(local_ms(&tz, 1_772_955_000_000)), "2026-03-08 03:30");
    }

    fn local(text: &str) -> i64 {
        let t: DateTime = text.parse().unwrap();
        TimeZone::UTC.to_timestamp(t).unwrap().as_millisecond()
    }
}
