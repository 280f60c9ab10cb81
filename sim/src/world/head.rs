//! A model of a peristaltic head: what comes out, by the angle of its rotor.
//!
//! A rotor of n rollers gives the same volume every turn, and within a turn its
//! flow swings n times about its mean. It takes time to come up to speed and to
//! come to rest. All of it is in closed form, so that a pulse costs the same
//! however long it is, and equal inputs give equal outputs. Swing, spin-up, coast,
//! and what wear and suction do are parameters of a model; no trustworthy table of
//! them was found.

use std::f64::consts::TAU;

use dosewright_core::units::Flow;

use crate::scenario::{Drive, HeadPlan};
use crate::trade::hydraulics::{drop_any_pa, suction_limit_m};
use crate::trade::water::GRAVITY;

/// Time in which a rotor comes up to speed unless said, in s (own choice).
pub const SPIN_UP_S: f64 = 0.1;
/// Time in which it comes to rest unless said, in s (own choice).
pub const COAST_S: f64 = 0.05;
/// Time in which a stepper comes up to speed unless said, in s: its ramp (own choice).
pub const STEPPER_SPIN_UP_S: f64 = 0.02;
/// Swing of the flow about its mean unless said, as a share of the mean: at 1 it
/// falls to nothing once a roller pass (own choice).
pub const PULSATION: f64 = 1.0;
/// Speed of a rotor whose roller pass is not known, in turns a minute (common
/// practice, no source: 20 to 60).
pub const USUAL_RPM: f64 = 30.0;

/// A head with its tube, as it was when it was calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeadModel {
    /// Rollers, at least 1.
    pub rollers: f64,
    /// Volume of one turn in ml.
    pub turn_ml: f64,
    /// Full speed in turns a second.
    pub turns_s: f64,
    /// Time from rest to full speed in s.
    pub spin_up_s: f64,
    /// Time from full speed to rest in s.
    pub coast_s: f64,
    /// Swing of the flow, as a share of its mean; above 1 it flows back for a
    /// moment in each roller pass.
    pub pulsation: f64,
    /// What is left of the volume of a turn, by wear, suction, temperature.
    pub left: f64,
    /// The rotor stands on whole parts of a turn of this size; 0 where it stands
    /// anywhere.
    pub step_turns: f64,
}

impl HeadModel {
    /// A head of a steady flow in ml/min; `pass_ml` is the volume of one roller
    /// pass, 0 where it is not known.
    pub fn with_flow(flow_ml_min: f64, rollers: u8, pass_ml: f64) -> Self {
        let rollers = f64::from(rollers.max(1));
        let turn_ml = if pass_ml > 0.0 { rollers * pass_ml } else { flow_ml_min / USUAL_RPM };
        Self {
            rollers,
            turn_ml,
            turns_s: flow_ml_min / 60.0 / turn_ml,
            spin_up_s: SPIN_UP_S,
            coast_s: COAST_S,
            pulsation: PULSATION,
            left: 1.0,
            step_turns: 0.0,
        }
    }

    /// A head by its table. Its rotor turns at the speed of the calibrated flow, however
    /// much less a turn gives; what its drive is like is said by the table, or usual.
    pub fn of(plan: &HeadPlan) -> Self {
        let ml_min = |flow: Flow| f64::from(flow.as_nl_per_min()) / 1e6;
        let (flow, motion) = (ml_min(plan.head.flow), &plan.motion);
        let pass_ml = plan.head.roller_pass.as_nl() as f64 / 1e6;
        let base = Self::with_flow(flow, plan.head.rollers, pass_ml);
        // the drive comes up to a part of its speed in that part of the time
        let (speed, spin_up_s, coast_s, step_turns) = match motion.drive {
            None | Some(Drive::OnOff) => (1.0, SPIN_UP_S, COAST_S, 0.0),
            Some(Drive::Duty { speed_ppm }) => {
                (f64::from(speed_ppm) / 1e6, SPIN_UP_S, COAST_S, 0.0)
            }
            Some(Drive::Stepper { steps_per_turn }) => {
                (1.0, STEPPER_SPIN_UP_S, 0.0, 1.0 / f64::from(steps_per_turn.max(1)))
            }
        };
        let seconds = |ms: Option<u32>, usual: f64| ms.map_or(usual, |ms| f64::from(ms) / 1e3);
        Self {
            spin_up_s: seconds(motion.spin_up_ms, spin_up_s) * speed,
            coast_s: seconds(motion.coast_ms, coast_s) * speed,
            pulsation: motion.pulsation_ppm.map_or(PULSATION, |ppm| f64::from(ppm) / 1e6),
            left: plan.true_flow.map_or(1.0, |flow_now| ml_min(flow_now) / flow),
            step_turns,
            ..base
        }
    }

