//! Saved lines: those of a run or of a sweep.

use serde_json::Value;

use super::facts::Facts;
use super::matrix::{Cell, Sweep};
use crate::judged::Verdict;

/// What the lines of a file are.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)]
pub enum Saved {
    /// One run.
    Run(Facts),
    /// A sweep.
    Sweep(Sweep),
}

/// Whether a text is lines rather than a scenario.
pub fn are_lines(text: &str) -> bool {
    text.trim_start_matches('\u{feff}').trim_start().starts_with('{')
}

/// Scheduled doses by their outcomes, as the lines have them.
struct Counts([(&'static str, u64); 4]);

impl Counts {
    const fn new() -> Self {
        Self([("dosed", 0), ("part", 0), ("skipped", 0), ("open", 0)])
    }

    fn add(&mut self, line: &Value) {
        // one that somebody asked for is no scheduled dose
        if line["asked"] == true {
            return;
        }
        let of = self.0.iter_mut().find(|(word, _)| line["outcome"] == *word);
        if let Some((_, count)) = of {
            *count += line["count"].as_u64().unwrap_or(1);
        }
    }

    /// What the summary has otherwise, in words.
    fn unlike(&self, summary: &Value) -> Option<String> {
        self.0.iter().find_map(|(word, count)| {
            let told = summary[*word].as_u64().filter(|told| told != count)?;
            Some(format!("it tells of {told} {word}, the lines before it of {count}"))
        })
    }
}

/// The pump's drive, as the lines have it.
#[derive(Default)]
struct Drive {
    on_since: Option<u64>,
    on_ms: u64,
}

impl Drive {
    /// Why the line cannot come after those before it.
    fn turn(&mut self, at_ms: u64, on: bool) -> Result<(), String> {
        match (self.on_since, on) {
            (None, true) => self.on_since = Some(at_ms),
            (Some(since), false) => {
                self.on_ms += at_ms.saturating_sub(since);
                self.on_since = None;
            }
            (_, on) => {
                let word = if on { "on" } else { "off" };
                return Err(format!(
                    "the pump is turned {word} at {at_ms} ms, and it is {word}: \
                     a line is missing or doubled"
                ));
            }
        }
        Ok(())
    }

    /// What the summary has otherwise, in words.
    fn unlike(&self, summary: &Value) -> Option<String> {
        let to_end =
            |since| summary["simulated_ms"].as_u64().unwrap_or(since).saturating_sub(since);
        let on_ms = self.on_ms + self.on_since.map_or(0, to_end);
        let told = summary["pump_on_ms"].as_u64().filter(|told| *told != on_ms)?;
        Some(format!("it has the pump on for {told} ms, the lines before it for {on_ms} ms"))
    }
}

/// The lines of a run, as they come.
struct Run {
    facts: Facts,
    counts: Counts,
    drive: Drive,
    at_ms: u64,
    /// How many there are, the opening one among them.
    lines: u64,
    is_over: bool,
}

impl Run {
    fn opened(line: &Value) -> Result<Self, String> {
        let why = "the line does not say when and where the run starts; \
                   run the scenario again with this build";
        let facts = Facts::opened(line).ok_or(why)?;
        let (counts, drive) = (Counts::new(), Drive::default());
        Ok(Self { facts, counts, drive, at_ms: 0, lines: 1, is_over: false })
    }

    fn line(&mut self, event: &str, line: &Value) -> Result<(), String> {
        if self.is_over {
            return Err("the summary before this line ends the run".to_owned());
        }
        // an outcome is told when it is final, and has no moment of its own
        if let Some(at_ms) = line["at_ms"].as_u64() {
            if at_ms < self.at_ms {
                return Err(format!(
                    "the lines are out of order: {at_ms} ms comes after {} ms",
                    self.at_ms
                ));
            }
            self.at_ms = at_ms;
        }
        match event {
            "run" => return Err("a second run begins here: give one run a file".to_owned()),
            "outcome" | "open" => self.counts.add(line),
            "pump" => self.drive.turn(self.at_ms, line["on"] == true)?,
            "summary" => {
                self.is_over = true;
                if let Some(what) = self.unlike(line) {
                    return Err(format!(
                        "the lines do not belong to this summary: {what}; \
                         some are missing, doubled or of another run"
                    ));
                }
            }
            _ => {}
        }
        self.lines += 1;
        if !self.facts.line(line) {
            return Err("the outcome cannot be read".to_owned());
        }
        if self.is_over && self.facts.totals.verdict.is_none() {
            let known = Verdict::ALL.map(Verdict::word).join(", ");
            return Err(format!(
                "the verdict is none of {known}: run the scenario again with this build"
            ));
        }
        Ok(())
    }
}

impl Run {
    /// What the summary has otherwise than the lines before it, in words. One of a build that
    /// did not count its lines says nothing of their number.
    fn unlike(&self, summary: &Value) -> Option<String> {
        let of_all = || {
            let told = summary["lines"].as_u64().filter(|told| *told != self.lines)?;
            Some(format!("it comes after {told} lines, and here after {}", self.lines))
        };
        self.counts.unlike(summary).or_else(|| self.drive.unlike(summary)).or_else(of_all)
    }
}

/// Reads them.
///
/// # Errors
///
/// The line that cannot be read (from 1; 0 for the whole), and why.
pub fn read(text: &str) -> Result<Saved, (usize, String)> {
    let mut run: Option<Run> = None;
    let mut sweep = Sweep { cells: Vec::new(), left_out: 0 };
    let mut is_cut = false;
    for (number, text) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
        if text.trim().is_empty() {
            continue;
        }
        let line: Value = serde_json::from_str(text)
            .map_err(|error| (number, format!("this is no JSON object: {error}")))?;
        match (line["event"].as_str(), &mut run) {
            (Some("cell"), _) => {
                is_cut = true;
                sweep.cells.extend(Cell::of(&line));
            }
            (Some("run"), None) => run = Some(Run::opened(&line).map_err(|why| (number, why))?),
            (Some(event), Some(run)) => run.line(event, &line).map_err(|why| (number, why))?,
            (Some("summary"), None) => {
                is_cut = false;
                let number = |name: &str| line[name].as_u64().unwrap_or(0);
                sweep.left_out += number("runs").saturating_sub(number("cells"));
            }
            (Some("outcome" | "pump"), None) => {
                return Err((number, "the line of the run has to come first".to_owned()));
            }
            _ => {}
        }
    }
    let missing = |what: &str| {
        Err((0, format!("the last line, the summary, is missing: the {what} was cut short")))
    };
    match (run, sweep.cells.is_empty()) {
        (Some(run), true) if !run.is_over => missing("run"),
        (Some(run), true) => Ok(Saved::Run(run.facts)),
        (None, false) if is_cut => missing("sweep"),
        (None, false) => Ok(Saved::Sweep(sweep)),
        _ => Err((0, "these are no lines of `run --json` or `sweep --json`".to_owned())),
    }
}
