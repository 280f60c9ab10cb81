//! What a run came to, entry by entry: what expectations are judged by.

use dosewright_core::cause::Cause;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use super::calm::Calm;
use crate::run::{Frame, Options};
use crate::scenario::{Claim, DueClaim, Scenario};
use crate::trace::{Event, Fate, Outcome, Sink};

/// What one entry came to. A folded record counts as the doses it stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryFigures {
    /// Its name.
    pub name: String,
    /// Scheduled doses that ran in full.
    pub dosed: u64,
    /// Scheduled doses that ran in part.
    pub part: u64,
    /// Scheduled doses that did not run.
    pub skipped: u64,
    /// Scheduled doses without an outcome at the end.
    pub open: u64,
    /// Part and skipped ones by cause.
    causes: [u64; Cause::ALL.len()],
    /// Doses that an operator asked for, outside the timetable.
    pub asked: u64,
    /// Of those, the ones that are open at the end.
    pub asked_open: u64,
    /// Volume that all of its doses ask for, in nl. A dose that was skipped
    /// because its date is closed, or because a clock setting or an edit took it
    /// back, asks for nothing.
    pub asks_nl: u128,
    /// The least delivered, by the ledger, in nl.
    pub least_nl: u128,
    /// The most delivered, by the ledger, in nl.
    pub most_nl: u128,
    /// By the pump's pin at the flow each dose began with, in nl.
    pub pumped_nl: u128,
    /// The same of a dose that is open at the end.
    pub open_nl: u128,
    /// How long the pump ran for it, in ms.
    pub on_ms: u64,
}

impl EntryFigures {
    const fn new(name: String) -> Self {
        Self {
            name,
            dosed: 0,
            part: 0,
            skipped: 0,
            open: 0,
            causes: [0; Cause::ALL.len()],
            asked: 0,
            asked_open: 0,
            asks_nl: 0,
            least_nl: 0,
            most_nl: 0,
            pumped_nl: 0,
            open_nl: 0,
            on_ms: 0,
        }
    }

    /// Part and skipped ones by cause, those that there were.
    pub fn causes(&self) -> impl Iterator<Item = (Cause, u64)> + '_ {
        Cause::ALL.into_iter().zip(self.causes).filter(|(_, count)| *count > 0)
    }

    /// All scheduled doses.
    pub const fn dues(&self) -> u64 {
        self.dosed + self.part + self.skipped + self.open
    }

    fn add(&mut self, outcome: &Outcome) {
        let count = u64::from(outcome.count);
        self.least_nl += u128::from(outcome.least.as_nl());
        self.most_nl += u128::from(outcome.most.as_nl());
        self.on_ms += outcome.on_ms;
        if matches!(outcome.fate, Fate::Open(_)) {
            if outcome.asked {
                self.asked += count;
                self.asked_open += count;
            } else {
                self.open += count;
            }
            self.open_nl += u128::from(outcome.pumped.as_nl());
            return;
        }
        self.pumped_nl += u128::from(outcome.pumped.as_nl());
        let taken_back = matches!(
            outcome.fate,
            Fate::Skipped(
                Cause::Closed | Cause::ClockSet | Cause::Edited | Cause::Disabled | Cause::Removed
            )
        );
        if let Some(entry) = outcome.entry.filter(|_| !taken_back) {
            self.asks_nl += u128::from(entry.volume.as_nl()) * u128::from(count);
        }
        if outcome.asked {
            self.asked += count;
            return;
        }
        match outcome.fate {
            Fate::Dosed => self.dosed += count,
            Fate::Part(_) => self.part += count,
            Fate::Skipped(_) | Fate::Open(_) => self.skipped += count,
        }
        if let Some(cause) = outcome.fate.cause()
            && let Some(sum) = self.causes.get_mut(usize::from(cause.code()).wrapping_sub(1))
        {
            *sum += count;
        }
    }

    fn plus(mut self, other: &Self) -> Self {
        self.dosed += other.dosed;
        self.part += other.part;
        self.skipped += other.skipped;
        self.open += other.open;
        for (sum, more) in self.causes.iter_mut().zip(other.causes) {
            *sum += more;
        }
        self.asked += other.asked;
        self.asked_open += other.asked_open;
        self.asks_nl += other.asks_nl;
        self.least_nl += other.least_nl;
        self.most_nl += other.most_nl;
        self.pumped_nl += other.pumped_nl;
        self.open_nl += other.open_nl;
        self.on_ms += other.on_ms;
        self
    }
}

