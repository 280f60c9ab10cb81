//! `dosewright pulses`.

use std::path::PathBuf;

use clap::Args;
use dosewright_core::entry::EntryId;
use dosewright_core::timetable::Refusal;
use dosewright_sim::check;
use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source};
use dosewright_sim::pulses::{self, Ran, Train};
use dosewright_sim::scenario::{self, EntryPlan, HeadPlan, Scenario, measure};
use dosewright_sim::world::head::Conditions;

use super::exit::Exit;
use super::files::{self, Named};
use super::print;
use super::terminal::Terminal;

/// The pulse train of one dose.
#[derive(Args, Debug, Clone)]
pub(super) struct PulsesArgs {
    /// Scenario file
    pub(super) file: PathBuf,
    /// Entry whose dose it is; the only one unless said
    #[arg(long, value_name = "NAME")]
    pub(super) entry: Option<String>,
    /// Head file, or another scenario, in the place of the file's head; several
    /// are compared side by side
    #[arg(long, value_name = "FILE")]
    pub(super) head: Vec<PathBuf>,
    /// Flow lost by wear since the calibration, for the model of the outflow
    #[arg(long, value_name = "SHARE", value_parser = measure::share_or_none, allow_hyphen_values = true)]
    pub(super) wear: Option<f64>,
    /// Height of the pump above the product, more than at the calibration
    #[arg(long, value_name = "HEIGHT", value_parser = measure::metres, allow_hyphen_values = true)]
    pub(super) lift: Option<f64>,
    /// Write one row a pulse as comma-separated values
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
    /// Write drive and outflow as a value change dump
    #[arg(long, value_name = "FILE")]
    pub(super) vcd: Option<PathBuf>,
    /// Print one JSON object a line
    #[arg(long)]
    pub(super) json: bool,
}

fn refuse(terminal: Terminal, problems: &[Diagnostic], file: &Named) -> Exit {
    let sources = [Source::new(&file.name, &file.text)];
    terminal.message(&diagnose::text::report(
        problems,
        &sources,
        "nothing was reckoned",
        terminal.paint_err(),
    ));
    Exit::Usage
}

/// The entry that is asked for.
fn entry<'s>(scenario: &'s Scenario, asked: Option<&str>) -> Result<&'s EntryPlan, String> {
    let names = || scenario.entries.iter().map(|e| e.name.as_str()).collect::<Vec<_>>().join(", ");
    match asked {
        Some(name) => scenario
            .entry(name)
            .ok_or_else(|| format!("there is no entry \"{name}\"; entries: {}", names())),
        None => match scenario.entries.as_slice() {
            [one] => Ok(one),
            [] => Err("the file has no entries".to_owned()),
            _ => Err(format!("say which entry with --entry; entries: {}", names())),
        },
    }
}

fn train(entry: &EntryPlan, head: &HeadPlan, conditions: &Conditions) -> Result<Train, String> {
    if head.head.problem().is_some() {
        return Err("the head's limits contradict each other".to_owned());
    }
    pulses::of_entry(entry, head, conditions).map_err(|misfit| {
        let refusal = Refusal::DoesNotFit { id: EntryId(1), misfit };
        check::refusal(&refusal, |_| entry.name.clone())
    })
}

