//! The battery pack as it really is: how much of it is used, what its voltage is,
//! and when it browns out. A model; its parameters are in [`cells`].

pub mod cells;

use cells::CellModel;

use crate::scenario::{Scenario, Supply};
use crate::trade::cells::{DRIVER_DROP_V, MOTOR_V, ROOM_C, cells_for};

/// Ms in an hour.
const HOUR_MS: f64 = 3.6e6;
/// Hours in a year.
const YEAR_H: f64 = 8766.0;
/// How long the device is off after a brown-out, until its supply has recovered, in
/// ms (model parameter).
pub(super) const RECOVERS_MS: u64 = 1_000;
/// With this share of its charge used a pack still counts as a fresh one: it waits for its
/// first dose (own choice).
const FRESH: f64 = 0.02;

/// Work that a pack is to do in one go.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Work {
    /// Pump-on time, in ms.
    pub on_ms: u64,
    /// Starts of the motor.
    pub starts: u64,
    /// How long the device is awake for it, in ms.
    pub lasts_ms: u64,
}

/// A pack and what draws from it.
#[derive(Debug, Clone)]
pub struct Battery {
    cell: CellModel,
    cells: f64,
    celsius: f64,
    motor_a: f64,
    /// Charge of a start beside the running current, in As, and its current.
    start_as: f64,
    start_a: f64,
    sleep_a: f64,
    display_a: f64,
    lost_a_year: f64,
    /// Least voltage of the device, in V.
    least_v: f64,
    /// From this share of use on it has not even that much at rest.
    dead_from: f64,
    /// Share of the charge that is used.
    used: f64,
    motor: bool,
    lit: bool,
    awake: bool,
    now: u64,
}

impl Battery {
    /// As a scenario has it at its start; `None` on mains.
    pub fn of(scenario: &Scenario) -> Option<Self> {
        let Supply::Battery { cells_of, cells, pack, .. } = &scenario.supply else { return None };
        let amps = |ua: u32| f64::from(ua) / 1e6;
        let motor = scenario.motor.as_ref();
        let motor_v = motor.map_or(MOTOR_V, |motor| f64::from(motor.voltage_mv) / 1e3);
        let cell = CellModel::of(*cells_of);
        let start_a = motor.map_or(1.2, |motor| amps(motor.start_current_ua));
        let mut battery = Self {
            cells: f64::from(cells.map_or_else(|| cells_for(motor_v, DRIVER_DROP_V), u32::from)),
            celsius: pack.temperature_mc.map_or(ROOM_C, |mc| f64::from(mc) / 1e3),
            motor_a: motor.map_or(0.35, |motor| amps(motor.current_ua)),
            start_as: start_a * motor.map_or(0.03, |motor| f64::from(motor.start_ms) / 1e3),
            start_a,
            sleep_a: pack.sleep_ua.map_or(60e-6, amps),
            display_a: pack.display_ua.map_or(0.012, amps),
            lost_a_year: pack.self_discharge_ppm.map_or(cell.lost_a_year, |p| f64::from(p) / 1e6),
            least_v: motor_v + DRIVER_DROP_V,
            dead_from: 0.0,
            used: 1.0 - pack.charge_ppm.map_or(1.0, |ppm| f64::from(ppm) / 1e6),
            cell,
            motor: false,
            lit: false,
            awake: true,
            now: 0,
        };
        battery.dead_from = battery.find_dead();
        Some(battery)
    }

    /// The same at another temperature, in C.
    #[must_use]
    pub fn at(&self, celsius: f64) -> Self {
        let mut other = Self { celsius, ..self.clone() };
        other.dead_from = other.find_dead();
        other
    }

    /// The share of use from which on the voltage at rest is under the device's least.
    fn find_dead(&self) -> f64 {
        self.find_under(false)
    }

    /// The share of use from which on the voltage is under the device's least.
    fn find_under(&self, motor: bool) -> f64 {
        // an open circuit has nothing left long before twice the charge is used
        let (mut alive, mut dead) = (0.0, 2.0);
        while dead - alive > 1e-9 {
            let share = f64::midpoint(alive, dead);
            if self.volts(share, motor) < self.least_v { dead = share } else { alive = share }
        }
        dead
    }

    /// Whether a fresh one has the device's least voltage under the motor's load.
    pub fn moves_motor(&self) -> bool {
        self.fresh_v() >= self.least_v
    }

