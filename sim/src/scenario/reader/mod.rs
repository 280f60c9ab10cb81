//! Reading tables by the known-keys tables: every problem is reported where it
//! is and reading goes on.

mod quantities;
mod times;
mod words;

use super::bounds::RunBounds;
use super::doc::{Node, Pair, Table as DocTable, Value};
use super::keys::{Kind, Need, Table};
use super::model::EntryName;
use super::nearest::nearest;
use super::quantity::Problem;
use crate::diagnose::{Diagnostic, Severity, Span, Spans, codes};

/// Problems collected so far, and what is known of the file as a whole.
pub(in crate::scenario) struct Context {
    pub(in crate::scenario) problems: Vec<Diagnostic>,
    /// How many errors and warnings were kept.
    errors: usize,
    warnings: usize,
    /// Stretches whose syntax is broken.
    pub(in crate::scenario) broken: Vec<Span>,
    /// The run, as soon as `[clock]` is read.
    pub(in crate::scenario) bounds: Option<RunBounds>,
    /// Names of entries that are referred to, to be looked up at the end.
    pub(in crate::scenario) references: Vec<EntryName>,
}

impl Context {
    /// With what is wrong with the syntax, and the stretches it is wrong in.
    pub(in crate::scenario) fn new(problems: Vec<Diagnostic>, broken: Vec<Span>) -> Self {
        Self { problems, errors: 0, warnings: 0, broken, bounds: None, references: Vec::new() }
    }

    pub(in crate::scenario) fn report(&mut self, problem: Diagnostic) {
        // Errors are counted apart, so that warnings never crowd the last one out.
        let kept = match problem.severity {
            Severity::Error => &mut self.errors,
            Severity::Warning => &mut self.warnings,
        };
        if *kept < super::MOST_KEPT {
            *kept += 1;
            self.problems.push(problem);
        }
    }

    /// Whether there is an error, of the syntax or of what it says.
    pub(in crate::scenario) fn has_errors(&self) -> bool {
        self.errors > 0 || self.problems.iter().any(|p| p.severity == Severity::Error)
    }

    /// Opens a table: its keys are checked against the known ones.
    pub(in crate::scenario) fn open<'c, 'a>(
        &'c mut self,
        spec: &'static Table,
        node: &'a Node,
    ) -> Option<TableReader<'c, 'a>> {
        match &node.value {
            Value::Table(table) => Some(self.open_table(spec, table, node.span)),
            Value::Broken => None,
            other => {
                let label = format!("this is {}", type_name(other));
                let wants = Kind::Table(spec).wants();
                self.report(
                    Diagnostic::new(
                        codes::WRONG_TYPE,
                        node.span,
                        format!("{} must be a table", tick(spec.name)),
                    )
                    .label(label)
                    .help(format!("write {}", wants.trim_start_matches("a table: "))),
                );
                None
            }
        }
    }

