//! What is wrong with a file, and how it is said: codes, positions, rendering
//! as text, JSON lines and SARIF.
//!
//! A [`Diagnostic`] is plain data. It is made by whoever finds the problem,
//! carries the byte span in the file it is about, and is shown by [`text`],
//! [`json`] or [`sarif`] together with the [`Source`] it came from.

pub mod codes;
pub mod json;
pub mod sarif;
mod source;
mod span;
pub mod text;
mod width;

pub use codes::{CodeInfo, explain};
pub use source::{Position, Source};
pub use span::{Span, Spans};
pub(crate) use width::{display, wrap};

/// How bad it is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Severity {
    /// Nothing is run.
    Error,
    /// It is run; the reader should know.
    Warning,
}

impl Severity {
    /// `error` or `warning`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
        }
    }
}

/// A remark below the diagnostic, with a second place in the same file where
/// there is one ("first used here").
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
    /// The remark, one sentence without a full stop.
    pub text: String,
    /// The other place it speaks of.
    pub span: Option<Span>,
}

/// One problem of one file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Diagnostic {
    /// A code of the registry, `codes::all`: `S014`, `W001`.
    pub code: &'static str,
    /// Error or warning.
    pub severity: Severity,
    /// What is wrong, in a few words without a full stop.
    pub message: String,
    /// The file's name, as it was given.
    pub file: String,
    /// Where, in bytes of the file.
    pub span: Span,
    /// The arithmetic or the reason, shown under the place; may be empty.
    pub label: String,
    /// The way out.
    pub help: Option<String>,
    /// More remarks.
    pub notes: Vec<Note>,
}

impl Diagnostic {
    /// A diagnostic of a registered code at a place. Its severity is the
    /// code's: `W...` is a warning, all others are errors.
    ///
    /// This is the way to report what is found outside the reader, such as
    /// what the logic's acceptance check refuses:
    ///
    /// ```
    /// use dosewright_sim::diagnose::{Diagnostic, Span, codes};
    ///
    /// let found = Diagnostic::new(codes::DOSE_DOES_NOT_FIT, Span::new(9, 16), "the dose does not fit its window")
    ///     .label("120 ml at 26.5 ml/min is 4 min 32 s of pumping")
    ///     .help("the least window is 4 min 32 s")
    ///     .in_file("week.toml");
    /// assert_eq!(found.code, "S014");
    /// ```
    pub fn new(code: &'static str, span: Span, message: impl Into<String>) -> Self {
        debug_assert!(codes::find(code).is_some(), "{code} is not in the registry");
        Self {
            code,
            severity: if code.starts_with('W') { Severity::Warning } else { Severity::Error },
            message: message.into(),
            file: String::new(),
            span,
            label: String::new(),
            help: None,
            notes: Vec::new(),
        }
    }

    /// With this text under the place.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// With this way out.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// With one remark more.
    #[must_use]
    pub fn note(mut self, text: impl Into<String>) -> Self {
        self.notes.push(Note { text: text.into(), span: None });
        self
    }

    /// With one remark more about another place in the file.
    #[must_use]
    pub fn note_at(mut self, span: Span, text: impl Into<String>) -> Self {
        self.notes.push(Note { text: text.into(), span: Some(span) });
        self
    }

    /// In the file of this name.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.file = file.into();
        self
    }
}

/// How many errors and how many warnings.
pub fn count(diagnostics: &[Diagnostic]) -> (usize, usize) {
    let errors = diagnostics.iter().filter(|d| d.severity == Severity::Error).count();
    (errors, diagnostics.len() - errors)
}

/// Puts them in the order of their places, errors before warnings at the same
/// place.
pub fn sort(diagnostics: &mut [Diagnostic]) {
    diagnostics.sort_by(|a, b| {
        (&a.file, a.span.start, a.severity, a.code, a.span.end).cmp(&(
            &b.file,
            b.span.start,
            b.severity,
            b.code,
            b.span.end,
        ))
    });
}
