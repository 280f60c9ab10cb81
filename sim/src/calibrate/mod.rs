//! What a calibration reading means: the flow, its uncertainty, and what to do
//! with it. The same rules as the device's (O2, O3), on the PC, for readings
//! taken by hand.

mod gauge;
mod judge;
mod lines;
mod page;
mod setup;

pub use gauge::{Gauge, Liquid};
pub use judge::judge;
pub use lines::{json, planned_json, schema};
pub use page::{page, planned_page};
pub use setup::{Setup, WORN};

use crate::trade::repeats::{Odd, Repeats};
use crate::trade::restate::Restated;
use crate::trade::run_length::{Run, Unreachable};
use crate::trade::two_point::Steady;
use crate::trade::uncertainty::Budget;

/// Change against the last flow from which a second run has to confirm it, as a
/// share (common practice, no source).
pub const CONFIRM_FROM: f64 = 0.05;
/// Shares of the nominal flow outside which a result is refused (common
/// practice, no source).
pub const PLAUSIBLE: (f64, f64) = (0.5, 1.5);
/// Expanded uncertainty wanted unless said, as a share (own choice).
pub const TARGET: f64 = 0.02;
/// Standard uncertainty of a run timed by hand unless said, in s (own choice).
pub const TIMING_S: f64 = 0.5;
/// Longest calibration run where no head says it, in s.
pub const LONGEST_S: f64 = 600.0;

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Length of the run in s.
    pub run_s: f64,
    /// What came out, in ml; of several runs of this length the mean.
    pub volume_ml: f64,
    /// What several runs of this length gave.
    pub repeats: Option<Repeats>,
    /// A train of short pulses beside it: pulses, length of each in s, ml.
    pub train: Option<(u32, f64, f64)>,
    /// The flow that an earlier run of this calibration gave, in ml/min.
    pub first_ml_min: Option<f64>,
    /// Volume that was logged since the last calibration, in ml.
    pub logged_ml: Option<f64>,
}

impl Reading {
    /// What the train gave beyond the flow of the run, as a share; nothing where there is none.
    pub fn train_gives_more_by(&self) -> f64 {
        self.train.map_or(0.0, |(pulses, pulse_s, train_ml)| {
            let by_run = self.volume_ml / self.run_s * pulse_s * f64::from(pulses);
            train_ml / by_run - 1.0
        })
    }
}

/// What to do with a result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Verdict {
    /// Take it.
    Accept,
    /// Its uncertainty is above the target: the run that would do, or why none.
    RunLonger(Result<Run, Unreachable>),
    /// Outside the plausible range.
    Refused,
    /// Far from the last: run again to confirm.
    Confirm,
    /// The second run does not agree with the first, or several not with one another.
    Disagree,
    /// Several readings scatter so much that their mean is in more doubt than the target;
    /// how many would do that scatter alike, if some would.
    Scatter(Option<usize>),
    /// One of several readings is an outlier.
    Outlier(Odd),
    /// The train gave more than its starts can: it does not agree with the run.
    TrainGivesMore,
}

impl Verdict {
    /// One word for machines.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Accept => "accept",
            Self::RunLonger(_) => "run longer",
            Self::Refused => "refused",
            Self::Confirm => "confirm",
            Self::Disagree | Self::TrainGivesMore => "disagree",
            Self::Scatter(_) => "scatter",
            Self::Outlier(_) => "outlier",
        }
    }
}

/// The result of a calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// What to do.
    pub verdict: Verdict,
    /// The flow, in ml/min.
    pub flow_ml_min: f64,
    /// Its uncertainty and what it is made of.
    pub budget: Budget,
    /// Change against the last, as a share.
    pub change: f64,
    /// Rotor turns of the run; `None` where a turn is not known.
    pub turns: Option<f64>,
    /// Steady flow and loss per start with their expanded uncertainties, where a
    /// train was run.
    pub steady: Option<(Steady, f64, f64)>,
    /// The account restated, where a volume was logged.
    pub restated: Option<Restated>,
    /// One of several readings that stands apart, by more than a reading is in doubt.
    pub odd: Option<Odd>,
}

impl Outcome {
    /// Expanded uncertainty of the flow in ml/min.
    pub fn expanded_ml_min(&self) -> f64 {
        self.steady
            .map_or_else(|| self.budget.expanded() * self.flow_ml_min, |(_, expanded, _)| expanded)
    }
}

#[cfg(test)]
mod tests;
