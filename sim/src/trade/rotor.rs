//! What a rotor turn delivers.

use std::f64::consts::PI;

/// Volume of one turn in ml: tube of bore `bore_mm` on a track of radius
/// `radius_mm`, of whose length each turn loses `k` bores to the rollers. With
/// 16.2 mm and 13 these are the figures of the open-source package aguaclara
/// 0.4.0 for a three-stop tube. The flow does not grow with the bore's square:
/// the effective length falls.
pub fn ml_per_turn(bore_mm: f64, radius_mm: f64, k: f64) -> f64 {
    (2.0 * PI * radius_mm - k * bore_mm) * PI * bore_mm * bore_mm / 4.0 / 1000.0
}
