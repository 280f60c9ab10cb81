//! The lines that open and close the run of a scenario among the lines for
//! machines.

use dosewright_core::entry::EntryId;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::page::overflowed;
use super::stamp::rfc3339;
use super::{Names, Settings, Stamped};
use crate::check;
use crate::diagnose::{Diagnostic, Source};
use crate::judged::{Judged, Verdict};
use crate::run::{ActEnd, FaultEnd, Frame, Options};
use crate::scenario::{Act, Scenario};

/// The first and the last line of a run.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
#[allow(clippy::large_enum_variant)]
pub enum End<'a> {
    /// What is run.
    Run(Opening<'a>),
    /// What it came to.
    Summary(Summary<'a>),
}

/// `{"event":"run",...}`: what is run.
#[derive(Serialize, JsonSchema)]
pub struct Opening<'a> {
    /// The scenario's file.
    file: &'a str,
    title: Option<&'a str>,
    /// Digest of the scenario's text.
    hash: &'a str,
    /// Version and digest of the sources.
    build: &'a str,
    /// Seed of everything left to chance.
    seed: u64,
    /// Length that the scenario has.
    run_for_ms: u64,
    /// True local time at the start.
    start: String,
    /// The zone of the place, as a POSIX TZ string.
    zone: &'a str,
    /// The zone of the device's clock, where it is another one.
    #[serde(skip_serializing_if = "Option::is_none")]
    device_zone: Option<&'a str>,
    /// Ceiling of any 23 hours by the timetable at the start.
    ceiling_ul: u64,
    /// The timetable at the start; `timetable` lines say what becomes of it.
    entries: Vec<Planned>,
}

/// An entry of the timetable at the start.
#[derive(Serialize, JsonSchema)]
struct Planned {
    entry: String,
    settings: Settings,
}

impl<'a> Opening<'a> {
    /// Of a scenario of that name, with the digest of its text.
    pub fn new(
        file: &'a str,
        scenario: &'a Scenario,
        hash: &'a str,
        build: &'a str,
        seed: u64,
    ) -> Self {
        let run_for_ms = scenario.clock.run_for.as_ms();
        let frame = Frame::of(scenario, &Options::default());
        let timetable = crate::world::first_timetable(scenario, &frame);
        let start = Stamped::of(&frame, 0);
        let names = Names::of(scenario);
        let zone = scenario.clock.zone_of_device().zone;
        let clock = WallClock::at(Instant::ZERO, Utc::from_ms(frame.start_utc_ms), zone);
        Self {
            file,
            title: scenario.title.as_deref(),
            hash,
            build,
            seed,
            run_for_ms,
            start: rfc3339(start),
            zone: &scenario.clock.zone.posix,
            device_zone: scenario.clock.device_zone.as_ref().map(|zone| zone.posix.as_str()),
            ceiling_ul: timetable.ceiling_in_force().as_ul(),
            entries: timetable
                .entries()
                .map(|entry| Planned {
                    entry: names.name(entry.id),
                    settings: Settings::of(&entry, Some(&clock)),
                })
                .collect(),
        }
    }
}

/// `{"event":"fault",...}` and `{"event":"operator",...}`: what became of it.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum Became {
    /// A fault of the scenario.
    Fault(Fortune),
    /// An act of an operator.
    Operator(Fortune),
}

/// What became of one table of the scenario.
#[derive(Serialize, JsonSchema)]
pub struct Fortune {
    kind: &'static str,
    /// Line of the file.
    line: usize,
    became: Word,
    /// Why the device refused it.
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<String>,
}

/// What it became.
#[derive(Clone, Copy, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Word {
    /// A fault took effect.
    #[serde(rename = "took effect")]
    TookEffect,
    /// A fault changed nothing.
    #[serde(rename = "no effect")]
    NoEffect,
    /// The run ended before it.
    #[serde(rename = "not reached")]
    NotReached,
    /// The device took the act.
    Taken,
    /// The device refused the act.
    Refused,
    /// The device was off.
    #[serde(rename = "device off")]
    DeviceOff,
    /// The vessel of a calibration run ran over.
    #[serde(rename = "vessel overflowed")]
    VesselOverflowed,
    /// The scenario has not what the act needs.
    #[serde(rename = "cannot be simulated")]
    CannotBeSimulated,
}

/// The name of an entry that is in force, or was; one that never was has the name that
/// an act gives it which speaks of it.
pub(super) fn name_of(names: &[(EntryId, String)], act: Option<&Act>, id: EntryId) -> String {
    let known = names.iter().find(|(known, _)| *known == id).map(|(_, name)| name);
    match (known, act) {
        (Some(name), _) => name.clone(),
        (None, Some(Act::Add(plan))) => plan.name.clone(),
        (None, _) => format!("entry {}", id.0),
    }
}

/// What became of each fault and act of the file.
pub fn became(scenario: &Scenario, source: &Source, judged: &Judged) -> Vec<Became> {
    let line =
        |spans: &crate::diagnose::Spans, word: &str| source.position(spans.at(word).start).line;
    let faults = scenario.faults.iter().zip(&judged.end.faults).map(|(fault, end)| {
        let kind = fault.kind.word();
        let became = match end {
            FaultEnd::TookEffect => Word::TookEffect,
            FaultEnd::NoEffect => Word::NoEffect,
            FaultEnd::NotReached => Word::NotReached,
        };
        let line = line(&fault.spans, kind);
        Became::Fault(Fortune { kind, line, became, reason: None })
    });
    let acts = scenario.operator.iter().zip(&judged.end.acts).map(|(act, end)| {
        let kind = act.act.word();
        let became = match end {
            ActEnd::Taken => Word::Taken,
            ActEnd::Refused(_) => Word::Refused,
            ActEnd::DeviceOff => Word::DeviceOff,
            ActEnd::NotReached => Word::NotReached,
            ActEnd::Overflowed { .. } => Word::VesselOverflowed,
            ActEnd::NoSuchPart(_) => Word::CannotBeSimulated,
        };
        let reason = match end {
            ActEnd::Refused(refusal) => Some(check::refusal_of(&act.act, refusal, |id| {
                name_of(&judged.end.names, Some(&act.act), id)
            })),
            ActEnd::Overflowed { came, holds } => Some(overflowed(*came, *holds)),
            _ => None,
        };
        Became::Operator(Fortune { kind, line: line(&act.spans, kind), became, reason })
    });
    faults.chain(acts).collect()
}

