//! Repeated readings of one volume: systematic error and spread, as ISO 8655-6
//! defines them (from memory), over ten readings usually; and whether one of them stands
//! apart from the others, by Grubbs' test (ISO 5725-2:1994, 7.3.4).

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
    /// The one that stands apart from the others.
    pub odd: Option<Odd>,
}

/// A reading that stands apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Odd {
    /// Which one, from 1.
    pub reading: usize,
    /// What it is.
    pub value: f64,
    /// The mean of the others.
    pub others: f64,
    /// Whether it is an outlier, over the critical value at 1 %; else a straggler, over
    /// that at 5 %.
    pub is_outlier: bool,
}

impl Odd {
    /// How far it is from the others, as a share.
    pub fn off(&self) -> f64 {
        self.value / self.others - 1.0
    }
}

/// Critical values of Grubbs' test for one reading at 1 % and 5 %, from four readings on
/// (ISO 5725-2:1994, Table 5, from memory; 4 to 15 as the table of the same test in LibreTexts,
/// Analytic References, Appendix 7). Of three none can be over its value.
const CRITICAL: [(f64, f64); 17] = [
    (1.496, 1.481),
    (1.764, 1.715),
    (1.973, 1.887),
    (2.139, 2.020),
    (2.274, 2.126),
    (2.387, 2.215),
    (2.482, 2.290),
    (2.564, 2.355),
    (2.636, 2.412),
    (2.699, 2.462),
    (2.755, 2.507),
    (2.806, 2.549),
    (2.852, 2.585),
    (2.894, 2.620),
    (2.932, 2.651),
    (2.968, 2.681),
    (3.001, 2.709),
];

/// The reading that is farthest from the mean, where that is too far; of four to twenty.
fn odd(readings: &[f64], mean: f64, deviation: f64) -> Option<Odd> {
    let n = readings.len();
    let (outlier, straggler) = *CRITICAL.get(n.checked_sub(4)?)?;
    let far = |at: &usize| (readings[*at] - mean).abs();
    let at = (0..n).max_by(|a, b| far(a).total_cmp(&far(b)))?;
    let by = far(&at);
    (by > straggler * deviation).then(|| Odd {
        reading: at + 1,
        value: readings[at],
        others: (mean * n as f64 - readings[at]) / (n - 1) as f64,
        is_outlier: by > outlier * deviation,
    })
}

impl Repeats {
    /// Standard uncertainty of the mean by the scatter, as a share of it (JCGM 100, 4.2.3).
    pub fn of_mean(&self) -> f64 {
        self.of_mean_of(self.readings)
    }

    /// Its degrees of freedom (JCGM 100, 4.2.6).
    pub fn degrees(&self) -> f64 {
        (self.readings - 1) as f64
    }

    /// The same of so many readings that scatter as these do.
    pub fn of_mean_of(&self, readings: usize) -> f64 {
        self.deviation / (readings as f64).sqrt() / self.mean
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
        odd: odd(readings, mean, deviation),
    })
}
