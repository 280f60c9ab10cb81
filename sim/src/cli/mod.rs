//! The command line: everything that touches files, the terminal or the process.

mod args;
mod calibrate;
mod check;
mod exit;
mod explain;
mod explore;
mod explore_states;
mod files;
mod forecast;
mod image;
mod junit;
mod new;
mod number;
mod operate;
mod operate_live;
mod papers;
mod plan;
mod progress;
mod pulses;
mod replay;
mod report;
mod run;
mod saved;
mod sheet;
mod shrink;
mod soak;
mod soak_report;
mod sweep;
mod terminal;
mod ticker;
mod trial;
mod watch;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command, Exploration};
use exit::Exit;
use terminal::Terminal;

/// Version and a digest of the sources that it was built from.
pub(crate) const BUILD: &str = env!("DOSEWRIGHT_BUILD");

/// Does what the command line says.
pub(crate) fn main() -> ExitCode {
    // a usage error, help and the version end the program here: 2, 0 and 0
    let cli = Cli::parse();
    let terminal = Terminal::new(cli.global);
    let progress = cli.global.progress;
    files::show_in(cli.global.units);
    let exit = exit::guarded(move || match cli.command {
        Command::New { path } => new::new(terminal, &path),
        Command::Check { files, format } => check::check(terminal, &files, format),
        Command::Run(args) => run::run(terminal, progress, &args),
        Command::Replay { file, sector_bytes, word, since, traces } => {
            let wanted = image::Wanted { hints: image::hints(sector_bytes, word), since };
            replay::replay(terminal, progress, &file, wanted, &traces)
        }
        Command::Explore { what: Exploration::Cuts(args) } => {
            explore::cuts(terminal, progress, &args)
        }
        Command::Sweep(args) => sweep::sweep(terminal, progress, &args),
        Command::Shrink(args) => shrink::shrink(terminal, progress, &args),
        Command::Soak(args) => soak::soak(terminal, progress, &args),
        Command::Explore { what: Exploration::States(args) } => {
            explore_states::states(terminal, progress, &args)
        }
        Command::Pulses(args) => pulses::pulses(terminal, &args),
        Command::Calibrate(args) => calibrate::calibrate(terminal, &args),
        Command::Forecast(args) => forecast::forecast(terminal, &args),
        Command::Plan(args) => plan::plan(terminal, &args),
        Command::Operate(args) => operate::operate(terminal, &args),
        Command::Report(args) => report::report(terminal, &args),
        Command::Sheet(args) => sheet::sheet(terminal, &args),
        Command::Calendar(args) => sheet::calendar(terminal, &args),
        Command::Explain { code } => explain::explain(terminal, code.as_deref()),
        Command::Schema { lines } => papers::schema(terminal, lines),
        Command::Completions { shell } => papers::completions(terminal, shell),
        Command::Man => papers::man(terminal),
    });
    ExitCode::from(exit.code())
}

/// Prints; what is said beside a report that is on standard output is a message.
fn tell(terminal: Terminal, report: Option<&PathBuf>, text: &str) -> Exit {
    if files::is_out(report) {
        terminal.message(text);
        return Exit::Held;
    }
    print(terminal, text)
}

/// Prints data on standard output.
fn print(terminal: Terminal, text: &str) -> Exit {
    use std::io::Write as _;
    let mut out = terminal.out();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Exit::Held,
        Err(error) => {
            terminal.error(&format!("cannot write to standard output: {error}"));
            Exit::Usage
        }
    }
}
