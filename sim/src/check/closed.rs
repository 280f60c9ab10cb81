//! Doses on closed dates: of interval entries, which are blind to the calendar, and of
//! weekly ones that do not observe them.

use dosewright_core::civil::{DAY_MS, Local};
use dosewright_core::entry::{ClosedDates, Entry, GapRule};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant, Utc};

use super::warnings::dues;
use crate::run::Frame;
use crate::scenario::Scenario;

/// The first stretch of closed dates that a dose of an entry falls on all the same, in the
/// length of a run; the device's clock is taken to be right.
pub(crate) fn dosed_on(scenario: &Scenario, entry: &Entry, frame: &Frame) -> Option<ClosedDates> {
    if entry.is_weekly() && entry.observes_closed {
        return None;
    }
    scenario.closed.iter().copied().find(|closed| is_dosed(scenario, entry, frame, *closed))
}

fn is_dosed(scenario: &Scenario, entry: &Entry, frame: &Frame, closed: ClosedDates) -> bool {
    let clock =
        WallClock { offset_ms: frame.start_utc_ms, zone: scenario.clock.zone_of_device().zone };
    let begins = clock.zone.to_utc(Local::new(closed.first, Duration::ZERO), GapRule::Shift);
    // a dose of the night before the first date may come on the day of it
    let ahead_ms = begins.as_ms().saturating_sub(frame.start_utc_ms).saturating_sub(DAY_MS);
    let from = Instant::ZERO.plus(Duration::from_ms(u64::try_from(ahead_ms).unwrap_or(0)));
    let end = Instant::ZERO.plus(Duration::from_ms(frame.run_ms));
    dues(entry, Some(&clock), from)
        .map_while(|due| Some((due, entry.instant_of(due, Some(&clock))?)))
        .take_while(|(_, at)| *at <= end)
        .map(|(due, at)| {
            if entry.is_weekly() {
                return entry.date_of(due);
            }
            let utc_ms = frame.start_utc_ms.saturating_add(at.as_ms());
            clock.zone.to_local(Utc::from_ms(utc_ms)).date()
        })
        .find(|date| *date >= closed.first)
        .is_some_and(|date| date <= closed.last)
}
