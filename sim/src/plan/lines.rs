//! The plan as lines for machines.

use schemars::JsonSchema;
use serde::Serialize;

use super::placed::{self, Placed};
use super::write::{NIGHTS, clock, verdict};
use super::{Phase, Plan};
use crate::lines::{line, rounded};
use crate::scenario::{Brief, show};

/// Every line of `plan --json`: the plan, then its phases, each with its entries.
#[derive(Serialize, JsonSchema)]
#[serde(untagged)]
enum Line<'a> {
    /// The plan.
    Plan(PlanLine<'a>),
    /// A phase of dosing.
    Phase(PhaseLine<'a>),
    /// An entry of the timetable.
    Entry(EntryLine<'a>),
}

/// The plan as a whole.
#[derive(Serialize, JsonSchema)]
struct PlanLine<'a> {
    #[schemars(extend("const" = "plan"))]
    event: &'static str,
    /// The brief.
    file: &'a str,
    /// Everything asked for has a place, and the device accepts it.
    fits: bool,
    /// In one sentence; empty where nothing has a place.
    verdict: String,
    /// What does not fit and what the device refuses, a sentence each.
    misfits: &'a [String],
    /// Nights without a dose that need none, a sentence each.
    notes: &'a [String],
    /// The scenario; empty where nothing has a place, and where the device refuses it.
    scenario: &'a str,
    /// Label and local rules govern, and what else is to be heeded.
    caution: &'static str,
}

/// A phase of dosing with one volume.
#[derive(Serialize, JsonSchema)]
struct PhaseLine<'a> {
    #[schemars(extend("const" = "phase"))]
    event: &'static str,
    phase: &'a str,
    volume_ul: u64,
    nights_a_week: usize,
    /// First night.
    first: String,
    /// Last night; null for good.
    last: Option<String>,
    /// The least window that the head can deliver the dose in.
    least_window_min: u32,
}

/// An entry of the timetable, with its reasons.
#[derive(Serialize, JsonSchema)]
struct EntryLine<'a> {
    #[schemars(extend("const" = "entry"))]
    event: &'static str,
    entry: &'a str,
    phase: &'a str,
    /// From noon to noon.
    nights: Vec<&'static str>,
    at: String,
    window_min: u32,
    pulses: u32,
    /// The most that the head's limits and its least pulse allow.
    most_pulses: u32,
    /// In each pulse; null where the volume of one is not known.
    roller_passes: Option<f64>,
    /// They are whole.
    whole_passes: bool,
    /// From the last water to the dose.
    settle_min: u32,
    /// From the end of the window to the next water.
    contact_min: u32,
    reasons: &'a [String],
}

const CAUTION: &str = "A proposal: the product's label and local rules govern, and come before it. The owner of the installation decides.";

fn phase(phase: &Phase) -> String {
    line(&Line::Phase(PhaseLine {
        event: "phase",
        phase: phase.name,
        volume_ul: phase.dose.as_ul(),
        nights_a_week: phase.nights.iter().flatten().count(),
        first: show::date(phase.first),
        last: phase.last.map(show::date),
        least_window_min: phase.least_window,
    }))
}

fn entry(of: &Phase, placed: &Placed) -> String {
    line(&Line::Entry(EntryLine {
        event: "entry",
        entry: &placed.name,
        phase: of.name,
        nights: placed.nights.iter().filter_map(|night| NIGHTS.get(*night).copied()).collect(),
        at: clock(placed.place.start as i32),
        window_min: placed.place.window,
        pulses: placed.pulses.pulses,
        most_pulses: placed.pulses.most,
        roller_passes: placed.pulses.passes.map(rounded),
        whole_passes: placed.pulses.whole().is_some(),
        settle_min: placed.settle_min,
        contact_min: placed.contact_min,
        reasons: &placed.reasons,
    }))
}

/// The lines of a plan; `refused`: why the device does not take it, a sentence each.
pub fn json(file: &str, brief: &Brief, plan: &Plan, refused: &[String]) -> String {
    let is_empty = plan.phases.is_empty();
    let misfits = [&plan.misfits[..], refused].concat();
    let mut out = line(&Line::Plan(PlanLine {
        event: "plan",
        file,
        fits: !is_empty && misfits.is_empty(),
        verdict: if is_empty {
            String::new()
        } else {
            verdict(brief, &plan.phases, &plan.dry, &misfits)
        },
        misfits: &misfits,
        notes: &plan.notes,
        scenario: if refused.is_empty() { &plan.text } else { "" },
        caution: CAUTION,
    }));
    for of in &plan.phases {
        out.push_str(&phase(of));
        for placed in placed::of_phase(brief, &plan.dry, of) {
            out.push_str(&entry(of, &placed));
        }
    }
    out
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<Line<'_>>("plan --json")
}
