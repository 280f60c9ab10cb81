//! Measuring cylinders.

use dosewright_sim::trade::vessel::{Class, Standard, tolerance_ml};

use crate::same;

#[test]
fn tolerances_of_cylinders() {
    // ASTM E1272, Table 1, class A and B in ml; 1000 ml from memory
    for (size, a, b) in [(100, 0.50, 1.00), (250, 1.00, 2.00), (500, 2.00, 4.00), (1000, 3.0, 6.0)]
    {
        same(tolerance_ml(Standard::Astm, size, Class::A).unwrap(), a, 2);
        same(tolerance_ml(Standard::Astm, size, Class::B).unwrap(), b, 2);
    }
    // ISO 4788, from memory
    for (size, a, b) in [(100, 0.5, 1.0), (250, 1.0, 2.0), (500, 2.5, 5.0), (1000, 5.0, 10.0)] {
        same(tolerance_ml(Standard::Iso, size, Class::A).unwrap(), a, 1);
        same(tolerance_ml(Standard::Iso, size, Class::B).unwrap(), b, 1);
    }
    assert_eq!(tolerance_ml(Standard::Iso, 123, Class::A), None);
}
