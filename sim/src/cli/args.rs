//! The command line's grammar.

use std::path::PathBuf;

use clap::{ArgAction, Args, Parser, Subcommand, ValueEnum};
use dosewright_sim::sweep::Moments;

/// What `--help` says at the end.
const EXIT_CODES: &str = "\
Exit codes:
  0    all held
  1    an expectation or a promise failed
  2    bad usage or bad file
  3    stopped at a limit
  4    nothing selected
  5    run invalid: a fault asked for never took effect
  70   internal fault
  130  interrupted, finished results kept

Standard output is data, standard error is messages.";

/// Simulates a small dosing pump's controller and judges what it does.
#[derive(Parser, Debug)]
#[command(name = "dosewright", version = crate::cli::BUILD, about, after_help = EXIT_CODES, max_term_width = 100)]
#[command(arg_required_else_help = true, subcommand_required = true)]
pub(super) struct Cli {
    #[command(flatten)]
    pub(super) global: Global,
    #[command(subcommand)]
    pub(super) command: Command,
}

/// What every command takes.
#[derive(Args, Debug, Clone, Copy)]
pub(super) struct Global {
    /// Say less: the verdict alone, no warnings
    #[arg(long, short, global = true, conflicts_with = "verbose", help_heading = "Global options")]
    pub(super) quiet: bool,
    /// Say more: every dose of a long run
    #[arg(short, long, global = true, action = ArgAction::Count, help_heading = "Global options")]
    pub(super) verbose: u8,
    /// Colour; auto looks at the terminal and at NO_COLOR
    #[arg(long, global = true, value_enum, default_value_t = When::Auto, value_name = "WHEN", help_heading = "Global options")]
    pub(super) color: When,
    /// How a long run shows that it goes on
    #[arg(long, global = true, value_enum, default_value_t = Progress::Auto, value_name = "HOW", help_heading = "Global options")]
    pub(super) progress: Progress,
    /// In what volumes are shown; as the file says (`units`), else metric
    #[arg(long, global = true, value_enum, value_name = "UNITS", help_heading = "Global options")]
    pub(super) units: Option<ShownIn>,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ShownIn {
    /// Millilitres and litres
    Metric,
    /// US fluid ounces
    Us,
    /// Imperial fluid ounces
    Imperial,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum When {
    Auto,
    Always,
    Never,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Progress {
    /// A bar on a terminal, else a line now and then
    Auto,
    /// A bar
    Bar,
    /// A line now and then
    Lines,
    /// Nothing
    None,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    /// For people
    Text,
    /// One JSON object a line
    Json,
    /// SARIF 2.1.0, for code-scanning views
    Sarif,
}

#[derive(Subcommand, Debug)]
pub(super) enum Command {
    /// Write a commented scenario to start from
    New {
        /// The file to write, a directory to write scenario.toml in, or - for standard output
        path: PathBuf,
    },
    /// Read and validate scenarios; say everything that is wrong at once
    Check {
        /// Scenario files
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// How to say it
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Run scenarios to their end and judge them
    Run(RunArgs),
    /// Run a failure file again, exactly as it failed; or say what this build makes
    /// of the bytes of a device's memory
    Replay {
        /// The failure file that a failed run saved, or a raw ledger image
        file: PathBuf,
        /// Of an image: bytes of a sector, whatever its header says, and where none can be read
        #[arg(long, value_name = "BYTES")]
        sector_bytes: Option<u32>,
        /// Of an image: bytes of the smallest write, 1, 4 or 8; 4 unless said
        #[arg(long, value_name = "BYTES")]
        word: Option<u32>,
        /// Of an image: what it tells from this date or time of the device's clock on
        #[arg(long, value_name = "TIME", value_parser = dosewright_sim::scenario::measure::moment)]
        since: Option<dosewright_core::civil::Local>,
        #[command(flatten)]
        traces: Traces,
    },
    /// Explore everything of a kind that can happen, to the end
    Explore {
        #[command(subcommand)]
        what: Exploration,
    },
    /// Put each kind of fault at each moment: held, failed, or never took effect
    Sweep(SweepArgs),
    /// Find the smallest scenario that fails in the same way
    Shrink(ShrinkArgs),
    /// Run random faults over many seeds; stop at nothing, report everything
    Soak(SoakArgs),
    /// Show the pulse train of one dose against the head's limits
    Pulses(super::pulses::PulsesArgs),
    /// Say how long to run for a calibration, and what its reading means
    Calibrate(Box<super::calibrate::CalibrateArgs>),
    /// Say until when battery, container, tube set and memory last
    Forecast(super::forecast::ForecastArgs),
    /// Plan a timetable from a label's rate, the hours without water and the head
    Plan(super::plan::PlanArgs),
    /// Stand at the device's front panel: live in a terminal, or by a script
    Operate(super::operate::OperateArgs),
    /// Write one offline page of a run: verdict, pictures, tables
    Report(super::report::ReportArgs),
    /// Write one page to leave on site: timetable, dates, checklist, blanks to sign
    Sheet(super::sheet::SheetArgs),
    /// Write the doses that are due as iCalendar
    Calendar(super::sheet::CalendarArgs),
    /// Say what a code means
    Explain {
        /// A code such as S014; without one, the list of all codes
        code: Option<String>,
    },
    /// Print the JSON Schema of scenario files, or of the lines that a command prints
    Schema {
        /// Of the JSON lines of this command; of run where none is named
        #[arg(long, value_enum, value_name = "COMMAND", num_args = 0..=1, default_missing_value = "run")]
        lines: Option<LinesOf>,
    },
    /// Print a completion script for a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff)
    Man,
}

/// Commands that print lines for machines.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LinesOf {
    /// `run --json`, and `replay --json` of a failure
    Run,
    /// `check --format json`
    Check,
    /// `sweep --json`
    Sweep,
    /// `soak --json`
    Soak,
    /// `explore cuts --json`
    ExploreCuts,
    /// `explore states --json`
    ExploreStates,
    /// `pulses --json`
    Pulses,
    /// `calibrate --json`
    Calibrate,
    /// `forecast --json`
    Forecast,
    /// `plan --json`
    Plan,
    /// `replay --json` of the image of a memory
    ReplayImage,
}

/// What can be explored.
#[derive(Subcommand, Debug)]
pub(super) enum Exploration {
    /// Cut the supply everywhere in one run, and again everywhere after each restart
    Cuts(CutsArgs),
    /// Every state of the controller over one or two entries, at every moment
    /// that makes a difference
    States(StatesArgs),
}

#[derive(Args, Debug, Clone)]
pub(super) struct CutsArgs {
    /// Cuts in a run
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub(super) depth: u8,
    /// Bytes of a word of the memory
    #[arg(long, value_enum, default_value_t = Word::All, value_name = "BYTES")]
    pub(super) word: Word,
    /// Threads that share the work; all cores unless said
    #[arg(long, value_name = "N", value_parser = threads, allow_hyphen_values = true)]
    pub(super) threads: Option<usize>,
    /// Go on only once from first cuts that leave the same state: fewer runs
    #[arg(long)]
    pub(super) merge: bool,
    /// Print one JSON object a word size instead of the page
    #[arg(long)]
    pub(super) json: bool,
    /// Write failure files in this directory
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Run only what this failure file says, and tell it step by step
    #[arg(long, value_name = "FILE", conflicts_with_all = ["depth", "word", "threads", "merge", "json", "out"])]
    pub(super) only: Option<PathBuf>,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Word {
    /// 1 byte
    #[value(name = "1")]
    One,
    /// 4 bytes
    #[value(name = "4")]
    Four,
    /// 8 bytes
    #[value(name = "8")]
    Eight,
    /// One after the other
    All,
}

impl Word {
    pub(super) const fn sizes(self) -> &'static [usize] {
        match self {
            Self::One => &[1],
            Self::Four => &[4],
            Self::Eight => &[8],
            Self::All => &[1, 4, 8],
        }
    }
}

#[derive(Args, Debug, Clone)]
pub(super) struct StatesArgs {
    /// A scenario of one or two entries; without one, the built-in two. Its
    /// run_for is how far the exploration looks
    pub(super) file: Option<PathBuf>,
    /// Disturbances that a path may have
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u8).range(0..=8))]
    pub(super) disturbances: u8,
    /// Steps that a path may have; no limit without it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub(super) depth: Option<u32>,
    /// States to stop at; each takes up to 45 bytes, twice that for moments
    #[arg(long, value_name = "N", default_value_t = 20_000_000, value_parser = clap::value_parser!(u32).range(1..))]
    pub(super) states: u32,
    /// Violations to stop at, each of another kind
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    pub(super) findings: u16,
    /// It is a failure (exit code 3) to stop before every state was seen
    #[arg(long)]
    pub(super) fixed_point: bool,
    /// Print JSON, one object a line
    #[arg(long)]
    pub(super) json: bool,
    /// Where scenarios of violations go
    #[arg(long, value_name = "DIR", default_value = "out")]
    pub(super) out: PathBuf,
}

