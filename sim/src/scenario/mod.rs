//! Scenario files: a TOML file read into a [`Scenario`] in one pass that finds
//! everything that is wrong with it.
//!
//! The reader takes text and gives data or diagnostics; it opens no file.

mod bounds;
mod datetime;
mod doc;
mod keys;
pub mod measure;
mod model;
mod moment;
mod nearest;
mod other_date;
mod quantity;
mod read;
mod reader;
mod schema;
mod twelve_hour;
mod unjudged;
pub mod write;
mod zones;

pub use model::*;
pub use quantity::show;
pub use schema::schema;
pub use unjudged::read_otherwise;

use crate::diagnose::{self, Diagnostic, Severity, Span, codes};

/// Files larger than this are not read.
pub const MOST_BYTES: usize = 1024 * 1024;
/// More problems of one file than this are not shown.
pub const MOST_PROBLEMS: usize = 200;
/// More problems than this are not even kept: to say that there are more, this
/// is enough.
const MOST_KEPT: usize = 1_200;

/// Reads a scenario file; `file` is its name for the diagnostics. Good: the
/// scenario and warnings. Bad: every problem, warnings too, in the order of
/// their places; there is at least one error among them.
///
/// What only the device can tell (windows that overlap, doses that do not fit)
/// is not looked at here.
pub fn read(file: &str, text: &str) -> Result<(Scenario, Vec<Diagnostic>), Vec<Diagnostic>> {
    let (scenario, mut problems) = read_what_there_is(file, text);
    cap(&mut problems);
    let (errors, _) = diagnose::count(&problems);
    match scenario {
        Some(scenario) if errors == 0 => Ok((scenario, problems)),
        _ => Err(problems),
    }
}

/// As [`read`], but where there are errors the scenario is what could be read
/// beside them, if that is a whole one but for some tables of its lists: enough
/// for further checks of what is there, not for a run. No problem is left out.
pub(crate) fn read_what_there_is(file: &str, text: &str) -> (Option<Scenario>, Vec<Diagnostic>) {
    if let Some(found) = too_large(file, text) {
        return (None, vec![found]);
    }
    let (scenario, mut problems) = read::document(text);
    for problem in &mut problems {
        file.clone_into(&mut problem.file);
    }
    diagnose::sort(&mut problems);
    (scenario, problems)
}

/// Keeps the first problems, errors before warnings, and says that there are more.
pub(crate) fn cap(problems: &mut Vec<Diagnostic>) {
    if problems.len() <= MOST_PROBLEMS {
        return;
    }
    let errors = problems.iter().filter(|p| p.severity == Severity::Error).count();
    if errors > 0 {
        let mut room = MOST_PROBLEMS.saturating_sub(errors);
        problems.retain(|p| {
            p.severity == Severity::Error || {
                let keep = room > 0;
                room = room.saturating_sub(1);
                keep
            }
        });
    }
    let all = problems.len();
    let more = all.saturating_sub(MOST_PROBLEMS);
    problems.truncate(MOST_PROBLEMS);
    if more > 0 && errors > 0 {
        let (span, file) =
            problems.last().map_or((Span::default(), String::new()), |p| (p.span, p.file.clone()));
        let found = Diagnostic::new(
            codes::TOO_MANY_PROBLEMS,
            span,
            if all < MOST_KEPT {
                format!("{more} more problems follow this one")
            } else {
                "a thousand more problems and over follow this one".to_owned()
            },
        )
        .help("mend these first")
        .in_file(file);
        problems.push(found);
    }
}

/// Reads a head file, or the head of a scenario.
///
/// # Errors
///
/// Every problem of the file; there is at least one error among them.
pub fn read_head(file: &str, text: &str) -> Result<HeadFile, Vec<Diagnostic>> {
    finish(file, text, read::head_file).map(|(head, _)| head)
}

/// Reads a brief for a timetable; with it come warnings.
///
/// # Errors
///
/// Every problem of the file; there is at least one error among them.
pub fn read_brief(file: &str, text: &str) -> Result<(Brief, Vec<Diagnostic>), Vec<Diagnostic>> {
    finish(file, text, read::brief)
}

fn finish<T>(
    file: &str,
    text: &str,
    read: fn(&str) -> (Option<T>, Vec<Diagnostic>),
) -> Result<(T, Vec<Diagnostic>), Vec<Diagnostic>> {
    if let Some(found) = too_large(file, text) {
        return Err(vec![found]);
    }
    let (found, mut problems) = read(text);
    for problem in &mut problems {
        file.clone_into(&mut problem.file);
    }
    diagnose::sort(&mut problems);
    cap(&mut problems);
    let (errors, _) = diagnose::count(&problems);
    match found {
        Some(found) if errors == 0 => Ok((found, problems)),
        _ => Err(problems),
    }
}

fn too_large(file: &str, text: &str) -> Option<Diagnostic> {
    (text.len() > MOST_BYTES).then(|| {
        let span = Span::new(0, text.find('\n').unwrap_or(text.len()).min(80)).clip(text);
        Diagnostic::new(codes::FILE_TOO_LARGE, span, "the file is too large for a scenario")
            .label(format!("{} bytes; at most {MOST_BYTES} are read", text.len()))
            .in_file(file)
    })
}

/// Reads a length of time as people write it, such as "3 d 4 h", in ms.
///
/// # Errors
///
/// What is wrong with the text, in words.
pub fn length(text: &str) -> Result<u64, String> {
    match quantity::duration(text) {
        Ok(ms) => u64::try_from(ms).map_err(|_| "a length of time is not negative".to_owned()),
        Err(problem) => Err(match problem.help {
            Some(help) => format!("it {}: {help}", problem.what),
            None => format!("it {}", problem.what),
        }),
    }
}

/// Nanolitres of a volume in any of its units, such as `127 ml`.
///
/// # Errors
///
/// What is wrong with the text, in words.
pub fn volume_nl(text: &str) -> Result<u64, String> {
    measure::nl(text)
}

/// A commented scenario to start from: what `dosewright new` writes.
pub fn template() -> &'static str {
    include_str!("template.toml")
}
