//! The suction side: does the pump get anything to pump?

use super::hydraulics::ml_per_m;

/// Lift from which to warn, in m (common practice, no source).
pub const WARN_LIFT_M: f64 = 2.0;

/// What a tube of this bore and length holds, in ml.
pub fn tube_ml(bore_mm: f64, length_m: f64) -> f64 {
    ml_per_m(bore_mm) * length_m
}

/// Whether a dose is smaller than the suction tube: with a foot valve that has
/// failed the tube drains back between doses, and such a dose is all air
/// (common practice, no source).
pub fn drains_back(bore_mm: f64, lift_m: f64, dose_ml: f64) -> bool {
    dose_ml < tube_ml(bore_mm, lift_m)
}
