//! The lines that open and close the run of a scenario among the lines for
//! machines.

use serde::Serialize;

use crate::diagnose::{Diagnostic, Source};
use crate::judged::{Judged, Verdict};
use crate::run::{ActEnd, FaultEnd};
use crate::scenario::Scenario;

/// `{"event":"run",...}`: what is run.
#[derive(Serialize)]
pub struct Opening<'a> {
    event: &'static str,
    file: &'a str,
    title: Option<&'a str>,
    hash: &'a str,
    build: &'a str,
    seed: u64,
    run_for_ms: u64,
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
        Self { event: "run", file, title: scenario.title.as_deref(), hash, build, seed, run_for_ms }
    }
}

/// `{"event":"fault",...}` and `{"event":"operator",...}`: what became of it.
#[derive(Serialize)]
pub struct Became {
    event: &'static str,
    kind: &'static str,
    line: usize,
    became: &'static str,
}

/// What became of each fault and act of the file.
pub fn became(scenario: &Scenario, source: &Source, judged: &Judged) -> Vec<Became> {
    let line =
        |spans: &crate::diagnose::Spans, word: &str| source.position(spans.at(word).start).line;
    let faults = scenario.faults.iter().zip(&judged.end.faults).map(|(fault, end)| {
        let kind = fault.kind.word();
        let became = match end {
            FaultEnd::TookEffect => "took effect",
            FaultEnd::NoEffect => "no effect",
            FaultEnd::NotReached => "not reached",
            FaultEnd::NoSuchPart(_) => "cannot be simulated",
        };
        Became { event: "fault", kind, line: line(&fault.spans, kind), became }
    });
    let acts = scenario.operator.iter().zip(&judged.end.acts).map(|(act, end)| {
        let kind = act.act.word();
        let became = match end {
            ActEnd::Taken => "taken",
            ActEnd::Refused(_) => "refused",
            ActEnd::DeviceOff => "device off",
            ActEnd::NotReached => "not reached",
            ActEnd::NoSuchPart(_) => "cannot be simulated",
        };
        Became { event: "operator", kind, line: line(&act.spans, kind), became }
    });
    faults.chain(acts).collect()
}

#[derive(Serialize)]
struct Broken<'a> {
    promise: &'a str,
    at_ms: u64,
    entry: Option<&'a str>,
    due: Option<&'a str>,
    what: &'a str,
}

#[derive(Serialize)]
struct Finding<'a> {
    code: &'a str,
    line: usize,
    column: usize,
    message: &'a str,
    label: &'a str,
}

/// `{"event":"summary",...}`: what the run came to.
#[derive(Serialize)]
pub struct Summary<'a> {
    event: &'static str,
    held: bool,
    verdict: &'static str,
    dues: u64,
    dosed: u64,
    part: u64,
    skipped: u64,
    open: u64,
    asked: u64,
    pump_on_ms: u64,
    volume_ul: u64,
    volume_most_ul: u64,
    delivered_ul: u64,
    simulated_ms: u64,
    seed: u64,
    wakes: u64,
    violations: Vec<Broken<'a>>,
    violations_in_all: u64,
    expectations: usize,
    failures: Vec<Finding<'a>>,
    invalid: Vec<Finding<'a>>,
    file: &'a str,
    hash: &'a str,
    build: &'a str,
}

impl<'a> Summary<'a> {
    /// Of a judged run of the scenario in `source`.
    pub fn new(
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
            event: "summary",
            held: judged.verdict == Verdict::Held,
            verdict: match judged.verdict {
                Verdict::Held => "held",
                Verdict::Stopped => "stopped",
                Verdict::Invalid => "invalid",
                Verdict::Failed => "failed",
            },
            dues: all.dues(),
            dosed: all.dosed,
            part: all.part,
            skipped: all.skipped,
            open: all.open,
            asked: all.asked,
            pump_on_ms: judged.figures.pump_on_ms,
            volume_ul: ul(all.least_nl),
            volume_most_ul: ul(all.most_nl),
            delivered_ul: ul(u128::from(judged.end.delivered_nl)),
            simulated_ms: judged.end.end_ms,
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
            failures: judged.failures.iter().map(finding).collect(),
            invalid: judged.invalid.iter().map(finding).collect(),
            file: source.name(),
            hash,
            build,
        }
    }
}
