//! Doses that meet because the clock changes: a dose that spring moves, a window that
//! reaches over the hour that spring skips, an interval that does not follow the clock.

use dosewright_core::civil::DAY_MS;
use dosewright_core::entry::Entry;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable::meet_at_times;

use super::{at_span, clock_changes, doses};
use crate::diagnose::{Diagnostic, codes};
use crate::run::Frame;
use crate::scenario::{EntryPlan, Scenario};
use crate::trace::stamp;

/// What a week's timetable does is seen in so many days after a change.
const DAYS: i64 = 8;

/// The window of one dose, in ms of UTC.
struct Window {
    entry: usize,
    from_ms: i64,
    to_ms: i64,
}

/// W008, once for each pair of entries.
pub(super) fn find(
    scenario: &Scenario,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
    clock: &WallClock,
) -> Vec<Diagnostic> {
    // the timetable's instants count from the start, whatever the device's clock says then
    let truth = WallClock { offset_ms: frame.start_utc_ms, zone: clock.zone };
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    let mut found = Vec::new();
    let mut told: Vec<(usize, usize)> = Vec::new();
    for change in clock_changes(&clock.zone, frame) {
        let change_ms = change.at.as_ms();
        let first_ms = (change_ms - DAY_MS).max(frame.start_utc_ms);
        let last_ms = (change_ms + DAYS * DAY_MS).min(end_ms);
        let mut windows: Vec<Window> = plans
            .iter()
            .enumerate()
            .filter(|(_, (plan, _))| plan.enabled)
            .flat_map(|(index, (plan, entry))| {
                let from_ms = starts(scenario, entry, &truth, (first_ms, last_ms));
                let length = i64::from(plan.window_ms);
                from_ms.into_iter().map(move |from_ms| Window {
                    entry: index,
                    from_ms,
                    to_ms: from_ms + length,
                })
            })
            .collect();
        windows.sort_by_key(|window| (window.from_ms, window.entry));
        let mut open: Vec<&Window> = Vec::new();
        for window in &windows {
            open.retain(|other| other.to_ms > window.from_ms);
            for other in &open {
                let pair = (other.entry.min(window.entry), other.entry.max(window.entry));
                let (Some((first, a)), Some((second, b))) =
                    (plans.get(other.entry), plans.get(window.entry))
                else {
                    continue;
                };
                // W003 has said so of those that meet anyhow
                if pair.0 == pair.1
                    || told.contains(&pair)
                    || meet_at_times(a, b, clock, Instant::ZERO)
                {
                    continue;
                }
                told.push(pair);
                found.push(meeting((first, other), (second, window), clock));
            }
            open.push(window);
        }
    }
    found
}

/// When the doses of an entry begin in a stretch of UTC ms.
fn starts(
    scenario: &Scenario,
    entry: &Entry,
    clock: &WallClock,
    (first_ms, last_ms): (i64, i64),
) -> Vec<i64> {
    doses(scenario, entry, Some(clock), clock.instant(Utc::from_ms(first_ms)))
        .map(|at| clock.utc(at).as_ms())
        .take_while(|&at_ms| at_ms < last_ms)
        .collect()
}

fn meeting(
    (first, early): (&EntryPlan, &Window),
    (second, late): (&EntryPlan, &Window),
    clock: &WallClock,
) -> Diagnostic {
    let local = |utc_ms: i64| clock.zone.to_local(Utc::from_ms(utc_ms));
    let time = |utc_ms: i64| stamp::hour_minute(local(utc_ms));
    let span = if second.is_weekly() { at_span(second) } else { at_span(first) };
    let found = Diagnostic::new(
        codes::MEETS_AT_CHANGE,
        span,
        format!("\"{}\" meets \"{}\" when the clock has changed", second.name, first.name),
    )
    .label(format!(
        "on {} \"{}\" runs {} to {}, and \"{}\" {} to {}",
        stamp::day(local(late.from_ms).date()),
        first.name,
        time(early.from_ms),
        time(early.to_ms),
        second.name,
        time(late.from_ms),
        time(late.to_ms)
    ))
    .help("where two meet one waits for the other, which makes haste; a start an hour further off keeps them apart");
    if first.is_weekly() && second.is_weekly() {
        found
    } else {
        found.note("an interval does not follow the clock: they may meet until it changes back")
    }
}
