//! Tubes.

use dosewright_sim::trade::hydraulics::{
    LAMINAR_UP_TO, drop_any_pa, drop_pa, ml_per_m, reynolds, suction_limit_m, turbulent_pa,
    velocity_m_s,
};
use dosewright_sim::trade::water::{density_kg_m3, vapour_pressure_pa, viscosity_pa_s};

use crate::{same, within};

#[test]
fn hagen_and_poiseuille() {
    // published worked example: 31.4 mm x 0.35 mm, 1e-6 m3/s, 1e-3 Pa s
    same(drop_pa(0.35e-3, 31.4e-3, 1e-6, 1e-3), 85_254.55, 2);
    // published worked example: 0.3 mm, 0.1 m, 0.1 ml/min, 998 kg/m3
    let q = 0.1e-6 / 60.0;
    same(velocity_m_s(0.3e-3, q), 0.023_579, 6);
    same(reynolds(0.3e-3, q, 998.0, 1e-3), 7.0594, 4);
    same(drop_pa(0.3e-3, 0.1, q, 1e-3), 838.347, 3);
}

#[test]
fn a_discharge_line_of_five_metres() {
    // 4.7625 mm, 5 m, 60 ml/min, 20 C: computed
    let q = 1e-6;
    let (density, viscosity) = (density_kg_m3(20.0), viscosity_pa_s(20.0));
    same(reynolds(4.7625e-3, q, density, viscosity), 266.4, 1);
    same(drop_pa(4.7625e-3, 5.0, q, viscosity), 396.6, 1);
    same(ml_per_m(4.7625), 17.814, 3);
}

#[test]
fn how_high_suction_lifts_water_at_best() {
    // computed with CoolProp 8.0.0; Kell's density is some 3 ppm off it, which
    // moves the last digit
    for (t, metres) in [(5.0, 10.244), (20.0, 10.112), (30.0, 9.942), (40.0, 9.654)] {
        let found = suction_limit_m(vapour_pressure_pa(t), density_kg_m3(t));
        assert!((found - metres).abs() < 0.000_55, "{t} C: {found}");
    }
}

#[test]
fn above_2300_it_is_not_laminar() {
    same(LAMINAR_UP_TO, 2300.0, 9);
    // Blasius f = 0.3164/Re^0.25 (from memory): at Re 10 000 f is 0.03164
    let (bore, density, viscosity) = (0.01, 1000.0, 1e-3);
    let q = 10_000.0 * viscosity / density / bore * std::f64::consts::PI / 4.0 * bore * bore;
    within(reynolds(bore, q, density, viscosity), 10_000.0, 1e-9);
    let v = velocity_m_s(bore, q);
    within(turbulent_pa(bore, 1.0, q, density, viscosity), 3.164 * density * v * v / 2.0, 1e-9);
    within(
        drop_any_pa(bore, 1.0, q, density, viscosity),
        turbulent_pa(bore, 1.0, q, density, viscosity),
        1e-12,
    );
    let slow = q / 10.0;
    within(
        drop_any_pa(bore, 1.0, slow, density, viscosity),
        drop_pa(bore, 1.0, slow, viscosity),
        1e-12,
    );
}
