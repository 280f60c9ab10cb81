//! Until when things last: battery, container, tube set, separator, memory; what would help
//! most; when to order and when to come.
//!
//! Days are reckoned one by one from the timetable, with its dates, its closed
//! dates and its start-up phases. What rests on a model says so.

mod changes;
mod course;
mod days;
mod kept;
mod lines;
mod memory;
mod pack;
mod page;
mod reserve;
mod separator;
mod setting;
mod warnings;

pub use changes::{Change, changes};
pub use course::{Voltage, levels_from_start_ml, levels_ml, voltage};
pub(crate) use days::first_dose;
pub use days::{Day, days};
pub use lines::{courses, drawdown_json, json, not, schema};
pub use memory::{RATED_ERASES, Wear, wear};
pub use pack::{PackForecast, WeakPack, cells_in_series, weak_pack};
pub use page::{drawdown_page, page};
pub use reserve::{OverPack, over_pack};
pub use separator::{SeparatorForecast, Trend};
pub use setting::pack_setting;
pub(crate) use warnings::weak_help;
pub use warnings::{Figures, figures, warnings};

use dosewright_core::civil::Date;

use crate::scenario::{Container, Scenario, Tube};
use crate::trade::stock::{LEAD_DAYS, SLACK_DAYS};
use crate::trade::tube_set::{Governs, Life, USUAL, Used, due_days};
use crate::trade::visit::Call;

/// Days that are reckoned: what lasts longer is said to last longer.
pub const HORIZON_DAYS: usize = 3653;
/// Half-width of the range about the battery's days, as a share: what PCA
/// R7.3.0(3) allows an estimate.
pub const BATTERY_RANGE: f64 = 0.25;
/// Half-width of the range about the container's days, as a share: the flow is
/// within 5 % for 72 h and more (GIP 1.2.1).
pub const FLOW_RANGE: f64 = 0.05;

/// Months between calibrations (common practice, no source), in days.
pub const CALIBRATION_DAYS: f64 = 182.0;

/// When something ends, in days from the start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Until {
    /// Best estimate; infinite beyond the horizon.
    pub days: f64,
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
}

/// The container.
#[derive(Clone, Debug, PartialEq)]
pub struct StockForecast {
    /// When the heel is reached.
    pub until: Until,
    /// When the low-level contact closes, in days; `None` without one.
    pub low_days: Option<f64>,
    /// When to order, in days: so early that it comes in time for the least it lasts.
    pub reorder_days: f64,
    /// Days from an order to the delivery, and days of slack.
    pub wait_days: (f64, f64),
    /// The level is at the heel or below it from the start.
    pub is_at_heel: bool,
    /// The product goes out of date before.
    pub shelf_governs: bool,
    /// The product's date, where it lies before the start.
    pub out_of_date: Option<Date>,
}

impl StockForecast {
    /// Until when to order, in words; `date` tells a day.
    pub fn order(&self, date: impl Fn(f64) -> String) -> String {
        let (lead, slack) = self.wait_days;
        let spare = self.until.least - lead;
        if spare < 0.0 {
            let before = if self.shelf_governs {
                "the product goes out of date before"
            } else {
                "it may be empty before"
            };
            format!("Order now: {lead:.0} d to the delivery, {before}")
        } else if spare < slack {
            format!(
                "Order now: after {lead:.0} d to the delivery {:.0} d of slack are left, not {slack:.0}",
                spare.floor()
            )
        } else {
            format!(
                "Order by {}: {lead:.0} d to the delivery and {slack:.0} d of slack before {}",
                date(self.reorder_days),
                date(self.until.least)
            )
        }
    }

    /// The order comes too late to keep the slack.
    pub fn is_order_late(&self) -> bool {
        self.until.least - self.wait_days.0 < self.wait_days.1
    }
}

/// The tube set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TubeForecast {
    /// When it is due, in days from the start.
    pub days: f64,
    /// For how many days it has been due, by calendar or drift; 0 where it is not.
    pub overdue_days: f64,
    /// Hours that it has pumped beyond its life, where they govern.
    pub over_hours: f64,
    /// By what.
    pub governs: Governs,
    /// Pumping in the first 365 days, in hours.
    pub hours_a_year: f64,
}

