//! How long a calibration run has to be: whole rotor turns, a vessel that holds
//! what comes out, and an uncertainty that is good enough.

use super::uncertainty::{Budget, COVERAGE};

/// What the run is planned from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Means {
    /// Flow as it is known so far, in ml/min.
    pub flow_ml_min: f64,
    /// Volume of one rotor turn in ml; 0 where it is not known.
    pub turn_ml: f64,
    /// What the vessel holds, in ml.
    pub vessel_ml: f64,
    /// Standard uncertainty of a reading, in ml, whatever the volume.
    pub reading_ml: f64,
    /// Standard uncertainty of the run's length, in s.
    pub timing_s: f64,
    /// Expanded uncertainty (k = 2) wanted, as a share of the flow.
    pub target: f64,
    /// Longest run that the head allows, in s.
    pub longest_s: f64,
    /// The train of short pulses that is measured beside it, as often and each as long
    /// in s, where the steady flow is to come from both.
    pub train: Option<(u32, f64)>,
}

impl Means {
    /// The time that what is between the two readings does not count: a pulse of the
    /// train, in s ([`super::two_point`]).
    fn pulse_s(&self) -> f64 {
        self.train.map_or(0.0, |(_, pulse_s)| pulse_s)
    }

    /// Standard uncertainty of readings and timing together, as a time of the flow in s.
    fn doubt_s(&self) -> f64 {
        let reading_s = self.reading_ml / (self.flow_ml_min / 60.0);
        let of_train_s = self.train.map_or(0.0, |(pulses, _)| reading_s / f64::from(pulses.max(1)));
        reading_s.hypot(of_train_s).hypot(self.timing_s)
    }
}

/// A run that would do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Whole rotor turns; 0 where the turn is not known.
    pub turns: u32,
    /// Its length in s.
    pub run_s: f64,
    /// What it will give, in ml.
    pub volume_ml: f64,
    /// Expanded uncertainty that it will have, as a share.
    pub expanded: f64,
}

/// Why no run does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unreachable {
    /// The vessel is full before.
    Vessel {
        /// The vessel that would be needed, in ml, with the same reading error.
        needed_ml: f64,
        /// The best that this one can do, as a share.
        best: f64,
    },
    /// The head may not run for so long.
    Longest {
        /// The run that would be needed, in s.
        needed_s: f64,
        /// The best within the longest run, as a share.
        best: f64,
    },
    /// Not even one rotor turn fits the vessel or the longest run.
    NoTurn,
}

/// Most of a vessel that a run is planned to fill: the flow may be higher than
/// it was (common practice, no source).
pub const FILL: f64 = 0.9;

fn expanded(means: &Means, run_s: f64) -> f64 {
    COVERAGE * means.doubt_s() / (run_s - means.pulse_s()).max(f64::MIN_POSITIVE)
}

fn run_of(means: &Means, turns: u32, run_s: f64) -> Run {
    Run {
        turns,
        run_s,
        volume_ml: means.flow_ml_min / 60.0 * run_s,
        expanded: expanded(means, run_s),
    }
}

/// The shortest run of whole turns whose expanded uncertainty is the target or
/// less. A longer run never has a higher one, for both parts fall with it.
pub fn shortest(means: &Means) -> Result<Run, Unreachable> {
    let flow_s = means.flow_ml_min / 60.0;
    let needed_s = means.pulse_s() + COVERAGE * means.doubt_s() / means.target.max(1e-9);
    let vessel_s = FILL * means.vessel_ml / flow_s;
    let most_s = vessel_s.min(means.longest_s);
    let (turns, run_s) = whole_turns(means, needed_s, f64::ceil);
    let (most_turns, whole_s) = whole_turns(means, most_s, f64::floor);
    if means.turn_ml > 0.0 && most_turns == 0 {
        return Err(Unreachable::NoTurn);
    }
    // a run that ends on the limit to the last digit is within it
    if run_s <= most_s * (1.0 + 1e-12) {
        return Ok(run_of(means, turns, run_s));
    }
    let best = expanded(means, whole_s);
    Err(if vessel_s <= means.longest_s {
        Unreachable::Vessel { needed_ml: run_s * flow_s / FILL, best }
    } else {
        Unreachable::Longest { needed_s: run_s, best }
    })
}

/// The shortest run whose mean of several readings does, where these scatter as those before
/// did: by `scatter` of their mean, a share of so many degrees of freedom. `None` where a
/// reading without scatter would do, and no run is long enough with it.
pub fn shortest_of_several(
    means: &Means,
    scatter: f64,
    degrees: f64,
) -> Result<Option<Run>, Unreachable> {
    let least = shortest(means)?;
    let most_s = (FILL * means.vessel_ml / (means.flow_ml_min / 60.0)).min(means.longest_s);
    let step_s = if least.turns > 0 { least.run_s / f64::from(least.turns) } else { 1.0 };
    let steps = ((most_s * (1.0 + 1e-12) - least.run_s) / step_s).max(0.0) as u32;
    Ok((0..=steps).find_map(|more| {
        let turns = if least.turns > 0 { least.turns + more } else { 0 };
        let run = run_of(means, turns, least.run_s + f64::from(more) * step_s);
        let one = run.expanded / COVERAGE;
        let expanded =
            Budget::default().with("run", one).seen("scatter", scatter, degrees).expanded();
        (expanded <= means.target).then_some(Run { expanded, ..run })
    }))
}

/// A length as a number of whole turns, and the length of these.
fn whole_turns(means: &Means, run_s: f64, round: fn(f64) -> f64) -> (u32, f64) {
    if means.turn_ml <= 0.0 {
        // no turn is known: whole seconds
        return (0, round(run_s));
    }
    let turn_s = means.turn_ml / (means.flow_ml_min / 60.0);
    let turns = round(run_s / turn_s);
    (turns as u32, turns * turn_s)
}
