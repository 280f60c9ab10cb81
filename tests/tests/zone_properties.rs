//! Zones from random TZ strings: against jiff where it reads them the same way,
//! and against a plain model of the rules, on jiff's calendar, where a change is
//! pushed over New Year or summers overlap (jiff keeps each change in its year).

use dosewright_core::civil::Local;
use dosewright_core::entry::GapRule;
use dosewright_core::time::Utc;
use dosewright_core::zone::{Change, ChangeDay, ChangeRule, LocalKind, Summer, Zone};
use dosewright_sim::audit::to_jiff;
use dosewright_sim::scenario::read_otherwise;
use jiff::civil::{Weekday, date};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{Timestamp, ToSpan};
use proptest::prelude::*;

const HOUR_S: i32 = 3600;
/// 1971-01-01T00:00:00Z and 2100-01-01T00:00:00Z.
const FROM_MS: i64 = 31_536_000_000;
const UNTIL_MS: i64 = 4_102_444_800_000;

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

// ---- Random zones, and the strings that name them ----

fn any_offset_s() -> impl Strategy<Value = i32> {
    prop_oneof![(-96..=96).prop_map(|q| q * 900), -89_999..=89_999]
}

fn any_time_s() -> impl Strategy<Value = i32> {
    prop_oneof![Just(2 * HOUR_S), (-167..=167).prop_map(|h| h * HOUR_S), -604_799..=604_799]
}

/// Any offsets that a string can have.
fn any_offsets_s() -> impl Strategy<Value = (i32, i32)> {
    let lead_s = prop_oneof![Just(HOUR_S), Just(-HOUR_S), Just(1800), Just(0), -86_399..=86_399];
    (any_offset_s(), lead_s).prop_map(|(offset_s, lead_s)| {
        let summer_s = offset_s + lead_s;
        if lead_s == HOUR_S || summer_s.abs() <= 89_999 {
            (offset_s, summer_s)
        } else {
            (offset_s, offset_s - lead_s)
        }
    })
}

fn month_week_day(months: std::ops::RangeInclusive<u8>) -> impl Strategy<Value = ChangeDay> {
    (months, 1..=5_u8, 0..=6_u8).prop_map(|(month, week, day)| ChangeDay::MonthWeekDay {
        month,
        week,
        day,
    })
}

fn any_day() -> impl Strategy<Value = ChangeDay> {
    prop_oneof![
        month_week_day(1..=12),
        prop_oneof![month_week_day(1..=1), month_week_day(12..=12)],
        (1..=365_u16).prop_map(ChangeDay::JulianNoLeap),
        (0..=365_u16).prop_map(ChangeDay::ZeroBased),
        prop_oneof![0..=8_u16, 357..=365_u16].prop_map(ChangeDay::ZeroBased),
    ]
}

/// From `first_month` on for three months, by any of the forms.
fn day_in_quarter(first_month: u8) -> impl Strategy<Value = ChangeDay> {
    let first = u16::from(first_month - 1) * 30 + 3;
    prop_oneof![
        month_week_day(first_month..=first_month + 2),
        (first..first + 88).prop_map(ChangeDay::JulianNoLeap),
        (first..first + 88).prop_map(ChangeDay::ZeroBased),
    ]
}

fn rule(day: impl Strategy<Value = ChangeDay>) -> impl Strategy<Value = ChangeRule> {
    (day, any_time_s()).prop_map(|(day, time_s)| ChangeRule { day, time_s })
}

fn zone_of(rules: impl Strategy<Value = (ChangeRule, ChangeRule)>) -> impl Strategy<Value = Zone> {
    (any_offsets_s(), rules).prop_map(|((offset_s, summer_s), (start, end))| Zone {
        offset_s,
        summer: Some(Summer { offset_s: summer_s, start, end }),
    })
}

/// Changes in spring and autumn of either hemisphere, weeks from New Year and from
/// each other.
fn tame_zone() -> impl Strategy<Value = Zone> {
    let rules = (rule(day_in_quarter(3)), rule(day_in_quarter(8)), any::<bool>());
    zone_of(rules.prop_map(|(a, b, south)| if south { (b, a) } else { (a, b) }))
}

