//! A calibration as lines for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::page::unreachable;
use super::{Outcome, Reading, Run, Setup, Unreachable, Verdict};
use crate::lines::{line, rounded};

/// Every line of `calibrate --json`.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
#[allow(clippy::large_enum_variant)]
enum Line<'a> {
    /// The run to make.
    CalibrationRun {
        /// Null where no run reaches the target.
        run: Option<RunLine>,
        why_not: Option<String>,
        /// Expanded uncertainty that is asked for, as a share.
        target: f64,
        /// What it is measured with.
        gauge: String,
    },
    /// What a reading means.
    Calibration {
        verdict: &'a str,
        flow_ml_min: f64,
        /// Expanded uncertainty of the flow.
        expanded_ml_min: f64,
        /// Coverage factor k, by the effective degrees of freedom (JCGM 100, G.4).
        coverage: f64,
        /// Effective degrees of freedom; null where no scatter of readings is in it.
        degrees_of_freedom: Option<f64>,
        target: f64,
        /// Against the last flow, as a share.
        change: f64,
        run_s: f64,
        /// Of several runs the mean.
        volume_ml: f64,
        /// What several runs of this length gave; null of one.
        repeats: Option<RepeatsLine>,
        turns: Option<f64>,
        /// Standard uncertainties, as shares of the flow.
        budget: Vec<Part>,
        /// With a train of short pulses.
        steady_ml_min: Option<f64>,
        loss_per_start_ml: Option<f64>,
        loss_expanded_ml: Option<f64>,
        /// The same as a time at the steady flow: how much longer each pulse is to run.
        lead_ms: Option<f64>,
        /// The account since the last calibration.
        restated_ml: Option<Account>,
        /// The longer run that is asked for.
        run_longer: Option<RunLine>,
        why_not: Option<String>,
    },
}

/// A run.
#[derive(Serialize, JsonSchema)]
struct RunLine {
    /// Whole rotor turns; 0 where a turn is not known.
    turns: u32,
    run_s: f64,
    volume_ml: f64,
    /// Expanded uncertainty that it will have, as a share.
    expanded: f64,
}

/// Several readings (ISO 8655-6).
#[derive(Serialize, JsonSchema)]
struct RepeatsLine {
    readings: usize,
    /// Of the mean, against what the flow in force would give.
    systematic_percent: f64,
    /// Standard deviation of the sample.
    deviation_ml: f64,
    /// Coefficient of variation.
    cv_percent: f64,
    /// One that stands apart from the others by Grubbs' test (ISO 5725-2).
    apart: Option<ApartLine>,
}

/// A reading that stands apart.
#[derive(Serialize, JsonSchema)]
struct ApartLine {
    /// Which one, from 1.
    reading: usize,
    volume_ml: f64,
    /// From the mean of the others, as a share.
    off: f64,
    /// By the value at 1 %; else a straggler, by that at 5 %.
    outlier: bool,
}

/// A part of the uncertainty.
#[derive(Serialize, JsonSchema)]
struct Part {
    part: &'static str,
    share: f64,
}

/// What was delivered by account.
#[derive(Serialize, JsonSchema)]
struct Account {
    best: f64,
    least: f64,
    most: f64,
}

fn run_line(plan: &Result<Run, Unreachable>) -> (Option<RunLine>, Option<String>) {
    match plan {
        Ok(run) => {
            let run = RunLine {
                turns: run.turns,
                run_s: rounded(run.run_s),
                volume_ml: rounded(run.volume_ml),
                expanded: rounded(run.expanded),
            };
            (Some(run), None)
        }
        Err(why) => (None, Some(unreachable(why))),
    }
}

/// The run to make, as a line.
pub fn planned_json(setup: &Setup, plan: &Result<Run, Unreachable>) -> String {
    let (run, why_not) = run_line(plan);
    line(&Line::CalibrationRun { run, why_not, target: setup.target, gauge: setup.gauge.words() })
}

/// The result, as a line.
pub fn json(setup: &Setup, reading: &Reading, found: &Outcome) -> String {
    let (run_longer, why_not) = match &found.verdict {
        Verdict::RunLonger(plan) => run_line(plan),
        _ => (None, None),
    };
    let parts = found.budget.parts.iter();
    line(&Line::Calibration {
        verdict: found.verdict.word(),
        flow_ml_min: rounded(found.flow_ml_min),
        expanded_ml_min: rounded(found.expanded_ml_min()),
        coverage: rounded(found.budget.coverage()),
        degrees_of_freedom: Some(found.budget.degrees()).filter(|n| n.is_finite()).map(rounded),
        target: setup.target,
        change: rounded(found.change),
        run_s: reading.run_s,
        volume_ml: rounded(reading.volume_ml),
        repeats: reading.repeats.map(|repeats| RepeatsLine {
            readings: repeats.readings,
            systematic_percent: rounded(repeats.systematic_percent),
            deviation_ml: rounded(repeats.deviation),
            cv_percent: rounded(repeats.spread_percent),
            apart: found.odd.map(|odd| ApartLine {
                reading: odd.reading,
                volume_ml: rounded(odd.value),
                off: rounded(odd.off()),
                outlier: odd.is_outlier,
            }),
        }),
        turns: found.turns.map(rounded),
        budget: parts.map(|part| Part { part: part.name, share: rounded(part.share) }).collect(),
        steady_ml_min: found.steady.map(|(s, _, _)| rounded(s.flow_ml_min)),
        loss_per_start_ml: found.steady.map(|(s, _, _)| rounded(s.loss_ml)),
        loss_expanded_ml: found.steady.map(|(_, _, u)| rounded(u)),
        lead_ms: found.steady.map(|(s, _, _)| rounded(s.lead_ms())),
        restated_ml: found.restated.map(|r| Account {
            best: rounded(r.best),
            least: rounded(r.least),
            most: rounded(r.most),
        }),
        run_longer,
        why_not,
    })
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<Line<'_>>("calibrate --json")
}
