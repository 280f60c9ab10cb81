//! The matrix as a table.

use std::fmt::Write as _;

use super::{Cell, Plan};
use crate::judged::Verdict;

/// Moments side by side: 16 cells for the kind and 7 for each keep to 80.
const COLUMNS: usize = 9;

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Held => "held",
        Verdict::Failed => "FAILED",
        Verdict::Invalid => "none",
        Verdict::Stopped => "-",
    }
}

pub(super) fn table(plan: &Plan, cells: &[Cell]) -> String {
    let mut out = String::new();
    let all: Vec<usize> = (0..plan.moments.len()).collect();
    for columns in all.chunks(COLUMNS) {
        for &at in columns {
            let Some(moment) = plan.moments.get(at) else { continue };
            _ = writeln!(out, "{:>4}  {:<14} {}", at + 1, moment.name, moment.at);
        }
        _ = write!(out, "\n{:<16}", "fault");
        for at in columns {
            _ = write!(out, "{:>7}", at + 1);
        }
        out.push('\n');
        for kind in &plan.kinds {
            let mut row = format!("{kind:<16}");
            for at in columns {
                let cell = cells.iter().find(|cell| cell.kind == *kind && cell.moment == *at);
                _ = write!(row, "{:>7}", cell.map_or("-", |cell| word(cell.verdict)));
            }
            out.push_str(row.trim_end());
            out.push('\n');
        }
        out.push('\n');
    }
    for kind in &plan.kinds {
        let mine: Vec<&Cell> = cells.iter().filter(|cell| cell.kind == *kind).collect();
        put(&mine, &mut out);
    }
    out.push('\n');
    out + &verdict(cells)
}

/// What was put of one kind. What differs from moment to moment is told of each, where
/// those are few; of many it is told of the first, and that it differs.
fn put(cells: &[&Cell], out: &mut String) {
    let mut all: Vec<(&str, Vec<String>)> = Vec::new();
    for cell in cells {
        let number = (cell.moment + 1).to_string();
        match all.iter_mut().find(|(put, _)| *put == cell.put) {
            Some((_, at)) => at.push(number),
            None => all.push((&cell.put, vec![number])),
        }
    }
    match all.as_slice() {
        [] => {}
        [(put, _)] => _ = writeln!(out, "put: {put}"),
        [(put, _), ..] if all.len() > COLUMNS => {
            _ = writeln!(out, "put: {put}\n     at the first moment; --json tells each");
        }
        _ => {
            for (put, at) in &all {
                _ = writeln!(out, "put: {put}\n     at {}", at.join(", "));
            }
        }
    }
}

/// How many held, in a line.
pub fn verdict(cells: &[Cell]) -> String {
    let count = |verdict| cells.iter().filter(|cell| cell.verdict == verdict).count();
    format!(
        "{} of {} held, {} failed, {} never took effect (none)\n",
        count(Verdict::Held),
        cells.len(),
        count(Verdict::Failed),
        count(Verdict::Invalid)
    )
}
