//! Pump, tube and container as they really are: where the product is, what the
//! pump moves, and what goes where nobody meant it to.
//!
//! A model in integers: between two changes every flow is constant. A flow in
//! nanolitres a minute times milliseconds gives sixty-thousandths of a nanolitre,
//! so nothing is lost to rounding.

use dosewright_core::units::{Flow, Volume};

/// Sixty-thousandths of a nanolitre in a nanolitre.
const PARTS: i128 = 60_000;
/// How long a stalled motor takes to be known by its driver, in ms (a parameter of
/// the model, no source).
pub(super) const STALL_TRIP_MS: u64 = 200;
/// How long too high a current takes to be known, in ms (a parameter of the model,
/// no source).
pub(super) const OVER_CURRENT_TRIP_MS: u64 = 50;

/// A container, as it really is.
#[derive(Debug, Clone, Copy)]
struct Tank {
    level: i128,
    heel: i128,
    /// Level at which its contact closes.
    low: Option<i128>,
}

/// What the pump draws from and delivers to.
#[derive(Debug, Clone)]
pub(super) struct Plant {
    /// True ms up to which all of it is reckoned.
    now: u64,
    tank: Option<Tank>,
    /// What the head delivers a minute, in nl.
    flow: i128,
    /// The drive is on.
    drive: bool,
    /// The motor does not turn, though the drive is on.
    pub(super) stalled: bool,
    /// What runs out by itself a minute, in nl: the squeeze is lost.
    siphon: i128,
    /// What runs back from the suction tube a minute, in nl: the foot valve leaks.
    back: i128,
    /// What of the suction tube can drain back.
    lifted: i128,
    /// How much of that is air.
    air: i128,
    delivered: i128,
    spilled: i128,
    /// A run began with air in the suction tube.
    pub(super) drew_air: bool,
}

fn parts(volume: Volume) -> i128 {
    i128::from(volume.as_nl()) * PARTS
}

fn nl(parts: i128) -> u64 {
    u64::try_from((parts + PARTS / 2) / PARTS).unwrap_or(0)
}

impl Plant {
    pub(super) fn new(flow: Flow, lifted: Volume) -> Self {
        Self {
            now: 0,
            tank: None,
            flow: i128::from(flow.as_nl_per_min()),
            drive: false,
            stalled: false,
            siphon: 0,
            back: 0,
            lifted: parts(lifted),
            air: 0,
            delivered: 0,
            spilled: 0,
            drew_air: false,
        }
    }

    pub(super) fn set_tank(&mut self, level: Volume, heel: Volume, low: Option<Volume>) {
        self.tank = Some(Tank { level: parts(level), heel: parts(heel), low: low.map(parts) });
    }

    /// Whether the suction tube reaches any product.
    fn reaches(&self) -> bool {
        self.tank.is_none_or(|tank| tank.level > tank.heel)
    }

    /// What the pump draws, what runs out and what runs back, in nl a minute.
    fn rates(&self) -> (i128, i128, i128) {
        let turns = self.drive && !self.stalled;
        let pump = if turns && self.reaches() { self.flow } else { 0 };
        let siphon = if self.tank.is_some() && self.reaches() { self.siphon } else { 0 };
        let back = if !self.drive && self.air < self.lifted { self.back } else { 0 };
        (pump, siphon, back)
    }

    /// Whether nothing flows at all, as it is between two pulses.
    fn is_still(&self) -> bool {
        (self.stalled || !self.drive) && self.siphon == 0 && (self.drive || self.back == 0)
    }

    /// How long the flows stay as they are, in ms; `None` for without end.
    fn steady_ms(&self) -> Option<i128> {
        let is_plain = self.tank.is_none() && self.air == 0 && (self.drive || self.back == 0);
        if is_plain || self.is_still() {
            return None;
        }
        let (pump, siphon, back) = self.rates();
        let down = pump + siphon - back;
        let mut next: Option<i128> = None;
        let mut put = |left: i128, rate: i128| {
            if left > 0 && rate > 0 {
                let ms = (left + rate - 1) / rate;
                next = Some(next.map_or(ms, |next| next.min(ms)));
            }
        };
        if let Some(tank) = &self.tank {
            put(tank.level - tank.heel, down);
            if let Some(low) = tank.low {
                put(tank.level - low, down);
                put(low - tank.level + 1, -down);
            }
        }
        put(self.air, pump);
        put(self.lifted - self.air, back);
        next
    }

    /// When something of it changes next, in true ms.
    pub(super) fn next_at(&self) -> Option<u64> {
        let ms = u64::try_from(self.steady_ms()?).ok()?;
        Some(self.now.saturating_add(ms.max(1)))
    }

    /// Lets time pass up to a true ms.
    pub(super) fn advance(&mut self, to: u64) {
        if self.is_still() {
            self.now = self.now.max(to);
            return;
        }
        while self.now < to {
            let left = i128::from(to - self.now);
            let ms = self.steady_ms().map_or(left, |steady| steady.clamp(1, left));
            self.pass(ms);
            self.now += u64::try_from(ms).unwrap_or(1);
        }
    }

