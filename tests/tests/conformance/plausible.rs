//! What can be said of a table without running anything: that it is about its
//! scenario, and adds up. It catches slips of the hand, not misread rules.

use std::collections::{BTreeMap, BTreeSet};

use dosewright_core::cause::Cause;
use dosewright_core::civil::Weekday;
use dosewright_sim::scenario::{Act, EntryPlan, RecurrencePlan};
use jiff::Timestamp;
use jiff::civil::{self, DateTime};
use jiff::tz::TimeZone;

use crate::cases::Case;
use crate::table::{Delivered, Kind, Row, Which};

const DAY_MIN: i64 = 1440;
const NOON_MIN: i64 = 720;
/// At the table's largest flow, 60 ml/min.
const MS_OF_FLOW_NL: u64 = 1_000;

/// Every content that an entry of each name has in the case's run.
fn contents(case: &Case) -> BTreeMap<String, Vec<EntryPlan>> {
    let mut of: BTreeMap<String, Vec<EntryPlan>> = BTreeMap::new();
    let mut add = |entry: &EntryPlan| of.entry(entry.name.clone()).or_default().push(entry.clone());
    case.scenario.entries.iter().for_each(&mut add);
    for act in &case.scenario.operator {
        match &act.act {
            Act::Add(entry) => add(entry),
            Act::Timetable(entries) => entries.iter().for_each(&mut add),
            _ => {}
        }
    }
    for act in &case.scenario.operator {
        if let Act::Edit { entry, edit, .. } = &act.act
            && let Some(known) = of.get_mut(&entry.name)
            && let Some(last) = known.last().cloned()
        {
            known.push(edit.apply(&last));
        }
    }
    of
}

fn date(days: i64) -> civil::Date {
    civil::date(1970, 1, 1).saturating_add(jiff::Span::new().days(days))
}

/// Whether an entry of this content has a due of this name.
fn has(entry: &EntryPlan, which: Which) -> bool {
    match (entry.recurrence, which) {
        (_, Which::Asked) => true,
        (RecurrencePlan::Every { .. }, Which::Interval(n)) => n >= 0,
        (RecurrencePlan::Weekly { days, at_min, by_night }, Which::Weekly(minute)) => {
            let at = i64::from(at_min);
            let day = minute.div_euclid(DAY_MIN) - i64::from(by_night && at < NOON_MIN);
            let name = date(day);
            let weekday = usize::try_from(name.weekday().to_monday_zero_offset()).unwrap_or(0);
            let plain = |date: dosewright_core::civil::Date| {
                let (year, month, day) = date.ymd();
                civil::date(i16::try_from(year).unwrap_or(i16::MAX), month as i8, day as i8)
            };
            minute.rem_euclid(DAY_MIN) == at
                && days.contains(Weekday::ALL[weekday])
                && entry.first.is_none_or(|first| plain(first) <= name)
                && entry.last.is_none_or(|last| name <= plain(last))
        }
        _ => false,
    }
}

/// How many dues the entry has from the first to the last.
fn dues_between(entry: &EntryPlan, first: Which, last: Which) -> u64 {
    match (first, last) {
        (Which::Weekly(from), Which::Weekly(to)) => {
            let days = to.div_euclid(DAY_MIN) - from.div_euclid(DAY_MIN);
            (0..=days).filter(|day| has(entry, Which::Weekly(from + day * DAY_MIN))).count() as u64
        }
        (Which::Interval(from), Which::Interval(to)) => u64::try_from(to - from + 1).unwrap_or(0),
        _ => 1,
    }
}

/// Everything implausible about a case's table.
pub(crate) fn problems(case: &Case) -> Vec<String> {
    let contents = contents(case);
    let mut found = Vec::new();
    let mut seen = BTreeSet::new();
    if case.table.why.trim().len() < 20 {
        found.push("it does not say why".to_owned());
    }
    for row in &case.table.rows {
        let mut say = |what: String| found.push(format!("line {}: {what}", row.line));
        if !seen.insert((row.entry.as_str(), row.epoch, row.revision, row.first)) {
            say("this due is there twice".to_owned());
        }
        match contents.get(&row.entry) {
            None => say(format!("there is no entry {:?}", row.entry)),
            Some(known) => about_entry(row, known).into_iter().for_each(&mut say),
        }
        about_outcome(row).into_iter().for_each(&mut say);
        about_scenario(case, row).into_iter().for_each(&mut say);
    }
    found
}

