//! When and where a word on how far the work is goes: over and over on one line of
//! a terminal, elsewhere on a line now and then.

use std::io::Write as _;
use std::time::{Duration, Instant};

use super::args::Progress as How;
use super::terminal::err_is_terminal;

/// Work shorter than this shows no progress.
const SILENT: Duration = Duration::from_millis(700);
const BAR_EVERY: Duration = Duration::from_millis(200);
const LINE_EVERY: Duration = Duration::from_secs(10);

/// Whether progress is a bar or lines; `None` where it is nothing.
pub(super) fn shown(how: How, quiet: bool) -> Option<bool> {
    match how {
        _ if quiet => None,
        How::None => None,
        How::Bar => Some(true),
        How::Lines => Some(false),
        How::Auto => Some(err_is_terminal()),
    }
}

/// Says at times how far one piece of work is.
pub(super) struct Ticker {
    show: Option<bool>,
    silent: Duration,
    bar_every: Duration,
    began: Instant,
    last: Instant,
    drawn: bool,
}

impl Ticker {
    pub(super) fn new(show: Option<bool>) -> Self {
        let now = Instant::now();
        let (silent, bar_every) = (SILENT, BAR_EVERY);
        Self { show, silent, bar_every, began: now, last: now, drawn: false }
    }

    /// It speaks from the first moment on.
    pub(super) fn at_once(self) -> Self {
        Self { silent: Duration::ZERO, ..self }
    }

    /// How often a bar is drawn.
    pub(super) fn bar_every(self, bar_every: Duration) -> Self {
        Self { bar_every, ..self }
    }

    /// Real time since the work began.
    pub(super) fn elapsed(&self) -> Duration {
        self.began.elapsed()
    }

    /// Says it if it is time to; the text is told whether it is for a bar.
    pub(super) fn tell(&mut self, text: impl FnOnce(bool) -> String) {
        let Some(bar) = self.show else { return };
        let every = if bar { self.bar_every } else { LINE_EVERY };
        if self.began.elapsed() < self.silent || self.last.elapsed() < every {
            return;
        }
        self.last = Instant::now();
        let text = text(bar);
        let mut err = std::io::stderr();
        let told = if bar {
            self.drawn = true;
            write!(err, "\r{text}\x1b[K")
        } else {
            writeln!(err, "{text}")
        };
        _ = told.and_then(|()| err.flush());
    }

    /// Takes the bar away, so that something else can be said.
    pub(super) fn clear(&mut self) {
        if std::mem::take(&mut self.drawn) {
            let mut err = std::io::stderr();
            _ = write!(err, "\r\x1b[K").and_then(|()| err.flush());
        }
    }
}
