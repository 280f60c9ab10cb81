//! `dosewright explore`.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use dosewright_sim::explore::cuts::{self, Failure, Plan, Report, Watch};
use dosewright_sim::lines::line;
use dosewright_sim::trace::stamp::about;
use schemars::JsonSchema;
use serde::Serialize;

use super::args::{CutsArgs, Progress};
use super::exit::Exit;
use super::files::{self, Named};
use super::number::thousands;
use super::print;
use super::saved::{self, OUT};
use super::terminal::Terminal;
use super::ticker::{Ticker, shown};
use super::watch;

/// How often the interrupt is looked at.
const SLICE: Duration = Duration::from_millis(20);

/// Cuts the supply everywhere in one run.
pub(super) fn cuts(terminal: Terminal, progress: Progress, args: &CutsArgs) -> Exit {
    if let Some(path) = &args.only {
        return match files::read(path) {
            Ok(named) => only(terminal, &named),
            Err(why) => {
                terminal.error(&why);
                Exit::Usage
            }
        };
    }
    if !saved::can_save(terminal, args.out.as_deref()) {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    let threads = args
        .threads
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get));
    let depth = usize::from(args.depth);
    let mut done: Vec<(Report, Duration)> = Vec::new();
    let mut exit = Exit::Held;
    let mut printed = Exit::Held;
    if !args.json && !terminal.quiet {
        printed = print(terminal, &heading(depth));
    }
    for word in args.word.sizes() {
        if printed != Exit::Held {
            // what cannot be told is not worth its time
            return printed;
        }
        let plan = Plan { depth, word: *word, threads, merge_first: args.merge };
        let began = Instant::now();
        let report = watched(terminal, progress, plan);
        let took = began.elapsed();
        let text = if args.json { json(&report, took) } else { row(&report, took) };
        if args.json || !terminal.quiet {
            printed = print(terminal, &text);
        }
        if let Some(failure) = &report.failure {
            save(terminal, args.out.as_deref(), failure);
            exit = Exit::Failed;
        }
        let is_complete = report.is_complete;
        done.push((report, took));
        if !is_complete {
            break;
        }
    }
    if !args.json && printed == Exit::Held {
        printed = print(terminal, &verdict(&done, threads));
    }
    if watch::interrupted() {
        terminal.message("interrupted; what was finished is kept\n");
        return Exit::Interrupted;
    }
    if printed == Exit::Held { exit } else { printed }
}

/// Whether a text is a failure file of an exploration of cuts.
pub(super) fn is_of_cuts(text: &str) -> bool {
    text.lines().any(|line| line.trim() == "explore = \"cuts\"")
}

/// Runs exactly what a file says, and tells it step by step.
pub(super) fn only(terminal: Terminal, named: &Named) -> Exit {
    let told = Failure::read(&named.text).and_then(|(word, cuts)| cuts::tell(word, &cuts));
    let told = match told {
        Ok(told) => told,
        Err(why) => {
            terminal.error(&format!("{}: {why}", named.name));
            return Exit::Usage;
        }
    };
    let mut text = if terminal.quiet { String::new() } else { told.lines.join("\n") + "\n" };
    let (last, exit) = match &told.violation {
        Some(violation) => {
            (format!("FAILED {}: {}", violation.promise, violation.what), Exit::Failed)
        }
        None => ("held: no promise is broken".to_owned(), Exit::Held),
    };
    _ = writeln!(text, "{last}");
    match print(terminal, &text) {
        Exit::Held => exit,
        other => other,
    }
}