/// What a run can write beside its page.
#[derive(Args, Debug, Clone, Default)]
pub(super) struct Traces {
    /// Write the pump's waveform as a value change dump
    #[arg(long, value_name = "FILE")]
    pub(super) vcd: Option<PathBuf>,
    /// Of the waveform only this stretch, in steps of a microsecond: two lengths
    /// after the start, such as "1 d 44 min..1 d 50 min"
    #[arg(long, value_name = "FROM..TO", value_parser = window, allow_hyphen_values = true, requires = "vcd")]
    pub(super) window: Option<(u64, u64)>,
    /// Write one row an outcome as comma-separated values
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
    /// Write the bytes of the memory at the end of the run
    #[arg(long, value_name = "FILE")]
    pub(super) image: Option<PathBuf>,
    /// Print one JSON object a line instead of the page
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Args, Debug, Clone)]
pub(super) struct RunArgs {
    /// Scenario files; without one, the built-in example
    pub(super) files: Vec<PathBuf>,
    /// Seed of everything left to chance
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = seed, allow_hyphen_values = true)]
    pub(super) seed: u64,
    /// End the run after so much simulated time, such as "3 d 4 h"
    #[arg(long, value_name = "LENGTH", value_parser = length, allow_hyphen_values = true)]
    pub(super) until: Option<u64>,
    /// Simulated time against real time: max, 60x, 1x
    #[arg(long, default_value = "max", value_parser = pace, allow_hyphen_values = true)]
    pub(super) pace: Pace,
    /// Run only the I-th of N shares of the files, counted from 1
    #[arg(long, value_name = "I/N", value_parser = shard, allow_hyphen_values = true)]
    pub(super) shard: Option<Shard>,
    /// Write a JUnit report
    #[arg(long, value_name = "FILE")]
    pub(super) junit: Option<PathBuf>,
    #[command(flatten)]
    pub(super) traces: Traces,
    /// Write traces and failure files of each run in a directory
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

