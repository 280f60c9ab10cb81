//! Until when things last: battery, container, tube set, memory; what would help
//! most; when to order and when to come.
//!
//! Days are reckoned one by one from the timetable, with its dates, its closed
//! dates and its start-up phases. What rests on a model says so.

mod changes;
mod course;
mod days;
mod lines;
mod memory;
mod page;
mod setting;
mod warnings;

pub use changes::{Change, changes};
pub use course::{Voltage, levels_ml, voltage};
pub use days::{Day, days};
pub use lines::{courses, drawdown_json, json, not, schema};
pub use memory::{RATED_ERASES, Wear, wear};
pub use page::{drawdown_page, page};
pub use setting::pack_setting;
pub(crate) use warnings::weak_help;
pub use warnings::{Figures, figures, warnings};

use dosewright_core::civil::Date;

use crate::scenario::{CellType, Container, Motor, Pack, Scenario, Supply, Tube};
use crate::trade::battery::{Drain, Load, Week};
use crate::trade::cells::{
    AGE_SHARE, Cell, DRIVER_DROP_V, HR20, LR6, LR14, LR20, MOTOR_V, USABLE_COOL, cells_for,
    cold_share,
};
use crate::trade::stock::{LEAD_DAYS, SLACK_DAYS};
use crate::trade::tube_set::{Governs, Life, USUAL};
use crate::trade::visit::Call;

/// Days that are reckoned: what lasts longer is said to last longer.
pub const HORIZON_DAYS: usize = 3653;
/// Half-width of the range about the battery's days, as a share: what PCA
/// R7.3.0(3) allows an estimate.
pub const BATTERY_RANGE: f64 = 0.25;
/// Half-width of the range about the container's days, as a share: the flow is
/// within 5 % for 72 h and more (GIP 1.2.1).
pub const FLOW_RANGE: f64 = 0.05;
/// Motor current, start current and its length unless said (common practice, no
/// source).
const MOTOR: (f64, f64, f64) = (0.35, 1.2, 0.03);
/// Sleep and display currents unless said (common practice, no source).
const SLEEP_A: f64 = 60e-6;
/// See [`SLEEP_A`].
const DISPLAY_A: f64 = 0.012;
/// Minutes a week that the display is lit unless said (common practice, no
/// source).
const LIT_MIN: f64 = 3.0;
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

