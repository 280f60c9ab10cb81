//! `dosewright explore states`.

use std::fmt::Write as _;
use std::path::Path;

use dosewright_sim::explore::states::{self, BUILT_IN, Ended, Found, Options, Report, Setup};
use dosewright_sim::lines::line;
use dosewright_sim::{check, judged, run};
use schemars::JsonSchema;
use serde::Serialize;

use super::args::{Progress, StatesArgs};
use super::exit::Exit;
use super::files;
use super::saved::{self, OUT};
use super::terminal::Terminal;
use super::ticker::{Ticker, shown};
use super::watch;

/// Explores, and saves the scenario of whatever it finds.
pub(super) fn states(terminal: Terminal, progress: Progress, args: &StatesArgs) -> Exit {
    let named = match &args.file {
        Some(path) => match files::read(path) {
            Ok(named) => named,
            Err(why) => {
                terminal.error(&why);
                return Exit::Usage;
            }
        },
        None => {
            files::Named { name: "the built-in scenario".to_owned(), text: BUILT_IN.to_owned() }
        }
    };
    let setup = match Setup::read(&named.name, &named.text) {
        Ok(setup) => setup,
        Err(why) => {
            terminal.error(&format!("{}: {why}", named.name));
            return Exit::Usage;
        }
    };
    let options = Options {
        depth: args.depth,
        disturbances: args.disturbances,
        states: args.states as usize,
        findings: usize::from(args.findings),
    };
    let asked_out = (args.out != Path::new(OUT)).then_some(args.out.as_path());
    if !saved::can_save(terminal, asked_out) {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    let mut ticker = Ticker::new(shown(progress, terminal.quiet)).at_once();
    let report = states::explore(&setup, &options, &mut |progress| {
        ticker.tell(|_| {
            format!(
                "depth {}, {} states, {} waiting, {} transitions",
                progress.depth, progress.states, progress.waiting, progress.transitions
            )
        });
        !watch::interrupted()
    });
    ticker.clear();
    let took = ticker.elapsed();
    let mut saved = Vec::new();
    for (index, found) in report.found.iter().enumerate() {
        saved.push(save(terminal, &args.out, index, found));
    }
    let text = if args.json {
        lines(&named.name, args, &report, &saved)
    } else {
        page(&named.name, args, &report, &saved)
    };
    let printed = super::print(terminal, &text);
    if !terminal.quiet {
        terminal.message(&format!("explored in {:.1} s\n", took.as_secs_f64()));
    }
    if report.ended == Ended::Interrupted {
        terminal.message("interrupted; what was finished is kept\n");
    }
    match report.ended {
        _ if printed != Exit::Held => printed,
        _ if !report.found.is_empty() => Exit::Failed,
        Ended::Interrupted => Exit::Interrupted,
        Ended::Depth | Ended::States if args.fixed_point => Exit::Limit,
        _ => Exit::Held,
    }
}

/// Where a finding's scenario went, and what the auditor says of it.
struct Saved {
    path: Option<String>,
    auditor: String,
}

fn save(terminal: Terminal, out: &Path, index: usize, found: &Found) -> Saved {
    let text = match &found.scenario {
        Ok(text) => text,
        Err(what) => {
            return Saved { path: None, auditor: format!("no scenario file can say {what}") };
        }
    };
    let path = out.join(format!("states-{}-{}.toml", index + 1, found.finding.promise));
    let path = match files::write(terminal, &path, text) {
        Ok(()) => Some(path.display().to_string()),
        Err(why) => {
            terminal.error(&why);
            None
        }
    };
    Saved { path, auditor: auditor(text) }
}

/// What the independent judge says of the path.
fn auditor(text: &str) -> String {
    let (Some(scenario), _) = check::read("found.toml", text) else {
        return "the file cannot be read".to_owned();
    };
    match judged::run(&scenario, &run::Options::default(), Vec::new(), None) {
        Ok(judged) => match judged.audit.violations.first() {
            Some(violation) => format!("the auditor: {violation}"),
            None => "the auditor finds nothing in it".to_owned(),
        },
        Err(error) => error.to_string(),
    }
}

fn page(name: &str, args: &StatesArgs, report: &Report, saved: &[Saved]) -> String {
    let mut text = format!(
        "{name}, at most {} disturbances a path\n\
         states {}, transitions {}, depth {}, ended at: {}\n",
        args.disturbances,
        report.states,
        report.transitions,
        report.depth,
        report.ended.words()
    );
    if report.found.is_empty() {
        text.push_str("no violation of D1 to D7, D11, O1, P4\n");
    }
    for (found, saved) in report.found.iter().zip(saved) {
        _ = writeln!(text, "\n{}: {}", found.finding.promise, found.finding.what);
        _ = writeln!(text, "the shortest path to it has {} steps:", found.steps);
        for line in &found.path {
            _ = writeln!(text, "  {line}");
        }
        if let Some(path) = &saved.path {
            _ = writeln!(text, "see it: dosewright run {path}");
        }
        _ = writeln!(text, "{}", saved.auditor);
    }
    text
}

/// A line of an exploration of states.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub(super) enum Line<'a> {
    /// A promise that does not hold, and the shortest path to it.
    Violation {
        promise: String,
        what: String,
        at_ms: u64,
        steps: usize,
        path: &'a [String],
        /// The scenario that was written of it.
        scenario: Option<&'a str>,
        /// What the auditor says of that scenario.
        auditor: &'a str,
    },
    /// What the exploration came to.
    Summary {
        /// No violation was found; false where it was interrupted, as far as it had come.
        held: bool,
        scenario: &'a str,
        disturbances: u8,
        states: usize,
        transitions: u64,
        depth: u32,
        /// Every state was seen.
        fixed_point: bool,
        /// Why it ended.
        ended: &'a str,
    },
}

fn lines(name: &str, args: &StatesArgs, report: &Report, saved: &[Saved]) -> String {
    let mut text = String::new();
    for (found, saved) in report.found.iter().zip(saved) {
        text += &line(&Line::Violation {
            promise: found.finding.promise.to_string(),
            what: found.finding.what.clone(),
            at_ms: found.at_ms,
            steps: found.steps,
            path: &found.path,
            scenario: saved.path.as_deref(),
            auditor: &saved.auditor,
        });
    }
    text += &line(&Line::Summary {
        held: report.found.is_empty() && report.ended != Ended::Interrupted,
        scenario: name,
        disturbances: args.disturbances,
        states: report.states,
        transitions: report.transitions,
        depth: report.depth,
        fixed_point: report.ended == Ended::FixedPoint,
        ended: report.ended.words(),
    });
    text
}