/// Shows the train.
pub(super) fn pulses(terminal: Terminal, args: &PulsesArgs) -> Exit {
    if !files::are_apart(terminal, args.json, &[args.csv.as_ref(), args.vcd.as_ref()]) {
        return Exit::Usage;
    }
    let Some(file) = files::read_all(terminal, &[&args.file]).and_then(|mut all| all.pop()) else {
        return Exit::Usage;
    };
    files::show_as(&file.text);
    // with heads of their own the file's head need not fit the file's timetable
    let read = if args.head.is_empty() {
        match check::read(&file.name, &file.text) {
            (Some(scenario), _) => Ok(scenario),
            (None, problems) => Err(problems),
        }
    } else {
        scenario::read(&file.name, &file.text).map(|(scenario, _)| scenario)
    };
    let mut scenario = match read {
        Ok(scenario) => scenario,
        Err(problems) => {
            let errors: Vec<Diagnostic> =
                problems.into_iter().filter(|p| p.severity == Severity::Error).collect();
            return refuse(terminal, &errors, &file);
        }
    };
    let entry = match entry(&scenario, args.entry.as_deref()) {
        Ok(entry) => entry.clone(),
        Err(why) => {
            terminal.error(&format!("{}: {why}", file.name));
            return Exit::Usage;
        }
    };
    if args.wear.is_some_and(|wear| wear >= 1.0) {
        terminal.error("--wear is the share of the flow that is lost; with 100 % none is left");
        return Exit::Usage;
    }
    let conditions = Conditions {
        wear: args.wear.unwrap_or(0.0),
        lift_m: args.lift.unwrap_or(0.0),
        density: scenario.product.as_ref().map_or(Conditions::CALIBRATED.density, |product| {
            f64::from(product.density_mg_l) / 1e3
        }),
        ..Conditions::CALIBRATED
    };
    let Some(named) = files::read_all(terminal, &args.head) else { return Exit::Usage };
    let mut heads = Vec::new();
    for named in named {
        match scenario::read_head(&named.name, &named.text) {
            Ok(head) => heads.push((named.name, head.head)),
            Err(problems) => return refuse(terminal, &problems, &named),
        }
    }
    if heads.len() > 1 {
        if args.csv.is_some() || args.vcd.is_some() {
            terminal.error("--csv and --vcd are of one train; give one --head");
            return Exit::Usage;
        }
        return compare(terminal, args, &entry, &heads, &conditions);
    }
    let name = if let Some((name, head)) = heads.pop() {
        scenario.head = head;
        name
    } else {
        file.name.clone()
    };
    match train(&entry, &scenario.head, &conditions) {
        Ok(train) => one(terminal, args, &name, &scenario, &entry, &train),
        Err(why) if args.json => told(terminal, &pulses::no_train(&name, &entry.name, &why), true),
        Err(why) => {
            terminal.error(&format!("{name}: {why}"));
            Exit::Failed
        }
    }
}

/// Prints the answer, which may be that something does not hold.
fn told(terminal: Terminal, text: &str, fails: bool) -> Exit {
    match print(terminal, text) {
        Exit::Held if fails => Exit::Failed,
        exit => exit,
    }
}

fn one(
    terminal: Terminal,
    args: &PulsesArgs,
    name: &str,
    scenario: &Scenario,
    entry: &EntryPlan,
    train: &Train,
) -> Exit {
    let ran = pulses::ran(scenario, entry, train);
    let written = args
        .csv
        .as_ref()
        .map_or(Ok(()), |path| files::write(terminal, path, &pulses::csv(train)))
        .and_then(|()| {
            let Some(path) = &args.vcd else { return Ok(()) };
            let out = files::create(terminal, path)?;
            pulses::vcd(train, out).map_err(|e| format!("cannot write {}: {e}", path.display()))
        });
    if let Err(why) = written {
        terminal.error(&why);
        return Exit::Usage;
    }
    let text = if args.json {
        pulses::json(name, &entry.name, train, Some(&ran))
    } else if files::is_out(args.csv.as_ref()) || files::is_out(args.vcd.as_ref()) {
        String::new()
    } else {
        pulses::page::page(&entry.name, train, &ran)
    };
    told(terminal, &text, !train.broken_limits().is_empty() || ran != Ran::Same)
}

fn compare(
    terminal: Terminal,
    args: &PulsesArgs,
    entry: &EntryPlan,
    heads: &[(String, HeadPlan)],
    conditions: &Conditions,
) -> Exit {
    let trains: Vec<(String, Result<Train, String>)> =
        heads.iter().map(|(name, head)| (name.clone(), train(entry, head, conditions))).collect();
    let text = if args.json {
        let line = |(name, train): &(String, Result<Train, String>)| match train {
            Ok(train) => pulses::json(name, &entry.name, train, None),
            Err(why) => pulses::no_train(name, &entry.name, why),
        };
        trains.iter().map(line).collect()
    } else {
        pulses::page::side_by_side(&entry.name, &trains)
    };
    told(terminal, &text, trains.iter().any(|(_, train)| train.is_err()))
}
