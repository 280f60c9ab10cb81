//! The timetable of a sheet, and in which size all of it goes onto one page.

use dosewright_core::entry::GapRule;
use dosewright_core::time::Utc;
use maud::{Markup, html};

use crate::check;
use crate::report::figure;
use crate::run::{Frame, Options};
use crate::scenario::{ClockPlan, EntryPlan, IntervalStart, RecurrencePlan, Scenario, show};

/// Closed stretches that the sizes have room for beside their lines.
const FEW_CLOSED: usize = 4;
/// Cells of one more: `2026-12-24 to 2027-01-03; `.
const CLOSED_CELLS: usize = 26;
const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// A size in which the page is printed: its class, cells in a line of the timetable, and
/// lines that the timetable may have beside the fullest of the rest. As measured on letter
/// paper, which is the shorter one, with something to spare.
struct Size {
    class: &'static str,
    cells: usize,
    lines: usize,
}

/// From the usual one down; the last one is the smallest that is read without a glass.
const SIZES: [Size; 3] = [
    Size { class: "", cells: 95, lines: 12 },
    Size { class: "small", cells: 108, lines: 23 },
    Size { class: "smaller", cells: 122, lines: 32 },
];

/// A timetable that is fitted onto a page.
pub(super) struct Fit<'s> {
    entries: Vec<&'s EntryPlan>,
    rows: Vec<[String; 6]>,
    /// The entries that run on closed dates too, by name.
    go_on: Option<String>,
    /// Rows that there is room for.
    shown: usize,
    /// Closed stretches that there is room for.
    closed: usize,
    /// The class of the page.
    pub(super) class: &'static str,
}

impl<'s> Fit<'s> {
    /// The largest size in which all of it goes onto the page; else the smallest, with as
    /// many rows as go.
    pub(super) fn of(scenario: &'s Scenario) -> Self {
        let entries: Vec<&EntryPlan> =
            scenario.entries.iter().filter(|entry| entry.enabled).collect();
        let rows: Vec<[String; 6]> =
            entries.iter().map(|entry| cells(entry, &scenario.clock)).collect();
        let go_on = go_on(scenario, entries.len());
        let told = go_on.as_ref().map_or(0, |names| names.chars().count());
        let widest =
            |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
        let width: usize = (0..6).map(widest).sum();
        let closed = scenario.closed.len();
        let room = |size: &Size, closed: usize| {
            let more = closed.saturating_sub(FEW_CLOSED) * CLOSED_CELLS;
            let beside = told / size.cells + more.div_ceil(size.cells);
            let lines = size.lines.saturating_sub(beside);
            (lines / width.div_ceil(size.cells).max(1)).max(1)
        };
        let [.., last] = &SIZES;
        let size = SIZES.iter().find(|size| rows.len() <= room(size, closed)).unwrap_or(last);
        // what has no room is counted: closed dates before entries
        let fits = |closed: &usize| rows.len() <= room(size, *closed);
        let closed = (FEW_CLOSED..=closed).rev().find(fits).unwrap_or(closed.min(FEW_CLOSED));
        let shown = rows.len().min(room(size, closed));
        Self { entries, rows, go_on, shown, closed, class: size.class }
    }
}

/// The entries that run on closed dates too.
fn go_on(scenario: &Scenario, all: usize) -> Option<String> {
    // the sheet stays for longer than the run
    let frame = Frame::of(scenario, &Options::default());
    let planned = crate::world::first_timetable(scenario, &frame);
    let always = Frame { run_ms: u64::MAX, ..frame };
    let names: Vec<&str> = scenario
        .entries
        .iter()
        .zip(planned.entries())
        .filter(|(plan, entry)| plan.enabled && check::dosed_on(scenario, entry, &always).is_some())
        .map(|(plan, _)| plan.name.as_str())
        .collect();
    match names.len() {
        0 => None,
        count if count == all && count > 1 => Some("all of them".to_owned()),
        _ => Some(names.join(", ")),
    }
}

/// Entry, when, dose, window, ends by, dates.
fn cells(entry: &EntryPlan, clock: &ClockPlan) -> [String; 6] {
    [
        entry.name.clone(),
        when(entry, clock),
        show::dose(entry.volume),
        window(entry),
        ends(entry),
        dates(entry),
    ]
}