/// Summers that end about where the next begins.
fn long_summer() -> impl Strategy<Value = Zone> {
    let days = prop_oneof![
        Just((ChangeDay::ZeroBased(0), ChangeDay::JulianNoLeap(365))),
        Just((ChangeDay::ZeroBased(0), ChangeDay::ZeroBased(365))),
        Just((ChangeDay::JulianNoLeap(60), ChangeDay::ZeroBased(59))),
        month_week_day(1..=12).prop_map(|day| (day, day)),
    ];
    (any_offsets_s(), days, -26..=26_i32, 0..=1).prop_map(|(offsets, (first, last), hours, day)| {
        let (offset_s, summer_s) = offsets;
        Zone {
            offset_s,
            summer: Some(Summer {
                offset_s: summer_s,
                start: ChangeRule { day: first, time_s: 0 },
                end: ChangeRule {
                    day: last,
                    time_s: summer_s - offset_s + (day * 24 + hours) * HOUR_S,
                },
            }),
        }
    })
}

fn any_zone() -> impl Strategy<Value = Zone> {
    prop_oneof![
        1 => any_offset_s().prop_map(|offset_s| Zone { offset_s, summer: None }),
        3 => tame_zone(),
        3 => long_summer(),
        6 => zone_of((rule(any_day()), rule(any_day()))),
    ]
}

fn time_text(s: i32) -> String {
    let (sign, s) = if s < 0 { ("-", -s) } else { ("", s) };
    let (hour, minute, second) = (s / 3600, s / 60 % 60, s % 60);
    match (minute, second) {
        (0, 0) => format!("{sign}{hour}"),
        (_, 0) => format!("{sign}{hour}:{minute:02}"),
        _ => format!("{sign}{hour}:{minute:02}:{second:02}"),
    }
}

fn rule_text(rule: ChangeRule) -> String {
    let day = match rule.day {
        ChangeDay::MonthWeekDay { month, week, day } => format!("M{month}.{week}.{day}"),
        ChangeDay::JulianNoLeap(n) => format!("J{n}"),
        ChangeDay::ZeroBased(n) => format!("{n}"),
    };
    match rule.time_s {
        7200 => format!(",{day}"),
        s => format!(",{day}/{}", time_text(s)),
    }
}

/// A string that names the zone, with defaults left out.
fn text_of(zone: &Zone) -> String {
    let mut text = format!("<-0Z>{}", time_text(-zone.offset_s));
    if let Some(summer) = zone.summer {
        text += "Summer";
        if summer.offset_s != zone.offset_s + HOUR_S {
            text += &time_text(-summer.offset_s);
        }
        text += &rule_text(summer.start);
        text += &rule_text(summer.end);
    }
    text
}

// ---- The model ----

/// The changes of 1965 to 2106 in order: when, and whether into summer.
struct Model {
    zone: Zone,
    changes: Vec<(i64, bool)>,
}

impl Model {
    fn new(zone: Zone) -> Self {
        let mut changes: Vec<(i64, bool)> = Vec::new();
        let summer = zone.summer.as_ref();
        for year in summer.map(|_| 1965..=2106).into_iter().flatten() {
            let summer = summer.unwrap();
            let start = change_ms(summer.start, year, zone.offset_s);
            let end = (year..year + 3)
                .map(|year| change_ms(summer.end, year, summer.offset_s))
                .find(|end| *end >= start)
                .unwrap();
            match changes.last_mut() {
                _ if end == start => {}
                Some((last_end, false)) if *last_end >= start => *last_end = end.max(*last_end),
                _ => changes.extend([(start, true), (end, false)]),
            }
        }
        Self { zone, changes }
    }

    fn summer_s(&self) -> i32 {
        self.zone.summer.map_or(self.zone.offset_s, |s| s.offset_s)
    }

    fn offset_s(&self, summer: bool) -> i32 {
        if summer { self.summer_s() } else { self.zone.offset_s }
    }

    fn offset_at(&self, ms: i64) -> i32 {
        let past = self.changes.partition_point(|(at, _)| *at <= ms);
        let now = past.checked_sub(1).map(|n| self.changes[n].1);
        self.offset_s(now.unwrap_or(false))
    }

