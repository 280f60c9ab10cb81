//! Water: density, the Z factor of weighing, viscosity, vapour pressure.
//!
//! The constants are those of the published formulas, as printed.
#![allow(clippy::unreadable_literal)]

/// Air pressure at sea level in hPa (the standard atmosphere).
pub const STANDARD_HPA: f64 = 1013.25;
/// Standard gravity in m/s2.
pub const GRAVITY: f64 = 9.80665;
/// Temperatures that the formulas are used for, in degrees Celsius.
pub const RANGE_C: (f64, f64) = (0.5, 40.0);

/// Density of air-free water in kg/m3 at a temperature in C, 0.5 to 40 (Kell
/// 1975; constants from memory, checked against IAPWS-95).
pub fn density_kg_m3(t: f64) -> f64 {
    // Horner from the fifth power down
    let poly = ((((-280.54253e-12 * t + 105.56302e-9) * t - 46.170461e-6) * t - 7.9870401e-3) * t
        + 16.945176)
        * t
        + 999.83952;
    poly / (1.0 + 16.879850e-3 * t)
}

/// Density of moist air in kg/m3: temperature in C, pressure in hPa, relative
/// humidity in % (the approximation used with ISO 8655-6; from memory).
pub fn air_density_kg_m3(t: f64, pressure_hpa: f64, humidity_percent: f64) -> f64 {
    (0.34848 * pressure_hpa - 0.009 * humidity_percent * (0.061 * t).exp()) / (273.15 + t)
}

/// Z in ul/mg, the same as ml/g: what a balance's reading of water is
/// multiplied by for the volume, with the buoyancy of air on weights of
/// 8000 kg/m3 (ISO 8655-6; from memory).
pub fn z_ml_per_g(t: f64, pressure_hpa: f64) -> f64 {
    let air = air_density_kg_m3(t, pressure_hpa, 50.0);
    1000.0 * (1.0 - air / 8000.0) / (density_kg_m3(t) - air)
}

/// Viscosity of water in Pa s at a temperature in C (IAPWS 2008, liquid water
/// at 0.1 MPa; constants from memory).
pub fn viscosity_pa_s(t: f64) -> f64 {
    let r = (t + 273.15) / 300.0;
    1e-6 * (280.68 * r.powf(-1.9)
        + 511.45 * r.powf(-7.7)
        + 61.131 * r.powf(-19.6)
        + 0.45903 * r.powf(-40.0))
}

/// Vapour pressure of water in Pa at a temperature in C (IAPWS-IF97, equation
/// 30; constants from memory).
pub fn vapour_pressure_pa(t: f64) -> f64 {
    const N: [f64; 10] = [
        0.11670521452767e4,
        -0.72421316703206e6,
        -0.17073846940092e2,
        0.12020824702470e5,
        -0.32325550322333e7,
        0.14915108613530e2,
        -0.48232657361591e4,
        0.40511340542057e6,
        -0.23855557567849,
        0.65017534844798e3,
    ];
    let kelvin = t + 273.15;
    let v = kelvin + N[8] / (kelvin - N[9]);
    let a = v * v + N[0] * v + N[1];
    let b = N[2] * v * v + N[3] * v + N[4];
    let c = N[5] * v * v + N[6] * v + N[7];
    1e6 * (2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt())).powi(4)
}
