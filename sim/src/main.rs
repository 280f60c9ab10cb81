//! The program `dosewright`: files, terminal and process around the library.

mod cli;

fn main() -> std::process::ExitCode {
    cli::main()
}