    fn as_change(&self, (at, summer): (i64, bool)) -> Change {
        Change {
            at: Utc::from_ms(at),
            offset_before_s: self.offset_s(!summer),
            offset_after_s: self.offset_s(summer),
        }
    }

    fn next_change_after(&self, ms: i64) -> Option<Change> {
        if self.summer_s() == self.zone.offset_s {
            return None;
        }
        let past = self.changes.partition_point(|(at, _)| *at <= ms);
        self.changes.get(past).map(|change| self.as_change(*change))
    }

    /// The kind of a local time, and what it is by either rule.
    fn read(&self, local_ms: i64) -> (LocalKind, i64, i64) {
        let mut passes: Vec<i64> = [self.zone.offset_s, self.summer_s()]
            .map(|offset_s| (local_ms - i64::from(offset_s) * 1000, offset_s))
            .into_iter()
            .filter(|(ms, offset_s)| self.offset_at(*ms) == *offset_s)
            .map(|(ms, _)| ms)
            .collect();
        passes.sort_unstable();
        passes.dedup();
        match passes[..] {
            [once] => (LocalKind::Once, once, once),
            [first, _] => (LocalKind::Repeated, first, first),
            _ => {
                let gap = self.changes.iter().map(|change| self.as_change(*change)).find(|gap| {
                    let shows = |offset_s| gap.at.as_ms() + i64::from(offset_s) * 1000;
                    (shows(gap.offset_before_s)..shows(gap.offset_after_s)).contains(&local_ms)
                });
                let gap = gap.expect("what is never shown lies in a gap");
                let shifted = local_ms - i64::from(gap.offset_before_s) * 1000;
                (LocalKind::Skipped, shifted, gap.at.as_ms())
            }
        }
    }
}

fn change_ms(rule: ChangeRule, year: i16, offset_s: i32) -> i64 {
    let new_year = date(year, 1, 1);
    let day = match rule.day {
        ChangeDay::MonthWeekDay { month, week, day } => {
            let weekday = Weekday::from_sunday_zero_offset(day.cast_signed()).unwrap();
            let nth = if week == 5 { -1 } else { week.cast_signed() };
            date(year, month.cast_signed(), 1).nth_weekday_of_month(nth, weekday).unwrap()
        }
        ChangeDay::JulianNoLeap(n) => {
            // The same month and day as in a year without 29 February.
            let common = date(2001, 1, 1) + (i64::from(n) - 1).days();
            date(year, common.month(), common.day())
        }
        ChangeDay::ZeroBased(n) => new_year + i64::from(n).days(),
    };
    let midnight = Offset::UTC.to_timestamp(day.at(0, 0, 0, 0)).unwrap();
    midnight.as_millisecond() + i64::from(rule.time_s - offset_s) * 1000
}

fn find_utc(zone: &Zone, local_ms: i64, rule: GapRule) -> i64 {
    zone.to_utc(Local::from_ms(local_ms), rule).as_ms()
}

/// Compares one moment, and one local time, with the model; gives the kind.
fn compare_with_model(model: &Model, ms: i64, local_ms: i64) -> Result<LocalKind, TestCaseError> {
    let zone = &model.zone;
    let text = text_of(zone);
    prop_assert_eq!(zone.offset_at(Utc::from_ms(ms)), model.offset_at(ms), "{} at {}", text, ms);

    let next = zone.next_change_after(Utc::from_ms(ms));
    let known = next.filter(|change| change.at.as_ms() < UNTIL_MS);
    let expected = model.next_change_after(ms).filter(|change| change.at.as_ms() < UNTIL_MS);
    prop_assert_eq!(known, expected, "{} after {}", text, ms);

    let (kind, shifted, first_valid) = model.read(local_ms);
    let local = Local::from_ms(local_ms);
    prop_assert_eq!(zone.kind_of(local), kind, "{} at local {}", text, local_ms);
    prop_assert_eq!(
        find_utc(zone, local_ms, GapRule::Shift),
        shifted,
        "{} at local {}",
        text,
        local_ms
    );
    let found = find_utc(zone, local_ms, GapRule::FirstValid);
    prop_assert_eq!(found, first_valid, "{} at local {}", text, local_ms);
    let back = zone.to_local(Utc::from_ms(shifted));
    prop_assert_eq!(back == local, kind != LocalKind::Skipped, "{} at local {}", text, local_ms);
    Ok(kind)
}