    /// The same head when it gives another flow at the same speed.
    #[must_use]
    pub fn giving(self, flow_ml_min: f64) -> Self {
        Self { left: flow_ml_min / (self.turn_ml * self.turns_s * 60.0), ..self }
    }

    /// The most that it can give in a second, in ml.
    pub fn most_ml_s(&self) -> f64 {
        self.left * self.turn_ml * self.turns_s * (1.0 + self.pulsation)
    }

    /// Steady flow in ml/min.
    pub fn flow_ml_min(&self) -> f64 {
        self.turn_ml * self.turns_s * 60.0 * self.left
    }

    /// Volume that each start loses against on-time times steady flow, in ml:
    /// half the spin-up less half the coast.
    pub fn loss_ml(&self) -> f64 {
        (self.spin_up_s - self.coast_s) / 2.0 * self.flow_ml_min() / 60.0
    }

    /// Turns that a rotor at rest has made `t_s` after a pulse of `on_s` began.
    pub fn turned(&self, on_s: f64, t_s: f64) -> f64 {
        let driven = t_s.clamp(0.0, on_s.max(0.0));
        let ramp = driven.min(self.spin_up_s);
        // speed grows evenly up to the end of the spin-up, then stays
        let speed = |s: f64| {
            if self.spin_up_s > 0.0 { (s / self.spin_up_s).min(1.0) } else { 1.0 }
        };
        let mut turns = self.turns_s * (speed(ramp) * ramp / 2.0 + (driven - ramp));
        if self.spin_up_s <= 0.0 {
            turns = self.turns_s * driven;
        }
        let after = (t_s - on_s).max(0.0);
        let from = speed(on_s.max(0.0));
        let coast_s = self.coast_s * from;
        if after > 0.0 && coast_s > 0.0 {
            let u = (after / coast_s).min(1.0);
            turns += self.turns_s * from * coast_s * (u - u * u / 2.0);
        }
        if self.step_turns > 0.0 {
            // what is a whole step but for the last digit is one
            turns = (turns / self.step_turns + 1e-9).floor() * self.step_turns;
        }
        turns
    }

    /// Volume in ml that a rotor gives from one angle to another, in turns from
    /// the middle of a dip.
    pub fn volume_ml(&self, from: f64, to: f64) -> f64 {
        let n = self.rollers;
        let swing = |turns: f64| (TAU * n * turns).sin() * self.pulsation / (TAU * n);
        self.left * self.turn_ml * ((to - swing(to)) - (from - swing(from)))
    }
}

/// A rotor that stands at an angle and is run pulse by pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rotor {
    /// The head it belongs to.
    pub model: HeadModel,
    /// Its angle in turns, 0 to 1.
    pub angle: f64,
}

impl Rotor {
    /// Volume in ml until `t_s` after a pulse of `on_s` began; the rotor stays
    /// where it is.
    pub fn peek_ml(&self, on_s: f64, t_s: f64) -> f64 {
        self.model.volume_ml(self.angle, self.angle + self.model.turned(on_s, t_s))
    }

    /// Runs a pulse of `on_s` with all of its coast, or with as much of it as the
    /// rest of `off_s` until the next pulse leaves; what came out in ml.
    pub fn run_ml(&mut self, on_s: f64, off_s: f64) -> f64 {
        let volume = self.peek_ml(on_s, on_s + off_s);
        self.angle = (self.angle + self.model.turned(on_s, on_s + off_s)).fract();
        volume
    }
}

