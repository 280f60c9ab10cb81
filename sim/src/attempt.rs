//! A scenario's text run and judged from beginning to end, whatever comes of it:
//! what soaks, sweeps and shrinking do many times over.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::check;
use crate::diagnose::{Diagnostic, Source};
use crate::judged::{self, Judged, Verdict};
use crate::observe::Observer;
use crate::run::{FaultEnd, Options};
use crate::scenario::Scenario;

/// What came of it.
#[derive(Debug, Clone)]
pub struct Attempt {
    /// The verdict; a scenario that cannot be run at all, and a panic of the
    /// program, count as failed.
    pub verdict: Verdict,
    /// One line for each thing that failed; the first says in which way.
    pub findings: Vec<String>,
    /// The program panicked.
    pub panicked: bool,
    /// The run and its judgement, where there is one.
    pub judged: Option<Box<Judged>>,
}

/// Runs a scenario that has been read.
pub fn attempt(
    source: &Source,
    scenario: &Scenario,
    options: &Options,
    watcher: Option<&mut dyn Observer>,
) -> Attempt {
    // what a panic leaves behind is not looked at again
    let run = AssertUnwindSafe(|| judged::run(scenario, options, Vec::new(), watcher));
    match catch_unwind(run) {
        Ok(Ok(judged)) => Attempt {
            verdict: judged.verdict,
            findings: findings(source, &judged),
            panicked: false,
            judged: Some(Box::new(judged)),
        },
        Ok(Err(error)) => Attempt::failed(error.to_string(), false),
        Err(payload) => {
            let text = payload
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| payload.downcast_ref::<&str>().copied())
                .unwrap_or("without a message");
            Attempt::failed(format!("the program panicked: {text}"), true)
        }
    }
}

/// Reads a text and runs it; `None` where it is no scenario.
pub fn attempt_text(
    name: &str,
    text: &str,
    options: &Options,
    watcher: Option<&mut dyn Observer>,
) -> Option<Attempt> {
    let (scenario, _) = check::read(name, text);
    Some(attempt(&Source::new(name, text), &scenario?, options, watcher))
}

impl Attempt {
    fn failed(what: String, panicked: bool) -> Self {
        Self { verdict: Verdict::Failed, findings: vec![what], panicked, judged: None }
    }

    /// Faults that were asked for, and those of them that took effect.
    pub fn faults(&self) -> (usize, usize) {
        let Some(judged) = &self.judged else { return (0, 0) };
        let all = &judged.end.faults;
        let took = all.iter().filter(|end| **end == FaultEnd::TookEffect).count();
        (all.len(), took)
    }

    /// In which way it failed: the promise or the expectation, and what was said of
    /// it without its figures and names. Runs that fail in one way say the same.
    pub fn way(&self) -> Option<String> {
        if self.verdict != Verdict::Failed {
            return None;
        }
        if self.panicked {
            return Some("panic".to_owned());
        }
        let judged = self.judged.as_ref();
        if let Some(violation) = judged.and_then(|judged| judged.audit.violations.first()) {
            return Some(format!("{}: {}", violation.promise, shape(&violation.what, false)));
        }
        if let Some(failure) = judged.and_then(|judged| judged.failures.first()) {
            // whether there were any is what an expectation is about
            let side = side(&failure.label);
            return Some(format!("{}: {}{side}", failure.code, shape(&failure.label, true)));
        }
        self.findings.first().map(|finding| shape(finding, false))
    }
}

/// The words of a message, without what is in quotes. Of figures, where they are
/// kept, no more than whether they are zero.
fn shape(text: &str, figures: bool) -> String {
    let mut quoted = false;
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let opens = word.matches('"').count() % 2 == 1;
        let inside = quoted || word.contains('"');
        quoted ^= opens;
        if inside {
            continue;
        }
        if word.contains(|c: char| c.is_ascii_digit()) {
            let none = !word.contains(|c: char| ('1'..='9').contains(&c));
            words.extend(figures.then(|| if none { "0" } else { "n" }.to_owned()));
            continue;
        }
        let bare: String = word.chars().filter(|c| c.is_alphabetic()).collect();
        if !bare.is_empty() {
            words.push(bare);
        }
    }
    words.join(" ")
}

/// On which side of what was expected it is, where a figure tells: too few in place of
/// too many is another failure.
fn side(label: &str) -> &'static str {
    /// The number that a text begins with, and the word after it.
    fn figure(text: &str) -> Option<(f64, &str)> {
        let mut words = text.split_whitespace();
        Some((words.next()?.parse().ok()?, words.next().unwrap_or("")))
    }
    let both = || {
        let (expected, found) = label.strip_prefix("expected ")?.split_once("; found ")?;
        let ((expected, of), (found, unit)) = (figure(expected)?, figure(found)?);
        // two volumes are compared in one unit
        let is_volume = |unit: &str| matches!(unit, "\u{b5}l" | "ml" | "l");
        (!is_volume(of) && !is_volume(unit) || of == unit).then_some((expected, found))
    };
    match both() {
        Some((expected, found)) if found < expected => ", too few",
        Some((expected, found)) if found > expected => ", too many",
        _ => "",
    }
}

/// What failed, one line each: first what says in which way, as [`Attempt::way`] takes it.
/// What never took effect comes last, since a failure outweighs it.
pub fn findings(source: &Source, judged: &Judged) -> Vec<String> {
    let line = |found: &Diagnostic| {
        let at = source.position(found.span.start);
        format!(
            "{} at {}:{}:{}: {}: {}",
            found.code,
            source.name(),
            at.line,
            at.column,
            found.message,
            found.label
        )
    };
    let refused = judged.end.install_refused.map(|refusal| format!("installation: {refusal:?}"));
    let broken = judged.audit.violations.iter().map(ToString::to_string);
    broken
        .chain(judged.failures.iter().map(line))
        .chain(refused)
        .chain(judged.invalid.iter().map(line))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{shape, side};

    #[test]
    fn too_few_is_another_failure_than_too_many() {
        for (label, wanted) in [
            ("expected 8 dosed; found 6 of 8 (6 dosed, 1 part)", ", too few"),
            ("expected 8 dosed; found 9 of 15 (9 dosed)", ", too many"),
            ("expected 2 alarms at most; found 3", ", too many"),
            ("expected 120 ml within 2 %; found 90 ml", ", too few"),
            ("expected 1.2 l within 2 %; found 900 ml", ""),
            ("expected dosed; found skipped, \"leak\"", ""),
        ] {
            assert_eq!(side(label), wanted, "{label}");
        }
    }

    #[test]
    fn a_way_to_fail_has_no_figures_and_no_names() {
        let plain = |text| shape(text, false);
        let a = plain("pulse 1 of 6 is 120000 ms long for \"the night\", not 102528 ms");
        assert_eq!(a, "pulse of is ms long for not ms");
        assert_eq!(a, plain("pulse 3 of 9 is 1 ms long for \"b\", not 2 ms"));
        assert_ne!(a, plain("pulse 3 of 9 is 1 ms late for \"b\", not 2 ms"));
        assert_eq!(
            shape("expected 4 dosed; found 3 of 10 (3 dosed, 0 part)", true),
            "expected n dosed found n of n n dosed 0 part"
        );
    }
}
