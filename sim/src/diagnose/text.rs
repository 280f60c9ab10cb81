//! Diagnostics for people, on lines of at most 80 cells:
//!
//! ```text
//! error[S014]: the dose does not fit its window
//!   --> week.toml:31:10
//! 31 | window = "3 min"
//!    |          ^^^^^^^ 120 ml at 26.5 ml/min is 4 min 32 s of pumping
//!    help: the least window is 4 min 32 s
//! 1 error, 0 warnings; nothing was run
//! ```

use std::fmt::Write as _;

use anstyle::{AnsiColor, Style};

use super::width::{display, wrap};
use super::{Diagnostic, Severity, Source, Span, count};

/// Cells on a line.
const CELLS: usize = 80;
/// Cells a label needs beside its place to be put there rather than below.
const LABEL_CELLS: usize = 30;

/// Whether to colour. The escape sequences are plain ANSI; a stream that
/// cannot show them is the caller's to recognise (`anstream` does).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Paint {
    /// Text alone.
    Plain,
    /// With ANSI escape sequences.
    Colour,
}

impl Paint {
    fn put(self, style: Style, text: &str) -> String {
        match self {
            Self::Plain => text.to_owned(),
            Self::Colour if text.is_empty() => String::new(),
            Self::Colour => format!("{style}{text}{style:#}"),
        }
    }
}

fn severity_style(severity: Severity) -> Style {
    match severity {
        Severity::Error => AnsiColor::Red.on_default().bold(),
        Severity::Warning => AnsiColor::Yellow.on_default().bold(),
    }
}

fn gutter_style() -> Style {
    AnsiColor::Blue.on_default().bold()
}

/// One diagnostic, its lines ended each with a newline. `source` is the file it
/// is of; without it the lines of the file are left out.
pub fn render(diagnostic: &Diagnostic, source: Option<&Source>, paint: Paint) -> String {
    let mut out = String::new();
    let style = severity_style(diagnostic.severity);
    let tag = format!("{}[{}]", diagnostic.severity.word(), diagnostic.code);
    let room = CELLS - tag.len() - 2;
    for (i, line) in wrap(&diagnostic.message, room).iter().enumerate() {
        if i == 0 {
            _ = writeln!(
                out,
                "{}: {}",
                paint.put(style, &tag),
                paint.put(Style::new().bold(), line)
            );
        } else {
            _ = writeln!(out, "{:1$}{line}", "", tag.len() + 2);
        }
    }
    let digits = source.map_or(2, |source| digits_of_line(diagnostic.span, source));
    if let Some(source) = source {
        excerpt(&mut out, diagnostic, source, digits, paint);
    } else if !diagnostic.file.is_empty() {
        let file = display(&diagnostic.file).0;
        _ = writeln!(out, "{:digits$}{} {file}", "", paint.put(gutter_style(), "-->"));
    }
    if let Some(help) = &diagnostic.help {
        remark(&mut out, "help", help, digits, paint);
    }
    for note in &diagnostic.notes {
        let place = match (note.span, source) {
            (Some(span), Some(source)) => {
                let at = source.position(span.start);
                format!(" ({}:{}:{})", source.name(), at.line, at.column)
            }
            _ => String::new(),
        };
        remark(&mut out, "note", &format!("{}{place}", note.text), digits, paint);
    }
    out
}

/// All of them, an empty line between two, and the closing line, which ends in
/// `outcome` ("nothing was run"); no outcome, no words after the counts.
pub fn report(
    diagnostics: &[Diagnostic],
    sources: &[Source],
    outcome: &str,
    paint: Paint,
) -> String {
    report_of(diagnostics, count(diagnostics), sources, outcome, paint)
}

/// The same where some of what is counted, errors and warnings, is left out.
pub fn report_of(
    diagnostics: &[Diagnostic],
    counts: (usize, usize),
    sources: &[Source],
    outcome: &str,
    paint: Paint,
) -> String {
    let mut out = String::new();
    for (i, diagnostic) in diagnostics.iter().enumerate() {
        if i > 0 {
            out.push('\n');
        }
        let source = sources.iter().find(|source| source.name() == diagnostic.file);
        out.push_str(&render(diagnostic, source, paint));
    }
    out.push_str(&closing_line(counts, outcome));
    out.push('\n');
    out
}

/// `1 error, 0 warnings; nothing was run`.
pub fn closing_line((errors, warnings): (usize, usize), outcome: &str) -> String {
    let s = |n: usize| if n == 1 { "" } else { "s" };
    let end = if outcome.is_empty() { String::new() } else { format!("; {outcome}") };
    format!("{errors} error{}, {warnings} warning{}{end}", s(errors), s(warnings))
}

fn digits_of_line(span: Span, source: &Source) -> usize {
    source.position(span.start).line.to_string().len()
}

/// `help: ...` or `note: ...`, later lines hanging below the first word.
fn remark(out: &mut String, tag: &str, text: &str, digits: usize, paint: Paint) {
    let indent = digits + 1;
    let room = CELLS - indent - tag.len() - 2;
    for (i, line) in wrap(text, room).iter().enumerate() {
        if i == 0 {
            let tag = paint.put(AnsiColor::Cyan.on_default().bold(), tag);
            _ = writeln!(out, "{:indent$}{tag}: {line}", "");
        } else {
            _ = writeln!(out, "{:1$}{line}", "", indent + tag.len() + 2);
        }
    }
}

