//! A TOML file as a tree in which everything knows its place.
//!
//! The lexer and parser (`toml_parser`) recover from errors, so that one pass
//! finds all of them; what could not be read is kept as [`Value::Broken`], and
//! whoever reads the tree passes over it in silence.

mod build;

use std::collections::BTreeMap;

use toml_parser::parser::{Event, RecursionGuard, ValidateWhitespace, parse_document};
use toml_parser::{Expected, ParseError};

use super::MOST_KEPT;
use super::other_date::{self, OtherDate};
use crate::diagnose::{Diagnostic, Span, codes};

/// Arrays and inline tables inside each other, and parts of a dotted key. The
/// deepest that a scenario needs is five.
const DEEPEST: usize = 32;
/// How often a value that is never closed is passed over and the rest read again.
const MOST_UNCLOSED: usize = 8;

const UNQUOTED: &str = "string values must be quoted";
const LEADING_ZERO: &str = "unexpected leading zero";
const MISSING: &str = "the value is missing";

/// A value of the file.
#[derive(Debug)]
pub(in crate::scenario) enum Value {
    /// A string; `plain` where its characters stand in the file as they are,
    /// one quote after the span's start.
    Text { text: String, plain: bool },
    /// A whole number: its digits with sign and radix, underscores taken out.
    Integer { digits: String, radix: u32 },
    /// A number with a point or an exponent.
    Float,
    /// True or false.
    Switch(bool),
    /// A date, a time or both, as written.
    Stamp(String),
    /// A list; `of_tables` for `[[key]]`.
    List { items: Vec<Node>, of_tables: bool },
    /// A table.
    Table(Table),
    /// Something that was complained about already.
    Broken,
}

/// A value and its place.
#[derive(Debug)]
pub(in crate::scenario) struct Node {
    pub(in crate::scenario) value: Value,
    pub(in crate::scenario) span: Span,
}

/// How a table came to be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Made {
    /// By its own header, or it is the file itself.
    Whole,
    /// By braces: nothing can be added to it later.
    Inline,
    /// By the header of a table inside it.
    Implied,
    /// By a dotted key.
    Dotted,
}

/// A key with its value.
#[derive(Debug)]
pub(in crate::scenario) struct Pair {
    pub(in crate::scenario) key: String,
    pub(in crate::scenario) key_span: Span,
    pub(in crate::scenario) node: Node,
}

/// A table.
#[derive(Debug)]
pub(in crate::scenario) struct Table {
    /// In the order of the file.
    pub(in crate::scenario) pairs: Vec<Pair>,
    index: BTreeMap<String, usize>,
    made: Made,
    /// All that belongs to it: from its header to the next, or its braces.
    pub(in crate::scenario) extent: Span,
}

impl Table {
    fn new(made: Made, extent: Span) -> Self {
        Self { pairs: Vec::new(), index: BTreeMap::new(), made, extent }
    }

    pub(in crate::scenario) fn get(&self, key: &str) -> Option<&Pair> {
        self.index.get(key).and_then(|at| self.pairs.get(*at))
    }

    fn get_mut(&mut self, key: &str) -> Option<&mut Pair> {
        self.index.get(key).and_then(|at| self.pairs.get_mut(*at))
    }

    #[cfg(test)]
    pub(in crate::scenario) fn remove(&mut self, key: &str) {
        self.pairs.retain(|pair| pair.key != key);
        self.index =
            self.pairs.iter().enumerate().map(|(at, pair)| (pair.key.clone(), at)).collect();
    }

    fn put(&mut self, key: String, key_span: Span, node: Node) {
        self.index.insert(key.clone(), self.pairs.len());
        self.pairs.push(Pair { key, key_span, node });
    }
}

/// The file as a tree, what is wrong with its syntax, and the stretches that
/// could not be read.
pub(in crate::scenario) struct Document {
    pub(in crate::scenario) root: Table,
    pub(in crate::scenario) problems: Vec<Diagnostic>,
    pub(in crate::scenario) broken: Vec<Span>,
}

