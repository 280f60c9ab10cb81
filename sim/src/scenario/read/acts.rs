//! `[[operator]]`.

use super::super::doc::Node;
use super::super::keys;
use super::super::model::{
    Act, Calibration, CellType, Change, ClockSetting, Edit, EntryName, Key, OperatorAct, SignedMs,
};
use super::super::reader::{Context, TableReader};
use super::entry::{GAP_RULES, entry, recurrence};
use super::{check_order, list};
use crate::diagnose::{Diagnostic, codes};

pub(super) fn act(cx: &mut Context, node: &Node) -> Option<OperatorAct> {
    let mut t = cx.open(&keys::OPERATOR, node)?;
    let at = t.moment("at");
    // Every act is read, so that a second one is checked as well.
    let acts = [
        t.inner("set_clock").and_then(set_clock),
        t.inner("set_zone").and_then(set_zone),
        t.inner("edit").and_then(edit),
        t.inner("disable").and_then(|t| on_entry(t, Act::Disable)),
        t.inner("enable").and_then(|t| on_entry(t, Act::Enable)),
        t.inner("remove").and_then(|t| on_entry(t, Act::Remove)),
        t.node("add").and_then(|(node, _)| entry(t.cx, node)).map(|plan| Act::Add(Box::new(plan))),
        t.inner("timetable").map(|mut t| {
            let entries = list(&mut t, "entries", entry);
            t.finish();
            Act::Timetable(entries)
        }),
        t.inner("prime").map(prime),
        t.inner("calibrate").and_then(calibrate),
        t.inner("run_again").and_then(|t| on_entry(t, Act::RunAgain)),
        t.inner("acknowledge").map(|t| {
            t.finish();
            Act::Acknowledge
        }),
        t.inner("press").and_then(press),
        t.inner("refill").map(|mut t| {
            let level = t.volume("level");
            t.finish();
            Act::Refill { level }
        }),
        t.inner("change_tube").map(|mut t| {
            let true_flow = t.flow("true_flow");
            t.finish();
            Act::ChangeTube { true_flow }
        }),
        t.inner("change_pack").map(|mut t| {
            let cells_of = t.word("type", &CellType::ALL);
            t.finish();
            Act::ChangePack { cells_of }
        }),
    ];
    let spans = t.finish();
    let act = acts.into_iter().flatten().next()?;
    Some(OperatorAct { at: at?, act, spans })
}

fn on_entry(mut t: TableReader, act: fn(EntryName) -> Act) -> Option<Act> {
    let entry = t.entry("entry");
    t.finish();
    entry.map(act)
}

fn set_clock(mut t: TableReader) -> Option<Act> {
    let to = t.local("to").map(ClockSetting::To);
    let by = t.length_ms("by").map(|ms| ClockSetting::By(SignedMs(ms)));
    t.finish();
    to.or(by).map(Act::SetClock)
}

fn set_zone(mut t: TableReader) -> Option<Act> {
    let zone = t.zone("zone");
    t.finish();
    zone.map(Act::SetZone)
}

fn edit(mut t: TableReader) -> Option<Act> {
    let entry = t.entry("entry");
    let recurrence = recurrence(&mut t).map(|(plan, _)| plan);
    if t.has("weekly") && t.has("every") {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("every"),
            "`every` together with `weekly`",
        )
        .note_at(t.key_place("weekly"), "`weekly` is here")
        .help("keep one of the two");
        t.cx.report(found);
    }
    let volume = t.volume("volume");
    let window_ms = t.short_ms("window");
    let grace_ms = t.short_ms("grace");
    let (first, last) = (t.date_or_none("first"), t.date_or_none("last"));
    check_order(&mut t, first.and_then(Change::value), last.and_then(Change::value));
    let pulses = t.count_or_none("pulses").map(|change| match change {
        Change::To(n) => Change::To(n as u16),
        Change::Clear => Change::Clear,
    });
    let observes_closed = t.switch("observes_closed");
    let gap_rule = t.word("gap", &GAP_RULES);
    let spans = t.finish();
    let edit = Edit {
        recurrence,
        volume,
        window_ms,
        grace_ms,
        first,
        last,
        observes_closed,
        gap_rule,
        pulses,
    };
    Some(Act::Edit { entry: entry?, edit, spans })
}

fn prime(mut t: TableReader) -> Act {
    let volume = t.volume("volume");
    let lasts = t.length("lasts");
    t.finish();
    Act::Prime { volume, lasts }
}

fn calibrate(mut t: TableReader) -> Option<Act> {
    let run = t.length("run");
    let measured = t.volume("measured").map(Calibration::Measured);
    let flow = t.flow("flow").map(Calibration::Flow);
    let confirm = t.switch("confirm");
    if t.has("measured") && !t.has("run") {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("measured"),
            "`measured` says nothing without `run`",
        )
        .label("a volume makes a flow only with a time")
        .help("say how long the pump ran for it: run = \"1 min\"");
        t.cx.report(found);
    }
    t.finish();
    Some(Act::Calibrate { run, result: measured.or(flow)?, confirm: confirm.unwrap_or(false) })
}

fn press(mut t: TableReader) -> Option<Act> {
    let key = t.word("key", &Key::ALL);
    let times = t.count("times");
    t.finish();
    Some(Act::Press { key: key?, times: times.unwrap_or(1) })
}
