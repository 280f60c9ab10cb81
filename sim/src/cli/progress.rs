//! How work in many parts shows that it goes on: a bar on a terminal, elsewhere a
//! line now and then.

use std::time::Duration;

use super::args::Progress as How;
use super::terminal::Terminal;
use super::ticker::{Ticker, shown};

/// The progress of one piece of work.
pub(super) struct Progress {
    what: &'static str,
    ticker: Ticker,
}

impl Progress {
    pub(super) fn new(what: &'static str, how: How, terminal: Terminal) -> Self {
        Self { what, ticker: Ticker::new(shown(how, terminal.quiet)) }
    }

    /// Real time since the work began.
    pub(super) fn elapsed(&self) -> Duration {
        self.ticker.elapsed()
    }

    /// So much is done, from 0 to 1; the text says it in the work's own terms.
    pub(super) fn tell(&mut self, done: f64, text: impl FnOnce() -> String) {
        let gone = self.elapsed();
        self.ticker.tell(|bar| {
            let part = done.clamp(0.0, 1.0);
            let text = format!("{:>3.0} %  {}{}", part * 100.0, text(), left(gone, done));
            if bar {
                let full = (part * 12.0) as usize;
                format!("[{}{}] {text}", "#".repeat(full), ".".repeat(12 - full))
            } else {
                format!("{}: {text}", self.what)
            }
        });
    }

    /// Takes the bar away, so that something else can be said.
    pub(super) fn clear(&mut self) {
        self.ticker.clear();
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