    /// The same for a table that is at hand, such as the file itself.
    pub(in crate::scenario) fn open_table<'c, 'a>(
        &'c mut self,
        spec: &'static Table,
        table: &'a DocTable,
        span: Span,
    ) -> TableReader<'c, 'a> {
        for pair in &table.pairs {
            if spec.key(&pair.key).is_none() {
                self.report(unknown_key(spec, pair));
            }
        }
        // A line that could not be read may have held the key that is missing.
        let torn = self.broken.iter().any(|broken| broken.touches(table.extent));
        // So may a key that is misspelt.
        let there = |name: &str| {
            let misspelt = |pair: &&Pair| {
                spec.key(&pair.key).is_none() && near_key(spec, &pair.key) == Some(name)
            };
            table.get(name).is_some() || table.pairs.iter().any(|pair| misspelt(&pair))
        };
        for name in spec.names(|key| key.need == Need::Required) {
            if !torn && !there(name) {
                let problem = Diagnostic::new(
                    codes::MISSING_KEY,
                    span,
                    format!("{} has no `{name}`", tick(spec.name)),
                );
                let key = spec.key(name);
                let wants =
                    key.map_or(String::new(), |key| format!("`{name}` is {}", key.kind.wants()));
                self.report(problem.help(wants));
            }
        }
        let names = spec.names(|key| matches!(key.need, Need::OneOf | Need::AnyOf));
        let exclusive = spec.keys.iter().any(|key| key.need == Need::OneOf);
        let given: Vec<&Pair> =
            table.pairs.iter().filter(|pair| names.contains(&pair.key.as_str())).collect();
        if !names.is_empty() && given.is_empty() && !torn && !names.iter().any(|name| there(name)) {
            let message = format!("{} does not say {}", tick(spec.name), spec.group);
            let number = if exclusive { "one of" } else { "one or more of" };
            let help = format!("give {number}: {}", names.join(", "));
            self.report(Diagnostic::new(codes::WRONG_VARIANT, span, message).help(help));
        }
        if exclusive && let [first, second, ..] = given.as_slice() {
            let message = format!("{} says {} twice", tick(spec.name), spec.group);
            self.report(
                Diagnostic::new(codes::WRONG_VARIANT, second.key_span, message)
                    .label(format!("not together with `{}`", first.key))
                    .note_at(first.key_span, format!("`{}` is here", first.key))
                    .help("keep one of the two"),
            );
        }
        TableReader { cx: self, table, spec, span, spans: Spans::new(span), asked: Vec::new() }
    }
}

/// A table's name for a message: `[clock]` as it is, a key's in ticks.
fn tick(name: &str) -> String {
    if name.starts_with('[') || name.contains(' ') { name.to_owned() } else { format!("`{name}`") }
}

/// The known key that is nearest to one that is not known.
fn near_key(spec: &'static Table, key: &str) -> Option<&'static str> {
    nearest(key, spec.names(|_| true))
}

fn unknown_key(spec: &'static Table, pair: &Pair) -> Diagnostic {
    let message = format!("unknown key `{}` in {}", pair.key, tick(spec.name));
    let found = Diagnostic::new(codes::UNKNOWN_KEY, pair.key_span, message).label("not known here");
    let names = spec.names(|_| true);
    match near_key(spec, &pair.key) {
        Some(near) => found.help(format!("did you mean `{near}`?")),
        None if names.is_empty() => found.help("there are no keys here"),
        None => found.help(format!("known keys: {}", names.join(", "))),
    }
}

/// A type's name with its article.
fn type_name(value: &Value) -> &'static str {
    match value {
        Value::Text { .. } => "a string",
        Value::Integer { .. } => "a whole number",
        Value::Float => "a number",
        Value::Switch(_) => "true or false",
        Value::Stamp(_) => "a date or time",
        Value::List { of_tables: true, .. } => "a list of tables ([[...]])",
        Value::List { .. } => "a list",
        Value::Table(_) => "a table",
        Value::Broken => "not readable",
    }
}

/// A table that is being read. Each getter reads one key: `None` where it is
/// not given, or is wrong and was reported.
pub(in crate::scenario) struct TableReader<'c, 'a> {
    pub(in crate::scenario) cx: &'c mut Context,
    table: &'a DocTable,
    spec: &'static Table,
    span: Span,
    spans: Spans,
    asked: Vec<&'static str>,
}

/// Where in the file a stretch of a string's characters is.
fn inside(node: &Node, at: std::ops::Range<usize>) -> Span {
    match &node.value {
        Value::Text { text, plain: true } if at != (0..text.len()) => {
            Span::new(node.span.start + 1 + at.start, node.span.start + 1 + at.end)
        }
        _ => node.span,
    }
}

