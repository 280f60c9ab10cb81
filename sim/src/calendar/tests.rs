//! Against other libraries: one reads the file, one expands its rules, one knows the
//! zones.

use std::collections::BTreeSet;

use chrono_tz::Tz;

use super::calendar;
use crate::check;

const HEAD: &str = "[head]\nflow = \"26.5 ml/min\"\n";

fn scenario(start: &str, zone: &str, run_for: &str, more: &str) -> String {
    format!(
        "schema = 1\n[clock]\nstart = {start}\nzone = \"{zone}\"\nrun_for = \"{run_for}\"\n{HEAD}{more}"
    )
}

/// The instants of all events, by the other libraries; in ms since 1970.
fn expanded(text: &str, zone: Tz) -> Vec<i64> {
    let unfolded = icalendar::parser::unfold(text);
    let read = icalendar::parser::read_calendar(&unfolded).expect("a calendar");
    let mut out = Vec::new();
    for part in read.components.iter().filter(|part| part.name == "VEVENT") {
        let value = |name: &str| part.find_prop(name).map(|prop| prop.val.to_string());
        let start = part.find_prop("DTSTART").expect("DTSTART");
        let local = start.params.iter().any(|param| param.key == "TZID");
        let named =
            |value: &str| if local { format!(";TZID={zone}:{value}") } else { format!(":{value}") };
        let begin = start.val.to_string();
        let rule = value("RRULE");
        let lines = [
            Some(format!("DTSTART{}", named(&begin))),
            rule.clone().map(|rule| format!("RRULE:{rule}")),
            value("EXDATE").map(|dates| format!("EXDATE{}", named(&dates))),
            value("RDATE").map(|dates| format!("RDATE:{dates}")),
        ];
        if rule.is_none() && value("RDATE").is_none() {
            // one event: the zone library alone tells its instant
            out.push(instant(&begin, local.then_some(zone)));
            continue;
        }
        let set: rrule::RRuleSet =
            lines.into_iter().flatten().collect::<Vec<_>>().join("\n").parse().expect("rules");
        let all = set.all(u16::MAX);
        assert!(!all.limited);
        out.extend(all.dates.iter().map(chrono::DateTime::timestamp_millis));
    }
    out.sort_unstable();
    out
}

fn instant(text: &str, zone: Option<Tz>) -> i64 {
    use chrono::TimeZone as _;
    let naive = chrono::NaiveDateTime::parse_from_str(text.trim_end_matches('Z'), "%Y%m%dT%H%M%S")
        .expect("a time");
    match zone {
        // the first of two (RFC 5545, section 3.3.5)
        Some(zone) => {
            zone.from_local_datetime(&naive).earliest().expect("it exists").timestamp_millis()
        }
        None => naive.and_utc().timestamp_millis(),
    }
}

/// What the device itself does with the timetable: instants of its dues, closed ones
/// left out, rounded down to the second.
fn dues(text: &str) -> Vec<i64> {
    let (scenario, problems) = check::read("t", text);
    let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
    let source = crate::diagnose::Source::new("t", text);
    let options = crate::run::Options::default();
    let (facts, _) = crate::report::gather(&scenario, &source, &options, "h", "b").unwrap();
    let mut out: Vec<i64> = facts
        .doses
        .iter()
        .filter(|dose| dose.cause.as_deref() != Some("closed"))
        .map(|dose| {
            assert_eq!(dose.count, 1, "{dose:?}");
            let due = dose.due.expect("a due");
            due.local.as_ms() - i64::from(due.offset_s) * 1000
        })
        .collect();
    out.sort_unstable();
    out
}

fn compare(text: &str, zone: Tz) -> String {
    let scenario = check::read("t", text).0.expect("a scenario");
    let made = calendar(&scenario, "h");
    let found = expanded(&made.text, zone);
    let dues = dues(text);
    assert_eq!(found, dues, "{}", made.text);
    assert_eq!(made.doses, dues.len());
    assert!(!dues.is_empty());
    made.text
}

const CET: &str = "CET-1CEST,M3.5.0,M10.5.0/3";
const NIGHTS: &str = "[[entry]]\nname = \"a, night\"\nweekly = { nights = [\"mon\", \"thu\", \"sat\"], at = \"02:30\" }\nvolume = \"120 ml\"\nwindow = \"30 min\"\n";

