//! What the device has no room for, whatever the timetable.

use dosewright_core::civil::{Date, Local};
use dosewright_core::record::MOST_CLOSED;
use dosewright_core::timetable::{Refusal, Timetable};

use super::refusals;
use crate::diagnose::{Diagnostic, codes};
use crate::forecast;
use crate::observe::LINES;
use crate::scenario::{Scenario, Supply, show};

/// A clock that shows a date which the device does not take.
pub(super) fn off_the_calendar(scenario: &Scenario) -> Option<Diagnostic> {
    let clock = &scenario.clock;
    let shows = Local::from_ms(clock.start.as_ms().saturating_add(clock.off_by.0)).date();
    (!(Date::MIN..=Date::MAX).contains(&shows)).then(|| {
        let message = "the device's clock would show a date that it does not take";
        Diagnostic::new(codes::OUT_OF_RANGE, clock.spans.at("off_by"), message)
            .label(format!("this is {}", show::date(shows)))
            .help(format!("from {} to {}", show::date(Date::MIN), show::date(Date::MAX)))
    })
}

/// A pack of more volts than the device can read.
pub(super) fn over_meter(scenario: &Scenario) -> Option<Diagnostic> {
    // a fresh cell at rest (from memory)
    const CELL_V: f64 = 1.6;
    let most_v = f64::from(u16::MAX) / 1e3;
    let Supply::Battery { spans, .. } = &scenario.supply else { return None };
    let cells = forecast::cells_in_series(scenario)?;
    let volts = f64::from(cells) * CELL_V;
    (volts > most_v).then(|| {
        Diagnostic::new(
            codes::OUT_OF_RANGE,
            spans.get("cells").unwrap_or_else(|| spans.at("type")),
            "the pack has more volts than the device reads",
        )
        .label(format!("{cells} cells in series: up to {volts:.0} V"))
        .help(format!(
            "at most {:.0} cells, and a motor of less voltage",
            (most_v / CELL_V).floor()
        ))
    })
}

/// More than the device has room for, and the scenario without it, so that the rest can be
/// checked.
pub(super) fn too_many(scenario: &Scenario) -> Option<(Vec<Diagnostic>, Scenario)> {
    let found: Vec<Diagnostic> =
        [too_many_entries(scenario), too_many_closed(scenario)].into_iter().flatten().collect();
    let mut rest = scenario.clone();
    rest.entries.truncate(LINES);
    rest.closed.truncate(MOST_CLOSED);
    rest.closed_spans.truncate(MOST_CLOSED);
    (!found.is_empty()).then_some((found, rest))
}

fn too_many_entries(scenario: &Scenario) -> Option<Diagnostic> {
    (scenario.entries.len() > LINES).then(|| {
        refusals::diagnostic(
            scenario,
            &Timetable::EMPTY,
            None,
            &Refusal::TooManyEntries { most: LINES },
            &mut refusals::Starts::default(),
        )
    })
}

fn too_many_closed(scenario: &Scenario) -> Option<Diagnostic> {
    let spans = scenario.closed_spans.get(MOST_CLOSED)?;
    Some(
        Diagnostic::new(
            codes::TOO_MANY_CLOSED,
            spans.table(),
            "more stretches of closed dates than the device holds",
        )
        .label(format!("{} stretches; at most {MOST_CLOSED}", scenario.closed.len()))
        .help("join stretches that follow on each other"),
    )
}
