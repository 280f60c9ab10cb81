//! A run that broke a promise, written down so that exactly it can be run again.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use super::course::Violation;
use super::tear::Tear;

/// The name of the script, and with its number of the way cuts are counted.
const SCRIPT: &str = "evening 3";

/// One cut of the supply.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Cut {
    /// Before or in this call of the device, counted from its start, from 1.
    pub call: u32,
    /// When, in ms of elapsed time.
    pub at_ms: i64,
    /// In which of the call's writes and erases, from 0, and what it left; `None`
    /// before the call.
    pub work: Option<(u16, Tear)>,
    /// The slot of the last intent, acknowledged before, fails to read from then on.
    pub lost_intent: bool,
}

/// A run that broke a promise.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Failure {
    /// Bytes of a word of the memory.
    pub word: usize,
    /// The cuts, one or two; none where the run fails without any.
    pub cuts: Vec<Cut>,
    /// What was broken.
    pub violation: Violation,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    explore: String,
    script: String,
    word: usize,
    promise: Option<String>,
    what: Option<String>,
    #[serde(default)]
    cut: Vec<CutLine>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CutLine {
    call: u32,
    at_ms: i64,
    work: Option<u16>,
    tear: Option<String>,
    #[serde(default)]
    lost_intent: bool,
}

impl Failure {
    pub(super) fn new(word: usize, cuts: &[Cut], violation: Violation) -> Self {
        Self { word, cuts: cuts.to_vec(), violation }
    }

    /// The file that says it.
    pub fn write(&self) -> String {
        let cut = |cut: &Cut| CutLine {
            call: cut.call,
            at_ms: cut.at_ms,
            work: cut.work.map(|(work, _)| work),
            tear: cut.work.map(|(_, tear)| tear.to_string()),
            lost_intent: cut.lost_intent,
        };
        let file = File {
            explore: "cuts".to_owned(),
            script: SCRIPT.to_owned(),
            word: self.word,
            promise: Some(self.violation.promise.to_owned()),
            what: Some(self.violation.what.clone()),
            cut: self.cuts.iter().map(cut).collect(),
        };
        let mut text = String::from(
            "# `dosewright explore cuts --only` with this file runs it again, step by step.\n",
        );
        _ = match toml::to_string(&file) {
            Ok(toml) => text.write_str(&toml),
            Err(error) => write!(text, "# it cannot be written: {error}"),
        };
        text
    }

    /// Reads word size and cuts back from such a file.
    ///
    /// # Errors
    ///
    /// What is wrong with it, and where.
    pub fn read(text: &str) -> Result<(usize, Vec<Cut>), String> {
        let file: File = toml::from_str(text).map_err(|error| error.to_string())?;
        if file.explore != "cuts" || file.script != SCRIPT {
            return Err(format!(
                "this build explores cuts of the script \"{SCRIPT}\", not {} of \"{}\"",
                file.explore, file.script
            ));
        }
        if ![1, 4, 8].contains(&file.word) {
            return Err(format!("a word of {} bytes: give 1, 4 or 8", file.word));
        }
        let cut = |line: &CutLine| -> Result<Cut, String> {
            let work = match (line.work, &line.tear) {
                (Some(work), Some(tear)) => Some((work, tear.parse()?)),
                (None, None) => None,
                _ => return Err("a cut has a work and a tear, or neither".to_owned()),
            };
            Ok(Cut { call: line.call, at_ms: line.at_ms, work, lost_intent: line.lost_intent })
        };
        let cuts = file.cut.iter().map(cut).collect::<Result<_, _>>()?;
        Ok((file.word, cuts))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let cuts = vec![
            Cut { call: 3, at_ms: 180_000_000, work: None, lost_intent: true },
            Cut {
                call: 1,
                at_ms: 180_002_000,
                work: Some((2, Tear::AllBut(17))),
                lost_intent: false,
            },
        ];
        let violation = Violation { promise: "D4", what: "a \"what\"\nof two lines".to_owned() };
        let failure = Failure { word: 4, cuts, violation };
        let text = failure.write();
        assert_eq!(Failure::read(&text), Ok((4, failure.cuts)));
        for (from, to) in [("word = 4", "word = 3"), ("\"evening", "\"morning"), ("all but", "all")]
        {
            assert!(text.contains(from));
            assert!(Failure::read(&text.replace(from, to)).is_err(), "{to}");
        }
        assert!(Failure::read(&text.replace("work = 2\n", "")).is_err());
    }
}
