//! Doses in the hours that the clock changes skip or repeat.

use dosewright_core::civil::{DAY_MIN, Local};
use dosewright_core::entry::{Entry, GapRule, Nominal, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::zone::{Change, LocalKind};

use super::{at_span, clock_changes, hour_minute};
use crate::diagnose::{Diagnostic, codes};
use crate::run::Frame;
use crate::scenario::{EntryPlan, IntervalStart, RecurrencePlan, Scenario, show};
use crate::trace::stamp;

/// W002 and W004: dues in the hours that the clock changes skip or repeat.
pub(super) fn at_changes(
    scenario: &Scenario,
    plan: &EntryPlan,
    entry: &Entry,
    frame: &Frame,
    clock: &WallClock,
) -> Vec<Diagnostic> {
    let Recurrence::Weekly { at_min, .. } = entry.recurrence else { return Vec::new() };
    let mut found = Vec::new();
    let (mut skipped, mut repeated) = (0_usize, 0_usize);
    for change in clock_changes(&clock.zone, frame) {
        let Some(due) = due_in(entry, &change) else { continue };
        if scenario.closes(entry, entry.date_of(due)) {
            continue;
        }
        let local = Local::from_ms(i64::from(due.0) * 60_000);
        let date = stamp::day(local.date());
        let by =
            show::length(u64::from(change.offset_after_s.abs_diff(change.offset_before_s)) * 1000);
        if change.offset_after_s > change.offset_before_s {
            skipped += 1;
            if skipped == 1 {
                found.push(in_skipped_hour(plan, entry, clock, local, &date, at_min));
            }
        } else {
            repeated += 1;
            if repeated == 1 {
                found.push(
                    Diagnostic::new(codes::IN_REPEATED_HOUR, at_span(plan), "a scheduled dose falls in the hour that autumn repeats")
                        .label(format!("on {date} {} comes twice, {by} apart", hour_minute(at_min)))
                        .help("it is delivered once, in the first pass; the time to the next use of water is longer by as much"),
                );
            }
        }
    }
    for (code, count) in [(codes::IN_SKIPPED_HOUR, skipped), (codes::IN_REPEATED_HOUR, repeated)] {
        if let Some(first) = found.iter_mut().find(|d| d.code == code && count > 1) {
            let dates = if count == 2 { "date" } else { "dates" };
            *first = first.clone().note(format!("the same on {} more {dates}", count - 1));
        }
    }
    found
}

/// The due of an entry whose local time a change skips or repeats.
fn due_in(entry: &Entry, change: &Change) -> Option<Nominal> {
    let (low, high) = (
        change.offset_before_s.min(change.offset_after_s),
        change.offset_before_s.max(change.offset_after_s),
    );
    let first_ms = change.at.as_ms() + i64::from(low) * 1000;
    let end_ms = change.at.as_ms() + i64::from(high) * 1000;
    let first = Nominal(
        u32::try_from(first_ms.div_euclid(60_000) + i64::from(first_ms.rem_euclid(60_000) > 0))
            .ok()?,
    );
    entry.next_at_or_after(first).filter(|due| i64::from(due.0) * 60_000 < end_ms)
}

fn in_skipped_hour(
    plan: &EntryPlan,
    entry: &Entry,
    clock: &WallClock,
    local: Local,
    date: &str,
    at_min: u16,
) -> Diagnostic {
    let moved = clock.zone.to_local(clock.zone.to_utc(local, entry.gap_rule));
    let end = Local::from_ms(moved.as_ms() + i64::from(entry.window_ms));
    let usual_end = u32::from(at_min) * 60_000 + entry.window_ms;
    let later_ms = (end.time_of_day().as_ms() as i64 - i64::from(usual_end % (DAY_MIN * 60_000)))
        .rem_euclid(86_400_000);
    let by = show::length(later_ms as u64);
    let found = Diagnostic::new(codes::IN_SKIPPED_HOUR, at_span(plan), "a scheduled dose falls in the hour that spring skips")
        .label(format!("on {date} {} does not exist: it runs {} to {}", hour_minute(at_min), stamp::hour_minute(moved), stamp::hour_minute(end)))
        .help(format!("the contact time before the next use of water is {by} shorter that day; an earlier time, outside the hour that is skipped, keeps it"));
    match entry.gap_rule {
        GapRule::Shift => found.note("gap = \"first valid\" runs it at the first time that exists"),
        GapRule::FirstValid => found,
    }
}

/// W002: an interval that is counted from a time which does not exist.
pub(super) fn begins_in_skipped(scenario: &Scenario, plan: &EntryPlan) -> Option<Diagnostic> {
    let RecurrencePlan::Every { from: IntervalStart::Local(from), .. } = plan.recurrence else {
        return None;
    };
    let zone = scenario.clock.zone.zone;
    let utc = match zone.kind_of(from) {
        LocalKind::Skipped => zone.to_utc(from, GapRule::Shift),
        _ => return None,
    };
    Some(
        Diagnostic::new(
            codes::IN_SKIPPED_HOUR,
            plan.recurrence_spans.at("from"),
            format!("\"{}\" begins in the hour that spring skips", plan.name),
        )
        .label(format!(
            "on {} there is no {}: it begins at {}",
            stamp::day(from.date()),
            stamp::hour_minute(from),
            stamp::hour_minute(zone.to_local(utc))
        ))
        .help("its doses come at the times that are counted from there"),
    )
}
