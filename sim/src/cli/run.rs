//! `dosewright run`.

use std::path::{Path, PathBuf};

use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source};
use dosewright_sim::digest::digest;
use dosewright_sim::judged::Verdict;
use dosewright_sim::scenario::Scenario;
use dosewright_sim::units::Units;
use dosewright_sim::{builtin, check};

use super::args::{Progress, RunArgs};
use super::exit::Exit;
use super::explore;
use super::files::{self, Named};
use super::junit::{self, Case};
use super::saved::OUT;
use super::terminal::Terminal;
use super::trial::Trial;
use super::watch;

/// Runs the files, or the built-in example, and judges them.
pub(super) fn run(terminal: Terminal, progress: Progress, args: &RunArgs) -> Exit {
    let named = if args.files.is_empty() {
        vec![Named { name: builtin::NAME.to_owned(), text: builtin::EXAMPLE.to_owned() }]
    } else {
        let Some(named) = files::read_all(terminal, &args.files) else { return Exit::Usage };
        named
    };
    let single = [&args.traces.vcd, &args.traces.csv, &args.traces.image];
    if named.len() > 1 && single.into_iter().any(Option::is_some) {
        terminal.error("--vcd, --csv and --image take one scenario; with several give --out DIR");
        return Exit::Usage;
    }
    let traces = &args.traces;
    let outputs = [&traces.vcd, &traces.csv, &traces.image, &args.junit].map(Option::as_ref);
    if !files::are_apart(terminal, traces.json, &outputs) {
        return Exit::Usage;
    }
    let Some(scenarios) = checked(terminal, &named) else { return Exit::Usage };
    let stems = stems(named.iter().map(|file| file.name.as_str()));
    let all: Vec<(&Named, Scenario, String)> = named
        .iter()
        .zip(scenarios)
        .zip(stems)
        .map(|((named, scenario), stem)| (named, scenario, stem))
        .collect();
    let mine: Vec<&(&Named, Scenario, String)> = match args.shard {
        None => all.iter().collect(),
        Some(shard) => all.iter().skip(shard.index - 1).step_by(shard.of).collect(),
    };
    if mine.is_empty() {
        terminal.error("nothing was selected: there are fewer scenarios than shards");
        return Exit::Nothing;
    }
    if !files::can_write(terminal, args.junit.as_ref()) {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    let mut cases: Vec<(String, Case)> = Vec::new();
    let mut exit = None;
    let mut worst = Verdict::Held;
    for (i, (named, scenario, stem)) in mine.into_iter().enumerate() {
        if watch::interrupted() {
            break;
        }
        if i > 0 && !args.traces.json && !terminal.quiet {
            super::tell(terminal, args.junit.as_ref(), "\n");
        }
        let dir = args.out.clone().unwrap_or_else(|| PathBuf::from(OUT));
        let trial = Trial {
            terminal,
            progress,
            pace: args.pace,
            seed: args.seed,
            until_ms: args.until,
            traces: &args.traces,
            out_is_reports: files::is_out(args.junit.as_ref()),
            out: args.out.as_ref().map(|dir| dir.join(stem)),
            failure: Some(dir.join(format!("{stem}-{}.failure.toml", args.seed))),
            name: &named.name,
            text: &named.text,
            hash: digest(named.text.as_bytes()),
            scenario,
        };
        match trial.perform() {
            Ok(done) => {
                worst = worst.max(done.verdict);
                cases.push((named.name.clone(), done.case));
            }
            Err(stop) => {
                cases.push((
                    named.name.clone(),
                    Case::Error("the run could not be made".to_owned()),
                ));
                exit = Some(stop);
                break;
            }
        }
    }
    if let Some(path) = &args.junit
        && let Err(why) = files::write(terminal, path, &junit::render(&cases))
    {
        terminal.error(&why);
        exit = exit.or(Some(Exit::Usage));
    }
    if watch::interrupted() {
        terminal.message("interrupted; what was finished is kept\n");
        return Exit::Interrupted;
    }
    exit.unwrap_or(Exit::of(worst))
}

/// The scenarios of the files; `None` where one has an error. What is wrong, and
/// the warnings, are told on standard error.
pub(super) fn checked(terminal: Terminal, named: &[Named]) -> Option<Vec<Scenario>> {
    if let Some(file) = named.iter().find(|file| explore::is_of_cuts(&file.text)) {
        let shown = files::for_shell(Path::new(&file.name));
        terminal.error(&format!(
            "{} is a failure of explore cuts, and no scenario; dosewright replay {shown} tells \
             it step by step",
            file.name
        ));
        return None;
    }
    let mut scenarios = Vec::new();
    let mut found: Vec<Diagnostic> = Vec::new();
    for file in named {
        files::show_as(&file.text);
        let (scenario, problems) = check::read(&file.name, &file.text);
        // what was asked for holds at its panel too
        let units = Units::chosen();
        scenarios.extend(scenario.map(|scenario| Scenario { units, ..scenario }));
        found.extend(problems);
    }
    let good = scenarios.len() == named.len();
    let counts = diagnose::count(&found);
    if terminal.quiet {
        found.retain(|found| found.severity == Severity::Error);
    }
    if !found.is_empty() {
        let sources: Vec<Source> =
            named.iter().map(|file| Source::new(&file.name, &file.text)).collect();
        let outcome = if good { "" } else { "nothing was run" };
        let report =
            diagnose::text::report_of(&found, counts, &sources, outcome, terminal.paint_err());
        terminal.message(&format!("{report}{}", if good { "\n" } else { "" }));
    }
    good.then_some(scenarios)
}

/// For each file's name the stem of what is written about it, each once.
pub(super) fn stems<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut stems: Vec<String> = Vec::new();
    for name in names {
        let stem = Path::new(name)
            .file_stem()
            .map_or_else(|| "scenario".to_owned(), |stem| stem.to_string_lossy().into_owned());
        let mut unique = stem.clone();
        let mut number = 2;
        while stems.contains(&unique) {
            unique = format!("{stem}-{number}");
            number += 1;
        }
        stems.push(unique);
    }
    stems
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_of_one_name_in_two_places_do_not_write_over_each_other() {
        let names = ["a/week.toml", "b/week.toml", "week"];
        assert_eq!(stems(names.into_iter()), ["week", "week-2", "week-3"]);
    }
}
