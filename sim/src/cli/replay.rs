//! `dosewright replay`.

use std::path::Path;

use dosewright_sim::digest::digest;
use dosewright_sim::failure::Failure;

use super::BUILD;
use super::args::{Pace, Progress, Traces};
use super::exit::Exit;
use super::explore;
use super::files;
use super::image::{self, Wanted};
use super::run::checked;
use super::terminal::Terminal;
use super::trial::Trial;
use super::watch;

/// Runs a failure file with its own seed and end, and says whether the failure
/// shows again. Of a ledger image it says what this build makes of it.
pub(super) fn replay(
    terminal: Terminal,
    progress: Progress,
    path: &Path,
    wanted: Wanted,
    traces: &Traces,
) -> Exit {
    let refuse = |why: &str| {
        terminal.error(why);
        Exit::Usage
    };
    let has_files = [&traces.vcd, &traces.csv, &traces.image].iter().any(|o| o.is_some());
    let file = match files::read_bytes(path, dosewright_sim::image::MOST_BYTES as u64) {
        Ok(file) => file,
        Err(why) => return refuse(&why),
    };
    match image::is_image(&file, wanted) {
        Ok(true) if has_files => {
            return refuse(
                "a memory's image is told as a page, or as lines with --json: there is no \
                 --vcd, --csv or --image of it",
            );
        }
        Ok(true) => return image::tell(terminal, &file, wanted, traces.json),
        Ok(false) => {}
        Err(why) => return refuse(&why),
    }
    let named = match files::text_of(file) {
        Ok(named) => named,
        Err(why) => return refuse(&why),
    };
    if explore::is_of_cuts(&named.text) {
        if has_files || traces.json || traces.window.is_some() {
            return refuse(&format!(
                "{} is a failure of explore cuts, which is told step by step: there is no \
                 --json, --vcd, --csv, --image or --window of it",
                named.name
            ));
        }
        return explore::only(terminal, &named);
    }
    let (failure, body) = match Failure::read(&named.text) {
        Ok(read) => read,
        Err((line, why)) => {
            terminal.error(&format!(
                "{}:{line}: {why}\nto run a scenario that is none, use dosewright run",
                named.name
            ));
            return Exit::Usage;
        }
    };
    if failure.build != BUILD {
        terminal.message(&format!(
            "note: this is build {BUILD}; the failure was seen with build {}\n",
            failure.build
        ));
    }
    if !failure.is_of(body) {
        terminal.message(&format!(
            "note: the scenario was changed since it failed; it was {}\n",
            failure.hash
        ));
    }
    // the header is comments, so places in the file are right without it
    let Some([scenario]) = checked(terminal, std::slice::from_ref(&named))
        .and_then(|found| <[_; 1]>::try_from(found).ok())
    else {
        return Exit::Usage;
    };
    watch::catch_interrupts();
    let trial = Trial {
        terminal,
        progress,
        pace: Pace::Max,
        seed: failure.seed,
        until_ms: failure.until_ms,
        traces,
        out_is_reports: false,
        out: None,
        failure: None,
        name: &named.name,
        text: &named.text,
        hash: digest(body.as_bytes()),
        scenario: &scenario,
    };
    match trial.perform() {
        Ok(_) if watch::interrupted() => Exit::Interrupted,
        Ok(done) => {
            let again = if done.findings.is_empty() {
                "the failure does not show again"
            } else {
                "it fails again"
            };
            terminal.message(&format!(
                "replayed {} with seed {}: {again}\n",
                failure.file, failure.seed
            ));
            Exit::of(done.verdict)
        }
        Err(exit) => exit,
    }
}