/// All of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// The start.
    pub start: Date,
    /// Volume of the first 365 days, in ml, and doses in them.
    pub year: (f64, u64),
    /// `None` on mains.
    pub pack: Option<PackForecast>,
    /// `None` where the file describes no container.
    pub stock: Option<StockForecast>,
    /// Always there: unless the file describes it, fitted at the start.
    pub tube: TubeForecast,
    /// `None` where the file tells of no dips.
    pub separator: Option<SeparatorForecast>,
    /// The memory.
    pub wear: Wear,
    /// Days until the head is to be calibrated again: 0 where that is overdue.
    pub calibrate_days: f64,
    /// What asks for a visit.
    pub calls: Vec<Call>,
}

impl Forecast {
    /// The next visit.
    pub fn next(&self) -> Option<&Call> {
        crate::trade::visit::next(&self.calls)
    }

    /// The date so many days from the start; `None` beyond the horizon.
    pub fn date(&self, days: f64) -> Option<Date> {
        (days.is_finite() && days < 200_000.0).then(|| self.start.plus_days(days.floor() as i32))
    }
}

fn share(ppm: Option<u32>, usual: f64) -> f64 {
    ppm.map_or(usual, |ppm| f64::from(ppm) / 1e6)
}

/// Below this a sum and its limit are the same, in ml or hours: a tenth of a nanolitre,
/// which is more than ten years of sums are off by, and less than any dose.
const SAME: f64 = 1e-7;
/// The latest that something happens on a day, as a part of it.
const DAYS_END: f64 = 0.999;

/// Days until a running sum of `each` goes above `limit`, with the part of the day on
/// which it does; infinite beyond the horizon.
fn days_until(days: &[Day], limit: f64, each: impl Fn(&Day) -> f64) -> f64 {
    day_of(days, limit, each, |sum| sum > limit + SAME)
}

/// The same until the sum has come up to `limit`, if only just.
fn days_up_to(days: &[Day], limit: f64, each: impl Fn(&Day) -> f64) -> f64 {
    if limit <= 0.0 { 0.0 } else { day_of(days, limit, each, |sum| sum >= limit - SAME) }
}

fn day_of(
    days: &[Day],
    limit: f64,
    each: impl Fn(&Day) -> f64,
    is_over: impl Fn(f64) -> bool,
) -> f64 {
    let mut sum = 0.0;
    for (i, day) in days.iter().enumerate() {
        let use_ = each(day);
        if is_over(sum + use_) && use_ > 0.0 {
            return i as f64 + ((limit - sum) / use_).clamp(0.0, DAYS_END);
        }
        sum += use_;
    }
    f64::INFINITY
}

fn stock(container: &Container, scenario: &Scenario, start: Date, days: &[Day]) -> StockForecast {
    let ml = |nl: u64| nl as f64 / 1e6;
    let usable = ml(container.level.minus(container.heel).as_nl());
    let each = |day: &Day| day.volume_ml;
    let used = days_until(days, usable, each);
    let use_by = scenario.product.as_ref().and_then(|product| product.use_by);
    let shelf = use_by.map(|date| f64::from((date.days() - start.days()).max(0)));
    let capped = |days: f64| shelf.map_or(days, |shelf| days.min(shelf));
    let of_days = |length: Option<dosewright_core::time::Duration>, usual: f64| {
        length.map_or(usual, |length| length.as_ms() as f64 / 86.4e6)
    };
    let (lead, slack) = (of_days(container.lead, LEAD_DAYS), of_days(container.slack, SLACK_DAYS));
    // the heel can be drawn down to; the contact closes as soon as the level stands at it
    let low_days = container
        .low_contact
        .map(|low| days_up_to(days, ml(container.level.minus(low).as_nl()), each));
    let least = capped(days_until(days, usable / (1.0 + FLOW_RANGE), each));
    StockForecast {
        until: Until {
            days: capped(used),
            least,
            most: capped(days_until(days, usable / (1.0 - FLOW_RANGE), each)),
        },
        // what goes out of date is drawn no further
        low_days: low_days.filter(|low| shelf.is_none_or(|shelf| *low <= shelf)),
        reorder_days: (least - lead - slack).max(0.0),
        wait_days: (lead, slack),
        is_at_heel: usable <= 0.0,
        shelf_governs: shelf.is_some_and(|shelf| shelf < used),
        out_of_date: use_by.filter(|date| *date < start),
    }
}

