//! The programs that have to agree with the table, each on its own terms.

use std::collections::{BTreeMap, BTreeSet};

use dosewright_core::entry::EntryId;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::OutcomeKind;
use dosewright_sim::audit::{Auditor, Facts, Predicted, Reading, predict};
use dosewright_sim::observe::{DeviceAct, Observation, Observer};
use dosewright_sim::run::{self, ActEnd, FaultEnd, Frame, Options};
use dosewright_sim::scenario::{Act, EntryPlan, FaultKind, RecurrencePlan, Scenario};
use dosewright_sim::trace::{Event, Fate, Names, Outcome, Sink, Tracker};

use crate::compare::Got;
use crate::table::{Kind, Which};

/// What could be seen of a case's run.
#[derive(Debug)]
pub(crate) struct Run {
    frame: Frame,
    end_ms: u64,
    geometry: Geometry,
    names: BTreeMap<EntryId, String>,
    intervals: BTreeSet<String>,
    seen: Vec<(u64, Seen)>,
    /// What the controller's ledger says, and when the pump's drive first
    /// turned on.
    pub(crate) controller: Vec<Got>,
}

/// An observation that can be kept.
#[derive(Debug)]
enum Seen {
    Supply(bool),
    Reset,
    Chip { count_ms: i64, rate_ppb: i64, feed_kept: bool },
    Pump(bool),
    Slot(u32, Vec<u8>),
    Act(DeviceAct),
    LateWake(u64),
}

impl Seen {
    fn of(what: &Observation<'_>) -> Option<Self> {
        Some(match *what {
            Observation::Supply { on } => Self::Supply(on),
            Observation::Reset => Self::Reset,
            Observation::Chip { count_ms, rate_ppb, feed_kept } => {
                Self::Chip { count_ms, rate_ppb, feed_kept }
            }
            Observation::Pump { on } => Self::Pump(on),
            Observation::Slot { address, bytes } => Self::Slot(address, bytes.to_vec()),
            Observation::Act(act) => Self::Act(act.clone()),
            Observation::LateWake { by_ms } => Self::LateWake(by_ms),
            Observation::Unread { .. }
            | Observation::Erased { .. }
            | Observation::NotStarted
            | Observation::MemoryFault { .. }
            | Observation::Named { .. }
            | Observation::Wake
            | Observation::Display { .. }
            | Observation::Account { .. } => {
                return None;
            }
        })
    }

    fn show(&self) -> Observation<'_> {
        match *self {
            Self::Supply(on) => Observation::Supply { on },
            Self::Reset => Observation::Reset,
            Self::Chip { count_ms, rate_ppb, feed_kept } => {
                Observation::Chip { count_ms, rate_ppb, feed_kept }
            }
            Self::Pump(on) => Observation::Pump { on },
            Self::Slot(address, ref bytes) => Observation::Slot { address, bytes },
            Self::Act(ref act) => Observation::Act(act),
            Self::LateWake(by_ms) => Observation::LateWake { by_ms },
        }
    }
}

struct Watch<'a, 's> {
    tracker: &'a mut Tracker<'s>,
    seen: Vec<(u64, Seen)>,
}

impl Observer for Watch<'_, '_> {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        self.tracker.see(at_ms, what);
        self.seen.extend(Seen::of(what).map(|seen| (at_ms, seen)));
    }
}

