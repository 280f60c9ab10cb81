//! `dosewright schema`, `completions` and `man`: texts made from the grammars.

use clap::CommandFactory;
use dosewright_sim::scenario;

use super::args::Cli;
use super::exit::Exit;
use super::print;
use super::terminal::Terminal;

/// The JSON Schema of scenario files, or of the lines of a run.
pub(super) fn schema(terminal: Terminal, lines: bool) -> Exit {
    let text = if lines { dosewright_sim::trace::summary::schema() } else { scenario::schema() };
    print(terminal, &text)
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
