//! `dosewright check`.

use std::path::PathBuf;

use dosewright_sim::check;
use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source};

use super::args::Format;
use super::exit::Exit;
use super::files;
use super::print;
use super::terminal::Terminal;

/// Says everything that is wrong with the files.
pub(super) fn check(terminal: Terminal, paths: &[PathBuf], format: Format) -> Exit {
    let (named, all_read) = files::read_some(terminal, paths);
    let mut found: Vec<Diagnostic> =
        named.iter().flat_map(|file| check::read_ahead(&file.name, &file.text).1).collect();
    if terminal.quiet {
        found.retain(|found| found.severity == Severity::Error);
    }
    let sources: Vec<Source> =
        named.iter().map(|file| Source::new(&file.name, &file.text)).collect();
    let text = match format {
        Format::Text => {
            let what = if named.len() == 1 {
                "1 file checked".to_owned()
            } else {
                format!("{} files checked", named.len())
            };
            diagnose::text::report(&found, &sources, &what, terminal.paint_out())
        }
        Format::Json => diagnose::json::render(&found, &sources),
        Format::Sarif => diagnose::sarif::render(&found, &sources),
    };
    let (errors, _) = diagnose::count(&found);
    match print(terminal, &text) {
        Exit::Held if errors > 0 || !all_read => Exit::Usage,
        exit => exit,
    }
}