/// The pack.
#[derive(Clone, Debug, PartialEq)]
pub struct PackForecast {
    /// When it is exhausted.
    pub until: Until,
    /// Cells.
    pub cell: Cell,
    /// Cells in series; `None` where the motor's voltage is not known.
    pub cells: Option<u32>,
    /// What can be used of it, in Ah.
    pub usable_ah: f64,
    /// Of that, what is in it at the start, in Ah.
    pub left_ah: f64,
    /// Nothing is said of where it is kept: a cool cellar is taken.
    pub is_cool: bool,
    /// An average week's drain over the first year, or until it is exhausted.
    pub drain: Drain,
    /// Drain by self-discharge in a week, in Ah.
    pub lost_ah: f64,
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
            format!("Order now: {lead:.0} d to the delivery, it may be empty before")
        } else if spare < slack {
            format!(
                "Order now: after {lead:.0} d to the delivery {:.0} d of slack are left, not {slack:.0}",
                spare.floor()
            )
        } else {
            format!(
                "Order by {}: {lead:.0} d to the delivery and {slack:.0} d of slack",
                date(self.reorder_days)
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
    /// By what.
    pub governs: Governs,
    /// Pumping in the first year, in hours.
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

/// The cells of a type.
pub const fn cell(of: CellType) -> Cell {
    match of {
        CellType::Lr20 => LR20,
        CellType::Lr14 => LR14,
        CellType::Lr6 => LR6,
        CellType::Hr20 => HR20,
    }
}

fn load(motor: Option<&Motor>, pack: &Pack) -> Load {
    let amps = |ua: u32| f64::from(ua) / 1e6;
    let (motor_a, start_a, start_s) = motor.map_or(MOTOR, |motor| {
        (amps(motor.current_ua), amps(motor.start_current_ua), f64::from(motor.start_ms) / 1e3)
    });
    Load {
        motor_a,
        start_a,
        start_s,
        sleep_a: pack.sleep_ua.map_or(SLEEP_A, amps),
        display_a: pack.display_ua.map_or(DISPLAY_A, amps),
    }
}

/// Whether nothing is said of the share that can be used, nor of the temperature.
fn is_kept_cool(supply: &Supply) -> bool {
    matches!(supply, Supply::Battery { pack, .. }
        if pack.usable_ppm.is_none() && pack.temperature_mc.is_none())
}

/// Share of the cells' capacity that can be used: what is said; by the temperature,
/// where that is; else that of a cool cellar (common practice, no source).
fn cold_or_cool(pack: &Pack) -> f64 {
    let by_cold = pack.temperature_mc.map(|mc| cold_share(f64::from(mc) / 1e3) * AGE_SHARE);
    share(pack.usable_ppm, by_cold.unwrap_or(USABLE_COOL))
}

fn share(ppm: Option<u32>, usual: f64) -> f64 {
    ppm.map_or(usual, |ppm| f64::from(ppm) / 1e6)
}

/// Days until a running sum of `each` reaches `limit`, with the part of the day on
/// which it does; infinite beyond the horizon.
fn days_until(days: &[Day], limit: f64, each: impl Fn(&Day) -> f64) -> f64 {
    let mut sum = 0.0;
    for (i, day) in days.iter().enumerate() {
        let use_ = each(day);
        if sum + use_ > limit && use_ > 0.0 {
            return i as f64 + ((limit - sum) / use_).clamp(0.0, 1.0);
        }
        sum += use_;
    }
    f64::INFINITY
}

/// A pack that cannot give what is in it, at its motor's voltage and current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeakPack {
    /// Cells in series.
    pub cells: u32,
    /// How many have the voltage until each is empty; more do not help a strong current.
    pub wanted: u32,
    /// Voltage of motor and driver, in V, and current of the motor, in A.
    pub volts: f64,
    /// In A.
    pub motor_a: f64,
    /// Share of their charge that the cells can give; 0 where even fresh ones have not
    /// enough.
    pub share: f64,
}

/// Share of the charge from which on a pack counts as one that gives all of it.
const ALL_OF_IT: f64 = 0.75;

/// Whether a scenario's pack gives three quarters of its charge at most.
pub fn weak_pack(scenario: &Scenario) -> Option<WeakPack> {
    let (draw, _) = Draw::of(scenario)?;
    let cells = cells_in_series(scenario)?;
    let volts = motor_v(scenario) + DRIVER_DROP_V;
    let (share, motor_a) = (draw.reach(), draw.load.motor_a);
    let wanted = cells_for(motor_v(scenario), DRIVER_DROP_V);
    (share < ALL_OF_IT).then_some(WeakPack { cells, wanted, volts, motor_a, share })
}

/// Cells in series of a scenario's pack; `None` on mains.
pub fn cells_in_series(scenario: &Scenario) -> Option<u32> {
    let Supply::Battery { cells, .. } = &scenario.supply else { return None };
    let by_motor = || cells_for(motor_v(scenario), DRIVER_DROP_V);
    Some(cells.map_or_else(by_motor, u32::from))
}

fn motor_v(scenario: &Scenario) -> f64 {
    scenario.motor.as_ref().map_or(MOTOR_V, |motor| f64::from(motor.voltage_mv) / 1e3)
}

/// Cells with so much of their charge count as full: what the shelf and age take is in
/// the share that can be used (own choice).
const FRESH: f64 = 0.9;

/// What a pack gives and what a day takes from it.
struct Draw {
    load: Load,
    cell: Cell,
    /// Until its cells, each by itself, count as empty.
    to_end_ah: f64,
    /// Of a full one, until so many of them in series do not move the motor any more.
    usable_ah: f64,
    /// Of that, what is gone at the start.
    used_ah: f64,
    lost_ah_a_day: f64,
    lit_h: f64,
}

impl Draw {
    /// With the cells in series, where they are known; `None` on mains.
    fn of(scenario: &Scenario) -> Option<(Self, Option<u32>)> {
        let Supply::Battery { cells_of, cells, pack, .. } = &scenario.supply else { return None };
        let load = load(scenario.motor.as_ref(), pack);
        let cell = cell(*cells_of);
        let motor_v = motor_v(scenario);
        let in_series = cells_in_series(scenario)?;
        let least_v = (motor_v + DRIVER_DROP_V) / f64::from(in_series);
        let to_end_ah = cell.capacity_ah(load.motor_a) * cold_or_cool(pack);
        let usable_ah = to_end_ah * cell.used_at_v(least_v, load.motor_a);
        let lost_a_year = share(pack.self_discharge_ppm, cell.lost_a_year);
        let draw = Self {
            load,
            cell,
            to_end_ah,
            usable_ah,
            used_ah: to_end_ah * (1.0 - share(pack.charge_ppm, 1.0) / FRESH).max(0.0),
            lost_ah_a_day: to_end_ah * lost_a_year / 365.25,
            lit_h: pack.lit_a_week_ms.map_or(LIT_MIN / 60.0, |ms| f64::from(ms) / 3.6e6),
        };
        let is_known = cells.is_some() || scenario.motor.is_some();
        Some((draw, is_known.then_some(in_series)))
    }

    /// Share of a full pack's charge that it can give.
    fn reach(&self) -> f64 {
        self.usable_ah / self.to_end_ah
    }

    /// What it can still give, in Ah.
    fn left_ah(&self) -> f64 {
        (self.usable_ah - self.used_ah).max(0.0)
    }

    /// In Ah.
    fn a_day(&self, day: &Day) -> f64 {
        let week = Week {
            pumping_h: 7.0 * day.pumping_h,
            starts: 7.0 * day.starts,
            display_h: self.lit_h,
        };
        Drain::of(&self.load, &week).total_ah() / 7.0 + self.lost_ah_a_day
    }
}

fn pack(scenario: &Scenario, days: &[Day]) -> Option<PackForecast> {
    let (draw, cells) = Draw::of(scenario)?;
    let left_ah = draw.left_ah();
    let Draw { load, cell, usable_ah, lost_ah_a_day, lit_h, .. } = draw;
    let a_day = |day: &Day| draw.a_day(day);
    let last = days_until(days, left_ah, a_day);
    let over = if last.is_finite() { (last.ceil() as usize).max(1) } else { 365 }.min(days.len());
    let part = &days[..over];
    let weeks = part.len() as f64 / 7.0;
    let sum = |of: fn(&Day) -> f64| part.iter().map(of).sum::<f64>() / weeks;
    let drain = Drain::of(
        &load,
        &Week { pumping_h: sum(|d| d.pumping_h), starts: sum(|d| d.starts), display_h: lit_h },
    );
    let ranged = |by: f64| days_until(days, left_ah * by, a_day);
    Some(PackForecast {
        until: Until {
            days: last,
            least: ranged(1.0 - BATTERY_RANGE),
            most: ranged(1.0 + BATTERY_RANGE),
        },
        cell,
        cells,
        usable_ah,
        left_ah,
        is_cool: is_kept_cool(&scenario.supply),
        drain,
        lost_ah: 7.0 * lost_ah_a_day,
    })
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
    let low_days = container
        .low_contact
        .map(|low| days_until(days, ml(container.level.minus(low).as_nl()), each));
    let least = capped(days_until(days, usable / (1.0 + FLOW_RANGE), each));
    StockForecast {
        until: Until {
            days: capped(used),
            least,
            most: capped(days_until(days, usable / (1.0 - FLOW_RANGE), each)),
        },
        low_days,
        reorder_days: (least - lead - slack).max(0.0),
        wait_days: (lead, slack),
        is_at_heel: usable <= 0.0,
        shelf_governs: shelf.is_some_and(|shelf| shelf < used),
        out_of_date: use_by.filter(|date| *date < start),
    }
}

fn tube(tube: Option<&Tube>, start: Date, days: &[Day]) -> TubeForecast {
    let hours = |d: dosewright_core::time::Duration| d.as_ms() as f64 / 3.6e6;
    let life = Life {
        hours: tube.and_then(|t| t.life_pumping).map_or(USUAL.hours, hours),
        days: tube.and_then(|t| t.life).map_or(USUAL.days, |life| hours(life) / 24.0),
        drift: tube.map_or(USUAL.drift, |t| share(t.life_drift_ppm, USUAL.drift)),
    };
    let fitted = tube.and_then(|t| t.fitted).unwrap_or(start);
    let age = f64::from(start.days() - fitted.days());
    let pumped = tube.map_or(0.0, |t| hours(t.pumped));
    let drift = tube.map_or(0.0, |t| share(t.drift_a_year_ppm, 0.0));
    let left = (life.hours - pumped).max(0.0);
    let by_drift = if drift > 0.0 { life.drift / drift * 365.0 - age } else { f64::INFINITY };
    let (days_left, governs) = [
        (life.days - age, Governs::Calendar),
        (days_until(days, left, |day| day.pumping_h), Governs::Hours),
        (by_drift, Governs::Drift),
    ]
    .into_iter()
    .min_by(|a, b| a.0.total_cmp(&b.0))
    .unwrap_or((life.days - age, Governs::Calendar));
    TubeForecast {
        days: days_left.max(0.0),
        overdue_days: (-days_left).max(0.0),
        governs,
        hours_a_year: days.iter().take(365).map(|day| day.pumping_h).sum(),
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
    let pack = pack(scenario, &days);
    let stock = scenario.container.as_ref().map(|c| stock(c, scenario, start, &days));
    let tube = tube(scenario.tube.as_ref(), start, &days);
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
    let due = if tube.overdue_days > 0.0 { "overdue" } else { "due" };
    call(tube.days, format!("the tube set is {due}, by {}", tube.governs.word()));
    let age_days = f64::from(start.days() - calibrated.days());
    let calibrate_days = (CALIBRATION_DAYS - age_days).max(0.0);
    let is = if age_days > CALIBRATION_DAYS { "is over" } else { "is" };
    call(calibrate_days, format!("the calibration {is} six months old"));
    let year = days::year(scenario);
    let wear = wear(scenario, &days);
    Forecast { start, year, pack, stock, tube, wear, calibrate_days, calls }
}