/// A line of the file cut to what can be shown of it.
struct Window {
    line: String,
    /// Cells before the marked place.
    before: usize,
    /// Cells of the marked place, at least one.
    marked: usize,
}

/// The last part of a text that is at most so many cells wide, as shown.
fn tail(text: &str, cells: usize) -> (String, usize) {
    let mut start = text.len();
    for (at, _) in text.char_indices().rev() {
        if display(text.get(at..).unwrap_or("")).1 > cells {
            break;
        }
        start = at;
    }
    display(text.get(start..).unwrap_or(""))
}

/// The first part of a text that is at most so many cells wide, as shown.
fn head(text: &str, cells: usize) -> (String, usize) {
    let mut end = 0;
    for (at, c) in text.char_indices() {
        if display(text.get(..at + c.len_utf8()).unwrap_or("")).1 > cells {
            break;
        }
        end = at + c.len_utf8();
    }
    display(text.get(..end).unwrap_or(""))
}

/// Cuts a line so that the marked bytes can be seen in `room` cells.
fn window(line: &str, mark: Span, room: usize) -> Window {
    // A line can be as long as the file: what lies further off than the window
    // is wide is dropped before anything is measured.
    let near = |text: &str, end: bool| -> (String, bool) {
        let keep = room * 4;
        if text.len() <= keep {
            return (text.to_owned(), false);
        }
        let part: String = if end {
            let back: Vec<char> = text.chars().rev().take(keep).collect();
            back.into_iter().rev().collect()
        } else {
            text.chars().take(keep).collect()
        };
        let cut = part.len() < text.len();
        (part, cut)
    };
    let (before, before_cut) = near(line.get(..mark.start).unwrap_or(""), true);
    let (marked, marked_cut) = near(mark.of(line), false);
    let (after, after_cut) = near(line.get(mark.end..).unwrap_or(""), false);
    let (before_cells, marked_cells) = (display(&before).1, display(&marked).1);
    let after_cells = display(&after).1;
    let cut = before_cut || marked_cut || after_cut;
    // an empty place has a caret too
    let least_marked = marked_cells.max(1);
    if !cut && before_cells + least_marked + after_cells <= room {
        let (line, _) = display(&format!("{before}{marked}{after}"));
        return Window { line, before: before_cells, marked: marked_cells.max(1) };
    }
    let want_marked = marked_cells.min(room / 2);
    let before_room = room - want_marked - 1;
    let (mut shown, mut used) = if before_cut || before_cells > before_room {
        let (kept, cells) = tail(&before, before_room.min(room / 2).saturating_sub(1));
        (format!("\u{2026}{kept}"), cells + 1)
    } else {
        display(&before)
    };
    let before = used;
    let whole_rest = !marked_cut && !after_cut && used + least_marked + after_cells <= room;
    let rest_room = if whole_rest { room - used } else { room - used - 1 };
    let (mark_shown, mark_cells) = head(&marked, rest_room);
    shown.push_str(&mark_shown);
    used += mark_cells;
    let marked = mark_cells.max(1);
    if mark_cells == marked_cells && !marked_cut {
        shown.push_str(&head(&after, rest_room - mark_cells).0);
    }
    if !whole_rest {
        shown.push('\u{2026}');
    }
    debug_assert!(used <= room, "the window is wider than the line");
    Window { line: shown, before, marked }
}