fn when(entry: &EntryPlan, clock: &ClockPlan) -> String {
    match entry.recurrence {
        RecurrencePlan::Weekly { days, at_min, by_night } => {
            let named: Vec<&str> = WEEKDAYS
                .iter()
                .enumerate()
                .filter(|(i, _)| days.bits() & (1 << i) != 0)
                .map(|(_, day)| *day)
                .collect();
            let days = if named.len() == 7 { "every day".to_owned() } else { named.join(" ") };
            let what = match (by_night, named.len()) {
                (true, 7) => "every night".to_owned(),
                (true, _) => format!("nights of {days}"),
                (false, _) => days,
            };
            format!("{what}, {:02}:{:02}", at_min / 60, at_min % 60)
        }
        RecurrencePlan::Every { interval_ms, from } => {
            let zone = &clock.zone.zone;
            let from = match from {
                IntervalStart::Local(local) => local,
                IntervalStart::After(after) => {
                    let start = zone.to_utc(clock.start, GapRule::Shift).as_ms();
                    zone.to_local(Utc::from_ms(start.saturating_add_unsigned(after.as_ms())))
                }
                IntervalStart::Accepted => clock.start,
            };
            format!("every {} from {}", show::length(interval_ms), show::local(from))
        }
    }
}

fn ends(entry: &EntryPlan) -> String {
    match entry.recurrence {
        RecurrencePlan::Weekly { at_min, .. } => {
            let at = |lasts_ms: u64| {
                let end = (u64::from(at_min) * 60_000 + lasts_ms).div_ceil(60_000);
                format!("{:02}:{:02}", end / 60 % 24, end % 60)
            };
            let (window, grace) = (u64::from(entry.window_ms), u64::from(entry.grace_ms));
            if grace == 0 {
                at(window)
            } else {
                format!("{}, if disturbed {}", at(window), at(window + grace))
            }
        }
        RecurrencePlan::Every { .. } => "-".to_owned(),
    }
}

/// The window; with what a disturbed dose has beside it.
fn window(entry: &EntryPlan) -> String {
    let window = show::length(u64::from(entry.window_ms));
    match entry.grace_ms {
        0 => window,
        grace => format!("{window}, grace {}", show::length(u64::from(grace))),
    }
}

fn dates(entry: &EntryPlan) -> String {
    match (entry.first, entry.last) {
        (None, None) => "always".to_owned(),
        (Some(first), None) => format!("from {}", show::date(first)),
        (None, Some(last)) => format!("until {}", show::date(last)),
        (Some(first), Some(last)) => format!("{} to {}", show::date(first), show::date(last)),
    }
}

/// The timetable as it goes onto one page.
pub(super) fn timetable(scenario: &Scenario, fit: &Fit) -> Markup {
    let on = fit.entries.as_slice();
    let closed: Vec<String> = scenario
        .closed
        .iter()
        .take(fit.closed)
        .map(|dates| format!("{} to {}", show::date(dates.first), show::date(dates.last)))
        .collect();
    html! {
        section class="wide" {
            h2 { "Timetable" }
            div class="scroll" tabindex="0" role="region" aria-label="Timetable" {
                table {
                    thead { tr {
                        @for name in ["entry", "when", "dose", "window", "ends by", "dates"] {
                            th scope="col" { (name) }
                        }
                    } }
                    tbody {
                        @for [name, others @ ..] in fit.rows.iter().take(fit.shown) {
                            tr {
                                th scope="row" { (name) }
                                @for cell in others { td { (cell) } }
                            }
                        }
                    }
                }
            }
            @if on.len() > fit.shown {
                p { strong { (on.len() - fit.shown) " more entries have no room here: leave the file with this sheet." } }
            }
            p {
                "Zone " code { (scenario.clock.zone_of_device().written) }
                ". A night is named by the day on which it begins. "
                @if closed.is_empty() { "No closed dates." }
                @else {
                    "Closed: " (figure::dated(&closed.join("; ")))
                    @if scenario.closed.len() > fit.closed {
                        "; " strong { (scenario.closed.len() - fit.closed) " more have no room here: leave the file with this sheet" }
                    }
                    "."
                    @if let Some(names) = &fit.go_on {
                        " These run on closed dates too: " strong { (names) } "."
                    }
                }
                @if on.iter().any(|entry| entry.grace_ms > 0) {
                    " Disturbed: cut, stopped, made to wait or woken late."
                }
                " Dosed: pump ran, flow not sensed."
            }
        }
    }
}
