//! What is known before a calibration's run, and the run that it asks for.

use crate::trade::repeats::Repeats;
use crate::trade::run_length::{self, Run, Unreachable};
use crate::trade::uncertainty::{COVERAGE, rectangular};

use super::Gauge;

/// Share of the last flow at which a run that was planned still does (own choice).
pub const WORN: f64 = 0.9;

/// What is known before the run.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Flow as last calibrated, in ml/min.
    pub last_ml_min: f64,
    /// Nominal flow of the head, in ml/min.
    pub nominal_ml_min: f64,
    /// Volume of a roller pass in ml, 0 where it is not known.
    pub pass_ml: f64,
    /// Rollers.
    pub rollers: u32,
    /// What it is measured with.
    pub gauge: Gauge,
    /// Half-width of the reading itself, in ml, beside the vessel's own error.
    pub reading_ml: f64,
    /// Standard uncertainty of the run's length in s.
    pub timing_s: f64,
    /// Expanded uncertainty wanted, as a share.
    pub target: f64,
    /// Longest calibration run in s.
    pub longest_s: f64,
}

impl Setup {
    pub(super) fn turn_ml(&self) -> f64 {
        self.pass_ml * f64::from(self.rollers)
    }

    /// Standard uncertainty of one measurement in ml.
    pub(super) fn reading_u_ml(&self) -> f64 {
        let gauge = rectangular(self.gauge.half_width_ml().unwrap_or(0.0));
        gauge.hypot(rectangular(self.reading_ml))
    }

    pub(super) fn means(&self, flow_ml_min: f64) -> run_length::Means {
        run_length::Means {
            flow_ml_min,
            // the rotor keeps its speed: what has changed is the volume of a turn
            turn_ml: self.turn_ml() * flow_ml_min / self.last_ml_min,
            vessel_ml: self.gauge.holds_ml(),
            reading_ml: self.reading_u_ml(),
            timing_s: self.timing_s,
            target: self.planned_target(),
            longest_s: self.longest_s,
            train: None,
        }
    }

    /// What a run is planned for, less than the target: its reading still meets that where
    /// the head delivers a tenth less than it did, and the reading is as low as it may be.
    pub fn planned_target(&self) -> f64 {
        let worst_ml = self.gauge.half_width_ml().unwrap_or(0.0) + self.reading_ml;
        let doubt_ml = COVERAGE * self.reading_u_ml();
        let low = if doubt_ml > 0.0 { self.target * worst_ml / doubt_ml } else { 0.0 };
        WORN * self.target / (1.0 + low)
    }

    /// The run that the gauge and the target ask for.
    pub fn plan(&self) -> Result<Run, Unreachable> {
        self.shortest(&self.means(self.last_ml_min))
    }

    /// The shortest run for what is planned; where none is so long, one with as much in hand
    /// as vessel and longest run leave, in eighths.
    pub(super) fn shortest(&self, means: &run_length::Means) -> Result<Run, Unreachable> {
        let targets = self.targets(means);
        targets.fold(run_length::shortest(means), |run, target| {
            run.or_else(|_| run_length::shortest(&run_length::Means { target, ..*means }))
        })
    }

    /// The same of as many readings as there were, which scatter as those did; `None` where
    /// it is the scatter that no run makes up for.
    pub(super) fn shortest_again(
        &self,
        means: &run_length::Means,
        repeats: &Repeats,
    ) -> Result<Option<Run>, Unreachable> {
        let (scatter, degrees) = (repeats.of_mean(), repeats.degrees());
        self.shortest(means)?;
        let mut all = std::iter::once(means.target).chain(self.targets(means));
        Ok(all.find_map(|target| {
            let means = run_length::Means { target, ..*means };
            run_length::shortest_of_several(&means, scatter, degrees).ok().flatten()
        }))
    }

    /// What else may be planned for, with less and less in hand.
    fn targets(&self, means: &run_length::Means) -> impl Iterator<Item = f64> + use<> {
        let (target, in_hand) = (means.target, self.target - means.target);
        (1..=8).map(move |eighth| target + in_hand * f64::from(eighth) / 8.0)
    }
}
