//! How work in many parts shows that it goes on: a bar on a terminal, elsewhere a
//! line now and then.

use std::io::Write as _;
use std::time::{Duration, Instant};

use super::args::Progress as How;
use super::terminal::{Terminal, err_is_terminal};

const SILENT: Duration = Duration::from_millis(700);
const BAR_EVERY: Duration = Duration::from_millis(200);
const LINE_EVERY: Duration = Duration::from_secs(10);

/// The progress of one piece of work.
pub(super) struct Progress {
    what: &'static str,
    show: Option<bool>,
    began: Instant,
    last: Instant,
    drawn: bool,
}

impl Progress {
    pub(super) fn new(what: &'static str, how: How, terminal: Terminal) -> Self {
        let show = match how {
            _ if terminal.quiet => None,
            How::None => None,
            How::Bar => Some(true),
            How::Lines => Some(false),
            How::Auto => Some(err_is_terminal()),
        };
        let now = Instant::now();
        Self { what, show, began: now, last: now, drawn: false }
    }

    /// Real time since the work began.
    pub(super) fn elapsed(&self) -> Duration {
        self.began.elapsed()
    }

    /// So much is done, from 0 to 1; the text says it in the work's own terms.
    pub(super) fn tell(&mut self, done: f64, text: impl FnOnce() -> String) {
        let Some(bar) = self.show else { return };
        let every = if bar { BAR_EVERY } else { LINE_EVERY };
        if self.began.elapsed() < SILENT || self.last.elapsed() < every {
            return;
        }
        self.last = Instant::now();
        let left = left(self.began.elapsed(), done);
        let text = format!("{:>3.0} %  {}{left}", done.clamp(0.0, 1.0) * 100.0, text());
        let mut err = std::io::stderr();
        let told = if bar {
            self.drawn = true;
            let full = (done.clamp(0.0, 1.0) * 12.0) as usize;
            write!(err, "\r[{}{}] {text}\x1b[K", "#".repeat(full), ".".repeat(12 - full))
        } else {
            writeln!(err, "{}: {text}", self.what)
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

/// How long the rest will take at the rate so far, in words.
fn left(gone: Duration, done: f64) -> String {
    if done <= 0.0 || done >= 1.0 {
        return String::new();
    }
    let seconds = gone.as_secs_f64() * (1.0 - done) / done;
    match seconds {
        7200.0.. => format!(", {:.0} h left", seconds / 3600.0),
        100.0.. => format!(", {:.0} min left", seconds / 60.0),
        _ => format!(", {seconds:.0} s left"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rest_is_reckoned_from_the_rate() {
        let gone = Duration::from_secs(30);
        assert_eq!(left(gone, 0.5), ", 30 s left");
        assert_eq!(left(gone, 0.1), ", 4 min left");
        assert_eq!(left(gone, 0.001), ", 8 h left");
        assert_eq!((left(gone, 0.0), left(gone, 1.0)), (String::new(), String::new()));
    }
}
