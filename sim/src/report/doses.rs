//! What each entry came to, and the doses one by one: all of a short run, of a long
//! one those that were not dosed.

use dosewright_core::zone::Zone;
use maud::{Markup, html};

use super::facts::{Dose, Facts, Fate};
use super::figure::{Table, cell, ml, time};
use crate::run::Frame;
use crate::trace::Stamped;
use crate::words::plural;

/// Doses told one by one.
const MOST_ALL: usize = 400;
/// Of a long run, those that were not dosed.
const MOST_ODD: usize = 300;

/// A row an entry.
pub(super) fn entries(facts: &Facts) -> Table {
    let rows = facts
        .entries()
        .into_iter()
        .map(|name| {
            let mine = || facts.doses.iter().filter(move |dose| dose.entry == name);
            let of = |fate: Fate| {
                let sum: u64 = mine()
                    .filter(|dose| dose.fate == fate && !dose.asked)
                    .map(|dose| u64::from(dose.count))
                    .sum();
                cell(sum.to_string())
            };
            let mut row = vec![cell(name)];
            row.extend(Fate::ALL.map(of));
            row.push(cell(mine().filter(|dose| dose.asked).count().to_string()));
            row.push(cell(ml(mine().map(|dose| dose.least_ul).sum())));
            row.push(cell(ml(mine().map(|dose| dose.most_ul).sum())));
            row
        })
        .collect();
    Table {
        head: vec![
            "entry",
            "dosed",
            "part",
            "skipped",
            "open",
            "asked for",
            "at least, ml",
            "at most, ml",
        ],
        rows,
        note: None,
    }
}

/// How it ended, and what it is where it is no dose of the timetable, or more than one.
pub(super) fn outcome(dose: &Dose) -> String {
    match (dose.count, dose.asked) {
        (1, false) => dose.fate.word().to_owned(),
        (1, true) => format!("{}, asked for", dose.fate.word()),
        (count, _) => format!("{} x {count}", dose.fate.word()),
    }
}

/// Why it was not dosed, or not when it was due.
fn why(dose: &Dose) -> String {
    let restarts = (dose.restarts > 0).then(|| plural(dose.restarts, "restart"));
    let parts: Vec<&str> =
        dose.cause.iter().chain(&dose.wait).chain(&restarts).map(String::as_str).collect();
    if parts.is_empty() { "-".to_owned() } else { parts.join(", ") }
}

/// When a dose was due, or one of its row; in true time where the device had none, as is said.
pub(super) fn due_time(zone: &Zone, dose: &Dose, at: Option<Stamped>) -> Markup {
    if dose.due.is_none() && dose.due_ms.is_some() && at.is_some() {
        html! { (time(zone, at)) ", clock unset" }
    } else {
        time(zone, at)
    }
}

fn table(frame: &Frame, doses: &[&Dose], note: Option<String>) -> Table {
    let zone = &frame.zone;
    let rows = doses
        .iter()
        .map(|dose| {
            let due: Markup = match dose.last_due {
                Some(last) => html! { (time(zone, dose.due)) " to " (time(zone, Some(last))) },
                None => due_time(zone, dose, dose.at(frame)),
            };
            vec![
                due,
                cell(&dose.entry),
                cell(outcome(dose)),
                cell(why(dose)),
                cell(ml(dose.least_ul)),
                cell(ml(dose.most_ul)),
                time(zone, dose.started),
                time(zone, dose.ended),
            ]
        })
        .collect();
    Table {
        head: vec![
            "due",
            "entry",
            "outcome",
            "cause",
            "at least, ml",
            "at most, ml",
            "started",
            "ended",
        ],
        rows,
        note,
    }
}

/// The doses one by one, and what the list is called.
pub(super) fn list(facts: &Facts) -> (&'static str, Table) {
    let frame = &facts.frame;
    // a row of closed doses is told when the next dose of its entry ends
    let mut all: Vec<&Dose> = facts.doses.iter().collect();
    let at = |dose: &&Dose| dose.due_ms.or_else(|| dose.at(frame).map(|at| facts.true_ms(at)));
    all.sort_by_key(at);
    if all.len() <= MOST_ALL {
        return ("All doses", table(frame, &all, None));
    }
    let odd: Vec<&Dose> = all.into_iter().filter(|dose| dose.fate != Fate::Dosed).collect();
    let note = odd.len().checked_sub(MOST_ODD).filter(|more| *more > 0).map(|more| {
        format!("{more} more are not shown; run with --csv or --json for all of them.")
    });
    let shown = &odd[..odd.len().min(MOST_ODD)];
    ("Doses that were not dosed", table(frame, shown, note))
}
