//! Diagnostics as JSON, one object a line.
//!
//! Each diagnostic is `{"event":"diagnostic",...}`; the last line is
//! `{"event":"check",...}` with the counts. Lines and columns count from 1,
//! columns in characters; bytes count from 0, the end is not in the span.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Diagnostic, Source, Span, count};

#[derive(Serialize, JsonSchema)]
struct Place {
    line: usize,
    column: usize,
    end_line: usize,
    end_column: usize,
    start_byte: usize,
    end_byte: usize,
}

impl Place {
    fn of(span: Span, source: Option<&Source>) -> Option<Self> {
        let source = source?;
        let span = source.clip(span);
        let (start, end) = (source.position(span.start), source.position(span.end));
        Some(Self {
            line: start.line,
            column: start.column,
            end_line: end.line,
            end_column: end.column,
            start_byte: span.start,
            end_byte: span.end,
        })
    }
}

#[derive(Serialize, JsonSchema)]
struct NoteLine<'a> {
    text: &'a str,
    #[serde(flatten)]
    place: Option<Place>,
}

#[derive(Serialize, JsonSchema)]
struct Line<'a> {
    #[schemars(extend("const" = "diagnostic"))]
    event: &'static str,
    code: &'static str,
    #[schemars(extend("enum" = ["error", "warning"]))]
    severity: &'static str,
    message: &'a str,
    file: &'a str,
    #[serde(flatten)]
    place: Option<Place>,
    label: &'a str,
    help: Option<&'a str>,
    notes: Vec<NoteLine<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct Close {
    #[schemars(extend("const" = "check"))]
    event: &'static str,
    /// Files that were read.
    files: usize,
    /// Files that could not be read; each is an error too.
    unread: usize,
    errors: usize,
    warnings: usize,
    /// Changes of clock or timetable in the runs, which are not looked at.
    later_changes: usize,
}

/// Every line of `check --format json`.
#[derive(JsonSchema)]
#[serde(untagged)]
#[allow(dead_code, clippy::large_enum_variant)]
enum AnyLine<'a> {
    Diagnostic(Line<'a>),
    Close(Close),
}

/// All of them, and the line with the counts. `sources` are the files that were
/// read, those without a problem too.
pub fn render(diagnostics: &[Diagnostic], sources: &[Source]) -> String {
    render_with(diagnostics, count(diagnostics), sources, 0, 0)
}

/// The same where some of what is counted, errors and warnings, is left out, and so many
/// more files could not be read.
pub fn render_with(
    diagnostics: &[Diagnostic],
    counts: (usize, usize),
    sources: &[Source],
    unread: usize,
    later_changes: usize,
) -> String {
    let mut out = String::new();
    let mut put = |line: serde_json::Result<String>| {
        // These structs hold strings and numbers alone: they cannot fail to serialize.
        out.push_str(&line.unwrap_or_default());
        out.push('\n');
    };
    for diagnostic in diagnostics {
        let source = sources.iter().find(|source| source.name() == diagnostic.file);
        let notes = diagnostic.notes.iter();
        let notes = notes.map(|note| NoteLine {
            text: &note.text,
            place: note.span.and_then(|span| Place::of(span, source)),
        });
        put(serde_json::to_string(&Line {
            event: "diagnostic",
            code: diagnostic.code,
            severity: diagnostic.severity.word(),
            message: &diagnostic.message,
            file: &diagnostic.file,
            place: Place::of(diagnostic.span, source),
            label: &diagnostic.label,
            help: diagnostic.help.as_deref(),
            notes: notes.collect(),
        }));
    }
    let (errors, warnings) = counts;
    let files = sources.len();
    put(serde_json::to_string(&Close {
        event: "check",
        files,
        unread,
        errors,
        warnings,
        later_changes,
    }));
    out
}

/// The JSON Schema of these lines.
pub fn schema() -> String {
    crate::lines::schema::<AnyLine<'_>>("check --format json")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::codes;

    #[test]
    fn one_object_a_line_with_places_in_lines_and_in_bytes() {
        let text = "a = 1\n\u{e9} = \"x\"\n";
        let at = text.find('"').unwrap();
        let found = Diagnostic::new(codes::SYNTAX, Span::new(at, at + 3), "no \"x\"")
            .in_file("f.toml")
            .help("mend it")
            .note_at(Span::new(0, 1), "first");
        let out = render(&[found], &[Source::new("f.toml", text)]);
        let lines: Vec<serde_json::Value> =
            out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert_eq!(lines.len(), 2);
        assert_eq!(
            lines[0],
            serde_json::json!({
                "event": "diagnostic", "code": "S001", "severity": "error", "message": "no \"x\"",
                "file": "f.toml", "line": 2, "column": 5, "end_line": 2, "end_column": 8,
                "start_byte": 11, "end_byte": 14, "label": "", "help": "mend it",
                "notes": [{ "text": "first", "line": 1, "column": 1, "end_line": 1, "end_column": 2,
                    "start_byte": 0, "end_byte": 1 }],
            })
        );
        assert_eq!(
            lines[1],
            serde_json::json!({"event": "check", "files": 1, "unread": 0, "errors": 1, "warnings": 0, "later_changes": 0})
        );
    }
}
