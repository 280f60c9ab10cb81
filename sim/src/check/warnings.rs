//! What is accepted and yet worth knowing.

mod acts;
mod ceiling;
mod changes;
mod meetings;
mod never;
mod site;

use std::iter;

use dosewright_core::entry::{ClosedDates, Entry, Nominal, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant, Utc};
use dosewright_core::timetable::{Timetable, meet_at_times};
use dosewright_core::zone::{Change, Zone};

use super::closed;
use crate::diagnose::{Diagnostic, Span, codes};
use crate::observe::LINES;
use crate::run::Frame;
use crate::scenario::{Act, ClockSetting, EntryPlan, Scenario, show};
use crate::trace::stamp;

/// Before this minute of the day a calendar day's time is most likely meant for
/// the night before: common practice, no source.
const SMALL_HOURS_END_MIN: u16 = 6 * 60;
/// Changes of the clock looked at in one run; a run is a hundred years at most.
const MOST_CHANGES: usize = 256;
const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
const DAY_NAMES: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

/// All warnings of a scenario.
pub(super) fn find(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    frame: &Frame,
    clock: Option<&WallClock>,
    accepted: bool,
) -> Vec<Diagnostic> {
    let entries: Vec<Entry> = timetable.entries().collect();
    let plans: Vec<(&EntryPlan, &Entry)> = scenario.entries.iter().zip(&entries).collect();
    let mut found: Vec<Diagnostic> =
        plans.iter().filter_map(|(plan, entry)| plain_night(plan, entry)).collect();
    for (plan, entry) in plans.iter().filter(|(plan, _)| plan.enabled) {
        if let Some(clock) = clock {
            found.extend(changes::at_changes(scenario, plan, entry, frame, clock));
        }
    }
    found.extend(plans.iter().filter_map(|(plan, _)| site::drains_back(scenario, plan)));
    found.extend(site::siphons(scenario));
    for (i, (second, b)) in plans.iter().enumerate() {
        for (first, a) in plans.iter().take(i) {
            let meet = clock.is_some_and(|clock| meet_at_times(a, b, clock, Instant::ZERO));
            if first.enabled && second.enabled && meet {
                found.push(meets(first, second, a));
            }
        }
    }
    // what the device takes has few doses a day; of anything else this could be long work
    if let Some(clock) = clock.filter(|_| accepted) {
        found.extend(meetings::find(scenario, &plans, frame, clock));
        found.extend(ceiling::find(scenario, timetable.ceiling_in_force(), &plans, frame, clock));
    }
    found.extend(plans.iter().filter_map(|(plan, _)| changes::begins_in_skipped(scenario, plan)));
    found.extend(site::at_heel(scenario));
    found.extend(site::out_of_date(scenario, frame));
    found.extend(on_closed(scenario, &plans, frame));
    found.extend(site::too_weak(scenario));
    found.extend(site::over_the_pack(scenario));
    found.extend(site::too_large(scenario));
    found.extend(site::lift(scenario));
    found.extend(site::lead_for_nothing(scenario));
    found.extend(acts::overflows(scenario));
    found.extend(acts::other_cells(scenario));
    match never_set(scenario) {
        Some(unset) => found.push(unset),
        None => match nothing_due(scenario, &plans, frame, clock) {
            Some(nothing) => found.push(nothing),
            // what the device refuses has its dates told of by its refusal
            None if accepted => found.extend(never::find(scenario, &plans, frame, clock)),
            None => {}
        },
    }
    found
}

/// W012: weekly entries, and a clock that is unset and stays so.
fn never_set(scenario: &Scenario) -> Option<Diagnostic> {
    let sets = |act: &Act| matches!(act, Act::SetClock(ClockSetting::To(_)));
    let enabled = || scenario.entries.iter().filter(|plan| plan.enabled);
    if !scenario.clock.unset
        || scenario.operator.iter().any(|act| sets(&act.act))
        || !enabled().any(EntryPlan::is_weekly)
    {
        return None;
    }
    let message = if enabled().all(EntryPlan::is_weekly) {
        "nothing is dosed by this timetable"
    } else {
        "nothing is dosed by the weekly entries of this timetable"
    };
    let moves = |act: &Act| matches!(act, Act::SetClock(ClockSetting::By(_)));
    let found = match scenario.operator.iter().find(|act| moves(&act.act)) {
        Some(act) => Diagnostic::new(codes::NOTHING_DUE, act.spans.at("set_clock"), message)
            .label("`by` moves a clock that is set; this one is unset, and the act is refused")
            .help("give the time that it is set to: set_clock = { to = ... }"),
        None => Diagnostic::new(codes::NOTHING_DUE, scenario.clock.spans.at("unset"), message)
            .label("nobody sets the clock; weekly entries do not run until it is set")
            .help("leave `unset` out, or let an operator set the clock: set_clock = { to = ... }"),
    };
    Some(found)
}

/// The changes of a zone's clock in a run.
fn clock_changes(zone: &Zone, frame: &Frame) -> impl Iterator<Item = Change> {
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    let first = zone.next_change_after(Utc::from_ms(frame.start_utc_ms));
    iter::successors(first, |change| zone.next_change_after(change.at))
        .take_while(move |change| change.at.as_ms() <= end_ms)
        .take(MOST_CHANGES)
}

/// The dues of an entry from an instant on, whatever is closed.
pub(super) fn dues(
    entry: &Entry,
    clock: Option<&WallClock>,
    from: Instant,
) -> impl Iterator<Item = Nominal> {
    iter::successors(entry.first_from(from, clock), |due| entry.next_at_or_after(due.next()))
}