#[test]
fn nights_closed_dates_and_a_year_of_changes() {
    let closed = "[[closed]]\nfirst = 2026-12-24\nlast = 2027-01-03\n";
    let text = compare(
        &scenario("2026-03-01T00:00:00", CET, "400 days", &format!("{closed}{NIGHTS}")),
        chrono_tz::Europe::Berlin,
    );
    assert!(text.contains("EXDATE;TZID=CET-1CEST.M3.5.0.M10.5.0/3:20261225T023000,"), "{text}");
    // the night of Saturday 28 March is moved: an event of its own (D8)
    assert!(
        text.contains("DTSTART;TZID=CET-1CEST.M3.5.0.M10.5.0/3:20260329T033000\r\nCOMMENT:moved"),
        "{text}"
    );
    assert!(text.contains("SUMMARY:a\\, night: 120 ml\r\n"), "{text}");
}

#[test]
fn the_first_valid_time_where_the_entry_says_so() {
    let text = scenario(
        "2026-03-01T00:00:00",
        CET,
        "60 days",
        &format!("{NIGHTS}gap = \"first valid\"\n"),
    );
    let text = compare(&text, chrono_tz::Europe::Berlin);
    assert!(text.contains(":20260329T030000\r\nCOMMENT:moved"), "{text}");
}

#[test]
fn the_repeated_hour_comes_once_in_its_first_pass() {
    let entry = "[[entry]]\nname = \"n\"\nweekly = { days = [\"sun\"], at = \"01:30\" }\nvolume = \"120 ml\"\nwindow = \"20 min\"\n";
    let text = scenario("2026-10-19T00:00:00", "EST5EDT,M3.2.0,M11.1.0", "30 days", entry);
    compare(&text, chrono_tz::America::New_York);
}

#[test]
fn intervals_do_not_look_at_the_clock() {
    for interval in ["6 h", "90 min", "1 h 0 min 10 s"] {
        let entry = format!(
            "[[entry]]\nname = \"i\"\nevery = {{ interval = \"{interval}\", from = \"2026-10-20 06:00\" }}\nvolume = \"15 ml\"\nwindow = \"10 min\"\n"
        );
        let text = scenario("2026-10-19T00:00:00", CET, "20 days", &entry);
        compare(&text, chrono_tz::Europe::Berlin);
    }
}

#[test]
fn half_an_hour_of_summer_time_in_the_south_and_a_first_and_last_date() {
    let entry = "[[entry]]\nname = \"n\"\nweekly = { days = [\"sun\", \"wed\"], at = \"02:10\" }\nvolume = \"120 ml\"\nwindow = \"20 min\"\nfirst = 2026-03-20\nlast = 2026-12-01\n";
    let zone = "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0";
    let text = scenario("2026-03-01T00:00:00", zone, "300 days", entry);
    compare(&text, chrono_tz::Australia::Lord_Howe);
}

/// The VTIMEZONE by itself: its changes are those that the zone library knows.
#[test]
fn the_zone_in_the_file_has_every_change_of_its_time() {
    use chrono::Offset as _;
    let text = scenario("2026-03-01T00:00:00", CET, "800 days", NIGHTS);
    let made = calendar(&check::read("t", &text).0.unwrap(), "h").text;
    let unfolded = icalendar::parser::unfold(&made);
    let read = icalendar::parser::read_calendar(&unfolded).unwrap();
    let zone = read.components.iter().find(|part| part.name == "VTIMEZONE").unwrap();
    let offset = |text: &str| {
        let (sign, digits) = text.split_at(1);
        let number = |from: usize| digits[from..from + 2].parse::<i64>().unwrap();
        (number(0) * 3600 + number(2) * 60) * if sign == "-" { -1 } else { 1 }
    };
    let mut changes = BTreeSet::new();
    for part in &zone.components {
        let value = |name: &str| part.find_prop(name).map(|prop| prop.val.to_string());
        let (before, after) =
            (offset(&value("TZOFFSETFROM").unwrap()), offset(&value("TZOFFSETTO").unwrap()));
        let mut onsets = vec![value("DTSTART").unwrap()];
        onsets.extend(value("RDATE").iter().flat_map(|dates| dates.split(',').map(str::to_owned)));
        for onset in onsets {
            changes.insert((instant(&onset, None) / 1000 - before, after));
        }
    }
    let mut expected = BTreeSet::new();
    let at = |s: i64| {
        use chrono::TimeZone as _;
        chrono_tz::Europe::Berlin.timestamp_opt(s, 0).unwrap().offset().fix().local_minus_utc()
    };
    // from the start of the year before to the end of the run, hour by hour
    let (from, end) = (1_735_689_600_i64, 1_772_319_600 + 800 * 86_400);
    for s in (from..end).step_by(3600) {
        if at(s) != at(s - 3600) {
            expected.insert((s, i64::from(at(s))));
        }
    }
    assert_eq!(changes, expected, "{made}");
    assert!(changes.len() >= 5);
}
