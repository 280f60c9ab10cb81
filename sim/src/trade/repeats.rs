//! Repeated readings of one volume: systematic error and spread, as ISO 8655-6
//! defines them (from memory), over ten readings usually.

/// What the readings show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    /// Mean volume.
    pub mean: f64,
    /// Systematic error e = 100 (mean - set) / set in %.
    pub systematic_percent: f64,
    /// Standard deviation of the sample.
    pub deviation: f64,
    /// Coefficient of variation CV = 100 s / mean in %.
    pub spread_percent: f64,
}

/// Judges readings against the volume that was set; `None` for less than two.
pub fn judge(readings: &[f64], set: f64) -> Option<Repeats> {
    let n = readings.len();
    if n < 2 {
        return None;
    }
    let mean = readings.iter().sum::<f64>() / n as f64;
    let squares: f64 = readings.iter().map(|v| (v - mean) * (v - mean)).sum();
    let deviation = (squares / (n - 1) as f64).sqrt();
    Some(Repeats {
        mean,
        systematic_percent: 100.0 * (mean - set) / set,
        deviation,
        spread_percent: 100.0 * deviation / mean,
    })
}