/// When the doses of an entry begin from an instant on, those on closed dates left out.
fn doses<'a>(
    scenario: &'a Scenario,
    entry: &'a Entry,
    clock: Option<&'a WallClock>,
    from: Instant,
) -> impl Iterator<Item = Instant> + 'a {
    dues(entry, clock, from)
        .filter(|&due| !(entry.is_weekly() && scenario.closes(entry, entry.date_of(due))))
        .map_while(move |due| entry.instant_of(due, clock))
}

/// W012: a timetable by which nothing is dosed, and nobody who changes it.
fn nothing_due(
    scenario: &Scenario,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
    clock: Option<&WallClock>,
) -> Option<Diagnostic> {
    let last = Instant::ZERO.plus(Duration::from_ms(frame.run_ms));
    let comes = |entry: &Entry| {
        doses(scenario, entry, clock, Instant::ZERO).next().is_some_and(|at| at <= last)
    };
    if !scenario.operator.is_empty()
        || plans.iter().any(|(plan, entry)| plan.enabled && comes(entry))
    {
        return None;
    }
    let is_closed = |plan: &EntryPlan, entry: &Entry| {
        let first = dues(entry, clock, Instant::ZERO).next();
        let at = first.and_then(|due| entry.instant_of(due, clock));
        plan.enabled && at.is_some_and(|at| at <= last)
    };
    let years = "look at the years of `from`, `first` and `last`, and at `enabled`";
    let (span, label, help) = match plans.first() {
        None => (scenario.head.spans.table(), "there is no [[entry]]".to_owned(), years),
        Some((plan, _)) if plans.iter().all(|(plan, _)| !plan.enabled) => {
            (plan.spans.at("enabled"), "every entry is disabled".to_owned(), years)
        }
        Some((plan, _)) => {
            let long = show::length(frame.run_ms);
            match plans.iter().find(|(plan, entry)| is_closed(plan, entry)) {
                Some((plan, _)) => (
                    plan.spans.table(),
                    format!("every dose that comes due in {long} falls on closed dates"),
                    "look at the years of `first` and `last` of [[closed]]; an entry with \
                     `observes_closed = false` runs on them too",
                ),
                None => (plan.spans.table(), format!("no entry comes due in {long}"), years),
            }
        }
    };
    Some(
        Diagnostic::new(codes::NOTHING_DUE, span, "nothing is dosed by this timetable")
            .label(label)
            .help(help),
    )
}

/// W010: an entry that closed dates in the run do not hold.
fn on_closed(
    scenario: &Scenario,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
) -> Vec<Diagnostic> {
    let told = |plan: &EntryPlan, closed: ClosedDates| {
        let span = plan.recurrence_spans.get("interval").unwrap_or_else(|| plan.spans.table());
        let message = format!("closed dates do not hold \"{}\"", plan.name);
        Diagnostic::new(codes::INTERVAL_ON_CLOSED, span, message)
            .label(if closed.first == closed.last {
                format!("it doses on {} too, blind to the calendar", stamp::day(closed.first))
            } else {
                format!(
                    "it doses between {} and {} too, blind to the calendar",
                    stamp::day(closed.first),
                    stamp::day(closed.last)
                )
            })
            .help("make the entry `weekly` if it is not to")
    };
    plans
        .iter()
        .filter(|(plan, entry)| plan.enabled && !entry.is_weekly())
        .filter_map(|(plan, entry)| Some(told(plan, closed::dosed_on(scenario, entry, frame)?)))
        .collect()
}

fn at_span(plan: &EntryPlan) -> Span {
    plan.recurrence_spans.get("at").unwrap_or_else(|| plan.spans.table())
}

fn hour_minute(at_min: u16) -> String {
    format!("{:02}:{:02}", at_min / 60, at_min % 60)
}

/// W001: `fri 00:45` is in the night that people call Thursday's.
fn plain_night(plan: &EntryPlan, entry: &Entry) -> Option<Diagnostic> {
    let Recurrence::Weekly { days, at_min, by_night: false } = entry.recurrence else {
        return None;
    };
    let index = days.bits().trailing_zeros() as usize;
    if at_min >= SMALL_HOURS_END_MIN || days.bits() == 0x7f {
        return None;
    }
    let (day, word) = (DAY_NAMES.get(index)?, DAYS.get(index)?);
    let (before, word_before) = (DAY_NAMES.get((index + 6) % 7)?, DAYS.get((index + 6) % 7)?);
    let at = hour_minute(at_min);
    Some(
        Diagnostic::new(codes::PLAIN_NIGHT, at_span(plan), "a time after midnight is given with calendar days")
            .label(format!("{word} {at} is {day} just after midnight, in the night of {before}"))
            .help(format!("for the night of {day}, which ends on the morning after it, write nights = [\"{word}\", ...]; if this is meant, nights = [\"{word_before}\", ...] says the same and is not warned about")),
    )
}

/// W003: an interval that wanders through the day meets a weekly entry.
fn meets(first: &EntryPlan, second: &EntryPlan, a: &Entry) -> Diagnostic {
    let interval = if a.is_weekly() { second } else { first };
    let other = if a.is_weekly() { first } else { second };
    let span = interval.recurrence_spans.get("interval").unwrap_or_else(|| interval.spans.table());
    Diagnostic::new(
        codes::MEETS_INTERVAL,
        span,
        format!("\"{}\" will at times meet \"{}\"", interval.name, other.name),
    )
    .label("its doses wander through the week")
    .help("where two meet one waits for the other; the wait is in the outcome")
}
