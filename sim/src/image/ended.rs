//! How a due, or a row of them, ended.

use dosewright_core::record::{Outcome, OutcomeKind};
use dosewright_core::units::Volume;

use super::dues::Dues;
use super::words;
use crate::scenario::show;
use crate::trace::Stamped;

/// An outcome as a record has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ended {
    /// How.
    pub kind: OutcomeKind,
    /// An operator asked for it, outside the timetable.
    pub asked: bool,
    /// When it was due by the device's clock; `None` while that was unset.
    pub due: Option<Stamped>,
    /// The device's elapsed time at its due, in ms.
    pub due_elapsed_ms: i64,
    /// How many dues it stands for.
    pub count: u32,
    /// As `due`, of the last of several.
    pub last_due: Option<Stamped>,
    /// The least delivered.
    pub least: Volume,
    /// The most delivered.
    pub most: Volume,
    /// Restarts while it was open.
    pub restarts: u8,
    /// The device's elapsed time when its first pulse began, in ms; `None` where none did.
    pub began_elapsed_ms: Option<i64>,
}

impl Ended {
    /// Of a record, and in words.
    pub(super) fn of(outcome: &Outcome, dues: &Dues) -> (Self, String) {
        let count = outcome.count.max(1);
        let ran = outcome.most > Volume::ZERO;
        let due_elapsed_ms = outcome.due_at.as_ms();
        let due = dues.due(&outcome.due, outcome.asked, outcome.due_at);
        let last = dues.last(&outcome.due, outcome.last).filter(|_| count > 1);
        let ended = Self {
            kind: outcome.kind,
            asked: outcome.asked,
            due: due.as_ref().map(|due| due.at),
            due_elapsed_ms,
            count,
            last_due: last.as_ref().map(|last| last.at),
            least: outcome.least,
            most: outcome.most,
            restarts: outcome.restarts,
            began_elapsed_ms: ran
                .then(|| due_elapsed_ms.saturating_add(i64::from(outcome.begun_after_ms))),
        };
        let due = due.map_or_else(|| words::elapsed(due_elapsed_ms), |due| due.words);
        let words = ended.words(&due, last.map(|last| last.words));
        (ended, words)
    }

    /// `dosed`, `part` or `skipped`.
    pub const fn word(&self) -> &'static str {
        match self.kind {
            OutcomeKind::Dosed => "dosed",
            OutcomeKind::Part(_) => "part",
            OutcomeKind::Skipped(_) => "skipped",
        }
    }

    /// A dose as it is meant to be: of the timetable, whole, and nothing in doubt about it.
    pub(super) fn is_plain(&self) -> bool {
        let is_whole = self.kind == OutcomeKind::Dosed && self.least == self.most;
        is_whole && !self.asked && self.restarts == 0
    }

    /// In words.
    fn words(&self, due: &str, last: Option<String>) -> String {
        let count =
            if self.count > 1 { format!(" ({} of them)", self.count) } else { String::new() };
        let last = last.map_or_else(String::new, |last| format!(", the last {last}"));
        let (least, most) = (show::volume(self.least), show::volume(self.most));
        let amount = match self.kind {
            OutcomeKind::Skipped(_) => String::new(),
            _ if least == most => format!(" {most}"),
            _ => format!(" {least} to {most}"),
        };
        let cause = self.kind.cause().map_or_else(String::new, |c| format!(", {}", c.words()));
        let restarts = match self.restarts {
            0 => String::new(),
            n => format!(", {}", crate::words::plural(n, "restart")),
        };
        let asked = if self.asked { "asked for" } else { "due" };
        format!("{}{count}{amount}{cause}{restarts}; {asked} {due}{last}", self.word())
    }
}