/// What a piece of work of many runs leaves behind.
#[derive(Args, Debug, Clone)]
pub(super) struct Reports {
    /// Write a JUnit report
    #[arg(long, value_name = "FILE")]
    pub(super) junit: Option<PathBuf>,
    /// Print one JSON object a run, and one for all
    #[arg(long)]
    pub(super) json: bool,
    /// Save failure files in a directory; out/ unless said
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

#[derive(Args, Debug, Clone)]
pub(super) struct SweepArgs {
    /// The scenario; what it expects of a run without the fault is left out
    pub(super) file: PathBuf,
    /// Kinds of faults
    #[arg(long, value_name = "KIND", value_delimiter = ',', required = true)]
    pub(super) faults: Vec<String>,
    /// dose-phases, every-due, a number spread over the run, or one moment such as
    /// "+1 d 45 min" or "dose 1 pulse 2"
    #[arg(long, value_name = "WHICH", default_value = "dose-phases", value_parser = super::sweep::moments, allow_hyphen_values = true)]
    pub(super) moments: Moments,
    /// Seed of everything left to chance
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = seed, allow_hyphen_values = true)]
    pub(super) seed: u64,
    #[command(flatten)]
    pub(super) reports: Reports,
}

#[derive(Args, Debug, Clone)]
pub(super) struct ShrinkArgs {
    /// The failure file that a failed run saved, or a scenario that fails
    pub(super) file: PathBuf,
    /// Where to write the small scenario; - is standard output
    #[arg(long, short, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Write over a file that is there already
    #[arg(long)]
    pub(super) force: bool,
    /// Stop after so many runs
    #[arg(long, value_name = "RUNS", default_value_t = 5_000, value_parser = clap::value_parser!(u32).range(2..))]
    pub(super) limit: u32,
    /// Seed of the runs; that of the failure file, or 1
    #[arg(long, value_name = "N", value_parser = seed, allow_hyphen_values = true)]
    pub(super) seed: Option<u64>,
}

