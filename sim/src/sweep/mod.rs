//! Fault kind by moment: one run for each, and whether the promises held, did not,
//! or the fault found nothing to hit.

mod lines;
mod moments;
mod page;

pub use moments::{Moment, Moments};
pub use page::verdict;

use crate::attempt::{self, Attempt};
use crate::diagnose::{Severity, Source};
use crate::judged::Verdict;
use crate::run::Options;
use crate::scenario::{self, FaultKind, Scenario};
use crate::tables;

/// What a sweep is made of.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The scenario's text, without what it expects.
    base: String,
    /// Seed of the runs.
    seed: u64,
    /// Words of the kinds of faults.
    pub kinds: Vec<&'static str>,
    /// When.
    pub moments: Vec<Moment>,
}

/// One run of a sweep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// The kind's word.
    pub kind: &'static str,
    /// Which moment, in the plan's order.
    pub moment: usize,
    /// The moment's name.
    pub name: String,
    /// The moment as it is written in the scenario.
    pub at: String,
    /// The fault as it is written there.
    pub put: String,
    /// How it ended; [`Verdict::Invalid`] where the fault never took effect.
    pub verdict: Verdict,
    /// What failed, or why it had no effect, one line each.
    pub findings: Vec<String>,
    /// The scenario of the run.
    pub text: String,
}

/// Why there is nothing to sweep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nothing(pub String);

impl Plan {
    /// Runs the scenario once to find the moments. What it expects of a run without
    /// the fault is left out: the promises are judged.
    pub fn new(
        text: &str,
        scenario: &Scenario,
        kinds: Vec<&'static str>,
        moments: &Moments,
        seed: u64,
    ) -> Result<Self, Nothing> {
        let base = base(text).ok_or_else(|| Nothing("its tables cannot be edited".to_owned()))?;
        let said = match moments {
            Moments::At(at) => said(&base, at),
            _ => None,
        };
        let moments = moments::find(scenario, moments, said, seed)?;
        Ok(Self { base, seed, kinds, moments })
    }

    /// How many runs there are.
    pub fn len(&self) -> usize {
        self.kinds.len() * self.moments.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The run of a number from 0, kind by kind.
    pub fn cell(&self, number: usize) -> Option<Cell> {
        let kind = *self.kinds.get(number.checked_div(self.moments.len())?)?;
        let moment = number % self.moments.len();
        let when = self.moments.get(moment)?;
        let line = lines::fault(kind, when);
        let text = format!("{}\n[[fault]]\nat = \"{}\"\n{line}\n", self.base.trim_end(), when.at);
        let options = Options { seed: self.seed, ..Options::default() };
        let attempt = attempt::attempt_text("sweep", &text, &options, None);
        let (verdict, findings) = judge(&text, attempt);
        let (name, at) = (when.name.clone(), when.at.clone());
        Some(Cell { kind, moment, name, at, put: line, verdict, findings, text })
    }

    /// The table, in lines of at most 80 cells.
    pub fn table(&self, cells: &[Cell]) -> String {
        page::table(self, cells)
    }
}

/// A scenario's text as one that a fault can be put at the end of, without what it expects.
fn base(text: &str) -> Option<String> {
    let mut doc: toml_edit::DocumentMut = text.parse().ok()?;
    doc.remove("expect");
    tables::unfold(&mut doc);
    Some(doc.to_string())
}

/// The added fault is the last of the file; what became of those before it is the
/// scenario's own affair.
fn judge(text: &str, attempt: Option<Attempt>) -> (Verdict, Vec<String>) {
    let Some(attempt) = attempt else {
        let (_, problems) = crate::check::read("sweep", text);
        let why = problems.into_iter().map(|problem| problem.message).collect();
        return (Verdict::Invalid, why);
    };
    if attempt.verdict != Verdict::Invalid {
        return (attempt.verdict, attempt.findings);
    }
    let last = attempt.judged.as_ref().and_then(|judged| judged.end.faults.last().copied());
    if last == Some(crate::run::FaultEnd::TookEffect) {
        return (Verdict::Held, Vec::new());
    }
    let source = Source::new("sweep", text);
    let found = attempt.judged.as_ref().and_then(|judged| judged.invalid.last());
    let why = found.map(|found| {
        let line = source.position(found.span.start).line;
        format!("{} at line {line}: {}: {}", found.code, found.message, found.label)
    });
    (Verdict::Invalid, why.into_iter().collect())
}

/// The text with one more fault, of a kind that there is on every site.
fn with_any(base: &str, at: &str) -> String {
    format!("{}\n[[fault]]\nat = \"{at}\"\nwatchdog_reset = {{}}\n", base.trim_end())
}

/// The moment of a fault, as a scenario's reader takes it.
fn said(base: &str, at: &str) -> Option<scenario::Moment> {
    let (scenario, _) = crate::check::read("sweep", &with_any(base, at));
    scenario?.faults.last().map(|fault| fault.at)
}

/// What is wrong with a moment for a fault of this scenario, in words; `None` where it is one.
pub fn bad_moment(text: &str, at: &str) -> Option<String> {
    let base = base(text)?;
    let base = base.trim_end();
    let (_, problems) = crate::check::read("sweep", &with_any(base, at));
    let found = problems
        .into_iter()
        .find(|found| found.severity == Severity::Error && found.span.start > base.len())?;
    let label = if found.label.is_empty() { String::new() } else { format!(": {}", found.label) };
    let help = found.help.map(|help| format!("; {help}")).unwrap_or_default();
    Some(format!("{}{label}{help}", found.message))
}

/// The kinds of a list of words.
///
/// # Errors
///
/// The word that is none.
pub fn kinds(words: &[String]) -> Result<Vec<&'static str>, String> {
    let find = |word: &String| {
        FaultKind::WORDS.into_iter().find(|known| known == word).ok_or_else(|| {
            let rows: Vec<String> = FaultKind::WORDS.chunks(5).map(|row| row.join(", ")).collect();
            format!("there is no fault named \"{word}\"; there are\n  {}", rows.join(",\n  "))
        })
    };
    words.iter().map(find).collect()
}

#[cfg(test)]
mod tests;