/// Runs the controller in the simulator. An error is a run that does not show
/// what the case is about.
pub(crate) fn run(scenario: &Scenario) -> Result<Run, String> {
    let options = Options::default();
    let frame = Frame::of(scenario, &options);
    let mut list = List { frame, got: Vec::new() };
    let mut tracker = Tracker::new(frame, Names::of(scenario), vec![&mut list]);
    let mut watch = Watch { tracker: &mut tracker, seen: Vec::new() };
    let end = run::run(scenario, &options, &mut watch).map_err(|error| error.to_string())?;
    let seen = watch.seen;
    // the table is about what a device can know
    tracker.finish(end.end_ms, &[]);
    if let Some(refusal) = end.install_refused {
        return Err(format!("the installation was refused: {refusal:?}"));
    }
    let faults = scenario.faults.iter().zip(&end.faults);
    let idle = faults
        .filter(|(_, end)| **end != FaultEnd::TookEffect)
        .map(|(fault, end)| (fault.kind.word(), format!("{end:?}")));
    // A run again or a prime may be refused in time; nothing else is in the cases.
    let may_fail =
        |act: &Act| matches!(act, Act::RunAgain(_) | Act::StopDose(_) | Act::Prime { .. });
    let acts = scenario.operator.iter().zip(&end.acts);
    let undone = acts
        .filter(|(act, end)| {
            **end != ActEnd::Taken && !(may_fail(&act.act) && matches!(end, ActEnd::Refused(_)))
        })
        .map(|(act, end)| (act.act.word(), format!("{end:?}")));
    match idle.chain(undone).next() {
        Some((word, end)) => Err(format!("{word}: {end}")),
        None => Ok(Run {
            frame,
            end_ms: end.end_ms,
            geometry: Geometry {
                start: 0,
                sector_bytes: scenario.memory.sector_bytes,
                sectors: u16::try_from(scenario.memory.sectors)
                    .map_err(|error| error.to_string())?,
            },
            names: end.names.into_iter().collect(),
            intervals: intervals(scenario),
            seen,
            controller: list.got,
        }),
    }
}

/// The names of the interval entries that there are in the run.
fn intervals(scenario: &Scenario) -> BTreeSet<String> {
    let acts = scenario.operator.iter().flat_map(|act| match &act.act {
        Act::Add(entry) => std::slice::from_ref(&**entry),
        Act::Timetable(entries) => entries,
        _ => &[],
    });
    let of_interval = |entry: &&EntryPlan| matches!(entry.recurrence, RecurrencePlan::Every { .. });
    scenario
        .entries
        .iter()
        .chain(acts)
        .filter(of_interval)
        .map(|entry| entry.name.clone())
        .collect()
}

impl Run {
    fn facts(&self, reading: Option<Reading>) -> Facts {
        let names = self.names.clone();
        Facts { names, reading, ..Facts::new(self.frame.start_utc_ms, self.geometry) }
    }

    /// What the auditor expects of a device in this world, without a look at
    /// what this one did: of all that was seen it is told the settings, the
    /// supply and the clock chip.
    pub(crate) fn prediction(&self, reading: Option<Reading>) -> Vec<Got> {
        let told =
            self.seen.iter().filter(|(_, seen)| !matches!(seen, Seen::Pump(_) | Seen::Slot(..)));
        let told = told.map(|(at_ms, seen)| (*at_ms, seen.show()));
        let predicted = predict(&self.facts(reading), told, self.end_ms);
        predicted.iter().map(|one| self.predicted(one)).collect()
    }

    /// What the auditor finds wrong with the controller's run.
    pub(crate) fn violations(&self, reading: Option<Reading>) -> Vec<String> {
        let mut auditor = Auditor::new(self.facts(reading));
        for (at_ms, seen) in &self.seen {
            auditor.see(*at_ms, &seen.show());
        }
        let report = auditor.finish(self.end_ms);
        report
            .violations
            .iter()
            .map(|one| format!("{} at {} ms: {}", one.promise, one.at_ms, one.what))
            .collect()
    }

    fn predicted(&self, one: &Predicted) -> Got {
        let entry = self.names.get(&one.id).cloned().unwrap_or_else(|| format!("{:?}", one.id));
        let which = |nominal: u32| match nominal {
            _ if one.asked => Which::Asked,
            n if self.intervals.contains(&entry) => Which::Interval(i64::from(n)),
            n => Which::Weekly(i64::from(n)),
        };
        let kind = match one.kind {
            Some(OutcomeKind::Dosed) => Kind::Dosed,
            Some(OutcomeKind::Part(_)) => Kind::Part,
            Some(OutcomeKind::Skipped(_)) => Kind::Skipped,
            None => Kind::Open,
        };
        let mut causes: Vec<String> =
            one.causes.iter().map(|cause| cause.words().to_owned()).collect();
        if causes.is_empty() {
            causes.extend(
                one.kind.and_then(OutcomeKind::cause).map(|cause| cause.words().to_owned()),
            );
        }
        Got {
            first: which(one.nominal),
            last: which(one.last),
            epoch: one.epoch,
            revision: one.revision,
            kind,
            causes,
            least_nl: one.least_nl,
            most_nl: one.most_nl,
            slack_nl: one.slack_nl,
            count: one.count,
            began_utc_ms: one.begun_at.and_then(|at| self.utc_ms(at)),
            entry,
        }
    }

