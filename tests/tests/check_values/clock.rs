//! The clock crystal by temperature.

use dosewright_sim::trade::crystal::{rate_ppm, seconds};

use crate::same;

#[test]
fn a_tuning_fork_loses_both_ways() {
    // a crystal data sheet: -0.030 ppm/C2 about 25 C, 45 C -> -12.0 ppm
    same(rate_ppm(-0.030, 25.0, 45.0), -12.0, 1);
    // other sheets say up to -0.042: a parameter
    same(rate_ppm(-0.042, 25.0, 45.0), -16.8, 1);
    // 20 ppm = 1.728 s a day = 631.2 s a year, computed
    same(seconds(20.0, 1.0), 1.728, 3);
    same(seconds(20.0, 365.25), 631.2, 1);
    // k = -0.034 (from memory), computed: ppm and s a day
    for (t, ppm, a_day) in [
        (0.0, -21.25, -1.836),
        (10.0, -7.65, -0.661),
        (40.0, -7.65, -0.661),
        (-10.0, -41.65, -3.599),
        (60.0, -41.65, -3.599),
    ] {
        same(rate_ppm(-0.034, 25.0, t), ppm, 2);
        same(seconds(rate_ppm(-0.034, 25.0, t), 1.0), a_day, 3);
    }
    same(seconds(rate_ppm(-0.034, 25.0, 10.0), 30.0), -19.8, 1);
}
