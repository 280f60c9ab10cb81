//! Saved lines: those of a run or of a sweep.

use serde_json::Value;

use super::facts::Facts;
use super::matrix::Cell;

/// What the lines of a file are.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)]
pub enum Saved {
    /// One run.
    Run(Facts),
    /// A sweep.
    Sweep(Vec<Cell>),
}

/// Whether a text is lines rather than a scenario.
pub fn are_lines(text: &str) -> bool {
    text.trim_start_matches('\u{feff}').trim_start().starts_with('{')
}

/// Reads them.
///
/// # Errors
///
/// The line that cannot be read (from 1; 0 for the whole), and why.
pub fn read(text: &str) -> Result<Saved, (usize, String)> {
    let mut run: Option<Facts> = None;
    let mut cells = Vec::new();
    let mut ended = false;
    for (number, text) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
        if text.trim().is_empty() {
            continue;
        }
        let line: Value = serde_json::from_str(text)
            .map_err(|error| (number, format!("this is no JSON object: {error}")))?;
        match (line["event"].as_str(), &mut run) {
            (Some("cell"), _) => cells.extend(Cell::of(&line)),
            (Some("run"), None) => {
                let why = "the line does not say when and where the run starts; \
                           run the scenario again with this build";
                run = Some(Facts::opened(&line).ok_or_else(|| (number, why.to_owned()))?);
            }
            (Some("run"), Some(_)) => {
                return Err((number, "a second run begins here: give one run a file".to_owned()));
            }
            (Some(event), Some(run)) => {
                ended |= event == "summary";
                if !run.line(&line) {
                    return Err((number, "the outcome cannot be read".to_owned()));
                }
            }
            _ => {}
        }
    }
    match (run, cells.is_empty()) {
        (Some(_), true) if !ended => {
            Err((0, "the last line, the summary, is missing: the run was cut short".to_owned()))
        }
        (Some(run), true) => Ok(Saved::Run(run)),
        (None, false) => Ok(Saved::Sweep(cells)),
        _ => Err((0, "these are no lines of `run --json` or `sweep --json`".to_owned())),
    }
}
