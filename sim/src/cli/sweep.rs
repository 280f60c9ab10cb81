//! `dosewright sweep`.

use std::path::{Path, PathBuf};

use dosewright_sim::digest::digest;
use dosewright_sim::judged::Verdict;
use dosewright_sim::lines::line;
use dosewright_sim::sweep::{self, Cell, Moments, Plan};
use schemars::JsonSchema;
use serde::Serialize;

use super::BUILD;
use super::args::{Progress as How, SweepArgs};
use super::exit::Exit;
use super::files;
use super::junit::{self, Case};
use super::progress::Progress;
use super::run::checked;
use super::saved::{self, Failed, OUT};
use super::terminal::Terminal;
use super::watch;

/// Runs each kind of fault at each moment.
pub(super) fn sweep(terminal: Terminal, how: How, args: &SweepArgs) -> Exit {
    let (plan, hash) = match plan(terminal, args) {
        Ok(found) => found,
        Err(exit) => return exit,
    };
    if !files::can_report(terminal, &args.reports)
        || !saved::can_save(terminal, args.reports.out.as_deref())
    {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    let mut progress = Progress::new("sweep", how, terminal);
    let file = args.file.display().to_string();
    let (mut cells, mut cases, mut replays) = (Vec::new(), Vec::new(), String::new());
    for number in 0..plan.len() {
        if watch::interrupted() {
            break;
        }
        let Some(cell) = plan.cell(number) else { break };
        let replay = replay(terminal, args, &file, &cell);
        if cell.verdict == Verdict::Failed {
            let first = cell.findings.first().map_or("", String::as_str);
            replays += &format_failed(&cell, first, &replay);
        }
        if args.reports.json {
            let exit = super::print(terminal, &cell_line(&cell, &replay, &hash));
            if exit != Exit::Held {
                return exit;
            }
        }
        cases.push((format!("{file}: {} {}", cell.kind, cell.name), case(&cell)));
        cells.push(cell);
        let done = cells.len();
        progress.tell(done as f64 / plan.len() as f64, || format!("{done} of {} runs", plan.len()));
    }
    progress.clear();
    let worst = cells.iter().map(|cell| cell.verdict).max().unwrap_or(Verdict::Held);
    let text = if args.reports.json {
        summary(&cells, plan.len(), args.seed)
    } else if terminal.quiet {
        sweep::verdict(&cells)
    } else {
        plan.table(&cells)
    };
    let mut exit = super::tell(terminal, args.reports.junit.as_ref(), &text);
    terminal.message(&replays);
    if let Some(path) = &args.reports.junit
        && let Err(why) = files::write(terminal, path, &junit::render(&cases))
    {
        terminal.error(&why);
        exit = Exit::Usage;
    }
    if watch::interrupted() {
        terminal.message("interrupted; what was finished is kept\n");
        return Exit::Interrupted;
    }
    if exit == Exit::Held { Exit::of(worst) } else { exit }
}

/// The plan, and the hash of the scenario.
fn plan(terminal: Terminal, args: &SweepArgs) -> Result<(Plan, String), Exit> {
    let usage = |why: &str| {
        terminal.error(why);
        Exit::Usage
    };
    let named = files::read(&args.file).map_err(|why| usage(&why))?;
    let scenario = checked(terminal, std::slice::from_ref(&named))
        .and_then(|found| found.into_iter().next())
        .ok_or(Exit::Usage)?;
    let kinds = sweep::kinds(&args.faults).map_err(|why| usage(&why))?;
    if let Moments::At(at) = &args.moments
        && let Some(why) = sweep::bad_moment(&named.text, at)
    {
        return Err(usage(&format!("--moments \"{at}\": {why}")));
    }
    let plan =
        Plan::new(&named.text, &scenario, kinds, &args.moments, args.seed).map_err(|nothing| {
            terminal.error(&format!("{}: nothing was selected: {}", named.name, nothing.0));
            Exit::Nothing
        })?;
    Ok((plan, digest(named.text.as_bytes())))
}

fn format_failed(cell: &Cell, first: &str, replay: &str) -> String {
    format!("{} {} FAILED: {first}\n{replay}\n", cell.kind, cell.name)
}

/// The line that makes this one run again; what failed is saved first.
fn replay(terminal: Terminal, args: &SweepArgs, file: &str, cell: &Cell) -> String {
    let again = format!(
        "dosewright sweep {} --faults {} --moments \"{}\" --seed {}",
        files::for_shell(Path::new(file)),
        cell.kind,
        cell.at,
        args.seed
    );
    if cell.verdict != Verdict::Failed {
        return format!("replay: {again}");
    }
    let stem = Path::new(file)
        .file_stem()
        .map_or_else(|| "scenario".to_owned(), |stem| stem.to_string_lossy().into_owned());
    let moment = cell.name.replace(|c: char| !c.is_alphanumeric(), "-");
    let dir = args.reports.out.clone().unwrap_or_else(|| PathBuf::from(OUT));
    let path = dir.join(format!("sweep-{stem}-{}-{moment}.failure.toml", cell.kind));
    let failed = Failed {
        name: &format!("{file}, {} {}", cell.kind, cell.name),
        seed: args.seed,
        until_ms: None,
        text: &cell.text,
        findings: &cell.findings,
        otherwise: &again,
    };
    saved::save(terminal, &path, &failed).trim_end().to_owned()
}

/// A line of a sweep.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub(super) enum Line<'a> {
    /// A kind of fault at a moment.
    Cell {
        fault: &'a str,
        /// The fault as the run's scenario has it.
        put: &'a str,
        /// The moment's name.
        moment: &'a str,
        /// The moment as a scenario has it.
        at: &'a str,
        verdict: Word,
        /// What failed, or why it had no effect; 20 at most.
        findings: &'a [String],
        /// The command that runs it again.
        replay: &'a str,
        /// Of the scenario without the fault, as `run` has it.
        hash: &'a str,
    },
    /// All of them.
    Summary {
        /// The runs that there are lines of.
        cells: usize,
        /// The runs of the whole sweep.
        runs: usize,
        /// It was cut short: some runs have no line.
        interrupted: bool,
        held: usize,
        failed: usize,
        no_effect: usize,
        seed: u64,
        /// Version and digest of the sources.
        build: &'a str,
    },
}

