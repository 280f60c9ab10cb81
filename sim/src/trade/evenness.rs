//! Flow error by the length of the observation window: the "trumpet" method of
//! IEC 60601-2-24. A method of another trade, used as a yardstick; no conformity
//! is claimed.

/// The windows of the method, in minutes.
pub const WINDOWS_MIN: [u32; 5] = [2, 5, 11, 19, 31];
/// The method's sample interval, in s.
pub const SAMPLE_S: f64 = 30.0;

/// Largest and least error of any window of one length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Error {
    /// Length of the window, in minutes.
    pub window_min: u32,
    /// Windows that were looked at.
    pub windows: u32,
    /// Ep(max) in %.
    pub most_percent: f64,
    /// Ep(min) in %.
    pub least_percent: f64,
}

/// Overall error A in % of a flow `mean` against the set rate.
pub fn overall_percent(mean: f64, rate: f64) -> f64 {
    100.0 * (mean - rate) / rate
}

/// The error of every window of `window_min`, from volumes delivered in samples
/// of equal length `sample_s`. `rate` is the set rate, in the same volume a
/// sample. `None` where the samples are shorter than one window, or the window
/// is not a whole number of samples.
pub fn window(samples: &[f64], sample_s: f64, window_min: u32, rate: f64) -> Option<Error> {
    let each = f64::from(window_min) * 60.0 / sample_s;
    let per = each.round() as usize;
    if per == 0 || (each - each.round()).abs() > 1e-9 || samples.len() < per || rate <= 0.0 {
        return None;
    }
    let mut found = Error {
        window_min,
        windows: 0,
        most_percent: f64::NEG_INFINITY,
        least_percent: f64::INFINITY,
    };
    for stretch in samples.windows(per) {
        let mean = stretch.iter().sum::<f64>() / per as f64;
        let error = overall_percent(mean, rate);
        found.windows += 1;
        found.most_percent = found.most_percent.max(error);
        found.least_percent = found.least_percent.min(error);
    }
    Some(found)
}

/// All windows of the method that fit.
pub fn all(samples: &[f64], sample_s: f64, rate: f64) -> Vec<Error> {
    WINDOWS_MIN.iter().filter_map(|min| window(samples, sample_s, *min, rate)).collect()
}