/// Reads a file.
pub(in crate::scenario) fn parse(text: &str) -> Document {
    let (mut problems, mut broken) = (Vec::new(), Vec::new());
    let mut blanked: Option<String> = None;
    for _ in 0..MOST_UNCLOSED {
        let text = blanked.as_deref().unwrap_or(text);
        let mut found = Vec::new();
        let events = events(text, &mut found);
        let Some((open, problem)) = first_unclosed(&found) else { break };
        // All that follows was taken into what is never closed: it is reported
        // once, its line is blanked and the rest is read on its own.
        let line_end = text.get(open.start..).and_then(|rest| rest.find('\n'));
        let line_end = line_end.map_or(text.len(), |n| open.start + n);
        let line_start =
            text.get(..open.start).and_then(|head| head.rfind('\n')).map_or(0, |n| n + 1);
        let line = Span::new(line_start, line_end);
        problems.push(syntax(problem, open, text));
        broken.push(line);
        drop(events);
        let mut rest = text.get(..line.start).unwrap_or("").to_owned();
        rest.extend(std::iter::repeat_n(' ', line.end - line.start));
        rest.push_str(text.get(line.end..).unwrap_or(""));
        blanked = Some(rest);
    }
    let text = blanked.as_deref().unwrap_or(text);
    let mut found = Vec::new();
    let events = events(text, &mut found);
    let (root, errors, mut problems) = build::build(text, &events, found, problems);
    let mut lines: Vec<Span> = Vec::new();
    let mut errors: Vec<(Span, ParseError)> =
        errors.into_iter().map(|e| (place(&e, text), e)).collect();
    errors.sort_by_key(|(span, _)| span.start);
    let hopeless = errors.len() > MOST_KEPT;
    errors.truncate(MOST_KEPT);
    for (span, error) in &errors {
        // One slip often breaks the grammar several times on its line.
        let start = text.get(..span.start).and_then(|head| head.rfind('\n')).map_or(0, |n| n + 1);
        let end = text
            .get(span.end..)
            .and_then(|rest| rest.find('\n'))
            .map_or(text.len(), |n| span.end + n);
        if lines.last().is_none_or(|line| line.end < start || span.start > line.end) {
            problems.push(syntax(error, *span, text));
            lines.push(Span::new(start, end));
        }
    }
    broken.extend(lines);
    if hopeless {
        broken.push(Span::new(0, text.len()));
    }
    Document { root, problems, broken }
}

/// The first array or inline table that the end of the file closed, with the
/// place it was opened at.
fn first_unclosed(errors: &[ParseError]) -> Option<(Span, &ParseError)> {
    let unclosed = errors
        .iter()
        .filter(|e| matches!(e.description(), "unclosed array" | "unclosed inline table"));
    unclosed
        .filter_map(|e| e.context().map(|open| (Span::new(open.start(), open.end()), e)))
        .min_by_key(|(open, _)| open.start)
}

/// The events of the grammar.
fn events(text: &str, errors: &mut Vec<ParseError>) -> Vec<Event> {
    let source = toml_parser::Source::new(text);
    let tokens = source.lex().into_vec();
    let mut events = Vec::with_capacity(tokens.len());
    let mut receiver = ValidateWhitespace::new(&mut events, source);
    let mut receiver = RecursionGuard::new(&mut receiver, DEEPEST as u32);
    parse_document(&tokens, &mut receiver, errors);
    events
}

/// The place of a syntax error, inside the text and on whole characters.
fn place(error: &ParseError, text: &str) -> Span {
    let span = error.unexpected().or_else(|| error.context());
    let span = span.map_or(Span::at(text.len()), |span| Span::new(span.start(), span.end()));
    span.clip(text)
}

