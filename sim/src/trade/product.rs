//! The product: weighing it, changing it.

use super::hydraulics::ml_per_m;

/// Volume in ml of a mass in g at a specific gravity. Z is for water and is
/// wrong here.
pub fn volume_ml(mass_g: f64, specific_gravity: f64) -> f64 {
    mass_g / specific_gravity
}

/// Tube volumes to flush through, into a vessel, when the product is changed
/// (common practice, no source).
pub const FLUSH_VOLUMES: f64 = 3.0;

/// What to flush in ml.
pub fn flush_ml(bore_mm: f64, length_m: f64) -> f64 {
    FLUSH_VOLUMES * ml_per_m(bore_mm) * length_m
}
