//! An entry that never comes due, beside others that do.

use dosewright_core::civil::DAY_MS;
use dosewright_core::entry::Entry;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant};

use super::super::YEAR_MS;
use super::{doses, dues};
use crate::diagnose::{Diagnostic, codes};
use crate::run::Frame;
use crate::scenario::{Act, ClockSetting, EntryPlan, Scenario, show};

const DATES: &str = "look at its dates, and at their years; an entry that is not to run has \
                     `enabled = false`";

/// W022: enabled entries without a dose in a year, or in the run where that is longer, and
/// nobody who changes it. A season is over within a year, so that a short run is no reason.
pub(super) fn find(
    scenario: &Scenario,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
    clock: Option<&WallClock>,
) -> Vec<Diagnostic> {
    let long_ms = frame.run_ms.max(YEAR_MS);
    let end = Instant::ZERO.plus(Duration::from_ms(long_ms));
    let told = |plan: &EntryPlan, entry: &Entry| {
        let is_dosed =
            doses(scenario, entry, clock, Instant::ZERO).next().is_some_and(|at| at <= end);
        let is_changed = scenario.operator.iter().any(|act| {
            let at_ms = frame.moment(act.at);
            changes(&act.act, plan) || plan.is_weekly() && sets_far(&act.act, frame, at_ms)
        });
        if !plan.enabled || is_dosed || is_changed {
            return None;
        }
        let first = dues(entry, clock, Instant::ZERO).next();
        let is_due = first.and_then(|due| entry.instant_of(due, clock)).is_some_and(|at| at <= end);
        let start = scenario.clock.start.date();
        let long = show::length(long_ms);
        let (span, label, help) = if is_due {
            (
                plan.spans.table(),
                format!("every dose of it that comes due in {long} falls on closed dates"),
                "look at the years of `first` and `last` of [[closed]]; an entry with \
                 `observes_closed = false` runs on them too",
            )
        } else if plan.last.is_some_and(|last| last < start) {
            let label = format!("it was over before the start of the run, {}", show::date(start));
            (plan.spans.at("last"), label, DATES)
        } else {
            let from = plan.spans.get("first").or_else(|| plan.recurrence_spans.get("from"));
            let label = format!("no dose of it comes due in {long}");
            (from.unwrap_or_else(|| plan.spans.table()), label, DATES)
        };
        let message = format!("\"{}\" never comes due", plan.name);
        Some(Diagnostic::new(codes::NOT_DUE, span, message).label(label).help(help))
    };
    plans.iter().filter_map(|(plan, entry)| told(plan, entry)).collect()
}

/// Whether an act gives an entry other dates.
fn changes(act: &Act, plan: &EntryPlan) -> bool {
    match act {
        Act::Edit { entry, .. } | Act::Remove(entry) | Act::Disable(entry) => {
            entry.name == plan.name
        }
        Act::Timetable(_) => true,
        _ => false,
    }
}

/// Whether an act moves the device's clock by a day or more; where it is unset, any time is.
fn sets_far(act: &Act, frame: &Frame, at_ms: Option<u64>) -> bool {
    match act {
        Act::SetClock(ClockSetting::By(by)) => by.0.abs() >= DAY_MS,
        Act::SetClock(ClockSetting::To(to)) => {
            at_ms.is_none_or(|at_ms| (to.as_ms() - frame.local(at_ms).as_ms()).abs() >= DAY_MS)
        }
        _ => false,
    }
}
