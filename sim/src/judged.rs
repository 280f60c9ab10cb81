//! A run together with its judgement: the auditor's and that of the scenario's
//! own expectations.

use dosewright_core::entry::EntryId;
use dosewright_core::ledger::Geometry;

use crate::audit::{AuditReport, Auditor, Facts};
use crate::diagnose::{Diagnostic, codes};
use crate::expect::{self, Figures};
use crate::observe::{Observation, Observer};
use crate::run::{self, ActEnd, FaultEnd, Frame, Options, RunEnd};
use crate::scenario::{Claim, FaultKind, Moment, Scenario, show};
use crate::trace::{Names, Sink, Tracker};
use crate::world::WorldError;

/// What a run shows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Verdict {
    /// All expectations and promises held.
    Held,
    /// The run ended at a limit before the scenario's end: what there was to
    /// see was in order, the expectations were not judged.
    Stopped,
    /// The run does not show what it was meant to: a fault never took effect.
    Invalid,
    /// An expectation or a promise did not hold.
    Failed,
}

impl Verdict {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Held, Self::Stopped, Self::Invalid, Self::Failed];

    /// Its word in the lines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Stopped => "stopped",
            Self::Invalid => "invalid",
            Self::Failed => "failed",
        }
    }

    /// Of its word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|verdict| verdict.word() == word)
    }
}

/// A run and its judgement.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The scenario's frame.
    pub frame: Frame,
    /// What the run left.
    pub end: RunEnd,
    /// The auditor's findings.
    pub audit: AuditReport,
    /// What it came to, entry by entry.
    pub figures: Figures,
    /// Figures of expectations that were others, at their places in the file.
    pub failures: Vec<Diagnostic>,
    /// Those that did not hold where a failure is what the scenario expects.
    pub meant: Vec<Diagnostic>,
    /// Faults and acts that never took effect, at their places in the file.
    pub invalid: Vec<Diagnostic>,
    /// Expectations that were judged.
    pub judged: usize,
    /// Those of them that did not hold: each can have more than one such figure.
    pub failed: usize,
    /// What all that comes to.
    pub verdict: Verdict,
}

/// Runs a scenario to its end, or to the limit in `options`, and judges it.
/// `sinks` are told its events; `watcher` sees the bare observations.
pub fn run(
    scenario: &Scenario,
    options: &Options,
    sinks: Vec<&mut dyn Sink>,
    watcher: Option<&mut dyn Observer>,
) -> Result<Judged, WorldError> {
    run_by(scenario, options, sinks, watcher, |observer| run::run(scenario, options, observer))
}

/// The same with a run that somebody else drives.
pub(crate) fn run_by(
    scenario: &Scenario,
    options: &Options,
    sinks: Vec<&mut dyn Sink>,
    watcher: Option<&mut dyn Observer>,
    drive: impl FnOnce(&mut dyn Observer) -> Result<RunEnd, WorldError>,
) -> Result<Judged, WorldError> {
    let frame = Frame::of(scenario, options);
    let mut figures = Figures::new(scenario);
    let mut auditor = Auditor::new(facts(scenario, &frame));
    let (mut end, audit) = {
        let mut all: Vec<&mut dyn Sink> = vec![&mut figures];
        for sink in sinks {
            all.push(sink);
        }
        let mut tracker = Tracker::new(frame, Names::of(scenario), all);
        let end = drive(&mut All { auditor: &mut auditor, tracker: &mut tracker, watcher })?;
        let audit = auditor.finish(end.end_ms);
        tracker.finish(end.end_ms, &audit.slept_through);
        (end, audit)
    };
    figures.finish(end.end_ms);
    forget_installation(&mut end);
    Ok(judge(scenario, frame, end, audit, figures))
}

/// A device that is new has its clock unset until the installer sets it, and says
/// so. What comes and goes at the very start is no alarm of the run.
fn forget_installation(end: &mut RunEnd) {
    let over: Vec<_> = end
        .alarms
        .iter()
        .filter(|(at, _, on)| *at == 0 && !on)
        .map(|(_, alarm, _)| *alarm)
        .collect();
    end.alarms.retain(|(at, alarm, _)| *at > 0 || !over.contains(alarm));
}

fn facts(scenario: &Scenario, frame: &Frame) -> Facts {
    let memory = &scenario.memory;
    let geometry = Geometry {
        start: 0,
        sector_bytes: memory.sector_bytes,
        sectors: u16::try_from(memory.sectors).unwrap_or(u16::MAX),
    };
    let names = (1..).map(EntryId).zip(scenario.entries.iter().map(|entry| entry.name.clone()));
    Facts { names: names.collect(), ..Facts::new(frame.start_utc_ms, geometry) }
}

