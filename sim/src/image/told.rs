//! What the records tell, for people: what each entry's doses came to, and what happened.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use dosewright_core::units::Volume;

use super::Report;
use super::history::{Detail, Kind, Row};
use super::page::wrap;
use super::sums::{Doses, Service, Sums};
use crate::scenario::show;
use crate::words::plural;

/// Rows of history that a page shows, the newest, unless it shows all.
const ROWS: usize = 40;
/// Older rows that are not a whole dose, the newest of them.
const ODD_ROWS: usize = 60;

/// Doses by entry, where there are any, and what service drew.
pub(super) fn sums(report: &Report) -> String {
    let sums = Sums::of(&report.history);
    let mut out = String::new();
    if !sums.entries.is_empty() {
        out.push_str("\ndoses, by the records that are here\n");
        if report.history.iter().any(|row| row.kind == Kind::Overwritten) {
            let text = "  some in between were overwritten: more than this may have been drawn";
            out.push_str(&wrap(text, 4));
        }
        out.push_str("  entry   dosed   part  skipped  asked for       at least        at most\n");
        for (entry, doses) in &sums.entries {
            out.push_str(&row(&entry.to_string(), doses));
        }
        let all = sums.all();
        if sums.entries.len() > 1 {
            out.push_str(&row("all", &all));
        }
        for (entry, doses) in &sums.entries {
            let causes: Vec<String> =
                doses.causes.iter().map(|(c, count)| format!("{count} {}", c.words())).collect();
            if !causes.is_empty() {
                let text = format!("  entry {entry} part or skipped: {}", causes.join(", "));
                out.push_str(&wrap(&text, 4));
            }
        }
    }
    for (what, service) in [("prime", sums.prime), ("calibration", sums.calibration)] {
        if service.runs > 0 {
            out.push_str(&wrap(&format!("  {}", drew(what, service)), 4));
        }
    }
    out
}

fn row(name: &str, doses: &Doses) -> String {
    let volume = |nl: u64| show::dose(Volume::from_nl(nl));
    format!(
        "  {name:<5}  {:>6} {:>6} {:>8} {:>10} {:>14} {:>14}\n",
        doses.dosed,
        doses.part,
        doses.skipped,
        doses.asked,
        volume(doses.least_nl),
        volume(doses.most_nl)
    )
}

fn drew(what: &str, service: Service) -> String {
    let length = show::length(service.pump_on_ms);
    let volume = service
        .volume_nl
        .map(|nl| format!(": {} by the flow in force", show::dose(Volume::from_nl(nl))));
    let runs = plural(service.runs, "run");
    format!("{what}: {runs}, {length}{}", volume.unwrap_or_default())
}

/// A dose of the timetable that was dosed whole.
fn is_plain(row: &Row) -> bool {
    matches!(&row.detail, Detail::Ended(ended) if ended.is_plain())
}

/// The due of a row, by its entry and its instant.
type Due = (Option<u16>, i64);

/// Which rows are shown: of a dose that waited its end alone, no voltages, the newest of
/// what is left, and of the older ones those that are not a whole dose.
fn shown(rows: &[Row]) -> Vec<&Row> {
    let ended: BTreeSet<Due> = rows
        .iter()
        .filter_map(|row| match &row.detail {
            Detail::Ended(ended) if !ended.asked => Some((row.entry, ended.due_elapsed_ms)),
            _ => None,
        })
        .collect();
    let tells = |row: &&Row| match row.detail {
        Detail::Volts { .. } => false,
        Detail::Waits { due_elapsed_ms, .. } => !ended.contains(&(row.entry, due_elapsed_ms)),
        _ => true,
    };
    let telling: Vec<&Row> = rows.iter().filter(tells).collect();
    let (older, newest) = telling.split_at(telling.len().saturating_sub(ROWS));
    let odd: Vec<&Row> = older.iter().filter(|row| !is_plain(row)).copied().collect();
    let odd = odd.get(odd.len().saturating_sub(ODD_ROWS)..).unwrap_or_default();
    odd.iter().chain(newest).copied().collect()
}

/// What of the rows is not shown, in words.
fn left_out(rows: &[Row], shown: &[&Row]) -> Option<String> {
    let (mut plain, mut volts, mut waits, mut others) = (0_u64, 0_u64, 0_u64, 0_u64);
    for row in rows {
        // rows have numbers that rise
        if shown.binary_search_by_key(&row.seq, |row| row.seq).is_ok() {
            continue;
        }
        match row.detail {
            _ if is_plain(row) => plain += 1,
            Detail::Volts { .. } => volts += 1,
            Detail::Waits { .. } => waits += 1,
            _ => others += 1,
        }
    }
    let parts: Vec<String> = [
        (plain, "older dose that was dosed whole", "older doses that were dosed whole"),
        (volts, "reading of the pack", "readings of the pack"),
        (waits, "wait", "waits"),
        (others, "other older row", "other older rows"),
    ]
    .into_iter()
    .filter(|(count, ..)| *count > 0)
    .map(|(count, one, many)| format!("{count} {}", if count == 1 { one } else { many }))
    .collect();
    (!parts.is_empty()).then(|| format!("not shown (-v shows all): {}", parts.join(", ")))
}

/// What happened, row by row; `all` leaves none out.
pub(super) fn history(report: &Report, all: bool) -> String {
    let mut out = "\nwhat it tells, by the device's clock\n".to_owned();
    if let Some(since) = report.since.as_ref().filter(|since| since.overwritten) {
        _ = writeln!(out, "  from {} on: older records were overwritten", since.when);
    }
    let rows = &report.history;
    let has = |kind: Kind| rows.iter().any(|row| row.kind == kind);
    let shown = if all { rows.iter().collect() } else { shown(rows) };
    if let Some(what) = left_out(rows, &shown) {
        out.push_str(&wrap(&format!("  {what}"), 4));
    }
    for row in &shown {
        let entry = row.entry.map_or_else(String::new, |id| format!("entry {id} "));
        out.push_str(&wrap(&format!("  {}  {entry}{}", row.when, row.what), 23));
    }
    if shown.is_empty() {
        out.push_str("  nothing\n");
    }
    if has(Kind::Unreadable) || has(Kind::Overwritten) {
        out.push_str("  where a record is missing, a dose may have come that is not told\n");
    }
    out
}