impl<'a> TableReader<'_, 'a> {
    /// Whether the key is given.
    pub(in crate::scenario) fn has(&self, key: &str) -> bool {
        self.table.get(key).is_some()
    }

    /// Where a key's value stands, or the table.
    pub(in crate::scenario) fn place(&self, key: &str) -> Span {
        self.table.get(key).map_or(self.span, |pair| pair.node.span)
    }

    /// Where the key itself stands, or the table.
    pub(in crate::scenario) fn key_place(&self, key: &str) -> Span {
        self.table.get(key).map_or(self.span, |pair| pair.key_span)
    }

    /// The value of a key, where it is there and readable.
    pub(in crate::scenario) fn node(&mut self, key: &'static str) -> Option<(&'a Node, Kind)> {
        let known = self.spec.key(key);
        debug_assert!(known.is_some(), "{} has no key {key}", self.spec.name);
        self.asked.push(key);
        let node = &self.table.get(key)?.node;
        self.spans.put(key, node.span);
        if matches!(node.value, Value::Broken) { None } else { Some((node, known?.kind)) }
    }

    /// Ends the reading and gives the places of what was read.
    pub(in crate::scenario) fn finish(self) -> Spans {
        #[cfg(debug_assertions)]
        for key in self.spec.keys {
            debug_assert!(
                self.asked.contains(&key.name),
                "{} is never read in {}",
                key.name,
                self.spec.name
            );
        }
        self.spans
    }

    fn refuse(&mut self, key: &str, node: &Node, problem: Problem) {
        let message = format!("`{key}` {}", problem.what);
        let mut found =
            Diagnostic::new(problem.code, inside(node, problem.at), message).label(problem.label);
        found.help = problem.help;
        self.cx.report(found);
    }

    /// Reports a value of another type.
    fn wrong_type(&mut self, key: &str, node: &Node, kind: Kind) {
        let label = format!("this is {}", type_name(&node.value));
        let message = format!("`{key}` must be {}", kind.wants());
        self.cx.report(Diagnostic::new(codes::WRONG_TYPE, node.span, message).label(label));
    }

    /// A string; a bare number where a quantity is wanted gets its own code.
    fn text(&mut self, key: &'static str) -> Option<(&'a str, &'a Node, Kind)> {
        let (node, kind) = self.node(key)?;
        match &node.value {
            Value::Text { text, .. } => Some((text, node, kind)),
            Value::Integer { .. } | Value::Float
                if matches!(
                    kind,
                    Kind::Volume(_)
                        | Kind::VolumeOrShare(_)
                        | Kind::Flow(_)
                        | Kind::Length(_)
                        | Kind::Quantity(..)
                ) =>
            {
                let message = format!("`{key}` is a bare number");
                let found = Diagnostic::new(codes::NO_UNIT, node.span, message).label("no unit");
                self.cx.report(found.help(format!("write {}", kind.wants())));
                None
            }
            _ => {
                self.wrong_type(key, node, kind);
                None
            }
        }
    }

    /// A kind is what the table says, so that a getter of another kind is a slip here.
    fn kind(&self, key: &str) -> Option<Kind> {
        self.spec.key(key).map(|key| key.kind)
    }

    /// A table inside this one.
    pub(in crate::scenario) fn inner(&mut self, key: &'static str) -> Option<TableReader<'_, 'a>> {
        let Some(Kind::Table(spec)) = self.kind(key) else { return self.slip(key) };
        let (node, _) = self.node(key)?;
        self.cx.open(spec, node)
    }

    /// The tables of a list.
    pub(in crate::scenario) fn items(&mut self, key: &'static str) -> Vec<&'a Node> {
        let Some((node, kind)) = self.node(key) else { return Vec::new() };
        match &node.value {
            Value::List { items, .. } => items.iter().collect(),
            Value::Table(_) => {
                let is_header =
                    matches!(kind, Kind::Tables(spec) if spec.name == format!("[[{key}]]"));
                let help = if is_header {
                    format!("write [[{key}]] with two brackets")
                } else {
                    format!("put it in brackets: {key} = [{{ ... }}]")
                };
                let message = format!("`{key}` must be a list of tables");
                let found = Diagnostic::new(codes::WRONG_TYPE, node.span, message)
                    .label("this is one table");
                self.cx.report(found.help(help));
                Vec::new()
            }
            _ => {
                self.wrong_type(key, node, kind);
                Vec::new()
            }
        }
    }

    /// A getter that does not suit its key's kind: a slip in this program,
    /// caught by the tests.
    fn slip<T>(&self, key: &str) -> Option<T> {
        debug_assert!(false, "{key} of {} is of another kind", self.spec.name);
        None
    }
}