#[derive(Serialize, JsonSchema)]
struct Broken<'a> {
    promise: &'a str,
    at_ms: u64,
    entry: Option<&'a str>,
    due: Option<&'a str>,
    what: &'a str,
}

#[derive(Serialize, JsonSchema)]
struct Finding<'a> {
    code: &'a str,
    line: usize,
    column: usize,
    message: &'a str,
    label: &'a str,
}

/// `{"event":"summary",...}`: what the run came to.
#[derive(Serialize, JsonSchema)]
pub struct Summary<'a> {
    /// All expectations and promises held.
    held: bool,
    /// held, stopped, invalid or failed.
    verdict: &'static str,
    dues: u64,
    dosed: u64,
    part: u64,
    skipped: u64,
    open: u64,
    /// Doses that an operator asked for, outside the timetable.
    asked: u64,
    /// Of those, the ones that are open at the end.
    asked_open: u64,
    pump_on_ms: u64,
    volume_ul: u64,
    volume_most_ul: u64,
    commanded_ul: u64,
    delivered_ul: u64,
    spilled_ul: u64,
    container_ul: Option<u64>,
    account_ul: Option<u64>,
    /// Since when the memory takes nothing, where it takes nothing at the end.
    memory_fault_ms: Option<u64>,
    simulated_ms: u64,
    /// Lines of the run before this one, the first among them.
    #[serde(skip_serializing_if = "Option::is_none")]
    lines: Option<u64>,
    seed: u64,
    wakes: u64,
    violations: Vec<Broken<'a>>,
    violations_in_all: u64,
    expectations: usize,
    /// Of them those that did not hold; each can have more than one figure in `failures`.
    expectations_failed: usize,
    failures: Vec<Finding<'a>>,
    /// The scenario is meant to fail: it says `held = false`.
    failure_expected: bool,
    /// Expectations that did not hold where that is what the scenario expects.
    expected_failures: Vec<Finding<'a>>,
    invalid: Vec<Finding<'a>>,
    file: &'a str,
    hash: &'a str,
    build: &'a str,
}

impl<'a> Summary<'a> {
    /// Of a judged run of the scenario in `source`.
    pub fn new(
        scenario: &Scenario,
        source: &'a Source,
        judged: &'a Judged,
        hash: &'a str,
        build: &'a str,
        seed: u64,
    ) -> Self {
        let all = judged.figures.all();
        let finding = |found: &'a Diagnostic| {
            let at = source.position(found.span.start);
            Finding {
                code: found.code,
                line: at.line,
                column: at.column,
                message: &found.message,
                label: &found.label,
            }
        };
        let ul = |nl: u128| u64::try_from((nl + 500) / 1000).unwrap_or(u64::MAX);
        Self {
            held: judged.verdict == Verdict::Held,
            verdict: judged.verdict.word(),
            dues: all.dues(),
            dosed: all.dosed,
            part: all.part,
            skipped: all.skipped,
            open: all.open,
            asked: all.asked,
            asked_open: all.asked_open,
            pump_on_ms: judged.figures.pump_on_ms,
            volume_ul: ul(all.least_nl),
            volume_most_ul: ul(all.most_nl),
            commanded_ul: ul(u128::from(judged.end.commanded_nl)),
            delivered_ul: ul(u128::from(judged.end.delivered_nl)),
            spilled_ul: ul(u128::from(judged.end.spilled_nl)),
            container_ul: judged.end.level_nl.map(|nl| ul(u128::from(nl))),
            account_ul: judged.end.account_nl.map(|nl| ul(u128::from(nl))),
            memory_fault_ms: judged.end.memory_fault,
            simulated_ms: judged.end.end_ms,
            lines: None,
            seed,
            wakes: judged.end.wakes,
            violations: judged
                .audit
                .violations
                .iter()
                .map(|broken| Broken {
                    promise: broken.promise,
                    at_ms: broken.at_ms,
                    entry: broken.due.as_ref().map(|due| due.entry.as_str()),
                    due: broken.due.as_ref().map(|due| due.when.as_str()),
                    what: &broken.what,
                })
                .collect(),
            violations_in_all: judged.audit.violations_in_all,
            expectations: judged.judged,
            expectations_failed: judged.failed,
            failures: judged.failures.iter().map(finding).collect(),
            failure_expected: !scenario.meant_to_hold(),
            expected_failures: judged.meant.iter().map(finding).collect(),
            invalid: judged.invalid.iter().map(finding).collect(),
            file: source.name(),
            hash,
            build,
        }
    }
}

impl Summary<'_> {
    /// It comes after so many lines.
    #[must_use]
    pub const fn after(mut self, lines: u64) -> Self {
        self.lines = Some(lines);
        self
    }
}

/// Every line of `run --json`.
#[derive(JsonSchema)]
#[serde(untagged)]
#[allow(dead_code, clippy::large_enum_variant)]
enum AnyLine<'a> {
    End(End<'a>),
    Line(super::json::Line<'a>),
    Became(Became),
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<AnyLine<'_>>("run --json")
}