fn tube(tube: Option<&Tube>, start: Date, days: &[Day], hours_a_year: f64) -> TubeForecast {
    let hours = |d: dosewright_core::time::Duration| d.as_ms() as f64 / 3.6e6;
    let life = Life {
        hours: tube.and_then(|t| t.life_pumping).map_or(USUAL.hours, hours),
        days: tube.and_then(|t| t.life).map_or(USUAL.days, |life| hours(life) / 24.0),
        drift: tube.map_or(USUAL.drift, |t| share(t.life_drift_ppm, USUAL.drift)),
    };
    let fitted = tube.and_then(|t| t.fitted).unwrap_or(start);
    let used = Used {
        days: f64::from(start.days() - fitted.days()),
        hours: tube.map_or(0.0, |t| hours(t.pumped)),
        drift_a_year: tube.map_or(0.0, |t| share(t.drift_a_year_ppm, 0.0)),
    };
    let to_pump = |left_h| days_until(days, left_h, |day| day.pumping_h);
    let (days_left, governs) = due_days(&life, &used, to_pump);
    let over_hours = (used.hours - life.hours).max(0.0);
    TubeForecast {
        days: days_left.max(0.0),
        overdue_days: (-days_left).max(0.0),
        over_hours: if governs == Governs::Hours { over_hours } else { 0.0 },
        governs,
        hours_a_year,
    }
}

impl TubeForecast {
    /// Whether it has been due for a while.
    pub fn is_overdue(&self) -> bool {
        self.overdue_days > 0.0 || self.over_hours > 0.0
    }

    /// When it is due, or since when, or for how long; `date` tells a day from the start.
    pub(crate) fn due(&self, date: impl Fn(f64) -> String) -> String {
        if self.over_hours > 0.0 {
            format!("overdue by {:.0} h", self.over_hours.ceil())
        } else if self.is_overdue() {
            format!("overdue since {}", date(-self.overdue_days))
        } else {
            format!("due {}", date(self.days))
        }
    }
}

/// Reckons a scenario whose timetable the device accepts.
pub fn forecast(scenario: &Scenario) -> Forecast {
    forecast_of(scenario, scenario.clock.start.date())
}

/// As [`forecast`], of a head that was calibrated on another date than the start's.
pub fn forecast_of(scenario: &Scenario, calibrated: Date) -> Forecast {
    let start = scenario.clock.start.date();
    let days = days(scenario, HORIZON_DAYS);
    let pack = pack::pack(scenario, &days);
    let stock = scenario.container.as_ref().map(|c| stock(c, scenario, start, &days));
    let year = days::year(scenario);
    let tube = tube(scenario.tube.as_ref(), start, &days, year.pumping_h);
    let mut calls = Vec::new();
    let mut call = |days: f64, reason: String| {
        if days.is_finite() {
            calls.push(Call { days, reason });
        }
    };
    if let Some(stock) = &stock {
        let why = match (stock.out_of_date, stock.shelf_governs) {
            (Some(date), _) => {
                format!("the product is out of date since {}", crate::scenario::show::date(date))
            }
            (None, true) => "the product goes out of date".to_owned(),
            (None, false) => "the container is down to its heel".to_owned(),
        };
        call(stock.until.days, why);
        call(stock.until.least, "the container may be down to its heel".to_owned());
    }
    if let Some(pack) = &pack {
        call(pack.until.least, "the pack may be exhausted (model)".to_owned());
    }
    let due = if tube.is_overdue() { "overdue" } else { "due" };
    call(tube.days, format!("the tube set is {due}, by {}", tube.governs.word()));
    let separator = scenario.separator.as_ref().and_then(|s| separator::separator(s, start));
    if let Some(separator) = &separator {
        call(separator.call_days(), separator.reason());
    }
    let age_days = f64::from(start.days() - calibrated.days());
    let calibrate_days = (CALIBRATION_DAYS - age_days).max(0.0);
    let is = if age_days > CALIBRATION_DAYS { "is over" } else { "is" };
    call(calibrate_days, format!("the calibration {is} six months old"));
    let wear = wear(scenario, &days);
    let year = (year.volume_ml, u64::from(year.doses));
    Forecast { start, year, pack, stock, tube, separator, wear, calibrate_days, calls }
}
