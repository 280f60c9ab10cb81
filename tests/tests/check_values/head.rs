//! The peristaltic head.

use dosewright_sim::trade::rotor::ml_per_turn;

use crate::same;

#[test]
fn volume_of_a_turn() {
    // PyPI aguaclara 0.4.0, its own tests: (2 pi R - k d) pi d^2/4, R 16.2 mm, k 13
    for (bore, ml) in
        [(0.13, 0.001_328_62), (0.20, 0.003_116_07), (1.52, 0.148_845_97), (2.79, 0.400_549_58)]
    {
        same(ml_per_turn(bore, 16.2, 13.0), ml, 8);
    }
}
