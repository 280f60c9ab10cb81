//! Failure files: a scenario as it was run, under a header of comments that says
//! with which seed, build and result. It is a scenario file like any other, so
//! that whoever finds it can read it, run it and edit it.

use std::fmt::Write as _;

use crate::digest::digest;

const FIRST: &str = "#! dosewright failure 1";
const LAST: &str = "#! the scenario as it was run:";
/// Findings written down at most.
const MOST_FINDINGS: usize = 20;

/// What is known of a failed run.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Failure {
    /// The name of the scenario file.
    pub file: String,
    /// Seed of the run.
    pub seed: u64,
    /// The run was ended after so many ms of true time.
    pub until_ms: Option<u64>,
    /// [`digest`] of the scenario.
    pub hash: String,
    /// The build that it was seen with.
    pub build: String,
    /// What failed, one line each.
    pub findings: Vec<String>,
}

impl Failure {
    /// The whole file for a scenario's text.
    pub fn write(&self, scenario: &str) -> String {
        let mut out =
            format!("{FIRST}\n#! `dosewright replay` with this file runs it again, exactly.\n");
        _ = writeln!(out, "#! file = {}", quoted(&self.file));
        _ = writeln!(out, "#! seed = {}", self.seed);
        if let Some(until_ms) = self.until_ms {
            _ = writeln!(out, "#! until_ms = {until_ms}");
        }
        _ = writeln!(out, "#! hash = {}", quoted(&self.hash));
        _ = writeln!(out, "#! build = {}", quoted(&self.build));
        for finding in self.findings.iter().take(MOST_FINDINGS) {
            _ = writeln!(out, "#! finding = {}", quoted(finding));
        }
        if let Some(more) = self.findings.len().checked_sub(MOST_FINDINGS).filter(|more| *more > 0)
        {
            _ = writeln!(out, "#! and {more} more");
        }
        out.push_str(LAST);
        out.push('\n');
        out.push_str(scenario);
        out
    }

    /// Reads a failure file: what is known, and the scenario in it.
    ///
    /// # Errors
    ///
    /// The line that cannot be read (from 1), and why.
    pub fn read(text: &str) -> Result<(Self, &str), (usize, String)> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut failure = Self::default();
        let (mut rest, mut number) = (text, 0);
        let mut seen_seed = false;
        loop {
            number += 1;
            let (line, after) = rest.split_once('\n').unwrap_or((rest, ""));
            let line = line.trim_end_matches('\r');
            if number == 1 {
                if line != FIRST {
                    let why =
                        format!("this is no failure file: it does not begin with \"{FIRST}\"");
                    return Err((number, why));
                }
            } else if line == LAST {
                rest = after;
                break;
            } else if let Some(said) = line.strip_prefix("#!") {
                seen_seed |= failure.take(said.trim()).map_err(|why| (number, why))?;
            } else {
                return Err((number, format!("the header ends before the line \"{LAST}\"")));
            }
            if after.is_empty() {
                return Err((number, "the header is not followed by a scenario".to_owned()));
            }
            rest = after;
        }
        if seen_seed {
            Ok((failure, rest))
        } else {
            Err((number, "the header names no seed".to_owned()))
        }
    }

    /// Takes in one line; whether it was the seed.
    fn take(&mut self, line: &str) -> Result<bool, String> {
        let Some((key, value)) = line.split_once(" = ") else { return Ok(false) };
        let number = || value.parse::<u64>().map_err(|_| format!("`{key}` is no whole number"));
        let text = || {
            serde_json::from_str::<String>(value)
                .map_err(|_| format!("`{key}` is no text in quotes"))
        };
        match key {
            "file" => self.file = text()?,
            "seed" => {
                self.seed = number()?;
                return Ok(true);
            }
            "until_ms" => self.until_ms = Some(number()?),
            "hash" => self.hash = text()?,
            "build" => self.build = text()?,
            "finding" => self.findings.push(text()?),
            _ => {}
        }
        Ok(false)
    }

    /// Whether the scenario is still the one that failed.
    pub fn is_of(&self, scenario: &str) -> bool {
        self.hash == digest(scenario.as_bytes())
    }
}

/// A text in quotes on one line.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn failure() -> Failure {
        Failure {
            file: "a \"week\".toml".to_owned(),
            seed: 7,
            until_ms: Some(86_400_000),
            hash: digest(b"schema = 1\n"),
            build: "0.1.0+abc".to_owned(),
            findings: vec!["D2 at 5 ms: \"night\"\nran twice".to_owned()],
        }
    }

    #[test]
    fn what_is_written_is_read_back() {
        let text = failure().write("schema = 1\n");
        let (read, scenario) = Failure::read(&text).unwrap();
        assert_eq!((&read, scenario), (&failure(), "schema = 1\n"));
        assert!(read.is_of(scenario) && !read.is_of("schema = 1"));
        // line ends as another system may make them
        let windows = text.replace('\n', "\r\n");
        assert_eq!(Failure::read(&windows).unwrap().0, failure());
    }

    #[test]
    fn what_is_no_failure_file_is_refused_with_its_line() {
        assert_eq!(Failure::read("schema = 1\n").unwrap_err().0, 1);
        let no_seed = failure().write("").replace("#! seed = 7\n", "");
        assert!(Failure::read(&no_seed).unwrap_err().1.contains("seed"));
        let bad = failure().write("x").replace("seed = 7", "seed = seven");
        assert_eq!(Failure::read(&bad).unwrap_err(), (4, "`seed` is no whole number".to_owned()));
        let cut = failure().write("x").replace(LAST, "schema = 1");
        assert!(Failure::read(&cut).unwrap_err().1.contains("ends before"));
    }
}