fn syntax(error: &ParseError, span: Span, text: &str) -> Diagnostic {
    let mut label = String::new();
    for (i, expected) in error.expected().unwrap_or(&[]).iter().enumerate() {
        label.push_str(if i == 0 { "expected " } else { " or " });
        match expected {
            Expected::Literal("\n") => label.push_str("the end of the line"),
            Expected::Literal(literal) => {
                label.push('`');
                label.push_str(literal);
                label.push('`');
            }
            Expected::Description(what) => label.push_str(what),
            _ => label.push_str("something else"),
        }
    }
    let message = error.description();
    let unclosed = matches!(message, "invalid basic string" | "invalid literal string")
        && matches!(error.expected(), Some([Expected::Literal("\"" | "'")]));
    let found = Diagnostic::new(
        codes::SYNTAX,
        span,
        if unclosed { "a string is not closed" } else { message },
    );
    if matches!(message, UNQUOTED | "invalid float" | LEADING_ZERO)
        && let Some((at, help)) = other_date(text, span)
    {
        return Diagnostic::new(codes::SYNTAX, at, "a date in another form than TOML's")
            .label("year, month, day are wanted")
            .help(help);
    }
    match message {
        UNQUOTED => {
            let value: String = span.of(text).trim().chars().take(40).collect();
            let bare = value.trim_matches(TYPOGRAPHIC);
            if bare == value {
                found.help(format!("put the value in quotes: \"{value}\""))
            } else {
                found
                    .label("these quotes are typographic ones")
                    .help(format!("write it with straight quotes: \"{bare}\""))
            }
        }
        LEADING_ZERO => {
            // the lexer marks the zeros alone
            let rest = text.get(span.start..).unwrap_or("");
            let end = rest.find(|c: char| !(c.is_ascii_alphanumeric() || c == '_'));
            let value = rest.get(..end.unwrap_or(rest.len())).unwrap_or("");
            let bare = value.trim_start_matches('0');
            let found = found.label("a number has no zero in front");
            match (bare.len(), clock_time(value)) {
                (_, Some(time)) => {
                    found.help(format!("a time of day is written in quotes: \"{time}\""))
                }
                (0, None) => found.help("write 0"),
                _ => found.help(format!("write {bare}, or put it in quotes where it is a text")),
            }
        }
        MISSING => found.label("nothing after `=`"),
        "unclosed inline table" => {
            found.label("opened here and never closed").help("close it with `}`")
        }
        "unclosed array" => found.label("opened here and never closed").help("close it with `]`"),
        "cannot recurse further; max recursion depth met" => {
            found.label(format!("deeper than {DEEPEST} levels"))
        }
        _ => found.label(label),
    }
}

/// Quotes as a word processor or a telephone makes them.
const TYPOGRAPHIC: [char; 10] = [
    '\u{201c}', '\u{201d}', '\u{201e}', '\u{201f}', '\u{2018}', '\u{2019}', '\u{201a}', '\u{201b}',
    '\u{ab}', '\u{bb}',
];

/// Four digits that are hour and minute.
fn clock_time(digits: &str) -> Option<String> {
    let (hour, minute) = digits.split_at_checked(2).filter(|_| digits.len() == 4)?;
    let (h, m) = (hour.parse::<u8>().ok()?, minute.parse::<u8>().ok()?);
    (h < 24 && m < 60).then(|| format!("{hour}:{minute}"))
}

