//! `dosewright plan`.

use std::path::PathBuf;

use clap::Args;
use dosewright_sim::check;
use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source, codes};
use dosewright_sim::plan::{self, flow_log};
use dosewright_sim::scenario::{self, Brief};

use super::exit::Exit;
use super::files;
use super::print;
use super::terminal::Terminal;

/// A timetable from a brief.
#[derive(Args, Debug, Clone)]
pub(super) struct PlanArgs {
    /// Brief: label, hours, head
    #[arg(required_unless_present = "example")]
    pub(super) file: Option<PathBuf>,
    /// Readings of water flow as comma-separated values: time,flow l/min
    #[arg(long, value_name = "FILE")]
    pub(super) flow_log: Option<PathBuf>,
    /// Write the scenario in a file, not on standard output
    #[arg(long, short, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Write over a file that is there already
    #[arg(long, requires = "output")]
    pub(super) force: bool,
    /// Print JSON lines: the plan with its scenario, its phases, its entries with their reasons
    #[arg(long, conflicts_with = "example")]
    pub(super) json: bool,
    /// Print a commented brief to start from
    #[arg(long, conflicts_with_all = ["file", "flow_log"])]
    pub(super) example: bool,
}

/// Plans a timetable.
pub(super) fn plan(terminal: Terminal, args: &PlanArgs) -> Exit {
    let Some(path) = args.file.as_ref().filter(|_| !args.example) else {
        return put(terminal, args, plan::example());
    };
    if args.json && files::is_out(args.output.as_ref()) {
        terminal.error("--json has standard output for itself; give --output a file's name");
        return Exit::Usage;
    }
    let Some(file) = files::read_all(terminal, &[path]).and_then(|mut all| all.pop()) else {
        return Exit::Usage;
    };
    let report = |problems: &[Diagnostic], what: &str| {
        let sources = [Source::new(&file.name, &file.text)];
        terminal.message(&diagnose::text::report(problems, &sources, what, terminal.paint_err()));
    };
    files::show_as(&file.text);
    let brief = match scenario::read_brief(&file.name, &file.text) {
        Ok((brief, warnings)) => {
            if !warnings.is_empty() && !terminal.quiet {
                report(&warnings, "the plan goes on");
            }
            brief
        }
        Err(problems) => {
            report(&problems, "nothing was planned");
            return Exit::Usage;
        }
    };
    let log = match &args.flow_log {
        None => None,
        Some(path) => {
            let Some(file) = files::read_all(terminal, &[path]).and_then(|mut all| all.pop())
            else {
                return Exit::Usage;
            };
            match flow_log::read(&file.text) {
                Ok(log) => Some(log),
                Err(problems) => {
                    for problem in problems {
                        terminal.error(&format!("{}: {problem}", file.name));
                    }
                    return Exit::Usage;
                }
            }
        }
    };
    let made = plan::plan(&brief, log.as_ref());
    for misfit in &made.misfits {
        terminal.message(&plan::misfit(misfit));
    }
    for note in made.notes.iter().filter(|_| !terminal.quiet) {
        terminal.message(&plan::note(note));
    }
    let lines = |refused: &[String]| plan::json(&file.name, &brief, &made, refused);
    if made.phases.is_empty() {
        if args.json {
            _ = print(terminal, &lines(&[]));
        }
        terminal.error("no dose fits: nothing was written");
        return Exit::Failed;
    }
    // what the device would say of it
    let (accepted, found) = check::read_ahead("the plan", &made.text);
    let found: Vec<Diagnostic> = found
        .into_iter()
        .filter(|p| p.severity == Severity::Error || !terminal.quiet)
        .map(|found| in_brief(found, &brief, &file.name))
        .collect();
    if !found.is_empty() {
        let sources = [Source::new("the plan", &made.text), Source::new(&file.name, &file.text)];
        let what = if accepted.is_some() { "it is written" } else { "nothing was written" };
        terminal.message(&diagnose::text::report(&found, &sources, what, terminal.paint_err()));
    }
    let errors = found.iter().filter(|p| p.severity == Severity::Error);
    let refused: Vec<String> = errors.map(|p| format!("{} ({})", p.message, p.code)).collect();
    let mut exit = Exit::Held;
    if args.json {
        exit = print(terminal, &lines(&refused));
    }
    if accepted.is_none() {
        return Exit::Failed;
    }
    if exit == Exit::Held && !(args.json && args.output.is_none()) {
        exit = put(terminal, args, &made.text);
    }
    match exit {
        Exit::Held if !made.misfits.is_empty() => Exit::Failed,
        exit => exit,
    }
}

/// What is found in a plan, at its place in the brief where that is what has to be mended.
fn in_brief(found: Diagnostic, brief: &Brief, file: &str) -> Diagnostic {
    if found.code != codes::IRREGULAR_ZONE {
        return found;
    }
    let span = brief.site.spans.at("zone");
    Diagnostic { span, ..found }.in_file(file)
}

fn put(terminal: Terminal, args: &PlanArgs, text: &str) -> Exit {
    match &args.output {
        None => print(terminal, text),
        Some(path) => match files::write_new(terminal, path, text, args.force) {
            Ok(()) => {
                if !terminal.quiet {
                    terminal.message(&format!("wrote {}\n", path.display()));
                }
                Exit::Held
            }
            Err(why) => {
                terminal.error(&why);
                Exit::Usage
            }
        },
    }
}
