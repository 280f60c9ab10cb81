//! `dosewright check`.

use std::path::PathBuf;

use dosewright_sim::check;
use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source, Span, codes};

use super::args::Format;
use super::exit::Exit;
use super::files;
use super::print;
use super::terminal::Terminal;

/// Says everything that is wrong with the files.
pub(super) fn check(terminal: Terminal, paths: &[PathBuf], format: Format) -> Exit {
    let mut named = Vec::new();
    let mut found: Vec<Diagnostic> = Vec::new();
    // by file, changes of the timetable in the run, which are not looked at
    let mut later: Vec<(String, usize)> = Vec::new();
    for path in paths {
        match files::read(path) {
            Ok(file) => {
                files::show_as(&file.text);
                let (scenario, problems) = check::read_ahead(&file.name, &file.text);
                found.extend(problems);
                let count = scenario.as_ref().map_or(0, check::later_changes);
                later.extend((count > 0).then(|| (file.name.clone(), count)));
                named.push(file);
            }
            // whoever reads the report is to see that a file is missing from it
            Err(why) => found.push(
                Diagnostic::new(codes::UNREADABLE, Span::default(), why)
                    .in_file(path.display().to_string()),
            ),
        }
    }
    let unread = paths.len() - named.len();
    // quiet leaves warnings out, it does not say that there are none
    let counts = diagnose::count(&found);
    if terminal.quiet {
        found.retain(|found| found.severity == Severity::Error);
    }
    let sources: Vec<Source> =
        named.iter().map(|file| Source::new(&file.name, &file.text)).collect();
    let text = match format {
        Format::Text => {
            let mut what = if named.len() == 1 {
                "1 file checked".to_owned()
            } else {
                format!("{} files checked", named.len())
            };
            if unread > 0 {
                what = format!("{what}, {unread} not read");
            }
            let mut text =
                diagnose::text::report_of(&found, counts, &sources, &what, terminal.paint_out());
            for (name, count) in later.iter().filter(|_| !terminal.quiet) {
                // the counts stay the last line
                let last = text.trim_end().rfind('\n').map_or(0, |at| at + 1);
                text.insert_str(last, &check::not_looked_at(name, *count));
            }
            text
        }
        Format::Json => {
            let later = later.iter().map(|(_, count)| count).sum();
            diagnose::json::render_with(&found, counts, &sources, unread, later)
        }
        Format::Sarif => diagnose::sarif::render(&found, &sources),
    };
    let (errors, _) = counts;
    match print(terminal, &text) {
        Exit::Held if errors > 0 => Exit::Usage,
        exit => exit,
    }
}
