//! `[[entry]]`, and the same table in an operator's act.

use dosewright_core::entry::GapRule;

use super::super::doc::Node;
use super::super::keys;
use super::super::model::{EntryPlan, IntervalStart, RecurrencePlan};
use super::super::reader::{Context, TableReader};
use super::check_order;
use crate::diagnose::{Diagnostic, Spans, codes};

/// In the order of the words.
pub(super) const GAP_RULES: [GapRule; 2] = [GapRule::Shift, GapRule::FirstValid];

pub(super) fn entry(cx: &mut Context, node: &Node) -> Option<EntryPlan> {
    let mut t = cx.open(&keys::ENTRY, node)?;
    let name = t.name("name");
    let recurrence = recurrence(&mut t);
    let volume = t.volume("volume");
    let window_ms = t.short_ms("window");
    let grace_ms = t.short_ms("grace");
    let first = t.date("first");
    let last = t.date("last");
    check_order(&mut t, first, last);
    let pulses = t.count("pulses").map(|n| n as u16);
    let observes_closed = t.switch("observes_closed");
    let gap_rule = t.word("gap", &GAP_RULES);
    let enabled = t.switch("enabled");
    if t.has("every") && !t.has("weekly") {
        for key in ["first", "last", "observes_closed", "gap"] {
            if t.has(key) {
                let message = format!("`{key}` is for weekly entries only");
                let found = Diagnostic::new(codes::CONTRADICTION, t.key_place(key), message)
                    .label("this entry counts an interval, blind to the calendar")
                    .help("leave it out, or make the entry `weekly`");
                t.cx.report(found);
            }
        }
    }
    let spans = t.finish();
    let (recurrence, recurrence_spans) = recurrence?;
    Some(EntryPlan {
        name: name?,
        enabled: enabled.unwrap_or(true),
        recurrence,
        volume: volume?,
        window_ms: window_ms?,
        grace_ms: grace_ms.unwrap_or(0),
        first,
        last,
        observes_closed: observes_closed.unwrap_or(true),
        gap_rule: gap_rule.unwrap_or_default(),
        pulses,
        spans,
        recurrence_spans,
    })
}

/// `weekly` or `every`.
pub(super) fn recurrence(t: &mut TableReader) -> Option<(RecurrencePlan, Spans)> {
    let weekly = t.inner("weekly").and_then(weekly);
    let every = t.inner("every").and_then(every);
    weekly.or(every)
}

fn weekly(mut t: TableReader) -> Option<(RecurrencePlan, Spans)> {
    let days = t.days("days");
    let nights = t.days("nights");
    let at = t.minute_of_day("at");
    let spans = t.finish();
    let (days, by_night) = days.map(|days| (days, false)).or(nights.map(|nights| (nights, true)))?;
    Some((RecurrencePlan::Weekly { days, at_min: at?, by_night }, spans))
}

fn every(mut t: TableReader) -> Option<(RecurrencePlan, Spans)> {
    let interval = t.length_ms("interval");
    let from = t.interval_start("from");
    let from = from.or((!t.has("from")).then_some(IntervalStart::Accepted));
    let spans = t.finish();
    Some((RecurrencePlan::Every { interval_ms: interval?.max(0) as u64, from: from? }, spans))
}