// ---- The properties ----

proptest! {
    #![proptest_config(config(2000))]

    #[test]
    fn a_zone_is_the_one_its_string_names_and_its_bytes_hold(zone in any_zone()) {
        let text = text_of(&zone);
        prop_assert_eq!(Zone::parse(&text), Ok(zone), "{}", text);
        prop_assert_eq!(Zone::decode(&zone.encode()), Some(zone), "{}", text);
        prop_assert!(TimeZone::posix(&text).is_ok(), "{}", text);
    }

    /// Whatever bytes are read as a zone, some string names that zone.
    #[test]
    fn bytes_are_a_zone_only_if_a_string_names_it(
        zone in any_zone(),
        changes in prop::collection::vec((0..Zone::ENCODED_LEN, any::<u8>()), 1..3),
    ) {
        let mut bytes = zone.encode();
        for (at, value) in changes {
            bytes[at] = value;
        }
        if let Some(zone) = Zone::decode(&bytes) {
            prop_assert_eq!(Zone::parse(&text_of(&zone)), Ok(zone));
            prop_assert_eq!(zone.encode(), bytes);
        }
    }

    #[test]
    fn no_text_makes_parse_panic(ascii in "[ -~]{0,60}", near in "[A-Ca-c<>+-]{2,6}[0-9:,./JM+-]{1,30}", text in any::<String>()) {
        for text in [ascii, near, text] {
            match Zone::parse(&text) {
                Ok(zone) => prop_assert_eq!(Zone::decode(&zone.encode()), Some(zone)),
                Err(error) => prop_assert!(error.at <= text.len() && !error.what.is_empty()),
            }
        }
    }
}

proptest! {
    #![proptest_config(config(20_000))]

    /// A string with a few bytes changed is read where jiff reads it and refused
    /// where jiff refuses it, but for the limit that is this project's own.
    #[test]
    fn what_jiff_refuses_is_refused(
        zone in any_zone(),
        changes in prop::collection::vec(
            (any::<prop::sample::Index>(), prop::sample::select(b"0123456789+-:,./JM<>Ab _".to_vec()), 0..3),
            0..3,
        ),
    ) {
        let mut bytes = text_of(&zone).into_bytes();
        for (at, byte, how) in changes {
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => drop(bytes.remove(at)),
            }
        }
        let text = String::from_utf8(bytes).unwrap();
        match Zone::parse(&text) {
            Err(error) if error.what.contains("24 h or more") => {}
            ours => prop_assert_eq!(ours.is_ok(), TimeZone::posix(&text).is_ok(), "{}: {:?}", text, ours),
        }
    }
}

