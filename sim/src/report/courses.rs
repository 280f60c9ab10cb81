//! How things run down: the pack by the forecast's model, the container by account
//! and forecast.

use dosewright_core::civil::Date;
use maud::html;

use super::facts::Facts;
use super::figure::{Figure, Table, W, cell, label, line, n, path, sample, ticks};
use crate::forecast::{self, Forecast};
use crate::scenario::{Scenario, show};
use crate::trade::cells::END_V;

/// Points of a course that are drawn and told.
const POINTS: usize = 40;

const LEFT: f64 = 54.0;
const RIGHT: f64 = W - 12.0;
const TOP: f64 = 16.0;
const LOW: f64 = 186.0;

/// Every so-many-th of a course, and its last.
fn sampled(course: &[f64]) -> Vec<(usize, f64)> {
    let step = course.len().div_ceil(POINTS).max(1);
    let mut out: Vec<(usize, f64)> = course.iter().copied().enumerate().step_by(step).collect();
    if let Some(last) = course.len().checked_sub(1)
        && out.last().is_none_or(|(at, _)| *at != last)
    {
        out.extend(course.last().map(|value| (last, *value)));
    }
    out
}

fn day(start: Date, days: usize) -> String {
    show::date(start.plus_days(days as i32))
}

/// The axis of dates under a picture.
fn dates(start: Date, most: usize) -> maud::Markup {
    let x = |day: f64| LEFT + day / most.max(1) as f64 * (RIGHT - LEFT);
    html! {
        (line("axis", LEFT, LOW, RIGHT, LOW))
        @for part in 0..=2_usize {
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
    let end = END_V * cells;
    let date =
        |days: f64| forecast.date(days).map_or_else(|| "after 10 years".to_owned(), show::date);
    let steps = [0.9, 1.1, 1.3, 1.5].map(|v| v * cells);
    let svg = html! {
        @for step in steps {
            (line("grid", LEFT, y(step), RIGHT, y(step)))
            (label(LEFT - 4.0, y(step) + 4.0, "end", &format!("{} V", n(step, 2))))
        }
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
            "By the model {of} is exhausted on {}; at worst, with a quarter less, on {}. It reads {} V then.",
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

/// Level by account at the end of each day of the run, in ml.
fn account(facts: &Facts, level_ml: f64) -> Vec<f64> {
    let days = (facts.totals.simulated_ms / 86_400_000) as usize;
    let mut drawn = vec![0.0; days + 1];
    for dose in &facts.doses {
        if let Some(ended) = dose.ended {
            let day = (facts.true_ms(ended).max(0) / 86_400_000) as usize;
            if let Some(sum) = drawn.get_mut(day + 1) {
                *sum += dose.most_ul as f64 / 1000.0;
            }
        }
    }
    let mut level = level_ml;
    drawn
        .into_iter()
        .map(|ml| {
            level = (level - ml).max(0.0);
            level
        })
        .collect()
}

/// The container's level; `None` without one.
pub(super) fn container(
    facts: Option<&Facts>,
    scenario: &Scenario,
    forecast: &Forecast,
) -> Option<Figure> {
    let container = scenario.container.as_ref()?;
    let stock = forecast.stock.as_ref()?;
    let planned = forecast::levels_ml(scenario)?;
    let litres = |ml: f64| ml / 1000.0;
    let in_ml = |volume: dosewright_core::units::Volume| volume.as_nl() as f64 / 1e6;
    let ran = facts.map(|facts| account(facts, in_ml(container.level))).unwrap_or_default();
    let most_days = planned.len().saturating_sub(1).max(1);
    let most_days = if stock.until.days.is_finite() {
        most_days
    } else {
        most_days.min(ran.len().max(2 * 365))
    };
    let ran = &ran[..ran.len().min(most_days + 1)];
    let planned = &planned[..planned.len().min(most_days + 1)];
    let top_l = litres(in_ml(container.level)).max(0.001);
    let steps = ticks(top_l);
    let most_l = steps.last().copied().unwrap_or(top_l).max(top_l);
    let x = |day: f64| LEFT + day / most_days as f64 * (RIGHT - LEFT);
    let y = |l: f64| LOW - l / most_l * (LOW - TOP);
    let points = |course: &[f64]| {
        sampled(course)
            .into_iter()
            .map(|(at, ml)| (x(at as f64), y(litres(ml))))
            .collect::<Vec<_>>()
    };
    let date =
        |days: f64| forecast.date(days).map_or_else(|| "after 10 years".to_owned(), show::date);
    let heel = litres(in_ml(container.heel));
    let low = container.low_contact.map(|low| litres(in_ml(low)));
    let reorder = stock.reorder_days.is_finite().then_some(stock.reorder_days);
    let svg = html! {
        @for step in &steps {
            (line("grid", LEFT, y(*step), RIGHT, y(*step)))
            (label(LEFT - 4.0, y(*step) + 4.0, "end", &format!("{} l", n(*step, 2))))
        }
        (line("limit", LEFT, y(heel), RIGHT, y(heel)))
        @if let Some(low) = low { (line("due", LEFT, y(low), RIGHT, y(low))) }
        (path("two", &points(planned)))
        (path("one", &points(ran)))
        @if let Some(days) = reorder.filter(|days| *days <= most_days as f64) {
            (line("mark", x(days), TOP, x(days), LOW))
            @let near = x(days) > W - 90.0;
            (label(if near { x(days) - 4.0 } else { x(days) + 4.0 }, TOP + 10.0, if near { "end" } else { "start" }, "order by"))
        }
        (dates(forecast.start, most_days))
    };
    let order = reorder.map(|days| format!(" Order by {}.", date(days))).unwrap_or_default();
    let contact = stock
        .low_days
        .map(|days| format!(" The low-level contact closes on {}.", date(days)))
        .unwrap_or_default();
    let mut legend = vec![
        (sample(path("two", &[(0.0, 7.0), (24.0, 7.0)])), "by the timetable"),
        (sample(line("limit", 0.0, 7.0, 24.0, 7.0)), "heel: the suction tube ends here"),
    ];
    if !ran.is_empty() {
        legend.insert(
            0,
            (
                sample(path("one", &[(0.0, 7.0), (24.0, 7.0)])),
                "by account of the run, at most delivered",
            ),
        );
    }
    if low.is_some() {
        legend.push((sample(line("due", 0.0, 7.0, 24.0, 7.0)), "low-level contact"));
    }
    if reorder.is_some() {
        legend.push((sample(line("mark", 12.0, 0.0, 12.0, 14.0)), "order by"));
    }
    let rows = sampled(planned)
        .into_iter()
        .map(|(at, ml)| {
            let by_run = ran.get(at).map_or_else(|| "-".to_owned(), |ml| n(litres(*ml), 3));
            vec![cell(day(forecast.start, at)), cell(by_run), cell(n(litres(ml), 3))]
        })
        .collect();
    Some(Figure {
        id: "container".to_owned(),
        title: "Level of the container".to_owned(),
        finding: format!(
            "{} l at the start are down to the heel on {}.{contact}{order}",
            n(top_l, 3),
            date(stock.until.days)
        ),
        height: 210.0,
        svg,
        legend,
        table: Table {
            head: vec!["day", "by account, l", "by the timetable, l"],
            rows,
            note: None,
        },
    })
}
