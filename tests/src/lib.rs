//! What the tests of dosewright share with its fuzz targets and examples.

pub mod dice;
pub mod entries;
pub mod fuzz;
pub mod pump;
pub mod slots;
pub mod wires;
