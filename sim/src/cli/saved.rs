//! Failures saved at once, each with the one line that runs it again.

use std::path::{Path, PathBuf};

use dosewright_sim::digest::digest;
use dosewright_sim::failure::Failure;

use super::BUILD;
use super::files;
use super::terminal::Terminal;

/// Where failure files go unless a directory was given.
pub(super) const OUT: &str = "out";
/// Failures of one name in a directory; after so many the first gives way.
const MOST_OF_A_NAME: u32 = 9_999;
/// What their names end in.
const EXTENSION: &str = ".failure.toml";

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

/// Whether failures can be saved in the directory that was asked for: what it is not is told,
/// before the work. Where none was, a failure that cannot be saved is told with the command
/// that makes it again.
pub(super) fn can_save(terminal: Terminal, dir: Option<&Path>) -> bool {
    let tried = dir.map_or(Ok(()), files::can_fill);
    if let Err(why) = &tried {
        terminal.error(why);
    }
    tried.is_ok()
}

/// Where a failure goes: the file that it was saved in before, or one that is not there yet.
/// One of another scenario, or of anything else, is left as it is.
fn place(path: &Path, failed: &Failed) -> PathBuf {
    let is_free = |path: &Path| {
        !path.is_file()
            || std::fs::read_to_string(path)
                .ok()
                .and_then(|text| Failure::read(&text).ok().map(|(failure, _)| failure))
                .is_some_and(|old| old.file == failed.name && old.seed == failed.seed)
    };
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let stem = name.strip_suffix(EXTENSION).unwrap_or(&name);
    std::iter::once(path.to_path_buf())
        .chain(
            (2..=MOST_OF_A_NAME)
                .map(|number| path.with_file_name(format!("{stem}-{number}{EXTENSION}"))),
        )
        .find(|path| is_free(path))
        .unwrap_or_else(|| path.to_path_buf())
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
    let path = &place(path, failed);
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
