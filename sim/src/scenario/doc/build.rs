//! From the events of the grammar to the tree.

use toml_parser::ParseError;
use toml_parser::decoder::ScalarKind;
use toml_parser::parser::{Event, EventKind};

use super::super::MOST_KEPT;
use super::{DEEPEST, MISSING, Made, Node, Pair, Table, UNQUOTED, Value};
use crate::diagnose::{Diagnostic, Span, codes};

/// What a file's events say: the tree, and the errors and problems found on the
/// way, after those that were known.
pub(super) fn build(
    text: &str,
    events: &[Event],
    errors: Vec<ParseError>,
    problems: Vec<Diagnostic>,
) -> (Table, Vec<ParseError>, Vec<Diagnostic>) {
    let root = Table::new(Made::Whole, Span::new(0, text.len()));
    let mut builder =
        Builder { text, events, next: 0, errors, problems, root, path: Vec::new(), lost: false };
    builder.document();
    (builder.root, builder.errors, builder.problems)
}

/// One step from a table to a table inside it.
type Step = usize;

struct Builder<'a> {
    text: &'a str,
    events: &'a [Event],
    next: usize,
    errors: Vec<ParseError>,
    problems: Vec<Diagnostic>,
    root: Table,
    /// From the root to the table whose header was read last.
    path: Vec<Step>,
    /// That header was refused: what it holds is read and dropped.
    lost: bool,
}

/// A key with its place.
type Key = (String, Span);

fn span_of(event: &Event) -> Span {
    Span::new(event.span().start(), event.span().end())
}

/// Follows steps; a step into a list goes to its last item.
fn follow<'t>(mut table: &'t mut Table, path: &[Step]) -> Option<&'t mut Table> {
    for step in path {
        table = match &mut table.pairs.get_mut(*step)?.node.value {
            Value::Table(inner) => inner,
            Value::List { items, .. } => match &mut items.last_mut()?.value {
                Value::Table(inner) => inner,
                _ => return None,
            },
            _ => return None,
        };
    }
    Some(table)
}

