//! The smallest scenario that still fails in the same way: delta debugging on the
//! tables, keys and values of a scenario file.
//!
//! Every step leaves a file that is smaller by one order (lines, then digits that
//! say something, then characters), so it ends; and it goes the same way every
//! time. Steps that make the file unreadable or the failure another one are not
//! taken. An expectation stays as it is written, or goes as a whole, and the run
//! gets no longer.

mod passes;
mod plain;
mod simpler;

use plain::Plain;

use crate::attempt::{Attempt, attempt_text};
use crate::judged::Verdict;
use crate::run::Options;

/// How to shrink.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Seed of the runs.
    pub seed: u64,
    /// Runs at most.
    pub runs: u32,
}

/// What shrinking came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shrunk {
    /// The scenario.
    pub text: String,
    /// In which way it fails, before and after.
    pub way: String,
    /// What failed in the last run of it, one line each.
    pub findings: Vec<String>,
    /// Lines that are not blank and no comment, before and after.
    pub lines: (usize, usize),
    /// Runs that were made.
    pub runs: u32,
    /// The limit of runs ended it: there may be a smaller one.
    pub stopped: bool,
}

/// Why nothing was shrunk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotShrunk {
    /// The text is no scenario.
    NoScenario,
    /// The scenario does not fail.
    DoesNotFail(Verdict),
}

/// Lines that say something.
pub fn lines(text: &str) -> usize {
    text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')).count()
}

/// Makes a scenario that fails as small as it gets. `tell` is told now and then how
/// many runs were made and how many lines are left, and may end it by `false`.
pub fn shrink(
    text: &str,
    until_ms: Option<u64>,
    limits: Limits,
    tell: &mut dyn FnMut(u32, usize) -> bool,
) -> Result<Shrunk, NotShrunk> {
    let options = Options {
        until: until_ms.map(dosewright_core::time::Duration::from_ms),
        seed: limits.seed,
        ..Options::default()
    };
    let first = attempt_text("scenario", text, &options, None).ok_or(NotShrunk::NoScenario)?;
    let way = first.way().ok_or(NotShrunk::DoesNotFail(first.verdict))?;
    let plain = Plain::read(text).ok_or(NotShrunk::NoScenario)?;
    let mut runs = 1;
    let without = plain.without_trouble().into_iter().find(|names| {
        runs += 1;
        holds(&plain.without(names), limits.seed)
    });
    let is_expectation = first
        .judged
        .as_ref()
        .is_some_and(|judged| judged.audit.violations.is_empty() && !judged.failures.is_empty());
    let mut work = Work {
        way,
        limits,
        keeps_asking: is_expectation && without.is_none(),
        without,
        runs,
        stopped: false,
        noticed_ms: noticed_ms(&first).or(until_ms),
        findings: first.findings,
        best: plain,
        tell,
    };
    passes::all(&mut work);
    let small = work.best.write();
    Ok(Shrunk {
        lines: (lines(text), lines(&small)),
        text: small,
        way: work.way,
        findings: work.findings,
        runs: work.runs,
        stopped: work.stopped,
    })
}

/// Whether a scenario holds from beginning to end.
fn holds(plain: &Plain, seed: u64) -> bool {
    let options = Options { seed, ..Options::default() };
    attempt_text("scenario", &plain.write(), &options, None)
        .is_some_and(|attempt| attempt.verdict == Verdict::Held)
}

/// When the failure was noticed, where that says how long the run has to be.
fn noticed_ms(attempt: &Attempt) -> Option<u64> {
    let violation = attempt.judged.as_ref()?.audit.violations.first()?;
    Some(violation.at_ms)
}

/// What is being shrunk.
struct Work<'t> {
    way: String,
    limits: Limits,
    /// Without these of its tables, faults and acts or either, the scenario holds, and what
    /// it becomes has to as well: what asks for more doses than it has left would fail for
    /// ever.
    without: Option<&'static [&'static str]>,
    /// An expectation failed, and there is nothing without which it holds: what is asked of
    /// the device stays, or fewer doses than it asks for would be what fails.
    keeps_asking: bool,
    runs: u32,
    stopped: bool,
    /// True ms at which the failure was noticed.
    noticed_ms: Option<u64>,
    findings: Vec<String>,
    best: Plain,
    tell: &'t mut dyn FnMut(u32, usize) -> bool,
}

impl Work<'_> {
    /// Takes a smaller file in place of the best so far, if it fails in the same way.
    fn offer(&mut self, smaller: Plain) -> bool {
        if self.stopped || smaller.size() >= self.best.size() {
            return false;
        }
        let grows = smaller.run_ms() > self.best.run_ms();
        if grows || self.keeps_asking && smaller.asked() != self.best.asked() {
            return false;
        }
        if self.runs >= self.limits.runs || !(self.tell)(self.runs, self.best.lines()) {
            self.stopped = true;
            return false;
        }
        let options = Options { seed: self.limits.seed, ..Options::default() };
        let Some(attempt) = attempt_text("scenario", &smaller.write(), &options, None) else {
            // what cannot be read is not run
            return false;
        };
        self.runs += 1;
        if attempt.way().as_deref() != Some(&self.way) {
            return false;
        }
        if let Some(names) = self.without {
            if self.runs >= self.limits.runs {
                self.stopped = true;
                return false;
            }
            self.runs += 1;
            if !holds(&smaller.without(names), self.limits.seed) {
                return false;
            }
        }
        self.noticed_ms = noticed_ms(&attempt).or(self.noticed_ms);
        self.findings = attempt.findings;
        self.best = smaller;
        true
    }
}

#[cfg(test)]
mod tests;