    fn pass(&mut self, ms: i128) {
        let (pump, siphon, back) = self.rates();
        let (mut drawn, mut out) = (pump * ms, siphon * ms);
        let returned = (back * ms).min(self.lifted - self.air);
        if let Some(tank) = &mut self.tank {
            let can = (tank.level - tank.heel).max(0);
            drawn = drawn.min(can);
            out = out.min(can - drawn);
            tank.level += returned - drawn - out;
        }
        // what the pump draws fills the suction tube first
        let fills = drawn.min(self.air);
        self.air += returned - fills;
        self.delivered += drawn - fills;
        self.spilled += out;
    }

    /// The drive goes on or off.
    pub(super) fn set_drive(&mut self, on: bool, now: u64) {
        self.advance(now);
        self.drive = on;
        self.drew_air |= on && self.air > 0;
    }

    pub(super) fn set_flow(&mut self, flow: Flow, now: u64) {
        self.advance(now);
        self.flow = i128::from(flow.as_nl_per_min());
    }

    pub(super) fn set_stalled(&mut self, stalled: bool, now: u64) {
        self.advance(now);
        self.stalled = stalled;
    }

    /// The squeeze is lost, with what runs out a minute, or it is back. Whether
    /// anything runs out.
    pub(super) fn set_siphon(&mut self, flow: Option<Flow>, now: u64) -> bool {
        self.advance(now);
        self.siphon = flow.map_or(0, |flow| i128::from(flow.as_nl_per_min()));
        self.rates().1 > 0
    }

    /// The foot valve leaks, or holds again.
    pub(super) fn set_back(&mut self, flow: Option<Flow>, now: u64) {
        self.advance(now);
        self.back = flow.map_or(0, |flow| i128::from(flow.as_nl_per_min()));
    }

    pub(super) fn refill(&mut self, level: Volume, now: u64) {
        self.advance(now);
        if let Some(tank) = &mut self.tank {
            tank.level = parts(level);
        }
    }

    /// Whether the level is at its contact or below it.
    pub(super) fn is_low(&self) -> bool {
        self.tank.is_some_and(|tank| tank.low.is_some_and(|low| tank.level <= low))
    }

    /// What came out at the outlet by the pump, in nl.
    pub(super) fn delivered_nl(&self) -> u64 {
        nl(self.delivered)
    }

    /// What ran out by itself, in nl.
    pub(super) fn spilled_nl(&self) -> u64 {
        nl(self.spilled)
    }

    /// What is in the container, in nl.
    pub(super) fn level_nl(&self) -> Option<u64> {
        self.tank.map(|tank| nl(tank.level))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flow(ml: u32) -> Flow {
        Flow::from_nl_per_min(ml * 1_000_000).unwrap()
    }

    fn ml(ml: u64) -> Volume {
        Volume::from_ml(ml)
    }

    #[test]
    fn the_pump_draws_down_to_the_heel_and_no_further() {
        let mut plant = Plant::new(flow(60), ml(0));
        plant.set_tank(ml(100), ml(40), Some(ml(80)));
        plant.set_drive(true, 1_000);
        // 20 ml at 1 ml/s
        assert_eq!(plant.next_at(), Some(21_000));
        plant.advance(20_999);
        assert!(!plant.is_low());
        plant.advance(21_000);
        assert!(plant.is_low());
        plant.advance(200_000);
        assert_eq!((plant.delivered_nl(), plant.level_nl()), (60_000_000, Some(40_000_000)));
        plant.refill(ml(90), 200_000);
        assert!(!plant.is_low());
    }

    #[test]
    fn a_siphon_empties_the_container_whoever_pumps() {
        let mut plant = Plant::new(flow(60), ml(0));
        plant.set_tank(ml(7_000), ml(0), Some(ml(500)));
        assert!(plant.set_siphon(Some(flow(350)), 0));
        plant.advance(20 * 60_000);
        assert_eq!((plant.spilled_nl(), plant.level_nl()), (7_000_000_000, Some(0)));
        assert!(!plant.set_siphon(Some(flow(350)), 20 * 60_000), "there is nothing left");
    }

    #[test]
    fn with_a_leaking_foot_valve_a_dose_smaller_than_the_suction_tube_is_all_air() {
        // 4.8 mm x 2.2 m hold 40 ml: a 30 ml dose is all air (common practice, no source)
        let mut plant = Plant::new(flow(30), ml(40));
        plant.set_tank(ml(1_000), ml(0), None);
        plant.set_back(Some(flow(100)), 0);
        plant.advance(60_000);
        plant.set_drive(true, 60_000);
        plant.set_drive(false, 120_000);
        plant.advance(240_000);
        assert!(plant.drew_air);
        assert_eq!(plant.delivered_nl(), 0);
        // what was lifted has run back
        assert_eq!(plant.level_nl(), Some(1_040_000_000));
        plant.set_drive(true, 240_000);
        plant.set_drive(false, 240_000 + 100_000);
        assert_eq!(plant.delivered_nl(), 10_000_000, "50 ml drawn, 40 of them in the tube");
    }

    #[test]
    fn a_stalled_motor_moves_nothing() {
        let mut plant = Plant::new(flow(60), ml(0));
        plant.set_drive(true, 0);
        plant.set_stalled(true, 10_000);
        plant.set_stalled(false, 60_000);
        plant.set_drive(false, 61_000);
        assert_eq!(plant.delivered_nl(), 11_000_000);
    }
}
