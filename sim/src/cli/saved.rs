//! Failures saved at once, each with the one line that runs it again.

use std::path::Path;

use dosewright_sim::digest::digest;
use dosewright_sim::failure::Failure;

use super::BUILD;
use super::files;
use super::terminal::Terminal;

/// Where failure files go unless a directory was given.
pub(super) const OUT: &str = "out";

/// What is saved of a failed run.
pub(super) struct Failed<'a> {
    /// The scenario file's name, or what the run is called.
    pub(super) name: &'a str,
    pub(super) seed: u64,
    /// Where the run ended before its time.
    pub(super) until_ms: Option<u64>,
    /// The scenario as it was run.
    pub(super) text: &'a str,
    pub(super) findings: &'a [String],
    /// How to run it again where it cannot be saved.
    pub(super) otherwise: &'a str,
}

/// Saves it; the line that replays it, ended.
pub(super) fn save(terminal: Terminal, path: &Path, failed: &Failed) -> String {
    let hash = digest(failed.text.as_bytes());
    let failure = Failure {
        file: failed.name.to_owned(),
        seed: failed.seed,
        until_ms: failed.until_ms,
        hash: hash.clone(),
        build: BUILD.to_owned(),
        findings: failed.findings.to_vec(),
    };
    match files::write(terminal, path, &failure.write(failed.text)) {
        Ok(()) => format!(
            "replay: dosewright replay {}  (seed {}, scenario {hash}, build {BUILD})\n",
            files::for_shell(path),
            failed.seed
        ),
        Err(why) => {
            format!("{why}\nreplay: {}  (scenario {hash}, build {BUILD})\n", failed.otherwise)
        }
    }
}
