//! Steady-state accuracy, linearity and repeatability over a turndown, by the
//! definitions of API 675 (from a secondary source). That standard is about
//! reciprocating pumps: the definitions are used, no conformity is claimed.

/// The standard's figure for each of the three, in %.
pub const ACCURACY_PERCENT: f64 = 1.0;
/// Of rated flow.
pub const REPEATABILITY_PERCENT: f64 = 3.0;
/// Of rated flow.
pub const LINEARITY_PERCENT: f64 = 3.0;

/// One setting and the flows that were measured at it, in any one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Flow that was set.
    pub set: f64,
    /// Flows that came out, one a repeat.
    pub measured: Vec<f64>,
}

impl Point {
    fn mean(&self) -> f64 {
        self.measured.iter().sum::<f64>() / self.measured.len().max(1) as f64
    }
}

/// What the points show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Largest deviation of a measured flow from the mean of its setting, in %
    /// of that mean: steady-state accuracy.
    pub accuracy_percent: f64,
    /// Largest distance of a mean from the best straight line, in % of rated.
    pub linearity_percent: f64,
    /// Largest spread of the repeats of one setting, in % of rated.
    pub repeatability_percent: f64,
    /// Largest distance of a mean from what was set, in % of the setting. Not
    /// one of the standard's: what a user wants to know.
    pub error_percent: f64,
}

/// Judges the points; `rated` is the largest flow. `None` for less than two
/// settings or an empty one.
pub fn judge(points: &[Point], rated: f64) -> Option<Found> {
    if points.len() < 2 || rated <= 0.0 || points.iter().any(|point| point.measured.is_empty()) {
        return None;
    }
    let (slope, offset) = best_line(points)?;
    let mut found = Found {
        accuracy_percent: 0.0,
        linearity_percent: 0.0,
        repeatability_percent: 0.0,
        error_percent: 0.0,
    };
    for point in points {
        let mean = point.mean();
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for &flow in &point.measured {
            let off = 100.0 * (flow - mean).abs() / mean.abs().max(f64::MIN_POSITIVE);
            found.accuracy_percent = found.accuracy_percent.max(off);
            least = least.min(flow);
            most = most.max(flow);
        }
        let spread = 100.0 * (most - least) / rated;
        let bend = 100.0 * (mean - (slope * point.set + offset)).abs() / rated;
        let error = 100.0 * (mean - point.set) / point.set;
        found.repeatability_percent = found.repeatability_percent.max(spread);
        found.linearity_percent = found.linearity_percent.max(bend);
        if error.abs() > found.error_percent.abs() {
            found.error_percent = error;
        }
    }
    Some(found)
}

/// Least squares through the means: slope and offset.
fn best_line(points: &[Point]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    let (mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0);
    for point in points {
        let (x, y) = (point.set, point.mean());
        sx += x;
        sy += y;
        sxx += x * x;
        sxy += x * y;
    }
    let below = n * sxx - sx * sx;
    (below.abs() > f64::EPSILON).then(|| {
        let slope = (n * sxy - sx * sy) / below;
        (slope, (sy - slope * sx) / n)
    })
}
