//! Standard output and standard error: colour, verbosity, and readers that go away.

use std::io::{self, IsTerminal, Write};

use anstream::{AutoStream, ColorChoice};
use dosewright_sim::diagnose::text::Paint;

use super::args::{Global, When};

/// How much to say and in which colours.
#[derive(Clone, Copy, Debug)]
pub(super) struct Terminal {
    choice: ColorChoice,
    pub(super) quiet: bool,
    pub(super) verbose: bool,
}

impl Terminal {
    pub(super) fn new(global: Global) -> Self {
        let choice = match global.color {
            When::Auto => ColorChoice::Auto,
            When::Always => ColorChoice::AlwaysAnsi,
            When::Never => ColorChoice::Never,
        };
        Self { choice, quiet: global.quiet, verbose: global.verbose > 0 }
    }

    /// As if `--quiet` had been said.
    pub(super) const fn without_warnings(self) -> Self {
        Self { quiet: true, ..self }
    }

    /// Standard output, for data.
    pub(super) fn out(self) -> Out {
        Out { inner: AutoStream::new(io::stdout(), self.choice_for(&io::stdout())), gone: false }
    }

    /// Colours for standard output.
    pub(super) fn paint_out(self) -> Paint {
        paint(self.choice_for(&io::stdout()))
    }

    /// Colours for standard error.
    pub(super) fn paint_err(self) -> Paint {
        paint(self.choice_for(&io::stderr()))
    }

    fn choice_for(self, stream: &impl anstream::stream::RawStream) -> ColorChoice {
        match self.choice {
            ColorChoice::Auto => AutoStream::choice(stream),
            choice => choice,
        }
    }

    /// A message, ended with a newline already, on standard error. Where nobody
    /// can be told any more there is nobody to tell that.
    pub(super) fn message(self, text: &str) {
        let mut err = AutoStream::new(io::stderr(), self.choice_for(&io::stderr()));
        _ = err.write_all(text.as_bytes()).and_then(|()| err.flush());
    }

    /// `error: ...` on standard error.
    pub(super) fn error(self, text: &str) {
        self.message(&format!("error: {text}\n"));
    }
}

fn paint(choice: ColorChoice) -> Paint {
    if matches!(choice, ColorChoice::Always | ColorChoice::AlwaysAnsi) {
        Paint::Colour
    } else {
        Paint::Plain
    }
}

/// Whether standard error is a terminal that can be drawn on.
pub(super) fn err_is_terminal() -> bool {
    io::stderr().is_terminal() && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
}

/// Standard output, whose reader may go away: that is no error, what comes
/// after it is dropped.
pub(super) struct Out {
    inner: AutoStream<io::Stdout>,
    gone: bool,
}

impl Out {
    fn forgive<T>(&mut self, result: io::Result<T>, value: T) -> io::Result<T> {
        match result {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
                self.gone = true;
                Ok(value)
            }
            other => other,
        }
    }
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.gone {
            return Ok(bytes.len());
        }
        let written = self.inner.write(bytes);
        self.forgive(written, bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.gone {
            return Ok(());
        }
        let flushed = self.inner.flush();
        self.forgive(flushed, ())
    }
}
