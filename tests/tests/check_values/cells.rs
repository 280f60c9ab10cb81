//! Alkaline cells and Peukert's law: model parameters.

use dosewright_sim::trade::cells::{AGE_SHARE, COOL_C, Cell, HR20, LR20, cells_for};

use crate::{same, within};

#[test]
fn lr20_by_two_points() {
    // 20 Ah at 25 mA, 10 Ah at 500 mA (an encyclopedia's table): exponent 1.23138
    // and these capacities, computed
    same(LR20.exponent(), 1.23138, 5);
    for (current, ah) in [(0.05, 17.04), (0.1, 14.51), (0.25, 11.74), (0.5, 10.00), (1.0, 8.52)] {
        same(LR20.capacity_ah(current), ah, 2);
    }
    // Linden, Handbook of Batteries: 810 min through 2.2 ohm to 0.9 V. The charge
    // lies between 5.52 Ah (0.9 V) and 9.20 Ah (1.5 V all along), computed. At the
    // mean load, 1.2 V / 2.2 ohm, the two points say up to a tenth more: the share
    // that counts as usable has to cover it
    let bounds = (0.9 / 2.2 * 13.5, 1.5 / 2.2 * 13.5);
    same(bounds.0, 5.52, 2);
    same(bounds.1, 9.20, 2);
    let model = LR20.capacity_ah(1.2 / 2.2);
    assert!(model > bounds.1 && model < 1.1 * bounds.1, "{model}");
    assert!(model * LR20.cold_share(COOL_C) * AGE_SHARE < bounds.1, "{model}");
}

#[test]
fn worked_examples_of_peukert() {
    // published worked examples, t = C/I^k with the capacity C at 1 A
    let hours = |capacity_ah: f64, exponent: f64, current_a: f64| {
        // the second of its two points, at 10 A, gives it this exponent
        let heavy = (10.0, capacity_ah / 10.0_f64.powf(exponent - 1.0));
        let cell = Cell { light: (1.0, capacity_ah), heavy, source: "a worked example", ..LR20 };
        cell.capacity_ah(current_a) / current_a
    };
    same(hours(100.0, 1.2, 5.0), 14.4956, 4);
    same(hours(250.0, 1.3, 20.0), 5.088_631_644, 9);
}

#[test]
fn the_exponent_is_that_of_its_two_points() {
    let cell = Cell {
        name: "made",
        light: (1.0, 8.0),
        heavy: (2.0, 4.0),
        source: "invented",
        ..dosewright_sim::trade::cells::LR20
    };
    within(cell.exponent(), 2.0, 1e-12);
    within(cell.capacity_ah(4.0), 2.0, 1e-12);
}

#[test]
fn about_seventy_percent_is_left_at_freezing() {
    // cold derating about 70 % at 0 C (from memory)
    within(LR20.cold_share(0.0), 0.70, 1e-9);
    within(LR20.cold_share(20.0), 1.0, 1e-9);
    // in the frost it falls faster: 20 % at -20 C, from memory
    within(LR20.cold_share(-10.0), 0.45, 1e-9);
    within(LR20.cold_share(-20.0), 0.20, 1e-9);
    // nickel-metal hydride stands it better: 85 % at 0 C, 50 % at -20 C, from memory
    within(HR20.cold_share(20.0), 1.0, 1e-9);
    within(HR20.cold_share(0.0), 0.85, 1e-9);
    within(HR20.cold_share(-20.0), 0.50, 1e-9);
}

#[test]
fn cells_from_the_motor() {
    // (motor voltage + drop)/0.9 V: common practice, no source
    assert_eq!([cells_for(6.0, 0.3), cells_for(6.0, 0.0), cells_for(4.5, 0.0)], [7, 7, 5]);
    assert_eq!(cells_for(0.1, 0.0), 1);
}