/// How a cell ended.
#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(super) enum Word {
    Held,
    Failed,
    /// The fault never took effect.
    #[serde(rename = "no effect")]
    NoEffect,
    Stopped,
}

const fn word(verdict: Verdict) -> Word {
    match verdict {
        Verdict::Held => Word::Held,
        Verdict::Failed => Word::Failed,
        Verdict::Invalid => Word::NoEffect,
        Verdict::Stopped => Word::Stopped,
    }
}

fn cell_line(cell: &Cell, replay: &str, hash: &str) -> String {
    line(&Line::Cell {
        fault: cell.kind,
        put: &cell.put,
        moment: &cell.name,
        at: &cell.at,
        verdict: word(cell.verdict),
        findings: &cell.findings[..cell.findings.len().min(20)],
        replay: replay.strip_prefix("replay: ").unwrap_or(replay),
        hash,
    })
}

fn summary(cells: &[Cell], runs: usize, seed: u64) -> String {
    let count = |verdict| cells.iter().filter(|cell| cell.verdict == verdict).count();
    line(&Line::Summary {
        cells: cells.len(),
        runs,
        interrupted: cells.len() < runs,
        held: count(Verdict::Held),
        failed: count(Verdict::Failed),
        no_effect: count(Verdict::Invalid),
        seed,
        build: BUILD,
    })
}

fn case(cell: &Cell) -> Case {
    let text = cell.findings.join("\n");
    match cell.verdict {
        Verdict::Held => Case::Passed,
        Verdict::Failed => Case::Failed(text),
        Verdict::Invalid => Case::Error(text),
        Verdict::Stopped => Case::Skipped(text),
    }
}

/// `dose-phases`, `every-due`, a number, or a moment as a scenario has it.
pub(super) fn moments(text: &str) -> Result<Moments, String> {
    match text {
        "dose-phases" => Ok(Moments::DosePhases),
        "every-due" => Ok(Moments::EveryDue),
        number if !number.is_empty() && number.chars().all(|c| c.is_ascii_digit()) => {
            match number.parse() {
                Ok(count @ 1..=1000) => Ok(Moments::Spread(count)),
                _ => Err("1 to 1000 moments".to_owned()),
            }
        }
        moment if moment.contains([' ', '+']) && !moment.contains(['"', '\\', '\n']) => {
            Ok(Moments::At(moment.to_owned()))
        }
        _ => Err("moments are dose-phases, every-due, a number of them, or one as a scenario \
                  has it: \"+1 d 45 min\", \"dose 1 pulse 2\""
            .to_owned()),
    }
}
