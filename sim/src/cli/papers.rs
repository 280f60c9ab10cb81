//! `dosewright schema`, `completions` and `man`: texts made from the grammars.

use clap::CommandFactory;
use dosewright_sim::lines::schema as schema_of;
use dosewright_sim::{calibrate, diagnose, forecast, image, plan, pulses, scenario, trace};

use super::args::{Cli, LinesOf};
use super::exit::Exit;
use super::print;
use super::terminal::Terminal;
use super::{explore, explore_states, soak_report, sweep};

/// The JSON Schema of scenario files, or of the lines of a command.
pub(super) fn schema(terminal: Terminal, of: Option<LinesOf>) -> Exit {
    print(terminal, &of.map_or_else(scenario::schema, lines_of))
}

/// From the types that write them.
fn lines_of(of: LinesOf) -> String {
    match of {
        LinesOf::Run => trace::summary::schema(),
        LinesOf::Check => diagnose::json::schema(),
        LinesOf::Sweep => schema_of::<sweep::Line<'_>>("sweep --json"),
        LinesOf::Soak => schema_of::<soak_report::Line<'_>>("soak --json"),
        LinesOf::ExploreCuts => schema_of::<explore::Line>("explore cuts --json"),
        LinesOf::ExploreStates => schema_of::<explore_states::Line<'_>>("explore states --json"),
        LinesOf::Pulses => pulses::schema(),
        LinesOf::Calibrate => calibrate::schema(),
        LinesOf::Forecast => forecast::schema(),
        LinesOf::Plan => plan::schema(),
        LinesOf::ReplayImage => image::schema(),
    }
}

/// A completion script.
pub(super) fn completions(terminal: Terminal, shell: clap_complete::Shell) -> Exit {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "dosewright", &mut script);
    print(terminal, &String::from_utf8_lossy(&script))
}

/// The manual page of the program and its commands. It carries no date.
pub(super) fn man(terminal: Terminal) -> Exit {
    let mut page = Vec::new();
    let mut command = Cli::command();
    command.build();
    let mut made = clap_mangen::Man::new(command.clone()).render(&mut page);
    for sub in command.get_subcommands() {
        made = made.and_then(|()| {
            clap_mangen::Man::new(
                sub.clone().display_name(format!("dosewright-{}", sub.get_name())),
            )
            .render(&mut page)
        });
    }
    match made {
        Ok(()) => print(terminal, &String::from_utf8_lossy(&page)),
        Err(error) => {
            terminal.error(&format!("the manual page cannot be made: {error}"));
            Exit::Internal
        }
    }
}