/// A date in another form about a place, and how to write it.
fn other_date(text: &str, about: Span) -> Option<(Span, String)> {
    let is_part = |c: char| c.is_ascii_digit() || matches!(c, '.' | '/');
    let start = text.get(..about.start)?.trim_end_matches(is_part).len();
    let found = OtherDate::at_start(text.get(start..)?)?;
    let date = found.date.as_deref().unwrap_or(other_date::EXAMPLE);
    let help = format!("write it like {date}, or with a time of day like {date}T06:30:00");
    Some((Span::new(start, start + found.len), help))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_in_another_form_is_told_how_to_be_written() {
        for (written, at, help) in [
            ("23.12.2026", "23.12.2026", "2026-12-23"),
            ("3.1.2026", "3.1.2026", "2026-01-03"),
            ("23.12.2026 05:00", "23.12.2026", "2026-12-23"),
            ("2026.12.23", "2026.12.23", "2026-12-23"),
            ("2026/12/23", "2026/12/23", "2026-12-23"),
            ("3.12.26", "3.12.26", "2026-12-03"),
            ("01.02.2027", "01.02.2027", "2027-02-01"),
            ("23. 12. 2026", "23. 12. 2026", "2026-12-23"),
            // month or day first, and a day that there is not
            ("12/11/2026", "12/11/2026", "2026-10-25"),
            ("31.02.2026", "31.02.2026", "2026-10-25"),
        ] {
            let help = format!("write it like {help}, or with a time of day like {help}T06:30:00");
            let text = format!("a = 1\nfirst = {written}\nb = 2\n");
            let found = &parse(&text).problems;
            let [problem] = &found[..] else { panic!("{written}: {found:?}") };
            assert_eq!(problem.code, codes::SYNTAX);
            assert_eq!((problem.span.of(&text), problem.help.as_ref()), (at, Some(&help)));
        }
        // what is no date keeps its own words
        for (written, message) in [("1.2.3", "invalid float"), ("8 days", UNQUOTED)] {
            let found = parse(&format!("first = {written}\n")).problems;
            assert_eq!(found[0].message, message, "{written}");
        }
    }

    #[test]
    fn quotes_that_are_no_quotes_and_zeros_in_front_are_told_how_to_be_written() {
        for (written, help) in [
            ("\u{201c}60 ml\u{201d}", "write it with straight quotes: \"60 ml\""),
            ("\u{201e}60 ml\u{201c}", "write it with straight quotes: \"60 ml\""),
            ("\u{2018}fri\u{2019}", "write it with straight quotes: \"fri\""),
            ("\u{ab}fri\u{bb}", "write it with straight quotes: \"fri\""),
            ("0100", "a time of day is written in quotes: \"01:00\""),
            ("0199", "write 199, or put it in quotes where it is a text"),
            ("007", "write 7, or put it in quotes where it is a text"),
            ("000", "write 0"),
        ] {
            let found = parse(&format!("a = 1\nb = {written}\nc = 2\n")).problems;
            let [problem] = &found[..] else { panic!("{written}: {found:?}") };
            assert_eq!(problem.help.as_deref(), Some(help), "{written}");
        }
    }

    fn messages(text: &str) -> Vec<String> {
        let document = parse(text);
        document.problems.iter().map(|p| format!("{}: {}", p.span.of(text), p.message)).collect()
    }

    #[test]
    fn tables_lists_and_dotted_keys_come_out_with_their_places() {
        let text =
            "a = 1\n[b]\nc.d = \"x\"\n[[e]]\nf = [1, { g = true }]\n[[e]]\n[e.h]\ni = 2026-02-30\n";
        let document = parse(text);
        assert!(document.problems.is_empty(), "{:?}", document.problems);
        let inner = |table: &'_ Node| match &table.value {
            Value::Table(table) => table
                .pairs
                .iter()
                .map(|p| (p.key.clone(), p.node.span.of(text)))
                .collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        };
        let dotted = document.root.get("b").unwrap();
        let Value::Table(whole) = &dotted.node.value else { panic!() };
        assert_eq!(whole.extent.of(text), "[b]\nc.d = \"x\"\n");
        assert_eq!(inner(&whole.get("c").unwrap().node), [("d".to_owned(), "\"x\"")]);
        let Value::List { items, of_tables: true } = &document.root.get("e").unwrap().node.value
        else {
            panic!()
        };
        assert_eq!(items.len(), 2);
        assert_eq!(inner(&items[0]), [("f".to_owned(), "[1, { g = true }]")]);
        assert_eq!(inner(&items[1]), [("h".to_owned(), "[e.h]")]);
        let Value::Table(second) = &items[1].value else { panic!() };
        assert_eq!(inner(&second.get("h").unwrap().node), [("i".to_owned(), "2026-02-30")]);
    }

    #[test]
    fn reading_goes_on_after_each_kind_of_slip() {
        let text = "a = 8 days\nb 3\nc = 1\nc = 2\n[d\n[e]\n[e]\nf = {\n[g]\nh = nope\n";
        assert_eq!(
            messages(text),
            [
                "{: unclosed inline table",
                "c: `c` is given twice",
                "e: `e` is given twice",
                "8 days: string values must be quoted",
                ": key with no value",
                ": unclosed table",
                "nope: string values must be quoted",
            ]
        );
    }

    #[test]
    fn depth_is_bounded_in_every_form() {
        let dots = format!("{}a = 1\n", "a.".repeat(200_000));
        let heads = format!("[{}a]\nb = 1\n", "a.".repeat(200_000));
        let lists = format!("a = {}\n", "[".repeat(200_000));
        let closed = format!("a = {}{}\n", "[".repeat(100_000), "]".repeat(100_000));
        let braces = format!("a = {}1{}\n", "{a=".repeat(100_000), "}".repeat(100_000));
        for text in [dots, heads, lists, closed, braces] {
            let document = parse(&text);
            assert!(!document.problems.is_empty());
            assert!(document.problems.len() < 40, "{}", document.problems.len());
        }
    }

    #[test]
    fn what_is_in_braces_or_brackets_is_closed_to_later_headers() {
        for text in
            ["a = { b = 1 }\n[a.c]\nd = 1\n", "a = [{ b = 1 }]\n[a.c]\nd = 1\n", "a = 1\n[a.c]\n"]
        {
            assert_eq!(
                messages(text),
                ["a: `a` already has a value that is not an open table"],
                "{text}"
            );
        }
        assert_eq!(messages("a = [{ b = 1 }]\n[[a]]\n"), ["a: `a` is given twice"]);
        assert_eq!(messages("a = { b = 1 }\na.c = 1\n").len(), 1);
        assert_eq!(messages("[a.b]\nc = 1\n[a]\nd = 1\n"), Vec::<String>::new());
    }
}
