//! `dosewright report`.

use std::path::{Path, PathBuf};

use clap::Args;
use dosewright_core::time::Duration;
use dosewright_sim::diagnose::Source;
use dosewright_sim::digest::digest;
use dosewright_sim::failure::Failure;
use dosewright_sim::judged::Verdict;
use dosewright_sim::report::{self, Cell, Facts, Input, Saved, Sweep};
use dosewright_sim::run::Options;
use dosewright_sim::scenario::Scenario;

use super::BUILD;
use super::exit::Exit;
use super::files::{self, Named};
use super::run::checked;
use super::terminal::Terminal;

/// A page of a run.
#[derive(Args, Debug, Clone)]
pub(super) struct ReportArgs {
    /// A scenario or a failure file, which is run; or saved lines of `run --json`;
    /// with them, or alone, saved lines of `sweep --json`
    #[arg(required = true, num_args = 1..=2)]
    pub(super) files: Vec<PathBuf>,
    /// Where to write the page; - is standard output
    #[arg(long, short, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Seed of everything left to chance; that of a failure file, or 1
    #[arg(long)]
    pub(super) seed: Option<u64>,
}

/// What the files came to.
#[derive(Default)]
struct Found {
    run: Option<(Facts, Verdict)>,
    scenario: Option<Scenario>,
    sweep: Option<Sweep>,
}

/// Writes the page.
pub(super) fn report(terminal: Terminal, args: &ReportArgs) -> Exit {
    let Some(named) = files::read_all(terminal, &args.files) else { return Exit::Usage };
    let mut found = Found::default();
    for file in &named {
        let taken = if report::are_lines(&file.text) {
            take_lines(terminal, file, &mut found)
        } else {
            take_scenario(terminal, args, file, &mut found)
        };
        if let Err(exit) = taken {
            return exit;
        }
    }
    if let Some(why) = strange_sweep(&found) {
        terminal.error(&why);
        return Exit::Usage;
    }
    let page = report::page(&Input {
        run: found.run.as_ref().map(|(facts, _)| facts),
        scenario: found.scenario.as_ref(),
        sweep: found.sweep.as_ref(),
    });
    if let Err(why) = files::write(terminal, &args.output, &page) {
        terminal.error(&why);
        return Exit::Usage;
    }
    let mut verdict = found.run.map_or(Verdict::Held, |(_, verdict)| verdict);
    for cell in found.sweep.iter().flat_map(|sweep| &sweep.cells) {
        let of_cell = match (cell.failed(), cell.without_effect()) {
            (true, _) => Verdict::Failed,
            (_, true) => Verdict::Invalid,
            _ => Verdict::Held,
        };
        verdict = verdict.max(of_cell);
    }
    if !terminal.quiet && args.output != Path::new("-") {
        let kb = page.len().div_ceil(1000);
        terminal.message(&format!("{}: {kb} kB\n", args.output.display()));
    }
    Exit::of(verdict)
}

fn second(terminal: Terminal, what: &str) -> Exit {
    terminal
        .error(&format!("two {what} were given: a page is of one run, of one sweep, or of both"));
    Exit::Usage
}

/// Why the lines of the sweep do not belong on the page, if they do not: they are of
/// another scenario than the run, or of more than one.
fn strange_sweep(found: &Found) -> Option<String> {
    let mut hashes = found.sweep.iter().flat_map(|sweep| &sweep.cells).filter_map(Cell::hash);
    let first = hashes.next()?;
    if hashes.any(|hash| hash != first) {
        return Some(
            "the lines are of sweeps of several scenarios: give each a page of its own".to_owned(),
        );
    }
    let (facts, _) = found.run.as_ref().filter(|(facts, _)| facts.hash != first)?;
    Some(format!(
        "the sweep is of another scenario ({first}) than the run of {} ({}): sweep it again, or give each a page of its own",
        facts.file, facts.hash
    ))
}

fn take_scenario(
    terminal: Terminal,
    args: &ReportArgs,
    file: &Named,
    found: &mut Found,
) -> Result<(), Exit> {
    if found.run.is_some() {
        return Err(second(terminal, "runs"));
    }
    let failure = Failure::read(&file.text).ok();
    let (name, text, seed, until_ms) = match failure {
        Some((failure, text)) => {
            (failure.file.clone(), text.to_owned(), failure.seed, failure.until_ms)
        }
        None => (file.name.clone(), file.text.clone(), 1, None),
    };
    let named = [Named { name, text }];
    let scenario = checked(terminal.without_warnings(), &named)
        .and_then(|all| all.into_iter().next())
        .ok_or(Exit::Usage)?;
    let [named] = named;
    let options = Options {
        seed: args.seed.unwrap_or(seed),
        until: until_ms.map(Duration::from_ms),
        ..Options::default()
    };
    let source = Source::new(&named.name, &named.text);
    let hash = digest(named.text.as_bytes());
    match report::gather(&scenario, &source, &options, &hash, BUILD) {
        Ok(run) => {
            found.run = Some(run);
            found.scenario = Some(scenario);
            Ok(())
        }
        Err(error) => {
            terminal.error(&format!("{}: {error}", named.name));
            Err(Exit::Usage)
        }
    }
}

fn take_lines(terminal: Terminal, file: &Named, found: &mut Found) -> Result<(), Exit> {
    match report::read(&file.text) {
        Ok(Saved::Sweep(_)) if found.sweep.is_some() => Err(second(terminal, "sweeps")),
        Ok(Saved::Run(_)) if found.run.is_some() => Err(second(terminal, "runs")),
        Ok(Saved::Sweep(sweep)) => {
            found.sweep = Some(sweep);
            Ok(())
        }
        Ok(Saved::Run(facts)) => {
            found.scenario = scenario_of(terminal, file, &facts);
            let verdict = facts.totals.verdict.unwrap_or(Verdict::Failed);
            found.run = Some((facts, verdict));
            Ok(())
        }
        Err((line, why)) => {
            let at = if line > 0 { format!(":{line}") } else { String::new() };
            terminal.error(&format!("{}{at}: {why}", file.name));
            Err(Exit::Usage)
        }
    }
}

/// The scenario that the lines name, if it is still the one that was run.
fn scenario_of(terminal: Terminal, lines: &Named, facts: &Facts) -> Option<Scenario> {
    let beside = Path::new(&lines.name)
        .parent()
        .map(|dir| dir.join(Path::new(&facts.file).file_name().unwrap_or_default()));
    for path in [Some(PathBuf::from(&facts.file)), beside].into_iter().flatten() {
        let Ok(named) = files::read(&path) else { continue };
        let text = Failure::read(&named.text).map_or(named.text.as_str(), |(_, text)| text);
        if digest(text.as_bytes()) == facts.hash {
            files::show_as(text);
            return dosewright_sim::check::read(&named.name, text).0;
        }
    }
    let builtin = dosewright_sim::builtin::EXAMPLE;
    if digest(builtin.as_bytes()) == facts.hash {
        return dosewright_sim::check::read(dosewright_sim::builtin::NAME, builtin).0;
    }
    terminal.message(&format!(
        "note: {} is not there as it was run ({}): limits, ceiling, container and battery are left out\n",
        facts.file, facts.hash
    ));
    None
}
