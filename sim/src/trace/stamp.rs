//! Local times as text: RFC 3339 for machines, short forms for people.

use std::fmt::Write as _;

use dosewright_core::civil::{Date, Local};
use dosewright_core::zone::{LocalKind, Zone};

use super::Stamped;
use crate::scenario::show;

const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
/// The greatest offset that RFC 3339 can say.
const MOST_OFFSET_MIN: i32 = 23 * 60 + 59;
const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// `2026-10-20T00:45:00+02:00`, with milliseconds where there are any. An offset
/// of odd seconds, which RFC 3339 cannot say, is given to the minute below, one of a day
/// or more as 23:59, and the local time moved with it, so that the moment stays the same.
pub fn rfc3339(stamped: Stamped) -> String {
    let offset_min = stamped.offset_s.div_euclid(60).clamp(-MOST_OFFSET_MIN, MOST_OFFSET_MIN);
    let moved_s = stamped.offset_s - offset_min * 60;
    let local = Local::from_ms(stamped.local.as_ms().saturating_sub(i64::from(moved_s) * 1000));
    let (year, month, day) = local.date().ymd();
    let ms = local.time_of_day().as_ms();
    let mut text = format!(
        "{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}",
        ms / 3_600_000,
        ms / 60_000 % 60,
        ms / 1000 % 60
    );
    if !ms.is_multiple_of(1000) {
        _ = write!(text, ".{:03}", ms % 1000);
    }
    let sign = if offset_min < 0 { '-' } else { '+' };
    _ = write!(text, "{sign}{:02}:{:02}", offset_min.abs() / 60, offset_min.abs() % 60);
    text
}

/// `00:45`, rounded down to the minute.
pub fn hour_minute(local: Local) -> String {
    let minutes = local.time_of_day().as_ms() / 60_000;
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

/// `00:45`, to the nearest minute: what a clock that drifts by seconds is read as.
pub fn nearest_minute(local: Local) -> String {
    let minutes = local.time_of_day().as_ms().saturating_add(30_000) / 60_000;
    // the last half minute stays on its day
    let minutes = minutes.min(24 * 60 - 1);
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

/// `00:50:20`, rounded down to the second; without seconds where there are none.
pub fn clock_time(local: Local) -> String {
    let seconds = local.time_of_day().as_ms() / 1000;
    if seconds.is_multiple_of(60) {
        hour_minute(local)
    } else {
        format!("{}:{:02}", hour_minute(local), seconds % 60)
    }
}

/// ` (+02:00)` beside a local time that happens twice, to tell which; else nothing.
pub fn which(zone: &Zone, at: Stamped) -> String {
    if zone.kind_of(at.local) != LocalKind::Repeated {
        return String::new();
    }
    format!(" ({})", show::offset(at.offset_s))
}

/// `tue 20 oct 2026`.
pub fn day(date: Date) -> String {
    let (year, month, day) = date.ymd();
    let weekday = WEEKDAYS.get(date.weekday().index() as usize).copied().unwrap_or("");
    let month = MONTHS.get(usize::from(month).wrapping_sub(1)).copied().unwrap_or("");
    format!("{weekday} {day} {month} {year}")
}

/// A length to the nearest minute, below two minutes to the second and up, from two days
/// on to the nearest hour: `44 min`, `1 h 13 min`, `26 d 3 h`.
pub fn about(ms: u64) -> String {
    let nearest = |unit_ms: u64| ms.saturating_add(unit_ms / 2) / unit_ms;
    let (minutes, hours) = (nearest(60_000), nearest(3_600_000));
    match (ms, minutes) {
        (..120_000, _) => format!("{} s", ms.div_ceil(1000)),
        (_, ..60) => format!("{minutes} min"),
        (_, ..2880) if minutes % 60 == 0 => format!("{} h", minutes / 60),
        (_, ..2880) => format!("{} h {} min", minutes / 60, minutes % 60),
        _ if hours % 24 == 0 => format!("{} d", hours / 24),
        _ => format!("{} d {} h", hours / 24, hours % 24),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use dosewright_core::time::Duration;

    fn stamped(y: i32, m: u8, d: u8, ms: u64, offset_s: i32) -> Stamped {
        let date = Date::from_ymd(y, m, d).unwrap();
        Stamped { local: Local::new(date, Duration::from_ms(ms)), offset_s }
    }

    #[test]
    fn rfc_3339_keeps_the_moment() {
        assert_eq!(rfc3339(stamped(2026, 10, 20, 2_700_000, 7200)), "2026-10-20T00:45:00+02:00");
        assert_eq!(rfc3339(stamped(2026, 1, 2, 5_007, -12_600)), "2026-01-02T00:00:05.007-03:30");
        // 00:20:28 east, as Amsterdam had until 1937: one minute offset below
        assert_eq!(rfc3339(stamped(2026, 1, 2, 60_000, 1228)), "2026-01-02T00:00:32+00:20");
        assert_eq!(rfc3339(stamped(2026, 1, 2, 60_000, -1228)), "2026-01-02T00:00:28-00:21");
        // 24 h and 24:59:59: hours end at 23 (RFC 3339, section 5.6)
        assert_eq!(rfc3339(stamped(2026, 1, 2, 60_000, -86_400)), "2026-01-02T00:02:00-23:59");
        assert_eq!(rfc3339(stamped(2026, 1, 2, 60_000, 89_999)), "2026-01-01T23:00:01+23:59");
    }

    #[test]
    fn short_forms_for_people() {
        let at = stamped(2026, 10, 23, 3_020_500, 7200).local;
        assert_eq!((hour_minute(at).as_str(), clock_time(at).as_str()), ("00:50", "00:50:20"));
        assert_eq!(day(at.date()), "fri 23 oct 2026");
        assert_eq!(about(13 * 60_000), "13 min");
        assert_eq!(about(90_001), "91 s");
        assert_eq!(about(2 * 60_000 - 1), "120 s");
        assert_eq!(about(4_380_000), "1 h 13 min");
        assert_eq!(about(1_019_999), "17 min");
        assert_eq!(about(3_580_000), "1 h");
        assert_eq!(about(172_769_999), "47 h 59 min");
        assert_eq!(about(172_770_000), "2 d");
        assert_eq!(about(691_200_000), "8 d");
        assert_eq!(about(2_257_200_000), "26 d 3 h");
    }
}