    /// True UTC of a count of the device's clock chip: that of the first time it
    /// stood there, where a loss of its feed set it back.
    fn utc_ms(&self, count: i64) -> Option<i64> {
        let mut stretches: Vec<Stretch> = Vec::new();
        let mut off_ms = 0;
        for (at_ms, seen) in &self.seen {
            match *seen {
                Seen::Supply(false) => off_ms = *at_ms,
                Seen::Chip { count_ms, rate_ppb, feed_kept } => {
                    if let Some(before) = stretches.last_mut() {
                        before.end_ms = if feed_kept { *at_ms } else { off_ms };
                    }
                    stretches.push(Stretch {
                        from_ms: *at_ms,
                        end_ms: u64::MAX,
                        count_ms,
                        rate_ppb,
                    });
                }
                _ => {}
            }
        }
        stretches
            .iter()
            .find_map(|stretch| stretch.true_ms(count))
            .map(|at| self.frame.start_utc_ms.saturating_add(at))
    }
}

/// A stretch of true time in which the clock chip counted on at one rate.
struct Stretch {
    from_ms: u64,
    end_ms: u64,
    count_ms: i64,
    rate_ppb: i64,
}

impl Stretch {
    /// When it stood at this count, if that was in this stretch.
    fn true_ms(&self, count: i64) -> Option<i64> {
        let device = i128::from(count) - i128::from(self.count_ms);
        let after = device * 1_000_000_000 / (1_000_000_000 + i128::from(self.rate_ppb));
        let at = i128::from(self.from_ms) + after;
        i64::try_from(at).ok().filter(|_| device >= 0 && at < i128::from(self.end_ms))
    }
}

/// Whether all that matters can be told from settings, supply and clock: what
/// a torn write leaves cannot, so such a case is for the controller, and for
/// the auditor that sees the ledger.
pub(crate) fn is_foreseeable(scenario: &Scenario) -> bool {
    !scenario.faults.iter().any(|fault| matches!(fault.kind, FaultKind::MemoryTear { .. }))
}

struct List {
    frame: Frame,
    got: Vec<Got>,
}

impl Sink for List {
    fn event(&mut self, _at_ms: u64, event: &Event<'_>) {
        if let Event::Outcome(outcome) = event {
            self.got.push(got(&self.frame, outcome));
        }
    }
}

fn got(frame: &Frame, outcome: &Outcome) -> Got {
    let which = |nominal: u32| match outcome.entry {
        _ if outcome.asked => Which::Asked,
        Some(entry) if !entry.is_weekly() => Which::Interval(i64::from(nominal)),
        _ => Which::Weekly(i64::from(nominal)),
    };
    let kind = match outcome.fate {
        Fate::Dosed => Kind::Dosed,
        Fate::Part(_) => Kind::Part,
        Fate::Skipped(_) => Kind::Skipped,
        Fate::Open(_) => Kind::Open,
    };
    Got {
        entry: outcome.name.clone(),
        first: which(outcome.key.nominal.0),
        last: which(outcome.last.0),
        epoch: outcome.key.epoch,
        revision: outcome.key.revision,
        kind,
        causes: outcome.fate.cause().iter().map(|cause| cause.words().to_owned()).collect(),
        least_nl: outcome.least.as_nl(),
        most_nl: outcome.most.as_nl(),
        slack_nl: 0,
        count: u64::from(outcome.count),
        began_utc_ms: outcome.started_ms.map(|ms| frame.start_utc_ms.saturating_add_unsigned(ms)),
    }
}
