//! How the pack runs down, by the forecast's model.

use dosewright_core::civil::Date;
use maud::html;

use super::figure::{Figure, Table, W, cell, label, line, n, path, sample, unit};
use crate::forecast::{self, Forecast};
use crate::scenario::{Scenario, show};

/// Points of a course that are drawn and told.
pub(super) const POINTS: usize = 40;

pub(super) const LEFT: f64 = 54.0;
pub(super) const RIGHT: f64 = W - 12.0;
pub(super) const TOP: f64 = 26.0;
pub(super) const LOW: f64 = 186.0;

/// Every so-many-th of a course, and its last.
pub(super) fn sampled(course: &[f64]) -> Vec<(usize, f64)> {
    let step = course.len().div_ceil(POINTS).max(1);
    let mut out: Vec<(usize, f64)> = course.iter().copied().enumerate().step_by(step).collect();
    if let Some(last) = course.len().checked_sub(1)
        && out.last().is_none_or(|(at, _)| *at != last)
    {
        out.extend(course.last().map(|value| (last, *value)));
    }
    out
}

pub(super) fn day(start: Date, days: usize) -> String {
    show::date(start.plus_days(days as i32))
}

/// The axis of dates under a picture.
pub(super) fn dates(start: Date, most: usize) -> maud::Markup {
    let x = |day: f64| LEFT + day / most.max(1) as f64 * (RIGHT - LEFT);
    html! {
        (line("axis", LEFT, LOW, RIGHT, LOW))
        // the middle has a date of its own only where it is a whole day with room beside
        @for part in (0..=2_usize).filter(|part| *part != 1 || most.is_multiple_of(2) || most > 12) {
            @let at = most * part / 2;
            @let anchor = ["start", "middle", "end"][part];
            (line("axis", x(at as f64), LOW, x(at as f64), LOW + 4.0))
            (label(x(at as f64), LOW + 16.0, anchor, &day(start, at)))
        }
    }
}

/// The pack's voltage; `None` on mains.
pub(super) fn battery(scenario: &Scenario, forecast: &Forecast) -> Option<Figure> {
    let voltage = forecast::voltage(scenario)?;
    let pack = forecast.pack.as_ref()?;
    let most = voltage.typical.len().saturating_sub(1).max(1);
    let cells = f64::from(voltage.cells);
    let (high_v, low_v) = (1.6 * cells, 0.8 * cells);
    let x = |day: usize| LEFT + day as f64 / most as f64 * (RIGHT - LEFT);
    let y = |volts: f64| LOW - (volts - low_v) / (high_v - low_v) * (LOW - TOP);
    let points = |course: &[f64]| {
        sampled(course).into_iter().map(|(at, volts)| (x(at), y(volts))).collect::<Vec<_>>()
    };
    let end = voltage.end_v * cells;
    let date = |days: f64| {
        forecast
            .date(days)
            .map_or_else(|| "after 10 years".to_owned(), |date| format!("on {}", show::date(date)))
    };
    let steps = [0.9, 1.1, 1.3, 1.5].map(|v| v * cells);
    let svg = html! {
        @for step in steps {
            (line("grid", LEFT, y(step), RIGHT, y(step)))
            (label(LEFT - 4.0, y(step) + 4.0, "end", &n(step, 2)))
        }
        (unit("V"))
        (line("limit", LEFT, y(end), RIGHT, y(end)))
        (path("one", &points(&voltage.typical)))
        (path("two", &points(&voltage.worst)))
        (dates(forecast.start, most))
    };
    let of = if voltage.cells > 1 {
        format!("{} x {}", voltage.cells, pack.cell.name)
    } else {
        format!("a cell {}", pack.cell.name)
    };
    let worst = sampled(&voltage.worst);
    let mut rows: Vec<Vec<maud::Markup>> = sampled(&voltage.typical)
        .into_iter()
        .map(|(at, volts)| {
            let low = voltage.worst.get(at).map_or_else(|| "-".to_owned(), |v| n(*v, 3));
            vec![cell(day(forecast.start, at)), cell(n(volts, 3)), cell(low)]
        })
        .collect();
    // the end of the worst course falls between two of the typical one's days
    if let Some((at, volts)) = worst.last() {
        let row = vec![
            cell(day(forecast.start, *at)),
            cell(voltage.typical.get(*at).map_or_else(|| "-".to_owned(), |v| n(*v, 3))),
            cell(n(*volts, 3)),
        ];
        let place = rows.iter().position(|row| row[0].0 >= day(forecast.start, *at));
        match place {
            Some(place) if rows[place][0].0 == day(forecast.start, *at) => {}
            Some(place) => rows.insert(place, row),
            None => rows.push(row),
        }
    }
    Some(Figure {
        id: "battery".to_owned(),
        title: "Battery voltage with the motor running (model)".to_owned(),
        finding: format!(
            "By the model {of} is exhausted {}; at worst, with a quarter less, {}. It reads {} V then.",
            date(pack.until.days),
            date(pack.until.least),
            n(end, 2)
        ),
        height: 210.0,
        svg,
        legend: vec![
            (sample(path("one", &[(0.0, 7.0), (24.0, 7.0)])), "typical"),
            (sample(path("two", &[(0.0, 7.0), (24.0, 7.0)])), "worst: a quarter less charge"),
            (sample(line("limit", 0.0, 7.0, 24.0, 7.0)), "exhausted"),
        ],
        table: Table { head: vec!["day", "typical, V", "worst, V"], rows, note: None },
    })
}
