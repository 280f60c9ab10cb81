//! One row an outcome, as comma-separated values (RFC 4180).

use std::io;

use super::stamp::rfc3339;
use super::{Event, Outcome, Sink, Stamped};

/// Names of the columns, in their order.
pub const COLUMNS: [&str; 17] = [
    "entry",
    "due",
    "outcome",
    "cause",
    "count",
    "last_due",
    "asked",
    "epoch",
    "revision",
    "volume_ul",
    "volume_most_ul",
    "started",
    "ended",
    "pump_on_ms",
    "restarts",
    "waited_ms",
    "waited_for",
];

/// Writes the header and the rows; the first error of the writer ends it.
pub struct Rows<W> {
    out: W,
    error: Option<io::Error>,
}

impl<W: io::Write> Rows<W> {
    /// Onto a writer, which should be buffered; writes the header.
    pub fn new(out: W) -> Self {
        let mut rows = Self { out, error: None };
        rows.row(&COLUMNS.map(str::to_owned));
        rows
    }

    fn row(&mut self, cells: &[String; COLUMNS.len()]) {
        if self.error.is_none() {
            let line = cells.iter().map(|cell| quoted(cell)).collect::<Vec<_>>().join(",");
            self.error = self.out.write_all(format!("{line}\r\n").as_bytes()).err();
        }
    }

    fn outcome(&mut self, outcome: &Outcome) {
        let text = |stamped: Option<Stamped>| stamped.map(rfc3339).unwrap_or_default();
        let last_due = outcome.last_due.filter(|_| outcome.count > 1);
        self.row(&[
            outcome.name.clone(),
            text(outcome.due),
            outcome.fate.word().to_owned(),
            outcome.fate.cause().map_or("", dosewright_core::cause::Cause::words).to_owned(),
            outcome.count.to_string(),
            text(last_due),
            outcome.asked.to_string(),
            outcome.key.epoch.to_string(),
            outcome.key.revision.to_string(),
            outcome.least.as_ul().to_string(),
            outcome.most.as_ul().to_string(),
            text(outcome.started),
            text(outcome.ended),
            outcome.on_ms.to_string(),
            outcome.restarts.to_string(),
            outcome.wait.map(|wait| wait.ms.to_string()).unwrap_or_default(),
            outcome.wait.map_or("", |wait| wait.cause.words()).to_owned(),
        ]);
    }

    /// Flushes; the first error that there was, if any.
    pub fn finish(mut self) -> io::Result<W> {
        match self.error.take() {
            Some(error) => Err(error),
            None => self.out.flush().map(|()| self.out),
        }
    }
}

impl<W: io::Write> Sink for Rows<W> {
    fn event(&mut self, _: u64, event: &Event<'_>) {
        if let Event::Outcome(outcome) = event {
            self.outcome(outcome);
        }
    }
}

/// A cell in quotes where it needs them. What a spreadsheet would take for a
/// formula gets a quote mark in front: names come from files of others.
fn quoted(cell: &str) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let cell = if formula { format!("'{cell}") } else { cell.to_owned() };
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell
    }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn cells_that_would_break_a_row_or_run_in_a_spreadsheet_are_quoted() {
        assert_eq!(quoted("night"), "night");
        assert_eq!(quoted("night, late"), "\"night, late\"");
        assert_eq!(quoted("the \"old\" line"), "\"the \"\"old\"\" line\"");
        assert_eq!(quoted("=1+1"), "'=1+1");
    }
}
