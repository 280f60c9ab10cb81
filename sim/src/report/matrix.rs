//! The matrix of a sweep: kind of fault by moment, each cell with the line that runs
//! it again.

use std::fmt::Write as _;

use maud::{Markup, html};
use serde_json::Value;

use super::figure::{Figure, Table, c, cell, label, line, sample};

/// Moments side by side in one picture.
const COLUMNS: usize = 9;
const LEFT: f64 = 118.0;
const TOP: f64 = 26.0;
const EACH_W: f64 = 28.5;
const EACH_H: f64 = 24.0;

/// What came of one run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Came {
    Held,
    Failed,
    NoEffect,
    Stopped,
}

/// One run of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    fault: String,
    moment: String,
    at: String,
    came: Came,
    findings: Vec<String>,
    replay: String,
    /// The fault as the run's scenario has it; `None` in lines of an earlier build.
    put: Option<String>,
    /// Of the scenario; `None` in lines of an earlier build.
    hash: Option<String>,
}

/// A sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// Its runs.
    pub cells: Vec<Cell>,
    /// Runs that were not made, because it was interrupted.
    pub left_out: u64,
}

impl Cell {
    /// From its line; `None` for a line of something else.
    pub fn of(line: &Value) -> Option<Self> {
        let text = |name: &str| line[name].as_str().map(str::to_owned);
        if line["event"] != "cell" {
            return None;
        }
        Some(Self {
            fault: text("fault")?,
            moment: text("moment")?,
            at: text("at")?,
            came: match line["verdict"].as_str()? {
                "held" => Came::Held,
                "failed" => Came::Failed,
                "no effect" => Came::NoEffect,
                _ => Came::Stopped,
            },
            findings: line["findings"]
                .as_array()?
                .iter()
                .filter_map(|found| found.as_str().map(str::to_owned))
                .collect(),
            replay: text("replay")?,
            put: text("put"),
            hash: text("hash"),
        })
    }

    /// The hash of the scenario that was swept, where the line has it.
    pub fn hash(&self) -> Option<&str> {
        self.hash.as_deref()
    }

    /// Whether a promise failed in it.
    pub fn failed(&self) -> bool {
        self.came == Came::Failed
    }

    /// Whether it ran to its end, and its fault hit.
    pub fn held(&self) -> bool {
        self.came == Came::Held
    }

    /// Whether its fault found nothing to hit.
    pub fn without_effect(&self) -> bool {
        self.came == Came::NoEffect
    }
}

const fn word(came: Came) -> &'static str {
    match came {
        Came::Held => "held",
        Came::Failed => "failed",
        Came::NoEffect => "no effect",
        Came::Stopped => "stopped",
    }
}

fn mark(came: Came, x: f64, y: f64) -> Markup {
    let r = 6.0;
    match came {
        Came::Held => html! {
            path class="one" d=(format!("M{} {}l4 5l7 -11", c(x - 5.0), c(y + 1.0))) {}
        },
        Came::Failed => html! {
            rect class="dosed bad" x=(c(x - 10.0)) y=(c(y - 9.0)) width="20" height="18" rx="2" {}
            path class="knock" d=(format!("M{} {}l{d} {d}m0 -{d}l-{d} {d}", c(x - 5.0), c(y - 5.0), d = 10)) {}
        },
        Came::NoEffect => html! { (line("mark", x - r, y, x + r, y)) },
        Came::Stopped => html! { circle class="due" cx=(c(x)) cy=(c(y)) r="3" {} },
    }
}

/// In the order of their first appearance.
fn in_order<'a>(all: &'a [Cell], of: impl Fn(&'a Cell) -> &'a str) -> Vec<&'a str> {
    let mut out: Vec<&str> = Vec::new();
    for cell in all {
        if !out.contains(&of(cell)) {
            out.push(of(cell));
        }
    }
    out
}

/// That a sweep was interrupted, where it was.
pub(super) fn cut_short(sweep: &Sweep) -> String {
    match sweep.left_out {
        0 => String::new(),
        left => format!(" It was interrupted: {left} of its runs were not made."),
    }
}

