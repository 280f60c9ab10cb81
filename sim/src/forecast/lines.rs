//! The forecast as lines for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Change, Figures, Forecast, Until, levels_ml, voltage};
use crate::lines::{line, rounded};
use crate::scenario::{Scenario, show};
use crate::trade::restate::Drawdown;

/// Every line of `forecast --json`.
#[derive(Serialize, JsonSchema)]
#[serde(untagged)]
#[allow(clippy::large_enum_variant)]
enum Line<'a> {
    /// Until when things last.
    Fits(Fits<'a>),
    /// The timetable does not fit, or the file cannot be read.
    Not(Not<'a>),
    /// What weighing the container says.
    Drawdown(DrawdownLine),
    /// A day of the container.
    Level(LevelLine),
    /// A day of the pack.
    Voltage(VoltageLine),
}

/// Until when things last. A date is null where that is after ten years.
#[derive(Serialize, JsonSchema)]
struct Fits<'a> {
    #[schemars(extend("const" = "forecast"))]
    event: &'static str,
    file: &'a str,
    #[schemars(extend("const" = true))]
    fits: bool,
    start: String,
    doses_a_year: u64,
    volume_a_year_ml: f64,
    /// Null on mains.
    battery: Option<Battery>,
    /// Null where none is described.
    container: Option<Stock>,
    tube_set: Tube,
    /// Null where no dips are told of.
    separator: Option<Separator>,
    memory: Memory,
    next_visit: Option<Visit>,
    clock_ppm: f64,
    prime_ml: Option<f64>,
    siphon_ml_min: Option<f64>,
    discharge: Option<Discharge>,
    warnings: &'a [String],
    /// What would help, one change at a time.
    changes: Vec<Gain<'a>>,
}

/// A date, and how far it may be off.
#[derive(Serialize, JsonSchema)]
struct When {
    /// From the start; null for never.
    days: Option<f64>,
    date: Option<String>,
    least: Option<String>,
    most: Option<String>,
}

#[derive(Serialize, JsonSchema)]
struct Battery {
    /// It is a model's figure.
    model: bool,
    until: When,
    cell: &'static str,
    cells: Option<u32>,
    usable_ah: f64,
    /// What is in it at the start.
    left_ah: f64,
    week_ah: f64,
}

#[derive(Serialize, JsonSchema)]
struct Stock {
    until: When,
    low_contact: Option<String>,
    order_by: Option<String>,
    /// An order at the start comes too late to keep the slack.
    order_late: bool,
    /// The product's date comes first.
    shelf_governs: bool,
}

#[derive(Serialize, JsonSchema)]
struct Tube {
    date: Option<String>,
    /// For how many days it has been due.
    overdue_days: f64,
    /// Hours that it has pumped beyond its life, where they govern.
    overdue_hours: f64,
    by: &'static str,
    hours_a_year: f64,
}

#[derive(Serialize, JsonSchema)]
struct Separator {
    /// Of the last dip.
    dipped: String,
    /// Of the last emptying, where that is known.
    emptied: Option<String>,
    /// Share of its depth that grease and solids took at the last dip; 0 where it was emptied
    /// since.
    fill_percent: f64,
    limit_percent: f64,
    /// What to do at the start: wait, book the emptying, or it is due.
    #[schemars(extend("enum" = ["wait", "book", "due"]))]
    advice: &'static str,
    /// When it is at the limit by the last two dips, or the dip since it was emptied; null where
    /// these do not tell, and where it was over the limit at the last dip already.
    limit_date: Option<String>,
}

#[derive(Serialize, JsonSchema)]
struct Memory {
    years: f64,
    records_a_day: f64,
    erases_a_year: f64,
    /// For which a record is kept at least.
    kept_days: f64,
}

#[derive(Serialize, JsonSchema)]
struct Visit {
    date: Option<String>,
    reason: String,
}

/// Of the fullest day in a year.
#[derive(Serialize, JsonSchema)]
struct Discharge {
    active_g_a_day: f64,
    active_mg_l: f64,
    cod_mg_l: f64,
}

/// What a change gains, from date to date; null for what is not there, or for ever.
#[derive(Serialize, JsonSchema)]
struct Gain<'a> {
    what: &'a str,
    visit_days: Option<f64>,
    battery_days: Option<f64>,
    container_days: Option<f64>,
}

/// Nothing was forecast.
#[derive(Serialize, JsonSchema)]
struct Not<'a> {
    #[schemars(extend("const" = "forecast"))]
    event: &'static str,
    file: &'a str,
    #[schemars(extend("const" = false))]
    fits: bool,
}

/// What weighing the container says.
#[derive(Serialize, JsonSchema)]
struct DrawdownLine {
    #[schemars(extend("const" = "drawdown"))]
    event: &'static str,
    drawn_ml: f64,
    /// Of the account.
    error_percent: f64,
    /// Expanded uncertainty of that by the weighing, k = 2.
    expanded_percent: f64,
}

/// What is in the container at the beginning of a day, by the timetable.
#[derive(Serialize, JsonSchema)]
struct LevelLine {
    #[schemars(extend("const" = "level"))]
    event: &'static str,
    day: String,
    level_ml: f64,
}

