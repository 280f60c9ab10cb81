//! `dosewright soak`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use dosewright_sim::judged::Verdict;
use dosewright_sim::observe::{Observation, Observer};
use dosewright_sim::soak::{Case as Run, Plan, Ran, Site, Tally, YEAR_MS};
use dosewright_sim::swarm::{Given, Kind, Kinds, Shape};

use super::args::{Progress as How, SoakArgs};
use super::exit::Exit;
use super::files;
use super::junit::{self, Case};
use super::progress::Progress;
use super::run::{self, checked};
use super::saved::{self, Failed, OUT};
use super::soak_report;
use super::terminal::Terminal;
use super::watch;

/// Faults and acts a day where nothing else is said, in tenths.
const PER_DAY_TENTHS: u32 = 12;
/// Controller-years where neither seeds nor years were given.
const YEARS: u64 = 100;
/// How often the progress is looked at.
const TICK: Duration = Duration::from_millis(100);

/// Runs random faults over many seeds.
pub(super) fn soak(terminal: Terminal, how: How, args: &SoakArgs) -> Exit {
    let plan = match plan(terminal, args) {
        Ok(plan) => plan,
        Err(exit) => return exit,
    };
    let all = plan.cases();
    let mine: Vec<Run> = match args.shard {
        None => all.collect(),
        Some(shard) => all.skip(shard.index - 1).step_by(shard.of).collect(),
    };
    if mine.is_empty() {
        terminal.error("nothing was selected: there are no seeds, or fewer runs than shards");
        return Exit::Nothing;
    }
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let threads = args.threads.map_or(cores, |threads| threads as usize).min(mine.len());
    if !files::can_report(terminal, &args.reports)
        || !saved::can_save(terminal, args.reports.out.as_deref())
    {
        return Exit::Usage;
    }
    watch::catch_interrupts();
    let mut desk = Desk::new(terminal, how, args, &mine);
    perform(&plan, &mine, threads, &mut desk);
    desk.close(&plan, threads)
}

fn plan(terminal: Terminal, args: &SoakArgs) -> Result<Plan, Exit> {
    let usage = |why: &str| {
        terminal.error(why);
        Exit::Usage
    };
    let named = files::read_all(terminal, &args.files).ok_or(Exit::Usage)?;
    let scenarios = checked(terminal, &named).ok_or(Exit::Usage)?;
    let mut sites = Vec::new();
    for (named, scenario) in named.iter().zip(&scenarios) {
        let given = Given::new(&named.text, scenario)
            .ok_or_else(|| usage(&format!("{}: its tables cannot be edited", named.name)))?;
        sites.push(Site { name: named.name.clone(), given });
    }
    let asked = kinds(&args.faults).map_err(|why| usage(&why))?;
    let without = kinds(&args.without).map_err(|why| usage(&why))?;
    let all_on = !args.faults.is_empty();
    let mut kinds = if all_on { asked } else { Kinds::USUAL };
    if args.memory_calls {
        kinds = kinds.and(Kinds::MEMORY_CALLS);
    }
    for kind in without.iter() {
        kinds = kinds.without(kind);
    }
    if kinds == Kinds::NONE {
        return Err(usage("no kind of fault is left: --without takes all of --faults away"));
    }
    let years = args.years.or(args.seeds.is_none().then_some(YEARS));
    let (first_seed, end_seed) = args.seeds.unwrap_or((1, u64::MAX));
    Ok(Plan {
        first_seed,
        end_seed,
        most_ms: years.map(|years| years.saturating_mul(YEAR_MS)),
        days: args.days,
        shape: Shape {
            events_per_day_tenths: args.per_day,
            kinds,
            all_on,
            packs: args.packs,
            drives: args.drives,
            ..Shape::default()
        },
        sites,
    })
}

/// The kinds of a list of words.
fn kinds(words: &[String]) -> Result<Kinds, String> {
    let mut kinds = Kinds::NONE;
    for word in words {
        match Kind::from_word(word) {
            Some(kind) => kinds = kinds.with(kind),
            None => {
                let all: Vec<&str> = Kind::ALL.into_iter().map(Kind::word).collect();
                return Err(format!(
                    "there is no kind of fault or act named \"{word}\"; there are\n  {}",
                    all.chunks(6).map(|row| row.join(", ")).collect::<Vec<_>>().join(",\n  ")
                ));
            }
        }
    }
    Ok(kinds)
}

/// Ends a run that goes when somebody interrupts.
struct Stopper;