#[derive(Args, Debug, Clone)]
pub(super) struct SoakArgs {
    /// Scenario files whose site is used, their own faults, acts and expectations
    /// left out; without one each seed makes a site
    pub(super) files: Vec<PathBuf>,
    /// Seeds to run, such as 1..1000 (the last left out) or 1..=999
    #[arg(long, value_name = "A..B", value_parser = seeds, allow_hyphen_values = true)]
    pub(super) seeds: Option<(u64, u64)>,
    /// Stop after so many controller-years in all, to the nearest run; 100 where no
    /// seeds are given
    #[arg(long, value_name = "N", value_parser = years, allow_hyphen_values = true)]
    pub(super) years: Option<u64>,
    /// Days of one run; 365, or those of the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(3..=36_525))]
    pub(super) days: Option<u32>,
    /// How densely to draw faults and acts: so many a day if each came at once. Most are put
    /// into the next dose's window, and the next is drawn after it, so that fewer come
    #[arg(long, value_name = "N", default_value = "1.2", value_parser = per_day, allow_hyphen_values = true)]
    pub(super) per_day: u32,
    /// Three in ten made sites run on a battery pack, which is changed, or runs down
    #[arg(long)]
    pub(super) packs: bool,
    /// Half of the made sites have a drive: their pump turns by its rotor's angle, starts lose
    /// something, and what is calibrated is often calibrated by a train as well
    #[arg(long)]
    pub(super) drives: bool,
    /// Draw misread, write_failure and erase_failure as well: calls of the memory that go wrong
    #[arg(long)]
    pub(super) memory_calls: bool,
    /// Only these kinds of faults and acts, all of them in every run
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    pub(super) faults: Vec<String>,
    /// None of these kinds
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    pub(super) without: Vec<String>,
    /// Run only the I-th of N shares of the runs, counted from 1
    #[arg(long, value_name = "I/N", value_parser = shard, allow_hyphen_values = true)]
    pub(super) shard: Option<Shard>,
    /// Threads; as many as the machine has cores unless said
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(super) threads: Option<u16>,
    #[command(flatten)]
    pub(super) reports: Reports,
}

/// Simulated time against real time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Pace {
    Max,
    Times(f64),
}

/// One share of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shard {
    pub(super) index: usize,
    pub(super) of: usize,
}

fn length(text: &str) -> Result<u64, String> {
    let ms = dosewright_sim::scenario::length(text)?;
    if ms == 0 { Err("a run of no length shows nothing".to_owned()) } else { Ok(ms) }
}

fn window(text: &str) -> Result<(u64, u64), String> {
    let (from, to) = text
        .split_once("..")
        .ok_or_else(|| "a window is FROM..TO: \"1 d 44 min..1 d 50 min\"".to_owned())?;
    let ms = |text: &str| dosewright_sim::scenario::length(text.trim().trim_start_matches('+'));
    let (from, to) = (ms(from)?, ms(to)?);
    if from < to { Ok((from, to)) } else { Err("a window ends after it begins".to_owned()) }
}