fn about_entry(row: &Row, known: &[EntryPlan]) -> Vec<String> {
    let mut found = Vec::new();
    let of_due: Vec<&EntryPlan> =
        known.iter().filter(|entry| has(entry, row.first) && has(entry, row.last)).collect();
    if of_due.is_empty() {
        found.push(format!("{} .. {} is no due of the entry", row.first, row.last));
        return found;
    }
    if !of_due.iter().any(|entry| dues_between(entry, row.first, row.last) == row.count) {
        found.push(format!("{} dues do not go from {} to {}", row.count, row.first, row.last));
    }
    let whole = |most: Delivered| {
        of_due.iter().any(|entry| {
            // A dose that is no whole number of milliseconds lacks less than one,
            // or has the one that the doses before it lacked.
            let asks = entry.volume.as_nl() * row.count;
            most.nl.abs_diff(asks) <= most.off_by_nl + MS_OF_FLOW_NL
        })
    };
    let most_of_all = of_due.iter().map(|entry| entry.volume.as_nl()).max().unwrap_or(0);
    match (row.kind, row.most) {
        (Kind::Dosed, Some(most)) if !whole(most) => {
            found.push("dosed, but not the entry's dose".to_owned());
        }
        (Kind::Part, Some(most)) if most.nl >= most_of_all => {
            found.push("part, but all of the entry's dose".to_owned());
        }
        _ => {}
    }
    found
}

fn about_outcome(row: &Row) -> Vec<String> {
    let mut found = Vec::new();
    let mut check = |right: bool, what: &str| {
        if !right {
            found.push(what.to_owned());
        }
    };
    let caused = matches!(row.kind, Kind::Part | Kind::Skipped);
    check(
        caused != row.causes.is_empty(),
        "a cause is given for part and skipped, and only for them",
    );
    let known = |cause: &String| Cause::ALL.iter().any(|one| one.words() == cause);
    check(row.causes.iter().all(known), "the cause is not of the list");
    check((row.kind == Kind::Open) == row.least.is_none(), "least is given unless open");
    check((row.kind == Kind::Open) == row.most.is_none(), "most is given unless open");
    if let (Some(least), Some(most)) = (row.least, row.most) {
        check(least.nl <= most.nl, "least is above most");
        check(
            (row.kind == Kind::Skipped) == (most.nl == 0),
            "nothing delivered is skipped, and nothing else is",
        );
    }
    check(row.kind != Kind::Skipped || row.began.is_none(), "a skipped dose did not begin");
    check(
        row.count >= 1 && (row.count > 1) == (row.first != row.last),
        "the count does not fit the stretch",
    );
    check(row.count == 1 || row.began.is_none(), "a stretch has no begin");
    check(row.first <= row.last, "the stretch ends before it begins");
    found
}

fn about_scenario(case: &Case, row: &Row) -> Vec<String> {
    let mut found = Vec::new();
    let clock = &case.scenario.clock;
    let (mut settings, mut edits) = (u16::from(!clock.unset), 1);
    for act in &case.scenario.operator {
        settings += u16::from(matches!(act.act, Act::SetClock(_) | Act::SetZone(_)));
        edits += u16::from(matches!(
            act.act,
            Act::Edit { .. } | Act::Disable(_) | Act::Enable(_) | Act::Timetable(_)
        ));
    }
    let weekly = matches!(row.first, Which::Weekly(_));
    if row.epoch > settings || (weekly && row.epoch == 0) {
        found.push(format!("epoch {} with {settings} settings", row.epoch));
    }
    if row.revision == 0 || row.revision > edits {
        found.push(format!("revision {} with {edits} contents", row.revision));
    }
    if let Some(began) = row.began {
        let zone = TimeZone::posix(&clock.zone.posix).expect("the scenario was read");
        let at = Timestamp::from_millisecond(began.utc_ms).expect("it was parsed from a date");
        let offset = zone.to_offset(at).seconds();
        if offset != began.offset_s {
            found.push(format!("began: the zone is {offset} s east then, not {}", began.offset_s));
        }
        let start = DateTime::constant(1970, 1, 1, 0, 0, 0, 0)
            .saturating_add(jiff::Span::new().milliseconds(clock.start.as_ms()));
        let start_ms = zone.to_timestamp(start).expect("the start is a real time").as_millisecond();
        let end_ms = start_ms.saturating_add_unsigned(clock.run_for.as_ms());
        if !(start_ms..end_ms).contains(&began.utc_ms) {
            found.push("began outside the run".to_owned());
        }
    }
    found
}
