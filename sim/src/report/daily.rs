//! The volume of each day against the ceiling (D7).

use dosewright_core::civil::Date;
use maud::html;

use super::facts::Facts;
use super::figure::{Figure, Table, W, cell, label, line, n, rect, sample, ticks, unit};
use crate::run::{Frame, Options};
use crate::scenario::{Scenario, show};
use crate::units;

/// Bars that are drawn: days, else the fullest day of each week or month.
const MOST_BARS: usize = 62;
const SPAN_MS: i64 = 23 * 3_600_000;
const DAY_MS: i64 = 86_400_000;

/// One bar.
#[derive(Clone, Copy, Default)]
struct Bar {
    day: i64,
    /// Volume of the fullest day in it.
    most_ul: u64,
    /// Largest volume of any 23 h that end in it.
    in_23_h_ul: u64,
}

/// The ceiling in force at the start, in microlitres.
fn ceiling(scenario: &Scenario) -> u64 {
    let frame = Frame::of(scenario, &Options::default());
    crate::world::first_timetable(scenario, &frame).ceiling_in_force().as_ul()
}

/// Whether the ceiling may be another one later: it goes by the timetable unless the file
/// gives it, and operators changed that.
fn may_change(facts: &Facts, scenario: &Scenario) -> bool {
    const CHANGES: [&str; 6] = ["edit", "disable", "enable", "remove", "add", "timetable"];
    scenario.limits.daily_ceiling.is_none()
        && facts
            .became
            .iter()
            .any(|(kind, _, became)| became == "taken" && CHANGES.contains(&kind.as_str()))
}

fn bars(facts: &Facts) -> Vec<Bar> {
    let first = facts.frame.start.as_ms().div_euclid(DAY_MS);
    let end = facts.frame.local(facts.totals.simulated_ms.saturating_sub(1));
    // the due by the device's elapsed time, its true day, its volume
    let mut dues: Vec<(i64, usize, u64)> = facts
        .doses
        .iter()
        .filter(|dose| dose.most_ul > 0)
        .filter_map(|dose| {
            // a setting of the clock moves the local time of a due, not its instant
            let by_clock = || dose.at(&facts.frame).map(|at| facts.true_ms(at));
            let due_ms = dose.due_ms.or_else(by_clock)?;
            let at = facts.frame.local(u64::try_from(due_ms).unwrap_or(0));
            let day = (at.as_ms().div_euclid(DAY_MS) - first).max(0);
            // by its own time are two dues 23 h apart, and no true millisecond less
            Some((dose.due_elapsed_ms.unwrap_or(due_ms), day as usize, dose.most_ul))
        })
        .collect();
    dues.sort_unstable();
    // a dose can be due in the last moment of a run, which is another day's first
    let last = (end.as_ms().div_euclid(DAY_MS) - first).max(0) as usize;
    let count = dues.iter().map(|(_, day, _)| *day).max().unwrap_or(0).max(last) + 1;
    let mut all: Vec<Bar> =
        (0..count).map(|i| Bar { day: first + i as i64, ..Bar::default() }).collect();
    let (mut from, mut sum) = (0, 0_u64);
    for i in 0..dues.len() {
        let (at, day, ul) = dues[i];
        sum += ul;
        while at - dues[from].0 >= SPAN_MS {
            sum -= dues[from].2;
            from += 1;
        }
        if let Some(bar) = all.get_mut(day) {
            bar.most_ul += ul;
            bar.in_23_h_ul = bar.in_23_h_ul.max(sum);
        }
    }
    all
}

/// The fullest of each `by` days.
fn gathered(days: &[Bar], by: usize) -> Vec<Bar> {
    days.chunks(by)
        .map(|part| Bar {
            day: part.first().map_or(0, |bar| bar.day),
            most_ul: part.iter().map(|bar| bar.most_ul).max().unwrap_or(0),
            in_23_h_ul: part.iter().map(|bar| bar.in_23_h_ul).max().unwrap_or(0),
        })
        .collect()
}