/// What a tube and a place do to a head's flow, against how it was calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Share of the flow lost by wear since.
    pub wear: f64,
    /// Height of the pump above the product, in m, more than when calibrated.
    pub lift_m: f64,
    /// Suction line: bore and length, in m; a length of 0 leaves friction out.
    pub suction: (f64, f64),
    /// Density of the product in kg/m3.
    pub density: f64,
    /// Viscosity in Pa s.
    pub viscosity: f64,
    /// Vapour pressure in Pa.
    pub vapour_pa: f64,
    /// Share of the flow lost for each bar of vacuum.
    pub loss_a_bar: f64,
    /// Kelvin above the temperature of the calibration, and the share of the
    /// flow that each gains: a warm tube recovers faster.
    pub warmer: (f64, f64),
}

/// Share of the flow lost for each bar of vacuum at the inlet unless said (a
/// model: a published series has 12 to 15 % at 300 to 400 ml/min, of a vacuum
/// that it does not state).
pub const LOSS_A_BAR: f64 = 0.3;

impl Conditions {
    /// As when it was calibrated: water at 20 C.
    pub const CALIBRATED: Self = Self {
        wear: 0.0,
        lift_m: 0.0,
        suction: (0.0048, 0.0),
        density: 998.2,
        viscosity: 1.0016e-3,
        vapour_pa: 2339.0,
        loss_a_bar: LOSS_A_BAR,
        warmer: (0.0, 0.0),
    };

    /// Vacuum at the inlet in Pa at a flow, static lift and friction together.
    pub fn vacuum_pa(&self, flow_ml_min: f64) -> f64 {
        let (bore, length) = self.suction;
        let q = flow_ml_min / 60e6;
        let friction = if length > 0.0 && bore > 0.0 {
            drop_any_pa(bore, length, q, self.density, self.viscosity)
        } else {
            0.0
        };
        self.density * GRAVITY * self.lift_m + friction
    }

    /// The head under these conditions. Where the vacuum is more than the liquid
    /// can bear it boils in the line, and nothing comes out.
    #[must_use]
    pub fn of(&self, model: HeadModel) -> HeadModel {
        let vacuum = self.vacuum_pa(model.flow_ml_min());
        let limit = suction_limit_m(self.vapour_pa, self.density) * self.density * GRAVITY;
        let left = if vacuum >= limit {
            0.0
        } else {
            (1.0 - self.wear)
                * (1.0 - self.loss_a_bar * vacuum / 1e5)
                * (1.0 + self.warmer.0 * self.warmer.1)
        };
        HeadModel { left: model.left * left.max(0.0), ..model }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario;

    fn of(drive: &str) -> HeadModel {
        let text = format!(
            "schema = 1\n[head]\nflow = \"26.5 ml/min\"\nvolume_per_roller_pass = \"0.29 ml\"\n{drive}\n"
        );
        HeadModel::of(&scenario::read_head("head.toml", &text).unwrap().head)
    }

    #[test]
    fn spin_up_and_coast_differ_by_drive() {
        let plain = of("");
        assert_eq!(of("drive = { on_off = {} }"), plain);
        near(plain.loss_ml(), 0.025 * 26.5 / 60.0);
        // at half its speed it is there in half the time, and loses half as much
        let duty = of("drive = { duty = { speed = \"50 %\" } }");
        near(duty.loss_ml(), plain.loss_ml() / 2.0);
        near(duty.flow_ml_min(), 26.5);
        let stepper = of("drive = { stepper = { steps_per_turn = 200 } }");
        near(stepper.coast_s, 0.0);
        near(stepper.spin_up_s, 0.02);
        // it stands on whole steps, and is still there a second later
        let turned = stepper.turned(1.0, 1.0);
        near((turned * 200.0).fract(), 0.0);
        near(stepper.turned(1.0, 2.0), turned);
        assert!((turned - plain.turned(1.0, 1.0)).abs() < 0.06 * turned);
        // what the table says goes before what is usual
        let slow = of("drive = { stepper = { steps_per_turn = 200 } }\nspin_up = \"1 s\"");
        near(slow.spin_up_s, 1.0);
        let worn = of("true_flow = \"23.85 ml/min\"");
        near(worn.left, 0.9);
        near(worn.turns_s, plain.turns_s);
        near(plain.giving(23.85).left, 0.9);
    }

    fn head() -> HeadModel {
        HeadModel::with_flow(26.5, 3, 0.29)
    }

    #[track_caller]
    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }

