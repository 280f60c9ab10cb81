//! The rules of the trade, each with its worked figure: common practice, no
//! source, unless said.

use dosewright_sim::trade::discharge::Discharge;
use dosewright_sim::trade::hydraulics::ml_per_m;
use dosewright_sim::trade::product::{flush_ml, volume_ml};
use dosewright_sim::trade::restate::{drawdown, restate};
use dosewright_sim::trade::siphon::{Regime, Siphon};
use dosewright_sim::trade::suction::{drains_back, tube_ml};
use dosewright_sim::trade::uncertainty::timed_run;
use dosewright_sim::trade::visit::{Call, next};
use dosewright_sim::trade::water::z_ml_per_g;
use dosewright_sim::trade::{crystal, vessel};

use crate::{same, within};

/// Common practice, no source: 120.0 g at 1.03 = 116.5 ml; water's Z says 120.3,
/// +3.3 %.
#[test]
fn the_products_density_not_waters() {
    same(volume_ml(120.0, 1.03), 116.5, 1);
    let by_water = 120.0 * z_ml_per_g(20.0, 1013.0);
    same(by_water, 120.3, 1);
    same(100.0 * (by_water / volume_ml(120.0, 1.03) - 1.0), 3.3, 1);
}

/// Common practice, no source: 26.5 -> 23.9 (-9.8 %), 18.7 l logged: 17.8 l, bounds
/// 16.9 to 18.7.
#[test]
fn the_account_restated_between_as_left_and_as_found() {
    let found = restate(26.5, 23.9, 18.7);
    same(found.change_percent, -9.8, 1);
    same(found.best, 17.8, 1);
    same(found.least, 16.9, 1);
    same(found.most, 18.7, 1);
    let up = restate(23.9, 26.5, 10.0);
    assert!(up.least < up.best && up.best < up.most && up.least >= 10.0);
}

/// Common practice, no source: 3.456 kg +-20 g: U 0.67 %; a 100 ml class B cylinder,
/// one minute: 2.0 %.
#[test]
fn a_drawdown_beats_a_cylinder() {
    let found = drawdown(3456.0, 20.0, 1.02, 3400.0);
    same(found.expanded_percent, 0.67, 2);
    same(found.drawn_ml, 3388.2, 1);
    same(found.error_percent, -0.35, 2);
    let b = vessel::tolerance_ml(vessel::Standard::Astm, 100, vessel::Class::B).unwrap();
    same(100.0 * timed_run(100.0, b, 60.0, 0.5).expanded(), 2.0, 1);
}

/// Common practice, no source: 3.2 mm, 3 m, 1.2 m, 1 mPa s: about 350 ml/min
/// (transitional), 7 l in 20 min.
#[test]
fn a_siphon_when_the_squeeze_is_lost() {
    let siphon =
        Siphon { bore_mm: 3.2, length_m: 3.0, head_m: 1.2, density: 1000.0, viscosity: 1e-3 };
    let flow = siphon.flow();
    within(flow.ml_min, 350.0, 0.03);
    assert_eq!(flow.regime, Regime::Transitional);
    within(7000.0 / flow.ml_min, 20.0, 0.03);
    // a thick product runs slowly and laminar, a wide tube turbulent
    let thick = Siphon { viscosity: 20e-3, ..siphon };
    assert_eq!(thick.flow().regime, Regime::Laminar);
    let wide = Siphon { bore_mm: 12.0, ..siphon };
    assert_eq!(wide.flow().regime, Regime::Turbulent);
    same(Siphon { head_m: -0.5, ..siphon }.flow().ml_min, 0.0, 9);
}

/// Common practice, no source: 4.8 mm x 2.2 m = 40 ml: a 30 ml dose is all air.
#[test]
fn drain_back_swallows_small_doses() {
    same(tube_ml(4.8, 2.2), 40.0, 0);
    assert!(drains_back(4.8, 2.2, 30.0) && !drains_back(4.8, 2.2, 40.0));
}

/// Common practice, no source: 144 ml, SG 1.02, 8 %, 4.2 m3: 11.75 g/day, 2.8 mg/l;
/// COD 150 g/l: 5.1 mg/l.
#[test]
fn discharge_figures() {
    let found = Discharge {
        dose_ml: 144.0,
        specific_gravity: 1.02,
        active: 0.08,
        cod_g_l: 150.0,
        water_m3: 4.2,
    };
    same(found.active_g(), 11.75, 2);
    same(found.active_mg_l(), 2.8, 1);
    same(found.cod_mg_l(), 5.1, 1);
}

/// Common practice, no source: 5 m x 4.8 mm: 271 ml.
#[test]
fn a_change_of_product_flushes_three_tube_volumes() {
    same(flush_ml(4.8, 5.0), 271.0, 0);
}

/// Geometry: bores 1.6/3.2/4.8/6.4 mm = 2.0/8.0/18.1/32.2 ml/m.
#[test]
fn tube_volumes() {
    for (bore, ml) in [(1.6, 2.0), (3.2, 8.0), (4.8, 18.1), (6.4, 32.2)] {
        same(ml_per_m(bore), ml, 1);
    }
    // 7 m x 4.8 mm to prime: 127 ml
    same(tube_ml(4.8, 7.0), 127.0, 0);
}

/// Common practice, no source: 5 C adds -13.6 ppm = -3.5 min in 180 days.
#[test]
fn a_cool_cellar_makes_the_clock_lose() {
    let ppm = crystal::rate_ppm(-0.034, 25.0, 5.0);
    same(ppm, -13.6, 1);
    same(crystal::seconds(ppm, 180.0) / 60.0, -3.5, 1);
}

/// Common practice, no source: the next visit is the earliest of all dates.
#[test]
fn the_next_visit_has_its_reason() {
    let call = |days: f64, reason: &str| Call { days, reason: reason.to_owned() };
    let calls = [call(62.0, "container empty"), call(45.0, "reorder"), call(210.0, "pack")];
    assert_eq!(next(&calls).unwrap().reason, "reorder");
    assert_eq!(next(&[]), None);
}
