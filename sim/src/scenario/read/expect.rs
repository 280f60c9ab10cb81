//! `[[expect]]`.

use dosewright_core::cause::Cause;
use dosewright_core::record::Alarm;

use super::super::doc::Node;
use super::super::keys;
use super::super::model::{Claim, ClaimTime, DueClaim, Expectation, Moment, Outcome};
use super::super::quantity::show;
use super::super::reader::{Context, TableReader};
use super::check_least;
use crate::diagnose::{Diagnostic, Spans, codes};

/// The claims of one `[[expect]]`.
pub(super) fn expect(cx: &mut Context, node: &Node) -> Vec<Expectation> {
    let Some(mut t) = cx.open(&keys::EXPECT, node) else { return Vec::new() };
    let claims = [
        t.inner("outcomes").map(outcomes),
        t.inner("volume").and_then(volume),
        t.inner("due").and_then(due),
        t.inner("pump_on").map(pump_on),
        t.inner("outflow").map(outflow),
        t.inner("alarms").map(alarms),
        t.inner("calm").and_then(calm),
        t.switch("held").map(|held| (Claim::Held(held), Spans::new(t.place("held")))),
    ];
    t.finish();
    claims.into_iter().flatten().map(|(claim, spans)| Expectation { claim, spans }).collect()
}

fn outcomes(mut t: TableReader) -> (Claim, Spans) {
    let entry = t.entry("entry");
    let dosed = t.count("dosed");
    let part = t.count("part");
    let skipped = t.count("skipped");
    let open = t.count("open");
    let cause = t.word("cause", &Cause::ALL);
    (Claim::Outcomes { entry, dosed, part, skipped, open, cause }, t.finish())
}

fn volume(mut t: TableReader) -> Option<(Claim, Spans)> {
    let entry = t.entry("entry");
    let of = t.volume("of");
    let within = t.quantity_u32("within");
    let spans = t.finish();
    Some((Claim::Volume { entry, of, within_ppm: within? }, spans))
}

fn due(mut t: TableReader) -> Option<(Claim, Spans)> {
    let entry = t.entry("entry");
    let at = t.claim_time("at");
    let outcome = t.word("outcome", &Outcome::ALL);
    let cause = t.word("cause", &Cause::ALL);
    let started_from = true_time(&mut t, "started_from");
    let started_by = true_time(&mut t, "started_by");
    let ended_from = true_time(&mut t, "ended_from");
    let ended_by = true_time(&mut t, "ended_by");
    let volume_from = t.volume("volume_from");
    let volume_to = t.volume("volume_to");
    for (from_key, from, by_key, by) in [
        ("started_from", started_from, "started_by", started_by),
        ("ended_from", ended_from, "ended_by", ended_by),
        ("started_from", started_from, "ended_by", ended_by),
    ] {
        // with one offset alone they are compared as the clocks show them
        let both = from.and_then(|time| time.offset_s).and(by.and_then(|time| time.offset_s));
        let place = |time: ClaimTime| match both {
            Some(_) => (time.place_ms(), time.local),
            None => (time.local.as_ms(), time.local),
        };
        let shown = |(_, local)| show::local(local);
        check_least(&mut t, (from_key, from.map(place)), (by_key, by.map(place)), shown);
    }
    check_least(&mut t, ("volume_from", volume_from), ("volume_to", volume_to), show::volume);
    if outcome == Some(Outcome::Dosed) && t.has("cause") {
        let found =
            Diagnostic::new(codes::CONTRADICTION, t.place("cause"), "a dosed one has no cause")
                .help("causes belong to part and skipped doses");
        t.cx.report(found);
    }
    if let Some(at) = at {
        let place = t.place("at");
        t.cx.check_inside_run("at", Moment::Local(at.local), place);
    }
    let spans = t.finish();
    let due = DueClaim {
        entry: entry?,
        at: at?,
        outcome,
        cause,
        started_from,
        started_by,
        ended_from,
        ended_by,
        volume_from,
        volume_to,
    };
    Some((Claim::Due(Box::new(due)), spans))
}

/// True local time; one that spring skips is moved, as moments of faults and acts are. An
/// offset has to be the zone's at that time.
fn true_time(t: &mut TableReader, key: &'static str) -> Option<ClaimTime> {
    let time = t.claim_time(key)?;
    let Some(bounds) = t.cx.bounds else { return Some(time) };
    if let Some(other_s) = bounds.other_offset(time) {
        let message = format!("`{key}` has an offset that the zone has not at that time");
        let found = Diagnostic::new(codes::BAD_DATE, t.place(key), message)
            .label(format!("{} is in force then", show::offset(other_s)))
            .help("leave the offset out, but where the clocks show a time twice");
        t.cx.report(found);
        return None;
    }
    Some(match time.offset_s {
        Some(_) => time,
        None => ClaimTime { local: bounds.existing(time.local), ..time },
    })
}

fn pump_on(mut t: TableReader) -> (Claim, Spans) {
    let least = t.length("least");
    let most = t.length("most");
    check_least(&mut t, ("least", least), ("most", most), |length| show::length(length.as_ms()));
    (Claim::PumpOn { least, most }, t.finish())
}

fn outflow(mut t: TableReader) -> (Claim, Spans) {
    let least = t.volume("least");
    let most = t.volume("most");
    check_least(&mut t, ("least", least), ("most", most), show::volume);
    (Claim::Outflow { least, most }, t.finish())
}

fn alarms(mut t: TableReader) -> (Claim, Spans) {
    let kind = t.word("kind", &Alarm::ALL);
    let count = t.count("count");
    let least = t.count("least");
    let most = t.count("most");
    check_least(&mut t, ("least", least), ("most", most), |n| n.to_string());
    if t.has("count") && (t.has("least") || t.has("most")) {
        let key = if t.has("least") { "least" } else { "most" };
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place(key),
            format!("`{key}` together with `count`"),
        )
        .note_at(t.key_place("count"), "`count` is here")
        .help("give the exact number, or its limits");
        t.cx.report(found);
    }
    (Claim::Alarms { kind, least: count.or(least), most: count.or(most) }, t.finish())
}

fn calm(mut t: TableReader) -> Option<(Claim, Spans)> {
    let from = t.moment("from");
    if let Some(Moment::Pulse { .. }) = from {
        let found = Diagnostic::new(
            codes::BAD_DATE,
            t.place("from"),
            "the calm begins at a time, not at a pulse",
        )
        .help("write a local time, or a length after the start such as \"+7 d\"");
        t.cx.report(found);
    }
    let spans = t.finish();
    Some((Claim::Calm { from: from? }, spans))
}
