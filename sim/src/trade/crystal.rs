//! A tuning-fork crystal's rate by temperature.

/// Seconds in a day.
const DAY_S: f64 = 86_400.0;

/// Rate in ppm at a temperature in C: `k` ppm/C2 times the square of the
/// distance from the turnover temperature. Negative loses.
pub fn rate_ppm(k: f64, turnover_c: f64, t: f64) -> f64 {
    k * (t - turnover_c) * (t - turnover_c)
}

/// Seconds gained in so many days at a rate in ppm.
pub fn seconds(rate_ppm: f64, days: f64) -> f64 {
    rate_ppm * 1e-6 * DAY_S * days
}