/// Explores while it shows how far it is and looks out for an interrupt.
fn watched(terminal: Terminal, progress: Progress, plan: Plan) -> Report {
    let mut ticker = Ticker::new(shown(progress, terminal.quiet));
    let seen = Watch::default();
    let report = std::thread::scope(|scope| {
        let explorer = scope.spawn(|| cuts::explore(plan, &seen));
        while !explorer.is_finished() {
            std::thread::sleep(SLICE);
            if watch::interrupted() {
                seen.stop();
            }
            ticker.tell(|_| {
                format!(
                    "words of {}: {} first cuts",
                    bytes(plan.word),
                    thousands(seen.first_cuts())
                )
            });
        }
        explorer.join()
    });
    ticker.clear();
    report.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

fn heading(depth: usize) -> String {
    let cuts = if depth == 1 { "One cut" } else { "Two cuts" };
    format!(
        "{cuts} everywhere in an evening of four doses, two edits, a calibration and a\n\
         change of sector: at every byte or word of every write and erase, and at every\n\
         moment at which anything happens.\n\n\
         {:<8} {:>10} {:>12} {:>12} {:>10} {:>9}\n",
        "words of", "first cuts", "cut runs", "to the end", "time", "runs/s"
    )
}

fn row(report: &Report, took: Duration) -> String {
    let counts = report.counts;
    format!(
        "{:<8} {:>10} {:>12} {:>12} {:>10} {:>9}\n",
        bytes(report.plan.word),
        thousands(counts.first_cuts),
        thousands(counts.runs()),
        thousands(counts.to_the_end),
        length(took),
        thousands(rate(counts.runs(), took)),
    )
}

fn verdict(done: &[(Report, Duration)], threads: usize) -> String {
    let runs = done.iter().map(|(report, _)| report.counts.runs()).sum();
    let took = done.iter().map(|(_, took)| *took).sum();
    let held = done.iter().all(|(report, _)| report.failure.is_none());
    let complete = done.iter().all(|(report, _)| report.is_complete);
    let threads = if threads == 1 { "one thread".to_owned() } else { format!("{threads} threads") };
    let verdict = match (held, complete) {
        (true, true) => "held",
        (true, false) => "held as far as it was explored",
        (false, _) => "FAILED",
    };
    format!(
        "\n{verdict}: {} cut runs in {} on {threads}, {} a second\n",
        thousands(runs),
        length(took),
        thousands(rate(runs, took))
    )
}

/// A line of an exploration of cuts: what came of one word size.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub(super) enum Line {
    /// Runs with cuts, for one word size.
    Cuts {
        /// Bytes of a word of the memory.
        word: usize,
        /// Cuts in a run.
        depth: usize,
        threads: usize,
        /// Gone on only once from first cuts that leave the same state.
        merged: bool,
        /// Places of the first cut.
        first_cuts: u64,
        runs: u64,
        runs_of_one_cut: u64,
        runs_of_two_cuts: u64,
        runs_to_the_end: u64,
        took_ms: u64,
        runs_per_s: u64,
        /// Explored to the end.
        complete: bool,
        /// No promise was broken; false where it was not explored to the end.
        held: bool,
        /// The first run that broke a promise.
        violation: Option<Broken>,
    },
}

/// A promise that was broken.
#[derive(Serialize, JsonSchema)]
pub(super) struct Broken {
    promise: String,
    what: String,
    /// The failure file's text.
    file: String,
}

fn json(report: &Report, took: Duration) -> String {
    let counts = report.counts;
    line(&Line::Cuts {
        word: report.plan.word,
        depth: report.plan.depth,
        threads: report.plan.threads,
        merged: report.plan.merge_first,
        first_cuts: counts.first_cuts,
        runs: counts.runs(),
        runs_of_one_cut: counts.one_cut,
        runs_of_two_cuts: counts.two_cuts,
        runs_to_the_end: counts.to_the_end,
        took_ms: took.as_millis() as u64,
        runs_per_s: rate(counts.runs(), took),
        complete: report.is_complete,
        // of what was not explored nothing is known
        held: report.failure.is_none() && report.is_complete,
        violation: report.failure.as_ref().map(|failure| Broken {
            promise: failure.violation.promise.to_string(),
            what: failure.violation.what.clone(),
            file: failure.write(),
        }),
    })
}

/// Writes a failure down at once and says how to see it again.
fn save(terminal: Terminal, dir: Option<&Path>, failure: &Failure) {
    let dir = dir.map_or_else(|| PathBuf::from(OUT), Path::to_path_buf);
    let path = dir.join(format!("cuts-{}.failure.toml", failure.word));
    let violation = &failure.violation;
    terminal.message(&format!("FAILED {}: {}\n", violation.promise, violation.what));
    match files::write(terminal, &path, &failure.write()) {
        Ok(()) => terminal.message(&format!(
            "to see it step by step: dosewright explore cuts --only {}\n",
            path.display()
        )),
        Err(why) => terminal.error(&why),
    }
}

fn bytes(word: usize) -> String {
    if word == 1 { "1 byte".to_owned() } else { format!("{word} bytes") }
}

fn rate(runs: u64, took: Duration) -> u64 {
    (runs as f64 / took.as_secs_f64().max(1e-9)) as u64
}

fn length(took: Duration) -> String {
    if took < Duration::from_secs(100) {
        format!("{:.1} s", took.as_secs_f64())
    } else {
        about(took.as_millis() as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_fits_80_columns() {
        let counts = cuts::Counts {
            one_cut: 34_449,
            two_cuts: 14_578_399,
            to_the_end: 475_705,
            first_cuts: 34_449,
            in_open_rolls: 9_876,
        };
        let plan = Plan { depth: 2, word: 1, threads: 2, merge_first: false };
        let report = Report { plan, counts, is_complete: true, failure: None };
        let took = Duration::from_secs(89);
        let page = heading(2) + &row(&report, took) + &verdict(&[(report, took)], 2);
        assert!(page.contains("14 612 848"), "{page}");
        assert!(page.lines().all(|line| line.len() <= 80), "{page}");
    }
}
