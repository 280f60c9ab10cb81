//! The scenario parser: any text gives a scenario, or problems that point inside it.

use dosewright_sim::diagnose::{Severity, Source, text};
use dosewright_sim::scenario;

/// Files that mutation may start from.
pub const SEEDS: [&str; 2] = [
    include_str!("../../../sim/src/scenario/template.toml"),
    include_str!("../../../sim/src/scenario/everything.toml"),
];

/// Reads any bytes as a scenario file; says whether they were one.
///
/// # Panics
///
/// Where a bad file has no error, or one that points outside of it.
pub fn run(data: &[u8]) -> bool {
    let file = String::from_utf8_lossy(data);
    let Err(problems) = scenario::read("f.toml", &file) else { return true };
    assert!(problems.iter().any(|p| p.severity == Severity::Error), "refused without an error");
    for problem in &problems {
        let (from, to) = (problem.span.start, problem.span.end);
        assert!(from <= to && to <= file.len(), "{problem:?}");
        assert!(file.is_char_boundary(from) && file.is_char_boundary(to), "{problem:?}");
    }
    let sources = [Source::new("f.toml", &file)];
    let page = text::report(&problems, &sources, "nothing was run", text::Paint::Plain);
    assert!(page.contains("error"), "{page}");
    false
}