impl Observer for Stopper {
    fn see(&mut self, _: u64, _: &Observation<'_>) {}

    fn wants_end(&self) -> bool {
        watch::interrupted()
    }
}

/// Hands the runs out to threads and takes what comes back.
fn perform(plan: &Plan, mine: &[Run], threads: usize, desk: &mut Desk) {
    let next = AtomicUsize::new(0);
    let (to_desk, from_threads) = mpsc::channel::<(usize, Ran)>();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (next, to_desk) = (&next, to_desk.clone());
            scope.spawn(move || {
                while !watch::interrupted() {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(run) = mine.get(at) else { break };
                    let ran = plan.perform(run, Some(&mut Stopper));
                    if to_desk.send((at, ran)).is_err() {
                        break;
                    }
                }
            });
        }
        drop(to_desk);
        loop {
            match from_threads.recv_timeout(TICK) {
                Ok((at, ran)) => desk.take(at, ran),
                Err(mpsc::RecvTimeoutError::Timeout) => desk.tell(),
                Err(mpsc::RecvTimeoutError::Disconnected) => break,
            }
        }
    });
}

/// Takes in what the threads have run and says it in the order of the runs.
struct Desk<'a> {
    terminal: Terminal,
    args: &'a SoakArgs,
    progress: Progress,
    dir: PathBuf,
    all_ms: u64,
    runs: usize,
    /// True ms of what has come back, said or not.
    done_ms: u64,
    failed: u64,
    /// What has come back before its turn, with its replay line.
    early: BTreeMap<usize, (Ran, String)>,
    said: usize,
    tally: Tally,
    cases: Vec<(String, Case)>,
    broken: bool,
    /// Of each site what its failures are called by.
    stems: Vec<String>,
}

impl<'a> Desk<'a> {
    fn new(terminal: Terminal, how: How, args: &'a SoakArgs, mine: &[Run]) -> Self {
        Self {
            terminal,
            args,
            progress: Progress::new("soak", how, terminal),
            dir: args.reports.out.clone().unwrap_or_else(|| PathBuf::from(OUT)),
            all_ms: mine.iter().map(|run| u64::from(run.days) * 86_400_000).sum(),
            runs: mine.len(),
            done_ms: 0,
            failed: 0,
            early: BTreeMap::new(),
            said: 0,
            tally: Tally::default(),
            cases: Vec::new(),
            broken: false,
            stems: run::stems(args.files.iter().map(|file| file.to_str().unwrap_or("site"))),
        }
    }

    fn take(&mut self, at: usize, ran: Ran) {
        if ran.verdict == Verdict::Stopped {
            return;
        }
        self.done_ms += ran.ms;
        let line = self.save(&ran);
        self.early.insert(at, (ran, line));
        while let Some((ran, line)) = self.early.remove(&self.said) {
            self.said += 1;
            self.say(&ran, &line);
        }
        self.tell();
    }

    /// Saves what failed at once, before its turn to be said.
    fn save(&mut self, ran: &Ran) -> String {
        if ran.verdict != Verdict::Failed {
            return String::new();
        }
        self.failed += 1;
        let path = self.dir.join(failure_name(&self.stems, &ran.case));
        let text = ran.text.as_deref().unwrap_or_default();
        let failed = Failed {
            name: &ran.name,
            seed: ran.case.seed,
            until_ms: None,
            text,
            findings: &ran.findings,
            otherwise: &again(self.args, &ran.case),
        };
        saved::save(self.terminal, &path, &failed)
    }

    fn say(&mut self, ran: &Ran, replay: &str) {
        self.tally.add(ran);
        if ran.verdict == Verdict::Failed {
            self.progress.clear();
            let first = ran.findings.first().map_or("", String::as_str);
            self.terminal.message(&format!("{} FAILED: {first}\n{replay}", ran.name));
        } else if ran.verdict == Verdict::Invalid && self.terminal.verbose {
            self.progress.clear();
            let first = ran.findings.first().map_or("", String::as_str);
            self.terminal.message(&format!("{} is invalid: {first}\n", ran.name));
        }
        if self.args.reports.json && !self.broken {
            let line = soak_report::line(ran);
            self.broken = super::print(self.terminal, &line) != Exit::Held;
        }
        if self.args.reports.junit.is_some() {
            self.cases.push((ran.name.clone(), case(ran)));
        }
    }

    fn tell(&mut self) {
        let years = self.done_ms as f64 / YEAR_MS as f64;
        let all = self.all_ms as f64 / YEAR_MS as f64;
        let rate = years / self.progress.elapsed().as_secs_f64().max(1e-3);
        let failed = self.failed;
        self.progress.tell(years / all.max(1e-9), || {
            let failed = if failed > 0 { format!(", {failed} failed") } else { String::new() };
            format!("{years:.0} of {all:.0} years, {rate:.1}/s{failed}")
        });
    }

