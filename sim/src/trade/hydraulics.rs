//! Tubes: volume by length, pressure drop, the regime of flow, suction.

use std::f64::consts::PI;

use super::water::{GRAVITY, STANDARD_HPA};

/// Above this Reynolds number say "not laminar": the drop is then no longer the
/// one of Hagen and Poiseuille.
pub const LAMINAR_UP_TO: f64 = 2300.0;

/// Volume of a tube in ml a metre, bore in mm: pi/4 d^2.
pub fn ml_per_m(bore_mm: f64) -> f64 {
    PI / 4.0 * bore_mm * bore_mm
}

/// Mean velocity in m/s.
pub fn velocity_m_s(bore_m: f64, flow_m3_s: f64) -> f64 {
    flow_m3_s / (PI / 4.0 * bore_m * bore_m)
}

/// Reynolds number: density in kg/m3, viscosity in Pa s.
pub fn reynolds(bore_m: f64, flow_m3_s: f64, density: f64, viscosity: f64) -> f64 {
    density * velocity_m_s(bore_m, flow_m3_s) * bore_m / viscosity
}

/// Pressure drop of laminar flow in Pa (Hagen-Poiseuille).
pub fn drop_pa(bore_m: f64, length_m: f64, flow_m3_s: f64, viscosity: f64) -> f64 {
    128.0 * viscosity * length_m * flow_m3_s / (PI * bore_m.powi(4))
}

/// Friction factor (Darcy) of turbulent flow in a smooth tube, Blasius: 0.3164
/// / Re^0.25, for Re of some 4 000 to 100 000.
pub fn blasius(reynolds: f64) -> f64 {
    0.3164 / reynolds.powf(0.25)
}

/// Pressure drop in Pa: laminar, or by Blasius where that gives more, which it
/// does from a Reynolds number of about 1 200 on.
pub fn drop_any_pa(
    bore_m: f64,
    length_m: f64,
    flow_m3_s: f64,
    density: f64,
    viscosity: f64,
) -> f64 {
    let laminar = drop_pa(bore_m, length_m, flow_m3_s, viscosity);
    if reynolds(bore_m, flow_m3_s, density, viscosity) <= LAMINAR_UP_TO {
        laminar
    } else {
        turbulent_pa(bore_m, length_m, flow_m3_s, density, viscosity)
    }
}

/// Pressure drop of turbulent flow in a smooth tube in Pa (Darcy-Weisbach with
/// Blasius).
pub fn turbulent_pa(
    bore_m: f64,
    length_m: f64,
    flow_m3_s: f64,
    density: f64,
    viscosity: f64,
) -> f64 {
    let v = velocity_m_s(bore_m, flow_m3_s);
    let f = blasius(reynolds(bore_m, flow_m3_s, density, viscosity));
    f * length_m / bore_m * density * v * v / 2.0
}

/// The height in m to which suction can lift a liquid at best: the pressure of
/// the air less the liquid's vapour pressure, over its weight.
pub fn suction_limit_m(vapour_pa: f64, density: f64) -> f64 {
    (STANDARD_HPA * 100.0 - vapour_pa) / (density * GRAVITY)
}