/// The scheduled dose that a claim is about, as it was found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) claim: DueClaim,
    pub(super) outcome: Option<Outcome>,
}

/// Gathers the figures; what it holds does not grow with the run.
#[derive(Clone, Debug)]
pub struct Figures {
    entries: Vec<EntryFigures>,
    pub(super) found: Vec<Found>,
    pub(super) calm: Vec<Calm>,
    /// How long the pump was on in all, in ms.
    pub pump_on_ms: u64,
    on_since: Option<u64>,
    /// A millisecond of flow: a dose is that near to its volume, no nearer (D4).
    pub(super) grain: Volume,
}

impl Figures {
    /// For the entries and claims of a scenario.
    pub fn new(scenario: &Scenario) -> Self {
        let found = scenario.expect.iter().filter_map(|expectation| match &expectation.claim {
            Claim::Due(claim) => Some(Found { claim: (**claim).clone(), outcome: None }),
            _ => None,
        });
        Self {
            entries: scenario
                .entries
                .iter()
                .map(|entry| EntryFigures::new(entry.name.clone()))
                .collect(),
            found: found.collect(),
            calm: Calm::of(&scenario.expect, &Frame::of(scenario, &Options::default())),
            pump_on_ms: 0,
            on_since: None,
            grain: scenario.head.head.flow.volume(Duration::from_ms(1)),
        }
    }

    /// Entry by entry, in the order of the file.
    pub fn entries(&self) -> &[EntryFigures] {
        &self.entries
    }

    /// Of one entry; `None` where it never was there.
    pub fn entry(&self, name: &str) -> Option<&EntryFigures> {
        self.entries.iter().find(|entry| entry.name == name)
    }

    /// Of an entry that nothing was seen of.
    pub(super) fn none(&self, name: &str) -> EntryFigures {
        debug_assert!(self.entry(name).is_none());
        EntryFigures::new(name.to_owned())
    }

    /// Of all entries together.
    pub fn all(&self) -> EntryFigures {
        self.entries.iter().fold(EntryFigures::new(String::new()), EntryFigures::plus)
    }

    /// Doses of which something was delivered.
    pub(super) fn delivered(&self) -> u64 {
        let of = |entry: &EntryFigures| entry.dosed + entry.part + entry.asked - entry.asked_open;
        self.entries.iter().map(of).sum()
    }

    /// At the end of the run.
    pub fn finish(&mut self, end_ms: u64) {
        if let Some(since) = self.on_since.take() {
            self.pump_on_ms += end_ms.saturating_sub(since);
        }
    }

    fn outcome(&mut self, at_ms: u64, outcome: &Outcome) {
        for calm in &mut self.calm {
            calm.see(at_ms, outcome);
        }
        for found in &mut self.found {
            let claim = &found.claim;
            let here = claim.entry.name == outcome.name
                && outcome.is_due_at(claim.at.local, claim.at.offset_s);
            // a due can be skipped by a clock setting and be born again; any of
            // the two may be the one that is meant
            let better = found
                .outcome
                .as_ref()
                .is_none_or(|seen| super::judge::misses(claim, Some(seen), self.grain).is_some());
            if here && better {
                found.outcome = Some(outcome.clone());
            }
        }
        match self.entries.iter_mut().find(|entry| entry.name == outcome.name) {
            Some(entry) => entry.add(outcome),
            None => {
                let mut entry = EntryFigures::new(outcome.name.clone());
                entry.add(outcome);
                self.entries.push(entry);
            }
        }
    }
}

impl Sink for Figures {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        match event {
            Event::Outcome(outcome) => self.outcome(at_ms, outcome),
            Event::Pump { on: true, .. } => self.on_since = Some(at_ms),
            Event::Pump { on: false, .. } => {
                if let Some(since) = self.on_since.take() {
                    self.pump_on_ms += at_ms.saturating_sub(since);
                }
            }
            _ => {}
        }
    }
}
