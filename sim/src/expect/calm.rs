//! What a run came to after its last fault: whether everything found its feet.

use dosewright_core::cause::Cause;

use crate::run::Frame;
use crate::scenario::{Claim, Expectation, show};
use crate::trace::{Fate, Outcome};

/// An open dose is in arrears from so long after its deadline on: the true time of
/// a due is known to the second only, where the clock chip drifts.
const SLACK_MS: i64 = 60_000;

/// What one claim of calm found to be amiss.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Calm {
    from_ms: u64,
    /// In words, the first of them.
    first: Option<String>,
    count: u64,
}

impl Calm {
    /// One for each such claim, in the order of the file.
    pub(super) fn of(claims: &[Expectation], frame: &Frame) -> Vec<Self> {
        let from = |claim: &Claim| match claim {
            Claim::Calm { from } => Some(frame.moment(*from).unwrap_or(0)),
            _ => None,
        };
        claims
            .iter()
            .filter_map(|expectation| from(&expectation.claim))
            .map(|from_ms| Self { from_ms, first: None, count: 0 })
            .collect()
    }

    /// Takes in an outcome as it is told.
    pub(super) fn see(&mut self, at_ms: u64, outcome: &Outcome) {
        if outcome.asked || !self.is_amiss(at_ms, outcome) {
            return;
        }
        self.count += 1;
        if self.first.is_none() {
            let due = outcome
                .due
                .map_or_else(String::new, |due| format!(" of {}", show::local(due.local)));
            let cause = outcome
                .fate
                .cause()
                .map_or_else(String::new, |cause| format!(", \"{}\"", cause.words()));
            let word = outcome.fate.word();
            self.first = Some(format!("\"{}\"{due} {word}{cause}", outcome.name));
        }
    }

    fn is_amiss(&self, at_ms: u64, outcome: &Outcome) -> bool {
        let from = i64::try_from(self.from_ms).unwrap_or(i64::MAX);
        match outcome.fate {
            Fate::Dosed => false,
            Fate::Part(cause) | Fate::Skipped(cause) => {
                outcome.due_ms >= from && is_of_a_disturbance(cause)
            }
            Fate::Open(_) => {
                let Some(entry) = &outcome.entry else { return false };
                let lasts = i64::from(entry.window_ms) + i64::from(entry.grace_ms);
                let late = outcome.due_ms.saturating_add(lasts).saturating_add(SLACK_MS);
                late < i64::try_from(at_ms).unwrap_or(i64::MAX)
            }
        }
    }

    /// What is amiss, in words.
    pub(super) fn found(&self) -> Option<String> {
        let first = self.first.as_ref()?;
        let more = match self.count {
            0 | 1 => String::new(),
            count => format!(", and {} more", count - 1),
        };
        Some(format!("{first}{more}"))
    }
}

/// Whether a cause comes from a fault or an act, and not from the timetable, its
/// limits or settings that stay as they are.
const fn is_of_a_disturbance(cause: Cause) -> bool {
    match cause {
        Cause::ClockUnset
        | Cause::ClockLost
        | Cause::ClockSet
        | Cause::SupplyLost
        | Cause::WokenLate
        | Cause::Service
        | Cause::RemoteStop
        | Cause::Leak
        | Cause::MotorFault
        | Cause::Edited
        | Cause::Disabled
        | Cause::Removed
        | Cause::Restarts
        | Cause::Ledger
        | Cause::Stopped => true,
        // damaged settings stay damaged until somebody enters them again; a
        // container and a pack stay empty
        Cause::Closed
        | Cause::AlreadyDosed
        | Cause::Ceiling
        | Cause::OlderWaiting
        | Cause::PumpInUse
        | Cause::PumpLimits
        | Cause::Battery
        | Cause::ContainerEmpty
        | Cause::Damaged => false,
    }
}
