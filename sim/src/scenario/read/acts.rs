//! `[[operator]]`.

use dosewright_core::calibration::Vessel;
use dosewright_core::lock::Pin;
use dosewright_core::units::Volume;

use super::super::doc::Node;
use super::super::keys;
use super::super::model::{
    Act, Calibration, CalibrationRun, CellType, Change, ClockSetting, Edit, EntryName, Key,
    OperatorAct, SignedMs,
};
use super::super::reader::{Context, TableReader};
use super::entry::{GAP_RULES, entry, recurrence};
use super::{check_order, list};
use crate::diagnose::{Diagnostic, codes};
use crate::trade::vessel::{Class, SIZES_ML, Standard, tolerance_ml};

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
        t.inner("stop_dose").and_then(|t| on_entry(t, Act::StopDose)),
        t.inner("acknowledge").map(|t| {
            t.finish();
            Act::Acknowledge
        }),
        t.inner("set_pin").and_then(|mut t| {
            let pin = pin(&mut t);
            t.finish();
            pin.map(Act::SetPin)
        }),
        t.inner("unlock").and_then(|mut t| {
            let pin = pin(&mut t);
            t.finish();
            pin.flatten().map(Act::Unlock)
        }),
        t.inner("lock").map(|t| {
            t.finish();
            Act::Lock
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
            let told = t.switch("told");
            t.finish();
            Act::ChangePack { cells_of, told: told.unwrap_or(true) }
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

/// What a vessel of this size may be read wrong by, unless the file says it.
fn reading_error(capacity: Volume) -> Volume {
    let ml = capacity.as_nl() / 1_000_000;
    let table = u32::try_from(ml)
        .ok()
        .filter(|_| capacity == Volume::from_ml(ml))
        .and_then(|size_ml| tolerance_ml(Standard::Astm, size_ml, Class::B));
    match table {
        Some(tolerance_ml) => Volume::from_ul((tolerance_ml * 1000.0).round() as u64),
        None => Volume::from_nl(capacity.as_nl() / 100),
    }
}

/// The smallest cylinder of the tables that holds a volume; one made for it where
/// there is none.
fn cylinder_for(volume: Volume) -> Volume {
    let sizes = SIZES_ML.map(|ml| Volume::from_ml(u64::from(ml)));
    sizes.into_iter().find(|&size| size >= volume).unwrap_or(volume)
}

fn calibrate(mut t: TableReader) -> Option<Act> {
    let run = t.length("run").map(CalibrationRun::Lasts);
    let given = t.volume("vessel");
    let error = t.volume("reading_error");
    let measured = t.volume("measured");
    let as_delivered = t.switch("as_delivered");
    let flow = t.flow("flow").map(Calibration::Flow);
    let as_found = t.switch("as_found").unwrap_or(false);
    let confirm = t.switch("confirm").unwrap_or(false);
    let train = t.switch("train").unwrap_or(false);
    if let Some(key) = ["run", "as_found"].into_iter().find(|&key| train && t.has(key)) {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place(key),
            format!("`{key}` together with `train`"),
        )
        .label("a train is as long as the vessel needs, and what it finds is put in force")
        .help("leave it out, or leave out `train`");
        t.cx.report(found);
    }
    if t.has("measured") && !t.has("run") && !t.has("vessel") {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("measured"),
            "`measured` says nothing without `run` or `vessel`",
        )
        .label("a volume makes a flow only with a time")
        .help("say how long the pump ran for it, run = \"1 min\", or what it was measured with");
        t.cx.report(found);
    }
    if given.zip(measured).is_some_and(|(given, measured)| measured > given) {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("measured"),
            "`measured` is more than the vessel holds",
        )
        .label("nobody can read this off it")
        .help("take a larger vessel, or a shorter run");
        t.cx.report(found);
    }
    if t.has("as_delivered") && !t.has("vessel") {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("as_delivered"),
            "`as_delivered` without `vessel`",
        )
        .label("it has to be read off something")
        .help("say what it is measured with: vessel = \"100 ml\"");
        t.cx.report(found);
    }
    if as_delivered == Some(false) {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place("as_delivered"),
            "`as_delivered = false` leaves no result",
        )
        .help("say what was read: measured = \"80 ml\"; or as_delivered = true");
        t.cx.report(found);
    }
    if let Some(key) = ["vessel", "reading_error", "as_found", "confirm", "train"]
        .into_iter()
        .find(|&key| t.has("flow") && t.has(key))
    {
        let found = Diagnostic::new(
            codes::CONTRADICTION,
            t.key_place(key),
            format!("`{key}` together with `flow`"),
        )
        .label("a flow that was worked out elsewhere is entered as it is")
        .help("leave it out, or say what was measured instead of the flow");
        t.cx.report(found);
    }
    t.finish();
    let result = measured
        .map(Calibration::Measured)
        .or_else(|| as_delivered.filter(|&on| on).map(|_| Calibration::AsDelivered))
        .or(flow)?;
    let into = given.is_some().then_some(if train {
        CalibrationRun::Train
    } else {
        CalibrationRun::IntoVessel
    });
    let capacity = given.unwrap_or_else(|| cylinder_for(measured.unwrap_or(Volume::ZERO)));
    let vessel =
        Vessel { capacity, reading_error: error.unwrap_or_else(|| reading_error(capacity)) };
    Some(Act::Calibrate { run: run.or(into), vessel, result, as_found, confirm })
}

/// A PIN; `Some(None)` where the file gives none.
fn pin(t: &mut TableReader) -> Option<Option<Pin>> {
    let text = t.free_text("pin");
    if !t.has("pin") {
        return Some(None);
    }
    let text = text?;
    let pin = Pin::from_digits(text.as_bytes());
    if pin.is_none() {
        let found = Diagnostic::new(codes::OUT_OF_RANGE, t.key_place("pin"), "`pin` is no PIN")
            .label("a PIN is 4 to 8 digits")
            .help("give the digits in quotes, such as \"0417\"");
        t.cx.report(found);
    }
    pin.map(Some)
}

fn press(mut t: TableReader) -> Option<Act> {
    let key = t.word("key", &Key::ALL);
    let times = t.count("times");
    t.finish();
    Some(Act::Press { key: key?, times: times.unwrap_or(1) })
}
