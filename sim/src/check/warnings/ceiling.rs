//! Doses that a change of the clock brings so near together that the ceiling cuts one.

use dosewright_core::civil::DAY_MS;
use dosewright_core::entry::Entry;
use dosewright_core::limits::CEILING_SPAN;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::units::Volume;

use super::{at_span, clock_changes, doses};
use crate::diagnose::{Diagnostic, codes};
use crate::run::Frame;
use crate::scenario::{EntryPlan, Scenario, show};
use crate::trace::stamp;

/// W015, of the first dose that is cut. The ceiling's span is an hour less than a day: a
/// change of more than an hour can put the doses of two days into it.
pub(super) fn find(
    scenario: &Scenario,
    ceiling: Volume,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
    clock: &WallClock,
) -> Option<Diagnostic> {
    let truth = WallClock { offset_ms: frame.start_utc_ms, zone: clock.zone };
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    let (plan, at, asked) = clock_changes(&clock.zone, frame).find_map(|change| {
        let change_ms = change.at.as_ms();
        let first_ms = (change_ms - DAY_MS).max(frame.start_utc_ms);
        let last_ms = (change_ms + 2 * DAY_MS).min(end_ms);
        first_cut(scenario, ceiling, plans, &truth, (first_ms, last_ms))
    })?;
    let local = truth.zone.to_local(truth.utc(at));
    let label = format!(
        "with the dose of {} {}, {} are asked for in {} h",
        stamp::day(local.date()),
        stamp::hour_minute(local),
        show::volume(asked),
        CEILING_SPAN.as_ms() / 3_600_000
    );
    Some(
        Diagnostic::new(
            codes::CUT_AT_CHANGE,
            at_span(plan),
            format!("the ceiling cuts a dose of \"{}\" when the clock has changed", plan.name),
        )
        .label(label)
        .note(format!("the daily ceiling is {}", show::volume(ceiling)))
        .help("give a `daily_ceiling` in [limits] that has room for it, if the product's label allows that"),
    )
}

/// The first dose in a stretch of UTC ms that is over the ceiling, when it comes, and what
/// is asked for with it.
fn first_cut<'a>(
    scenario: &Scenario,
    ceiling: Volume,
    plans: &[(&'a EntryPlan, &Entry)],
    truth: &WallClock,
    (first_ms, last_ms): (i64, i64),
) -> Option<(&'a EntryPlan, Instant, Volume)> {
    let last = truth.instant(Utc::from_ms(last_ms));
    let mut all: Vec<(Instant, &EntryPlan, Volume)> = Vec::new();
    // in the order of the file, which that of the numbers is
    for (plan, entry) in plans.iter().filter(|(plan, _)| plan.enabled) {
        let from = truth.instant(Utc::from_ms(first_ms));
        let dues = doses(scenario, entry, Some(truth), from).take_while(|&at| at <= last);
        all.extend(dues.map(|at| (at, *plan, entry.volume)));
    }
    all.sort_by_key(|&(at, ..)| at);
    all.iter().enumerate().find_map(|(index, &(at, plan, _))| {
        let near = all.iter().take(index + 1).filter(|dose| at.since(dose.0) < CEILING_SPAN);
        let asked = near.fold(Volume::ZERO, |sum, dose| sum.plus(dose.2));
        (asked > ceiling).then_some((plan, at, asked))
    })
}