fn judge(
    scenario: &Scenario,
    frame: Frame,
    end: RunEnd,
    audit: AuditReport,
    figures: Figures,
) -> Judged {
    let whole = end.end_ms >= scenario.clock.run_for.as_ms();
    let claims = scenario.expect.iter().filter(|e| !matches!(e.claim, Claim::Held(_)));
    let (mut failed, mut failures) =
        if whole { expect::failures(scenario, &figures, &end) } else { (0, Vec::new()) };
    let mut judged = if whole { claims.count() } else { 0 };
    let invalid = invalid(scenario, &end, whole);
    let broken = !audit.held() || end.install_refused.is_some();
    let mut verdict = if broken || !failures.is_empty() {
        Verdict::Failed
    } else if !invalid.is_empty() {
        Verdict::Invalid
    } else if whole {
        Verdict::Held
    } else {
        Verdict::Stopped
    };
    let mut meant = Vec::new();
    if whole && !scenario.meant_to_hold() {
        judged = judged.saturating_sub(std::mem::take(&mut failed));
        verdict = meant_to_fail(scenario, verdict, &invalid, &mut failures, &mut meant);
        judged += usize::from(verdict != Verdict::Invalid);
        failed = failures.len();
    }
    Judged { frame, end, audit, figures, failures, meant, invalid, judged, failed, verdict }
}

/// A scenario that says `held = false` is in order when something failed.
/// That claim is one more that is judged; of the others those that did not hold are what it
/// expects, and are counted no more. Where a fault missed, nobody can say whether it failed
/// by what was meant: the run stays invalid.
fn meant_to_fail(
    scenario: &Scenario,
    verdict: Verdict,
    invalid: &[Diagnostic],
    failures: &mut Vec<Diagnostic>,
    meant: &mut Vec<Diagnostic>,
) -> Verdict {
    match verdict {
        Verdict::Failed => {
            *meant = std::mem::take(failures);
            if !invalid.is_empty() {
                return Verdict::Invalid;
            }
            Verdict::Held
        }
        Verdict::Held => {
            let claim = scenario.expect.iter().find(|e| e.claim == Claim::Held(false));
            let span = claim.map(|e| e.spans.at("held")).unwrap_or_default();
            let found =
                Diagnostic::new(codes::NOT_AS_EXPECTED, span, "an expectation did not hold")
                    .label("expected something to fail; found that everything held");
            failures.push(found);
            Verdict::Failed
        }
        other => other,
    }
}

/// What the scenario asks for and the run did not show.
fn invalid(scenario: &Scenario, end: &RunEnd, whole: bool) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    for (fault, became) in scenario.faults.iter().zip(&end.faults) {
        let word = fault.kind.word();
        let span = fault.spans.at(word);
        match became {
            FaultEnd::TookEffect => {}
            FaultEnd::NotReached if !whole => {}
            FaultEnd::NoEffect => out.push(
                Diagnostic::new(
                    codes::NO_EFFECT,
                    span,
                    format!("the fault `{word}` never took effect"),
                )
                .label(match fault.kind {
                    FaultKind::QueueFlood { .. } => {
                        "the queue took them all in, or the device was off: give more `events`"
                    }
                    FaultKind::Misread { .. } => {
                        "the memory was not read so often from its moment on: give less `after`, or more `within`"
                    }
                    FaultKind::WriteFailure { .. } => {
                        "the memory was not written so often from its moment on: give less `after`, or more `within`"
                    }
                    FaultKind::EraseFailure { .. } => {
                        "no sector was erased so often from its moment on: give less `after`, more `within`, or a longer run"
                    }
                    _ => "at its moment there was nothing for it to hit",
                }),
            ),
            FaultEnd::NotReached => out.push(
                Diagnostic::new(
                    codes::NO_EFFECT,
                    fault.spans.at("at"),
                    format!("the fault `{word}` never took effect"),
                )
                .label(match fault.at {
                    Moment::Pulse { dose, pulse } => format!(
                        "no dose {dose} with a pulse {pulse} began in {}; `dosewright pulses` shows how many a dose has",
                        show::length(end.end_ms)
                    ),
                    _ => format!("its moment did not come in {}", show::length(end.end_ms)),
                }),
            ),
        }
    }
    for (act, became) in scenario.operator.iter().zip(&end.acts) {
        if let ActEnd::NoSuchPart(part) = became {
            let word = act.act.word();
            out.push(
                Diagnostic::new(
                    codes::NO_SUCH_PART,
                    act.spans.at(word),
                    format!("`{word}` cannot be simulated"),
                )
                .label((*part).to_owned()),
            );
        }
    }
    out
}

/// Everybody who looks on.
struct All<'a, 's, 'w> {
    auditor: &'a mut Auditor,
    tracker: &'a mut Tracker<'s>,
    watcher: Option<&'w mut dyn Observer>,
}

impl Observer for All<'_, '_, '_> {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        if let Some(watcher) = &mut self.watcher {
            watcher.see(at_ms, what);
        }
        self.auditor.see(at_ms, what);
        self.tracker.see(at_ms, what);
    }

    fn wants_end(&self) -> bool {
        self.watcher.as_ref().is_some_and(|watcher| watcher.wants_end())
    }
}
