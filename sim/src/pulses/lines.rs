//! The train as lines for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Ran, Train, turndown};
use crate::lines::{line, rounded};
use crate::trade::evenness::Error;

/// Every line of `pulses --json`: one for each head.
#[derive(Serialize, JsonSchema)]
#[serde(untagged)]
#[allow(clippy::large_enum_variant)]
enum Line<'a> {
    /// The train that the head gives.
    Train(TrainLine<'a>),
    /// The head gives none.
    None(NoTrain<'a>),
}

/// The pulse train of one dose with one head.
#[derive(Serialize, JsonSchema)]
struct TrainLine<'a> {
    #[schemars(extend("const" = "pulses"))]
    event: &'static str,
    head: &'a str,
    entry: &'a str,
    dose_ul: u64,
    window_ms: u64,
    pulses: usize,
    /// Pulses that the file asks for.
    asked: Option<u16>,
    pump_on_ms: u64,
    commanded_ml: f64,
    outflow_ml: f64,
    /// Most before the straight line.
    lead_ml: f64,
    /// Most behind it.
    lag_ml: f64,
    largest_pulse_ml: f64,
    /// Roller passes in a pulse, on the average; null where the volume of one is not
    /// known.
    roller_passes: Option<f64>,
    /// They are whole.
    whole_passes: bool,
    /// With so many pulses they would be; null where they are, or where no number does.
    whole_with_pulses: Option<u32>,
    /// In words; none where all are kept.
    limits_broken: Vec<String>,
    loss_per_start_ml: f64,
    commanded_error: Vec<WindowError>,
    outflow_error: Vec<WindowError>,
    turndown: Down,
    /// "same" as what the device does in a run, where and how it differs, or why it
    /// was not run; null where heads are compared.
    device: Option<String>,
}

/// Flow error by the length of the observation window (method of IEC 60601-2-24).
#[derive(Serialize, JsonSchema)]
struct WindowError {
    window_min: u32,
    most_percent: f64,
    least_percent: f64,
}

/// How the head does from its largest dose down.
#[derive(Serialize, JsonSchema)]
struct Down {
    most_ml: f64,
    settings: u64,
    accuracy_percent: Option<f64>,
    linearity_percent: Option<f64>,
    repeatability_percent: Option<f64>,
}

/// Why there is no train.
#[derive(Serialize, JsonSchema)]
struct NoTrain<'a> {
    #[schemars(extend("const" = "pulses"))]
    event: &'static str,
    head: &'a str,
    entry: &'a str,
    error: &'a str,
}

fn errors(errors: &[Error]) -> Vec<WindowError> {
    errors
        .iter()
        .map(|e| WindowError {
            window_min: e.window_min,
            most_percent: rounded(e.most_percent),
            least_percent: rounded(e.least_percent),
        })
        .collect()
}

/// One line for one head.
pub fn json(name: &str, entry: &str, train: &Train, ran: Option<&Ran>) -> String {
    let (commanded, outflow) = train.evenness();
    let straight = train.line();
    let down = turndown(train.window_ms, &train.head, train.model);
    line(&Line::Train(TrainLine {
        event: "pulses",
        head: name,
        entry,
        dose_ul: train.dose.as_ul(),
        window_ms: train.window_ms,
        pulses: train.pulses.len(),
        asked: train.asked,
        pump_on_ms: train.on_ms(),
        commanded_ml: rounded(train.commanded_ml()),
        outflow_ml: rounded(train.outflow_ml()),
        lead_ml: rounded(straight.lead_ml),
        lag_ml: rounded(straight.lag_ml),
        largest_pulse_ml: rounded(straight.pulse_ml),
        roller_passes: train.passes().map(|(passes, _)| rounded(passes)),
        whole_passes: train.passes().is_some_and(|(_, whole)| whole.is_some()),
        whole_with_pulses: train.whole_instead().map(|other| other.pulses),
        limits_broken: train.broken_limits(),
        loss_per_start_ml: rounded(train.model.loss_ml()),
        commanded_error: errors(&commanded),
        outflow_error: errors(&outflow),
        turndown: Down {
            most_ml: rounded(down.most_ml),
            settings: down.settings,
            accuracy_percent: down.found.map(|f| rounded(f.accuracy_percent)),
            linearity_percent: down.found.map(|f| rounded(f.linearity_percent)),
            repeatability_percent: down.found.map(|f| rounded(f.repeatability_percent)),
        },
        device: ran.map(|ran| match ran {
            Ran::Same => "same".to_owned(),
            Ran::Differs(at) => format!("differs at pulse {at}"),
            Ran::NotRun(why) => format!("not run: {why}"),
        }),
    }))
}

/// The line of a head that gives no train.
pub fn no_train(name: &str, entry: &str, error: &str) -> String {
    line(&Line::None(NoTrain { event: "pulses", head: name, entry, error }))
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<Line<'_>>("pulses --json")
}
