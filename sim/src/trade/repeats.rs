//! Repeated readings of one volume: systematic error and spread, as ISO 8655-6
//! defines them (from memory), over ten readings usually.

/// What the readings show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    /// How many.
    pub readings: usize,
    /// The least of them.
    pub least: f64,
    /// The most of them.
    pub most: f64,
    /// Mean volume.
    pub mean: f64,
    /// Systematic error e = 100 (mean - set) / set in %.
    pub systematic_percent: f64,
    /// Standard deviation of the sample.
    pub deviation: f64,
    /// Coefficient of variation CV = 100 s / mean in %.
    pub spread_percent: f64,
}

impl Repeats {
    /// Standard uncertainty of the mean by the scatter, as a share of it (JCGM 100, 4.2.3).
    pub fn of_mean(&self) -> f64 {
        self.deviation / (self.readings as f64).sqrt() / self.mean
    }
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
        readings: n,
        least: readings.iter().copied().fold(f64::INFINITY, f64::min),
        most: readings.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        mean,
        systematic_percent: 100.0 * (mean - set) / set,
        deviation,
        spread_percent: 100.0 * deviation / mean,
    })
}