    /// Voltage of a fresh one under the motor's load, in V.
    pub fn fresh_v(&self) -> f64 {
        self.volts(0.0, true)
    }

    /// Voltage under the motor's load, in V, of one that is down to the device's least when
    /// so many times this work is done; `None` where a fresh one would be there before.
    pub fn begins_v(&self, work: &Work, times: f64) -> Option<f64> {
        let takes = self.used_a_ms(true) * work.on_ms as f64
            + self.used_a_ms(false) * work.lasts_ms as f64
            + self.used_a_start() * work.starts as f64;
        let used = self.find_under(true) - times * takes;
        (used > FRESH).then(|| self.volts(used, true))
    }

    /// Another pack, full.
    pub(super) fn change(&mut self, cells: Option<crate::scenario::CellType>, now: u64) {
        self.advance(now);
        if let Some(cells) = cells {
            self.cell = CellModel::of(cells);
            self.lost_a_year = self.cell.lost_a_year;
            self.dead_from = self.find_dead();
        }
        self.used = 0.0;
    }

    /// Share of the charge that a ms takes as things are.
    fn used_a_ms(&self, motor: bool) -> f64 {
        let mut share = self.lost_a_year / YEAR_H;
        let mut draw = |on: bool, amps: f64, at_a: f64| {
            if on {
                share += amps / self.cell.capacity_at(at_a, self.celsius);
            }
        };
        draw(self.awake, self.sleep_a, self.sleep_a);
        draw(self.lit, self.display_a, self.display_a);
        draw(motor, self.motor_a, self.motor_a);
        share / HOUR_MS
    }

    /// Share of the charge that a start takes beside the running current.
    fn used_a_start(&self) -> f64 {
        self.start_as / (3600.0 * self.cell.capacity_at(self.start_a, self.celsius))
    }

    /// Lets time pass up to a true ms.
    pub(super) fn advance(&mut self, to: u64) {
        let ms = to.saturating_sub(self.now);
        if ms > 0 {
            self.used += self.used_a_ms(self.motor) * ms as f64;
            self.now = to;
        }
    }

    /// The motor goes on or off.
    pub(super) fn set_motor(&mut self, on: bool, now: u64) {
        self.advance(now);
        if on && !self.motor {
            self.used += self.used_a_start();
        }
        self.motor = on;
    }

    pub(super) fn set_lit(&mut self, on: bool, now: u64) {
        self.advance(now);
        self.lit = on;
    }

    /// The device is fed from it, or not: a pack that is out only ages.
    pub(super) fn set_awake(&mut self, on: bool, now: u64) {
        self.advance(now);
        self.awake = on;
        self.lit &= on;
        self.motor &= on;
    }

    fn volts(&self, used: f64, motor: bool) -> f64 {
        let amps = if motor { self.motor_a } else { 0.0 };
        self.cells * self.cell.volts(used, amps, self.celsius)
    }

    /// What its voltage reads as, in mV; 0 is no reading.
    pub fn reads_mv(&self, loaded: bool) -> u16 {
        (self.volts(self.used, loaded) * 1e3).round().clamp(1.0, 65_535.0) as u16
    }

    /// A test load of the motor's current for so many ms.
    pub(super) fn tested(&mut self, ms: u64) {
        self.used += self.used_a_ms(true) * ms as f64;
    }

    /// Whether it cannot feed the device even at rest.
    pub(super) fn is_dead(&self) -> bool {
        self.used >= self.dead_from
    }

    /// When it browns out as things are, in true ms: with the motor running under its
    /// load, else at rest. `None` for never, or not in the next day of a motor that runs.
    pub(super) fn sags_at(&self) -> Option<u64> {
        if !self.motor {
            let ms = (self.dead_from - self.used) / self.used_a_ms(false);
            // what is further off than the count of ms goes saturates, and never comes
            return (!ms.is_nan()).then(|| self.now.saturating_add(ms.ceil().max(0.0) as u64));
        }
        let day = 86_400_000_u64;
        let under =
            |ms: u64| self.volts(self.used + self.used_a_ms(true) * ms as f64, true) < self.least_v;
        if !under(day) {
            return None;
        }
        let (mut low, mut high) = (0, day);
        while low < high {
            let mid = low.midpoint(high);
            if under(mid) { high = mid } else { low = mid + 1 }
        }
        Some(self.now + low)
    }

    /// Share of its charge that is left.
    pub fn left(&self) -> f64 {
        (1.0 - self.used).max(0.0)
    }
}