/// Place, line, carets and label.
fn excerpt(
    out: &mut String,
    diagnostic: &Diagnostic,
    source: &Source,
    digits: usize,
    paint: Paint,
) {
    let span = source.clip(diagnostic.span);
    let at = source.position(span.start);
    let file = display(source.name()).0;
    let gutter = |text: &str| paint.put(gutter_style(), text);
    _ = writeln!(out, "{:digits$}{} {file}:{}:{}", "", gutter("-->"), at.line, at.column);
    let (line, starts_at) = source.line(at.line);
    let start = (span.start - starts_at).min(line.len());
    let mark = Span::new(start, (span.end - starts_at).clamp(start, line.len()));
    let room = CELLS - digits - 3;
    let window = window(line, mark, room);
    let number = format!("{:>digits$} |", at.line);
    let shown = window.line.trim_end();
    let space = if shown.is_empty() { "" } else { " " };
    _ = writeln!(out, "{}{space}{shown}", gutter(&number));
    let bar = gutter(&format!("{:digits$} |", ""));
    let carets = paint.put(severity_style(diagnostic.severity), &"^".repeat(window.marked));
    let (label, label_cells) = display(&diagnostic.label);
    let beside = room.saturating_sub(window.before + window.marked + 1);
    if label.trim().is_empty() {
        _ = writeln!(out, "{bar} {:1$}{carets}", "", window.before);
    } else if label_cells <= beside {
        let label = paint.put(severity_style(diagnostic.severity), &label);
        _ = writeln!(out, "{bar} {:1$}{carets} {label}", "", window.before);
    } else {
        _ = writeln!(out, "{bar} {:1$}{carets}", "", window.before);
        let indent = if room - window.before >= LABEL_CELLS { window.before } else { 0 };
        for line in wrap(&diagnostic.label, room - indent) {
            let line = paint.put(severity_style(diagnostic.severity), &line);
            _ = writeln!(out, "{bar} {:indent$}{line}", "");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::codes;

    fn week() -> String {
        let mut text = "\n".repeat(30);
        text.push_str("window = \"3 min\"\n");
        text
    }

    fn found(text: &str, part: &str) -> Diagnostic {
        let start = text.find(part).unwrap();
        let span = Span::new(start, start + part.len());
        Diagnostic::new(codes::DOSE_DOES_NOT_FIT, span, "the dose does not fit its window")
            .in_file("week.toml")
    }

    fn widths(text: &str) -> usize {
        text.lines().map(|line| display(line).1).max().unwrap_or(0)
    }

    #[test]
    fn the_shape_is_the_documented_one() {
        let text = week();
        let found = found(&text, "\"3 min\"")
            .label("120 ml at 26.5 ml/min is 4 min 32 s of pumping")
            .help("the least window is 4 min 32 s");
        let sources = [Source::new("week.toml", &text)];
        let out = report(&[found], &sources, "nothing was run", Paint::Plain);
        assert_eq!(
            out,
            "error[S014]: the dose does not fit its window
  --> week.toml:31:10
31 | window = \"3 min\"
   |          ^^^^^^^ 120 ml at 26.5 ml/min is 4 min 32 s of pumping
   help: the least window is 4 min 32 s
1 error, 0 warnings; nothing was run
"
        );
    }

    #[test]
    fn what_is_long_wraps_below_and_stays_within_eighty_cells() {
        let text = format!("a = \"{}3 min{}\"", "x".repeat(200), "\u{6c34}".repeat(300));
        let long = "word ".repeat(60);
        let found = found(&text, "3 min").label(&long).help(&long).note(&long);
        let out = render(&found, Some(&Source::new("week.toml", &text)), Paint::Plain);
        assert!(widths(&out) <= CELLS, "{out}");
        assert!(out.contains("3 min"), "the place itself is shown: {out}");
        let caret = out.lines().find(|line| line.contains('^')).unwrap();
        let marked = out.lines().find(|line| line.contains("3 min")).unwrap();
        let before = marked.split("3 min").next().unwrap();
        assert_eq!(display(before).1, caret.find('^').unwrap());
    }

    #[test]
    fn a_very_long_span_is_cut_and_marked_to_the_edge() {
        let text = "y".repeat(100_000);
        let found = found(&text, &text);
        let out = render(&found, Some(&Source::new("week.toml", &text)), Paint::Plain);
        assert!(widths(&out) <= CELLS && out.contains('\u{2026}'), "{out}");
    }

    #[test]
    fn carets_stand_under_their_place_after_tabs_and_wide_characters() {
        let text = "\tk = \"\u{6c34}\u{6c34}\", w = \"3 min\"";
        let found = found(text, "\"3 min\"").label("here");
        let out = render(&found, Some(&Source::new("week.toml", text)), Paint::Plain);
        let lines: Vec<&str> = out.lines().collect();
        // 4 cells of tab, 5 of `k = "`, 4 of two wide characters, 7 of `", w = `
        assert_eq!(lines[3], format!("  | {}^^^^^^^ here", " ".repeat(4 + 5 + 4 + 7)), "{out}");
        // columns count characters: 1 tab, 5, 2, 7, so the place is the 16th
        assert_eq!(lines[1], " --> week.toml:1:16");
    }

    #[test]
    fn what_a_file_holds_cannot_steer_the_terminal() {
        let text = "a = \"\u{1b}]0;x\u{7}3 min\u{202e}\"";
        let found = found(text, "3 min").label("\u{1b}[2J").help("\u{1b}[2J");
        let out = render(&found, Some(&Source::new("w\u{1b}[2J", text)), Paint::Plain);
        assert!(
            !out.contains('\u{1b}') && !out.contains('\u{202e}') && !out.contains('\u{7}'),
            "{out:?}"
        );
    }

    #[test]
    fn colour_is_escape_sequences_and_nothing_else() {
        let text = week();
        let found = found(&text, "\"3 min\"").label("the label").help("the help");
        let source = Source::new("week.toml", &text);
        let plain = render(&found, Some(&source), Paint::Plain);
        let colour = render(&found, Some(&source), Paint::Colour);
        assert!(colour.contains("\u{1b}["));
        assert_eq!(anstream::adapter::strip_str(&colour).to_string(), plain);
    }

    #[test]
    fn an_empty_file_and_a_place_past_its_end_are_shown_all_the_same() {
        let found =
            Diagnostic::new(codes::SYNTAX, Span::new(40, 50), "nothing here").in_file("e.toml");
        let out = render(&found, Some(&Source::new("e.toml", "")), Paint::Plain);
        assert_eq!(out, "error[S001]: nothing here\n --> e.toml:1:1\n1 |\n  | ^\n");
    }
}
