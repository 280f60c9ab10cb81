//! Doses on closed dates: of interval entries, which are blind to the calendar, and of
//! weekly ones that do not observe them.

use dosewright_core::civil::Local;
use dosewright_core::entry::{ClosedDates, Entry, GapRule, Nominal};
use dosewright_core::time::{Duration, Instant, Utc};

use crate::run::Frame;
use crate::scenario::Scenario;

/// The first stretch of closed dates that a dose of an entry falls on all the same, in the
/// length of a run; the device's clock is taken to be right.
pub(crate) fn dosed_on(scenario: &Scenario, entry: &Entry, frame: &Frame) -> Option<ClosedDates> {
    scenario.closed.iter().copied().find(|closed| {
        if entry.is_weekly() {
            !entry.observes_closed && is_weekly_dosed(scenario, entry, frame, *closed)
        } else {
            is_interval_dosed(scenario, entry, frame, *closed)
        }
    })
}

fn is_interval_dosed(
    scenario: &Scenario,
    entry: &Entry,
    frame: &Frame,
    closed: ClosedDates,
) -> bool {
    let zone = scenario.clock.zone_of_device().zone;
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    let begins = zone.to_utc(Local::new(closed.first, Duration::ZERO), GapRule::Shift);
    let ahead_ms = begins.as_ms().saturating_sub(frame.start_utc_ms);
    let from = Instant::ZERO.plus(Duration::from_ms(u64::try_from(ahead_ms).unwrap_or(0)));
    let due = entry.first_from(from, None).and_then(|due| entry.instant_of(due, None));
    due.is_some_and(|at| {
        let utc_ms = frame.start_utc_ms.saturating_add(at.as_ms());
        let date = zone.to_local(Utc::from_ms(utc_ms)).date();
        utc_ms <= end_ms && (closed.first..=closed.last).contains(&date)
    })
}

fn is_weekly_dosed(scenario: &Scenario, entry: &Entry, frame: &Frame, closed: ClosedDates) -> bool {
    let zone = scenario.clock.zone_of_device().zone;
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    // the dose of the night before may come on the day of the start
    let eve = zone.to_local(Utc::from_ms(frame.start_utc_ms)).date().plus_days(-1);
    let midnight = Local::new(closed.first.max(eve), Duration::ZERO);
    let mut next = u32::try_from(midnight.as_ms() / 60_000)
        .ok()
        .and_then(|from_min| entry.next_at_or_after(Nominal(from_min)));
    while let Some(due) = next.filter(|due| entry.date_of(*due) <= closed.last) {
        let local = Local::from_ms(i64::from(due.0) * 60_000);
        let utc_ms = zone.to_utc(local, entry.gap_rule).as_ms();
        if utc_ms > end_ms {
            return false;
        }
        if entry.date_of(due) >= closed.first && utc_ms >= frame.start_utc_ms {
            return true;
        }
        next = entry.next_at_or_after(due.next());
    }
    false
}