proptest! {
    #![proptest_config(config(2000))]

    #[test]
    fn moments_and_local_times_agree_with_jiff(
        zone in tame_zone(),
        moments in prop::collection::vec(FROM_MS..UNTIL_MS, 8),
        about_s in -100_000..100_000_i64,
    ) {
        let text = text_of(&zone);
        let tz = TimeZone::posix(&text).unwrap();
        for ms in moments {
            let near_change = zone.next_change_after(Utc::from_ms(ms)).map(|change| change.at.as_ms());
            for ms in [Some(ms), near_change, near_change.map(|ms| ms - 1)].into_iter().flatten() {
                let theirs = tz.to_offset(Timestamp::from_millisecond(ms).unwrap()).seconds();
                prop_assert_eq!(zone.offset_at(Utc::from_ms(ms)), theirs, "{} at {}", text, ms);
                for local_ms in [ms, ms + i64::from(theirs) * 1000, ms + i64::from(theirs) * 1000 + about_s * 1000] {
                    let civil = Offset::UTC.to_datetime(Timestamp::from_millisecond(local_ms).unwrap());
                    let theirs = tz.to_ambiguous_timestamp(civil);
                    let kind = match theirs.offset() {
                        AmbiguousOffset::Unambiguous { .. } => LocalKind::Once,
                        AmbiguousOffset::Fold { .. } => LocalKind::Repeated,
                        AmbiguousOffset::Gap { .. } => LocalKind::Skipped,
                    };
                    prop_assert_eq!(zone.kind_of(Local::from_ms(local_ms)), kind, "{} at {}", text, civil);
                    let moved = theirs.compatible().unwrap().as_millisecond();
                    let ours = find_utc(&zone, local_ms, GapRule::Shift);
                    prop_assert_eq!(ours, moved, "{} at {}", text, civil);
                }
            }
        }
    }

    /// D8: what the auditor's library is handed is the zone that the device goes by, but for
    /// those of which the reader of scenarios says otherwise.
    #[test]
    fn d8_a_zone_that_can_be_judged_is_judged_as_it_is(
        zone in any_zone(),
        picks in prop::collection::vec((FROM_MS..UNTIL_MS, -100_000..100_000_i64), 6),
    ) {
        let tz = to_jiff(&zone);
        prop_assert!(tz.is_some(), "{}", text_of(&zone));
        let tz = tz.unwrap();
        for (ms, about_s) in picks.into_iter().filter(|_| read_otherwise(&zone).is_none()) {
            let change = zone.next_change_after(Utc::from_ms(ms)).map(|change| change.at.as_ms());
            for ms in [Some(ms), change, change.map(|ms| ms - 1)].into_iter().flatten() {
                let theirs = tz.to_offset(Timestamp::from_millisecond(ms).unwrap()).seconds();
                prop_assert_eq!(zone.offset_at(Utc::from_ms(ms)), theirs, "{} at {}", text_of(&zone), ms);
                let local_ms = ms + (i64::from(theirs) + about_s) * 1000;
                let civil = Offset::UTC.to_datetime(Timestamp::from_millisecond(local_ms).unwrap());
                let moved = tz.to_ambiguous_timestamp(civil).compatible().unwrap().as_millisecond();
                let ours = find_utc(&zone, local_ms, GapRule::Shift);
                prop_assert_eq!(ours, moved, "{} at {}", text_of(&zone), civil);
            }
        }
    }

    #[test]
    fn moments_and_local_times_agree_with_the_model(
        zone in any_zone(),
        picks in prop::collection::vec((FROM_MS..UNTIL_MS, any::<prop::sample::Index>(), -100_000..100_000_i64), 6),
    ) {
        let model = Model::new(zone);
        let within: Vec<i64> = model
            .changes
            .iter()
            .map(|(at, _)| *at)
            .filter(|at| (FROM_MS..UNTIL_MS).contains(at))
            .collect();
        for (ms, index, about_s) in picks {
            compare_with_model(&model, ms, ms)?;
            if within.is_empty() {
                continue;
            }
            let at = within[index.index(within.len())];
            for ms in [at - 1, at, at + 1] {
                for offset_s in [zone.offset_s, model.summer_s()] {
                    let shown = ms + i64::from(offset_s) * 1000;
                    compare_with_model(&model, ms, shown)?;
                    compare_with_model(&model, ms, shown + about_s * 1000)?;
                }
            }
        }
    }
}

/// The properties above would hold vacuously on zones that never change.
#[test]
fn random_zones_reach_every_kind_of_year() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut pushed, mut never, mut rarely, mut kinds) = (0, 0, 0, [0; 3]);
    for _ in 0..4000 {
        let zone = any_zone().new_tree(&mut runner).unwrap().current();
        let model = Model::new(zone);
        let Some(summer) = zone.summer else { continue };
        let years = |ms: i64| Timestamp::from_millisecond(ms).unwrap().strftime("%Y").to_string();
        pushed += u32::from(years(change_ms(summer.end, 2026, summer.offset_s)) != "2026");
        let count = model.changes.iter().filter(|(at, _)| (FROM_MS..UNTIL_MS).contains(at)).count();
        never += u32::from(count == 0);
        rarely += u32::from((1..128).contains(&count));
        for (at, _) in model.changes.iter().skip(20).take(2) {
            let (kind, ..) =
                model.read(at + i64::from(zone.offset_s.max(summer.offset_s)) * 1000 - 1);
            kinds[kind as usize] += 1;
        }
    }
    println!("pushed {pushed}, never {never}, rarely {rarely}, kinds {kinds:?}");
    assert!(pushed > 200 && never > 50 && rarely > 50 && kinds.iter().all(|n| *n > 200));
}