impl Builder<'_> {
    fn step(&mut self) -> Option<Event> {
        let event = self.events.get(self.next).copied();
        self.next += 1;
        event
    }

    fn peek(&self) -> Option<&Event> {
        self.events.get(self.next)
    }

    fn skip_blanks(&mut self) {
        while self.peek().is_some_and(|event| event.kind() == EventKind::Whitespace) {
            self.next += 1;
        }
    }

    fn document(&mut self) {
        while let Some(event) = self.step() {
            match event.kind() {
                EventKind::StdTableOpen | EventKind::ArrayTableOpen => self.header(event),
                EventKind::SimpleKey => {
                    let keys = self.keys(event);
                    self.skip_blanks();
                    if self.peek().is_none_or(|event| event.kind() != EventKind::KeyValSep) {
                        // The key is there, its value could not be read.
                        let at = keys.last().map_or(Span::default(), |(_, span)| *span);
                        self.assign(keys, Node { value: Value::Broken, span: at });
                        continue;
                    }
                    self.next += 1;
                    let node = self.value(0);
                    self.assign(keys, node);
                }
                _ => {}
            }
        }
        let end = self.text.len();
        self.close_extent(end);
    }

    /// The parts of a dotted key, the first of which was just stepped over.
    fn keys(&mut self, first: Event) -> Vec<Key> {
        let mut keys = vec![self.key(&first)];
        loop {
            let mark = self.next;
            self.skip_blanks();
            if self.peek().is_none_or(|event| event.kind() != EventKind::KeySep) {
                self.next = mark;
                return keys;
            }
            self.next += 1;
            self.skip_blanks();
            match self.peek().copied() {
                Some(event) if event.kind() == EventKind::SimpleKey => {
                    self.next += 1;
                    let key = self.key(&event);
                    keys.push(key);
                }
                _ => return keys,
            }
        }
    }

    fn key(&mut self, event: &Event) -> Key {
        let mut name = std::borrow::Cow::Borrowed("");
        if let Some(raw) = toml_parser::Source::new(self.text).get(event) {
            raw.decode_key(&mut name, &mut self.errors);
        }
        (name.into_owned(), span_of(event))
    }

    /// The value that stands next; blanks before it are passed over.
    fn value(&mut self, depth: usize) -> Node {
        self.skip_blanks();
        let Some(event) = self.peek().copied() else {
            return Node { value: Value::Broken, span: Span::at(self.text.len()) };
        };
        match event.kind() {
            EventKind::Scalar => {
                self.next += 1;
                self.scalar(&event)
            }
            EventKind::ArrayOpen => {
                self.next += 1;
                self.list(&event, depth + 1)
            }
            EventKind::InlineTableOpen => {
                self.next += 1;
                self.inline(&event, depth + 1)
            }
            EventKind::Error => {
                self.next += 1;
                self.value(depth)
            }
            _ => Node { value: Value::Broken, span: Span::at(event.span().start()) },
        }
    }

    fn scalar(&mut self, event: &Event) -> Node {
        let span = span_of(event);
        let before = self.errors.len();
        let mut text = std::borrow::Cow::Borrowed("");
        let Some(raw) = toml_parser::Source::new(self.text).get(event) else {
            return Node { value: Value::Broken, span };
        };
        let kind = raw.decode_scalar(&mut text, &mut self.errors);
        if self.errors.len() > before {
            let written = raw.as_str();
            if event.encoding().is_none()
                && written.contains(|c: char| c.is_alphabetic())
                && !written.contains(['"', '\''])
            {
                // Whatever else could have been meant, a word is meant to be a string.
                self.errors.truncate(before);
                self.errors.push(ParseError::new(UNQUOTED).with_unexpected(event.span()));
            } else if written.is_empty() {
                self.errors.truncate(before);
                self.errors.push(ParseError::new(MISSING).with_unexpected(event.span()));
            }
            return Node { value: Value::Broken, span };
        }
        let value = match kind {
            ScalarKind::String => {
                let written = span.of(self.text);
                let plain = written.len() == text.len() + 2
                    && written.get(1..text.len() + 1) == Some(&text);
                Value::Text { text: text.into_owned(), plain }
            }
            ScalarKind::Boolean(on) => Value::Switch(on),
            ScalarKind::DateTime => Value::Stamp(text.into_owned()),
            ScalarKind::Float => Value::Float,
            ScalarKind::Integer(radix) => {
                Value::Integer { digits: text.into_owned(), radix: radix.value() }
            }
        };
        Node { value, span }
    }

    fn list(&mut self, open: &Event, depth: usize) -> Node {
        let (mut items, mut end) = (Vec::new(), open.span().end());
        let start = open.span().start();
        while let Some(event) = self.peek().copied() {
            match event.kind() {
                EventKind::ArrayClose => {
                    self.next += 1;
                    end = event.span().end();
                    break;
                }
                EventKind::Scalar | EventKind::ArrayOpen | EventKind::InlineTableOpen => {
                    let item = self.value(depth);
                    end = item.span.end;
                    items.push(item);
                }
                EventKind::StdTableOpen
                | EventKind::ArrayTableOpen
                | EventKind::InlineTableClose => break,
                _ => self.next += 1,
            }
        }
        let value =
            if depth > DEEPEST { Value::Broken } else { Value::List { items, of_tables: false } };
        Node { value, span: Span::new(start, end.max(start)) }
    }

    fn inline(&mut self, open: &Event, depth: usize) -> Node {
        let start = open.span().start();
        let mut table = Table::new(Made::Inline, span_of(open));
        let mut end = open.span().end();
        while let Some(event) = self.peek().copied() {
            match event.kind() {
                EventKind::InlineTableClose => {
                    self.next += 1;
                    end = event.span().end();
                    break;
                }
                EventKind::SimpleKey => {
                    self.next += 1;
                    let keys = self.keys(event);
                    while self.peek().is_some_and(|e| {
                        matches!(
                            e.kind(),
                            EventKind::Whitespace | EventKind::Comment | EventKind::Newline
                        )
                    }) {
                        self.next += 1;
                    }
                    if self.peek().is_some_and(|e| e.kind() == EventKind::KeyValSep) {
                        self.next += 1;
                    }
                    while self.peek().is_some_and(|e| {
                        matches!(
                            e.kind(),
                            EventKind::Whitespace | EventKind::Comment | EventKind::Newline
                        )
                    }) {
                        self.next += 1;
                    }
                    let node = self.value(depth);
                    end = node.span.end.max(end);
                    insert(&mut table, keys, node, &mut self.problems);
                }
                EventKind::StdTableOpen | EventKind::ArrayTableOpen | EventKind::ArrayClose => {
                    break;
                }
                _ => self.next += 1,
            }
        }
        let span = Span::new(start, end.max(start));
        table.extent = span;
        let value = if depth > DEEPEST { Value::Broken } else { Value::Table(table) };
        Node { value, span }
    }

    /// Ends the extent of the table whose header was read last.
    fn close_extent(&mut self, end: usize) {
        if self.lost {
            return;
        }
        if let Some(table) = follow(&mut self.root, &self.path) {
            table.extent.end = end;
        }
    }

    /// `[a.b]` or `[[a.b]]`.
    fn header(&mut self, open: Event) {
        self.close_extent(open.span().start());
        let of_tables = open.kind() == EventKind::ArrayTableOpen;
        let (mut keys, mut span) = (Vec::new(), span_of(&open));
        while let Some(event) = self.peek().copied() {
            match event.kind() {
                EventKind::SimpleKey => {
                    self.next += 1;
                    keys = self.keys(event);
                }
                EventKind::StdTableClose | EventKind::ArrayTableClose => {
                    self.next += 1;
                    span.end = event.span().end();
                    break;
                }
                EventKind::Whitespace => self.next += 1,
                _ => break,
            }
        }
        if let Some((_, last)) = keys.last() {
            span.end = span.end.max(last.end);
        }
        self.lost = !self.open(keys, span, of_tables);
    }

    /// Makes the table of a header the current one; false where it cannot be.
    fn open(&mut self, mut keys: Vec<Key>, span: Span, of_tables: bool) -> bool {
        self.path.clear();
        let too_deep = too_deep(&keys, &mut self.problems);
        let Some((last, last_span)) = keys.pop() else { return false };
        if too_deep
            || last_span.start == last_span.end
            || keys.iter().any(|(_, s)| s.start == s.end)
        {
            return false;
        }
        for (key, key_span) in keys {
            let Some(table) = follow(&mut self.root, &self.path) else { return false };
            if table.get(&key).is_none() {
                let inner = Value::Table(Table::new(Made::Implied, span));
                table.put(key.clone(), key_span, Node { value: inner, span });
            }
            let step = table.index.get(&key).copied().unwrap_or(0);
            self.path.push(step);
            let open =
                follow(&mut self.root, &self.path).is_some_and(|table| table.made != Made::Inline);
            if !open {
                report(&mut self.problems, not_a_table(&key, key_span));
                return false;
            }
        }
        let Some(table) = follow(&mut self.root, &self.path) else { return false };
        let fresh = || Node { value: Value::Table(Table::new(Made::Whole, span)), span };
        match table.get_mut(&last) {
            None if of_tables => {
                let list = Value::List { items: vec![fresh()], of_tables: true };
                table.put(last.clone(), last_span, Node { value: list, span });
            }
            None => table.put(last.clone(), last_span, fresh()),
            Some(Pair {
                node: Node { value: Value::List { items, of_tables: true }, .. }, ..
            }) if of_tables => {
                items.push(fresh());
            }
            Some(Pair { node, .. }) if !of_tables && is_implied(&node.value) => {
                node.span = span;
                if let Value::Table(inner) = &mut node.value {
                    inner.made = Made::Whole;
                    inner.extent = span;
                }
            }
            Some(first) => {
                let mut found = duplicate(&last, last_span, first.key_span);
                let of_lists = matches!(first.node.value, Value::List { of_tables: true, .. });
                if of_lists != of_tables {
                    found.help = Some(format!(
                        "for one more of a list, write [[{last}]] with two brackets each time"
                    ));
                }
                report(&mut self.problems, found);
                return false;
            }
        }
        let step = table.index.get(&last).copied().unwrap_or(0);
        self.path.push(step);
        true
    }

    /// Puts a value into the current table.
    fn assign(&mut self, keys: Vec<Key>, node: Node) {
        if self.lost {
            return;
        }
        if let Some(table) = follow(&mut self.root, &self.path) {
            insert(table, keys, node, &mut self.problems);
        }
    }
}