pub(super) fn pace(text: &str) -> Result<Pace, String> {
    if text == "max" {
        return Ok(Pace::Max);
    }
    let times = text.strip_suffix('x').and_then(|number| number.parse::<f64>().ok());
    match times.filter(|times| (0.001..=1e9).contains(times)) {
        Some(times) => Ok(Pace::Times(times)),
        None => Err("a pace is max, or how many times real time: 1x, 60x".to_owned()),
    }
}

fn threads(text: &str) -> Result<usize, String> {
    let number = text.parse().ok().filter(|number| (1..=1024).contains(number));
    number.ok_or_else(|| "threads are 1 to 1024".to_owned())
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("a seed is a whole number from 0 to {}", u64::MAX))
}

fn years(text: &str) -> Result<u64, String> {
    let number = text.parse().ok().filter(|number| (1..=1_000_000_000).contains(number));
    number.ok_or_else(|| "whole years, 1 to 1000000000".to_owned())
}

fn seeds(text: &str) -> Result<(u64, u64), String> {
    let parts = match text.split_once("..=") {
        Some((a, b)) => a.parse().ok().zip(b.parse::<u64>().ok().and_then(|b| b.checked_add(1))),
        None => text.split_once("..").and_then(|(a, b)| Some((a.parse().ok()?, b.parse().ok()?))),
    };
    match parts {
        Some((first, end)) if first < end => Ok((first, end)),
        _ => Err("seeds are A..B with A below B, or A..=B: 1..101 is a hundred of them".to_owned()),
    }
}

/// In tenths.
fn per_day(text: &str) -> Result<u32, String> {
    let tenths = text.parse::<f64>().ok().map(|number| (number * 10.0).round());
    match tenths.filter(|tenths| (1.0..=1000.0).contains(tenths)) {
        Some(tenths) => Ok(tenths as u32),
        None => Err("a number from 0.1 to 100".to_owned()),
    }
}

fn shard(text: &str) -> Result<Shard, String> {
    let parts = text.split_once('/').and_then(|(i, n)| Some((i.parse().ok()?, n.parse().ok()?)));
    match parts {
        Some((index, of)) if 1 <= index && index <= of => Ok(Shard { index, of }),
        _ => Err("a shard is I/N with I from 1 to N: 1/4 is the first of four".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grammar_is_sound() {
        <Cli as clap::CommandFactory>::command().debug_assert();
    }

    #[test]
    fn shards_count_from_one() {
        assert_eq!(shard("1/4"), Ok(Shard { index: 1, of: 4 }));
        assert_eq!(shard("4/4"), Ok(Shard { index: 4, of: 4 }));
        for bad in ["0/4", "5/4", "1", "1/0", "a/b", "-1/4"] {
            assert!(shard(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn seeds_are_a_range() {
        assert_eq!((seeds("1..4"), seeds("1..=3")), (Ok((1, 4)), Ok((1, 4))));
        for bad in ["", "1", "4..4", "4..3", "a..b", "1..", "-1..3", "0..=18446744073709551615"] {
            assert!(seeds(bad).is_err(), "{bad}");
        }
        assert_eq!((per_day("1.2"), per_day("30")), (Ok(12), Ok(300)));
        assert!(["0", "-1", "x", "NaN", "1e9"].into_iter().all(|bad| per_day(bad).is_err()));
    }

    #[test]
    fn a_window_is_two_lengths() {
        assert_eq!(window("1 d..+1 d 2 s"), Ok((86_400_000, 86_402_000)));
        for bad in ["", "1 d", "2 s..1 s", "1 s..1 s", "a..b"] {
            assert!(window(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_pace_is_max_or_a_multiple() {
        assert_eq!((pace("max"), pace("60x")), (Ok(Pace::Max), Ok(Pace::Times(60.0))));
        for bad in ["", "x", "0x", "-1x", "60", "NaNx", "infx"] {
            assert!(pace(bad).is_err(), "{bad}");
        }
    }
}