/// The figure.
pub(super) fn figure(facts: &Facts, scenario: Option<&Scenario>) -> Figure {
    let days = bars(facts);
    let by = days.len().div_ceil(MOST_BARS);
    let by = if by > 1 { by.div_ceil(7) * 7 } else { 1 };
    let bars = gathered(&days, by.max(1));
    let ceiling = scenario.map(ceiling);
    let (in_ml, of) = (|ul: u64| units::little(ul as f64 / 1000.0), units::of_little());
    let top = bars
        .iter()
        .map(|bar| bar.most_ul.max(bar.in_23_h_ul))
        .chain(ceiling)
        .max()
        .map_or(1.0, in_ml)
        .max(0.001);
    let steps = ticks(top);
    let most = steps.last().copied().unwrap_or(top).max(top) * 1.04;
    let (left, right, high, low) = (54.0, W - 10.0, 26.0, 186.0);
    let each = (right - left) / bars.len().max(1) as f64;
    let y = |ml: f64| low - ml / most * (low - high);
    let date = |bar: &Bar| show::date(Date::from_days(bar.day as i32));
    let svg = html! {
        @for step in &steps {
            (line("grid", left, y(*step), right, y(*step)))
            (label(left - 4.0, y(*step) + 4.0, "end", &n(*step, 3)))
        }
        (unit(of))
        @for (i, bar) in bars.iter().enumerate() {
            @let x = left + i as f64 * each;
            @if bar.most_ul > 0 {
                (rect("bar", x + each * 0.15, y(in_ml(bar.most_ul)), (each * 0.7).max(0.6), low - y(in_ml(bar.most_ul))))
            }
            @if bar.in_23_h_ul > 0 {
                (line("mark", x + each * 0.05, y(in_ml(bar.in_23_h_ul)), x + each * 0.95, y(in_ml(bar.in_23_h_ul))))
            }
        }
        @if let Some(ceiling) = ceiling { (line("limit", left, y(in_ml(ceiling)), right, y(in_ml(ceiling)))) }
        (line("axis", left, low, right, low))
        @if let Some(first) = bars.first() { (label(left, low + 14.0, "start", &date(first))) }
        @if let Some(last) = bars.last().filter(|_| bars.len() > 1) { (label(right, low + 14.0, "end", &date(last))) }
    };
    let fullest = days.iter().rev().max_by_key(|bar| bar.in_23_h_ul).copied().unwrap_or_default();
    let changed = scenario.is_some_and(|scenario| may_change(facts, scenario));
    let against = ceiling.map_or_else(String::new, |ceiling| {
        let ml = n(in_ml(ceiling), 3);
        if changed {
            return format!(
                ". The timetable was changed in the run, and the ceiling with it: that of the start is {ml} {of}"
            );
        }
        let word = if fullest.in_23_h_ul <= ceiling { "stays under" } else { "is over" };
        format!(", and {word} the ceiling of {ml} {of}")
    });
    let of_ceiling = if changed { "ceiling at the start" } else { "ceiling of any 23 hours" };
    let what = match by {
        1 => String::new(),
        7 => " Each bar is the fullest day of a week.".to_owned(),
        by => format!(" Each bar is the fullest day of {by}."),
    };
    let mut legend = vec![
        (sample(rect("bar", 7.0, 2.0, 10.0, 12.0)), "volume of the true day, at most, by due"),
        (sample(line("mark", 2.0, 7.0, 22.0, 7.0)), "most in any 23 hours"),
    ];
    if ceiling.is_some() {
        legend.push((sample(line("limit", 0.0, 7.0, 24.0, 7.0)), of_ceiling));
    }
    let rows = bars
        .iter()
        .map(|bar| {
            vec![
                cell(date(bar)),
                cell(n(in_ml(bar.most_ul), 3)),
                cell(n(in_ml(bar.in_23_h_ul), 3)),
                cell(ceiling.map_or_else(|| "-".to_owned(), |c| n(in_ml(c), 3))),
            ]
        })
        .collect();
    Figure {
        id: "daily".to_owned(),
        title: "Daily volume against the ceiling".to_owned(),
        finding: format!(
            "The most in any 23 hours is {} {of}, first on {}{against}.{what}",
            n(in_ml(fullest.in_23_h_ul), 3),
            date(&fullest)
        ),
        height: 206.0,
        svg,
        legend,
        table: Table {
            head: vec![
                if by == 1 { "day" } else { "from" },
                "volume of the fullest day, ml",
                "most in 23 h, ml",
                if changed { "ceiling at the start, ml" } else { "ceiling, ml" },
            ],
            rows,
            note: None,
        },
    }
}