/// Keeps a problem, unless there are more than anyone will read.
fn report(problems: &mut Vec<Diagnostic>, problem: Diagnostic) {
    if problems.len() < MOST_KEPT {
        problems.push(problem);
    }
}

fn is_implied(value: &Value) -> bool {
    matches!(value, Value::Table(table) if table.made == Made::Implied)
}

fn too_deep(keys: &[Key], problems: &mut Vec<Diagnostic>) -> bool {
    let Some((_, span)) = keys.get(DEEPEST) else { return false };
    let label = format!("deeper than {DEEPEST} levels");
    problems
        .push(Diagnostic::new(codes::SYNTAX, *span, "the key is nested too deeply").label(label));
    true
}

fn duplicate(key: &str, again: Span, first: Span) -> Diagnostic {
    Diagnostic::new(codes::DUPLICATE, again, format!("`{key}` is given twice"))
        .note_at(first, "first given")
        .help("keep one of the two")
}

fn not_a_table(key: &str, span: Span) -> Diagnostic {
    Diagnostic::new(
        codes::SYNTAX,
        span,
        format!("`{key}` already has a value that is not an open table"),
    )
    .label("it cannot be extended here")
}

/// Puts a value under a key, dotted or not.
fn insert(mut table: &mut Table, mut keys: Vec<Key>, node: Node, problems: &mut Vec<Diagnostic>) {
    if too_deep(&keys, problems) || keys.iter().any(|(_, span)| span.start == span.end) {
        return;
    }
    let Some((last, last_span)) = keys.pop() else { return };
    for (key, key_span) in keys {
        if table.get(&key).is_none() {
            let inner = Value::Table(Table::new(Made::Dotted, key_span));
            table.put(key.clone(), key_span, Node { value: inner, span: key_span });
        }
        let Some(pair) = table.get_mut(&key) else { return };
        match &mut pair.node.value {
            Value::Table(inner) if inner.made == Made::Dotted => {
                inner.extent = Span::new(inner.extent.start, node.span.end.max(key_span.end));
                table = inner;
            }
            Value::Broken => return,
            _ => {
                report(problems, not_a_table(&key, key_span));
                return;
            }
        }
    }
    match table.get(&last) {
        None => table.put(last, last_span, node),
        Some(first) => report(problems, duplicate(&last, last_span, first.key_span)),
    }
}