    #[test]
    fn whole_turns_give_the_volume_of_whole_turns_from_any_angle() {
        for eighth in 0..8 {
            let from = f64::from(eighth) / 8.0;
            near(head().volume_ml(from, from + 5.0), 5.0 * 0.87);
            // a roller pass too: it is what repeats
            near(head().volume_ml(from, from + 1.0 / 3.0), 0.29);
        }
        let half = head().volume_ml(0.0, 1.0 / 6.0);
        near(half, 0.145);
        assert!(head().volume_ml(0.0, 1.0 / 12.0) < 0.25 * 0.29, "it begins in a dip");
    }

    #[test]
    fn the_closed_form_is_the_sum_of_small_steps() {
        for on_s in [0.03, 0.1, 0.4, 3.0] {
            let model = head();
            let steps = 200_000;
            let end = on_s + 0.2;
            let dt = end / f64::from(steps);
            let (mut angle, mut speed, mut volume) = (0.2, 0.0_f64, 0.0);
            for i in 0..steps {
                let t = (f64::from(i) + 0.5) * dt;
                if t < on_s {
                    speed = (speed + dt / model.spin_up_s).min(1.0);
                } else {
                    speed = (speed - dt / model.coast_s).max(0.0);
                }
                let before = angle;
                angle += speed * model.turns_s * dt;
                let flow = 1.0 - model.pulsation * (TAU * 3.0 * f64::midpoint(before, angle)).cos();
                volume += model.turn_ml * (angle - before) * flow;
            }
            let closed = Rotor { model, angle: 0.2 }.peek_ml(on_s, end);
            assert!((closed - volume).abs() < 1e-5 * volume.max(0.01), "{on_s}: {closed} {volume}");
        }
    }

    #[test]
    fn each_start_loses_half_the_spin_up_less_half_the_coast() {
        let mut rotor = Rotor { model: head(), angle: 0.0 };
        let pulses = 3000;
        let volume: f64 = (0..pulses).map(|_| rotor.run_ml(2.0, 10.0)).sum();
        let lost = f64::from(pulses) * 2.0 * 26.5 / 60.0 - volume;
        // the swing's share is bounded by one roller pass over the whole
        assert!((lost - f64::from(pulses) * head().loss_ml()).abs() < 0.29, "{lost}");
        let quick = HeadModel { spin_up_s: 0.0, coast_s: 0.0, ..head() };
        near(quick.turned(2.0, 5.0), 2.0 * quick.turns_s);
        near(quick.loss_ml(), 0.0);
    }

    #[test]
    fn a_gap_shorter_than_the_coast_cuts_it() {
        let model = HeadModel { coast_s: 2.0, ..head() };
        let mut a = Rotor { model, angle: 0.0 };
        let mut b = a;
        assert!(a.run_ml(1.0, 0.5) < b.run_ml(1.0, 10.0));
    }

    #[test]
    fn wear_lift_and_cold_take_their_share_and_too_much_lift_takes_all() {
        let same = Conditions::CALIBRATED.of(head());
        near(same.flow_ml_min(), 26.5);
        let worn = Conditions { wear: 0.098, ..Conditions::CALIBRATED };
        near(worn.of(head()).flow_ml_min(), 26.5 * 0.902);
        let high = Conditions { lift_m: 2.0, ..Conditions::CALIBRATED };
        let flow = high.of(head()).flow_ml_min();
        assert!(flow < 26.5 && flow > 24.0, "{flow}");
        // 10.11 m is what water can be lifted at 20 C
        let limit = |lift_m| Conditions { lift_m, ..Conditions::CALIBRATED }.of(head()).left;
        assert!(limit(10.05) > 0.0 && limit(10.2) <= 0.0);
        let cold = Conditions { warmer: (-15.0, 0.002), ..Conditions::CALIBRATED };
        near(cold.of(head()).flow_ml_min(), 26.5 * 0.97);
        // a thick product through a long thin line
        let thick =
            Conditions { suction: (0.0016, 3.0), viscosity: 0.02, ..Conditions::CALIBRATED };
        assert!(thick.vacuum_pa(26.5) > 1.0e5, "{}", thick.vacuum_pa(26.5));
    }
}