    fn close(mut self, plan: &Plan, threads: usize) -> Exit {
        // what came back behind a run that was interrupted is kept, too
        for (ran, line) in std::mem::take(&mut self.early).into_values() {
            self.say(&ran, &line);
        }
        self.progress.clear();
        let took = self.progress.elapsed().as_secs_f64().max(1e-3);
        let interrupted = watch::interrupted();
        let text = if self.args.reports.json {
            soak_report::summary(&self.tally, plan, interrupted)
        } else {
            soak_report::page(&self.tally, self.runs, interrupted, self.terminal.quiet)
        };
        let mut exit = super::tell(self.terminal, self.args.reports.junit.as_ref(), &text);
        if !self.terminal.quiet {
            let years = self.tally.years();
            self.terminal.message(&format!(
                "{years:.1} controller-years in {took:.1} s: {:.1} a second on {threads} {}\n",
                years / took,
                if threads == 1 { "thread" } else { "threads" }
            ));
        }
        if let Some(path) = &self.args.reports.junit
            && let Err(why) = files::write(self.terminal, path, &junit::render(&self.cases))
        {
            self.terminal.error(&why);
            exit = Exit::Usage;
        }
        if interrupted {
            self.terminal.message("interrupted; what was finished is kept\n");
            return Exit::Interrupted;
        }
        match exit {
            Exit::Held if self.tally.panicked > 0 => Exit::Internal,
            Exit::Held => Exit::of(self.tally.worst()),
            other => other,
        }
    }
}

/// The name of a run's failure file: sites of one name in two directories have their own.
fn failure_name(stems: &[String], case: &Run) -> String {
    let stem = case.site.and_then(|at| stems.get(at)).map_or("made", String::as_str);
    format!("soak-{stem}-{}.failure.toml", case.seed)
}

/// The command that makes one run of a soak once more: its site, its seed and all that
/// says which faults are drawn.
fn again(args: &SoakArgs, case: &Run) -> String {
    let mut out = "dosewright soak".to_owned();
    if let Some(file) = case.site.and_then(|at| args.files.get(at)) {
        _ = write!(out, " {}", files::for_shell(file));
    }
    _ = write!(out, " --seeds {}..={} --days {}", case.seed, case.seed, case.days);
    if args.per_day != PER_DAY_TENTHS {
        _ = write!(out, " --per-day {}.{}", args.per_day / 10, args.per_day % 10);
    }
    let flags = [
        (" --packs", args.packs),
        (" --drives", args.drives),
        (" --memory-calls", args.memory_calls),
    ];
    for (name, given) in flags {
        out.push_str(if given { name } else { "" });
    }
    for (name, kinds) in [("faults", &args.faults), ("without", &args.without)] {
        if !kinds.is_empty() {
            _ = write!(out, " --{name} {}", kinds.join(","));
        }
    }
    out
}

fn case(ran: &Ran) -> Case {
    let text = || ran.findings.join("\n");
    match ran.verdict {
        Verdict::Held => Case::Passed,
        Verdict::Failed => Case::Failed(text()),
        Verdict::Invalid => Case::Error(text()),
        Verdict::Stopped => Case::Skipped("interrupted".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::args::{Cli, Command};
    use super::*;
    use clap::Parser as _;

    fn parsed(line: &str) -> SoakArgs {
        match Cli::try_parse_from(line.split_whitespace()).unwrap().command {
            Command::Soak(args) => args,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn two_sites_of_one_name_keep_their_failures() {
        let stems = run::stems(["a/x.toml", "b/x.toml"].into_iter());
        let name = |site| failure_name(&stems, &Run { number: 0, seed: 1, site, days: 3 });
        assert_eq!(name(Some(0)), "soak-x-1.failure.toml");
        assert_eq!(name(Some(1)), "soak-x-2-1.failure.toml");
        assert_eq!(name(None), "soak-made-1.failure.toml");
    }

    #[test]
    fn the_line_that_runs_one_again_asks_for_the_same() {
        let run = |site| Run { number: 7, seed: 4, site, days: 200 };
        let made = "dosewright soak --seeds 4..=4 --days 200";
        assert_eq!(again(&parsed("dosewright soak --years 9 --shard 1/4"), &run(None)), made);
        for (asked, site, wanted) in [
            ("soak a.toml b.toml --seeds 1..9", Some(1), "soak b.toml --seeds 4..=4 --days 200"),
            (
                "soak --per-day 40 --packs --drives --memory-calls",
                None,
                "soak --seeds 4..=4 --days 200 --per-day 40.0 --packs --drives --memory-calls",
            ),
            (
                "soak a.toml --without late_wake",
                Some(0),
                "soak a.toml --seeds 4..=4 --days 200 --without late_wake",
            ),
            (
                "soak --faults leak,bit_flip --without leak",
                None,
                "soak --seeds 4..=4 --days 200 --faults leak,bit_flip --without leak",
            ),
        ] {
            let args = parsed(&format!("dosewright {asked}"));
            let line = again(&args, &run(site));
            assert_eq!(line, format!("dosewright {wanted}"), "{asked}");
            let back = parsed(&line);
            assert_eq!(
                (back.per_day, back.packs, back.drives, back.memory_calls),
                (args.per_day, args.packs, args.drives, args.memory_calls)
            );
            assert_eq!((back.faults, back.without), (args.faults, args.without));
        }
    }
}
