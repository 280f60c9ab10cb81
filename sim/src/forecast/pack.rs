//! What a pack gives, what a day takes from it, and whether it is strong enough.

use super::reserve::{TIMES, reserve};
use super::{BATTERY_RANGE, Day, Until, days_until, share};
use crate::scenario::{CellType, Motor, Pack, Scenario, Supply};
use crate::trade::battery::{Drain, Load, Week};
use crate::trade::cells::{
    AGE_SHARE, COOL_C, Cell, DRIVER_DROP_V, HR20, LR6, LR14, LR20, MOTOR_V, cells_for,
};
use crate::world::battery::Work;

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

/// The cells of a type.
const fn cell(of: CellType) -> Cell {
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

/// Share of the cells' capacity that can be used: what is said; else by the share that age
/// leaves and the temperature, which is that of a cool cellar where it is not said.
fn usable_share(cell: &Cell, pack: &Pack, age: f64) -> f64 {
    let celsius = pack.temperature_mc.map_or(COOL_C, |mc| f64::from(mc) / 1e3);
    share(pack.usable_ppm, cell.cold_share(celsius) * age)
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
    let volts = least_v(scenario);
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

/// What motor and driver take, in V.
pub(super) fn least_v(scenario: &Scenario) -> f64 {
    motor_v(scenario) + DRIVER_DROP_V
}

/// Cells with so much of their charge count as full: what the shelf and age take is in
/// the share that can be used (own choice).
const FRESH: f64 = 0.9;

/// What a cell still gives under a small load where it counts as empty, as a factor
/// (own choice).
const PAST_END: f64 = 1.01;

/// What a pack gives and what a day takes from it.
pub(super) struct Draw {
    pub(super) load: Load,
    pub(super) cell: Cell,
    /// Until its cells, each by itself, count as empty.
    pub(super) to_end_ah: f64,
    /// Of a full one, until so many of them in series do not move the motor any more.
    pub(super) usable_ah: f64,
    /// Of that, what is gone at the start.
    pub(super) used_ah: f64,
    /// Share of the charge that is gone at the start.
    gone: f64,
    /// Share of the capacity that can be used of cells that lose nothing to age.
    fresh_share: f64,
    pub(super) lost_ah_a_day: f64,
    pub(super) lit_h: f64,
    /// Whether that is said: else nobody may ever light the display.
    is_lit_known: bool,
}

impl Draw {
    /// With the cells in series, where they are known; `None` on mains.
    pub(super) fn of(scenario: &Scenario) -> Option<(Self, Option<u32>)> {
        let Supply::Battery { cells_of, cells, pack, .. } = &scenario.supply else { return None };
        let load = load(scenario.motor.as_ref(), pack);
        let cell = cell(*cells_of);
        let in_series = cells_in_series(scenario)?;
        let least_v = least_v(scenario) / f64::from(in_series);
        let to_end_ah = cell.capacity_ah(load.motor_a) * usable_share(&cell, pack, AGE_SHARE);
        let usable_ah = to_end_ah * cell.used_at_v(least_v, load.motor_a);
        let lost_a_year = share(pack.self_discharge_ppm, cell.lost_a_year);
        let draw = Self {
            load,
            cell,
            to_end_ah,
            usable_ah,
            used_ah: to_end_ah * (1.0 - share(pack.charge_ppm, 1.0) / FRESH).max(0.0),
            gone: 1.0 - share(pack.charge_ppm, 1.0),
            fresh_share: usable_share(&cell, pack, 1.0),
            lost_ah_a_day: to_end_ah * lost_a_year / 365.25,
            lit_h: pack.lit_a_week_ms.map_or(LIT_MIN / 60.0, |ms| f64::from(ms) / 3.6e6),
            is_lit_known: pack.lit_a_week_ms.is_some(),
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

    /// What is gone at the start at most: the charge taken as it is said, in Ah.
    pub(super) fn gone_ah(&self) -> f64 {
        self.to_end_ah * self.gone
    }

    fn of_day(&self, day: &Day) -> Drain {
        let week = Week {
            pumping_h: 7.0 * day.pumping_h,
            starts: 7.0 * day.starts,
            display_h: self.lit_h,
        };
        Drain::of(&self.load, &week)
    }

    /// In Ah.
    fn of_work(&self, work: &Work) -> f64 {
        let start_as = self.load.start_a * self.load.start_s * work.starts as f64;
        (self.load.motor_a * work.on_ms as f64 / 1e3 + start_as) / 3600.0
    }

    /// In Ah.
    pub(super) fn a_day(&self, day: &Day) -> f64 {
        self.of_day(day).total_ah() / 7.0 + self.lost_ah_a_day
    }

    /// Share of the charge that a day takes, where each draw has the capacity of its own
    /// current: the best estimate takes all of it at the motor's.
    fn share_a_day(&self, day: &Day) -> f64 {
        let own_ah = |amps: f64| {
            // no more is known of a current below the lightest load
            let least_a = self.cell.light.0.min(self.load.motor_a);
            self.cell.capacity_ah(amps.max(least_a))
        };
        let drain = self.of_day(day);
        let drawn = drain.pumping_ah / own_ah(self.load.motor_a)
            + drain.starts_ah / own_ah(self.load.start_a)
            + drain.sleep_ah / own_ah(self.load.sleep_a)
            + if self.is_lit_known { drain.display_ah / own_ah(self.load.display_a) } else { 0.0 };
        drawn / 7.0 / self.fresh_share + self.lost_ah_a_day / self.to_end_ah
    }

    /// Days until fresh cells that lose nothing to age, under a display that nobody lights,
    /// let a dose go: the one after the dose that was begun with the last of them.
    fn fresh_days(&self, days: &[Day]) -> f64 {
        let limit = (self.reach() - self.gone) * PAST_END;
        if limit.is_nan() || limit <= 0.0 {
            return 0.0;
        }
        let over = days_until(days, limit, |day| self.share_a_day(day));
        let after = |(i, day): (usize, &Day)| (i as f64 > over && day.doses > 0).then_some(i);
        days.iter().enumerate().find_map(after).map_or(f64::INFINITY, |i| i as f64)
    }
}

/// Days that a full pack lasts by what can be counted on of it, and how many days ahead
/// *battery low* is to come, where that is from the start.
pub(super) fn low_from_the_start(scenario: &Scenario) -> Option<(f64, u8)> {
    let (draw, _) = Draw::of(scenario)?;
    let Supply::Battery { pack, .. } = &scenario.supply else { return None };
    let ahead = pack.warn_days.unwrap_or(dosewright_core::power::Pack::WARN_DAYS);
    let counted_ah = draw.usable_ah * (1.0 - BATTERY_RANGE);
    let days = super::days(scenario, usize::from(ahead) + 1);
    let lasts = days_until(&days, counted_ah, |day| draw.a_day(day));
    (counted_ah > 0.0 && lasts <= f64::from(ahead)).then_some((lasts, ahead))
}

pub(super) fn pack(scenario: &Scenario, days: &[Day]) -> Option<PackForecast> {
    let (draw, cells) = Draw::of(scenario)?;
    let reserve = reserve(scenario);
    let kept_ah = reserve.as_ref().map_or(0.0, |reserve| TIMES * draw.of_work(&reserve.most));
    // a pack that cannot be counted on to finish a dose begins none
    let is_over = reserve.is_some_and(|reserve| reserve.over.is_some());
    let left_ah = if is_over { 0.0 } else { draw.left_ah() };
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
    // of a full pack: what is left of one that is not is as much in doubt as the whole
    let doubt_ah = BATTERY_RANGE * usable_ah;
    let least_ah = left_ah.min(usable_ah - draw.gone_ah());
    // a dose is let go when the pack does not hold it and what is kept for it
    let least = days_until(days, least_ah - doubt_ah.max(kept_ah), a_day).max(0.0);
    let most = if left_ah > 0.0 { days_until(days, left_ah + doubt_ah, a_day) } else { 0.0 };
    let fresh_days = if left_ah > 0.0 { draw.fresh_days(days) } else { 0.0 };
    Some(PackForecast {
        until: Until { days: last, least, most: most.max(fresh_days) },
        cell,
        cells,
        usable_ah,
        left_ah,
        is_cool: is_kept_cool(&scenario.supply),
        drain,
        lost_ah: 7.0 * lost_ah_a_day,
    })
}