/// What a picture of these runs shows, in words; so many moments were before its own.
fn finding(mine: &[&Cell], moments: &[&str], before: usize) -> String {
    let count = |came| mine.iter().filter(|cell| cell.came == came).count();
    let mut out = format!(
        "{} of {} runs held, {} failed, in {} the fault never took effect.",
        count(Came::Held),
        mine.len(),
        count(Came::Failed),
        count(Came::NoEffect)
    );
    for cell in mine.iter().filter(|cell| cell.failed()).take(3) {
        _ = write!(out, " {} {} failed.", cell.fault, cell.moment);
    }
    let numbered = moments.iter().enumerate().map(|(i, at)| {
        let number = before + i + 1;
        let name = mine.iter().find(|cell| cell.at == *at).map_or("", |cell| &cell.moment);
        // a name that says no more than the number, or than the time, is none
        if name == format!("moment {number}") || name == *at {
            format!("{number} {at}")
        } else {
            format!("{number} {name} ({at})")
        }
    });
    _ = write!(out, " Moments: {}.", numbered.collect::<Vec<_>>().join(", "));
    out
}

/// The figures of a sweep, some moments in each.
pub(super) fn figures(sweep: &Sweep) -> Vec<Figure> {
    let cells = &sweep.cells[..];
    let faults = in_order(cells, |cell| &cell.fault);
    let moments = in_order(cells, |cell| &cell.at);
    let parts = moments.chunks(COLUMNS).count();
    let interrupted = cut_short(sweep);
    moments
        .chunks(COLUMNS)
        .enumerate()
        .map(|(part, moments)| {
            let mine: Vec<&Cell> =
                cells.iter().filter(|cell| moments.contains(&cell.at.as_str())).collect();
            let svg = html! {
                @for (i, at) in moments.iter().enumerate() {
                    (label(LEFT + (i as f64 + 0.5) * EACH_W, 16.0, "middle", &(part * COLUMNS + i + 1).to_string()))
                    @let _ = at;
                }
                @for (row, fault) in faults.iter().enumerate() {
                    @let y = TOP + row as f64 * EACH_H;
                    (line("grid", 0.0, y, LEFT + moments.len() as f64 * EACH_W, y))
                    (label(0.0, y + 16.0, "start", fault))
                    @for (i, at) in moments.iter().enumerate() {
                        @if let Some(found) = mine.iter().find(|cell| cell.fault == *fault && cell.at == *at) {
                            (mark(found.came, LEFT + (i as f64 + 0.5) * EACH_W, y + EACH_H / 2.0))
                        }
                    }
                }
            };
            let rows = mine
                .iter()
                .map(|found| {
                    let number = moments.iter().position(|at| *at == found.at).unwrap_or(0);
                    vec![
                        match &found.put {
                            Some(put) => html! { code { (put) } },
                            None => cell(&found.fault),
                        },
                        cell(format!("{}: {}", part * COLUMNS + number + 1, found.moment)),
                        cell(&found.at),
                        cell(word(found.came)),
                        cell(found.findings.first().map_or("-", String::as_str)),
                        html! { code { (found.replay) } },
                    ]
                })
                .collect();
            let legend = [Came::Held, Came::Failed, Came::NoEffect]
                .map(|came| {
                    let word = match came {
                        Came::Held => "held: every promise was kept",
                        Came::Failed => "failed: a promise was broken",
                        Came::NoEffect | Came::Stopped => "the fault never took effect",
                    };
                    (sample(mark(came, 12.0, 7.0)), word)
                })
                .to_vec();
            Figure {
                id: format!("matrix-{}", part + 1),
                title: if parts == 1 {
                    "Faults by moment".to_owned()
                } else {
                    format!("Faults by moment, part {} of {parts}", part + 1)
                },
                finding: finding(&mine, moments, part * COLUMNS)
                    + if part + 1 == parts { &interrupted } else { "" },
                height: TOP + faults.len() as f64 * EACH_H + 4.0,
                svg,
                legend,
                table: Table {
                    head: vec!["fault", "moment", "at", "verdict", "first finding", "to run it again"],
                    rows,
                    note: None,
                },
            }
        })
        .collect()
}
