//! Pump, tube and container as they really are: where the product is, what the
//! pump moves, and what goes where nobody meant it to.
//!
//! A model in integers: between two changes every flow is constant. A flow in
//! nanolitres a minute times milliseconds gives sixty-thousandths of a nanolitre,
//! so nothing is lost to rounding. Where the scenario names the drive, what the pump
//! moves is of the rotor's angle instead ([`super::rotor`]).

use dosewright_core::units::{Flow, Volume};

use super::head::HeadModel;
use super::rotor::Turning;

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
    /// What the head delivers a minute, in nl: by the mean, or at the most by its angle.
    flow: i128,
    /// The rotor, where its angle counts.
    rotor: Option<Turning>,
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
            rotor: None,
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

    /// From here on the pump turns as this head does.
    pub(super) fn set_rotor(&mut self, model: HeadModel) {
        let rotor = Turning::new(model);
        self.flow = rotor.most_nl_min();
        self.rotor = Some(rotor);
    }

    /// Whether the pump moves anything, or may.
    fn turns(&self) -> bool {
        match &self.rotor {
            Some(rotor) => rotor.turns(self.now),
            None => self.drive && !self.stalled,
        }
    }

    /// Whether the suction tube reaches any product.
    fn reaches(&self) -> bool {
        self.tank.is_none_or(|tank| tank.level > tank.heel)
    }

    /// What the pump draws, what runs out and what runs back, in nl a minute.
    fn rates(&self) -> (i128, i128, i128) {
        let pump = if self.turns() && self.reaches() { self.flow } else { 0 };
        let siphon = if self.tank.is_some() && self.reaches() { self.siphon } else { 0 };
        let back = if !self.drive && self.air < self.lifted { self.back } else { 0 };
        (pump, siphon, back)
    }

    /// Whether nothing flows at all, as it is between two pulses.
    fn is_still(&self) -> bool {
        !self.turns() && self.siphon == 0 && (self.drive || self.back == 0)
    }

    /// Whether nothing can run out, run back or fill up: there is no container, and the
    /// suction tube is full and stays so.
    #[inline]
    fn is_plain(&self) -> bool {
        self.tank.is_none() && self.air == 0 && (self.drive || self.back == 0)
    }

    /// How long the flows stay as they are, in ms; `None` for without end.
    #[inline]
    fn steady_ms(&self) -> Option<i128> {
        if self.is_plain() || self.is_still() {
            return None;
        }
        self.next_change_ms()
    }

    /// How long until the first of what can happen while something flows.
    #[inline(never)]
    fn next_change_ms(&self) -> Option<i128> {
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
        // the coast ends
        let coasts = self.rotor.as_ref().and_then(Turning::ends_at);
        if let Some(at) = coasts.filter(|&at| at > self.now) {
            put(i128::from(at - self.now), 1);
        }
        next
    }

    /// When something of it changes next, in true ms.
    #[inline]
    pub(super) fn next_at(&self) -> Option<u64> {
        let ms = u64::try_from(self.steady_ms()?).ok()?;
        Some(self.now.saturating_add(ms.max(1)))
    }

    /// Lets time pass up to a true ms.
    #[inline]
    pub(super) fn advance(&mut self, to: u64) {
        if to <= self.now {
            return;
        }
        if self.is_still() {
            self.now = to;
        } else if self.rotor.is_none() && self.is_plain() {
            // all that the pump moves comes out
            self.delivered += self.flow * i128::from(to - self.now);
            self.now = to;
        } else {
            self.advance_by_changes(to);
        }
    }

    /// The same from change to change.
    #[inline(never)]
    fn advance_by_changes(&mut self, to: u64) {
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
        if let Some(rotor) = &mut self.rotor {
            // it turns whether or not it draws anything
            let moved = rotor.pass(self.now, ms);
            drawn = if pump > 0 { moved } else { 0 };
        }
        let returned = (back * ms).min(self.lifted - self.air);
        if let Some(tank) = &mut self.tank {
            let can = (tank.level - tank.heel).max(0);
            drawn = drawn.min(can);
            out = out.min(can - drawn);
            tank.level += returned - drawn - out;
        }
        // what the pump draws fills the suction tube first
        let fills = drawn.min(self.air).max(0);
        self.air += returned - fills;
        self.delivered += drawn - fills;
        self.spilled += out;
    }

    /// The drive goes on or off.
    pub(super) fn set_drive(&mut self, on: bool, now: u64) {
        self.advance(now);
        self.drive = on;
        self.drew_air |= on && self.air > 0;
        self.drive_rotor(now);
    }

    pub(super) fn set_flow(&mut self, flow: Flow, now: u64) {
        self.advance(now);
        self.flow = i128::from(flow.as_nl_per_min());
        if let Some(rotor) = &mut self.rotor {
            rotor.give(f64::from(flow.as_nl_per_min()) / 1e6, now);
            self.flow = rotor.most_nl_min();
        }
    }

    pub(super) fn set_stalled(&mut self, stalled: bool, now: u64) {
        self.advance(now);
        self.stalled = stalled;
        self.drive_rotor(now);
    }

    /// The rotor is driven from now on, or not any more. A stall stops it where it is.
    fn drive_rotor(&mut self, now: u64) {
        let (drive, stalled) = (self.drive, self.stalled);
        if let Some(rotor) = &mut self.rotor {
            if stalled {
                rotor.stop(now);
            } else if drive {
                rotor.start(now);
            } else {
                rotor.let_go(now);
            }
        }
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

    /// 26.5 ml/min, three rollers of 0.29 ml, 200 ms up to speed and 100 ms down.
    fn turning() -> HeadModel {
        HeadModel { spin_up_s: 0.2, coast_s: 0.1, ..HeadModel::with_flow(26.5, 3, 0.29) }
    }

    #[test]
    fn what_a_turning_rotor_moves_is_that_of_its_model_however_often_it_is_looked_at() {
        let model = turning();
        let (mut often, mut seldom) = (Plant::new(flow(26), ml(0)), Plant::new(flow(26), ml(0)));
        for plant in [&mut often, &mut seldom] {
            plant.set_rotor(model);
            plant.set_tank(ml(1_000), ml(10), Some(ml(500)));
        }
        let mut rotor = super::super::head::Rotor { model, angle: 0.0 };
        let mut wanted = 0.0;
        for (number, on_ms) in [400_u64, 2_000, 9_057, 60_000].into_iter().enumerate() {
            let from = number as u64 * 100_000;
            wanted += rotor.run_ml(on_ms as f64 / 1e3, 30.0);
            often.set_drive(true, from);
            seldom.set_drive(true, from);
            for at in (from..from + on_ms).step_by(7) {
                often.advance(at);
            }
            often.set_drive(false, from + on_ms);
            seldom.set_drive(false, from + on_ms);
            for at in (from + on_ms..from + on_ms + 200).step_by(7) {
                often.advance(at);
            }
            often.advance(from + on_ms + 30_000);
            seldom.advance(from + on_ms + 30_000);
        }
        for plant in [&often, &seldom] {
            let out = plant.delivered_nl() as f64 / 1e6;
            assert!((out - wanted).abs() < 1e-5, "{out} {wanted}");
            let left = plant.level_nl().unwrap() as f64 / 1e6;
            assert!((left + wanted - 1_000.0).abs() < 1e-5, "{left}");
        }
        // what was set is more by the loss of each start, and by what the swing left out
        let set = 26.5 / 60.0 * (0.4 + 2.0 + 9.057 + 60.0);
        assert!((set - wanted - 4.0 * model.loss_ml()).abs() < 0.29, "{set} {wanted}");
    }

    #[test]
    fn a_turning_rotor_stops_at_the_heel_and_finds_the_contact_to_the_millisecond() {
        let mut plant = Plant::new(flow(26), ml(0));
        plant.set_rotor(turning());
        plant.set_tank(ml(20), ml(5), Some(ml(15)));
        plant.set_drive(true, 0);
        let (mut steps, mut low_at) = (0, None);
        while let Some(at) = plant.next_at().filter(|&at| at < 100_000) {
            plant.advance(at);
            if plant.is_low() {
                low_at = low_at.or(Some(at));
            }
            steps += 1;
            assert!(steps < 2_000, "at {at}: {:?}", plant.level_nl());
        }
        // 5 ml at 26.5 ml/min, 0.1 s later for the spin-up, give or take half a pass
        let low_s = low_at.unwrap() as f64 / 1e3;
        assert!((low_s - 11.42).abs() < 0.35, "{low_s}");
        plant.advance(100_000);
        assert_eq!((plant.delivered_nl(), plant.level_nl()), (15_000_000, Some(5_000_000)));
    }

    #[test]
    fn a_stalled_rotor_stops_where_it_is_and_comes_up_to_speed_again() {
        let mut plant = Plant::new(flow(26), ml(0));
        plant.set_rotor(turning());
        plant.set_drive(true, 0);
        plant.set_stalled(true, 10_000);
        let stopped = plant.delivered_nl();
        plant.advance(59_000);
        assert_eq!(plant.delivered_nl(), stopped, "no coast");
        plant.set_stalled(false, 60_000);
        plant.advance(60_050);
        let up = plant.delivered_nl() - stopped;
        plant.advance(61_000);
        assert!(up < 5_000 && plant.delivered_nl() > stopped + 200_000, "{up}");
        plant.set_drive(false, 61_000);
        plant.set_drive(true, 61_010);
        assert!(plant.next_at().is_none());
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
