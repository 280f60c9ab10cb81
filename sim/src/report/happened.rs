//! What happened to the device in a run: supply, clock, alarms, and what people did at it.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::facts::Facts;
use super::figure;
use crate::scenario::show;
use crate::trace::Stamped;
use crate::trace::stamp::{about, clock_time, which};

/// Date and time of day, and what tells which of two it is.
fn dated(at: Stamped, which: &str) -> String {
    format!("{} {}{which}", show::date(at.local.date()), clock_time(at.local))
}

/// What was done to the device in the run, and by people at it.
pub(super) fn section(facts: &Facts) -> Option<Markup> {
    let local = |at: Stamped| dated(at, &which(&facts.frame.zone, at));
    let mut rows: Vec<(u64, String)> = Vec::new();
    for (from, to) in facts.without_supply() {
        rows.push((from, format!("no supply for {}", about(to.saturating_sub(from)))));
    }
    for (at, before, after) in &facts.clock {
        let what = match (*before, *after) {
            (Some(before), Some(after)) if after.is_same_moment_elsewhere(before) => {
                let local = |at: Stamped| dated(at, &format!(" ({})", show::offset(at.offset_s)));
                format!("zone set: the clock goes from {} to {}", local(before), local(after))
            }
            _ => {
                let show = |at: Option<Stamped>| at.map_or_else(|| "unset".to_owned(), local);
                format!("clock set from {} to {}", show(*before), show(*after))
            }
        };
        rows.push((*at, what));
    }
    for at in &facts.feed_lost {
        rows.push((*at, "the clock chip had lost its feed".to_owned()));
    }
    for at in &facts.resets {
        rows.push((*at, "the processor restarts (watchdog)".to_owned()));
    }
    for visit in &facts.visits {
        rows.extend(visit.words().map(|words| (visit.at_ms, words)));
    }
    for (at, alarm, on) in &facts.alarms {
        rows.push((*at, format!("alarm {}: {alarm}", if *on { "on" } else { "off" })));
    }
    let all = rows.len();
    let rows = telling(rows);
    let worked: Vec<String> = facts
        .became
        .iter()
        .filter(|(kind, _, became)| became == "took effect" && UNSEEN.contains(&kind.as_str()))
        .map(|(kind, line, _)| format!("{kind} (line {line})"))
        .collect();
    let vain: Vec<&(String, u64, String)> = facts
        .became
        .iter()
        .filter(|(_, _, became)| !matches!(became.as_str(), "took effect" | "taken"))
        .collect();
    (all + vain.len() + worked.len() > 0).then(|| {
        html! {
            section {
                h2 { "What happened to it" }
                ul {
                    @for (at, what) in &rows { li { (figure::dated(&format!("{}: {what}", local(Stamped::of(&facts.frame, *at))))) } }
                    @for (kind, line, became) in vain.iter().take(MOST_EVENTS) {
                        li { code { (kind) } " (line " (line) "): " (became) }
                    }
                }
                @if all > rows.len() { p class="note" { "and " (all - rows.len()) " more like these" } }
                @if !worked.is_empty() {
                    p class="note" { "Faults that took effect in pump, tube or memory: " (worked.join(", ")) "." }
                }
            }
        }
    })
}

/// Things that happened, told one by one.
const MOST_EVENTS: usize = 100;

/// Faults of which the device sees nothing, or something else.
const UNSEEN: [&str; 9] = [
    "memory_tear",
    "bit_flip",
    "page_worn",
    "misread",
    "write_failure",
    "erase_failure",
    "late_wake",
    "squeeze_lost",
    "foot_valve_leak",
];

/// What happened, in the order of its times; of very much, that of which there was least
/// before: the first of each kind is in it.
fn telling(mut rows: Vec<(u64, String)>) -> Vec<(u64, String)> {
    rows.sort_by_key(|(at, _)| *at);
    let kind = |what: &str| what.chars().filter(|c| !c.is_ascii_digit()).collect::<String>();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let mut ranked: Vec<(usize, (u64, String))> = rows
        .into_iter()
        .map(|row| {
            let before = seen.entry(kind(&row.1)).or_default();
            *before += 1;
            (*before, row)
        })
        .collect();
    ranked.sort_by_key(|(before, (at, _))| (*before, *at));
    ranked.truncate(MOST_EVENTS);
    let mut rows: Vec<(u64, String)> = ranked.into_iter().map(|(_, row)| row).collect();
    rows.sort_by_key(|(at, _)| *at);
    rows
}
