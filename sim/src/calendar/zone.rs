//! The zone of a calendar (RFC 5545, section 3.6.5): each change of the clocks that
//! there is in its time, by date.

use dosewright_core::time::Utc;
use dosewright_core::zone::{Change, Zone};

use super::midnight;
use super::text::{Lines, local_time};

/// Changes that are told: some hundred years of two each.
const MOST: usize = 256;

/// A zone's name in the calendar: that of the scenario, in letters that need no
/// quotes.
pub(super) fn id(written: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '/' | '_' | '+' | '-');
    let mut out: String = written.chars().map(|c| if plain(c) { c } else { '.' }).collect();
    out.truncate(64);
    out.trim_matches('.').to_owned()
}

fn offset(seconds: i32) -> String {
    let (sign, s) = (if seconds < 0 { '-' } else { '+' }, seconds.abs());
    if s % 60 == 0 {
        format!("{sign}{:02}{:02}", s / 3600, s / 60 % 60)
    } else {
        format!("{sign}{:02}{:02}{:02}", s / 3600, s / 60 % 60, s % 60)
    }
}

/// One kind of change: its offsets, and the local times before each.
struct Observance {
    before_s: i32,
    after_s: i32,
    onsets: Vec<String>,
}

fn onset(change: &Change) -> String {
    let ms = change.at.as_ms() + i64::from(change.offset_before_s) * 1000;
    local_time(dosewright_core::civil::Local::from_ms(ms))
}

/// Writes the VTIMEZONE for the time from start to end, both in ms since 1970.
pub(super) fn write(lines: &mut Lines, tzid: &str, zone: &Zone, start_ms: i64, end_ms: i64) {
    let year = |ms: i64| {
        let days = i32::try_from(ms.div_euclid(86_400_000)).unwrap_or(0);
        dosewright_core::civil::Date::from_days(days).ymd().0
    };
    // from the change before the start on, so that each moment has one
    let from = midnight(year(start_ms) - 1).map_or(start_ms, dosewright_core::civil::Local::as_ms);
    let mut kinds: Vec<Observance> = Vec::new();
    let mut at = Utc::from_ms(from);
    for _ in 0..MOST {
        let Some(change) = zone.next_change_after(at).filter(|c| c.at.as_ms() <= end_ms) else {
            break;
        };
        at = change.at;
        let (before_s, after_s) = (change.offset_before_s, change.offset_after_s);
        match kinds.iter_mut().find(|k| (k.before_s, k.after_s) == (before_s, after_s)) {
            Some(kind) => kind.onsets.push(onset(&change)),
            None => kinds.push(Observance { before_s, after_s, onsets: vec![onset(&change)] }),
        }
    }
    lines.put("BEGIN:VTIMEZONE");
    lines.put(&format!("TZID:{tzid}"));
    if kinds.is_empty() {
        let s = zone.offset_at(Utc::from_ms(start_ms));
        kinds.push(Observance {
            before_s: s,
            after_s: s,
            onsets: vec!["19700101T000000".to_owned()],
        });
    }
    let standard = kinds.iter().map(|kind| kind.after_s).min().unwrap_or(0);
    for kind in &kinds {
        let name = if kind.after_s > standard { "DAYLIGHT" } else { "STANDARD" };
        lines.put(&format!("BEGIN:{name}"));
        lines.put(&format!("DTSTART:{}", kind.onsets[0]));
        lines.put(&format!("TZOFFSETFROM:{}", offset(kind.before_s)));
        lines.put(&format!("TZOFFSETTO:{}", offset(kind.after_s)));
        if let Some(others) = kind.onsets.get(1..).filter(|others| !others.is_empty()) {
            lines.put(&format!("RDATE:{}", others.join(",")));
        }
        lines.put(&format!("END:{name}"));
    }
    lines.put("END:VTIMEZONE");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_need_no_quotes() {
        assert_eq!(id("Europe/Berlin"), "Europe/Berlin");
        assert_eq!(id("CET-1CEST,M3.5.0,M10.5.0/3"), "CET-1CEST.M3.5.0.M10.5.0/3");
        assert_eq!(
            id("<+1030>-10:30<+11>-11,M10.1.0,M4.1.0"),
            "+1030.-10.30.+11.-11.M10.1.0.M4.1.0"
        );
    }

    #[test]
    fn offsets_have_seconds_only_where_they_need_them() {
        assert_eq!(
            (offset(7200).as_str(), offset(-12_600).as_str(), offset(1228).as_str()),
            ("+0200", "-0330", "+002028")
        );
    }
}