/// Voltage of the pack with the motor running, at the beginning of a day (model);
/// null after its end.
#[derive(Serialize, JsonSchema)]
struct VoltageLine {
    #[schemars(extend("const" = "voltage"))]
    event: &'static str,
    day: String,
    typical_v: Option<f64>,
    worst_v: Option<f64>,
}

/// The courses of container and pack, a line a day.
pub fn courses(scenario: &Scenario, f: &Forecast) -> String {
    let mut out = String::new();
    let day = |days: usize| show::date(f.start.plus_days(i32::try_from(days).unwrap_or(i32::MAX)));
    for (at, ml) in levels_ml(scenario).unwrap_or_default().into_iter().enumerate() {
        let (day, level_ml) = (day(at), rounded(ml));
        out += &line(&Line::Level(LevelLine { event: "level", day, level_ml }));
    }
    if let Some(volts) = voltage(scenario) {
        for at in 0..volts.typical.len().max(volts.worst.len()) {
            let of = |course: &[f64]| course.get(at).copied().map(rounded);
            let (typical_v, worst_v) = (of(&volts.typical), of(&volts.worst));
            let event = "voltage";
            out += &line(&Line::Voltage(VoltageLine { event, day: day(at), typical_v, worst_v }));
        }
    }
    out
}

fn days(value: f64) -> Option<f64> {
    value.is_finite().then(|| (value * 100.0).round() / 100.0)
}

fn when(f: &Forecast, until: &Until) -> When {
    let date = |days| f.date(days).map(show::date);
    When {
        days: days(until.days),
        date: date(until.days),
        least: date(until.least),
        most: date(until.most),
    }
}

/// The forecast as a line.
pub fn json(
    name: &str,
    f: &Forecast,
    changes: &[Change],
    figures: &Figures,
    warnings: &[String],
) -> String {
    let date = |days: f64| f.date(days).map(show::date);
    line(&Line::Fits(Fits {
        event: "forecast",
        file: name,
        fits: true,
        start: show::date(f.start),
        doses_a_year: f.year.1,
        volume_a_year_ml: rounded(f.year.0),
        battery: f.pack.as_ref().map(|pack| Battery {
            model: true,
            until: when(f, &pack.until),
            cell: pack.cell.name,
            cells: pack.cells,
            usable_ah: rounded(pack.usable_ah),
            left_ah: rounded(pack.left_ah),
            week_ah: rounded(pack.drain.total_ah() + pack.lost_ah),
        }),
        container: f.stock.as_ref().map(|stock| Stock {
            until: when(f, &stock.until),
            low_contact: stock.low_days.and_then(date),
            order_by: date(stock.reorder_days),
            order_late: stock.is_order_late(),
            shelf_governs: stock.shelf_governs,
        }),
        tube_set: Tube {
            date: date(f.tube.days),
            overdue_days: rounded(f.tube.overdue_days),
            overdue_hours: rounded(f.tube.over_hours),
            by: f.tube.governs.word(),
            hours_a_year: rounded(f.tube.hours_a_year),
        },
        separator: f.separator.as_ref().map(|separator| Separator {
            dipped: show::date(separator.dipped),
            emptied: separator.emptied.map(show::date),
            fill_percent: rounded(100.0 * separator.fill),
            limit_percent: rounded(100.0 * separator.limit),
            advice: separator.advice.word(),
            limit_date: separator.limit_days.and_then(date),
        }),
        memory: Memory {
            years: rounded(f.wear.years),
            records_a_day: rounded(f.wear.records_a_day),
            erases_a_year: rounded(f.wear.erases_a_year),
            kept_days: rounded(f.wear.kept_days),
        },
        next_visit: f
            .next()
            .map(|call| Visit { date: date(call.days), reason: call.reason.clone() }),
        clock_ppm: rounded(figures.clock_ppm),
        prime_ml: figures.prime_ml.map(rounded),
        siphon_ml_min: figures.siphon.map(|flow| rounded(flow.ml_min)),
        discharge: figures.discharge.as_ref().map(|d| Discharge {
            active_g_a_day: rounded(d.active_g()),
            active_mg_l: rounded(d.active_mg_l()),
            cod_mg_l: rounded(d.cod_mg_l()),
        }),
        warnings,
        changes: changes
            .iter()
            .map(|change| Gain {
                what: &change.what,
                visit_days: days(change.visit_days),
                battery_days: change.pack_days.and_then(days),
                container_days: change.stock_days.and_then(days),
            })
            .collect(),
    }))
}

/// The line of a file that cannot be forecast.
pub fn not(name: &str) -> String {
    line(&Line::Not(Not { event: "forecast", file: name, fits: false }))
}

/// A drawdown as a line.
pub fn drawdown_json(found: &Drawdown) -> String {
    line(&Line::Drawdown(DrawdownLine {
        event: "drawdown",
        drawn_ml: found.drawn_ml,
        error_percent: found.error_percent,
        expanded_percent: found.expanded_percent,
    }))
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<Line<'_>>("forecast --json")
}
