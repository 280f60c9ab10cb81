//! The account restated: what was really delivered while the flow drifted, and
//! what weighing the container says.

/// A volume with its bounds, in the unit it was given in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Restated {
    /// Best estimate: linear drift from the old flow to the one found.
    pub best: f64,
    /// If the flow had been the lower of the two all along.
    pub least: f64,
    /// If it had been the higher.
    pub most: f64,
    /// Change of flow in %.
    pub change_percent: f64,
}

/// A logged volume restated: it was reckoned with the flow `as_left` at the last
/// visit, and the flow was `as_found` at this one (common practice, no source).
pub fn restate(as_left: f64, as_found: f64, logged: f64) -> Restated {
    let (end, start) = (logged * as_found / as_left, logged);
    Restated {
        best: f64::midpoint(start, end),
        least: start.min(end),
        most: start.max(end),
        change_percent: 100.0 * (as_found - as_left) / as_left,
    }
}

/// What a container's loss of mass says of the flow since the last weighing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawdown {
    /// Volume drawn, in ml.
    pub drawn_ml: f64,
    /// Mean error of the account in %: positive where more was drawn than was
    /// logged.
    pub error_percent: f64,
    /// Expanded uncertainty (k = 2) of that error, from the balance: of the account in % as
    /// it is.
    pub expanded_percent: f64,
}

/// A drawdown of `mass_g` against a logged volume. The balance shows within
/// `within_g` of the mass, evenly; the difference is one reading of that.
pub fn drawdown(mass_g: f64, within_g: f64, specific_gravity: f64, logged_ml: f64) -> Drawdown {
    let drawn_ml = mass_g / specific_gravity;
    // of drawn / logged - 1, in which the account has no doubt (JCGM 100, 5.1.3)
    let u = super::uncertainty::rectangular(within_g) / specific_gravity / logged_ml;
    Drawdown {
        drawn_ml,
        error_percent: 100.0 * (drawn_ml - logged_ml) / logged_ml,
        expanded_percent: 100.0 * super::uncertainty::COVERAGE * u,
    }
}
